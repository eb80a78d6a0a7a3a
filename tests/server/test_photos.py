"""A picture is asked for, taken, kept with its step and told of; a plan can be read beforehand."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient
from PIL import Image

from assistant.job import Jobs
from assistant.records.log import verify
from assistant.server.app import create_app
from assistant.server.pictures import unfit
from assistant.server.routes import PHOTO_MAX_BYTES


def picture(size: tuple[int, int] = (64, 48), colour: str = "#4a7c59", **more: Any) -> bytes:
    """A JPEG as a page makes it: dots and nothing else, unless `more` is put in."""
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG", **more)
    return out.getvalue()


def located() -> bytes:
    """A JPEG with a position in it, as a phone's own camera program writes it."""
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"  # GPSInfo, GPSLatitudeRef (Exif 2.32, table 15)
    return picture(exif=exif)


@pytest.fixture
def client(jobs: Jobs, job_id: str) -> Iterator[FlaskClient]:
    app = create_app(jobs, job_id)
    with app.test_client() as found:
        found.environ_base["HTTP_HOST"] = "localhost"
        yield found
    app.extensions["hub"].close()


def attachments(jobs: Jobs, job_id: str) -> list[Any]:
    return [e for e in jobs.store.entries(job_id) if "attachment" in e.body]


def send(client: FlaskClient, job_id: str, jpeg: bytes, **where: Any) -> Any:
    asked = {"step": "right-door", "device": "phone-1"} | where
    return client.post(
        f"/api/jobs/{job_id}/photos", data=jpeg, query_string=asked, content_type="image/jpeg"
    )


def test_a_picture_stands_in_the_record_with_its_step_and_its_digest(
    client: FlaskClient, jobs: Jobs, job_id: str
) -> None:
    jpeg = picture()
    answer = send(client, job_id, jpeg)
    assert (answer.status_code, answer.json["said"]) == (201, "Photo kept.")
    (entry,) = attachments(jobs, job_id)
    told = entry.body["attachment"]
    assert (told["step"], told["kind"], told["size"]) == ("right-door", "photo", len(jpeg))
    assert told["sha256"] == hashlib.sha256(jpeg).hexdigest()
    assert jobs.store.attachment(job_id, answer.json["entry"]) == jpeg
    assert verify(jobs.store, job_id).ok


def test_a_picture_that_is_sent_twice_is_kept_once(
    client: FlaskClient, jobs: Jobs, job_id: str
) -> None:
    first, second = (send(client, job_id, picture()).json for _ in range(2))
    assert first["entry"] == second["entry"]
    send(client, job_id, picture(colour="#803020"))
    assert len(attachments(jobs, job_id)) == 2


def test_a_picture_that_waited_for_the_link_is_called_by_when_it_was_taken(
    client: FlaskClient, jobs: Jobs, job_id: str
) -> None:
    send(client, job_id, picture(), age_s=7200)
    (entry,) = attachments(jobs, job_id)
    hour, kept = int(entry.body["attachment"]["name"][11:13]), int(entry.wall[11:13])
    assert (kept - hour) % 24 == 2


@pytest.mark.parametrize(
    ("jpeg", "status", "words"),
    [
        (located(), 415, "position"),
        (picture(comment="made by somebody"), 415, "more than the picture"),
        (picture()[:-200], 415, "not a whole one"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 50, 415, "no JPEG"),
        (b"", 415, "no JPEG"),
        (picture((4000, 3100)), 415, "million dots"),
        (picture() + b"0" * PHOTO_MAX_BYTES, 413, ""),
    ],
    ids=["position", "comment", "cut", "PNG", "nothing", "too many dots", "too big"],
)
def test_anything_but_a_plain_picture_is_refused_and_leaves_no_trace(
    jpeg: bytes, status: int, words: str, client: FlaskClient, jobs: Jobs, job_id: str
) -> None:
    answer = send(client, job_id, jpeg)
    assert answer.status_code == status
    assert words in answer.json["what"]
    assert not attachments(jobs, job_id)


def test_a_picture_as_pages_make_it_is_fit() -> None:
    assert unfit(picture()) == ""
    assert unfit(picture(progressive=True, dpi=(72, 72))) == ""


def test_a_picture_of_no_step_of_this_job_is_refused(
    client: FlaskClient, jobs: Jobs, job_id: str
) -> None:
    assert send(client, job_id, picture(), step="elsewhere").status_code == 400
    assert send(client, "no-such-job", picture()).status_code == 404
    assert not attachments(jobs, job_id)
    assert send(client, job_id, picture(), step="").status_code == 201


@pytest.mark.parametrize("words", ["take photo", "take a photo"])
def test_only_the_device_that_asked_opens_its_camera(words: str, device: Any, lead: Any) -> None:
    helper = device("phone-2", role="helper")
    helper.connect()
    helper.until("say")
    lead.until("taken", number=lead.input("typed", text=words))
    kinds = [m["type"] for m in lead.got]
    (shutter,) = (m for m in lead.got if m["type"] == "shutter")
    assert shutter["step"] == lead.view["step"]["id"]
    assert kinds.index("shutter") < max(i for i, kind in enumerate(kinds) if kind == "say")
    assert "Photo" in helper.until("say", again=False)["text"]
    assert not [m for m in helper.got if m["type"] == "shutter"]


def test_a_picture_may_be_taken_while_work_is_stopped(lead: Any) -> None:
    lead.touch("stop work")
    lead.touch("take photo")
    assert [m for m in lead.got if m["type"] == "shutter"]
    assert lead.view["held"] == "stop-work"


def test_the_plan_can_be_read_with_cautions_reasons_and_sources(
    client: FlaskClient, jobs: Jobs
) -> None:
    job = jobs.new("pinewharf-d1")
    plan = client.get(f"/api/jobs/{job.job_id}/plan").json
    steps = [step for section in plan["sections"] for step in section["steps"]]
    bound = {step.id: step for step in job.plan.steps}
    assert plan["job"]["door"] == "D1"
    assert {step["id"] for step in steps} <= set(bound)
    assert len(steps) > 0.9 * len(bound)
    for step in steps:
        caution = bound[step["id"]].caution
        assert step["caution"] == (
            {"word": caution.word, "text": caution.text} if caution else None
        )
        assert "{" not in step["say"] + step["brief"] + step["reason"]
    assert any(step["caution"] for step in steps)
    assert any(step["source"] for step in steps)
    assert any(step["gate"] and step["needs"] for step in steps)
    count = jobs.store.job(job.job_id)["count"]
    client.get(f"/api/jobs/{job.job_id}/plan")
    assert jobs.store.job(job.job_id)["count"] == count  # reading writes nothing
    assert client.get("/api/jobs/no-such-job/plan").status_code == 404
