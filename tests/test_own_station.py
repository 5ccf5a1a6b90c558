"""A station of one's own in the diagnosis: its site, its days, its table. No outside source."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from toolkit.classroom.tables import table_of
from toolkit.devices.line import Load
from toolkit.diagnosis import own_station as module
from toolkit.diagnosis.next_check import next_check
from toolkit.diagnosis.own_station import OwnStation, own_site, own_station
from toolkit.diagnosis.posterior import PRIORS, PRIORS_DATED, belief, posterior, priors_for
from toolkit.diagnosis.signatures import (
    NOTHING,
    OTHER,
    RUNS,
    SEED,
    SUSPECTS,
    UNSEEN,
    Run,
    case_of,
    case_on,
    codes_of_run,
    file_name,
    kind_of,
    nearest_kind,
    packed,
    possible,
    runs_of,
    shipped,
    signatures,
    signs_of_run,
    suspects_on,
    trace_of_run,
    unpacked,
)
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import Shade
from toolkit.errors import LaunchError, ScenarioError
from toolkit.faults import SupplyChange, Warmed
from toolkit.front import tables
from toolkit.front.command import EXIT_REFUSED, main
from toolkit.scenario import Scenario, Station
from toolkit.simulation import simulate
from toolkit.station_file import read_station, shipped_station, shipped_stations

NAMES = shipped_stations()
# What holds the outlet gauge's pressure, the volume that the sun warms, and where ice forms.
FOUND = {
    "bakery": ("deck_oven_regulator", "deck_oven_line", "service_regulator"),
    "district_station": ("worker", "main", "worker"),
    "greenhouse_boiler": ("worker", "boiler_line", "worker"),
    "house_service": ("service_regulator", "house", "service_regulator"),
    "propane_yard": ("second_stage", "workshop", "first_stage"),
}
# A sign of a day with nothing wrong stands at this, where the station has it.
SOUND = {
    "outlet_on": "normal",
    "outlet_pilots": "normal",
    "outlet_off": "normal",
    "lock_up": "as on record",
    "creep": "still",
    "inlet": "normal",
    "filter_drop": "small",
    "meter_on": "as the rating",
    "meter_off": "stands",
    "vent_on": "none",
    "vent_off": "none",
    "vent_held": "none",
    "relief": "shut",
    "slam_shut": "open",
    "switch": "quiet",
    "swing": "steady",
    "burners": "gas",
    "vent_end": "clear",
    "line": "whole",
    "monitor_point": "as on record",
    "slam_shut_point": "as on record",
    "switch_point": "as on record",
    "relief_point": "as on record",
}


def station(name):
    return shipped_station(name).scenario.station


def house(*changes):
    text = (tables.SHIPPED_FOLDER.resolve().parents[1] / "stations" / "house_service.toml").read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read_station(text, name="house.toml")


# --- the site


def test_every_shipped_station_is_named_here():
    assert set(FOUND) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_devices_are_found_by_what_they_do(name):
    at = own_site(kind_of(name), Random(1))
    assert (at.regulator, at.room) == FOUND[name][:2]
    assert own_site(kind_of(name), Random(1), cold=True).regulator == FOUND[name][0]
    assert own_site(kind_of(name), Random(1), cold=True, ice=True).regulator == FOUND[name][2]
    worker = next(one for one in at.station.regulators if one.name == at.regulator)
    assert at.set_gauge_pressure == worker.set_gauge_pressure
    assert at.line == (worker.senses if station(name).sensing_lines else "")
    # The loads at the outlet gauge come first: signs are read there.
    assert at.station.loads[0].at in at.station.at_one_pressure(at.room)
    assert {one.name for one in at.station.loads} == {one.name for one in station(name).loads}
    assert {one.load for one in at.demands} == {one.name for one in at.station.loads}


@pytest.mark.parametrize("name", NAMES)
def test_only_what_one_does_not_know_varies(name):
    on_record, inlets = station(name), set()
    for number in range(8):
        now = own_site(kind_of(name), Random(number)).station
        share = now.supply.gauge_pressure / on_record.supply.gauge_pressure
        assert 1 - module.INLET_VARIES <= share <= 1 + module.INLET_VARIES
        inlets.add(share)
        assert replace(now, supply=on_record.supply, loads=on_record.loads) == on_record
    assert len(inlets) == 8


def test_a_tank_s_pressure_falls_in_the_cold():
    colds = [own_site(kind_of("propane_yard"), Random(number), cold=True).station for number in range(8)]
    assert all(273.15 < one.temperature < 280.0 for one in colds)
    assert min(one.supply.gauge_pressure for one in colds) < 0.95 * station("propane_yard").supply.gauge_pressure


@pytest.mark.parametrize("name", ["bakery", "house_service", "propane_yard"])
def test_a_starved_main_passes_the_share_that_it_says(name):
    """By a run: the burners behind the regulator take that share of their rating."""
    at = own_site(kind_of(name), Random(1))
    sagged = SupplyChange(devices="supply", gauge_pressure=at.starved(0.5), onset=5.0, ramp=5.0)
    load = at.station.loads[0]
    takes = simulate(at.day(sagged)).at(f"{load.name}_flow", 55.0)
    assert takes / at.demands[0].share == pytest.approx(0.5 * load.rated_flow, rel=0.05)


def test_the_last_stage_is_the_outlet_wherever_its_load_stands_in_the_file():
    two = station("propane_yard")
    early = Load("dryer", at="yard_line", rated_flow=1e-4, rated_gauge_pressure=6e4, maximum_gauge_pressure=2e5)
    at = own_site(OwnStation("x", replace(two, loads=(early, *two.loads))), Random(1))
    assert at.regulator == "second_stage"
    assert [one.name for one in at.station.loads] == ["forge", "heater", "dryer"]


# --- days


@pytest.mark.parametrize("name", NAMES)
def test_every_suspect_that_can_be_on_it_can_be_drawn(name):
    own = kind_of(name)
    for key in suspects_on(own):
        assert possible(key, own.station)
        if key == OTHER:
            continue
        for number in range(6):
            run = Run(own, key, number, 8)
            case = case_of(run)
            assert case == case_of(run)
            assert case != case_of(run._replace(number=number + 1))
            assert bool(case.scenario.faults) == (key != NOTHING or bool(case.sound.faults)) or key == "leak"


def test_what_it_has_not_cannot_be_its_trouble():
    assert not {"line_broken", "monitor_shut", "relief_dirty", "switch_near"} & set(
        suspects_on(kind_of("house_service"))
    )
    assert {"monitor_shut", "shutoff_near", "switch_near"} <= set(suspects_on(kind_of("greenhouse_boiler")))


def test_each_of_several_devices_has_its_turn():
    struck = {case_on("propane_yard", "relief_dirty", seed).scenario.faults[0].devices for seed in range(12)}
    assert struck == {("yard_relief",), ("wall_relief",)}
    struck = {case_on("greenhouse_boiler", "switch_near", seed).scenario.faults[0].devices for seed in range(12)}
    assert struck == {("high_switch",), ("low_switch",)}


def test_the_sun_warms_what_stands_behind_the_regulator():
    for name in NAMES:
        sun, shade = case_on(name, "sun", 3).scenario.faults
        assert isinstance(sun, Warmed)
        assert isinstance(shade, Shade)
        assert sun.devices == shade.devices == (FOUND[name][1],)


@pytest.mark.parametrize("name", NAMES)
def test_a_day_with_nothing_wrong_shows_nothing_wrong(name):
    for number in (0, 3):
        met = signs_of_run(Run(kind_of(name), NOTHING, number, 8)).met()
        assert {key: value for key, value in met.items() if key in SOUND} == {
            key: value for key, value in SOUND.items() if key in met
        }
        # The outlet can be held low, else the check would tell nothing.
        assert "vent_held" in met


def test_a_day_on_any_station_is_the_same_by_its_seed():
    for of in ("service", "bakery", shipped_station("bakery"), station("bakery"), kind_of("bakery")):
        case = case_on(of, "torn", 7)
        assert case == case_on(of, "torn", 7)
        assert case != case_on(of, "torn", 8)
        assert case.scenario.faults
        assert not case.sound.faults
    assert case_on("bakery", "torn", 7) == case_on(station("bakery"), "torn", 7)


def test_what_a_file_is_called_changes_no_day():
    one, other = (OwnStation(name, station("bakery")) for name in ("bakery", "kept for later"))
    assert case_of(Run(one, "torn", 1, 8)) == case_of(Run(other, "torn", 1, 8))
    assert signs_of_run(Run(one, "torn", 1, 8)) == signs_of_run(Run(other, "torn", 1, 8))


# --- its mark


def test_the_mark_is_of_what_is_built_not_of_how_it_is_written():
    mark = own_station(house()).mark
    assert mark == kind_of("house_service").mark
    assert own_station(house(("Linden Row", "Elm Row"), ("# One house", "# A house"))).mark == mark
    assert own_station(house(('"9 in. w.c."', '"9.0 in. w.c."'))).mark == mark
    changed = [('size = "5 L"', 'size = "6 L"'), ('"9 in. w.c."', '"10 in. w.c."'), ("40,000", "40,010")]
    assert len({mark, *(own_station(house(one)).mark for one in changed)}) == 4
    assert len(mark) == 12


def test_a_table_s_file_stays_in_its_folder_whatever_the_station_is_called():
    for name in ("../../etc/x", "a b\\c", "", "." * 300, "x" * 300, "<i>"):
        file = file_name(OwnStation(name, Station()))
        assert file == file.replace("/", "").replace("\\", "").replace("..", "")
        assert len(file) < 80
        assert file.endswith(".npz")


# --- its table


@pytest.mark.parametrize("name", NAMES)
def test_the_shipped_table_is_whole(name):
    table, own = shipped(name), kind_of(name)
    assert (table.own, table.kind, table.seed, table.runs) == (own, str(own), SEED, RUNS)
    assert table.dated == PRIORS_DATED
    assert table.keys() == suspects_on(own)
    counts = np.bincount(table.suspect, minlength=len(SUSPECTS))
    assert all(RUNS * 0.98 <= counts[list(SUSPECTS).index(key)] <= RUNS for key in suspects_on(own) if key != OTHER)
    most = np.array([len(one.values) for one in SIGNS.values()])
    assert ((table.signs < most) | (table.signs == UNSEEN)).all()
    assert len(packed(table)) < 10_000


@pytest.mark.parametrize("name", NAMES)
def test_a_part_made_anew_is_what_is_shipped(name):
    """Another machine's arithmetic may put one reading beside a limit on its other side: one sign of a run."""
    table, own = shipped(name), kind_of(name)
    for key, number in ((NOTHING, 0), ("dirty_seat", 17), ("torn", 5)):
        row = table.signs[(table.suspect == list(SUSPECTS).index(key)) & (table.number == number)][0]
        assert np.mean(row == np.array(codes_of_run(Run(own, key, number, SEED)))) >= 0.95


