"""YAML text -> Pack, Job and Plan, or an error with file, line and step id.

Shapes are pydantic's work (see model.py), lines come from ruamel.yaml, which reads YAML 1.2:
`off` is a word there, not a false, and a key given twice is an error.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError

from assistant.calc.base import CALCULATORS, calculate
from assistant.errors import FileError, JobError, PackError, RangeError, UnitError
from assistant.procedure.conditions import holds, job_value
from assistant.procedure.model import (
    Beside,
    EnergyState,
    Job,
    Pack,
    PackSource,
    Plan,
    Step,
    Supply,
    When,
)
from assistant.procedure.terminals import TerminalPlan, csv_rows, decode, read_rows
from assistant.quantity import quantity, same_dimension, unit

MAX_BYTES = 1_000_000
PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
LEAD = re.compile(r"plan:([a-z0-9-]+)\.([1-9])")  # {plan:motor.1}, see `lead_of`
_HEAD = (
    *("title", "version", "language", "energy", "sources", "found"),
    *("at_door", "minutes", "takes", "retakes", "beside", "crew"),
)
_TEXTS = ("say", "brief", "reason", "mark", "helper")
RUNTIME_PLACEHOLDERS = {"person"}  # filled when the step is spoken
DAY = re.compile(r"\{day:([a-z0-9-]+)\}")  # likewise: the day that a reading of days falls on
M = TypeVar("M", bound=BaseModel)


def read_text(path: Path, error: type[FileError]) -> str:
    """The text of a file; `error` if it can't be read or is too large."""
    try:
        raw = path.read_bytes()
    except OSError as problem:
        raise error(str(path), None, f"can't be read: {problem.strerror}") from problem
    if len(raw) > MAX_BYTES:
        raise error(str(path), None, f"has {len(raw)} bytes; at most {MAX_BYTES} are read")
    return raw.decode("utf-8", "replace")


def read_yaml(path: Path, error: type[FileError]) -> Any:
    """The YAML tree of a file, with line positions; `error` if it can't be read."""
    return parse_yaml(read_text(path, error), str(path), error)


def parse_yaml(text: str, file: str, error: type[FileError]) -> Any:
    """The YAML tree of a text; `error` names the line of a slip."""
    try:
        return YAML(typ="rt").load(text)
    except MarkedYAMLError as problem:
        mark = problem.problem_mark or problem.context_mark
        line = mark.line + 1 if mark else None
        raise error(file, line, f"is not YAML here: {problem.problem}") from problem
    except Exception as problem:  # ruamel raises bare ValueError for a few bad scalars
        raise error(file, None, f"is not YAML: {problem}") from problem


