"""The signature tables: what is shipped is what the days show. No outside source."""

from __future__ import annotations

import argparse
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from toolkit.diagnosis import signatures as module
from toolkit.diagnosis.posterior import PRIORS_DATED
from toolkit.diagnosis.signatures import (
    NOTHING,
    OTHER,
    RUNS,
    SEED,
    SUSPECTS,
    TWO,
    UNSEEN,
    Run,
    case_of,
    codes_of_run,
    encoded,
    file_name,
    nearest_kind,
    packed,
    possible,
    runs_of,
    shipped,
    signatures,
    signs_of_run,
    suits,
    suspects_on,
    trace_of_run,
    unpacked,
)
from toolkit.diagnosis.signs import GAS, OUTLET, SIGNS, START, Signs
from toolkit.diagnosis.sites import KINDS, site
from toolkit.diagnosis.table import rows
from toolkit.errors import LaunchError, ScenarioError, SimulationError
from toolkit.front import tables
from toolkit.front.command import EXIT_REFUSED, main
from toolkit.station_file import shipped_station, shipped_stations

# All tables together, as the course ships them.
MOST_BYTES = 1_000_000


def packaged(kind):
    return packed(shipped(kind))


# --- what is shipped


@pytest.mark.parametrize("kind", KINDS)
def test_the_shipped_table_is_whole(kind):
    table = shipped(kind)
    assert (table.kind, table.seed, table.runs, table.dated) == (kind, SEED, RUNS, PRIORS_DATED)
    assert table.keys() == suspects_on(kind)
    counts = np.bincount(table.suspect, minlength=len(SUSPECTS))
    for place, key in enumerate(SUSPECTS):
        if key == OTHER:
            assert counts[place] == 1
        elif key in suspects_on(kind):
            # A day in fifty may end in a SimulationError and is left out.
            assert RUNS * 0.98 <= counts[place] <= RUNS
    most = np.array([len(one.values) for one in SIGNS.values()])
    assert ((table.signs < most) | (table.signs == UNSEEN)).all()
    assert (table.signs[table.suspect == list(SUSPECTS).index(OTHER)] == UNSEEN).all()


@pytest.mark.parametrize(
    ("kind", "suspect"),
    [
        ("service", NOTHING),
        ("service", "weak_relief"),
        ("shutoff first", "true_trip"),
        ("line sensed", TWO),
        ("monitored", "monitor_shut"),
        ("damped", "oversize"),
        ("damped, monitored", "monitor_near"),
    ],
)
def test_a_part_made_anew_is_what_is_shipped(kind, suspect):
    """Another machine's arithmetic may put one reading beside a limit on its other side: one sign of a run."""
    table, place = shipped(kind), list(SUSPECTS).index(suspect)
    for number in (0, 17):
        row = table.signs[(table.suspect == place) & (table.number == number)][0]
        anew = codes_of_run(Run(kind, suspect, number, SEED))
        assert np.mean(row == np.array(anew)) >= 0.95


def test_all_tables_together_are_small():
    assert sum(len(packaged(kind)) for kind in (*KINDS, *shipped_stations())) < MOST_BYTES


