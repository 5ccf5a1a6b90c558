"""The formula sheet, read from the docstrings of the functions that the course reckons with.

A function (or a property of a dataclass) goes onto the sheet if its docstring holds these sections, in this order:

    Formula: the heading on the sheet
        y = a √(b)
    Where:
        y: the result, named by what stands left of the first "=" [unit]
        a (parameter): what it is [unit]
        b (parameter.field): the same, read off an object
        c: what the other lines work out
        F0, Ks: see RegulatorCondition
    Holds: where it holds
    Source: `icao-7488`
    Example:
        US: natural gas, a = 1.0 psig gives y = 2 scfh
        metric: natural gas, a = 1.00 bar gives y = 5.55 m³/h

The example is worked by the function itself: what does not come out as written is refused, and so is a symbol that
nobody explains. `both:` stands for the two lines of an example where they would be alike. `see` names a docstring of
SHARED whose own `Where:` explains the symbols.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache
from types import MappingProxyType, ModuleType
from typing import Any

from toolkit import gas, ladder, units
from toolkit.devices import balance, regulator
from toolkit.errors import CourseError
from toolkit.references import SOURCES
from toolkit.units import BTU, FOOT, IN_WC, MBAR, POUND, DisplayUnit, display_unit, format_pressure

# What may stand after "Source:" besides a key of `references`.
NO_KEY = (
    "from memory",
    "common practice, no source",
    "worked out here from the balance of forces",
    "worked out here from the gas law",
)
SYSTEMS = ("US", "metric")
# Symbols that several formulas share, by the name that `Where:` refers to.
SHARED: Mapping[str, str] = MappingProxyType({"RegulatorCondition": balance.RegulatorCondition.__doc__ or ""})

_ORDER = ("Formula", "Where", "Holds", "Source", "Example")
_SECTION = re.compile(rf"({'|'.join(_ORDER)}):\s*(.*)")
_SYMBOL = re.compile(r"(?P<name>[^\s:]+)(?: \((?P<of>[\w.]+)\))?: (?P<meaning>[^\[\]]+?)(?: \[(?P<unit>[^\[\]]+)\])?")
# A letter and what hangs on it. Numbers are no symbols, nor are the words below.
_NAME = re.compile(r"(?<![\w.])[^\W\d_][\w*]*")
_WORDS = {"π", "if", "else", "and", "min", "max"}
_QUANTITY = re.compile(r"(-?[\d,]*\.?\d+)(?: (.+))?")

_KINDS = (
    *("gauge_pressure", "low_gauge_pressure", "absolute_pressure", "standard_flow", "mass_flow", "heat_input"),
    # a temperature before a difference of temperatures, as both are written in °F
    *("small_length", "length", "temperature", "temperature_difference", "time", "fraction", "area", "volume"),
    *("force", "spring_rate"),
)
# By the unit written after a number: what the benches show, and a few that only this sheet needs.
UNITS: Mapping[str, DisplayUnit] = MappingProxyType(
    {
        unit.label: unit
        for unit in (
            *(DisplayUnit("kg/m³", 1.0), DisplayUnit("lb/ft³", POUND / FOOT**3), DisplayUnit("g/mol", 1e-3)),
            *(DisplayUnit("MJ/m³", 1e6), DisplayUnit("Btu/ft³", BTU / units.SCF), DisplayUnit("kJ/kg", 1e3)),
            *(display_unit(kind, system) for kind in reversed(_KINDS) for system in ("us", "metric")),
        )
    }
)


@dataclass(frozen=True)
class Symbol:
    """A letter of a formula: the parameter, or the field of one, that it stands for ("" if none), meaning and unit."""

    name: str
    of: str
    meaning: str
    unit: str


@dataclass(frozen=True)
class Formula:
    """One entry of the sheet: its function, heading, lines, symbols, where it holds, source, examples by unit system.

    The first of the lines gives the result, or several parted by commas.
    """

    code: str
    heading: str
    lines: tuple[str, ...]
    where: tuple[Symbol, ...]
    holds: str
    source: str
    examples: Mapping[str, str]

    @property
    def results(self) -> tuple[str, ...]:
        """The symbols of the results."""
        return tuple(self.lines[0].partition(" = ")[0].split(", "))


def read(code: str, docstring: str) -> Formula | None:
    """The formula in a docstring, or None where it has none; `code` names the function.

    Raises CourseError, with that name and what is missing, on a section that is not there, a symbol that is not
    explained or not used, a source that is not known, an example without its unit system.
    """
    found = _sections(inspect.cleandoc(docstring))
    if "Formula" not in found:
        return None
    for section in _ORDER:
        if not "".join(found.get(section, ())).strip():
            raise _refused(code, f"its formula has no `{section}:`", "Write that section as front/formulas.py has it.")
    if tuple(found) != _ORDER:
        raise _refused(code, "its sections are out of order", f"Put them as {', '.join(_ORDER)}.")
    heading, *lines = found["Formula"]
    if not heading or not lines or " = " not in lines[0]:
        raise _refused(code, "`Formula:` needs a heading and lines such as `y = a b`", "Write them.")
    where = tuple(symbol for line in found["Where"] if line for symbol in _symbols(code, line))
    source = " ".join(found["Source"]).strip().rstrip(".")
    formula = Formula(
        code,
        heading,
        tuple(lines),
        where,
        " ".join(found["Holds"]).strip(),
        source if source in NO_KEY else source.strip("`"),
        _examples(code, [line for line in found["Example"] if line]),
    )
    _check_symbols(formula)
    if formula.source not in (*NO_KEY, *SOURCES):
        raise _refused(code, f"its source {source} is not known", "Give a key of toolkit/references.py in backticks.")
    return formula


def _refused(code: str, what: str, mend: str) -> CourseError:
    return CourseError(units.tidy(f"{code}: {what}. {mend}"))


def _sections(text: str) -> dict[str, list[str]]:
    """The lines of each section: what stands behind its name, then what is indented under it."""
    found: dict[str, list[str]] = {}
    into: list[str] | None = None
    for line in text.splitlines():
        if heads := _SECTION.fullmatch(line):
            into = found.setdefault(heads[1], [])
            into.append(heads[2].strip())
        elif line.startswith("    ") and into is not None:
            into.append(line.strip())
        else:
            into = None
    return found


def _symbols(code: str, line: str) -> list[Symbol]:
    """The symbols that a line of `Where:` explains, or that it takes from a shared docstring."""
    names, refers, shared = line.partition(": see ")
    if refers and shared in SHARED:
        known = {
            symbol.name: symbol
            for told in _sections(inspect.cleandoc(SHARED[shared])).get("Where", ())
            if told
            for symbol in _symbols(shared, told)
        }
        for name in names.split(", "):
            if name not in known:
                raise _refused(code, f"{shared} does not explain {name}", "Explain it there, or here.")
        return [known[name] for name in names.split(", ")]
    parts = _SYMBOL.fullmatch(line)
    if parts is None:
        raise _refused(code, f"{line!r} is no line of `Where:`", "Write `symbol (parameter): meaning [unit]`.")
    return [Symbol(parts["name"], parts["of"] or "", parts["meaning"], parts["unit"] or "")]


def _examples(code: str, lines: list[str]) -> Mapping[str, str]:
    # a long example goes on in the next line
    text = "\n".join(lines)
    for label in ("both", *SYSTEMS):
        text = text.replace(f"\n{label}: ", f"\f{label}: ")
    found = dict(one.replace("\n", " ").partition(": ")[::2] for one in text.split("\f"))
    if list(found) == ["both"]:
        found = dict.fromkeys(SYSTEMS, found["both"])
    if tuple(found) != SYSTEMS:
        raise _refused(
            code, "its example is not given in both unit systems", "Write a line `US:` and a line `metric:`."
        )
    return MappingProxyType(found)


def _check_symbols(formula: Formula) -> None:
    used = {name for line in formula.lines for name in _NAME.findall(line)} - _WORDS
    told = [symbol.name for symbol in formula.where]
    for name in sorted(used - set(told)):
        raise _refused(formula.code, f"the symbol {name} of its formula is not explained", "Add it under `Where:`.")
    for name in told:
        if name not in used:
            raise _refused(formula.code, f"`Where:` explains {name}, which its formula does not use", "Leave it out.")
        if told.count(name) > 1:
            raise _refused(formula.code, f"`Where:` explains {name} twice", "Leave one out.")


# The functions and their examples


def formulas(module: ModuleType) -> tuple[Formula, ...]:
    """The formulas of a module in the order of its functions, each with its examples worked; errors as for `read`.

    Raises CourseError also where an example cannot be worked, or gives something else than what is written.
    """
    found = []
    for code, function, docstring in documented(module):
        formula = read(code, docstring)
        if formula is not None:
            for example in dict.fromkeys(formula.examples.values()):
                _check_example(formula, function, example)
            found.append(formula)
    return tuple(found)


def documented(module: ModuleType) -> Iterator[tuple[str, Callable[..., Any], str]]:
    """Name, function and docstring of a module's public functions, and of the properties of its dataclasses.

    A property counts as a function of its owner's fields.
    """
    where = module.__name__.removeprefix("toolkit.")
    for name, value in vars(module).items():
        if name.startswith("_") or getattr(value, "__module__", "") != module.__name__:
            continue
        if inspect.isfunction(value):
            yield f"{where}.{name}", value, value.__doc__ or ""
        elif inspect.isclass(value) and is_dataclass(value):
            for inner, part in vars(value).items():
                if isinstance(part, property) and part.fget:
                    yield f"{where}.{name}.{inner}", _of(value, part.fget), part.__doc__ or ""


def _of(owner: type, getter: Callable[[Any], Any]) -> Callable[..., Any]:
    """A property as a function of its owner's fields."""

    def worked(**values: Any) -> Any:
        return getter(owner(**values))

    worked.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
        [inspect.Parameter(one.name, inspect.Parameter.KEYWORD_ONLY, default=None) for one in fields(owner)]
    )
    return worked


