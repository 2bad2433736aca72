"""``chatter compare``: what belongs to which cutter, where results go, what is refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from chatter.cli import main

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Three short takes with their cards, in a folder each and side by side."""
    folder = tmp_path_factory.mktemp("shop")
    for name in ("02-slot-plain-saw.m4a", "03-slot-staggered.m4a", "08-too-loud.mp3"):
        shutil.copy(DEMO / name, folder)
        shutil.copy((DEMO / name).with_suffix(".toml"), folder)
    return folder


def run(*words: str, capsys) -> tuple[int, str, str]:
    code = main(["compare", *words])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.fixture(autouse=True)
def inside(shop, monkeypatch):
    monkeypatch.chdir(shop)
    monkeypatch.delenv("CHATTER_BOOK", raising=False)


PAIR = ("02-slot-plain-saw.m4a", "03-slot-staggered.m4a")


def test_two_recordings_are_two_cutters_with_the_cards_beside_them(capsys):
    code, out, _ = run(*PAIR, "--json", "c.json", "--name", "plain", "--name", "staggered",
                       capsys=capsys)  # fmt: skip
    assert code == 0
    assert "THEY DIFFER" in out
    plain = json.loads(Path("c.json").read_text())
    assert [one["teeth"] for one in plain["sides"]] == [48, 20]
    page = Path("reports/compare-plain-vs-staggered.html")
    assert f"Report: {page}" in out
    text = page.read_text()
    assert text.count("<audio") == 2
    # with "://", for the letters alone may come by chance in the sound that is packed in
    assert "://" not in text.replace("http://www.w3.org", "")
    # the same comparison again overwrites its own page
    run(*PAIR, "--name", "plain", "--name", "staggered", "-q", capsys=capsys)
    assert [p.name for p in Path("reports").iterdir()] == [page.name]


def test_vs_parts_the_recordings_of_one_cutter_from_those_of_the_next(capsys):
    code, out, err = run(
        PAIR[0], "08-too-loud.mp3", "vs", PAIR[1], "--no-report", "--json", "-", capsys=capsys
    )
    assert code == 0
    plain = json.loads(out)
    assert [len(one["takes"]) for one in plain["sides"]] == [2, 1]
    assert "08-too-loud.mp3 was not used" in err


def test_a_folder_is_one_cutter(capsys):
    for folder, name in (("saws", PAIR[0]), ("others", PAIR[1])):
        Path(folder).mkdir()
        shutil.copy(name, folder)
        shutil.copy(Path(name).with_suffix(".toml"), folder)
    code, out, _ = run("saws", "others", "--no-report", "-q", "--json", "-", capsys=capsys)
    assert code == 0
    assert [one["takes"][0]["name"] for one in json.loads(out)["sides"]] == list(PAIR)


def test_options_win_over_cards_and_may_differ_by_cutter(capsys):
    code, out, _ = run(
        *PAIR, "--teeth", "48, 20", "--rpm", "58", "--no-report", "-q", "--json", "-",
        capsys=capsys,
    )  # fmt: skip
    assert code == 0
    assert [one["teeth"] for one in json.loads(out)["sides"]] == [48, 20]


def test_what_is_logged_can_be_compared_by_its_number(shop, capsys):
    book = shop / "shop.db"
    code, out, _ = run(*PAIR, "--no-report", "--log", "--book", str(book), capsys=capsys)
    assert code == 0
    assert "comparison 1 of 2 recordings" in out
    code, out, _ = run(
        "1", "2", "--no-report", "-q", "--json", "-", "--book", str(book), capsys=capsys
    )
    assert code == 0
    plain = json.loads(out)
    assert [one["teeth"] for one in plain["sides"]] == [48, 20]
    assert plain["verdict"] == "difference"


def test_another_place_of_the_phone_is_warned_of(shop, capsys):
    book = str(shop / "places.db")
    for name, place in zip(PAIR, ("on the knee", "on the bench"), strict=True):
        stated = ("--phone", "the old one", "--position", place, "--book", book)
        assert main(["log", "add", name, *stated]) == 0
    capsys.readouterr()
    cards = [str(Path(one).with_suffix(".toml")) for one in PAIR]
    jobs = ("--job", cards[0], "--job", cards[1])
    code, out, _ = run(
        "1", "2", *jobs, "--no-report", "-q", "--json", "-", "--book", book, capsys=capsys
    )
    assert code == 0
    (told,) = [one for one in json.loads(out)["warnings"] if "stated" in one]
    assert told.startswith("Different places of the phone are stated, 'on the bench' and 'on the")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (PAIR[:1], "Only one cutter"),
        ((PAIR[0], "vs"), "on one side of 'vs'"),
        ((*PAIR, "--teeth", "48, 20, 12"), "3 tooth counts are stated for 2 cutters"),
        ((*PAIR, "--name", "one"), "1 names are given for 2 cutters"),
        ((*PAIR, "--job", "a", "--job", "b", "--job", "c"), "3 job cards"),
        ((*PAIR, "--name", "x", "--name", "x", "--no-report"), "x (02-slot-plain-saw)"),
        ((PAIR[0], "missing.m4a", "--rpm", "57", "--teeth", "9"), "missing.m4a"),
        ((*PAIR, "--json", PAIR[0]), "is one of the recordings"),
        ((*PAIR, "--report", "a.html", "--no-report"), "exclude each other"),
        ((*PAIR, "--units", "furlong"), "furlong"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(words, told, capsys):
    code, out, err = run(*words, capsys=capsys)
    assert told in (out + err)
    if "--name" not in words or "one" in words:
        assert code == 2
        assert err.count("\n") == 1


def test_an_empty_folder_is_refused(capsys):
    Path("empty").mkdir()
    code, _, err = run(PAIR[0], "empty", capsys=capsys)
    assert code == 2
    assert "no recording in the folder 'empty'" in err


def test_cutters_are_not_compared_on_a_missing_speed(tmp_path, capsys, monkeypatch):
    for name in PAIR:
        shutil.copy(DEMO / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    code, _, err = run(*PAIR, "--teeth", "48, 20", capsys=capsys)
    assert code == 2 and "The spindle speed is missing" in err and err.count("\n") == 1


def test_what_a_card_lacks_is_said_with_its_name(tmp_path, capsys, monkeypatch):
    for name in PAIR:
        shutil.copy(DEMO / name, tmp_path)
        (tmp_path / name).with_suffix(".toml").write_text("[cutter]\nteeth = 48\n")
    monkeypatch.chdir(tmp_path)
    code, _, err = run(*PAIR, capsys=capsys)
    assert code == 2 and err.count("\n") == 1
    assert "02-slot-plain-saw.toml: The spindle speed is missing" in err
