"""What typed gauge readings amount to. No outside source for where a value begins: the limits are the course's own
judgement, written here once more as numbers, so that none moves unseen. A run read by hand must give its own signs."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from toolkit.diagnosis.readings import (
    LARGEST,
    READINGS,
    RECORD,
    GaugeReadings,
    Record,
    record_of,
    signs_beside_start,
    signs_of_readings,
    sun_value,
    typed,
)
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import ALL_OFF, CUT_OFF, END, LAST_CUT_OFF, MORNING, site
from toolkit.diagnosis.symptoms import gauge_shows
from toolkit.diagnosis.visits import signs_of
from toolkit.errors import QuantityError, ScenarioError
from toolkit.faults import BlockedVent, Debris, NickedSeat, PluggedFilter, StuckStem, SupplyChange, WeakMainSpring
from toolkit.scenario import Station
from toolkit.simulation import simulate
from toolkit.station_file import shipped_station, shipped_stations
from toolkit.units import BAR, IN_WC, PSI

# Round numbers, Pa gauge.
SOUND = Record(1000.0, 1100.0, 2000.0, 100_000.0)
OUTLET = (
    (500.0, "far low"),
    (500.1, "low"),
    (850.0, "low"),
    (850.1, "normal"),
    (1150.0, "normal"),
    (1150.1, "high"),
    (2000.0, "high"),
    (2000.1, "far high"),
)


def read(**gauges) -> dict[str, str]:
    return signs_of_readings(GaugeReadings(**gauges), SOUND).met()


# --- the limits, at both sides


@pytest.mark.parametrize("key", ["outlet_on", "outlet_pilots", "outlet_off"])
@pytest.mark.parametrize(("pressure", "value"), OUTLET)
def test_the_outlet_at_both_sides_of_each_limit(key, pressure, value):
    assert read(**{key: pressure})[key] == value


@pytest.mark.parametrize(
    ("gauges", "sign", "value"),
    [
        ({"outlet_off": 1034.1}, "lock_up", "as on record"),
        ({"outlet_off": 1033.9}, "lock_up", "lower"),
        ({"outlet_off": 1165.9}, "lock_up", "as on record"),
        ({"outlet_off": 1166.1}, "lock_up", "higher"),
        ({"outlet_off": 1100.0, "outlet_off_later": 1120.0}, "creep", "still"),
        ({"outlet_off": 1100.0, "outlet_off_later": 1120.1}, "creep", "creeps"),
        ({"outlet_off": 1100.0, "outlet_off_later": 1090.0}, "creep", "still"),
        ({"inlet": 80_001.0}, "inlet", "normal"),
        ({"inlet": 80_000.0}, "inlet", "low"),
        ({"inlet": 40_001.0}, "inlet", "low"),
        ({"inlet": 40_000.0}, "inlet", "far low"),
        ({"inlet": 100_000.0, "after_filter": 90_001.0}, "filter_drop", "small"),
        ({"inlet": 100_000.0, "after_filter": 89_999.0}, "filter_drop", "marked"),
        ({"inlet": 100_000.0, "after_filter": 60_001.0}, "filter_drop", "marked"),
        ({"inlet": 100_000.0, "after_filter": 59_999.0}, "filter_drop", "large"),
        ({"outlet_on": 1000.0, "after_filter": 101_000.0, "between": 10_999.0}, "between", "near the outlet"),
        ({"outlet_on": 1000.0, "after_filter": 101_000.0, "between": 11_001.0}, "between", "between"),
        ({"outlet_on": 1000.0, "after_filter": 101_000.0, "between": 70_999.0}, "between", "between"),
        ({"outlet_on": 1000.0, "after_filter": 101_000.0, "between": 71_001.0}, "between", "near the inlet"),
        ({"outlet_on": 1000.0, "outlet_pilots": 1050.0, "outlet_peak": 1300.0}, "spike", "small"),
        ({"outlet_on": 1000.0, "outlet_pilots": 1050.0, "outlet_peak": 1300.1}, "spike", "marked"),
        ({"outlet_on": 1000.0, "outlet_pilots": 1050.0, "outlet_peak": 1800.0}, "spike", "marked"),
        ({"outlet_on": 1000.0, "outlet_pilots": 1050.0, "outlet_peak": 1800.1}, "spike", "large"),
    ],
)
def test_the_other_signs_at_both_sides_of_each_limit(gauges, sign, value):
    assert read(**gauges)[sign] == value


@pytest.mark.parametrize(
    ("before", "sunny", "shaded", "value"),
    [
        # a twentieth of the set point is told, 0.35 in. w.c.
        (7.8, 8.1, 7.8, "no rise"),
        (7.8, 8.2, 7.8, "rises and falls back"),
        (7.8, 9.8, 8.1, "rises and falls back"),
        (7.8, 9.8, 8.2, "rises and stays up"),
        (7.8, 9.8, 10.5, "rises and stays up"),
        (7.8, 8.0, 8.3, "rises and stays up"),
        # leaked before the sun, and let off in it: not back at lock-up
        (10.0, 14.0, 9.0, "rises and stays up"),
        # let off in the sun, and filled up by the regulator
        (7.8, 14.0, 7.3, "rises and falls back"),
        # a relief holds it
        (14.0, 14.1, 14.0, "no rise"),
    ],
)
def test_the_sun_lifts_and_lets_fall_and_a_leak_stays(before, sunny, shaded, value):
    gauges = [one * IN_WC for one in (before, sunny, shaded)]
    assert sun_value(*gauges, Record(7 * IN_WC, 7.8 * IN_WC, 14 * IN_WC, 60 * PSI)) == value


def test_one_step_of_a_coarse_gauge_is_no_rise():
    """Above 60 in. w.c. a gauge is read to half a psi."""
    record = Record(5 * PSI, 5.2 * PSI, 10 * PSI, 60 * PSI)
    assert sun_value(5 * PSI, 5.5 * PSI, 5 * PSI, record) == "no rise"
    assert sun_value(5 * PSI, 6 * PSI, 5.5 * PSI, record) == "rises and falls back"
    assert sun_value(5 * PSI, 6 * PSI, 6 * PSI, record) == "rises and stays up"


def test_a_rating_below_lock_up_leaves_no_room_for_high():
    weak = replace(SOUND, rating_gauge_pressure=900.0)
    assert signs_of_readings(GaugeReadings(outlet_on=1150.1), weak).outlet_on == "far high"
    assert signs_of_readings(GaugeReadings(outlet_on=1150.0), weak).outlet_on == "normal"


def test_what_one_reading_tells_and_what_needs_two():
    assert read() == {}
    assert set(read(outlet_off=1100.0)) == {"outlet_off", "lock_up"}
    assert set(read(inlet=1e5)) == {"inlet"}
    # A pressure drop and a kick are told by readings only; nothing on record stands in for them.
    assert read(after_filter=9e4) == {}
    assert read(outlet_peak=3000.0) == {}
    assert "spike" not in read(outlet_peak=3000.0, outlet_on=1000.0)
    # Of two readings with all off the later one counts.
    assert read(outlet_off=1100.0, outlet_off_later=1200.0)["lock_up"] == "higher"
    assert read(outlet_off_later=1200.0) == {"outlet_off": "high", "lock_up": "higher"}


def test_what_only_comes_up_to_the_set_point_is_no_kick():
    # By hand: 1000 Pa is the set point on record; from 600 Pa up to it is 400 Pa, and a marked kick begins at 250.
    assert read(outlet_peak=1000.0, outlet_on=600.0, outlet_pilots=600.0)["spike"] == SIGNS["spike"].values[0]
    assert read(outlet_peak=1400.0, outlet_on=600.0, outlet_pilots=600.0)["spike"] == SIGNS["spike"].values[1]


def test_between_the_regulators_the_record_stands_in_for_what_was_not_read():
    assert read(between=50_000.0) == {"between": "between"}
    assert read(between=50_000.0, inlet=60_000.0)["between"] == "near the inlet"
    assert read(between=50_000.0, inlet=60_000.0, after_filter=1e5)["between"] == "between"


@pytest.mark.parametrize(
    ("gauges", "gas", "value"),
    [
        # a relief may be open from 95 % of its start on
        ({"outlet_off": 1424.9}, {"vent_off": "strong"}, "below it"),
        ({"outlet_off": 1425.1}, {"vent_off": "strong"}, "as high"),
        ({"outlet_on": 1000.0}, {"vent_on": "a whiff"}, "below it"),
        ({"outlet_off": 1100.0, "outlet_off_later": 1500.0}, {"vent_off": "a whiff"}, "as high"),
        # one place where gas leaves below it is enough
        ({"outlet_on": 1000.0, "outlet_off": 1500.0}, {"vent_on": "strong", "vent_off": "strong"}, "below it"),
        # where no gas leaves, or nobody read the gauge, nothing is told
        ({"outlet_on": 1000.0, "outlet_off": 1500.0}, {"vent_on": "none", "vent_off": "strong"}, "as high"),
        ({"outlet_on": 1000.0}, {"vent_off": "strong"}, None),
        ({"outlet_off": 1000.0}, {"vent_off": "none"}, None),
    ],
)
def test_gas_at_the_vent_and_the_gauge_tell_together_whether_a_relief_can_be_open(gauges, gas, value):
    record = replace(SOUND, relief_start_gauge_pressure=1500.0)
    assert signs_beside_start(Signs(**gas), GaugeReadings(**gauges), record).relief_start == value
    assert signs_beside_start(Signs(**gas), GaugeReadings(**gauges), SOUND) == Signs()


# --- a run read by hand


EARLY = {"onset": 10.0, "ramp": 10.0}


@pytest.mark.parametrize(
    ("kind", "fault"),
    [
        ("service", None),
        ("service", Debris(devices="regulator", height=8e-5, edge=0.3, stiffness=1e8, **EARLY)),
        ("service", NickedSeat(devices="regulator", leak_area=2e-9, **EARLY)),
        ("service", WeakMainSpring(devices="regulator", left_share=0.6, **EARLY)),
        ("service", BlockedVent(devices="regulator", blocked_share=0.999, **EARLY)),
        ("service", SupplyChange(devices="supply", gauge_pressure=3 * PSI, **EARLY)),
        ("line sensed", PluggedFilter(devices="supply", blocked_share=0.985, **EARLY)),
        ("monitored", None),
        ("monitored", StuckStem(devices="worker", lowest=0.8, highest=1.0, **EARLY)),
        ("monitored", StuckStem(devices="monitor", lowest=0.0, highest=0.06, **EARLY)),
    ],
    ids=lambda one: one if isinstance(one, str) else type(one).__name__,
)
def test_a_run_read_by_hand_gives_its_own_signs(kind, fault):
    day = site(kind, 0, 5).day(*([fault] if fault else []))
    trace = simulate(day)

    def gauge(time, room="outlet"):
        return gauge_shows(trace.at(f"{room}_gauge_pressure", time))

    mains = fault.gauge_pressure if isinstance(fault, SupplyChange) else day.station.supply.gauge_pressure
    peak = max(trace.peak("outlet_gauge_pressure", at, at + 15.0)[1] for at in (CUT_OFF, LAST_CUT_OFF))
    readings = GaugeReadings(
        outlet_on=gauge(LAST_CUT_OFF),
        outlet_pilots=gauge(END),
        outlet_off=gauge(0.5 * (ALL_OFF + MORNING)),
        outlet_off_later=gauge(MORNING),
        outlet_peak=peak,
        inlet=gauge_shows(mains),
        after_filter=gauge(LAST_CUT_OFF, "upstream"),
        between=trace.at("interstage_gauge_pressure", LAST_CUT_OFF) if kind == "monitored" else None,
    )
    found = signs_of_readings(readings, record_of(day.station)).met()
    assert len(found) >= 8
    assert found == signs_of(trace).only(found).met()


# --- the record


@pytest.mark.parametrize("name", shipped_stations())
def test_the_record_of_a_shipped_station(name):
    station = shipped_station(name).scenario.station
    record = record_of(station)
    assert record.set_gauge_pressure == min(one.set_gauge_pressure for one in station.regulators)
    assert record.set_gauge_pressure < record.lock_up_gauge_pressure < 1.3 * record.set_gauge_pressure
    assert record.far_high_gauge_pressure >= record.top_gauge_pressure > record.lock_up_gauge_pressure


def test_the_record_of_the_house_is_what_its_file_says():
    record = record_of(shipped_station("house_service").scenario.station)
    assert record.set_gauge_pressure == pytest.approx(7 * IN_WC)
    assert record.rating_gauge_pressure == pytest.approx(14 * IN_WC)
    assert record.inlet_gauge_pressure == pytest.approx(60 * PSI)
    assert record.relief_start_gauge_pressure == pytest.approx(16 * IN_WC)
    assert record_of(shipped_station("bakery").scenario.station).relief_start_gauge_pressure is None


def test_a_record_that_cannot_be_is_refused():
    with pytest.raises(ScenarioError, match=r"record\.set_gauge_pressure"):
        Record(0.0, 1100.0, 2000.0, 1e5)
    with pytest.raises(ScenarioError, match=r"record\.lock_up_gauge_pressure.*the set point.*wrong way round"):
        Record(1100.0, 1000.0, 2000.0, 1e5)
    with pytest.raises(ScenarioError, match=r"record\.relief_start_gauge_pressure.*the set point"):
        Record(1100.0, 1200.0, 2000.0, 1e5, 1000.0)
    with pytest.raises(ScenarioError, match=r"readings\.inlet"):
        GaugeReadings(inlet=float("nan"))
    with pytest.raises(ScenarioError, match=r"station\.loads"):
        record_of(replace(Station(), loads=()))


# --- what is typed


def test_fields_and_readings_are_one():
    assert [one.name for one in fields(GaugeReadings)] == list(READINGS)
    assert [one.name for one in fields(Record)] == list(RECORD)
    for one in (*READINGS.values(), *RECORD.values()):
        assert typed(one, one.usual) > 0.0


@pytest.mark.parametrize(
    ("text", "pressure"),
    [
        ("7 in. w.c.", 7 * IN_WC),
        ('7" wc', 7 * IN_WC),
        ("0.25 psi", 0.25 * PSI),
        ("17,4 mbar", 1740.0),
        ("1.7 kPa", 1700.0),
        ("4 oz/in2", 0.25 * PSI),
        ("0.02 bar", 0.02 * BAR),
        ("  ", None),
        ("", None),
    ],
)
def test_a_reading_in_any_unit(text, pressure):
    found = typed(READINGS["outlet_on"], text)
    assert found == (pytest.approx(pressure) if pressure is not None else None)


@pytest.mark.parametrize("text", ["7", "seven", "7 bananas", "7 scfh", "-20 psig", "1e9 bar", "7 in. w.c. or so"])
def test_nonsense_is_refused_in_words(text):
    with pytest.raises(QuantityError, match="was given"):
        typed(READINGS["outlet_on"], text)


def test_nothing_is_a_reading_but_no_record():
    assert typed(READINGS["outlet_on"], "0 psig") == 0.0
    with pytest.raises(QuantityError, match="above 0"):
        typed(RECORD["set_gauge_pressure"], "0 psig")


NEAR_A_READING = st.from_regex(
    r"[-+]?[0-9,. /eE]{0,12} ?(in\.? ?w\.?c\.?|psi[ga]?|mbar|bar|kPa|oz/in2|%)?", fullmatch=True
)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.sampled_from([*READINGS.values(), *RECORD.values()]), st.one_of(st.text(max_size=80), NEAR_A_READING))
@example(READINGS["outlet_on"], "9" * 60)
@example(READINGS["outlet_on"], "<script>alert(1)</script>")
@example(READINGS["inlet"], "\x00\ud800")
def test_any_text_is_a_reading_or_a_clear_refusal(field, text):
    said = ""
    try:
        found = typed(field, text)
    except QuantityError as refused:
        said = str(refused)
    if said:
        assert "was given" in said
        assert "expected" in said
    else:
        assert found is None or -1.02e5 < found <= LARGEST
