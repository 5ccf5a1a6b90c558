"""What a gauge reading amounts to beside the station's record: one function a sign, each with its limits.

A run's gauges (visits.py) and what a person types go by the same functions. Where a value begins is engineering
judgement, no source; what a device weighs against is its station's own record.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields

from toolkit import checks
from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.diagnosis.signs import GAS, OUTLET, SIGNS, START, SUN, Signs
from toolkit.diagnosis.symptoms import LITTLE, LOW, STILL, SUN_RISE, gauge_step
from toolkit.errors import QuantityError, ScenarioError
from toolkit.scenario import Station
from toolkit.units import STANDARD_ATMOSPHERE, format_quantity, parse_quantity

# Below this share of the set point the outlet is far low.
FAR_LOW = 0.5
# Up from this share of its start on record a relief may be open: a gauge can err, and so can a spring.
STARTS = 0.95
# Lock-up is off its record by more than a gauge can err in two visits.
LOCK_UP_OFF = 0.06
# The inlet gauge is low, and far low, below these shares of the pressure on record.
INLET_LOW, INLET_FAR_LOW = 0.8, 0.4
# What the filter and the inlet line cost, as a share of the pressure before them: marked, and large.
DROP_MARKED, DROP_LARGE = 0.1, 0.4
# The gauge between two regulators: near the outlet below this share of the way up to the inlet, near the inlet above.
BETWEEN_LOW, BETWEEN_HIGH = 0.1, 0.7
# Two readings of one gauge may lie a step apart by rounding alone; above this many steps they are told apart.
STEPS_APART = 1.5
# A kick at a cut-off as a share of the set point: marked, and large.
KICK_MARKED, KICK_LARGE = 0.25, 0.75
# No gauge here shows more [Pa]; nor less than a vacuum.
LARGEST = 2e7


@dataclass(frozen=True)
class Record:
    """What stands on a station's record, all gauge pressures [Pa].

    The worker's set point, its lock-up, the weakest appliance's rating, the inlet pressure it was set up for, and where
    its internal relief starts, if one is fitted and that is known.
    Raises ScenarioError for a number that cannot be, and for a lock-up or a relief's start below the set point.
    """

    set_gauge_pressure: float
    lock_up_gauge_pressure: float
    rating_gauge_pressure: float
    inlet_gauge_pressure: float
    relief_start_gauge_pressure: float | None = None

    def __post_init__(self) -> None:
        known = {one.name: value for one in fields(self) if (value := getattr(self, one.name)) is not None}
        for name, value in known.items():
            checks.number(f"record.{name}", value, 0.0, LARGEST, "Pa", above=True)
        for name in ("lock_up_gauge_pressure", "relief_start_gauge_pressure"):
            if known.get(name, self.set_gauge_pressure) < self.set_gauge_pressure:
                raise ScenarioError(
                    f"record.{name}",
                    known[name],
                    f"at least the set point, {self.set_gauge_pressure:g} Pa",
                    "Look the two up again: they may be the wrong way round.",
                )

    @property
    def top_gauge_pressure(self) -> float:
        """Up to here the outlet is as it should be [Pa]."""
        return self.lock_up_gauge_pressure + LITTLE * self.set_gauge_pressure

    @property
    def far_high_gauge_pressure(self) -> float:
        """Above this the outlet is far high: above the appliances' rating, wherever that leaves room [Pa]."""
        return max(self.top_gauge_pressure, self.rating_gauge_pressure)


def record_of(station: Station) -> Record:
    """The record of a station in good order: of its regulator with the lowest set point, on the day that it was set.

    Raises ScenarioError for a station without a regulator or without an appliance.
    """
    for part, there in (("regulators", station.regulators), ("loads", station.loads)):
        if not there:
            raise ScenarioError(f"station.{part}", there, "at least one", "Add it to the station's file.")
    worker = min(station.regulators, key=lambda one: one.set_gauge_pressure)
    return Record(
        worker.set_gauge_pressure,
        # Behind a first stage the pressure it was adjusted at is not the supply's.
        lock_up_gauge_pressure(worker.condition(), worker.adjusted_at_inlet_gauge_pressure),
        min(load.maximum_gauge_pressure for load in station.loads),
        station.supply.gauge_pressure,
        worker.set_gauge_pressure + worker.relief.start_above_set if worker.relief else None,
    )


