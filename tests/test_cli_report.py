"""`thirdhand record report`: the record and the customer's page as files."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest

from assistant import cli
from tests.records.report_jobs import Kept, play, script, whole


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Kept]:
    """A data folder with the rehearsed job of door D2."""
    folder = tmp_path_factory.mktemp("data")
    return folder, play(folder, "pinewharf-d2", script("pinewharf-d2"))


def test_the_record_is_written_on_the_paper_that_was_asked_for(data, tmp_path: Path, capsys):
    folder, job = data
    out = tmp_path / "record.pdf"
    words = ["record", "report", job.job, "--data", folder, "--paper", "Letter", "--out", out]
    assert cli.main([*map(str, words), "--name", "lead=Toni Example"]) == 0
    assert str(out) in capsys.readouterr().out
    made = out.read_bytes()
    assert pypdf.PdfReader(io.BytesIO(made)).pages[0].mediabox.width == pytest.approx(612, abs=0.1)
    assert "Commissioningrecord" in whole(made)
    assert "ToniExample" in whole(made)


def test_the_customers_page_has_a_name_of_its_own(data, tmp_path: Path, monkeypatch):
    folder, job = data
    monkeypatch.chdir(tmp_path)
    assert cli.main(["record", "report", job.job, "--data", str(folder), "--customer"]) == 0
    made = (tmp_path / f"{job.job}-customer.pdf").read_bytes()
    assert "YourdoorD2" in whole(made)


def test_a_job_or_a_folder_that_is_not_there_is_said(data, tmp_path: Path, capsys):
    folder, job = data
    assert cli.main(["record", "report", "d9", "--data", str(folder)]) == 1
    assert f"there is no job 'd9'; jobs here: {job.job}" in capsys.readouterr().err
    nowhere = tmp_path / "nowhere" / "record.pdf"
    words = ["record", "report", job.job, "--data", str(folder), "--out", str(nowhere)]
    assert cli.main(words) != 0
    assert str(nowhere) in capsys.readouterr().err
