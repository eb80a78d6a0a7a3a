"""The error family of the package.

Exceptions are for a broken pack, a missing model, a closed database. Mishearing, refusal and
a value outside limits are an ordinary day: they are outcomes, and the machine returns them.
Each error carries the data a caller needs, so nobody parses messages.
"""

from __future__ import annotations


class ThirdhandError(Exception):
    """Anything that this package raises on purpose; the text is fit for the person."""


class RangeError(ThirdhandError):
    """A calculator was given input outside its range; says which input and the valid range."""

    def __init__(self, name: str, found: object, valid: str):
        super().__init__(f"{name} is {found}; it must be {valid}")
        self.name, self.found, self.valid = name, found, valid


class UnitError(ThirdhandError):
    """A unit is unknown, or of another dimension than the one asked for."""


class FileError(ThirdhandError):
    """A text file (pack, job, terminal plan) is wrong at a place.

    Attributes: `file`, `line` (1-based or None), `step` (id or None), `problem`.
    """

    def __init__(self, file: str, line: int | None, problem: str, step: str | None = None):
        where = f"{file}:{line}" if line else file
        at_step = f" step '{step}':" if step else ""
        super().__init__(f"{where}:{at_step} {problem}")
        self.file, self.line, self.step, self.problem = file, line, step, problem


class PackError(FileError):
    """A pack can't be used."""


class JobError(FileError):
    """A job file or terminal plan can't be used."""


class GuideError(FileError):
    """The fault guide can't be used; `step` is the id of the symptom, cause or check."""


class ModelMissing(ThirdhandError):
    """A speech engine or its model is not on this machine; says how to get it."""


class HearingError(ThirdhandError):
    """An utterance was not heard, and nothing came of it: `what` went wrong, and what to `do`."""

    def __init__(self, what: str, do: str):
        super().__init__(f"{what} {do}")
        self.what, self.do = what, do


class AudioError(ThirdhandError):
    """Bytes that are not the audio that was agreed."""


class RecordError(ThirdhandError):
    """The record can't be read or written; says where and what to do."""
