"""What cannot be built is refused in words: the field, what was given, what was expected, how to mend it."""

import math
import pickle
from dataclasses import replace

import pytest

from toolkit import compiled
from toolkit.devices.line import Load, Pipe, SensingLine, Supply
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import InternalRelief, Regulator, Vent
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.errors import CourseError, ScenarioError, SimulationError
from toolkit.faults import (
    FAULTS,
    BlockedVent,
    Debris,
    Fault,
    NickedSeat,
    PluggedFilter,
    StuckStem,
    SupplyChange,
    Warmed,
    fault,
)
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI

NAN, ENDLESS = float("nan"), float("inf")
R = Regulator()


def refused(build):
    with pytest.raises(ScenarioError) as caught:
        build()
    error = caught.value
    assert error.field
    assert error.expected
    assert error.mend.endswith((".", "?"))
    assert str(error).startswith(f"{error.field}: {error.given!r} was given, {error.expected} was expected. ")
    return error


@pytest.mark.parametrize(
    ("build", "field", "given"),
    [
        (lambda: Supply(flow_area=-1e-4), "supply.flow_area", -1e-4),
        (lambda: Supply(gauge_pressure=NAN), "supply.gauge_pressure", NAN),
        (lambda: Supply(gauge_pressure="60 psig"), "supply.gauge_pressure", "60 psig"),
        (lambda: Supply(name="gas main"), "supply.name", "gas main"),
        (lambda: Load(rated_flow=0.0), "appliances.rated_flow", 0.0),
        (lambda: Load(name="range", maximum_gauge_pressure=ENDLESS), "range.maximum_gauge_pressure", ENDLESS),
        (lambda: Load(rated_gauge_pressure=True), "appliances.rated_gauge_pressure", True),
        (lambda: Vent(bore=-0.01), "vent.bore", -0.01),
        (lambda: InternalRelief(start_above_set=0.0), "relief.start_above_set", 0.0),
        (lambda: Volume("outlet", 0.0), "outlet.size", 0.0),
        (lambda: Volume("2nd", 1e-3), "volume.name", "2nd"),
        (lambda: Volume("röhre", 1e-3), "volume.name", "röhre"),
        (lambda: Demand(-1.0, 0.5), "demand.time", -1.0),
        (lambda: Demand(0.0, -0.5), "demand.share", -0.5),
        (lambda: Demand(0.0, None), "demand.share", None),
        (lambda: Demand(0.0, 1.0, stroke=0.0), "demand.stroke", 0.0),
        (lambda: Demand(0.0, 1.0, load="the stove"), "demand.load", "the stove"),
        (lambda: Station(altitude=9000), "station.altitude", 9000),
        (lambda: Station(temperature=15), "station.temperature", 15),
        (lambda: Station(gas="methane"), "station.gas", "methane"),
        (lambda: Scenario(duration=0.0), "scenario.duration", 0.0),
        (lambda: Scenario(duration="600"), "scenario.duration", "600"),
        (lambda: Scenario(station="house"), "scenario.station", "house"),
        (lambda: Scenario(demands=(1.0,)), "scenario.demands", 1.0),
        (lambda: Scenario(faults=("debris",)), "scenario.faults", "debris"),
        (lambda: Debris(devices="regulator", height=0.0), "Debris.height", 0.0),
        (lambda: Debris(devices="regulator", height=1e-4, edge=1.5), "Debris.edge", 1.5),
        (lambda: NickedSeat(devices="regulator", leak_area=-1e-9), "NickedSeat.leak_area", -1e-9),
        (lambda: BlockedVent(devices="regulator", blocked_share=1.01), "BlockedVent.blocked_share", 1.01),
        (lambda: BlockedVent(devices=()), "BlockedVent.devices", ()),
        (lambda: BlockedVent(devices=("regulator", 3)), "BlockedVent.devices", 3),
        (lambda: BlockedVent(devices="regulator", ramp=0.0), "BlockedVent.ramp", 0.0),
        (lambda: BlockedVent(devices="regulator", onset="soon"), "BlockedVent.onset", "soon"),
        (lambda: StuckStem(devices="regulator", lowest=0.6, highest=0.4), "StuckStem.lowest", 0.6),
        (lambda: SupplyChange(devices="supply", gauge_pressure=-5.0), "SupplyChange.gauge_pressure", -5.0),
        (lambda: PluggedFilter(devices="supply", blocked_share=1.0), "PluggedFilter.blocked_share", 1.0),
        (lambda: Warmed(devices="outlet", times=0.0), "Warmed.times", 0.0),
    ],
)
def test_bad_values_name_the_field_and_what_was_given(build, field, given):
    error = refused(build)
    assert error.field == field
    assert error.given == given or (isinstance(given, float) and math.isnan(given) and math.isnan(error.given))


