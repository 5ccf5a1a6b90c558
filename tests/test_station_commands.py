"""`course stations`, `course simulate` and `course check`, as they are typed."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from toolkit.classroom.spreadsheet import harmless
from toolkit.event_words import EVENT_WORDS
from toolkit.front import command
from toolkit.front.station_commands import JSON_KEYS, MOST_EVENTS, load_station
from toolkit.layers import ACTED
from toolkit.simulation import simulate
from toolkit.station_file import MOST_CHARACTERS, shipped_station, shipped_stations
from toolkit.trace import EVENT_KINDS
from toolkit.units import IN_WC, PSI, format_pressure

SHIPPED = Path(__file__).parent.parent / "toolkit" / "stations"
FAULT = """
[[fault]]
kind = "stuck_stem"
devices = ["worker", "monitor"]
onset = "30 s"

[[action]]
kind = "turn_valve"
device = "supply"
time = "100 s"
share = 0

[[action]]
kind = "reset"
device = "slam_shut"
time = "110 s"
"""


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    def run(*words: str) -> str:
        assert command.main(words) == 0
        out = capsys.readouterr()
        assert out.err == ""
        return out.out

    return run


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    def run(*words: str) -> str:
        assert command.main(words) == command.EXIT_REFUSED
        out = capsys.readouterr()
        assert out.out == ""
        assert out.err.count("\n") == 1
        assert "Traceback" not in out.err
        return out.err

    return run


@pytest.fixture
def failing(tmp_path: Path) -> Path:
    """The boiler's station with both regulators stuck open."""
    file = tmp_path / "failing.toml"
    file.write_text((SHIPPED / "greenhouse_boiler.toml").read_text("utf-8") + FAULT, "utf-8")
    return file


# What it says


def test_the_stations_are_listed_with_a_line_each(said):
    lines = said("stations").splitlines()
    assert [line.split()[0] for line in lines] == list(shipped_stations())
    assert all(shipped_station(line.split()[0]).about in line for line in lines)


@pytest.mark.parametrize("name", shipped_stations())
def test_a_shipped_station_is_run_by_its_name(said, name):
    text = said("simulate", name)
    station = shipped_station(name)
    trace = simulate(station.scenario)
    assert text.startswith(f"{station.title}\n{station.about}\n")
    assert "Protection that acted: none" in text
    for volume in station.scenario.station.volumes:
        (line,) = [line for line in text.splitlines() if line.startswith(f"  {volume.name} ")]
        signal = f"{volume.name}_gauge_pressure"
        assert format_pressure(trace.peak(signal)[1], "us") in line
        assert line.endswith(format_pressure(trace.settled(signal), "us"))


def test_what_went_wrong_is_told_in_words(said, failing):
    text = said("simulate", str(failing))
    assert "worker, monitor  begins: stuck stem" in text
    assert "slam_shut        trips on high pressure at 3" in text
    assert "supply           is turned shut" in text
    assert "slam_shut        the reset is refused: the cause stands" in text
    assert "Protection that acted: high_switch, slam_shut\n" in text
    assert "Above the rating of its controls: boiler\n" in text


def test_units_are_chosen(said, failing):
    assert said("simulate", "bakery") == said("simulate", "bakery", "--us")
    metric = said("simulate", str(failing), "--metric")
    assert "mbar" in metric
    assert "in. w.c." not in metric.split("What happened", 1)[1]
    assert "psig" not in metric.split("What happened", 1)[1]


def test_every_kind_of_event_has_its_words():
    assert EVENT_WORDS.keys() == EVENT_KINDS.keys()
    assert set(ACTED) <= EVENT_KINDS.keys()


