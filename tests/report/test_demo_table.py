"""The table of the demo: truth beside verdict, counted honestly."""

from __future__ import annotations

import io
from types import SimpleNamespace

import pytest

from chatter.report.demo_table import DemoRow, agreement, passes_right, print_demo


def _truth(*passes: tuple[str, ...]) -> SimpleNamespace:
    made = tuple(
        SimpleNamespace(verdict=p[0], also=p[1:], start_s=4.0 + 9 * i, end_s=11.0 + 9 * i)
        for i, p in enumerate(passes)
    )
    return SimpleNamespace(verdict=passes[0][0] if passes else "machine_only", passes=made)


@pytest.mark.parametrize(
    ("truth", "verdict", "also", "agree"),
    [
        ((("chatter",),), "chatter", (), "yes"),
        ((("chatter", "side_rubbing"),), "side_rubbing", (), "partly"),
        ((("side_rubbing",),), "chatter", ("side_rubbing",), "partly"),
        ((("normal",),), "chatter", (), "no"),
        ((("chatter",), ("normal",)), "normal", (), "no"),
        ((("chatter",),), "cannot_tell", (), "can't tell"),
        ((), "machine_only", (), "yes"),
    ],
)
def test_agreement(made, truth, verdict, also, agree):
    found = made.findings((made.one_pass(1, verdict, also=also),))
    assert agreement(_truth(*truth), found) == agree


def test_passes_are_held_against_the_true_pass_they_overlap(made):
    found = made.findings(
        tuple(
            made.one_pass(i + 1, v, start_s=4.5 + 9 * i, end_s=11.5 + 9 * i)
            for i, v in enumerate(("normal", "chatter"))
        )
    )
    assert passes_right(_truth(("normal",), ("chatter",), ("chatter",)), found) == (2, 3)
    assert passes_right(_truth(("chatter",), ("normal",)), found) == (0, 2)
    assert passes_right(_truth(), found) == (0, 0)
    assert passes_right(_truth(("normal",)), made.findings(())) == (0, 1)


def test_table_shows_truth_beside_verdict_and_counts(made, tmp_path):
    from rich.console import Console

    rows = (
        DemoRow("a.m4a", _truth(("chatter",)), made.findings(), tmp_path / "a.html"),
        DemoRow("b[1].wav", _truth(("normal",)), made.findings(), None),
        DemoRow("c.ogg", _truth(("normal",)), made.findings(()), None),
    )
    out = io.StringIO()
    print_demo(rows, Console(file=out, width=80, no_color=True, highlight=False))
    text = out.getvalue()
    assert "Simulated recordings" in text.splitlines()[0]
    for line in text.splitlines():
        if line.startswith("b[1].wav"):
            assert (
                "Normal cutting" in line
                and "Chatter" in line
                and line.split()[-4:] == ["no", "0", "of", "1"]
            )
            break
    else:
        raise AssertionError(text)
    assert "3 recordings. Verdict and truth agree: 1 yes, 1 no, 1 can't tell." in text
    assert text.count("Report: ") == 1
    table = [line for line in text.splitlines() if not line.startswith("Report:")]
    assert max(map(len, table)) <= 80
