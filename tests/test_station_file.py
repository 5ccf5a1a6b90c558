"""Stations read from text: what a file may hold, in which units, and how it is told what is wrong."""

import pickle
import tomllib
from dataclasses import fields, is_dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.actions import Action
from toolkit.devices.line import Load, Supply
from toolkit.devices.regulator import InternalRelief, Regulator, SecondSeat
from toolkit.errors import ScenarioError
from toolkit.faults import FAULTS, Fault
from toolkit.gas import NATURAL_GAS, PROPANE
from toolkit.scenario import Demand, Scenario, Station
from toolkit.station_file import LONGEST_LINE, MOST_CHARACTERS, MOST_HAPPENINGS, MOST_TABLES, read_station
from toolkit.station_schema import HAPPENINGS, KINDS, PARTS, StationFile, StationLimits, keys, single_keys
from toolkit.station_values import Site, read_values
from toolkit.units import BTU, FOOT, HOUR, IN_WC, INCH, PSI, SCF, atmosphere, display_unit, parse_quantity

START = """
[station]
title = "A test"
about = "For tests."

[supply]
into = "inlet"
pressure = "60 psig"

[[volume]]
name = "inlet"
size = "2 L"

[[volume]]
name = "outlet"
size = "5 L"
"""
REGULATOR = """
[[regulator]]
name = "worker"
inlet = "inlet"
outlet = "outlet"
set_pressure = "7 in. w.c."
adjusted_at_inlet_pressure = "60 psig"
orifice_diameter = "1/4 in."
"""
APPLIANCE = """
[[appliance]]
name = "oven"
at = "outlet"
rated_flow = "250 scfh"
rated_pressure = "7 in. w.c."
maximum_pressure = "14 in. w.c."
"""
WHOLE = START + REGULATOR + APPLIANCE
LIMITS = '\n[limits]\nkind = "service"\nat = "outlet"\nmaop = "14 in. w.c."\n'


def read(text: str) -> StationFile:
    return read_station(text, name="test")


def refused(text: str) -> ScenarioError:
    with pytest.raises(ScenarioError) as caught:
        read(text)
    assert "\n" not in str(caught.value)
    return caught.value


def same(found, expected):
    """Field by field, for a typed unit is right to the last digit but one."""
    assert type(found) is type(expected)
    for field in fields(expected):
        value = getattr(expected, field.name)
        assert getattr(found, field.name) == (pytest.approx(value, rel=1e-12) if isinstance(value, float) else value)


# What is read


def test_a_plain_station_is_what_its_text_says():
    found = read(WHOLE)
    station = found.scenario.station
    assert (found.name, found.title, found.about, found.limits) == ("test", "A test", "For tests.", None)
    same(station.supply, Supply())
    same(station.regulators[0], Regulator("worker", orifice_diameter=INCH / 4, relief=None))
    same(station.loads[0], Load("oven", rated_flow=250 * SCF / HOUR))
    assert len(station.regulators) == len(station.loads) == 1
    assert {v.name: v.size for v in station.volumes} == pytest.approx({"inlet": 2e-3, "outlet": 5e-3})
    assert station.gas is NATURAL_GAS
    assert found.scenario.duration == Scenario().duration


@pytest.mark.parametrize(
    ("key", "typed", "value"),
    [
        ("set_pressure", "2 psi", 2 * PSI),
        ("set_pressure", "20 mbar", 2000.0),
        ("orifice_diameter", "6.35 mm", 6.35e-3),
        ("orifice_diameter", '1/4"', INCH / 4),
        ("case_volume", "0.02 ft3", 0.02 * FOOT**3),
        ("diaphragm_area", "200 cm2", 0.02),
        ("spring_rate", "1200 N/m", 1200.0),
        ("area_growth", "5 %", 0.05),
    ],
)
def test_units_are_a_person_s_own(key, typed, value):
    text = "\n".join(line for line in REGULATOR.splitlines() if not line.startswith(f"{key} "))
    regulator = read(START + text + f"\n{key} = '{typed}'\n").scenario.station.regulators[0]
    assert getattr(regulator, key.replace("set_", "set_gauge_")) == pytest.approx(value, rel=1e-9)


def test_a_share_may_be_a_plain_number():
    assert read(START + REGULATOR + "area_growth = 0.05").scenario.station.regulators[0].area_growth == 0.05


