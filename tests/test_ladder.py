"""The ladder of set points: closed forms, the layers found by name, and every wrong order constructed and found."""

from dataclasses import replace

import pytest
from layered import LINE, PLAIN, R, everything, monitored, with_relief_valve, with_second_seat, with_slam_shut
from scipy.optimize import brentq

from toolkit.devices.balance import stand, valve_area
from toolkit.devices.line import Pipe
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.relief_valve import ReliefValve
from toolkit.errors import ScenarioError
from toolkit.flow import nozzle
from toolkit.ladder import KINDS, Finding, Rung, findings, ladder, rung, take_over_gauge_pressure
from toolkit.layers import alone, layers_at, settled_run
from toolkit.scenario import Station, Volume
from toolkit.station_file import shipped_station
from toolkit.units import IN_WC, PSI


def of(rungs: tuple[Rung, ...], kind: str) -> Rung:
    (one,) = [one for one in rungs if one.kind == kind]
    return one


def monitored_with(**parts) -> Station:
    return replace(monitored(), **parts)


# Closed forms: physics of the balance, written out here once more from the forces


def lock_up_by_hand(r, inlet: float) -> float:
    opening = r.lever_ratio * r.spring_preload + inlet * r.unbalanced_area + r.seat_stiffness * r.seat_depth
    return opening / (r.lever_ratio * r.diaphragm_area + r.unbalanced_area)


def test_lock_up_is_the_closed_form_at_the_highest_inlet():
    usual = ladder(Station(), "outlet")
    assert of(usual, "lock_up").gauge_pressure == pytest.approx(lock_up_by_hand(R, 60 * PSI), rel=1e-6)
    high = ladder(Station(), "outlet", highest_supply_gauge_pressure=100 * PSI)
    rise = of(high, "lock_up").gauge_pressure - of(usual, "lock_up").gauge_pressure
    effect = R.unbalanced_area / (R.lever_ratio * R.diaphragm_area + R.unbalanced_area)
    assert rise == pytest.approx(effect * 40 * PSI, rel=1e-6)
    # What the worker holds under flow is that of the usual supply.
    for kind in ("normal_full", "normal_low"):
        assert of(high, kind) == of(usual, kind)


def test_lock_up_is_where_a_run_ends():
    end = settled_run(Station(), 0.0).settled("outlet_gauge_pressure")
    assert of(ladder(Station(), "outlet"), "lock_up").gauge_pressure == pytest.approx(end, rel=5e-3)


def test_the_internal_relief_starts_where_its_springs_say():
    start = of(ladder(Station(), "outlet"), "relief_start")
    by_hand = (R.spring_preload + R.relief_preload) / R.diaphragm_area
    assert start.gauge_pressure == pytest.approx(by_hand, rel=1e-9)
    assert start.gauge_pressure == pytest.approx(R.set_gauge_pressure + 9 * IN_WC, rel=1e-9)


def test_what_an_internal_relief_holds_may_be_off_as_far_as_its_start():
    # By hand: a tenth of where it begins, not of what it ends at. The tenth is engineering judgement.
    held = of(ladder(Station(), "outlet"), "relief_held")
    off = 0.1 * (R.spring_preload + R.relief_preload) / R.diaphragm_area
    assert (held.low, held.high) == pytest.approx((held.gauge_pressure - off, held.gauge_pressure + off), rel=1e-9)


def test_a_monitor_takes_over_where_its_disk_leaves_the_stop():
    monitor = layers_at(monitored(), "outlet").monitors[0]
    c, pa = monitor.condition(), 101_325.0
    take_over = take_over_gauge_pressure(c)
    by_hand = (monitor.spring_preload - monitor.spring_rate * monitor.lever_ratio * monitor.travel) / (
        monitor.diaphragm_area * (1 + monitor.area_growth)
    )
    assert take_over == pytest.approx(by_hand, rel=1e-9)
    assert of(ladder(monitored(), "outlet"), "take_over").gauge_pressure == take_over
    # The force balance, its case at the atmosphere's pressure and no pressure across the wide-open disk.
    gas = pa * (c.case_volume + c.area * c.lever * c.highest_lift)
    below, above = (stand(c, pa + take_over + off, gas, 5e5, 5e5)[0] for off in (-20.0, 20.0))
    assert below == monitor.travel
    assert above < monitor.travel  # only by little: the gas in the case is held, and acts as a spring


