"""The manual: every command in it runs in a fresh clone and prints what is shown."""

from __future__ import annotations

import io
import json
import re
import shlex
from contextlib import redirect_stdout

import pytest
from typer.main import get_command

from chatter.cli import app, main
from chatter.errors import JobError
from chatter.lab.manual import clone, remade
from chatter.manual import EXAMPLES, FOLDER, TOPICS, as_html, topic, topics
from chatter.page.limits import PageLimits
from chatter.page.settings import DEFAULT_PORT
from chatter.trade.cautions import caution_table

#: A number in an output, with what may stand before and after it.
_NUMBER = re.compile(r"(?<![\w.])[−+-]?\d+(?:[.,]\d+)?(?![\w.]*\d)")


def same(shown: str, now: str) -> str:
    """What differs between two texts, "" when nothing does; numbers may be a little off.

    Another version of a library moves a last digit, and a level by a decibel or so: numbers count
    as the same within 3 %, or within one of their last digit.
    """
    words, other = (_NUMBER.sub("#", text).split() for text in (shown, now))
    if words != other:
        first = next((p for p in zip(words, other, strict=False) if p[0] != p[1]), ("end", "end"))
        return f"'{first[0]}' was shown, '{first[1]}' is printed"
    for told, is_now in zip(_NUMBER.findall(shown), _NUMBER.findall(now), strict=True):
        a, b = (float(one.replace("−", "-").replace(",", ".")) for one in (told, is_now))
        last = 10.0 ** -len(told.partition(".")[2])
        if abs(a - b) > max(0.03 * abs(a), 1.01 * last):
            return f"{told} was shown, {is_now} is printed"
    return ""


def test_what_counts_as_the_same():
    assert same("at 717 Hz (0.99)", "at 718 Hz   (0.98)") == ""
    assert "was shown" in same("at 717 Hz", "at 760 Hz")
    assert "was shown" in same("Chatter at 717 Hz", "Normal at 717 Hz")
    assert "was shown" in same("one", "one two")


@pytest.mark.parametrize("name", TOPICS)
def test_every_command_prints_what_is_shown(name):
    text = (FOLDER / f"{name}.md").read_text(encoding="utf-8")
    with clone() as folder:
        now, every = remade(text, folder)
    for one in every:
        assert one.code == 0, (one.command, one.printed)
    assert not same(text, now), f"{same(text, now)}: run python -m chatter.lab.manual --write"
    typed = re.findall(r"^\$ ", text, re.MULTILINE)
    assert len(every) == len(typed)


def test_the_manual_has_commands_to_run():
    shown = {
        line.split()[2]
        for one in topics()
        for line in one.text.splitlines()
        if line.startswith("$ chatter ")
    }
    told = " ".join(one.text for one in topics())
    every = set(get_command(app).commands)
    assert shown >= {"listen", "plan", "tap", "compare", "runin", "batch", "log"}
    for command in every - {"demo"}:
        assert f"chatter {command}" in told, command


def test_every_file_of_the_folder_is_a_topic():
    assert {path.stem for path in FOLDER.glob("*.md")} == set(TOPICS)
    for one in topics():
        assert one.text.startswith(f"# {one.title}\n") and one.about.endswith((".", ":"))
        assert "FILE" not in one.text and "<!-- cautions -->" not in one.text


def test_the_python_shown_runs():
    code = re.search(r"```python\n(.*?)```", topic("programs").text, re.DOTALL)[1]
    said = io.StringIO()
    with clone(), redirect_stdout(said):
        exec(compile(code, "programs.md", "exec"), {})
    assert re.fullmatch(r"chatter (0\.\d|1\.0)\n", said.getvalue())


def test_a_command_that_fails_is_seen():
    with clone() as folder:
        text = "```console\n$ chatter listen nothing.wav --rpm 57 --teeth 4\n```\n"
        _, (one,) = remade(text, folder)
        assert one.code == 2 and "no file" in one.printed
        _, (other,) = remade("```console\n$ rm -rf x\n```\n", folder)
        assert other.code != 0


def test_help_on_the_terminal(capsys):
    assert main(["help"]) == 0
    listed = capsys.readouterr().out
    assert all(re.search(rf"^  {name} ", listed, re.MULTILINE) for name in TOPICS)
    assert main(["help", "tap"]) == 0
    assert "lock it out" in " ".join(capsys.readouterr().out.split())
    assert main(["help", "tpa"]) == 2
    assert "Did you mean 'tap'?" in capsys.readouterr().err
    assert main(["help", "run-in"]) == 0
    with pytest.raises(JobError, match="Topics: record"):
        topic("knitting")


def test_all_cautions_are_told():
    told = topic("cautions").text
    for row in caution_table():
        assert row["text"].partition("{")[0] in told


def test_pages_are_whole_html_without_markup_left_over():
    for name in TOPICS:
        page = as_html(name)
        assert page.startswith("<h1>") and "```" not in page and "| ---" not in page
        assert "<script" not in page
    assert "<table>" in as_html("listen")


def test_the_limits_of_the_page_are_the_real_ones():
    limits, told = PageLimits(), " ".join(topic("page").text.split())
    assert f"{limits.file_bytes >> 20} MB and {limits.duration_s / 60:g} minutes" in told
    assert f"another port than {DEFAULT_PORT}" in told


def test_every_command_of_the_book_is_told():
    known = set(get_command(app).commands["log"].commands)
    rows = topic("logbook").text.partition("| command |")[2]
    assert set(re.findall(r"`chatter log (\w+)`", rows)) == known


def test_the_taps_are_heard_as_they_were_made(capsys):
    made = json.loads((EXAMPLES / "arbor-taps.json").read_text())
    assert made["simulated"]
    wanted = ["tap", str(EXAMPLES / "arbor-taps.m4a"), "--simulated", "--json", "-"]
    assert main(wanted) == 0
    found = json.loads(capsys.readouterr().out)["modes"]
    assert found
    for one in found:
        near = min(made["modes"], key=lambda m: abs(m["frequency_hz"] - one["frequency_hz"]))
        assert one["frequency_hz"] == pytest.approx(near["frequency_hz"], rel=0.005)
        assert one["damping_ratio"] == pytest.approx(near["damping_ratio"], rel=0.15)


def test_the_folder_of_examples_is_small():
    assert sum(path.stat().st_size for path in EXAMPLES.rglob("*")) < 1_300_000


def test_shown_lines_can_be_typed():
    for one in topics():
        for line in one.text.splitlines():
            if line.startswith("$ "):
                assert shlex.split(line[2:])[0] in ("chatter", "cp")
