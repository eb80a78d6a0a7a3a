"""Terminal plans: read from YAML rows or CSV, and what is wrong with them electrically.

A plan is entered once per door type from the maker's own sheet. `read_rows` refuses what can't be
used at all (shapes, a terminal used twice, a torque that is none); `faults` lists what must be put
right before anyone climbs. Both name file and line.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from pydantic import ValidationError

from assistant.errors import JobError, UnitError
from assistant.procedure.model import Job, Step, Terminal
from assistant.quantity import quantity, same_dimension

COLUMNS = tuple(Terminal.model_fields)
NEEDED = ("device", "conductor", "terminal", "voltage_class")
POWER = ("mains", "motor")
# Options that are devices with conductors of their own; a plan's device has its option's name.
WIRED = (
    *("encoder", "brake", "anti-roll-back", "slack-cable", "over-travel"),
    *("safety-edge", "light-beam", "second-light-beam", "loop", "second-loop"),
    *("push-button", "pull-cord", "motion-sensor", "presence-sensor", "emergency-stop"),
    *("interlock", "traffic-light", "fire-contact", "security-contact", "battery-backup"),
)
# Devices that any door may have in its plan without an option.
ALWAYS = ("mains", "earth", "motor", "motor-earth", "control-feed")
# Marks of IEC 60445 and IEC 60034-8 [M]: they stand on the equipment, nobody can rename them.
_STANDARD = re.compile(r"^(L[123]?|N|PE|PEN|U[12]?|V[12]?|W[12]?)$")
_PE = re.compile(r"(^|\s)PE$")
_SPEAKABLE = re.compile(r"^[A-Za-z0-9][A-Za-z0-9 '.-]*$")
_BOOLEAN = {"true": True, "yes": True, "false": False, "no": False}

Row = tuple[int | None, Mapping[str, Any]]


@dataclass(frozen=True)
class TerminalPlan:
    """Rows of a plan in the file's order; `lines` has the 1-based line of each."""

    file: str
    rows: tuple[Terminal, ...] = ()
    lines: tuple[int | None, ...] = ()

    def fault(self, place: int, problem: str) -> JobError:
        """What is wrong with the row at `place`, to be raised or listed."""
        return JobError(self.file, self.lines[place], problem)

    def line(self, place: int) -> str:
        """The line of a row, for a message about two of them."""
        return f"line {self.lines[place]}"


# --- reading -----------------------------------------------------------------------------------


def decode(raw: bytes, file: str) -> str:
    """Text of a plan: UTF-8 with or without its mark, or UTF-16 with one, as offices save it."""
    coding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return raw.decode(coding)
    except UnicodeDecodeError as problem:
        line = raw[: problem.start].count(b"\n") + 1
        unreadable = "holds a character that is not UTF-8; save the file as 'CSV UTF-8'"
        raise JobError(file, line, unreadable) from problem


def csv_rows(text: str, file: str) -> list[Row]:
    """(line, cells by column) of a CSV text, comma, semicolon or tab separated.

    The header may have any order; blank lines and lines that start with '#' are skipped. A cell
    stays on one line, so that every line number is right. Cells are text and never evaluated.

    Raises
    ------
    JobError
        If the header lacks a column or has one too many, or a line doesn't fit the header.
    """
    header: list[str] = []
    separator = ","
    rows: list[Row] = []
    for line, content in enumerate(text.splitlines(), 1):
        bare = content.strip().strip(";,\t\"' ")
        if not bare or bare.startswith("#"):
            continue
        if not header:
            separator = max(";\t,", key=content.count)
            header = _header(_cells(content, separator, file, line), file, line)
            continue
        cells = _cells(content, separator, file, line)
        if any(cells[len(header) :]) or len(cells) < len(header):
            raise JobError(
                file, line, f"has {len(cells)} cells, the header {len(header)}; put a cell that "
                f"holds '{separator.strip() or 'a tab'}' in double quotes, leave none out",
            )  # fmt: skip
        row = {name: cell for name, cell in zip(header, cells, strict=False) if name and cell}
        if separator == ";" and "torque" in row:  # where ; separates, a comma is the decimal sign
            row["torque"] = row["torque"].replace(",", ".")
        rows.append((line, row))
    if not header:
        raise JobError(file, None, f"is empty; its first line names {', '.join(NEEDED)}")
    return rows


