"""Who may stand in the door: connections that ask nothing must not keep out those that do.

Anybody in the network can open connections without a key and leave them half said.  A request
has a few seconds to say its header, an answered connection as long for its next request; when
many stand in the door at once the longest-standing of those that have shown no key are closed
first, and of an address with too many its own.  Those already let in keep a reserve.  On an
encrypted line the handshake stands in the door too: a server that lets its library shake hands
hears of a connection only afterwards, and who never finishes would hold a place for a minute.
"""

from __future__ import annotations

import asyncio
import ssl
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Generic, Protocol, TypeVar, cast

from chatter.page.limits import PageLimits


class Standing(Protocol):
    """What stands in the door."""

    address: str

    def shut(self) -> None:
        """Close it."""


One = TypeVar("One", bound=Standing)


class Porter(Generic[One]):
    """Counts the connections of one server, and says whom to close."""

    def __init__(self, limits: PageLimits) -> None:
        self._limits = limits
        self._waiting: dict[One, bool] = {}  # connection -> let in; the longest-standing first
        self._by_address: Counter[str] = Counter()

    def waits(self, connection: One, address: str, let_in: bool) -> One | None:
        """A connection stands in the door; returns one to be closed for it, if any."""
        self.goes(connection, address)
        self._waiting[connection] = let_in
        self._by_address[address] += 1
        if self._by_address[address] > self._limits.waiting_of_one:
            return self._oldest(lambda one: one.address == address)
        strangers = sum(not known for known in self._waiting.values())
        if strangers > self._limits.waiting_strangers:
            return self._oldest(lambda one: not self._waiting[one])
        if len(self._waiting) > self._limits.waiting_all:
            return self._oldest(lambda _one: True)
        return None

    def goes(self, connection: One, address: str) -> None:
        """A connection does not stand in the door any more: it asks, or is gone."""
        if self._waiting.pop(connection, None) is not None:
            self._by_address[address] -= 1
            if not self._by_address[address]:
                del self._by_address[address]

    def _oldest(self, which: Callable[[One], bool]) -> One | None:
        waiting = [connection for connection in self._waiting if which(connection)]
        strangers = [connection for connection in waiting if not self._waiting[connection]]
        return next(iter(strangers or waiting), None)


def protocol(limits: PageLimits, certificate: Path | None = None) -> type:
    """The class of connections for uvicorn, one porter for all of them.

    With a certificate the connections are encrypted; the server itself then knows of none.
    """
    from uvicorn.protocols.http.h11_impl import H11Protocol

    porter: Porter[Standing] = Porter(limits)

    class Connection(H11Protocol):
        """A connection with a time limit while nothing is being answered."""

        address = ""
        _timer: asyncio.TimerHandle | None = None
        _early = b""

        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            super().connection_made(cast("asyncio.Transport", transport))
            self.address = self.client[0] if self.client else ""
            self._look()
            if self._early:
                self.data_received(self._early)

        def data_received(self, data: bytes) -> None:
            if self._is_early():  # came together with the end of the handshake
                self._early += data
                return
            super().data_received(data)
            self._look()

        def _is_early(self) -> bool:
            """Whether the handshake's transport was not handed over yet."""
            return getattr(self, "transport", None) is None

        def eof_received(self) -> None:
            if not self._is_early():
                super().eof_received()

        def on_response_complete(self) -> None:
            super().on_response_complete()
            self._look()

        def connection_lost(self, exc: Exception | None) -> None:
            porter.goes(self, self.address)
            self._unset()
            if not self._is_early():
                super().connection_lost(exc)

        def _look(self) -> None:
            """Start the clock when nothing is being answered, stop it when something is."""
            if self.cycle is not None and not self.cycle.response_complete:
                porter.goes(self, self.address)
                self._unset()
            elif self._timer is None and not self.transport.is_closing():
                # a byte now and then does not start it anew
                self._timer = self.loop.call_later(limits.header_s, self.shut)
                let_in = bool(self.scope and self.scope.get("chatter.let_in"))
                other = porter.waits(self, self.address, let_in)
                if other is not None:
                    other.shut()

        def _unset(self) -> None:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None

        def shut(self) -> None:
            porter.goes(self, self.address)
            self._unset()
            self.transport.close()

    if certificate is None:
        return Connection

    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate)

    class Handshake(asyncio.Protocol):
        """An encrypted connection until it has shaken hands; then a :class:`Connection`."""

        def __init__(self, **given: Any) -> None:
            self._given = given

        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            self._transport = cast("asyncio.Transport", transport)
            client = transport.get_extra_info("peername")
            self.address = client[0] if client else ""
            self._task = asyncio.get_running_loop().create_task(self._shake())
            other = porter.waits(self, self.address, False)
            if other is not None:
                other.shut()

        async def _shake(self) -> None:
            connection, loop = Connection(**self._given), asyncio.get_running_loop()
            try:
                line = await loop.start_tls(
                    self._transport,
                    connection,
                    context,
                    server_side=True,
                    ssl_handshake_timeout=limits.header_s,
                )
            except (OSError, asyncio.CancelledError):  # too slow, gone, or no handshake at all
                self._transport.abort()
                return
            finally:
                porter.goes(self, self.address)
            if line is not None and not line.is_closing():
                connection.connection_made(line)

        def shut(self) -> None:
            porter.goes(self, self.address)
            self._task.cancel()
            self._transport.abort()  # the task may not have begun

    return Handshake
