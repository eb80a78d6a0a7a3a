"""HTTP under /api/ and the files of the page."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlencode

import segno
from flask import Flask, Response, request, send_file, send_from_directory
from werkzeug.exceptions import HTTPException, NotFound

from assistant import resources, set_up
from assistant.errors import FileError, PackError, ThirdhandError
from assistant.finding import searches
from assistant.plans import find_job, find_pack, plan_if_readable
from assistant.procedure.load import load_job, load_pack
from assistant.procedure.model import Job
from assistant.procedure.outline import outline
from assistant.records import log
from assistant.server.guard import LOCAL_HOSTS, bare
from assistant.server.hub import Hub
from assistant.server.messages import STRING_MAX
from assistant.server.pairing import Pairing
from assistant.server.pictures import unfit

PHOTO_MAX_BYTES = 3_000_000
PHOTO_MAX_AGE_S = 86_400.0  # one that waited longer is dated by when it came
CREWS = (["lead"], ["lead", "helper"])
SHEET = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")


def _sheets() -> list[str]:
    """Names of the job sheets that come with the packs."""
    return sorted(path.stem for path in (resources.steps_dir() / "jobs").glob("*.yaml"))


def _sheet(name: str) -> Job:
    """The sheet of a name that comes with the packs."""
    if not SHEET.fullmatch(name) or name not in _sheets():
        raise Problem(404, "There is no such job sheet here.", "Choose one from /api/sheets.")
    return load_job(find_job(name))


def _chosen(body: dict[str, Any], job: Job) -> tuple[list[str], list[str]]:
    """Packs, in the sheet's order, and people of a new job; none stands for those of the sheet."""
    packs, people = body.get("packs", []), body.get("people", [])
    if not isinstance(packs, list) or not all(each in job.packs for each in packs):
        listed = f"Name packs of {job.job}: {', '.join(job.packs)}."
        raise Problem(400, "Not each of these parts is on the job sheet.", listed)
    if "packs" in body and not packs:
        raise Problem(400, "No part is chosen.", "Choose one part or more.")
    if people not in ([], *CREWS):
        raise Problem(400, "There is no such crew.", 'Send ["lead"] or ["lead", "helper"].')
    return [each for each in job.packs if each in packs], people


@contextmanager
def _set_up(body: dict[str, Any], spec: str) -> Iterator[Path]:
    """The job file of a sheet as the form wants it; what is wrong is told by field, or by line."""
    changes, plan = body.get("changes") or {}, body.get("plan")
    if not isinstance(changes, dict):
        raise Problem(400, "The changes are no object.", "Send options, supply, instruments.")
    with TemporaryDirectory() as folder:
        try:
            yield set_up.make_over(spec, changes, _plan_file(plan), Path(folder))
        except FileError as error:
            where = f"{Path(error.file).name}, line {error.line}: " if error.line else ""
            raise Problem(
                409, f"{where}{error.problem}.", "Put that right, then try again."
            ) from error


def _plan_file(given: Any) -> set_up.PlanFile | None:
    if given is None:
        return None
    try:
        raw = base64.b64decode(given["base64"], validate=True)
        return set_up.PlanFile(str(given["name"])[-STRING_MAX:], raw)
    except (KeyError, TypeError, ValueError) as error:
        do = 'Send {"name": "plan.csv", "base64": its bytes}.'
        raise Problem(400, "The terminal plan did not arrive as a file.", do) from error


def _door(name: str, job: Job) -> dict[str, str]:
    return {"name": name, "site": job.site, "door": job.door, "door_type": job.door_type}


def _options() -> set[str]:
    """Every option that some sheet has."""
    return {option for name in _sheets() for option in _sheet(name).options}


def _pack_row(name: str) -> dict[str, Any]:
    """What the set-up of a job tells of a pack."""
    pack = load_pack(find_pack(name))
    people = max([pack.crew, *(step.crew for step in pack.steps)])
    told = {"name": pack.name, "title": pack.title, "minutes": pack.minutes}
    return told | {"people": people}


def _download(body: bytes, mimetype: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, mimetype=mimetype, headers=disposition)


