"""YAML text -> Guide, or an error with file, line and id.

A guide is a folder: `guide.yaml`, and lists in `symptoms*.yaml`, `causes*.yaml`, `checks*.yaml`.
What is written once there and meant everywhere is filled in here: a caution by its name, the
source of a row that names none, one row of likelihoods for several causes ("a, b: {...}").
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn

from assistant.calc import CALCULATORS
from assistant.errors import GuideError, UnitError
from assistant.faults.model import DOOR_TYPES, Applies, Cause, Check, Guide, Symptom
from assistant.faults.symptoms import words as stems
from assistant.procedure.load import MAX_BYTES, build, line_of, parse_yaml
from assistant.quantity import unit

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
PLACEHOLDERS = {"door", "site", "nominal", "control_voltage", "lines"}
# A guide never proposes to defeat a safety device; a sentence may forbid it or look for one.
BRIDGE = re.compile(
    r"\b(bridg\w*|jumper\w*|by-?pass\w*|defeat\w*|overrid\w*|link out|short out|shunt\w*"
    r"|strap out|tape over|wedge\w*)\b",
    re.IGNORECASE,
)
KEPT = "kept guide"  # where the texts of a log come from, for messages
MAX_WORDS = 45  # about 12 seconds of speech
_LISTS: dict[str, type[Symptom] | type[Cause] | type[Check]] = {
    "symptoms": Symptom,
    "causes": Cause,
    "checks": Check,
}
Fail = Callable[..., NoReturn]


def load_guide(folder: Path) -> Guide:
    """The guide of a folder.

    Raises
    ------
    GuideError
        With file, line and id; the first fault found.
    """
    return guide_of(texts_of(folder), str(folder))


def texts_of(folder: Path) -> dict[str, str]:
    """The texts of a guide's folder by file name; `GuideError` if one can't be read."""
    names = ["guide.yaml"]
    for kind in _LISTS:
        found = sorted(path.name for path in folder.glob(f"{kind}*.yaml"))
        if not found:
            raise GuideError(str(folder), None, f"has no file {kind}.yaml")
        names += found
    return {name: _text(folder / name) for name in names}


def guide_of(texts: Mapping[str, str], folder: str) -> Guide:
    """The guide of texts; the same texts are read once, as those of packs are."""
    return _guide_of(tuple(sorted(texts.items())), folder)


@lru_cache(maxsize=8)
def _guide_of(texts: tuple[tuple[str, str], ...], folder: str) -> Guide:
    return parse_guide(dict(texts), folder)


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as problem:
        raise GuideError(str(path), None, f"can't be read: {problem.strerror}") from problem
    if len(raw) > MAX_BYTES:
        raise GuideError(str(path), None, f"has {len(raw)} bytes; at most {MAX_BYTES} are read")
    return raw.decode("utf-8", "replace")


def parse_guide(texts: Mapping[str, str], folder: str) -> Guide:
    """The guide of the texts {"guide.yaml": ..., "symptoms.yaml": ..., ...}; see `load_guide`."""
    head_file = f"{folder}/guide.yaml"
    head = parse_yaml(texts["guide.yaml"], head_file, GuideError)
    if not isinstance(head, dict) or "title" not in head:
        raise GuideError(head_file, 1, "must be a mapping that starts with 'title: ...'")
    default_source = head.get("source")
    cautions = head.get("cautions") or {}
    rows: dict[str, dict[str, Any]] = {kind: {} for kind in _LISTS}
    places: dict[str, tuple[str, Any, int]] = {}
    for name in texts:
        kind = next((each for each in _LISTS if name.startswith(each)), None)
        if kind is None:
            continue
        file = f"{folder}/{name}"
        tree = parse_yaml(texts[name], file, GuideError)
        if not isinstance(tree, list) or not tree:
            raise GuideError(file, 1, f"must be a list of {kind}, each starting with '- id: NAME'")
        for place, row in enumerate(tree):
            line = line_of(tree, (place,))
            if not isinstance(row, dict) or "id" not in row:
                raise GuideError(file, line, "a row is a mapping that starts with 'id: NAME'")
            known = str(row["id"])
            if known in rows[kind]:
                raise GuideError(file, line, "the id is used twice", known)
            if kind != "causes":
                row.setdefault("source", {"ref": default_source})
            if kind == "checks":
                _fill_in(row, cautions, file, line)
            rows[kind][known] = build(_LISTS[kind], row, file, GuideError, known)
            places[f"{kind}.{known}"] = (file, tree, place)
    head.pop("source", None)
    empty: dict[str, Any] = {kind: {} for kind in _LISTS}
    guide = build(Guide, {**head, **empty}, head_file, GuideError)
    whole = guide.model_copy(update=rows)
    _check_head(whole, head, head_file)
    for kind in _LISTS:
        for known, each in rows[kind].items():
            _check_row(whole, each, _failing(places[f"{kind}.{known}"], known))
    return whole


def _fill_in(row: Any, cautions: Mapping[str, Any], file: str, line: int | None) -> None:
    """A named caution becomes its text; a row for several causes becomes one a cause."""
    name = row.get("caution")
    if isinstance(name, str):
        if name not in cautions:
            known = ", ".join(cautions)
            raise GuideError(file, line, f"caution '{name}' is not known; use {known}", row["id"])
        row["caution"] = cautions[name]
    tells = row.get("tells")
    if not isinstance(tells, dict):
        return
    spread: dict[str, Any] = {}
    for key, says in tells.items():
        for cause in str(key).split(","):
            if cause.strip() in spread:
                at = line_of(tells, (key,))
                raise GuideError(file, at, f"cause '{cause.strip()}' has two rows", row["id"])
            spread[cause.strip()] = says
    row["tells"] = spread


def _failing(place: tuple[str, Any, int], known: str) -> Fail:
    file, tree, at = place

    def fail(problem: str, *path: Any) -> NoReturn:
        raise GuideError(file, line_of(tree, (at, *path)), problem, known)

    return fail


# --- what shapes alone can't say -----------------------------------------------------------------


def _check_head(guide: Guide, head: Any, file: str) -> None:
    def fail(problem: str, *path: Any) -> NoReturn:
        raise GuideError(file, line_of(head, path), problem)

    for name, repair in guide.repairs.items():
        for text in (repair.why,):
            _no_bridge(text, fail, "repairs", name)
    for text in (guide.safe, *guide.general_order, *guide.leave.values()):
        _no_bridge(text, fail)
    if not guide.sources:
        fail("a guide names its sources", "sources")


def _check_row(guide: Guide, row: Symptom | Cause | Check, fail: Fail) -> None:
    for field, text in _texts(row):
        _no_bridge(text, fail, field)
    _check_applies(guide, row, fail)
    if isinstance(row, Symptom):
        _check_symptom(guide, row, fail)
    elif isinstance(row, Cause):
        _check_cause(guide, row, fail)
    else:
        _check_check(guide, row, fail)


def _texts(row: Symptom | Cause | Check) -> Iterator[tuple[str, str]]:
    for field in ("name", "say", "why", "fix", "first"):
        if getattr(row, field, ""):
            yield field, getattr(row, field)
    yield from (("answers", text) for text in getattr(row, "answers", {}).values())


def _no_bridge(text: str, fail: Fail, *path: Any) -> None:
    for sentence in re.split(r"(?<=[.?!;:])\s+", text):
        found = BRIDGE.search(sentence)
        if found and not re.search(r"\bnever\b", sentence, re.IGNORECASE):
            fail(
                f"'{found[0]}' proposes to defeat a device; say what to measure instead, or "
                f"forbid it with 'never' in the same sentence: {sentence!r}",
                *path,
            )


def _check_applies(guide: Guide, row: Applies, fail: Fail) -> None:
    for field in ("options", "unless"):
        for option in getattr(row, field):
            if option not in guide.options:
                fail(f"option '{option}' is not in guide.yaml", field)


def _check_symptom(guide: Guide, row: Symptom, fail: Fail) -> None:
    _check_source(guide, row.source.ref, fail)
    for cause in row.causes:
        if cause not in guide.causes:
            fail(f"cause '{cause}' is not known", "causes", cause)
        asked = (c for c in guide.checks.values() if not c.only or row.id in c.only)
        if not any(cause in check.tells for check in asked):
            fail(f"no check tells anything of cause '{cause}'", "causes", cause)
    for check in row.order:
        if check not in guide.checks:
            fail(f"check '{check}' is not known", "order")
        only = guide.checks[check].only
        if only and row.id not in only:
            fail(f"check '{check}' is only asked for {', '.join(only)}", "order")
        if not set(guide.checks[check].tells) & set(row.causes):
            fail(f"check '{check}' tells nothing of this symptom's causes", "order")
    for other in guide.symptoms.values():
        if other.id == row.id:
            continue
        if other.number == row.number:
            fail(f"number {row.number} is that of '{other.id}' too", "number")
        both = {row.name, *row.phrases} & {other.name, *other.phrases}
        if both:
            fail(f"'{both.pop()}' is said of '{other.id}' too", "phrases")


def _check_cause(guide: Guide, row: Cause, fail: Fail) -> None:
    for key in row.more:
        if key not in guide.options and key not in DOOR_TYPES:
            fail(f"'{key}' is neither a door type nor an option of guide.yaml", "more", key)
    if row.repair not in guide.repairs:
        fail(f"repair '{row.repair}' is not known; use {', '.join(guide.repairs)}", "repair")
    if row.danger and row.leave == "watch":
        fail("a cause that endangers people leaves the door out-of-service or hold-to-run", "leave")
    if not any(row.id in symptom.causes for symptom in guide.symptoms.values()):
        fail("no symptom has this cause", "id")


def _check_check(guide: Guide, row: Check, fail: Fail) -> None:
    _check_source(guide, row.source.ref, fail)
    if not row.say.rstrip().endswith("?"):
        fail("what is said ends with its question", "say")
    for answer in () if row.reading or row.indicator else row.answers:
        if answer not in ("yes", "no") and not set(stems(answer)) <= set(stems(row.say)):
            fail(f"answer '{answer}' isn't offered in what is said, so nobody will say it", "say")
    if len(row.say.split()) > MAX_WORDS:
        fail(f"has {len(row.say.split())} words; at most {MAX_WORDS} are said in a breath", "say")
    for name in PLACEHOLDER.findall(row.say):
        allowed = PLACEHOLDERS | ({"light"} if row.indicator else set())
        if name not in allowed:
            fail(f"placeholder {{{name}}} is not known; use {', '.join(sorted(allowed))}", "say")
    _check_energy(row, fail)
    if row.normal not in row.answers:
        fail(f"normal '{row.normal}' is not among the answers", "normal")
    for cause in row.tells:
        if cause not in guide.causes:
            fail(f"cause '{cause}' is not known", "tells")
    for name, chances in (("sound", row.sound), *row.tells.items()):
        path = ("sound",) if name == "sound" else ("tells",)
        unknown = set(chances) - set(row.answers)
        if unknown:
            fail(f"row '{name}': '{unknown.pop()}' is not among the answers", *path)
        total = sum(chances.values())
        if any(not 0 <= chance <= 1 for chance in chances.values()) or total > 1 + 1e-9:
            fail(f"row '{name}': probabilities lie in 0 to 1 and sum to at most 1", *path)
        if len(chances) == len(row.answers) and not math.isclose(total, 1, abs_tol=1e-9):
            fail(f"row '{name}' names every answer and sums to {total:g}, not 1", *path)
    for symptom in row.only:
        if symptom not in guide.symptoms:
            fail(f"symptom '{symptom}' is not known", "only")
        if not set(row.tells) & set(guide.symptoms[symptom].causes):
            fail(f"it tells nothing of symptom '{symptom}'", "only")
    if row.reading:
        _check_reading(row, fail)


def _check_energy(row: Check, fail: Fail) -> None:
    """An instruction's risk and the energy state it asks for must agree."""
    if row.needs == "energised" and row.caution is None:
        fail("a check with the power on speaks its caution first", "needs")
    if row.live and (row.needs != "energised" or row.risk < 3):
        fail("a live measurement needs 'energised' and has risk 3", "live")
    if row.risk == 3 and not row.live:
        fail("risk 3 is a live measurement: say live: true", "risk")
    if row.risk == 1 and row.needs != "energised":
        fail("a check that moves the door needs 'energised', which clears people first", "needs")
    if row.risk in (2, 4) and row.needs not in ("isolated", "locked", "proven-dead"):
        fail("hands inside or beside a load need 'isolated', 'locked' or 'proven-dead'", "needs")
    if row.powered and row.needs not in ("unknown", "energised"):
        fail("a check that needs the panel live can't need it dead", "powered")


