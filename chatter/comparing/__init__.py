"""Compare: two or more cutters on the same job, by what a phone's gain cannot change."""

from chatter.comparing.conditions import Stand
from chatter.comparing.front import Compared, CutterTakes, compare
from chatter.comparing.results import Comparison

__all__ = ["Compared", "Comparison", "CutterTakes", "Stand", "compare"]
