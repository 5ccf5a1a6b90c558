"""Lesson 01, pressure and flow: gauge and absolute, altitude, flow through a hole, choked or not, heat input."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10, pi

import numpy as np

from toolkit.devices.regulator import Regulator
from toolkit.figures.data import ChartData, ChartSpec, EventMarker, Line, Point
from toolkit.figures.orifice import OrificeView, orifice_svg
from toolkit.figures.style import ViewMode
from toolkit.flow import critical_ratio, mass_flow, standard_flow
from toolkit.gas import GASES, Gas
from toolkit.panels.bench import Bench, Settings, Shown
from toolkit.panels.controls import Choice, Slider
from toolkit.panels.predict import Prediction
from toolkit.scenario import Station
from toolkit.units import (
    HOUR,
    INCH,
    LOW_PRESSURE_LIMIT,
    PSI,
    SCF,
    atmosphere,
    display_unit,
    format_pressure,
    format_quantity,
    tidy,
    to_display,
)

TEMPERATURE = Station().temperature
# A hole drilled through a thick plate, its edge broken: taken as good as the regulator's orifice. Behind a thin plate
# with a sharp edge the jet still widens a little below the critical ratio; that is not modelled.
DISCHARGE = Regulator().discharge_coefficient
# Propane condenses at 93.6 psig at the bench's 60 degF: up to here both gases are gas at every altitude of the bench.
HIGHEST = 90 * PSI
LARGEST_HOLE = 0.25 * INCH
# Below this difference of pressures, as a share of the higher absolute one, the square root of the difference is told.
SMALL_DIFFERENCE = 0.05

UPSTREAM = Slider("upstream", "Upstream pressure", "supply", "gauge_pressure", 0.0, HIGHEST, 60 * PSI, (0.25, 0.02))
GAS = Choice("gas", "Gas", "supply", tuple((gas.name, gas.key) for gas in GASES.values()))
ALTITUDE = Slider("altitude", "Altitude of the site", "supply", "altitude", 0.0, 3048.0, 0.0, (500, 100))
HOLE = Slider(
    "hole", "Hole, diameter", "settings", "small_length", 0.05 * INCH, LARGEST_HOLE, 0.125 * INCH, (0.005, 0.1)
)
DOWNSTREAM = Slider(
    "downstream", "Downstream pressure", "demand", "gauge_pressure", 0.0, HIGHEST, 10 * PSI, (0.25, 0.02)
)
REACH = Choice(
    "reach",
    "Chart shows downstream pressures",
    "view",
    (("to 90 psi (6.2 bar)", "high"), ("to 5 psi (345 mbar)", "low")),
)
REACHES = {"high": HIGHEST, "low": 5 * PSI}

# The chart's flows: all that the controls can set, short of nothing at all [standard m3/s].
LEAST, MOST = 1 * SCF / HOUR, 1e4 * SCF / HOUR
FLOW_TICKS = {
    "us": ((1.0, "1"), (10.0, "10"), (100.0, "100"), (1000.0, "1,000"), (10_000.0, "10,000")),
    "metric": ((0.1, "0.1"), (1.0, "1"), (10.0, "10"), (100.0, "100")),
}


@dataclass(frozen=True)
class Plate:
    """A plate with a hole between two pressures [Pa gauge], its `flow_area` [m2], the air outside [Pa absolute]."""

    gas: Gas
    flow_area: float
    atmosphere: float
    upstream_gauge: float
    downstream_gauge: float

    @property
    def upstream_absolute(self) -> float:
        """Pressure before the hole [Pa absolute]."""
        return self.upstream_gauge + self.atmosphere

    @property
    def downstream_absolute(self) -> float:
        """Pressure behind the hole [Pa absolute]."""
        return self.downstream_gauge + self.atmosphere

    @property
    def ratio(self) -> float:
        """The lower absolute pressure over the higher."""
        low, high = sorted((self.upstream_absolute, self.downstream_absolute))
        return low / high

    @property
    def choked(self) -> bool:
        """Whether the gas reaches the speed of sound in the hole."""
        return self.ratio <= critical_ratio(self.gas.heat_ratio)

    @property
    def critical_gauge(self) -> float:
        """Downstream pressure at and below which this upstream pressure chokes [Pa gauge]; may lie below the air's."""
        return self.upstream_absolute * critical_ratio(self.gas.heat_ratio) - self.atmosphere

    @property
    def flow(self) -> float:
        """Standard volume flow [m3/s], negative where the gas runs back."""
        return self.flow_with(self.upstream_gauge, self.downstream_gauge)

    @property
    def heat(self) -> float:
        """Heat that the flow holds [W], whichever way it goes."""
        return abs(self.flow) * self.gas.heating_value

    def flow_with(self, upstream_gauge: float, downstream_gauge: float) -> float:
        """Standard volume flow [m3/s] of the same hole between two other pressures [Pa gauge]."""
        first, second = (gauge + self.atmosphere for gauge in (upstream_gauge, downstream_gauge))
        return standard_flow(mass_flow(self.flow_area, first, second, self.gas, TEMPERATURE), self.gas)


