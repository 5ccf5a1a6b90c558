"""The stations that come with the course: read alike each time, healthy by day and night, guarded if a part fails."""

import tomllib
from collections import Counter
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest

from toolkit.errors import ScenarioError
from toolkit.faults import BrokenSensingLine, NickedSeat, StuckStem
from toolkit.scenario import Demand
from toolkit.simulation import simulate
from toolkit.station_file import read_station, schema_markdown, shipped_station, shipped_stations

FOLDER = Path(__file__).parent.parent / "toolkit" / "stations"
# What a healthy station does: loads come and go, disks with them.
USUAL = {"demand_changes", "seat_opens", "seat_shuts"}
# A case breathes while its diaphragm moves; more than this much gas at a vent is a discharge, kg.
BREATH = 1e-3


def pressure(volume: str) -> str:
    return f"{volume}_gauge_pressure"


def test_there_are_enough_and_each_shows_something_of_its_own():
    assert len(shipped_stations()) >= 5
    assert shipped_stations() == tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))
    stations = [shipped_station(name) for name in shipped_stations()]
    assert len({found.title for found in stations}) == len({found.about for found in stations}) == len(stations)
    shown: Counter[str] = Counter()
    for found in stations:
        station = found.scenario.station
        shown[station.gas.key] += 1
        shown["monitor"] += any(one.name == "monitor" for one in station.regulators)
        shown["relief"] += any(one.relief for one in station.regulators)
        shown["second seat"] += any(one.second_seat for one in station.regulators)
        for part in ("sensing_lines", "relief_valves", "slam_shuts", "switches", "pipes"):
            shown[part] += bool(getattr(station, part))
    assert min(shown.values()) >= 1, shown
    assert len({found.limits.kind for found in stations if found.limits}) >= 3


@pytest.mark.parametrize("name", shipped_stations())
def test_a_file_reads_alike_each_time(name):
    text = (FOLDER / f"{name}.toml").read_text("utf-8")
    assert read_station(text, name=name) == read_station(text, name=name) == shipped_station(name)
    assert (resources.files("toolkit") / "stations" / f"{name}.toml").is_file()


@pytest.mark.parametrize("name", shipped_stations())
def test_a_file_has_words_of_the_trade_at_its_head(name):
    lines = (FOLDER / f"{name}.toml").read_text("utf-8").splitlines()
    assert all(line.startswith("# ") for line in lines[:2])
    assert max(map(len, lines)) <= 130


@pytest.mark.parametrize("name", shipped_stations())
def test_a_file_s_order_of_tables_does_not_matter(name):
    # Written anew from what TOML makes of it, the other way round; TOML's own order is no order of ours.
    text = (FOLDER / f"{name}.toml").read_text("utf-8")
    blocks = text.split("\n\n")
    tables = [block for block in blocks if "\n[" in f"\n{block}"]
    groups: list[list[str]] = []
    for block in tables:
        header = next(line for line in block.splitlines() if line.startswith("["))
        if "." in header:
            groups[-1].append(block)
        else:
            groups.append([block])
    kinds: dict[str, list[str]] = {}
    for group in groups:
        header = next(line for line in group[0].splitlines() if line.startswith("["))
        kinds.setdefault(header, []).append("\n\n".join(group))
    turned = "\n\n".join("\n\n".join(found) for found in reversed(kinds.values()))
    assert tomllib.loads(turned) == tomllib.loads(text)
    assert read_station(turned, name=name) == shipped_station(name)


@pytest.mark.parametrize("name", shipped_stations())
@pytest.mark.parametrize("share", [1.0, 0.1, 0.0])
def test_it_holds_at_any_load(name, share):
    found = shipped_station(name)
    loads = found.scenario.station.loads
    trace = simulate(replace(found.scenario, demands=tuple(Demand(0.0, share, load.name) for load in loads)))
    assert {event.kind for event in trace.events} <= {"seat_opens", "seat_shuts"}
    healthy(found, trace)
    for load in loads:
        # At rest from the start on: it neither creeps nor hunts.
        held = trace[pressure(load.at)]
        assert held.max() - held.min() < 0.02 * held[-1]


