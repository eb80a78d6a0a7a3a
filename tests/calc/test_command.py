"""Sums by command, with values written as a technician says them."""

import json

import pytest

from assistant import cli

DROP = ["voltage-drop", "current=9.5 A", "phases=single-phase"]


def run(capsys, *words):
    """(exit status, output, errors) of `thirdhand calc`."""
    status = cli.main(["calc", *words])
    out, err = capsys.readouterr()
    return status, out, err


def test_voltage_drop_in_feet_and_gauge_prints_its_working_and_source(capsys):
    """By hand from table 9: 2 x 9.5 A x (2.0 x 0.85 + 0.068 x 0.527) x 0.085 = 2.803 V."""
    status, out, _ = run(capsys, *DROP, "length=85 ft", "section=12 AWG", "volts=230 V")
    assert status == 0
    assert "drop = 2 x 9.5 A x 1.736 ohm x 0.085 thousand feet = 2.803 V" in out
    assert "within the limit of 3 %" in out
    assert "source: NEC chapter 9, table 9 (published)" in out


def test_voltage_drop_in_metres_and_square_millimetres_as_json(capsys):
    """B22 of the trade facts: 6.197 V, 2.694 percent of 230 V."""
    inputs = ("length=45 m", "section=2.5 mm2", "volts=230 V", "power-factor=0.8")
    status, out, _ = run(capsys, *DROP, *inputs, "--json")
    found = json.loads(out)
    assert status == 0
    assert float(found["values"]["drop"]["value"]) == pytest.approx(6.197, rel=0.001)
    assert found["values"]["drop"]["unit"] == "volt"
    assert float(found["at_most"]["value"]) == pytest.approx(6.9)
    assert found["words"] == {"verdict": "within the limit"}
    assert found["kind"] == "from-memory"
    assert "unverified default, confirm with the adopted code" in found["warnings"]


def test_a_size_that_is_a_word_is_in_the_json(capsys):
    """Published example: 1 hp on 115 V, 16 A: 12 AWG."""
    words = ("branch-conductor", "current=16 A", "code-set=american", "--json")
    _, out, _ = run(capsys, *words)
    assert json.loads(out)["words"] == {"section": "12 AWG"}


def test_lists_and_several_sizes_are_given_in_one_word(capsys):
    """C4 and B27 of the trade facts."""
    _, out, _ = run(capsys, "control-transformer", "loads=3.0 VA, 2.5 VA, 2.0 VA, 2.4 VA, 7.2 VA")
    assert "17.1 VA" in out and "21.38 VA" in out
    _, out, _ = run(capsys, "conduit-fill", "size=3/4", "conductors=3 x 8 AWG + 1 x 10 AWG")
    assert "24.56 %" in out


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        ("length=-85 ft", "length is -85 ft; it must be from 0 to 2000 metre"),
        ("section=13 AWG", "section is 13 AWG; it must be one of 14, 12, 10"),
        ("phases=three-phase", "volts is 120 V, a single-phase voltage; it must be measured"),
    ],
)
def test_a_wrong_input_gets_one_sentence_with_the_valid_range(capsys, bad, message):
    sound = {"length": "85 ft", "section": "12 AWG", "volts": "120 V", "phases": "single-phase"}
    name, _, value = bad.partition("=")
    words = [f"{key}={each}" for key, each in {**sound, name: value}.items()]
    status, out, err = run(capsys, "voltage-drop", "current=9.5 A", *words)
    assert status in (1, 2) and out == ""
    assert message in err and len(err.strip().splitlines()) == 1
