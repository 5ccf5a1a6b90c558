"""Units at the edge: what is shown, and what a person types. Inside the course every number is SI.

The only module that knows pint, which is loaded at the first typed quantity and not before.
Gauge or absolute is a matter of names (`gauge_pressure`, `absolute_pressure`), never of a unit: the site's atmosphere
turns one into the other where a person types "psia" or "psig".

How a number may be typed: `7`, `7.5`, `.5`, `-2`, `2e3`, `1/4`, `1 1/4`, `1½`, `1,500` and `1 500` (thousands),
`0,6` (decimal comma).
A single comma before exactly three digits parts thousands, unless nothing but zero stands before it (`0,600` is 0.6);
before any other number of digits it is a decimal comma. A number that mixes the two in any other way is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING

from toolkit.errors import QuantityError
from toolkit.spellings import EXACT, NUMBER, REFERENCES, SPELLINGS, TIDY

if TYPE_CHECKING:
    import pint

# Exact by definition, or conventional. Sources: `nist-sp-811`, `iso-13443`.
INCH = 0.0254
FOOT = 12 * INCH
POUND = 0.45359237
STANDARD_GRAVITY = 9.80665
POUND_FORCE = POUND * STANDARD_GRAVITY
PSI = POUND_FORCE / INCH**2
IN_WC = 249.08891
MBAR = 100.0
BAR = 1e5
MINUTE = 60.0
HOUR = 60 * MINUTE
GALLON = 231 * INCH**3
BTU = 1055.05585262
FAHRENHEIT_DEGREE = 5 / 9
FAHRENHEIT_ZERO = 459.67 * FAHRENHEIT_DEGREE
CELSIUS_ZERO = 273.15
STANDARD_ATMOSPHERE = 101325.0
STANDARD_TEMPERATURE = 288.15
SIXTY_FAHRENHEIT = FAHRENHEIT_ZERO + 60 * FAHRENHEIT_DEGREE
# A standard cubic foot (14.73 psia, 60 degF), in standard m3 (101.325 kPa, 15 degC).
SCF = FOOT**3 * (14.73 * PSI / STANDARD_ATMOSPHERE) * STANDARD_TEMPERATURE / SIXTY_FAHRENHEIT
# A cubic metre counted at 0 degC instead of 15 degC.
NORMAL_CUBIC_METRE = STANDARD_TEMPERATURE / CELSIUS_ZERO

# The fuel gas code parts low from high pressure here; readouts change their unit at the same place.
LOW_PRESSURE_LIMIT = 1.5 * PSI

LONGEST_TEXT = 60
LARGEST_NUMBER = 1e12
# A smaller number is shown as nothing: it is the noise of a calculation.
SMALLEST_SHOWN = 1e-4
GAUGES = ("low_gauge_pressure", "gauge_pressure")
MOST_DIGITS = 5


def atmosphere(altitude: float) -> float:
    """Pressure of the standard atmosphere [Pa absolute] at an altitude [m, geopotential] from -500 to 11 000 m.

    Raises QuantityError outside that layer.

    Formula: pressure of the air at a site
        pa = p0 (1 - 0.0065 h / 288.15)^5.2559
    Where:
        pa: pressure of the standard atmosphere, absolute [Pa]
        p0: the same at sea level, absolute: 101 325 Pa [Pa]
        h (altitude): height above sea level [m]
    Holds: from -500 to 11 000 m (36 089 ft); the weather moves the real air by a few per cent
    Source: `icao-7488`.
    Example:
        US: h = 5,000 ft gives pa = 12.2 psia
        metric: h = 1,500 m gives pa = 0.846 bar abs
    """
    if not -500 <= altitude <= 11000:
        raise QuantityError(
            f"An altitude of {altitude!r} m was given; -500 to 11 000 m was expected. Give the height above sea level."
        )
    lapse_rate = 0.0065
    exponent = STANDARD_GRAVITY * 0.0289644 / (8.31432 * lapse_rate)
    return float(STANDARD_ATMOSPHERE * (1 - lapse_rate * altitude / STANDARD_TEMPERATURE) ** exponent)


@dataclass(frozen=True)
class DisplayUnit:
    """How one kind of quantity is shown: SI value = number x scale + offset; `decimals` digits after the point."""

    label: str
    scale: float
    offset: float = 0.0
    decimals: int = 1


@dataclass(frozen=True)
class _Kind:
    """One kind of quantity: its name in a sentence, its dimension, and its unit in each display set."""

    name: str
    dimension: str
    us: DisplayUnit
    metric: DisplayUnit


_IN_WC = DisplayUnit("in. w.c.", IN_WC)
_MBAR = DisplayUnit("mbar", MBAR)
_FEET, _METRES = DisplayUnit("ft", FOOT), DisplayUnit("m", 1.0)
_SECONDS = DisplayUnit("s", 1.0)
_PERCENT = DisplayUnit("%", 0.01, decimals=0)

_KINDS = {
    "low_gauge_pressure": _Kind("a gauge pressure", "pressure", _IN_WC, _MBAR),
    "gauge_pressure": _Kind(
        "a gauge pressure", "pressure", DisplayUnit("psig", PSI), DisplayUnit("bar", BAR, decimals=2)
    ),
    "absolute_pressure": _Kind(
        "an absolute pressure", "pressure", DisplayUnit("psia", PSI), DisplayUnit("bar abs", BAR, decimals=3)
    ),
    "pressure_difference": _Kind("a pressure difference", "pressure", _IN_WC, _MBAR),
    "standard_flow": _Kind(
        "a standard volume flow",
        "volume flow",
        DisplayUnit("scfh", SCF / HOUR, decimals=0),
        DisplayUnit("m³/h", 1 / HOUR, decimals=2),
    ),
    "mass_flow": _Kind("a mass flow", "mass flow", DisplayUnit("lb/h", POUND / HOUR), DisplayUnit("kg/h", 1 / HOUR)),
    "heat_input": _Kind(
        "a heat input", "power", DisplayUnit("Btu/h", BTU / HOUR, decimals=0), DisplayUnit("kW", 1000.0)
    ),
    "small_length": _Kind(
        "a length", "length", DisplayUnit("in.", INCH, decimals=3), DisplayUnit("mm", 1e-3, decimals=2)
    ),
    "length": _Kind("a length", "length", _FEET, _METRES),
    "altitude": _Kind("an altitude", "length", DisplayUnit("ft", FOOT, decimals=0), DisplayUnit("m", 1.0, decimals=0)),
    "temperature": _Kind(
        "a temperature",
        "temperature",
        DisplayUnit("°F", FAHRENHEIT_DEGREE, FAHRENHEIT_ZERO),
        DisplayUnit("°C", 1.0, CELSIUS_ZERO),
    ),
    "temperature_difference": _Kind(
        "a temperature difference", "temperature", DisplayUnit("°F", FAHRENHEIT_DEGREE), DisplayUnit("K", 1.0)
    ),
    "time": _Kind("a time", "time", _SECONDS, _SECONDS),
    "fraction": _Kind("a share", "fraction", _PERCENT, _PERCENT),
    "area": _Kind("an area", "area", DisplayUnit("in²", INCH**2, decimals=3), DisplayUnit("mm²", 1e-6, decimals=1)),
    "volume": _Kind("a volume", "volume", DisplayUnit("ft³", FOOT**3, decimals=3), DisplayUnit("L", 1e-3)),
    "mass": _Kind("a mass", "mass", DisplayUnit("lb", POUND, decimals=2), DisplayUnit("kg", 1.0, decimals=2)),
    "force": _Kind("a force", "force", DisplayUnit("lbf", POUND_FORCE), DisplayUnit("N", 1.0)),
    "spring_rate": _Kind(
        "a spring rate",
        "spring rate",
        DisplayUnit("lbf/in.", POUND_FORCE / INCH),
        DisplayUnit("N/mm", 1000.0, decimals=2),
    ),
}

# What people mix up: the number is right, the unit written after it is not.
_MIXED_UP = {
    "pressure": (("in. w.c.", IN_WC), ("psi", PSI), ("mbar", MBAR), ("kPa", 1e3), ("bar", BAR)),
    "volume flow": (("scfh", SCF / HOUR), ("scfm", SCF / MINUTE), ("m³/h", 1 / HOUR)),
    "power": (("Btu/h", BTU / HOUR), ("MBH", 1000 * BTU / HOUR), ("kW", 1000.0)),
    "length": (("in.", INCH), ("mm", 1e-3), ("ft", FOOT), ("m", 1.0)),
}


@dataclass(frozen=True)
class Slip:
    """A usual slip and the SI value that was meant if it was made: compare that value with the right answer."""

    name: str
    value: float


@dataclass(frozen=True)
class Reading:
    """A typed answer: `value` in SI, the `number` and `unit` as read, the `reference` of a pressure, usual slips.

    `reference` is "gauge", "absolute", "difference", or "" where the text does not say.
    """

    value: float
    number: float
    unit: str
    reference: str
    slips: tuple[Slip, ...]


def display_unit(kind: str, system: str) -> DisplayUnit:
    """The unit in which a kind of quantity is shown in a display set, "us" or "metric"; QuantityError if unknown."""
    found = _kind(kind)
    if system == "us":
        return found.us
    if system == "metric":
        return found.metric
    raise QuantityError(f"The display set {system!r} was given; 'us' or 'metric' was expected. Choose one of these.")


def to_display(value: float, kind: str, system: str) -> float:
    """The number shown for an SI value."""
    unit = display_unit(kind, system)
    return (value - unit.offset) / unit.scale


def from_display(number: float, kind: str, system: str) -> float:
    """The SI value of a number as shown."""
    unit = display_unit(kind, system)
    return number * unit.scale + unit.offset


def format_quantity(value: float, kind: str, system: str) -> str:
    """An SI value as text, such as "7.0 in. w.c."; a small value keeps two digits, noise is nothing.

    A gauge tells nothing of less than a tenth of its last digit. No text has more than MOST_DIGITS digits for their own
    sake: what is large loses those behind the point.
    """
    unit = display_unit(kind, system)
    number = (value - unit.offset) / unit.scale
    before = len(f"{abs(number):.0f}")
    text = f"{number:,.{max(0, min(unit.decimals, MOST_DIGITS - before))}f}"
    if not text.strip("-0."):
        least = 0.1 * 10.0**-unit.decimals if kind in GAUGES else SMALLEST_SHOWN
        text = f"{number:.2g}" if abs(number) >= least else text.lstrip("-")
    return f"{text} {unit.label}"


def format_pressure(gauge: float, system: str) -> str:
    """A gauge pressure [Pa] in in. w.c. or mbar below `LOW_PRESSURE_LIMIT`, in psig or bar from there on."""
    return format_quantity(gauge, "low_gauge_pressure" if abs(gauge) < LOW_PRESSURE_LIMIT else "gauge_pressure", system)


def spoken(name: str) -> str:
    """A device's name as it is spoken of: "relief valve", "slam-shut"."""
    return name.replace("_", " ").replace("slam shut", "slam-shut")


