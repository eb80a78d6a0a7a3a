"""Who may talk to the server: its own page and its own names, nobody else's.

A page of another site can't reach the job through the person's browser (cross-site requests),
nor under a name that was pointed at this machine (DNS rebinding).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, request

from assistant.server.pairing import Pairing

OPEN = ("/api/socket", "/api/audio/", "/api/health", "/api/join")
LOCAL_HOSTS = ("localhost", "127.0.0.1", "[::1]")


def _refuse(status: int, what: str, do: str) -> tuple[dict[str, str], int]:
    return {"what": what, "do": do}, status


def bare(host: str) -> str:
    """A host without its port."""
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()


def install(app: Flask, hosts: Collection[str], pairing: Pairing | None) -> None:
    """Check each request and add the headers that keep foreign code out of the page.

    `hosts`, in lower case, may change while the server runs.
    """

    @app.before_request
    def check() -> Any:
        host = request.headers.get("Host", "")
        if bare(host) not in hosts:
            return _refuse(
                421, "This server doesn't answer to that name.", "Open it by its own address."
            )
        live = request.headers.get("Upgrade", "").lower() == "websocket"
        if live or request.method not in ("GET", "HEAD", "OPTIONS"):
            # A browser always names the page a request comes from; other clients needn't.
            origin = request.headers.get("Origin")
            if origin is not None and urlsplit(origin).netloc.lower() != host.lower():
                return _refuse(403, "Another page sent this.", "Use this server's own page.")
            if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
                return _refuse(403, "Another page sent this.", "Use this server's own page.")
        # Neither type is one that a form of another site can send.
        if request.method == "POST" and not (request.is_json or request.mimetype == "image/jpeg"):
            return _refuse(415, "The request is not JSON.", "Send application/json.")
        # The page itself tells nothing, a reply's digest can't be guessed, the socket asks for the
        # key in its hello, and joining is how a device comes by one.
        private = request.path.startswith("/api/") and not request.path.startswith(OPEN)
        if pairing and private and not pairing.admits(request.headers.get("X-Device-Key", "")):
            return _refuse(403, "This device has not joined.", "Scan the code the server shows.")
        return None

    @app.after_request
    def protect(response: Response) -> Response:
        host = request.host if bare(request.host) in hosts else ""
        live = f"ws://{host} wss://{host}" if host else ""
        response.headers["Content-Security-Policy"] = (
            "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
            f"media-src 'self' blob:; worker-src 'self'; connect-src 'self' {live}; "
            "object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["Permissions-Policy"] = (
            "microphone=(self), camera=(self), screen-wake-lock=(self), geolocation=()"
        )
        return response
