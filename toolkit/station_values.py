"""One table of a station file: its keys and values read into an object, every error told by table and key."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import Any, NamedTuple

from toolkit import checks
from toolkit.errors import QuantityError, ScenarioError
from toolkit.gas import GASES, NATURAL_GAS, Gas
from toolkit.station_schema import Key, keys
from toolkit.units import STANDARD_ATMOSPHERE, examples, parse_quantity

LONGEST_TEXT, LARGEST_NUMBER = 200, 1e15
# So much of what was given, and of a table's and key's name, is shown.
SHOWN, SHOWN_NAME = 60, 120


class Site(NamedTuple):
    """What turns a typed quantity into SI: the atmosphere [Pa] and the gas."""

    atmosphere: float = STANDARD_ATMOSPHERE
    gas: Gas = NATURAL_GAS


class Entry(NamedTuple):
    """One object of the station, where it was written, and what was written."""

    made: Any
    label: str
    written: Mapping[str, object]


def read_entry(kind: type, written: Mapping[str, object], label: str, site: Site) -> Entry:
    """An object of a class from its table."""
    return Entry(build(kind, read_values(keys(kind), written, label, site), label, written), label, written)


def build(kind: type, values: Mapping[str, Any], label: str, written: Mapping[str, object]) -> Any:
    """An object of a class; what it refuses is told by table and key."""
    try:
        return kind(**values)
    except ScenarioError as error:
        raise retold(error, kind, label, written) from None


def retold(error: ScenarioError, kind: type, label: str, written: Mapping[str, object]) -> ScenarioError:
    """The error of an object of a class, told by the table and key that a person wrote."""
    path = error.field.partition(".")[2].replace("gauge_", "")
    key = path.partition(".")[0]
    given, expected = written.get(key, error.given), error.expected
    if isinstance(given, str) and isinstance(error.given, int | float):
        expected += f" (this is {error.given:.4g})"
    known = key in (one.name for one in keys(kind))
    return refusal(f"{label}.{path}" if known else label, given, expected, error.mend)


def read_values(known: Iterable[Key], written: Mapping[str, object], label: str, site: Site) -> dict[str, Any]:
    """The fields of a table's object, in SI."""
    by_name = {key.name: key for key in known}
    for name, given in written.items():
        if name not in by_name:
            raise refusal(f"{label}.{name}", given, "one of the keys " + ", ".join(by_name), checks.near(name, by_name))
    values: dict[str, Any] = {}
    for name, key in by_name.items():
        if name in written:
            values[key.field] = _value(key, written[name], f"{label}.{name}", site)
        elif key.must:
            raise ScenarioError(f"{label}.{name}", "nothing", "a value", f"Add {name} to {label}.")
        else:
            values[key.field] = key.default
    return values


# Values


def _value(key: Key, given: object, where: str, site: Site) -> Any:
    """One value in SI, or a ScenarioError at `where`."""
    if key.kind == "table":
        if not isinstance(given, dict) or key.table is None:
            raise refusal(where, given, "a table of its own", f"Write it below as [....{key.name}].")
        return read_entry(key.table, given, where, site).made
    if key.kind == "pressures":
        if not isinstance(given, dict):
            raise refusal(where, given, "a table of names and pressures", f"Write it below as [limits.{key.name}].")
        return {name: _quantity("gauge_pressure", one, f"{where}.{name}", site) for name, one in given.items()}
    if key.kind == "yes or no":
        if not isinstance(given, bool):
            raise refusal(where, given, "true or false", "Write one of the two, without quotes.")
        return given
    if key.kind == "number":
        return _number(given, where)
    if key.kind == "text":
        return _text(given, where)
    if key.kind == "name":
        return _name(given, where)
    if key.kind in ("names", "choices"):
        names = [given] if isinstance(given, str) else given
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise refusal(where, given, "a name, or several in [brackets]", 'Write it like ["one", "another"].')
        return tuple(_choice(key, one, where) if key.choices else _name(one, where) for one in names)
    if key.kind == "choice":
        chosen = _choice(key, given, where)
        return GASES[chosen] if isinstance(key.default, Gas) else chosen
    return _quantity(key.kind, given, where, site)


def _number(given: object, where: str) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not abs(given) <= LARGEST_NUMBER:
        raise refusal(where, given, "a plain number", "Write it without quotes and without a unit.")
    return float(given)


def _text(given: object, where: str) -> str:
    if not isinstance(given, str) or not given.strip() or not given.isprintable() or len(given) > LONGEST_TEXT:
        raise refusal(where, given, f"one line of at most {LONGEST_TEXT} characters", "Write it in quotes.")
    return given.strip()


def _name(given: object, where: str) -> str:
    try:
        return checks.name(where, given)
    except ScenarioError as error:
        raise refusal(where, given, error.expected, error.mend) from None


def _choice(key: Key, given: object, where: str) -> str:
    if not isinstance(given, str) or given not in key.choices:
        raise refusal(where, given, "one of " + ", ".join(key.choices), checks.near(given, key.choices))
    return given


def _quantity(kind: str, given: object, where: str, site: Site) -> float:
    if kind == "fraction" and not isinstance(given, str):
        return _number(given, where)
    expected = f"a number with its unit in quotes, such as {examples(kind)}"
    if not isinstance(given, str):
        first = examples(kind).partition(" or ")[0]
        raise refusal(where, given, expected, f'Write it like {where.rpartition(".")[2]} = "{first}".')
    try:
        return parse_quantity(given, kind, site_atmosphere=site.atmosphere)
    except QuantityError as error:
        if kind == "standard_flow":  # an appliance's plate gives its input
            with suppress(QuantityError):
                return parse_quantity(given, "heat_input") / site.gas.heating_value
        mend = str(error).partition(f"such as {examples(kind)}. ")[2]
        raise refusal(where, given, expected, mend) from None


def refusal(field: str, given: object, expected: str, mend: str) -> ScenarioError:
    """A ScenarioError that shows only so much of what was given."""
    if isinstance(given, dict | list):
        given = "a table" if isinstance(given, dict) else "a list"
    elif isinstance(given, str) and len(given) > SHOWN:
        given = given[:SHOWN] + "..."
    elif isinstance(given, int) and abs(given) > LARGEST_NUMBER:
        given = "a very large number"
    elif given is None:
        given = "nothing"
    field = field if len(field) <= SHOWN_NAME else field[:SHOWN_NAME] + "..."
    return ScenarioError(field if field.isprintable() else repr(field), given, expected, mend)
