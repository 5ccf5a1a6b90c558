import pytest
from fluids.safety_valve import API520_C, API520_F2, API526_A, API520_A_g, API520_round_size, API526_letters
from published import published

from toolkit.errors import ScenarioError
from toolkit.flow import critical_flow_factor, nozzle
from toolkit.gas import MOLAR_GAS_CONSTANT
from toolkit.sizing import (
    API_526_LETTERS,
    api_520_area,
    api_520_subcritical_factor,
    api_526_letter,
    iso_4126_area,
    iso_4126_capacity,
)
from toolkit.units import FAHRENHEIT_DEGREE, FAHRENHEIT_ZERO, HOUR, INCH, POUND, PSI

# Example 1 of API 520 part I; example 2 is the same with a back pressure of 532 kPa.
EXAMPLE = {"temperature": 348.0, "molar_mass": 51e-3, "heat_ratio": 1.11, "compressibility": 0.90}
MASS_FLOW, RELIEVING, BACK = 24270 / HOUR, 670e3, 101325.0
US_FLOW = POUND / HOUR
# Set at 200 psi, 10 % above it. Steam by the ASME code: lb/h = 51.5 K A P in in2 and psia.
ASME_RELIEVING, ASME_STEAM = (200 * 1.1 + 14.7) * PSI, 51.5 * US_FLOW / INCH**2 / PSI


def fahrenheit(degrees):
    return FAHRENHEIT_ZERO + degrees * FAHRENHEIT_DEGREE


def air_of_a_valve_rated_in_steam(steam):
    area = steam * US_FLOW / (ASME_STEAM * ASME_RELIEVING)
    return iso_4126_capacity(area, ASME_RELIEVING, BACK, fahrenheit(100), 28.97e-3, 1.40) / US_FLOW


def steam_rating_for_propane(propane):
    # The heat ratio is taken as unknown: 1.001.
    area = iso_4126_area(propane * US_FLOW, ASME_RELIEVING, BACK, fahrenheit(125), 44.09e-3, 1.001)
    return area * ASME_STEAM * ASME_RELIEVING / US_FLOW


@pytest.mark.parametrize(
    ("key", "result"),
    [
        ("api_example_1", api_520_area(MASS_FLOW, RELIEVING, 101325, **EXAMPLE) * 1e6),
        ("api_example_1_computed", api_520_area(MASS_FLOW, RELIEVING, 101325, **EXAMPLE) * 1e6),
        ("api_example_2_computed", api_520_area(MASS_FLOW, RELIEVING, 532e3, **EXAMPLE) * 1e6),
        ("api_f2", api_520_subcritical_factor(1.8, 0.7)),
        ("iso_4126_c_1_40", 3.948 * critical_flow_factor(1.40)),
        ("iso_4126_c_1_30", 3.948 * critical_flow_factor(1.30)),
        ("asme_air_capacity", air_of_a_valve_rated_in_steam(3020)),
        ("asme_propane_in_steam", steam_rating_for_propane(5000)),
        ("api_526_areas", [area / INCH**2 for area in API_526_LETTERS.values()]),
        (
            "api_example_1_orifice",
            API_526_LETTERS[api_526_letter(api_520_area(MASS_FLOW, RELIEVING, 101325, **EXAMPLE))] / INCH**2,
        ),
    ],
)
def test_sizing_against_published_values(key, result):
    published(key).check(result)


@pytest.mark.parametrize("heat_ratio", [1.11, 1.30, 1.40])
@pytest.mark.parametrize("back", [101325.0, 300e3, 400e3, 600e3])
def test_api_area_against_the_reference_library(heat_ratio, back):
    # `fluids`, API520_A_g, with factors other than one where the standard has them.
    data = EXAMPLE | {"heat_ratio": heat_ratio}
    factors = {"discharge": 0.62, "disk_factor": 0.9}
    reference = API520_A_g(
        m=MASS_FLOW, T=348, Z=0.90, MW=51, k=heat_ratio, P1=RELIEVING, P2=back, Kd=0.62, Kb=1.0, Kc=0.9
    )
    assert api_520_area(MASS_FLOW, RELIEVING, back, **data, **factors) == pytest.approx(reference, rel=1e-9)
    assert API520_C(heat_ratio) == pytest.approx(0.03948 * critical_flow_factor(heat_ratio))
    assert api_520_subcritical_factor(heat_ratio, 0.8) == pytest.approx(API520_F2(heat_ratio, 1e6, 8e5))


