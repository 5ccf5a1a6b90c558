"""The choosing table: every layer against every failure, by simulation; closed forms where there are some."""

from dataclasses import replace

import pytest

from toolkit.choosing import FAILURES, LAYERS, Row, base_station, compare, markdown
from toolkit.devices.line import Load
from toolkit.devices.regulator import Regulator
from toolkit.errors import ScenarioError
from toolkit.layers import layers_at
from toolkit.scenario import Station
from toolkit.trace import time_above
from toolkit.units import IN_WC, PSI, SCF

STUCK, SLOW, VENT, LINE, SLUG, SUN = FAILURES


@pytest.fixture(scope="module")
def rows() -> dict[str, Row]:
    return {row.layer: row for row in compare()}


def cell(rows, layer, failure):
    return next(one for one in rows[layer].cells if one.failure == failure)


def test_every_layer_meets_every_failure_that_can_strike_it(rows):
    assert list(rows) == list(LAYERS)
    assert len(LAYERS) == 11
    for row in rows.values():
        two = row.layer.startswith(("monitor", "second seat"))
        assert [one.failure for one in row.cells] == [name for name in FAILURES if two or name != SLUG]


def test_the_limit_is_the_fuel_gas_code_s(rows):
    # NFPA 54 5.9 and IFGC 416, from memory: 2 psi at appliances made for 14 in. w.c., supply above 2 psi.
    assert {row.limit_gauge_pressure for row in rows.values()} == {2 * PSI}


def test_it_is_the_same_each_time(rows):
    names = ["relief valve", "monitor, wide open"]
    assert compare(layers=names) == tuple(rows[name] for name in names)


def test_without_a_layer_the_supply_s_pressure_comes_through(rows):
    assert cell(rows, "none", STUCK).peak == pytest.approx(60 * PSI, rel=0.01)
    assert cell(rows, "none", STUCK).acted == ()
    assert set(rows["none"].defeated_by) == {STUCK, SLOW, VENT, LINE}


def test_grit_that_yields_seals_where_the_closed_form_says(rows):
    # lock-up p2g = (L F0 + p1g Au + kseat xc + kd hd)/(L A0 + Au)
    r = base_station().regulators[0]
    forces = r.lever_ratio * r.spring_preload + 60 * PSI * r.unbalanced_area + r.seat_stiffness * r.seat_depth
    expected = (forces + 1e8 * 2e-5) / (r.lever_ratio * r.diaphragm_area + r.unbalanced_area)
    assert cell(rows, "none", SLOW).peak == pytest.approx(expected, rel=0.01)


def test_locked_in_gas_rises_with_its_temperature(rows):
    # dp = p dT/T from the worker's lock-up, 7.8 in. w.c.
    p = 101_325 + 7.8 * IN_WC
    for layer in ("none", "second seat", "monitor, wide open", "slam-shut"):
        assert cell(rows, layer, SUN).peak == pytest.approx(7.8 * IN_WC + 0.07 * p, rel=0.01)
    # A relief lets it off at its start and no more.
    assert cell(rows, "internal relief", SUN).peak == pytest.approx(16 * IN_WC, rel=0.02)
    assert cell(rows, "relief valve", SUN).peak == pytest.approx(22 * IN_WC, rel=0.02)
    # Nobody is in danger, and the slam-shut takes the service away.
    assert not cell(rows, "slam-shut", SUN).defeated
    assert not cell(rows, "slam-shut", SUN).served
    assert cell(rows, "none", SUN).served


def test_a_cause_that_takes_two_seats_defeats_what_stands_in_series(rows):
    for layer in ("second seat", "monitor, wide open", "monitor, working"):
        assert cell(rows, layer, SLUG).defeated
        assert not cell(rows, layer, STUCK).defeated
    assert not cell(rows, "monitor and slam-shut", SLUG).defeated


def test_a_layer_on_the_worker_s_own_diaphragm_shares_its_vent_and_its_line(rows):
    for layer in ("internal relief", "second seat"):
        assert {VENT, LINE} <= set(rows[layer].defeated_by)
    for layer in ("monitor, wide open", "relief valve"):
        assert not {VENT, LINE} & set(rows[layer].defeated_by)
    # The blocked vent turns the relief: the disk is pushed open, farther than with no layer at all.
    assert cell(rows, "internal relief", VENT).peak > 3 * cell(rows, "none", VENT).peak


def test_an_internal_relief_passes_a_small_leak_and_not_a_wide_open_seat(rows):
    assert not cell(rows, "internal relief", SLOW).defeated
    assert 16 * IN_WC < cell(rows, "internal relief", SLOW).peak < 18 * IN_WC
    assert cell(rows, "internal relief", STUCK).defeated


def test_burners_locked_out_do_not_lower_the_pressure(rows):
    locked, none = (cell(rows, layer, STUCK) for layer in ("high switch, locks out burners", "none"))
    assert locked.peak == pytest.approx(none.peak, rel=0.01)
    assert (locked.served, locked.reset, none.served) == (False, True, True)


