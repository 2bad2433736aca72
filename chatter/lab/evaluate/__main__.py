"""Command: ``python -m chatter.lab.evaluate``."""

from __future__ import annotations

import os
import sys

from chatter.lab.evaluate.command import main

if __name__ == "__main__":
    # Processes take the cores, and threads of small matrix products cost more than they
    # bring; read when numpy is first imported, which the command does later.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    sys.exit(main())
