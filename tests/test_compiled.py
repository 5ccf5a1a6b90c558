"""The engine's machine code: the same floats as plain Python, made once, and never in the way where it is not there."""

import math
import os
import pickle
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from layered import SCENARIOS
from random_stations import random_scenario
from test_stiff import DAY, FAULTS

from toolkit import compiled
from toolkit.devices.fit import MOST_PORTS, MOST_READ, MOST_VALUES
from toolkit.devices.relief_valve import ReliefValve
from toolkit.errors import SimulationError
from toolkit.front import engine
from toolkit.network import network
from toolkit.rates import BLOCK, HEAD, RESTS
from toolkit.scenario import Scenario, Station
from toolkit.simulation import integrate, settled_state, simulate

TOOLKIT = Path(compiled.__file__).parent
ALIKE = {name: Scenario(demands=DAY, faults=faults) for name, faults in FAULTS.items()} | {
    name: SCENARIOS[name] for name in list(SCENARIOS)[::4]
}
# Drawn at random: one that is found to hunt by its turning points, and one by its patience.
SWINGS = {"hunts": random_scenario(263), "swings without order": random_scenario(1129)}


@pytest.fixture
def by():
    """Runs a scenario by one machine or the other, from a start that it finds itself."""
    before = compiled.machine()

    def run(one, scenario):
        compiled.use(one)
        settled_state.cache_clear()
        return simulate(scenario)

    yield run
    compiled.use(before)
    settled_state.cache_clear()


@pytest.fixture
def unused(monkeypatch, tmp_path):
    """As in a process that has not run the engine yet, with an empty cache."""
    monkeypatch.setattr(compiled, "_in_use", [])
    monkeypatch.setenv(compiled.FOLDER, str(tmp_path / "cache"))
    compiled.code_path.cache_clear()
    yield
    compiled.code_path.cache_clear()


def test_the_tests_run_the_machine_code():
    assert compiled.machine().compiled


@pytest.mark.parametrize("name", ALIKE)
def test_machine_code_and_plain_python_give_the_same_run(by, name):
    plain, native = (by(one, ALIKE[name]) for one in (compiled.plain(), compiled.machine()))
    assert plain.steps == native.steps
    assert [(e.kind, e.subject) for e in plain.events] == [(e.kind, e.subject) for e in native.events]
    for signal, values in plain.signals.items():
        assert native[signal] == pytest.approx(values, rel=1e-9, abs=1e-12), signal
    assert native.times == pytest.approx(plain.times, rel=1e-12)


class Fenced(list):
    """A buffer that lets nobody reach outside it: machine code would read and write what stands beside it."""

    def __getitem__(self, at):
        assert isinstance(at, slice) or at >= 0
        return super().__getitem__(at)

    def __setitem__(self, at, value):
        assert at >= 0
        super().__setitem__(at, value)


class FencedMachine(compiled.Machine):
    """Plain Python on fenced buffers."""

    def floats(self, values):
        return Fenced(values)

    def room(self, count):
        return Fenced([0.0] * count)

    def ints(self, values):
        return Fenced(values)


@pytest.mark.parametrize("name", ["everything, slug through both", "second seat fouled", "worker's line broken"])
def test_no_function_of_the_machine_code_reaches_outside_a_buffer(by, name):
    """A list raises where machine code would spoil memory; three runs go through every law, a trip, hunting, leaks."""
    scenario = replace(SCENARIOS[name], duration=60.0)
    assert by(FencedMachine(), scenario).steps == by(compiled.machine(), scenario).steps


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_plan_has_room_for_every_device(name):
    net = network(SCENARIOS[name])
    for fit in net.fits:
        assert len(fit.places) <= MOST_READ
        assert len(fit.ports) <= MOST_PORTS
        assert max((port.shown for port in fit.ports), default=0) < fit.values <= MOST_VALUES
    assert len(net.plan) == HEAD + BLOCK * len(net.fits)
    assert len(net.fixed) == RESTS + 2 * net.dynamic + (1 + MOST_PORTS) * len(net.fits)
    assert len(net.numbers(net.scenario.conditions(0.0))) == net.count


@pytest.mark.parametrize("room", [1, 3])
@pytest.mark.parametrize("name", ["healthy", "sun on the pipe", "slam-shut trips", "hunts", "swings without order"])
def test_a_run_does_not_depend_on_how_often_it_comes_back_for_room(monkeypatch, name, room):
    """A day, one whose conditions move, one that trips, two that hunt: the same to the last bit."""
    scenario = (ALIKE | SCENARIOS | SWINGS)[name]
    whole = simulate(scenario)
    monkeypatch.setattr("toolkit.simulation.ROOM", room)
    pieces = simulate(scenario)
    assert np.array_equal(whole.times, pieces.times)
    for signal, values in whole.signals.items():
        assert np.array_equal(values, pieces[signal]), signal
    assert whole.events == pieces.events
    assert whole.totals == pieces.totals


