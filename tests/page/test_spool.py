"""The data folder: what is kept, what is left alone, who may use it."""

from __future__ import annotations

import json

import pytest

from chatter.errors import OutputError
from chatter.page.keys import FormTokens, Keyring, load_secret
from chatter.page.spool import RecordingStore, shown_name


def _one(spool: RecordingStore, name="a.m4a"):
    part = spool.new_upload()
    part.write_bytes(b"sound")
    return spool.adopt(part, name, {"cut.speed": "57"})


@pytest.fixture
def spool(tmp_path):
    made = RecordingStore(tmp_path / "data")
    yield made
    made.close()


def _again(spool: RecordingStore) -> RecordingStore:
    spool.close()
    return RecordingStore(spool.data)


def test_what_was_kept_is_there_again(tmp_path):
    spool = RecordingStore(tmp_path)
    one = spool.add_take(_one(spool), {"cut.speed": "57"}, "inch")
    spool.change(one.id, 1, state="done", verdict="normal", share=1.0)
    again = _again(spool)
    assert again.get(one.id) == spool.get(one.id)
    assert again.get(one.id).last.verdict == "normal"
    again.close()


def test_progress_is_not_written_and_half_done_work_is_found(tmp_path):
    spool = RecordingStore(tmp_path)
    one = spool.add_take(_one(spool), {}, "metric")
    spool.change(one.id, 1, state="running")
    stamp = (spool.folder(one) / "meta.json").stat().st_mtime_ns
    spool.change(one.id, 1, keep=False, share=0.5, what="reading")
    assert spool.get(one.id).last.share == 0.5
    assert (spool.folder(one) / "meta.json").stat().st_mtime_ns == stamp
    again = _again(spool)
    assert again.unfinished() == [(one.id, 1)]
    again.close()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"id": "x", "takes": []}', '{"takes": 7}'])
def test_a_damaged_recording_is_left_alone(tmp_path, text):
    spool = RecordingStore(tmp_path)
    good, bad = _one(spool), _one(spool)
    (spool.folder(bad) / "meta.json").write_text(text)
    again = _again(spool)
    assert [one.id for one in again.all()] == [good.id]
    assert (again.recordings / bad.id / "recording").read_bytes() == b"sound"
    again.close()


def test_a_folder_that_claims_another_id_is_not_believed(tmp_path):
    spool = RecordingStore(tmp_path)
    one, other = _one(spool), _one(spool)
    meta = json.loads((spool.folder(one) / "meta.json").read_text())
    (spool.folder(other) / "meta.json").write_text(json.dumps({**meta, "id": "../../x"}))
    again = _again(spool)
    assert [each.id for each in again.all()] == [one.id]
    again.close()


def test_two_pages_cannot_have_one_folder(spool):
    with pytest.raises(OutputError, match="Another page already uses"):
        RecordingStore(spool.data)


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="name another with --data"):
        RecordingStore(tmp_path / "file" / "data")
    with pytest.raises(OutputError, match="name another with --data"):
        load_secret(tmp_path / "file" / "data")


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("slot 3.m4a", "slot 3.m4a"),
        ("../../etc/passwd", "passwd"),
        ("C:\\a\\b.wav", "b.wav"),
        ("\x00\n", "recording"),
        ("", "recording"),
        ("a\u202eb.m4a", "ab.m4a"),
        ("Fräsen – 3.m4a", "Fräsen – 3.m4a"),
    ],
)
def test_shown_names(name, shown):
    assert shown_name(name) == shown


def test_the_secret_outlives_a_restart_and_is_for_its_owner_only(tmp_path):
    first = load_secret(tmp_path)
    assert load_secret(tmp_path) == first and len(first) == 32
    assert (tmp_path / "secret").stat().st_mode & 0o077 == 0
    (tmp_path / "secret").write_bytes(b"short")
    assert len(load_secret(tmp_path)) == 32


def test_tokens_belong_to_their_cookie_and_secret():
    tokens, others = FormTokens(b"a" * 32), FormTokens(b"b" * 32)
    cookie = tokens.new_cookie()
    assert tokens.holds(cookie, tokens.token(cookie))
    assert not tokens.holds(cookie, others.token(cookie))
    assert not tokens.holds(tokens.new_cookie(), tokens.token(cookie))
    assert not tokens.holds(None, tokens.token(cookie)) and not tokens.holds(cookie, None)


def test_keys_are_used_once():
    used = []
    ring = Keyring()
    key = ring.new_key(lambda: used.append(1))
    assert ring.exchange("guess") is None and not used
    cookie = ring.exchange(key)
    assert ring.lets_in(cookie) and used == [1]
    assert ring.exchange(key) is None
    assert not ring.lets_in(key) and not ring.lets_in(None)