def test_orifice_letters_against_the_reference_library():
    # `fluids`, API526_letters and API520_round_size.
    assert list(API_526_LETTERS) == API526_letters
    assert list(API_526_LETTERS.values()) == pytest.approx(API526_A, rel=1e-12)
    for area in (0.0, 1e-5, 1e-4, 5e-4, 2e-3, 9e-3, 16e-3):
        assert API_526_LETTERS[api_526_letter(area)] == pytest.approx(API520_round_size(area), rel=1e-12)


@pytest.mark.parametrize("letter", API_526_LETTERS)
def test_an_orifice_serves_up_to_its_own_area(letter):
    area = API_526_LETTERS[letter]
    assert api_526_letter(area) == letter
    assert api_526_letter(area * 0.999) == letter
    letters = list(API_526_LETTERS)
    if letter != letters[-1]:
        assert api_526_letter(area * 1.001) == letters[letters.index(letter) + 1]


def test_no_orifice_above_the_largest():
    with pytest.raises(ScenarioError, match="largest orifice") as error:
        api_526_letter(API_526_LETTERS["T"] * 1.001)
    assert "several relief valves" in error.value.mend
    with pytest.raises(ScenarioError):
        api_526_letter(-1e-6)


def test_back_pressure_factor_counts_in_critical_flow_only():
    low, high = (api_520_area(MASS_FLOW, RELIEVING, 101325, **EXAMPLE, back_pressure_factor=f) for f in (1.0, 0.8))
    assert high == pytest.approx(low / 0.8)
    assert api_520_area(MASS_FLOW, RELIEVING, 532e3, **EXAMPLE, back_pressure_factor=0.8) == pytest.approx(
        api_520_area(MASS_FLOW, RELIEVING, 532e3, **EXAMPLE)
    )


@pytest.mark.parametrize("back", [101325.0, 532e3, 640e3])
def test_standards_agree_with_the_nozzle_law(back):
    """The constants of the standards' SI forms are rounded: 0.03948 and 17.9 stand for the gas constant and units."""
    area = api_520_area(MASS_FLOW, RELIEVING, back, **EXAMPLE, discharge=1.0)
    rt = 0.90 * MOLAR_GAS_CONSTANT / 51e-3 * 348
    assert nozzle(1.11, rt)(area, RELIEVING, back) == pytest.approx(MASS_FLOW, rel=1e-3)


@pytest.mark.parametrize("back", [101325.0, 380e3, 450e3, 640e3, 669e3])
def test_iso_4126_is_the_inverse_of_api_520(back):
    """Two standards, two forms of one nozzle: critical, near the critical ratio on either side, and far above it."""
    area = api_520_area(MASS_FLOW, RELIEVING, back, **EXAMPLE)
    found = iso_4126_capacity(area, RELIEVING, back, **EXAMPLE, discharge=0.975)
    assert found == pytest.approx(MASS_FLOW, rel=1e-3)


@pytest.mark.parametrize("discharge", [0.3, 0.7, 1.0])
def test_iso_4126_area_and_capacity_are_inverse(discharge):
    area = iso_4126_area(MASS_FLOW, RELIEVING, BACK, **EXAMPLE, discharge=discharge)
    assert iso_4126_capacity(area, RELIEVING, BACK, **EXAMPLE, discharge=discharge) == pytest.approx(MASS_FLOW)
    assert area == pytest.approx(iso_4126_area(MASS_FLOW, RELIEVING, BACK, **EXAMPLE) / discharge)
    assert iso_4126_area(0.0, RELIEVING, BACK, **EXAMPLE) == 0


@pytest.mark.parametrize(
    "change",
    [
        {"mass_flow": -1.0},
        {"relieving_absolute": 0.0},
        {"back_absolute": 700e3},
        {"temperature": 0.0},
        {"molar_mass": 51.0},
        {"heat_ratio": 1.0},
    ],
)
def test_nonsense_is_refused(change):
    call = {"mass_flow": MASS_FLOW, "relieving_absolute": RELIEVING, "back_absolute": 101325.0, **EXAMPLE}
    with pytest.raises(ScenarioError):
        api_520_area(**(call | change))


def test_nonsense_capacity_is_refused():
    with pytest.raises(ScenarioError):
        iso_4126_capacity(-1e-4, RELIEVING, BACK, **EXAMPLE)


@pytest.mark.parametrize("change", [{"mass_flow": -1.0}, {"discharge": 0.0}, {"discharge": 1.2}, {"temperature": 0.0}])
def test_nonsense_iso_area_is_refused(change):
    with pytest.raises(ScenarioError):
        iso_4126_area(
            **({"mass_flow": MASS_FLOW, "relieving_absolute": RELIEVING, "back_absolute": BACK, **EXAMPLE} | change)
        )
