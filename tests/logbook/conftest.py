"""A book in a folder of its own, never the user's."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from chatter.logbook import open_book

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """No test writes into the user's own book."""
    monkeypatch.setenv("CHATTER_BOOK", str(tmp_path / "shop.db"))


@pytest.fixture
def book(tmp_path):
    with open_book(tmp_path / "shop.db") as opened:
        yield opened
