"""Attempts to get past the gate as data: reads `tests/attempts/*.yaml` and plays them.

    about: what is tried, in a sentence
    kind: voice, touch, api, device, replay, resume, pack, clock, together, challenge, loudspeaker
    layer: session or socket: at which door it is tried
    job: small (one person), two (lead and helper), hazard (a raised curtain), or of steps/jobs
    devices: [lead, helper]          whose device is there; all people's if left out
    before: gate                     where it begins, a place of `PLACES`
    steps: [...]                     what is tried
    refused: [challenge-wrong]       codes that come of the steps; each with a reason spoken
    energy: locked                   the energy state afterwards
    at: prove-dead                   the step afterwards, where that matters

The steps, played through a real job with a real record and a clock that is set:

    {lead: words} {helper: words} {stranger: words}   said; a stranger's device never joined
    {touch: phrase} {helper touch: phrase}            a button
    {press: {phrase, digits, held_s, by}}             the gate's button, pressed and held
    {join: {device, role}} {leave: device}            devices come and go
    {wait: 31 min} {clock: -1 h}                      time passes; the clock is set back
    {restart: true}                                   the program ends and starts from its record
    {edit: {find, put}}                               steps.yaml on disk is changed
    {replay: phrase}                                  the record's entries of a word are added again
    {sql: statement}                                  somebody writes into the record's file
    {together: [step, step]}                          two at once
    {echo: all}                                       every reply so far comes back as it was
                                                      spoken; `last`: those of the last turn

and at a live server (layer socket):

    {connect: {device, role, code}} {drop: device}    code: lead, helper or some other
    {send: {from, type, ...}} {raw: {from, text}}     a message, a frame of any content
    {get: {path, code}} {post: {path, code, body}}    over HTTP

`{challenge}` stands for the digits just spoken, `{old}` for those before, `{wrong}` for none.
A code is one of `effects.Refused`, or "ask-again:WHY", "held:CAUSE", "voided:CAUSE", "failed",
"implausible", "wrong-unit", "waiting", "silence", "error:WORDS", "closed", "http:STATUS".
"""

from __future__ import annotations

import contextlib
import itertools
import json
import secrets
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

from websocket import WebSocketException

from assistant.clock import SetClock
from assistant.job import Jobs, JobSession, Turn
from assistant.quantity import quantity
from assistant.server.app import create_app
from assistant.server.pairing import Pairing
from assistant.server.serve import Server, listen
from tests.benchmarks import walk_ledger
from tests.packs.cases import STEPS as PACKS
from tests.procedure import small
from tests.server.conftest import Client

HAZARD = walk_ledger.JOB + "people: [lead]\n"
KEPT = {
    "small": (small.PACK, small.STEPS, small.JOB),
    "two": (small.PACK, small.STEPS, small.JOB + "people: [lead, helper]\n"),
    "hazard": (walk_ledger.PACK, walk_ledger.STEPS, HAZARD),
}
TURN_S = 2.0
PATIENCE_S = 2.0


