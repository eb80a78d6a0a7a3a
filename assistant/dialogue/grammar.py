"""What may be said now: a step's own phrases and those that hold in every step.

`accepted` is the one list; the recogniser is fed with it, `interpret` understands by it, and
`sentences` prints it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from assistant.dialogue.language import language
from assistant.dialogue.numbers import digit_words, unit_word
from assistant.dialogue.phrases import spoken, template
from assistant.dialogue.sounds import alike
from assistant.procedure import gates
from assistant.procedure.calculating import MORE
from assistant.procedure.energy import Ledger
from assistant.procedure.instruments import to_choose
from assistant.procedure.model import FRAMES, Plan, Step
from assistant.procedure.run import Run
from assistant.procedure.sums import Sum
from assistant.procedure.terminals import planned, strip_and_point
from assistant.quantity import same_dimension, spoken_units
from assistant.speech.recogniser import Expected

# What is heard whatever the state: the safe side must never depend on a mode.
SAFETY = ("stop-work", "emergency", "lock-off", "power-on")
_HELD = (
    *("go-ahead", "say-again", "where-are-we", "reason", "limits", "read-back", "note"),
    *("call-helper", "take-photo", "slower", "faster", "louder", "quieter"),
)
_PENDING = (
    *("affirm", "plain-yes", "negative", "correction", "disregard", "say-again", "read-back"),
    *("stand-by",),
)
# Asked with nothing pending, these have nothing to answer.
_ONLY_PENDING = ("affirm", "plain-yes", "negative", "disregard")
_ONLY_HELD = ("go-ahead", "working", "use-result")
_BY_KIND = ("correction-value", "correction-digits")
_AT_ANOTHERS = {"lead": "lead-all-clear", "helper": "helper-all-clear"}
_FOR_TWO = ("all-clear", *_AT_ANOTHERS.values(), "hand-over")
_GATES = ("lockout-confirmed", "clear-to-energise")


@dataclass(frozen=True)
class Phrase:
    """A template that is accepted now, and the input it makes.

    key: its meaning; two phrases with one key may sound alike. kind, fields: the input.
    """

    template: str
    key: str
    kind: str
    fields: tuple[tuple[str, object], ...] = ()
    weight: str = "command"


# --- the list ------------------------------------------------------------------------------------


def accepted(plan: Plan, run: Run) -> tuple[Phrase, ...]:
    """Every phrase that may be said now, a step's own first; no template comes twice."""
    found: dict[str, Phrase] = {}
    for phrase in _now(plan, run):
        found.setdefault(" ".join(_form(phrase.template)), phrase)
    return tuple(found.values())


def _form(text: str) -> tuple[str, ...]:
    parts = template(text)
    slot = f"{{{parts.slot}:{parts.count}}}" if parts.slot else ""
    return (*parts.fixed, slot)


def _now(plan: Plan, run: Run) -> Iterator[Phrase]:
    if run.held:
        weight = "command" if run.held == "stand-by" else "gate"
        yield from _universal("go-ahead", weight=weight)
        yield from _universal(*_HELD, *SAFETY)
        return
    if run.sum:
        yield from _sum(run.sum)
        return
    step = current(plan, run)
    if run.pending:
        asked = plan.step(run.pending.step)
        weight = "gate" if gates.weighty(asked) else "value"
        yield from _universal("affirm", "plain-yes", weight=weight)
        yield from _own(asked, run)
        yield from _landed(plan, asked)
        yield from _instruments(plan, asked)
        yield from _corrections(plan, run)
        yield from _universal(*_PENDING, *SAFETY)
        return
    if step:
        yield from _own(step, run)
        yield from _landed(plan, step)
        yield from _instruments(plan, step)
    yield from _corrections(plan, run)
    yield from _universal(*_GATES, weight="gate")
    left_out = {*_ONLY_PENDING, *_ONLY_HELD, *_BY_KIND, *_GATES, *_FOR_TWO}
    keys = {meaning.key for meaning in language().phrases.values()}
    yield from _universal(*(key for key in _in_file_order() if key in keys - left_out))
    if step and step.mark and not run.marked:
        yield from _universal("all-clear", weight="value")
        for role in gates.without_device(run, step):
            yield from _universal(_AT_ANOTHERS[role], weight="value")
    if len(run.ledger.people) > 1:
        yield from _universal("hand-over", weight="value")
    yield from _sections(plan, step)
    if not run.marked:
        yield from _calculations()


def _sum(asked_for: Sum) -> Iterator[Phrase]:
    """What answers a calculation."""
    words = language().texts["sums"]
    asked = asked_for.asked()
    if asked and asked.unit:
        yield Phrase("{value}", "=value", "reading", (), "value")
    elif asked and asked.choices:
        for answer in asked.choices:
            yield _choice(answer, answer)
    elif asked:
        for size, said in words["sizes"].items():
            yield _choice(said, size)
    if asked and asked.many:
        yield _choice(words["more"], MORE)
    keys = ("working", "use-result", "go-ahead") if asked_for.result else ("correction",)
    yield from _universal(*keys, "disregard", "say-again", "stand-by", *SAFETY)


