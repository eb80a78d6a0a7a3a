"""The fault guide at a job: opened from files and the record, heard, shown; the search is pure.

What a search is made of (the guide's texts, what the record said) goes into the log with the words
that opened it, so a guide that is edited later changes nothing in a search that was begun.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from assistant import resources
from assistant.dialogue import grammar
from assistant.dialogue.grammar import Phrase
from assistant.dialogue.interpret import meanings
from assistant.dialogue.numbers import all_unit_words, speak_value, unit_words
from assistant.dialogue.phrases import spoken
from assistant.errors import RecordError, ThirdhandError
from assistant.faults import effects as fx
from assistant.faults import inputs as faults_inputs
from assistant.faults import listening, live, machine, wording
from assistant.faults.door import Door, for_job
from assistant.faults.found import Fault, faults
from assistant.faults.load import KEPT, guide_of, texts_of
from assistant.faults.model import Guide
from assistant.procedure import effects as steps_fx
from assistant.procedure import inputs
from assistant.procedure.machine import Outcome
from assistant.procedure.model import Job, Plan
from assistant.procedure.run import Run
from assistant.quantity import Quantity, unit
from assistant.records.history import answers, last_readings, same, trend, work_of
from assistant.records.store import Store
from assistant.speech.recogniser import Expected, Transcript

ASKED_FOR = {"kind": "open"}  # the words alone; `opening` adds the guide and the record
_SAFE_SIDE = ("stop-work", "emergency", "stand-by", "say-again")


@dataclass(frozen=True)
class Finding:
    """The search of a job, if there is one, and the guide that it follows."""

    door: Door | None = None
    live: live.Live | None = None

    @property
    def open(self) -> bool:
        """True while a search goes on, whoever has the floor."""
        return self.live is not None and not self.live.over

    def has_floor(self, run: Run) -> bool:
        """True if what is said now is said to the guide."""
        return bool(self.live and self.live.front and self.open and not run.held)


def follow(
    finding: Finding, plan: Plan, event: inputs.Event, out: Outcome
) -> tuple[Finding, tuple[fx.Effect, ...], tuple[inputs.Input, ...]]:
    """The search after an event that the machine has taken; what it tells and asks of the job."""
    opens = live.taken(event, out) and isinstance(event.input, inputs.Guide)
    if opens and "texts" in event.input.said and not finding.open:  # type: ignore[union-attr]
        if event.who == "helper":
            return finding, (), ()
        meant = faults_inputs.Open.model_validate(event.input.said)  # type: ignore[union-attr]
        door = for_job(guide_of(meant.texts, KEPT), plan.job, meant.record)
        told = live.begin(door, plan, out.run)
        return Finding(door, told.live), told.effects, ()
    if finding.door is None or finding.live is None:
        return finding, (), ()
    told = live.follow(finding.door, plan, finding.live, event, out)
    return Finding(finding.door, told.live), told.effects, told.asks


def words(finding: Finding, effects: Sequence[fx.Effect]) -> tuple[str, ...]:
    """What the guide says."""
    return wording.speak(effects, finding.door) if finding.door else ()


def asked_again(finding: Finding, effects: Sequence[steps_fx.Effect]) -> tuple[str, ...]:
    """The guide's question once more, from the second time on that nothing was understood."""
    times = [effect.times for effect in effects if isinstance(effect, steps_fx.AskAgain)]
    return (_asked(finding),) if max(times, default=0) > 1 else ()


# --- opening -------------------------------------------------------------------------------------


def opening(store: Store, job_id: str, plan: Plan, run: Run) -> inputs.Guide:
    """The words that open a guide, with the guide and the record as they are now."""
    texts = texts_of(resources.steps_dir() / "faults")
    guide = guide_of(texts, KEPT)
    record = summary(store, job_id, guide, plan.job, run)
    opened = faults_inputs.Open(texts=texts, record=record)
    return inputs.Guide(said=opened.model_dump(mode="json"))


def read_ahead() -> threading.Thread:
    """Have the guide read while nobody waits for it: it takes half a second, once a program."""

    def read() -> None:
        with suppress(ThirdhandError):  # told when somebody asks for it
            guide_of(texts_of(resources.steps_dir() / "faults"), KEPT)

    thread = threading.Thread(target=read, name="fault guide", daemon=True)
    thread.start()
    return thread