def test_many_events_are_cut_and_said_so(said, tmp_path):
    loads = "".join(
        f'\n[[demand]]\nload = "range"\ntime = "{200 + n} s"\nshare = {n % 2}\nstroke = "0.5 s"\n' for n in range(90)
    )
    file = tmp_path / "busy.toml"
    file.write_text((SHIPPED / "house_service.toml").read_text("utf-8") + loads, "utf-8")
    happened = said("simulate", str(file)).split("Pressures")[0]
    assert "more; --json has them all" in happened
    assert len(happened.splitlines()) == MOST_EVENTS + 6
    assert len(json.loads(said("simulate", str(file), "--json"))["events"]) > MOST_EVENTS


def test_the_same_as_data(said, failing):
    data = json.loads(said("simulate", str(failing), "--json"))
    trace = simulate(load_station(str(failing)).scenario)
    assert list(data) == list(JSON_KEYS)
    assert data["keys"] == JSON_KEYS
    assert data["station"] == "failing.toml"
    assert data["acted"] == ["high_switch", "slam_shut"]
    assert data["above_rating"] == ["boiler"]
    assert data["totals"] == dict(trace.totals)
    time, peak = trace.peak("boiler_line_gauge_pressure")
    line = data["pressures"]["boiler_line"]
    assert (line["highest_at"], line["highest"]) == (time, peak)
    assert line["settled"] == trace.settled("boiler_line_gauge_pressure")
    trips = [event for event in data["events"] if event["kind"] == "trips_high"]
    assert [trip["subject"] for trip in trips] == ["slam_shut"]
    assert trips[0]["value"] == pytest.approx(32 * IN_WC, rel=0.01)
    # Data are SI whatever is shown.
    metric = json.loads(said("simulate", str(failing), "--json", "--metric"))
    assert metric["pressures"] == data["pressures"]


def test_the_trace_as_a_table(said):
    rows = list(csv.reader(io.StringIO(said("simulate", "house_service", "--csv"))))
    trace = simulate(shipped_station("house_service").scenario)
    heads = rows[0]
    assert len(heads) == len(trace.signals) + 1
    assert len(rows) == len(trace.times) + 1
    column = {head.split(" [")[0]: number for number, head in enumerate(heads)}
    assert heads[column["house_gauge_pressure"]] == "house_gauge_pressure [in. w.c.]"
    assert heads[column["service_line_gauge_pressure"]] == "service_line_gauge_pressure [psig]"
    last = [float(cell) for cell in rows[-1]]
    assert last[0] == trace.scenario.duration
    assert last[column["house_gauge_pressure"]] * IN_WC == pytest.approx(trace.settled("house_gauge_pressure"))
    assert last[column["service_line_gauge_pressure"]] * PSI == pytest.approx(
        trace.settled("service_line_gauge_pressure")
    )
    metric = said("simulate", "house_service", "--csv", "--metric").splitlines()[0]
    assert "house_gauge_pressure [mbar]" in metric


def test_no_text_is_taken_for_a_formula():
    for bad in ("=1+1", "+1", "-1", "@x", "\t=1", "\r=1"):
        assert harmless(bad) == f"'{bad}"
    assert harmless("outlet [psig]") == "outlet [psig]"


def test_the_judgement_gets_the_station_and_the_units(said, refused, monkeypatch, tmp_path):
    asked = []
    module = ModuleType("toolkit.judgement")
    module.report = lambda station, units: asked.append((station, units)) or "All good."  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "toolkit.judgement", module)
    assert said("check", "bakery") == "All good.\n"
    assert said("check", "bakery", "--metric") == "All good.\n"
    assert asked == [(shipped_station("bakery"), "us"), (shipped_station("bakery"), "metric")]
    bare = (SHIPPED / "bakery.toml").read_text("utf-8").split("[limits]")[0]
    (tmp_path / "bare.toml").write_text(bare, "utf-8")
    assert "add [limits]" in refused("check", str(tmp_path / "bare.toml"))
    assert len(asked) == 2