def test_an_input_is_a_flow_of_the_station_s_gas():
    propane = WHOLE.replace('"For tests."', '"For tests."\ngas = "propane"').replace("250 scfh", "100,000 Btu/h")
    load = read(propane).scenario.station.loads[0]
    assert load.rated_flow == pytest.approx(100_000 * BTU / HOUR / PROPANE.heating_value)


def test_an_absolute_pressure_is_brought_to_gauge_at_the_site():
    high = WHOLE.replace('"For tests."', '"For tests."\naltitude = "1500 m"').replace('"60 psig"', '"80 psia"')
    assert read(high).scenario.station.supply.gauge_pressure == pytest.approx(80 * PSI - atmosphere(1500))


def test_what_is_not_written_is_not_there():
    assert Regulator().relief is not None  # so the next line says something
    assert read(WHOLE).scenario.station.regulators[0].relief is None
    relief = read(START + REGULATOR + '\n[regulator.relief]\nstart_above_set = "8 in. w.c."').scenario.station
    same(relief.regulators[0].relief, InternalRelief(start_above_set=8 * IN_WC))
    seat = read(START + REGULATOR + '\n[regulator.second_seat]\norifice_diameter = "9.5 mm"').scenario.station
    same(seat.regulators[0].second_seat, SecondSeat(orifice_diameter=9.5e-3))
    switch = '\n[[pressure_switch]]\nname = "low"\nsenses = "outlet"\nlow_pressure = "3 in. w.c."\nlocks_out = "oven"'
    found = read(WHOLE + switch).scenario.station.switches[0]
    assert found.high_gauge_pressure is None
    assert found.locks_out == ("oven",)


def test_without_a_timetable_all_appliances_run():
    second = APPLIANCE.replace('"oven"', '"kiln"')
    assert read(WHOLE + second).scenario.demands == (Demand(0.0, 1.0, "oven"), Demand(0.0, 1.0, "kiln"))
    one = '\n[[demand]]\nload = "kiln"\ntime = "1 min"\nshare = "50 %"\n'
    assert read(WHOLE + second + one).scenario.demands == (Demand(60.0, 0.5, "kiln"),)


def test_faults_actions_and_the_run_are_read():
    text = """
[run]
duration = "5 min"

[[fault]]
kind = "debris"
devices = ["worker"]
height = "0.2 mm"
stiffness = "1e5 N/mm"

[[action]]
kind = "adjust_set_point"
device = "worker"
time = "90 s"
by = "-1 in. w.c."
"""
    scenario = read(WHOLE + text).scenario
    assert scenario.duration == 300
    assert (type(scenario.faults[0]).__name__, scenario.faults[0].devices) == ("Debris", ("worker",))
    assert scenario.faults[0].height == pytest.approx(2e-4)
    assert scenario.faults[0].stiffness == pytest.approx(1e8)
    assert scenario.actions[0].by == pytest.approx(-IN_WC)


def test_limits_are_read_and_frozen():
    text = WHOLE + LIMITS + 'features = ["single_port"]\n[limits.inlet_maxima]\nworker = "125 psig"\n'
    limits = read(text).limits
    assert isinstance(limits, StationLimits)
    assert (limits.kind, limits.at, limits.features, limits.clean_gas) == ("service", "outlet", ("single_port",), True)
    assert limits.maop == pytest.approx(14 * IN_WC)
    assert limits.smys_gauge_pressure is None
    assert limits.inlet_maxima == {"worker": pytest.approx(125 * PSI)}
    with pytest.raises(TypeError):
        limits.inlet_maxima["worker"] = 1.0
    assert pickle.loads(pickle.dumps(limits)) == limits


def test_limits_check_themselves():
    with pytest.raises(ScenarioError, match=r"limits\.kind"):
        StationLimits("some system", "outlet", 1e4)
    with pytest.raises(ScenarioError, match=r"limits\.features"):
        StationLimits("service", "outlet", 1e4, features=("new",))


def test_read_twice_is_the_same():
    assert read(WHOLE + LIMITS) == read(WHOLE + LIMITS)


# Every field of every class