def summary(store: Store, job_id: str, guide: Guide, job: Job, run: Run) -> dict[str, Any]:
    """What the record says of a door, as `faults.door` takes it: the last of each reading."""
    taken: dict[str, dict[str, Any]] = {}
    settings: dict[str, str] = {}
    earlier = [
        str(row["job"])
        for row in work_of(store)
        if same(row["site"], job.site) and same(row["door"], job.door) and row["job"] != job_id
    ]
    for each in (*earlier, job_id):
        taken |= last_readings(store, each)
        settings |= _left(store, each, guide)
    moving = {
        hint.reading.split("*")[0]
        for cause in guide.causes.values()
        for hint in cause.hints
        if hint.reading and hint.trend
    }
    readings = []
    for name, row in taken.items():
        told = {"name": name, "verdict": row["verdict"]}
        if any(name.startswith(each) for each in moving) and (way := _way(store, job, name)):
            told["trend"] = way
        readings.append(told)
    points = [{"step": each.step, "cause": each.cause} for each in run.open_points]
    if job.history:
        points += [{"step": each.step, "cause": each.cause} for each in job.history.points]
    cycles = taken.get("cycle-count", {}).get("value")
    return {
        "readings": readings,
        "open_points": points,
        "settings": settings,
        "devices": list(job.options),
        "cycles": int(float(cycles)) if cycles is not None else 0,
    }


def _left(store: Store, job_id: str, guide: Guide) -> dict[str, str]:
    """What a job's steps left set in the panel, by the guide's table; the last of each."""
    left: dict[str, str] = {}
    steps = {step for row in guide.settings for step in row.after}
    for step, said in answers(store, job_id, steps):
        for row in guide.settings:
            if step in row.after and row.answer in ("", said):
                left[row.setting] = row.is_
    return left


def _way(store: Store, job: Job, name: str) -> str:
    """ "rising" or "falling" where the record's own rule names a trend, else ""."""
    try:
        found = trend(store, job.door, name, job.site)
    except RecordError:
        return ""
    values = [visit.value for visit in found.visits if visit.value is not None]
    if not found.claimed or len(values) < 2:
        return ""
    return "rising" if values[-1] > values[0] else "falling"


# --- hearing -------------------------------------------------------------------------------------


def phrases(finding: Finding) -> tuple[Phrase, ...]:
    """Every phrase that may be said to the guide now."""
    assert finding.door is not None and finding.live is not None
    found: dict[str, Phrase] = {}
    if finding.live.pending is not None:
        for key, said in (
            ("affirm", "affirm"),
            ("negative", "negative"),
            ("correction", "negative"),
        ):
            for each in grammar.universal(key):
                found[each.template] = _phrase(each.template, {"kind": said}, "value")
        found["{value}"] = Phrase("{value}", "=value", "reading", (), "value")
    else:
        for text, meaning in listening.accepted(finding.door, finding.live.search).items():
            said = spoken(text)
            found.setdefault(said, _phrase(said, meaning.model_dump(mode="json")))
        if _unit(finding):
            found["{value}"] = Phrase("{value}", "=value", "reading", (), "value")
    for each in grammar.universal(*listening.ALWAYS):
        found.setdefault(each.template, each)
    return tuple(found.values())


def _phrase(text: str, said: dict[str, Any], weight: str = "command") -> Phrase:
    return Phrase(text, f"guide {said}", "guide", (("said", said),), weight)


def _unit(finding: Finding) -> str:
    """The unit that is asked for now, "" if no value is."""
    assert finding.door is not None and finding.live is not None
    asked = finding.live.search.asked
    spec = finding.door.checks[asked].check.reading if asked else None
    return spec.unit if spec else ""


def expected(finding: Finding) -> Expected:
    """What the recogniser is to listen for while the guide has the floor."""
    found = phrases(finding)
    name = _unit(finding)
    return Expected(
        templates=tuple(each.template for each in found),
        unit_words=grammar.unit_forms(name) if name else (),
        weights={each.template: each.weight for each in found if each.weight != "command"},
    )


def interpret(heard: Transcript, finding: Finding) -> inputs.Input:
    """The input that was heard; `NotUnderstood` unless words and close rivals mean one thing."""
    if not heard.text.strip():
        return inputs.NotUnderstood(why=heard.rejected or "unsure")
    return _one(finding, heard.text, heard.alternatives)


