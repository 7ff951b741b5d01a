"""Serve the application: one process with threads, on a socket that is bound before anything is promised."""

import signal
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from calib.errors import CalibError
from calib.faces.pages.frame.application import application
from calib.faces.pages.frame.served import Served
from calib.records import database
from calib.records.credentials import Credentials

THIS_MACHINE, EVERY_ADDRESS = "127.0.0.1", "0.0.0.0"  # noqa: S104 (only where it is asked for)
_AT_ONCE = 400  # connections; whoever comes beyond them is told to come again
_ENDS_WITHIN = 10  # [s] for what is under way, once it is told to end


def bound(host: str, port: int) -> socket.socket:
    """A socket on a port, 0 for any that is free; raises CalibError where it cannot be had."""
    try:
        listening = socket.create_server((host, port))
    except OSError as error:
        raise CalibError(f"port {port} cannot be served ({error.strerror}): name another") from error
    # Else a page waits 40 ms for the acknowledgement of its head; asyncio sets this where the socket names its protocol alone.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listening


def serve_pages(
    records: str,
    credentials: Path,
    listening: socket.socket,
    base_address: str,
    certificate: tuple[Path, Path] | None,
    ready: Callable[[Served], None],
    *,
    is_behind_proxy: bool,
) -> None:
    """Serve until the process is told to end (SIGTERM, SIGINT); `certificate` is its file and that of its key.

    Behind a proxy on this machine who asks is the one that the proxy names. Raises CalibError, RecordsError.
    """
    engine = database.open_records(records)
    try:
        served = Served(engine, Credentials(credentials), base_address)
        file, key = certificate or (None, None)
        server = uvicorn.Server(
            uvicorn.Config(
                application(served), lifespan="off", access_log=False, log_level="warning", server_header=False,
                proxy_headers=is_behind_proxy, forwarded_allow_ips=THIS_MACHINE, limit_concurrency=_AT_ONCE, ws="none",
                timeout_graceful_shutdown=_ENDS_WITHIN, ssl_certfile=file, ssl_keyfile=key,
            )
        )  # fmt: skip
        _load(server)
        ready(served)
        before = [(each, signal.signal(each, lambda *_: None)) for each in (signal.SIGTERM, signal.SIGINT)]
        try:
            server.run(sockets=[listening])
        finally:
            for each, handler in before:
                signal.signal(each, handler)
    finally:
        engine.dispose()


def _load(server: uvicorn.Server) -> None:
    """Read certificate and key now, so that what is wrong with them is one line."""
    try:
        server.config.load()
    except (OSError, ValueError) as error:  # of ssl among them
        raise CalibError(f"certificate and key cannot be used: {error}") from error