def typed(key) -> tuple[str, object]:
    """A value of a key as TOML, and what it must be read as."""
    if key.kind == "number":
        return "1.25", 1.25
    if key.kind == "yes or no":
        return ("false", False) if key.default else ("true", True)
    if key.kind == "name":
        return '"some_name"', "some_name"
    if key.kind == "names":
        return '["one", "two"]', ("one", "two")
    if key.kind == "text":
        return '"Some words."', "Some words."
    if key.kind == "choice":
        return f'"{key.choices[-1]}"', PROPANE if key.field == "gas" else key.choices[-1]
    if key.kind == "choices":
        return f'["{key.choices[-1]}"]', (key.choices[-1],)
    if key.kind == "pressures":
        return '{worker = "2 psi"}', {"worker": pytest.approx(2 * PSI)}
    if key.kind == "table":
        return "{bore = '20 mm'}" if key.name == "vent" else "{orifice_diameter = '9 mm'}", None
    text = f"3 {display_unit(key.kind, 'metric').label}"
    return f'"{text}"', pytest.approx(parse_quantity(text, key.kind))


CLASSES = [kind for _, kind in (PARTS | HAPPENINGS).values() if kind not in (Fault, Action)]
CLASSES += [Supply, StationLimits, *(kind for kinds in KINDS.values() for kind in kinds.values())]
CLASSES += [key.table for kind in CLASSES for key in keys(kind) if key.table]


@pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.__name__)
def test_every_field_of_a_class_is_a_key_that_can_be_read(kind):
    assert [key.field for key in keys(kind)] == [field.name for field in fields(kind)]
    found = [key for key in keys(kind) if key.kind != "table"]
    written = tomllib.loads("\n".join(f"{key.name} = {typed(key)[0]}" for key in found))
    values = read_values(found, written, "here", Site())
    for key in found:
        assert values[key.field] == typed(key)[1], key.name


def test_every_field_of_station_and_scenario_has_a_table():
    tables = {field for field, _ in (PARTS | HAPPENINGS).values()} | {"supply", "station"}
    singles = {key.field for table in ("station", "run") for key in single_keys(table)}
    assert {f.name for f in fields(Station)} | {f.name for f in fields(Scenario)} == (tables | singles) - {
        "title",
        "about",
    }
    assert all(is_dataclass(kind) for _, kind in PARTS.values())


def test_all_faults_can_be_named():
    strikes = {
        "supply": "supply",
        "regulator": "worker",
        "pipe": "supply",
        "sensing_line": "line",
        "relief_valve": "relief",
        "slam_shut": "shut",
        "pressure_switch": "alarm",
        "room": "outlet",
        "volume": "outlet",
    }
    layers = """
[[volume]]
name = "upstream"
size = "2 L"
[[sensing_line]]
name = "line"
tap = "outlet"
[[relief_valve]]
name = "relief"
at = "outlet"
set_pressure = "16 in. w.c."
orifice_diameter = "1 in."
[[slam_shut]]
name = "shut"
inlet = "upstream"
outlet = "inlet"
senses = "outlet"
high_pressure = "24 in. w.c."
[[pressure_switch]]
name = "alarm"
senses = "outlet"
high_pressure = "12 in. w.c."
"""
    base = WHOLE.replace('into = "inlet"', 'into = "upstream"') + layers
    for name, kind in FAULTS.items():
        must = [k for k in keys(kind) if k.must and k.field != "devices"]
        text = f'\n[[fault]]\nkind = "{name}"\ndevices = "{strikes[kind.strikes[0]]}"\n'
        text += "".join(
            f"{k.name} = {small[k.field]}\n"
            for k in must
            for small in [
                {
                    "height": '"0.1 mm"',
                    "leak_area": '"0.1 mm2"',
                    "hole_area": '"1 mm2"',
                    "times": "1.1",
                    "by": '"1 in. w.c."',
                    "blocked_share": '"50 %"',
                    "gauge_pressure": '"80 psig"',
                }
            ]
        )
        assert type(read(base + text).scenario.faults[0]) is kind


# What is refused


