"""The command line: what it prints, and that bad use gets a message that says what to do."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from assistant import cli, resources


def run(capsys, *words):
    """(exit status, output, errors) of a command."""
    try:
        status = cli.main([str(word) for word in words])
    except SystemExit as ended:
        status = int(ended.code or 0)
    out, err = capsys.readouterr()
    return status, out, err


def test_all_packs_and_jobs_that_come_with_it_are_without_fault(capsys):
    status, out, _ = run(capsys, "check", "--json")
    found = json.loads(out)
    assert status == 0 and found["faults"] == []
    names = {each["name"] for each in found["checked"]}
    assert {"power-entry", "power-entry for pinewharf-d1", "power-entry for pinewharf-d2"} <= names
    steps = {each["name"]: each["steps"] for each in found["checked"]}
    assert steps["power-entry for pinewharf-d2"] >= 25


def test_a_broken_pack_is_a_fault_with_file_line_and_step(capsys, tmp_path):
    pack = tmp_path / "broken"
    pack.mkdir()
    source = resources.steps_dir() / "power-entry"
    (pack / "pack.yaml").write_text((source / "pack.yaml").read_text())
    text = (source / "steps.yaml").read_text().replace("unit: megohm", "unit: megaohms", 1)
    (pack / "steps.yaml").write_text(text)
    status, _, err = run(capsys, "check", pack)
    assert status == 1
    assert re.search(r"steps\.yaml:\d+: step 'insulation': unit 'megaohms' is not known; use", err)


def test_a_calculator_prints_its_working_and_source(capsys):
    status, out, _ = run(capsys, "calc", "voltage-unbalance", "volts=462,463,455")
    assert status == 0
    assert "1.087 %" in out and "NEMA MG 1" in out


def test_calculators_are_listed_with_their_inputs(capsys):
    _, out, _ = run(capsys, "calc", "--list", "--json")
    assert {"supply-tolerance", "voltage-unbalance", "travel-time-guard"} <= set(json.loads(out))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["calc", "voltage-unbalance", "volts=1,2"], "exactly three"),
        (["calc", "supply-tolerance", "nominal=5 furlongs"], "unit 'furlongs' is not known"),
        (["calc", "no-such"], "one of"),
        (["calc", "supply-tolerance", "480 V"], "name=value"),
        (["rehearse", "--script", "nowhere.txt"], "nowhere.txt: can't be read"),
        (["rehearse"], "needs --script FILE"),
        (["rehearse", "--job", "no-such-door", "--script", "x"], "is no job file"),
        (["record", "verify", "--data", "nowhere"], "no record here yet"),
        (["serve", "--port", "99999"], "is no port"),
        (["check", "nowhere"], "neither a pack"),
        (["hear", "nowhere.jsonl", "--phrases", "nowhere.txt", "--engine", "sphinx"], "nowhere"),
    ],
)
def test_bad_use_gets_a_message_and_a_status_that_is_not_zero(capsys, words, message):
    status, out, err = run(capsys, *words)
    assert status in (1, 2)
    assert message in err + out


def test_a_missing_model_says_how_to_get_it(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("THIRDHAND_DATA", str(tmp_path))
    status, _, err = run(capsys, "serve", "--engine", "vosk", "--port", "0")
    assert status == 1
    assert "thirdhand models install" in err


def test_a_data_folder_that_cannot_be_written_says_where_and_what_to_do(capsys, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    script = resources.steps_dir() / "jobs" / "pinewharf-d2.rehearsal.txt"
    words = (
        "rehearse",
        "power-entry",
        "--job",
        "pinewharf-d2",
        "--script",
        script,
        "--data",
        blocked / "data",
    )
    status, _, err = run(capsys, *words)
    assert status == 1
    assert str(blocked) in err and "choose another" in err


def test_a_record_is_listed_shown_verified_and_exported(capsys, tmp_path):
    script = resources.steps_dir() / "jobs" / "pinewharf-d2.rehearsal.txt"
    words = (
        "rehearse",
        "power-entry",
        "--job",
        "pinewharf-d2",
        "--script",
        script,
        "--data",
        tmp_path,
    )
    assert run(capsys, *words)[0] == 0
    _, out, _ = run(capsys, "record", "list", "--data", tmp_path, "--json")
    job = json.loads(out)[0]["id"]
    status, out, _ = run(capsys, "record", "verify", job, "--data", tmp_path)
    assert status == 0 and out.startswith("good")
    head = out.splitlines()[0].split()[-1]
    assert run(capsys, "record", "verify", job, "--data", tmp_path, "--anchor", head)[0] == 0
    assert run(capsys, "record", "verify", job, "--data", tmp_path, "--anchor", "0" * 64)[0] == 1
    _, out, _ = run(capsys, "record", "show", job, "--data", tmp_path)
    assert "supply.l-n" in out
    target = tmp_path / "readings.csv"
    run(capsys, "record", "export", job, "--data", tmp_path, "--csv", "--out", target)
    assert "231" in target.read_text(encoding="utf-8-sig")
    _, out, _ = run(capsys, "record", "export", job, "--data", tmp_path)
    assert json.loads(out)


def test_the_demo_serves_its_page_and_names_the_rehearsal_where_there_is_no_browser(tmp_path):
    """The real program: it starts, prints the address, answers there, and stops when told."""
    place = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    place |= {"PYTHONPATH": str(Path(__file__).parents[1]), "PYTHONUNBUFFERED": "1"}
    command = [sys.executable, "-m", "assistant.cli", "demo", "--engine", "none"]
    command += ["--data", str(tmp_path), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=place) as program:
        lines = []
        for line in program.stdout:
            lines.append(line)
            if "without browser or microphone" in line:
                break
        text = "".join(lines)
        address = re.search(r"http://127\.0\.0\.1:\d+/", text)[0]
        with urllib.request.urlopen(address, timeout=10) as page:
            assert b"Thirdhand" in page.read()
        program.send_signal(signal.SIGINT)
        program.wait(timeout=20)
    assert "thirdhand rehearse --demo" in text
    assert "makes nothing safe" in text


def test_the_demo_takes_a_free_port_where_its_own_is_taken():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert not cli._is_free(taken.getsockname()[1])


def test_doctor_tries_each_part_and_says_what_is_there(capsys, tmp_path):
    status, out, _ = run(capsys, "doctor", "--json", "--data", tmp_path)
    rows = {row["part"]: row for row in json.loads(out)}
    assert status == 0
    assert all(rows[part]["good"] for part in ("packs", "page", "data folder", "endpointer"))
    assert {"voice", "recogniser whisper", "recogniser vosk"} <= set(rows)


def test_the_plan_of_a_job_shows_its_parts_and_on_record_what_is_left(capsys, tmp_path):
    _, out, _ = run(capsys, "plan", "pinewharf-d2", "--data", tmp_path, "--json")
    sheet = json.loads(out)
    assert [part["done"] for part in sheet["parts"]] == [0] * len(sheet["parts"])
    script = resources.steps_dir() / "jobs" / "pinewharf-d2.rehearsal.txt"
    words = ("rehearse", "power-entry", "--job", "pinewharf-d2", "--script", script)
    assert run(capsys, *words, "--data", tmp_path)[0] == 0
    _, out, _ = run(capsys, "record", "list", "--data", tmp_path, "--json")
    job = json.loads(out)[0]["id"]
    _, out, _ = run(capsys, "plan", job, "--data", tmp_path, "--json")
    kept = json.loads(out)
    assert kept["minutes_left"] == 0 < sheet["minutes_left"]
    assert all(part["done"] == part["steps"] for part in kept["parts"])
