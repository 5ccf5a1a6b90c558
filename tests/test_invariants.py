"""What holds for any station and any fault, and what people expect to hold and does not.

Drawn by hypothesis, the same every time (derandomize). Each thing that does not hold is a lesson of the course.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_stations import random_scenario

from toolkit.devices.balance import stand
from toolkit.devices.line import Supply
from toolkit.devices.regulator import Regulator, Vent, lock_up_gauge_pressure
from toolkit.errors import ScenarioError, SimulationError
from toolkit.faults import FAULTS, BlockedVent, Debris, StuckStem, SupplyChange, Warmed, fault
from toolkit.flow import critical_ratio, nozzle
from toolkit.network import RELATIVE_TOLERANCE
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.station_file import shipped_station
from toolkit.trace import Trace
from toolkit.units import IN_WC, PSI

HERE = -100.0
R = Regulator()
NIGHT = (Demand(0, 0.0),)


def drawn(examples):
    checks = (HealthCheck.too_slow, HealthCheck.data_too_large)
    return settings(max_examples=examples, deadline=None, derandomize=True, database=None, suppress_health_check=checks)


def series(volume, above):
    monitor = replace(R, name="monitor", outlet="interstage", senses="outlet", relief=None)
    monitor = replace(monitor, set_gauge_pressure=(7 + above) * IN_WC)
    worker = replace(R, name="worker", inlet="interstage")
    return {
        "regulators": (monitor, worker),
        "volumes": (Volume("inlet", 2e-3), Volume("interstage", 3e-4), Volume("outlet", volume)),
    }


@st.composite
def stations(draw):
    supply = Supply(gauge_pressure=draw(st.sampled_from([20, 60, 100])) * PSI)
    volume = 10 ** draw(st.floats(-3, -1.5))
    altitude = draw(st.sampled_from([0, 1600, 3000]))
    if draw(st.booleans()):
        return Station(supply=supply, altitude=altitude, **series(volume, draw(st.floats(1, 6))))
    regulator = replace(R, vent=Vent(bore=draw(st.sampled_from([0.019, 0.006, 0.002]))))
    volumes = (Volume("inlet", 2e-3), Volume("outlet", volume))
    return Station(supply=supply, altitude=altitude, regulators=(regulator,), volumes=volumes)


def within(low, high):
    """A value of a range; by its logarithm where the range spans decades."""
    if low > 0 and high / low > 100:
        return st.floats(np.log10(low), np.log10(high)).map(lambda e: min(high, max(low, 10**e)))
    return st.floats(low, high)


@st.composite
def faults_of(draw, station):
    found = []
    targets = {kind: [n for part in FAULTS[kind].strikes for n in station.named(part)] for kind in sorted(FAULTS)}
    for kind in draw(st.lists(st.sampled_from([k for k in targets if targets[k]]), max_size=3, unique=True)):
        values = {key: draw(within(low, high)) for key, (low, high, _) in FAULTS[kind].ranges().items()}
        if kind == "stuck_stem":
            values["lowest"], values["highest"] = sorted((values["lowest"], values["highest"]))
        devices = tuple(draw(st.lists(st.sampled_from(targets[kind]), min_size=1, unique=True)))
        onset = draw(st.one_of(st.just(HERE), st.floats(0, 250)))
        found.append(fault(kind, devices=devices, onset=onset, ramp=draw(within(0.01, 100.0)), **values))
    return tuple(found)


@st.composite
def scenarios(draw):
    station = draw(stations())
    demands, time = [Demand(0.0, draw(st.floats(0, 10)))], 0.0
    for _ in range(draw(st.integers(0, 3))):
        time += draw(st.floats(1, 80))
        stroke = draw(within(1e-3, 20.0))
        demands.append(Demand(time, draw(st.sampled_from([0.0, 0.05, 1.0, 8.0])), stroke=stroke))
        time += stroke
    return Scenario(station, tuple(demands), draw(faults_of(station)), 300.0)


# What holds


@drawn(150)
@given(scenarios())
def test_any_scenario_gives_a_sound_trace_or_says_that_it_cannot(scenario):
    """Finite values, pressures above vacuum, rising times, mass that balances; else an error of the course's own."""
    try:
        trace = simulate(scenario)
    except (SimulationError, ScenarioError):
        return
    pa = scenario.station.atmosphere
    assert trace.times[0] == 0.0
    assert trace.times[-1] == scenario.duration
    assert (np.diff(trace.times) > 0).all()
    for name, values in trace.signals.items():
        assert values.shape == trace.times.shape, name
        assert np.isfinite(values).all(), name
        if name.endswith("gauge_pressure"):
            assert (values + pa > 0).all(), name
        if name.endswith("lift"):
            assert (values >= 0).all(), name
    totals = trace.totals
    off = totals["supplied"] - totals["delivered"] - totals["vented"] - totals["stored"]
    assert abs(off) <= 1e-9 * sum(map(abs, totals.values())) + 1e-14
    moments = [event.time for event in trace.events]
    assert moments == sorted(moments)


