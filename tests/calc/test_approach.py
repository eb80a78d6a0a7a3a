"""Stopping ways, guard distances and sensor reach against road tables, ISO 13855 and scipy."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, integrate

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity


def value(result, name, unit=None):
    found = result.values[name]
    return float((found.to(unit) if unit else found).value)


@pytest.mark.parametrize(
    ("speed", "reaction", "braking", "mm", "seconds"),
    [
        # standards.md E.4, E11 to E14 (derived).
        ("1.0 m/s", "0.05 s", "2.0 m/s2", 300.0, 0.550),
        ("0.5 m/s", "0.05 s", "1.5 m/s2", 108.3, 0.383),
        ("0.2 m/s", "0.10 s", "0.8 m/s2", 45.0, 0.350),
    ],
)
def test_a_door_stops_within_the_worked_way(work, speed, reaction, braking, mm, seconds):
    found = work("stopping-distance", speed=speed, reaction=reaction, braking=braking)
    assert value(found, "distance", "millimetre") == pytest.approx(mm, abs=0.05)
    assert value(found, "time") == pytest.approx(seconds, abs=5e-4)


@pytest.mark.parametrize(
    ("mph", "feet"),
    # AASHTO Green Book, stopping sight distance as calculated, 2.5 s and 11.2 ft/s2 (from memory).
    [(20, 111.9), (30, 196.7), (40, 300.6), (60, 566.0)],
)
def test_stopping_distance_agrees_with_the_road_builders_table(work, mph, feet):
    braking = f"{11.2 * constants.foot:.6f} m/s2"
    found = work("stopping-distance", speed=f"{mph} mph", reaction="2.5 s", braking=braking)
    assert value(found, "distance", "foot") == pytest.approx(feet, rel=3e-3)


def test_stopping_agrees_with_speed_integrated_by_scipy(work):
    speed, reaction, braking = 2.2, 0.7, 1.6
    end = reaction + speed / braking

    def still(t):
        return speed if t < reaction else speed - braking * (t - reaction)

    way, _ = integrate.quad(still, 0, end, points=[reaction])
    found = work("stopping-distance", speed="2.2 m/s", reaction="0.7 s", braking="1.6 m/s2")
    assert value(found, "distance") == pytest.approx(way)
    assert value(found, "time") == pytest.approx(end)


def test_at_rest_nothing_is_left_to_stop(work):
    found = work("stopping-distance", speed="0 m/s", reaction="1 s", braking="1 m/s2")
    assert value(found, "distance") == value(found, "time") == 0


@given(
    st.decimals("1", "300", places=1),
    st.decimals("0", "1", places=2),
    st.decimals("0.1", "10", places=1),
)
def test_an_edges_speed_stops_exactly_within_its_give(give, reaction, braking):
    rest = {
        "reaction": Quantity(reaction, "second"),
        "braking": Quantity(braking, "metre-per-second-squared"),
    }
    found = calculate("edge-closing-speed", {"give": Quantity(give, "millimetre"), **rest})
    back = calculate("stopping-distance", {"speed": found.at_most, **rest})
    assert value(back, "distance", "millimetre") == pytest.approx(float(give))


def test_edge_speed_turns_the_worked_stops_round(work):
    """standards.md E11 and E14 read from way to speed (derived)."""
    for give, reaction, braking, speed in (
        ("300 mm", "0.05 s", "2 m/s2", 1.0),
        ("45 mm", "0.1 s", "0.8 m/s2", 0.2),
        ("0 mm", "0.1 s", "0.8 m/s2", 0.0),
    ):
        found = work("edge-closing-speed", give=give, reaction=reaction, braking=braking)
        assert float(found.at_most.value) == pytest.approx(speed)


@pytest.mark.parametrize(
    ("stop", "guard", "resolution", "mm"),
    [
        # standards.md D7 to D11 (derived from ISO 13855's formula, which a page states).
        ("0.320 s", "field", "14 mm", 512),
        ("0.165 s", "field", "14 mm", 330),
        ("0.165 s", "field", "30 mm", 458),
        ("0.250 s", "field", "30 mm", 528),
        ("0.30 s", "multi-beam", "30 mm", 1330),
        # Limits of the formula itself: at least 100 mm, at least 500 mm once K is 1600.
        ("0 s", "field", "14 mm", 100),
        ("0.26 s", "field", "14 mm", 500),
        ("0.30 s", "single-beam", "30 mm", 1680),  # 1200 mm from memory
    ],
)
def test_guard_distance_follows_iso_13855(work, stop, guard, resolution, mm):
    found = work("guard-distance", stop=stop, guard=guard, resolution=resolution)
    assert float(found.at_least.value) == pytest.approx(mm)
    assert found.kind == ("from-memory" if guard == "single-beam" else "published")


@given(
    st.sampled_from(["field", "multi-beam", "single-beam"]),
    st.decimals("0", "0.24", places=3),
)
def test_a_slower_stop_never_allows_a_nearer_guard(guard, stop):
    def run(seconds):
        given_ = {"stop": Quantity(seconds, "second"), "guard": guard, "resolution": "14 mm"}
        return calculate("guard-distance", given_).at_least.value

    assert run(stop + stop / 100) >= run(stop)


def test_reach_lets_the_door_open_before_the_truck_comes(work):
    """Hand-worked: 2 m/s x (0.5 + 3) s + 1 m = 8 m; to stop 2 + 4/3 + 1 = 4.33 m."""
    found = work("sensor-reach", speed="2 m/s", opening="3 s")
    assert value(found, "open-in-time") == pytest.approx(8)
    assert value(found, "stopping") == pytest.approx(2 + 4 / 3 + 1)
    assert float(found.at_least.value) == 8
    assert not found.warnings


def test_stopping_decides_where_the_door_is_quicker_than_the_brake(work):
    """AASHTO's calculated 196.7 ft at 30 mph (from memory) against a door that opens in 1 s."""
    found = work(
        "sensor-reach",
        speed="30 mph",
        opening="1 s",
        delay="0 s",
        clearance="0 m",
        reaction="2.5 s",
        braking=f"{11.2 * constants.foot:.6f} m/s2",
    )
    assert float(found.at_least.to("foot").value) == pytest.approx(196.7, rel=3e-3)
    assert "stop decides" in found.warnings[0]