def tidy(text: str) -> str:
    """The text without a second full stop after a unit's own ("7.0 in. w.c."), and per cent set off ("5 %")."""
    return re.sub(r"(?<=\d)%", " %", text.replace("..", "."))


def parse_quantity(text: str, kind: str, *, site_atmosphere: float = STANDARD_ATMOSPHERE) -> float:
    """The SI value of what a person typed: gauge Pa for gauge kinds, absolute Pa for `absolute_pressure`.

    "2 psi" counts as gauge under a gauge kind; "20 psia" is brought to gauge by the site's atmosphere [Pa absolute].
    A flow in cubic feet is taken at 14.73 psia and 60 degF, in cubic metres at 101.325 kPa and 15 degC.
    Raises QuantityError, and nothing else, on all that cannot be read.
    """
    return _read(text, kind, site_atmosphere)[0]


def examples(kind: str) -> str:
    """How a quantity of this kind may be typed: "5.0 psig or 5.00 bar"."""
    shown = (format_quantity(from_display(5.0, kind, system), kind, system) for system in ("us", "metric"))
    return " or ".join(dict.fromkeys(shown))


def read_answer(text: str, kind: str, site_atmosphere: float = STANDARD_ATMOSPHERE) -> Reading:
    """A typed answer in SI, with the values it would have had but for a usual slip. Errors as in `parse_quantity`.

    The slips: the number belongs to another usual unit, or a gauge pressure was written for an absolute one.
    """
    value, number, unit, reference = _read(text, kind, site_atmosphere)
    dimension = _KINDS[kind].dimension
    slips = [
        Slip(f"the number is right in {label}, not in {unit}", number * scale)
        for label, scale in _MIXED_UP.get(dimension, ())
    ]
    if dimension == "pressure" and kind != "pressure_difference":
        slips.append(Slip("a gauge pressure was given for an absolute one", value + site_atmosphere))
        slips.append(Slip("an absolute pressure was given for a gauge one", value - site_atmosphere))
    return Reading(value, number, unit, reference, tuple(s for s in slips if abs(s.value - value) > 1e-6 * abs(value)))


