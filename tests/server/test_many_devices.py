"""Recognisers in processes of their own behind the served job: soon answered, told if behind."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.errors import ModelMissing
from assistant.job import Jobs
from assistant.server.app import create_app
from assistant.server.serve import listen
from assistant.speech.engines import load
from assistant.speech.recogniser import Expected
from assistant.speech.workers import Workers
from tests.speech.voices import say

FRAME = 640
BENCH = Path(__file__).parent / "bench"


def quiet(length_s: float) -> np.ndarray:
    return np.random.default_rng(1).integers(-12, 12, int(length_s * 16_000)).astype(np.int16)


def speak(clients: list[Any], sound: np.ndarray) -> None:
    """The same sound at each device, in real time."""
    begun = time.monotonic()
    for place in range(len(sound) // FRAME):
        time.sleep(max(0.0, begun + place * FRAME / 16_000 - time.monotonic()))
        for client in clients:
            client.raw(sound[place * FRAME : (place + 1) * FRAME].tobytes())


@pytest.fixture
def hearing(request: pytest.FixtureRequest) -> Iterator[Workers]:
    try:
        workers = Workers(partial(load, "whisper"), **request.param)
    except ModelMissing as error:
        pytest.skip(str(error))
    yield workers
    workers.close()


@pytest.fixture
def open_job(tmp_path: Path, hearing: Workers, device: Callable[..., Any]) -> Iterator[Any]:
    """Make devices with a headset, each on a job of its own, and their jobs."""
    jobs = Jobs(tmp_path / "spoken", recogniser=hearing)
    sessions = [jobs.new(BENCH / "job.yaml", BENCH) for _ in range(6)]
    with listen(create_app(jobs, sessions[0].job_id)) as served:

        def make(count: int = 1) -> tuple[list[Any], list[Any]]:
            clients = []
            for number, session in enumerate(sessions[:count]):
                client = device(f"phone-{number}", role="lead", headset=True, job=session.job_id)
                client.server = served
                client.connect()
                client.until("say")
                clients.append(client)
            return clients, sessions[:count]

        yield make
    jobs.store.close()


def spoken(words: str) -> np.ndarray:
    """From the first sound to the last."""
    sound = say(words)
    loud = np.flatnonzero(np.abs(sound) > 200)
    return sound[loud[0] : loud[-1]]


@pytest.mark.parametrize("hearing", [{"processes": 1}], indirect=True)
def test_a_plain_command_is_taken_while_a_number_would_still_be_waited_for(open_job):
    (client,), _ = open_job()

    def heard_after_half_a_second(words: str) -> list[str]:
        before = len(client.got)
        speak([client], np.concatenate([quiet(0.5), spoken(words), quiet(0.44)]))
        time.sleep(1.5)  # whatever the recogniser takes; no sound comes meanwhile
        speak([client], quiet(0.04))
        time.sleep(0.5)
        client.sign("ping")
        client.until("pong")
        return [m["text"] for m in client.got[before:] if m["type"] == "heard"]

    assert heard_after_half_a_second("say again") == ["say again"]
    for _ in range(5):
        client.touch("done")
    assert heard_after_half_a_second("four eight two volts") == []
    speak([client], quiet(0.5))
    assert client.until("heard")["text"] == "four eight two volts"


@pytest.mark.parametrize("hearing", [{"processes": 1}], indirect=True)
def test_what_was_said_while_all_were_at_work_is_begun_as_soon_as_one_is_free(
    open_job, hearing: Workers
):
    (client,), _ = open_job()
    busy = hearing._free.get()
    other = hearing.ahead(spoken("done"), Expected(("done",)))
    speak([client], np.concatenate([quiet(0.5), spoken("say again"), quiet(0.44)]))
    assert other
    assert not other.done()
    hearing._free.put(busy)
    assert other.result().text == "done"
    for _ in range(2):  # half a second of silence in all: not enough to end it
        speak([client], quiet(0.04))
        time.sleep(1.5)
    assert client.until("heard")["text"] == "say again"


@pytest.mark.parametrize("hearing", [{"processes": 1}], indirect=True)
def test_a_number_said_with_a_pause_in_it_is_one_number(open_job):
    (client,), _ = open_job()
    for _ in range(5):
        client.touch("done")
    assert client.view["step"]["id"] == "supply"
    sound = [quiet(0.5), spoken("four eight two"), quiet(0.4), spoken("decimal five volts")]
    speak([client], np.concatenate([*sound, quiet(1.0)]))
    assert client.until("heard")["text"] == "four eight two decimal five volts"


@pytest.mark.parametrize("hearing", [{"processes": 1, "late_s": 0.15}], indirect=True)
def test_who_cannot_be_heard_in_time_is_told_and_nothing_is_taken_for_it(open_job):
    clients, sessions = open_job(6)
    before = [session.run for session in sessions]
    speak(clients, np.concatenate([quiet(0.5), say("say again"), quiet(1.0)]))
    told = []
    for client in clients:
        told.append(client.until("say", again=False)["text"])
    behind = "I am behind. Say it again in a moment."
    assert 0 < told.count(behind) < len(told)
    for client, session, run, text in zip(clients, sessions, before, told, strict=True):
        assert session.run.at == run.at
        if text == behind:
            shown = [m for m in client.got if m["type"] == "error"]
            assert [(m["what"], m["do"]) for m in shown] == [
                ("I am behind.", "Say it again in a moment.")
            ]
            assert not any(m["type"] == "heard" for m in client.got)
    late = clients[told.index(behind)]
    speak([late], np.concatenate([quiet(0.5), say("say again"), quiet(1.0)]))
    assert late.until("heard")["understood"] == "say-again"


@pytest.mark.parametrize("hearing", [{"processes": 1}], indirect=True)
def test_hearing_that_ends_is_started_again_and_the_person_is_told(open_job, hearing: Workers):
    (client,), (session,) = open_job()
    hearing._processes[0]._process.kill()
    sound = np.concatenate([quiet(0.5), say("done"), quiet(1.0)])
    speak([client], sound)
    assert client.until("error")["what"] == "Hearing stopped and was started again."
    assert client.until("say")["text"] == "Hearing stopped and was started again. Say it again."
    assert session.run.at == "right-door"
    speak([client], sound)
    assert client.until("heard")["understood"] == "done"
    assert session.run.at == "notify"


@pytest.mark.parametrize("hearing", [{"processes": 2}], indirect=True)
def test_two_people_who_speak_at_once_are_both_heard(open_job, device: Callable[..., Any]):
    (lead,), (session,) = open_job()
    helper = device("phone-b", role="helper", headset=True, job=session.job_id)
    helper.server = lead.server
    helper.connect()
    helper.until("say")
    speak([lead, helper], np.concatenate([quiet(0.5), spoken("say again"), quiet(1.0)]))
    heard = [lead.until("heard") for _ in range(2)]
    assert {m["device"] for m in heard} == {"phone-0", "phone-b"}
    assert {m["understood"] for m in heard} == {"say-again"}


@pytest.mark.parametrize("hearing", [{"processes": 1}], indirect=True)
def test_a_word_that_a_lost_link_cut_in_two_is_not_pieced_together(open_job):
    (client,), (session,) = open_job()
    sound = spoken("say again")
    speak([client], np.concatenate([quiet(0.5), sound[: len(sound) // 2]]))
    client.drop()
    assert client.connect()["resumed"]
    before = len(client.got)
    speak([client], np.concatenate([sound[len(sound) // 2 :], quiet(1.5)]))
    time.sleep(1.0)
    client.touch("done")
    heard = [m["text"] for m in client.got[before:] if m["type"] == "heard" and m["text"]]
    assert "say again" not in heard
    assert heard[-1] == "done"
    assert session.run.at == "notify"
    speak([client], np.concatenate([quiet(0.5), sound, quiet(1.0)]))
    assert client.until("heard", understood="say-again")
