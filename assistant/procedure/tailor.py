"""A job sheet made over for what stands at the door: supply, options, instruments, terminal plan.

Text to text: what comes out is a job sheet like any other, so it is checked, kept in the log's head
and replayed as one that was written by hand. Comments and all that isn't changed stay as they are.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import PurePath
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field
from ruamel.yaml import YAML

from assistant.errors import JobError
from assistant.procedure.load import build, parse_yaml
from assistant.procedure.model import Instrument, Supply

PLAN_ENDS = (".csv", ".yaml", ".yml")
_Name = Annotated[
    str, Field(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ()/._-]*$")
]


class SheetInstrument(Instrument):
    """An instrument as a form gives it: names that can be spoken and printed, a date or none."""

    id: _Name
    kind: _Name
    calibration_due: Annotated[str, Field(pattern=r"^(\d{4}-\d{2}-\d{2})?$")] = ""


class Changes(BaseModel):
    """What differs from the sheet; None leaves the sheet's own."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    options: Annotated[tuple[_Name, ...], Field(max_length=60)] | None = None
    supply: Supply | None = None
    listening: Literal["open", "push-to-talk"] | None = None
    instruments: Annotated[tuple[SheetInstrument, ...], Field(max_length=20)] | None = None


def changes_of(tree: Mapping[str, Any], file: str) -> Changes:
    """The changes that a form asks for; JobError says which field is wrong."""
    return build(Changes, dict(tree), file, JobError)


def tailored(text: str, changes: Changes, plan: str | None = None, file: str = "job") -> str:
    """The text of a job sheet with the changes made; plan: the name of another terminal plan.

    Raises
    ------
    JobError
        If an instrument or option is there twice, or the plan's name is no plain name of a CSV or
        YAML file.
    """
    tree = parse_yaml(text, file, JobError)
    if changes.options is not None:
        _each_once("option", changes.options, file)
        tree["options"] = list(changes.options)
    if changes.supply is not None:
        tree["supply"] = changes.supply.model_dump()
    if changes.listening is not None:
        tree["listening"] = changes.listening
    if changes.instruments is not None:
        _each_once("instrument", [each.id for each in changes.instruments], file)
        tree["instruments"] = [each.model_dump() for each in changes.instruments]
    if plan is not None:
        tree["terminals"] = plan_name(plan)
    out = io.StringIO()
    yaml = YAML(typ="rt")
    yaml.width = 100
    yaml.dump(tree, out)
    return out.getvalue()


def plan_name(given: str) -> str:
    """The name under which a plan that was handed in is kept; its ending tells how it is read."""
    end = PurePath(given).suffix.lower()
    if end not in PLAN_ENDS:
        wrong = f"a terminal plan is a file that ends in {', '.join(PLAN_ENDS)}"
        raise JobError(given, None, f"{wrong}; save the maker's list as 'CSV UTF-8'")
    return f"plan{end}"


def _each_once(what: str, names: Any, file: str) -> None:
    for name in names:
        if list(names).count(name) > 1:
            raise JobError(file, None, f"{what} '{name}' is there twice; give each its own name")
