"""Forms with files, streamed to disk with every limit enforced while they come in."""

from __future__ import annotations

import asyncio
import contextlib
import shutil
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, ParamSpec

from python_multipart.exceptions import MultipartParseError
from python_multipart.multipart import MultipartParser, parse_options_header

from chatter.page.limits import PageLimits

if TYPE_CHECKING:
    from python_multipart.multipart import MultipartCallbacks
    from starlette.requests import Request

P = ParamSpec("P")

#: Why a file without a byte is refused.
EMPTY = "It is empty: copy it again from the phone."


class Refused(Exception):
    """An upload that is not taken: a status and a sentence."""

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status
        self.sentence = sentence


@dataclass
class UploadedPart:
    """A file as it came in; ``path`` is None when it was refused, ``why`` then says why."""

    field: str
    name: str
    path: Path | None
    size_bytes: int = 0
    why: str = ""


@dataclass
class Form:
    """What came in."""

    fields: dict[str, str] = field(default_factory=dict)
    files: list[UploadedPart] = field(default_factory=list)

    def drop(self) -> None:
        """Delete every file that was not adopted."""
        for file in self.files:
            if file.path is not None:
                file.path.unlink(missing_ok=True)


async def read_form(
    request: Request,
    limits: PageLimits,
    new_path: Callable[[], Path],
    check: Callable[[dict[str, str]], None],
) -> Form:
    """Read a multipart form; files go to disk as they come.

    Parameters
    ----------
    request : starlette.requests.Request
    limits : PageLimits
    new_path : callable
        Gives a fresh place for each file; the client's names are never used for it.
    check : callable
        Gets the fields that stand before the first file, and raises to refuse the form
        before a byte of a file is written.

    Raises
    ------
    Refused
        The request is no such form, is too large, or stopped coming.
    """
    kind, options = parse_options_header(request.headers.get("content-type", ""))
    boundary = options.get(b"boundary", b"")
    if kind != b"multipart/form-data" or not 1 <= len(boundary) <= 200:
        raise Refused(400, "This is no form with a file: use the page's own button.")
    sink = _Sink(limits, new_path, check)
    parser = MultipartParser(boundary, sink.callbacks())
    try:
        pace = _Pace(limits)
        async for chunk in _chunks(request, limits.silence_s):
            parser.write(chunk)
            sink.raise_wrong()
            pace.check(len(chunk), sink.checked)
        parser.finalize()
        sink.raise_wrong()
        sink.check_fields()
        if not sink.whole:
            raise Refused(400, "The upload broke off before its end: send it again.")
    except MultipartParseError:
        sink.abandon()
        raise Refused(400, "The form came damaged: send it again.") from None
    except BaseException:
        sink.abandon()
        raise
    return sink.form


async def drain(request: Request, limits: PageLimits) -> None:
    """Read and throw away what still comes: else the browser never sees the answer."""
    pace = _Pace(limits)
    with contextlib.suppress(RuntimeError, Refused):  # it came in whole, or comes no more
        async for chunk in _chunks(request, limits.silence_s):
            pace.check(len(chunk), True)


async def _chunks(request: Request, silence_s: float) -> AsyncIterator[bytes]:
    stream = request.stream().__aiter__()
    while True:
        try:
            async with asyncio.timeout(silence_s):
                chunk = await anext(stream)
        except StopAsyncIteration:
            return
        except TimeoutError:
            raise Refused(
                408, f"Nothing came for {silence_s:g} seconds: send the recording again."
            ) from None
        if chunk:
            yield chunk


class _Pace:
    """Whether an upload comes on: one that drips takes a place from those that do."""

    def __init__(self, limits: PageLimits) -> None:
        self._limits = limits
        self._begun = self._since = time.monotonic()
        self._bytes = 0

    def check(self, size: int, checked: bool) -> None:
        """Some bytes came; ``checked``: the form has shown its token.  Raises Refused."""
        now, limits = time.monotonic(), self._limits
        self._bytes += size
        if not checked and now - self._begun > limits.fields_s:
            raise Refused(408, "The form comes too slowly: send the recording again.")
        if now - self._since > limits.rate_s:
            if self._bytes < limits.least_bytes_s * (now - self._since):
                raise Refused(
                    408,
                    "The recording comes too slowly (less than "
                    f"{limits.least_bytes_s / 1000:g} kB a second): go nearer to the network's "
                    "station, and send it again.",
                )
            self._since, self._bytes = now, 0


