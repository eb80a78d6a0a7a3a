"""What the search says, for ears: one sentence a thing, the question last.

Words are in `en.yaml` beside this file and in the guide. No sentence proposes to defeat a device:
the loader has looked through the guide's texts, and this file adds none.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache, singledispatch
from pathlib import Path
from typing import Any

from assistant.dialogue.language import language
from assistant.dialogue.numbers import cardinal, speak_value
from assistant.errors import GuideError
from assistant.faults import effects as fx
from assistant.faults.door import Door
from assistant.procedure.load import read_yaml

_FILE = Path(__file__).with_name("en.yaml")


@cache
def words() -> dict[str, Any]:
    """The language file's tree."""
    return dict(read_yaml(_FILE, GuideError))


def speak(effects: Iterable[fx.Effect], door: Door) -> tuple[str, ...]:
    """Sentences for a list of effects, in their order; a caution stands alone before its check."""
    told: list[str] = []
    for effect in effects:
        told += [text for text in _say(effect, door) if text]
    return tuple(told)


def chance_words(chance: float) -> str:
    """A probability as it is spoken: 0.62 -> "about six in ten"."""
    tenths = cardinal(min(9, max(1, round(chance * 10))))
    table = words()["chances"]
    return str(next(text for edge, text in table.items() if chance < float(edge))).format(
        tenths=tenths
    )