def test_a_monitor_holds_its_own_lock_up_when_the_worker_stands_wide_open():
    monitor = layers_at(monitored(), "outlet").monitors[0]
    held = of(ladder(monitored(), "outlet"), "monitor_held").gauge_pressure
    # At low load it stands a little below the lock-up, as the worker does.
    assert held == pytest.approx(lock_up_by_hand(monitor, 60 * PSI), rel=0.03)
    assert held < lock_up_by_hand(monitor, 60 * PSI)


def test_a_second_seat_holds_where_its_overtravel_is_used_up():
    station = with_second_seat()
    regulator, pa = station.regulators[0], 101_325.0
    held = of(ladder(station, "outlet"), "second_seat_held").gauge_pressure
    c = regulator.condition()._replace(lowest_lift=regulator.travel)

    def overtravel(gauge: float) -> float:
        gas = pa * (c.case_volume + c.area * (c.lever * c.highest_lift - regulator.second_seat.travel))
        return stand(c, pa + gauge, gas, pa + 60 * PSI, pa + gauge)[1] - regulator.second_seat.travel

    assert held >= brentq(overtravel, 1 * IN_WC, 60 * IN_WC) * 0.99
    assert held < of(ladder(Station(), "outlet"), "relief_held").gauge_pressure


def test_a_relief_valve_s_pressure_is_where_it_passes_what_the_worker_passes():
    station = with_relief_valve(stack_bore=0.5)
    valve, pa = station.relief_valves[0], station.atmosphere
    law = nozzle(station.gas.heat_ratio, station.rt)
    trace = settled_run(alone(station, "outlet"), 0.0)
    inlet = trace.settled("inlet_gauge_pressure") + pa
    worker = law(valve_area(PLAIN.condition(), PLAIN.travel), inlet, pa + 25 * IN_WC)

    def short(gauge: float) -> float:
        lift = min(1.0, (gauge - valve.set_gauge_pressure) / (valve.build_up * valve.set_gauge_pressure))
        return law(valve.flow_area * lift, pa + gauge, pa) - worker

    expected = brentq(short, valve.set_gauge_pressure, 40 * IN_WC)
    held = of(ladder(station, "outlet"), "valve_held").gauge_pressure
    # 1 %: under flow the inlet pipe costs the worker a little of its inlet pressure.
    assert held == pytest.approx(expected, rel=0.01)
    assert held > of(ladder(station, "outlet"), "valve_set").gauge_pressure == valve.set_gauge_pressure


def test_bands_come_from_the_devices_own_accuracy():
    rungs = ladder(with_slam_shut(high_gauge_pressure=5000.0, low_gauge_pressure=800.0, accuracy=0.1), "outlet")
    high, low = of(rungs, "slam_shut_high"), of(rungs, "slam_shut_low")
    assert (high.low, high.gauge_pressure, high.high) == pytest.approx((4500, 5000, 5500))
    assert (low.low, low.gauge_pressure, low.high) == pytest.approx((720, 800, 880))
    assert [one.gauge_pressure for one in rungs] == sorted(one.gauge_pressure for one in rungs)
    assert all(one.name.strip() and one.kind in KINDS and one.low <= one.gauge_pressure <= one.high for one in rungs)


def test_limit_and_ratings_are_rungs_where_they_are_given():
    found = shipped_station("bakery")
    maxima = {"deck_oven_regulator": 5 * PSI, "service_regulator": 125 * PSI}
    rungs = ladder(found.scenario.station, "house_line", limit_gauge_pressure=4 * PSI, inlet_maxima=maxima)
    assert of(rungs, "limit").gauge_pressure == 4 * PSI
    assert of(rungs, "rating").device == "deck_oven_regulator"  # what stands upstream is not asked
    assert not [one for one in ladder(Station(), "outlet") if one.kind in ("limit", "rating")]


