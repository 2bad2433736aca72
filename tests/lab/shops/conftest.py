"""Shops are judged by fixed limits, whatever the model of the day says."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def limits(monkeypatch):
    """From when chatter is named and called possible, whatever the model of the day says."""
    from chatter.listening import judging

    monkeypatch.setattr(judging, "chatter_limits", lambda: (0.5, 0.3))