def _kind(kind: str) -> _Kind:
    try:
        return _KINDS[kind]
    except (KeyError, TypeError):
        raise QuantityError(
            f"The kind {kind!r} was given; one of {', '.join(_KINDS)} was expected. Choose one of these."
        ) from None


def _refuse(text: str, kind: str, what: str) -> QuantityError:
    """The error for a text: what was given, what was expected, and how to mend it (`what`)."""
    shown = text if len(text) <= 40 else text[:40] + "..."
    expected = f"{_KINDS[kind].name} with its unit was expected, such as {examples(kind)}"
    return QuantityError(f"{shown!r} was given; {expected}. {what}")


def _read(text: str, kind: str, site_atmosphere: float) -> tuple[float, float, str, str]:
    """SI value, number, unit's spelling and reference of a text."""
    dimension = _kind(kind).dimension
    if not isinstance(text, str):
        raise _refuse(repr(text), kind, "Type it as text.")
    if len(text) > LONGEST_TEXT:
        raise _refuse(text, kind, f"Type at most {LONGEST_TEXT} characters.")
    tidy = text.translate(TIDY).strip()
    match = NUMBER.match(tidy)
    if match is None:
        raise _refuse(text, kind, "Begin with a number.")
    number = _number(match, text, kind)
    spelling = tidy[match.end() :].strip()
    if not spelling:
        raise _refuse(text, kind, "Add the unit.")
    found = _unit(spelling)
    if found is None:
        raise _refuse(text, kind, f"{spelling!r} is not a unit that is known here; check its spelling.")
    typed, unit, reference = found
    if typed != dimension:
        hint = " For a water column write in. w.c." if dimension == "pressure" and unit == "inch" else ""
        raise _refuse(text, kind, f"{spelling!r} is a unit of {typed}; give one of {dimension}.{hint}")
    value = _si(number, unit, difference=kind == "temperature_difference")
    if not isfinite(value) or abs(value) > LARGEST_NUMBER:
        raise _refuse(text, kind, "The number is far too large; check it.")
    if dimension == "pressure":
        value = _referred(value, reference, text, kind, site_atmosphere)
    if kind == "temperature" and value < 0:
        raise _refuse(text, kind, "This lies below absolute zero; check it.")
    return value, number, spelling, reference


