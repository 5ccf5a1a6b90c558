"""The force balance against a slow bisection that knows nothing of pieces, and its own invariants."""

from dataclasses import replace
from decimal import Decimal, localcontext
from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.devices.balance import (
    PAD_FADES,
    SEAT_FADES,
    RegulatorCondition,
    _root,
    relief_area,
    stand,
    valve_area,
)
from toolkit.devices.regulator import InternalRelief, Regulator, SecondSeat

ATMOSPHERE = 101_325.0
WORKER = Regulator().condition()


def bisected(c: RegulatorCondition, sensed: float, q: float, inlet: float, outlet: float) -> tuple[float, float]:
    """Lift and relief lift: the lift by bisection on what is left over of the forces; on a stop, the relief's too."""

    def push(z: float) -> float:
        case = q / (c.case_volume + c.area * z)
        return (sensed - case) * c.area * c.kept * (1 + c.growth * z) - c.preload + c.rate * z

    def resists(x: float) -> float:
        contact = c.seat_stiffness * max(0, c.seat_depth - x)
        contact += c.debris_stiffness * max(0, c.debris_height - x)
        return ((inlet - outlet) * c.unbalanced + contact) / c.lever

    def lifted(force: float) -> float:
        return min(c.relief_travel, max(0.0, (force - c.relief_preload) / c.relief_rate))

    low, high = c.lowest_lift, c.highest_lift
    for _ in range(80):
        x = 0.5 * (low + high)
        weak = push(c.lever * x - lifted(resists(x))) < resists(x)
        low, high = (x, high) if weak else (low, x)
    x = 0.5 * (low + high)
    if x - c.lowest_lift > 1e-9 and c.highest_lift - x > 1e-9:
        return x, lifted(resists(x))
    low, high = 0.0, c.relief_travel
    for _ in range(80):
        y = 0.5 * (low + high)
        strong = push(c.lever * x - y) > c.relief_preload + c.relief_rate * y
        low, high = (y, high) if strong else (low, y)
    return x, 0.5 * (low + high)


pressures = st.floats(0, 60_000)
conditions = st.builds(
    lambda height, stiffness, low, kept, relief: WORKER._replace(
        debris_height=height * 1.5e-3,
        debris_stiffness=stiffness,
        lowest_lift=low * 1.5875e-3,
        kept=kept,
        relief_preload=WORKER.relief_preload * relief,
    ),
    st.sampled_from([0.0, 0.05, 0.2, 0.9]),
    st.sampled_from([1e5, 2e6, 1e8]),
    st.sampled_from([0.0, 0.0, 0.0, 0.3, 1.0]),
    st.floats(0.3, 1.0),
    st.floats(0.01, 1.5),
)


@settings(max_examples=300, deadline=None)
@given(conditions, pressures, st.floats(-3000, 3000), st.floats(0, 7e5))
def test_balance_is_the_bisected_one(c, outlet, case, inlet):
    p2, p1 = ATMOSPHERE + outlet, ATMOSPHERE + inlet
    q = (ATMOSPHERE + case) * c.case_volume
    x, y, pv = stand(c, p2, q, p1, p2)
    x_slow, y_slow = bisected(c, p2, q, p1, p2)
    assert x == pytest.approx(x_slow, abs=1.1 * SEAT_FADES)
    assert y == pytest.approx(y_slow, abs=1.1 * PAD_FADES)
    assert pv == pytest.approx(q / (c.case_volume + c.area * (c.lever * x - y)), rel=1e-4)


@settings(max_examples=100, deadline=None)
@given(conditions, st.floats(0, 40_000), st.floats(1, 2_000), st.floats(0, 7e5))
def test_more_outlet_pressure_never_opens_the_disk_and_never_shuts_the_relief(c, outlet, more, inlet):
    # at the same pressure across the seat: the unbalanced force alone falls as the outlet rises
    q = ATMOSPHERE * c.case_volume
    a = stand(c, ATMOSPHERE + outlet, q, ATMOSPHERE + outlet + inlet, ATMOSPHERE + outlet)
    b = stand(c, ATMOSPHERE + outlet + more, q, ATMOSPHERE + outlet + more + inlet, ATMOSPHERE + outlet + more)
    assert b[0] <= a[0] + 1e-12
    assert b[1] >= a[1] - 1e-12