def test_each_layer_holds_by_itself():
    # The relief valve of the whole station does not help its monitor, nor the monitor the relief valve.
    rungs, lone = ladder(everything(), "outlet"), ladder(monitored(), "outlet")
    assert of(rungs, "monitor_held").gauge_pressure == pytest.approx(of(lone, "monitor_held").gauge_pressure, rel=0.03)
    assert of(rungs, "valve_held").gauge_pressure > everything().relief_valves[0].set_gauge_pressure
    assert {one.kind for one in rungs} >= {"slam_shut_high", "slam_shut_low", "switch_high", "switch_low", "take_over"}


# Who stands where


def test_layers_are_found_through_pipes_and_sensing_lines():
    found = layers_at(everything(), "house")
    assert found.worker.name == "worker"
    assert [one.name for one in found.monitors] == ["monitor"]
    assert found.place == {"outlet", "house", "worker_line", "monitor_line"}
    assert [one.name for one in (*found.relief_valves, *found.slam_shuts)] == ["relief_valve", "slam_shut"]
    assert [one.name for one in found.switches] == ["alarm", "burner_switch"]
    assert found.feeders == ()
    first = layers_at(monitored(first="worker"), "outlet")
    assert (first.worker.name, [m.name for m in first.monitors]) == ("worker", ["monitor"])


def test_of_two_at_one_set_point_the_worker_is_the_one_downstream():
    # By hand: gas meets the first of the two, and the second behind it.
    for first, second in (("monitor", "worker"), ("worker", "monitor")):
        found = layers_at(monitored(above=0.0, first=first), "outlet")
        assert (found.worker.name, [one.name for one in found.monitors]) == (second, [first])


def test_a_first_stage_feeds_and_does_not_monitor():
    station = shipped_station("propane_yard").scenario.station
    found = layers_at(station, "workshop")
    assert (found.worker.name, found.monitors) == ("second_stage", ())
    assert [one.name for one in found.feeders] == ["first_stage"]
    assert [one.name for one in found.relief_valves] == ["wall_relief"]
    assert layers_at(station, "yard_line").worker.name == "first_stage"
    assert station.at_one_pressure("yard_line") == {"yard_line"}


def test_alone_leaves_only_what_is_named():
    bare = alone(everything(), "outlet", ("alarm",))
    assert (bare.relief_valves, [one.name for one in bare.switches]) == ((), ["alarm"])
    assert bare.slam_shuts[0].high_gauge_pressure == 2e7
    assert bare.slam_shuts[0].low_gauge_pressure is None
    assert alone(Station(), "outlet").regulators[0].relief is None
    assert alone(Station(), "outlet", ("regulator",)) == Station()
    yard = shipped_station("propane_yard").scenario.station
    # A relief on another pressure stays.
    assert [valve.name for valve in alone(yard, "workshop").relief_valves] == ["yard_relief"]


def test_a_volume_that_nobody_holds_is_refused():
    with pytest.raises(ScenarioError, match="one of the volumes inlet, outlet"):
        ladder(Station(), "oulet")
    with pytest.raises(ScenarioError, match="a volume whose pressure a regulator senses"):
        ladder(Station(), "inlet")
    with pytest.raises(ScenarioError, match="highest_supply"):
        ladder(Station(), "outlet", highest_supply_gauge_pressure=-1.0)
    with pytest.raises(ScenarioError, match="limit_gauge_pressure"):
        findings(GOOD, 0.0)


def test_a_pipe_behind_the_regulator_leads_to_the_same_ladder():
    piped = Station(volumes=(*Station().volumes, Volume("house", LINE)), pipes=(Pipe("pipe", "outlet", "house"),))
    near, far = (of(ladder(piped, at), "lock_up").gauge_pressure for at in ("outlet", "house"))
    assert near == pytest.approx(far, rel=1e-6)


