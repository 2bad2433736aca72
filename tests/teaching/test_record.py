"""The record: how often right, what to hear again, and whether advice helped."""

from __future__ import annotations

import chatter.logbook as lb
from chatter.cli import main
from chatter.cli.log_teach import record_lines
from chatter.teaching.record import record_of


def test_right_and_wrong_by_verdict(book, mill, cut):
    cut(1, "chatter", 0.9, label="chatter", blind=True)
    cut(2, "chatter", 0.95, label="normal", by="AB")
    cut(3, "normal", 0.8, label="normal")
    divided = cut(4, "normal", 0.7, label="normal", by="AB")
    lb.add_label(book, divided, "chatter", pass_index=1, by="CD")
    cut(5, "normal", 0.5, label="side_rubbing")
    record = record_of(book, mill)
    assert (record.labelled, record.divided) == (4, 1)
    assert (record.right.hits, record.right.total) == (2, 3), "can't tell is no answer"
    assert record.by_verdict["chatter"].words.startswith("1 of 2")
    assert record.by_label["side_rubbing"].hits == 0
    assert (record.blind.hits, record.blind.total) == (1, 1)
    (wrong,) = record.wrong
    assert (wrong.verdict, wrong.label, wrong.confidence) == ("chatter", "normal", 0.95)
    text = "\n".join(record_lines(record))
    assert "said chatter 0.95, was normal cutting" in text and "4 more labelled cuts" in text


def test_after_a_fault_the_next_cut(book, mill, cut):
    for day, verdict, sure in ((1, "chatter", 0.9), (2, "normal", 0.9), (3, "chatter", 0.9)):
        cut(day, verdict, sure)
    cut(4, "side_rubbing", 0.5)
    steps = record_of(book, mill).steps
    assert [(one.verdict, one.verdict_after, one.better) for one in steps] == [
        ("chatter", "normal", True),
        ("chatter", "cannot_tell", None),
    ]
    assert steps[0].action == "Do."


def test_labels_of_passes_that_are_gone_are_told(book, mill, cut):
    from dataclasses import replace

    row = cut(1, "chatter", 0.9, label="chatter")
    listen = book.list(lb.ListenRow, recording=row)[0]
    moved = replace(listen.findings.passes[0], start_s=30.0, end_s=34.0)
    again = replace(listen.findings, passes=(moved,), made_by="chatter 9")
    lb.add_findings(book, row, book.get(lb.JobRow, listen.job), again)
    record = record_of(book, mill)
    assert record.labelled == 0
    (sentence,) = record.lost
    assert "pass 1 at 0.0 to 3.7 s, which the newest listen does not find" in sentence


def test_commands(book, cut, capsys, monkeypatch):
    monkeypatch.setenv("CHATTER_BOOK", str(book.path))
    assert main(["log", "show", "record"]) == 0
    assert "Say what cuts really were" in capsys.readouterr().out
    assert main(["log", "teach"]) == 2
    assert "nothing to learn from yet" in capsys.readouterr().err
    for i in range(12):
        cut(i // 3 + 1, "chatter", 0.9, label="normal" if i % 3 else "chatter")
    assert main(["log", "teach"]) == 0
    told = capsys.readouterr().out
    assert "mill by the window: 12 labelled cuts of 4 days" in told and "Log odds tuned" in told
    assert main(["log", "label", "1", "normal", "--pass", "1", "--by", "me"]) == 0  # divided
    assert "tuned by 11 labelled cuts now" in capsys.readouterr().out
    assert main(["log", "show", "record", "mill by the window"]) == 0
    assert "To listen to again" in capsys.readouterr().out
    assert main(["log", "show", "record", "lathe"]) == 2