def _cells(content: str, separator: str, file: str, line: int) -> list[str]:
    try:
        (row,) = csv.reader([content], delimiter=separator, strict=True)
    except csv.Error as problem:
        wrong = f"a double quote is opened and not closed, or stands inside a cell ({problem})"
        raise JobError(file, line, f"{wrong}; write it twice where it is meant") from problem
    return [cell.strip() for cell in row]


def _header(cells: list[str], file: str, line: int) -> list[str]:
    names = [re.sub(r"[\s-]+", "_", cell.lower()) for cell in cells]
    while names and not names[-1]:  # an office program's empty columns
        names.pop()
    for name in names:
        if name not in COLUMNS:
            close = difflib.get_close_matches(name, COLUMNS, n=1)
            hint = f" (did you mean '{close[0]}'?)" if close else ""
            known = ", ".join(COLUMNS)
            raise JobError(file, line, f"column '{name}' is not known{hint}; use {known}")
        if names.count(name) > 1:
            raise JobError(file, line, f"column '{name}' is there twice; leave one out")
    lacking = [name for name in NEEDED if name not in names]
    if lacking:
        raise JobError(file, line, f"the header lacks the column {' and '.join(lacking)}")
    return names


def read_rows(raw: Iterable[Row], file: str) -> TerminalPlan:
    """The plan of raw rows; the first that can't be used is raised as JobError."""
    read = [(line, _terminal(line, row, file)) for line, row in raw]
    plan = TerminalPlan(file, tuple(row for _, row in read), tuple(line for line, _ in read))
    for first, place in _twice(plan, lambda row: (row.device, _key(row.conductor))):
        row = plan.rows[place]
        raise plan.fault(
            place, f"device '{row.device}' has conductor '{row.conductor}' twice, first on "
            f"{plan.line(first)}; give each its own name",
        )  # fmt: skip
    for first, place in _twice(plan, lambda row: designation(row.terminal)):
        if not (plan.rows[first].shared and plan.rows[place].shared):
            raise plan.fault(
                place, f"terminal '{plan.rows[place].terminal}' is used twice, first on "
                f"{plan.line(first)}; a terminal takes one conductor of the plan, or all of its "
                "lines say shared: true where the maker allows several",
            )  # fmt: skip
    return plan


def _key(conductor: str) -> str:
    """What becomes of a conductor's name in a step's id."""
    return re.sub(r"[^a-z0-9]+", "-", conductor.lower()).strip("-")


def _twice(plan: TerminalPlan, key: Callable[[Terminal], Any]) -> Iterator[tuple[int, int]]:
    """(first place, place) of rows whose key came before; an empty key is none."""
    seen: dict[Any, int] = {}
    for place, row in enumerate(plan.rows):
        found = key(row)
        if found in seen:
            yield seen[found], place
        elif found:
            seen[found] = place


