"""What is reckoned by hand, held against the typed units, the law of the opening, and runs of the simulation."""

from dataclasses import replace

import pytest

from toolkit.errors import ScenarioError
from toolkit.faults import NickedSeat, Warmed
from toolkit.flow import mass_flow
from toolkit.gas import GASES
from toolkit.gas_by_hand import (
    absolute_pressure,
    flow_of_input,
    flow_share,
    leak_of_creep,
    spread_pressure,
    warmed_pressure,
)
from toolkit.quiz.lesson_05 import dumped, monitored
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.simulation import simulate
from toolkit.units import IN_WC, PSI, SIXTY_FAHRENHEIT, STANDARD_ATMOSPHERE, atmosphere, parse_quantity

OUTLET = "outlet_gauge_pressure"
OFF = (Demand(0.0, 0.0),)


@pytest.mark.parametrize("altitude", [0, 1500])
def test_absolute_is_what_a_typed_gauge_pressure_becomes(altitude):
    air = atmosphere(altitude)
    typed = parse_quantity("60 psig", "absolute_pressure", site_atmosphere=air)
    assert absolute_pressure(60 * PSI, air) == pytest.approx(typed, rel=1e-12)


@pytest.mark.parametrize("gas", GASES.values(), ids=list(GASES))
@pytest.mark.parametrize("gauge", [1, 3.5, 7, 15])
def test_flow_of_a_burner_goes_with_the_root_within_a_per_cent(gas, gauge):
    air, rated = STANDARD_ATMOSPHERE, 7 * IN_WC

    def through(pressure):
        return mass_flow(1e-6, air + pressure, air, gas, SIXTY_FAHRENHEIT)

    share = flow_share(gauge * IN_WC, rated)
    assert share == pytest.approx(through(gauge * IN_WC) / through(rated), rel=0.01)


def test_flow_of_an_input():
    assert flow_of_input(20e6, 40e6) == 0.5


def test_a_creeping_outlet_tells_the_leak():
    """A nick in the seat feeds a shut pipe of 50 litres; the run's own flow is the leak."""
    station = Station(volumes=(Volume("inlet", 2e-3), Volume("outlet", 0.05)))
    leak = NickedSeat(devices="regulator", leak_area=2e-9, onset=10.0, ramp=1.0)
    trace = simulate(Scenario(station, OFF, (leak,), duration=80.0))
    rise = trace.at(OUTLET, 80.0) - trace.at(OUTLET, 20.0)
    assert rise > IN_WC
    assert leak_of_creep(0.05, rise, 60.0, station.atmosphere) == pytest.approx(
        trace.at("regulator_flow", 50.0), rel=0.01
    )


@pytest.mark.parametrize(("between", "behind"), [(3e-4, 0.02), (1e-3, 0.015)])
def test_stored_gas_spreads_over_both_rooms(between, behind):
    trace = dumped(monitored(7 * IN_WC, 4 * IN_WC, 60 * PSI, between=between, behind=behind))
    by_hand = spread_pressure(between, 60 * PSI, behind, trace.at(OUTLET, 65.0))
    assert by_hand == pytest.approx(trace.settled(OUTLET), rel=0.01)


@pytest.mark.parametrize("times", [1.02, 1.04])
def test_locked_in_gas_rises_with_its_absolute_temperature(times):
    plain = Station()
    station = replace(plain, regulators=(replace(plain.regulators[0], relief=None),))
    sun = Warmed(devices="outlet", times=times, onset=10.0, ramp=50.0)
    trace = simulate(Scenario(station, OFF, (sun,), duration=120.0))
    cold = station.temperature
    by_hand = warmed_pressure(trace.at(OUTLET, 5.0), cold, times * cold, station.atmosphere)
    assert by_hand == pytest.approx(trace.settled(OUTLET), rel=0.01)


@pytest.mark.parametrize(
    ("field", "reckon"),
    [
        ("gauge_pressure", lambda: absolute_pressure(-1.1e5)),
        ("site_atmosphere", lambda: absolute_pressure(0.0, 0.0)),
        ("heating_value", lambda: flow_of_input(1e4, 0.0)),
        ("rated_gauge_pressure", lambda: flow_share(1e3, 0.0)),
        ("duration", lambda: leak_of_creep(0.01, 100.0, 0.0)),
        ("more_size", lambda: spread_pressure(0.01, 1e5, 0.0, 1e3)),
        ("gauge_pressure", lambda: warmed_pressure(-1.1e5, 290.0, 300.0)),
        ("temperature", lambda: warmed_pressure(1e3, 15.0, 300.0)),
    ],
)
def test_what_cannot_be_is_refused(field, reckon):
    with pytest.raises(ScenarioError, match=field):
        reckon()