def plate(settings: Settings) -> Plate:
    """The plate of the settings."""
    return Plate(
        GASES[settings["gas"]],
        DISCHARGE * pi / 4 * settings["hole"] ** 2,
        atmosphere(settings["altitude"]),
        settings["upstream"],
        settings["downstream"],
    )


def flow_words(flow: float, units: str) -> str:
    """A flow as text, without its sign."""
    return format_quantity(abs(flow), "standard_flow", units)


def heat_words(heat: float, units: str) -> str:
    """A heat input [W] as text, in three figures."""
    number = to_display(heat, "heat_input", units)
    digits = 2 - floor(log10(number)) if number > 0 else 0
    return format_quantity(round(number, digits) * display_unit("heat_input", units).scale, "heat_input", units)


def gauge_words(gauge: float, units: str) -> str:
    """A gauge pressure as text; a low one in both of the trade's units, as they stand on two gauges."""
    text = format_pressure(gauge, units)
    if not 0 < gauge < LOW_PRESSURE_LIMIT:
        return text
    unit = display_unit("gauge_pressure", units)
    return f"{text} ({to_display(gauge, 'gauge_pressure', units):.3g} {unit.label})"


def absolute_words(absolute: float, units: str) -> str:
    """An absolute pressure as text."""
    return format_quantity(absolute, "absolute_pressure", units)


def drawing(here: Plate, hole: float, units: str, screen: ViewMode) -> str:
    """The plate between its gauges as SVG; `hole` is the diameter [m]."""
    strength = float(np.clip(np.log(max(abs(here.flow), 1e-12) / LEAST) / np.log(MOST / LEAST), 0.02, 1))
    return orifice_svg(
        OrificeView(
            upstream_text=gauge_words(here.upstream_gauge, units),
            upstream_absolute_text=absolute_words(here.upstream_absolute, units),
            downstream_text=gauge_words(here.downstream_gauge, units),
            downstream_absolute_text=absolute_words(here.downstream_absolute, units),
            air_text=absolute_words(here.atmosphere, units),
            hole_text=format_quantity(hole, "small_length", units),
            flow_text=flow_words(here.flow, units),
            upstream_level=here.upstream_gauge / HIGHEST,
            downstream_level=here.downstream_gauge / HIGHEST,
            hole=hole / LARGEST_HOLE,
            flow=float(np.sign(here.flow)) * strength,
            choked=here.choked,
        ),
        view_mode=screen,
    )


def curve(here: Plate, reach: float, points: int = 240) -> tuple[np.ndarray, np.ndarray]:
    """Downstream gauge pressure [Pa] from nothing to `reach`, closer where it is near upstream, and flow; (n,)."""
    even = np.linspace(0.0, reach, points)
    # Close to equal pressures the flow falls off steeply; points on both sides of it keep the curve smooth.
    near = here.upstream_gauge + np.concatenate([-np.geomspace(reach, 1.0, 80), np.geomspace(1.0, reach, 80)])
    gauge = np.unique(np.concatenate([even, near[(near >= 0) & (near <= reach)]]))
    return gauge, np.array([here.flow_with(here.upstream_gauge, float(p)) for p in gauge])


def chart(here: Plate, settings: Settings) -> tuple[ChartSpec, ChartData]:
    """Flow over downstream pressure at the set upstream pressure, with the critical and the present point."""
    units, reach = settings["units"], REACHES[settings["reach"]]
    pressure, flow = display_unit("gauge_pressure", units), display_unit("standard_flow", units)
    spec = ChartSpec(
        (0.0, reach / pressure.scale),
        (LEAST / flow.scale, MOST / flow.scale),
        "Downstream pressure",
        pressure.label,
        "Flow",
        flow.label,
        "log",
        FLOW_TICKS[units],
        size=(600, 360),
    )
    gauge, through = curve(here, reach)
    # Nothing has no place on a scale of tens: each curve ends where it leaves the picture.
    x, y, forward, back = gauge / pressure.scale, np.abs(through) / flow.scale, through >= LEAST, through <= -LEAST
    lines = (
        Line("through the hole", x[forward], y[forward], "blue"),
        Line("running back", x[back], y[back], "vermilion", "dashed"),
    )
    events = []
    if here.critical_gauge >= 0:
        events.append(EventMarker(here.critical_gauge / pressure.scale, "choked up to here"))
    events.append(EventMarker(here.upstream_gauge / pressure.scale, "equal pressures"))
    now = Point("now", here.downstream_gauge / pressure.scale, abs(here.flow) / flow.scale, "black")
    inside = here.downstream_gauge <= reach
    return spec, ChartData(lines, events=tuple(events), points=(now,) if inside else ())