@pytest.mark.parametrize("name", shipped_stations())
def test_it_comes_through_its_day_and_night(name):
    found = shipped_station(name)
    demands = found.scenario.demands
    assert all(any(d.load == load.name and d.time == 0 for d in demands) for load in found.scenario.station.loads)
    trace = simulate(found.scenario)
    assert {event.kind for event in trace.events} <= USUAL
    healthy(found, trace)
    loads = found.scenario.station.loads
    assert sum(trace[f"{load.name}_flow"][0] for load in loads) == pytest.approx(
        sum(load.rated_flow for load in loads), rel=0.1
    )
    assert all(trace.settled(f"{load.name}_flow") == 0 for load in loads)


def healthy(found, trace):
    """Nothing opens, trips or vents; every appliance has the pressure it needs, and no more than it takes."""
    station, limits = found.scenario.station, found.limits
    assert trace.totals["vented"] < BREATH
    assert trace[pressure(limits.at)].max() < limits.maop
    for load in station.loads:
        held = trace[pressure(load.at)]
        assert held.max() < load.maximum_gauge_pressure
        assert held.min() > limits.lowest_delivery_gauge_pressure
    for regulator in station.regulators:
        highest = trace[pressure(regulator.inlet)].max()
        assert highest <= limits.inlet_maxima[regulator.name]
    for shut in station.slam_shuts:
        assert trace[f"{shut.name}_open_share"].min() == 1.0
    for switch in station.switches:
        assert trace[f"{switch.name}_made"].max() == 0.0


@pytest.mark.parametrize(
    ("name", "fault", "acts"),
    [
        ("district_station", StuckStem(devices="worker"), None),
        ("district_station", BrokenSensingLine(devices="worker_line"), None),
        ("district_station", StuckStem(devices=("worker", "monitor")), "valve_opens"),
        ("greenhouse_boiler", StuckStem(devices="worker"), None),
        ("greenhouse_boiler", NickedSeat(devices="worker", leak_area=1e-7), None),
        ("bakery", StuckStem(devices="service_regulator"), "second_seat_acts"),
        ("propane_yard", StuckStem(devices="first_stage"), "valve_opens"),
        ("propane_yard", StuckStem(devices="second_stage"), "relief_opens"),
    ],
    ids=lambda value: getattr(value, "devices", value) if not isinstance(value, str) else value,
)
def test_one_failure_is_held_by_the_layer_behind_it(name, fault, acts):
    found = shipped_station(name)
    trace = simulate(replace(found.scenario, faults=(fault,)))
    assert trace.peak(pressure(found.limits.at))[1] < found.limits.maop
    assert not trace.happened("above_rating")
    assert not trace.happened("trips_high")
    assert not trace.happened("switch_high")
    opened = {event.kind for event in trace.events} & {"valve_opens", "relief_opens", "second_seat_acts"}
    assert opened == ({acts} if acts else set())  # no layer opens before its turn


def test_the_boiler_is_locked_out_and_its_gas_shut_off_where_both_regulators_fail():
    found = shipped_station("greenhouse_boiler")
    trace = simulate(replace(found.scenario, faults=(StuckStem(devices=("worker", "monitor")),)))
    assert trace.happened("switch_high")[0].time <= trace.happened("trips_high")[0].time
    assert trace.settled("slam_shut_open_share") == 0.0
    assert trace.settled("boiler_flow") == 0.0


def test_an_unknown_station_is_refused_with_a_suggestion():
    with pytest.raises(ScenarioError, match="Did you mean 'bakery'"):
        shipped_station("bakary")
    with pytest.raises(ScenarioError):
        shipped_station("../stations/bakery")


def test_the_page_about_the_files_is_as_the_code_says():
    # Made anew as the docstring of schema_markdown says.
    assert (FOLDER / "README.md").read_text("utf-8") == schema_markdown()
