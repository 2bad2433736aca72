"""A tap test and earlier cuts beside a recording, from the command line to the findings."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from chatter.cli import main
from chatter.tapping.findings import Room, TapFindings, save_taps
from chatter.trade.modes import Mode

DEMO = Path(__file__).resolve().parent.parent / "recordings_demo"
RECORDING, CARD = DEMO / "04-saw-chatter.mp4", DEMO / "04-saw-chatter.toml"


def tapped(path: Path, *hz: float) -> str:
    modes = tuple(Mode(f, 0.021, 1.0, 0.002, 8) for f in hz)
    save_taps(
        TapFindings("taps.wav", (), modes, (), Room(None, None, 0.0, None), None, what="arbor"),
        path,
    )
    return str(path)


def heard(capsys, *more: str) -> dict:
    code = main(["listen", str(RECORDING), "--job", str(CARD), "--no-report", "-q",
                 "--json", "-", *more])  # fmt: skip
    told = capsys.readouterr()
    assert code == 0, told.err
    return json.loads(told.out)


@pytest.fixture(scope="module")
def chatter_hz() -> float:
    truth = json.loads((DEMO / "04-saw-chatter.truth.json").read_text(encoding="utf-8"))
    return truth["passes"][0]["chatter_hz"]


def test_the_mode_below_the_chatter_is_named_and_to_be_stiffened(capsys, tmp_path, chatter_hz):
    near = round(0.95 * chatter_hz)
    taps = tapped(tmp_path / "taps.json", 0.4 * chatter_hz, near, 1.5 * chatter_hz)
    found = heard(capsys, "--taps", taps, "--observed", "8 mm at 106 quiet")
    below = found["passes"][0]["chatter"]["mode_below"]
    assert (below["frequency_hz"], below["tapped_on"]) == (near, "arbor")
    assert (
        f"The mode at {near} Hz, damping 2.1 %, tapped on the arbor, lies just below: that is "
        "the one to stiffen." in found["summary"]
    )
    names = {one["name"] for one in found["suggestions"]}
    assert "stiffen_tapped_mode" in names and "tap_test" not in names
    assert any(note.startswith("By 2 cuts, the depth stable") for note in found["notes"])
    assert any("Modes of the tap test 'taps.wav'" in step for step in found["how"])


def test_a_card_can_name_the_tap_test_beside_it(capsys, tmp_path, chatter_hz):
    tapped(tmp_path / "taps.json", 3.0 * chatter_hz)
    card = tmp_path / "job.toml"
    text = CARD.read_text(encoding="utf-8").replace("[take]", '[take]\ntaps = "taps.json"')
    text += '\n[[observed]]\ndepth = "30 mm"\nspeed = 106\nchatters = false\n'
    card.write_text(text, encoding="utf-8")
    assert main(["listen", str(RECORDING), "--job", str(card), "--no-report", "-q",
                 "--json", "-"]) == 0  # fmt: skip
    found = json.loads(capsys.readouterr().out)
    assert found["passes"][0]["chatter"]["mode_below"] is None
    notes = " ".join(found["notes"])
    assert "No mode of the tap test on the arbor lies a little below the chatter heard" in notes
    assert "do not fit one chart" in notes  # 20 mm chattered in the recording itself


@pytest.mark.parametrize("text", [None, "no JSON", "{}"])
def test_a_tap_test_that_cannot_be_read_is_one_sentence(capsys, tmp_path, text):
    path = tmp_path / "taps.json"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    assert main(["listen", str(RECORDING), "--job", str(CARD), "--taps", str(path)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "taps.json" in said