def _qr(text: str) -> dict[str, Any]:
    """A QR code as a path of horizontal lines, one unit a module, with its quiet zone."""
    rows = list(segno.make_qr(text, error="m").matrix_iter(border=4))
    lines = [
        f"M{x} {y + 0.5}h1" for y, row in enumerate(rows) for x, dark in enumerate(row) if dark
    ]
    return {"size": len(rows), "path": "".join(lines)}


class Problem(ThirdhandError):
    """A request that can't be met: what is wrong, and what to do."""

    def __init__(self, status: int, what: str, do: str):
        super().__init__(f"{what} {do}")
        self.status, self.what, self.do = status, what, do


def install(app: Flask, hub: Hub, web: Path, pairing: Pairing | None = None) -> None:
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

    def known(job_id: str) -> str:
        if not any(row["id"] == job_id for row in hub.jobs.list()):
            raise Problem(404, "There is no such job here.", "Choose one from /api/jobs.")
        return job_id

    @app.get("/api/health")
    def health() -> Any:
        return {"ok": True, "default_job": hub.default_job, "pairing": pairing is not None}

    @app.post("/api/join")
    def join() -> Any:
        body = request.get_json(silent=True)
        given = body if isinstance(body, dict) else {}
        code, key = (str(given.get(name) or "")[:STRING_MAX] for name in ("code", "key"))
        role = pairing.redeem(code, key, request.remote_addr or "") if pairing else None
        if role is None:
            raise Problem(
                403, "That code is not valid, or was used.", "Scan the one shown now, or wait."
            )
        return {"role": role}

    @app.get("/api/jobs")
    def jobs() -> Any:
        return {"jobs": hub.jobs.list(), "default_job": hub.default_job}

    @app.post("/api/jobs")
    def new_job() -> Any:
        body = request.get_json(silent=True)
        given = body if isinstance(body, dict) else {}
        spec = given.get("job")
        if not isinstance(spec, str) or not SHEET.fullmatch(spec):
            raise Problem(400, "No job was named.", 'Send {"job": "NAME"} with a name, not a path.')
        job = _sheet(spec)
        packs, people = _chosen(given, job)
        if not given.get("changes") and given.get("plan") is None:
            return {"job": hub.new(spec, packs, people).job_id}, 201
        with _set_up(given, spec) as path:
            return {"job": hub.new(str(path), packs, people).job_id}, 201

    @app.post("/api/sheets/<name>/look")
    def look(name: str) -> Any:
        body = request.get_json(silent=True)
        _sheet(name)
        with _set_up(body if isinstance(body, dict) else {}, name) as path:
            lines, faults = set_up.plan_faults(path)
        return {"lines": lines, "faults": [{"line": f.line, "problem": f.problem} for f in faults]}

    @app.get("/api/pairing")
    def invite() -> Any:
        job = known(request.args.get("job") or hub.default_job or "")
        code = pairing.codes["helper"] if pairing else ""
        wanted = {"job": job, "role": "helper"} | ({"code": code} if code else {})
        url = f"{request.host_url}#{urlencode(wanted)}"
        near = bare(request.host) in LOCAL_HOSTS
        trust = None
        if "LANDING_PORT" in app.config:
            landing = f"http://{bare(request.host)}:{app.config['LANDING_PORT']}/"
            trust = {"url": landing, "qr": _qr(landing)}
        told = {"role": "helper", "code": code, "url": url, "near": near, "qr": _qr(url)}
        return told | {"trust": trust}

    @app.get("/api/jobs/<job_id>/view")
    def view(job_id: str) -> Any:
        found = hub.view(known(job_id))
        if found is None:  # to open it would write to its record, and a GET changes nothing
            raise Problem(409, "This job is not at work.", "Open it on a device, then ask again.")
        return found

    @app.get("/api/jobs/<job_id>/plan")
    def plan(job_id: str) -> Any:
        return outline(hub.plan(known(job_id)))

    @app.post("/api/jobs/<job_id>/photos")
    def photo(job_id: str) -> Any:
        request.max_content_length = PHOTO_MAX_BYTES
        session = hub.jobs.at_work(known(job_id))
        if session is None:
            raise Problem(409, "This job is not at work.", "Open it on a device, then try again.")
        if request.mimetype != "image/jpeg":
            raise Problem(415, "That is no JPEG picture.", "Send image/jpeg.")
        step, device = (request.args.get(name, "")[:STRING_MAX] for name in ("step", "device"))
        if step and step not in {each.id for each in session.plan.steps}:
            raise Problem(400, "There is no such step in this job.", "Name one of /plan, or none.")
        age_s = min(max(request.args.get("age_s", 0.0, float), 0.0), PHOTO_MAX_AGE_S)
        jpeg = request.get_data()
        why = unfit(jpeg)
        if why:
            raise Problem(415, why, "Draw it anew on the device, then send it again.")
        turn = session.photo(device, jpeg, step, age_s)
        return {"entry": turn.seq, "said": " ".join(turn.replies)}, 201

    @app.get("/api/jobs/<job_id>/record")
    def record(job_id: str) -> Any:
        return {"lines": list(log.show(hub.jobs.store, known(job_id)))}

    @app.get("/api/jobs/<job_id>/record/verify")
    def verify(job_id: str) -> Any:
        found = log.verify(hub.jobs.store, known(job_id))
        good = f"Whole: {found.count} entries, each fits the one before."
        return {
            "good": found.ok,
            "text": good if found.ok else f"Not whole: {found.why}.",
            "count": found.count,
            "head": found.head_hash,
        }

    @app.get("/api/jobs/<job_id>/record.json")
    def as_json(job_id: str) -> Response:
        text = log.export_json(hub.jobs.store, known(job_id))
        return _download(text.encode(), "application/json", f"{job_id}.json")

    @app.get("/api/jobs/<job_id>/record.csv")
    def as_csv(job_id: str) -> Response:
        text = log.export_csv(hub.jobs.store, known(job_id))
        return _download(text.encode("utf-8-sig"), "text/csv", f"{job_id}.csv")

    @app.get("/api/records/<job_id>/report.pdf")
    def as_pdf(job_id: str) -> Response:
        from assistant.records import report  # half a second to load, for what is seldom asked

        wanted = request.args.get("paper", "A4")
        paper = next((each for each in report.PAPERS if each == wanted), None)
        if paper is None:
            raise Problem(400, "There is no such paper.", "Take A4 or Letter.")
        store = hub.jobs.store
        head = store.head(known(job_id))
        plan = plan_if_readable(head)
        customer = request.args.get("for") == "customer"
        if customer:
            pdf = report.customer_page(store, job_id, plan, paper=paper)
        else:
            found = searches(store, job_id)
            pdf = report.commissioning_record(store, job_id, plan, paper=paper, faults=found)
        name = f"{job_id}-{'customer' if customer else 'record'}.pdf"
        return _download(pdf, "application/pdf", name)

    @app.get("/api/sheets")
    def sheets() -> Any:
        names = _sheets()
        return {"sheets": names, "doors": [_door(name, _sheet(name)) for name in names]}

    @app.get("/api/sheets/<name>")
    def sheet(name: str) -> Any:
        job = _sheet(name)
        rows = [_pack_row(each) for each in job.packs]
        told = _door(name, job) | {"people": list(job.people), "packs": rows}
        fitted = {"options": list(job.options), "known_options": sorted(_options())}
        here = {"supply": job.supply.model_dump(), "lines": len(job.terminals)}
        here["listening"] = job.listening
        return told | fitted | here | {"instruments": [i.model_dump() for i in job.instruments]}

    @app.get("/api/packs")
    def packs() -> Any:
        found: list[dict[str, Any]] = []
        for path in sorted(resources.steps_dir().glob("*/pack.yaml")):
            try:
                pack = load_pack(path.parent)
            except PackError as error:
                found.append({"name": path.parent.name, "problem": str(error)})
                continue
            row = {"name": path.parent.name, "title": pack.title, "version": pack.version}
            found.append(row | {"steps": len(pack.steps)})
        return {"packs": found}

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