def _choice(text: str, answer: str) -> Phrase:
    said = spoken(text)
    return Phrase(said, f"={said}", "choice", (("answer", answer),), "value")


def _calculations() -> Iterator[Phrase]:
    words = language().texts["sums"]
    for name, forms in words["names"].items():
        for said in forms:
            text = f"{words['calculate']} {spoken(said)}"
            yield Phrase(text, f"=calculate {name}", "calculate", (("name", name),))


def _in_file_order() -> Iterable[str]:
    return dict.fromkeys(meaning.key for meaning in language().phrases.values())


def _universal(*keys: str, weight: str = "command") -> Iterator[Phrase]:
    for key in keys:
        for text in language().templates(key):
            meaning = language().phrases[text]
            yield Phrase(text, key, meaning.kind, meaning.fields, weight)


def current(plan: Plan, run: Run) -> Step | None:
    """The current step, None before the start and after the end."""
    return plan.step(run.at) if run.at else None


def _own(step: Step, run: Run) -> Iterator[Phrase]:
    """A step's own answers."""
    words = language().texts["step"]
    expects = step.expects
    weight = "gate" if step.gate else "command"
    if expects.confirmation is not None:
        text = spoken(expects.confirmation)
        live = language().phrases.get(text)
        if live and live.key in SAFETY:
            # "Power is on" is never only an answer: said too early it voids the proof.
            yield Phrase(text, live.key, live.kind, live.fields, weight)
        else:
            yield Phrase(text, f"={text}", "confirm", (("word", expects.confirmation),), weight)
    if expects.wait is not None:
        yield Phrase(words["wait"], "=wait", "confirm", (("word", "done"),))
    for answer in expects.choice or {}:
        text = spoken(answer)
        yield Phrase(text, f"={text}", "choice", (("answer", answer),), "value")
    if expects.tag is not None:
        texts = words["tag"] + (words["tag-off"] if step.proves == "lock-off" else [])
        for text in texts:
            yield Phrase(text, "=tag", "tag", (), "value")  # a number: read back and affirmed
    if expects.reading is not None:
        yield Phrase("{value}", "=value", "reading", (), "value")
        for special, forms in words["specials"].items():
            for form in forms:
                yield Phrase(form, f"={special}", "reading", (("special", special),), "value")
    if expects.challenge is not None:
        yield from _universal(expects.challenge, weight="gate")


def _landed(plan: Plan, step: Step) -> Iterator[Phrase]:
    """At a conductor of the terminal plan: where it was landed, if not where it should be."""
    rows = plan.job.terminals
    if planned(rows, step) is None or step.gate:
        return
    for strip in dict.fromkeys(strip_and_point(row.terminal)[0] for row in rows):
        if strip:
            said = language().texts["step"]["landed"].format(strip=strip)
            yield Phrase(
                f"{spoken(said)} {{digits}}", "=landed", "landed", (("strip", strip),), "value"
            )


def _instruments(plan: Plan, step: Step) -> Iterator[Phrase]:
    """Where a value is measured and the job has several instruments: the name of each."""
    for name, instrument in to_choose(plan, step).items():
        fields = (("id", instrument.id), ("name", name))
        for form in language().texts["step"]["instrument"]:
            text = form.format(name=spoken_instrument(name))
            yield Phrase(text, f"=instrument {instrument.id}", "instrument", fields, "value")


def spoken_instrument(name: str) -> str:
    """ "meter 12" as it is said: "meter one two"."""
    word, _, number = name.rpartition(" ")
    return f"{word} {digit_words(number)}"


def _corrections(plan: Plan, run: Run) -> Iterator[Phrase]:
    if correctable(plan, run) is not None:
        yield from _universal("correction-value", weight="value")
    step = plan.step(run.pending.step) if run.pending else current(plan, run)
    if step and step.expects.tag:
        yield from _universal("correction-digits", weight="value")


def correctable(plan: Plan, run: Run) -> Step | None:
    """The step whose reading a CORRECTION with a value would change, None if there is none."""
    if run.pending:
        step: Step | None = plan.step(run.pending.step)
        return step if step and step.expects.reading else None
    step = current(plan, run)
    last = run.readings.get(run.last_reading or "")
    if step and step.expects.reading and (run.failing or last is None or run.retaking == step.id):
        return step
    return plan.step(last.step) if last else None


