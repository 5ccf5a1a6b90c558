import subprocess
import sys

import fluids
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import published

from toolkit import units
from toolkit.errors import QuantityError
from toolkit.spellings import SPELLINGS, UNITS
from toolkit.units import (
    BTU,
    FOOT,
    GALLON,
    HOUR,
    IN_WC,
    INCH,
    LOW_PRESSURE_LIMIT,
    MINUTE,
    POUND_FORCE,
    PSI,
    SCF,
    STANDARD_ATMOSPHERE,
    Slip,
    atmosphere,
    display_unit,
    format_pressure,
    format_quantity,
    from_display,
    parse_quantity,
    read_answer,
    to_display,
)

KINDS = tuple(units._KINDS)
SYSTEMS = ("us", "metric")
EARTH_RADIUS = 6356766  # m, as the standard atmospheres take it
steady = settings(deadline=None, derandomize=True)


def geopotential(geometric):
    return geometric * EARTH_RADIUS / (EARTH_RADIUS + geometric)


@pytest.mark.parametrize(
    ("key", "result"),
    [
        ("psi", PSI),
        ("inch_of_water", IN_WC),
        ("btu", BTU),
        ("pound_force", POUND_FORCE),
        ("pound_force_per_inch", POUND_FORCE / INCH),
        ("cubic_foot", FOOT**3),
        ("gallon_per_minute", GALLON / MINUTE),
        ("standard_cubic_foot", SCF),
        ("fourteen_inches", 14 * IN_WC),
        ("fourteen_inches_in_psi", 14 * IN_WC / PSI),
        ("two_psi_in_inches", 2 * PSI / IN_WC),
        ("atmosphere_11000_m", atmosphere(11000)),
        ("atmosphere_5000_ft", atmosphere(geopotential(5000 * FOOT)) / PSI),
        ("atmosphere_10000_ft", atmosphere(geopotential(10000 * FOOT)) / PSI),
        ("icao_pressures", [atmosphere(height) / 100 for height in published("icao_heights").value]),
        (
            "atmosphere_pressures",
            [atmosphere(geopotential(altitude)) for altitude in published("atmosphere_altitudes").value],
        ),
        ("data_book_inch_of_water", IN_WC),
        ("data_book_pascal", 1 / PSI),
        ("epa_cubic_feet_a_minute", 1000 * FOOT**3 / MINUTE),
    ],
)
def test_constants_against_published_values(key, result):
    published(key).check(result)


@pytest.mark.parametrize(
    ("key", "text", "scale"),
    [
        ("inch_of_water", "1 in. w.c.", 1.0),
        ("inch_of_mercury", "1 inHg", 1.0),
        ("millimetre_of_water", "1 mm w.c.", 1.0),
        ("ounce_per_square_inch", "1 oz/in2", IN_WC),
        ("epa_inches_of_mercury", "29.9213 inHg", 1.0),
        ("data_book_millimetre_of_mercury", "1 mmHg", 1.0),
    ],
)
def test_typed_units_against_published_values(key, text, scale):
    published(key).check(parse_quantity(text, "pressure_difference") / scale)


def test_typed_heat_input_against_published_values():
    published("eia_kilowatt").check(parse_quantity("1 kW", "heat_input") * HOUR / BTU)


def test_a_typed_cubic_foot_is_counted_at_the_laws_pressure_base():
    """Pressure of the gas of a typed cubic foot, put into a cubic foot at 60 degF."""
    standard = parse_quantity("1 ft3/h", "standard_flow") * HOUR
    pressure = standard * STANDARD_ATMOSPHERE / FOOT**3 * units.SIXTY_FAHRENHEIT / units.STANDARD_TEMPERATURE
    published("usc_gas_pressure_base").check(pressure / PSI)


def test_the_inch_of_water_is_the_conventional_one():
    with pytest.raises(AssertionError):
        published("inch_of_water_60F").check(IN_WC)


def test_constants_are_those_of_pint():
    registry = pint.UnitRegistry()
    for ours, theirs in ((PSI, "psi"), (IN_WC, "inH2O"), (BTU, "Btu_it"), (POUND_FORCE, "lbf"), (GALLON, "gallon")):
        assert ours == pytest.approx(registry.parse_expression(theirs).to_base_units().magnitude, rel=1e-12)


@pytest.mark.parametrize("altitude", [0.0, 500.0, 1609.344, 3000.0, 8000.0])
def test_atmosphere_against_the_reference_library(altitude):
    # `fluids`, U.S. Standard Atmosphere 1976, which takes geometric altitude.
    assert atmosphere(geopotential(altitude)) == pytest.approx(fluids.ATMOSPHERE_1976(altitude).P, rel=2e-5)


