"""Where reports go: names, nothing overwritten silently, all or nothing."""

from __future__ import annotations

import os
from dataclasses import replace
from types import SimpleNamespace

import pytest

from chatter.errors import OutputError
from chatter.report.files import check_place, choose_path, safe_stem, write_report, write_text


def _listened(made, *passes):
    found = made.findings(passes) if passes else made.findings()
    return SimpleNamespace(findings=found, exhibits=made.exhibits(found, columns=60, rows=40))


@pytest.fixture(scope="module")
def heard(made):
    """A pass that chatters: every picture there is."""
    return _listened(made)


@pytest.fixture(scope="module")
def normal(made):
    """A normal pass, without stability chart: for what is about names only."""
    return _listened(made, made.one_pass(1, "normal"))


@pytest.fixture(scope="module")
def whole(heard, tmp_path_factory):
    """The page of it with nothing amiss."""
    path = write_report(heard, tmp_path_factory.mktemp("whole") / "whole.html", None)
    return path.read_text(encoding="utf-8")


def _other(heard):
    source = replace(heard.findings.source, sha256="cd" * 32)
    return SimpleNamespace(findings=replace(heard.findings, source=source), exhibits=heard.exhibits)


def test_default_folder_and_name(heard, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = write_report(heard, None, None)
    assert path.as_posix() == "reports/slot-3.html"
    assert "<h1>Chatter</h1>" in path.read_text(encoding="utf-8")
    assert os.listdir(path.parent) == ["slot-3.html"]  # no temporary file left


def test_same_recording_replaces_its_report_and_another_gets_a_counter(normal, tmp_path):
    first = write_report(normal, tmp_path, None)
    assert write_report(normal, tmp_path, None) == first
    second = write_report(_other(normal), tmp_path, None)
    assert second.name == "slot-3-2.html"
    assert write_report(_other(normal), tmp_path, None) == second
    assert ("ab" * 32) in first.read_text(encoding="utf-8")


def test_a_named_file_of_something_else_is_refused(normal, tmp_path):
    mine = tmp_path / "letter.html"
    mine.write_text("<p>a letter</p>")
    with pytest.raises(OutputError, match="not a report of this recording"):
        write_report(normal, mine, None)
    assert mine.read_text() == "<p>a letter</p>"
    path = write_report(normal, tmp_path / "new" / "r.html", None)
    with pytest.raises(OutputError, match=r"r\.html"):
        write_report(_other(normal), path, None)


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("slot 3 (new).m4a", "slot-3-new"),
        ("../../etc/passwd.wav", "passwd"),
        ("Nut fräsen ½.m4a", "Nut-fräsen-½"),
        ("<b>&\"'.mp4", "b"),
        (".m4a", "m4a"),
        ("???.wav", "recording"),
        ("x" * 300 + ".wav", "x" * 80),
        ("a\nb.wav", "a-b"),
    ],
)
def test_names_that_file_systems_dislike_are_mended(name, stem):
    assert safe_stem(name) == stem


def test_failure_leaves_the_old_file_and_no_rubbish(tmp_path, monkeypatch):
    path = tmp_path / "a.html"
    path.write_text("old")

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OutputError, match="No space left on device"):
        write_text(path, "new")
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["a.html"]


def test_a_place_that_is_no_place_is_said(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="name another place"):
        write_text(tmp_path / "file" / "r.html", "x")


def test_half_a_surrogate_in_a_name_does_not_stop_the_report(made, tmp_path):
    name = "slot-\udce4.m4a"  # a file name that is not UTF-8, as Python shows it
    found = made.findings(name=name)
    heard = SimpleNamespace(findings=found, exhibits=made.exhibits(found, columns=30, rows=20))
    path = write_report(heard, tmp_path, None)
    assert path.exists()
    assert choose_path(tmp_path, name, "ab" * 32) == path


def test_a_hopeless_place_is_refused_before_the_listen(normal, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    check_place(None)
    check_place("new/folder/r.html")
    check_place(write_report(normal, tmp_path / "r.html", None))  # may be replaced
    (tmp_path / "letter").write_text("a letter")
    for place in ("letter", "letter/r.html"):
        with pytest.raises(OutputError, match="letter"):
            check_place(place)
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(OutputError, match="cannot be written to"):
        check_place("r2.html")


def test_a_failing_player_costs_the_player_only(heard, tmp_path, monkeypatch):
    def fails(*_args, **_more):
        raise ValueError("Specified sample rate 20000 is not supported")

    monkeypatch.setattr("chatter.sound.playable.playable", fails)
    text = write_report(heard, tmp_path, tmp_path / "slot-3.m4a").read_text(encoding="utf-8")
    assert "<h1>Chatter</h1>" in text and "<audio" not in text
    assert "The sound could not be put into this page" in text


PICTURES = {
    "the spectrogram": "chatter.report.figure_strips.overview_strip",
    "the timeline of pass 1": "chatter.report.figure_strips.timeline_strip",
    "the spectrum of pass 1": "chatter.report.figure_spectrum.draw_spectrum",
    "the swells of pass 1": "chatter.report.figure_modulation.draw_modulation",
    "the teeth of pass 1": "chatter.report.figure_teeth.draw_dial",
    "the stability chart": "chatter.report.html._lobes",
}


@pytest.mark.parametrize("what", PICTURES)
def test_a_failing_picture_costs_that_picture_only(heard, whole, tmp_path, monkeypatch, what):
    def fails(*_args, **_more):
        raise ZeroDivisionError("division by zero")

    assert "Could not be drawn" not in whole
    monkeypatch.setattr(PICTURES[what], fails)
    text = write_report(heard, tmp_path / "r.html", None).read_text(encoding="utf-8")
    assert f"Could not be drawn: {what}. " in text
    assert heard.findings.summary.split(".")[0] in text
    assert len(text) < len(whole)
