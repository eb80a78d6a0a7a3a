"""The app factory, and a server for it that can be stopped."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from flask import Flask
from werkzeug.serving import WSGIRequestHandler, make_server

from assistant import resources
from assistant.server import guard, routes, socket
from assistant.server.guard import LOCAL_HOSTS
from assistant.server.hub import Hub

if TYPE_CHECKING:
    import ssl

    from assistant.job import Jobs
    from assistant.speech.endpoint import Endpointer

BODY_MAX_BYTES = 65_536


def _endpointer() -> Endpointer:
    from assistant.speech.endpoint import Endpointer

    return Endpointer()


def create_app(
    jobs: Jobs,
    default_job: str | None = None,
    *,
    hosts: tuple[str, ...] = LOCAL_HOSTS,
    make_endpointer: Callable[[], Endpointer] = _endpointer,
    web: Path | None = None,
) -> Flask:
    """The web application for these jobs.

    Parameters
    ----------
    jobs : Jobs
        Opens jobs and lists them.
    default_job : str, optional
        Id of the job that a device gets which names none.
    hosts : tuple of str
        Names and addresses this server answers to, without port.
    make_endpointer : callable
        Makes what cuts a device's sound into utterances; called once a device and listening turn.
    web : Path, optional
        Folder of the page.

    Returns
    -------
    Flask
        With the hub under `app.extensions["hub"]`; close it when the server ends.
    """
    app = Flask("assistant.server", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = BODY_MAX_BYTES
    hub = Hub(jobs, default_job, make_endpointer)
    app.extensions["hub"] = hub
    guard.install(app, hosts)
    socket.install(app, hub)
    routes.install(app, hub, web or resources.web_dir())
    return app


class _Quiet(WSGIRequestHandler):
    """Says nothing of each request; errors still go to the log."""

    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        pass


class Server:
    """An app being served; one thread a connection."""

    def __init__(
        self,
        app: Flask,
        host: str = "127.0.0.1",
        port: int = 0,
        ssl_context: ssl.SSLContext | None = None,
    ):
        self._app = app
        self._server = make_server(
            host, port, app, threaded=True, request_handler=_Quiet, ssl_context=ssl_context
        )
        self.port: int = self._server.server_port
        scheme = "https" if ssl_context else "http"
        self.url = f"{scheme}://{host}:{self.port}"
        self._thread: threading.Thread | None = None

    def run(self) -> None:
        """Serve until `stop` is called or the process is interrupted."""
        try:
            self._server.serve_forever()
        finally:
            self._app.extensions["hub"].close()

    def start(self) -> Server:
        """Serve in a thread of its own."""
        self._thread = threading.Thread(target=self.run, name="server", daemon=True)
        self._thread.start()
        return self

    def stop(self) -> None:
        """Close every connection and stop serving."""
        self._server.shutdown()
        if self._thread is not None:
            self._thread.join(timeout=10)
        self._server.server_close()
