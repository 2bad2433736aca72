"""``python -m chatter``."""

import sys

from chatter.cli import main

if __name__ == "__main__":
    sys.exit(main())
