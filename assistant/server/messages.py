"""The messages between a device and the server: one text frame each, JSON, kebab-case types.

    {"type": "touch", "n": 3, "phrase": "affirm"}

`n` numbers what must arrive exactly once. A device numbers its *inputs* 1, 2, 3, ... within a
session; the server numbers its *posts* likewise, on its own count. Everything else is a *sign*
of the moment, has n 0, and is never sent again. Binary frames are sound and no message:
16-bit little-endian mono PCM at 16 kHz.

`web/net/messages.js` is the twin of this file; a test compares the two.
"""

from __future__ import annotations

import json
import math
from dataclasses import MISSING, asdict, dataclass, fields
from typing import Any, ClassVar, get_type_hints

from assistant.errors import ThirdhandError

RATE_HZ = 16_000
TEXT_MAX_BYTES = 4_096  # a text frame from a device
SOUND_MAX_BYTES = 64_000  # a binary frame: two seconds of sound
FRAME_MAX_BYTES = 1_000_000  # beyond this the connection is closed with code 1009
STRING_MAX = 200  # characters in one string field, unless the field says otherwise
TYPED_MAX = 1_000


class MessageError(ThirdhandError):
    """A frame that is no message. `what` is wrong, what to `do`, and `about` which number."""

    def __init__(self, what: str, do: str, about: int = 0):
        super().__init__(f"{what}; {do}")
        self.what, self.do, self.about = what, do, about


@dataclass(frozen=True)
class Message:
    """What all messages share. `numbered` tells inputs and posts from signs."""

    type: ClassVar[str]
    numbered: ClassVar[bool] = False


# --- device to server --------------------------------------------------------------------------


@dataclass(frozen=True)
class Hello(Message):
    """The first frame on a connection: who this is, and where it left off.

    device: the device's own id, kept over reloads. role: "lead" or "helper". job: id of the
    job, "" for the server's default. session: as the last `welcome` gave it, "" for a new
    one. last: number of the last post that was taken. headset: the sound comes from a headset,
    so that replies can't be heard by the microphone. rate_hz: sample rate of the binary
    frames. [Hz] key: a secret that the device drew for itself and keeps with its id; without it
    nobody takes its seat, and where devices have to join, it is what the join code let in.
    """

    type: ClassVar[str] = "hello"
    device: str
    role: str = "lead"
    job: str = ""
    session: str = ""
    last: int = 0
    headset: bool = False
    rate_hz: int = RATE_HZ
    key: str = ""


@dataclass(frozen=True)
class Touch(Message):
    """A button that does what the spoken phrase does.

    seen: number of the state the person was looking at, 0 if unknown. If something else is
    asked by now, the touch is refused, so that no AFFIRM meets a read-back nobody saw.
    """

    type: ClassVar[str] = "touch"
    numbered: ClassVar[bool] = True
    phrase: str
    seen: int = 0


@dataclass(frozen=True)
class Typed(Message):
    """Words that were typed instead of said."""

    type: ClassVar[str] = "typed"
    numbered: ClassVar[bool] = True
    text: str


@dataclass(frozen=True)
class GatePress(Message):
    """A finger is down on the gate button, with the challenge's digits entered before."""

    type: ClassVar[str] = "gate-press"
    numbered: ClassVar[bool] = True
    phrase: str
    digits: str


@dataclass(frozen=True)
class GateRelease(Message):
    """The finger is up. held_s: by the device's clock; the shorter of the two counts. [s]"""

    type: ClassVar[str] = "gate-release"
    numbered: ClassVar[bool] = True
    held_s: float


@dataclass(frozen=True)
class GateCancel(Message):
    """The finger slid off, or the page was hidden: nothing was confirmed."""

    type: ClassVar[str] = "gate-cancel"
    numbered: ClassVar[bool] = True


@dataclass(frozen=True)
class Talk(Message):
    """Push to talk: pressed or let go."""

    type: ClassVar[str] = "talk"
    on: bool


@dataclass(frozen=True)
class Playback(Message):
    """A reply begins or ends to sound from this device."""

    type: ClassVar[str] = "playback"
    on: bool


@dataclass(frozen=True)
class Headset(Message):
    """The sound goes to a headset from now on, or to the loudspeaker."""

    type: ClassVar[str] = "headset"
    on: bool