def test_the_first_belief_comes_at_once():
    """From a fresh Python: loading the table and Bayes' rule, imports aside, in processor time."""
    code = (
        "import time\n"
        "from toolkit.diagnosis.posterior import posterior\n"
        "from toolkit.diagnosis.signs import Signs\n"
        "start = time.process_time()\n"
        "posterior(Signs(vent_off='strong'), 'monitored')\n"
        "print(time.process_time() - start)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert float(done.stdout) < 0.2


# --- which suspects, which days


def test_every_cause_of_the_table_is_a_suspect_once():
    assert len(SUSPECTS) == len(rows()) + 3
    assert next(iter(SUSPECTS)) == NOTHING
    assert list(SUSPECTS)[-2:] == [TWO, OTHER]


def test_each_kind_the_table_of_symptoms_names_is_one_where_the_cause_can_be():
    for row in rows():
        kinds = {kind.removeprefix("cold ") for kind in row.kinds}
        assert all(suits(row.draw.__name__, kind) for kind in kinds)


def test_what_a_station_has_not_cannot_be_its_trouble():
    assert not {"line_broken", "monitor_shut", "relief_dirty", "oversize"} & set(suspects_on("service"))
    assert not {"weak_relief", "true_trip"} & set(suspects_on("monitored"))
    assert "switch_near" not in suspects_on("damped")


@pytest.mark.parametrize("kind", KINDS)
def test_every_suspect_has_a_day_the_same_every_time_and_another_by_number_and_seed(kind):
    for key in suspects_on(kind):
        if key == OTHER:
            continue
        run = Run(kind, key, 3, 8)
        assert case_of(run) == case_of(run)
        assert case_of(run) != case_of(run._replace(number=4))
        assert case_of(run) != case_of(run._replace(seed=9))


def test_some_tears_are_small():
    """A small tear smells a little and hardly moves the outlet: common practice, no source."""
    vent, outlet, start = (list(SIGNS).index(key) for key in ("vent_on", "outlet_on", "relief_start"))
    whiff, normal, below = GAS.index("a whiff"), OUTLET.index("normal"), START.index("below it")
    for kind in ("service", "shutoff first"):
        table = shipped(kind)
        days = table.signs[table.suspect == list(SUSPECTS).index("torn")]
        small = days[(days[:, vent] == whiff) & (days[:, outlet] == normal)]
        assert 5 <= len(small) <= 15, kind
        assert (small[:, start] == below).all()


def test_two_faults_are_two():
    for number in range(12):
        case = case_of(Run("line sensed", TWO, number, 8))
        more = case.scenario.demands[: len(case.sound.demands)] != case.sound.demands
        assert len(case.scenario.faults) + more >= 2


def test_some_days_are_cold_and_every_hydrate_s_is():
    def cold(key):
        return [case_of(Run("service", key, n, 8)).scenario.station.temperature < 280.0 for n in range(60)]

    assert 2 <= sum(cold(NOTHING)) <= 20
    assert all(cold("hydrate"))


def test_true_trips_happen_where_the_shutoff_stands_before_the_relief():
    for number in range(6):
        station = case_of(Run("line sensed", "true_trip", number, 8)).scenario.station
        assert station.slam_shuts[0].high_gauge_pressure < station.relief_valves[0].set_gauge_pressure


def test_a_run_can_be_shown_again():
    run = Run("service", "torn", 2, 8)
    trace = trace_of_run(run)
    assert trace.scenario == case_of(run).scenario
    assert signs_of_run(run) == signs_of_run(run)
    assert encoded(signs_of_run(run)) == codes_of_run(run)


@pytest.mark.parametrize("kind", KINDS)
def test_a_site_is_nearest_to_its_own_kind(kind):
    # Every other site of a kind has its shutoff before its relief; with an internal relief that makes it the next kind.
    for number in range(4):
        assert nearest_kind(site(kind, number, 8).station) == kind


def test_every_shipped_station_has_a_kind_and_suspects():
    for name in shipped_stations():
        station = shipped_station(name).scenario.station
        assert nearest_kind(station) in KINDS
        assert possible("shutoff_near", station) == bool(station.slam_shuts)


# --- files


def test_a_table_comes_back_from_its_bytes():
    table = shipped("service")
    again = unpacked(packed(table))
    assert all(np.array_equal(getattr(again, key), getattr(table, key)) for key in ("signs", "suspect", "number"))
    keys = ("kind", "version", "seed", "runs", "dated")
    assert [getattr(again, key) for key in keys] == [getattr(table, key) for key in keys]
    assert packed(again) == packed(table)


def test_a_table_for_other_signs_is_refused(monkeypatch):
    data = packaged("service")
    monkeypatch.setattr(module, "SIGNS", {key: one for key, one in SIGNS.items() if key != "sun"})
    with pytest.raises(ScenarioError, match="course tables"):
        unpacked(data)


def test_a_table_for_other_values_of_a_sign_is_refused(monkeypatch):
    """Its numbers would stand for other words."""
    data = packaged("service")
    monkeypatch.setitem(module.SIGNS, "sun", replace(SIGNS["sun"], values=("no rise", "rises")))
    with pytest.raises(ScenarioError, match="course tables"):
        unpacked(data)


def test_a_day_that_cannot_be_finished_is_left_out(monkeypatch):
    runs = [Run("service", NOTHING, number, 8) for number in (0, 1)]

    def fails(_):
        raise SimulationError("out of steps")

    good = codes_of_run(runs[0])
    monkeypatch.setattr(module, "simulate", fails)
    assert codes_of_run(runs[1]) is None
    table = signatures(runs, [good, None], dated="x", per_suspect=2)
    assert list(table.number) == [0, 0]
    assert table.keys() == (NOTHING, OTHER)


def test_encoding_is_by_the_order_of_signs():
    row = encoded(Signs(outlet_on="far high", relief_point="off"))
    assert row[0] == 4
    assert row[-1] == 1
    assert set(row[1:-1]) == {UNSEEN}


def test_unknown_names_are_refused():
    with pytest.raises(ScenarioError, match="gremlins"):
        suits("gremlins", "service")
    with pytest.raises(ScenarioError, match="simulated on this kind"):
        case_of(Run("service", "monitor_shut", 0, 1))
    with pytest.raises(ScenarioError, match="simulated on this kind"):
        case_of(Run("service", OTHER, 0, 1))
    with pytest.raises(ScenarioError, match="servce"):
        shipped("servce")


# --- the command


def test_the_command_writes_what_unpacks(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(tables, "KINDS", ("service",))
    monkeypatch.setattr(tables, "shipped_stations", lambda: ())
    monkeypatch.setattr(tables, "runs_of", lambda kind, n, seed: runs_of(kind, n, seed)[:3])
    assert main(["tables", "--runs", "1", "--folder", str(tmp_path / "new")]) == 0
    out, err = capsys.readouterr()
    path = tmp_path / "new" / file_name("service")
    assert str(path) in out
    assert "service: 3 of 3 days" in err
    table = unpacked(path.read_bytes())
    assert table.runs == 1
    assert np.array_equal(table.signs[0], shipped("service").signs[0])


def test_runs_left_out_are_as_many_as_are_shipped(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(tables, "made", lambda kind, n, *_: asked.append((str(kind).split(" ")[0], n)) or b"")
    assert main(["tables", "--folder", str(tmp_path)]) == 0
    # Every kind and every shipped station, in one go.
    assert [n for _, n in asked] == [RUNS] * (len(KINDS) + len(shipped_stations()))
    assert [kind for kind, _ in asked[len(KINDS) :]] == list(shipped_stations())


@pytest.mark.parametrize(("flag", "number"), [("--runs", "0"), ("--runs", "1000000"), ("--workers", "0")])
def test_wrong_numbers_are_refused(flag, number, tmp_path, capsys):
    assert main(["tables", flag, number, "--folder", str(tmp_path)]) == EXIT_REFUSED
    assert flag in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_refused(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(LaunchError, match="--folder"):
        tables.run(argparse.Namespace(runs=1, workers=1, station=None, folder=tmp_path / "file"))