class Attempt:
    """One attempt under way. `told`: (code, whether a reason came with it)."""

    def __init__(self, data: dict[str, Any], folder: Path):
        self.data, self.folder = data, folder
        self.clock = SetClock()
        self.told: list[tuple[str, bool]] = []
        self.replies: list[str] = []
        self.last: tuple[str, ...] = ()
        self.digits: list[str] = []
        self._drawn = itertools.cycle(["47", "52", "63", "85", "96", "18", "29"])
        self.jobs = self._open()
        self.job_id = self._begin(data.get("job", "small"))
        self.server: Server | None = None
        self.clients: dict[str, Client] = {}
        self.pairing: Pairing | None = None

    # --- the job -------------------------------------------------------------------------------

    def _open(self) -> Jobs:
        return Jobs(self.folder / "data", clock=self.clock, challenge=self._draw)

    def _draw(self) -> str:
        self.digits.append(next(self._drawn))
        return self.digits[-1]

    def _begin(self, name: str) -> str:
        self.pack = self.folder / "pack"
        self.pack.mkdir()
        if name in KEPT:
            pack, steps, job = KEPT[name]
        else:
            entry = PACKS / "power-entry"
            pack, steps = ((entry / f).read_text() for f in ("pack.yaml", "steps.yaml"))
            job = (PACKS / "jobs" / f"{name}.yaml").read_text()
        for file, text in (("pack.yaml", pack), ("steps.yaml", steps), ("job.yaml", job)):
            (self.pack / file).write_text(text)
        shutil.copytree(PACKS / "jobs" / "plans", self.pack / "plans")
        return self.jobs.new(self.pack / "job.yaml", str(self.pack)).job_id

    @property
    def session(self) -> JobSession:
        return self.jobs.open(self.job_id)

    def begin(self) -> None:
        """Devices join, and the job is brought to where the attempt begins."""
        for role in self.data.get("devices", self.session.run.ledger.people):
            self.session.join(f"{role} phone", role)
        PLACES[self.data.get("before", "start")](self)
        self.told.clear()

    def say(self, who: str, text: str, via: str = "voice", device: str = "") -> Turn:
        self.clock.pass_s(TURN_S)
        turn = self.session.say(device or f"{who} phone", self.fill(text), via)
        self.note(turn)
        return turn

    def note(self, turn: Turn | None) -> None:
        if turn is None:
            return
        self.replies += turn.replies
        self.last = turn.replies
        self.told += [(code, any(turn.replies)) for code in codes(turn)]

    def fill(self, text: str) -> str:
        now = self.session.run.challenge
        right = now.digits if now else (self.digits or ["00"])[-1]
        old = next((d for d in reversed(self.digits) if d != right), "00")
        wrong = "".join(str((int(digit) + 3) % 10) for digit in right)
        return text.replace("{challenge}", right).replace("{old}", old).replace("{wrong}", wrong)

    # --- what is tried -------------------------------------------------------------------------

    def play(self, step: dict[str, Any]) -> None:
        ((verb, what),) = step.items()
        by_voice = {"lead": "lead", "helper": "helper"}
        if verb in by_voice:
            self.say(by_voice[verb], str(what))
        elif verb in ("touch", "helper touch"):
            self.say("helper" if verb.startswith("helper") else "lead", what, via="touch")
        else:
            getattr(self, f"_{verb}")(what)

    def _stranger(self, words: str) -> None:
        self.say("stranger", words)

    def _press(self, what: dict[str, Any]) -> None:
        self.clock.pass_s(TURN_S)
        device = f"{what.get('by', 'lead')} phone"
        digits, held = self.fill(str(what["digits"])), float(what["held_s"])
        self.note(self.session.gate_touch(device, what["phrase"], digits, held))

    def _join(self, what: dict[str, str]) -> None:
        self.session.join(what["device"], what["role"])
        self.note(self.session.prompt())

    def _leave(self, device: str) -> None:
        with self._listening():
            self.session.leave(device)

    def _wait(self, length: str) -> None:
        self.clock.pass_s(float(quantity(length).to("second").value))
        self.note(self.session.tick())

    def _clock(self, length: str) -> None:
        """The clock alone is set; a tick follows, as one does every second."""
        self._wait(length.lstrip("-")) if not length.startswith("-") else self._back(length)

    def _back(self, length: str) -> None:
        self.clock.pass_s(-float(quantity(length.lstrip("-")).to("second").value))
        self.note(self.session.tick())

    def _restart(self, _: bool) -> None:
        self.jobs.store.close()
        self.jobs = self._open()
        self.told += [("voided:restart", bool(self.session.prompt().replies))]
        self.replies += self.session.prompt().replies

    def _edit(self, what: dict[str, str]) -> None:
        path = self.pack / "steps.yaml"
        text = path.read_text()
        assert what["find"] in text, f"steps.yaml has no '{what['find']}'"
        path.write_text(text.replace(what["find"], what["put"]))

    def _replay(self, word: str) -> None:
        """Entries of the record that hold a word are added to it again, with a sound chain."""
        entries = [e for e in self.jobs.store.entries(self.job_id) if word in json.dumps(e.body)]
        assert entries, f"no entry with '{word}'"
        for each in entries:
            self.jobs.store.append(
                self.job_id, each.body, wall=self.clock.wall(), mono_s=self.clock.mono_s()
            )

    def _sql(self, statement: str) -> None:
        with contextlib.closing(sqlite3.connect(self.folder / "data/records.sqlite")) as file:
            try:
                file.execute(statement)
                file.commit()
            except sqlite3.Error as problem:
                self.told.append(("error:record", bool(str(problem))))

    def _together(self, steps: list[dict[str, Any]]) -> None:
        start = threading.Barrier(len(steps))
        failed: list[BaseException] = []

        def one(step: dict[str, Any]) -> None:
            start.wait()
            try:
                self.play(step)
            except BaseException as problem:
                failed.append(problem)

        threads = [threading.Thread(target=one, args=(step,)) for step in steps]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not failed, failed

    def _echo(self, which: str) -> None:
        """What the loudspeaker said comes back through a perfect ear, whole and sentence-wise."""
        for text in tuple(self.replies if which == "all" else self.last):
            for part in {text, *text.replace("!", ".").replace("?", ".").split(".")}:
                if part.strip():
                    self.say("lead", part)

    @contextlib.contextmanager
    def _listening(self) -> Iterator[None]:
        end = self.session.subscribe(self.note)
        yield
        end()

    # --- at the live server ----------------------------------------------------------------------

    def serve(self, stack: contextlib.ExitStack) -> None:
        self.pairing = Pairing()
        app = create_app(self.jobs, self.job_id, pairing=self.pairing)
        self.server = stack.enter_context(listen(app))
        stack.callback(lambda: [client.drop() for client in self.clients.values()])

    def _code(self, name: str) -> str:
        """The key of a device that joined in this role; any other text as it is."""
        assert self.pairing
        if name not in self.pairing.codes:
            return name
        key = secrets.token_hex(16)
        self.pairing.redeem(self.pairing.codes[name], key)
        return key

    def _connect(self, what: dict[str, Any]) -> None:
        assert self.server
        hello = {k: v for k, v in what.items() if k not in ("device", "code")}
        code = self._code(what.get("code", what.get("role", "lead")))
        client = self.clients.get(what["device"])
        if client is None:
            client = Client(self.server, what["device"], **hello, key=code)
            client.patience_s = PATIENCE_S
            self.clients[what["device"]] = client
        try:
            client.connect()
            client.until("say")
        except (AssertionError, WebSocketException, OSError):
            pass
        self._hearing(client, 0)

    def _drop(self, device: str) -> None:
        self.clients[device].drop()

    def _send(self, what: dict[str, Any]) -> None:
        what = {k: self.fill(v) if isinstance(v, str) else v for k, v in what.items()}
        client = self.clients[what.pop("from")]
        had = len(client.got)
        type_, pause = what.pop("type"), what.pop("after_s", 0.0)
        time.sleep(pause)
        if "n" in what:
            client.raw(json.dumps({"type": type_, **what}))
        else:
            client.input(type_, **what)
        self._settled(client)
        self._hearing(client, had)

    def _raw(self, what: dict[str, Any]) -> None:
        client = self.clients[what["from"]]
        had = len(client.got)
        client.raw(self.fill(what["text"]))
        self._settled(client)
        self._hearing(client, had)

    @staticmethod
    def _settled(client: Client) -> None:
        """Wait until what was sent is dealt with: the answer to a ping comes after it, and what
        the job's own thread still has to say within a moment."""
        with contextlib.suppress(AssertionError, WebSocketException, OSError):
            client.sign("ping")
            client.until("pong")
        assert client.socket
        client.socket.settimeout(0.3)
        with contextlib.suppress(WebSocketException, OSError, AssertionError):
            while True:
                client.receive()
        client.socket.settimeout(PATIENCE_S)

    def _hearing(self, client: Client, had: int) -> None:
        new = client.got[had:]
        spoken = any(m["type"] == "say" and m["text"] for m in new)
        for message in new:
            if message["type"] == "error":
                self.told.append((f"error:{message['what']}", bool(message["do"])))
            if message["type"] == "heard" and message["tone"] in ("refused", "not-understood"):
                self.told.append((f"heard:{message['tone']}", spoken))

    def _get(self, what: dict[str, Any]) -> None:
        self._http(what, None)

    def _post(self, what: dict[str, Any]) -> None:
        self._http(what, json.dumps(what.get("body", {})).encode())

    def _http(self, what: dict[str, Any], body: bytes | None) -> None:
        assert self.server
        path = what["path"].replace("JOB", self.job_id)
        request = Request(self.server.url + path, data=body)
        request.add_header("Content-Type", "application/json")
        if "code" in what:
            request.add_header("X-Device-Key", self._code(what["code"]))
        for name, value in what.get("headers", {}).items():
            request.add_header(name, value)
        try:
            with urlopen(request) as answer:
                answer.read()
        except HTTPError as refusal:
            with refusal:
                text = refusal.read()
            self.told.append((f"http:{refusal.code}", bool(text)))


