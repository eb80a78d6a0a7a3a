"""A job played without a person: text lines or sound files through the path of a live job.

A script is text: `lead: four six two volts`, `helper: contact made`, `# comment`, `wait 31 min`.
`first | second` gives another wording for when the first isn't understood.
`{challenge}` stands for the digits that the assistant has just spoken and `{wrong}` for digits
that it hasn't. Spoken, the same script is answered as a patient technician would: what wasn't
understood is said again, and what was read back wrong is met with NEGATIVE.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from assistant.clock import SetClock
from assistant.dialogue.numbers import digit_words
from assistant.errors import FileError, UnitError
from assistant.job import JobSession, Turn
from assistant.procedure import inputs
from assistant.procedure.effects import ReadBack
from assistant.quantity import quantity, same_dimension
from assistant.speech.audio import mix, read_sound, to_int16
from assistant.speech.endpoint import Endpointer
from assistant.speech.espeak_voice import make_speech
from assistant.speech.recogniser import RATE_HZ

TURN_S = 4.0  # what a turn takes on the rehearsal's clock, listening and replying together
TRIES = 6


@dataclass(frozen=True)
class Line:
    """One line of a script: `who` says `text`, or `wait_s` pass."""

    number: int
    who: str = ""
    text: str = ""
    wait_s: float = 0.0

    def wording(self, tries: int) -> str:
        """What is said at a try: each wording twice, then the next, as people do."""
        wordings = [each.strip() for each in self.text.split("|")]
        return wordings[min((tries - 1) // 2, len(wordings) - 1)]


@dataclass(frozen=True)
class Played:
    """A line with what came of it. tries: how often it was said. wanted: what it means."""

    line: Line
    said: str
    turn: Turn
    tries: int = 1
    wanted: inputs.Input | None = None

    @property
    def right(self) -> bool:
        """True if what was understood is what the line means."""
        return self.wanted is None or same_input(self.wanted, self.turn.input)


class ScriptError(FileError):
    """A line of a script can't be played."""


def read_script(text: str, file: str = "script") -> list[Line]:
    """The lines of a script.

    Raises
    ------
    ScriptError
        With file and line, if a line is neither speech, a wait nor a comment.
    """
    lines = []
    for number, raw in enumerate(text.splitlines(), 1):
        row = raw.split("#", 1)[0].strip()
        if not row:
            continue
        spoken = re.fullmatch(r"(lead|helper):\s*(.+)", row)
        if spoken:
            lines.append(Line(number, who=spoken[1], text=spoken[2]))
            continue
        waits = re.fullmatch(r"wait\s+(.+)", row)
        try:
            length = quantity(waits[1]) if waits else None
        except UnitError as problem:
            raise ScriptError(file, number, str(problem)) from problem
        if length is None or not same_dimension(length.unit, "second"):
            raise ScriptError(
                file, number, f"'{row}' is no line of a script; write 'lead: TEXT', "
                "'helper: TEXT', 'wait 31 min' or '# comment'",
            )  # fmt: skip
        lines.append(Line(number, wait_s=float(length.to("second").value)))
    return lines


def same_input(a: inputs.Input | None, b: inputs.Input | None) -> bool:
    """True if two inputs mean the same, however they were worded."""

    def bare(what: Any) -> Any:
        if what is None:
            return None
        data = what.model_dump()
        for part in (data, data.get("reading") or {}):
            part.pop("said", None)
        if what.kind in ("unable", "note"):  # free speech: that it was one is what counts
            return what.kind
        return data

    one, other = bare(a), bare(b)
    readings = isinstance(a, inputs.Reading) and isinstance(b, inputs.Reading)
    if readings and None in (one["unit"], other["unit"]):  # left out: the step's own unit holds
        one["unit"] = other["unit"] = None
    return bool(one == other)


def fill(text: str, session: JobSession) -> str:
    """The line with `{challenge}` and `{wrong}` put in."""
    digits = session.run.challenge.digits if session.run.challenge else ""
    wrong = "".join(str((int(d) + 3) % 10) for d in digits) or "00"
    said = text.replace("{challenge}", digit_words(digits)) if digits else text
    return said.replace("{wrong}", digit_words(wrong)).replace("{challenge}", "")


