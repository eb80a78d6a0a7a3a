"""HTTP: what is there, who may ask, and no trace of an exception."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from assistant.job import Jobs
from assistant.plans import on_record
from assistant.server.app import create_app
from assistant.server.pairing import Pairing


class Whole(FlaskClient):
    """A client that reads each answer to its end, so that its file is closed."""

    def open(self, *args: Any, **options: Any) -> Any:
        return super().open(*args, buffered=True, **options)


def key(pairing: Pairing, role: str) -> str:
    """The key of a device that joined in this role."""
    found = f"{role} {'0' * 32}"
    assert pairing.redeem(pairing.codes[role], found) == role
    return found


@pytest.fixture
def client(jobs: Jobs, job_id: str) -> Iterator[FlaskClient]:
    app = create_app(jobs, job_id)
    app.test_client_class = Whole
    with app.test_client() as found:
        found.environ_base["HTTP_HOST"] = "localhost"
        yield found
    app.extensions["hub"].close()


def test_the_page_and_its_files_are_served(client: FlaskClient) -> None:
    page = client.get("/")
    assert page.status_code == 200
    assert "<main" in page.text
    assert client.get("/app.js").mimetype == "text/javascript"
    assert client.get("/manifest.webmanifest").mimetype == "application/manifest+json"


def test_foreign_code_is_kept_out_of_the_page(client: FlaskClient) -> None:
    policy = client.get("/").headers["Content-Security-Policy"]
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy


def test_jobs_are_listed_and_begun(client: FlaskClient, job_id: str) -> None:
    assert [job["id"] for job in client.get("/api/jobs").json["jobs"]] == [job_id]
    sheets = client.get("/api/sheets").json["sheets"]
    assert "pinewharf-d2" in sheets
    begun = client.post("/api/jobs", json={"job": "pinewharf-d2"})
    assert begun.status_code == 201
    view = client.get(f"/api/jobs/{begun.json['job']}/view").json
    assert view["job"]["door"] == "D2"
    assert view["energy"]["state"] == "unknown"


def test_to_look_at_a_job_that_rests_writes_nothing(tmp_path: Path) -> None:
    bench = Path(__file__).parent / "bench"
    begun = Jobs(tmp_path)
    rests = begun.new(bench / "job.yaml", bench).job_id
    begun.store.close()
    again = Jobs(tmp_path)
    app = create_app(again, rests)
    before = len(list(again.store.entries(rests)))
    with app.test_client() as client:
        client.environ_base["HTTP_HOST"] = "localhost"
        answer = client.get(f"/api/jobs/{rests}/view")
        assert answer.status_code == 409
        assert "not at work" in answer.json["what"]
        assert len(list(again.store.entries(rests))) == before
        again.open(rests)
        assert client.get(f"/api/jobs/{rests}/view").json["energy"]["state"] == "unknown"
    app.extensions["hub"].close()
    again.store.close()


@pytest.mark.parametrize(
    "body", [{}, [], {"job": 3}, {"job": "../../etc/passwd"}, {"job": "/etc/passwd"}, {"job": "x"}]
)
def test_only_a_listed_sheet_begins_a_job(body: object, client: FlaskClient) -> None:
    answer = client.post("/api/jobs", json=body)
    assert answer.status_code in (400, 404)
    assert answer.json["what"]
    assert answer.json["do"]


def test_the_record_is_shown_checked_and_exported(client: FlaskClient, job_id: str) -> None:
    base = f"/api/jobs/{job_id}/record"
    assert client.get(base).json["lines"]
    chain = client.get(f"{base}/verify").json
    assert chain["good"]
    assert chain["count"] >= 1
    assert json.loads(client.get(f"{base}.json").text)
    assert client.get(f"{base}.csv").mimetype == "text/csv"


def test_packs_are_listed(client: FlaskClient) -> None:
    assert any(pack["name"] == "power-entry" for pack in client.get("/api/packs").json["packs"])


@pytest.mark.parametrize(
    "path",
    [
        "/api/nothing",
        "/api/jobs/no-such-job/view",
        "/api/jobs/no-such-job/record",
        "/api/audio/" + "0" * 40 + ".wav",
        "/api/audio/..%2f..%2fapp.py.wav",
        "/../pyproject.toml",
        "/..%2fpyproject.toml",
        "/nothing.js",
    ],
)
def test_what_is_not_there_is_said_in_words(path: str, client: FlaskClient) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert set(answer.json) == {"what", "do"}


def test_another_site_or_name_is_refused(client: FlaskClient) -> None:
    body = {"job": "pinewharf-d2"}
    assert client.get("/", headers={"Host": "rebound.example"}).status_code == 421
    for headers in (
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ):
        assert client.post("/api/jobs", json=body, headers=headers).status_code == 403
    fine = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    assert client.post("/api/jobs", json=body, headers=fine).status_code == 201


def test_the_record_is_told_to_paired_devices_only(jobs: Jobs, job_id: str) -> None:
    pairing = Pairing()
    app = create_app(jobs, job_id, pairing=pairing)
    app.test_client_class = Whole
    with app.test_client() as client:
        path = f"/api/jobs/{job_id}/record"
        assert client.get("/").status_code == 200
        assert client.get("/api/health").status_code == 200
        assert client.get(path).status_code == 403
        paired = {"X-Device-Key": key(pairing, "helper")}
        assert client.get(path, headers=paired).status_code == 200
    app.extensions["hub"].close()


def test_a_form_of_another_site_cannot_pass_for_json(client: FlaskClient) -> None:
    answer = client.post("/api/jobs", data='{"job": "pinewharf-d2"}', content_type="text/plain")
    assert answer.status_code == 415


def test_a_body_beyond_all_measure_is_refused(client: FlaskClient) -> None:
    assert client.post("/api/jobs", json={"job": "x" * 100_000}).status_code == 413


def test_a_reply_is_found_by_its_digest_and_by_nothing_else(
    client: FlaskClient, tmp_path: Path
) -> None:
    sounds = client.application.extensions["hub"].sounds
    file = tmp_path / "reply.wav"
    file.write_bytes(b"RIFF....WAVE")
    url = sounds.url(file)
    answer = client.get(url)
    assert answer.data == b"RIFF....WAVE"
    assert answer.mimetype == "audio/wav"
    assert "immutable" in answer.headers["Cache-Control"]
    assert sounds.url(tmp_path / "gone.wav") == ""


def test_a_lead_gets_what_asks_a_helper_in_and_never_the_leads_own_code(
    jobs: Jobs, job_id: str
) -> None:
    pairing = Pairing()
    app = create_app(jobs, job_id, hosts=("10.0.0.7",), pairing=pairing)
    base = "http://10.0.0.7:8443"
    with app.test_client() as client:
        assert client.get("/api/pairing", base_url=base).status_code == 403
        code = {"X-Device-Key": key(pairing, "lead")}
        found = client.get(f"/api/pairing?job={job_id}", base_url=base, headers=code).json
        other = client.get("/api/pairing?job=other", base_url=base, headers=code)
        assert other.status_code == 404
    app.extensions["hub"].close()
    assert found is not None
    assert (found["role"], found["code"], found["near"]) == (
        "helper",
        pairing.codes["helper"],
        False,
    )
    assert found["url"].startswith("http://10.0.0.7:8443/#job=")
    assert f"role=helper&code={pairing.codes['helper']}" in found["url"]
    assert pairing.codes["lead"] not in str(found)
    # The drawn square holds the address: three finder patterns, dark on every edge of them.
    size, path = found["qr"]["size"], found["qr"]["path"]
    dark = {tuple(map(float, each[:-2].split())) for each in path.split("M")[1:]}
    for x, y in ((4, 4), (size - 11, 4), (4, size - 11)):
        assert all((x + i, y + 0.5) in dark for i in range(7))
        assert (x + 1, y + 1.5) not in dark


def test_on_this_machine_the_invitation_says_that_no_phone_reaches_it(
    client: FlaskClient, job_id: str
) -> None:
    found = client.get(f"/api/pairing?job={job_id}").json
    assert found["near"] is True
    assert found["code"] == ""


def test_a_sheet_tells_its_parts_and_how_many_people_each_takes(client: FlaskClient) -> None:
    sheet = client.get("/api/sheets/pinewharf-d1").json
    assert (sheet["door"], sheet["people"]) == ("D1", ["lead", "helper"])
    takes = {pack["name"]: pack["people"] for pack in sheet["packs"]}
    assert takes["safety-tests"] == 2
    assert takes["power-entry"] == 1
    assert all(pack["title"] and pack["minutes"] for pack in sheet["packs"])
    assert client.get("/api/sheets/nowhere").status_code == 404


def test_a_job_is_begun_with_chosen_parts_and_people_and_comes_back_so(
    client: FlaskClient, jobs: Jobs
) -> None:
    wanted = {"job": "pinewharf-d1", "packs": ["motor", "mounting"], "people": ["lead"]}
    begun = client.post("/api/jobs", json=wanted).json["job"]
    view = client.get(f"/api/jobs/{begun}/view").json
    names = [part["name"] for part in view["parts"]]
    assert [name for name in names if name in wanted["packs"]] == ["mounting", "motor"]
    assert "light-beams" not in names
    assert [each["role"] for each in view["people"]] == ["lead"]
    kept, _ = on_record(jobs.store, begun)
    assert kept.job.people == ("lead",)


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"packs": ["no-such-part"]}, "on the job sheet"),
        ({"packs": "motor"}, "on the job sheet"),
        ({"packs": [["motor"]]}, "on the job sheet"),
        ({"packs": []}, "No part"),
        ({"people": ["helper"]}, "crew"),
        ({"packs": ["safety-tests"], "people": ["lead"]}, "takes 2 people"),
    ],
)
def test_what_cannot_be_worked_so_is_refused_in_words(
    more: dict[str, object], why: str, client: FlaskClient, jobs: Jobs
) -> None:
    before = len(jobs.list())
    answer = client.post("/api/jobs", json={"job": "pinewharf-d1"} | more)
    assert answer.status_code in (400, 409)
    assert why in answer.json["what"]
    assert len(jobs.list()) == before
