"""What a station file may hold, read off the dataclasses themselves, so that file and code cannot drift apart.

A key is its field's name without `gauge_`: a pressure in a file is a gauge pressure unless its unit says "abs" or
"psia". Which kind of quantity a field is follows from the last word of its name.
"""

from __future__ import annotations

import inspect
import re
from collections import abc
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields, is_dataclass
from functools import lru_cache
from types import MappingProxyType, NoneType
from typing import Any, get_args, get_origin, get_type_hints

from toolkit import checks
from toolkit.actions import ACTIONS
from toolkit.devices.line import Load, Supply
from toolkit.errors import ScenarioError
from toolkit.faults import FAULTS
from toolkit.gas import GASES, Gas
from toolkit.limits import SERVICE_REGULATOR_FEATURES
from toolkit.scenario import Scenario, Station
from toolkit.units import display_unit, to_display

# What the limits are asked of: the rules differ by where the gas goes.
SYSTEMS = {
    "low pressure": "a low-pressure distribution system: its mains run at the customers' pressure",
    "service": "one customer's service, fed from a system above the customer's pressure",
    "distribution": "a distribution system with an MAOP of its own, above the customers' pressure",
    "building": "a customer's piping in a building, after the point of delivery",
}
# Those that are mains: at their stations one speaks of full load, the least load and no load, and of no burners.
NETWORKS = ("low pressure", "distribution")


@dataclass(frozen=True)
class StationLimits:
    """What the protected piping and its equipment may take: the facts that a judgement needs and no device carries.

    `kind` is the kind of system, `at` the volume that is protected. Of mains ("low pressure", "distribution") the
    diagnosis says "at full load" where it says "all burners on" elsewhere: the burners are the customers'. Gauge
    pressures [Pa], None is not known: `maop` of what is protected, `smys_gauge_pressure` at which its hoop stress
    equals SMYS, `maximum_actual_gauge_pressure` that the supplying system reaches, `lowest_delivery_gauge_pressure`
    at which the appliances still work. `features` are those that the service regulator has; `clean_gas` says that the
    gas holds nothing that upsets it. `inlet_maxima` gives the highest inlet pressure of devices by name; an
    appliance carries its own as `maximum_gauge_pressure`.
    """

    kind: str
    at: str
    maop: float
    smys_gauge_pressure: float | None = None
    maximum_actual_gauge_pressure: float | None = None
    lowest_delivery_gauge_pressure: float | None = None
    features: tuple[str, ...] = ()
    clean_gas: bool = True
    inlet_maxima: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        for field_name, given in (("kind", (self.kind,)), ("features", self.features)):
            for one in given:
                if one not in _CHOICES[field_name]:
                    expected = "one of " + ", ".join(_CHOICES[field_name])
                    raise ScenarioError(f"limits.{field_name}", one, expected, "Check the spelling.")
        checks.name("limits.at", self.at)
        object.__setattr__(self, "inlet_maxima", MappingProxyType(dict(self.inlet_maxima)))
        for key in ("maop", "smys", "maximum_actual", "lowest_delivery"):
            name = key if key == "maop" else f"{key}_gauge_pressure"
            if getattr(self, name) is not None:
                checks.number(f"limits.{name}", getattr(self, name), 0, 1e8, "Pa", above=True)
        for name, pressure in self.inlet_maxima.items():
            checks.number(f"limits.inlet_maxima.{name}", pressure, 0, 1e8, "Pa", above=True)

    def __reduce__(self) -> tuple[Any, ...]:
        values = [getattr(self, f.name) for f in fields(self)]
        return type(self), (*values[:-1], dict(self.inlet_maxima))


@dataclass(frozen=True)
class StationFile:
    """A station as a person wrote it: `name` of the file, `title`, `about` in a line, its Scenario, its limits."""

    name: str
    title: str
    about: str
    scenario: Scenario
    limits: StationLimits | None = None

    @property
    def feeds_network(self) -> bool:
        """Whether it feeds mains: the burners then stand at the customers, and nobody at the station works them."""
        return self.limits is not None and self.limits.kind in NETWORKS


@dataclass(frozen=True)
class Key:
    """One key of a table: as it is written, the field it fills, its kind, and its default (SI) unless it must be given.

    `kind` is a kind of quantity of `units`, or one of NOT_QUANTITIES; `choices` stand beside "choice" and "choices",
    `table` beside "table".
    """

    name: str
    field: str
    kind: str
    must: bool
    default: object = None
    choices: tuple[str, ...] = ()
    table: type | None = None