@dataclass(frozen=True)
class Field:
    """Something to type: its key, its name, its kind of quantity (units.py), a usual text, whether it may be 0.

    `layer`: it is asked only where that layer is fitted, and may be left out.
    """

    key: str
    name: str
    kind: str
    usual: str
    may_be_zero: bool = True
    layer: str = ""


RECORD: dict[str, Field] = {
    one.key: one
    for one in (
        Field("set_gauge_pressure", "set point", "low_gauge_pressure", "7 in. w.c.", False),
        Field("lock_up_gauge_pressure", "lock-up", "low_gauge_pressure", "7.8 in. w.c.", False),
        Field(
            "rating_gauge_pressure",
            "highest pressure the appliances may see",
            "low_gauge_pressure",
            "14 in. w.c.",
            False,
        ),
        Field("inlet_gauge_pressure", "inlet pressure", "gauge_pressure", "60 psig", False),
        Field(
            "relief_start_gauge_pressure",
            "internal relief starts at",
            "low_gauge_pressure",
            "16 in. w.c.",
            False,
            "relief",
        ),
    )
}
READINGS: dict[str, Field] = {
    one.key: one
    for one in (
        Field("outlet_on", "outlet, all burners on", "low_gauge_pressure", "7 in. w.c."),
        Field("outlet_pilots", "outlet, pilots only", "low_gauge_pressure", "7.4 in. w.c."),
        Field("outlet_off", "outlet, all off (lock-up)", "low_gauge_pressure", "7.8 in. w.c."),
        Field("outlet_off_later", "outlet, all off, some minutes later", "low_gauge_pressure", "7.8 in. w.c."),
        Field("outlet_peak", "outlet, highest as the burners shut", "low_gauge_pressure", "8 in. w.c."),
        Field("inlet", "inlet before the filter, all on", "gauge_pressure", "58 psig"),
        Field("after_filter", "inlet after the filter, all on", "gauge_pressure", "57 psig"),
        Field("between", "between the regulators, all on", "gauge_pressure", "50 psig"),
    )
}


@dataclass(frozen=True)
class GaugeReadings:
    """What was read off the gauges, by the keys of READINGS: gauge pressures [Pa], None where nobody looked."""

    outlet_on: float | None = None
    outlet_pilots: float | None = None
    outlet_off: float | None = None
    outlet_off_later: float | None = None
    outlet_peak: float | None = None
    inlet: float | None = None
    after_filter: float | None = None
    between: float | None = None

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if value is not None:
                checks.number(f"readings.{one.name}", value, -STANDARD_ATMOSPHERE, LARGEST, "Pa")


def typed(field: Field, text: str) -> float | None:
    """The gauge pressure [Pa] of what was typed into a field, None where it is empty.

    A bare number is refused: its unit cannot be guessed. Raises QuantityError, in words for whoever typed it, and
    nothing else.
    """
    if not text.strip():
        return None
    value = parse_quantity(text, field.kind)
    if value > LARGEST or (value <= 0.0 and not field.may_be_zero):
        least = "from a vacuum" if field.may_be_zero else "above 0"
        raise QuantityError(
            f"{text.strip()!r} was given; a pressure {least} to {format_quantity(LARGEST, 'gauge_pressure', 'metric')} "
            "was expected. Check the number and its unit."
        )
    return value


def signs_of_readings(readings: GaugeReadings, record: Record) -> Signs:
    """The signs that readings amount to, by the limits that runs are read by.

    Of two readings with all off the later one counts, and the two together tell creep. Where the inlet or the outlet
    was not read, the gauge between the regulators is weighed beside the record; a pressure drop and a kick are told
    only by readings.
    """
    on, pilots, peak, inlet = readings.outlet_on, readings.outlet_pilots, readings.outlet_peak, readings.inlet
    first, later = readings.outlet_off, readings.outlet_off_later
    off = first if later is None else later
    before, after, middle = inlet, readings.after_filter, readings.between
    found: dict[str, str] = {}
    for key, outlet in (("outlet_on", on), ("outlet_pilots", pilots), ("outlet_off", off)):
        if outlet is not None:
            found[key] = outlet_value(outlet, record)
    if off is not None:
        found["lock_up"] = lock_up_value(off, record)
    if first is not None and later is not None:
        found["creep"] = creep_value(first, later, record)
    if inlet is not None:
        found["inlet"] = inlet_value(inlet, record)
    if before is not None and after is not None:
        found["filter_drop"] = drop_value(before, after)
    if middle is not None:
        feeding = next(one for one in (after, inlet, record.inlet_gauge_pressure) if one is not None)
        found["between"] = between_value(feeding, middle, record.set_gauge_pressure if on is None else on)
    settled = pilots if pilots is not None else off
    if peak is not None and on is not None and settled is not None:
        found["spike"] = kick_value(kick(peak, on, settled, record), record)
    return Signs(**found)


