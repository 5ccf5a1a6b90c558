"""No mass is lost by rounding in steps that are very long for the fastest rate, and none that is lost stays hidden."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from fuzz import imbalance
from layered import SCENARIOS
from random_stations import random_scenario
from test_stiff import DAY, FAULTS

from toolkit import compiled
from toolkit.devices.fit import MOST_VALUES
from toolkit.network import Network, network
from toolkit.rates import BENDS, BLOCK, BY_TIME, HEAD, PORTS, READS, travel_at
from toolkit.scenario import Scenario
from toolkit.simulation import settled_state, simulate
from toolkit.solver import GAMMA

# Steps some 1e7 to 4e9 times as long as the fastest rate. With each stage solved but once 7e-9, 1.5e-8 and 4e-9 of the
# throughput are missing; in the second run the supply sags by 9 bar over an opening of 0.1 m2, and most is lost in the
# drift.
STIFF = (1_000_007_629, 1_000_058_882, 1_000_067_603)
DAYS = {name: Scenario(demands=DAY, faults=faults) for name, faults in FAULTS.items()}


def scenario_of(seed: int) -> Scenario:
    scenario = random_scenario(seed)
    assert isinstance(scenario, Scenario)
    return scenario


@pytest.fixture
def afresh():
    """No start that was found under other laws."""
    before = compiled.machine()
    settled_state.cache_clear()
    yield
    compiled.use(before)
    settled_state.cache_clear()


@pytest.mark.parametrize("seed", STIFF)
def test_long_steps_lose_no_mass(seed):
    assert imbalance(simulate(scenario_of(seed))) < 1e-12


@pytest.mark.usefixtures("afresh")
@pytest.mark.parametrize("name", ["healthy", "everything, healthy", "worker's line blocked", "relief valve lifts"])
def test_an_ordinary_day_is_solved_once(monkeypatch, name):
    """A second solution costs time: no stage of these asks for it."""
    asked = []
    monkeypatch.setattr("toolkit.network.machine", compiled.plain)
    monkeypatch.setattr("toolkit.solver._polish", lambda *_: asked.append(1))
    assert simulate((DAYS | SCENARIOS)[name]).steps > 30
    assert len(asked) == 0


@pytest.mark.usefixtures("afresh")
@pytest.mark.parametrize("seed", STIFF)
def test_machine_code_and_plain_python_give_the_same_there(seed):
    found = []
    for one in (compiled.plain(), compiled.machine()):
        compiled.use(one)
        settled_state.cache_clear()
        found.append(simulate(scenario_of(seed)))
    plain, native = found
    assert native.totals == pytest.approx(plain.totals, rel=1e-9)
    assert native.times == pytest.approx(plain.times, rel=1e-12)
    for signal, values in plain.signals.items():
        assert native[signal] == pytest.approx(values, rel=1e-9, abs=1e-12), signal


# A port that gives its flow to a place with a wrong sign, or keeps a little of it


def with_ports(monkeypatch, change):
    """Every network from here on has its ports changed: `change` by device name and number of the port."""
    whole = network

    def changed(scenario: Scenario) -> Network:
        net = whole(scenario)
        names = [device.name for device in scenario.station.devices]
        fits = []
        for number, fit in enumerate(net.fits):
            name = names[number] if number < len(names) else "leak"
            ports = tuple(port._replace(sign=port.sign * change(name, i)) for i, port in enumerate(fit.ports))
            fits.append(fit._replace(ports=ports))
        return replace(net, fits=tuple(fits))

    monkeypatch.setattr("toolkit.simulation.network", changed)


@pytest.mark.usefixtures("afresh")
@pytest.mark.parametrize("seed", STIFF)
@pytest.mark.parametrize("times", [1.0 - 1e-8, 1.0 + 1e-8, -1.0], ids=["loses", "makes", "wrong sign"])
def test_a_flow_that_is_not_booked_as_it_went_is_seen(monkeypatch, seed, times):
    """1e-8 of what the supply gives, at those very stations: no second solution may mend what is no rounding."""
    with_ports(monkeypatch, lambda name, port: times if (name, port) == ("supply", 1) else 1.0)
    trace = simulate(scenario_of(seed))
    through = sum(abs(trace.totals[name]) for name in ("supplied", "delivered", "vented", "stored"))
    share = abs(1.0 - times) * abs(trace.totals["supplied"]) / through
    assert share > 1e-9
    assert imbalance(trace) == pytest.approx(share, rel=1e-2)


@pytest.mark.usefixtures("afresh")
@pytest.mark.parametrize("seed", [STIFF[0], STIFF[2]])  # in the other next to nothing passes a regulator
def test_a_flow_that_loses_a_little_between_two_places_is_seen(monkeypatch, seed):
    """1e-7 of what a regulator takes from its inlet and gives to its outlet, port 1."""
    with_ports(monkeypatch, lambda name, port: 1.0 - 1e-7 if (name, port) == ("regulator_0", 1) else 1.0)
    assert imbalance(simulate(scenario_of(seed))) > 1e-9


# One stage by itself, against fractions


@pytest.mark.usefixtures("afresh")
@pytest.mark.parametrize("seed", STIFF)
def test_a_stage_of_a_long_step_is_that_of_its_flows_solved_in_fractions(monkeypatch, seed):
    """(1 - g h J) k = f + g h d, with J and d flow by flow: the stages that were polished in a run, a few of them."""
    monkeypatch.setattr("toolkit.network.machine", compiled.plain)
    from toolkit import solver

    polish, checked = solver._polish, []

    def looked_at(net, w, gh, later, x):
        polish(net, w, gh, later, x)
        if len(checked) < 4 and gh < 100.0 * GAMMA:
            should = stage_in_fractions(net, w, gh, later)
            moved = max(abs(m * k) for m, k in zip(w.masses, should, strict=True))
            checked.append(moved)
            for mass, ours, true in zip(w.masses, x, should, strict=True):
                assert mass * ours == pytest.approx(mass * true, rel=1e-12, abs=1e-13 * moved)

    monkeypatch.setattr(solver, "_polish", looked_at)
    simulate(scenario_of(seed))
    assert len(checked) == 4


def stage_in_fractions(net, w, gh, later):
    """A stage's rates [unit of each place/s] by Gauss's elimination."""
    n, size = net.dynamic, net.size
    rows = [[Fraction(int(i == j)) for j in range(n)] for i in range(size)]
    side = [Fraction(one) for one in w.side]
    for device in range(net.devices):
        block, weights = HEAD + device * BLOCK, travel_at(net, device) + 1
        for port in range(net.plan[block + PORTS]):
            value, place = net.plan[block + PORTS + 1 + 2 * port : block + PORTS + 3 + 2 * port]
            times = Fraction(gh) * Fraction(net.fixed[weights + port])
            mine = device * BENDS + value
            side[place] += times * Fraction(later) * Fraction(w.bends[mine + BY_TIME])
            for look in range(net.plan[block + READS]):
                j = net.plan[block + READS + 1 + look]
                rows[place][j] -= times * Fraction(w.bends[mine + look * MOST_VALUES])
    whole = [[*rows[i], side[i]] for i in range(n)]
    for k in range(n):
        best = max(range(k, n), key=lambda i: abs(whole[i][k]))
        whole[k], whole[best] = whole[best], whole[k]
        for i in range(n):
            if i != k and whole[i][k]:
                share = whole[i][k] / whole[k][k]
                whole[i] = [a - share * b for a, b in zip(whole[i], whole[k], strict=True)]
    found = [whole[i][n] / whole[i][i] for i in range(n)]
    found += [side[i] - sum(rows[i][j] * found[j] for j in range(n)) for i in range(n, size)]
    return [float(one) for one in found]
