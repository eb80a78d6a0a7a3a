"""A job set up in a form is a sheet like one written by hand, or is refused with a reason."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import pytest

from assistant.errors import JobError
from assistant.job import Jobs
from assistant.plans import find_job
from assistant.procedure.load import load_job
from assistant.server.app import create_app
from assistant.set_up import PLAN_MAX_BYTES, PlanFile, make_over, plan_faults

PLAN = find_job("pinewharf-d2").parent / "plans" / "d2.csv"
SUPPLY = {"system": "single-phase", "nominal": "240 V", "frequency": "60 Hz"}


def test_what_is_not_changed_stays_as_the_sheet_has_it(tmp_path: Path) -> None:
    made = load_job(make_over("pinewharf-d2", {"supply": SUPPLY}, None, tmp_path))
    sheet = load_job(find_job("pinewharf-d2"))
    assert made.supply.model_dump() == SUPPLY
    assert made.model_copy(update={"supply": sheet.supply}) == sheet
    assert "# a motor with contactors" in (tmp_path / "job.yaml").read_text()  # comments stay too


def test_nothing_changed_is_the_sheet_itself(tmp_path: Path) -> None:
    for name in ("pinewharf-d1", "pinewharf-d4"):
        folder = tmp_path / name
        folder.mkdir()
        assert load_job(make_over(name, {}, None, folder)) == load_job(find_job(name))


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ({"supply": {"system": "delta", "nominal": "480 V"}}, "'supply.system'"),
        ({"supply": {"system": "single-phase", "nominal": "480 s"}}, "not in volts"),
        ({"options": ["brake", "brake"]}, "there twice"),
        ({"instruments": [{"id": "M-1", "kind": ""}]}, "'instruments.0.kind'"),
        ({"instruments": [{"id": "M-1", "kind": "clamp meter", "calibration_due": "May"}]}, "due"),
        ({"instruments": [{"id": "M-1", "kind": "clamp meter"}] * 2}, "there twice"),
        ({"re_prove": "9 h"}, "is not known"),  # no gate is loosened from the form
    ],
)
def test_a_change_that_makes_no_sense_is_refused_and_named(
    wanted: dict[str, Any], says: str, tmp_path: Path
) -> None:
    with pytest.raises(JobError, match=says):
        make_over("pinewharf-d2", wanted, None, tmp_path)


def test_a_plan_as_offices_save_it_is_read_and_its_faults_name_their_lines(tmp_path: Path) -> None:
    text = PLAN.read_text(encoding="utf-8")
    path = make_over("pinewharf-d2", {}, PlanFile("d2.CSV", text.encode("utf-16")), tmp_path)
    assert plan_faults(path) == (len(load_job(find_job("pinewharf-d2")).terminals), [])
    kept = ["brake", "slack-cable", "safety-edge", "resistive-edge", "light-beam", "two-wire-beam"]
    path = make_over("pinewharf-d2", {"options": kept}, PlanFile("d2.csv", text.encode()), tmp_path)
    _, faults = plan_faults(path)
    lines = text.splitlines()
    named = {lines[fault.line - 1].split(";")[0] for fault in faults if fault.line}
    assert named == {"push-button", "traffic-light"}


@pytest.mark.parametrize(
    ("name", "raw", "says"),
    [
        ("plan.pdf", b"%PDF", "ends in .csv"),
        ("../../plan", b"", "ends in .csv"),
        ("plan.csv", b"device,conductor\n", "lacks the column"),
        ("plan.csv", b"\xff\x00\x81", "UTF"),
        ("plan.csv", b"x" * (PLAN_MAX_BYTES + 1), "at most"),
    ],
)
def test_a_file_that_is_no_plan_is_refused(
    name: str, raw: bytes, says: str, tmp_path: Path
) -> None:
    with pytest.raises(JobError, match=says):
        make_over("pinewharf-d2", {}, PlanFile(name, raw), tmp_path)


def test_a_job_begun_so_is_rebuilt_from_its_record_alone(tmp_path: Path) -> None:
    jobs = Jobs(tmp_path)
    client = create_app(jobs, "").test_client()
    plan = {"name": "d2.csv", "base64": base64.b64encode(PLAN.read_bytes()).decode()}
    meter = {"id": "M-9", "kind": "clamp meter", "calibration_due": "2027-05-01"}
    wanted = {"supply": SUPPLY, "instruments": [meter]}
    body = {"job": "pinewharf-d2", "packs": ["mounting"], "changes": wanted, "plan": plan}
    answer = client.post("/api/jobs", json=body)
    assert answer.status_code == 201
    jobs.store.close()
    again = Jobs(tmp_path)
    job = again.open(answer.json["job"]).plan.job
    assert job.supply.model_dump() == SUPPLY
    assert [each.model_dump() for each in job.instruments] == [meter]
    again.store.close()


def test_an_option_without_its_lines_is_refused_with_what_to_do(tmp_path: Path) -> None:
    jobs = Jobs(tmp_path)
    client = create_app(jobs, "").test_client()
    body = {"job": "pinewharf-d2", "changes": {"options": ["brake", "emergency-stop"]}}
    answer = client.post("/api/jobs", json=body)
    assert answer.status_code == 409
    assert "no device 'emergency-stop'; add a line" in answer.json["what"]
    bad = client.post("/api/jobs", json=body | {"plan": {"name": "x.csv", "base64": "%%"}})
    assert bad.status_code == 400
    jobs.store.close()