def listed(names: Sequence[str], word: str = "or") -> str:
    """'a', 'a or b', 'a, b or c'."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {_t(word)} {names[-1]}"


def pack_name(ref: str) -> str:
    """'safety-tests:stop buttons' -> 'safety tests, stop buttons'."""
    return ref.replace("-", " ").replace(":", ", ")


def state_name(name: str) -> str:
    """An energy state as it is spoken."""
    return _state(name)


def question(door: Door, check: str) -> str:
    """What a check asks, at this door."""
    return door.checks[check].say


def _t(key: str, **values: object) -> str:
    text = str(words()["say"][key]).format(**values)
    return (text[:1].upper() + text[1:]).strip() if key not in ("and", "or", "then") else text


def _state(name: str) -> str:
    return str(words()["say"]["energy"][name])


def _cause(door: Door, cause: str) -> str:
    return door.guide.causes[cause].name


def _causes(door: Door, causes: Sequence[tuple[str, float]]) -> str:
    """The likeliest with its chance, the others by their names: short enough for an ear."""
    if not causes:
        return ""
    first, chance = causes[0]
    said = f"{_cause(door, first)}, {chance_words(chance)}"
    others = listed([_cause(door, cause) for cause, _ in causes[1:]])
    return f"{said}; {_t('then')} {others}" if others else said


@singledispatch
def _say(effect: Any, door: Door) -> Sequence[str]:
    raise TypeError(f"no words for {type(effect).__name__}")


@_say.register
def _(effect: fx.AskSymptom, door: Door) -> Sequence[str]:
    return [_t("ask-symptom")]


@_say.register
def _(effect: fx.SymptomTaken, door: Door) -> Sequence[str]:
    symptom = door.guide.symptoms[effect.symptom]
    names = listed([each.replace("-", " ") for each in effect.missing])
    missing = _t("missing", devices=names) if effect.missing else ""
    return [_t("symptom-taken", name=symptom.name, first=symptom.first), missing]


@_say.register
def _(effect: fx.SeveralSymptoms, door: Door) -> Sequence[str]:
    return [_t("several", names=listed([door.guide.symptoms[s].name for s in effect.symptoms]))]


@_say.register
def _(effect: fx.UnknownSymptom, door: Door) -> Sequence[str]:
    return [_t("unknown")]


@_say.register
def _(effect: fx.OrderStep, door: Door) -> Sequence[str]:
    key = "order-last" if effect.last else "order-step"
    return [_t(key, step=door.guide.general_order[effect.step])]


@_say.register
def _(effect: fx.MakeSafe, door: Door) -> Sequence[str]:
    return [_t("make-safe", safe=door.guide.safe)]


@_say.register
def _(effect: fx.AskCheck, door: Door) -> Sequence[str]:
    caution = door.guide.checks[effect.check].caution
    warned = f"{language().signals[caution.word]} {caution.text}" if caution else ""
    first = _t("danger") if effect.for_danger and not effect.again else ""
    return [warned, first, _t("check", say=question(door, effect.check))]


@_say.register
def _(effect: fx.NeedsEnergy, door: Door) -> Sequence[str]:
    if not effect.check:
        return [_t("repair-needs", state=_state(effect.state), now=_state(effect.now))]
    # That nobody knows the state is no news to whoever is sent to a live panel.
    key = "needs-live" if effect.state == "energised" else "needs-energy"
    why = door.guide.checks[effect.check].why
    return [_t(key, why=why, state=_state(effect.state), now=_state(effect.now))]


@_say.register
def _(effect: fx.ChangeEnergy, door: Door) -> Sequence[str]:
    return [_t("change-energy", state=_state(effect.state))]


@_say.register
def _(effect: fx.Dropped, door: Door) -> Sequence[str]:
    return [_t("dropped", state=_state(effect.state))]


@_say.register
def _(effect: fx.Taken, door: Door) -> Sequence[str]:
    if effect.outcome is None:
        return [_t("not-known")]
    return [_t("taken", clause=door.guide.checks[effect.check].answers[effect.outcome])]


@_say.register
def _(effect: fx.Implausible, door: Door) -> Sequence[str]:
    return [_t("implausible", value=speak_value(effect.value, effect.unit))]


@_say.register
def _(effect: fx.AskAgain, door: Door) -> Sequence[str]:
    asks = question(door, effect.check) if effect.check else _t("ask-symptom")
    return [_t("ask-again", question=asks)]


@_say.register
def _(effect: fx.Leading, door: Door) -> Sequence[str]:
    key = "leading" if effect.because else "leading-plain"
    cause, chance = _cause(door, effect.cause), chance_words(effect.chance)
    return [_t(key, cause=cause, chance=chance, because=effect.because)]


@_say.register
def _(effect: fx.Named, door: Door) -> Sequence[str]:
    key = "named-guess" if effect.last else "named" if effect.because else "named-plain"
    cause, chance = _cause(door, effect.cause), chance_words(effect.chance)
    return [_t(key, cause=cause, chance=chance, because=effect.because)]


@_say.register
def _(effect: fx.WhyCheck, door: Door) -> Sequence[str]:
    key = "why-danger" if effect.for_danger else "why-check"
    causes = listed([_cause(door, each) for each in effect.causes])
    return [_t(key, why=door.guide.checks[effect.check].why, causes=causes)]


@_say.register
def _(effect: fx.Others, door: Door) -> Sequence[str]:
    if not effect.causes:
        return [_t("others-none")]
    return [_t("others-than" if effect.than else "others", causes=_causes(door, effect.causes))]


@_say.register
def _(effect: fx.Stuck, door: Door) -> Sequence[str]:
    if not effect.causes:
        return [_t("stuck-plain")]
    return [_t("stuck", causes=_causes(door, effect.causes))]


@_say.register
def _(effect: fx.NotRuledOut, door: Door) -> Sequence[str]:
    return [_t("not-ruled-out", causes=listed([_cause(door, c) for c in effect.causes]))]


@_say.register
def _(effect: fx.Found, door: Door) -> Sequence[str]:
    return [_t("found", cause=_cause(door, effect.cause), fix=door.guide.causes[effect.cause].fix)]


@_say.register
def _(effect: fx.RepairNow, door: Door) -> Sequence[str]:
    cause = door.guide.causes[effect.cause]
    needs = door.guide.repairs[cause.repair].needs
    what = _t("repair-it") if effect.told else cause.fix
    key = "repair-outside" if needs == "unknown" else "repair-now"
    return [_t(key, state=_state(needs), what=what)]


@_say.register
def _(effect: fx.RetestNow, door: Door) -> Sequence[str]:
    packs = listed([pack_name(ref) for ref in effect.refs], "and")
    return [_t("retest-now", why=effect.why, packs=packs)]


@_say.register
def _(effect: fx.RetestFailed, door: Door) -> Sequence[str]:
    return [_t("retest-failed", pack=pack_name(effect.ref))]


@_say.register
def _(effect: fx.LeaveDoor, door: Door) -> Sequence[str]:
    return [door.guide.leave[effect.rule]]


@_say.register
def _(effect: fx.Held, door: Door) -> Sequence[str]:
    return [_t("held")]


@_say.register
def _(effect: fx.ReadBack, door: Door) -> Sequence[str]:
    if effect.value is None:
        return [_t("read-back", value=effect.special.replace("-", " "))]
    return [_t("read-back", value=speak_value(effect.value, effect.unit))]


@_say.register
def _(effect: fx.Withdrawn, door: Door) -> Sequence[str]:
    return [_t("withdrawn")]


@_say.register
def _(effect: fx.LeadOnly, door: Door) -> Sequence[str]:
    return [_t("lead-only")]


@_say.register
def _(effect: fx.NoWay, door: Door) -> Sequence[str]:
    return [_t("no-way", state=_state(effect.state))]


@_say.register
def _(effect: fx.NotInPlan, door: Door) -> Sequence[str]:
    return [_t("not-in-plan", packs=listed([pack_name(ref) for ref in effect.refs], "and"))]


@_say.register
def _(effect: fx.Over, door: Door) -> Sequence[str]:
    return [_t("over" if effect.solved else "given-up")]
