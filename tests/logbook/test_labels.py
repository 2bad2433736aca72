"""Labels of passes, and the collection that they make."""

from __future__ import annotations

import csv
from dataclasses import replace

import pytest
from book_made import findings, job, sound_file

import chatter.logbook as lb
from chatter.cli import main
from chatter.errors import BookError
from chatter.logbook.collection import read_collection
from chatter.logbook.labels import by_pass, same_words
from chatter.logbook.sharing import share_collection


@pytest.fixture
def take(book, tmp_path):
    return lb.store_listen(book, sound_file(tmp_path / "slot.m4a"), job(), findings()).recording


def test_a_label_belongs_to_a_pass_and_stays_with_its_sound(book, take):
    made = lb.add_label(book, take, "rubbing", pass_index=2, by=" A B ", how_known="seen",
                        blind=True)  # fmt: skip
    assert (made.verdict, made.by, made.how_known, made.blind) == (
        "side_rubbing", "A B", "seen_on_faces", True,
    )  # fmt: skip
    assert (made.start_s, made.end_s) == (4.0, 7.7)
    assert book.get(lb.LabelRow, made.number) == made
    told = findings()
    swapped = replace(told, passes=tuple(reversed(told.passes)))
    swapped = replace(swapped, passes=tuple(
        replace(one, index=i + 1) for i, one in enumerate(swapped.passes)))  # fmt: skip
    (found,), left = by_pass([made], swapped)
    assert found.one_pass.start_s == 4.0 and not left, "counted otherwise, it is the same sound"
    assert by_pass([made], replace(told, passes=told.passes[:1])) == ((), (made,))


def test_nothing_is_overwritten(book, take):
    one = lb.add_label(book, take, "normal", pass_index=1, by="AB")
    two = lb.add_label(book, take, "chatter", pass_index=1, by="ab")
    other = lb.add_label(book, take, "not sure", pass_index=1, by="CD")
    assert book.count(lb.LabelRow) == 3
    (found,), _ = by_pass(book.list(lb.LabelRow), findings())
    assert found.labels == (two, other), "of one person the newest"
    assert "ab said 'normal' of this before: both are kept" in same_words(book, two)
    assert same_words(book, one) is not None and same_words(book, other) is None


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"pass_index": 9}, "has 2 passes as last heard, and none of number 9"),
        ({"pass_index": 0}, "counted from 1"),
        ({"how_known": "telepathy"}, "way of knowing 'telepathy' is not known"),
    ],
)
def test_one_sentence_for_labels_that_cannot_be(book, take, more, said):
    with pytest.raises(BookError, match=said):
        lb.add_label(book, take, "chatter", **more)
    assert book.count(lb.LabelRow) == 0


@pytest.mark.usefixtures("take")
def test_the_command_lists_and_labels(capsys):
    assert main(["log", "label", "1", "--blind"]) == 0
    told = capsys.readouterr().out
    assert "pass 2: 4.0 to 7.7 s" in told and "chatter" not in told
    asked = ["log", "label", "1", "chatter", "--pass", "2", "--by", "AB", "--how", "cured"]
    assert main([*asked, "--cure", "less depth"]) == 0
    assert "Pass 2 of recording 1 (slot.m4a) was really: chatter." in capsys.readouterr().out
    assert main(["log", "label", "1"]) == 0
    told = capsys.readouterr().out
    assert "says AB, cured by a change; cured by: less depth" in told and "answer: chatter" in told
    assert main(["log", "label", "1", "banana"]) == 2


def test_a_collection_is_written_and_read(book, take, tmp_path):
    with pytest.raises(BookError, match="No recording that was listened to is labelled"):
        share_collection(book, tmp_path / "none", sound=True)
    assert not (tmp_path / "none").exists()
    lb.add_label(book, take, "chatter", pass_index=1, by="AB", how_known="heard", note="loud")
    lb.add_label(book, take, "normal", pass_index=2, by="AB")
    lb.add_label(book, take, "normal", pass_index=2, by="CD")
    done = share_collection(book, tmp_path / "out", sound=True)
    assert (done.labels, done.recordings, done.missing) == (3, 1, ())
    rows = read_collection(tmp_path / "out" / "labels.csv")
    assert [(r.label, r.start_s, r.who) for r in rows] == [
        ("chatter", 0.0, "AB"), ("normal", 4.0, "AB"), ("normal", 4.0, "CD"),
    ]  # fmt: skip
    first = rows[0]
    assert (first.speed_rev_min, first.teeth, first.all_passes) == (57.0, 48, True)
    assert (
        first.feed_mm_min == pytest.approx(1.125 * 25.4)
        and first.material == "grey_cast_iron_medium"
    )
    assert (tmp_path / "out" / first.file).read_bytes() == lb.file_of(book, take).read_bytes()
    readme = (tmp_path / "out" / "README.txt").read_text()
    assert "feed_mm_min: table feed, mm/min" in readme and "may be heard" in readme
    with (tmp_path / "out" / "answers.csv").open() as text:
        answers = list(csv.DictReader(text))
    assert answers[0]["verdict"] == "chatter" and float(answers[0]["p_chatter"]) == 0.1


def test_without_sound_and_with_a_file_that_is_gone(book, take, tmp_path):
    lb.add_label(book, take, "chatter", pass_index=1)
    share_collection(book, tmp_path / "mute", sound=False)
    assert sorted(one.name for one in (tmp_path / "mute").iterdir()) == [
        "README.txt", "answers.csv", "labels.csv",
    ]  # fmt: skip
    lb.file_of(book, take).unlink()
    done = share_collection(book, tmp_path / "out", sound=True)
    assert done.recordings == 0 and "is not at" in done.missing[0]


def test_sound_is_not_given_unasked(book, take, tmp_path, capsys):
    lb.add_label(book, take, "chatter", pass_index=1)
    out = str(tmp_path / "out")
    assert main(["log", "export", "--labelled", out]) == 2
    assert "People may be heard" in capsys.readouterr().err and not (tmp_path / "out").exists()
    assert main(["log", "export", "--labelled", out, "--no-files"]) == 0
    assert "measures only, no sound" in capsys.readouterr().out
    assert main(["log", "export", "--labelled", f"{out}2", "--yes"]) == 0
    assert "with their sound" in capsys.readouterr().out
    assert (tmp_path / "out2" / "00001.m4a").is_file()


def test_a_book_from_before_has_its_labels_still(tmp_path, monkeypatch):
    from chatter.logbook import opening

    known = dict(opening.migration_steps())
    first = {"0001_first_book": known["0001_first_book"]}
    path = tmp_path / "old.db"
    with monkeypatch.context() as before:
        before.setattr(opening, "migration_steps", lambda: first)
        with lb.open_book(path) as old:
            row = lb.add_recording(old, sound_file(tmp_path / "a.wav"))
            old.db.conn.execute(
                "INSERT INTO labels (uid, created_at, changed_at, recording, verdict, cure, "
                "pass_index, by, note) VALUES ('u', '2025-01-01', '2025-01-01', ?, 'chatter', "
                "'less depth', 1, 'me', '')",
                (row.uid,),
            )
            old.db.conn.commit()
    with lb.open_book(path) as book:
        (label,) = book.list(lb.LabelRow)
        assert (label.verdict, label.how_known, label.start_s, label.blind) == (
            "chatter", "", None, False,
        )  # fmt: skip
        (found,), _ = by_pass([label], findings())
        assert found.one_pass.index == 1, "by its number, as it was meant then"