def test_a_range_is_told_with_its_unit():
    assert refused(lambda: Station(altitude=9000)).expected == "a number from -500 to 6000 m"
    assert refused(lambda: Load(rated_flow=0.0)).expected == "a number above 0 to 100 standard m3/s"
    # the ends of a range may stand
    assert Station(altitude=-500).altitude == -500
    assert BlockedVent(devices="regulator", blocked_share=1).blocked_share == 1


def test_a_set_point_above_the_supply():
    error = refused(lambda: Station(supply=Supply(gauge_pressure=5 * IN_WC)))
    assert error.field == "regulator.set_gauge_pressure"
    assert f"{5 * IN_WC:g}" in error.expected
    error = refused(lambda: Station(supply=Supply(gauge_pressure=R.set_gauge_pressure)))
    assert "lower its set point" in error.mend


@pytest.mark.parametrize(
    "build",
    [
        lambda: Station(regulators=(R, R)),
        lambda: Station(loads=(Load(), Load())),
        lambda: Station(volumes=(Volume("inlet", 1e-3), Volume("outlet", 1e-3), Volume("outlet", 2e-3))),
        lambda: Station(supply=Supply(name="outlet")),
    ],
)
def test_each_name_stands_once(build):
    error = refused(build)
    assert error.field == "station"
    assert error.given in ("regulator", "appliances", "outlet")


@pytest.mark.parametrize(
    ("build", "field"),
    [
        (lambda: Station(supply=Supply(into="inlett")), "supply.into"),
        (lambda: Station(regulators=(replace(R, outlet="outlett"),)), "regulator.outlet"),
        (lambda: Station(regulators=(replace(R, inlet="inlett"),)), "regulator.inlet"),
        (lambda: Station(regulators=(replace(R, senses="outlett"),)), "regulator.senses"),
        (lambda: Station(loads=(Load(at="outlett"),)), "appliances.at"),
    ],
)
def test_a_volume_that_is_not_there_is_told_with_a_near_one(build, field):
    error = refused(build)
    assert error.field == field
    assert error.mend == f"Did you mean {error.given[:-1]!r}?"


@pytest.mark.parametrize(
    ("faults", "near"),
    [
        ((BlockedVent(devices="regulater"),), "regulator"),
        ((PluggedFilter(devices="suply", blocked_share=0.5),), "supply"),
        ((Warmed(devices="regulator_cas", times=1.1),), "regulator_case"),
    ],
)
def test_a_device_that_is_not_there_is_told_with_a_near_one(faults, near):
    error = refused(lambda: Scenario(faults=faults))
    assert error.field == f"{type(faults[0]).__name__}.devices"
    assert error.mend == f"Did you mean {near!r}?"


@pytest.mark.parametrize(
    "wrong",
    [
        BlockedVent(devices="supply"),
        PluggedFilter(devices="regulator", blocked_share=0.5),
        Warmed(devices="regulator", times=1.1),
    ],
)
def test_a_fault_strikes_only_what_it_can(wrong):
    error = refused(lambda: Scenario(faults=(wrong,)))
    assert error.given == wrong.devices[0]
    assert wrong.devices[0] not in error.expected.replace("one of ", "").split(", ")


def test_two_of_the_same_fault_on_one_device():
    twice = (BlockedVent(devices="regulator"), BlockedVent(devices="regulator", blocked_share=0.5))
    assert refused(lambda: Scenario(faults=twice)).field == "scenario.faults"
    assert refused(lambda: Scenario(faults=(BlockedVent(devices=("regulator", "regulator")),)))
    # two kinds on one device may stand
    assert Scenario(faults=(BlockedVent(devices="regulator"), StuckStem(devices="regulator"))).faults


