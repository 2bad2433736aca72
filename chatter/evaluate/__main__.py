"""Command: ``python -m chatter.evaluate``."""

from __future__ import annotations

import sys

from chatter.evaluate.command import main

if __name__ == "__main__":
    sys.exit(main())