# Findings: a good ladder in in. w.c., then one rung at a time moved where it does not belong


def made(**heights: float) -> tuple[Rung, ...]:
    devices = {
        **dict.fromkeys(("normal_full", "normal_low", "lock_up"), "worker"),
        **dict.fromkeys(("take_over", "monitor_held"), "monitor"),
        **dict.fromkeys(("valve_set", "valve_held"), "valve"),
        **dict.fromkeys(("relief_start", "relief_held", "second_seat_start", "second_seat_held"), "body"),
        **dict.fromkeys(("slam_shut_high", "slam_shut_low"), "shut"),
        **dict.fromkeys(("switch_high", "switch_low"), "switch"),
        "rating": "next_regulator",
    }
    return tuple(rung(kind, devices[kind], height * IN_WC, 0.05) for kind, height in heights.items())


HEIGHTS = {
    "normal_full": 7.0,
    "normal_low": 7.5,
    "lock_up": 8.0,
    "take_over": 9.5,
    "monitor_held": 12.0,
    "valve_set": 16.0,
    "valve_held": 18.0,
    "slam_shut_high": 24.0,
    "switch_high": 14.0,
    "slam_shut_low": 3.0,
    "switch_low": 4.5,
    "rating": 40.0,
}
GOOD = made(**HEIGHTS)
LIMIT = 30 * IN_WC


def found(heights: dict[str, float | None], limit: float = LIMIT) -> dict[str, Finding]:
    kept = {kind: height for kind, height in (HEIGHTS | heights).items() if height is not None}
    return {one.kind: one for one in findings(made(**kept), limit)}


def test_a_good_ladder_has_no_findings():
    assert findings(GOOD, LIMIT) == ()


NO_VALVE = {"valve_set": None, "valve_held": None}
NO_SHUT = {"slam_shut_high": None, "slam_shut_low": None}
NO_MONITOR = {"take_over": None, "monitor_held": None}


@pytest.mark.parametrize(
    ("moved", "kind", "severity", "device"),
    [
        ({"monitor_held": 7.9}, "monitor_at_worker", "must", "monitor"),
        ({"monitor_held": 8.0}, "monitor_at_worker", "must", "monitor"),
        ({"monitor_held": 8.5}, "monitor_at_worker", "should", "monitor"),
        ({"take_over": 6.8}, "monitor_throttles", "must", "monitor"),
        ({"take_over": 7.8}, "monitor_moves_early", "should", "monitor"),
        ({"valve_set": 11.0}, "relief_below_monitor", "must", "valve"),
        ({"valve_set": 12.5}, "relief_below_monitor", "should", "valve"),
        ({"relief_start": 11.0, "relief_held": 15.0}, "relief_below_monitor", "must", "body"),
        ({"slam_shut_high": 11.0}, "slam_shut_below_monitor", "must", "shut"),
        ({"slam_shut_high": 17.0}, "slam_shut_in_build_up", "must", "shut"),
        ({"slam_shut_high": 19.5}, "slam_shut_in_build_up", "should", "shut"),
        # By hand: up to 14.8 x 1.05 = 15.5, and the valve opens from 16 x 0.95 = 15.2 on.
        ({"slam_shut_high": 14.8}, "slam_shut_in_build_up", "should", "shut"),
        ({"slam_shut_high": 7.5}, "nuisance", "must", "shut"),
        ({"slam_shut_high": 8.5}, "nuisance", "should", "shut"),
        ({"switch_high": 7.6}, "nuisance", "must", "switch"),
        ({"valve_set": 7.9}, "nuisance", "must", "valve"),
        ({"relief_start": 7.9, "relief_held": 15.0}, "nuisance", "must", "body"),
        ({"second_seat_start": 7.9, "second_seat_held": 12.0}, "nuisance", "must", "body"),
        ({"switch_low": 7.2}, "low_in_droop", "must", "switch"),
        ({"switch_low": 6.8}, "low_in_droop", "should", "switch"),
        ({"slam_shut_low": 7.0}, "low_in_droop", "must", "shut"),
        ({"monitor_held": 31.0, "valve_set": 33.0, "valve_held": 34.0}, "above_limit", "must", "monitor"),
        ({"slam_shut_high": 31.0}, "above_limit", "must", "shut"),
        ({"switch_high": 31.0}, "above_limit", "must", "switch"),
        ({"slam_shut_high": 29.0}, "near_limit", "should", "shut"),
        (NO_MONITOR | NO_SHUT | {"valve_held": 60.0}, "relief_too_small", "must", "valve"),
        (NO_MONITOR | {"valve_held": 60.0}, "relief_too_small", "should", "valve"),  # the slam-shut backs it
        (NO_MONITOR | NO_SHUT | NO_VALVE, "unguarded", "must", None),
        ({"second_seat_start": 10.0, "second_seat_held": 28.0, "rating": 26.0}, "above_rating", "must", "body"),
    ],
)
def test_a_wrong_order_is_found(moved, kind, severity, device):
    one = found(moved).get(kind)
    assert one is not None
    assert one.severity == severity
    assert one.sentence.endswith(".")
    assert one.mend.endswith(".")
    if device:
        assert device in one.devices
        assert "in. w.c." in one.sentence or "psig" in one.sentence