# What it refuses


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b" \n\t\n", "is empty"),
        (b"\xef\xbb\xbf\n", "is empty"),
        ("[station]\ntitle = 'Gr\xfcn'".encode("latin-1"), "not a text in UTF-8"),
        (b"[station]\ntitle = x\n", "line 2"),
        (b"[station]\ntitel = 'x'\n", "Did you mean 'title'?"),
        (b"x" * (4 * MOST_CHARACTERS + 1), "too large"),
        (b"x" * (MOST_CHARACTERS + 1), "at most 200,000"),
        (b"\x00\x01", "line 1"),
    ],
)
def test_a_wrong_file_is_told_in_a_sentence(refused, tmp_path, content, says):
    file = tmp_path / "station.toml"
    file.write_bytes(content)
    for task in ("simulate", "check"):
        told = refused(task, str(file))
        assert says in told
        assert "station.toml" in told
    assert file.read_bytes() == content


def test_a_path_that_leads_nowhere_is_told_in_a_sentence(refused, tmp_path):
    assert "is a folder" in refused("simulate", str(tmp_path))
    assert "There is no file" in refused("simulate", str(tmp_path / "none.toml"))
    assert "Did you mean 'bakery'?" in refused("simulate", "bakry")
    assert "`course stations`" in refused("check", "zzz")
    assert refused("simulate", "x" * 5000)
    assert refused("simulate", "a\nb")
    assert refused("simulate", "a\0b")
    assert "name is empty" in refused("simulate", "")
    assert "FILE" in refused("simulate")
    assert "--csv" in refused("simulate", "bakery", "--json", "--csv")
    assert "--metric" in refused("simulate", "bakery", "--us", "--metric")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes among files here")
def test_a_pipe_is_not_waited_for(refused, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert "not a plain file" in refused("simulate", str(tmp_path / "pipe"))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="this user may read everything")
def test_a_file_that_may_not_be_read_is_told(refused, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("[station]")
    file.chmod(0)
    assert "cannot be read" in refused("simulate", str(file))


def test_a_run_that_cannot_be_finished_is_told(refused, monkeypatch):
    monkeypatch.setattr("toolkit.simulation.STEP_BUDGET", 3)
    assert "used up" in refused("simulate", "district_station")


def test_a_byte_order_mark_and_windows_lines_are_no_matter(said, tmp_path):
    file = tmp_path / "bakery.toml"
    text = (SHIPPED / "bakery.toml").read_text("utf-8").replace("\n", "\r\n")
    file.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert said("simulate", str(file)) == said("simulate", "bakery")


@pytest.mark.parametrize(
    "words", [["simulate", "greenhouse_boiler", "--csv"], ["hub-config"], ["demonstrations"]], ids=" ".join
)
def test_as_a_program_it_leaves_nothing_and_ends_quietly_when_nobody_reads_on(tmp_path, words):
    with subprocess.Popen(
        [sys.executable, "-m", "toolkit.front.command", *words],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(SHIPPED.parents[1]), "PYTHONIOENCODING": "ascii"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as program:
        assert program.stdout is not None
        assert program.stderr is not None
        program.stdout.close()
        assert program.stderr.read() == b""
    assert program.returncode == 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no disk that is always full here")
@pytest.mark.parametrize("words", [["stations"], ["hub-config"], ["demonstrations"], ["--help"]], ids=" ".join)
def test_what_cannot_be_written_out_is_told_in_a_sentence(tmp_path, words):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "toolkit.front.command", *words],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": str(SHIPPED.parents[1])},
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert done.returncode == 2
    assert b"cannot be written out" in done.stderr
    assert done.stderr.count(b"\n") == 1


def test_a_terminal_without_the_signs_still_gets_its_answer(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "toolkit.front.command", "simulate", "house_service"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(SHIPPED.parents[1]), "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=True,
    )
    assert b"ft?" in done.stdout
    assert done.stderr == b""


def test_layers_are_compared_on_one_page(capsys):
    assert command.main(["layers", "--metric"]) == 0
    said = capsys.readouterr().out
    for words in ("monitor, wide open", "slam-shut", "relief valve", "mbar", "defeated by", "reset by hand"):
        assert words in said
    assert command.main(["layers", "bakery"]) == 2
