"""One job and the devices in it: inputs go in one at a time, every turn goes out to all.

A single worker thread calls the job, so the threads that read the connections never wait for
the recogniser and the job never hears two things at once.
"""

from __future__ import annotations

import contextlib
import hmac
import itertools
import logging
import math
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from typing import TYPE_CHECKING, Any

from assistant.errors import HearingError, ThirdhandError
from assistant.procedure.effects import PhotoAsked
from assistant.server.ear import ECHO_TAIL_S, Ear
from assistant.server.link import Link
from assistant.server.messages import (
    RATE_HZ,
    Ack,
    Error,
    Gap,
    GateCancel,
    GatePress,
    GateRelease,
    Headset,
    Heard,
    Hello,
    Message,
    MessageError,
    Ping,
    Playback,
    Pong,
    Ring,
    Say,
    Shutter,
    State,
    Taken,
    Talk,
    Touch,
    Typed,
    Welcome,
    checked_sound,
)
from assistant.server.sounds import Sounds
from assistant.speech.recogniser import Eager, Expected, Transcript, whole

if TYPE_CHECKING:
    from assistant.job import JobSession, Turn
    from assistant.speech.endpoint import Endpointer, Utterance

log = logging.getLogger(__name__)

TICK_S = 1.0
GRACE_S = 5.0  # a lost link shorter than this is nobody's departure
FORGET_S = 1_800.0  # a device that stayed away so long begins a new session
DEVICES_MAX = 16
WAITING_MAX = 64  # inputs and utterances of all devices that wait for the worker
ALWAYS = ("stop work", "emergency")  # taken whatever the person was looking at
WARN_EVERY_S = 5.0  # apart, at least, are warnings of too much speech to one device
UNSEEN = object()  # what was asked of somebody whose device had not shown it: equal to nothing
PLAYBACK_MAX_S = 60.0  # a device that forgot to say that a reply ended doesn't deafen the job


class Seat:
    """A device's place in the room: its link, its ear, and what its person is doing now."""

    def __init__(self, link: Link, ear: Ear, hello: Hello, now_s: float):
        self.link, self.ear, self.headset = link, ear, hello.headset
        self.claimed, self.key = hello.device, hello.key  # the link's name may be another
        self.warned_s = -math.inf  # when this person was last told of too much speech
        self.talking = False
        self.playing_until_s = 0.0
        self.press: tuple[str, str, float] | None = None
        self.gone_at_s: float | None = now_s
        self.joined = False
        self.role = link.role  # at work; another than at the hello after a change over
        self.view: dict[str, Any] | None = None  # as this device was shown it last
        self.question: object = None
        self.asked_n = 0  # number of the first state that asked what is asked now
        self.paused: Utterance | None = None
        self.expected: Expected | None = None  # when it paused
        self.begun: Future[Transcript] | None = None  # to hear it, ahead

    def show(self, view: dict[str, Any]) -> None:
        """Post the state to this device if it is another than before."""
        if view == self.view:
            return
        self.view = view
        n = self.link.post(State(view))
        if _question(view) != self.question:
            self.question, self.asked_n = _question(view), n


def _question(view: dict[str, Any]) -> object:
    """What the person is asked: a touch answers this and nothing else."""
    step = view.get("step") or {}
    return (step.get("id"), view.get("pending"), view.get("challenge"), view.get("held"))


def _is_whole(begun: Future[Transcript], expected: Expected) -> bool:
    return begun.done() and not begun.exception() and whole(begun.result(), expected)


