"""The bench app on a port of this machine: on the loopback only, or in the shop's network over TLS."""

from __future__ import annotations

import gc
import os
import secrets
import socket
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

from setwright.errors import InputError

if TYPE_CHECKING:
    from ssl import SSLContext

    from starlette.applications import Starlette
    from starlette.routing import BaseRoute

HOST = "127.0.0.1"
KEY = "bench.key"
KEY_BYTES = 32
FAREWELL = 3  # s that pages which listen are given when the bench stops


def key_of(folder: Path | None = None) -> bytes:
    """The key that signs cookies and forms, made at the first start and kept for this user alone.

    Args:
        folder: where it is kept; otherwise the place for what programs remember.
    Returns: 32 bytes; fresh ones where nothing can be kept.
    """
    base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    path = (folder or Path(base) / "setwright") / KEY
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            found = path.read_bytes()
            return found if len(found) == KEY_BYTES else secrets.token_bytes(KEY_BYTES)
        fresh = secrets.token_bytes(KEY_BYTES)
        with os.fdopen(handle, "wb") as file:
            file.write(fresh)
        return fresh
    except OSError:
        return secrets.token_bytes(KEY_BYTES)


def listening(port: int, host: str = HOST) -> socket.socket:
    """A socket on a port of this machine.

    Args:
        port: 0 for any that is free.
        host: address of the machine; that of the loopback is reached from this machine alone.
    Returns: the socket, listening.
    Raises: InputError where the port is taken.
    """
    # the protocol is named, or asyncio would not take it for TCP and let small packets wait 40 ms (TCP_NODELAY)
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(128)  # whoever comes from now on waits until the app is ready
    except OSError as error:
        sock.close()
        reason = (error.strerror or str(error)).lower()
        where = f"port {port}" if host == HOST else f"port {port} of {host}"
        raise InputError(f"{where} cannot be used: {reason}; name another with --port, or 0 for any.") from None
    return sock


def all_pages() -> Sequence[BaseRoute]:
    """Every page; loading them takes longer than all that the first answer needs.

    Returns: their routes.
    """
    from setwright.web.pages import ROUTES

    gc.freeze()  # what was loaded stays: while somebody waits for a page it is not searched for dead circles
    return ROUTES


def serve(shop: str, port: int, say: Callable[[str], None]) -> None:
    """Serve the bench app until it is stopped.

    Args:
        shop: folder or URL.
        port: 0 for any that is free.
        say: prints a line.
    Raises: InputError, FileFormatError where shop or port cannot be used.
    """
    from setwright.bench.opening import held
    from setwright.web import day
    from setwright.web.app import application, bench

    with closing(listening(port)) as sock, held(shop):
        app = application(bench(shop, key_of()), day.ROUTES, all_pages)
        say(f"{app.state.bench.name}: http://{HOST}:{sock.getsockname()[1]}/")
        say("This machine only. Stop with Ctrl+C.")
        _run(app, [sock])


def serve_network(shop: str, port: int, addresses: Sequence[str], say: Callable[[str], None]) -> None:
    """Serve the bench app to benches of the shop's network that were let in, until it is stopped.

    Args:
        shop: folder or URL.
        port: 0 for any that is free.
        addresses: of this machine, where it is reached; none for all it has in networks of a house.
        say: prints a line.
    Raises: InputError, FileFormatError where shop, port or address cannot be used, or the machine is in no network.
    """
    from setwright.bench.network import certificate, folder_of, names_of, own_addresses
    from setwright.bench.pairing import base_of, benches, invite
    from setwright.bench.shop import opened
    from setwright.web import day
    from setwright.web.app import application, bench
    from setwright.web.tls import context

    where = tuple(addresses) or own_addresses()
    base_of(where[0] if where else None)  # refuses where there is none, before anything is made
    with opened(shop) as found:
        folder = folder_of(found.path)
    made = certificate(folder, names_of(where))
    tls = context(made)
    with ExitStack() as stack:
        first = stack.enter_context(closing(listening(port, where[0])))
        port = first.getsockname()[1]
        socks = [first, *(stack.enter_context(closing(listening(port, one))) for one in (*where[1:], HOST))]
        base, hosts = base_of(where[0], port), (*names_of(where), "[::1]")
        app = application(bench(shop, key_of(), hosts, True, base, made.fingerprint), day.ROUTES, all_pages)
        say(f"{app.state.bench.name}: {base}/")
        say(f"In the shop's network over TLS. Its certificate signs itself and serves until {made.until}; SHA-256:")
        say(made.fingerprint)
        if made.made:
            say("The certificate is new: every bench asks once whether to trust it; compare the fingerprint.")
        if not any(one.until is None for one in benches(shop)):
            way = invite(shop, base)
            say(f"No bench is let in yet. Open this on the first one, within {way.minutes} minutes:")
            say(way.address)
        else:
            say("Let another bench in with Settings, Benches, or with setwright shop pair.")
        say("Stop with Ctrl+C.")
        _run(app, socks, tls)


def later_socket(*given: Any, **named: Any) -> Any:
    """What speaks to a web socket, loaded with the first one: the first answer need not wait for it.

    Args:
        given: as uvicorn gives them.
        named: likewise.
    Returns: the protocol of the socket.
    """
    from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

    return WebSocketsSansIOProtocol(*given, **named)


def _run(app: Starlette, socks: list[socket.socket], tls: SSLContext | None = None) -> None:
    import uvicorn

    class Server(uvicorn.Server):
        """It tells pages that listen to let go before it waits for them."""

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            app.state.leaving = True
            super().handle_exit(sig, frame)

    config = uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, date_header=False, loop="asyncio", http="h11",
        ws=f"{__name__}:later_socket", ws_max_size=1_000_000, timeout_graceful_shutdown=FAREWELL, lifespan="on",
        proxy_headers=False,
    )  # fmt: skip
    if tls is not None:
        config.load()
        config.ssl = tls
    Server(config).run(sockets=socks)
