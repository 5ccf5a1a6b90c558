"""What a technician can check at a station, and what the hard safety filter lets be proposed to whom.

What defeats a layer nobody may do. Work inside a device is for the qualified only; at a station that feeds mains so is
what isolates its run, and only while another run or a bypass carries the load. The local code, the operator's written
procedure and licensed persons decide; minutes, effort and risk are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypedDict

from toolkit.diagnosis.signs import Signs


@dataclass(frozen=True)
class Check:
    """Something a technician can do: `minutes` it takes, its `effort` and `risk` in words, the `signs` it shows.

    `qualified`: for qualified persons by the written procedure only. `isolates`: it takes the gas from all that hang on
    the run; `carried`: only while another run or a bypass carries the load. `forbidden`: why nobody may do it; empty
    for the rest. None is allowed while a stop condition holds.
    """

    key: str
    name: str
    minutes: float
    signs: tuple[str, ...]
    effort: str = "look and read"
    risk: str = "little; keep flames and sparks away from vents and stacks"
    qualified: bool = False
    isolates: bool = False
    carried: bool = False
    forbidden: str = ""


class Permit(TypedDict):
    """Who is at work, whether the station feeds mains, and whether another run or a bypass carries their load."""

    qualified: bool
    network: bool
    carried: bool


_PROOF = "prove it by the written procedure"
_PROOF_RISK = "the layer is out of service meanwhile: somebody stays, another layer stands"
# Nobody walks into gas to find a sign.
_VENT_RISK = "gas may come out there: stay upwind, go no nearer once you smell it, keep flames and sparks away"
_TURN = "work the valves downstream"
_TURN_RISK = (
    "burners go out, at a station of many customers all of theirs: by the operator's plan only; every one is accounted "
    "for before a relight by a qualified person"
)


def _turn(
    key: str,
    name: str,
    minutes: float,
    signs: tuple[str, ...],
    *,
    more: str = "",
    risk: str = "",
    qualified: bool = False,
) -> Check:
    """A check that works the valves downstream; `more` of its effort, and a risk of its own before the usual one."""
    risks = "; ".join(filter(None, (risk, _TURN_RISK)))
    return Check(key, name, minutes, signs, _TURN + more, risks, qualified, isolates=True)


def _proof(key: str, name: str, minutes: float, *, isolates: bool = True) -> Check:
    """A check that proves a layer or its line; it shows the sign of its own name."""
    return Check(key, name, minutes, (key,), _PROOF, _PROOF_RISK, qualified=True, isolates=isolates)


CHECKS: dict[str, Check] = {
    one.key: one
    for one in (
        Check("ask", "ask what was noticed, and since when", 3, ("burners", "trip"), "ask", "none"),
        Check("flags", "look at the flags of slam-shut and switch; reset nothing", 1, ("slam_shut", "switch")),
        Check("frost", "look for frost", 1, ("frost",)),
        Check("stack", "listen and smell at the relief's stack, from upwind", 2, ("relief",), risk=_VENT_RISK),
        Check("listen", "watch the needle and listen to the regulators", 3, ("swing", "noise")),
        Check("vent_end", "look at the end of the vent", 3, ("vent_end",), risk=_VENT_RISK),
        Check("smell_on", "smell at the vent from upwind, all burners on", 3, ("vent_on",), risk=_VENT_RISK),
        Check(
            "vent_gauge",
            "read the outlet gauge while gas leaves the vent, beside the internal relief's start on record",
            4,
            ("relief_start",),
            risk=_VENT_RISK,
        ),
        Check("gauge_on", "read the outlet gauge with all burners on", 4, ("outlet_on",)),
        Check("inlet", "read the inlet gauge with all burners on", 3, ("inlet",)),
        Check("filter", "read the pressure drop across the filter with all burners on", 4, ("filter_drop",)),
        Check("between", "read the gauge between the regulators with all burners on", 4, ("between",)),
        Check("meter_on", "read the meter with all burners on, beside their rating", 5, ("meter_on",)),
        _turn("gauge_pilots", "read the outlet gauge with pilots only", 4, ("outlet_pilots",)),
        _turn("cut_off", "watch the outlet gauge as the burners shut", 3, ("spike",)),
        _turn(
            "gauge_off",
            "shut the outlet valve, read the outlet gauge and watch it",
            8,
            ("outlet_off", "lock_up", "creep"),
        ),
        _turn("smell_off", "smell at the vent from upwind, all off", 3, ("vent_off",), risk=_VENT_RISK),
        _turn("meter_off", "watch the meter with all off", 5, ("meter_off",)),
        _turn(
            "held_low",
            "hold the outlet low, then look for gas at the vent",
            10,
            ("vent_held",),
            risk="all burners are off before gas is drawn, and it goes to a safe place outdoors; look from upwind with "
            "a gas detector, for a nose soon gets used to the smell",
            qualified=True,
        ),
        _turn(
            "sun",
            "read the outlet gauge with all off before the sun is on it, in the sun, and in the shade again",
            120,
            ("sun",),
            more=", and stay by the gauge",
            risk="a leak goes on filling the line: make it safe before the gauge nears the rating",
        ),
        _proof("line", "follow the sensing line and prove it clear", 20),
        _proof("monitor_point", "prove the monitor's set point", 30),
        _proof("slam_shut_point", "prove the slam-shut's trip point", 30),
        # These two have a valve of their own: the run goes on.
        _proof("switch_point", "prove the switch's set point and deadband", 20, isolates=False),
        _proof("relief_point", "prove the relief valve's opening and its way out", 30, isolates=False),
        Check(
            "plug_vent",
            "plug the vent",
            1,
            ("vent_on", "vent_off"),
            risk="the regulator no longer holds its pressure, and its relief is blocked",
            forbidden="A vent is never plugged: gas that cannot leave there raises the outlet pressure.",
        ),
        Check(
            "jump_switch",
            "jump the switch",
            1,
            ("switch",),
            risk="a layer is defeated",
            forbidden="A switch is never jumped: it is the layer that would have acted.",
        ),
        Check(
            "raise_set_point",
            "raise the set point",
            2,
            ("outlet_on",),
            risk="the pressure at the appliances passes their rating",
            forbidden="A set point is never raised to hide a symptom: the cause stays, and every layer stands nearer.",
        ),
        Check(
            "pin_shutoff",
            "pin the slam-shut open",
            2,
            ("slam_shut",),
            risk="a layer is defeated",
            forbidden="A shutoff is never pinned: it is reset by hand once the cause is found.",
        ),
        Check(
            "lift_lever",
            "lift the relief's test lever",
            2,
            ("relief",),
            risk="gas by the valve's full bore; dirt on the seat, and it weeps from then on",
            forbidden="A relief is not lifted by hand to find a cause: its opening is proven by the written procedure.",
        ),
    )
}

# The same at a station that feeds mains: who isolates its run takes the gas from all its customers.
MAINS_CHECKS: dict[str, Check] = {
    key: replace(one, qualified=True, carried=True) if one.isolates and not one.forbidden else one
    for key, one in CHECKS.items()
}

# The checks that want burners alight, by the sign with which none can be.
OUT_OF_REACH: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("burners", "no gas", ("smell_on", "meter_on", "gauge_pilots", "cut_off")),
    (
        "slam_shut",
        "tripped",
        ("gauge_on", "inlet", "filter", "between", "listen", "smell_on", "meter_on", "gauge_pilots", "cut_off"),
    ),
)


def checks_of(network: bool) -> Mapping[str, Check]:
    """The checks as they stand at a station; `network`: it feeds mains."""
    return MAINS_CHECKS if network else CHECKS


def allowed(check: Check, qualified: bool, carried: bool = False) -> bool:
    """The hard safety filter: nothing forbidden, some for the qualified only, some only while the load is `carried`."""
    return not check.forbidden and (qualified or not check.qualified) and (carried or not check.carried)


def out_of_reach(signs: Signs) -> frozenset[str]:
    """The checks that want burners alight where none can be: to make them somebody would have to reset or relight."""
    return frozenset(check for key, value, checks in OUT_OF_REACH if getattr(signs, key) == value for check in checks)