class Room:
    """The devices of one job. Call `close` when the server ends."""

    def __init__(
        self,
        session: JobSession,
        make_endpointer: Callable[[], Endpointer],
        sounds: Sounds,
        clock: Callable[[], float] = time.monotonic,
    ):
        self.session, self.job_id = session, session.job_id
        self._make_endpointer, self._sounds, self._clock = make_endpointer, sounds, clock
        recogniser = session.recogniser
        self._eager = recogniser if isinstance(recogniser, Eager) else None
        self._seats: dict[str, Seat] = {}  # by session token
        self._lock = threading.RLock()
        self._work: queue.Queue[Callable[[], object] | None] = queue.Queue(WAITING_MAX)
        self._closed = False
        self.view: dict[str, Any] = session.view()  # the lead's; a device has its own
        self._unsubscribe = session.subscribe(self._tell)
        self._worker = threading.Thread(target=self._run, name=f"job {self.job_id}", daemon=True)
        self._worker.start()

    # --- devices come and go -------------------------------------------------------------------

    def enter(self, hello: Hello) -> tuple[Seat, int, Welcome]:
        """The seat of a device, its connection's id, and the answer to its hello.

        Raises
        ------
        MessageError
            If the hello can't be met.
        """
        if hello.role not in ("lead", "helper"):
            raise MessageError(f"the role '{hello.role}' is not known", "say lead or helper")
        if not hello.device:
            raise MessageError("the device has no id", "send an id that lasts over reloads")
        if hello.rate_hz != RATE_HZ:
            raise MessageError(
                f"sound at {hello.rate_hz} Hz is not taken", f"resample to {RATE_HZ} Hz"
            )
        with self._lock:
            seat = self._seats.get(hello.session)
            known = seat is not None and seat.claimed == hello.device
            if seat is None or not known:
                older = self._make_place(hello)
                link = Link(self._name_for(hello.device), hello.role)
                ear = Ear(self._make_endpointer, self._clock)
                seat = Seat(link, ear, hello, self._clock())
                if older:
                    seat.joined, seat.role = older.joined, older.role
                self._seats[link.session] = seat
            link = seat.link
            connection = link.connect()
            seat.gone_at_s, seat.press, seat.talking = None, None, False
            seat.playing_until_s, seat.headset = 0.0, hello.headset
            seat.ear.shut()
            if known:
                link.acknowledge(hello.last, shown=False)
            welcome = Welcome(
                session=link.session,
                device=link.device,
                role=seat.role,
                job=self.job_id,
                resumed=known,
                taken=link.taken,
                gap=known and link.missed(hello.last),
            )
            if welcome.gap and seat.view:
                view, seat.view = seat.view, None
                seat.show(view)
            joined = seat.joined
        # Outside the lock: the worker needs it to make room in a full queue.
        if not joined:
            self._enqueue(partial(self._join, seat))
        if not known:
            self._enqueue(partial(self._prompt, seat))
        return seat, connection, welcome

    def _join(self, seat: Seat) -> None:
        seat.joined = True
        self.session.join(seat.link.device, seat.role)

    def _prompt(self, seat: Seat) -> None:
        """Show and speak the present step to a device that has just come, and to no other."""
        view = self.session.view(seat.link.device)
        with self._lock:
            seat.show(view)
        self._say(seat.link, self.session.prompt(), again=True)

    def _make_place(self, hello: Hello) -> Seat | None:
        """The older seat of a device that starts afresh in the role that it had asked for.

        It gives up its older seat; a full room refuses another. The id alone takes nobody's seat,
        since every device of the job and the record name it: the device's own key must fit.
        """
        older = None
        for token, seat in list(self._seats.items()):
            own = hmac.compare_digest(seat.key.encode(), hello.key.encode())
            if seat.claimed == hello.device and own:
                older = seat if seat.link.role == hello.role else older
                seat.link.connect()  # ends a connection that may still serve it
                del self._seats[token]
        if len(self._seats) >= DEVICES_MAX:
            raise MessageError(
                f"{DEVICES_MAX} devices are on this job already", "close one that isn't needed"
            )
        return older

    def _name_for(self, device: str) -> str:
        """The id, or one beside it if somebody else sits under that."""
        taken = {seat.link.device for seat in self._seats.values()}
        names = (f"{device}-{number}" if number > 1 else device for number in itertools.count(1))
        return next(name for name in names if name not in taken)

    def depart(self, seat: Seat, connection: int) -> None:
        """A connection ended. The device has left only if it stays away."""
        with self._lock:
            if seat.link.disconnect(connection):
                seat.gone_at_s = self._clock()
                seat.press, seat.talking, seat.playing_until_s = None, False, 0.0
                seat.ear.shut()

    def _look_for_absent(self) -> None:
        now, left = self._clock(), []
        with self._lock:
            for token, seat in list(self._seats.items()):
                if seat.gone_at_s is None:
                    continue
                if seat.joined and now - seat.gone_at_s > GRACE_S:
                    seat.joined = False
                    left.append(seat.link.device)
                if now - seat.gone_at_s > FORGET_S:
                    del self._seats[token]
        for device in left:  # outside the lock: the job tells its turns under its own
            self._attempt(partial(self.session.leave, device))

    # --- what a device sends -------------------------------------------------------------------

    def hear(self, seat: Seat, data: bytes) -> None:
        """A binary frame. Raises MessageError if it is no sound."""
        why_not = self._why_closed(seat)
        found = seat.ear.feed(checked_sound(data), why_not)
        self._pass_on(seat, found)
        self._hear_ahead(seat, ended=bool(found))
        level = seat.ear.level()
        if level is not None:
            seat.link.sign(level)

    def _why_closed(self, seat: Seat) -> str:
        now = self._clock()
        if not seat.headset and any(
            other.playing_until_s > now and not other.headset for other in self._seated()
        ):
            return "reply"
        if self.session.recogniser is None:
            return "touch-only"
        if self.view.get("listening") == "push-to-talk" and not seat.talking:
            return "push-to-talk"
        return ""

    def _seated(self) -> list[Seat]:
        with self._lock:
            return list(self._seats.values())

    def _pass_on(self, seat: Seat, found: list[Utterance]) -> None:
        for one in found:
            hear = partial(
                self.session.hear,
                seat.link.device,
                one.samples,
                self._asked_of(seat),
            )
            if not self._enqueue(partial(self._hear, seat.link, hear), wait=False):
                self._too_much(seat)

    def _hear_ahead(self, seat: Seat, ended: bool) -> None:
        """Hear what was said while the silence after it lasts, and end that if no more can come."""
        recogniser = self._eager
        if recogniser is None:
            return
        if seat.ear.paused is not seat.paused:
            if seat.begun and not ended:  # more was said
                recogniser.drop(seat.begun)
            seat.paused, seat.begun = seat.ear.paused, None
            seat.expected = self.session.expected() if seat.paused else None
        if not seat.paused or not seat.expected:
            return
        if not seat.begun:  # with all at work it is asked again with each frame
            seat.begun = recogniser.ahead(seat.paused.samples, seat.expected)
        elif _is_whole(seat.begun, seat.expected):
            self._pass_on(seat, seat.ear.end())
            seat.paused = seat.begun = None

    def _asked_of(self, seat: Seat) -> object:
        """What an utterance that ends now can answer.

        Sound that was stuck in the network comes all at once: its second "done" was said to a
        question that the device is yet to show.
        """
        known = seat.link.acknowledged
        return self.session.asked() if not known or known >= seat.asked_n else UNSEEN

    def _too_much(self, seat: Seat) -> None:
        """Told once in a while: each word on it in a crowd would be one more in the crowd."""
        if self._clock() - seat.warned_s > WARN_EVERY_S:
            seat.warned_s = self._clock()
            self._fault(
                seat.link,
                Error("Too much was said at once.", "Wait for the reply, then say it again."),
            )

    def _hear(self, link: Link, hear: Callable[[], object]) -> None:
        if not self._attempt(hear, link):
            self._fault(link, Error("That was not taken.", "Say it again, or use the buttons."))

    def _fault(self, link: Link, error: Error) -> None:
        """Show what went wrong and say it too: nobody on a ladder looks at a screen."""
        link.sign(error)
        self._say(link, self.session.aloud(f"{error.what} {error.do}"), again=False)

    def receive(self, seat: Seat, message: Message, n: int) -> None:
        """A text message other than hello. Raises MessageError if it can't be met."""
        link = seat.link
        match message:
            case Ping():
                link.sign(Pong())
            case Ack(last=last):
                link.acknowledge(last)
            case Headset(on=on):
                seat.headset = on
            case Gap():
                seat.ear.shut()
            case Playback(on=on):
                seat.playing_until_s = self._clock() + PLAYBACK_MAX_S if on else 0.0
                if not on and not seat.headset:
                    for other in self._seated():
                        if not other.headset:
                            other.ear.shut(ECHO_TAIL_S)
            case Talk(on=on):
                if seat.talking and not on:
                    self._pass_on(seat, seat.ear.finish())
                seat.talking = on
            case Hello():
                raise MessageError("hello was said already", "open a new connection for another")
            case _:
                self._input(seat, message, n)

    def _input(self, seat: Seat, message: Message, n: int) -> None:
        link = seat.link
        match link.take(n):
            case "again":
                return  # its `taken` is on its way, or waits with the other posts
            case "early":
                raise MessageError(
                    f"input {n} came before input {link.taken + 1}", "send them in order", n
                )
        device, session = link.device, self.session
        action: Callable[[], object] | None = None
        match message:
            case Touch(phrase=phrase, seen=seen):
                action = partial(self._touch, seat, phrase, seen, n)
            case Typed(text=text):
                action = partial(session.say, device, text, "text")
            case GatePress(phrase=phrase, digits=digits):
                seat.press = (phrase, digits, self._clock())
            case GateCancel():
                seat.press = None
            case GateRelease(held_s=held_s):
                press, seat.press = seat.press, None
                if press is None:
                    link.sign(
                        Error(
                            "The press was interrupted.",
                            "Press and hold once more.",
                            n,
                        )
                    )
                else:
                    # The shorter of the two clocks: a stalled link must not lengthen a press.
                    held = max(0.0, min(self._clock() - press[2], held_s))
                    action = partial(session.gate_touch, device, press[0], press[1], held)
        if not self._enqueue(partial(self._settle, link, n, action)):
            self._fault(link, Error("Too much is waiting.", "Wait, then do that again.", n))
            link.post(Taken(n))

    def _touch(self, seat: Seat, phrase: str, seen: int, n: int) -> None:
        if 0 < seen < seat.asked_n and phrase not in ALWAYS:
            seat.link.sign(
                Error("Something else is asked by now.", "Look again, then press again.", n)
            )
        else:
            self.session.say(seat.link.device, phrase, "touch")

    def _settle(self, link: Link, n: int, action: Callable[[], object] | None) -> None:
        """Carry an input out, and only then say that it was taken."""
        if action is not None and not self._attempt(action, link):
            do = "Try it once more; if it fails again, note it on paper."
            self._fault(link, Error("That was not taken.", do, n))
        link.post(Taken(n))

    # --- the worker ----------------------------------------------------------------------------

    def _enqueue(self, work: Callable[[], object], wait: bool = True) -> bool:
        """False if too much waits already; an input waits for its place, an utterance doesn't."""
        try:
            self._work.put(lambda: self._attempt(work), block=wait, timeout=30)
        except queue.Full:
            return False
        return True

    def _attempt(self, work: Callable[[], object], link: Link | None = None) -> bool:
        """False if the work failed and nobody has told the person as yet.

        A failure that is worded for the person is told to the device that asked, if one did, and
        counts as done; of any other only the server's log knows why.
        """
        try:
            work()
        except ThirdhandError as error:
            log.warning("job %s: %s", self.job_id, error)
            if link is None:
                return False
            what, do = str(error), "Put that right, then try again."
            if isinstance(error, HearingError):
                what, do = error.what, error.do
            self._fault(link, Error(what, do))
            return True
        except Exception:
            log.exception("job %s: an input failed", self.job_id)
            return False
        return True

    def _run(self) -> None:
        tick_at_s = self._clock() + TICK_S
        while not self._closed:
            try:
                work = self._work.get(timeout=max(0.01, tick_at_s - self._clock()))
            except queue.Empty:
                work = None
            if work is not None:
                work()
            if self._clock() >= tick_at_s:
                tick_at_s = self._clock() + TICK_S
                self._attempt(self.session.tick)
                self._look_for_absent()
            self._attempt(self._show)

    def _show(self) -> None:
        """Post to each device its own state, if that has changed."""
        seats = self._seated()
        # Asked for outside the room's lock: the job tells its turns under its own.
        views = [self.session.view(seat.link.device) for seat in seats]
        self.view = self.session.view()
        with self._lock:
            for seat, view in zip(seats, views, strict=True):
                self._show_one(seat, view)

    @staticmethod
    def _show_one(seat: Seat, view: dict[str, Any]) -> None:
        if not seat.joined or seat.view is None:  # its first state comes with the prompt
            return
        seat.role = view["role"]
        seat.show(view)

    def _tell(self, turn: Turn) -> None:
        """Post a turn to all devices: what was heard, the new state, then what to say."""
        with self._lock:
            self.view = self.session.view()
            called = any(effect.kind == "helper-called" for effect in turn.effects)
            for seat in self._seats.values():
                link = seat.link
                if turn.heard or turn.understood or turn.tone:
                    link.post(
                        Heard(
                            device=turn.device,
                            who=turn.who,
                            text=turn.heard,
                            understood=turn.understood,
                            tone=turn.tone,
                            turn=turn.seq,
                        )
                    )
                self._show_one(seat, self.session.view(link.device))
                if called and link.device != turn.device:
                    link.post(Ring(turn.who))
                for effect in turn.effects:
                    if isinstance(effect, PhotoAsked) and link.device == turn.device:
                        link.post(Shutter(effect.step))
                self._say(link, turn, again=False)

    def _say(self, link: Link, turn: Turn, again: bool) -> None:
        caution = (self.view.get("step") or {}).get("caution") or {}
        cut = caution.get("word") not in ("DANGER", "WARNING")
        for place, text in enumerate(turn.replies):
            audio = self._sounds.url(turn.audio[place]) if place < len(turn.audio) else ""
            link.post(
                Say(text, audio, turn.seq, place + 1, len(turn.replies), again=again, cut=cut)
            )

    def close(self) -> None:
        """End the worker and every connection. The job itself stays as it is."""
        self._closed = True
        with contextlib.suppress(queue.Full):
            self._work.put_nowait(None)
        self._worker.join(timeout=5)
        self._unsubscribe()
        for seat in self._seated():
            seat.link.disconnect(seat.link.connect())