def story(here: Plate, units: str) -> str:
    """The state in a few sentences: what the gauges show, whether it chokes and what would change the flow."""
    critical = critical_ratio(here.gas.heat_ratio)
    said = [
        f"The upstream gauge shows {gauge_words(here.upstream_gauge, units)}. With the air outside, "
        f"{absolute_words(here.atmosphere, units)}, that is {absolute_words(here.upstream_absolute, units)}.",
    ]
    if here.flow == 0:
        return " ".join([*said, "Both sides stand equal: nothing flows, whatever the size of the hole."])
    passes = f"{flow_words(here.flow, units)} of {here.gas.name}, a heat input of {heat_words(here.heat, units)}"
    if here.flow < 0:
        said.append(f"Downstream stands higher, so the gas runs back through the hole: {passes}.")
        said.append("Gas goes from the higher pressure to the lower, whatever the arrow on the pipe says.")
    else:
        said.append(f"The hole passes {passes}.")
    stands = f"The lower absolute pressure is {here.ratio:.3f} of the higher"
    if here.choked:
        said.append(
            f"{stands}; {critical:.3f} or less is choked: the gas goes through at the speed of sound. "
            "Lowering the lower pressure brings nothing more. The flow now follows the higher absolute pressure alone."
        )
        return " ".join(said)
    said.append(f"{stands}; above {critical:.3f} the hole is not choked.")
    if here.flow < 0:
        return " ".join(said)
    if here.critical_gauge >= 0:
        at = gauge_words(here.critical_gauge, units)
        said.append(f"Lowering the downstream pressure still brings more, until it chokes at {at}.")
    else:
        least = here.atmosphere / critical - here.atmosphere
        said.append(
            f"This upstream pressure cannot choke the hole, even into the open air: that takes "
            f"{gauge_words(least, units)} here."
        )
    if 1 - here.ratio < SMALL_DIFFERENCE:
        said.append(
            "At so small a difference the flow goes with its square root: four times the difference, about twice the "
            "flow. So it is at a burner."
        )
    return " ".join(said)


def show(settings: Settings) -> Shown:
    """The plate between its gauges, the flow over the downstream pressure, the state in words."""
    units, here = settings["units"], plate(settings)
    spec, data = chart(here, settings)
    return Shown(
        drawing(here, settings["hole"], units, settings.get("screen", "desk")),
        spec,
        data,
        (
            ("flow", flow_words(here.flow, units) + (", running back" if here.flow < 0 else "")),
            ("heat input", heat_words(here.heat, units)),
            ("pressure ratio, absolute", f"{here.ratio:.3f}"),
            (f"choked at {critical_ratio(here.gas.heat_ratio):.3f} or less", "choked" if here.choked else "not choked"),
            ("upstream, gauge", gauge_words(here.upstream_gauge, units)),
            ("upstream, absolute", absolute_words(here.upstream_absolute, units)),
            ("downstream, gauge", gauge_words(here.downstream_gauge, units)),
            ("downstream, absolute", absolute_words(here.downstream_absolute, units)),
        ),
        tidy(story(here, units)),
    )


def explain(units: str) -> str:
    """Why a lower pressure behind a choked hole changes nothing, in numbers of the same law."""
    here = plate(BENCH.start(units))
    before, behind = (format_pressure(p, units) for p in (here.upstream_gauge, here.downstream_gauge))
    more = here.upstream_gauge * 1.5
    return (
        f"Count in absolute pressures: {absolute_words(here.upstream_absolute, units)} before the hole and "
        f"{absolute_words(here.downstream_absolute, units)} behind it, {here.ratio:.2f} to 1. "
        f"{here.gas.name.capitalize()} is choked at {critical_ratio(here.gas.heat_ratio):.2f} to 1 or less: it goes "
        "through at the speed of sound, and what happens behind the hole cannot make itself felt before it. "
        f"With {behind} behind it the hole passes {flow_words(here.flow, units)}, with nothing behind it "
        f"{flow_words(here.flow_with(here.upstream_gauge, 0.0), units)}. "
        f"What counts is the pressure before it: from {before} to {format_pressure(more, units)} the absolute pressure "
        f"grows to {(more + here.atmosphere) / here.upstream_absolute:.2f} times, and the flow to "
        f"{here.flow_with(more, here.downstream_gauge) / here.flow:.2f} times, "
        f"{flow_words(here.flow_with(more, here.downstream_gauge), units)}."
    )


PREDICTION = Prediction(
    "A hole in a plate has 60 psi (4.1 bar) before it and 10 psi (0.7 bar) behind it, both read on gauges. "
    "You lower the pressure behind it to nothing. What does the flow do?",
    (
        "It doubles.",
        "It grows by a fifth, as the difference of the two pressures does.",
        "It grows by a tenth: flow goes with the square root of the difference.",
        "It stays the same.",
    ),
    3,
    explain,
)
BENCH = Bench("Pressure and flow", (UPSTREAM, GAS, ALTITUDE, HOLE, DOWNSTREAM, REACH), show)
