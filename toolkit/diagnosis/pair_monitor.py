"""The worker's spring gone weak, or the monitor before it shut too far: the outlet is low at every load.

Sizes are invented to be watched, engineering judgement.
"""

from __future__ import annotations

from dataclasses import replace

from toolkit.devices.line import SensingLine
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.pair_small import METER_WORDS
from toolkit.diagnosis.pair_station import END, LONG_AGO, VISIT_DAY, built_for
from toolkit.diagnosis.pairs import FIRST, Pair, PairCheck, Values, usual
from toolkit.diagnosis.visits import signs_of
from toolkit.faults import WeakMainSpring
from toolkit.layers import MONITOR, with_monitor
from toolkit.scenario import Scenario, Station, Volume
from toolkit.units import IN_WC

WORKER = "worker"
# The monitor is set so far above its worker [Pa]; the two regulators are built alike.
ABOVE = 4 * IN_WC
# Wide open a regulator passes so many times the load: through one that is open the burners' gas hardly loses pressure.
WIDE = 8.0
# The room between the two, and behind them [m3]: little against much, so that the two do not hunt.
INTERSTAGE, BEHIND = 3e-4, 2e-2
# The set point that a weak spring still holds, as a share of the one on the tag: at no severity, and less at the full.
LEFT, LESS = 0.66, 0.12


def station(values: Values) -> Station:
    """A wide-open monitor before its worker; each senses the outlet through a line of its own."""
    alone = built_for(values["set_point"], values["demand"], spare=WIDE)
    (worker,) = alone.regulators
    inlet, outlet = alone.volumes
    lines = tuple(SensingLine(f"{name}_line") for name in (MONITOR, WORKER))
    alone = replace(
        alone,
        regulators=(replace(worker, name=WORKER, senses=lines[1].name),),
        volumes=(inlet, Volume(outlet.name, BEHIND)),
        sensing_lines=lines,
    )
    return with_monitor(alone, ABOVE, INTERSTAGE, senses=lines[0].name)


def weak(here: Station, name: str, severity: float) -> WeakMainSpring:
    """A spring so weak that its regulator, worker or monitor, holds the same low pressure.

    The two are built alike: with the same preload left they hold alike (closed form).
    """
    preloads = {one.name: one.condition().preload for one in here.regulators}
    left = (LEFT - LESS * severity) * preloads[WORKER] / preloads[name]
    return WeakMainSpring(devices=name, left_share=left, **LONG_AGO)


def visit(values: Values, which: int) -> Scenario:
    """The visit with either cause; `values`: "set_point" [Pa gauge], "demand" [standard m3/s], "severity" 0 to 1."""
    here = station(values)
    fault = weak(here, WORKER if which == FIRST else MONITOR, values["severity"])
    return Scenario(here, VISIT_DAY, (fault,), END)


PAIR = Pair(
    noticed="The outlet is low, with all burners on and with pilots only.",
    suspects=("a weak spring in the worker", "a monitor that shuts too soon"),
    visit=visit,
    checks=(
        *usual("gauge_on", "gauge_pilots", "gauge_off"),
        PairCheck(CHECKS["inlet"], gauges=("inlet",)),
        PairCheck(CHECKS["meter_on"], words=METER_WORDS),
        *usual("smell_on", "frost", "listen"),
        PairCheck(CHECKS["between"], gauges=("interstage",), tells=True),
        # what is proven is the monitor itself, so its fault is left in the run
        PairCheck(CHECKS["monitor_point"], reads=signs_of, tells=True),
        *usual("vent_end", "raise_set_point"),
    ),
    because="The gauge between the regulators stands near the inlet where the worker, the second, holds the gas back, "
    "and near the outlet where the monitor, the first, has done so already. Only where it is the monitor is the "
    "monitor's proven set point off.",
)
