"""Many people at once: ``python -m chatter.lab.load``.

Starts a page of its own in a folder that is removed afterwards, has clients send 2-minute
recordings at the same moment and ask for their answers as a browser does, and measures
meanwhile how long the first page takes to its first byte.  The recordings are simulated.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import re
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from dataclasses import dataclass
from pathlib import Path

LIMIT_MS = 200.0
_PATIENCE_S = 900.0


@dataclass(frozen=True)
class Client:
    """What became of one client."""

    sent_s: float  # until its upload was taken
    answered_s: float  # until its answer was there
    verdict: str  # "" when none came


def main(arguments: list[str] | None = None) -> int:
    """Run the rehearsal and print what came out; 1 when something was lost or too slow."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.load", description=__doc__)
    parser.add_argument("--clients", type=int, default=20, help="people sending at once")
    parser.add_argument("--minutes", type=float, default=2.0, help="length of each recording")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="chatter-load-") as folder:
        recording = Path(folder) / "recording.m4a"
        lengthened_recording(recording, 60 * options.minutes)
        with running_page(Path(folder) / "page") as port:
            quiet = [first_byte_ms(port) for _ in range(20)]
            begun = time.monotonic()
            command = [sys.executable, "-m", "chatter.lab.load_clients"]
            work = subprocess.Popen(
                [*command, str(port), str(recording), str(options.clients)],
                stdout=subprocess.PIPE,
                text=True,
            )
            waits = []
            while work.poll() is None:
                waits.append(first_byte_ms(port))
                time.sleep(0.05)
            clients = [Client(**one) for one in json.loads(work.stdout.read())]
            took = time.monotonic() - begun
            kept = _listed(port)
    return print_figures(clients, kept, quiet, waits, took, options.minutes)


def print_figures(clients, kept: int, quiet, waits, took: float, minutes: float) -> int:
    """Print the figures; the exit code."""
    answered = [one for one in clients if one.verdict]
    slow = sorted(waits)
    p95, worst = slow[int(0.95 * (len(slow) - 1))], slow[-1]
    print(f"{len(clients)} clients, a {minutes:g}-minute recording (simulated) each, all at once")
    print(f"  uploads taken          {sum(one.sent_s > 0 for one in clients)}")
    print(f"  kept on the page       {kept}")
    print(f"  answered               {len(answered)}")
    if answered:
        told = sorted(one.answered_s for one in answered)
        print(f"  first and last answer  {told[0]:.1f} s, {told[-1]:.1f} s")
    print(f"  all over after         {took:.1f} s")
    print(f"First byte of the first page, {len(waits)} times meanwhile:")
    print(f"  before, nothing to do  {sorted(quiet)[len(quiet) // 2]:.1f} ms (middle)")
    print(f"  middle                 {slow[len(slow) // 2]:.1f} ms")
    print(f"  95 of 100 within       {p95:.1f} ms")
    print(f"  longest                {worst:.1f} ms (limit {LIMIT_MS:g} ms)")
    good = len(answered) == kept == len(clients) and worst < LIMIT_MS
    print("All answered, none lost, page quick." if good else "NOT as it should be.")
    return 0 if good else 1


def lengthened_recording(path: Path, seconds: float) -> None:
    """A recording of this length, as AAC in m4a, from one of the demo recordings."""
    import av
    import numpy as np

    from chatter.demo import demo_takes
    from chatter.sound.recording import Recording

    take = next(one for one in demo_takes() if "chatter" in one.recording.name)
    with Recording(take.recording) as heard:
        rate = heard.rate_hz
        mono = np.concatenate([block[:, 0] for block in heard.blocks()])
    whole = np.clip(np.resize(mono, int(seconds * rate)), -1, 1)
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=rate)
        stream.layout, stream.bit_rate = "mono", 128_000
        frame = av.AudioFrame.from_ndarray(whole[None, :], "fltp", "mono")
        frame.sample_rate, frame.pts = rate, 0
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def of_its_own(recording: bytes) -> bytes:
    """The same sound in a file of other content: an mp4 may end in boxes without meaning."""
    box = uuid.uuid4().bytes
    return recording + struct.pack(">I4s", 8 + len(box), b"free") + box


@contextlib.contextmanager
def running_page(folder: Path):
    """A page in a process of its own; yields its port."""
    command = [sys.executable, "-m", "chatter", "page", "--port", "0"]
    process = subprocess.Popen(
        [*command, "--data", str(folder), "--book", str(folder / "book.db")],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        line = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", line)
        if found is None:
            raise SystemExit(f"The page did not start: {line}")
        threading.Thread(target=process.stdout.read, daemon=True).start()
        port = int(found[1])
        _until_up(port)
        yield port
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _until_up(port: int) -> None:
    until = time.monotonic() + 30
    while time.monotonic() < until:
        with contextlib.suppress(OSError):
            first_byte_ms(port)
            return
        time.sleep(0.1)
    raise SystemExit("The page did not come up within 30 s.")


def first_byte_ms(port: int) -> float:
    """Time from asking for the first page, on a new connection, to its first byte [ms]."""
    begun = time.perf_counter()
    with socket.create_connection(("127.0.0.1", port), timeout=30) as raw:
        raw.sendall(
            f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode()
        )
        if not raw.recv(1):
            raise OSError("the page closed the connection")
        took = 1000 * (time.perf_counter() - begun)
        while raw.recv(65536):
            pass
    return took


def _listed(port: int) -> int:
    """How many recordings the page lists."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("GET", "/recordings")
    return connection.getresponse().read().count(b'<a href="/recordings/')


if __name__ == "__main__":
    sys.exit(main())
