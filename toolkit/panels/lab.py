"""A lab: a pair of causes that look alike, on the usual bench. A visit, a check to choose, and the truth on request.

Until the truth is asked for, the drawing shows the devices from outside, gauges that nobody has read show nothing,
and what is read are the signs of the check chosen. With the truth both runs stand beside each other. What may never be
done is among the checks, and is refused. A lesson gives a `Lab` and gets its bench from `bench_of`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from random import Random

from toolkit.devices.line import SupplyCondition
from toolkit.diagnosis.pair_station import OFF_AT, PILOTS_AT
from toolkit.diagnosis.pairs import Pair, PairCheck, Reading, cost, readings, stop_card, told
from toolkit.diagnosis.symptoms import gauge_shows
from toolkit.figures.data import EventMarker
from toolkit.figures.station import StationView, station_svg
from toolkit.figures.symbols_views import (
    ApplianceView,
    BranchView,
    FilterView,
    LeakView,
    MainView,
    MonitorView,
    ReliefValveView,
    SecondSeatView,
    SupplyView,
    VolumeView,
    WorkerView,
)
from toolkit.panels.bench import Bench, Settings, Shown, run
from toolkit.panels.compare import with_other
from toolkit.panels.controls import GROUPS, Choice, Control, Slider
from toolkit.panels.sliders import DEMAND, MOMENT, SET_POINT, starting
from toolkit.panels.station_bench import Watch, watched
from toolkit.panels.station_view import station_view
from toolkit.scenario import Scenario
from toolkit.trace import Trace
from toolkit.units import HOUR, IN_WC, SCF, format_pressure, format_quantity, tidy

# Visits 1 and 2 are the pair; in the later ones either cause is drawn by chance.
TWO, VISITS = 2, 6
VISIT = Choice(
    "visit",
    "Visit",
    "faults",
    tuple(
        (f"visit {number}" if number <= TWO else f"visit {number}, drawn by chance", number)
        for number in range(1, VISITS + 1)
    ),
)
TRUTH = Choice("truth", "The truth", "view", (("not yet", False), ("show it, both causes", True)))
# Where the drawing opens. A share of the run: its end, when the check chosen has been made. Or a moment [s] with all
# burners on, so that the first gauges seen are those of the first check.
OPENS_AT, ALL_ON = 0.98, PILOTS_AT - 20.0
NOT_READ, FULL = "not read", 1.0
# Sliders that labs share, and what is done at the usual visit.
SET = starting(replace(SET_POINT, low=5 * IN_WC, high=8 * IN_WC), 7 * IN_WC)
LOAD = replace(DEMAND, low=150 * SCF / HOUR, high=300 * SCF / HOUR, start=250 * SCF / HOUR)
SEVERITY = Slider("severity", "How far it has come", "faults", "fraction", 0.0, 1.0, 0.5, (5, 5))
VISIT_MARKERS = (EventMarker(PILOTS_AT / 60, "pilots only"), EventMarker(OFF_AT / 60, "all off"))


@dataclass(frozen=True)
class Lab:
    """A pair on a bench: its title, what the bench watches, its sliders.

    The sliders' keys are what the pair's visit is made with. `filtered`: the supply has a filter, drawn after it.
    `opens_at` is the moment shown first [s]; 0 is near the end, when every check has been made. `ungauged` are rooms
    that have no gauge: they are drawn with the truth only.
    """

    title: str
    pair: Pair
    watch: Watch
    sliders: tuple[Slider, ...] = (SET, SEVERITY, LOAD)
    filtered: bool = False
    opens_at: float = 0.0
    ungauged: tuple[str, ...] = ()


def which_of(lab: Lab, visit: int) -> int:
    """Which cause it is at a visit, 0 or 1: the first two visits have one each, the others are drawn."""
    if visit <= TWO:
        return (Random(lab.title).randrange(TWO) + visit - 1) % TWO
    return Random(f"{lab.title} {visit}").randrange(TWO)


def scenario_of(lab: Lab, settings: Settings, which: int | None = None) -> Scenario:
    """The run that the settings call for: the check chosen, at the visit chosen or with the cause given (0 or 1)."""
    here = which_of(lab, settings["visit"]) if which is None else which
    return lab.pair.scenario(settings, settings["check"], here)


# In words


def verdict(pair: Pair, one: PairCheck, which: int, ours: tuple[Reading, ...], theirs: tuple[Reading, ...]) -> str:
    """The truth in sentences: which cause it was, and whether the check made could tell."""
    said, other = f"At this visit it was {pair.suspects[which]}.", pair.suspects[1 - which]
    if one.check.forbidden:
        return f"{said} {stop_card(one.check)}"
    if ours == theirs:
        return (
            f"{said} This check shows {told(ours)}. The other cause ({other}) shows the same, so this check cannot "
            "tell the two apart."
        )
    return (
        f"{said} This check shows {told(ours)}. The other cause ({other}) shows {told(theirs)}. So this check tells "
        f"the two apart. {pair.because}"
    )


def asked(pair: Pair, one: PairCheck, found: tuple[Reading, ...]) -> str:
    """The check in sentences: the symptom, what is done, what it costs, what it shows; or why it is refused."""
    if one.check.forbidden:
        return f"{pair.noticed} Check: {one.check.name}. {stop_card(one.check)} Choose another check."
    return f"{pair.noticed} Check: {one.check.name}. {cost(one.check)} It shows {told(found)}."


# In pictures


def from_outside(view: StationView, read: Collection[str]) -> StationView:
    """The drawing as a technician sees it: devices not opened, leaks not found, only gauges in `read` are read."""

    def seen(part: MainView) -> MainView:
        if isinstance(part, WorkerView | MonitorView | SecondSeatView):
            return replace(part, vent_flow=0.0, closed=True)
        if isinstance(part, FilterView):
            return replace(part, closed=True)
        if isinstance(part, VolumeView) and part.name not in read:
            # tinted as the supply is: what it stands at is not known
            return replace(part, reading=NOT_READ, level=FULL, read=False)
        return part

    def met(branch: BranchView) -> BranchView:
        if isinstance(branch, ReliefValveView):
            # whether gas comes out of the stack is seen, how far the disk is up is not
            lift, flow = (FULL if share > 0.0 else 0.0 for share in (branch.lift, branch.stack_flow))
            return replace(branch, lift=lift, stack_flow=flow, closed=True)
        return branch

    branches = tuple(met(one) for one in view.branches if not isinstance(one, LeakView))
    burning = max((one.flame for one in branches if isinstance(one, ApplianceView)), default=0.0)
    lines = tuple(replace(line, state="whole", level=None) for line in view.lines)
    return replace(view, main=tuple(map(seen, view.main)), branches=branches, lines=lines, flow=min(1.0, burning))


def drawn(lab: Lab, trace: Trace, moment: float, units: str) -> StationView:
    """The station at a moment [s], the supply at its own pressure, with its filter where it has one."""
    view = station_view(trace, moment, lab.watch.drawn_to or lab.watch.at, units, lab.watch.title)
    branches = tuple(_share_of_call(one, trace.scenario, moment) for one in view.branches)
    supply = next(c for c in trace.scenario.conditions(moment) if isinstance(c, SupplyCondition))
    first, *rest = view.main
    if isinstance(first, SupplyView):
        first = replace(first, reading=format_pressure(supply.gauge_pressure, units), level=FULL)
    left = supply.flow_area / trace.scenario.station.supply.flow_area
    strainer = (FilterView("filter", 1.0 - left),) if lab.filtered else ()
    return replace(view, branches=branches, main=(first, *strainer, *rest))


def _share_of_call(branch: BranchView, scenario: Scenario, moment: float) -> BranchView:
    """A flame as a share of what is called for: to hold an outlet low more than the rating is drawn."""
    if not isinstance(branch, ApplianceView):
        return branch
    called = [one.share for one in scenario.demands if one.load == branch.name and one.time <= moment]
    return replace(branch, flame=branch.flame / max(1.0, *called[-1:], 1.0))


def markers(lab: Lab, one: PairCheck) -> tuple[EventMarker, ...]:
    """What is planned to be done, over a chart in minutes."""
    return (*lab.watch.markers, *(EventMarker(time / 60, words) for time, words in one.steps))


def show(lab: Lab, settings: Settings) -> Shown:
    """What the bench shows: the visit from outside and the readings of the check, or the truth of both causes."""
    which, one = which_of(lab, settings["visit"]), lab.pair.by_key[settings["check"]]
    ours = run(scenario_of(lab, settings))
    if not settings["truth"]:
        return _hidden(lab, one, ours, settings)
    theirs = run(scenario_of(lab, settings, 1 - which))
    here, there = (_opened(lab, one, trace, settings) for trace in (ours, theirs))
    mine, other = lab.pair.suspects[which], lab.pair.suspects[1 - which]
    named = tuple(replace(line, label=f"{line.label}, {mine}") for line in here.chart.lines)
    pair = with_other(replace(here, chart=replace(here.chart, lines=named)), there, other, mine)
    said = verdict(lab.pair, one, which, readings(one, ours), readings(one, theirs))
    return replace(pair, sentence=tidy(said))


def _base(lab: Lab, one: PairCheck, trace: Trace, settings: Settings) -> tuple[Shown, float]:
    """What any station bench shows of the run, and the moment; a run may end before the moment chosen."""
    moment = min(settings["moment"], trace.scenario.duration)
    watch = replace(lab.watch, markers=markers(lab, one))
    return watched(watch, {**settings, "moment": moment}, trace, ""), moment


def _hidden(lab: Lab, one: PairCheck, trace: Trace, settings: Settings) -> Shown:
    """The visit from outside: what layers did is not marked, and gauges show their steps."""
    (made, moment), units = _base(lab, one, trace, settings), settings["units"]
    station, found = trace.scenario.station, readings(one, trace)
    read = {lab.watch.at, *(load.at for load in station.loads), *one.gauges}
    view = drawn(lab, trace, moment, units)
    view = replace(view, main=tuple(part for part in view.main if part.name not in lab.ungauged))
    view = from_outside(view, read)
    gauge = gauge_shows(trace.at(f"{lab.watch.at}_gauge_pressure", moment))
    burnt = sum(max(0.0, trace.at(f"{load.name}_flow", moment)) for load in station.loads)
    return replace(
        made,
        drawing=station_svg(view, view_mode=settings.get("screen", "desk")),
        chart=replace(made.chart, events=markers(lab, one)),
        readouts=(
            ("outlet gauge, moment shown", format_pressure(gauge, units)),
            ("drawn, moment shown", format_quantity(burnt, "standard_flow", units)),
            *found,
        ),
        sentence=tidy(asked(lab.pair, one, found)),
        events=(),
    )


def _opened(lab: Lab, one: PairCheck, trace: Trace, settings: Settings) -> Shown:
    """One cause with nothing hidden."""
    made, moment = _base(lab, one, trace, settings)
    view = drawn(lab, trace, moment, settings["units"])
    return replace(
        made,
        drawing=station_svg(view, view_mode=settings.get("screen", "desk")),
        chart=replace(made.chart, events=markers(lab, one)),
        readouts=(*made.readouts, *readings(one, trace)),
    )


def bench_of(lab: Lab) -> Bench:
    """The bench of a lab: its sliders, the visit, the check, whether the truth is shown, the moment."""
    offered = Choice("check", "Check", "view", tuple((one.check.name, one.check.key) for one in lab.pair.checks))
    moment = replace(MOMENT, high=lab.watch.duration, start=lab.opens_at or OPENS_AT * lab.watch.duration)
    controls: tuple[Control, ...] = (*lab.sliders, VISIT, offered, TRUTH, moment)
    order = list(GROUPS)
    telling = next(one for one in lab.pair.checks if one.tells)
    # on paper too the gauges are those of the check: one with steps of its own is made at the end of its run
    at_end = {"moment": OPENS_AT * lab.watch.duration} if telling.steps else {}
    return Bench(
        lab.title,
        tuple(sorted(controls, key=lambda one: order.index(one.group))),
        lambda settings: show(lab, settings),
        wide=True,
        words_first=True,
        handout=({}, *({"visit": visit, "check": telling.check.key} | at_end for visit in range(1, TWO + 1))),
    )
