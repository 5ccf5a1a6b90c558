"""A simulated station told to its drawing: what moves in the run moves in the picture's words."""

import pytest
from layered import SCENARIOS, everything

from toolkit.actions import TurnValve
from toolkit.devices.line import SensingLine
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.errors import ScenarioError
from toolkit.faults import BlockedRelief
from toolkit.figures.station import station_sentence, station_svg
from toolkit.figures.symbols_views import ReliefValveView, element_sentence
from toolkit.panels.station_view import run_to, station_view
from toolkit.panels.words import event_list
from toolkit.scenario import Demand, Scenario, Station
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


@pytest.mark.parametrize(
    ("fault", "actions", "words", "not_words"),
    [
        (BlockedRelief(devices="relief_valve", highest_lift=0.0, onset=-10.0), (), "isolated", "blocked"),
        (BlockedRelief(devices="relief_valve", blocked_share=0.99, onset=-10.0), (), "stack blocked", "isolated"),
        (None, (TurnValve(device="relief_valve", time=10.0, share=0.0),), "isolated", "blocked"),
        (None, (), "shut", "isolated"),
    ],
)
def test_a_shut_isolating_valve_and_a_blocked_stack_are_told_apart(fault, actions, words, not_words):
    station = Station(regulators=(Regulator(relief=None),), relief_valves=(ReliefValve(at="outlet"),))
    trace = simulate(Scenario(station, (Demand(0.0, 1.0),), (fault,) if fault else (), 60.0, actions))
    (branch,) = [b for b in station_view(trace, 50.0, "outlet", "us").branches if isinstance(b, ReliefValveView)]
    said = element_sentence(branch)
    assert words in said
    assert not_words not in said


def test_a_sensing_line_that_is_shut_off_is_drawn_so():
    station = Station(regulators=(Regulator(relief=None, senses="tap_line"),), sensing_lines=(SensingLine("tap_line"),))
    shut = TurnValve(device="tap_line", time=10.0, share=0.0)
    trace = simulate(Scenario(station, (Demand(0.0, 1.0),), (), 60.0, (shut,)))
    states = [station_view(trace, time, "outlet", "us").lines[0].state for time in (5.0, 50.0)]
    assert states == ["whole", "blocked"]