NOT_QUANTITIES = {
    "number": "a plain number",
    "text": "words in quotes",
    "name": "the name of a volume, sensing line, case or device",
    "names": "one name, or several in [brackets]",
    "yes or no": "true or false",
    "choice": "one of",
    "choices": "any of",
    "table": "a table of its own",
    "pressures": "a table of names and gauge pressures",
}
# The kind of a number by the last word of its field's name.
_LAST_WORD = {
    **dict.fromkeys(("pressure", "maop"), "gauge_pressure"),
    **dict.fromkeys(("by", "set", "deadband", "difference"), "pressure_difference"),
    **dict.fromkeys(("diameter", "bore", "travel", "depth", "height"), "small_length"),
    **dict.fromkeys(("area", "pop"), "area"),
    **dict.fromkeys(("volume", "size"), "volume"),
    **dict.fromkeys(("rate", "stiffness"), "spring_rate"),
    **dict.fromkeys(
        ("response", "closing", "opening", "stroke", "lag", "onset", "ramp", "time", "duration"),
        "time",
    ),
    **dict.fromkeys(
        ("share", "growth", "up", "blowdown", "accuracy", "edge", "lowest", "highest", "moves", "lift"),
        "fraction",
    ),
    **dict.fromkeys(("ratio", "coefficient", "times"), "number"),
    "flow": "standard_flow",
    "length": "length",
    "altitude": "altitude",
    "temperature": "temperature",
}
# Facts that nobody may guess: a name, a pressure, a rating, an orifice stand in the file or it is refused.
_MUST_KINDS, _MUST_FIELDS = ("name", "gauge_pressure", "standard_flow"), ("orifice_diameter",)
_CHOICES = {"kind": tuple(SYSTEMS), "features": tuple(SERVICE_REGULATOR_FEATURES), "gas": tuple(GASES)}
# The tables by the field of Station or Scenario that they fill; a load is spoken of as an appliance.
_WORDS: dict[type, str] = {Load: "appliance"}


def table_name(kind: type) -> str:
    """The word for a class's table: `SensingLine` is `sensing_line`."""
    return _WORDS.get(kind) or re.sub(r"(?<=[a-z])(?=[A-Z])", "_", kind.__name__).lower()


def _entries(owner: type) -> dict[str, tuple[str, type]]:
    """Table names of a class's fields that hold a row of dataclasses: the field, and the class of an entry."""
    found = {}
    for name, hint in get_type_hints(owner).items():
        if get_origin(hint) is tuple and is_dataclass(get_args(hint)[0]):
            found[table_name(get_args(hint)[0])] = name, get_args(hint)[0]
    return found


PARTS: Mapping[str, tuple[str, type]] = MappingProxyType(_entries(Station))
HAPPENINGS: Mapping[str, tuple[str, type]] = MappingProxyType(_entries(Scenario))
KINDS: Mapping[str, Mapping[str, type]] = MappingProxyType({"fault": FAULTS, "action": ACTIONS})
SINGLE = ("station", "run", "limits", "supply")


@lru_cache(maxsize=256)
def keys(kind: type) -> tuple[Key, ...]:
    """The keys of a dataclass's table, in the order of its fields."""
    hints = get_type_hints(kind)
    return tuple(_key(kind, f, hints[f.name]) for f in fields(kind))


def single_keys(table: str) -> tuple[Key, ...]:
    """The keys of a table that stands once."""
    if table == "station":
        own = [key for key in keys(StationFile) if key.kind == "text" and key.field != "name"]
        return (*own, *(key for key in keys(Station) if key.field in ("gas", "altitude", "temperature")))
    if table == "run":
        return tuple(key for key in keys(Scenario) if key.field == "duration")
    return keys(StationLimits if table == "limits" else Supply)


def _key(owner: type, one: Any, hint: Any) -> Key:
    maybe = NoneType in get_args(hint)
    plain = next(iter(a for a in get_args(hint) if a is not NoneType)) if maybe else hint
    if one.default_factory is not MISSING:
        default = one.default_factory()
    else:
        default = None if one.default is MISSING else one.default
    written = one.name.replace("gauge_", "")
    kind, table = _kind(owner, one.name, plain)
    bare = one.default is MISSING and one.default_factory is MISSING
    once = owner is Supply and one.name == "name"
    must = not maybe and (bare or ((kind in _MUST_KINDS or one.name in _MUST_FIELDS) and default != "" and not once))
    # What may be none is none unless it is written: no layer of protection is there by default.
    return Key(written, one.name, kind, must, None if maybe or must else default, _CHOICES.get(one.name, ()), table)


def _kind(owner: type, name: str, hint: Any) -> tuple[str, type | None]:
    if hint is Gas or name == "kind":
        return "choice", None
    if name == "features":
        return "choices", None
    if hint is bool:
        return "yes or no", None
    if hint is str:
        return "text" if owner is StationFile else "name", None
    if hint is float:
        last = name.rpartition("_")[2]
        if last not in _LAST_WORD:
            raise ScenarioError(f"{owner.__name__}.{name}", last, "a last word of a known kind", "Add it to the table.")
        return _LAST_WORD[last], None
    if is_dataclass(hint):
        return "table", hint if isinstance(hint, type) else None
    return ("pressures" if get_origin(hint) is abc.Mapping else "names"), None


