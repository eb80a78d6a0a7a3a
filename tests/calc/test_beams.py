"""Where a beam may be ignored, against the trade's rule."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.errors import RangeError


def value(result, name):
    return float(result.values[name].value)


@pytest.mark.parametrize(
    ("beam", "low", "good", "high"),
    [
        # 25 to 50 mm (1 to 2 in) above the beam, never above 75 (common practice, no source).
        ("300 mm", 325, 350, 375),
        # Top of the lens not over 6 in (published, S46).
        ("6 in", 177.4, 202.4, 227.4),
    ],
)
def test_window_lies_above_the_beam(work, beam, low, good, high):
    found = work("beam-disable-position", beam=beam)
    assert float(found.at_least.value) == pytest.approx(low)
    assert value(found, "good") == pytest.approx(good)
    assert float(found.at_most.value) == pytest.approx(high)


def test_the_edge_is_tested_again_at_50_mm_and_at_half_the_beams_height(work):
    """standards.md D.8 (common practice, no source)."""
    found = work("beam-disable-position", beam="300 mm")
    assert (value(found, "retest-low"), value(found, "retest-middle")) == (50, 150)


def test_a_quick_door_needs_the_way_it_goes_during_the_delay(work):
    """0.8 m/s x 0.05 s = 40 mm by hand; 0.5 m/s x 0.04 s = 20 mm is below the 25 mm."""
    quick = work("beam-disable-position", beam="300 mm", speed="0.8 m/s", delay="0.05 s")
    assert float(quick.at_least.value) == 340
    slow = work("beam-disable-position", beam="300 mm", speed="0.5 m/s", delay="0.04 s")
    assert float(slow.at_least.value) == 325
    with pytest.raises(RangeError, match="75 mm or less: close more slowly"):
        work("beam-disable-position", beam="300 mm", speed="1 m/s", delay="0.08 s")


@given(st.integers(50, 2000), st.integers(0, 75))
def test_window_never_turns_round_nor_leaves_the_75_mm(beam, moved):
    given_ = {
        "beam": f"{beam} mm",
        "speed": "1 m/s",
        "delay": f"{moved / 1000} s",
    }
    found = calculate("beam-disable-position", given_)
    lowest, good, highest = (found.values[n].value for n in ("lowest", "good", "highest"))
    assert beam + 25 <= lowest <= good <= highest == beam + 75


@pytest.mark.parametrize(
    ("beam", "valid"),
    [("0 mm", "from 50 to 2000 millimetre"), ("3 m", "from 50"), ("3 V", "given in millimetre")],
)
def test_what_is_no_beam_is_refused(work, beam, valid):
    with pytest.raises(RangeError, match=valid):
        work("beam-disable-position", beam=beam)