@drawn(12)
@given(st.floats(0, 3e-4), st.floats(1e5, 4e5), st.floats(1.1, 2.0), st.floats(20, 90), st.floats(5, 10))
def test_lock_up_rises_with_debris_spring_and_inlet(height, stiffness, more, psig, set_point):
    def held(height, stiffness, psig, set_point):
        regulator = replace(R, set_gauge_pressure=set_point * IN_WC, relief=None)
        faults = (Debris(devices="regulator", height=height, stiffness=stiffness, onset=HERE),) if height else ()
        station = Station(supply=Supply(gauge_pressure=psig * PSI), regulators=(regulator,))
        # a little load first, so that the rise to lock-up is seen, not left over from the start
        return simulate(Scenario(station, (Demand(0, 0.2), Demand(5, 0.0)), faults)).settled("outlet_gauge_pressure")

    height = max(height, 2e-6)
    base = held(height, stiffness, psig, set_point)
    slack = 0.002 * base
    assert held(height * more, stiffness, psig, set_point) >= base - slack
    assert held(height, stiffness * more, psig, set_point) >= base - slack
    assert held(height, stiffness, psig * 1.1, set_point) >= base - slack
    assert held(height, stiffness, psig, set_point * more) > base


@given(st.floats(0, 1e-3), st.floats(1e4, 1e9), st.floats(1.001, 3), st.floats(1e4, 7e5))
def test_the_closed_form_of_lock_up_is_monotone(height, stiffness, more, inlet):
    c = R.condition()._replace(debris_height=height, debris_stiffness=stiffness)
    base = lock_up_gauge_pressure(c, inlet)
    assert lock_up_gauge_pressure(c._replace(debris_height=height * more), inlet) >= base
    assert lock_up_gauge_pressure(c._replace(debris_stiffness=stiffness * more), inlet) >= base
    assert lock_up_gauge_pressure(c, inlet * more) > base
    assert lock_up_gauge_pressure(c._replace(preload=c.preload * more), inlet) > base


@drawn(12)
@given(st.floats(0, 8), st.floats(0.05, 2), st.sampled_from([20, 60, 100]), st.booleans())
def test_more_load_never_raises_the_settled_outlet(share, more, psig, debris):
    faults = (Debris(devices="regulator", height=1e-4, stiffness=2e5, onset=HERE),) if debris else ()
    station = Station(supply=Supply(gauge_pressure=psig * PSI))
    low, high = (
        simulate(Scenario(station, (Demand(0, s),), faults, 5)).settled("outlet_gauge_pressure")
        for s in (share, share + more)
    )
    assert high <= low * (1 + 2e-4)


