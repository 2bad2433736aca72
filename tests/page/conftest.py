"""A real page on a free port, driven over HTTP; workers real or made to misbehave."""

from __future__ import annotations

import re
import shutil
import socket
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
import uvicorn

from chatter.page.app import make_app
from chatter.page.keys import Keyring
from chatter.page.limits import PageLimits
from chatter.page.settings import Settings

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")
DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"

#: A worker that answers at once, without listening to anything.
QUICK = """
import json, sys
from pathlib import Path
request = json.load(sys.stdin)
Path(request["recording"]).read_bytes()
print(json.dumps({"wrong": "Nothing was heard in this test: send another."}))
sys.exit(2)
"""


class Running:
    """A page that runs in a thread of this process."""

    def __init__(self, folder: Path, *, lan=False, limits=None, worker=QUICK, port=0):
        self.socket = socket.socket()
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.socket.bind(("127.0.0.1", port))
        self.port = self.socket.getsockname()[1]
        self.base = f"http://127.0.0.1:{self.port}"
        usual = replace(PageLimits(), workers=1, nice=0)
        self.settings = Settings(folder, folder / "book.db", self.port, lan, limits=limits or usual)
        self.keyring = Keyring()
        more = {} if worker is None else {"worker": (sys.executable, "-c", worker)}
        self.app = make_app(self.settings, self.keyring, **more)
        self.desk = self.app.desk
        config = uvicorn.Config(
            self.app, http="h11", ws="none", lifespan="on", log_level="error", access_log=False
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, args=([self.socket],), daemon=True)
        self.thread.start()
        until = time.monotonic() + 60
        while not self.server.started:
            assert self.thread.is_alive() and time.monotonic() < until, "the page did not start"
            time.sleep(0.01)
        self.client = httpx.Client(
            base_url=self.base,
            timeout=30,
            headers={"origin": self.base},
            verify=False,  # plain http: reading all certificates costs more than a test
        )
        if lan:
            self.let_in()

    def let_in(self) -> None:
        self.client.post("/enter", data={"key": self.keyring.new_key()})

    def token(self) -> str:
        return re.search(r'name="csrf" value="(\w+)"', self.client.get("/").text)[1]

    def post(self, path: str, **fields) -> httpx.Response:
        return self.client.post(path, data={"csrf": self.token(), **fields})

    def send(self, *files, path="/recordings", accept="text/html", **fields) -> httpx.Response:
        """Upload; each file is (name, bytes)."""
        stated = {"csrf": self.token(), "cut.speed": "106", "cutter.teeth": "48", **fields}
        parts = [("file", (name, data, "audio/mp4")) for name, data in files]
        return self.client.post(path, data=stated, files=parts, headers={"accept": accept})

    def wait(self, id_: str, *, seconds=120.0):
        """The newest take of a recording, once it is over."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            take = self.desk.spool.get(id_).last
            if take and take.state in ("done", "failed"):
                return take
            time.sleep(0.02)
        raise AssertionError(f"no answer: {self.desk.spool.get(id_)}")

    def stop(self) -> None:
        self.client.close()
        self.server.should_exit = True
        self.thread.join(15)
        assert not self.thread.is_alive()


@pytest.fixture(scope="session")
def running():
    """The class of a running page, for fixtures of wider scope."""
    return Running


@pytest.fixture
def run(tmp_path):
    """Start a page; all are stopped at the end of the test."""
    started = []

    def start(folder=None, **how) -> Running:
        made = Running(folder or tmp_path / "page", **how)
        started.append(made)
        return made

    yield start
    for one in started:
        if one.thread.is_alive():
            one.stop()


@pytest.fixture(scope="module")
def playing():
    """The driver of browsers; there may be one at a time."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield play


@pytest.fixture(scope="module")
def chromium(playing):
    browser = playing.chromium.launch(
        executable_path=CHROMIUM,
        args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
    )
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def short_aac(tmp_path_factory) -> Path:
    """14 s of the demo recording of a chattering saw (simulated), as AAC in m4a."""
    import av
    import numpy as np

    from chatter.sound.recording import Recording

    with Recording(DEMO / "04-saw-chatter.mp4") as heard:
        rate = heard.rate_hz
        mono = np.concatenate([block[:, 0] for block in heard.blocks()])[2 * rate : 16 * rate]
    path = tmp_path_factory.mktemp("aac") / "short.m4a"
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=rate)
        stream.layout, stream.bit_rate = "mono", 96_000
        frame = av.AudioFrame.from_ndarray(np.clip(mono, -1, 1)[None, :], "fltp", "mono")
        frame.sample_rate, frame.pts = rate, 0
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path