@dataclass(frozen=True)
class Gap(Message):
    """Sound was lost here: what was being said is not to be pieced together over the gap."""

    type: ClassVar[str] = "gap"


@dataclass(frozen=True)
class Ack(Message):
    """Every post up to `last` was taken; the server need not keep it."""

    type: ClassVar[str] = "ack"
    last: int


@dataclass(frozen=True)
class Ping(Message):
    """Is the link alive?"""

    type: ClassVar[str] = "ping"


# --- server to device --------------------------------------------------------------------------


@dataclass(frozen=True)
class Welcome(Message):
    """The answer to `hello`, before anything else.

    session: to be named when the link was lost. resumed: the session goes on, what was missed
    follows; otherwise it is a new one, both counts start again and inputs still unanswered are
    void. taken: the highest input number that arrived. gap: posts were missed that are no
    longer kept; the state that follows is whole all the same.
    """

    type: ClassVar[str] = "welcome"
    session: str
    device: str
    role: str
    job: str
    resumed: bool
    taken: int
    gap: bool = False


@dataclass(frozen=True)
class State(Message):
    """Where the job stands; replaces every earlier state, so older ones may never be sent."""

    type: ClassVar[str] = "state"
    numbered: ClassVar[bool] = True
    view: dict[str, Any]


@dataclass(frozen=True)
class Say(Message):
    """One reply to be spoken.

    text: the words. audio: path of a WAV file on this server, "" if the device is to speak
    itself. turn: the turn it belongs to; part of parts: its place there, from 1. again: it was
    spoken before this device came. cut: the person may speak into it and so end it.
    """

    type: ClassVar[str] = "say"
    numbered: ClassVar[bool] = True
    text: str
    audio: str = ""
    turn: int = 0
    part: int = 1
    parts: int = 1
    again: bool = False
    cut: bool = False


@dataclass(frozen=True)
class Heard(Message):
    """What was heard, from whom, and what it was taken for.

    tone: "heard", "not-understood", "refused", "done", "fail" or "".
    """

    type: ClassVar[str] = "heard"
    numbered: ClassVar[bool] = True
    device: str
    who: str
    text: str
    understood: str
    tone: str
    turn: int = 0


@dataclass(frozen=True)
class Ring(Message):
    """The other person calls: make this device ring. who: "lead" or "helper"."""

    type: ClassVar[str] = "ring"
    numbered: ClassVar[bool] = True
    who: str


@dataclass(frozen=True)
class Shutter(Message):
    """This device's person wants a picture: take one when the reply that follows has ended.

    step: id of the step it belongs to, to be sent along with it.
    """

    type: ClassVar[str] = "shutter"
    numbered: ClassVar[bool] = True
    step: str


@dataclass(frozen=True)
class Level(Message):
    """What the server's ear gets, about four times a second while sound comes in.

    dbfs: level, 0 at full scale. [dB] speaking: speech has begun. open: answers are taken.
    why: if not, why: "reply" (a loudspeaker speaks), "push-to-talk" (not pressed), "touch-only"
    (the server has no recogniser).
    """

    type: ClassVar[str] = "level"
    dbfs: float
    speaking: bool
    open: bool
    why: str = ""


@dataclass(frozen=True)
class Taken(Message):
    """The input of this number is dealt with and on record; it need not be sent again."""

    type: ClassVar[str] = "taken"
    numbered: ClassVar[bool] = True
    number: int


@dataclass(frozen=True)
class Error(Message):
    """Something was not taken. what: is wrong. do: this. about: the input's number, or 0."""

    type: ClassVar[str] = "error"
    what: str
    do: str
    about: int = 0


@dataclass(frozen=True)
class Pong(Message):
    """The link is alive."""

    type: ClassVar[str] = "pong"


FROM_DEVICE: dict[str, type[Message]] = {
    kind.type: kind
    for kind in (
        Hello,
        Touch,
        Typed,
        GatePress,
        GateRelease,
        GateCancel,
        Talk,
        Playback,
        Headset,
        Gap,
        Ack,
        Ping,
    )
}
FROM_SERVER: dict[str, type[Message]] = {
    kind.type: kind
    for kind in (Welcome, State, Say, Heard, Ring, Shutter, Level, Taken, Error, Pong)
}
_LONGER = {("typed", "text"): TYPED_MAX}
_JSON_NAME = {str: "string", int: "number", float: "number", bool: "boolean"}


