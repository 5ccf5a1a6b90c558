"""The engine's machine code: the same floats as plain Python, made once, and never in the way where it is not there."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from layered import SCENARIOS
from test_stiff import DAY, FAULTS

from toolkit import compiled
from toolkit.front import engine
from toolkit.scenario import Scenario
from toolkit.simulation import settled_state, simulate

TOOLKIT = Path(compiled.__file__).parent
ALIKE = {name: Scenario(demands=DAY, faults=faults) for name, faults in FAULTS.items()} | {
    name: SCENARIOS[name] for name in list(SCENARIOS)[::4]
}


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
        old = folder / f"engine-{number}.o"
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
