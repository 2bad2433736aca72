"""Strangers who open connections, say half a header, or drip: the page stays open to the shop.

Real sockets on the loopback address; the server is the one that ``chatter page`` runs.
"""

from __future__ import annotations

import contextlib
import re
import socket
import ssl
import threading
import time
from dataclasses import replace

import httpx
import pytest

from chatter.errors import OutputError
from chatter.page.certificate import certificate
from chatter.page.keys import Keyring
from chatter.page.limits import PageLimits
from chatter.page.serve import bind, serve
from chatter.page.settings import Settings
from chatter.page.spool import RecordingStore

LIMITS = replace(PageLimits(), workers=1, nice=0)


class Served:
    """A page run by ``serve``, in a thread."""

    def __init__(self, folder, limits=LIMITS, lan=False, https=False):
        self.socket = bind(0, lan=False)
        self.port = self.socket.getsockname()[1]
        self.base = f"http{'s' if https else ''}://127.0.0.1:{self.port}"
        secret = certificate(folder.parent, ["127.0.0.1"]).file if https else None
        self.keyring = Keyring(limits.wrong_keys)
        self.ready = threading.Event()
        settings = Settings(
            folder, folder / "book.db", self.port, lan, limits=limits, certificate=secret
        )
        given = (settings, self.keyring, self.socket, self.ready.set)
        self.thread = threading.Thread(target=serve, args=given, daemon=True)
        self.thread.start()
        assert self.ready.wait(20), "the page did not start"

    def client(self) -> httpx.Client:
        return httpx.Client(
            base_url=self.base, headers={"origin": self.base}, timeout=10, verify=False
        )

    def raw(self, said: bytes) -> socket.socket:
        made = socket.create_connection(("127.0.0.1", self.port), timeout=10)
        made.sendall(said.replace(b"HOST", f"127.0.0.1:{self.port}".encode()))
        return made


@pytest.fixture
def served(tmp_path):
    return lambda **how: Served(tmp_path / "page", **how)


HALF = b"GET / HTTP/1.1\r\nHost: HOST\r\nX-Slow:"


def closed(one: socket.socket, seconds: float) -> bool:
    """Whether the other end closes within a time."""
    one.settimeout(seconds)
    with contextlib.suppress(ConnectionError):
        try:
            while one.recv(4096):
                pass
        except TimeoutError:
            return False
    return True


@pytest.mark.parametrize("said", [b"", HALF])
def test_three_hundred_that_never_finish_their_header_keep_nobody_out(served, said):
    """205 were enough to answer 503 to everybody for as long as they were held."""
    page = served()
    with contextlib.ExitStack() as held, page.client() as client:
        for _ in range(300):
            held.enter_context(page.raw(said))
        time.sleep(0.3)
        begun = time.monotonic()
        for _ in range(5):
            assert client.get("/").status_code == 200
        assert time.monotonic() - begun < 5


def test_strangers_who_ask_and_stay_keep_nobody_out(served):
    """Whole requests without a key, each left standing after its answer."""
    page = served(lan=True)
    with contextlib.ExitStack() as held, page.client() as client:
        assert client.post("/enter", data={"key": page.keyring.new_key()}).status_code == 303
        for _ in range(300):
            one = held.enter_context(page.raw(b"GET / HTTP/1.1\r\nHost: HOST\r\n\r\n"))
            assert b" 401 " in one.recv(4096)
        assert client.get("/").status_code == 200


@pytest.mark.parametrize("drip", [False, True])
def test_a_header_has_its_time_whether_or_not_bytes_drip(served, drip):
    page = served(limits=replace(LIMITS, header_s=0.6))
    with page.raw(HALF) as one:
        begun = time.monotonic()
        while drip and time.monotonic() - begun < 0.5:
            one.sendall(b"x")
            time.sleep(0.1)
        assert closed(one, 3.0)
        assert 0.3 < time.monotonic() - begun < 3.0


