"""What an ear is: the protocol that every engine fulfils.

An engine hears one utterance (already cut out by the endpointer) and is asked only about
what the step accepts: a list of phrase templates. It answers with the words of one accepted
sentence, or with nothing. It knows no steps, no prowords, no units' meaning.

A template is lower-case words with at most one slot:

    done                      literal
    correction {value}        a number with or without one of `unit_words` after it
    lockout confirmed {digits:2}   exactly two spoken digits
    tag {digits}              one to eight spoken digits
    note {free}               anything at all: the engine's best free transcript

Numbers come back as words, as spoken: "four six two decimal five volts", "four sixty",
"two oh eight", "minus three", "one and a half", "five sixteenths", "six feet four inches".
"""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np

RATE_HZ = 16_000


@dataclass(frozen=True)
class Expected:
    """What may be said now.

    templates: phrase templates (see the module text), the likelier ones need not come first.
    unit_words: spoken unit names a {value} may end with, e.g. ("volts", "millivolts").
    weights: template -> consequence, "command" < "value" < "gate"; a missing one is "command".
    An engine asks for more certainty before it returns a weightier phrase.
    """

    templates: tuple[str, ...]
    unit_words: tuple[str, ...] = ()
    weights: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Transcript:
    """What was heard in one utterance.

    text: the words of an accepted sentence in lower case, or "" when nothing accepted was heard.
    confidence: 0 to 1. [1]
    start_s, end_s: where in the stream the speech lay. [s]
    template: the template that the text fills, or None.
    rejected: why nothing was returned ("noise", "other speech", "too short", "unsure"), or None.
    alternatives: other accepted sentences nearly as likely, best first; a value that has a
        close rival is asked again and never guessed.
    heard: the engine's free transcript where it has one; for the log and for {free}.
    """

    text: str
    confidence: float
    start_s: float = 0.0
    end_s: float = 0.0
    template: str | None = None
    rejected: str | None = None
    alternatives: tuple[str, ...] = ()
    heard: str = ""


class Recogniser(Protocol):
    """One engine with its model loaded; `hear` may be called from any thread, one at a time."""

    name: str
    model: str  # what weights, their licence and origin, in one line

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        """Recognise one utterance.

        Parameters
        ----------
        samples : int16 array, shape (n,)
            Mono sound at 16 kHz, speech with a little silence at each end.
        expected : Expected
            What may be said.

        Returns
        -------
        Transcript
            `text` is "" unless an accepted sentence was heard.

        Raises
        ------
        AudioError
            If `samples` is not a one-dimensional int16 array.
        """
        ...

    def unknown_words(self, words: set[str]) -> set[str]:
        """Those of `words` the model can't hear; `check` and the pack loader report them."""
        ...


@runtime_checkable
class Eager(Recogniser, Protocol):
    """A recogniser that begins before the silence after an utterance is over; any thread, many
    at a time."""

    def ahead(self, samples: np.ndarray, expected: Expected) -> Future[Transcript] | None:
        """Begin with what will be an utterance if no more is said; None if all are at work.

        `hear` of the same sound takes it up. Call `drop` if more was said.
        """
        ...

    def drop(self, begun: Future[Transcript]) -> None:
        """Forget what was begun ahead, if `hear` hasn't taken it up."""
        ...


def whole(heard: Transcript, expected: Expected) -> bool:
    """True if it is a plain command that no accepted sentence goes on from.

    Numbers and what weighs more than a command never are: one more word would change them.
    """
    return (
        bool(heard.text)
        and heard.template == heard.text
        and heard.template not in expected.weights
        and not heard.alternatives
        and not any(other.startswith(f"{heard.text} ") for other in expected.templates)
    )
