"""A simulated station told to its drawing: what moves in the run moves in the picture's words."""

import pytest
from layered import SCENARIOS, everything

from toolkit.errors import ScenarioError
from toolkit.figures.station import station_sentence, station_svg
from toolkit.panels.station_view import run_to, station_view
from toolkit.panels.words import event_list
from toolkit.scenario import Scenario
from toolkit.simulation import simulate


def told(name, time, volume="outlet", system="us"):
    return station_sentence(station_view(simulate(SCENARIOS[name]), time, volume, system))


def test_the_run_follows_the_gas():
    assert [s.name for s in run_to(everything(), "house")] == ["slam_shut", "monitor", "worker", "house_pipe"]
    assert run_to(everything(), "upstream") == ()
    with pytest.raises(ScenarioError, match="a volume that supply feeds"):
        run_to(everything(), "attic")


def test_every_layer_shows_what_it_does():
    calm, hit = (told("everything, slug through both", time, "house") for time in (10.0, 45.0))
    assert "Monitor regulator monitor: wide open" in calm
    assert "Relief valve relief_valve: shut" in calm
    assert "normal: lockout" in calm
    assert "Slam-shut slam_shut: open" in calm
    assert "gas at stack" in hit
    assert "made: lockout" in hit
    assert "appliances: locked out" in hit


def test_a_tripped_slam_shut_a_second_seat_and_a_broken_line():
    assert "tripped high" in told("slam-shut trips", 60.0)
    assert "Slam-shut slam_shut: open" in told("slam-shut trips", 20.0)
    assert "second seat shut" in told("second seat acts", 200.0)
    assert "second seat open" in told("second seat acts", 10.0)
    assert "one_line, from outlet to monitor and worker: broken" in told("both on one broken line", 50.0)
    assert "mbar" in told("slam-shut trips", 20.0, system="metric")


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_station_can_be_drawn_at_any_moment(name):
    scenario = SCENARIOS[name]
    assert isinstance(scenario, Scenario)
    trace = simulate(scenario)
    for time in (0.0, 40.0, scenario.duration):
        assert station_svg(station_view(trace, time, scenario.station.loads[0].at, "us")).startswith("<svg")


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_event_has_its_sentence(name):
    trace = simulate(SCENARIOS[name])
    for units in ("us", "metric"):
        for _, said in event_list(trace, units, most=500):
            assert said[0].isupper() or said[0].islower()
            assert said.endswith(".")
            assert "{" not in said