def interpret_text(text: str, finding: Finding) -> inputs.Input:
    """The input of a typed line or a touch."""
    return _one(finding, text, ())


def _one(finding: Finding, text: str, others: Sequence[str]) -> inputs.Input:
    here, name = phrases(finding), _unit(finding)
    units = {**all_unit_words(), **(unit_words(name) if name else {})}
    found = meanings(text, here, units)
    if not found:
        return inputs.NotUnderstood(why="unsure")
    first = found[0]
    if len(found) == 1 and getattr(first, "name", "") in _SAFE_SIDE:
        return first
    every = [*found, *(each for other in others for each in meanings(other, here, units))]
    distinct = {_meaning(each, name): each for each in every}
    if len(distinct) > 1:
        told = tuple(dict.fromkeys(in_words(each) for each in distinct.values()))
        return inputs.NotUnderstood(why="ambiguous", candidates=told)
    if isinstance(first, inputs.Reading):
        return inputs.Guide(said=first.model_dump(mode="json"))
    return first


def _meaning(what: inputs.Input, own: str) -> object:
    if isinstance(what, inputs.Reading) and what.value is not None:
        return Quantity(what.value, what.unit or own or "one")
    return what.model_dump_json(exclude={"said"} if isinstance(what, inputs.Reading) else None)


def in_words(what: inputs.Input) -> str:
    """An input in a few words, as a candidate is offered."""
    if isinstance(what, inputs.Reading) and what.value is not None:
        return speak_value(what.value, what.unit or "one")
    if isinstance(what, inputs.Guide):
        said = what.said
        if said["kind"] == "open":
            return "find the fault"
        if said["kind"] == "reading":
            return in_words(inputs.Reading.model_validate(said))
        own = wording.words()["hear"].get(said["kind"], [said["kind"]])
        text = said.get("answer") or said.get("words") or said.get("cause") or own[0]
        return str(text).replace("-", " ")
    return str(getattr(what, "name", what.kind)).replace("-", " ")


# --- showing -------------------------------------------------------------------------------------

_MORE = ["tell me why", "what else", "can't do that one", "I found it"]
# What is told besides the question: only this is worth a place on the screen.
_BESIDES = (
    *(
        fx.SymptomTaken,
        fx.SeveralSymptoms,
        fx.UnknownSymptom,
        fx.OrderStep,
        fx.Dropped,
        fx.Implausible,
    ),
    *(fx.Leading, fx.WhyCheck, fx.Others, fx.NotRuledOut, fx.LeadOnly, fx.NoWay, fx.RetestFailed),
    *(fx.NotInPlan, fx.Withdrawn),
)
ASKS = "find the fault"  # opens the guide, and comes back to it


def view(finding: Finding, run: Run, told: Sequence[fx.Effect]) -> dict[str, Any] | None:
    """The search for a screen; None if no fault was looked for. told: by the guide's last turn."""
    if finding.door is None or finding.live is None:
        return None
    search, door = finding.live.search, finding.door
    likely = machine.likely(door, search)[:3]
    found = door.guide.causes[search.cause] if search.cause else None
    rule = machine.leave(door, search) if search.symptom and finding.open else "watch"
    symptom = door.guide.symptoms[search.symptom].name if search.symptom else ""
    named = f"{symptom[:1].upper()}{symptom[1:]}."  # it stands above
    besides = wording.speak([each for each in told if isinstance(each, _BESIDES)], door)
    return {
        "floor": finding.has_floor(run),
        "phase": search.phase,
        "symptom": symptom,
        "check": search.asked or "",
        "say": _asked(finding),
        "causes": [
            {
                "name": door.guide.causes[cause].name,
                "chance": round(chance, 2),
                "tenths": round(chance * 10),  # as it is spoken
            }
            for cause, chance in likely
        ],
        "found": found.name if found else "",
        "fix": found.fix if found else "",
        "told": [text for each in besides if (text := each.removeprefix(named).strip())],
        "leave": "" if rule == "watch" else rule,
        "waits": _waits(finding),
        "retests": [wording.pack_name(ref) for ref in search.retests],
    }


