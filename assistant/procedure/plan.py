"""Packs strung together to one plan for a job, isolated once and released once.

A pack that has no gate of its own says with `needs` where its steps belong: in front of the
work, at the dead panel, at the live one. Around the dead steps of all packs go the frames
`isolation` and `release`, before live work on a panel in service the frame `in-service`, and
`getting-ready` before all of it. What comes out is a plan like any other: no gate is passed
over, and a lost proof leads back through the one isolation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from assistant.errors import PackError
from assistant.procedure import gates, past
from assistant.procedure.load import bind
from assistant.procedure.model import Job, Pack, PackSource, Part, Plan, Step, When
from assistant.procedure.run import Run
from assistant.quantity import unit

Place = Literal["front", "in-service", "dead", "live"]
FOUND, IN_USE = (
    "found-live",
    "it is in use",
)  # the question of the frame in-service, its first answer


def string(packs: Sequence[Pack], frame: Callable[[str], Pack]) -> Pack:
    """One pack of several, in order.

    Parameters
    ----------
    packs : sequence of Pack
        At least one. Live packs may stand before dead ones (looking at a door in service), but a
        plan is isolated only once: dead packs stand together.
    frame : callable
        Gives a frame by its name.

    Raises
    ------
    PackError
        If packs can't stand in this row, or two of them use one id or one reading.
    """
    if len(packs) == 1 and not packs[0].framed:
        return packs[0]
    for pack in packs:
        if not pack.framed:
            raise PackError(
                pack.name,
                None,
                "has gates of its own and is worked alone; name it as the only pack",
            )
    places = _placed(packs)
    rows: list[tuple[Pack, tuple[Step, ...]]] = []

    def put(place: Place) -> None:
        rows.extend((pack, steps) for pack, at, steps in places if at == place)

    def put_frame(name: str) -> None:
        found = frame(name)
        rows.append((found, found.steps))

    has = {at for _, at, _ in places}
    found_live = "in-service" in has or ("live" in has and "dead" not in has)
    if any(pack.at_door for pack in packs):
        put_frame("getting-ready")
    put("front")
    if found_live:
        put_frame("in-service")
        put("in-service")
        front = next(i for i, (pack, _) in enumerate(rows) if pack.name == "in-service")
        rows[front:] = [(p, _as_found(steps, "dead" in has)) for p, steps in rows[front:]]
    if "dead" in has:
        put_frame("isolation")
        put("dead")
        put_frame("release")
    put("live")
    return _joined(packs, rows, found_live)


def plan(packs: Sequence[Pack], frame: Callable[[str], Pack], job: Job) -> Plan:
    """The plan of a job's packs; see `string` and `load.bind`."""
    pack = string(packs, frame)
    return bind(pack, past.with_history(pack, job))


@dataclass(frozen=True)
class Progress:
    """How far a part is. done, steps: of the steps that apply now. minutes_left: estimated."""

    part: Part
    done: int
    steps: int
    minutes_left: float


def progress(plan: Plan, run: Run | None = None) -> tuple[Progress, ...]:
    """Each part of a plan and what is left of it; without a run all of it.

    The time is our estimate a pack, shared evenly among its steps; it measures nobody's work.
    """
    out = []
    for part in plan.pack.parts:
        own = [step for step in plan.steps if step.pack == part.name]
        if run is not None:
            own = [step for step in own if gates.applies(plan, run, step)]
        done = sum(run is not None and step.id in run.marks for step in own)
        left = part.minutes * (len(own) - done) / len(own) if own else 0.0
        if own:
            out.append(Progress(part, done, len(own), left))
    return tuple(out)


def _as_found(steps: tuple[Step, ...], isolated: bool) -> tuple[Step, ...]:
    """Live steps in front of an isolation, left out at a door that is found dead or locked.

    Without an isolation in the plan there is nothing else to go on with, so nothing is asked.
    """
    if not isolated:
        return tuple(step for step in steps if step.id != FOUND)
    live = When(answer=FOUND, is_=IN_USE)
    return tuple(
        step
        if step.id == FOUND
        else step.model_copy(update={"when": When(all_=(live, step.when)) if step.when else live})
        for step in steps
    )


