"""What is found when a part is looked at, followed or proven by the operator's written procedure, beside its record.

Such work is for qualified persons. It shows the part itself, latches aside, and needs no gas to flow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from toolkit.devices.regulator import Regulator
from toolkit.diagnosis.signs import PROVEN, SIGNS
from toolkit.scenario import Scenario, Station

# What is proven is off by more than this share of what stands on record; a passage is blocked below this share of it.
OFF_RECORD, BLOCKED = 0.1, 0.5

# The condition of each device by its name.
Found = Mapping[str, Any]


def proven(scenario: Scenario, time: float) -> dict[str, str | None]:
    """The signs of all that can be proven at a time [s]; None where a station has no such device."""
    names = [one.name for one in scenario.station.devices]
    now = dict(zip(names, scenario.conditions(time), strict=False))
    return {key: prove(scenario.station, now) for key, prove in _PROVE.items()}


def monitors(station: Station) -> list[tuple[Regulator, Regulator]]:
    """The monitors of a station, each with its worker: in series, and both act on the pressure behind the second.

    A first stage is none: it acts on the pressure between.
    """
    return [
        (one, other)
        for one in station.regulators
        for other in station.regulators
        if one.outlet == other.inlet and (one.senses or one.outlet) in station.at_one_pressure(other.outlet)
    ]


def _off_record(found: Iterable[tuple[float, float]]) -> str:
    """Whether any of some numbers is off what stands on record; pairs of found and recorded."""
    return PROVEN[any(abs(now - record) > OFF_RECORD * abs(record) for now, record in found)]


def _vent_end(station: Station, now: Found) -> str:
    vents = [(now[one.name].vent, one.condition().vent) for one in station.regulators]
    return SIGNS["vent_end"].values[any(now < BLOCKED * record for now, record in vents)]


def _line(station: Station, now: Found) -> str | None:
    if not station.sensing_lines:
        return None
    pairs = [(now[one.name], one.condition()) for one in station.sensing_lines]
    if any(now.air_at_inlet > 0.0 for now, _ in pairs):
        return "open to the air"
    return "blocked" if any(now.flow_area < BLOCKED * record.flow_area for now, record in pairs) else "whole"


def _monitor_point(station: Station, now: Found) -> str | None:
    pairs = monitors(station)
    if not pairs:
        return None
    return _off_record((now[one.name].preload, one.condition().preload) for one, _ in pairs)


def _slam_shut_point(station: Station, now: Found) -> str | None:
    air, shut = station.atmosphere, station.slam_shuts
    points = [(now[one.name], one.condition(air)) for one in shut]
    gauges = [(now.high - air, record.high - air) for now, record in points]
    gauges += [(now.low - air, record.low - air) for now, record in points if record.low > 0.0]
    return _off_record(gauges) if shut else None


def _switch_point(station: Station, now: Found) -> str | None:
    air, pairs = (
        station.atmosphere,
        [(now[one.name], one.condition(station.atmosphere)) for one in station.switches],
    )
    gauges = [(now.high - air, record.high - air) for now, record in pairs]
    gauges += [(now.low - air, record.low - air) for now, record in pairs if record.low > 0.0]
    gauges += [(now.high - now.high_reset, record.high - record.high_reset) for now, record in pairs]
    gauges += [(now.low_reset - now.low, record.low_reset - record.low) for now, record in pairs]
    return _off_record(gauges) if pairs else None


def _relief_point(station: Station, now: Found) -> str | None:
    air, valves = station.atmosphere, station.relief_valves
    pairs = [(now[one.name], one.condition(air)) for one in valves]
    found = [(now.set_pressure - air, record.set_pressure - air) for now, record in pairs]
    found += [(now.outlet_area, record.outlet_area) for now, record in pairs]
    return _off_record(found) if valves else None


_PROVE: Mapping[str, Callable[[Station, Found], str | None]] = {
    "vent_end": _vent_end,
    "line": _line,
    "monitor_point": _monitor_point,
    "slam_shut_point": _slam_shut_point,
    "switch_point": _switch_point,
    "relief_point": _relief_point,
}