@given(st.decimals("0.5", "8", places=2), st.decimals("0.5", "30", places=1))
def test_the_speed_on_the_sign_needs_exactly_the_sensors_reach(speed, opening):
    times = {"opening": Quantity(opening, "second")}
    reach = calculate("sensor-reach", {"speed": Quantity(speed, "metre-per-second"), **times})
    in_time = reach.values["open-in-time"]
    if in_time.value <= 100:
        back = calculate("approach-speed", {"reach": in_time, **times})
        assert float(back.at_most.value) == pytest.approx(float(speed))


def test_speeds_in_american_and_metric_units_are_the_same(work):
    """5 mph is 2.2352 m/s (exact: 1609.344 m an hour) and 8.04672 km/h."""
    for speed in ("5 mph", "2.2352 m/s", "8.04672 km/h", "88 in/s", f"{22 / 3:.9f} ft/s"):
        found = work("sensor-reach", speed=speed, opening="3 s")
        assert value(found, "open-in-time") == pytest.approx(3.5 * 5 * constants.mph + 1)
    assert math.isclose(constants.mph, 0.44704)


def test_a_sensor_within_the_clearance_allows_no_speed(work):
    assert value(work("approach-speed", reach="0.5 m", opening="3 s"), "speed") == 0


@pytest.mark.parametrize(
    ("name", "given_", "valid"),
    [
        (
            "stopping-distance",
            {"speed": "-1 m/s", "reaction": "1 s", "braking": "1 m/s2"},
            "from 0 to 40 metre-per-second",
        ),
        (
            "stopping-distance",
            {"speed": "1 m/s", "reaction": "1 s", "braking": "0 m/s2"},
            "from 0.05 to 20",
        ),
        ("guard-distance", {"stop": "0.2 s", "resolution": "50 mm"}, "from 14 to 40 millimetre"),
        ("guard-distance", {"stop": "0.2 s", "guard": "rope"}, "field, multi-beam, single-beam"),
        ("sensor-reach", {"speed": "0 m/s", "opening": "3 s"}, "from 0.1 to 15"),
        ("sensor-reach", {"speed": "2 m", "opening": "3 s"}, "given in metre-per-second"),
    ],
)
def test_what_is_no_approach_is_refused(work, name, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work(name, **given_)