def test_handshakes_that_are_never_finished_are_counted_and_keep_nobody_out(served):
    """The library heard of them only once they were done, and held each for a minute."""
    page = served(https=True, limits=replace(LIMITS, waiting_of_one=20))
    with contextlib.ExitStack() as held, page.client() as client:
        opened = [held.enter_context(page.raw(b"")) for _ in range(60)]
        assert closed(opened[0], 3.0) and closed(opened[20], 3.0)
        assert not closed(opened[-1], 0.3)
        assert client.get("/").status_code == 200


@pytest.mark.parametrize("said", [b"", b"\x16\x03\x01", b"GET / HTTP/1.1\r\n\r\n"])
def test_a_handshake_has_its_time(served, said, capfd):
    page = served(https=True, limits=replace(LIMITS, header_s=0.6))
    with page.raw(said) as one:
        begun = time.monotonic()
        assert closed(one, 5.0)
        assert time.monotonic() - begun < 4.0
    with page.client() as client:
        assert client.get("/").status_code == 200
    assert capfd.readouterr().err == ""


def test_a_request_sent_along_with_the_handshake_is_answered(served):
    page = served(https=True)
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    for _ in range(20):
        with page.raw(b"") as bare, context.wrap_socket(bare) as one:
            one.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n".encode())
            assert one.recv(4096).startswith(b"HTTP/1.1 200 ")


def test_whoever_leaves_in_the_middle_of_a_small_form_leaves_no_traceback(served, capfd):
    page = served()
    with page.client() as client:
        token, cookie = token_of(client)
        head = b"POST /units HTTP/1.1\r\nHost: HOST\r\nContent-Length: 1000\r\nCookie: " + cookie
        head += b"\r\nContent-Type: application/x-www-form-urlencoded\r\n\r\ncsrf=" + token
        page.raw(head).close()
        time.sleep(0.5)
        assert client.get("/").status_code == 200
    assert capfd.readouterr().err == ""


def test_a_small_form_that_drips_is_ended(served):
    page = served(limits=replace(LIMITS, fields_s=0.5))
    head = b"POST /units HTTP/1.1\r\nHost: HOST\r\nContent-Length: 1000\r\n"
    head += b"Content-Type: application/x-www-form-urlencoded\r\n\r\na="
    with page.raw(head) as one:
        begun = time.monotonic()
        assert b" 408 " in one.recv(4096)
        assert time.monotonic() - begun < 3


def upload(token: bytes, size: int = 10**6) -> bytes:
    """The beginning of an upload, up to the first bytes of its file."""
    part = b'--x\r\nContent-Disposition: form-data; name="%s"'
    body = part % b"csrf" + b"\r\n\r\n" + token + b"\r\n"
    body += part % b"file" + b'; filename="a.m4a"\r\n\r\nRIFF'
    return (
        b"POST /recordings HTTP/1.1\r\nHost: HOST\r\nContent-Length: %d\r\n" % size
        + b"Content-Type: multipart/form-data; boundary=x\r\n"
    ), body


def token_of(client) -> tuple[bytes, bytes]:
    answer = client.get("/")
    token = re.search(r'name="csrf" value="(\w+)"', answer.text)[1].encode()
    return token, f"chatter_form={client.cookies['chatter_form']}".encode()


def honest(client) -> int:
    token, _ = token_of(client)
    fields = {"csrf": token.decode(), "cut.speed": "57"}
    return client.post("/recordings", data=fields, files={"file": ("b.m4a", b"x" * 99)}).status_code


def test_silent_uploads_without_a_token_take_no_places(served):
    """50 of them kept honest ones out for a minute."""
    page = served()
    with contextlib.ExitStack() as held, page.client() as client:
        for _ in range(50):
            head, _ = upload(b"")
            held.enter_context(page.raw(head + b"\r\n--x\r\n"))
        time.sleep(0.3)
        assert honest(client) == 303


def test_one_device_has_so_many_places(served):
    page = served(limits=replace(LIMITS, uploads_of_one=3))
    with contextlib.ExitStack() as held, page.client() as client:
        token, cookie = token_of(client)
        head, body = upload(token)
        begun = head + b"Cookie: " + cookie + b"\r\n\r\n" + body
        for _ in range(3):
            held.enter_context(page.raw(begun))
        time.sleep(0.3)
        assert honest(client) == 503
        held.close()
        time.sleep(0.3)
        assert honest(client) == 303


