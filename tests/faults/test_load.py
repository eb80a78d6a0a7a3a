"""A guide that is wrong says where, what is wrong, and what would be right."""

import pytest

from assistant.errors import GuideError
from assistant.faults.load import parse_guide
from tests.faults.cases import ROOT, guide

HEAD = """\
title: Small guide
version: "1"
language: en
source: trade
sources: {trade: {title: Habit of the trade, kind: common-practice}}
likelihoods: {kind: "estimate, ours", note: made up}
wrong: 0.1
unlisted: 0.1
sure: 0.8
costs:
  to: {unknown: 0, isolated: 5, locked: 5, proven-dead: 20, energised: 3}
  asking: 1
  risk_weight: 0.3
options: [drive]
cautions: {motion: {word: DANGER, text: The door moves.}}
safe: Safe?
general_order: [one, two, three]
leave: {out-of-service: out, hold-to-run: hold, watch: watch}
always_retest: ["safety-tests:stop buttons"]
repairs: {fix: {needs: proven-dead, retests: [motor]}}
"""
SYMPTOMS = """\
- id: stands
  number: 1
  name: the door stands
  phrases: [door does not move]
  causes: {a-cause: 0.9, b-cause: 0.5}
  order: [look]
"""
CAUSES = """\
- {id: a-cause, name: a cause, weight: 2, repair: fix, fix: Fix it.}
- {id: b-cause, name: b cause, weight: 1, repair: fix, fix: Fix it.}
"""
CHECKS = """\
- id: look
  say: "Look at it. Is it whole?"
  why: It costs nothing.
  needs: unknown
  minutes: 1
  risk: 0
  answers: {"yes": it is whole, "no": it is broken}
  normal: "yes"
  sound: {"yes": 0.9}
  tells: {"a-cause, b-cause": {"no": 0.8}}
"""


def made(head=HEAD, symptoms=SYMPTOMS, causes=CAUSES, checks=CHECKS):
    texts = {"guide.yaml": head, "symptoms.yaml": symptoms, "causes.yaml": causes}
    return parse_guide({**texts, "checks.yaml": checks}, "small")


def test_a_small_guide_loads_and_a_row_for_two_causes_is_theirs_both():
    found = made()
    assert found.checks["look"].tells == {"a-cause": {"no": 0.8}, "b-cause": {"no": 0.8}}
    assert found.checks["look"].source.ref == "trade"