@pytest.mark.parametrize("altitude", [-501, 11001, float("nan"), float("inf")])
def test_atmosphere_refuses_what_lies_outside_its_layer(altitude):
    with pytest.raises(QuantityError, match="altitude"):
        atmosphere(altitude)


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("kind", KINDS)
def test_display_units_are_those_that_are_typed(kind, system):
    """A label, typed after a number, is read as the display factor: two ways to one number, the second through pint."""
    unit = display_unit(kind, system)
    for number in (1.0, 250.0):
        expected = number * unit.scale + unit.offset
        assert parse_quantity(f"{number} {unit.label}", kind) == pytest.approx(
            expected + (STANDARD_ATMOSPHERE if unit.label == "psig" and kind == "absolute_pressure" else 0), rel=1e-9
        )


@steady
@given(st.sampled_from(KINDS), st.sampled_from(SYSTEMS), st.floats(-1e9, 1e9))
def test_display_round_trip(kind, system, number):
    offset = abs(display_unit(kind, system).offset / display_unit(kind, system).scale)
    back = to_display(from_display(number, kind, system), kind, system)
    assert back == pytest.approx(number, rel=1e-12, abs=1e-12 * (1 + offset))


@steady
@given(st.sampled_from(KINDS), st.sampled_from(SYSTEMS), st.floats(1.0, 1e6))
def test_what_is_shown_can_be_typed(kind, system, number):
    value = from_display(number, kind, system)
    typed = parse_quantity(format_quantity(value, kind, system), kind)
    decimals = max(0, min(display_unit(kind, system).decimals, 5 - len(f"{number:.0f}")))
    assert to_display(typed, kind, system) == pytest.approx(number, abs=0.51 * 10**-decimals)


@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [
        (7 * IN_WC, "low_gauge_pressure", "us", "7.0 in. w.c."),
        (7 * IN_WC, "low_gauge_pressure", "metric", "17.4 mbar"),
        (40 * PSI, "gauge_pressure", "us", "40.0 psig"),
        (1500 * SCF / HOUR, "standard_flow", "us", "1,500 scfh"),
        (0.0, "low_gauge_pressure", "us", "0.0 in. w.c."),
        (-0.0, "low_gauge_pressure", "us", "0.0 in. w.c."),
        # no gauge tells less than a tenth of its last digit
        (0.003 * IN_WC, "low_gauge_pressure", "us", "0.0 in. w.c."),
        (0.02 * IN_WC, "low_gauge_pressure", "us", "0.02 in. w.c."),
        (0.003 * IN_WC, "pressure_difference", "us", "0.003 in. w.c."),
        (2223.333 * FOOT**3, "volume", "us", "2,223.3 ft³"),
        (9.99996 * FOOT**3, "volume", "us", "10.000 ft³"),
        (123456.7 * FOOT**3, "volume", "us", "123,457 ft³"),
        (-1e-7, "low_gauge_pressure", "us", "0.0 in. w.c."),
        (288.15, "temperature", "us", "59.0 °F"),
        (0.255, "fraction", "us", "26 %"),
        (2e-3, "standard_flow", "metric", "7.20 m³/h"),
    ],
)
def test_format_quantity(value, kind, system, text):
    assert format_quantity(value, kind, system) == text


