"""The tap command and its picture."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from chatter.cli.tap import tap_command
from chatter.report.stability_figure import stability_svg
from chatter.report.tap_figure import tap_svg
from chatter.tapping.findings import load_taps
from chatter.trade.calibration import ObservedCut
from chatter.trade.stability import chart
from tests.tapping.taps_made import make_taps
from tests.trade.made import a_job, a_pass


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    soundfile = pytest.importorskip("soundfile")
    path = tmp_path_factory.mktemp("taps") / "cutter.wav"
    modes = ((205.0, 0.03, 1.0), (911.0, 0.012, 0.6))
    soundfile.write(path, make_taps(modes, taps=4, rng=np.random.default_rng(5)), 48000)
    return path


def run(*arguments):
    app = typer.Typer()
    app.command()(tap_command)
    return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)


def test_words(recording):
    said = run(recording, "--what", "cutter", "--near", "930 Hz", "--simulated").output
    assert "4 taps heard on the cutter, 4 used. (simulated recording)" in said
    assert "chatter at 930 Hz is the one at 911 Hz" in said
    assert "lock it out" in said
    assert "0.0300" in said


def test_json_and_picture(recording, tmp_path):
    run(recording, "--json", tmp_path / "t.json", "--picture", tmp_path / "t.svg")
    assert [round(m.frequency_hz) for m in load_taps(tmp_path / "t.json").modes] == [205, 911]
    svg = (tmp_path / "t.svg").read_text()
    texts = [e.text for e in ET.fromstring(svg).iter() if e.tag.endswith("text")]
    assert {"205", "911", "frequency, Hz"} <= set(texts)
    assert len(svg) < 60_000
    said = run(recording, "--json", "-").output
    assert said.startswith("{") and said.rstrip().endswith("}")


def test_pictures_are_whole_also_at_the_edges():
    from chatter.tapping.findings import Room, TapFindings

    empty = TapFindings("", (), (), (), Room(None, None, 0.0, None), "No taps are heard.")
    assert "No taps are heard." in tap_svg(empty)
    one = a_pass("chatter", f_c=186.0)
    for job, more in (
        (a_job(), ()),
        (a_job(), (ObservedCut(90.0, 0.004, False),)),
        (a_job(steps=(), cutter={"diameter_m": None}), ()),
        (a_job(), (ObservedCut(90.0, 0.1, False),)),  # contradicts the pass itself
    ):
        for system, unit in (("metric", "mm"), ("inch", "in")):
            drawn = chart(one, job, observations=more)
            svg = stability_svg(drawn, system)
            ET.fromstring(svg)
            assert ("times that at the worst speed" in svg) == bool(drawn.scale.against)
            assert (f"stable depth, {unit} (" in svg) != bool(drawn.scale.against)
