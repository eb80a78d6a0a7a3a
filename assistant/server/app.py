"""The app factory."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING

from flask import Flask

from assistant import resources
from assistant.server import guard, routes, socket
from assistant.server.guard import LOCAL_HOSTS
from assistant.server.hub import Hub
from assistant.server.pairing import Pairing

if TYPE_CHECKING:
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
    hosts: Collection[str] = LOCAL_HOSTS,
    make_endpointer: Callable[[], Endpointer] = _endpointer,
    web: Path | None = None,
    pairing: Pairing | None = None,
) -> Flask:
    """The web application for these jobs.

    Parameters
    ----------
    jobs : Jobs
        Opens jobs and lists them.
    default_job : str, optional
        Id of the job that a device gets which names none.
    hosts : collection of str
        Names and addresses this server answers to, in lower case, without port.
    make_endpointer : callable
        Makes what cuts a device's sound into utterances; called once a device and listening turn.
    web : Path, optional
        Folder of the page.
    pairing : Pairing, optional
        Codes and keys of devices; for a server that other machines can reach.

    Returns
    -------
    Flask
        With the hub under `app.extensions["hub"]`; close it when the server ends.
    """
    app = Flask("assistant.server", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = BODY_MAX_BYTES
    hub = Hub(jobs, default_job, make_endpointer)
    app.extensions["hub"] = hub
    guard.install(app, hosts, pairing)
    socket.install(app, hub, pairing)
    routes.install(app, hub, web or resources.web_dir(), pairing)
    return app