def _check_reading(row: Check, fail: Fail) -> None:
    spec = row.reading
    if spec is None:
        return
    try:
        unit(spec.unit)
    except UnitError as problem:
        fail(str(problem), "reading")
    low, high = spec.plausible
    if not low < high:
        fail(f"plausible [{low}, {high}] must rise", "reading")
    for edge in (*row.bands, row.at_least, row.at_most):
        if edge is not None and not low <= edge <= high:
            fail(f"{edge} lies outside plausible [{low}, {high}]", "reading")
    if row.calc:
        found = CALCULATORS.get(row.calc)
        if found is None:
            fail(f"calculator '{row.calc}' is not known; use {', '.join(sorted(CALCULATORS))}")
        inputs = {each.name: each for each in found.inputs}
        for key in row.given:
            if key not in inputs:
                fail(f"calculator '{row.calc}' has no input '{key}'; it has {', '.join(inputs)}")
        for key, each in inputs.items():
            if key not in row.given and not each.default:
                fail(f"calculator '{row.calc}' needs input '{key}': {each.help}")


def _check_source(guide: Guide, ref: str, fail: Fail) -> None:
    if ref not in guide.sources:
        fail(f"source '{ref}' is not in guide.yaml", "source")


def retest_refs(guide: Guide) -> Iterator[tuple[str, str]]:
    """(repair, pack or "pack:section") of every test that a repair asks for."""
    for ref in guide.always_retest:
        yield "always_retest", ref
    for name, repair in guide.repairs.items():
        for ref in repair.retests:
            yield name, ref
