"""How a suspects question is made: a day with one suspect drawn by chance, and what a visit on it meets.

Words, suspects and likelihoods are those of the look-up page: the signs, and the table of a station that comes along.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from toolkit.diagnosis.posterior import PRIORS
from toolkit.diagnosis.signatures import NOTHING
from toolkit.diagnosis.signs import Signs, letters
from toolkit.errors import ScenarioError
from toolkit.quiz.cause import CauseQuestion
from toolkit.quiz.trouble_case import case_at, thought
from toolkit.quiz.trouble_words import tag_rows

# What lessons 03 and 04 are about: one service regulator with an internal relief, and no layer behind it.
HOUSE = "house_service"
ONE_REGULATOR = "The worker is the regulator that holds the pressure; here there is no other."
# What a visit to it looks at: the three states, the kick between them, the gauges before the regulator, the vent.
VISIT = (
    *("outlet_on", "outlet_pilots", "outlet_off", "lock_up", "creep", "spike"),
    *("inlet", "filter_drop", "vent_on", "vent_off"),
)
# What a visit could go on to: feedback names one of these where it tells two suspects apart, else what was looked at.
FURTHER = ("vent_end", "vent_held")
# The seeds of the days stand above those of the tables and of the cases.
DAYS = (20_000_000, 30_000_000)
# A day is drawn only if its signs give some suspect this share: where they give none as much, nobody could tell.
TOLD = 0.7
# So many days are drawn to find one that is wanted.
MOST_DAYS = 60


def amounts_to(*wanted: str) -> Callable[[Signs], bool]:
    """Whether signs amount to one of some symptoms, by their letters in toolkit.diagnosis.symptoms."""
    return lambda signs: not letters(signs).isdisjoint(wanted)


def cause_question(
    key: str,
    chance: Random,
    units: str,
    told: str,
    suspects: tuple[str, ...],
    wanted: Callable[[Signs], bool] = lambda _: True,
    *,
    place: str = HOUSE,
    looked_at: tuple[str, ...] = VISIT,
) -> CauseQuestion:
    """Make a question whose true suspect is drawn by the same weights as the posterior starts from.

    `told` opens the prompt. A day is kept or not by what was looked at on it, never by its suspect, so what the signs
    say of the suspects stays right. Raises ScenarioError where no such day was found.
    """
    weights = [PRIORS[one] for one in suspects]
    for _ in range(MOST_DAYS):
        truth = chance.choices(suspects, weights)[0]
        # One fault that the readings show is a case of the first level.
        case = case_at(key, 1, place, truth, chance.randrange(*DAYS))
        if case is None or not wanted(signs := case.signs.only(looked_at)):
            continue
        shares = thought(place, suspects, signs).shares()
        if max(shares.values()) >= TOLD:
            break
    else:
        raise ScenarioError("seed", key, "one with a day of this sort", "Take another.")
    _, *tags = tag_rows(case, units)
    said = "; ".join(f"{name}: {value}" for name, value in tags)
    return CauseQuestion(
        key,
        f"{told} Tags and record say: {said}. {'At most one thing' if NOTHING in suspects else 'One thing'} is wrong. "
        "Spread 100 points over the suspects, as sure as you are of each.",
        signs,
        case.signs.only((*looked_at, *FURTHER)),
        place,
        suspects,
        truth,
        tuple(shares[one] for one in suspects),
        case.scenario,
    )