@lru_cache(maxsize=1)
def _things() -> Mapping[str, Mapping[str, Any]]:
    """What an example may name instead of a number, and the parameter that takes it."""
    bench = regulator.Regulator()
    standing_by = replace(bench, set_gauge_pressure=11 * IN_WC)
    found: dict[str, Mapping[str, Any]] = {one.name: {"gas": one} for one in gas.GASES.values()}
    found["the bench's regulator"] = {"c": bench.condition()}
    found["the bench's monitor"] = {"c": standing_by.condition()}
    for system, lock_up, trip in (("us", 8 * IN_WC, 8.5 * IN_WC), ("metric", 20 * MBAR, 21.5 * MBAR)):
        words = f"lock-up at {format_pressure(lock_up, system)} and trip at {format_pressure(trip, system)}"
        rungs = ladder.rung("lock_up", "worker", lock_up, 0.05), ladder.rung("slam_shut_high", "shutoff", trip, 0.05)
        found[f"{words}, each within 5 %"] = {"rungs": rungs}
    return MappingProxyType(found)


def inputs(formula: Formula, function: Callable[..., Any], example: str) -> dict[str, Any]:
    """The arguments by which an example calls its function, SI values and things; CourseError on what is no input."""
    symbols = {symbol.name: symbol for symbol in formula.where}
    taken = set(inspect.signature(function).parameters)
    found: dict[str, Any] = {}
    for part in _parts(example.partition(" gives ")[0]):
        if part in _things():
            found |= {key: thing for key, thing in _things()[part].items() if key in taken}
            continue
        name, _, quantity = part.partition(" = ")
        if name not in symbols or symbols[name].of not in taken:
            raise _refused(formula.code, f"its example gives {part!r}, which is no input", "Name a symbol, or a thing.")
        found[symbols[name].of] = _value(formula, quantity)[0]
    return found