def test_format_pressure_changes_its_unit_where_the_fuel_gas_code_does():
    assert format_pressure(7 * IN_WC, "us") == "7.0 in. w.c."
    assert format_pressure(40 * PSI, "us") == "40.0 psig"
    assert format_pressure(40 * PSI, "metric") == "2.76 bar"
    assert format_pressure(0.999 * LOW_PRESSURE_LIMIT, "us").endswith("in. w.c.")
    assert format_pressure(LOW_PRESSURE_LIMIT, "us") == "1.5 psig"
    assert format_pressure(-LOW_PRESSURE_LIMIT, "us") == "-1.5 psig"


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        *((t, "low_gauge_pressure", 9 * IN_WC) for t in ("9 in wc", "9 in. w.c.", '9" wc', "9 inH2O", "9iwc")),
        *((t, "low_gauge_pressure", 9 * IN_WC) for t in ("9″ W.C.", " 9.0 inches of water ", "9\u00a0in. w.c.")),
        *((t, "gauge_pressure", 2 * PSI) for t in ("2 psi", "2 psig", "2 PSIG", "2 p.s.i.g.", "+2 psi gauge")),
        ("2 lb/in²", "gauge_pressure", 2 * PSI),
        ("20 psia", "gauge_pressure", 20 * PSI - STANDARD_ATMOSPHERE),
        ("1.2 bar abs", "gauge_pressure", 1.2e5 - STANDARD_ATMOSPHERE),
        ("1.2 bar(a)", "gauge_pressure", 1.2e5 - STANDARD_ATMOSPHERE),
        ("0.6 bar", "gauge_pressure", 6e4),
        ("0.6 barg", "gauge_pressure", 6e4),
        ("0,6 bar", "gauge_pressure", 6e4),
        ("0,600 bar", "gauge_pressure", 6e4),
        ("25 mbar", "low_gauge_pressure", 2500),
        ("1,500 mbar", "low_gauge_pressure", 150000),
        ("3 kPa", "gauge_pressure", 3000),
        ("3 kPag", "gauge_pressure", 3000),
        ("0.1 MPa", "gauge_pressure", 1e5),
        ("0.4 MPa abs", "absolute_pressure", 4e5),
        ("-2 in. w.c.", "low_gauge_pressure", -2 * IN_WC),
        ("2 psig", "absolute_pressure", 2 * PSI + STANDARD_ATMOSPHERE),
        ("5 psid", "pressure_difference", 5 * PSI),
        *((t, "standard_flow", 250 * SCF / HOUR) for t in ("250 scfh", "250 cfh", "250 cubic feet per hour")),
        *((t, "standard_flow", 1500 * SCF / HOUR) for t in ("1,500 scfh", "1 500 scfh", "1500 scfh", "1.5e3 scfh")),
        *((t, "standard_flow", 7 / HOUR) for t in ("7 m3/h", "7 Sm3/h", "7 m³/h", "7 m^3/h")),
        ("1 Nm3/h", "standard_flow", 288.15 / 273.15 / HOUR),
        *((t, "heat_input", 240000 * BTU / HOUR) for t in ("240000 Btu/h", "240,000 btu per hr", "240 MBH")),
        ("70 kW", "heat_input", 70000),
        *((t, "small_length", 0.00635) for t in ("1/4 in", "¼ in.", '1/4"', "6.35 mm", "6,35 mm", "0.25 inches")),
        *((t, "small_length", 1.5 * INCH) for t in ("1 1/2 in", "1-1/2 in", "1½ in")),
        ("60 °F", "temperature", 288.70555555555),
        ("15 degC", "temperature", 288.15),
        ("9 °F", "temperature_difference", 5),
        ("25 %", "fraction", 0.25),
        ("3 N/mm", "spring_rate", 3000),
    ],
)  # fmt: skip
def test_parse_quantity(text, kind, value):
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-11)


def test_absolute_entry_takes_the_sites_atmosphere():
    high = atmosphere(5000 * FOOT)
    assert parse_quantity("14 psia", "gauge_pressure", site_atmosphere=high) == pytest.approx(14 * PSI - high)
    assert parse_quantity("2 psig", "absolute_pressure", site_atmosphere=high) == pytest.approx(2 * PSI + high)
    assert parse_quantity("2 psig", "gauge_pressure", site_atmosphere=high) == pytest.approx(2 * PSI)


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("9 bananas", "gauge_pressure", "'bananas' is not a unit"),
        ("9 kg", "gauge_pressure", "unit of mass"),
        ("9 in", "low_gauge_pressure", "in. w.c."),
        ("9", "gauge_pressure", "Add the unit"),
        ("", "gauge_pressure", "Begin with a number"),
        ("psi", "gauge_pressure", "Begin with a number"),
        ("1e999 psi", "gauge_pressure", "far too large"),
        ("1e400", "gauge_pressure", "far too large"),
        ("1e13 Pa", "gauge_pressure", "far too large"),
        ("9**9**9 psi", "gauge_pressure", "not a unit"),
        ("2+3 psi", "gauge_pressure", "not a unit"),
        ("__import__('os')", "gauge_pressure", "Begin with a number"),
        ("nan psi", "gauge_pressure", "Begin with a number"),
        ("inf psi", "gauge_pressure", "Begin with a number"),
        ("٣ psi", "gauge_pressure", "Begin with a number"),
        ("9" * 10000, "gauge_pressure", "at most 60 characters"),
        ("1.500,5 mbar", "gauge_pressure", "two ways"),
        ("1,50,0 mbar", "gauge_pressure", "two ways"),
        ("1.2.3 mbar", "gauge_pressure", "two ways"),
        ("1/0 in", "small_length", "zero below"),
        ("-20 psig", "gauge_pressure", "perfect vacuum"),
        ("-1 psia", "gauge_pressure", "perfect vacuum"),
        ("2 psi", "absolute_pressure", "gauge or absolute"),
        ("2 psid", "gauge_pressure", "gauge or absolute"),
        ("2 psia", "pressure_difference", "neither gauge nor absolute"),
        ("5 mPa", "gauge_pressure", "not a unit"),
        ("5 mW", "heat_input", "not a unit"),
        ("5 kWg", "heat_input", "not a unit"),
        ("-500 °F", "temperature", "absolute zero"),
        ("0.25", "fraction", "Add the unit"),
        (None, "gauge_pressure", "Type it as text"),
        (9.0, "gauge_pressure", "Type it as text"),
    ],
)
def test_parse_refuses_and_says_how_to_mend(text, kind, message):
    with pytest.raises(QuantityError, match="was expected, such as") as error:
        parse_quantity(text, kind)
    assert message in str(error.value)
    assert len(str(error.value)) < 300