@drawn(10)
@given(scenarios(), st.integers(2, 400))
def test_other_times_only_read_the_trace(scenario, points):
    """A coarse grid, a fine one and the engine's own times agree where they meet; reading changes nothing."""
    try:
        trace = simulate(scenario)
    except SimulationError:
        return
    coarse = np.linspace(0.0, scenario.duration, points)
    fine = np.linspace(0.0, scenario.duration, 3 * (points - 1) + 1)
    a, b, own = trace.on(coarse), trace.on(fine), trace.on(trace.times)
    for name in trace.signals:
        assert a[name] == pytest.approx(b[name][::3], rel=1e-9, abs=1e-9)
        assert np.array_equal(own[name], trace[name])
        assert a[name][0] == trace[name][0]
        assert a[name][-1] == trace.settled(name)
        # what a grid reads lies between the lowest and the highest that there was
        peak = trace.peak(name)[1]
        assert a[name].max() <= peak + 1e-12 * abs(peak)


def test_the_same_scenario_gives_the_same_trace():
    scenario = Scenario(faults=(Debris(devices="regulator", height=2e-4),), demands=(Demand(0, 1.0), Demand(90, 0.0)))
    a, b = simulate(scenario), simulate(scenario)
    assert np.array_equal(a.times, b.times)
    for name in a.signals:
        assert np.array_equal(a[name], b[name])
    assert a.events == b.events


def test_a_demand_or_fault_that_changes_nothing_changes_nothing():
    """The engine stops at a moment where nothing happens; what is told must not depend on it."""
    plain = simulate(Scenario(demands=(Demand(0, 1.0), Demand(120, 0.0)), duration=300))
    busy = simulate(
        Scenario(
            demands=(Demand(0, 1.0), Demand(60, 1.0), Demand(120, 0.0), Demand(200, 0.0)),
            faults=(BlockedVent(devices="regulator", blocked_share=0.0, onset=77),),
            duration=300,
        )
    )
    for time in (50, 100, 119, 150, 300):
        for name in ("outlet_gauge_pressure", "appliances_flow"):
            assert busy.at(name, time) == pytest.approx(plain.at(name, time), rel=1e-3, abs=1e-9)


@drawn(40)
@given(st.floats(1e-9, 1e-3), st.floats(1e4, 1e7), st.floats(0, 1), st.floats(1.001, 3), st.floats(1.05, 1.67))
def test_flow_rises_with_area_and_upstream_and_falls_with_downstream(area, upstream, ratio, more, heat_ratio):
    flow = nozzle(heat_ratio, 1.37e5)
    m = flow(area, upstream, ratio * upstream)
    assert flow(area * more, upstream, ratio * upstream) == pytest.approx(m * more, rel=1e-12)
    assert flow(area, upstream * more, ratio * upstream) > m
    assert flow(area, upstream, min(1.0, ratio * more) * upstream) <= m * (1 + 1e-12)
    assert flow(area, ratio * upstream, upstream) == -m
    # no jump at the critical ratio, nor at no difference
    rc = critical_ratio(heat_ratio)
    below, above = flow(area, upstream, rc * (1 - 1e-9) * upstream), flow(area, upstream, rc * (1 + 1e-9) * upstream)
    assert above == pytest.approx(below, rel=1e-9)
    # choked: only the pressure before the opening counts, up to the critical ratio itself
    assert below == flow(area, upstream, 0.0)
    assert abs(flow(area, upstream, upstream * (1 - 1e-12))) < 1e-6 * below
    assert flow(area, upstream, upstream) == 0.0


@drawn(8)
@given(st.floats(2e-9, 3e-7), st.floats(1.05, 4), st.sampled_from([0.0, 0.1]))
def test_a_bigger_leak_lifts_the_relief_higher_and_holds_the_outlet_higher(leak, more, share):
    small, large = (
        simulate(
            Scenario(
                demands=(Demand(0, share),),
                faults=(fault("nicked_seat", devices="regulator", leak_area=area, onset=HERE),),
                duration=5,
            )
        )
        for area in (leak, leak * more)
    )
    assert large.settled("regulator_relief_lift") >= small.settled("regulator_relief_lift")
    assert large.settled("outlet_gauge_pressure") >= small.settled("outlet_gauge_pressure") * (1 - 1e-6)


