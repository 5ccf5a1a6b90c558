"""What happened in a run, in words: one phrase a kind of event, the same on the page and on the command line."""

from __future__ import annotations

from toolkit.actions import Action, AdjustSetPoint, Purge, TurnValve
from toolkit.faults import FAULTS
from toolkit.trace import Event, Trace
from toolkit.units import format_pressure, format_quantity, tidy

# What each kind of event says of its subject.
EVENT_WORDS = {
    "demand_changes": "goes to {share} of its rating",
    "fault_begins": "begins: {fault}",
    "fault_complete": "fully there: {fault}",
    "seat_shuts": "the disk seals on its seat",
    "seat_opens": "the disk leaves its seat",
    "wide_open": "the disk is wide open",
    "relief_opens": "the internal relief opens at {pressure}",
    "relief_shuts": "the internal relief is shut again at {pressure}",
    "second_seat_acts": "the second seat begins to shut at {pressure}",
    "second_seat_rests": "the second seat stands open again at {pressure}",
    "valve_opens": "begins to lift at {pressure}",
    "valve_full": "is at full lift at {pressure}",
    "valve_reseats": "is shut again at {pressure}",
    "relief_pops": "has popped; its seat may weep from now on",
    "trips_high": "trips on high pressure at {pressure}",
    "trips_low": "trips on low pressure at {pressure}",
    "trips_by_switch": "is tripped by a switch at {pressure}",
    "valve_shut": "is shut",
    "valve_begins_to_open": "begins to open",
    "switch_high": "makes on high pressure at {pressure}",
    "switch_low": "makes on low pressure at {pressure}",
    "switch_rest": "lets go at {pressure}",
    "hunts": "hunts {often} times a second; from here on the run shows the middle of its swing",
    "chatters": "chatters; from here on only some of its moves are followed",
    "action": "{action}",
    "reset": "is reset by hand",
    "reset_refused": "the reset is refused: the cause stands, {pressure}",
    "reset_not_equalised": "the reset is refused: {across} stands across the valve, equalise first",
    "above_rating": "the pressure passes the {pressure} that its controls are rated for",
    "below_rating": "the pressure is within the {pressure} of its controls again",
}


def event_words(trace: Trace, event: Event, units: str) -> tuple[str, str]:
    """Whom an event is about, and what it says of them; pressures in the display units of `units`."""
    who, scenario = event.subject, trace.scenario
    struck = [f for f in scenario.faults if type(f).__name__ == who and event.time in f.moments()]
    done = [a for a in scenario.actions if type(a).__name__ == who and a.time == event.time]
    names = [name for fault in struck for name in fault.devices] + [action.device for action in done]
    shutoffs = {shut.name for shut in scenario.station.slam_shuts}
    words = EVENT_WORDS[event.kind].format(
        share=f"{event.value:.0%}",
        pressure=format_pressure(event.value, units),
        across=format_pressure(event.value, units).replace("psig", "psi"),
        often=f"{event.value:.2g}",
        fault=next((kind for kind, known in FAULTS.items() if known.__name__ == who), who).replace("_", " "),
        action=" and ".join(_done(one, units, one.device in shutoffs) for one in done),
    )
    return ", ".join(names) or who, tidy(words)


def _done(action: Action, units: str, shutoff: bool) -> str:
    """What a technician does to the device; on a slam-shut a valve is the small one in its bypass."""
    if isinstance(action, TurnValve) and shutoff:
        return f"its equalising valve is {'opened' if action.share else 'shut'}"
    if isinstance(action, TurnValve):
        turned = {0.0: "shut", 1.0: "open"}.get(action.share, f"to {action.share:.0%}")
        return f"is turned {turned}"
    if isinstance(action, Purge):
        return "is let down through its purge" if action.flow_area else "has its purge shut"
    if isinstance(action, AdjustSetPoint):
        by = format_quantity(abs(action.by), "pressure_difference", units)
        return f"has its screw turned {'up' if action.by >= 0 else 'down'} by {by}"
    return "is to be reset"
