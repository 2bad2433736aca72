"""Compare: two or more cutters on the same job, by what a phone's gain cannot change."""

from chatter.compare.conditions import Stand
from chatter.compare.front import Compared, CutterTakes, compare
from chatter.compare.results import Comparison, as_json

__all__ = ["Compared", "Comparison", "CutterTakes", "Stand", "as_json", "compare"]
