"""Published limits as pure functions: what a pressure may reach, and whether a system keeps the rule.

For teaching only. The federal rules are the minimum of one country; states, utilities and later editions differ.
At a real site the code in force, the operator's procedures and licensed practice decide, not these functions.
A rule often has no number ("no unsafe operation"): then a limit is infinite, a verdict is None, and a person judges.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from math import inf, isinf

from toolkit import checks
from toolkit.errors import ScenarioError
from toolkit.units import IN_WC, PSI, format_pressure

# 49 CFR 192.201(a)(2). Source: `cfr-192-201`.
HIGH_MAOP, MIDDLE_MAOP = 60 * PSI, 12 * PSI
HIGH_ALLOWANCE, MIDDLE_ALLOWANCE, LOW_ALLOWANCE = 0.10, 6 * PSI, 0.50
HIGHEST_SHARE_OF_SMYS = 0.75
# 49 CFR 192.197. Source: `cfr-192-197`.
SERVICE_SPLIT, RELIEF_ALONE = 60 * PSI, 125 * PSI
# Wis. PSC 135.197(dw). Source: `wis-psc-135-197`.
WISCONSIN_BUILD_UP = 0.50
# NFPA 54 5.9 and IFGC 416. Source: `ifgc-416`.
BUILDING_LIMIT, LOW_PRESSURE_APPLIANCE = 2 * PSI, 14 * IN_WC
# 52 Pa. Code 59.29. Source: `pa-59-29`.
LOWEST_DELIVERY, HIGHEST_DELIVERY = 2 * IN_WC, 14 * IN_WC
# 49 CFR 192.739 and 192.743. Source: `cfr-192-739`.
INSPECTION_MONTHS = 15

# The characteristics of 49 CFR 192.197(a)(1) to (6), in the order of that list.
SERVICE_REGULATOR_FEATURES = {
    "household_pressure": "an outlet pressure made for household appliances",
    "single_port": "a single port with the right orifice for the highest inlet pressure",
    "resilient_seat": "a resilient seat that resists abrasion, cutting and lasting deformation",
    "small_connections": "pipe connections of at most 2 in. (51 mm)",
    "limited_build_up": "a safe limit to its build-up at no flow",
    "self_contained": "freedom from external static or control lines",
}
# What acts if the service regulator fails.
PROTECTIONS = {
    "monitor": "a monitoring regulator",
    "relief": "a relief valve vented outdoors",
    "shutoff": "an automatic shutoff with manual reset",
}

_ADD_GUARD = "Add a monitoring regulator, a relief valve or an automatic shutoff."
# Float noise must not carry a pressure over an edge.
_NOISE = 1e-9
_HIGHEST = 1e8


@dataclass(frozen=True)
class Limit:
    """A highest pressure [Pa gauge; infinite where the rule has no number], the rule in short words, its section.

    `source` is a key of `references.SOURCES`.
    """

    gauge_pressure: float
    rule: str
    section: str
    source: str

    def __post_init__(self) -> None:
        if self.gauge_pressure != inf:
            _pressure("gauge_pressure", self.gauge_pressure, above=True)


@dataclass(frozen=True)
class Verdict:
    """Whether a rule is kept (None: it has no number, judge it yourself), the finding in one sentence, its section.

    `source` is a key of `references.SOURCES`; `mend` says what to do, and is empty where the rule is kept.
    """

    good: bool | None
    finding: str
    section: str
    source: str
    mend: str = ""


def within(limit: Limit, gauge_pressure: float, what: str = "The pressure") -> Verdict:
    """Whether a pressure [Pa gauge], such as the peak of a run, stays at or below a limit; None at an infinite one.

    `what` begins the sentence. Raises ScenarioError for a pressure that is none.
    """
    reached = checks.number("gauge_pressure", gauge_pressure, -1e5, _HIGHEST, "Pa")
    begin, place = f"{what} reaches {_shown(reached)}", (limit.section, limit.source)
    if isinf(limit.gauge_pressure):
        finding = f"{begin}, and the rule sets no number here: {limit.rule}."
        return Verdict(None, finding, *place, "Judge it by what stands connected and by the code in force.")
    highest = _shown(limit.gauge_pressure)
    if not _above(reached, limit.gauge_pressure):
        return Verdict(True, f"{begin}, within the limit of {highest}: {limit.rule}.", *place)
    finding = f"{begin}, {_how_far(reached, limit.gauge_pressure)} the limit of {highest}: {limit.rule}."
    return Verdict(
        False, finding, *place, f"Mend, set or size what holds the pressure until it stays at or below {highest}."
    )


def overpressure_limit(maop_gauge_pressure: float, smys_gauge_pressure: float | None = None) -> Limit:
    """The highest pressure that relief or limiting devices may let a line reach, low-pressure systems apart.

    MAOP of the protected line, and the pressure at which its hoop stress equals SMYS, both [Pa gauge].
    A steel line whose MAOP already stands above 75 % of SMYS is refused with a ScenarioError: another rule holds.
    Source: `cfr-192-201`.
    """
    maop = _pressure("maop_gauge_pressure", maop_gauge_pressure, above=True)
    smys = _optional("smys_gauge_pressure", smys_gauge_pressure)
    section = "49 CFR 192.201(a)(2)"
    if _above(MIDDLE_MAOP, maop):
        return Limit(maop * (1 + LOW_ALLOWANCE), "MAOP plus 50 %", f"{section}(iii)", "cfr-192-201")
    if _above(HIGH_MAOP, maop):
        return Limit(maop + MIDDLE_ALLOWANCE, "MAOP plus 6 psi (0.41 bar)", f"{section}(ii)", "cfr-192-201")
    highest = maop * (1 + HIGH_ALLOWANCE)
    stress = inf if smys is None else HIGHEST_SHARE_OF_SMYS * smys
    if _above(maop, stress):
        raise ScenarioError(
            "smys_gauge_pressure",
            smys_gauge_pressure,
            "a pressure of which 75 % is not below the MAOP",
            "Check the pipe; for an old steel line above 72 % of SMYS see 49 CFR 192.739(b).",
        )
    if stress < highest:
        return Limit(stress, "hoop stress of 75 % of SMYS", f"{section}(i)", "cfr-192-201")
    return Limit(highest, "MAOP plus 10 %", f"{section}(i)", "cfr-192-201")


def low_pressure_limit(inlet_maxima: Mapping[str, float]) -> Limit:
    """The highest pressure of a low-pressure distribution system: the least that any connected equipment may take.

    Highest safe inlet pressures [Pa gauge] by the name of the equipment; with none given the limit is infinite,
    for the rule itself has no number. Raises ScenarioError for a pressure that is none. Source: `cfr-192-201`.
    """
    rule, section = "no unsafe operation of connected, properly adjusted equipment", "49 CFR 192.201(a)(1)"
    maxima = _ratings(inlet_maxima)
    if not maxima:
        return Limit(inf, rule, section, "cfr-192-201")
    weakest = min(maxima, key=lambda name: maxima[name])
    return Limit(maxima[weakest], f"{rule}; the {weakest} takes the least", section, "cfr-192-201")


def fuel_gas_code_limit(supply_gauge_pressure: float, appliance_gauge_pressure: float) -> Limit:
    """What an overpressure device in a building must hold at each appliance if the line regulator fails.

    Supply pressure at the point of delivery, and the highest pressure for which the appliances are made, both
    [Pa gauge]. Infinite where the code demands no device by number. Source: `ifgc-416`.
    """
    supply = _pressure("supply_gauge_pressure", supply_gauge_pressure)
    appliance = _pressure("appliance_gauge_pressure", appliance_gauge_pressure, above=True)
    section = "NFPA 54 5.9 and IFGC 416"
    if _above(appliance, LOW_PRESSURE_APPLIANCE):
        words = f"appliances made for more than {_shown(LOW_PRESSURE_APPLIANCE)} follow their maker's instructions"
        return Limit(inf, words, section, "ifgc-416")
    if not _above(supply, BUILDING_LIMIT):
        words = f"no device is demanded at a supply of {_shown(BUILDING_LIMIT)} or less"
        return Limit(inf, words, section, "ifgc-416")
    words = f"an overpressure device holds each appliance at {_shown(BUILDING_LIMIT)} or less"
    return Limit(BUILDING_LIMIT, words, section, "ifgc-416")


def equipment_rating(gauge_pressure: float, inlet_maxima: Mapping[str, float]) -> tuple[Verdict, ...]:
    """A verdict for each device on which the pressure [Pa gauge] stands: does its rating [Pa gauge] cover it?

    Raises ScenarioError where no device is given, or for a pressure that is none. Source: `cfr-192-143`.
    """
    maxima = _ratings(inlet_maxima)
    if not maxima:
        raise ScenarioError("inlet_maxima", inlet_maxima, "at least one device with its rating", "Name a device.")
    rule, section = "a component withstands its pressure", "49 CFR 192.143(a)"
    limits = {name: Limit(rating, rule, section, "cfr-192-143") for name, rating in maxima.items()}
    return tuple(within(limit, gauge_pressure, f"The pressure on the {name}") for name, limit in limits.items())


def service_regulator_rule(
    maximum_actual_gauge_pressure: float,
    features: Collection[str],
    protections: Collection[str] = frozenset(),
    *,
    clean_gas: bool = True,
    rated_inlet_gauge_pressure: float | None = None,
    upstream_set_gauge_pressure: float | None = None,
    upstream_limit_gauge_pressure: float | None = None,
) -> tuple[Verdict, ...]:
    """How a customer on a high-pressure distribution system is guarded; the rule is kept where every verdict is good.

    The system's maximum actual operating pressure [Pa gauge]; keys of SERVICE_REGULATOR_FEATURES and of PROTECTIONS;
    whether the gas is free of what upsets service regulators; the highest inlet pressure for which the service
    regulator is rated; the set point of a second regulator upstream, and what a relief or a manual-reset shutoff
    between the two holds the inlet to, if it fails [Pa gauge each; None: not known or not there].
    Whether a protection is *set* to a safe pressure is for `within` to say. Raises ScenarioError for an unknown key.
    Some states want more: Wis. PSC 135.197(ew) a protection on every service. Source: `cfr-192-197`.
    """
    inlet = _pressure("maximum_actual_gauge_pressure", maximum_actual_gauge_pressure)
    present = _known("features", features, SERVICE_REGULATOR_FEATURES)
    missing = [words for key, words in SERVICE_REGULATOR_FEATURES.items() if key not in present]
    guards = _known("protections", protections, PROTECTIONS)
    clean = _yes_or_no("clean_gas", clean_gas)
    rated = _optional("rated_inlet_gauge_pressure", rated_inlet_gauge_pressure)
    upstream_set = _optional("upstream_set_gauge_pressure", upstream_set_gauge_pressure)
    upstream_limit = _optional("upstream_limit_gauge_pressure", upstream_limit_gauge_pressure)
    if upstream_set is None and upstream_limit is not None:
        raise ScenarioError("upstream_set_gauge_pressure", None, "the set point of the regulator upstream", "Give it.")
    if not _above(inlet, SERVICE_SPLIT):
        return (_at_most_sixty(inlet, missing, guards, clean=clean),)
    begin = f"At {_shown(inlet)} a service regulator with"
    methods = []
    if upstream_set is not None:
        methods.append(_upstream_regulator(missing, upstream_set, upstream_limit))
    if "monitor" in guards:
        methods.append(_service(True, f"{begin} a monitoring regulator is one of the four methods.", "(c)(2)"))
    if "relief" in guards:
        methods.append(_relief(inlet, rated))
    if "shutoff" in guards:
        methods.append(_service(True, f"{begin} a manual-reset shutoff is one of the four methods.", "(c)(4)"))
    if not methods:
        finding = f"At {_shown(inlet)}, above {_shown(SERVICE_SPLIT)}, a service regulator alone is not enough."
        mend = "Add a limited upstream regulator, a monitor, a relief vented outdoors, or a manual-reset shutoff."
        methods.append(_service(False, finding, "(c)", mend))
    return tuple(method for method in methods if method.good) or tuple(methods)


def service_regulator_build_up(
    flowing_gauge_pressure: float, no_flow_gauge_pressure: float, inlet_maxima: Mapping[str, float] | None = None
) -> tuple[Verdict, Verdict]:
    """The rise of a service regulator's outlet pressure at no flow, by the federal rule and by one state's.

    Outlet pressure under flow and at no flow, and the connected equipment's highest inlet pressures by name
    [Pa gauge each]. The federal rule has no number: without equipment its verdict is None. Wisconsin: at most 50 %.
    Raises ScenarioError for a pressure that is none. Sources: `cfr-192-197`, `wis-psc-135-197`.
    """
    flowing = _pressure("flowing_gauge_pressure", flowing_gauge_pressure, above=True)
    still = _pressure("no_flow_gauge_pressure", no_flow_gauge_pressure)
    what = "At no flow the outlet pressure"
    equipment = low_pressure_limit(inlet_maxima or {})
    federal = Limit(equipment.gauge_pressure, equipment.rule, "49 CFR 192.197(a)(5)", "cfr-192-197")
    state = Limit(
        flowing * (1 + WISCONSIN_BUILD_UP),
        f"a build-up of at most 50 % of the {_shown(flowing)} held under flow",
        "Wis. PSC 135.197(dw)",
        "wis-psc-135-197",
    )
    return within(federal, still, what), within(state, still, what)


def delivery_band(gauge_pressure: float) -> Verdict:
    """Whether low-pressure delivery at the meter's outlet [Pa gauge] lies in one state's band of 2 to 14 in. w.c.

    The band is narrower where the equipment needs it: see `low_pressure_limit`. Raises ScenarioError for a pressure
    that is none. Source: `pa-59-29`.
    """
    delivered = checks.number("gauge_pressure", gauge_pressure, -1e5, _HIGHEST, "Pa")
    low, high = LOWEST_DELIVERY, HIGHEST_DELIVERY
    if _above(delivered, high):
        finding = f"The delivery of {_shown(delivered)} is {_how_far(delivered, high)} the highest, {_shown(high)}."
        mend = f"Bring it down to {_shown(high)} or less, and find why the regulation failed."
        return Verdict(False, finding, "52 Pa. Code 59.29(a)", "pa-59-29", mend)
    if _above(low, delivered):
        finding = f"The delivery of {_shown(delivered)} is below the lowest, {_shown(low)}."
        mend = f"Bring it up to {_shown(low)} or more; pilots may have gone out, so make the appliances safe first."
        return Verdict(False, finding, "52 Pa. Code 59.29(b)", "pa-59-29", mend)
    finding = f"The delivery of {_shown(delivered)} lies between {_shown(low)} and {_shown(high)}."
    return Verdict(True, finding, "52 Pa. Code 59.29(a) and (b)", "pa-59-29")


def control_lines_apart(shared_tap: bool) -> Verdict:
    """Whether regulator and protection sense through lines of their own, so that one damage cannot defeat both.

    Raises ScenarioError for anything but True or False. Source: `cfr-192-203`.
    """
    place = "49 CFR 192.203(b)(9)", "cfr-192-203"
    if _yes_or_no("shared_tap", shared_tap):
        finding = "One damaged control line would put both the regulator and its protection out of action."
        return Verdict(False, finding, *place, "Give the protection a control line and a tap of its own.")
    return Verdict(True, "Damage to one control line leaves either the regulator or its protection working.", *place)


def series_regulators(worker_set_gauge_pressure: float, monitor_set_gauge_pressure: float) -> Verdict:
    """Whether the set points [Pa gauge] of two regulators in series differ, as worker and monitor must.

    The interpretation names no size of the difference. Source: `phmsa-pi-71-082`.
    """
    worker = _pressure("worker_set_gauge_pressure", worker_set_gauge_pressure, above=True)
    monitor = _pressure("monitor_set_gauge_pressure", monitor_set_gauge_pressure, above=True)
    place = "PHMSA interpretation PI-71-082 of 49 CFR 192.197(c)(2)", "phmsa-pi-71-082"
    if _above(worker, monitor) or _above(monitor, worker):
        return Verdict(True, f"The set points differ: worker {_shown(worker)}, monitor {_shown(monitor)}.", *place)
    finding = f"Worker and monitor are both set to {_shown(worker)}, so they disturb each other."
    return Verdict(False, finding, *place, "Set the two apart; the makers' data tell how far.")


def inspection_due(last: date, today: date) -> Verdict:
    """Whether a station or relief inspected on the day `last` is still in time on the day `today`.

    At most 15 months, and once each calendar year: the earlier of the two ends counts. Months are counted to the
    day of the same number, as the interpretation counts years. Raises ScenarioError for anything but two dates in
    order. Sources: `cfr-192-739`, `phmsa-pi-92-052`.
    """
    for field, day in (("last", last), ("today", today)):
        # A datetime is a date too, but cannot be compared with one.
        if type(day) is not date or not 1970 <= day.year <= 2999:
            raise ScenarioError(field, day, "a date from 1970 to 2999", "Give a datetime.date.")
    if last > today:
        raise ScenarioError("last", last.isoformat(), f"a day not after {today.isoformat()}", "Check the dates.")
    by_months, by_year = _months_later(last, INSPECTION_MONTHS), date(last.year + 1, 12, 31)
    due = min(by_months, by_year)
    why = f"{INSPECTION_MONTHS} months" if due == by_months else "once each calendar year"
    place = "49 CFR 192.739(a) and 192.743(a)", "cfr-192-739"
    if today <= due:
        return Verdict(True, f"Inspected on {last.isoformat()}, due again by {due.isoformat()} ({why}).", *place)
    finding = f"Inspected on {last.isoformat()}, due by {due.isoformat()} ({why}), overdue on {today.isoformat()}."
    return Verdict(False, finding, *place, "Inspect and test it now, review the capacity, and record why it was late.")


def _at_most_sixty(inlet: float, missing: list[str], guards: list[str], *, clean: bool) -> Verdict:
    """192.197(a) and (b)."""
    if not missing and clean:
        finding = f"At {_shown(inlet)} a service regulator with all six features needs no other limiting device."
        return _service(True, finding, "(a)")
    lack = f"the service regulator lacks {_joined(missing)}" if missing else "the gas upsets the service regulator"
    if guards:
        standby = _joined([PROTECTIONS[key] for key in guards])
        finding = f"At {_shown(inlet)} {lack}, and its failure is caught by {standby}."
        return _service(True, finding, "(b)")
    finding = f"At {_shown(inlet)} {lack}, and nothing guards the appliances if it fails."
    return _service(False, finding, "(b)", _ADD_GUARD)


def _upstream_regulator(missing: list[str], set_point: float, limit: float | None) -> Verdict:
    """192.197(c)(1)."""
    top = _shown(SERVICE_SPLIT)
    faults = [f"the service regulator lacks {_joined(missing)}"] if missing else []
    if _above(set_point, SERVICE_SPLIT):
        faults.append(f"the upstream set point of {_shown(set_point)} is {_how_far(set_point, SERVICE_SPLIT)} {top}")
    if limit is None:
        faults.append("no relief or manual-reset shutoff stands between the two regulators")
    elif _above(limit, SERVICE_SPLIT):
        faults.append(f"the inlet is only held to {_shown(limit)}, {_how_far(limit, SERVICE_SPLIT)} {top}")
    if faults:
        mend = f"Hold the inlet to {top} or less, also if the upstream regulator fails"
        mend += ", and use a service regulator with all six features."
        return _service(False, f"The upstream regulator does not do: {'; '.join(faults)}.", "(c)(1)", mend)
    finding = f"An upstream regulator at {_shown(set_point)} and a device that holds the inlet to {top} or less"
    return _service(True, f"{finding} guard the service regulator.", "(c)(1)")


def _relief(inlet: float, rated: float | None) -> Verdict:
    """192.197(c)(3), used alone."""
    if _above(inlet, RELIEF_ALONE):
        finding = f"The inlet of {_shown(inlet)} is {_how_far(inlet, RELIEF_ALONE)} the {_shown(RELIEF_ALONE)}"
        mend = "Use a limited upstream regulator or a monitoring regulator."
        return _service(False, f"{finding} to which a relief may guard alone.", "(c)(3)", mend)
    if rated is None:
        finding = f"At {_shown(inlet)} a relief may guard alone if the service regulator is rated for that inlet."
        return _service(None, finding, "(c)(3)", "Find the highest inlet pressure for which it is rated.")
    if _above(inlet, rated):
        finding = f"The inlet of {_shown(inlet)} is {_how_far(inlet, rated)} the service regulator's {_shown(rated)}."
        return _service(False, finding, "(c)(3)", "Lower the inlet pressure or use a regulator rated for it.")
    finding = f"At {_shown(inlet)} a service regulator with a relief vented outdoors is one of the four methods."
    return _service(True, finding, "(c)(3)")


def _service(good: bool | None, finding: str, paragraph: str, mend: str = "") -> Verdict:
    return Verdict(good, finding, f"49 CFR 192.197{paragraph}", "cfr-192-197", mend)


def _shown(gauge: float) -> str:
    return f"{format_pressure(gauge, 'us')} ({format_pressure(gauge, 'metric')})"


def _above(value: float, edge: float) -> bool:
    return value > edge * (1 + _NOISE)


def _how_far(value: float, edge: float) -> str:
    """How a value above an edge is told: both may round to the same text."""
    return "just above" if _shown(value) == _shown(edge) else "above"


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _pressure(field: str, value: object, *, above: bool = False) -> float:
    return checks.number(field, value, 0, _HIGHEST, "Pa gauge", above=above)


def _optional(field: str, value: object) -> float | None:
    return None if value is None else _pressure(field, value, above=True)


def _ratings(given: object) -> dict[str, float]:
    if not isinstance(given, Mapping) or not all(isinstance(name, str) and name for name in given):
        raise ScenarioError("inlet_maxima", given, "pressures [Pa gauge] by the name of the equipment", "Give those.")
    return {name: _pressure(f"inlet_maxima.{name}", value, above=True) for name, value in given.items()}


def _known(field: str, given: Collection[str], known: Mapping[str, str]) -> list[str]:
    """The keys given, in the order of `known`."""
    if not isinstance(given, set | frozenset | list | tuple) or not all(key in list(known) for key in given):
        raise ScenarioError(field, given, f"a set out of {', '.join(known)}", "Use these names.")
    return [key for key in known if key in given]


def _yes_or_no(field: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise ScenarioError(field, value, "True or False", "Give one of these.")
    return value


def _months_later(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
