"""A hidden fault before the class: the instructor steers how far it has come and which check is made; then the truth.

The page does not say what is hidden; `course demonstrations` prints it, for a sheet in the instructor's hand.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from random import Random
from typing import NamedTuple

import ipywidgets

from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.pairs import cost, stop_card, told
from toolkit.diagnosis.proofs import proven
from toolkit.diagnosis.signatures import OTHER, SUSPECTS, TWO, case_on, suspects_on
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import ALL_OFF, CUT_OFF, END, HALF, KINDS, MORNING, SUNRISE
from toolkit.diagnosis.visits import held_low, signs_of
from toolkit.faults import Warmed
from toolkit.figures.data import EventMarker
from toolkit.figures.station import station_svg
from toolkit.figures.symbols_views import SupplyView
from toolkit.panels.bench import Bench, Panel, Settings, Shown, run
from toolkit.panels.compare import with_other
from toolkit.panels.controls import Choice
from toolkit.panels.lab import FULL, NOT_READ, OPENS_AT, SEVERITY, from_outside
from toolkit.panels.page_style import STYLE
from toolkit.panels.sliders import MOMENT
from toolkit.panels.station_bench import Watch, watched
from toolkit.panels.station_view import station_view
from toolkit.quiz.html import on_projector
from toolkit.scenario import Scenario
from toolkit.trace import Trace
from toolkit.units import tidy

# A station that hunts is one of damped lines, which are not among the kinds shown.
HIDDEN = tuple(key for key in SUSPECTS if key not in (OTHER, TWO, "oversize"))
NUMBERS = range(1, len(HIDDEN) + 1)
SHOWN_KINDS = tuple(kind for kind in KINDS if not kind.startswith("damped"))
# A fault that stands still at a severity comes on over so long that a day does not move it [s].
STILL_OVER = 1e6
TITLE = "A hidden fault"
MARKERS = tuple(
    EventMarker(time / 60, words)
    for time, words in (
        (HALF, "half"),
        (CUT_OFF, "pilots only"),
        (ALL_OFF, "all off"),
        (SUNRISE, "sunrise"),
        (MORNING, "burners on"),
    )
)
NUMBER = Choice("number", "Hidden fault", "faults", tuple((f"number {number}", number) for number in NUMBERS))
TRUTH = Choice("truth", "The truth", "view", (("not yet", False), ("show it, beside the sound station", True)))
CHECK = Choice("check", "Check", "view", tuple((one.name, one.key) for one in CHECKS.values()))


class Hidden(NamedTuple):
    """What a number hides: a kind of station and a suspect."""

    kind: str
    suspect: str


def hidden(number: int) -> Hidden:
    """What is behind a number: each suspect once, on the kinds that have it by turns."""
    return _hidden_by_number()[number - 1]


@lru_cache(maxsize=1)
def _hidden_by_number() -> tuple[Hidden, ...]:
    found = []
    for turn, key in enumerate(Random("hidden faults").sample(HIDDEN, len(HIDDEN))):
        kinds = [kind for kind in SHOWN_KINDS if key in suspects_on(kind)]
        found.append(Hidden(kinds[turn % len(kinds)], key))
    return tuple(found)


def scenarios(settings: Settings) -> tuple[Scenario, Scenario]:
    """The day of a hidden fault at the severity set, and the same day in good order.

    The outlet is held low at the end where that is the check made.
    """
    behind = hidden(settings["number"])
    case = case_on(behind.kind, behind.suspect, settings["number"])
    still = {"onset": -settings["severity"] * STILL_OVER, "ramp": STILL_OVER}
    # The sun comes in the morning, however far a fault has come.
    faults = tuple(one if isinstance(one, Warmed) else replace(one, **still) for one in case.scenario.faults)
    # `case_on` holds the outlet low at the end of every day; here only who asks for it.
    called = case.scenario.demands[: -len(case.scenario.station.loads)]
    days = (replace(case.scenario, demands=called, duration=END, faults=faults), case.sound)
    if settings["check"] == "held_low":
        days = (held_low(days[0]), held_low(days[1]))
    return days


def show(settings: Settings) -> Shown:
    """The station from outside and what the check shows; or the truth, beside the same day in good order."""
    day, sound = map(run, scenarios(settings))
    units, behind = settings["units"], hidden(settings["number"])
    watch = Watch(TITLE, at=day.scenario.station.loads[0].at, duration=day.scenario.duration, markers=MARKERS)
    moment = min(settings["moment"], day.scenario.duration)
    settings = {**settings, "moment": moment}
    made = watched(watch, settings, day, "")
    if settings["truth"]:
        name = SUSPECTS[behind.suspect]
        pair = with_other(made, watched(watch, settings, sound, ""), "in good order", name)
        return replace(pair, sentence=tidy(f"Number {settings['number']}: {name}."))
    check = CHECKS[settings["check"]]
    view = from_outside(station_view(day, moment, watch.at, units, TITLE), (watch.at,))
    unread = (replace(one, reading=NOT_READ, level=FULL) if isinstance(one, SupplyView) else one for one in view.main)
    view = replace(view, main=tuple(unread))
    met = {} if check.forbidden else _met(day).only(check.signs).met()
    found = tuple((SIGNS[key].name, value) for key, value in met.items())
    shows = told(found) or "nothing on this station"
    said = stop_card(check) if check.forbidden else f"{cost(check)} It shows {shows}."
    return replace(
        made,
        drawing=station_svg(view, view_mode=settings.get("screen", "desk")),
        chart=replace(made.chart, events=MARKERS),
        readouts=(made.readouts[0], *found),
        sentence=tidy(f"Check: {check.name}. {said}"),
        events=(),
    )


def _met(trace: Trace) -> Signs:
    """The signs of a day whose fault stands still: off the run alone, and what is proven off what is built in.

    With the fault in it, it would have to be fully there before anything is read.
    """
    suns = tuple(one for one in trace.scenario.faults if isinstance(one, Warmed))
    seen = signs_of(replace(trace, scenario=replace(trace.scenario, faults=suns)))
    return replace(seen, **proven(trace.scenario, END))


BENCH = Bench(
    TITLE,
    (NUMBER, replace(SEVERITY, start=1.0), CHECK, TRUTH, replace(MOMENT, high=END, start=OPENS_AT * END)),
    show,
    wide=True,
    words_first=True,
)


def demonstration() -> ipywidgets.VBox:
    """The bench with a hidden fault and its switch to a projector's sizes, for the instructor's page."""
    panel = Panel(BENCH)
    switch = ipywidgets.ToggleButton(
        description="Projector view of this bench", layout={"width": "auto", "align_self": "flex-end"}
    )
    switch.tooltip = "Larger, for a projector"
    switch.add_class("gp-switch")
    large = ipywidgets.HTML()
    box = ipywidgets.VBox([ipywidgets.HTML(STYLE), large, switch, panel])

    def dress(_: object) -> None:
        on_projector(box, large, switch.value)
        panel.show_on("projector" if switch.value else "desk")

    switch.observe(dress, "value")
    return box


def key_text() -> str:
    """What each number hides, a line each."""
    found = ((number, hidden(number)) for number in NUMBERS)
    return "\n".join(f"{number:3d}  {SUSPECTS[one.suspect]} (station: {one.kind})" for number, one in found)