def test_a_shutoff_needs_its_time(rows):
    # 0.5 s response and 0.2 s closing, while a seat goes wide open in 5 s; a lower trip is in time for more.
    slam, switched = (rows[layer] for layer in ("slam-shut", "high switch, trips slam-shut"))
    assert STUCK in slam.defeated_by
    assert 0 < cell(rows, "slam-shut", STUCK).above < 10
    assert set(switched.defeated_by) < set(slam.defeated_by)
    assert not cell(rows, "slam-shut", SLOW).defeated


def test_what_is_let_off_and_what_is_kept(rows):
    relief, monitor = cell(rows, "relief valve", STUCK), cell(rows, "monitor, wide open", STUCK)
    assert relief.served
    assert monitor.served
    # Some 0.02 standard m3/s for a thousand seconds; a monitor lets nothing off.
    assert 15 < relief.vented < 30
    assert abs(monitor.vented) < 1e-3
    # The torn line itself lets off less than that.
    assert 1e-3 < cell(rows, "monitor, wide open", LINE).vented < relief.vented
    for layer, row in rows.items():
        for one in row.cells:
            assert one.defeated == (one.peak > row.limit_gauge_pressure)
            assert (one.above > 0) == one.defeated
            assert one.reset <= ("slam-shut" in layer or "switch" in layer)
            assert not (one.reset and one.served)


def test_a_relief_before_a_slam_shut_keeps_the_service(rows):
    pair = rows["relief valve and slam-shut"]
    assert pair.defeated_by == ()
    assert not any(one.reset for one in pair.cells)


def test_layers_are_built_as_their_names_say():
    base = compare_base()
    for name, build in LAYERS.items():
        found = layers_at(build(base), "outlet")
        assert bool(found.monitors) == name.startswith("monitor")
        assert bool(found.relief_valves) == ("relief valve" in name)
        assert bool(found.slam_shuts) == ("slam-shut" in name)
        assert bool(found.switches) == ("switch" in name)
        assert bool(found.worker.relief) == (name == "internal relief")
        assert bool(found.worker.second_seat) == (name == "second seat")
        assert bool(found.feeders) == (name == "monitor, working")


def compare_base() -> Station:
    """The base as the table builds on it, with a sensing line for its worker."""
    from toolkit.choosing import _checked

    return _checked(base_station())


# The page


def test_the_page_shows_what_the_rows_say(rows):
    page = markdown(tuple(rows.values()), "us")
    lines = page.splitlines()
    assert sum(line.startswith("|---") for line in lines) == 3
    stuck = next(line for line in lines if line.startswith("| none |"))
    assert "**60." in stuck
    assert stuck.count("|") == len(FAILURES) + 2
    assert "- |" in stuck
    assert "| relief valve | none of these |" in page
    assert f"| monitor, wide open | {SLUG} |" in page
    vented = cell(rows, "relief valve", STUCK).vented / SCF
    assert f"{vented:,.0f} scf" in page
    assert page.count("reset by hand") == sum(one.reset for row in rows.values() for one in row.cells)
    metric = markdown(tuple(rows.values()), "metric")
    assert "mbar" in metric
    assert "m³" in metric
    assert "in. w.c." not in metric
    assert "scf" not in metric


def test_time_above_is_counted_between_the_points():
    # A triangle from 0 to 10 and back in 20 s stands above 4 for 12 s.
    assert time_above([0, 10, 20], [0, 10, 0], 4) == pytest.approx(12)
    assert time_above([0, 10, 20], [0, 10, 10], 5) == pytest.approx(15)
    assert time_above([0, 10], [1, 2], 3) == 0
    assert time_above([0, 10], [4, 4], 3) == pytest.approx(10)
    with pytest.raises(ScenarioError):
        time_above([0], [1], 3)


@pytest.mark.parametrize(
    ("base", "field"),
    [
        (Station(regulators=(Regulator(name="worker"),)), "base.regulators"),
        (Station(regulators=(Regulator(relief=None),)), "base.regulators"),
        (replace(base_station(), loads=()), "base.loads"),
        (replace(base_station(), loads=(Load(at="inlet"),)), "base.loads"),
        (LAYERS["relief valve"](base_station()), "base"),
    ],
)
def test_another_base_is_refused(base, field):
    with pytest.raises(ScenarioError) as error:
        compare(base)
    assert error.value.field == field


def test_an_unknown_layer_and_no_rows_are_refused():
    with pytest.raises(ScenarioError, match="one of none, internal relief"):
        compare(layers=["moniter"])
    with pytest.raises(ScenarioError):
        markdown((), "us")


def test_the_limit_follows_the_base():
    # At 14 in. w.c. appliances and a supply of 2 psi the code demands no device: their own rating counts.
    low = base_station()
    low = replace(
        low,
        supply=replace(low.supply, gauge_pressure=1.9 * PSI),
        regulators=(replace(low.regulators[0], adjusted_at_inlet_gauge_pressure=1.9 * PSI),),
    )
    (row,) = compare(low, ["none"])
    assert row.limit_gauge_pressure == 14 * IN_WC
