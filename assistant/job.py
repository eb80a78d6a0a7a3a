"""The people and devices of one job working through a pack: hear, decide, record, answer.

The shell around the pure core. The order of a turn is fixed: the machine decides, the log has
it on disk, only then the new run is taken and the reply spoken. If the disk says no, the run
stays where it was and the person is told that nothing was recorded.

Knows nothing of Flask, sockets or the command line.
"""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any, Literal

import numpy as np

from assistant import __version__, finding
from assistant.clock import Clock
from assistant.dialogue import grammar, replies
from assistant.dialogue.interpret import interpret, interpret_text
from assistant.errors import RecordError, ThirdhandError
from assistant.faults import effects as guide_fx
from assistant.plans import (
    events_of,
    find_job,
    find_pack,
    plan_from_files,
    plan_if_readable,
    plan_of,
    texts_of,
)
from assistant.procedure import effects as fx
from assistant.procedure import inputs, machine, past
from assistant.procedure.load import load_job, load_pack, slug
from assistant.procedure.model import Plan
from assistant.procedure.run import Run
from assistant.quantity import unit
from assistant.records import visits
from assistant.records.attachments import attach
from assistant.records.store import Store
from assistant.speech.recogniser import Expected, Recogniser, Transcript
from assistant.speech.voice import Voice
from assistant.view import Moment, view_of

log = logging.getLogger(__name__)

HOLD_S = 1.5  # a gate by touch is pressed at least this long, so that no brush opens it
Role = Literal["lead", "helper"]
SILENT = ("noise", "too short", "other speech")  # never answered by talk
NOTHING = ("noise", "too short")  # nor by a tone: on site it would never cease
# What counts even if the disk refuses it: it goes before the next input, so that no proof outlives
# a "stop work" or a person who came while the disk was full.
_OWED = inputs.DeviceJoined | inputs.DeviceLost | inputs.LockOff | inputs.PowerOn
_OWED_COMMANDS = ("stop-work", "emergency")
# What is taken at once, without another AFFIRM: it must be said to what is asked.
_AT_ONCE = inputs.Affirm | inputs.Confirm | inputs.Choice | inputs.Unable | inputs.Guide
# What the machine tells for a step, while the fault guide is spoken to and no step is.
_OF_A_STEP = (
    fx.Entered | fx.Refused | fx.Waiting | fx.ChallengeNeeded | fx.ChallengeGiven | fx.Finished
)


@dataclass(frozen=True)
class Turn:
    """One thing said and what came of it.

    seq: place in the log, 0 if nothing was logged. understood: the input in words. tone: the
    sound for it: "heard", "not-understood", "refused", "fail", "done" or "". audio: a WAV
    for each reply, empty without a voice.
    """

    seq: int
    device: str
    who: str
    heard: str
    understood: str
    replies: tuple[str, ...]
    tone: str
    audio: tuple[Path, ...] = ()
    step: str | None = None
    energy: str = "unknown"
    input: inputs.Input | None = None
    effects: tuple[fx.Effect, ...] = ()


@dataclass(frozen=True)
class _Step:
    """An event and what came of it: of the machine, then of the fault guide."""

    event: inputs.Event
    out: machine.Outcome
    guide: tuple[guide_fx.Effect, ...] = ()


def draw_challenge() -> str:
    """Two digits that differ, from the system's random source."""
    while True:
        digits = f"{secrets.randbelow(100):02d}"
        if digits[0] != digits[1]:
            return digits


@dataclass
class Speaking:
    """How replies are spoken; changed by voice."""

    rate_wpm: int = 150
    volume: float = 1.0

    def change(self, name: str) -> None:
        """Apply "slower", "faster", "louder" or "quieter", one notch."""
        rate = {"slower": -20, "faster": 20}.get(name, 0)
        volume = {"louder": 0.2, "quieter": -0.2}.get(name, 0.0)
        self.rate_wpm = min(220, max(90, self.rate_wpm + rate))
        self.volume = round(min(1.0, max(0.2, self.volume + volume)), 1)


