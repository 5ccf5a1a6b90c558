"""What a look-up page says for safety's sake: cautions, what holds while a sign stands, and how a search ends.

Common practice of the trade, no source but the course's own safety card; the local code, the operator's written
procedure and licensed persons decide.
"""

from __future__ import annotations

from collections.abc import Mapping

from toolkit.diagnosis.signatures import NOTHING, OTHER, TWO
from toolkit.diagnosis.signs import GAS, OUTLET, STACK, START, SUN

# What stands on top of every page that looks up, and on what it prints. Source: the course's own safety card.
CAUTIONS = (
    "Vents and reliefs let gas off outdoors: keep flames, sparks and people away from them.",
    "Propane sinks and lies in cellars and pits. Natural gas rises.",
    "Carbon monoxide has no smell: if an alarm sounds or people feel ill, out into the air, and call. Flames that "
    "lift, pop or burn yellow can make it: shut that appliance off.",
    "Isolate, lock, tag, vent down and prove zero before anything is opened.",
    "Never defeat a layer: plug no vent, pin no shutoff, jump no switch, raise no set point to hide a symptom.",
    "Reset by hand and slowly, only once the cause is found. Only the qualified relight, every outlet accounted for.",
)
DEFERS = (
    "The local code, the operator's written procedure and licensed persons decide. "
    "This page helps to think and replaces none of them."
)
TEACHING = "teaching values, not field statistics"

# Asked where a station feeds mains.
CARRIED = "Another run or a bypass carries the load: only then are the qualified shown checks that isolate this run"

# What must be kept to while one of these signs stands.
STANDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "Gas comes out: no flame or spark near it, nobody in it, windows and air intakes beside it shut. Plug nothing.": {
        **dict.fromkeys(("vent_on", "vent_off", "vent_held"), GAS[1:]),
        "relief_start": START[1:],
        "relief": STACK[1:],
    },
    "The slam-shut stays down until the cause is found and mended: no reset to try it.": {"slam_shut": ("tripped",)},
    "The switch has acted: no jumper, and no reset before the cause is found.": {"switch": ("made", "chatters")},
    "The outlet goes higher than its record: it is not left so. Who may not mend it calls who may.": {
        **dict.fromkeys(("outlet_on", "outlet_pilots", "outlet_off"), OUTLET[3:]),
        "lock_up": ("higher",),
        "creep": ("creeps",),
        "sun": SUN[1:2],
    },
    "Burners are out: every appliance valve is shut before gas comes back, and only the qualified relight.": {
        "burners": ("pilots only", "no gas")
    },
    "Gas goes where no burner takes it: it may be indoors. Any smell there: people out, call from outside.": {
        "meter_off": ("runs",),
        "meter_on": ("more than the rating",),
    },
    "Ice is thawed by the written procedure: no flame, no torch.": {"frost": ("frost",)},
}

# What stands over an advice; the last for a finding of nothing wrong.
STATES: Mapping[str, str] = {
    "check": "Next check",
    "found": "Likely cause",
    "call for help": "Stop and call",
    "not enough to tell": "Not enough to tell",
    NOTHING: "No fault found so far",
}
# How a search ends. Of a finding first how sure it is; then what is to be done about it, by suspect, "" for the rest.
ENDS: Mapping[str, str] = {
    "found": "Likely to {share} by the course's own reckoning, not certain.",
    "call for help": "Stop here. Nothing more is looked for until it is safe.",
    "not enough to tell": "Do not guess. Leave it safe, write down what was met, and ask for help.",
}
AFTER: Mapping[str, str] = {
    "": "Make it safe first. Until the repair nothing is reset and nothing relit. The repair is for the qualified, by "
    "the written procedure. Afterwards read the gauges again, as left, and prove every layer that acted. A sign that "
    "still stands then has another cause.",
    NOTHING: "No fault was borne out. Leave every layer as it was found, and write down what was met.",
    "sun": "Nothing is broken: gas that was locked in got warm, and fell back in the shade. Prove every layer that "
    "acted, and tell the operator how high it went.",
    "true_trip": "The slam-shut did what it is for: what raised the pressure is still to be found. No reset "
    "before that.",
    "weak_relief": "The relief opens too soon, and the diaphragm holds. The regulator comes out of service for repair "
    "by the qualified, by the written procedure. Afterwards prove its set point, lock-up and relief.",
    "leak": "Shut the gas off, keep flames and sparks away, and call who is qualified to find and mend the leak. Gas "
    "comes back only after a tightness test, by the written procedure.",
}
# What stands behind the two suspects that are no fault of their own.
EXPLAINED: Mapping[str, str] = {
    OTHER: "It gains where no suspect explains what was met. Look again, or ask for help.",
    TWO: "It gains where one fault alone does not explain what was met.",
}


def per_cent(share: float) -> str:
    """A share in whole per cent; never a nothing or a certainty that comes from rounding."""
    if 0.0 < share < 0.005:
        return "under 1 %"
    return "over 99 %" if 0.995 <= share < 1.0 else f"{100 * share:.0f} %"
