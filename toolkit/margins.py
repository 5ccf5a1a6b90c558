"""How much room a ladder leaves: the chance of a nuisance trip, and whether a relief passes the worker's full flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt
from statistics import NormalDist

import numpy as np

from toolkit import checks
from toolkit.devices.balance import relief_area, stand
from toolkit.devices.regulator import Regulator
from toolkit.devices.relief_valve import ReliefValve
from toolkit.errors import ScenarioError
from toolkit.faults import Leak
from toolkit.flow import nozzle, series
from toolkit.gas import compressibility, standard_density
from toolkit.ladder import Rung, ladder
from toolkit.layers import Layers, alone, at_supply, layers_at, settled_run, wide_open
from toolkit.scenario import Station
from toolkit.sizing import API_526_LETTERS, api_520_area, api_526_letter, iso_4126_area

DRAWS, SEED = 20_000, 1
# A band's edge lies this many standard deviations from its middle.
SIGMAS = 2.0
# Two-sided 95 % of the normal distribution, from memory; the tests compare it with a library.
_NINETY_FIVE = NormalDist().inv_cdf(0.975)
# What acts on high pressure is set off by the worker's lock-up, what acts on low pressure by its full load.
_HIGH = ("slam_shut_high", "switch_high", "valve_set", "relief_start", "second_seat_start")
_LOW = ("slam_shut_low", "switch_low")
# These ride in the worker's own body: its main spring moves both, and their distance is the relief spring's alone.
_SAME_BODY = ("relief_start", "second_seat_start")


@dataclass(frozen=True)
class Nuisance:
    """The chance [-] that a layer acts with nothing wrong, with its 95 % interval `low` to `high`.

    `kind` is the rung's; `meets` the rung that sets it off; `draws` and `seed` of the estimate.
    """

    device: str
    kind: str
    meets: str
    chance: float
    low: float
    high: float
    draws: int
    seed: int


@dataclass(frozen=True)
class Capacity:
    """What a relief passes at the limit against the flow that can come; flows in standard m3/s, areas in m2.

    `worker_flow` with the regulators that hold the volume wide open and the volume at the limit; `relief_flow` of the
    relief at the limit. `api_area` and `iso_area` are what the standards ask for that flow, `letter` the smallest
    standard orifice that is enough, None beyond the largest.
    """

    device: str
    limit_gauge_pressure: float
    worker_flow: float
    relief_flow: float
    enough: bool
    api_area: float
    iso_area: float
    letter: str | None


def nuisance(
    station: Station,
    at: str,
    *,
    highest_supply_gauge_pressure: float | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
) -> tuple[Nuisance, ...]:
    """The chance that each layer at a volume acts with nothing wrong; errors as for `ladder`."""
    rungs = ladder(station, at, highest_supply_gauge_pressure=highest_supply_gauge_pressure)
    return nuisance_of(rungs, draws=draws, seed=seed)


def nuisance_of(rungs: Sequence[Rung], *, draws: int = DRAWS, seed: int = SEED) -> tuple[Nuisance, ...]:
    """The same for a ladder that is there: by drawing settings from the bands, each band's edge at two sigma.

    A layer on high pressure is set off by the lock-up, on low pressure by full load. The interval is by `wilson`.

    Formula: chance of a nuisance trip
        P = Φ((p1 - p2) / √((p1 a1 / 2)^2 + (p2 a2 / 2)^2))
    Where:
        P (chance): chance that the layer acts with nothing wrong
        Φ: share of a normal distribution that lies below so many standard deviations
        p1 (rungs.gauge_pressure): what sets it off, such as the worker's lock-up, gauge [Pa]
        p2 (rungs.gauge_pressure): where it acts, such as a trip, gauge [Pa]
        a1: how far p1 may be off, as a share of it, at two standard deviations
        a2: the same of p2
    Holds: the two err by chance, apart from each other; the course draws 20 000 settings: its last digit is chance
    Source: common practice, no source
    Example:
        US: lock-up at 8.0 in. w.c. and trip at 8.5 in. w.c., each within 5 % gives P = 4.2 %
        metric: lock-up at 20.0 mbar and trip at 21.5 mbar, each within 5 % gives P = 1.9 %
    """
    for key, value, low in (("draws", draws, 100), ("seed", seed, 0)):
        checks.number(key, value, low, 1e7, "")
    rng = np.random.default_rng(seed)
    found = []
    for kinds, meets, sign in ((_HIGH, "lock_up", 1.0), (_LOW, "normal_full", -1.0)):
        for base in (one for one in rungs if one.kind == meets):
            held = rng.normal(base.gauge_pressure, (base.high - base.low) / 2 / SIGMAS, draws)
            for one in (one for one in rungs if one.kind in kinds):
                same = one.kind in _SAME_BODY and one.device == base.device
                acts = rng.normal(one.gauge_pressure, (one.high - one.low) / 2 / SIGMAS, draws)
                over = sign * ((base.gauge_pressure if same else held) - acts)
                hits = int((over >= 0).sum())
                low_edge, high_edge = wilson(hits, draws)
                found.append(Nuisance(one.device, one.kind, base.name, hits / draws, low_edge, high_edge, draws, seed))
    return tuple(found)


def wilson(hits: int, draws: int) -> tuple[float, float]:
    """The 95 % interval of a share by its score: within 0 and 1, and honest for few draws and shares near 0 or 1.

    Formula: how sure a counted share is
        low, high = (p + z^2 / (2 n) ± z √(p (1 - p) / n + z^2 / (4 n^2))) / (1 + z^2 / n)
        p = h / n
    Where:
        low: lower end of the 95 % interval
        high: upper end of it
        p: share that was counted
        h (hits): how many counted
        n (draws): of how many
        z: 1.96, two-sided 95 % of the normal distribution
    Holds: draws that do not depend on each other
    Source: `wilson-1927`.
    Example:
        both: h = 100, n = 20,000 gives low = 0.41 %, high = 0.61 %
    """
    z, p = _NINETY_FIVE, hits / draws
    middle, half = p + z * z / (2 * draws), z * sqrt(p * (1 - p) / draws + z * z / (4 * draws * draws))
    low, high = ((middle + side * half) / (1 + z * z / draws) for side in (-1, 1))
    return 0.0 if hits == 0 else low, 1.0 if hits == draws else high


def relief_capacity(
    station: Station, at: str, limit_gauge_pressure: float, *, highest_supply_gauge_pressure: float | None = None
) -> tuple[Capacity, ...]:
    """What each relief at a volume passes at the limit, against the worker (and its monitors) wide open.

    Limit and highest supply [Pa gauge; None: the supply's own]. Errors as for `ladder`, and a ScenarioError for a
    limit that the supply cannot reach. Sources of the comparison: `api-520-1`, `api-526`, `iso-4126-1`.
    """
    limit = checks.number("limit_gauge_pressure", limit_gauge_pressure, 0, 1e8, "Pa gauge", above=True)
    high = at_supply(station, highest_supply_gauge_pressure)
    if limit >= high.supply.gauge_pressure:
        raise ScenarioError(
            "limit_gauge_pressure", limit, "less than the supply's pressure", "Nothing can bring it so high."
        )
    found = layers_at(high, at)
    reliefs = list(found.relief_valves), [r for r in found.holders if r.relief]
    if not any(reliefs):
        return ()
    comes = _wide_open_flow(high, found, limit)
    passes = [(valve.name, _valve_flow(high, valve, limit)) for valve in reliefs[0]]
    inlet = high.supply.gauge_pressure
    passes += [(r.name, _internal_flow(high, r, limit, inlet, stuck=r is found.worker)) for r in reliefs[1]]
    return tuple(_compared(high, name, limit, comes, flow) for name, flow in passes)


def _law(station: Station) -> tuple[float, float]:
    """The station's atmosphere [Pa] and standard density [kg/m3]."""
    return station.atmosphere, standard_density(station.gas)


def _wide_open_flow(station: Station, found: Layers, limit: float) -> float:
    """The flow [standard m3/s] through regulators wide open into a volume that is let off so that it stands at a limit.

    The opening is sought by its own flow: near the limit the flow hardly depends on it.
    """
    bare = replace(alone(station, found.at), loads=())
    atmosphere, density = _law(station)
    per_area = nozzle(station.gas.heat_ratio, station.rt)(1.0, atmosphere + limit, atmosphere) / density
    widest = Leak.ranges()["leak_area"][1]
    area = widest / 100
    for _ in range(12):
        let_off = Leak(devices=found.at, leak_area=min(area, widest), onset=-10.0)
        trace = settled_run(bare, 1.0, (wide_open(*found.holders, onset=-10.0), let_off))
        flow = trace.settled(f"{found.at}_leak_flow")
        reached = trace.settled(f"{found.at}_gauge_pressure")
        if abs(reached - limit) <= 1e-3 * limit:
            break
        area = flow / per_area
    return flow


def _valve_flow(station: Station, valve: ReliefValve, limit: float) -> float:
    """The flow [standard m3/s] of a relief valve at a pressure, on its opening line."""
    atmosphere, density = _law(station)
    c = valve.condition(atmosphere)
    lift = min(1.0, max(0.0, (atmosphere + limit - c.set_pressure) / c.build_up))
    area = series(c.flow_area * lift, c.outlet_area) if lift else 0.0
    return nozzle(station.gas.heat_ratio, station.rt)(area, atmosphere + limit, atmosphere) / density


def _internal_flow(station: Station, regulator: Regulator, limit: float, inlet: float, *, stuck: bool) -> float:
    """The flow [standard m3/s] of an internal relief at a pressure: its case fills until the vent passes as much."""
    atmosphere, density = _law(station)
    c = regulator.condition()
    if stuck:
        c = wide_open(regulator).worsen(c, 1.0)
    law, sensed = nozzle(station.gas.heat_ratio, station.rt), atmosphere + limit
    low, high = 0.2 * atmosphere * c.case_volume, 2.0 * sensed * c.case_volume
    for _ in range(60):
        gas = 0.5 * (low + high)
        _, lift, case = stand(c, sensed, gas, atmosphere + inlet, sensed)
        leaves = law(c.vent, case, atmosphere)
        low, high = (gas, high) if law(relief_area(c, lift), sensed, case) > leaves else (low, gas)
    return leaves / density


def _compared(station: Station, name: str, limit: float, comes: float, passes: float) -> Capacity:
    atmosphere, density = _law(station)
    gas, relieving, mass = station.gas, atmosphere + limit, comes * density
    z = compressibility(gas, relieving, station.temperature)
    what = (mass, relieving, atmosphere, station.temperature, gas.molar_mass, gas.heat_ratio)
    api = api_520_area(*what, compressibility=z)
    iso = iso_4126_area(*what, compressibility=z)
    letter = api_526_letter(api) if api <= max(API_526_LETTERS.values()) else None
    return Capacity(name, limit, comes, passes, passes >= comes, api, iso, letter)