def _terminal(line: int | None, row: Mapping[str, Any], file: str) -> Terminal:
    values = {name: value for name, value in row.items() if value is not None}
    if isinstance(values.get("shared"), str):
        values["shared"] = _BOOLEAN.get(values["shared"].lower(), values["shared"])
    if "role" not in values and _PE.search(str(values.get("conductor", ""))):
        values["role"] = "earth"  # IEC 60445 keeps PE for the protective conductor [M]
    try:
        found = Terminal.model_validate(values)
    except ValidationError as problems:
        first = problems.errors()[0]
        name = ".".join(str(part) for part in first["loc"])
        message = first["msg"].removeprefix("Value error, ")
        if first["type"] == "extra_forbidden":
            message = f"is not known; a line knows: {', '.join(COLUMNS)}"
        raise JobError(file, line, f"'{name}': {message}" if name else message) from problems
    for name in ("device", "conductor"):
        if not _key(getattr(found, name)):
            raise JobError(file, line, f"'{name}' is empty or has neither letter nor figure")
    if found.terminal and not _key(found.terminal):
        raise JobError(file, line, f"terminal '{found.terminal}' names none; write '-X1:3'")
    if found.torque:
        _check_torque(found.torque, file, line)
    return found


def _check_torque(text: str, file: str, line: int | None) -> None:
    try:
        given = quantity(text)
    except UnitError as problem:
        raise JobError(file, line, f"torque: {problem}") from problem
    if not same_dimension(given.unit, "newton-metre") or given.value <= 0:
        wrong = f"'{text}' is no torque; write it as on the sheet, '0.6 N.m' or '5 lbf.in'"
        raise JobError(file, line, wrong)


# --- designations ------------------------------------------------------------------------------


def designation(terminal: str) -> str:
    """A terminal's product designation for comparing: '=A1+P1-X1:3' and 'X1:3' are 'X1:3'.

    IEC 81346: '=' goes before a function, '+' before a place, '-' before a product [M].
    """
    strip, colon, point = terminal.strip().rpartition(":")
    if not colon:
        return point.rpartition("-")[2].lstrip("=+").upper()
    return f"{strip.rpartition('-')[2].lstrip('=+')}:{point}".upper()


def strip_and_point(terminal: str) -> tuple[str, str]:
    """('X1', '3') of '-X1:3'; without a colon the strip is ''."""
    strip, _, point = designation(terminal).rpartition(":")
    return strip, point


# --- what is wrong -----------------------------------------------------------------------------


def faults(
    plan: TerminalPlan, job: Job | None, alike: Callable[[str, str], bool] | None = None
) -> list[JobError]:
    """Everything about a plan that must be put right, in the order of its lines.

    job: None for a plan looked at alone, without a door's options and code set. alike: tells if
    two names sound alike (`dialogue.sounds`); without it names aren't compared.
    """
    found = [
        *(_options(plan, job) if job else ()),
        *_neighbours(plan, job),
        *_shared_classes(plan),
        *_cables(plan, job),
        *_shields(plan, job),
        *_names(plan, alike),
    ]
    return sorted(found, key=lambda fault: fault.line or 0)


def _options(plan: TerminalPlan, job: Job) -> Iterator[JobError]:
    devices = {row.device: place for place, row in reversed(list(enumerate(plan.rows)))}
    for option in job.options:
        if option in WIRED and option not in devices:
            yield JobError(
                plan.file, None, f"job '{job.job}' has the option '{option}', the plan no such "
                "device; add its lines from the maker's sheet or take the option out",
            )  # fmt: skip
    for device, place in devices.items():
        if device in ALWAYS or device in job.options:
            continue
        close = difflib.get_close_matches(device, [*job.options, *ALWAYS], n=1, cutoff=0.7)
        hint = f"; did you mean '{close[0]}'?" if close else ""
        yield plan.fault(
            place, f"the plan has the device '{device}', which job '{job.job}' has not among its "
            f"options{hint or '; add the option or take the lines out'}",
        )  # fmt: skip


def _separation(job: Job | None) -> str:
    """The rule on power and low voltage side by side, for the job's code set."""
    if job is None or job.code_set == "american":
        return "NEC 725.136"  # [P]
    return "IEC 60204-1 13.1.3 and IEC 60364-5-52 528.1, from memory"  # [M]


def _order(point: str, place: int) -> tuple[int, str, int]:
    number = re.match(r"\d+", point)
    return (int(number[0]), point, place) if number else (-1, "", place)


