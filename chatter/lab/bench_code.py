"""Code of the processes that the benchmark measures: what every analysis must do, and meters."""

from __future__ import annotations

DENOMINATOR = """
import sys
import av, numpy as np
from scipy.fft import rfft
window = np.hanning(2048).astype(np.float32)
total = np.zeros(1025)
count = 0
keep = np.empty(0, np.float32)
fifo = av.AudioFifo()

def take(block):
    global keep, total, count
    x = np.concatenate([keep, block])
    frames = (len(x) - 2048) // 512 + 1
    if frames < 1:
        keep = x
        return
    view = np.lib.stride_tricks.sliding_window_view(x, 2048)[::512]
    for start in range(0, frames, 256):
        spectrum = rfft(view[start : min(frames, start + 256)] * window)
        total += (spectrum.real**2 + spectrum.imag**2).sum(axis=0)
    count += frames
    keep = x[frames * 512 :]

with av.open(sys.argv[1]) as container:
    for frame in container.decode(audio=0):
        frame.pts = None
        fifo.write(frame)
        while fifo.samples >= 65536:
            take(fifo.read(65536).to_ndarray()[0])
    if fifo.samples:
        take(fifo.read().to_ndarray()[0])
total /= count
"""

PEAK = """
import json, resource, sys
from pathlib import Path
_said = {}
def say(**what):
    _said.update(what)
def peak_mb():
    status = Path("/proc/self/status")
    if status.exists():  # ru_maxrss of a child begins at its parent's size
        return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
"""

TELL = """
say(mb=peak_mb())
print("SAID" + json.dumps(_said))
"""

SPLIT = """
import threading, time
_main = threading.main_thread().ident
_spent, _stop = {}, threading.Event()

def _place():
    frame, importing = sys._current_frames().get(_main), False
    while frame is not None:
        name = frame.f_globals.get("__name__", "")
        importing = importing or name.startswith("importlib._bootstrap")
        if name.startswith("chatter."):
            return "imports" if importing else name
        frame = frame.f_back
    return "imports" if importing else "start"

def _watch():
    last = time.perf_counter()
    while not _stop.wait(0.003):
        now, where = time.perf_counter(), _place()
        _spent[where] = _spent.get(where, 0.0) + now - last
        last = now

threading.Thread(target=_watch, daemon=True).start()
"""

SPLIT_END = """
_stop.set()
say(spent=_spent)
"""
