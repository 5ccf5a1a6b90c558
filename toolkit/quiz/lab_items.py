"""Two questions that every pair of look-alikes gives: which check tells, and which cause it is from what was read."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from toolkit.diagnosis.pairs import FIRST, SECOND, Pair, PairCheck, Reading, Values, stop_card, told
from toolkit.quiz.items import Make
from toolkit.quiz.ordering import ChoiceQuestion
from toolkit.simulation import simulate
from toolkit.units import tidy

# What a visit is made with, drawn round in the display unit, and the station it gives, told in sentences.
Draw = Callable[[Random, str], Values]
Told = Callable[[Values, str], str]
# So many checks that do not tell stand beside the one that does, or in the table of what was read.
OTHERS = 3
BOTH = "these readings cannot tell: a check that tells is missing"


def which_check(pair: Pair, draw: Draw, said: Told) -> Make:
    """The maker of a question: of the checks offered, one tells the pair apart, and one nobody may make."""

    def make(key: str, chance: Random, units: str) -> ChoiceQuestion:
        values = draw(chance, units)
        telling = chance.choice([one for one in pair.checks if one.tells])
        blind = chance.sample(_blind(pair), OTHERS)
        barred = chance.choice([one for one in pair.checks if one.check.forbidden])
        options = chance.sample([telling, *blind, barred], OTHERS + 2)
        return ChoiceQuestion(
            key,
            f"{said(values, units)} {pair.noticed} It is one of two: {' or '.join(pair.suspects)}. Which check tells "
            "them apart?",
            tuple(one.check.name for one in options),
            options.index(telling),
            tuple(_tells(pair, one, values) for one in options),
            tidy(f"A check tells only what shows otherwise with one cause than with the other. {pair.because}"),
            units=units,
        )

    return make


def which_cause(pair: Pair, draw: Draw, said: Told) -> Make:
    """The maker of a question: what was read at a visit, with a check that tells or without one; which cause is it?"""

    def make(key: str, chance: Random, units: str) -> ChoiceQuestion:
        values, which = draw(chance, units), chance.choice((FIRST, SECOND, None))
        built = chance.choice((FIRST, SECOND)) if which is None else which
        telling = chance.choice([one for one in pair.checks if one.tells])
        made = chance.sample(_blind(pair), OTHERS + (which is None)) + ([] if which is None else [telling])
        options = (*pair.suspects, BOTH)
        right = 2 if which is None else which
        # the run with the telling check in it, for the replay of a wrong choice
        runs = tuple(simulate(pair.scenario(values, telling.check.key, one)) for one in (FIRST, SECOND))
        return ChoiceQuestion(
            key,
            f"{said(values, units)} {pair.noticed} It is one of two: {' or '.join(pair.suspects)}. What was read "
            "stands in the table. Which is it?",
            options,
            right,
            tuple(_says(pair, one, right, telling, values) for one in range(len(options))),
            tidy(pair.because),
            table=(("Looked at", "Found"), *_rows(pair, made, values, built)),
            traces=(*runs, None) if right != 2 else (),
            units=units,
        )

    return make


def _blind(pair: Pair) -> list[PairCheck]:
    """The checks that may be made and do not tell."""
    return [one for one in pair.checks if not one.tells and not one.check.forbidden]


def _rows(pair: Pair, made: list[PairCheck], values: Values, which: int) -> tuple[Reading, ...]:
    """What checks show, each sign once."""
    found: dict[str, str] = {}
    for one in made:
        found.update({name: value for name, value in pair.shows(values, one.check.key, which) if name not in found})
    return tuple(found.items())


def _tells(pair: Pair, one: PairCheck, values: Values) -> str:
    """What is right or wrong with a check, as a sentence."""
    if one.check.forbidden:
        return stop_card(one.check)
    first, second = (pair.shows(values, one.check.key, which) for which in (FIRST, SECOND))
    if not one.tells:
        return f"It shows the same with both ({told(first)}), so it tells nothing here."
    return (
        f"With {pair.suspects[FIRST]} it shows {_apart(first, second)}. "
        f"With {pair.suspects[SECOND]} it shows {_apart(second, first)}."
    )


def _apart(ours: tuple[Reading, ...], theirs: tuple[Reading, ...]) -> str:
    """The readings that differ, in words: what is the same with both causes would hide them."""
    return told(tuple(one for one in ours if one not in theirs))


def _says(pair: Pair, option: int, right: int, telling: PairCheck, values: Values) -> str:
    """Why an answer to `which_cause` is right or wrong, as a sentence."""
    if right == 2:
        shows = f"Nobody has done this yet: {telling.check.name}."
        return (
            f"All that was read is the same with both. {shows}"
            if option == 2
            else (f"What was read fits {pair.suspects[option]}, but it fits the other as well. {shows}")
        )
    found, others = (pair.shows(values, telling.check.key, which) for which in (right, 1 - right))
    shown = _apart(found, others)
    if option == right:
        return f"The check that tells shows {shown}. That is {pair.suspects[right]}."
    if option == 2:
        return f"One of them is a check that tells. It shows {shown}."
    return f"With {pair.suspects[option]} the check that tells would show {_apart(others, found)}. It shows {shown}."