def test_the_faintest_weep_is_on_the_same_line():
    """Leaks from a weep to a whistle: no step in the outlet where the relief's pad begins to part from its seat."""
    leaks = (1e-9, 2e-9, 3e-9, 4e-9, 6e-9, 1e-8, 2e-8, 4e-8)
    faults = [fault("nicked_seat", devices="regulator", leak_area=area, onset=HERE) for area in leaks]
    held = [simulate(Scenario(demands=NIGHT, faults=(f,), duration=5)).settled("outlet_gauge_pressure") for f in faults]
    assert held == sorted(held)
    assert held[-1] - held[0] < 0.02 * IN_WC


def test_the_relief_opens_and_shuts_along_one_line():
    """Up a ramp of leakage and down under a growing load: the relief's lift follows what is across the diaphragm."""
    leak = fault("nicked_seat", devices="regulator", leak_area=1e-6, onset=10, ramp=100)
    trace = simulate(Scenario(demands=(Demand(0, 0.0), Demand(130, 3.0, stroke=60)), faults=(leak,), duration=250))
    lift = trace["regulator_relief_lift"]
    across = trace["outlet_gauge_pressure"] - trace["regulator_case_gauge_pressure"]
    top = int(np.argmax(lift))
    assert lift[top] > 4e-4
    for part in (slice(0, top + 1), slice(top, None)):
        assert (np.diff(lift[part][np.argsort(across[part], kind="stable")]) >= -1e-3 * lift[top]).all()
    assert (lift[across < 15 * IN_WC] == 0.0).all()
    assert lift[-1] == 0.0


@drawn(60)
@given(st.floats(0.001, 1.0), st.floats(0, 7e5), st.sampled_from([0.0, 3e-4, 1.5875e-3]), st.sampled_from([0.3, 1.0]))
def test_the_disk_stays_between_its_stops_and_moves_without_a_jump(relief, inlet, height, top):
    """Over a sweep of the outlet's pressure, with relief springs down to next to nothing."""
    c = R.condition()
    c = c._replace(
        relief_preload=c.relief_preload * relief,
        highest_lift=c.highest_lift * top,
        debris_height=height * top,
        debris_stiffness=2e5,
    )
    q = 101_325.0 * c.case_volume
    lifts = []
    for gauge in np.linspace(-2000.0, 6000.0, 801):
        lift, relief_lift, _ = stand(c, 101_325.0 + gauge, q, 101_325.0 + inlet, 101_325.0 + gauge)
        assert 0.0 <= lift <= c.highest_lift * (1 + 1e-12)
        assert 0.0 <= relief_lift <= c.relief_travel * (1 + 1e-12)
        lifts.append(lift)
    # 10 Pa on the diaphragm are 0.2 N, over the softest spring there is
    assert np.abs(np.diff(lifts)).max() < 0.05 * R.travel


# What does not hold


def test_a_settled_outlet_depends_on_where_it_came_from():
    """Two nights with the same spring and no load: with no flow a tight regulator keeps whatever it has."""
    stiffer = Station(regulators=(replace(R, set_gauge_pressure=12 * IN_WC),))
    back_off = fault("weak_main_spring", devices="regulator", left_share=0.55, onset=10, ramp=5)
    quiet = simulate(Scenario(stiffer, NIGHT, (back_off,)))
    used = simulate(Scenario(stiffer, (Demand(0, 0.0), Demand(50, 1.0), Demand(90, 0.0)), (back_off,)))
    for trace in (quiet, used):
        assert trace.settled("regulator_flow") == pytest.approx(0.0, abs=1e-9)
        assert trace.settled("appliances_flow") == 0.0
    assert quiet.settled("outlet_gauge_pressure") > 1.4 * used.settled("outlet_gauge_pressure")