def play_text(session: JobSession, clock: SetClock, lines: Iterable[Line]) -> Iterator[Played]:
    """Play a script as text."""
    for line in lines:
        if line.wait_s:
            yield from _let_pass(session, clock, line)
            continue
        said = fill(line.wording(1), session)
        session.join(line.who, line.who)
        clock.pass_s(TURN_S)
        yield Played(line, said, session.say(line.who, said, via="text"))


def _let_pass(session: JobSession, clock: SetClock, line: Line) -> Iterator[Played]:
    clock.pass_s(line.wait_s)
    turn = session.tick()
    if turn:
        yield Played(line, f"({line.wait_s:.0f} s pass)", turn)


# --- spoken ------------------------------------------------------------------------------------

Say = Callable[[str, str], np.ndarray]  # (words, who) -> int16 samples at 16 kHz
Ear = Callable[[str, np.ndarray], Turn]  # (who, samples) -> what came of them


def play_spoken(
    session: JobSession, clock: SetClock, lines: Iterable[Line], say: Say, ear: Ear | None = None
) -> Iterator[Played]:
    """Play a script as sound through endpointer and recogniser.

    Parameters
    ----------
    session : JobSession
        A job opened with a recogniser.
    clock : SetClock
        The job's clock.
    lines : iterable of Line
        The script.
    say : callable
        Makes the sound of a line, noise included.
    ear : callable, optional
        Takes the sound to the job; by default through an endpointer of its own.
    """
    ear = ear or partial(_spoken_turn, session, clock)
    before: Line | None = None  # what was read back, for the AFFIRM that follows
    for line in lines:
        if line.wait_s:
            yield from _let_pass(session, clock, line)
            continue
        if not (yield from _tell(session, line, say, ear, before)):
            return  # what follows would answer another step
        before = line if session.run.pending else None


def _tell(
    session: JobSession, line: Line, say: Say, ear: Ear, before: Line | None = None
) -> Generator[Played, None, bool]:
    """Say a line until it is understood; false if it isn't in `TRIES` times."""
    for tries in range(1, TRIES + 1):
        said = fill(line.wording(tries), session)
        wanted, waiting = session.meaning(said), _read_back(session)
        turn = ear(line.who, say(said, line.who))
        yield Played(line, said, turn, tries, wanted)
        if same_input(wanted, turn.input):
            return True
        if session.run.pending and _read_back(session) != waiting:
            yield from _take_back(session, line, say, ear)
        gone = isinstance(wanted, inputs.Affirm) and waiting and not session.run.pending
        # What was to be affirmed went with what was misheard: it is said again.
        if gone and before and not (yield from _tell(session, before, say, ear)):
            return False
    return False


def _read_back(session: JobSession) -> ReadBack | None:
    return session.run.pending.read_back() if session.run.pending else None


def _take_back(session: JobSession, line: Line, say: Say, ear: Ear) -> Iterator[Played]:
    """Something else was read back than what was said: NEGATIVE, until it is gone."""
    words = Line(line.number, line.who, "negative | wrong | no")
    for tries in range(1, TRIES + 1):
        if not session.run.pending:
            return
        said = words.wording(tries)
        turn = ear(line.who, say(said, line.who))
        yield Played(line, said, turn, tries, inputs.Negative())


def _spoken_turn(session: JobSession, clock: SetClock, who: str, samples: np.ndarray) -> Turn:
    """One file through the endpointer; what it cuts out goes to the job as on the live path."""
    session.join(who, who)
    clock.pass_s(TURN_S)
    ear = Endpointer()
    cut = [*ear.feed(samples), *ear.flush()]
    turns = [session.hear(who, each.samples) for each in cut]
    if not turns:
        return session.hear(who, samples)
    # Where a line was cut in two, the part that was understood is the one that counts.
    understood = [t for t in turns if t.input and t.input.kind != "not-understood"]
    return (understood or turns)[-1]


