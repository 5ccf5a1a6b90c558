"""The words of the look-up page as HTML, on the screen and on its printed sheet. All text is escaped here."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from toolkit.diagnosis.look_up import (
    LAYERS,
    MOST_SUSPECTS,
    Answer,
    Asked,
    Meaning,
    end_words,
    first_up,
    in_words,
    meanwhile,
    state_words,
)
from toolkit.diagnosis.look_up_words import CAUTIONS, DEFERS, ENDS, EXPLAINED, STATES, TEACHING, per_cent
from toolkit.diagnosis.next_check import CHECKS, Check
from toolkit.diagnosis.posterior import PRIORS_DATED
from toolkit.diagnosis.readings import READINGS, RECORD
from toolkit.diagnosis.signatures import SUSPECTS
from toolkit.diagnosis.signs import SIGNS
from toolkit.diagnosis.sites import KINDS
from toolkit.units import format_pressure

# The answer's place on the page.
ANSWER = "gp-answer"
NOTHING_YET = "Nothing is entered yet: these are the weights before anything was looked at, no finding."
# Suspects that stand there at once; the rest is a press away.
AT_ONCE = 3
# Signs that are named for a suspect, and against it; outcomes of a check on paper.
MOST_SIGNS, MOST_PRINTED = 3, 4
# A line to write on, and a name before it.
BLANKS = ("Station", "By", "Date and time")


def cautions_html() -> str:
    """The cautions, as a list."""
    return f"<ul class='gp-cautions'>{_items(CAUTIONS)}</ul><p class='gp-defers'>{escape(DEFERS)}</p>"


def stopped_html(answer: Answer) -> str:
    """What stands while a stop condition holds: stop, and call."""
    if not answer.stops:
        return ""
    told = "".join(f"<li>{escape(_sentence(words))}</li>" for words in answer.stops.values())
    return (
        f"<div class='gp-stopped' role='alert'><p class='gp-stop-word'>{STATES['call for help']}</p><ul>{told}</ul>"
        f"<p>{escape(ENDS['call for help'])} Where gas is indoors this device goes outside with you.</p></div>"
    )


def suspects_html(answer: Answer) -> str:
    """The top suspects with a bar, a per cent and why; before them what contradicts itself."""
    if answer.stops:
        return ""
    notes = "".join(f"<p class='gp-refused'>{escape(one)}</p>" for one in answer.said.values())
    if not answer.signs.met():
        notes += f"<p class='gp-yet'>{NOTHING_YET}</p>"
    rows = [
        f"<li><div class='gp-suspect'><b>{escape(one.name)}</b><span class='gp-per-cent'>{per_cent(one.share)}</span>"
        f"</div><div class='gp-share'><span style='width:{100 * one.share:.1f}%'></span></div>"
        f"<p class='gp-why'>{_why(one.key, one.speaks, one.against)}</p></li>"
        for one in answer.suspects[:MOST_SUSPECTS]
    ]
    more = (
        f"<details><summary>The next {len(rows) - AT_ONCE}, and on what this rests</summary>"
        f"<ol class='gp-suspects' start='{AT_ONCE + 1}'>{''.join(rows[AT_ONCE:])}</ol>"
        f"<p class='gp-small'>{escape(reckoned(answer))}</p></details>"
    )
    return f"{notes}<ol class='gp-suspects'>{''.join(rows[:AT_ONCE])}</ol>{more}"


def advice_html(answer: Answer) -> str:
    """What to do next: the check with its minutes, effort and risk and what it may show; or how the search ends."""
    if answer.stops:
        return ""
    advice, care = answer.advice, _care(answer)
    if advice.check is None:
        return (
            f"{care}<div class='gp-end'><p><b>{state_words(answer)}.</b> {escape(first_up(advice.why))}</p>"
            f"<p>{escape(end_words(answer))}</p></div>"
        )
    return (
        f"{care}<div class='gp-check'><p class='gp-check-name'>{escape(first_up(advice.check.name))}</p>"
        f"{facts_html(advice.check)}<p>{escape(advice.why)}</p></div>"
    )


def others_html(answer: Answer) -> str:
    """The other checks that are worth it, with their minutes, the best first."""
    if not answer.others:
        return ""
    lines = "".join(f"<li>{escape(first_up(check.name))}: {check.minutes:g} min</li>" for check, _ in answer.others)
    return f"<details class='gp-others'><summary>Other checks, the best first</summary><ul>{lines}</ul></details>"


def summary_html(answer: Answer) -> str:
    """The answer in one line, for a narrow screen and for those who listen."""
    if answer.stops:
        return "<p class='gp-line' role='status'><b>Stop and call.</b></p>"
    best = answer.suspects[0]
    first = "Nothing entered yet" if not answer.signs.met() else f"{first_up(best.name)} {per_cent(best.share)}"
    check = f"Next: {answer.advice.check.name}" if answer.advice.check else state_words(answer)
    return (
        f"<p class='gp-line' role='status'><b>{escape(first)}.</b> {escape(check)}. "
        f"<a href='#{ANSWER}'>To the answer</a></p>"
    )


def sheet_html(asked: Asked, answer: Answer, units: str, title: str) -> str:
    """The one page to print: lines to fill in, all that was entered, the answer and the cautions."""
    blanks = "".join(f"<span>{name}: <i></i></span>" for name in BLANKS)
    entered = [
        ("Record of", title),
        ("Layers fitted", ", ".join(LAYERS[key] for key in LAYERS if key in asked.layers) or "none"),
        ("Record", _record(asked, units)),
        ("Read", "; ".join(_read(asked, units)) or "nothing"),
        ("Met", "; ".join(in_words(key, value) for key, value in answer.signs.met().items()) or "nothing"),
        ("Overruled by a reading", "; ".join(SIGNS[key].name for key in answer.said) or "nothing"),
        ("Checks made", "; ".join(CHECKS[key].name for key in CHECKS if key in asked.done) or "none"),
        ("Work for the qualified", "proposed" if asked.qualified else "not proposed"),
    ]
    rows = "".join(f"<tr><th scope='row'>{name}</th><td>{escape(words)}</td></tr>" for name, words in entered)
    told = "".join(f"<p><b>{escape(_sentence(one))}</b></p>" for one in answer.stops.values())
    suspects = "".join(
        f"<tr><td class='gp-per-cent'>{per_cent(one.share)}</td><th scope='row'>{escape(one.name)}</th>"
        f"<td>{_why(one.key, one.speaks, one.against)}</td></tr>"
        for one in answer.suspects[:MOST_SUSPECTS]
    )
    table = f"<table class='gp-sheet-suspects'>{suspects}</table>" if suspects else ""
    kept = " ".join(meanwhile(answer.signs))
    care = f"<p><b>Meanwhile. {escape(kept)}</b></p>" if kept and not answer.stops else ""
    return (
        f"<div class='gp-sheet'><h2>Look-up sheet</h2><p class='gp-blanks'>{blanks}</p>"
        f"<table>{rows}</table>{told}{table}{care}<p><b>{state_words(answer)}.</b> {_done_next(answer)}</p>"
        f"<h3>Cautions</h3>{cautions_html()}<p class='gp-small'>{escape(reckoned(answer))}</p></div>"
    )


def record_html(asked: Asked, units: str, whose: str, *, theirs: bool) -> str:
    """Beside what the readings are weighed, and whose record that is; where it is not the person's own, what to do."""
    ask = "" if theirs else " <b>It is not yours: change it to your station's record, or the readings mislead.</b>"
    return (
        f"<p class='gp-record'>Readings are weighed beside the record of <b>{escape(whose)}</b>: "
        f"{escape(_record(asked, units))}.{ask}</p>"
    )


