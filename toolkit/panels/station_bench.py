"""A whole station on the bench: its drawing, its pressures over time, its ladder and its story in words.

A lesson says what it watches (`Watch`) and gets all that a panel shows of a run from `watched`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from toolkit.errors import ScenarioError
from toolkit.figures.data import ChartData, ChartSpec, EventMarker, Line, Mark
from toolkit.figures.ladder import LOOK_OF, LadderView, Role, RungView, ladder_svg
from toolkit.figures.station import station_svg
from toolkit.figures.style import ColourKey, ViewMode
from toolkit.ladder import KINDS, Rung, as_set
from toolkit.panels.regulator_view import DAY_MARKERS, END, NEAR_TOP, spec
from toolkit.panels.shown import Settings, Shown
from toolkit.panels.station_view import station_view
from toolkit.panels.words import clock, event_list, lasting, vented_words
from toolkit.scenario import Station
from toolkit.trace import Trace, time_above
from toolkit.units import display_unit, format_pressure, format_quantity, spoken, tidy

# The first time that one of these happens stands over the chart.
ACTS: Mapping[str, str] = {
    "relief_opens": "internal relief opens",
    "second_seat_acts": "second seat shuts",
    "valve_opens": "relief valve opens",
    "trips_high": "slam-shut trips",
    "trips_low": "slam-shut trips",
    "trips_by_switch": "switch trips it",
    "switch_high": "switch makes",
    "switch_low": "switch makes",
    "reset": "reset",
    "reset_refused": "reset refused",
    "reset_not_equalised": "reset refused",
}
LEAST_TAKEN = 1e-4  # of what the burners are rated for
ROLES: Mapping[str, Role] = {
    "worker_set": "holds",
    "monitor_set": "holds",
    "lock_up": "locks up",
    "rating": "limit",
    "limit": "limit",
    "slam_shut_high": "stops",
    "slam_shut_low": "stops",
    "switch_high": "stops",
    "switch_low": "stops",
}
# Kinds of rungs in fewer words than on the command line.
SHORT: Mapping[str, str] = {
    "rating": "rating",
    "worker_set": "set",
    "monitor_set": "set",
    "relief_start": "relief opens",
    "valve_set": "opens",
}


@dataclass(frozen=True)
class Watch:
    """What a bench watches on its station.

    `at` is the volume whose pressure the chart and the ladder show; `title` names the drawing, which goes as far as the
    volume `drawn_to`, usually that one; `duration` [s] and
    `top` [Pa gauge] end the chart's axes near the set point; `kind` is the display kind of the pressures. `also`
    are further signals on the chart: (label, signal, colour). `marks` are the kinds of rungs (`ladder.KINDS`) that
    stand on the chart as lines; all stand on the ladder. `markers` are the planned changes of the day.
    """

    title: str
    at: str = "outlet"
    drawn_to: str = ""
    kind: str = "low_gauge_pressure"
    duration: float = END
    top: float = NEAR_TOP
    also: tuple[tuple[str, str, ColourKey], ...] = ()
    marks: tuple[str, ...] = tuple(kind for kind in KINDS if kind != "lock_up")
    markers: tuple[EventMarker, ...] = DAY_MARKERS

    def __post_init__(self) -> None:
        unknown = [kind for kind in self.marks if kind not in KINDS]
        if unknown:
            raise ScenarioError("watch.marks", unknown, "kinds of rungs: " + ", ".join(KINDS), "Check the spelling.")


rungs_of = lru_cache(maxsize=64)(as_set)


def watched(
    watch: Watch,
    settings: Settings,
    trace: Trace,
    sentence: str,
    readouts: Sequence[tuple[str, str]] = (),
    markers: Sequence[EventMarker] = (),
    ladder: Sequence[Rung] | None = None,
) -> Shown:
    """All that a panel shows of a run: station at the moment chosen, chart, ladder, gauges, the sentence, the events.

    `settings` hold "units", "zoom" ("near" or "whole") and "moment" [s]; `readouts` come after the usual ones;
    `markers` [min] after the first of each event that ACTS names; `ladder` are the rungs where those of the chart, as
    they are set, are not all that the lesson tells. Raises ScenarioError for a volume nobody holds.
    """
    units, moment = settings["units"], settings["moment"]
    screen: ViewMode = settings.get("screen", "desk")
    at = f"{watch.at}_gauge_pressure"
    scale = display_unit(watch.kind, units).scale
    lines = [Line(spoken(watch.at), trace.times / 60, trace[at] / scale, "blue")]
    lines += [Line(label, trace.times / 60, trace[signal] / scale, colour) for label, signal, colour in watch.also]
    rungs = rungs_of(trace.scenario.station, watch.at)
    chart = ChartData(
        tuple(lines),
        tuple(_mark(one, scale) for one in rungs if one.kind in watch.marks),
        # What a layer does is written before what the day brings anyway.
        (*(replace(one, minor=True) for one in watch.markers), *acted(trace), *markers),
        moment=moment / 60,
        moment_text=clock(moment),
    )
    axes = _axes(watch, units, settings.get("zoom", "near"))
    return Shown(
        station_svg(station_view(trace, moment, watch.drawn_to or watch.at, units, watch.title), view_mode=screen),
        axes,
        chart,
        (*usual_readouts(watch, trace, moment, units), *readouts),
        tidy(sentence),
        tuple(event_list(trace, units)),
        ladder_svg(ladder_view(watch, rungs if ladder is None else ladder, trace.at(at, moment), units, screen)),
    )


def acted(trace: Trace) -> tuple[EventMarker, ...]:
    """The first of each event that says that a layer acts, as markers over a chart in minutes."""
    found = [(words, trace.happened(kind)) for kind, words in ACTS.items()]
    return tuple(EventMarker(events[0].time / 60, words) for words, events in found if events)


def usual_readouts(watch: Watch, trace: Trace, time: float, units: str) -> tuple[tuple[str, str], ...]:
    """What the gauges say at a time [s], and what was highest and let off in the whole run."""
    signal, place = f"{watch.at}_gauge_pressure", spoken(watch.at)
    loads = trace.scenario.station.loads
    flow = sum(max(0.0, trace.at(f"{load.name}_flow", time)) for load in loads)
    # The last of a pipe that runs empty burns nowhere.
    flow = flow if flow > LEAST_TAKEN * sum(load.rated_flow for load in loads) else 0.0
    return (
        (f"{place} now", format_pressure(trace.at(signal, time), units)),
        ("burners take now", format_quantity(flow, "standard_flow", units)),
        (f"highest {place}", format_pressure(trace.peak(signal)[1], units)),
        ("gas let off", vented_words(trace, units)),
    )


def above_rating(watch: Watch, trace: Trace, units: str) -> str:
    """Whether the weakest appliance at the place saw more than it is rated for, and for how long, as a sentence."""
    station: Station = trace.scenario.station
    place = station.at_one_pressure(watch.at)
    rating = min((load.maximum_gauge_pressure for load in station.loads if load.at in place), default=None)
    if rating is None:
        return ""
    shown = format_pressure(rating, units)
    over = time_above(trace.times, trace[f"{watch.at}_gauge_pressure"], rating)
    if over > 0:
        return f"The appliances are rated {shown}: the {spoken(watch.at)} is above that for {lasting(over)}."
    return f"The {spoken(watch.at)} never passes the appliances' rating of {shown}."


def ladder_view(watch: Watch, rungs: Sequence[Rung], now: float, units: str, screen: ViewMode = "desk") -> LadderView:
    """The rungs and the pressure now [Pa gauge] as the ladder's picture wants them."""
    views = tuple(
        RungView(
            rung_words(one),
            format_pressure(one.gauge_pressure, units),
            one.gauge_pressure,
            one.low,
            one.high,
            _role(one),
        )
        for one in rungs
    )
    return LadderView("Ladder", views, watch.top, now, format_pressure(now, units), screen)


def rung_words(one: Rung) -> str:
    """A rung in a few words: "monitor set"."""
    return f"{spoken(one.device)} {SHORT.get(one.kind, KINDS[one.kind])}".strip()


def _role(one: Rung) -> Role:
    return ROLES.get(one.kind, "acts")


def _mark(one: Rung, scale: float) -> Mark:
    return Mark(rung_words(one), one.gauge_pressure / scale, *LOOK_OF[_role(one)])


def _axes(watch: Watch, units: str, zoom: str) -> ChartSpec:
    usual = spec(units, zoom)
    axes = replace(usual, x_range=(0, watch.duration / 60), y_name=spoken(watch.at).capitalize())
    if zoom != "near":
        return axes
    unit = display_unit(watch.kind, units)
    return replace(axes, y_range=(0, watch.top / unit.scale), y_unit=unit.label)