def test_an_unknown_kind_of_fault():
    error = refused(lambda: fault("debrie", devices="regulator", height=1e-4))
    assert error.field == "fault.kind"
    for kind in FAULTS:
        assert kind in error.expected


def test_a_misspelt_or_missing_number_of_a_fault():
    error = refused(lambda: fault("debris", devices="regulator", hight=1e-4))
    assert error.field == "debris.hight"
    assert "height" in error.expected
    error = refused(lambda: fault("debris", devices="regulator"))
    assert error.field == "debris"
    assert "height" in error.mend


# One of everything.
FULL = Station(
    regulators=(Regulator(inlet="inlet", senses="line"),),
    volumes=(*(Volume(name, 2e-3) for name in ("upstream", "inlet")), Volume("outlet", 5e-3), Volume("house", 5e-3)),
    supply=Supply(into="upstream"),
    slam_shuts=(SlamShut(),),
    pipes=(Pipe("house_pipe", "outlet", "house"),),
    sensing_lines=(SensingLine("line"),),
    relief_valves=(ReliefValve(),),
    switches=(PressureSwitch(locks_out=("appliances",), trips=("slam_shut",)),),
)


@pytest.mark.parametrize("kind", FAULTS)
def test_every_kind_of_fault_can_be_built_by_name_at_both_ends_of_its_ranges(kind):
    device = FULL.named(FAULTS[kind].strikes[0])[0]
    for end in (0, 1):
        values = {key: limits[end] for key, limits in FAULTS[kind].ranges().items()}
        built = fault(kind, devices=device, **values)
        assert isinstance(built, Fault)
        assert built.devices == (device,)
        assert Scenario(FULL, faults=(built,)).faults == (built,)
    for key, (low, high, _) in FAULTS[kind].ranges().items():
        for beyond in (low - 1, high + 1):
            assert refused(lambda k=key, v=beyond: fault(kind, devices=device, **(values | {k: v}))).field.endswith(key)