def _sections(plan: Plan, step: Step | None) -> Iterator[Phrase]:
    """Where "go to" leads: sections near by; in a plan of several packs the packs by name."""
    go_to = language().texts["step"]["go-to"]
    packs = [part.name for part in plan.pack.parts if part.name not in FRAMES]
    near = {step.pack if step else "", *FRAMES}
    sections = [s.section for s in plan.steps if len(packs) < 2 or s.pack in near]
    names = [each.replace("-", " ") for each in packs] if len(packs) > 1 else []
    for section in dict.fromkeys((*sections, *names)):
        text = f"{go_to} {spoken(section)}"
        yield Phrase(text, f"={text}", "go-to", (("section", section),))


def universal(*keys: str) -> tuple[Phrase, ...]:
    """The phrases of some keys of the language file."""
    return tuple(_universal(*keys))


def unit_forms(*units: str) -> tuple[str, ...]:
    """Every spoken unit that a value in one of `units` may end with."""
    return _unit_words(units)


def universal_phrases() -> tuple[Phrase, ...]:
    """Every phrase of the language file, accepted now or not."""
    return tuple(_universal(*_in_file_order()))


# --- for the recogniser --------------------------------------------------------------------------


def expected(plan: Plan, run: Run) -> Expected:
    """What the recogniser is to listen for now.

    Returns
    -------
    Expected
        Templates in order (a step's own first), the unit words of every reading that can be
        given or corrected now, and the weights that are not "command".
    """
    phrases = accepted(plan, run)
    return Expected(
        templates=tuple(phrase.template for phrase in phrases),
        unit_words=_unit_words(_units_now(plan, run)),
        weights={p.template: p.weight for p in phrases if p.weight != "command"},
    )


def _units_now(plan: Plan, run: Run) -> tuple[str, ...]:
    if run.held:
        return ()
    if run.sum:
        asked = run.sum.asked()
        return (asked.unit,) if asked and asked.unit else ()
    answered = plan.step(run.pending.step) if run.pending else current(plan, run)
    steps = (answered, correctable(plan, run))
    specs = [step.expects.reading for step in steps if step and step.expects.reading]
    return tuple(dict.fromkeys(spec.unit for spec in specs))


@lru_cache(maxsize=256)
def _unit_words(units: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(
        form
        for form, name in spoken_units().items()
        if any(same_dimension(name, each) for each in units)
    )


# --- for people and for the check ----------------------------------------------------------------


def sentences(plan: Plan, run: Run) -> tuple[str, ...]:
    """Every accepted sentence: literals as they are, a slot filled with an example."""
    units = _units_now(plan, run)
    fills = {
        "value": f"{digit_words('24.1')} {unit_word(units[0]) if units else ''}".strip(),
        "digits": digit_words("47"),
        "free": "...",
        None: "",
    }
    out = []
    for phrase in accepted(plan, run):
        parts = template(phrase.template)
        out.append(" ".join((*parts.fixed, fills[parts.slot])).strip())
    return tuple(dict.fromkeys(out))


def sound_alike(templates: Iterable[str]) -> list[tuple[str, str]]:
    """Pairs of phrases that could be taken for one another; aliases of one meaning are no pair."""
    meanings = language().phrases
    named = ((t, meanings[t].key if t in meanings else f"={spoken(t)}") for t in templates)
    return list(_pairs(tuple(named)))


# One step is looked at alone, in the whole job, and at every door: its phrases are often the same.
@lru_cache(maxsize=4096)
def _pairs(named: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    said = [(text, key, spoken(text)) for text, key in named if template(text).slot is None]
    return tuple(
        (a, b)
        for place, (a, key_a, said_a) in enumerate(said)
        for b, key_b, said_b in said[place + 1 :]
        if key_a != key_b and alike(said_a, said_b)
    )


def alike_in_plan(plan: Plan) -> list[tuple[str, str, str]]:
    """(step id, phrase, phrase) for every pair of one step state that sounds alike.

    What is common to all steps is reported once, with the first step.
    """
    told: set[tuple[str, str]] = set()
    out = []
    for step in plan.steps:
        run = Run(ledger=Ledger(people=plan.job.people, pairs=()), at=step.id)
        named = tuple((phrase.template, phrase.key) for phrase in accepted(plan, run))
        for pair in _pairs(named):
            if pair not in told:
                told.add(pair)
                out.append((step.id, *pair))
    return out


def words_needed(plan: Plan) -> set[str]:
    """Every word that a recogniser must know for this plan, outside numbers."""
    needed: set[str] = set()
    for step in plan.steps:
        run = Run(ledger=Ledger(people=plan.job.people, pairs=()), at=step.id)
        for phrase in accepted(plan, run):
            needed |= set(template(phrase.template).fixed)
        for form in _unit_words(_units_now(plan, run)):
            needed |= set(form.split())
    for phrase in universal_phrases():
        needed |= set(template(phrase.template).fixed)
    return needed