def _plain(node: Any) -> Any:
    if isinstance(node, dict):
        return {str(key): _plain(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_plain(value) for value in node]
    if isinstance(node, bool) or node is None:
        return node
    for kind in (int, float, str):
        if isinstance(node, kind):
            return kind(node)
    return str(node)


def line_of(tree: Any, path: tuple[Any, ...]) -> int | None:
    """Line of the deepest node on `path` that exists in the file, 1-based."""
    node: Any = tree
    line = node.lc.line + 1 if hasattr(node, "lc") else None
    for part in path:
        try:
            if hasattr(node, "keys") and part in node:
                line = node.lc.key(part)[0] + 1
            elif isinstance(part, int) and hasattr(node, "append"):
                line = node.lc.item(part)[0] + 1
            else:
                break
            node = node[part]
        except (KeyError, IndexError, TypeError, AttributeError):
            break
    return line


def build(
    model: type[M], node: Any, file: str, error: type[FileError], step: str | None = None
) -> M:
    """A model of a YAML node; `error` names file, line and step of the first thing wrong."""
    try:
        return model.model_validate(_plain(node))
    except ValidationError as problems:
        first = problems.errors()[0]
        where = tuple(part for part in first["loc"])
        message = first["msg"].removeprefix("Value error, ")
        name = ".".join(str(part) for part in where)
        if first["type"] == "extra_forbidden":
            known = ", ".join(f.alias or n for n, f in model.model_fields.items())
            message = f"is not known; '{where[0]}' level knows: {known}"
        if where and where[-1] == "version":
            message += ' (put it in quotes: version: "1.10")'
        found = f"'{name}': {message}" if name else message
        raise error(file, line_of(node, where), found, step) from problems


# --- packs -------------------------------------------------------------------------------------


def load_pack(folder: Path) -> Pack:
    """The pack of a folder with `pack.yaml` and `steps.yaml`.

    Raises
    ------
    PackError
        With file, line and step id; the first fault found.
    """
    head, rows = (read_text(folder / name, PackError) for name in ("pack.yaml", "steps.yaml"))
    return pack_of(head, rows, str(folder))


@lru_cache(maxsize=128)
def pack_of(head: str, rows: str, folder: str) -> Pack:
    """The same texts make the same frozen pack; reading YAML anew for each job took minutes."""
    return parse_pack({"pack.yaml": head, "steps.yaml": rows}, folder)


def parse_pack(texts: dict[str, str], folder: str) -> Pack:
    """The pack of the texts {"pack.yaml": ..., "steps.yaml": ...}; see `load_pack`."""
    head_file, steps_file = f"{folder}/pack.yaml", f"{folder}/steps.yaml"
    head = parse_yaml(texts["pack.yaml"], head_file, PackError)
    rows = parse_yaml(texts["steps.yaml"], steps_file, PackError)
    if not isinstance(head, dict) or "pack" not in head:
        raise PackError(head_file, 1, "must be a mapping that starts with 'pack: NAME'")
    if not isinstance(rows, list) or not rows:
        raise PackError(steps_file, 1, "must be a list of steps, each starting with '- id: NAME'")
    steps = []
    for place, row in enumerate(rows):
        if not isinstance(row, dict):
            raise PackError(steps_file, line_of(rows, (place,)), "a step is a mapping with an id")
        step_id = str(row["id"]) if "id" in row else None
        steps.append(build(Step, row, steps_file, PackError, step_id))
    pack = build(
        _PackHead, head, head_file, PackError
    )  # the head alone first, for its own line numbers
    whole = Pack(
        name=pack.pack,
        steps=tuple(steps),
        **{n: getattr(pack, n) for n in _HEAD},
    )
    _check_pack(whole, rows, head, steps_file, head_file)
    return whole


class _PackHead(BaseModel):
    """The keys of pack.yaml."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    pack: str
    title: str
    version: str
    language: str = "en"
    energy: tuple[EnergyState, ...] = ()
    sources: dict[str, PackSource]
    found: Literal["unknown", "in-service"] = "unknown"
    at_door: bool = True
    minutes: int = Field(0, ge=0, le=600)
    takes: dict[str, str] = Field(default_factory=dict)
    retakes: tuple[str, ...] = ()
    beside: dict[str, Beside] = Field(default_factory=dict)
    crew: int = Field(1, ge=1, le=2)


def _check_pack(pack: Pack, rows: Any, head: Any, file: str, head_file: str) -> None:
    """What shapes alone can't say: references, units, calculators, reachable energy states."""
    ids: dict[str, int] = {}
    reading_units = _taken_units(pack, head, head_file)
    # A framed pack's states are set by the isolation and release around it.
    settable: set[str] = {"proven-dead", "energised"} if pack.framed else {"unknown"}
    if pack.name == "release":
        settable |= {"proven-dead"}
    for place, step in enumerate(pack.steps):

        def fail(problem: str, *path: Any, place: int = place, step: Step = step) -> None:
            raise PackError(file, line_of(rows, (place, *path)), problem, step.id)

        if step.id in ids:
            fail(f"the id is used twice, first on line {line_of(rows, (ids[step.id],))}", "id")
        ids[step.id] = place
        if step.source and step.source.ref not in pack.sources:
            fail(f"source '{step.source.ref}' is not in pack.yaml", "source")
        if step.limits and not step.source:
            fail("a step with limits has a source", "limits")
        if step.limits and not (step.expects.reading or step.expects.derived):
            fail("limits need a reading or a derived value", "limits")
        if step.sets and step.sets.energy not in pack.energy:
            fail(f"energy state '{step.sets.energy}' is not listed in pack.yaml", "sets")
        if step.needs and step.needs.energy not in settable:
            found = (
                "which a pack without a gate of its own can't need; use proven-dead or energised"
                if pack.framed
                else f"which no earlier step sets; set so far: {', '.join(sorted(settable))}"
            )
            fail(f"needs '{step.needs.energy}', {found}", "needs")
        if step.sets:
            settable.add(step.sets.energy)
            if step.sets.energy == "proven-dead":
                settable |= {"isolated", "locked"}
        for asked in _answers_in(step.when):
            if not any(each.id == asked and each.expects.choice for each in pack.steps):
                fail(f"'{asked}' is no step of this pack with a choice", "when")
        if step.keeps_open and step.keeps_open not in (step.expects.choice or ()):
            fail(f"keeps_open: '{step.keeps_open}' is no answer of this step", "keeps_open")
        if step.counted:
            _check_counted(pack, place, step, fail)
        _check_gate(step, fail)
        _check_answer(step, reading_units, fail)
        for field in _TEXTS:
            for name in PLACEHOLDER.findall(getattr(step, field)):
                if name.startswith("fact:") or LEAD.fullmatch(name):
                    continue
                if DAY.fullmatch(f"{{{name}}}"):
                    if name.removeprefix("day:") not in reading_units:
                        fail(f"placeholder {{{name}}} names no reading of this pack", field)
                    continue
                if name not in _placeholders(step):
                    fail(f"placeholder {{{name}}} is not known; use {_placeholders(step)}", field)
    if pack.found == "in-service":
        for place, step in enumerate(pack.steps):
            if step.needs and step.needs.energy in ("isolated", "locked", "proven-dead"):
                problem = "a pack found in service puts no hands inside; that takes another pack"
                raise PackError(file, line_of(rows, (place, "needs")), problem, step.id)
    for place, step in enumerate(pack.steps):
        for target in (step.expects.choice or {}).values():
            if target not in ids and target not in ("next", "end"):
                line = line_of(rows, (place, "expects"))
                raise PackError(file, line, f"choice leads to unknown step '{target}'", step.id)
    if not pack.sources:
        raise PackError(head_file, line_of(head, ("sources",)), "a pack names its sources")
    own = {step.expects.reading.name for step in pack.steps if step.expects.reading}
    for place, name in enumerate(pack.retakes):
        if name not in own:
            problem = f"retakes: no step of this pack takes reading '{name}'"
            raise PackError(head_file, line_of(head, ("retakes", place)), problem)
    for name, beside in pack.beside.items():
        if problem := _beside_fault(name, beside, reading_units):
            raise PackError(head_file, line_of(head, ("beside", name)), problem)


def _beside_fault(name: str, beside: Beside, readings: dict[str, str]) -> str:
    """What is wrong with a line of `beside`, or ""."""
    if name not in readings:
        return f"beside: no step of this pack takes reading '{name}'"
    found = CALCULATORS.get(beside.by)
    if beside.by and (found is None or {"now", "last"} - {each.name for each in found.inputs}):
        return f"beside: '{beside.by}' is no calculator with the inputs now and last"
    return ""


def _taken_units(pack: Pack, head: Any, file: str) -> dict[str, str]:
    """Canonical units of the readings that the pack takes from earlier ones."""
    units = {}
    for name, text in pack.takes.items():
        try:
            units[name.removesuffix(".*")] = unit(text).name
        except UnitError as problem:
            raise PackError(file, line_of(head, ("takes", name)), str(problem)) from problem
        if name.endswith(".*"):
            units[f"{name.removesuffix('*')}*"] = units[name.removesuffix(".*")]
    return units


def _answers_in(when: When | None) -> list[str]:
    """The steps whose answer a condition looks at."""
    if when is None:
        return []
    inner = [*(when.all_ or ()), *(when.any_ or ()), *([when.not_] if when.not_ else [])]
    return [each for w in inner for each in _answers_in(w)] + ([when.answer] if when.answer else [])


def _check_counted(pack: Pack, place: int, step: Step, fail: Any) -> None:
    later = next((s for s in pack.steps[place + 1 :] if s.id == step.counted), None)
    if not (later and later.expects.reading and later.limits and later.limits.safety):
        fail(
            f"counted: '{step.counted}' is no later step that takes a reading with a safety limit",
            "counted",
        )
    if len(step.expects.choice or ()) < 2 or step.affirm:
        fail("'counted' goes with a choice of several answers, and not with 'affirm'", "counted")


def _check_gate(step: Step, fail: Any) -> None:
    challenge = step.expects.challenge
    wanted = {"lockout-confirmed": "proven-dead", "clear-to-energise": "released"}
    state = step.sets.energy if step.sets else None
    if challenge and state != wanted[challenge]:
        fail(f"challenge '{challenge}' must set energy '{wanted[challenge]}'", "expects")
    if state in ("proven-dead", "released") and not challenge:
        fail(f"energy '{state}' is only set by its challenge", "sets")
    if step.proves in ("lock", "lock-off") and not step.expects.tag:
        fail(f"proves '{step.proves}' expects a tag", "proves")
    if step.proves in ("dead", "stored", "tester-before", "tester-after"):
        if not (step.expects.reading and step.limits):
            fail(f"proves '{step.proves}' expects a reading with limits", "proves")
        if step.proves == "dead" and step.for_each != "pair":
            fail("proves 'dead' goes through every pair: for_each: pair", "for_each")
    if step.proves == "restrained" and step.for_each != "hazard":
        fail("proves 'restrained' goes through every hazard: for_each: hazard", "for_each")
    if step.expects.choice and (step.sets or step.proves not in (None, "grounds-on")):
        fail("a choice makes no gate, but for proves: grounds-on", "expects")
    if step.proves == "grounds-on" and not (step.affirm and len(step.expects.choice or ()) == 2):
        fail(
            "proves 'grounds-on' expects a choice of two, affirm: true: they are on, or the source "
            "of the voltage is found and off",
            "proves",
        )
    if step.proves == "stored-wait" and not step.expects.wait:
        fail("proves 'stored-wait' expects wait: stored-energy", "proves")


def _check_answer(step: Step, reading_units: dict[str, str], fail: Any) -> None:
    expects = step.expects
    if expects.reading:
        try:
            reading_units[expects.reading.name] = unit(expects.reading.unit).name
        except UnitError as problem:
            fail(str(problem), "expects", "reading", "unit")
        low, high = expects.reading.plausible
        if not low < high:
            fail(f"plausible [{low}, {high}] must rise", "expects", "reading", "plausible")
    if expects.derived:
        try:
            reading_units[expects.derived.name] = unit(expects.derived.unit).name
        except UnitError as problem:
            fail(str(problem), "expects", "derived", "unit")
        _check_sum(expects.derived.calc, expects.derived.given, reading_units, fail, "expects")
    if expects.wait and expects.wait != "stored-energy":
        try:
            if not same_dimension(quantity(expects.wait).unit, "second"):
                fail(f"wait '{expects.wait}' is not a time", "expects")
        except UnitError as problem:
            fail(str(problem), "expects")
    if step.limits and step.limits.calc:
        _check_sum(step.limits.calc, step.limits.given, reading_units, fail, "limits")


def _check_sum(
    name: str, given: dict[str, str], readings: dict[str, str], fail: Any, at: str
) -> None:
    found = CALCULATORS.get(name)
    if found is None:
        fail(f"calculator '{name}' is not known; use {', '.join(sorted(CALCULATORS))}", at)
        return
    inputs = {each.name: each for each in found.inputs}
    for key, source in given.items():
        if key not in inputs:
            fail(f"calculator '{name}' has no input '{key}'; it has {', '.join(inputs)}", at)
        if source.startswith("reading."):
            base = source.removeprefix("reading.").removesuffix(".*")
            several = source.endswith(".*") and any(n.startswith(f"{base}.") for n in readings)
            if base not in readings and not several:
                fail(f"'{source}': no earlier step takes reading '{base}'", at)
    for key, each in inputs.items():
        if key not in given and not each.default:
            fail(f"calculator '{name}' needs input '{key}': {each.help}", at)


def _placeholders(step: Step) -> set[str]:
    always = {"nominal", "control_voltage", "door", "site", "wait", "sources", "person"}
    if step.for_each:
        always |= {"item"}
    if step.for_each == "hazard":
        always |= {"restraint"}
    if step.for_each == "carried-point":
        always |= {"since"}
    if (step.for_each or "").startswith(("terminal:", "shield:")):
        always |= {"conductor", "terminal", "torque", "core", "cable", "earthed_at"}
    return always


# --- jobs --------------------------------------------------------------------------------------


def load_job(path: Path) -> Job:
    """The job of a file, with the terminal plan it names; JobError names file and line."""
    text, file, texts = _job_and_texts(path)
    return _job_of(text, file, tuple(texts.items()))


@lru_cache(maxsize=64)
def _job_of(text: str, file: str, texts: tuple[tuple[str, str], ...]) -> Job:
    return parse_job(text, file, dict(texts))


def job_texts(path: Path) -> dict[str, str]:
    """The texts that a job is made of: "job.yaml", and its terminal plan by the name in it."""
    text, _, texts = _job_and_texts(path)
    return {"job.yaml": text, **texts}


def is_terminals(path: Path) -> bool:
    """True if a file is a terminal plan and no job: CSV, or YAML that is a list."""
    return path.suffix.lower() == ".csv" or isinstance(read_yaml(path, JobError), list)


def load_terminals(path: Path) -> TerminalPlan:
    """The terminal plan of a job file, or of a plan's own file, with its lines."""
    if is_terminals(path):
        head = parse_yaml(f"terminals: {path.name}", str(path), JobError)
        return _terminal_plan(head, str(path), {path.name: _plan_text(path, str(path), 1)})
    text, file, texts = _job_and_texts(path)
    return _terminal_plan(_mapping(parse_yaml(text, file, JobError), file), file, texts)


def _job_and_texts(path: Path) -> tuple[str, str, dict[str, str]]:
    """Text and name of a job file, and the text of the plan that it names."""
    text = read_text(path, JobError)
    name, line = _plan_named(text, str(path))
    if name is None:
        return text, str(path), {}
    if Path(name).is_absolute() or ".." in Path(name).parts:
        raise JobError(str(path), line, f"terminals: '{name}' must lie below the job's own folder")
    return text, str(path), {name: _plan_text(path.parent / name, str(path), line)}


@lru_cache(maxsize=64)
def _plan_named(text: str, file: str) -> tuple[str | None, int | None]:
    """The terminal plan's file that a job names, and the line where it does."""
    tree = _mapping(parse_yaml(text, file, JobError), file)
    name = tree.get("terminals")
    return (str(name), line_of(tree, ("terminals",))) if isinstance(name, str) else (None, None)


def _plan_text(plan: Path, file: str, line: int | None) -> str:
    """Text of a plan's file; errors name the place in `file` that asks for it."""
    try:
        raw = plan.read_bytes()
    except OSError as problem:
        lost = f"terminals: '{plan}' can't be read: {problem.strerror}"
        raise JobError(file, line, lost) from problem
    if len(raw) > MAX_BYTES:
        raise JobError(file, line, f"terminals: '{plan}' has more than {MAX_BYTES} bytes")
    return decode(raw, str(plan))


def parse_job(text: str, file: str = "job", texts: Mapping[str, str] | None = None) -> Job:
    """The job of a text, its plan looked up in `texts` if it names a file; see `load_job`."""
    return check_job(parse_yaml(text, file, JobError), file, texts)


def _mapping(tree: Any, file: str) -> Any:
    if not isinstance(tree, dict):
        raise JobError(file, 1, "must be a mapping that starts with 'job: NAME'")
    return tree


def _terminal_plan(tree: Any, file: str, texts: Mapping[str, str]) -> TerminalPlan:
    node = tree.get("terminals") or []
    if isinstance(node, str):
        if node not in texts:
            line = line_of(tree, ("terminals",))
            raise JobError(file, line, f"terminals: '{node}' isn't among the texts of the job")
        name, text = str(Path(file).parent / node), texts[node]
        if not node.lower().endswith((".yaml", ".yml")):
            return read_rows(csv_rows(text, name), name)
        file, node = name, parse_yaml(text, name, JobError) or []
        if isinstance(node, dict):
            node = node.get("terminals")
    wrong = "a terminal plan is a list of lines with device, conductor, terminal, voltage_class"
    if not isinstance(node, list):
        raise JobError(file, line_of(tree, ("terminals",)), wrong)
    for at, row in enumerate(node):
        if not isinstance(row, dict):
            raise JobError(file, line_of(node, (at,)), wrong)
    return read_rows(((line_of(node, (at,)), _plain(row)) for at, row in enumerate(node)), file)


def check_job(tree: Any, file: str, texts: Mapping[str, str] | None = None) -> Job:
    """The job of a YAML tree, its quantities and terminal plan checked."""
    terminals = _terminal_plan(_mapping(tree, file), file, texts or {})
    tree.pop("terminals", None)  # they have their own messages
    job = build(Job, tree, file, JobError).model_copy(update={"terminals": terminals.rows})
    times = {"stored_energy.wait": job.stored_energy.wait, "re_prove": job.re_prove}
    volts = {"supply.nominal": job.supply.nominal, "control_voltage": job.control_voltage}
    for wanted, fields in (("second", times), ("volt", volts)):
        for name, text in fields.items():
            try:
                if not same_dimension(quantity(text).unit, wanted):
                    raise UnitError(f"'{text}' is not in {wanted}s")
                if quantity(text).value < 0:
                    raise UnitError(f"'{text}' is below zero")
            except UnitError as problem:
                line = line_of(tree, tuple(name.split(".")))
                raise JobError(file, line, str(problem)) from problem
    for name, text in job.facts.items():
        gauge = text.upper().endswith(" AWG")  # a size on a table, no quantity
        if (text[:1].isdigit() or text[:1] in "-+.") and not gauge:  # else it is a word
            try:
                quantity(text)
            except UnitError as problem:
                raise JobError(file, line_of(tree, ("facts", name)), str(problem)) from problem
    if len(set(job.people)) != len(job.people) or not job.people:
        raise JobError(file, line_of(tree, ("people",)), "names each person once, at least one")
    return job


# --- pack and job together -----------------------------------------------------------------


def conductors(supply: Supply) -> tuple[str, ...]:
    """The live conductors of a supply, as lettered by IEC 60445."""
    return {
        "three-phase": ("L1", "L2", "L3"),
        "three-phase-neutral": ("L1", "L2", "L3", "N"),
        "single-phase": ("L", "N"),
        "two-phase-lines": ("L1", "L2"),
    }[supply.system]


def line_pairs(supply: Supply) -> tuple[tuple[str, str], ...]:
    """The pairs between which the supply voltage is measured."""
    lines = tuple(each for each in conductors(supply) if each != "N")
    if len(lines) == 1:
        return ((lines[0], "N"),)
    if len(lines) == 2:
        return ((lines[0], lines[1]),)
    return (("L1", "L2"), ("L2", "L3"), ("L3", "L1"))


def pairs(supply: Supply) -> tuple[tuple[str, str], ...]:
    """Every pair that a dead test measures: 6 for three lines, 10 with a neutral, 3 for two."""
    live = conductors(supply)
    found = list(line_pairs(supply))
    if len(live) > 2 and "N" in live:
        found += [(each, "N") for each in live if each != "N"]
    return (*found, *((each, "PE") for each in live))


def lead_of(job: Job, device: str, place: int) -> str:
    """Name of a device's first, second, ... conductor in the plan; without one a number."""
    rows = [r for r in job.terminals if r.device == device and r.role == "conductor"]
    return rows[place - 1].conductor if place <= len(rows) else f"number {place}"


def slug(text: str) -> str:
    """Text as part of a kebab-case id."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "item"


def dead_points(job: Job) -> tuple[tuple[str, str], ...]:
    """(id, spoken name) of everything that a dead test measures: the supply's pairs, then the
    points of second sources that the job names."""
    own = tuple((pair_id(p), f"{p[0]} to {p[1]}") for p in pairs(job.supply))
    return own + tuple((slug(name), name) for name in job.also_dead)


def pair_id(pair: tuple[str, str]) -> str:
    """'l1-l2' for ('L1', 'L2')."""
    return f"{pair[0]}-{pair[1]}".lower()


def spoken_day(day: str) -> str:
    """'3 March 2025' for '2025-03-03'; a text that is no date stays as it is."""
    try:
        found = date.fromisoformat(day)
    except ValueError:
        return day
    return f"{found.day} {_MONTHS[found.month - 1]} {found.year}"


# strftime's names are those of the machine's language.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def spoken_terminal(designation: str) -> str:
    """'-X1:3' of IEC 81346 as it is spoken: 'X1, terminal 3'."""
    strip, _, point = designation.lstrip("-=+").partition(":")
    return f"{strip}, terminal {point}" if point else strip


def bind(pack: Pack, job: Job) -> Plan:
    """The plan of a pack for one job: repeated steps spread out, placeholders filled.

    Raises
    ------
    PackError
        If a placeholder, a job value or a terminal of the plan that a step needs isn't there.
    """
    steps: list[Step] = []
    for step in pack.steps:
        try:
            applies = holds(step.when, job, None)
        except KeyError as problem:
            raise PackError(pack.name, None, f"the job has no {problem}", step.id) from problem
        if applies is False:
            continue
        for fill in _items(pack, step, job):
            steps.append(_filled(pack, step, job, fill))
    if not steps:
        raise PackError(pack.name, None, f"has no step for job '{job.job}'")
    _check_crew(pack, steps, job)
    ids = {step.id for step in steps} | {"next", "end"}
    for step in steps:
        for target in (step.expects.choice or {}).values():
            if target not in ids:
                left_out = f"choice leads to '{target}', which job '{job.job}' leaves out"
                raise PackError(pack.name, None, left_out, step.id)
    plan = Plan(pack=pack, job=job, steps=tuple(steps))
    grounds = [s.proves for s in steps if s.proves in ("grounds-on", "grounds-off")]
    if grounds and grounds != ["grounds-on", "grounds-off"]:
        once = "temporary grounds go on at one step and off at a later one"
        raise PackError(pack.name, None, once)
    for step in steps:
        _check_given(plan, step)
    return plan


def _check_crew(pack: Pack, steps: list[Step], job: Job) -> None:
    """Nobody tests a door's edge alone: what takes two isn't begun by one."""
    there = len(job.people)
    step = next((each for each in steps if each.crew > there), None)
    if step or pack.crew > there:
        raise PackError(
            pack.name,
            None,
            f"takes {max(pack.crew, step.crew if step else 1)} people, and job '{job.job}' has "
            f"{there} ({', '.join(job.people)}); write 'people: [lead, helper]' in the job",
            step.id if step else None,
        )


def _items(pack: Pack, step: Step, job: Job) -> list[dict[str, str]]:
    kind = step.for_each
    if kind is None:
        return [{}]
    if kind == "pair":
        return [{"id": each, "item": name} for each, name in dead_points(job)]
    if kind == "carried-point":
        points = job.history.points if job.history else ()
        return [
            {"id": str(number), "item": each.told(reason=True), "since": spoken_day(each.on)}
            for number, each in enumerate(points, 1)
        ]
    if kind == "hazard":
        return [
            {"id": slug(each.name), "item": each.name, "restraint": each.restraint}
            for each in job.hazards
        ]
    if kind in ("line-pair", "earth-pair"):
        every = {
            "line-pair": line_pairs(job.supply),
            "earth-pair": tuple((each, "PE") for each in conductors(job.supply)),
        }[kind]
        return [{"id": pair_id(p), "item": f"{p[0]} to {p[1]}"} for p in every]
    if kind == "conductor":
        return [{"id": slug(each), "item": each} for each in conductors(job.supply)]
    if kind in ("bonded-part", "energy-source"):
        names = job.bonded_parts if kind == "bonded-part" else job.energy_sources
        return [{"id": slug(each), "item": each} for each in names]
    if kind.startswith(("terminal:", "shield:")):
        sort, _, device = kind.partition(":")
        roles = ("shield",) if sort == "shield" else ("conductor", "earth")
        of_device = [row for row in job.terminals if row.device == device]
        rows = [row for row in of_device if row.role in roles]
        if not (rows or (of_device and sort == "shield")):
            raise PackError(
                pack.name, None,
                f"the terminal plan of job '{job.job}' has no device '{device}'; add a line with "
                "device, conductor, terminal and voltage_class from the maker's sheet", step.id,
            )  # fmt: skip
        return [
            {
                "id": slug(row.conductor),
                "item": row.conductor,
                "conductor": row.conductor,
                "terminal": spoken_terminal(row.terminal),
                "torque": row.torque or "the torque on the maker's sheet",
                "core": row.core or "the core by the sheet",
                "cable": row.cable or "the cable by the sheet",
                "earthed_at": "both ends" if row.earthed_at == "both" else row.earthed_at,
            }
            for row in rows
        ]
    raise PackError(pack.name, None, f"for_each '{kind}' is not known", step.id)


def _filled(pack: Pack, step: Step, job: Job, fill: dict[str, str]) -> Step:
    values = {
        "nominal": job.supply.nominal,
        "control_voltage": job.control_voltage,
        "door": job.door,
        "site": job.site,
        "wait": job.stored_energy.wait,
        "sources": ", ".join(job.energy_sources),
        **fill,
    }

    def put(text: str) -> str:
        def value(match: re.Match[str]) -> str:
            if match[1] in RUNTIME_PLACEHOLDERS or DAY.fullmatch(match[0]):
                return match[0]
            if lead := LEAD.fullmatch(match[1]):
                return lead_of(job, lead[1], int(lead[2]))
            fact = match[1].removeprefix("fact:")
            if fact == match[1]:
                return values[fact]
            if fact not in job.facts:
                lacks = f"job '{job.job}' has no fact '{fact}'; add it under 'facts:'"
                raise PackError(pack.name, None, lacks, step.id)
            return job.facts[fact]

        return PLACEHOLDER.sub(value, text)

    changes: dict[str, Any] = {"base": step.id, "item": fill.get("item", "")}
    changes["pack"] = step.pack or pack.name
    for field in _TEXTS:
        changes[field] = put(getattr(step, field))
    if fill:
        changes["id"] = f"{step.id}.{fill['id']}"
        if step.expects.reading:
            spec = step.expects.reading
            named = spec.model_copy(update={"name": f"{spec.name}.{fill['id']}"})
            changes["expects"] = step.expects.model_copy(update={"reading": named})
    return step.model_copy(update=changes)


def _check_given(plan: Plan, step: Step) -> None:
    """Job values that a calculator takes are there and in its range, before anyone climbs."""
    sums = []
    if step.limits and step.limits.calc:
        sums.append((step.limits.calc, step.limits.given))
    if step.expects.derived:
        sums.append((step.expects.derived.calc, step.expects.derived.given))
    for name, given in sums:
        try:
            for source in given.values():
                if source.startswith("job."):
                    job_value(plan.job, source.removeprefix("job."))
            if not any(source.startswith("reading.") for source in given.values()):
                calculate(name, resolve(given, plan.job))
        except (KeyError, UnitError, RangeError) as problem:
            raise PackError(
                plan.pack.name, None, f"calculator '{name}' for job '{plan.job.job}': {problem}",
                step.id,
            ) from problem  # fmt: skip


def resolve(given: dict[str, str], job: Job, readings: Any = None) -> dict[str, Any]:
    """Calculator inputs for the `with` of a pack: job values, readings, written quantities.

    `readings` maps names to quantities. KeyError if one that is asked for isn't there.
    """
    found: dict[str, Any] = {}
    for key, source in given.items():
        if source.startswith("job."):
            found[key] = str(job_value(job, source.removeprefix("job.")))
        elif source.startswith("reading."):
            name = source.removeprefix("reading.")
            if name.endswith(".*"):
                prefix = name.removesuffix("*")
                found[key] = tuple(q for n, q in readings.items() if n.startswith(prefix))
            else:
                found[key] = readings[name]
        else:
            found[key] = source
    return found