# The page about it

# What docstrings say of the units inside the course.
_INSIDE = re.compile(r" \[[^\]]*\]|; lengths in m\b|(?<=;) SI,| \(flow area in m2\)")
_HEAD = """# Stations in files

A station file is TOML: plain text with one table for each thing.
`course stations` lists the stations that come with the course, `course simulate FILE` runs one, `course check FILE`
judges it; FILE is a file of your own or the name of one of these.

- A quantity stands in quotes with its unit: `"7 in. w.c."`, `"60 psig"`, `"1/4 in."`, `"5 L"`, `"250 scfh"`, `"0.5 s"`.
- A pressure is a gauge pressure; with `psia` or `bar abs` it is brought to gauge at the site's altitude.
- The `rated_flow` of an appliance may be its input, as in `"75,000 Btu/h"`.
- A share is a number from 0 to 1 or `"5 %"`.
- A table in `[[double brackets]]` may stand several times; a table below it belongs to the one just before:
  `[regulator.relief]` to the last `[[regulator]]`.
- What a file does not name is not there: no relief, no second seat, no trip by default.
- Without a `[[demand]]` every appliance runs at its rating; with one, those without stay off.
- Names are short: letters, digits, underscores. A regulator's case is the volume `<regulator>_case`.

The sizes and places are invented. A simulation replaces no code, no written procedure and no licensed person.
"""


def schema_markdown() -> str:
    """The page that says what a station file may hold: `toolkit/stations/README.md`. Made anew by

    uv run python -c "from toolkit.station_schema import schema_markdown as page; print(page(), end='')" \\
        > toolkit/stations/README.md
    """
    parts = [_HEAD]
    once: dict[str, tuple[type | None, str]] = {
        "station": (None, "What it is and where: title, a line about it, gas, altitude, gas temperature."),
        "supply": (Supply, ""),
        "run": (None, "How long to watch."),
        "limits": (StationLimits, ""),
    }
    for table, (one, words) in once.items():
        parts.append(f"## [{table}]\n\n{_about(one) if one else words}\n\n{_rows(single_keys(table))}")
        if table == "limits":
            parts += [f"- `{name}`: {words}" for name, words in (SYSTEMS | SERVICE_REGULATOR_FEATURES).items()] + [""]
    for table, (_, kind) in {**PARTS, **HAPPENINGS}.items():
        if table not in KINDS:
            parts.append(f"## [[{table}]]\n\n{_about(kind)}\n\n{_rows(keys(kind))}")
        for key in keys(kind):
            if key.table:
                parts.append(f"### [{table}.{key.name}]\n\n{_about(key.table)}\n\n{_rows(keys(key.table))}")
    for table, kinds in KINDS.items():
        parts.append(f"## [[{table}]]\n\nBegins with its `kind`; the other keys follow from it.\n")
        parts += [f'### kind = "{name}"\n\n{_about(one)}\n\n{_rows(keys(one))}' for name, one in kinds.items()]
    return "\n".join(parts)


def _about(kind: type) -> str:
    """A class's own words, without the units inside the course."""
    words = " ".join((inspect.getdoc(kind) or "").split())
    return _INSIDE.sub("", words).replace("gauge_", "").replace("None is", "left out is")


def _rows(found: tuple[Key, ...]) -> str:
    rows = ["| key | what | if left out |", "|---|---|---|"]
    rows += [f"| `{key.name}` | {_what(key)} | {_default(key)} |" for key in found]
    return "\n".join(rows) + "\n"


def _what(key: Key) -> str:
    if key.kind in NOT_QUANTITIES:
        return " ".join((NOT_QUANTITIES[key.kind], ", ".join(f"`{choice}`" for choice in key.choices))).strip()
    return key.kind.replace("_", " ").replace("gauge ", "").replace("small ", "")


def _default(key: Key) -> str:
    value = key.default
    if key.must:
        return "refused"
    if value is None or value == "" or value == () or value == {}:
        return "none"
    if key.kind == "table":
        return "as below"
    if isinstance(value, Gas):
        return f"`{value.key}`"
    if isinstance(value, bool):
        return str(value).lower()
    if key.kind in NOT_QUANTITIES or not isinstance(value, int | float):
        return f"{value:g}" if isinstance(value, int | float) else f"`{value}`"
    shown = {f"{to_display(value, key.kind, s):.4g} {display_unit(key.kind, s).label}": None for s in ("us", "metric")}
    return " or ".join(shown)
