"""The table of the demo: truth beside verdict, counted honestly."""

from __future__ import annotations

import io
from types import SimpleNamespace

import pytest

from chatter.report.demo_table import Row, agreement, print_demo


def _truth(*passes: tuple[str, ...]) -> SimpleNamespace:
    made = tuple(SimpleNamespace(verdict=p[0], also=p[1:]) for p in passes)
    return SimpleNamespace(verdict=passes[0][0] if passes else "machine_only", passes=made)


@pytest.mark.parametrize(
    ("truth", "verdict", "also", "agree"),
    [
        ((("chatter",),), "chatter", (), "yes"),
        ((("chatter", "side_rubbing"),), "side_rubbing", (), "partly"),
        ((("side_rubbing",),), "chatter", ("side_rubbing",), "partly"),
        ((("normal",),), "chatter", (), "no"),
        ((("chatter",), ("normal",)), "normal", (), "no"),
        ((("chatter",),), "cannot_tell", (), "not told"),
        ((), "machine_only", (), "yes"),
    ],
)
def test_agreement(made, truth, verdict, also, agree):
    found = made.findings((made.one_pass(1, verdict, also=also),))
    assert agreement(_truth(*truth), found) == agree


def test_table_shows_truth_beside_verdict_and_counts(made, tmp_path):
    from rich.console import Console

    rows = (
        Row("a.m4a", _truth(("chatter",)), made.findings(), tmp_path / "a.html"),
        Row("b[1].wav", _truth(("normal",)), made.findings(), None),
        Row("c.ogg", _truth(("normal",)), made.findings(()), None),
    )
    out = io.StringIO()
    print_demo(rows, Console(file=out, width=80, no_color=True, highlight=False))
    text = out.getvalue()
    assert "Simulated recordings" in text.splitlines()[0]
    for line in text.splitlines():
        if line.startswith("b[1].wav"):
            assert "Normal cutting" in line and "Chatter" in line and line.split()[-1] == "no"
            break
    else:
        raise AssertionError(text)
    assert "3 recordings. Verdict and truth agree: 1 yes, 1 no, 1 not told." in text
    assert text.count("Report: ") == 1
    table = [line for line in text.splitlines() if not line.startswith("Report:")]
    assert max(map(len, table)) <= 80