def results(formula: Formula, worked: object) -> tuple[float, ...]:
    """What a function has given, by the formula's results: numbers, or the fields of an object that they name."""
    values = worked if isinstance(worked, tuple) else (worked,)
    fields_of = {symbol.name: symbol.of for symbol in formula.where}
    return tuple(
        getattr(value, fields_of[name]) if fields_of[name] else value
        for name, value in zip(formula.results, values, strict=True)
    )


def _check_example(formula: Formula, function: Callable[..., Any], example: str) -> None:
    """Work an example and compare it with what is written, to the digits that are written."""
    try:
        worked = function(**inputs(formula, function, example))
    except TypeError as missing:
        raise _refused(formula.code, f"its example cannot be worked ({missing})", "Give every input.") from None
    claimed = example.partition(" gives ")[2]
    written = [part.partition(" = ") for part in claimed.split(", ")]
    if tuple(name for name, _, _ in written) != formula.results:
        raise _refused(formula.code, f"its example says {claimed!r}", f"Give {', '.join(formula.results)}.")
    for (name, _, quantity), value in zip(written, results(formula, worked), strict=True):
        if (comes := _shown(formula, value, quantity)) != quantity:
            raise _refused(formula.code, f"its example says {name} = {quantity}, but it is {comes}", "Correct it.")


def _parts(given: str) -> list[str]:
    """The inputs of an example; the name of a thing may hold commas."""
    for thing in _things():
        if given.startswith(thing):
            rest = given.removeprefix(thing).removeprefix(", ")
            return [thing, *rest.split(", ")] if rest else [thing]
    return given.split(", ")


def _value(formula: Formula, quantity: str) -> tuple[float, DisplayUnit, int]:
    """The SI value of a quantity as written, its unit, and how many decimals it is written with."""
    parts = _QUANTITY.fullmatch(quantity)
    if parts is None or (parts[2] and parts[2] not in UNITS):
        raise _refused(formula.code, f"{quantity!r} in its example cannot be read", f"Use {', '.join(UNITS)}, or none.")
    unit = UNITS[parts[2]] if parts[2] else DisplayUnit("", 1.0)
    number = float(parts[1].replace(",", ""))
    return number * unit.scale + unit.offset, unit, len(parts[1].partition(".")[2])


def _shown(formula: Formula, value: float, like: str) -> str:
    """A value written like another: in its unit, with as many decimals."""
    _, unit, decimals = _value(formula, like)
    return f"{(value - unit.offset) / unit.scale:,.{decimals}f} {unit.label}".strip()
