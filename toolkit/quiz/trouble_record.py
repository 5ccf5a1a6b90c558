"""Questions on the record of a case's day: when a mark was passed, what the burners took, which layer acted first."""

from __future__ import annotations

from random import Random
from typing import NamedTuple

import numpy as np

from toolkit.diagnosis.load_words import at_place, sign_words
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.quiz.pictures import HIGHEST_SHOWN, outlet_picture
from toolkit.quiz.questions import NumericQuestion, Slip, TraceQuestion
from toolkit.quiz.trouble_case import LAYERS, TroubleCase, acted, day_end, fitted_layers, trace_of
from toolkit.quiz.trouble_layers import NEAR, guards
from toolkit.quiz.trouble_words import set_points
from toolkit.units import STANDARD_ATMOSPHERE, format_pressure, format_quantity

# A time read from a picture may be off by this share of the day, a pressure by this share of the picture's height.
READ_OFF, HEIGHT_OFF = 0.03, 0.01
# Before this time the run still settles [s].
SETTLED = 8.0
# A layer's mark stands this much above the worker's set point, or is none.
ABOVE = 1.2
# What is said of the layers that are offered at a station that has none.
ABSENT = " (not fitted here)"
# A mark that is no layer's, as the question and its picture name it.
MARK = "the mark"
# The outlet is low below this share of the set point.
FALLEN = 0.85
# Burners that have this much of their set point, and no more than that, take what an orifice passes.
LEAST_FED, MOST_FED = 0.15, 4.0


class _Passing(NamedTuple):
    """A mark that the outlet passes: its name, the pressure [Pa gauge], when it first does [s], whether by falling."""

    name: str
    value: float
    time: float
    falls: bool


def signal_of(case: TroubleCase) -> str:
    """The name of the outlet pressure in the case's run."""
    return f"{case.scenario.station.loads[0].at}_gauge_pressure"


def _first_time(case: TroubleCase, value: float, falls: bool) -> float | None:
    """When the outlet first stands past a pressure, once the run has settled; None where it never does."""
    trace, end = trace_of(case.scenario), day_end(case)
    values = trace[signal_of(case)]
    past = (values < value if falls else values > value) & (trace.times <= end)
    if not past.any() or trace.times[int(np.argmax(past))] < SETTLED:
        return None
    return float(trace.times[int(np.argmax(past))])


def passing(case: TroubleCase) -> _Passing:
    """What to ask the time of: a layer's mark that was reached, else a fall, else the rise to lock-up at night."""
    worker = min(one.set_gauge_pressure for one in case.scenario.station.regulators)
    trace, end = trace_of(case.scenario), day_end(case)
    highest = min(HIGHEST_SHOWN, trace_of(case.scenario).peak(signal_of(case))[1])
    layers = [one for one in set_points(case) if one[0] == "monitor set" or not one[0].endswith(" set")]
    marks = [(name, value, False) for name, value in reversed(layers) if ABOVE * worker < value < highest]
    marks.append((MARK, FALLEN * worker, True))
    for name, value, falls in marks:
        time = _first_time(case, value, falls)
        if time is not None:
            return _Passing(name, value, time, falls)
    values, there = trace[signal_of(case)], (trace.times >= SETTLED) & (trace.times <= end)
    middle = 0.5 * float(values[there].max() + np.median(values[there]))
    time = _first_time(case, middle, False)
    return _Passing(MARK, middle, SETTLED if time is None else time, False)


def time_question(case: TroubleCase, key: str, chance: Random, units: str) -> TraceQuestion:  # noqa: ARG001
    """When the outlet first passed a mark, read from the recorder's picture."""
    trace, asked, end = trace_of(case.scenario), passing(case), day_end(case)
    height = HEIGHT_OFF * max(trace.peak(signal_of(case))[1], asked.value) * (-1.0 if asked.falls else 1.0)
    near = [_first_time(case, asked.value + by, asked.falls) for by in (-height, height)]
    half = READ_OFF * end
    early, late = (asked.time if one is None else one for one in near)
    verb = "fall below" if asked.falls else "pass"
    return TraceQuestion(
        key,
        f"A recorder drew the outlet pressure over the day; from {end:.0f} s on it was held low for a check. At what "
        f"time did it first {verb} {format_pressure(asked.value, units)} ({asked.name})?",
        outlet_picture(trace, units, marks=((asked.name, asked.value),), signal=signal_of(case)),
        (max(1.0, min(early, asked.time) - half), max(late, asked.time) + half),
        trace.scenario.duration,
        f"Follow the broken line at {format_pressure(asked.value, units)} from the left to where the outlet first "
        f"crosses it: at {asked.time:.0f} s.",
    )