class JobSession:
    """A job at work. Every method may be called from any thread; turns come one at a time."""

    def __init__(
        self,
        job_id: str,
        plan: Plan,
        store: Store,
        *,
        recogniser: Recogniser | None = None,
        voice: Voice | None = None,
        clock: Clock | None = None,
        challenge: Callable[[], str] = draw_challenge,
    ):
        self.job_id, self.plan, self.store = job_id, plan, store
        self.recogniser, self.voice = recogniser, voice
        self.clock = clock or Clock()
        self.run: Run = machine.start(plan)
        self.finding = finding.Finding()
        self._guide_said: tuple[guide_fx.Effect, ...] = ()
        self.speaking = Speaking()
        self._draw = challenge
        self._lock = threading.RLock()
        self._base_s = -self.clock.mono_s()
        self._roles: dict[str, Role] = {}
        self._joining = False  # has any device said who it is?
        self._listeners: list[Callable[[Turn], None]] = []
        self._said: tuple[str, ...] = ()
        self._last: Turn | None = None
        self._owed: list[inputs.Event] = []
        self._failing = False  # the last turn could not be recorded

    # --- beginning and beginning again -------------------------------------------------------

    @classmethod
    def start(
        cls, job_id: str, plan: Plan, texts: dict[str, str], store: Store, **parts: Any
    ) -> JobSession:
        """A new job: its head (job, pack texts, versions) goes to the log, step one is entered.

        The texts are kept so that a pack edited later can't change what a running job asks.
        """
        session = cls(job_id, plan, store, **parts)
        head = {"texts": texts, "pack": plan.pack.name, "version": plan.pack.version}
        head |= {"door": plan.job.door, "site": plan.job.site, "title": plan.pack.title}
        head |= {"thirdhand": __version__, "job": plan.job.model_dump(mode="json")}
        store.create_job(job_id, head, wall=session.clock.wall())
        session._begin(inputs.Started(on=session.clock.wall()[:10]))
        return session

    @classmethod
    def resume(cls, job_id: str, store: Store, **parts: Any) -> JobSession:
        """A job from its log alone, in place, with the energy state unknown."""
        plan = plan_of(store.head(job_id)["texts"])
        session = cls(job_id, plan, store, **parts)
        last_s = 0.0
        for event in events_of(store, job_id):
            out = machine.advance(plan, session.run, event)
            session.finding = finding.follow(session.finding, plan, event, out)[0]
            session.run = out.run
            last_s = max(last_s, event.at_s)
        session._base_s += last_s
        session._begin(inputs.Restarted(on=session.clock.wall()[:10]))
        return session

    def _begin(self, what: inputs.Input) -> None:
        """The first turn; a job that can't record it isn't opened: an old proof would stand."""
        turn = self._act(what)
        if not turn.seq:
            raise RecordError(" ".join(turn.replies))

    # --- what devices do -----------------------------------------------------------------------

    def join(self, device: str, role: str) -> None:
        """A device takes part as "lead" or "helper"."""
        with self._lock:
            taken: Role = "lead" if role == "lead" else "helper"
            if self._roles.get(device) == taken:
                return
            self._leave(device)
            self._roles[device], self._joining = taken, True
            if list(self._roles.values()).count(taken) == 1:
                self._act(inputs.DeviceJoined(role=taken))

    def leave(self, device: str) -> None:
        """A device is gone; with the last one of a role, steps that need the role wait."""
        with self._lock:
            self._leave(device)

    def _leave(self, device: str) -> None:
        role = self._roles.pop(device, None)
        if role and role not in self._roles.values():
            self._act(inputs.DeviceLost(role=role))

    def subscribe(self, callback: Callable[[Turn], None]) -> Callable[[], None]:
        """Have every turn told; the function that comes back ends it."""
        with self._lock:
            self._listeners.append(callback)

        def end() -> None:
            with self._lock:
                if callback in self._listeners:
                    self._listeners.remove(callback)

        return end

    def expected(self) -> Expected:
        """What may be said now."""
        with self._lock:
            if self.finding.has_floor(self.run):
                return finding.expected(self.finding)
            return grammar.expected(self.plan, self.run)

    def asked(self) -> object:
        """What is asked now: another than before once a turn has changed the question."""
        run, live = self.run, self.finding.live
        if live and self.finding.has_floor(run):
            search = live.search
            return search.phase, search.asked, search.waiting, search.named, live.pending
        return run.at, run.pending

    def meaning(self, text: str) -> inputs.Input:
        """What a typed line or a button's phrase means now."""
        with self._lock:
            if self.finding.has_floor(self.run):
                return finding.interpret_text(text, self.finding)
            return interpret_text(text, self.plan, self.run)

    def _heard(self, heard: Transcript) -> inputs.Input:
        if self.finding.has_floor(self.run):
            return finding.interpret(heard, self.finding)
        return interpret(heard, self.plan, self.run)

    def hear(
        self,
        device: str,
        samples: np.ndarray,
        asked: object = None,
    ) -> Turn:
        """One utterance from a device, recognised and taken.

        What an utterance answers is the state when it is taken: if somebody else's turn changed
        it while the recogniser worked, the words are matched against the new state's phrases.
        `asked` is what `asked()` gave when the utterance ended: an AFFIRM said before the
        read-back, or a second "done" to a slow reply, answers nothing that is asked by then.
        """
        if self.recogniser is None:
            raise ThirdhandError("this job was opened without a recogniser; answer by touch")
        heard = self.recogniser.hear(samples, self.expected())
        with self._lock:
            if not heard.text and heard.rejected in SILENT:
                return self._tell(self._turn(device, heard, None, (), (), 0))
            what = self._heard(heard)
            if asked is not None and asked != self.asked() and isinstance(what, _AT_ONCE):
                what = inputs.NotUnderstood(why="too soon")
            words = heard.text or heard.heard
            worth_keeping = self.plan.job.keep_clips and self._is_note_or_gate(what)
            turn = self._act(what, device, "voice", words, heard.confidence)
            if worth_keeping and turn.seq:
                self._keep_clip(samples, turn.seq)
            return turn

    def _is_note_or_gate(self, what: inputs.Input) -> bool:
        """What sound is kept of, where the job says so: notes, and words that open a gate."""
        if isinstance(what, inputs.Affirm) and self.run.pending:
            return self.plan.step(self.run.pending.step).gate
        return isinstance(what, inputs.Note | inputs.Challenge)

    def _keep_clip(self, samples: np.ndarray, seq: int) -> None:
        """The sound of a turn, beside it. The turn is on record by now, with or without."""
        from assistant.speech.audio import wav  # a job by text needs no sound library

        try:
            attach(
                self.store,
                self.job_id,
                wav(samples),
                name=f"entry {seq}.wav",
                wall=self.clock.wall(),
                mono_s=round(self._base_s + self.clock.mono_s(), 3),
                about=seq,
            )
        except ThirdhandError as problem:
            log.warning("job %s: the sound of entry %s isn't kept: %s", self.job_id, seq, problem)

    def say(self, device: str, text: str, via: str = "touch") -> Turn:
        """A typed line or a button's phrase; does what the spoken words do.

        A gate phrase doesn't pass this way by touch: that takes `gate_touch`.
        """
        with self._lock:
            what = self.meaning(text)
            if via == "touch" and isinstance(what, inputs.Challenge):
                what = inputs.NotUnderstood(why="not here")
            return self._act(what, device, via, text)

    def gate_touch(self, device: str, phrase: str, digits: str, held_s: float) -> Turn:
        """The gate by touch, for a site too loud to hear: press and hold plus the challenge."""
        with self._lock:
            what: inputs.Input
            # Worded so that a length that is no number (NaN) opens nothing.
            if not held_s >= HOLD_S or phrase not in ("lockout-confirmed", "clear-to-energise"):
                what = inputs.NotUnderstood(why="not held long enough")
            elif self.finding.has_floor(self.run):  # no gate while the guide is spoken to
                what = inputs.NotUnderstood(why="not here")
            else:
                what = inputs.Challenge(phrase=phrase, digits=digits)
            return self._act(what, device, "touch", f"{phrase} {digits}, held {held_s:.1f} s")

    def photo(self, device: str, jpeg: bytes, step: str, age_s: float = 0.0) -> Turn:
        """A picture of a step, kept with the record by an entry that carries its SHA-256.

        Parameters
        ----------
        jpeg : bytes
            The picture, with nothing in it but the picture.
        step : str
            Id of the step it was taken at, "" after the end.
        age_s : float
            How long ago it was taken, for one that waited for a lost link. [s]

        Raises
        ------
        RecordError
            If it is no picture, or could not be kept; then nothing of it is.
        """
        with self._lock:
            digest = sha256(jpeg).hexdigest()
            seq = self._photo_kept(digest)
            new = not seq  # an answer that was lost with the link makes no second picture
            if new:
                taken = datetime.fromisoformat(self.clock.wall()) - timedelta(seconds=age_s)
                kept = attach(
                    self.store,
                    self.job_id,
                    jpeg,
                    name=f"{taken:%Y-%m-%d %H.%M.%S} {step or 'end'}.jpg",
                    wall=self.clock.wall(),
                    mono_s=round(self._base_s + self.clock.mono_s(), 3),
                    step=step,
                )
                seq = kept.seq
            words = (replies.photo(new),)
            turn = self._turn(device, Transcript("", 1.0), None, (), words, seq)
            return self._tell(replace(turn, understood=words[0].rstrip("."), tone="done"))

    def _photo_kept(self, digest: str) -> int:
        """Place of the entry of a picture, 0 if there is none."""
        for entry in self.store.entries(self.job_id):
            if (entry.body.get("attachment") or {}).get("sha256") == digest:
                return entry.seq
        return 0

    def tick(self) -> Turn | None:
        """Let time have its effect; call about once a second."""
        with self._lock:
            event = self._event(inputs.Tick(), "", "system", "", 1.0)
            if not (self._owed or machine.advance(self.plan, self.run, event).effects):
                return None
            return self._act(inputs.Tick())

    # --- one turn ----------------------------------------------------------------------------

    def _role(self, device: str) -> Role:
        """Where devices join, one that didn't, or has left, may do no more than a helper."""
        return self._roles.get(device, "helper" if device and self._joining else "lead")

    def _event(
        self, what: inputs.Input, device: str, via: str, heard: str, confidence: float
    ) -> inputs.Event:
        who = self._role(device) if via != "system" else "system"
        return inputs.Event(
            input=what,
            at_s=round(self._base_s + self.clock.mono_s(), 3),
            who=who,
            device=device,
            via=via,
            heard=heard,
            confidence=round(confidence, 3),
        )

    def _act(
        self,
        what: inputs.Input,
        device: str = "",
        via: str = "system",
        heard: str = "",
        confidence: float = 1.0,
    ) -> Turn:
        """Decide, record, take, answer."""
        with self._lock:
            if isinstance(what, inputs.Guide) and what.said == finding.ASKED_FOR:
                try:
                    what = self._opening(what)
                except ThirdhandError as problem:  # hands are in the panel: it is told aloud
                    why = (f"The fault guide can't be opened. {problem}",)
                    said = Transcript(heard, confidence)
                    return self._tell(self._turn(device, said, what, (), why, 0))
            event = self._event(what, device, via, heard, confidence)
            steps: list[_Step] = []
            run, found = self.run, self.finding
            due = [*self._owed, event]
            while due:
                each = due.pop(0)
                out = machine.advance(self.plan, run, each)
                found, told, asks = finding.follow(found, self.plan, each, out)
                steps.append(_Step(each, out, told))
                run = out.run
                if any(isinstance(e, fx.ChallengeNeeded) for e in out.effects):
                    asks = (inputs.ChallengeIssued(digits=self._draw()), *asks)
                due[:0] = [self._event(ask, "", "system", "", 1.0) for ask in asks]
            try:
                seq = self._record(steps)
            except RecordError as problem:
                return self._unrecorded(event, problem)
            self.run, self.finding, self._failing = run, found, False
            self._owed.clear()
            effects = tuple(effect for step in steps for effect in step.out.effects)
            for effect in effects:
                if isinstance(effect, fx.Setting):
                    self.speaking.change(effect.name)
                if isinstance(effect, fx.HandedOver):
                    swap: dict[Role, Role] = {"lead": "helper", "helper": "lead"}
                    self._roles = {device: swap[role] for device, role in self._roles.items()}
            words = self._words(effects, tuple(told for step in steps for told in step.guide))
            turn = self._turn(device, _as_heard(event), what, effects, words, seq)
            if isinstance(what, inputs.Guide) and words and not effects:
                turn = replace(turn, tone="heard")
            return self._tell(turn)

    def _opening(self, what: inputs.Guide) -> inputs.Guide:
        """A search that is open already needs no guide and no record."""
        if self.finding.open:
            return what
        return finding.opening(self.store, self.job_id, self.plan, self.run)

    def _unrecorded(self, event: inputs.Event, problem: RecordError) -> Turn:
        """Nothing was taken; the job's own clock says so once and not each second."""
        what = event.input
        must = isinstance(what, _OWED)
        must = must or (isinstance(what, inputs.Command) and what.name in _OWED_COMMANDS)
        if must and not (self._owed and self._owed[-1].input == what):
            self._owed.append(event)
        quiet = self._failing and isinstance(what, inputs.Tick)
        self._failing = True
        told = () if quiet else (f"Not recorded, nothing was taken. {problem}",)
        return self._tell(self._turn(event.device, _as_heard(event), what, (), told, 0))

    def _record(self, steps: list[_Step]) -> int:
        bodies = [
            {
                "event": step.event.model_dump(mode="json"),
                "effects": [effect.model_dump(mode="json") for effect in step.out.effects],
                "energy": step.out.run.ledger.state,
            }
            | (
                {"guide": [told.model_dump(mode="json") for told in step.guide]}
                if step.guide
                else {}
            )
            for step in steps
        ]
        wall, mono_s = self.clock.wall(), steps[-1].event.at_s
        return self.store.append_all(self.job_id, bodies, wall=wall, mono_s=mono_s)[-1].seq

    def _words(
        self, effects: tuple[fx.Effect, ...], guide: tuple[guide_fx.Effect, ...] = ()
    ) -> tuple[str, ...]:
        if any(isinstance(effect, fx.Repeat) for effect in effects):
            return self._said
        told = finding.words(self.finding, guide)
        self._guide_said = guide or self._guide_said
        if self.finding.has_floor(self.run):
            effects = tuple(effect for effect in effects if not isinstance(effect, _OF_A_STEP))
            told += finding.asked_again(self.finding, effects)
            # What could be said to the step is no help to the guide.
            effects = tuple(
                each.model_copy(update={"times": 1}) if isinstance(each, fx.AskAgain) else each
                for each in effects
            )
            words = (*replies.replies(effects, self.plan, self.run, brief=self.run.brief), *told)
        else:
            words = (*told, *replies.replies(effects, self.plan, self.run, brief=self.run.brief))
        if words:
            self._said = words
        return words

    def _turn(
        self,
        device: str,
        heard: Transcript,
        what: inputs.Input | None,
        effects: tuple[fx.Effect, ...],
        words: tuple[str, ...],
        seq: int,
    ) -> Turn:
        tone = replies.tone(effects) if effects else "not-understood"
        nothing = heard.rejected in NOTHING
        return Turn(
            seq=seq,
            device=device,
            who=self._role(device),
            heard=heard.text or heard.heard,
            understood=understood(what),
            replies=words,
            tone="" if nothing else "refused" if words and not effects else tone,
            audio=self._voiced(words),
            step=self.run.at,
            energy=self.run.ledger.state,
            input=what,
            effects=effects,
        )

    def _voiced(self, words: Iterable[str]) -> tuple[Path, ...]:
        if self.voice is None:
            return ()
        rate_wpm, volume = self.speaking.rate_wpm, self.speaking.volume
        try:
            return tuple(self.voice.speak(text, rate_wpm, volume) for text in words)
        except (ThirdhandError, OSError) as problem:
            # The turn is on record by now and must be told: the page speaks with its own voice.
            log.warning("job %s: no voice for a reply: %s", self.job_id, problem)
            return ()

    def _tell(self, turn: Turn) -> Turn:
        if not turn.device and not turn.replies:
            return turn  # a device came or went and nothing hangs on it
        if turn.device:
            self._last = turn
        for callback in tuple(self._listeners):
            callback(turn)
        return turn

    # --- what a page shows -----------------------------------------------------------------------

    def prompt(self) -> Turn:
        """The present step, spoken again for a device that has just joined; nothing is logged."""
        with self._lock:
            effects: tuple[fx.Effect, ...] = ()
            if self.run.at:
                effects = (fx.Entered(step=self.run.at, again=True),)
            words = self._said or self._words(effects)
            return self._turn("", Transcript("", 1.0), None, effects, words, 0)

    def aloud(self, words: str) -> Turn:
        """Words of the shell's own, voiced; nothing is logged and the job stays as it is."""
        return self._turn("", Transcript("", 1.0), None, (), (words,), 0)

    def view(self, device: str = "") -> dict[str, Any]:
        """The job's state for a device's screen, as plain data."""
        with self._lock:
            last = self._last
            now = Moment(
                job_id=self.job_id,
                plan=self.plan,
                run=self.run,
                finding=self.finding,
                guide_said=self._guide_said,
                now_s=self._base_s + self.clock.mono_s(),
                roles=frozenset(self._roles.values()),
                heard=(last.heard, last.understood, last.tone) if last else ("", "", ""),
                hold_s=HOLD_S,
                rate_wpm=self.speaking.rate_wpm,
                volume=self.speaking.volume,
            )
            return view_of(now, self._role(device))