def _placed(packs: Sequence[Pack]) -> list[tuple[Pack, Place, tuple[Step, ...]]]:
    """(pack, place, steps) in order; a pack with dead and live steps comes twice."""
    dead_last = max((i for i, pack in enumerate(packs) if _dead(pack)), default=-1)
    dead_first = next((i for i, pack in enumerate(packs) if _dead(pack)), len(packs))
    out: list[tuple[Pack, Place, tuple[Step, ...]]] = []
    here: Place = "front"
    for i, pack in enumerate(packs):
        live = next((n for n, s in enumerate(pack.steps) if _needs(s) == "energised"), None)
        if _dead(pack):
            here = "dead"
            head = pack.steps if live is None else pack.steps[:live]
            out.append((pack, "dead", head))
            if live is not None:
                out.append((pack, "live", pack.steps[live:]))
        elif live is not None:
            if dead_first < i < dead_last:
                raise PackError(
                    pack.name,
                    None,
                    f"works on the live panel between '{packs[dead_first].name}' and "
                    f"'{packs[dead_last].name}', which need it dead; put it before or after them",
                )
            here = "in-service" if i < dead_last else "live"
            out.append((pack, here, pack.steps))
        else:
            out.append((pack, here, pack.steps))
    return out


def _needs(step: Step) -> str:
    return step.needs.energy if step.needs else ""


def _dead(pack: Pack) -> bool:
    return any(_needs(step) == "proven-dead" for step in pack.steps)


def _joined(
    packs: Sequence[Pack], rows: Sequence[tuple[Pack, tuple[Step, ...]]], found_live: bool
) -> Pack:
    sources: dict[str, PackSource] = {}
    steps: list[Step] = []
    owner: dict[str, str] = {}
    for pack, part in rows:
        for step in _apart(pack, part, owner):
            if step.id in owner:
                raise PackError(
                    pack.name, None, f"uses an id of pack '{owner[step.id]}'; rename one", step.id
                )
            owner[step.id] = pack.name
            steps.append(_sourced(step, pack, sources))
    _check_readings(steps, {pack.name: pack for pack, _ in rows})
    alone = packs[0] if len(packs) == 1 else None
    return Pack(
        name=alone.name if alone else "whole-job",
        title=alone.title if alone else "The whole job",
        version=alone.version if alone else "+".join(f"{p.name} {p.version}" for p in packs),
        language=packs[0].language,
        energy=tuple(dict.fromkeys(s.sets.energy for s in steps if s.sets)),
        sources=sources,
        steps=tuple(steps),
        found="in-service" if found_live else "unknown",
        at_door=any(pack.at_door for pack in packs),
        minutes=sum(pack.minutes for pack in packs),
        beside={name: each for pack in packs for name, each in pack.beside.items()},
        crew=max(pack.crew for pack in packs),
        parts=tuple(
            Part(name=p.name, title=p.title, version=p.version, minutes=p.minutes)
            for p in {pack.name: pack for pack, _ in rows}.values()
        ),
    )


def _apart(pack: Pack, steps: tuple[Step, ...], owner: dict[str, str]) -> list[Step]:
    """A release after live work in service asks some of the same again, under other ids."""
    if pack.name != "release":
        return list(steps)
    return [
        step.model_copy(update={"id": f"{step.id}-again"})
        if owner.get(step.id) == "in-service"
        else step
        for step in steps
    ]


def _sourced(step: Step, pack: Pack, sources: dict[str, PackSource]) -> Step:
    """The step of its pack, its source found again in the strung pack."""
    changes: dict[str, object] = {"pack": pack.name}
    if step.source:
        ref, source = step.source.ref, pack.sources[step.source.ref]
        if sources.setdefault(ref, source) != source:
            ref = f"{pack.name}/{ref}"
            sources[ref] = source
        changes["source"] = step.source.model_copy(update={"ref": ref})
    return step.model_copy(update=changes)


def _check_readings(steps: Sequence[Step], packs: Mapping[str, Pack]) -> None:
    """A name is one pack's own, so that no sum takes another's value unseen; what is measured
    again after a repair is named as such, and only by the pack that comes later."""
    taken: dict[str, Step] = {}
    for step in steps:
        spec = step.expects.reading or step.expects.derived
        if spec is None:
            continue
        first = taken.setdefault(spec.name, step)
        if first.pack == step.pack:
            continue
        if spec.name not in packs[step.pack].retakes:
            problem = f"reading '{spec.name}' is also one of pack '{first.pack}'"
            raise PackError(step.pack, None, problem, step.id)
        was = first.expects.reading or first.expects.derived
        if was and unit(was.unit) != unit(spec.unit):
            problem = f"reading '{spec.name}' is in {was.unit} at pack '{first.pack}'"
            raise PackError(step.pack, None, problem, step.id)