TYPED = st.one_of(
    st.text(max_size=80),
    st.from_regex(r"[-+0-9.,eE/ *()]{0,20} ?[a-zA-Z0-9./^%°\"²³ ()]{0,20}", fullmatch=True),
    st.builds(
        "{}{}{}".format,
        st.sampled_from(["1e999", "9**9**9", "1/3", "1,5", "0,500", "-", "٣", "1_000", "0x10", "1e-400", "NaN", "½½"]),
        st.sampled_from(["", " ", "\n", "\x00", "\u2009"]),
        st.sampled_from([*SPELLINGS, "psia", "barg", "%%", "m3/h/h", "K", "İ"]),
    ),
)


@steady
@given(TYPED, st.sampled_from(KINDS))
def test_parse_gives_a_finite_number_or_a_quantity_error(text, kind):
    try:
        value = parse_quantity(text, kind)
    except QuantityError:
        return
    assert abs(value) <= 2 * units.LARGEST_NUMBER


def test_each_spelling_stands_once_and_has_its_dimension():
    words = [word for _, _, spelled in UNITS for word in spelled.split()]
    assert len(words) == len(set(words))
    registry = units._registry()
    base = {
        "pressure": "Pa", "volume flow": "m**3/s", "mass flow": "kg/s", "power": "W", "length": "m", "time": "s",
        "fraction": "dimensionless", "area": "m**2", "volume": "m**3", "mass": "kg", "force": "N", "spring rate": "N/m",
    }  # fmt: skip
    for dimension, unit, _ in UNITS:
        if dimension != "temperature":
            assert registry.parse_expression(unit).check(registry.parse_units(base[dimension]).dimensionality), unit


@pytest.mark.parametrize(
    ("text", "kind", "meant", "name"),
    [
        ("7 psi", "low_gauge_pressure", 7 * IN_WC, "right in in. w.c."),
        ("7 in. w.c.", "gauge_pressure", 7 * PSI, "right in psi"),
        ("250 m3/h", "standard_flow", 250 * SCF / HOUR, "right in scfh"),
        ("240 Btu/h", "heat_input", 240000 * BTU / HOUR, "right in MBH"),
        ("60 psia", "absolute_pressure", 60 * PSI + STANDARD_ATMOSPHERE, "gauge pressure was given for an absolute"),
        ("74.7 psig", "gauge_pressure", 74.7 * PSI - STANDARD_ATMOSPHERE, "absolute pressure was given for a gauge"),
    ],
)
def test_reading_knows_the_usual_slips(text, kind, meant, name):
    reading = read_answer(text, kind)
    assert reading.value == parse_quantity(text, kind)
    (slip,) = [slip for slip in reading.slips if slip.value == pytest.approx(meant)]
    assert name in slip.name


def test_reading_has_no_slip_that_changes_nothing():
    reading = read_answer("7 psig", "gauge_pressure")
    assert (reading.number, reading.unit, reading.reference) == (7, "psig", "gauge")
    assert all(isinstance(slip, Slip) and slip.value != pytest.approx(reading.value) for slip in reading.slips)
    assert read_answer("7 °F", "temperature").slips == ()


@pytest.mark.parametrize(("kind", "system"), [("weight", "us"), ("area", "imperial"), ([], "us")])
def test_unknown_kind_or_display_set(kind, system):
    with pytest.raises(QuantityError, match="was expected"):
        display_unit(kind, system)


def test_pint_is_not_loaded_before_it_is_needed():
    code = "import sys, toolkit.units as u; u.format_pressure(1e3, 'us'); sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
