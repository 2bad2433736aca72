"""The list of deliberate faults fits the code, and the script tells noticed from survived."""

from __future__ import annotations

from pathlib import Path

import pytest

from chatter.lab.mutants import ROOT, Fault, faults, noticed


def test_every_fault_can_be_made():
    every = faults()
    assert len(every) >= 60
    for one in every:
        whole = (ROOT / one.file).read_text("utf-8")
        assert whole.count(one.find) == 1, f"{one.file}: '{one.find}' does not stand there once"
        assert one.put != one.find
        compile(whole.replace(one.find, one.put), one.file, "exec")
        assert one.tests and all((ROOT / place).exists() for place in one.tests)
    assert len({one.file for one in every}) >= 15


def test_noticed_and_survived(tmp_path: Path):
    (tmp_path / "shop.py").write_text("def twice(x):\n    return 2 * x\n\n\nSPARE = 1\n")
    (tmp_path / "test_shop.py").write_text(
        "import shop\n\n\ndef test_twice():\n    assert shop.twice(3) == 6\n"
    )
    wrong = Fault("shop.py", "2 * x", "3 * x", ("test_shop.py",))
    assert noticed(wrong, tmp_path)
    assert not noticed(Fault("shop.py", "SPARE = 1", "SPARE = 2", ("test_shop.py",)), tmp_path)
    assert "2 * x" in (tmp_path / "shop.py").read_text(), "mended again"
    unread = Fault("shop.py", "def twice", "def thrice(", ("test_shop.py",))
    assert noticed(unread, tmp_path), "what cannot be imported is noticed too"
    with pytest.raises(ValueError, match="pytest runs nothing of test_gone"):
        noticed(Fault("shop.py", "2 * x", "3 * x", ("test_gone.py",)), tmp_path)
    assert "2 * x" in (tmp_path / "shop.py").read_text(), "mended again"