def _waits(finding: Finding) -> str:
    """What the guide waits for while the job's steps are spoken to, in words; "" if it doesn't."""
    live = finding.live
    if live is None or live.over or live.front:
        return ""
    if live.wanted:
        return f"the panel {wording.state_name(live.wanted)}"
    return "the tests after the repair" if live.search.phase == "retest" else f"“{ASKS}”"


def offered(finding: Finding, plan: Plan, run: Run, role: str) -> bool:
    """True where a touch may open the guide or come back to it."""
    may = role == "lead" and not run.held and run.pending is None
    visit = any(step.pack == live.AFTER_REPAIR for step in plan.steps)
    return may and (finding.open or visit)


def _asked(finding: Finding) -> str:
    assert finding.door is not None and finding.live is not None
    told = machine.repeat(finding.door, finding.live.search).effects
    return " ".join(wording.speak(told, finding.door))


def buttons(finding: Finding, role: str) -> list[dict[str, str]]:
    """What this role can touch, the likeliest first; each does what its words do."""
    assert finding.door is not None and finding.live is not None
    if finding.live.pending is not None:
        return [_button(each) for each in ("affirm", "negative", "say again", "stop work")]
    search = finding.live.search
    here = listening.accepted(finding.door, search)
    barred = (
        [] if role == "lead" else [p for p, what in here.items() if what.kind in live.LEAD_ONLY]
    )
    ends = ("say again", "back to the steps", "leave the search", "stop work")
    last = [_button(each) for each in ends if each not in barred]
    if search.phase == "symptom":
        seen = [_button(each.name, each.group) for each in finding.door.symptoms()]
        return [*seen, *last]
    first = [*_answers(finding), *(["don't know"] if search.asked else [])]
    more = [each for each in _MORE if each in here]
    return [*(_button(each) for each in (*first, *more) if each not in barred), *last]


def _button(phrase: str, group: str = "") -> dict[str, str]:
    found = {"phrase": phrase, "label": phrase[:1].upper() + phrase[1:]}
    return {**found, "group": group} if group else found


def _answers(finding: Finding) -> list[str]:
    """What answers the question that is asked now."""
    assert finding.door is not None and finding.live is not None
    search = finding.live.search
    if search.asked:
        return list(finding.door.checks[search.asked].spoken)
    if search.phase == "check":
        return ["go there", "something else"] if search.waiting else []
    if search.phase == "repair":
        return ["it is repaired"] if search.entered else ["go there"]
    return {"safe": ["it is safe"], "named": ["yes", "no"]}.get(search.phase, [])


def pending_view(finding: Finding, role: str) -> dict[str, Any] | None:
    """A value that was read back and waits for AFFIRM."""
    assert finding.live is not None
    value = finding.live.pending
    if value is None:
        return None
    text = written = str(value.special).replace("-", " ")
    if value.value is not None:
        text = in_words(value)
        written = Quantity(value.value, value.unit or _unit(finding) or "one").written()
    mine = finding.live.who in (role, "system")
    return {"who": finding.live.who, "mine": mine, "text": text, "written": written}


def step_view(finding: Finding) -> Mapping[str, Any]:
    """What a page shows in place of the step while the guide has the floor."""
    assert finding.live is not None
    search = finding.live.search
    check = search.asked and finding.door and finding.door.guide.checks[search.asked]
    caution = check.caution if check else None
    # A screen shows the caution beside the question; an ear gets both.
    say = wording.question(finding.door, check.id) if check and finding.door else _asked(finding)
    return {
        "id": f"fault guide {search.asked or search.waiting or search.named or search.phase}",
        "section": "fault guide",
        "say": say,
        "brief": say,
        "caution": {"word": caution.word, "text": caution.text} if caution else None,
        "limits": "",
        "kind": "reading" if _unit(finding) else "guide",
        "number": len(search.answers) + 1 if search.phase == "check" else 0,
        "of": 0,
        "answers": _answers(finding),
        "part": "",
        "mark": None,
        "marked": False,
        "clear": [],
        "mine": True,
        "unit": unit(name).symbol if (name := _unit(finding)) else "",
    }


def searches(store: Store, job_id: str) -> tuple[Fault, ...]:
    """The searches of a job in order, from its log alone; for the record in print.

    Where a guide's texts were taken out, what was found by it is no longer told.
    """
    try:
        return faults(store.entries(job_id))
    except (ThirdhandError, KeyError, TypeError, ValueError):
        return ()
