import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import published

from toolkit.errors import ScenarioError
from toolkit.gas import NATURAL_GAS, PROPANE
from toolkit.piping import high_pressure_end, high_pressure_flow, low_pressure_drop, low_pressure_flow
from toolkit.units import FOOT, HOUR, IN_WC, INCH, PSI, SCF, STANDARD_ATMOSPHERE


def diameters(key):
    return [inches * INCH for inches in published(key).value]


DIAMETERS, LARGE = diameters("ifgc_diameters"), diameters("ifgc_large_diameters")
PLASTIC, COPPER = diameters("ifgc_plastic_diameters"), diameters("ifgc_copper_diameters")
CFH = SCF / HOUR
# The propane tables are in thousands of Btu an hour.
KBTU = CFH / (published("propane_btu_of_tables").value / 1000)
steady = settings(deadline=None, derandomize=True)


@pytest.mark.parametrize(
    ("key", "pipes", "inches", "feet", "gas", "unit"),
    [
        ("ifgc_402_4_3_10_ft", DIAMETERS, 3.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_3_50_ft", DIAMETERS, 3.0, 50, NATURAL_GAS, CFH),
        ("ifgc_402_4_4_10_ft", DIAMETERS, 6.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_4_50_ft", DIAMETERS, 6.0, 50, NATURAL_GAS, CFH),
        ("ifgc_402_4_28_10_ft", DIAMETERS, 0.5, 10, PROPANE, KBTU),
        ("ifgc_402_4_28_50_ft", DIAMETERS, 0.5, 50, PROPANE, KBTU),
        ("ifgc_402_4_3_10_ft_large", LARGE, 3.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_3_50_ft_large", LARGE, 3.0, 50, NATURAL_GAS, CFH),
        ("ifgc_402_4_4_10_ft_large", LARGE, 6.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_20_10_ft", PLASTIC, 0.3, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_21_10_ft", PLASTIC, 0.5, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_35_50_ft", PLASTIC, 0.5, 50, PROPANE, KBTU),
        ("ifgc_402_4_30_10_ft", COPPER, 0.5, 10, PROPANE, KBTU),
    ],
)
def test_low_pressure_flow_against_the_codes_tables(key, pipes, inches, feet, gas, unit):
    # Table 402.4(11), copper at 17.0 in. w.c., is left out: it lies 5 % above the code's own equation.
    published(key).check([low_pressure_flow(inches * IN_WC, d, feet * FOOT, gas) / unit for d in pipes])


@pytest.mark.parametrize(
    ("key", "pipes", "inlet", "drop", "feet", "gas", "unit"),
    [
        ("ifgc_402_4_6_10_ft", DIAMETERS, 3.0, 2.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_6_50_ft", DIAMETERS, 3.0, 2.0, 50, NATURAL_GAS, CFH),
        ("ifgc_402_4_25_10_ft", DIAMETERS, 10.0, 1.0, 10, PROPANE, KBTU),
        ("ifgc_402_4_25_50_ft", DIAMETERS, 10.0, 1.0, 50, PROPANE, KBTU),
        ("ifgc_402_4_26_10_ft", DIAMETERS, 10.0, 3.0, 10, PROPANE, KBTU),
        ("ifgc_402_4_26_50_ft", DIAMETERS, 10.0, 3.0, 50, PROPANE, KBTU),
        ("ifgc_402_4_27_10_ft", DIAMETERS, 2.0, 1.0, 10, PROPANE, KBTU),
        ("ifgc_402_4_27_50_ft", DIAMETERS, 2.0, 1.0, 50, PROPANE, KBTU),
        ("ifgc_402_4_6_50_ft_large", LARGE, 3.0, 2.0, 50, NATURAL_GAS, CFH),
        ("ifgc_402_4_22_10_ft", PLASTIC, 2.0, 1.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_36_10_ft", PLASTIC, 2.0, 1.0, 10, PROPANE, KBTU),
        ("ifgc_402_4_12_10_ft", COPPER, 2.0, 1.0, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_13_10_ft", COPPER, 2.0, 1.5, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_14_10_ft", COPPER, 5.0, 3.5, 10, NATURAL_GAS, CFH),
        ("ifgc_402_4_29_10_ft", COPPER, 10.0, 1.0, 10, PROPANE, KBTU),
        ("ifgc_402_4_31_10_ft", COPPER, 2.0, 1.0, 10, PROPANE, KBTU),
    ],
)
def test_high_pressure_flow_against_the_codes_tables(key, pipes, inlet, drop, feet, gas, unit):
    # Tables 402.4(5) and (7), schedule 40 at 2.0 and 5.0 psi, are left out: they follow another equation.
    start = STANDARD_ATMOSPHERE + inlet * PSI
    published(key).check([high_pressure_flow(start, start - drop * PSI, d, feet * FOOT, gas) / unit for d in pipes])


@steady
@given(
    st.floats(1.0, 5000.0), st.sampled_from(DIAMETERS), st.floats(1.0, 100.0), st.sampled_from([NATURAL_GAS, PROPANE])
)
def test_drop_and_flow_are_inverse(drop, diameter, length, gas):
    flow = low_pressure_flow(drop, diameter, length, gas)
    assert low_pressure_drop(flow, diameter, length, gas) == pytest.approx(drop)
    start = 4e5
    flow = high_pressure_flow(start, start - drop, diameter, length, gas)
    assert high_pressure_end(flow, start, diameter, length, gas) == pytest.approx(start - drop)


def test_no_flow_no_drop():
    assert low_pressure_flow(0.0, 0.02, 10, NATURAL_GAS) == 0
    assert low_pressure_drop(0.0, 0.02, 10, NATURAL_GAS) == 0
    assert high_pressure_flow(2e5, 2e5, 0.02, 10, NATURAL_GAS) == 0
    assert high_pressure_end(0.0, 2e5, 0.02, 10, NATURAL_GAS) == 2e5


@pytest.mark.parametrize(
    "call",
    [
        lambda: low_pressure_flow(-1.0, 0.02, 10, NATURAL_GAS),
        lambda: low_pressure_flow(100.0, 0.0, 10, NATURAL_GAS),
        lambda: low_pressure_drop(1e-3, 0.02, 0.0, NATURAL_GAS),
        lambda: low_pressure_drop(-1e-3, 0.02, 10, NATURAL_GAS),
        lambda: high_pressure_flow(1e5, 2e5, 0.02, 10, NATURAL_GAS),
        lambda: high_pressure_end(10.0, 2e5, 0.02, 100, NATURAL_GAS),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ScenarioError):
        call()