@given(st.sampled_from([0.0, 1e-4, 5e-4]), st.floats(0.05, 1))
def test_valve_area_has_no_jump_and_only_rises(height, edge):
    c = WORKER._replace(debris_height=height, debris_edge=edge)
    below, above = valve_area(c, height * (1 - 1e-9)), valve_area(c, height * (1 + 1e-9))
    assert above == pytest.approx(below, rel=1e-6, abs=1e-18)
    areas = [valve_area(c, i * 1e-5) for i in range(150)]
    assert areas == sorted(areas)
    assert areas[0] == 0.0
    assert areas[-1] < c.orifice


def test_a_second_seat_fades_shut_about_its_travel():
    """Without a corner, as the disk's own: a quarter of the last gap is left at its travel, nothing beyond."""
    c = Regulator(relief=None, second_seat=SecondSeat()).condition()
    wide = valve_area(c._replace(second_orifice=0.0), 1e-3)
    for beyond, gap in ((-1e-4, 1e-4), (-PAD_FADES, PAD_FADES), (0.0, PAD_FADES / 4), (PAD_FADES, 0.0), (1e-4, 0.0)):
        second = c.second_curtain * gap
        second *= c.second_orifice / sqrt(second**2 + c.second_orifice**2)
        expected = wide * second / sqrt(wide**2 + second**2)
        assert valve_area(c, 1e-3, c.second_travel + beyond) == pytest.approx(expected, rel=1e-6, abs=1e-18)


def test_relief_area_is_the_tear_when_shut_and_stays_under_port_plus_tear():
    c = WORKER._replace(hole=2e-6)
    assert relief_area(c, 0.0) == 2e-6
    assert relief_area(c, 1.0) == pytest.approx(c.relief_port + 2e-6, rel=1e-3)


@settings(deadline=None)
@given(st.floats(100, 4_000), st.floats(1_500, 40_000))
def test_relief_spring_caps_the_force_on_the_debris(start, outlet):
    """However high the outlet, the debris feels no more than the relief spring passes on, short of its stop."""
    regulator = replace(Regulator(), relief=InternalRelief(start_above_set=start))
    c = regulator.condition()._replace(debris_height=2e-4, debris_stiffness=1e8)
    p1, p2 = ATMOSPHERE + 413_685.0, ATMOSPHERE + outlet
    x, y, _ = stand(c, p2, ATMOSPHERE * c.case_volume, p1, p2)
    pressing = (c.debris_stiffness * max(0, c.debris_height - x) + (p1 - p2) * c.unbalanced) / c.lever
    if PAD_FADES < y < 0.999 * c.relief_travel and x < c.debris_height:
        assert pressing == pytest.approx(c.relief_preload + c.relief_rate * y, rel=1e-4)
    elif y <= PAD_FADES and x < c.debris_height:
        assert pressing <= c.relief_preload + c.relief_rate * PAD_FADES


@pytest.mark.parametrize("sensed", [-2_000.0, 0.0, 2_000.0, 50_000.0])
def test_the_root_keeps_its_digits_in_a_large_case(sensed):
    """The same quadratic, D(z) = f + s z, with fifty digits; nudges of the slopes are 1e-7 of a pressure."""
    c = WORKER._replace(case_volume=1.0, area=2e-3, rate=1e6, preload=5.0)
    wp, wq, f = c.area * (ATMOSPHERE + sensed), c.area * ATMOSPHERE * c.case_volume, 0.1
    z = _root(c, wp, wq, f, 0.0)
    with localcontext() as digits:
        digits.prec = 50
        p, q, area, growth, volume = (Decimal(n) for n in (wp, wq, c.area, c.growth, c.case_volume))
        slope, level = p * growth + Decimal(c.rate), p - Decimal(c.preload) - Decimal(f)
        a, b, k = slope * area, level * area + slope * volume - q * growth, level * volume - q
        exact = ((b * b - 4 * a * k).sqrt() - b) / (2 * a)
    assert z == pytest.approx(float(exact), rel=1e-10, abs=0.0)