def codes(turn: Turn) -> list[str]:
    """What a turn refused, in codes."""
    found: list[str] = []
    for each in turn.effects:
        match each.kind:
            case "refused":
                found += each.missing
            case "ask-again":
                found.append(f"ask-again:{each.why}")
            case "held" | "voided":
                found.append(f"{each.kind}:{each.cause}")
            case "implausible" | "wrong-unit" | "waiting":
                found.append(each.kind)
            case "judged" if each.verdict == "fail":
                found.append("failed")
            case "open-point" if each.stays:
                found.append("stays")
            case "explained":
                found.append(f"told:{each.what}")
    return found


# --- where attempts begin ------------------------------------------------------------------------


def _say(played: Attempt, *lines: str, who: str = "lead") -> None:
    for line in lines:
        played.say(who, line)


def _start(played: Attempt) -> None:
    pass


def _isolated(played: Attempt) -> None:
    _say(played, "disconnect is off", "affirm")


def _locks_on(played: Attempt) -> None:
    _isolated(played)
    for place, person in enumerate(played.session.run.ledger.people):
        with_device = person in played.session.run.devices
        _say(played, f"tag 1{place}", "affirm", who=person if with_device else "lead")


def _locked(played: Attempt) -> None:
    _locks_on(played)
    _say(played, "no movement", "affirm")
    if played.session.run.ledger.hazards:
        _say(played, "it is held", "affirm")


