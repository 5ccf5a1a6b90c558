"""Signs read off runs, and what they amount to as symptoms. No outside source: bounds, closed forms of the device
models, and the course's own table of symptoms."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace
from random import Random

import pytest

from toolkit.devices.slam_shut import SlamShut
from toolkit.diagnosis.proofs import monitors
from toolkit.diagnosis.signs import SIGNS, Signs, letters
from toolkit.diagnosis.sites import (
    ALL_OFF,
    COOL,
    CUT_OFF,
    FULL_AGAIN,
    KINDS,
    MORNING,
    SUNRISE,
    WARM,
    site,
    sun_and_shade,
)
from toolkit.diagnosis.symptoms import SYMPTOMS, symptoms_of
from toolkit.diagnosis.table import rows
from toolkit.diagnosis.visits import GAUGE_ERROR, HELD_DRAW, HELD_FOR, WORST_ERROR, held_low, signs_of
from toolkit.errors import ScenarioError
from toolkit.faults import (
    BlockedRelief,
    BlockedSensingLine,
    BlockedVent,
    BrokenSensingLine,
    Debris,
    DirtyReliefSeat,
    Leak,
    NickedSeat,
    PluggedFilter,
    StuckStem,
    SupplyChange,
    TornDiaphragm,
    TripShift,
    WeakMainSpring,
    WeakRelief,
    WrongDeadband,
    WrongSetting,
)
from toolkit.scenario import Demand, Scenario, Station
from toolkit.simulation import simulate
from toolkit.station_file import shipped_station, shipped_stations
from toolkit.units import IN_WC, PSI

EARLY = {"onset": 10.0, "ramp": 10.0}
SEED = 5


def signs(kind, *faults, number=0, held=False, **more) -> Signs:
    day = site(kind, number, SEED).day(*faults)
    return signs_of(simulate(held_low(day) if held else day), **more)


SOUND = {
    "outlet_on": "normal", "outlet_pilots": "normal", "outlet_off": "normal", "lock_up": "as on record",
    "creep": "still", "inlet": "normal", "filter_drop": "small", "meter_on": "as the rating", "meter_off": "stands",
    "vent_on": "none", "vent_off": "none", "slam_shut": "open", "swing": "steady", "frost": "none", "sun": "no rise",
    "spike": "small", "burners": "gas", "vent_end": "clear", "slam_shut_point": "as on record",
}  # fmt: skip
OF_THE_KIND = {
    "service": {"switch": "quiet", "switch_point": "as on record", "relief_start": "no gas leaves"},
    "monitored": {
        "switch": "quiet", "switch_point": "as on record", "between": "near the inlet", "line": "whole",
        "monitor_point": "as on record", "relief": "shut", "relief_point": "as on record",
    },
    "damped": {"line": "whole", "relief": "shut", "relief_point": "as on record"},
}  # fmt: skip


@pytest.mark.parametrize("kind", OF_THE_KIND)
def test_a_sound_station_shows_nothing_and_what_it_has_not_is_none(kind):
    found = signs(kind, held=True).met()
    assert found.pop("noise") == "quiet"
    assert found == {**SOUND, **OF_THE_KIND[kind], "vent_held": "none"}


@pytest.mark.parametrize("kind", KINDS)
def test_only_a_disk_near_its_seat_by_design_hums_when_sound(kind):
    assert (signs(kind).noise == "hums") == (kind == "damped, monitored")


@pytest.mark.parametrize(
    ("kind", "fault", "expected"),
    [
        ("service", Debris(devices="regulator", height=8e-5, edge=0.3, stiffness=1e8, **EARLY),
         {"outlet_off": "far high", "outlet_on": "normal", "lock_up": "higher", "vent_off": "strong", "meter_off":
          "runs", "vent_on": "none", "relief_start": "as high"}),
        ("service", NickedSeat(devices="regulator", leak_area=2e-9, **EARLY),
         {"outlet_on": "normal", "creep": "creeps"}),
        ("service", TornDiaphragm(devices="regulator", hole_area=8e-6, **EARLY),
         {"vent_on": "strong", "vent_off": "strong", "vent_held": "strong", "relief_start": "below it"}),
        ("service", TornDiaphragm(devices="regulator", hole_area=2e-7, lost_share=0.03, **EARLY),
         {"vent_on": "a whiff", "vent_off": "a whiff", "vent_held": "a whiff", "outlet_on": "normal",
          "relief_start": "below it"}),
        ("service", WeakRelief(devices="regulator", left_share=0.005, **EARLY),
         {"vent_held": "none", "relief_start": "below it"}),
        ("service", WeakMainSpring(devices="regulator", left_share=0.6, **EARLY),
         {"outlet_on": "low", "outlet_pilots": "low", "lock_up": "lower", "inlet": "normal", "burners": "gas"}),
        ("service", WeakMainSpring(devices="regulator", left_share=0.4, **EARLY), {"outlet_off": "far low"}),
        ("service", WeakMainSpring(devices="regulator", left_share=0.02, **EARLY),
         {"burners": "no gas", "outlet_on": "far low"}),
        ("service", SupplyChange(devices="supply", gauge_pressure=3 * PSI, **EARLY),
         {"inlet": "far low", "filter_drop": "small", "meter_on": "less than the rating"}),
        ("service", PluggedFilter(devices="supply", blocked_share=0.99, **EARLY),
         {"inlet": "normal", "filter_drop": "large"}),
        ("service", BlockedVent(devices="regulator", blocked_share=0.999, **EARLY), {"vent_end": "blocked"}),
        ("service", Leak(devices="outlet", leak_area=1e-4, **EARLY),
         {"meter_on": "more than the rating", "meter_off": "runs"}),
        ("service", TripShift(devices="pressure_switch", low_by=3.5 * IN_WC, **EARLY), {"switch_point": "off"}),
        ("service", WrongDeadband(devices="pressure_switch", deadband=5.0, **EARLY), {"switch_point": "off"}),
        ("line sensed", TripShift(devices="slam_shut", high_by=-8 * IN_WC, **EARLY),
         {"slam_shut": "tripped", "slam_shut_point": "off", "burners": "no gas"}),
        ("line sensed", BrokenSensingLine(devices="sensing_line", **EARLY), {"line": "open to the air"}),
        ("line sensed", BlockedSensingLine(devices="sensing_line", onset=FULL_AGAIN, ramp=5.0),
         {"line": "blocked"}),
        ("line sensed", DirtyReliefSeat(devices="relief_valve", leak_area=1e-7, **EARLY), {"relief": "weeping"}),
        ("line sensed", BlockedRelief(devices="relief_valve", blocked_share=0.95, **EARLY), {"relief_point": "off"}),
        ("line sensed", WrongSetting(devices="relief_valve", by=4 * IN_WC, **EARLY), {"relief_point": "off"}),
        ("monitored", StuckStem(devices="worker", lowest=0.8, highest=1.0, **EARLY),
         {"outlet_on": "high", "outlet_pilots": "high", "between": "between", "lock_up": "higher"}),
        ("monitored", StuckStem(devices="monitor", lowest=0.0, highest=0.06, **EARLY), {"between": "near the outlet"}),
        ("monitored", WrongSetting(devices="monitor", by=-3.5 * IN_WC, **EARLY), {"monitor_point": "off"}),
    ],
    ids=lambda one: one if isinstance(one, str) else "" if isinstance(one, dict) else type(one).__name__,
)  # fmt: skip
def test_known_faults_show_what_they_must(kind, fault, expected):
    found = signs(kind, fault, held=True).met()
    assert {key: found.get(key) for key in expected} == expected


def sky(times, room="outlet"):
    return sun_and_shade(room, times, SUNRISE, WARM, WARM, COOL)


def nick(kind, share):
    """A nick that leaks so little that the gauge climbs all night: a share of the load, of 20 L of line."""
    at = site(kind, 0, SEED)
    size = next(one.size for one in at.station.volumes if one.name == "outlet")
    return NickedSeat(devices=at.regulator, leak_area=share * at.load_area * size / 0.02, **EARLY)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [1.5e-4, 3e-4])
def test_the_shade_tells_a_leak_from_the_sun(kind, share):
    """Whatever the gauge errs by. p / T of locked-in gas stays (closed form); what has leaked in is there to stay."""

    def told(*faults):
        trace = simulate(site(kind, 0, SEED).day(*faults))
        return {signs_of(trace, Random(seed)).sun for seed in range(20)}

    assert told() == {"no rise"}
    assert told(*sky(1.01)) == {"rises and falls back"}
    assert told(nick(kind, share)) == {"rises and stays up"}
    assert told(nick(kind, share), *sky(1.01)) == {"rises and stays up"}


@pytest.mark.parametrize("kind", ["service", "monitored"])
def test_what_a_relief_lets_off_in_the_sun_does_not_hide_the_leak(kind):
    """In the shade the gauge is then lower than before the sun, and climbs past lock-up again."""
    trace = simulate(site(kind, 0, SEED).day(nick(kind, 3e-4), *sky(1.03)))
    assert trace.happened("relief_opens" if kind == "service" else "valve_opens")
    assert trace.at("outlet_gauge_pressure", COOL) < trace.at("outlet_gauge_pressure", SUNRISE) - 0.5 * IN_WC
    assert {signs_of(trace, Random(seed)).sun for seed in range(20)} == {"rises and stays up"}
    alone = simulate(site(kind, 0, SEED).day(*sky(1.05)))
    assert alone.happened("relief_opens" if kind == "service" else "valve_opens")
    assert {signs_of(alone, Random(seed)).sun for seed in range(20)} == {"rises and falls back"}


def test_a_rise_that_the_gauge_may_have_made_is_none():
    at = site("service", 0, SEED)
    for rise, found in ((0.02, {"no rise"}), (0.1, {"rises and falls back"})):
        trace = simulate(at.day(*sky(1.0 + rise * at.set_gauge_pressure / at.station.atmosphere)))
        assert {signs_of(trace, Random(seed)).sun for seed in range(40)} == found


def test_as_long_as_the_sun_is_on_the_pipe_or_burners_draw_nothing_is_told():
    sun, shade = sky(1.01)
    assert signs("service", sun).sun is None
    late = replace(shade, onset=WARM, ramp=MORNING + 10.0 - WARM)
    assert signs("service", sun, late).sun is None
    assert signs_of(simulate(Scenario(demands=(Demand(0.0, 1.0),), duration=60.0))).sun is None


def test_a_case_that_the_sun_warms_lets_gas_in_that_stays():
    """The gas in a sealed case presses the disk open, and what comes then does not go again."""
    sealed = BlockedVent(devices="regulator", blocked_share=1.0, onset=ALL_OFF + 30.0, ramp=10.0)
    assert signs("line sensed", sealed, *sky(1.015, "regulator_case")).sun == "rises and stays up"


def test_when_a_slam_shut_tripped():
    def trip(**when):
        # Below what the station holds at any moment: it trips as soon as the setting has moved.
        return signs("service", TripShift(devices="slam_shut", high_by=-16 * IN_WC, ramp=0.5, **when)).trip

    assert trip(onset=30.0) == "burners on"
    assert trip(onset=ALL_OFF + 60.0) == "all off"
    high = site("service", 0, SEED).station.slam_shuts[0].high_gauge_pressure
    cut = TripShift(devices="slam_shut", high_by=7.25 * IN_WC - high, onset=CUT_OFF - 20.0, ramp=5.0)
    assert signs("service", cut).trip == "as burners shut"
    assert signs("service").trip is None


def test_chattering_and_kick():
    low = site("service", 0, SEED).station.switches[0].low_gauge_pressure
    near = TripShift(devices="pressure_switch", low_by=6.9 * IN_WC - low, **EARLY)
    small = WrongDeadband(devices="pressure_switch", deadband=10.0, **EARLY)
    assert signs("service", near, small).switch in ("made", "chatters")
    kick = signs("service", BlockedVent(devices="regulator", blocked_share=0.999, **EARLY))
    assert kick.spike in ("marked", "large")


# --- gauges


def test_gauges_err_by_chance_and_never_by_much():
    trace = simulate(site("service", 0, SEED).day())
    assert signs_of(trace) == signs_of(trace)
    assert signs_of(trace, Random(3)) == signs_of(trace, Random(3))
    # A sound station of this kind stands within its bins by more than a gauge can err.
    assert {signs_of(trace, Random(seed)) for seed in range(20)} == {signs_of(trace)}
    assert 0.0 < GAUGE_ERROR * WORST_ERROR < 0.05


def test_near_a_limit_what_is_read_is_the_gauge_s_luck():
    day = site("service", 0, SEED).day(WeakMainSpring(devices="regulator", left_share=0.925, **EARLY))
    trace = simulate(day)
    assert len({signs_of(trace, Random(seed)).lock_up for seed in range(40)}) == 2


# --- other stations, other days


@pytest.mark.parametrize("name", shipped_stations())
def test_signs_of_every_shipped_station(name):
    scenario = shipped_station(name).scenario
    found = signs_of(simulate(scenario))
    station = scenario.station
    assert (found.slam_shut is None) == (not station.slam_shuts)
    assert (found.switch is None) == (not station.switches)
    assert (found.relief is None) == (not station.relief_valves)
    assert (found.line is None) == (not station.sensing_lines)


def test_a_first_stage_is_no_monitor():
    pair = site("monitored", 0, SEED).station
    first, worker = pair.regulators
    assert monitors(pair) == [(first, worker)]
    stages = replace(pair, regulators=(replace(first, senses="", set_gauge_pressure=10 * PSI), worker))
    assert monitors(stages) == []
    found = signs_of(simulate(Scenario(stages, duration=30.0)))
    assert found.between is None
    assert found.monitor_point is None


def test_what_a_day_does_not_bring_is_none():
    found = signs_of(simulate(Scenario(demands=(Demand(0.0, 1.0),), duration=60.0))).met()
    assert {"outlet_on", "vent_on", "meter_on", "burners"} <= set(found)
    assert not {"outlet_off", "lock_up", "creep", "meter_off", "outlet_pilots", "spike", "vent_held"} & set(found)


def test_held_low_adds_a_check_and_changes_nothing_before():
    day = site("service", 0, SEED).day()
    longer = held_low(day)
    assert longer.duration == day.duration + HELD_FOR
    assert longer.demands[-1].share == HELD_DRAW
    assert signs_of(simulate(longer)).only(set(SIGNS) - {"vent_held"}) == signs_of(simulate(day))


def test_an_outlet_that_cannot_be_held_low_tells_nothing():
    assert signs("damped, monitored", held=True).vent_held is None
    assert signs("service", TripShift(devices="slam_shut", high_by=-12 * IN_WC, **EARLY), held=True).vent_held is None


def test_a_low_trip_is_seen_too():
    shut = SlamShut(high_gauge_pressure=20 * IN_WC, low_gauge_pressure=4 * IN_WC)
    station = replace(Station(), slam_shuts=(shut,), volumes=site("service", 0, SEED).station.volumes)
    station = replace(station, supply=replace(station.supply, into="upstream"))
    break_ = Leak(devices="outlet", leak_area=1e-3, onset=20.0, ramp=5.0)
    found = signs_of(simulate(Scenario(station, (Demand(0.0, 1.0),), (break_,), 120.0)))
    assert (found.slam_shut, found.trip) == ("tripped", "burners on")


# --- the vocabulary


def test_signs_and_vocabulary_are_one():
    assert [one.name for one in fields(Signs)] == list(SIGNS)
    assert all(len(set(one.values)) == len(one.values) >= 2 for one in SIGNS.values())


def test_a_value_that_is_none_of_a_sign_s_is_refused():
    with pytest.raises(ScenarioError, match=r"signs\.creep.*creeping"):
        Signs(creep="creeping")


def test_only_leaves_the_rest_out():
    assert Signs(creep="creeps", frost="none").only(["frost"]) == Signs(frost="none")


# --- the symptoms of the table

# Signs are those of the morning's visit, symptoms those of any reading: what a tripped slam-shut has ended (c), what
# opened for a moment inside a regulator (i), what a trip at a cut-off left of a kick (o), and what hums by design (h)
# they see differently.
AGREES, AGREES_BETWEEN = dict.fromkeys("adefgjklmn", 0.96), dict.fromkeys("bchio", 0.80)


def test_signs_amount_to_the_symptoms_of_the_table():
    agree, days = Counter(), 0
    for row in rows():
        for number in range(4):
            case = row.case(number, 31)
            trace = simulate(case.scenario)
            apart = letters(signs_of(trace, None, case.arrives)) ^ symptoms_of(
                trace, simulate(case.sound), case.arrives
            )
            agree.update(set(SYMPTOMS) - apart)
            days += 1
    shares = {key: agree[key] / days for key in SYMPTOMS}
    wanted = AGREES | AGREES_BETWEEN
    assert set(wanted) == set(SYMPTOMS)
    assert {key: share for key, share in shares.items() if share < wanted[key]} == {}
