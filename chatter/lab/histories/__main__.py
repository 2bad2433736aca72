"""Command: ``python -m chatter.lab.histories``."""

from __future__ import annotations

import os
import sys

if __name__ == "__main__":
    # Threads of small products cost more than they bring; read when numpy is first imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    from chatter.lab.histories.command import main

    sys.exit(main())