@pytest.mark.parametrize(
    ("old", "new", "field", "says"),
    [
        ('set_pressure = "7 in. w.c."', "set_pressure = 7", "regulator 1 (worker).set_pressure", "with its unit"),
        ("7 in. w.c.", "7 bananas", "regulator 1 (worker).set_pressure", "'bananas' is not a unit"),
        ("7 in. w.c.", "7 ft", "regulator 1 (worker).set_pressure", "a unit of length"),
        ("7 in. w.c.", "0 in. w.c.", "regulator 1 (worker).set_pressure", "from 1 to 1e+07 Pa"),
        ('outlet = "outlet"', 'outlet = "outlt"', "regulator 1 (worker).outlet", "Did you mean 'outlet'?"),
        ("orifice_diameter", "orifice_diametre", "regulator 1 (worker).orifice_diametre", "'orifice_diameter'?"),
        ('set_pressure = "7', 'set_gauge_pressure = "7', "regulator 1 (worker).set_gauge_pressure", "'set_pressure'?"),
        ('orifice_diameter = "1/4 in."', "", "regulator 1 (worker).orifice_diameter", "Add orifice_diameter"),
        ('set_pressure = "7 in. w.c."', 'set_pressure = "70 psig"', "regulator 1 (worker).set_pressure", "adjusted at"),
        ('"worker"', '"the worker"', "regulator 1.name", "letters, digits"),
        ("[[regulator]]", "[regulator]", "regulator", "double brackets"),
        ("[supply]", "[[supply]]", "supply", "single brackets"),
        ("[supply]", "[suply]", "suply", "Did you mean 'supply'?"),
        ("250 scfh", "250 psi", "appliance 1 (oven).rated_flow", "a unit of pressure"),
        ('title = "A test"', 'title = ""', "station.title", "one line"),
        ('about = "For tests."', 'about = "x"\naltitude = "9000 m"', "station.altitude", "-500 to 6000"),
        ('about = "For tests."', 'about = "x"\ngas = "methane"', "station.gas", "natural_gas, propane"),
        (
            'pressure = "60 psig"',
            'pressure = "60 psig"\nflow_area = "0 mm2"',
            "supply.flow_area",
            "from 1e-08",
        ),
        ('name = "oven"', 'name = "worker"', "regulator 1 (worker) and appliance 1 (worker): name", "Rename one."),
        ('at = "outlet"', 'at = "outside"', "appliance 1 (oven).at", "one of the volumes inlet, outlet"),
    ],
)
def test_what_is_wrong_is_told_by_table_and_key(old, new, field, says):
    assert WHOLE.count(old), old
    error = refused(WHOLE.replace(old, new, 1) if old != "7 in. w.c." else START + REGULATOR.replace(old, new))
    assert error.field == field
    assert says in str(error)


@pytest.mark.parametrize(
    ("more", "field", "says"),
    [
        ('[[demand]]\nload = "oven"\ntime = "0 s"\nshare = 1\n[[demand]]\nload = "ofen"\ntime = "9 s"\nshare = 0\n',
         "demand 2.load", "Did you mean 'oven'?"),
        ('[[demand]]\nload = "oven"\ntime = "9 s"\nshare = 1\n[[demand]]\nload = "oven"\ntime = "3 s"\nshare = 0\n',
         "demand 2.time", "in order"),
        ('[[demand]]\nload = "ofen"\ntime = "0 s"\nshare = 1\n[[demand]]\nload = "oven"\ntime = "9 s"\nshare = 0\n',
         "demand 1.load", "Did you mean 'oven'?"),
        ('[[fault]]\nkind = "debree"\n', "fault 1 (debree).kind", "Did you mean 'debris'?"),
        ('[[fault]]\ndevices = "worker"\n', "fault 1.kind", "one of debris"),
        ('[[fault]]\nkind = "debris"\ndevices = "worker"\n', "fault 1 (debris).height", "Add height"),
        ('[[fault]]\nkind = "debris"\ndevices = "oven"\nheight = "1 mm"\n', "fault 1 (debris).devices",
         "one of worker"),
        ('[[fault]]\nkind = "debris"\ndevices = []\nheight = "1 mm"\n', "fault 1 (debris).devices", "at least one"),
        ('[[fault]]\nkind = "debris"\ndevices = "worker"\nheight = "9 m"\n', "fault 1 (debris).height", "(this is 9)"),
        ('[[action]]\nkind = "reset"\ndevice = "worker"\ntime = "5 s"\n', "action 1 (reset).device", "one of none"),
        ("[run]\nduration = '0 s'\n", "run.duration", "from 0.1"),
        (LIMITS.replace('"outlet"', '"outlets"'), "limits.at", "Did you mean 'outlet'?"),
        (LIMITS.replace("service", "servise"), "limits.kind", "Did you mean 'service'?"),
        (LIMITS.replace("14 in. w.c.", "-1 in. w.c."), "limits.maop", "above 0"),
        (LIMITS + "[limits.inlet_maxima]\nwroker = '9 psi'\n", "limits.inlet_maxima", "Did you mean 'worker'?"),
        (LIMITS + "[limits.inlet_maxima]\nworker = '0 psi'\n", "limits.inlet_maxima.worker", "above 0"),
        (LIMITS + "features = ['clean']\n", "limits.features", "one of household_pressure"),
        (LIMITS + "clean_gas = 'yes'\n", "limits.clean_gas", "true or false"),
        ("[[pipe]]\nname = 'p'\ninlet = 'inlet'\noutlet = 'inlet'\n", "pipe 1 (p).outlet", "other than the inlet"),
        ("[[sensing_line]]\nname = 'l'\ntap = 'tap'\n", "sensing_line 1 (l).tap", "one of the volumes"),
        ("[[relief_valve]]\nname = 'r'\nat = 'outlet'\nset_pressure = '1 psi'\norifice_diameter = '0 in.'\n",
         "relief_valve 1 (r).orifice_diameter", "from 0.0001"),
        ("[[slam_shut]]\nname = 's'\ninlet = 'inlet'\noutlet = 'outlet'\nsenses = 'outlet'\n",
         "slam_shut 1 (s).high_pressure", "at least one"),
        ("[[pressure_switch]]\nname = 's'\nsenses = 'outlet'\nhigh_pressure = '1 psi'\nlocks_out = ['worker']\n",
         "pressure_switch 1 (s).locks_out", "one of oven"),
        ("[[volume]]\nname = 'house'\nsize = '5 psi'\n", "volume 3 (house).size", "a unit of pressure"),
        (REGULATOR.replace("worker", "w2") + "[regulator.vent]\nbore = '0 mm'\n", "regulator 2 (w2).vent.bore",
         "0.0001"),
        (REGULATOR.replace("worker", "w2") + "relief = 'none'\n", "regulator 2 (w2).relief", "a table of its own"),
        (REGULATOR.replace("worker", "w2") + "lever_ratio = '5'\n", "regulator 2 (w2).lever_ratio", "a plain number"),
        (REGULATOR.replace("worker", "w2") + "lever_ratio = nan\n", "regulator 2 (w2).lever_ratio", "a plain number"),
    ],
)  # fmt: skip
def test_each_table_names_itself_and_its_key(more, field, says):
    error = refused(WHOLE + "\n" + more)
    assert error.field == field
    assert says in str(error)