def _neighbours(plan: TerminalPlan, job: Job | None) -> Iterator[JobError]:
    """Power beside low voltage on one strip; a free or earthed terminal between parts them.

    Points without a figure ("S1") lie beside the lines before and after them in the plan.
    """
    strips: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for place, row in enumerate(plan.rows):
        strip, point = strip_and_point(row.terminal)
        if strip:
            strips[strip].append((point, place))
    for points in strips.values():
        numbered = sorted((p for p in points if p[0][:1].isdigit()), key=lambda p: _order(*p))
        beside = [
            (one, two) for one, two in pairwise(numbered) if _order(*two)[0] - _order(*one)[0] <= 1
        ]
        beside += [
            (one, two)
            for one, two in pairwise(points)
            if not (one[0][:1].isdigit() and two[0][:1].isdigit())
        ]
        for (point, one), (other, two) in beside:
            if point != other and _mixed(plan.rows[one], plan.rows[two]):
                yield plan.fault(
                    max(one, two), f"{_named(plan.rows[two])} lies beside {_named(plan.rows[one])} "
                    f"({plan.line(min(one, two))}); leave a terminal free or put an earthed one "
                    f"between, or use another strip ({_separation(job)})",
                )  # fmt: skip


def _named(row: Terminal) -> str:
    return f"terminal '{row.terminal}' ({row.device}, {row.conductor}, {row.voltage_class})"


def _live(row: Terminal) -> bool:
    """True if the row's core may carry its class's voltage; earths and earthed shields part."""
    return row.role in ("conductor", "spare") and bool(row.voltage_class)


def _mixed(one: Terminal, two: Terminal) -> bool:
    both = _live(one) and _live(two)
    return both and (one.voltage_class in POWER) != (two.voltage_class in POWER)


def _shared_classes(plan: TerminalPlan) -> Iterator[JobError]:
    for first, place in _twice(plan, lambda row: designation(row.terminal)):
        one, two = plan.rows[first], plan.rows[place]
        if one.voltage_class != two.voltage_class and _live(one) and _live(two):
            yield plan.fault(
                place, f"terminal '{two.terminal}' is shared by {one.voltage_class} "
                f"({plan.line(first)}) and {two.voltage_class}; a common keeps to one class",
            )  # fmt: skip


def _cables(plan: TerminalPlan, job: Job | None) -> Iterator[JobError]:
    first: dict[tuple[str, bool], int] = {}
    told = set()
    for place, row in enumerate(plan.rows):
        if not row.cable or not _live(row):
            continue
        power = row.voltage_class in POWER
        first.setdefault((row.cable, power), place)
        other = first.get((row.cable, not power))
        if other is not None and row.cable not in told:
            told.add(row.cable)
            yield plan.fault(
                place, f"cable '{row.cable}' carries {row.voltage_class} here and "
                f"{plan.rows[other].voltage_class} on {plan.line(other)}; give low voltage a "
                f"cable of its own ({_separation(job)})",
            )  # fmt: skip


def _shields(plan: TerminalPlan, job: Job | None) -> Iterator[JobError]:
    """A signal shield is earthed at one end. A motor cable's shield behind a drive carries
    high-frequency current and is earthed at both. Common practice, no source."""
    motor = {row.cable for row in plan.rows if row.voltage_class == "motor" and _live(row)}
    ends: dict[tuple[str, str], list[int]] = defaultdict(list)
    for place, row in enumerate(plan.rows):
        if row.role == "shield":
            ends[row.cable, _key(row.conductor)].append(place)
    for (cable, _), places in ends.items():
        where = [plan.rows[place].earthed_at for place in places]
        count = sum({"both": 2, "none": 0}.get(each, 1) for each in where)
        last = places[-1]
        name = f"the shield '{plan.rows[last].conductor}' of cable '{cable}'"
        if cable in motor and (job is None or "drive" in job.options):
            if not ("both" in where or {"panel", "device"} <= set(where)):
                yield plan.fault(
                    last, f"{name} runs from a drive to a motor and is not earthed at both ends; "
                    "write earthed_at: both, with clamps all round (common practice, no source)",
                )  # fmt: skip
        elif count != 1:
            wrong = "nowhere: it screens nothing" if count == 0 else f"{count} times: it is a loop"
            yield plan.fault(
                last, f"{name} is earthed {wrong}; earth it once, as a rule at the panel, and "
                "insulate the other end (common practice, no source)",
            )  # fmt: skip


