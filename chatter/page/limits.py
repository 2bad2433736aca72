"""Every limit of the page, on one screen."""

from __future__ import annotations

import os
from dataclasses import dataclass

MEBIBYTE = 1 << 20


@dataclass(frozen=True)
class PageLimits:
    """What one client, one file and one listen may cost."""

    file_bytes: int = 400 * MEBIBYTE  # an hour of phone film at the lowest setting
    photo_bytes: int = 30 * MEBIBYTE
    files_at_once: int = 20  # as many taps as one test may want
    field_bytes: int = 64 * 1024  # all text fields of a form together
    fields: int = 120
    form_bytes: int = 128 * 1024  # any request but an upload
    duration_s: float = 3900.0  # 65 minutes of sound
    spool_bytes: int = 20_000 * MEBIBYTE  # all recordings together
    free_bytes: int = 500 * MEBIBYTE  # what an upload leaves free on the disk
    waiting: int = 40  # recordings that may wait for their listen
    workers: int = max(1, (os.cpu_count() or 2) - 1)
    wall_s: float = 900.0  # one listen, by the clock
    cpu_s: int = 600  # one listen, of processor time
    memory_bytes: int = 1536 * MEBIBYTE  # address space of one listen; libraries take 0.4 GB
    written_bytes: int = 2048 * MEBIBYTE  # largest file one listen may write
    live_at_once: int = 4  # recordings that browsers make at the same time
    live_silence_s: float = 20.0  # a browser that sends no more of its recording has gone
    silence_s: float = 20.0  # an upload from which nothing comes any more
    fields_s: float = 15.0  # from the start of an upload until its form has shown its token
    least_bytes_s: float = 2000.0  # rate of an upload, over the last ``rate_s``
    rate_s: float = 20.0
    uploads_of_one: int = 12  # at a time, of one device
    header_s: float = 10.0  # for the header of a request, and between two requests
    connections: int = 400  # all together
    waiting_strangers: int = 100  # connections that ask nothing and have shown no key
    waiting_of_one: int = 64  # connections of one address that ask nothing
    waiting_all: int = 200  # connections that ask nothing, so that half of all is left
    wrong_keys: int = 10  # of one address within a minute
    nice: int = 5  # the page answers before the listens go on