def add_noise(speech: np.ndarray, snr_db: float, seed: int) -> np.ndarray:
    """Speech with machine-like noise (falling spectrum) under it, and some of it at both ends.

    Parameters
    ----------
    speech : int16 array, shape (n,)
        At 16 kHz.
    snr_db : float
        Level of the speech over the noise. [dB]
    seed : int
        Same seed, same noise.

    Returns
    -------
    int16 array, shape (n + 1.1 s,)
    """
    rng = np.random.default_rng(seed)
    padded = np.pad(speech, (int(0.3 * RATE_HZ), int(0.8 * RATE_HZ)))
    n = len(padded)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 20.0 * n / RATE_HZ))
    noise = np.fft.irfft(spectrum, n)
    return mix(padded, to_int16(0.3 * noise / np.abs(noise).max()), snr_db, rng)


class Speakers:
    """eSpeak voices that answer in noise; what is said again is said in another voice and pace.

    The recogniser learned from people, so a formant voice is a hard listener's test: expect more
    repeats than from a person.
    """

    _VOICES = (
        *(("en-us+m3", 130), ("en-us", 110), ("en-gb", 110)),
        *(("en-us+m3", 110), ("en-us+m1", 120), ("en-gb+m3", 120)),
    )

    def __init__(self, snr_db: float):
        self._snr_db = snr_db
        self._count = 0
        self._last = ("", 0)

    def __call__(self, words: str, who: str) -> np.ndarray:
        """The sound of `words`, as int16 samples at 16 kHz."""
        said, times = self._last
        times = times + 1 if said == words else 0
        self._last = (words, times)
        self._count += 1
        voice, rate_wpm = self._VOICES[times % len(self._VOICES)]
        return add_noise(make_speech(words, voice, rate_wpm), self._snr_db, seed=self._count)


def play_files(session: JobSession, clock: SetClock, manifest: Path) -> Iterator[Played]:
    """Play the sound files of a manifest, one a turn, as they are: nothing is said again.

    Lines of the manifest: {"file": path relative to it, "text": words, "who": "lead"} or
    {"wait": "31 min"}.
    """
    for number, raw in enumerate(manifest.read_text(encoding="utf-8").splitlines(), 1):
        if not raw.strip():
            continue
        try:
            row = json.loads(raw)
            line = Line(number, who=row.get("who", "lead"), text=row.get("text") or "")
            if "wait" in row:
                wait_s = float(quantity(row["wait"]).to("second").value)
                yield from _let_pass(session, clock, Line(number, wait_s=wait_s))
                continue
            path = manifest.parent / row["file"]
        except (ValueError, KeyError, AttributeError, UnitError) as problem:
            raise ScriptError(
                str(manifest), number, f"is no line of a manifest ({problem}); write "
                '{"file": "a.wav", "text": "four six two volts"}',
            ) from problem  # fmt: skip
        wanted = session.meaning(line.text) if line.text else None
        turn = _spoken_turn(session, clock, line.who, read_sound(path))
        yield Played(line, line.text, turn, 1, wanted)


# --- showing ---------------------------------------------------------------------------------


def as_dict(played: Played) -> dict[str, Any]:
    """A played line as plain data."""
    turn = played.turn
    return {
        "line": played.line.number,
        "who": turn.who,
        "said": played.said,
        "tries": played.tries,
        "heard": turn.heard,
        "understood": turn.understood,
        "right": played.right,
        "replied": list(turn.replies),
        "logged": turn.seq or None,
        "step": turn.step,
        "energy": turn.energy,
        "tone": turn.tone,
    }


def as_lines(played: Played) -> list[str]:
    """A played line for the terminal."""
    turn = played.turn
    again = f"  (time {played.tries})" if played.tries > 1 else ""
    wrong = "" if played.right else "   <- not what was said"
    rows = [f"{turn.who:7} said        {played.said}{again}"]
    if turn.heard:
        rows.append(f"        heard       {turn.heard}")
    rows.append(f"        understood  {turn.understood or '(nothing)'}{wrong}")
    rows += [f"        replied     {reply}" for reply in turn.replies]
    rows.append(f"        logged      {f'entry {turn.seq}' if turn.seq else '-'}  [{turn.energy}]")
    return rows
