"""A server for the app that can be stopped."""

from __future__ import annotations

import contextlib
import errno
import socket
import ssl
import threading
from types import TracebackType

from flask import Flask
from werkzeug.serving import WSGIRequestHandler, make_server

from assistant.errors import ThirdhandError


class _Quiet(WSGIRequestHandler):
    """Says nothing of each request; errors still go to the log."""

    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        pass


class Server:
    """An app being served, one thread a connection, from the moment it is made.

    `port` is the one that was taken. As a context manager it stops at the end.
    """

    def __init__(self, app: Flask, host: str, port: int, ssl_context: ssl.SSLContext | None):
        self._app = app
        try:
            listening = socket.create_server((host, port), backlog=128)
        except OSError as error:
            raise ThirdhandError(_why_not(error, host, port)) from error
        with listening:
            self._server = make_server(
                host,
                port,
                app,
                threaded=True,
                request_handler=_Quiet,
                fd=listening.fileno(),
            )
            if ssl_context:
                # Hands are shaken in the connection's own thread: a device that stalls there must
                # not keep all others waiting.
                self._server.ssl_context = ssl_context
                self._server.socket = ssl_context.wrap_socket(
                    self._server.socket, server_side=True, do_handshake_on_connect=False
                )
            self.port: int = listening.getsockname()[1]
        scheme = "https" if ssl_context else "http"
        self.url = f"{scheme}://{host}:{self.port}"
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, name="server"
        )
        self._thread.daemon = True
        self._thread.start()

    def wait(self) -> None:
        """Return when the person interrupts the program, or `stop` was called elsewhere."""
        with contextlib.suppress(KeyboardInterrupt):
            while self._thread.is_alive():
                self._thread.join(timeout=0.5)

    def stop(self) -> None:
        """Stop serving and close every connection; the jobs' records are whole at any moment."""
        self._server.shutdown()
        self._thread.join(timeout=10)
        hub = self._app.extensions.get("hub")
        if hub:
            hub.close()
        self._server.server_close()

    def __enter__(self) -> Server:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()


def _why_not(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            f"port {port} is taken by another program, perhaps another Thirdhand; end that one, or "
            "choose another port with --port"
        )
    if error.errno == errno.EACCES:
        return f"port {port} is kept for the system; choose one above 1023 with --port"
    return f"port {port} of {host} can't be had ({error.strerror}); choose another one"


def listen(
    app: Flask, host: str = "127.0.0.1", port: int = 0, ssl_context: ssl.SSLContext | None = None
) -> Server:
    """The app served at an address; port 0 takes a free one.

    Raises
    ------
    ThirdhandError
        If the port can't be had.
    """
    return Server(app, host, port, ssl_context)