def test_runs_in_threads_are_the_runs_in_a_row():
    """Machine code runs without Python's lock: two runs must share nothing that either writes."""
    scenarios = [*ALIKE.values()] * 3
    alone = [simulate(scenario) for scenario in scenarios]
    settled_state.cache_clear()
    with ThreadPoolExecutor(4) as pool:
        beside = list(pool.map(simulate, scenarios))
    for one, other in zip(alone, beside, strict=True):
        assert np.array_equal(one.times, other.times)
        assert all(np.array_equal(values, other[signal]) for signal, values in one.signals.items())
        assert one.events == other.events


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are not forked here")
def test_a_process_that_is_forked_runs_the_code_that_was_loaded_before():
    """In a process of its own, since one with threads must not be forked."""
    script = (
        "from concurrent.futures import ProcessPoolExecutor\n"
        "from multiprocessing import get_context\n"
        "from toolkit import compiled\n"
        "from toolkit.scenario import Scenario\n"
        "from toolkit.simulation import simulate\n"
        "here = simulate(Scenario())\n"
        "def there(_):\n"
        "    return compiled.machine().compiled, simulate(Scenario(duration=500.0)), simulate(Scenario())\n"
        "with ProcessPoolExecutor(2, get_context('fork')) as pool:\n"
        "    for native, _, again in pool.map(there, range(4)):\n"
        "        assert native and list(again.times) == list(here.times)\n"
        "        assert list(again['outlet_gauge_pressure']) == list(here['outlet_gauge_pressure'])\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=120)


def test_a_scenario_that_has_run_is_sent_and_found_again_as_it_was():
    """What a station has worked out and keeps is no part of it."""
    scenario = ALIKE["hard debris"]
    fresh = pickle.loads(pickle.dumps(replace(scenario, station=replace(scenario.station))))
    trace = simulate(scenario)
    sent = pickle.loads(pickle.dumps(scenario))
    assert sent == scenario == fresh
    assert hash(sent) == hash(scenario) == hash(fresh)
    assert np.array_equal(simulate(sent).times, trace.times)


@pytest.mark.usefixtures("by")
@pytest.mark.parametrize("bad", [math.nan, math.inf])
@pytest.mark.parametrize("by_machine", [compiled.plain, compiled.machine])
def test_a_state_that_is_no_number_ends_a_run_with_an_error(by_machine, bad):
    """None comes from a scenario, whose numbers are checked; if one came, no trace of it may be told."""
    compiled.use(by_machine())
    scenario = Scenario(Station(relief_valves=(ReliefValve("one"), ReliefValve("two"))))
    net, conditions = network(scenario), scenario.conditions(0.0)
    settled = [*settled_state(scenario.station, conditions), 0.0, 0.0, 0.0]
    for place in range(net.dynamic):
        state = [bad if i == place else value for i, value in enumerate(settled)]
        with pytest.raises(SimulationError, match="no step is small enough"):
            integrate(net, state, 0.0, 10.0, conditions, conditions)


def test_a_kernel_loads_no_compiler():
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from toolkit.scenario import Scenario; from toolkit.simulation import simulate\n"
            "simulate(Scenario()); from toolkit import compiled\n"
            "print(compiled.machine().compiled, 'llvmlite' in sys.modules, 'numba' in sys.modules)",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.split() == ["True", "True", "False"]


@pytest.mark.usefixtures("unused")
def test_without_code_the_engine_is_plain_python_and_takes_the_code_up_when_it_comes():
    assert not compiled.machine().compiled
    path = compiled.code_path()
    path.parent.mkdir()
    path.write_bytes(_code())
    assert compiled.machine().compiled


@pytest.mark.usefixtures("unused")
def test_whoever_wants_plain_python_gets_it(monkeypatch):
    compiled.code_path().parent.mkdir()
    compiled.code_path().write_bytes(_code())
    monkeypatch.setenv(compiled.PLAIN, "1")
    assert engine.ready()
    assert not compiled.machine().compiled


@pytest.mark.usefixtures("unused")
def test_a_cache_that_may_not_be_looked_into_is_no_hindrance(monkeypatch):
    def refuse(_path, **_how):
        raise PermissionError(13, "Permission denied")

    for name in ("exists", "mkdir", "unlink"):
        monkeypatch.setattr(Path, name, refuse)
    assert not compiled.machine().compiled
    assert engine.ready()
    monkeypatch.setattr(Path, "exists", lambda _path: False)
    assert not engine.make()


@pytest.mark.usefixtures("unused")
@pytest.mark.parametrize("spoiled", ["empty", "not code", "cut", "one bit"])
def test_damaged_code_is_put_away(spoiled):
    path = compiled.code_path()
    path.parent.mkdir()
    flipped = bytearray(_code())
    flipped[5000] ^= 1
    kept = {"empty": b"", "not code": b"not code", "cut": _code()[:4000], "one bit": bytes(flipped)}
    path.write_bytes(kept[spoiled])
    assert not compiled.machine().compiled
    assert not path.exists()


@pytest.mark.usefixtures("unused")
def test_code_that_cannot_be_read_just_now_is_left_for_others(monkeypatch):
    """Too many open files here says nothing against the code; the others that share the folder go on with it."""
    path = compiled.code_path()
    path.parent.mkdir()
    path.write_bytes(_code())

    def refuse(_path):
        raise OSError(24, "Too many open files")

    with monkeypatch.context() as broken:
        broken.setattr(Path, "read_bytes", refuse)
        assert not compiled.machine().compiled
    assert compiled.machine().compiled


@pytest.mark.usefixtures("unused")
def test_a_full_disk_leaves_nothing_behind(monkeypatch):
    """What was written of the code, before there was no more room, is put away."""

    def runs_out(words, **_how):
        Path(words[4]).write_bytes(_code()[:4000])
        raise subprocess.CalledProcessError(1, words)

    monkeypatch.setattr(subprocess, "run", runs_out)
    assert not engine.make()
    assert list(compiled.code_path().parent.iterdir()) == []


@pytest.mark.usefixtures("unused")
def test_two_that_make_it_at_once_both_have_it(monkeypatch):
    """The other is done while this one compiles, and has begun to clear away what this one looks at."""
    path, code = compiled.code_path(), _code()

    def made_by_both(words, **_how):
        if words[3] == "compile":
            assert words[4] != path
            Path(words[4]).write_bytes(code)
            path.write_bytes(code)

    def gone(file, stat=Path.stat, **how):
        if file.name == "engine-3.o":
            raise FileNotFoundError(2, "No such file", str(file))
        return stat(file, **how)

    path.parent.mkdir()
    for number in range(9):
        (path.parent / f"engine-{number}.o").write_bytes(b"old")
    with monkeypatch.context() as busy:
        busy.setattr(subprocess, "run", made_by_both)
        busy.setattr(Path, "stat", gone)
        assert engine.make()
    assert path.read_bytes() == code
    assert not list(path.parent.glob("*.new"))


@pytest.mark.usefixtures("unused")
def test_code_that_a_machine_does_not_bear_is_not_kept(monkeypatch):
    """Compiling or the first try ends badly: no file, and the course goes on."""
    monkeypatch.setattr(sys, "executable", "/bin/false" if os.name == "posix" else sys.executable + "-not-there")
    assert not engine.make()
    assert list(compiled.code_path().parent.iterdir()) == []


def test_code_is_tried_in_a_process_of_its_own(tmp_path):
    good, bad = tmp_path / "good.o", tmp_path / "bad.o"
    good.write_bytes(_code())
    bad.write_bytes(compiled.sealed(b"\x7fELF" + bytes(2000)))
    for file, fine in ((good, True), (bad, False)):
        done = subprocess.run([sys.executable, "-m", "toolkit.front.engine", "try", str(file)], capture_output=True)
        assert (done.returncode == 0) == fine


@pytest.mark.usefixtures("unused")
def test_old_versions_are_cleared_away(monkeypatch):
    folder = compiled.code_path().parent
    folder.mkdir()
    for number in range(9):
        # one whose maker was ended
        old = folder / ("engine-0-123.new" if number == 0 else f"engine-{number}.o")
        old.write_bytes(b"old")
        os.utime(old, (number, number))
    code = _code()

    def carried_out(words, **_how):
        if words[3] == "compile":
            Path(words[4]).write_bytes(code)

    monkeypatch.setattr(subprocess, "run", carried_out)
    assert engine.make()
    assert sorted(path.name for path in folder.iterdir()) == sorted(
        [compiled.code_path().name, *(f"engine-{number}.o" for number in (6, 7, 8))]
    )


@pytest.mark.usefixtures("unused")
def test_the_name_of_the_code_changes_with_every_source_it_is_made_of(monkeypatch):
    """What holds a compiled function is read for the name; stale code would hide a change of the physics."""
    marked = {p.relative_to(TOOLKIT).as_posix() for p in TOOLKIT.rglob("*.py") if "@compiled" in p.read_text("utf-8")}
    read = []
    monkeypatch.setattr(Path, "read_bytes", lambda path: read.append(path.relative_to(TOOLKIT).as_posix()) or b"")
    before = compiled.code_path()
    assert marked <= set(read)
    monkeypatch.setattr(Path, "read_bytes", lambda path: b"x" if path.name == "flow.py" else b"")
    compiled.code_path.cache_clear()
    assert compiled.code_path() != before


def test_a_reader_names_the_numbers_in_the_order_of_the_fields():
    from toolkit.devices.balance import RegulatorCondition, read_regulator

    numbers = [float(n) for n in range(40)]
    assert read_regulator(numbers, 5) == RegulatorCondition(*numbers[5:34])


def test_an_array_shares_or_copies_what_a_buffer_holds():
    for one in (compiled.plain(), compiled.machine()):
        assert np.array_equal(one.array(one.floats([1.0, 2.0, 3.0]), 2), [1.0, 2.0])


def _code():
    """The code that the tests run by, whatever folder is looked at now."""
    return _CODE.read_bytes()


_CODE = compiled.code_path()
