"""The door of the application: which hosts are let in, how much may be sent, and what every answer tells the browser to allow."""

from collections.abc import Mapping, Sequence
from contextlib import suppress

from anyio import move_on_after
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_SENT = 1_000_000  # [byte] of a form; a page that takes files says its own
AROUND_A_FILE = 100_000  # [byte] of the form that a file is sent in
LONGEST_ADDRESS = 4_000  # [byte]
_READ_OUT_WITHIN = 5  # [s]: what was sent with a request that is answered without it
_TOO_MUCH = "more was sent than is taken"

_ALLOWED = {
    "default-src": "'none'", "script-src": "'self'", "style-src": "'self'", "img-src": "'self' blob:", "connect-src": "'self'",
    "font-src": "'self'", "manifest-src": "'self'", "worker-src": "'self'", "form-action": "'self'", "base-uri": "'none'",
    "frame-ancestors": "'none'",
}  # fmt: skip
HEADERS = {
    "Content-Security-Policy": "; ".join(f"{what} {source}" for what, source in _ALLOWED.items()),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
NEVER_KEPT = {"Cache-Control": "no-store"}


class TooMuchSentError(Exception):
    """More was sent than its page takes."""


class Door:
    """Wraps the application; nothing behind it sees a request of another host, or more bytes than it takes."""

    def __init__(self, inner: ASGIApp, authority: str, largest: Mapping[str, int], *, by_https_alone: bool) -> None:
        self._inner = inner
        self._hosts = hosts_of(authority)
        self._largest = max([LARGEST_SENT, *largest.values()])
        self._headers = HEADERS | NEVER_KEPT
        if by_https_alone:  # the whole host, whatever its port
            self._headers |= {"Strict-Transport-Security": "max-age=31536000"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._inner(scope, receive, send)
            return
        headers = [(name.lower(), value) for name, value in scope["headers"]]
        refused = self._refused(headers, scope)
        if refused is not None:
            await refused(scope, receive, self._sending(send))
            return
        # A name in an address may hold a slash: it is parted as it was sent, and each name is read by itself.
        path = scope.get("raw_path") or scope["path"].encode()
        scope["path"] = path.partition(b"?")[0].decode("ascii", "replace")
        body = _Body(counted_bytes(self._largest, receive))

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                await body.read_out()
            await send(message)

        await self._inner(scope, body.next, self._sending(sent))

    def _refused(self, headers: Sequence[tuple[bytes, bytes]], scope: Scope) -> PlainTextResponse | None:
        hosts = [value.decode("latin-1").lower() for name, value in headers if name == b"host"]
        lengths = [value for name, value in headers if name == b"content-length"]
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return _said("this address is not served here", 421)
        if len(scope["path"]) + len(scope.get("query_string", b"")) > LONGEST_ADDRESS:
            return _said("the address is too long", 414)
        if b"%00" in (scope.get("raw_path") or b"") + scope.get("query_string", b""):  # no text on record has it
            return _said("there is no such page", 404)
        if any(not length.isdigit() or int(length) > self._largest for length in lengths):
            return _said(_TOO_MUCH, 413)
        return None

    def _sending(self, send: Send) -> Send:
        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
            await send(message)

        return sending


class _Body:
    """What is sent with a request, part by part."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._is_read = False

    async def next(self) -> Message:
        """The part that comes next."""
        message = await self._receive()
        self._is_read = not message.get("more_body", False)
        return message

    async def read_out(self) -> None:
        """Let come what nobody asked for: a connection that ends meanwhile takes the answer with it, and a proxy says 502."""
        with move_on_after(_READ_OUT_WITHIN), suppress(TooMuchSentError):
            while not self._is_read:
                await self.next()


def counted_bytes(largest: int, receive: Receive) -> Receive:
    """Bytes as they come, whatever was said of their number; raises TooMuchSentError for more than so many."""
    came = 0

    async def counted() -> Message:
        nonlocal came
        message = await receive()
        came += len(message.get("body", b""))
        if came > largest:
            raise TooMuchSentError
        return message

    return counted


def hosts_of(authority: str) -> frozenset[str]:
    """How a request may name the host of a base address; on this machine alone by its number too."""
    host, colon, port = authority.rpartition(":") if not authority.endswith("]") else (authority, "", "")
    host, tail = (authority, "") if not colon else (host, f":{port}")
    names = {host, "127.0.0.1", "[::1]"} if host == "localhost" else {host}
    return frozenset(f"{name}{tail}" for name in names) | (
        frozenset({f"{host}:443", f"{host}:80"}) if not tail else frozenset()
    )


async def too_much(_request: Request, _error: Exception) -> PlainTextResponse:
    """The answer to whoever sends more than is taken; nothing of it is read on."""
    return _said(_TOO_MUCH, 413)


def _said(told: str, status: int) -> PlainTextResponse:
    return PlainTextResponse(f"{told}\n", status)