def test_on_unseen_days_its_own_table_surprises_less_than_the_nearest_kind_s():
    own_bits = near_bits = 0.0
    right = near_right = 0
    for name in NAMES:
        own = kind_of(name)
        keys = [key for key in suspects_on(own) if key != OTHER]
        chance = Random(17)
        for number in range(8):
            run = Run(own, chance.choices(keys, [PRIORS[key] for key in keys])[0], number, 4711)
            signs = signs_of_run(run)
            mine = posterior(signs, shipped(name))
            near = posterior(signs, nearest_kind(own.station), priors_for(own.station))
            own_bits -= np.log2(mine[run.suspect])
            near_bits -= np.log2(near[run.suspect])
            right += max(mine, key=mine.__getitem__) == run.suspect
            near_right += max(near, key=near.__getitem__) == run.suspect
    assert own_bits < 0.7 * near_bits
    assert right > near_right
    assert right >= 30


@pytest.mark.parametrize("name", ["bakery", "greenhouse_boiler"])
def test_all_that_works_on_a_kind_works_on_a_station(name):
    table = shipped(name)
    assert posterior(Signs(), name) == posterior(Signs(), table) == posterior(Signs(), table.own)
    now = belief(Signs(vent_off="strong", outlet_off="high"), name)
    assert sum(now.shares().values()) == pytest.approx(1.0)
    assert next_check(now).check is not None
    run = now.most_telling("torn")
    assert run.kind == table.own
    trace = trace_of_run(run)
    assert {one.name for one in trace.scenario.station.loads} == {one.name for one in station(name).loads}
    row = table.signs[(table.suspect == list(SUSPECTS).index("torn")) & (table.number == run.number)][0]
    assert np.mean(row == np.array(codes_of_run(run))) >= 0.95


