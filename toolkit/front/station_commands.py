"""`course stations`, `simulate FILE`, `check FILE`, `layers`: stations and what guards them, on the command line.

All that they find goes to stdout; nothing is written to disk.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from toolkit import checks
from toolkit.classroom.spreadsheet import harmless
from toolkit.errors import CourseError, LaunchError
from toolkit.event_words import event_words
from toolkit.front.terminal import say
from toolkit.gas import standard_density
from toolkit.layers import ACTED
from toolkit.simulation import simulate
from toolkit.station_file import MOST_CHARACTERS, StationFile, read_station, shipped_station, shipped_stations
from toolkit.trace import Trace
from toolkit.units import LOW_PRESSURE_LIMIT, display_unit, format_pressure, to_display

# A summary shows so many events; --json has them all.
MOST_EVENTS = 60
# Gas let off is told from this share of what the appliances took.
NEXT_TO_NOTHING = 1e-6
JSON_KEYS = {
    "station": "name of the file or of the shipped station",
    "title": "as written in the file",
    "about": "as written in the file",
    "duration": "length of the run, s",
    "steps": "steps that the run took",
    "pressures": "per volume, gauge Pa: start, highest, lowest, settled (the last value); highest_at, lowest_at in s",
    "acted": "names of the devices that opened, made or tripped, in order of their first time",
    "above_rating": "names of the appliances whose controls saw more than their rating",
    "events": "in order: time in s, kind, subject, words, value (gauge Pa, or the new share of a load)",
    "totals": "kg: supplied, delivered, vented, stored",
    "vented_standard_volume": "all gas that got out to the air, m3 at 15 degC and 101.325 kPa",
    "keys": "this list",
}


def run(asked: argparse.Namespace) -> None:
    """Do one of the tasks as asked: `task`, `file`, `units`, `form`. Raises CourseError where it cannot."""
    if asked.task == "stations":
        say(listing())
        return
    if asked.task == "layers":
        say(compared(asked.units))
        return
    station = load_station(asked.file)
    if asked.task == "check":
        say(judged(station, asked.units))
        return
    trace = simulate(station.scenario)
    if asked.form == "json":
        say(json.dumps(as_data(station, trace, asked.units), indent=2, allow_nan=False) + "\n")
    elif asked.form == "csv":
        say(as_csv(trace, asked.units))
    else:
        say(summary(station, trace, asked.units))


def load_station(file: str) -> StationFile:
    """The station of a path, or of a shipped station's name; a LaunchError says in a sentence what is wrong."""
    if file in shipped_stations():
        return shipped_station(file)
    shown = file if file.strip() and file.isprintable() else repr(file)
    path = Path(file)
    try:
        if not file.strip():
            raise LaunchError(
                "The station file's name is empty: give a file (.toml), or a name that `course stations` lists."
            )
        if path.is_dir():
            raise LaunchError(f"{shown} is a folder: name a station file in it.")
        if not path.exists():
            meant = checks.near(file, shipped_stations(), "`course stations` lists the stations of the course.")
            raise LaunchError(f"There is no file {shown}, and no station of the course has that name. {meant}")
        if not path.is_file():
            raise LaunchError(f"{shown} is not a plain file: give a station file (.toml).")
        if path.stat().st_size > 4 * MOST_CHARACTERS:  # a character takes at most four bytes
            raise LaunchError(f"{shown} is too large for a station file: at most {MOST_CHARACTERS:,} characters.")
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise LaunchError(f"{shown} is not a text in UTF-8: save it so, or give a station file.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its name cannot be used"
        raise LaunchError(f"{shown} cannot be read ({why}): check its name and that you may read it.") from None
    if not text.strip():
        raise LaunchError(f"{shown} is empty: begin with [station], or look at one of the course's stations.")
    try:
        return read_station(text, name=path.name)
    except CourseError as error:
        raise LaunchError(f"{shown}: {error}") from None


def listing() -> str:
    """The shipped stations with their line about each."""
    wide = max(map(len, shipped_stations()))
    return "".join(f"{name:<{wide}}  {shipped_station(name).about}\n" for name in shipped_stations())


def compared(units: str) -> str:
    """The layers of protection against the same failures, as tables."""
    from toolkit.choosing import compare, markdown  # late: only this task needs it

    return markdown(compare(), units).rstrip("\n") + "\n"


def judged(station: StationFile, units: str) -> str:
    """What the judgement says of a station; a LaunchError where the file does not say what it may take."""
    if station.limits is None:
        raise LaunchError(f"{station.name}: there is no [limits], so nothing says what it may take: add [limits].")
    from toolkit.judgement import report  # late: a simulation alone does not need it

    text = report(station, units)
    return text if text.endswith("\n") else text + "\n"


# A run in words


def summary(station: StationFile, trace: Trace, units: str) -> str:
    """A run as text: what happened, pressures, what acted, gas."""
    lines = [station.title, station.about, "", f"What happened in {_clock(trace.scenario.duration)}"]
    lines += _happened(trace, units) or ["  nothing"]
    lines += ["", "Pressures"]
    rows = [("", "start", "highest", "at", "lowest", "end")]
    for name, found in _pressures(trace).items():
        shown = {key: format_pressure(found[key], units) for key in ("start", "highest", "lowest", "settled")}
        rows.append(
            (name, shown["start"], shown["highest"], _clock(found["highest_at"]), shown["lowest"], shown["settled"])
        )
    wide = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines += ["  " + "  ".join(cell.ljust(w) for cell, w in zip(row, wide, strict=True)).rstrip() for row in rows]
    lines += ["", "Protection that acted: " + (", ".join(_acted(trace)) or "none")]
    if above := _subjects(trace, ("above_rating",)):
        lines.append("Above the rating of its controls: " + ", ".join(above))
    volume = display_unit("volume", units)
    burnt, vented = (trace.totals[key] / _density(trace) / volume.scale for key in ("delivered", "vented"))
    # what a case breathes in and out leaves a little of either sign, and is no gas let off
    out = f"{vented:,.3g} {volume.label}" if vented >= NEXT_TO_NOTHING * burnt and vented > 0.0 else "none"
    lines.append(f"Gas to the appliances: {burnt:,.4g} {volume.label}, out to the air: {out}")
    return "\n".join(lines) + "\n"


def _happened(trace: Trace, units: str) -> list[str]:
    said = [(_clock(event.time), *event_words(trace, event, units)) for event in trace.events]
    said = [row for number, row in enumerate(said) if number == 0 or row != said[number - 1]]
    wide = [max((len(row[column]) for row in said), default=0) for column in range(2)]
    lines = [f"  {time:>{wide[0]}}  {who:<{wide[1]}}  {words}" for time, who, words in said[:MOST_EVENTS]]
    return lines + ([f"  and {len(said) - MOST_EVENTS} more; --json has them all"] if len(said) > MOST_EVENTS else [])


def _clock(seconds: float) -> str:
    """A time in the run: "42.5 s", "3 min 1.2 s", "10 min"."""
    minutes, rest = divmod(round(seconds, 1), 60)
    parts = [f"{minutes:.0f} min"] * (minutes > 0) + [f"{round(rest, 1):g} s"] * (rest > 0 or minutes == 0)
    return " ".join(parts)


def _pressures(trace: Trace) -> dict[str, dict[str, float]]:
    """Start, highest, lowest and last gauge pressure of each volume [Pa], with their times [s]."""
    found = {}
    for volume in trace.scenario.station.volumes:
        values, times = trace[f"{volume.name}_gauge_pressure"], trace.times
        top, bottom = int(values.argmax()), int(values.argmin())
        found[volume.name] = {
            "start": float(values[0]),
            "highest": float(values[top]),
            "highest_at": float(times[top]),
            "lowest": float(values[bottom]),
            "lowest_at": float(times[bottom]),
            "settled": float(values[-1]),
        }
    return found


def _subjects(trace: Trace, kinds: tuple[str, ...]) -> list[str]:
    return list(dict.fromkeys(event.subject for event in trace.events if event.kind in kinds))


def _acted(trace: Trace) -> list[str]:
    return _subjects(trace, ACTED)


def _density(trace: Trace) -> float:
    return standard_density(trace.scenario.station.gas)


# A run as data


def as_data(station: StationFile, trace: Trace, units: str) -> dict[str, Any]:
    """A run as plain data in SI with the keys of JSON_KEYS; only the words of events are in display units."""
    events = [
        {
            "time": event.time,
            "kind": event.kind,
            "subject": event.subject,
            "words": ": ".join(event_words(trace, event, units)),
            "value": event.value,
        }
        for event in trace.events
    ]
    return {
        "station": station.name,
        "title": station.title,
        "about": station.about,
        "duration": trace.scenario.duration,
        "steps": trace.steps,
        "pressures": _pressures(trace),
        "acted": _acted(trace),
        "above_rating": _subjects(trace, ("above_rating",)),
        "events": events,
        "totals": dict(trace.totals),
        "vented_standard_volume": trace.totals["vented"] / _density(trace),
        "keys": JSON_KEYS,
    }


def as_csv(trace: Trace, units: str) -> str:
    """Every signal over time, one row a step of the run; the first row names each with its unit."""
    columns = [("time [s]", [float(time) for time in trace.times]), *_columns(trace, units)]
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow([harmless(name) for name, _ in columns])
    writer.writerows([f"{value:.9g}" for value in row] for row in zip(*(values for _, values in columns), strict=True))
    return page.getvalue()


def _columns(trace: Trace, units: str) -> Iterator[tuple[str, list[float]]]:
    for name, values in trace.signals.items():
        kind = None
        if name.endswith("gauge_pressure"):
            kind = "low_gauge_pressure" if abs(values).max() < LOW_PRESSURE_LIMIT else "gauge_pressure"
        elif name.endswith("flow"):
            kind = "standard_flow"
        elif name.endswith("lift"):
            kind = "small_length"
        unit = display_unit(kind, units).label if kind else "share"
        yield f"{name} [{unit}]", [to_display(float(v), kind, units) if kind else float(v) for v in values]
