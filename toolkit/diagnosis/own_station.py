"""A station of the user's own as a site: the devices found by what they do, and what one does not know of its day.

The outlet gauge is the one at the loads behind the regulator that is set lowest, the last stage; of several set alike
it is the first that is named. That regulator is what the faults of a regulator strike, save ice, which forms where the
pressure falls most. Other stages are taken as sound: no sign is read between two stages.

What is fitted, its settings and the altitude are on record and stay. What varies from day to day is the main's pressure
by a little, how much of the rating is drawn, how sharply burners shut, and now and then a cold day, with gas near
freezing. Source of these ranges: engineering judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache
from hashlib import sha256
from random import Random

from toolkit import checks
from toolkit.devices.balance import valve_area
from toolkit.devices.regulator import Regulator
from toolkit.diagnosis.sites import Site, day_of
from toolkit.diagnosis.symptoms import COOLING
from toolkit.diagnosis.visits import HELD_DRAW
from toolkit.errors import ScenarioError
from toolkit.flow import flow_area_for, mass_flow
from toolkit.gas import compressibility, standard_density
from toolkit.layers import Layers, downstream, layers_at
from toolkit.scenario import Station
from toolkit.station_file import StationFile
from toolkit.units import CELSIUS_ZERO

# The main's pressure is what stands on record within this share.
INLET_VARIES = 0.05
# A cold day's gas is above freezing by this share of what it cools down by on its way to the outlet.
COLD_ABOVE = (0.2, 0.8)
# Wide open a regulator passes about so many times its full load; see sites.
USUAL_SPARE = 2.0
# Where the gas would condense at the main's pressure, the cold has lowered that: by so much at a time.
FALLS_IN_COLD = 0.95
# The largest opening that a purge takes [m2]; see actions.Purge.
LARGEST_PURGE = 1e-2
# So many hexadecimal digits of the hash name a station; numbers count to so many digits.
MARK_DIGITS, WRITTEN_DIGITS = 12, 9


@dataclass(frozen=True, repr=False)
class OwnStation:
    """A station by its `name` (its file's) and what it is built of. Raises ScenarioError where no day can be drawn."""

    name: str
    station: Station

    def __post_init__(self) -> None:
        if not self.station.loads:
            raise ScenarioError(
                "station.loads", "none", "at least one load", "Add an [[appliance]]: without one nothing draws gas."
            )
        if not self.station.regulators:
            raise ScenarioError(
                "station.regulators", "none", "at least one regulator", "Add a [[regulator]] before the appliances."
            )
        if not _held(self.station):
            raise ScenarioError(
                "station.loads",
                ", ".join(load.at for load in self.station.loads),
                "a load in a volume whose pressure a regulator holds",
                "Put an [[appliance]] behind a [[regulator]] that senses the pressure there.",
            )
        for regulator in self.station.regulators:
            before = _inlet_gauge(self.station, regulator)
            if before <= regulator.set_gauge_pressure:
                raise ScenarioError(
                    f"{regulator.name}.set_gauge_pressure",
                    regulator.set_gauge_pressure,
                    f"less than what stands before it ({before:g} Pa)",
                    "Lower its set point, or raise that of the stage before.",
                )
        own_site(self, Random(0))  # what cannot be reckoned is said here, and not in the middle of a table

    @property
    def mark(self) -> str:
        """What tells this station from every other, whatever its file is called: twelve hexadecimal digits."""
        return _mark(self.station)

    def __str__(self) -> str:
        return f"{self.name} {self.mark}"

    __repr__ = __str__


def own_station(given: StationFile | Station | OwnStation, name: str = "station") -> OwnStation:
    """A station of one's own, from a file or as it is."""
    if isinstance(given, OwnStation):
        return given
    if isinstance(given, StationFile):
        return OwnStation(given.name.removesuffix(".toml"), given.scenario.station)
    return OwnStation(name, given)


@lru_cache(maxsize=64)
def _mark(station: Station) -> str:
    return sha256(_written(station).encode()).hexdigest()[:MARK_DIGITS]


def _written(thing: object) -> str:
    """A value in one form on every machine, to the digits that matter."""
    if isinstance(thing, tuple):
        return "(" + ", ".join(map(_written, thing)) + ")"
    if is_dataclass(thing):
        values = (f"{one.name}={_written(getattr(thing, one.name))}" for one in fields(thing))
        return f"{type(thing).__name__}({', '.join(values)})"
    if isinstance(thing, int | float) and not isinstance(thing, bool):
        return f"{thing:.{WRITTEN_DIGITS}g}"
    return repr(thing)


def _held(station: Station) -> list[tuple[Layers, str]]:
    """For each load whose pressure is held: the layers there, and its volume; the lowest set point first."""
    found = []
    for load in station.loads:
        try:
            found.append((layers_at(station, load.at), load.at))
        except ScenarioError:  # a load before all regulators
            continue
    return sorted(found, key=lambda one: one[0].worker.set_gauge_pressure)


def outlet(station: Station) -> tuple[Layers, str]:
    """What holds and guards the outlet gauge's pressure, and the volume that it stands on."""
    return _held(station)[0]


def own_site(own: OwnStation, chance: Random, cold: bool = False, ice: bool = False) -> Site:
    """A day's site of one's own station; with `ice` what the faults strike is the regulator where ice forms."""
    station = own.station
    layers, at = outlet(station)
    coldest = max(station.regulators, key=lambda one: _inlet_gauge(station, one) - one.set_gauge_pressure)
    # A monitor stands wide open: the pressure falls at its worker.
    struck = layers.worker if not ice or coldest in layers.holders else coldest
    on_record = station.supply.gauge_pressure
    spare = 1.0 - max(one.set_gauge_pressure for one in station.regulators) / on_record
    varies = min(INLET_VARIES, 0.5 * spare)
    inlet = on_record * chance.uniform(1.0 - varies, 1.0 + varies)
    temperature = station.temperature
    if cold:
        falls = max(0.0, _inlet_gauge(station, struck) - struck.set_gauge_pressure)
        above = chance.uniform(*COLD_ABOVE) * COOLING.get(station.gas.key, 0.0) * falls
        temperature = min(temperature, CELSIUS_ZERO + above)
        inlet = _still_gas(station, inlet, temperature)
    now = replace(
        station,
        supply=replace(station.supply, gauge_pressure=inlet),
        temperature=temperature,
        loads=tuple(sorted(station.loads, key=lambda load: load.at != at)),
    )
    demands = tuple(replace(one, load=load.name) for one in day_of(chance) for load in now.loads)
    wide = _wide(struck)
    takes = _area_for(station, struck, _inlet_gauge(station, struck))
    line = struck.senses if struck.senses in station.named("sensing_line") else ""
    return OwnSite(
        kind=own.name,
        station=now,
        regulator=struck.name,
        line=line or next(iter(station.named("sensing_line")), ""),
        demands=demands,
        capacity=wide,
        load_area=takes,
        supply_area=_area_for(station, None, station.supply.gauge_pressure),
        room=max((one for one in station.volumes if one.name in layers.place), key=lambda one: one.size).name,
        set_gauge_pressure=layers.worker.set_gauge_pressure,
        oversized=wide / takes / USUAL_SPARE,
        purge=_purge(station, layers),
        drawn=False,
    )


def _purge(station: Station, layers: Layers) -> float:
    """What has to be opened, beside the burners, to hold the outlet as low as it comes on a drawn site, m2.

    Burners that a switch locks out at low gas pass nothing then.
    """
    worker, loads = layers.worker, [one for one in station.loads if one.at in layers.place]
    spare = _wide(worker) / _area_for(station, worker, _inlet_gauge(station, worker))
    locked = {name for one in station.switches if one.low_gauge_pressure is not None for name in one.locks_out}
    open_still = 0.0 if locked.issuperset(one.name for one in loads) else HELD_DRAW
    burners = sum(
        flow_area_for(one.rated_flow, one.rated_gauge_pressure, station.gas, station.temperature, station.atmosphere)
        for one in loads
    )
    return min(LARGEST_PURGE, burners * max(0.0, HELD_DRAW * spare / USUAL_SPARE - open_still))


@dataclass(frozen=True)
class OwnSite(Site):
    """A site that was not drawn: its regulators' sizes are what they are."""

    def starved(self, share: float) -> float:
        """The main's gauge pressure at which the wide-open regulator passes this share of the full load, Pa.

        From the burners up: at a share of their flow they stand at the square of it of the set point; each regulator
        upstream needs so much before it as drives that flow through it wide open.
        """
        station = self.station
        last = next(one for one in station.regulators if one.name == self.regulator)
        gauge = share**2 * last.set_gauge_pressure
        for regulator in (last, *_upstream(station, last)):
            gauge = _needs(station, regulator, share * _drawn_through(station, regulator), gauge)
        return min(gauge, station.supply.gauge_pressure)


def _still_gas(station: Station, inlet_gauge: float, temperature: float) -> float:
    """The main's gauge pressure, lowered to where the gas does not condense: a tank's pressure is the weather's."""
    highest = max(one.set_gauge_pressure for one in station.regulators)
    while True:
        try:
            compressibility(station.gas, station.atmosphere + inlet_gauge, temperature)
            return inlet_gauge
        except ScenarioError:
            inlet_gauge *= FALLS_IN_COLD
            checks.number("supply.gauge_pressure", inlet_gauge, highest, 2e7, "Pa", above=True)


def _upstream(station: Station, regulator: Regulator) -> Sequence[Regulator]:
    """The regulators that gas passes before this one, the nearest first."""
    found = [
        one for one in station.regulators if one is not regulator and regulator.inlet in downstream(station, one.outlet)
    ]
    return sorted(found, key=lambda one: len(downstream(station, one.outlet)))


def _inlet_gauge(station: Station, regulator: Regulator) -> float:
    """What stands before a regulator by the record: what another stage holds there, or the main's pressure, Pa."""
    held = [one.set_gauge_pressure for one in _upstream(station, regulator) if _holds_before(station, one, regulator)]
    return held[0] if held else station.supply.gauge_pressure


def _holds_before(station: Station, first: Regulator, second: Regulator) -> bool:
    """Whether the first holds the pressure between, and is no monitor of the second."""
    return (first.senses or first.outlet) not in station.at_one_pressure(second.senses or second.outlet)


def _drawn_through(station: Station, regulator: Regulator | None) -> float:
    """What all loads behind a regulator, or behind the main, are rated for, standard m3/s."""
    behind = None if regulator is None else downstream(station, regulator.outlet)
    return sum(load.rated_flow for load in station.loads if behind is None or load.at in behind)


def _wide(regulator: Regulator) -> float:
    """The flow area of a regulator wide open, m2."""
    return float(valve_area(regulator.condition(), regulator.travel))


def _passes(station: Station, area: float, inlet_gauge: float, outlet_gauge: float) -> float:
    """Standard volume flow through an area, m3/s."""
    air = station.atmosphere
    passes = mass_flow(area, air + inlet_gauge, air + outlet_gauge, station.gas, station.temperature)
    return passes / standard_density(station.gas)


def _area_for(station: Station, regulator: Regulator | None, inlet_gauge: float) -> float:
    """The flow area that the full load takes at a regulator, or at the main, m2."""
    outlet_gauge = 0.0 if regulator is None else regulator.set_gauge_pressure
    return _drawn_through(station, regulator) / _passes(station, 1.0, inlet_gauge, outlet_gauge)


def _needs(station: Station, regulator: Regulator, standard_flow: float, outlet_gauge: float) -> float:
    """The gauge pressure before a wide-open regulator that drives a flow through it, Pa; the main's at most."""
    low, high, area = outlet_gauge, station.supply.gauge_pressure, _wide(regulator)
    for _ in range(50):
        middle = 0.5 * (low + high)
        if _passes(station, area, middle, outlet_gauge) < standard_flow:
            low = middle
        else:
            high = middle
    return high