def signs_beside_start(signs: Signs, readings: GaugeReadings, record: Record) -> Signs:
    """The sign that gas at the vent and the gauge tell only together: is the outlet as high as the relief's start?"""
    off = readings.outlet_off if readings.outlet_off_later is None else readings.outlet_off_later
    met = ((signs.vent_on, readings.outlet_on), (signs.vent_off, off))
    outlets = [outlet for gas, outlet in met if gas in GAS[1:] and outlet is not None]
    known = outlets and record.relief_start_gauge_pressure is not None
    return Signs(relief_start=start_value(outlets, record)) if known else Signs()


def step(values: tuple[str, ...], number: float, *steps: float) -> str:
    """The value whose place is the number of steps that have been passed."""
    return values[sum(number > step for step in steps)]


def outlet_value(outlet: float, record: Record) -> str:
    """What the outlet gauge [Pa] says."""
    limits = (FAR_LOW * record.set_gauge_pressure, LOW * record.set_gauge_pressure)
    return step(OUTLET, outlet, *limits, record.top_gauge_pressure, record.far_high_gauge_pressure)


def start_value(outlets: Iterable[float], record: Record) -> str:
    """What the outlet gauge [Pa] says beside the internal relief's start, wherever gas left the vent."""
    lowest = min(outlets, default=None)
    if lowest is None:
        return START[0]
    start = record.relief_start_gauge_pressure or 0.0
    return START[1] if lowest < STARTS * start else START[2]


def lock_up_value(outlet: float, record: Record) -> str:
    """What the outlet gauge with all off [Pa] says of lock-up."""
    share = outlet / record.lock_up_gauge_pressure - 1.0
    return step(SIGNS["lock_up"].values, share, -LOCK_UP_OFF, LOCK_UP_OFF)


def creep_value(first: float, later: float, record: Record) -> str:
    """What two readings of the outlet gauge with all off [Pa] say, minutes apart."""
    return step(SIGNS["creep"].values, later - first, STILL * record.set_gauge_pressure)


def sun_value(before: float, sunny: float, shaded: float, record: Record) -> str:
    """What the outlet gauge with all off [Pa] says: before the sun is on the pipe, in it, and in the shade again.

    What the sun has lifted falls back to lock-up. What stands above it in the shade has come in, also where it came
    before the first reading and a relief has let some of it off in the sun.
    """
    least = max(SUN_RISE * record.set_gauge_pressure, STEPS_APART * gauge_step(sunny))
    none, stays, falls = SUN
    if max(sunny, shaded) - before <= least:
        return none
    return stays if shaded - before > least or lock_up_value(shaded, record) == "higher" else falls


def between_value(inlet: float, middle: float, outlet: float) -> str:
    """What the gauge between two regulators says, beside those before and behind them [Pa]."""
    share = (middle - outlet) / max(inlet - outlet, 1.0)
    return step(SIGNS["between"].values, share, BETWEEN_LOW, BETWEEN_HIGH)


def inlet_value(inlet: float, record: Record) -> str:
    """What the inlet gauge [Pa] says."""
    return step(SIGNS["inlet"].values, inlet / record.inlet_gauge_pressure, INLET_FAR_LOW, INLET_LOW)


def drop_value(before: float, after: float) -> str:
    """What the gauges before and after the filter [Pa] say."""
    return step(SIGNS["filter_drop"].values, (before - after) / max(before, 1.0), DROP_MARKED, DROP_LARGE)


def kick(peak: float, before: float, after: float, record: Record) -> float:
    """How far [Pa] the outlet gauge's highest as the burners shut lies above what it held before and after."""
    return peak - max(record.set_gauge_pressure, before, after)


def kick_value(height: float, record: Record) -> str:
    """How large a kick of so many Pa is."""
    pressure = record.set_gauge_pressure
    return step(SIGNS["spike"].values, height, KICK_MARKED * pressure, KICK_LARGE * pressure)