MOVES = "needs: energised\n  caution: motion\n  minutes: 1\n  risk: 1"
READING = """\
- id: ohms
  say: "Measure it. Ohms?"
  why: It tells.
  needs: proven-dead
  minutes: 1
  risk: 2
  reading: {name: x, unit: ohm, plausible: [0, 100]}
  bands: [5, 50]
  answers: {low: low, mid: mid, high: high}
  normal: mid
  sound: {mid: 0.9}
  tells: {a-cause: {low: 0.8}}
"""
WRONG = {
    "unknown-cause": (dict(symptoms=SYMPTOMS.replace("b-cause: 0.5", "c-cause: 0.5")),
                      r"small/symptoms.yaml:5: step 'stands': cause 'c-cause' is not known"),
    "unknown-check": (dict(symptoms=SYMPTOMS.replace("[look]", "[lok]")),
                      r"symptoms.yaml:6: step 'stands': check 'lok' is not known"),
    "cause-nobody-tells": (dict(checks=CHECKS.replace('"a-cause, b-cause"', "a-cause")),
                           "no check tells anything of cause 'b-cause'"),
    "cause-without-symptom": (dict(causes=CAUSES + CAUSES.splitlines()[0].replace("a-", "c-")),
                              r"causes.yaml:3: step 'c-cause': no symptom has this cause"),
    "unknown-repair": (dict(causes=CAUSES.replace("repair: fix,", "repair: mend,", 1)),
                       "repair 'mend' is not known; use fix"),
    "unknown-answer": (dict(checks=CHECKS.replace('{"no": 0.8}', "{maybe: 0.8}")),
                       r"checks.yaml:10: step 'look': row 'a-cause': 'maybe' is not among"),
    "more-than-one": (dict(checks=CHECKS.replace('{"no": 0.8}', '{"no": 0.8, "yes": 0.4}')),
                      "probabilities lie in 0 to 1 and sum to at most 1"),
    "less-than-one": (dict(checks=CHECKS.replace('{"no": 0.8}', '{"no": 0.5, "yes": 0.4}')),
                      "names every answer and sums to 0.9, not 1"),
    "normal-not-there": (dict(checks=CHECKS.replace('normal: "yes"', "normal: whole")),
                         "normal 'whole' is not among the answers"),
    "live-without-caution": (dict(checks=CHECKS.replace("needs: unknown", "needs: energised")),
                             "a check with the power on speaks its caution first"),
    "moves-from-outside": (dict(checks=CHECKS.replace("risk: 0", "risk: 1")),
                           "a check that moves the door needs 'energised'"),
    "hands-in-live": (dict(checks=CHECKS.replace("risk: 0", "risk: 2")),
                      "hands inside or beside a load need"),
    "measures-live-unsaid": (dict(checks=CHECKS.replace(
        "needs: unknown\n  minutes: 1\n  risk: 0", MOVES.replace("risk: 1", "risk: 3"))),
        "risk 3 is a live measurement"),
    "no-question": (dict(checks=CHECKS.replace("whole?", "whole.")),
                    "what is said ends with its question"),
    "answer-not-offered": (dict(checks=CHECKS.replace('"yes"', "whole").replace('"no"', "cut")),
                           "answer 'cut' isn't offered in what is said"),
    "too-long": (dict(checks=CHECKS.replace("Look at it.", "Look at it " + "again " * 45)),
                 "at most 45 are said in a breath"),
    "unknown-caution": (dict(checks=CHECKS.replace("risk: 0", "risk: 0\n  caution: bees")),
                        "caution 'bees' is not known; use motion"),
    "unknown-option": (dict(checks=CHECKS.replace("risk: 0", "risk: 0\n  options: [wings]")),
                       "option 'wings' is not in guide.yaml"),
    "placeholder": (dict(checks=CHECKS.replace("at it", "at {it}")),
                    "placeholder {it} is not known"),
    "same-id": (dict(checks=CHECKS + CHECKS), r"checks.yaml:11: step 'look': the id is used twice"),
    "two-rows": (dict(checks=CHECKS.replace('{"a-cause, b', '{b-cause: {"no": 0.1}, "a-cause, b')),
                 "cause 'b-cause' has two rows"),
    "bands-fall": (dict(checks=CHECKS + READING.replace("[5, 50]", "[50, 5]")),
                   r"bands \['50', '5'\] must rise"),
    "bands-short": (dict(checks=CHECKS + READING.replace("[5, 50]", "[5]")),
                    "1 edges make 2 answers"),
    "unit": (dict(checks=CHECKS + READING.replace("unit: ohm", "unit: omh")),
             "unit 'omh' is not known"),
    "calculator": (dict(checks=CHECKS + READING.replace("bands: [5, 50]", "calc: guess").replace(
        "{low: low, mid: mid, high: high}", "{below: low, within: mid}").replace(
        "normal: mid", "normal: within").replace("{mid: 0.9}", "{within: 0.9}").replace(
        "{low: 0.8}", "{below: 0.8}")), "calculator 'guess' is not known"),
    "watch-danger": (dict(causes=CAUSES.replace("weight: 2,", "weight: 2, danger: true,")),
                     "leaves the door out-of-service or hold-to-run"),
    "unmarked-figures": (dict(head=HEAD.replace('kind: "estimate, ours"', "kind: published")),
                         "Input should be 'estimate, ours'"),
    "not-yaml": (dict(causes="- {id: a"), "is not YAML here"),
    "unknown-key": (dict(causes=CAUSES.replace("weight: 2", "weight: 2, wieght: 2")), "'wieght'"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_with_a_guide_is_said_with_its_place(name):
    given, message = WRONG[name]
    with pytest.raises(GuideError, match=message.replace("{", r"\{")):
        made(**given)


BRIDGES = [
    "Bridge the edge's input and try. Does it close?",
    "Put a jumper across the stop terminals. Does it run?",
    "Bypass the beam for one run. Does it close?",
    "Override the loop. Does it close?",
    "Tape over the lens. Does it close?",
    "Never mind the beam. Bypass it for one run. Does it close?",
]


@pytest.mark.parametrize("say", BRIDGES)
@pytest.mark.parametrize("field", ["say", "why", "fix", "first", "answers"])
def test_a_guide_that_proposes_to_defeat_a_safety_device_is_refused(say, field):
    """In whatever text: an instruction, a reason, a repair, a first word, a finding."""
    given = {
        "say": dict(checks=CHECKS.replace("Look at it. Is it whole?", say)),
        "why": dict(checks=CHECKS.replace("It costs nothing.", f'"{say}"')),
        "fix": dict(causes=CAUSES.replace("Fix it.", f'"{say}"', 1)),
        "first": dict(symptoms=SYMPTOMS + f'  first: "{say}"\n'),
        "answers": dict(checks=CHECKS.replace("it is whole", f'"{say}"')),
    }[field]
    with pytest.raises(GuideError, match="proposes to defeat a device"):
        made(**given)


def test_a_sentence_that_forbids_it_is_let_through():
    made(causes=CAUSES.replace("Fix it.", '"Fix it. Never bridge it."', 1))


def test_all_forty_symptoms_are_in_each_with_causes_and_checks():
    """The trade list counts one to forty."""
    symptoms = sorted(guide().symptoms.values(), key=lambda each: each.number)
    assert [each.number for each in symptoms] == list(range(1, 41))
    assert all(len(each.causes) >= 3 and len(each.order) >= 3 for each in symptoms)


def test_figures_of_our_own_are_marked_as_such():
    assert guide().likelihoods.kind == "estimate, ours"
    for file in (ROOT / "steps" / "faults").glob("c*.yaml"):
        assert "estimates of ours" in file.read_text(encoding="utf-8"), file
