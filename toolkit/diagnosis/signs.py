"""What a person can meet at any station, at a visit and over a day: one value a sign, or None.

A sign that was not looked at, or whose device is not fitted, is None and tells nothing. This is the one vocabulary of
signs: a look-up page, a quiz and a lesson take their words from SIGNS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace

from toolkit.errors import ScenarioError

OUTLET = ("far low", "low", "normal", "high", "far high")
GAS = ("none", "a whiff", "strong")
# Of the whole day: that it blows now cannot be told from it.
STACK = ("shut", "weeping", "blows or has blown")
PROVEN = ("as on record", "off")
# Held open by the pressure, an internal relief lets nothing off below the point at which it starts.
START = ("no gas leaves", "below it", "as high")
SUN = ("no rise", "rises and stays up", "rises and falls back")


@dataclass(frozen=True)
class Sign:
    """One thing to look at: its key, its name, its values, whether they stand in an order."""

    key: str
    name: str
    values: tuple[str, ...]
    ordered: bool = True


SIGNS: dict[str, Sign] = {
    one.key: one
    for one in (
        Sign("outlet_on", "outlet gauge, all burners on", OUTLET),
        Sign("outlet_pilots", "outlet gauge, pilots only", OUTLET),
        Sign("outlet_off", "outlet gauge, all off", OUTLET),
        Sign("lock_up", "lock-up beside its record", ("lower", "as on record", "higher")),
        Sign("creep", "outlet gauge over minutes, all off", ("still", "creeps")),
        Sign("between", "gauge between the regulators, all on", ("near the outlet", "between", "near the inlet")),
        Sign("inlet", "inlet gauge, all on", ("far low", "low", "normal")),
        Sign("filter_drop", "pressure drop across the filter, all on", ("small", "marked", "large")),
        Sign("meter_on", "meter, all on", ("less than the rating", "as the rating", "more than the rating")),
        Sign("meter_off", "meter, all off", ("stands", "runs")),
        Sign("vent_on", "gas at the vent, all on", GAS),
        Sign("vent_off", "gas at the vent, all off", GAS),
        Sign("vent_held", "gas at the vent, outlet held low", GAS),
        Sign(
            "relief_start",
            "outlet gauge beside the internal relief's start, while gas leaves the vent",
            START,
            ordered=False,
        ),
        Sign("relief", "relief stack", STACK),
        Sign("slam_shut", "slam-shut", ("open", "tripped")),
        Sign("switch", "pressure switch", ("quiet", "made", "chatters")),
        Sign("swing", "needle, steady demand", ("steady", "hunts")),
        Sign("noise", "noise of a regulator", ("quiet", "hums")),
        Sign("frost", "frost on a regulator", ("none", "frost")),
        # It falls back to lock-up, or it has stayed up: the sun lifts, and a leak keeps what it has brought.
        Sign("sun", "gauge in the sun, then in the shade, all off", SUN, ordered=False),
        Sign("spike", "kick at a cut-off", ("small", "marked", "large")),
        Sign("burners", "gas at the burners", ("gas", "pilots only", "no gas")),
        Sign("trip", "when the slam-shut tripped", ("burners on", "as burners shut", "all off"), ordered=False),
        Sign("vent_end", "end of the vent, looked at", ("clear", "blocked")),
        Sign("line", "sensing line, followed and proven", ("whole", "open to the air", "blocked"), ordered=False),
        Sign("monitor_point", "monitor's set point, proven", PROVEN),
        Sign("slam_shut_point", "slam-shut's trip point, proven", PROVEN),
        Sign("switch_point", "switch's set point and deadband, proven", PROVEN),
        Sign("relief_point", "relief valve's opening, proven", PROVEN),
    )
}


@dataclass(frozen=True)
class Signs:
    """What was met: for each sign of SIGNS one of its values, or None. Raises ScenarioError for another value."""

    outlet_on: str | None = None
    outlet_pilots: str | None = None
    outlet_off: str | None = None
    lock_up: str | None = None
    creep: str | None = None
    between: str | None = None
    inlet: str | None = None
    filter_drop: str | None = None
    meter_on: str | None = None
    meter_off: str | None = None
    vent_on: str | None = None
    vent_off: str | None = None
    vent_held: str | None = None
    relief_start: str | None = None
    relief: str | None = None
    slam_shut: str | None = None
    switch: str | None = None
    swing: str | None = None
    noise: str | None = None
    frost: str | None = None
    sun: str | None = None
    spike: str | None = None
    burners: str | None = None
    trip: str | None = None
    vent_end: str | None = None
    line: str | None = None
    monitor_point: str | None = None
    slam_shut_point: str | None = None
    switch_point: str | None = None
    relief_point: str | None = None

    def __post_init__(self) -> None:
        for key, value in self.met().items():
            if value not in SIGNS[key].values:
                raise ScenarioError(
                    f"signs.{key}", value, "one of " + ", ".join(SIGNS[key].values) + ", or None", "Check the spelling."
                )

    def met(self) -> dict[str, str]:
        """The signs that were looked at."""
        return {one.name: value for one in fields(self) if (value := getattr(self, one.name)) is not None}

    def only(self, keys: Iterable[str]) -> Signs:
        """The same, as if nothing but these signs had been looked at."""
        kept = set(keys)
        return replace(self, **{key: None for key in SIGNS if key not in kept})


def _one_of(key: str, *values: str) -> Callable[[Signs], bool]:
    return lambda signs: getattr(signs, key) in values


def _low_at_little(signs: Signs) -> bool:
    return signs.outlet_pilots in OUTLET[:2]


def _low_at_all(signs: Signs) -> bool:
    return signs.outlet_on in OUTLET[:2] and signs.burners != "no gas"


def _at_monitor(signs: Signs) -> bool:
    high = "high" in (signs.outlet_on, signs.outlet_pilots, signs.outlet_off)
    return high and signs.between in ("near the outlet", "between") and signs.creep != "creeps"


def _relief_open(signs: Signs) -> bool:
    if signs.relief is not None:
        return signs.relief != "shut"
    # A relief inside the regulator lets off through the vent.
    return "strong" in (signs.vent_on, signs.vent_off)


# When each symptom of the table of symptoms is met, by its letter.
_LETTERS: Mapping[str, Callable[[Signs], bool]] = {
    "a": lambda signs: any(gas in GAS[1:] for gas in (signs.vent_on, signs.vent_off, signs.vent_held)),
    "b": lambda signs: (
        signs.creep == "creeps" or signs.outlet_off in OUTLET[3:] or signs.lock_up == "higher" or signs.sun == SUN[1]
    ),
    "c": _one_of("outlet_on", *OUTLET[3:]),
    "d": lambda signs: _low_at_all(signs) and not _low_at_little(signs),
    "e": lambda signs: _low_at_all(signs) and _low_at_little(signs),
    "f": _one_of("burners", "no gas"),
    "g": _one_of("swing", "hunts"),
    "h": _one_of("noise", "hums"),
    "i": _relief_open,
    "j": _one_of("slam_shut", "tripped"),
    "k": _one_of("switch", "made", "chatters"),
    "l": _one_of("sun", SUN[2]),
    "m": _one_of("frost", "frost"),
    "n": _at_monitor,
    "o": lambda signs: signs.spike in ("marked", "large") or signs.trip == "as burners shut",
}


def letters(signs: Signs) -> frozenset[str]:
    """The symptoms that the signs amount to, by their letters in symptoms.SYMPTOMS.

    Signs go by the station's record, symptoms by the run of the sound station beside it: near a limit the two differ.
    """
    return frozenset(letter for letter, met in _LETTERS.items() if met(signs))
