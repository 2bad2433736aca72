"""Command: ``python -m chatter.lab.shops``."""

from __future__ import annotations

import os
import sys

from chatter.lab.shops.command import main

if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    sys.exit(main())