def test_a_supply_at_which_the_gas_condenses_is_refused():
    text = WHOLE.replace('"For tests."', '"x"\ngas = "propane"\ntemperature = "0 °C"').replace("60 psig", "80 psig")
    assert refused(text).field == "supply.pressure"


@pytest.mark.parametrize(
    ("text", "field", "says"),
    [
        ("", "file", "Begin with [station]"),
        ("# only words\n", "file", "Begin with [station]"),
        ("[station]\ntitle = A test\n", "line 2", "in quotes"),
        ("[station\n", "line 1", "brackets"),
        ("[station]\n[station]\n", "line 2", "may stand once"),
        ('[station]\ntitle = "x\n', "line 2", "quotes"),
        ("x = " + "[" * 1500, "file", "brackets"),
        ("x = [\n" * 20_000, "line 2", "a line of TOML"),
        ("a." * (LONGEST_LINE // 2) + "b = 1", "line 1", "Break the line"),
        ("#\n" * MOST_CHARACTERS, "file", "at most 200,000"),
        ("[station]\n[supply]\n", "station.title", "Add title"),
        ("[run]\n", "station", "Add [station]"),
        ('"a\\nb" = 1\n', "'a\\nb'", "a table of a station"),
        (WHOLE + "[[volume]]\nname = 'v'\nsize = '1 L'\n" * MOST_TABLES, "station", f"at most {MOST_TABLES} parts"),
        (
            WHOLE + "[[demand]]\nload = 'oven'\ntime = '0 s'\nshare = 1\n" * (MOST_HAPPENINGS + 1),
            "demand",
            f"at most {MOST_HAPPENINGS}",
        ),
        (START.replace('"60 psig"', "1" + "0" * 1500), "supply.pressure", "a very large number"),
        (WHOLE.replace("A test", "x" * 300), "station.title", "..."),
    ],
)
def test_a_text_that_is_no_station_is_refused(text, field, says):
    error = refused(text)
    assert error.field == field
    assert says in str(error)
    assert len(str(error)) < 900


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, len(WHOLE) - 1), st.text(max_size=6))
def test_a_slip_of_the_pen_is_read_or_refused(place, slip):
    text = WHOLE[:place] + slip + WHOLE[place + len(slip) :]
    try:
        found = read(text)
    except ScenarioError:
        return
    assert isinstance(found, StationFile)
