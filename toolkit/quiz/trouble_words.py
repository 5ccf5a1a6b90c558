"""A case in words: the station by its tags, the call, and what is met on arrival."""

from __future__ import annotations

from collections.abc import Mapping

from toolkit.diagnosis.load_words import at_place
from toolkit.diagnosis.signs import SIGNS, STACK
from toolkit.quiz.trouble_case import TroubleCase
from toolkit.units import format_pressure, spoken

# What a case is drawn at where no station is chosen.
ANY = "any station"
# What stands at each kind of station.
STATIONS: Mapping[str, str] = {
    "service": "a service regulator with an internal relief, a slam-shut and a switch",
    "shutoff first": "a service regulator with an internal relief, a slam-shut set below the relief, and a switch",
    "line sensed": "a service regulator with a sensing line, a relief valve, a slam-shut and a switch",
    "monitored": "worker and monitor with sensing lines of their own, a relief valve, a slam-shut and a switch",
    "damped": "a regulator with a damped sensing line on short piping, a relief valve and a slam-shut",
    "damped, monitored": "worker and monitor with damped sensing lines on short piping, a relief valve, a slam-shut",
}


def station_words(place: str) -> str:
    """What stands at a place, or the name of a station that comes along."""
    return STATIONS.get(place) or f"the {place.replace('_', ' ')}"


def set_points(case: TroubleCase) -> tuple[tuple[str, float], ...]:
    """What stands on the tags: each device and its set point or trip [Pa gauge], the lowest first."""
    station = case.scenario.station
    pairs = [
        (f"{'worker' if one.name == 'regulator' else spoken(one.name)} set", one.set_gauge_pressure)
        for one in station.regulators
    ]
    reliefs = [
        ("internal relief", one.set_gauge_pressure + one.relief.start_above_set)
        for one in station.regulators
        if one.relief
    ]
    reliefs += [("relief valve", one.set_gauge_pressure) for one in station.relief_valves]
    trips = [("slam-shut", one.high_gauge_pressure) for one in station.slam_shuts if one.high_gauge_pressure]
    trips += [("switch, high", one.high_gauge_pressure) for one in station.switches if one.high_gauge_pressure]
    trips += [("switch, low", one.low_gauge_pressure) for one in station.switches if one.low_gauge_pressure]
    return tuple(sorted([*pairs, *reliefs, *trips], key=lambda one: one[1]))


def tag_rows(case: TroubleCase, units: str) -> tuple[tuple[str, str], ...]:
    """The station's tags and record as rows of words, the first row the heading."""
    station = case.scenario.station
    rating = min(load.maximum_gauge_pressure for load in station.loads)
    inlet = station.supply.gauge_pressure
    rows = [*set_points(case), ("appliances rated for", rating), ("inlet, by the record", inlet)]
    return (("By its tags and record", "Pressure"), *((name, format_pressure(value, units)) for name, value in rows))


_CALLS: Mapping[str | None, str] = {
    "gas": "You are called to look at a station; the burners have gas.",
    "pilots only": "The call says: the pilots burn, but the burners do not come on.",
    "no gas": "The call says: there is no gas at all.",
    None: "You are called to look at a station.",
}


# What a sign's value means where the trade's one word for it is a riddle to who arrives.
_MEANT: Mapping[tuple[str, str], str] = {
    ("switch", "quiet"): "quiet, it has not acted",
    ("switch", "made"): "made, that is, it has acted",
    ("switch", "chatters"): "chatters, it acts and lets go again and again",
    ("relief", STACK[0]): "shut, nothing comes out",
    ("relief", STACK[2]): "blows, or has blown today",
}


def call_words(case: TroubleCase) -> str:
    """The call, and what is met on arrival."""
    met = case.opening().met()
    said = [_CALLS[met.get("burners")]]
    if "trip" in met:
        said.append(f"When the slam-shut tripped, they say: {met['trip']}.")
    seen = "; ".join(
        f"{SIGNS[key].name}: {_MEANT.get((key, value), value)}"
        for key, value in met.items()
        if key not in ("burners", "trip")
    )
    return at_place(f"{' '.join(said)} On arrival you see: {seen}.", case.place)
