"""Random stations with anything that can happen to them: sound traces, or errors of the course's own. See fuzz.py."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from fuzz import APART, Verdict, faults_of, imbalance, judged, main, summary
from random_stations import random_scenario, spoiled

from toolkit.ensemble import ensemble
from toolkit.errors import ScenarioError
from toolkit.faults import FAULTS
from toolkit.scenario import Scenario
from toolkit.simulation import simulate
from toolkit.trace import Event, Trace

SEEDS = range(200)


def test_any_seed_ends_in_a_sound_trace_or_in_an_error_of_the_course_s_own():
    verdicts = ensemble(SEEDS, work=judged)
    assert [v for v in verdicts if v.wrong] == []
    ends = Counter(v.end for v in verdicts)
    # An engine that gives up, or a generator that draws what cannot be built, would pass the checks above.
    assert ends["trace"] > 0.9 * len(SEEDS)
    assert ends["stopped"] <= 0.01 * len(SEEDS)
    assert ends["refused"] == sum(map(spoiled, SEEDS)) > 0


def test_a_seed_is_a_scenario():
    assert [random_scenario(seed) for seed in range(20) if not spoiled(seed)] == [
        random_scenario(seed) for seed in range(20) if not spoiled(seed)
    ]
    assert random_scenario(1) != random_scenario(2)


def test_a_spoiled_scenario_is_refused_where_it_is_built():
    bad = [seed for seed in range(8000) if spoiled(seed)]
    assert len(bad) > 200
    for seed in bad:
        assert isinstance(random_scenario(seed), ScenarioError), seed


def test_everything_the_engine_knows_is_drawn():
    drawn = [s for s in map(random_scenario, range(1000)) if isinstance(s, Scenario)]
    assert {type(fault) for s in drawn for fault in s.faults} == set(FAULTS.values())
    assert {type(a).__name__ for s in drawn for a in s.actions} == {"TurnValve", "Purge", "AdjustSetPoint", "Reset"}
    assert {len(s.station.regulators) for s in drawn} == {1, 2, 3}
    assert {len(s.station.slam_shuts) for s in drawn} == {0, 1, 2}
    assert {len(s.station.relief_valves) for s in drawn} == {0, 1, 2}
    assert {len(s.station.switches) for s in drawn} == {0, 1, 2, 3}
    assert {len(s.station.loads) for s in drawn} == {1, 2, 3}
    assert {len(s.faults) for s in drawn} == {0, 1, 2, 3, 4}
    assert {s.station.gas.key for s in drawn} == {"natural_gas", "propane"}
    assert any(switch.deadband == 0.0 for s in drawn for switch in s.station.switches)
    shared = [s for s in drawn if len({r.senses for r in s.station.regulators}) < len(s.station.regulators)]
    assert any(r.senses.endswith("_line") for s in shared for r in s.station.regulators)


# The checks themselves can fail


@pytest.fixture(scope="module")
def tripped() -> Trace:
    """The first run in which a slam-shut trips and is shut, and mass flows."""
    for seed in SEEDS:
        scenario = random_scenario(seed)
        if isinstance(scenario, Scenario) and scenario.station.slam_shuts:
            trace = simulate(scenario)
            if trace.happened("valve_shut") and trace.totals["delivered"] > 0.0:
                return trace
    raise AssertionError("no such run")


def with_signal(trace, ending, change):
    name = next(n for n in trace.signals if n.endswith(ending))
    values = trace[name].copy()
    change(values)
    return replace(trace, signals=dict(trace.signals) | {name: values})


def found(trace):
    return {what.split(":")[0] for what in faults_of(trace)[1]}


def test_a_sound_trace_passes(tripped):
    assert found(tripped) == set()


def test_mass_that_is_missing_is_seen(tripped):
    short = replace(tripped, totals=dict(tripped.totals) | {"delivered": tripped.totals["delivered"] * (1 + 1e-8)})
    assert found(short) == {"balance"}
    assert imbalance(short) > 1e-9 > imbalance(tripped)


def test_no_number_vacuum_and_a_lift_beyond_its_stop_are_seen(tripped):
    def middle(value):
        return lambda values: values.__setitem__(len(values) // 2, value)

    assert "values" in found(with_signal(tripped, "_case_gauge_pressure", middle(np.nan)))
    assert "vacuum" in found(with_signal(tripped, "_0_gauge_pressure", middle(-2e5)))
    assert "stops" in found(with_signal(tripped, "_0_lift", middle(1.0)))


def test_events_out_of_order_are_seen(tripped):
    assert "events" in found(replace(tripped, events=tuple(reversed(tripped.events))))


def test_a_latch_that_goes_back_by_itself_is_seen(tripped):
    shut = tripped.happened("valve_shut")[0]
    opens = with_signal(tripped, f"{shut.subject}_open_share", lambda values: values.__setitem__(-2, 0.5))
    assert "latch" in found(opens)
    undone = Event(tripped.scenario.duration, "reset", shut.subject)
    assert "latch" in found(replace(tripped, events=(*tripped.events, undone)))


def test_the_command_tells_counts_and_picks_up_where_it_left_off(tmp_path, capsys):
    kept = tmp_path / "verdicts"
    first, second = ["8", "--keep", str(kept)], ["12", "--keep", str(kept)]
    assert main(first) == 0
    assert len(kept.read_text("utf-8").splitlines()) == 8
    assert main(second) == 0
    lines = kept.read_text("utf-8").splitlines()
    assert len(lines) == 12
    assert all(f'"seed": {APART + number}, ' in line for number, line in enumerate(lines))
    assert "seed 1: 12 scenarios" in capsys.readouterr().out


def test_the_summary_lists_every_seed_at_which_something_is_wrong():
    told = summary([Verdict(7, "trace", 0.1), Verdict(8, "crash", 0.1, ["crash: KeyError"], said="x at y")], 0)
    assert "1 trace, 0 refused, 0 stopped, 1 crash" in told
    assert "WRONG crash: KeyError: 1 x, seeds 8 x at y" in told
