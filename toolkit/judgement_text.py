"""A judgement as plain text for a terminal of 80 to 100 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import log
from textwrap import wrap
from typing import TYPE_CHECKING

from toolkit.ladder import KINDS, Rung
from toolkit.limits import Verdict
from toolkit.margins import SIGMAS, Nuisance
from toolkit.station_schema import SYSTEMS, StationFile
from toolkit.units import format_pressure, format_quantity, tidy

if TYPE_CHECKING:
    from toolkit.judgement import Judgement

WIDTH, BAR = 96, 24
CAUTIONS = (
    "This is teaching: invented sizes, a model without friction or sound waves, tolerances by engineering judgement.",
    "The operator's own records and written procedure, and the code in force, decide what a station must keep. The "
    "operator qualifies persons; licensed practice designs, sets, tests and works on real equipment.",
    "Never plug a vent, block a relief, pin a shutoff, jump a switch or raise a set point to hide what is found here.",
    "Gas smelt: people out, no switches or flames, call from outside.",
)


def text_of(station_file: StationFile, judged: Judgement, system: str) -> str:
    """The judgement as text, pressures in the display set "us" or "metric" (sentences give both)."""
    kind = station_file.limits.kind if station_file.limits else ""
    limit = judged.limit
    lines = [station_file.title, *_wrapped(station_file.about), ""]
    lines += _wrapped(f"Judged as {SYSTEMS[kind]}, at a supply of {format_pressure(judged.highest_supply, system)}.")
    lines += _wrapped(f"Limit: {format_pressure(limit.gauge_pressure, system)}, {limit.rule} ({limit.section}).")
    must = sum(one.severity == "must" for one in judged.findings)
    lines += _wrapped(f"Findings: {must} must be mended, {len(judged.findings) - must} should be looked at.")
    lines += ["", "The ladder, from the top down; the bar shows the band of its tolerance"]
    lines += _ladder(judged.rungs, system)
    lines += ["", "Findings"]
    for one in judged.findings:
        lines += _wrapped(f"{one.severity:<6}  {one.sentence}", "  ", 10)
        lines += _wrapped(one.mend, " " * 10, 10)
    lines += [] if judged.findings else ["  none"]
    lines += ["", "Worst single failures, the others healthy: highest pressure by day or night"]
    lines += _failures(judged, system)
    lines += ["", "What the rules say"]
    for verdict in judged.verdicts:
        lines += _wrapped(f"{_word(verdict)}  {verdict.section}: {verdict.finding} {verdict.mend}", "  ", 12)
    lines += ["", f"Chance that a layer acts with nothing wrong, settings within their bands ({SIGMAS:g} sigma)"]
    lines += [line for one in judged.nuisance for line in _nuisance(one)] or ["  no layer acts by itself"]
    if judged.capacity:
        lines += ["", "Reliefs: what they pass at the limit, against the regulators wide open"]
        lines += _capacity(judged, system)
    lines += ["", "Cautions"]
    lines += [line for caution in CAUTIONS for line in _wrapped(caution, "  ", 2)]
    return tidy("\n".join(line.rstrip() for line in lines)) + "\n"


def _wrapped(text: str, first: str = "", hang: int = 0) -> list[str]:
    return wrap(tidy(text), WIDTH, initial_indent=first, subsequent_indent=" " * hang, break_on_hyphens=False)


def _word(verdict: Verdict) -> str:
    return {True: "kept    ", False: "not kept", None: "judge it"}[verdict.good]


def _ladder(rungs: Sequence[Rung], system: str) -> Iterator[str]:
    """A line a rung: pressure, band, a bar on a scale by ratios, name."""
    bottom, top = log(min(one.low for one in rungs)), log(max(one.high for one in rungs))
    per = (BAR - 1) / max(top - bottom, 1e-9)
    heads = [(format_pressure(one.gauge_pressure, system), _band(one, system)) for one in rungs]
    wide = [max(len(head[column]) for head in heads) for column in range(2)]
    for one, (text, band) in reversed(list(zip(rungs, heads, strict=True))):
        low, at, high = (round((log(p) - bottom) * per) for p in (one.low, one.gauge_pressure, one.high))
        bar = ["-" if one.kind == "limit" else " "] * BAR
        bar[low : high + 1] = "=" * (high + 1 - low)
        bar[at] = "#" if one.kind == "limit" else "|"
        head = f"  {text:>{wide[0]}}  {band:>{wide[1]}}  {''.join(bar)}  "
        first, *more = wrap(one.name, WIDTH - len(head))
        yield head + first
        yield from (" " * (len(head) + 2) + rest for rest in more)


def _band(one: Rung, system: str) -> str:
    """The edges of a band, as numbers where their unit is that of the rung."""
    if one.high == one.low:
        return ""
    unit = format_pressure(one.gauge_pressure, system).partition(" ")[2]
    edges = [format_pressure(edge, system) for edge in (one.low, one.high)]
    return " to ".join(edge.removesuffix(f" {unit}") for edge in edges)


def _failures(judged: Judgement, system: str) -> Iterator[str]:
    wide = max((len(one.what) for one in judged.failures), default=0)
    for one in judged.failures:
        said = [f"acted: {', '.join(one.acted)}" if one.acted else "no relief, shutoff or switch acts"]
        said += [f"above rating: {', '.join(one.over)}"] if one.over else []
        said += [f"no gas by day: {', '.join(one.lost)}"] if one.lost else []
        said += ["hunts"] if one.hunts else []
        head = f"  {one.what:<{wide}}  {format_pressure(one.peak, system):>13}  "
        yield from _wrapped("; ".join(said), head, len(head))


def _nuisance(one: Nuisance) -> list[str]:
    words = f"{one.device} {KINDS[one.kind]}, against {one.meets}: "
    if one.chance:
        words += f"{one.chance:.2%} (95 % interval {one.low:.2%} to {one.high:.2%}, {one.draws:,} draws)"
    else:
        words += f"never in {one.draws:,} draws, so at most {one.high:.2%}"
    return _wrapped(words, "  ", 6)


def _capacity(judged: Judgement, system: str) -> Iterator[str]:
    for one in judged.capacity:
        passes, comes = (format_quantity(flow, "standard_flow", system) for flow in (one.relief_flow, one.worker_flow))
        verdict = "enough" if one.enough else "NOT enough"
        area = format_quantity(one.api_area, "area", system)
        said = f"{one.device}: passes {passes} of {comes}: {verdict}. By API 520-1 that flow asks for {area}, "
        said += f"API 526 orifice {one.letter}" if one.letter else "more than the largest API 526 orifice"
        yield from _wrapped(f"{said}; by ISO 4126-1 {format_quantity(one.iso_area, 'area', system)}.", "  ", 6)
