"""What may be typed for a number and its unit: the grammar and the spellings, plain data for `units`."""

from __future__ import annotations

import re

# Each unit that may be typed: its dimension, its expression for pint, and the spellings of it. A spelling is compared
# without blanks, full stops, carets and brackets, and in small letters ("in. w.c." is "inwc").
UNITS: tuple[tuple[str, str, str], ...] = (
    ("pressure", "Pa", "pa pascal pascals"),
    ("pressure", "hPa", "hpa"),
    ("pressure", "kPa", "kpa kilopascal kilopascals"),
    ("pressure", "bar", "bar bars"),
    ("pressure", "mbar", "mbar millibar millibars"),
    ("pressure", "psi", "psi lb/in2 lbf/in2 lbs/in2 lb/sqin lbs/sqin"),
    ("pressure", "ounce_force / inch**2", "osi oz/in2 ozf/in2 oz/sqin"),
    ("pressure", "inH2O", "inwc iwc wc inh2o inwg iwg inchwc inheswc incheswc inwatercolumn inchwatercolumn "
     "incheswatercolumn inchesofwatercolumn inchesofwater inchofwater inofwater inofwc inchesofwc"),
    ("pressure", "mmH2O", "mmwc mmh2o mmwg"),
    ("pressure", "cmH2O", "cmwc cmh2o cmwg"),
    ("pressure", "inHg", "inhg"),
    ("pressure", "mmHg", "mmhg"),
    ("pressure", "atm", "atm"),
    ("volume flow", "scf / hour", "scfh cfh scf/h scf/hr cf/h cf/hr ft3/h ft3/hr cuft/h cuft/hr cubicfeet/h"),
    ("volume flow", "1000 scf / hour", "mscfh mcfh"),
    ("volume flow", "scf / minute", "scfm cfm scf/min ft3/min cuft/min"),
    ("volume flow", "m**3 / hour", "m3/h m3/hr sm3/h sm3/hr cmh"),
    ("volume flow", "normal_m3 / hour", "nm3/h nm3/hr"),
    ("volume flow", "m**3 / second", "m3/s sm3/s"),
    ("volume flow", "liter / minute", "l/min sl/min"),
    ("volume flow", "liter / second", "l/s sl/s"),
    ("mass flow", "pound / hour", "lb/h lb/hr lbs/h lbs/hr pph"),
    ("mass flow", "kg / hour", "kg/h kg/hr"),
    ("mass flow", "kg / second", "kg/s"),
    ("mass flow", "gram / second", "g/s"),
    ("power", "Btu_it / hour", "btu/h btu/hr btuh"),
    ("power", "1000 Btu_it / hour", "mbh kbtu/h kbtu/hr kbtuh"),
    ("power", "1e6 Btu_it / hour", "mmbtu/h mmbtu/hr mmbtuh"),
    ("power", "watt", "w watt watts"),
    ("power", "kilowatt", "kw kilowatt kilowatts"),
    ("power", "MJ / hour", "mj/h mj/hr"),
    ("length", "inch", "in inch inches"),
    ("length", "foot", "ft foot feet '"),
    ("length", "mile", "mi mile miles"),
    ("length", "mm", "mm millimetre millimetres millimeter millimeters"),
    ("length", "cm", "cm centimetre centimetres centimeter centimeters"),
    ("length", "m", "m metre metres meter meters"),
    ("length", "km", "km"),
    ("temperature", "degF", "f degf °f degreesf fahrenheit"),
    ("temperature", "degC", "c degc °c degreesc celsius"),
    ("temperature", "kelvin", "k kelvin kelvins"),
    ("temperature", "rankine", "degr °r rankine"),
    ("time", "second", "s sec secs second seconds"),
    ("time", "millisecond", "ms"),
    ("time", "minute", "min mins minute minutes"),
    ("time", "hour", "h hr hrs hour hours"),
    ("fraction", "percent", "% percent pct"),
    ("area", "inch**2", "in2 sqin"),
    ("area", "foot**2", "ft2 sqft"),
    ("area", "mm**2", "mm2 sqmm"),
    ("area", "cm**2", "cm2 sqcm"),
    ("area", "m**2", "m2 sqm"),
    ("volume", "foot**3", "ft3 cf cuft"),
    ("volume", "inch**3", "in3 cuin"),
    ("volume", "liter", "l litre litres liter liters"),
    ("volume", "m**3", "m3"),
    ("mass", "pound", "lb lbs pound pounds"),
    ("mass", "kg", "kg"),
    ("mass", "gram", "g gram grams"),
    ("mass", "ounce", "oz"),
    ("force", "pound_force", "lbf"),
    ("force", "newton", "n newton newtons"),
    ("spring rate", "pound_force / inch", "lbf/in lb/in"),
    ("spring rate", "newton / mm", "n/mm"),
    ("spring rate", "newton / m", "n/m"),
)  # fmt: skip
SPELLINGS = {word: (dimension, unit) for dimension, unit, words in UNITS for word in words.split()}
# Small letters would turn these into their thousand-millionth part, so only the exact letters count.
EXACT = {"MPa": ("pressure", "MPa"), "MW": ("power", "megawatt")}
# Endings of a unit of pressure, the longest first.
REFERENCES = (
    ("absolute", "absolute"),
    ("abs", "absolute"),
    ("gauge", "gauge"),
    ("gage", "gauge"),
    ("a", "absolute"),
    ("g", "gauge"),
    ("d", "difference"),
)

_DIGITS = r"[0-9]{1,30}"
NUMBER = re.compile(
    rf"""(?P<sign>[+-]?)\s*(?:
    (?:(?P<whole>[0-9]{{1,6}})(?:\s+|\s*-\s*))?(?P<over>[0-9]{{1,6}})\s*/\s*(?P<under>[0-9]{{1,6}})
    |(?P<grouped>[0-9]{{1,3}}(?:\ [0-9]{{3}}){{1,4}}(?![0-9])(?:\.{_DIGITS})?)
    |(?P<plain>(?:{_DIGITS}[0-9.,]{{0,30}}|\.{_DIGITS})(?:[eE][+-]?[0-9]{{1,4}})?)
    )""",
    re.VERBOSE | re.ASCII,
)
TIDY = str.maketrans(
    {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8", "²": "2", "³": "3",
     "−": "-", "\N{NO-BREAK SPACE}": " ", "\N{NARROW NO-BREAK SPACE}": " ", "“": '"', "”": '"', "″": '"', "’": "'",
     "′": "'"}
)  # fmt: skip
