"""The picture to share: its size, what stands on it, and that nothing runs over its edge."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pytest

from chatter.cli import main
from chatter.findings import VERDICTS
from chatter.report.card import HEIGHT, VERDICT_INK, WIDTH, card_png, wrapped
from chatter.report.html import TEMPLATES


def _drawn(made, found) -> np.ndarray:
    from PIL import Image

    data = card_png(found, made.exhibits(found, columns=200, rows=80).overview)
    image = Image.open(io.BytesIO(data))
    assert image.format == "PNG" and image.size == (WIDTH, HEIGHT) == (1080, 1350)
    assert len(data) < 400_000
    return np.asarray(image.convert("RGB")).astype(int)


def _near(pixels: np.ndarray, colour: str) -> np.ndarray:
    wanted = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)])
    return np.abs(pixels - wanted).max(axis=-1) < 24


def test_every_kind_is_drawn_with_the_colour_of_its_verdict(made, found):
    pixels = _drawn(made, found)
    ink = _near(pixels[60:420], VERDICT_INK[found.verdict])
    assert ink.sum() > 2000
    # Nothing is written over the edges: the outermost columns are paper below the head band.
    paper = _near(pixels[90:], "#f6f4ee")
    assert paper[:, :40].all() and paper[:, -40:].all()


def test_the_colours_are_those_of_the_report():
    style = (TEMPLATES / "report.css").read_text(encoding="utf-8").partition("@media")[0]
    told = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    assert set(VERDICT_INK) == set(VERDICTS)
    assert {name: told[name] for name in VERDICT_INK} == VERDICT_INK


def test_simulated_sound_is_marked_and_real_sound_is_not(made):
    found = made.findings(simulated=True)
    dark = [_near(_drawn(made, one)[2:50, :30], "#1b1e1f").all() for one in
            (found, replace(found, simulated=False))]  # fmt: skip
    assert dark == [True, False]


def test_a_long_answer_gets_smaller_and_stays_above_the_sound(made):
    found = made.findings()
    long = replace(found.suggestions[0], rank=0, action="Halve the depth and look again. " * 14)
    pixels = _drawn(made, replace(found, suggestions=(long, *found.suggestions[1:])))
    short = _drawn(made, found)
    # The picture of the sound lies in the same place, untouched by the text above it; only the
    # colours that the whole is reduced to may differ a little.
    assert np.abs(pixels[800:1050, 70:1010] - short[800:1050, 70:1010]).max() < 60


@pytest.mark.parametrize("text", ["one two three four", "a" * 40, "", "aa bbbbbbbbbbbbbbbbbb c"])
def test_lines_are_broken_within_their_width_and_lose_nothing(text):
    lines = wrapped(text, len, 8)
    assert all(len(line) <= 8 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_picture_in_an_impossible_place_is_refused_before_listening(tmp_path, capsys):
    take = tmp_path / "cut.png"
    take.write_bytes(b"RIFF")
    asked = ["listen", str(take), "--rpm", "57", "--teeth", "48", "--no-report"]
    for place, said in (
        ("card.jpg", "is not called .png"),
        (str(take), "is the recording itself"),
        (f"{take}/card.png", "is a file, not a folder"),
    ):
        assert main([*asked, "--picture", place]) == 2
        assert said in capsys.readouterr().err
    assert take.read_bytes() == b"RIFF"
