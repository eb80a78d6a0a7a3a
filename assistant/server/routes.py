"""HTTP under /api/ and the files of the page."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from flask import Flask, Response, request, send_file, send_from_directory
from werkzeug.exceptions import HTTPException, NotFound

from assistant.errors import ThirdhandError
from assistant.server.hub import Hub

JOB_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")


class Problem(ThirdhandError):
    """A request that can't be met: what is wrong, and what to do."""

    def __init__(self, status: int, what: str, do: str):
        super().__init__(f"{what} {do}")
        self.status, self.what, self.do = status, what, do


def install(app: Flask, hub: Hub, web: Path) -> None:
    """Add all routes but the WebSocket's."""

    @app.errorhandler(Problem)
    def problem(error: Problem) -> Any:
        return {"what": error.what, "do": error.do}, error.status

    @app.errorhandler(HTTPException)
    def refused(error: HTTPException) -> Any:
        return {"what": f"{error.name}.", "do": error.description or ""}, error.code or 500

    @app.errorhandler(Exception)
    def failed(error: Exception) -> Any:
        if isinstance(error, ThirdhandError):
            return {"what": str(error), "do": "Put that right, then try again."}, 409
        app.logger.exception("%s failed", request.path)
        return {"what": "The server could not do that.", "do": "Its log says why."}, 500

    def room(job_id: str) -> Any:
        if not JOB_ID.fullmatch(job_id):
            raise Problem(400, "That is no job's name.", "Choose one from /api/jobs.")
        try:
            return hub.room(job_id)
        except (KeyError, FileNotFoundError):
            raise Problem(404, "There is no such job here.", "Choose one from /api/jobs.") from None

    @app.get("/api/health")
    def health() -> Any:
        return {"ok": True, "default_job": hub.default_job}

    @app.get("/api/jobs")
    def jobs() -> Any:
        return {"jobs": hub.jobs.list(), "default_job": hub.default_job}

    @app.post("/api/jobs")
    def new_job() -> Any:
        body = request.get_json(silent=True)
        spec = body.get("job") if isinstance(body, dict) else None
        if not isinstance(spec, str) or not JOB_ID.fullmatch(spec):
            raise Problem(400, "No job was named.", 'Send {"job": "NAME"} with a name, not a path.')
        try:
            return {"job": hub.new(spec).job_id}, 201
        except (KeyError, FileNotFoundError):
            raise Problem(404, "There is no such job sheet here.", "Check the name.") from None

    @app.get("/api/jobs/<job_id>/view")
    def view(job_id: str) -> Any:
        return room(job_id).view

    @app.get("/api/audio/<digest>.wav")
    def audio(digest: str) -> Response:
        path = hub.sounds.path(digest)
        if path is None or not path.is_file():
            raise NotFound("This reply is no longer kept.")
        response = send_file(path, mimetype="audio/wav", conditional=True)
        response.headers["Cache-Control"] = "private, max-age=31536000, immutable"
        return response

    @app.get("/")
    def index() -> Response:
        return page("index.html")

    @app.get("/<path:name>")
    def page(name: str) -> Response:
        if name.startswith("api/"):
            raise NotFound("See the protocol for what there is under /api/.")
        response = send_from_directory(web, name)
        if name.endswith(".webmanifest"):
            response.mimetype = "application/manifest+json"
        elif name.endswith(".js"):
            response.mimetype = "text/javascript"
        response.headers["Cache-Control"] = "no-cache"  # asked again, answered 304 if unchanged
        return response
