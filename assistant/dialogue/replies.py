"""Outcomes to sentences, written for ears: one instruction, the value last, under 12 seconds.

The words are the language file's. No sentence speaks a gate phrase, whatever a pack, a note or
a remark holds: an echo of the loudspeaker must not open a gate.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache, singledispatch
from typing import Any, Literal

from assistant.dialogue.grammar import spoken_instrument
from assistant.dialogue.language import language
from assistant.dialogue.numbers import (
    cardinal,
    digit_words,
    speak_value,
    unit_word,
)
from assistant.dialogue.phrases import spoken, template
from assistant.procedure import effects as fx
from assistant.procedure import gates
from assistant.procedure.effects import Effect
from assistant.procedure.load import DAY, spoken_day
from assistant.procedure.model import FRAMES, Plan, Step
from assistant.procedure.plan import progress
from assistant.procedure.run import Pending, Run
from assistant.procedure.sums import Sum
from assistant.quantity import UNITS, Quantity, quantity, same_dimension

Tone = Literal["heard", "refused", "not-understood", "done"]
_SOURCE_WORDS = 8  # of a source's title and section; the record has the rest
_POINTS = 4  # carried over that are named at the start; each is asked for at its step
_FEW = 2  # missing things that are named; the others are counted


@dataclass(frozen=True)
class _Scene:
    """What a sentence may depend on."""

    plan: Plan
    run: Run
    brief: bool
    effects: tuple[Effect, ...]

    def step(self, step_id: str) -> Step | None:
        return next((step for step in self.plan.steps if step.id == step_id), None)

    def has(self, kind: type) -> bool:
        return any(isinstance(effect, kind) for effect in self.effects)


def replies(
    effects: Sequence[Effect], plan: Plan, run_after: Run, *, brief: bool = False
) -> tuple[str, ...]:
    """What is spoken for a list of effects, in their order.

    Parameters
    ----------
    effects : sequence of Effect
        What happened.
    plan, run_after
        Where the job stands now.
    brief : bool
        Short forms of the steps. A caution is spoken the first time in either form.

    Returns
    -------
    tuple of str
        One reply an effect, a caution before its instruction as one of its own; effects that
        need no words give none.
    """
    scene = _Scene(plan, run_after, brief or run_after.brief, tuple(effects))
    told: list[str] = []
    for effect in effects:
        parts = [part for part in _say(effect, scene) if part]
        # A caution stands alone, so that neither it nor its instruction gets too long.
        apart = isinstance(effect, _APART)
        told += parts if apart else [" ".join(parts)]
    return tuple(_without_gate_phrase(reply) for reply in told if reply)


_APART = fx.Entered | fx.SumDone | fx.SumWorking | fx.CarriedOver


def tone(effects: Sequence[Effect]) -> Tone:
    """The sound that goes before the words."""
    kinds = [_TONES.get(type(effect), "heard") for effect in effects]
    order: tuple[Tone, ...] = ("refused", "not-understood", "done")
    if _fails(effects):
        return "refused"
    return next((found for found in order if found in kinds), "heard")


_TONES: dict[type, Tone] = {
    fx.Refused: "refused",
    fx.Implausible: "refused",
    fx.WrongUnit: "refused",
    fx.Voided: "refused",
    fx.AskAgain: "not-understood",
    fx.Taken: "done",
    fx.Judged: "done",
    fx.Finished: "done",
    fx.OpenPoint: "done",
    fx.Noted: "done",
}


def _fails(effects: Sequence[Effect]) -> bool:
    return any(isinstance(effect, fx.Judged) and effect.verdict == "fail" for effect in effects)


def written(pending: Pending) -> str:
    """What waits for AFFIRM, short, for the screen: "462 V", "tag 12", "challenge 47"."""
    if pending.kind == "reading":
        if pending.quantity is None:
            return pending.special.replace("-", " ")
        return pending.quantity.written()
    if pending.kind == "tag":
        return f"tag {pending.tag}"
    if pending.kind == "challenge":
        return f"challenge {pending.digits}"
    return pending.word


def photo(new: bool) -> str:
    """What is said of a picture that came: no turn of the machine, but of the record."""
    return _t("photo-kept" if new else "photo-there")


def filled(text: str, step: Step, run: Run) -> str:
    """A step's text with the person that is asked put in."""
    person = run.ledger.next_with_lock() if step.proves == "lock-off" else None
    person = person or run.ledger.next_without_lock() or "lead"
    return DAY.sub(lambda match: _day(match[1], run), text.replace("{person}", person))