def layer_question(case: TroubleCase, key: str, chance: Random, units: str) -> ChoiceQuestion:
    """Which layer acted first, from the record, the flags, the stack and the vent."""
    layers = acted(case)
    fitted = list(fitted_layers(case.scenario.station)) or [f"{one}{ABSENT}" for one in dict.fromkeys(LAYERS.values())]
    chance.shuffle(fitted)
    options = (*fitted, "none of them")
    first = layers[0][1] if layers else "none of them"
    times = {layer: time for time, layer in layers}

    def told(option: str) -> str:
        if option in times:
            return f"{option[0].upper()}{option[1:]} acted at {times[option]:.0f} s" + (
                ", before any other." if option == first else f"; {first} was before it."
            )
        if option == "none of them":
            return "No layer acted." if not layers else f"At {layers[0][0]:.0f} s {first} acted."
        if option.endswith(ABSENT):
            return "It is not fitted here: by the tags this station has no layer at all."
        return f"{option[0].upper()}{option[1:]} did not act in this run{_although(case, option, units)}."

    marks = tuple(one for one in set_points(case) if one[1] <= 1.05 * trace_of(case.scenario).peak(signal_of(case))[1])
    seen = sign_words(
        case.signs.only(("slam_shut", "switch", "relief", "trip", "vent_on", "vent_off", "between")), case.place
    )
    return ChoiceQuestion(
        key,
        f"Here is the record of the day, and what else was looked at. From {day_end(case):.0f} s on the outlet was "
        "held low for a check. Which layer acted first before that?",
        options,
        options.index(first),
        tuple(told(option) for option in options),
        "A layer acts where its own mark is reached, or where it is at fault itself: a setting that has drifted to the "
        "pressure, a monitor that has failed shut. What acted first hides what came before it.",
        picture=outlet_picture(trace_of(case.scenario), units, marks=marks[-4:], signal=signal_of(case)),
        table=(("What was looked at", "It showed"), *seen) if seen else None,
        units=units,
    )


def _although(case: TroubleCase, layer: str, units: str) -> str:
    """What is said besides of a layer that did not act: whether the pressure it guards went well past its mark."""
    trace, before = trace_of(case.scenario), trace_of(case.scenario).times <= day_end(case)
    for guard in guards(case.scenario.station):
        highest = float(trace[f"{guard.at}_gauge_pressure"][before].max())
        if guard.layer == layer and highest > NEAR * guard.mark:
            reached, mark = format_pressure(highest, units), format_pressure(guard.mark, units)
            return f", although the pressure went to {reached} and its mark is {mark}: what is wrong has taken it along"
    return ""


def number_question(case: TroubleCase, key: str, chance: Random, units: str) -> NumericQuestion:  # noqa: ARG001
    """What the burners take at the pressure they have; where they have none, what pressure is held back."""
    trace, station = trace_of(case.scenario), case.scenario.station
    worker = min(one.set_gauge_pressure for one in station.regulators)
    rated = sum(load.rated_flow for load in station.loads)
    outlet = trace.at(signal_of(case), _last_full(case))
    if LEAST_FED * worker < outlet < MOST_FED * worker:
        share, full = (outlet / worker) ** 0.5, format_quantity(rated, "standard_flow", units)
        return NumericQuestion(
            key,
            at_place(
                f"With all burners on the outlet gauge reads {format_pressure(outlet, units)}. At the set point of "
                f"{format_pressure(worker, units)} the burners together take {full}, all of it through fixed orifices "
                "into the open air. What do they take now?",
                case.place,
            ),
            "standard_flow",
            rated * share,
            "Through a fixed orifice at low pressure the flow goes with the square root of the gauge pressure: "
            f"{full} times the square root of {outlet / worker:.3f}.",
            (
                Slip("flow was taken to go with the pressure", rated * share**2, "It goes with its square root."),
                Slip("the ratio was turned round", rated / share, "More pressure gives more flow, less gives less."),
                Slip("the rating was given", rated, "The rating holds at the set point only."),
            ),
            relative_tolerance=0.03,
            units=units,
        )
    inlet = station.supply.gauge_pressure
    ratio = (inlet + STANDARD_ATMOSPHERE) / (worker + STANDARD_ATMOSPHERE)
    return NumericQuestion(
        key,
        f"By the record the inlet holds {format_pressure(inlet, units)}, and the regulator is set to "
        f"{format_pressure(worker, units)}. How much pressure does the station hold back from the outlet when "
        f"the outlet stands at {format_pressure(worker, units)}?",
        "gauge_pressure",
        inlet - worker,
        "Bring both to one unit and take the outlet from the inlet. Absolute or gauge makes no difference to a "
        f"difference; as absolute pressures they stand {ratio:.1f} to 1.",
        (
            Slip("the outlet was added", inlet + worker, "What is held back is the difference of the two."),
            Slip(
                "the air's pressure was added to the inlet only",
                inlet + STANDARD_ATMOSPHERE - worker,
                "Take both as gauge, or both as absolute.",
            ),
        ),
        relative_tolerance=0.002,
        units=units,
    )


def _last_full(case: TroubleCase) -> float:
    """A moment [s] at the end of the last stretch of the day with all burners called for."""
    end = day_end(case)
    changes = [one for one in case.scenario.demands if one.time < end]
    ends = [later.time for later in changes[1:]] + [end]
    return max(stop for one, stop in zip(changes, ends, strict=True) if one.share > 0.9) - 1.0