def test_a_table_comes_back_for_its_station_only():
    data = packed(shipped("bakery"))
    again = unpacked(data, kind_of("bakery"))
    assert np.array_equal(again.signs, shipped("bakery").signs)
    with pytest.raises(ScenarioError, match="course tables --station"):
        unpacked(data, kind_of("house_service"))
    with pytest.raises(ScenarioError, match="course tables --station"):
        shipped(OwnStation("mine", Station()))


# --- what cannot be


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"loads": ()}, "at least one load"),
        ({"regulators": ()}, "at least one regulator"),
        ({"loads": (Load(at="inlet"),)}, "behind a"),
    ],
)
def test_a_station_of_which_no_day_can_be_drawn_is_refused(change, words):
    with pytest.raises(ScenarioError, match=words):
        OwnStation("mine", replace(Station(), **change))


def test_a_stage_set_above_the_one_before_it_is_refused():
    two = station("propane_yard")
    first, second = two.regulators
    low = replace(first, set_gauge_pressure=0.9 * second.set_gauge_pressure)
    with pytest.raises(ScenarioError, match=r"second_stage\.set_gauge_pressure"):
        OwnStation("mine", replace(two, regulators=(low, second)))


def test_unknown_names_are_refused():
    with pytest.raises(ScenarioError, match=r"bakerry.*bakery"):
        case_on("bakerry", "torn", 1)
    with pytest.raises(ScenarioError, match="simulated on this kind"):
        case_on("house_service", "monitor_shut", 1)
    with pytest.raises(ScenarioError, match="gremlins"):
        case_on("house_service", "gremlins", 1)