def _day(reading: str, run: Run) -> str:
    """The day that a reading of days from today falls on."""
    taken = run.readings.get(reading)
    if taken is None or taken.quantity is None or not run.on:
        return _t("day-unknown")
    days = int(taken.quantity.to("day").value)
    return spoken_day((date.fromisoformat(run.on) + timedelta(days=days)).isoformat())


def _aloud(text: str) -> str:
    """Written units of a pack's text by their names: "480 V" -> "480 volts"."""

    def named(match: re.Match[str]) -> str:
        unit = _SYMBOLS.get(match[2])
        return f"{match[1]} {unit_word(unit, Decimal(match[1]))}" if unit else match[0]

    return re.sub(r"(?<![\w.])(\d+(?:\.\d+)?) ([^\s,;:?!]*[^\s.,;:?!])", named, text)


# Not "in": "step 4 in the panel" is no length.
_SYMBOLS = {each.symbol: each.name for each in UNITS.values() if each.symbol not in ("", "in")}


# --- pieces --------------------------------------------------------------------------------------


def _t(key: str, **values: object) -> str:
    return language().text("replies", key, **values)


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    text = _first_up(_aloud(text.strip()))
    return text if not text or text[-1] in ".?!" else f"{text}."


def _listed(items: Sequence[str], word: str) -> str:
    if len(items) < 2:
        return "".join(items)
    return _t(word, first=", ".join(items[:-1]), last=items[-1])


