"""Nobody but the page that the command opened may speak to the server.

Every address begins with a random token; the Host header must be the loopback address
itself, so that no name that a stranger's server gives out can lead here; and a request
that another page starts is refused by its Origin.
"""

from __future__ import annotations

import secrets

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """Checks each request before the page's own code sees it.

    Parameters
    ----------
    app : ASGI application
        What answers at the addresses below the token.
    token : str
        The first part of every address.
    port : int
        The port that the server listens on.
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app, self.token, self.port = app, token, port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse, or pass on with the token taken off the address."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        refused = self._refusal(scope)
        if refused is not None:
            status, sentence = refused
            await PlainTextResponse(sentence, status)(scope, receive, _with_headers(send))
            return
        rest = scope["path"][len(self.token) + 1 :]
        inner = dict(scope, path=rest, raw_path=rest.encode(), root_path="")
        await self.app(inner, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = {key.lower(): value for key, value in scope["headers"]}
        host = f"127.0.0.1:{self.port}".encode()
        if headers.get(b"host") != host:
            return 421, "This address is not the marking page's."
        origin = headers.get(b"origin")
        if origin is not None and origin != b"http://" + host:
            return 403, "Another page may not ask here."
        if origin is None and scope["method"] not in ("GET", "HEAD"):
            return 403, "A change must come from the marking page itself."
        if headers.get(b"sec-fetch-site", b"none") not in (b"none", b"same-origin"):
            return 403, "Another page may not ask here."
        first = scope["path"].split("/", 2)[1] if scope["path"].startswith("/") else ""
        if not secrets.compare_digest(first.encode(), self.token.encode()):
            return 404, "Nothing here. Open the address that the command printed."
        return None


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [
                *message.get("headers", []),
                *((name.encode(), value.encode()) for name, value in HEADERS.items()),
            ]
        await send(message)

    return sending
