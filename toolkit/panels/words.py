"""What a run says in words: events in order, readouts, the sentence under the picture."""

from __future__ import annotations

from toolkit.event_words import event_words as phrases
from toolkit.gas import standard_density
from toolkit.trace import Event, Trace
from toolkit.units import display_unit, format_pressure, spoken, tidy

# Less gas than this is what a case breathes, not a leak [standard m3].
BREATHED, NO_GAS = 2e-4, "none"

# Faults by the name of their class, as they are spoken of.
FAULT_WORDS = {
    "Debris": "debris on the seat",
    "NickedSeat": "the nick in the seat",
    "TornDiaphragm": "the tear in the diaphragm",
    "BlockedVent": "the blockage of the vent",
    "WeakMainSpring": "the weakness of the main spring",
    "WeakRelief": "the weakness of the relief",
    "StuckStem": "the sticking of the stem",
    "SupplyChange": "the change of the supply",
    "PluggedFilter": "the plugging of the filter",
    "Warmed": "the warming of the gas",
    "BrokenSensingLine": "the tear of the sensing line",
    "BlockedSensingLine": "the freezing of the sensing line",
    "FouledSecondSeat": "the dirt on the second seat",
    "Leak": "the leak",
    "WrongSetting": "the wrong setting",
    "DirtyReliefSeat": "the dirt on the relief valve's seat",
    "BlockedRelief": "the blockage of the relief valve",
    "TripShift": "the drift of the trip",
    "StuckShutoff": "the sticking of the shutoff",
    "Ice": "the ice in the regulator",
    "WrongDeadband": "the wrong deadband",
    "WrongOrifice": "the wrong orifice",
    "Repair": "the repair",
    "Shade": "the cooling in the shade",
}


def clock(seconds: float) -> str:
    """A time in the run: "4 min 05 s"; under a minute "42 s"."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


def lasting(seconds: float) -> str:
    """A length of time: "under a second", "42 s", "4 min 05 s"."""
    return clock(seconds) if seconds >= 1 else "under a second"


def event_words(event: Event, trace: Trace, units: str) -> str:
    """One event as a sentence without its time; where there is only one regulator, it is not named."""
    fault = FAULT_WORDS.get(event.subject, event.subject)
    load = event.subject.replace("_", " ")
    pressure = format_pressure(event.value, units)
    said = {
        "demand_changes": f"The {load} go to {event.value:.0%} of their rating.",
        "fault_begins": f"It begins: {fault}.",
        "fault_complete": f"Fully there: {fault}.",
        "above_rating": f"The outlet passes the {pressure} that the {load}' controls are rated for.",
        "below_rating": f"The outlet is back within the {pressure} rating.",
    }
    if event.kind in said:
        return tidy(said[event.kind])
    who, what = phrases(trace, event, units)
    if [event.subject] == [regulator.name for regulator in trace.scenario.station.regulators]:
        return tidy(f"{what[0].upper()}{what[1:]}.")
    return tidy(f"{spoken(who)}: {what}.")


def event_list(trace: Trace, units: str, most: int = 30) -> list[tuple[str, str]]:
    """(time, sentence) of what happened, in order; a long run of the same few things is cut and said so."""
    said = [(clock(event.time), event_words(event, trace, units)) for event in trace.events]
    if len(said) > most:
        said = [*said[:most], ("", f"and {len(said) - most} more like these.")]
    return said


def vented_words(trace: Trace, units: str) -> str:
    """How much gas left through vents, as a standard volume: "1.2 ft³"; what a case only breathes is none."""
    volume = trace.totals["vented"] / standard_density(trace.scenario.station.gas)
    if volume < BREATHED:
        return NO_GAS
    unit = display_unit("volume", units)
    number = volume / unit.scale
    return f"{number:,.1f} {unit.label}" if number < 100 else f"{number:,.0f} {unit.label}"