def facts_html(check: Check) -> str:
    """Minutes, effort and risk of a check."""
    who = "<p class='gp-refused'>For qualified persons by the written procedure only.</p>" if check.qualified else ""
    return (
        f"<dl class='gp-facts'><div><dt>Minutes</dt><dd>{check.minutes:g}</dd></div>"
        f"<div><dt>Effort</dt><dd>{escape(check.effort)}</dd></div>"
        f"<div><dt>Risk</dt><dd>{escape(check.risk)}</dd></div></dl>{who}"
    )


def values_words(meaning: Meaning) -> str:
    """What a check shows, in few words; where it shows several things, each with its name."""
    values = meaning.values
    if len(values) == 1:
        return next(iter(values.values()))
    return "; ".join(f"{SIGNS[key].name}: {value}" for key, value in values.items())


def outcome_words(meaning: Meaning) -> str:
    """What a check may show, how likely that is, and what it would mean."""
    return f"{first_up(values_words(meaning))} ({per_cent(meaning.chance)} likely): then {then_words(meaning)}"


def then_words(meaning: Meaning) -> str:
    """The likeliest suspects once a check has shown this."""
    return ", ".join(f"{SUSPECTS[key]} {per_cent(share)}" for key, share in meaning.then)


def reckoned(answer: Answer) -> str:
    """On what the per cents rest."""
    return (
        f"Reckoned from simulated days of: {KINDS.get(answer.kind, 'this very station')}. "
        f"Weights before anything was looked at: {TEACHING}, dated {PRIORS_DATED}. "
        "A reckoning inside the course's own model, no measure of what happens in the field."
    )


def _why(key: str, speaks: tuple[str, ...], against: tuple[str, ...]) -> str:
    parts = [EXPLAINED[key]] if key in EXPLAINED else []
    if key not in EXPLAINED:
        parts += [f"Speaks for it: {_strongest(speaks)}."] if speaks else []
        parts += [f"Against: {_strongest(against)}."] if against else []
    return escape(" ".join(parts))


def _strongest(signs: tuple[str, ...]) -> str:
    more = len(signs) - MOST_SIGNS
    return "; ".join(signs[:MOST_SIGNS]) + (f"; and {more} more" if more > 0 else "")


def _care(answer: Answer) -> str:
    """What must be kept to while the signs met stand, before any check."""
    return "".join(f"<p class='gp-care'>{escape(one)}</p>" for one in meanwhile(answer.signs))


def _done_next(answer: Answer) -> str:
    advice = answer.advice
    if advice.check is None:
        return escape(f"{first_up(advice.why)} {end_words(answer)}")
    check = advice.check
    means = "; ".join(f"{values_words(one)}: {then_words(one)}" for one in answer.meanings[:MOST_PRINTED])
    return escape(
        f"{first_up(check.name)}: {check.minutes:g} min; effort: {check.effort}; risk: {check.risk}. "
        f"What it would mean: {means}."
    )


def _read(asked: Asked, units: str) -> list[str]:
    found = {key: getattr(asked.readings, key) for key in READINGS}
    return [f"{READINGS[key].name} {format_pressure(v, units)}" for key, v in found.items() if v is not None]


def _record(asked: Asked, units: str) -> str:
    known = {key: value for key in RECORD if (value := getattr(asked.record, key)) is not None}
    return "; ".join(f"{RECORD[key].name} {format_pressure(value, units)}" for key, value in known.items())


def _sentence(words: str) -> str:
    return f"{first_up(words)}."


def _items(lines: Iterable[str]) -> str:
    return "".join(f"<li>{escape(one)}</li>" for one in lines)
