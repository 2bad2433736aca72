"""Workers import the made-up work by name, so its folder is on their path."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

HERE = str(Path(__file__).resolve().parent)
sys.path.insert(0, HERE)


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """No test writes into the user's own book or folders; children find this folder's modules."""
    monkeypatch.setenv("CHATTER_BOOK", str(tmp_path / "shop.db"))
    root = str(Path(HERE).parent.parent)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((root, HERE)))
    monkeypatch.chdir(tmp_path)