def _number(match: re.Match[str], text: str, kind: str) -> float:
    """The number that was matched, by the rules at the head of this module."""
    sign = -1.0 if match["sign"] == "-" else 1.0
    if match["under"]:
        if int(match["under"]) == 0:
            raise _refuse(text, kind, "A fraction cannot have zero below its line.")
        return sign * (int(match["whole"] or 0) + int(match["over"]) / int(match["under"]))
    plain = match["grouped"].replace(" ", "") if match["grouped"] else match["plain"]
    mantissa, mark, power = plain.lower().partition("e")
    if re.fullmatch(r"[1-9][0-9]{0,2}(,[0-9]{3})+(\.[0-9]*)?", mantissa):
        mantissa = mantissa.replace(",", "")
    elif re.fullmatch(r"[0-9]+,[0-9]+", mantissa):
        mantissa = mantissa.replace(",", ".")
    elif not re.fullmatch(r"[0-9]+\.?[0-9]*|\.[0-9]+", mantissa):
        raise _refuse(text, kind, "The commas and points of the number can be read in two ways; write it like 1500.5.")
    number = sign * float(mantissa + mark + power)
    if not isfinite(number):
        raise _refuse(text, kind, "The number is far too large; check it.")
    return number


def _unit(spelling: str) -> tuple[str, str, str] | None:
    """Dimension, pint's expression and reference ("gauge", "absolute", "difference", "") of a unit as typed."""
    exact = re.sub(r"[\s.^()]", "", spelling).replace('"', "in")
    bare = exact.lower()
    if bare not in SPELLINGS:
        bare = bare.replace("per", "/").replace("/hour", "/h").replace("/minute", "/min").replace("/second", "/s")
    if bare in SPELLINGS:
        return (*SPELLINGS[bare], "")
    if exact in EXACT:
        return (*EXACT[exact], "")
    for ending, reference in REFERENCES:
        if bare.endswith(ending):
            found = EXACT.get(exact[: -len(ending)]) or SPELLINGS.get(bare[: -len(ending)])
            if found is not None and found[0] == "pressure":
                return (*found, reference)
    return None