@pytest.mark.parametrize("kind", FAULTS)
def test_every_number_of_a_condition_goes_in_a_straight_line_with_severity(kind):
    """Between two moments the engine takes it so; else a run would hang on which other moments there are."""
    device, devices = FULL.named(FAULTS[kind].strikes[0])[0], len(FULL.devices)
    of_devices = dict(zip([one.name for one in FULL.devices], FULL.sound[:devices], strict=True))
    of_rooms = dict(zip(FULL.rooms, FULL.sound[devices:], strict=True))
    for part in (0.1, 0.9):
        values = {key: low + part * (high - low) for key, (low, high, _) in FAULTS[kind].ranges().items()}
        if kind == "wrong_setting":
            values["by"] = part * 1e3  # far down, a spring that would be slack is held just tight
        made = fault(kind, devices=device, **values)
        sound = (of_rooms if made.strikes_rooms else of_devices)[device]
        start, half, end = (made.worsen(sound, severity) for severity in (0.0, 0.5, 1.0))
        assert half == pytest.approx([(a + b) / 2 for a, b in zip(start, end, strict=True)], rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("demands", [(Demand(20, 1.0), Demand(10, 0.0)), (Demand(10, 1.0, stroke=5), Demand(12, 0.0))])
def test_a_timetable_out_of_order(demands):
    error = refused(lambda: Scenario(demands=demands))
    assert error.field == "demand.time"
    assert error.given == demands[1].time
    # each load has a timetable of its own
    two = Station(loads=(Load(), Load(name="boiler")))
    assert Scenario(two, (demands[0], replace(demands[1], load="boiler")))


def test_a_load_that_is_not_there():
    error = refused(lambda: Scenario(demands=(Demand(0, 1.0, load="appliance"),)))
    assert error.mend == "Did you mean 'appliances'?"


def test_errors_travel_between_processes():
    error = refused(lambda: Station(altitude=9000))
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is ScenarioError
    assert (again.field, again.given, again.expected, again.mend) == (
        error.field,
        error.given,
        error.expected,
        error.mend,
    )
    assert str(again) == str(error)
    assert isinstance(again, CourseError)
    assert isinstance(again, ValueError)


def test_a_run_that_fails_returns_nothing(monkeypatch):
    monkeypatch.setattr("toolkit.simulation.STEP_BUDGET", 5)
    got = []
    with pytest.raises(SimulationError, match="steps"):
        got.append(simulate(Scenario(demands=(Demand(0, 1.0), Demand(60, 0.0)))))
    assert got == []


def test_a_run_with_no_step_small_enough_says_when(monkeypatch):
    # in plain Python, since machine code has its numbers built in
    monkeypatch.setattr(compiled, "_in_use", [compiled.plain()])
    monkeypatch.setattr("toolkit.stretch.SMALLEST_STEP", 0.05)
    with pytest.raises(SimulationError, match=r"stopped at .* s"):
        simulate(Scenario(demands=(Demand(0, 1.0), Demand(60, 0.0, stroke=1e-3))))


def test_a_trace_names_what_it_has():
    trace = simulate(Scenario(duration=5))
    assert refused(lambda: trace["outlet_pressure"]).given == "outlet_pressure"
    assert refused(lambda: trace.happened("explodes")).field == "event kind"
    assert refused(lambda: trace.peak("outlet_gauge_pressure", start=10)).field == "window"
    with pytest.raises(ValueError, match="read-only"):
        trace["outlet_gauge_pressure"][0] = 0.0
    with pytest.raises(TypeError):
        trace.totals["vented"] = 0.0


def test_severity_and_share_go_in_straight_lines():
    """Half-way through its ramp a fault is half there; what a fault gives in between is linear in its severity."""
    ice = BlockedVent(devices="regulator", blocked_share=0.8, onset=100, ramp=10)
    assert [ice.severity(t) for t in (0, 100, 102.5, 105, 110, 1e6)] == [0.0, 0.0, 0.25, 0.5, 1.0, 1.0]
    scenario = Scenario(
        demands=(Demand(0, 0.2), Demand(50, 1.0, stroke=20)),
        faults=(ice, SupplyChange(devices="supply", gauge_pressure=20 * PSI, onset=100, ramp=10)),
    )
    moments = scenario.moments()
    assert moments == sorted(set(moments))
    assert (moments[0], moments[-1]) == (0.0, 600.0)
    assert {50.0, 70.0, 100.0, 110.0} < set(moments)
    vents = [scenario.conditions(t)[1].vent for t in (0, 100, 105, 110)]
    whole = 0.65 * math.pi / 4 * 0.019**2
    assert vents == pytest.approx([whole, whole, 0.6 * whole, 0.2 * whole], rel=1e-12)
    supplies = [scenario.conditions(t)[0].gauge_pressure / PSI for t in (0, 102.5, 105, 600)]
    assert supplies == pytest.approx([60, 50, 40, 20], rel=1e-12)
    loads = [scenario.conditions(t)[2].flow_area for t in (0, 60, 70)]
    assert [a / loads[-1] for a in loads] == pytest.approx([0.2, 0.6, 1.0], rel=1e-12)
    # a fault there from the start does not move, and is no moment of the run
    there = Scenario(faults=(replace(ice, onset=-50),))
    assert min(there.moments()) == 0.0
    assert there.conditions(0.0)[1].vent == pytest.approx(0.2 * whole, rel=1e-12)


def test_conditions_come_in_the_order_of_devices_and_rooms():
    scenario = Scenario(faults=(Warmed(devices="regulator_case", times=1.2, onset=-100),))
    kinds = [type(c).__name__ for c in scenario.conditions(0.0)]
    assert kinds == ["SupplyCondition", "RegulatorCondition", "LoadCondition"] + 3 * ["RoomCondition"]
    assert [c.warmth for c in scenario.conditions(0.0)[3:]] == [1.0, 1.0, 1.2]
    assert scenario.station.rooms == ("inlet", "outlet", "regulator_case")


def test_half_a_stuck_stem_is_held_between_half_its_shares():
    worsened = StuckStem(devices="regulator", lowest=0.4, highest=0.6).worsen(R.condition(), 0.5)
    assert worsened.lowest_lift == pytest.approx(0.2 * R.travel)
    assert worsened.highest_lift == pytest.approx(0.8 * R.travel)


def test_debris_higher_than_the_travel_is_taken_as_that_high():
    worsened = Debris(devices="regulator", height=0.01).worsen(R.condition(), 1.0)
    assert worsened.debris_height == pytest.approx(R.travel)