def test_an_upload_that_drips_is_ended(served):
    page = served(limits=replace(LIMITS, rate_s=0.5))
    with page.client() as client:
        token, cookie = token_of(client)
        head, body = upload(token)
        with page.raw(head + b"Cookie: " + cookie + b"\r\n\r\n" + body) as one:
            begun = time.monotonic()
            with contextlib.suppress(OSError):
                while time.monotonic() - begun < 1.2:
                    one.sendall(b"x")
                    time.sleep(0.1)
            assert b" 408 " in one.recv(4096)


def test_wrong_keys_are_throttled_and_the_right_one_waits_its_minute(served, monkeypatch):
    page = served(lan=True, limits=replace(LIMITS, wrong_keys=4))
    with page.client() as client:
        said = [client.post("/enter", data={"key": f"no-{i}"}).status_code for i in range(6)]
        assert said == [401] * 4 + [429] * 2
        key = page.keyring.new_key()
        assert client.post("/enter", data={"key": key}).status_code == 429
        now = time.monotonic
        monkeypatch.setattr("chatter.page.keys.time.monotonic", lambda: now() + 61)
        assert client.post("/enter", data={"key": key}).status_code == 303


def test_nothing_is_said_of_an_address_that_will_not_serve(tmp_path, capsys):
    """A second page on the same data folder: its address was printed before it failed."""
    from chatter.cli import main

    page = Served(tmp_path / "page")
    given = ["page", "--port", "0", "--data", str(tmp_path / "page")]
    assert main([*given, "--book", str(tmp_path / "b.db")]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "Another page already uses" in said.err
    assert page.ready.is_set()


def test_planted_links_are_not_followed(run, tmp_path):
    page = run(folder=tmp_path / "page")
    page.send(("a.m4a", b"x" * 500))
    (one,) = page.desk.spool.all()
    page.wait(one.id)
    page.stop()
    secret = tmp_path / "secret.txt"
    secret.write_text("not for you")
    folder = page.desk.spool.folder(one)
    (folder / "play").symlink_to(secret)
    (folder / "view.json").write_text('{"mime": "audio/wav", "samples": 4, "rate_hz": 8000}')
    again = run(folder=tmp_path / "page")
    assert not (folder / "play").exists() and secret.read_text() == "not for you"
    (folder / "play").symlink_to(secret)  # planted while it runs
    answer = again.client.get(f"/recordings/{one.id}/sound")
    assert answer.status_code == 404 and "not for you" not in answer.text
    take = again.desk.spool.take_folder(one, 1)
    take.mkdir(parents=True, exist_ok=True)
    (take / "report.html").symlink_to(secret)
    assert again.client.get(f"/recordings/{one.id}/report").status_code == 404
    again.stop()
    folder.rename(tmp_path / "elsewhere")
    folder.symlink_to(tmp_path / "elsewhere")
    assert not run(folder=tmp_path / "page").desk.spool.all()
    assert (tmp_path / "elsewhere" / "recording").exists(), "only the link is removed"


def test_links_planted_among_recordings_being_made_are_not_followed(run, tmp_path):
    """One would be taken up at the start: cut to a whole number of samples, and listened to."""
    page = run(folder=tmp_path / "page")
    page.stop()
    mine = tmp_path / "mine.wav"
    mine.write_bytes(b"RIFF" + bytes(100_001))
    live = tmp_path / "page" / "live"
    (live / f"{'ab' * 10}.wav").symlink_to(mine)
    assert not run(folder=tmp_path / "page").desk.spool.all()
    assert mine.stat().st_size == 100_005 and not list(live.iterdir())


def test_a_folder_of_recordings_being_made_that_is_a_link_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "page").mkdir()
    (tmp_path / "page" / "live").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="is a link"):
        RecordingStore(tmp_path / "page")