def _referred(value: float, reference: str, text: str, kind: str, site_atmosphere: float) -> float:
    """A pressure brought to the reference of its kind."""
    if kind == "pressure_difference":
        if reference == "absolute":
            raise _refuse(text, kind, "A difference is neither gauge nor absolute; leave that out of the unit.")
        return value
    if reference == "difference":
        raise _refuse(text, kind, "A difference of pressures was typed; say gauge or absolute.")
    if kind == "absolute_pressure" and not reference:
        raise _refuse(text, kind, "Say whether it is gauge or absolute, as in psig or psia.")
    absolute = value if reference == "absolute" else value + site_atmosphere
    if absolute < 0:
        raise _refuse(text, kind, "This lies below a perfect vacuum; check its sign.")
    if kind == "absolute_pressure":
        return absolute
    return value - site_atmosphere if reference == "absolute" else value


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint  # late: it costs a quarter of a second that a picture does not need

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    registry.define(f"scf = {SCF!r} * meter ** 3")
    registry.define(f"normal_m3 = {NORMAL_CUBIC_METRE!r} * meter ** 3")
    return registry


@lru_cache(maxsize=256)
def _factor(unit: str) -> tuple[float, float]:
    """Scale and offset that take a number in a unit of `spellings` to SI."""
    registry = _registry()
    if not unit.startswith("deg"):
        return float(registry.parse_expression(unit).to_base_units().magnitude), 0.0
    scale = registry.Quantity(1.0, f"delta_{unit}").to_base_units().magnitude
    return float(scale), float(registry.Quantity(0.0, unit).to_base_units().magnitude)


def _si(number: float, unit: str, *, difference: bool) -> float:
    scale, offset = _factor(unit)
    return number * scale + (0.0 if difference else offset)
