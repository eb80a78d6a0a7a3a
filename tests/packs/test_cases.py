"""Every dialogue under steps/*/cases comes out as written."""

import pytest
from ruamel.yaml import YAML

from tests.packs.cases import STEPS, Played

CASES = sorted(STEPS.glob("*/cases/*.yaml"))


@pytest.mark.parametrize("path", CASES, ids=lambda p: f"{p.parents[1].name}/{p.stem}")
def test_dialogue_comes_out_as_written(path):
    case = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    assert set(case) <= {"job", "about", "taken", "turns"}
    played = Played.start(path.parents[1].name, case["job"], case.get("taken"))
    for place, turn in enumerate(case["turns"], 1):
        try:
            played.turn(turn)
        except AssertionError as problem:
            pytest.fail(f"{path.name}, turn {place} {dict(turn)}: {problem}", pytrace=False)
    assert any("expect" in turn for turn in case["turns"])
    wrong = [each for each in case["turns"] if not isinstance(each, dict)]
    assert not wrong


def test_there_are_cases():
    assert len(CASES) >= 4