class _Sink:
    """Takes the parser's events; errors are kept and raised outside of the parser."""

    def __init__(self, limits: PageLimits, new_path: Callable[[], Path], check: Callable) -> None:
        self.form = Form()
        self.whole = False
        self._limits, self._new_path, self._check = limits, new_path, check
        self.checked = False
        self._wrong: Exception | None = None
        self._name = self._header = b""
        self._value = bytearray()
        self._headers: dict[bytes, bytes] = {}
        self._field = ""
        self._part: UploadedPart | None = None
        self._out: BinaryIO | None = None
        self._field_bytes = self._parts = 0

    def callbacks(self) -> MultipartCallbacks:
        """The parser's events and what is done on each."""
        return {
            "on_part_begin": self._careful(self._begin),
            "on_header_field": self._careful(lambda d, a, b: self._set_header(d[a:b])),
            "on_header_value": self._careful(lambda d, a, b: self._value.extend(d[a:b])),
            "on_header_end": self._careful(self._end_header),
            "on_headers_finished": self._careful(self._headers_done),
            "on_part_data": self._careful(lambda d, a, b: self._data(d[a:b])),
            "on_part_end": self._careful(self._end),
            "on_end": self._careful(self._all),
        }

    def _careful(self, what: Callable[P, None]) -> Callable[P, None]:
        def called(*arguments: P.args, **named: P.kwargs) -> None:
            if self._wrong is None:
                try:
                    what(*arguments, **named)
                except Exception as wrong:
                    self._wrong = wrong

        return called

    def raise_wrong(self) -> None:
        """Raise what went wrong within the parser."""
        if isinstance(self._wrong, OSError):
            raise Refused(507, "The disk has no room for this recording: make some, try again.")
        if self._wrong is not None:
            raise self._wrong

    def check_fields(self) -> None:
        """Have the fields checked, once."""
        if not self.checked:
            self.checked = True
            self._check(self.form.fields)

    def abandon(self) -> None:
        """Leave nothing behind."""
        if self._out is not None:
            self._out.close()
        self.form.drop()

    def _begin(self) -> None:
        self._parts += 1
        if self._parts > self._limits.fields + self._limits.files_at_once:
            raise Refused(400, "The form has too many fields: use the page's own form.")
        self._headers, self._name, self._value = {}, b"", bytearray()

    def _set_header(self, piece: bytes) -> None:
        self._name += piece

    def _end_header(self) -> None:
        self._headers[bytes(self._name).lower()] = bytes(self._value)
        self._name, self._value = b"", bytearray()
        if len(self._headers) > 20:
            raise Refused(400, "The form came damaged: send it again.")

    def _headers_done(self) -> None:
        _, options = parse_options_header(self._headers.get(b"content-disposition", b""))
        self._field = options.get(b"name", b"").decode("utf-8", "replace")[:100]
        name = options.get(b"filename")
        self._value = bytearray()
        self._part = None
        if name is None:
            return
        self.check_fields()
        self._part = UploadedPart(self._field, name.decode("utf-8", "replace"), None)
        self.form.files.append(self._part)
        if len([one for one in self.form.files if one.name]) > self._limits.files_at_once:
            self._part.why = f"More than {self._limits.files_at_once} files at once: send it apart."
        elif self._part.name:
            self._part.path = self._new_path()
            self._out = self._part.path.open("xb")

    def _data(self, piece: bytes) -> None:
        if self._part is None:
            self._field_bytes += len(piece)
            if self._field_bytes > self._limits.field_bytes:
                raise Refused(413, "The form's text is too long: shorten what is written in it.")
            self._value.extend(piece)
            return
        self._part.size_bytes += len(piece)
        if self._out is None or self._part.path is None:
            return
        if self._part.size_bytes > self._limits.file_bytes:
            self._refuse_file(
                self._part,
                f"It is larger than {self._limits.file_bytes >> 20} MB: send a shorter recording.",
            )
        elif self._part.size_bytes % (8 << 20) < len(piece) and (
            shutil.disk_usage(self._part.path.parent).free < self._limits.free_bytes
        ):
            self._refuse_file(
                self._part, "The disk has no room for it: make some, and send it again."
            )
        else:
            self._out.write(piece)

    def _refuse_file(self, part: UploadedPart, why: str) -> None:
        self._close_out()
        if part.path is not None:
            part.path.unlink(missing_ok=True)
        part.path, part.why = None, why

    def _close_out(self) -> None:
        if self._out is not None:
            self._out.close()
            self._out = None

    def _end(self) -> None:
        if self._part is None:
            self.form.fields[self._field] = self._value.decode("utf-8", "replace")
            return
        if self._out is not None:
            self._close_out()
            if not self._part.size_bytes:
                self._refuse_file(self._part, EMPTY)

    def _all(self) -> None:
        self.whole = True