def _names(plan: TerminalPlan, alike: Callable[[str, str], bool] | None) -> Iterator[JobError]:
    """Conductor names are spoken: they can be, and no two of one device sound alike."""
    devices: dict[str, list[int]] = defaultdict(list)
    for place, row in enumerate(plan.rows):
        devices[row.device].append(place)
        if not _SPEAKABLE.match(row.conductor):
            yield plan.fault(
                place, f"conductor '{row.conductor}' can't be spoken; use letters, figures and "
                "spaces, 'brake plus' for 'brake +'",
            )  # fmt: skip
    if alike is None:
        return
    for places in devices.values():
        for at, one in enumerate(places):
            for two in places[at + 1 :]:
                first, second = plan.rows[one].conductor, plan.rows[two].conductor
                if _STANDARD.match(first) and _STANDARD.match(second):
                    continue
                if alike(first, second):
                    yield plan.fault(
                        two, f"'{second}' and '{first}' ({plan.line(one)}) of device "
                        f"'{plan.rows[two].device}' sound alike; name one of them otherwise",
                    )  # fmt: skip


# --- pack and plan -----------------------------------------------------------------------------


def asked(step: Step) -> tuple[str, str, bool] | None:
    """(device, conductor, is a shield) that a bound step is about, None for other steps."""
    sort, colon, device = (step.for_each or "").partition(":")
    if not colon or sort not in ("terminal", "shield"):
        return None
    return device, step.item, sort == "shield"


def unasked(rows: Iterable[Terminal], steps: Iterable[Step]) -> list[Terminal]:
    """Lines of a plan that none of the bound steps asks for; spare cores are nobody's work."""
    wired = {found for step in steps if (found := asked(step))}
    return [
        row
        for row in rows
        if row.role != "spare" and (row.device, row.conductor, row.role == "shield") not in wired
    ]


def unasked_of_touched(rows: Iterable[Terminal], steps: Iterable[Step]) -> list[Terminal]:
    """`unasked`, for the devices alone that the steps touch: what a pack forgets half way."""
    steps = tuple(steps)
    touched = {found[0] for step in steps if (found := asked(step))}
    return unasked((row for row in rows if row.device in touched), steps)


def planned(rows: Iterable[Terminal], step: Step) -> Terminal | None:
    """The line of the plan that a bound step lands or tightens, None for other steps."""
    found = asked(step)
    return next(
        (r for r in rows if found == (r.device, r.conductor, False) and r.role != "shield"), None
    )


def elsewhere(rows: Iterable[Terminal], row: Terminal, found: str) -> tuple[str, bool]:
    """What it means that a planned conductor sits at another terminal.

    Returns
    -------
    str
        Both terminals, and what else is planned for the one that was found.
    bool
        True if it may hurt: power and low voltage have met, or an earth and what is none.
    """
    rows = tuple(rows)
    strip = strip_and_point(found)[0]
    here = [each for each in rows if designation(each.terminal) == designation(found)]
    near = here or [each for each in rows if strip_and_point(each.terminal)[0] == strip]
    harmful = any(_mixed(row, each) for each in near)
    harmful |= any((row.role == "earth") != (each.role == "earth") for each in here)
    reason = f"landed on {found}, planned {row.terminal}"
    for each in here:
        reason += f"; {found} is planned for {each.device}, {each.conductor}"
    return reason, harmful