def _as_heard(event: inputs.Event) -> Transcript:
    return Transcript(event.heard, event.confidence)


def understood(what: inputs.Input | None) -> str:
    """An input in a few words, for the screen and the rehearsal."""
    if what is None:
        return ""
    match what:
        case inputs.Reading(special=str() as special) if special:
            return special.replace("-", " ")
        case inputs.Reading(value=Decimal() as value):
            return f"{format(value, 'f')} {unit(what.unit).symbol}" if what.unit else f"{value}"
        case inputs.Tag():
            return f"tag {what.digits}"
        case inputs.UseInstrument():
            return f"instrument {what.id}"
        case inputs.Landed():
            return f"landed on -{what.strip}:{what.point}"
        case inputs.Challenge():
            return f"{what.phrase} {what.digits}".strip()
        case inputs.Confirm():
            return what.word
        case inputs.Choice():
            return what.answer
        case inputs.Command():
            return what.name
        case inputs.GoTo():
            return f"go to {what.section}"
        case inputs.Guide():
            return finding.in_words(what)
        case inputs.NotUnderstood():
            return f"not understood: {what.why}"
        case inputs.Correction(reading=inputs.Reading() as reading):
            return f"correction {understood(reading)}"
        case inputs.Unable() | inputs.Note():
            return f"{what.kind} {what.reason if what.kind == 'unable' else what.text}".strip()
        case _:
            return what.kind