def test_an_internal_relief_with_its_vent_blocked_makes_it_worse():
    """The relief fills the shut case, the case pushes the diaphragm down, the valve opens: far above no relief at all.

    Without a relief the soft piece is pressed flat at (L F0 + p1 Au + kseat xc + kd hd) / (L A0 + Au), 24 in. w.c.;
    with it the outlet goes to the inlet's pressure, 1 661 in. w.c.
    """
    faults = (
        BlockedVent(devices="regulator", onset=HERE),
        Debris(devices="regulator", height=4e-4, stiffness=1e6, onset=60),
    )
    without = Station(regulators=(replace(R, relief=None),))
    demands = (Demand(0, 1.0), Demand(120, 0.0))
    alone, relieved = (
        simulate(Scenario(station, demands, faults)).peak("outlet_gauge_pressure")[1]
        for station in (without, Station())
    )
    assert alone == pytest.approx(24.4 * IN_WC, rel=0.1)
    assert relieved == pytest.approx(1661 * IN_WC, rel=0.01)


def test_the_outlet_can_stand_above_the_inlet():
    """After the main has fallen, what is locked in downstream is the higher."""
    fall = SupplyChange(devices="supply", gauge_pressure=0.0, onset=30, ramp=10)
    trace = simulate(Scenario(demands=(Demand(0, 0.0),), faults=(fall,), duration=60))
    inlet, outlet = trace["inlet_gauge_pressure"], trace["outlet_gauge_pressure"]
    assert outlet[0] < inlet[0]
    assert (outlet > inlet).any()


def test_a_second_layer_does_not_make_the_peak_smaller_when_one_cause_takes_both():
    demands = (Demand(0, 0.0),)
    both = StuckStem(devices=("monitor", "worker"), onset=60, ramp=5)
    one = StuckStem(devices="regulator", onset=60, ramp=5)
    alone = Station(regulators=(replace(R, relief=None),))
    layers = series(5e-3, 4)
    layers["regulators"] = tuple(replace(r, relief=None) for r in layers["regulators"])
    a = simulate(Scenario(alone, demands, (one,))).peak("outlet_gauge_pressure")[1]
    b = simulate(Scenario(Station(**layers), demands, (both,))).peak("outlet_gauge_pressure")[1]
    assert a == pytest.approx(60 * PSI, rel=0.01)
    assert b == pytest.approx(a, rel=0.01)


def fed_above(trace: Trace) -> float:
    """How far any gas rises above all that feeds it, as a share of that, absolute: the supply, or what was there."""
    station = trace.scenario.station
    places = [one.name for one in (*station.volumes, *station.sensing_lines)]
    pressures = np.array([trace[f"{name}_gauge_pressure"] for name in places]) + station.atmosphere
    feeds = max(station.supply.gauge_pressure + station.atmosphere, pressures[:, 0].max())
    return float(pressures.max() / feeds - 1.0)


def test_nothing_stands_above_what_feeds_it():
    # Wide-open regulators whose flow dies away: a long step took the slope of the root for the root itself, and the
    # interstage came to stand 1.2 kPa above the inlet.
    scenario = shipped_station("district_station").scenario
    for inlet in (60 * PSI, 100 * PSI, 150 * PSI):
        supply = replace(scenario.station.supply, gauge_pressure=inlet)
        trace = simulate(replace(scenario, station=replace(scenario.station, supply=supply)))
        assert np.max(trace["interstage_gauge_pressure"] - trace["inlet_gauge_pressure"]) < 1e-3
        assert fed_above(trace) < 1e-9


@pytest.mark.parametrize("seed", [81, 179, 315, 442, 517, 550, *range(600, 640)])
def test_in_no_station_does_gas_rise_above_all_that_feeds_it(seed):
    """But by what a step is allowed to be wrong. What is warmed may, and a supply that changes is no bound."""
    scenario = random_scenario(seed)
    if isinstance(scenario, ScenarioError) or any(isinstance(one, SupplyChange | Warmed) for one in scenario.faults):
        return
    try:
        trace = simulate(scenario)
    except SimulationError:
        return
    assert fed_above(trace) < RELATIVE_TOLERANCE