def _time(seconds: float) -> str:
    """A waiting time: whole minutes rounded up, seconds below one and a half minutes."""
    whole = max(0, round(seconds))
    if whole == 1:
        return _t("one-second")
    if whole <= 90:
        return _t("seconds", count=cardinal(whole))
    return _t("minutes", count=cardinal(-(-whole // 60)))


def _special(name: str) -> str:
    return language().text("specials", name)


def _said(value: Decimal | None, unit: str, special: str = "") -> str:
    return _special(special) if value is None else speak_value(value, unit or "one")


def _rounded(value: Decimal, places: int) -> Decimal:
    """To so many significant figures, without added zeros."""
    if not value:
        return Decimal(0)
    rounded = round(value, places - 1 - value.adjusted())
    short = rounded.normalize()
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


def _shown(value: Decimal, bounds: fx.Bounds | None, unit: str) -> Decimal:
    """A computed value rounded for the ear, but never onto the other side of a limit."""
    for places in range(3, 10):
        short = _rounded(value, places)
        if bounds is None or _sides(value, bounds, unit) == _sides(short, bounds, unit):
            return short
    return value


def _sides(value: Decimal, bounds: fx.Bounds, unit: str) -> tuple[bool, bool]:
    number = Quantity(value, unit).to(bounds.unit).value
    low = bounds.at_least is not None and number < bounds.at_least
    return low, bounds.at_most is not None and number > bounds.at_most


def _limits(bounds: fx.Bounds, value: Decimal | None = None, unit: str = "") -> str:
    """The limits rounded for the ear, but never so far that `value` would be judged otherwise."""
    short = bounds
    for places in range(3 if value is not None else 4, 10):
        edges = {
            name: _rounded(edge, places)
            for name in ("at_least", "at_most")
            if (edge := getattr(bounds, name)) is not None
        }
        short = bounds.model_copy(update=edges)
        if value is None or _sides(value, short, unit) == _sides(value, bounds, unit):
            break
    low, high = (
        None if edge is None else speak_value(edge, bounds.unit)
        for edge in (short.at_least, short.at_most)
    )
    if low and high:
        return _t("limit-both", low=low, high=high)
    if not (low or high):
        return _t("no-limits")
    return _t("limit-low", low=low) if low else _t("limit-high", high=high)


def _source(source: str) -> str:
    words = re.sub(r"\s+,", ",", re.sub(r"[()\[\];]+", " ", source)).split()
    if not words:
        return ""
    short = words[:_SOURCE_WORDS]
    if len(words) > len(short):  # whole pieces, rather than an end in the middle of one
        ends = [place for place, word in enumerate(short) if word.endswith(",")]
        short = short[: ends[-1] + 1] if ends else short
    return _t("source", source=" ".join(short).rstrip(",."))


def _name(step_id: str) -> str:
    """A step by its id: "prove-dead.l1-l2" -> "prove dead, L1 to L2"."""
    base, _, item = step_id.partition(".")
    return base.replace("-", " ") + (f", {_item(item)}" if item else "")


def _item(item: str) -> str:
    if re.fullmatch(r"(l\d?|n|pe)(-(l\d?|n|pe))*", item):
        return item.upper().replace("-", " to ")
    return item.replace("-", " ")


def _short(step: Step, run: Run) -> str:
    return _sentence(filled(step.brief, step, run) if step.brief else _name(step.id))


def _addressed(text: str, step: Step, plan: Plan) -> str:
    """The person first, where there are two and the text doesn't name one."""
    spoken_to = set(plan.job.people) | {step.who}
    named = any(re.search(rf"\b{re.escape(person)}\b", text, re.I) for person in spoken_to)
    if step.who == "lead" or len(plan.job.people) < 2 or named:
        return text
    return language().text(f"to-{step.who}", text=text)


@cache
def _gate_phrases() -> tuple[tuple[re.Pattern[str], str], ...]:
    """Patterns of the phrases that open gates, in any spelling, and what is spoken instead."""
    out = []
    for text, meaning in language().phrases.items():
        if meaning.kind != "challenge" or template(text).slot:
            continue
        words = [re.escape(word) for word in template(text).fixed]
        for other, one in language().spellings.items():
            words = [f"(?:{word}|{re.escape(other)})" if word == one else word for word in words]
        pattern = re.compile(r"[\W_]+".join(words), re.IGNORECASE)
        out.append((pattern, language().text("gate-names", meaning.key)))
    return tuple(out)


def _without_gate_phrase(reply: str) -> str:
    for pattern, name in _gate_phrases():
        reply = pattern.sub(name, reply)
    return _first_up(reply)


def options(plan: Plan, run: Run) -> tuple[str, ...]:
    """Up to three things that can be said now, in words fit to be spoken."""
    first = {key: language().templates(key)[0] for key in _OPTION_KEYS}
    if run.held:
        return (first["go-ahead"], first["where-are-we"], first["say-again"])
    if run.pending:
        return (first["affirm"], first["negative"], first["correction"])
    if run.sum:
        return _sum_options(run.sum)
    step = plan.step(run.at) if run.at else None
    if step is None:
        return (first["where-are-we"], first["go-back"], first["say-again"])
    if run.failing == step.id:
        return (first["measure-again"], first["correction"], first["unable"])
    return (*_own_options(step)[:2], first["unable"])[:3]


_OPTION_KEYS = (
    *("go-ahead", "where-are-we", "say-again", "affirm", "negative", "correction"),
    *("measure-again", "unable", "go-back"),
)


def _sum_options(asked_for: Sum) -> tuple[str, ...]:
    asked, text = asked_for.asked(), language().text
    if asked is None:
        return tuple(language().templates(key)[0] for key in ("working", "go-ahead"))
    if asked.choices:
        own = [spoken(each) for each in asked.choices[:2]]
    elif asked.unit:
        unit = unit_word(asked.unit)
        own = [text("options", "value", unit=unit) if unit else text("options", "bare-value")]
    else:
        own = [_t("sum-size", input="").strip(" ,:?")]
    return (*own, language().templates("correction")[0], language().templates("disregard")[0])[:3]


def _own_options(step: Step) -> list[str]:
    expects, text = step.expects, language().text
    if expects.confirmation is not None:
        return [spoken(expects.confirmation)]
    if expects.reading is not None:
        unit = unit_word(expects.reading.unit)
        return [text("options", "value", unit=unit) if unit else text("options", "bare-value")]
    if expects.choice is not None:
        return [spoken(answer) for answer in expects.choice]
    if expects.tag is not None:
        return [text("options", "tag")]
    if expects.challenge is not None:
        return [text("gate-words", expects.challenge)]
    return [text("step", "wait")] if expects.wait else []


# --- one function an effect ----------------------------------------------------------------------


@singledispatch
def _say(effect: Any, scene: _Scene) -> Sequence[str]:
    raise TypeError(f"no words for effect {type(effect).__name__}")


@_say.register
def _(effect: fx.Entered, scene: _Scene) -> Sequence[str]:
    step = scene.step(effect.step)
    if step is None:
        return ()
    short = effect.again or scene.brief
    text = filled((step.brief or step.say) if short else step.say, step, scene.run)
    caution = ""
    if step.caution and not effect.again:
        signal = language().signals[step.caution.word]
        caution = f"{signal} {_sentence(filled(step.caution.text, step, scene.run))}"
    text = _sentence(_addressed(text, step, scene.plan))
    if step.helper:
        helper = _sentence(filled(step.helper, step, scene.run))
        text = _t("helper-part", text=text, helper=helper)
    return (caution, text, _call_clear(step, scene.run) if step.mark else "")


def _call_clear(step: Step, run: Run) -> str:
    shared = gates.without_device(run, step)
    if run.devices and shared:  # a device is there, and the other person stands beside it
        return _t("call-clear-shared", who=shared[0])
    return _t("call-clear")


@_say.register
def _(effect: fx.Finished, scene: _Scene) -> Sequence[str]:
    count = effect.open_points
    key = {0: "no-open-points", 1: "one-open-point"}.get(count, "open-points")
    return (_t("finished", open=_first_up(_t(key, count=cardinal(count)))),)


@_say.register
def _(effect: fx.ReadBack, scene: _Scene) -> Sequence[str]:
    if effect.challenge:
        return (_t("affirm-challenge", digits=digit_words(effect.challenge)),)
    if effect.tag:
        digits = digit_words(effect.tag)
        if effect.person and len(scene.plan.job.people) > 1:
            return (_t("affirm-tag-of", person=_first_up(effect.person), digits=digits),)
        return (_t("affirm-tag", digits=digits),)
    if effect.value is not None or effect.special:
        said = _said(effect.value, effect.unit, effect.special)
        if effect.step != scene.run.at:  # an earlier step's: that it isn't this one's must be heard
            name = _first_up(_name(effect.step))
            return (_t("affirm-correction", step=name, value=said),)
        return (_t("affirm-value", value=_first_up(said)),)
    return (_t("affirm-word", word=_first_up(effect.word)),)


@_say.register
def _(effect: fx.Taken, scene: _Scene) -> Sequence[str]:
    step = scene.step(effect.step)
    if effect.person and not effect.tag and effect.word:
        owed = gates.without_device(scene.run, step) if step else ()
        return (
            _t("is-clear", who=_first_up(effect.person)),
            _t("clear-next", who=owed[0]) if owed else "",
        )
    if effect.tag:
        return (_t("tag-taken", digits=digit_words(effect.tag)),)
    if effect.answer and step and step.counted:
        return (_sentence(effect.answer),)  # both hear what the count will be made of
    if step and step.expects.wait:
        return (_t("wait-over"),)
    # The tone says that it was heard; the next instruction is answer enough.
    return (_t("taken"),) if step and (step.gate or step.judged_by_choice) else ()


@_say.register
def _(effect: fx.Judged, scene: _Scene) -> Sequence[str]:
    warnings = (*effect.warnings, *(effect.bounds.warnings if effect.bounds else ()))
    warned = _sentence(warnings[0]) if warnings else ""
    value = effect.value
    if effect.derived and value is not None:
        value = _shown(value, effect.bounds, effect.unit)
    said = _said(value, effect.unit, effect.special or "no-reading")
    opening = ""
    if effect.derived:
        name = _item(effect.name.partition(".")[0])
        opening = _t("derived", name=_first_up(name), value=said)
    if effect.verdict != "fail":
        verdict = _t("pass" if effect.verdict == "pass" else "recorded")
        if effect.corrects and not effect.derived:
            verdict = _t("corrected", verdict=verdict)
        return (opening, verdict, warned)
    failed = _t("fail-derived") if effect.derived else _t("fail", value=said)
    limits = _limits(effect.bounds, effect.value, effect.unit) if effect.bounds else ""
    source = _source(effect.bounds.source) if effect.bounds else ""
    return (opening, failed, limits, source, warned, _after_fail(effect, scene))


def _after_fail(effect: fx.Judged, scene: _Scene) -> str:
    if effect.then == "note" or scene.has(fx.Voided):
        return ""
    if effect.then == "repeat":
        return _t("fail-repeat")
    return _t("fail-options-derived" if effect.derived else "fail-options")


@_say.register
def _(effect: fx.Beside, scene: _Scene) -> Sequence[str]:
    way = effect.trend.replace(" %", " percent")
    trend = _t("trend", count=cardinal(effect.visits), trend=way) if way else ""
    if not effect.told:
        return (trend,)
    said = _said(effect.value, effect.unit, effect.special or "no-reading")
    told = _t("last-time", value=said, day=spoken_day(effect.on))
    if not effect.unusual:
        return (told, trend)
    return (told, _t("changed", change=_first_up(_change(effect.change or Decimal(0)))),
            _sentence(effect.unusual), trend)  # fmt: skip


def _change(percent: Decimal) -> str:
    """A change since the last time: "half of last time", "three zero percent more"."""
    if abs(percent + 50) <= 5:
        return _t("change-half")
    if abs(percent - 100) <= 10:
        return _t("change-double")
    size = cardinal(round(abs(percent)))
    return _t("change-less" if percent < 0 else "change-more", percent=size)


@_say.register
def _(effect: fx.CarriedOver, scene: _Scene) -> Sequence[str]:
    if not effect.last:
        return (_t("no-visits"),)
    count = len(effect.points)
    day = _t("last-visit", day=spoken_day(effect.last))
    key = {0: "left-none", 1: "left-one"}.get(count, "left-some")
    told = [f"{day} {_t(key, count=cardinal(count))}"]
    told += [_sentence(each) for each in effect.points[:_POINTS]]
    if count > _POINTS:
        told.append(_t("left-more", count=cardinal(count - _POINTS)))
    return told


@_say.register
def _(effect: fx.Implausible, scene: _Scene) -> Sequence[str]:
    low, high = (speak_value(edge, effect.plausible_unit) for edge in (effect.low, effect.high))
    heard = speak_value(effect.value, effect.unit)
    value = Quantity(effect.value, effect.unit).to(effect.plausible_unit).value
    asked = _t("say-decimal" if value > effect.high else "say-value")
    if effect.step != scene.run.at:
        asked = _t("say-correction", step=_name(effect.step))
    return (_t("implausible", value=heard, low=low, high=high), asked)


@_say.register
def _(effect: fx.WrongUnit, scene: _Scene) -> Sequence[str]:
    if effect.step != scene.run.at:
        asked = _t("say-correction", step=_name(effect.step))
        return (_t("wrong-unit-correction", unit=unit_word(effect.expected)), asked)
    return (_t("wrong-unit", unit=unit_word(effect.expected)),)


@_say.register
def _(effect: fx.Withdrawn, scene: _Scene) -> Sequence[str]:
    step = scene.step(effect.step)
    if step and step.expects.kind == "reading" and effect.step != scene.run.at:
        here = scene.step(scene.run.at) if scene.run.at else None
        left = _t("withdrawn-correction", step=_name(effect.step))
        return (left, _short(here, scene.run) if here else "")
    if effect.again:
        return (_t("withdrawn-digits"),)
    kind = {"reading": "-value", "tag": "-tag"}.get(step.expects.kind if step else "", "")
    return (_t(f"withdrawn{kind}"),)


@_say.register
def _(effect: fx.Refused, scene: _Scene) -> Sequence[str]:
    named = [_missing(code) for code in effect.missing[:_FEW]]
    left = len(effect.missing) - len(named)
    if left:
        named.append(_t("more", count=cardinal(left)))
    offered = scene.step(effect.offer) if effect.offer else None
    parts = [_t("refused", missing=_first_up(_listed(named, "and")))]
    here = scene.step(scene.run.at) if scene.run.at else None
    if offered and (here is None or offered.id != here.id):
        parts.append(_t("next", step=_short(offered, scene.run)))
        if here is None or offered.section != here.section:
            parts.append(_t("go-to", section=spoken(offered.section)))
    return parts


def _missing(code: str) -> str:
    kind, _, what = code.partition(":")
    state = language().text("states", what).partition(",")[0] if kind == "state" else ""
    if kind == "wait" and float(what or 0) <= 0:
        kind = "wait-over"
    elif kind == "unsettled":
        what = _name(what)
    elif kind in ("dead", "failed", "restrained"):
        what = _item(what.replace(".", " ") if kind == "failed" else what)
    time = _time(float(what or 0)) if kind == "wait" else ""
    return language().text("missing", kind, what=what, state=state, time=time)


@_say.register
def _(effect: fx.Voided, scene: _Scene) -> Sequence[str]:
    held = any(isinstance(e, fx.Held) and e.cause != "stand-by" for e in scene.effects)
    if effect.cause == "stop-work" and held:
        return ()  # the hold has said it
    live = effect.was in ("released", "energised")
    cause = language().text("causes", effect.cause)
    return (_t("voided-live" if live else "voided", cause=cause),)


@_say.register
def _(effect: fx.EnergyNow, scene: _Scene) -> Sequence[str]:
    if effect.state == "unknown" and (scene.has(fx.Voided) or scene.has(fx.Held)):
        return ()
    return (_t("energy", state=language().text("states", effect.state)),)


@_say.register
def _(effect: fx.ChallengeNeeded, scene: _Scene) -> Sequence[str]:
    return ()  # the shell draws the digits; ChallengeGiven speaks them


@_say.register
def _(effect: fx.ChallengeGiven, scene: _Scene) -> Sequence[str]:
    name = language().text("gate-names", effect.phrase)
    return (_t("challenge", digits=digit_words(effect.digits), phrase=name),)


@_say.register
def _(effect: fx.Waiting, scene: _Scene) -> Sequence[str]:
    return (_t("waiting", time=_first_up(_time(effect.left_s))),)


@_say.register
def _(effect: fx.AskAgain, scene: _Scene) -> Sequence[str]:
    if effect.candidates:
        asked = [_t("candidates", candidates=_listed(effect.candidates, "or"))]
        if any(_has_number(each) for each in effect.candidates):
            point = digit_words(".") in " ".join(effect.candidates).split()
            asked.append(_t("digit-by-digit-point" if point else "digit-by-digit"))
    else:
        why = effect.why.partition(":")[0]
        known = language().texts["why"]
        asked = [language().text("why", why if why in known else "unsure")]
    if effect.times >= 2:
        listed = _listed(options(scene.plan, scene.run), "or")
        asked.append(_t("can-say", options=listed))
    return asked


def _has_number(text: str) -> bool:
    digits = {forms[0] for forms in language().texts["numbers"]["digits"].values()}
    return not digits.isdisjoint(text.split())


@_say.register
def _(effect: fx.OpenPoint, scene: _Scene) -> Sequence[str]:
    return (_t("open-stays" if effect.stays else f"open-{effect.cause}"),)


@_say.register
def _(effect: fx.Explained, scene: _Scene) -> Sequence[str]:
    step = scene.step(effect.step)
    return _EXPLAIN[effect.what](effect, step, scene)


def _reason(effect: fx.Explained, step: Step | None, scene: _Scene) -> Sequence[str]:
    if step is None or not (step.reason or step.source):
        return (_t("no-reason"),)
    source = ""
    if step.source:
        found = scene.plan.pack.sources.get(step.source.ref)
        title = found.title if found else step.source.ref
        source = _source(f"{title}, {step.source.section}" if step.source.section else title)
    return (_sentence(filled(step.reason, step, scene.run)), source)


def _explain_limits(effect: fx.Explained, step: Step | None, scene: _Scene) -> Sequence[str]:
    bounds = effect.bounds
    if bounds is None:
        return (_t("limits-later" if step and step.limits else "no-limits"),)
    safety = _t("safety-limit") if bounds.safety else ""
    warned = _sentence(bounds.warnings[0]) if bounds.warnings else ""
    return (safety, _source(bounds.source), warned, _limits(bounds))


def _where(effect: fx.Explained, step: Step | None, scene: _Scene) -> Sequence[str]:
    state = language().text("states", scene.run.ledger.state)
    if step is None:
        return (_t("where-end", state=state),)
    section = _first_up(spoken(step.section))
    parts = [each for each in progress(scene.plan, scene.run) if each.part.name not in FRAMES]
    left = ""
    if len(parts) > 1:
        done = sum(each.done == each.steps for each in parts)
        minutes = round(sum(each.minutes_left for each in parts))
        left = _t("where-parts", done=done, count=len(parts), minutes=minutes)
    return (_t("where", section=section, step=_short(step, scene.run), state=state), left)


def _read_back(effect: fx.Explained, step: Step | None, scene: _Scene) -> Sequence[str]:
    run = scene.run
    if run.pending:
        return _say(run.pending.read_back(), scene)
    spec = (step.expects.reading or step.expects.derived) if step else None
    taken = run.readings.get(spec.name) if spec else None
    taken = taken or run.readings.get(run.last_reading or "")
    if taken is None:
        return (_t("nothing-recorded"),)
    value = taken.quantity.value if taken.quantity else None
    unit = taken.quantity.unit if taken.quantity else "one"
    if value is not None and taken.derived:
        value = _shown(value, taken.bounds, unit)
    return (_t("recorded-value", value=_said(value, unit, taken.special or "no-reading")),)


def _list_options(effect: fx.Explained, step: Step | None, scene: _Scene) -> Sequence[str]:
    return (_t("can-say", options=_listed(options(scene.plan, scene.run), "or")),)


_EXPLAIN = {
    "reason": _reason,
    "limits": _explain_limits,
    "where-are-we": _where,
    "read-back": _read_back,
    "options": _list_options,
}


# --- calculations --------------------------------------------------------------------------------


def _input_said(text: str) -> str:
    """An input as it was taken: "85 ft" -> "eight five feet"; a size or word as it is called."""
    words = language().texts["sums"]["sizes"].get(text)
    if words or not re.match(r"[-\d.]", text):
        return words or text.replace("-", " ")
    value = quantity(text)
    return speak_value(value.value, value.unit)


def _asks(effect: fx.SumAsked) -> str:
    """The question for an input: its name and unit, or what may be chosen."""
    name = _first_up(effect.input.replace("-", " "))
    if effect.choices:
        listed = _listed([each.replace("-", " ") for each in effect.choices], "or")
        return _t("sum-choices", input=name, choices=listed)
    if not effect.unit:
        return _t("sum-size", input=name)
    about = f"{name}, {_aloud(effect.help)}"
    unit = unit_word(effect.unit)
    return f"{about}, {unit}" if unit and unit not in about else about


@_say.register
def _(effect: fx.SumAsked, scene: _Scene) -> Sequence[str]:
    last = effect.last
    said = _t("sum-last", name=_first_up(last[0]), value=_input_said(last[1])) if last else ""
    listed = _listed([f"{name} {_input_said(text)}" for name, text in effect.known], "and")
    known = _t("sum-known", list=listed) if effect.known else ""
    question = _asks(effect).rstrip("?")
    return (_t("sum-asked", last=said, known=known, input=question),)


@_say.register
def _(effect: fx.SumRefused, scene: _Scene) -> Sequence[str]:
    why = _first_up(_aloud(effect.why)).rstrip(".")
    if not effect.input:
        return (_sentence(why),)
    return (_t("sum-refused", why=why, input=_first_up(effect.input.replace("-", " "))),)


@_say.register
def _(effect: fx.SumDone, scene: _Scene) -> Sequence[str]:
    results = [(name, _said(_rounded(n, 3), unit)) for name, n, unit in effect.values[:2]]
    results += [(name, _input_said(text)) for name, text in list(effect.words.items())[:2]]
    told = [
        _t("sum-result", name=_first_up(name.replace("-", " ")), value=value)
        for name, value in results
    ]
    bounds = _sum_bounds(effect)
    limits = _limits(bounds) if bounds else ""
    warned = _sentence(effect.warnings[0]) if effect.warnings else ""
    step = scene.step(scene.run.at or "")
    spec = step.expects.reading if step and not step.limits else None
    fits = bounds is not None and spec is not None and same_dimension(bounds.unit, spec.unit)
    limited = f"{limits} {_source(effect.source)}".strip()
    return (" ".join(told), limited, warned, _t("sum-end-use" if fits else "sum-end"))


def _sum_bounds(effect: fx.SumDone) -> fx.Bounds | None:
    edges = [edge for edge in (effect.at_least, effect.at_most) if edge]
    if not edges:
        return None
    low, high = effect.at_least, effect.at_most
    return fx.Bounds(
        at_least=low[0] if low else None, at_most=high[0] if high else None, unit=edges[0][1]
    )


@_say.register
def _(effect: fx.SumWorking, scene: _Scene) -> Sequence[str]:
    return tuple(_sentence(line) for line in effect.lines)


@_say.register
def _(effect: fx.SumEnded, scene: _Scene) -> Sequence[str]:
    return (_t("sum-ended"),)


@_say.register
def _(effect: fx.LimitSet, scene: _Scene) -> Sequence[str]:
    return (_t("limit-set", limits=_limits(effect.bounds)),)


@_say.register
def _(effect: fx.Held, scene: _Scene) -> Sequence[str]:
    return (_t(f"held-{effect.cause}"),)


@_say.register
def _(effect: fx.Resumed, scene: _Scene) -> Sequence[str]:
    return (_t("resumed"),)


@_say.register
def _(effect: fx.Noted, scene: _Scene) -> Sequence[str]:
    return (_t("noted"),)


@_say.register
def _(effect: fx.InstrumentChosen, scene: _Scene) -> Sequence[str]:
    key = "instrument" if effect.state == "in-date" else f"instrument-{effect.state}"
    return (_t(key, name=_first_up(spoken_instrument(effect.name)), what=effect.what),)


@_say.register
def _(effect: fx.Setting, scene: _Scene) -> Sequence[str]:
    return (language().text("settings", effect.name),)


@_say.register
def _(effect: fx.DeviceNotice, scene: _Scene) -> Sequence[str]:
    who = effect.role if not effect.present else _first_up(effect.role)
    return (_t("device-back" if effect.present else "device-lost", who=who),)


@_say.register
def _(effect: fx.Marked, scene: _Scene) -> Sequence[str]:
    step = scene.step(effect.step)
    what = filled(step.mark, step, scene.run).rstrip(".") if step else ""
    return (_t("marked", what=what),)


@_say.register
def _(effect: fx.HandedOver, scene: _Scene) -> Sequence[str]:
    return (_t("handed-over"),)


@_say.register
def _(effect: fx.HelperCalled, scene: _Scene) -> Sequence[str]:
    return (_t("helper-called"),)


@_say.register
def _(effect: fx.PhotoAsked, scene: _Scene) -> Sequence[str]:
    return (_t("photo-asked"),)


@_say.register
def _(effect: fx.Repeat, scene: _Scene) -> Sequence[str]:
    """The present question in full, for a shell that kept no last reply."""
    run = scene.run
    if run.held:
        return (_t(f"held-{run.held}"),)
    if run.pending:
        return _say(run.pending.read_back(), scene)
    step = scene.step(run.at) if run.at else None
    parts = [_sentence(_addressed(filled(step.say, step, run), step, scene.plan))] if step else []
    if run.challenge:
        given = fx.ChallengeGiven(
            step=run.challenge.step, phrase=run.challenge.phrase, digits=run.challenge.digits
        )
        parts += _say(given, scene)
    return parts