class Jobs:
    """The jobs of a data folder, and the ear and mouth that they share.

    Sessions are kept, so that every device of a job works on the same one.
    """

    def __init__(
        self,
        data_dir: Path,
        recogniser: Recogniser | None = None,
        voice: Voice | None = None,
        *,
        clock: Clock | None = None,
        challenge: Callable[[], str] = draw_challenge,
    ):
        self.data_dir = data_dir
        self.store = Store.open(data_dir / "records.sqlite")
        self._parts: dict[str, Any] = {
            "recogniser": recogniser,
            "voice": voice,
            "clock": clock or Clock(),
            "challenge": challenge,
        }
        self._open: dict[str, JobSession] = {}
        self._lock = threading.RLock()

    @property
    def recogniser(self) -> Recogniser | None:
        """The ear, None for a job by touch and text alone."""
        found: Recogniser | None = self._parts["recogniser"]
        return found

    def list(self) -> list[dict[str, Any]]:
        """Jobs on record, newest first."""
        rows = []
        for row in self.store.jobs():
            head: dict[str, Any] = {}
            with suppress(RecordError):  # a damaged job must not hide the others
                head = self.store.head(row["id"])
            rows.append({**row, "site": head.get("site", ""), "door": head.get("door", "")})
        return rows

    def at_work(self, job_id: str) -> JobSession | None:
        """The session of a job that was begun or opened by now; nothing is opened."""
        with self._lock:
            return self._open.get(job_id)

    def open(self, job_id: str) -> JobSession:
        """The session of a job; it is resumed from its log if it isn't at work."""
        with self._lock:
            if job_id not in self._open:
                self._keep(JobSession.resume(job_id, self.store, **self._parts))
            return self._open[job_id]

    def new(self, spec: str | Path, *packs: str | Path, people: Sequence[str] = ()) -> JobSession:
        """A new job from a job file, or from the name of one that comes with the packs.

        packs: names or folders of what is to be worked through, all of the job's if none.
        people: who works on it, those of the job's file if none.

        Raises
        ------
        JobError, PackError
            If the file, its pack or their fit is wrong.
        """
        with self._lock:
            path = find_job(spec)
            job = load_job(path)
            if people:
                job = job.model_copy(update={"people": tuple(people)})
            wanted = packs or job.packs
            folders = [find_pack(each) for each in wanted]
            earlier: dict[str, str] = {}
            if names := past.wanted(load_pack(each) for each in folders):
                found = visits.history(self.store, job.site, job.door, names, plan_if_readable)
                job, earlier = job.model_copy(update={"history": found}), past.texts(found)
            plan_from_files(wanted, job)  # for messages that name the file, not the kept text
            texts = texts_of(folders, path) | earlier
            if people:
                texts["people"] = "\n".join(people)
            started = self._parts["clock"].wall()
            job_id = f"{slug(job.job)}-{''.join(c for c in started[:16] if c.isdigit())}"
            taken = {row["id"] for row in self.store.jobs()}
            number = 2
            base = job_id
            while job_id in taken:
                job_id, number = f"{base}-{number}", number + 1
            session = JobSession.start(job_id, plan_of(texts), texts, self.store, **self._parts)
            return self._keep(session)

    def _keep(self, session: JobSession) -> JobSession:
        if not self._open:
            finding.read_ahead()
        self._open[session.job_id] = session
        return session
