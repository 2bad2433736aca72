"""Run the page: the socket, the server, what is printed."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Callable

from chatter.errors import OutputError
from chatter.page.keys import Keyring
from chatter.page.settings import Settings


def bind(port: int, *, lan: bool) -> socket.socket:
    """A listening socket; port 0 takes any free one.  Raises OutputError."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows, where the other would share the port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("0.0.0.0" if lan else "127.0.0.1", port))
    except OSError as wrong:
        listening.close()
        raise OutputError(
            f"Port {port} cannot be used ({wrong.strerror}): stop what uses it, or name another "
            "with --port."
        ) from wrong
    return listening


def own_addresses() -> list[str]:
    """This computer's addresses in the shop's network; nothing is sent to find them."""
    addresses = []
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    with probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # a documentation address: only the route is looked up
        addresses.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        named = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        addresses += [one[4][0] for one in named]
    return [one for one in dict.fromkeys(addresses) if not one.startswith("127.")]


def serve(
    settings: Settings,
    keyring: Keyring,
    listening: socket.socket,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Serve until Ctrl-C; ``ready`` is called once requests are answered.

    Raises OutputError, BookError.
    """
    import uvicorn

    from chatter.page.app import make_app
    from chatter.page.door import protocol

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if not self.should_exit:
                ready()

    config = uvicorn.Config(
        make_app(settings, keyring),
        http=protocol(settings.limits, settings.certificate),
        ws="none",
        lifespan="on",
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=True,
        proxy_headers=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=3,
        limit_concurrency=settings.limits.connections,
        h11_max_incomplete_event_size=32 * 1024,
    )
    Server(config).run(sockets=[listening])
