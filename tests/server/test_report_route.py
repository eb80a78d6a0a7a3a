"""The printed record over HTTP: for paired devices, on either paper."""

from __future__ import annotations

import pytest

from assistant.job import Jobs
from assistant.server.app import create_app
from assistant.server.pairing import Pairing
from tests.records.report_jobs import texts


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("", "Commissioningrecord"),
        ("?paper=Letter", "Commissioningrecord"),
        ("?for=customer", "Your"),
    ],
)
def test_the_record_and_the_customers_page_come_as_pdf(
    jobs: Jobs, job_id: str, query: str, words: str
) -> None:
    app = create_app(jobs, job_id)
    with app.test_client() as client:
        answer = client.get(f"/api/records/{job_id}/report.pdf{query}")
        assert answer.mimetype == "application/pdf"
        assert answer.headers["Content-Disposition"].startswith("attachment")
        assert words in texts(answer.data)[0]
    app.extensions["hub"].close()


def test_no_job_and_no_paper_are_said_in_words(jobs: Jobs, job_id: str) -> None:
    app = create_app(jobs, job_id)
    with app.test_client() as client:
        assert client.get("/api/records/none/report.pdf").status_code == 404
        answer = client.get(f"/api/records/{job_id}/report.pdf?paper=A5")
        assert answer.status_code == 400
        assert answer.json["do"] == "Take A4 or Letter."
    app.extensions["hub"].close()


def test_the_printed_record_is_for_paired_devices_only(jobs: Jobs, job_id: str) -> None:
    pairing = Pairing()
    app = create_app(jobs, job_id, pairing=pairing)
    path = f"/api/records/{job_id}/report.pdf"
    with app.test_client() as client:
        assert client.get(path).status_code == 403
        key = f"lead {'0' * 32}"
        assert pairing.redeem(pairing.codes["lead"], key) == "lead"
        assert client.get(path, headers={"X-Device-Key": key}).status_code == 200
    app.extensions["hub"].close()