# --- the command, and the table found again


@pytest.fixture
def few(monkeypatch):
    """A table of three days in place of hundreds."""
    monkeypatch.setattr(tables, "runs_of", lambda kind, n, seed: runs_of(kind, n, seed)[:3])


def asked(*words):
    return main(["tables", "--runs", "1", *words])


@pytest.mark.usefixtures("few")
def test_the_command_writes_the_table_of_a_file_and_it_is_found_again(tmp_path, capsys):
    text = (tables.SHIPPED_FOLDER.resolve().parents[1] / "stations" / "house_service.toml").read_text("utf-8")
    mine = text.replace('size = "5 L"', 'size = "6 L"')
    (tmp_path / "my house.toml").write_text(mine, encoding="utf-8")
    assert asked("--station", str(tmp_path / "my house.toml"), "--folder", str(tmp_path / "t")) == 0
    out, err = capsys.readouterr()
    (path,) = (tmp_path / "t").iterdir()
    assert path.name.startswith("my_house_")
    assert str(path) in out
    assert "3 of 3 days" in err
    same = read_station(mine, name="another name.toml")
    found = table_of(same, tmp_path / "t")
    assert found.runs == 1
    assert found.own.station == same.scenario.station
    assert found.own.name == "another name"
    changed = read_station(text.replace('size = "5 L"', 'size = "7 L"'), name="my house.toml")
    assert table_of(changed, tmp_path / "t") is None
    path.write_bytes(path.read_bytes()[:300])
    assert table_of(same, tmp_path / "t") is None


def test_a_table_of_another_version_no_longer_fits(tmp_path):
    mine = house(('size = "5 L"', 'size = "6 L"'))
    own = own_station(mine)
    run = Run(own, NOTHING, 0, SEED)
    table = signatures([run], [codes_of_run(run)], dated="x", per_suspect=1)
    (tmp_path / file_name(own)).write_bytes(packed(table))
    assert table_of(mine, tmp_path) is not None
    (tmp_path / file_name(own)).write_bytes(packed(replace(table, version="0.0.1")))
    assert table_of(mine, tmp_path) is None


def test_a_shipped_station_s_table_is_found_in_no_folder_at_all(tmp_path):
    assert table_of(shipped_station("bakery"), tmp_path / "none").own == kind_of("bakery")
    assert table_of(house(), tmp_path).kind == str(kind_of("house_service"))
    assert table_of(replace(Station(), loads=()), tmp_path) is None


@pytest.mark.usefixtures("few")
def test_without_a_folder_it_goes_to_the_data_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(tmp_path))
    assert asked("--station", "house_service") == 0
    (path,) = (tmp_path / "tables").iterdir()
    assert path.name == file_name(kind_of("house_service"))
    assert table_of(shipped_station("house_service")).runs == 1


def test_what_is_no_station_is_refused_in_words(tmp_path, capsys):
    text = (tables.SHIPPED_FOLDER.resolve().parents[1] / "stations" / "house_service.toml").read_text("utf-8")
    start, end = text.index("[[appliance]]"), text.index("[run]")
    (tmp_path / "bare.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    for file, words in (("bakerry", "bakery"), (str(tmp_path / "bare.toml"), "[[appliance]]")):
        assert asked("--station", file, "--folder", str(tmp_path / "t")) == EXIT_REFUSED
        assert words in capsys.readouterr().err
    assert not (tmp_path / "t").exists()


def test_days_that_cannot_be_finished_make_no_table(monkeypatch):
    monkeypatch.setattr(tables, "codes_of_run", lambda _run: None)
    with pytest.raises(LaunchError, match="course simulate"):
        tables.made(kind_of("house_service"), 1)


def test_a_day_is_a_scenario_like_any_other():
    case = case_on("district_station", "line_blocked", 5)
    assert isinstance(case.scenario, Scenario)
    assert case.scenario.faults[0].devices == ("worker_line",)