def test_a_slam_shut_clear_below_the_relief_or_above_its_build_up_is_no_finding():
    assert "slam_shut_in_build_up" not in found({"slam_shut_high": 14.0})
    assert "slam_shut_in_build_up" not in found({"slam_shut_high": 21.0})


def test_musts_come_first():
    said = findings(made(**(HEIGHTS | {"take_over": 7.8, "slam_shut_high": 31.0})), LIMIT)
    assert [one.severity for one in said] == sorted((one.severity for one in said), key=lambda s: s != "must")
    assert {one.severity for one in said} == {"must", "should"}


def test_a_sentence_names_both_pressures_and_how_to_mend_it():
    one = found({"valve_set": 11.0})["relief_below_monitor"]
    assert "valve begins to open at 11.0 in. w.c. (27.4 mbar)" in one.sentence
    assert "monitor holds, worker wide open at 12.0 in. w.c." in one.sentence
    assert "12.6 in. w.c." in one.mend  # the top of the monitor's band


# The same inversions on whole stations


def said_of(station: Station, limit: float = 2 * PSI, **more) -> dict[str, Finding]:
    return {one.kind: one for one in findings(ladder(station, "outlet", **more), limit)}


def test_a_station_well_set_has_no_must():
    good = replace(
        monitored(above=7 * IN_WC, interstage=5e-5),
        relief_valves=(ReliefValve(set_gauge_pressure=25 * IN_WC),),
    )
    assert not said_of(good)


def test_wrong_stations_are_found():
    assert said_of(monitored(above=1.0))["monitor_throttles"].severity == "must"
    assert (
        said_of(monitored_with(relief_valves=(ReliefValve(set_gauge_pressure=9 * IN_WC),)))[
            "relief_below_monitor"
        ].severity
        == "must"
    )
    assert said_of(with_slam_shut(high_gauge_pressure=7.4 * IN_WC))["nuisance"].severity == "must"
    assert said_of(Station(regulators=(PLAIN,)))["unguarded"].severity == "must"
    assert said_of(Station(), limit=14 * IN_WC)["relief_too_small"].devices == ("regulator",)
    small = with_relief_valve(orifice_diameter=0.004)
    assert said_of(small)["relief_too_small"].severity == "must"
    switched = replace(
        with_second_seat(), switches=(PressureSwitch(high_gauge_pressure=None, low_gauge_pressure=1750.0),)
    )
    assert said_of(switched)["low_in_droop"].devices == ("regulator", "pressure_switch")
    high_seat = with_second_seat(takes_over_above_set=60 * IN_WC)
    assert "above_limit" in said_of(high_seat, limit=40 * IN_WC)