def field_kinds(kind: type[Message]) -> dict[str, str]:
    """Fields of a message with their JSON types, as the twin writes them down."""
    hints = get_type_hints(kind)
    return {f.name: _JSON_NAME.get(hints[f.name], "object") for f in fields(kind)}


def encode(message: Message, n: int = 0) -> str:
    """A message as the text of one frame."""
    head = {"type": message.type, "n": n}
    return json.dumps(head | asdict(message), ensure_ascii=False, allow_nan=False)


def decode(text: str, kinds: dict[str, type[Message]] = FROM_DEVICE) -> tuple[Message, int]:
    """A message and its number from the text of one frame.

    Raises
    ------
    MessageError
        If the text is no message of these kinds; says what is wrong and what to do.
    """
    if kinds is FROM_DEVICE and len(text.encode("utf-8", "replace")) > TEXT_MAX_BYTES:
        raise MessageError(
            f"a text frame is longer than {TEXT_MAX_BYTES} bytes", "send a shorter message"
        )
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise MessageError("the text frame is not JSON", "send one JSON object a frame") from None
    if not isinstance(data, dict):
        raise MessageError("the text frame is not an object", "send one JSON object a frame")
    name, n = data.pop("type", None), data.pop("n", 0)
    kind = kinds.get(name) if isinstance(name, str) else None
    if kind is None:
        raise MessageError(
            f"the type {str(name)[:40]!r} is not known", "use one of " + ", ".join(kinds)
        )
    if isinstance(n, bool) or not isinstance(n, int) or not 0 <= n < 2**53:
        raise MessageError(f"'{name}' has no whole number n", "number inputs 1, 2, 3, ...")
    if kind.numbered and n == 0:
        raise MessageError(f"'{name}' must be numbered", "number inputs 1, 2, 3, ...")
    hints = get_type_hints(kind)
    values: dict[str, Any] = {}
    for field in fields(kind):
        if field.name not in data:
            if field.default is MISSING and field.default_factory is MISSING:
                raise MessageError(
                    f"'{name}' lacks the field '{field.name}'",
                    "send " + ", ".join(field_kinds(kind)),
                    n,
                )
            continue
        values[field.name] = _checked(kind, field.name, hints[field.name], data.pop(field.name), n)
    if data:
        odd = str(next(iter(data)))[:40]
        raise MessageError(
            f"'{name}' has no field {odd!r}",
            "send " + (", ".join(field_kinds(kind)) or "type and n only"),
            n,
        )
    return kind(**values), n


def _checked(kind: type[Message], name: str, hint: Any, value: Any, n: int) -> Any:
    """The value if it is of its field's type and size."""
    where = f"'{kind.type}': '{name}'"
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value) if abs(value) < 2**53 else math.inf
    wrong = not isinstance(value, hint) if isinstance(hint, type) else not isinstance(value, dict)
    if wrong or (hint is int and isinstance(value, bool)):
        expected = _JSON_NAME.get(hint, "object")
        raise MessageError(f"{where} is not a {expected}", f"send a {expected}", n)
    if isinstance(value, float) and not math.isfinite(value):
        raise MessageError(f"{where} is not a finite number", "send a number", n)
    if isinstance(value, str):
        longest = _LONGER.get((kind.type, name), STRING_MAX)
        if kind.type in FROM_DEVICE and len(value) > longest:
            raise MessageError(
                f"{where} is longer than {longest} characters", "send a shorter one", n
            )
        if not value.isprintable() and kind.type in FROM_DEVICE:
            raise MessageError(f"{where} has control characters", "send plain text", n)
    return value


def checked_sound(data: bytes) -> bytes:
    """The bytes of a binary frame if they can be sound.

    Raises
    ------
    MessageError
        If they are none, too many, or cut within a sample.
    """
    if not data:
        raise MessageError("a sound frame is empty", "send 16-bit mono samples at 16 kHz")
    if len(data) > SOUND_MAX_BYTES:
        raise MessageError(
            f"a sound frame has {len(data)} bytes, more than {SOUND_MAX_BYTES}",
            "send frames of 20 to 160 ms",
        )
    if len(data) % 2:
        raise MessageError(
            f"a sound frame has {len(data)} bytes, an odd number",
            "send whole 16-bit samples, low byte first",
        )
    return data