def _measured(played: Attempt) -> None:
    _locked(played)
    _say(played, "230 volts", "affirm")
    for _ in played.session.run.ledger.pairs:
        _say(played, "zero volts", "affirm")


def _waited(played: Attempt) -> None:
    _measured(played)
    played._wait("6 min")


def _gate(played: Attempt) -> None:
    _waited(played)
    _say(played, "12 volts", "affirm", "231 volts", "affirm")
    assert played.session.run.at == "prove-dead"


def _dead(played: Attempt) -> None:
    _gate(played)
    _say(played, "lockout confirmed {challenge}", "affirm")
    assert played.session.run.ledger.state == "proven-dead"


def _closing(played: Attempt) -> None:
    _dead(played)
    _say(played, "done")
    _say(played, "0.05 ohms", "affirm", "200 megohms", "affirm", "guard is on")
    assert played.session.run.at == "lock-off"


def _clear(played: Attempt) -> None:
    _closing(played)
    for place, person in enumerate(played.session.run.ledger.people):
        with_device = person in played.session.run.devices
        _say(played, f"lock off 1{place}", "affirm", who=person if with_device else "lead")
    _say(played, "done")
    assert played.session.run.at == "clear"


def _released(played: Attempt) -> None:
    _clear(played)
    _say(played, "clear to energise {challenge}", "affirm")


def _energised(played: Attempt) -> None:
    _released(played)
    _say(played, "power is on", "affirm")
    assert played.session.run.ledger.state == "energised"


PLACES: dict[str, Callable[[Attempt], None]] = {
    "start": _start,
    "isolated": _isolated,
    "locks on": _locks_on,
    "locked": _locked,
    "measured": _measured,
    "waited": _waited,
    "gate": _gate,
    "dead": _dead,
    "closing": _closing,
    "clear": _clear,
    "released": _released,
    "energised": _energised,
}
