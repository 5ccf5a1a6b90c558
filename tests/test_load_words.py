"""The words of signs and checks where a station feeds mains: no burner stands there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import resources

import pytest

from toolkit.diagnosis.load_words import NETWORK, PHRASE, at_place, feeds_network, of_load
from toolkit.diagnosis.look_up import QUESTIONS
from toolkit.diagnosis.look_up_words import STANDS
from toolkit.diagnosis.next_check import CHECKS
from toolkit.diagnosis.readings import READINGS
from toolkit.diagnosis.signs import SIGNS
from toolkit.panels.look_up import LookUp
from toolkit.quiz.items import offer
from toolkit.quiz.questions import CauseQuestion, ChoiceQuestion, OrderQuestion, VisitQuestion, grade
from toolkit.quiz.trouble_case import LEVELS, draw_case, places
from toolkit.quiz.trouble_items import case_items
from toolkit.quiz.trouble_record import number_question
from toolkit.quiz.trouble_words import _CALLS
from toolkit.quiz.visit import choices, worded
from toolkit.station_file import read_station

MAINS, HOUSE = "district_station", "house_service"
# What is said of burners that stand at the station. What the customers have may be pilots only.
AT_HAND = re.compile(r"\b(all (burners )?o(n|ff)|burners|burner)\b|, pilots only|with pilots only", re.IGNORECASE)
# Of the customers' own burners.
ELSEWHERE = re.compile(
    "burners do not come on|burners go out, at a station of many customers all of theirs|a burner is lit"
    "|with the burners lit and people at home",
    re.IGNORECASE,
)


def at_hand(text: str) -> list[str]:
    return AT_HAND.findall(ELSEWHERE.sub("", text))


def vocabulary() -> Iterator[str]:
    yield from (words for sign in SIGNS.values() for words in (sign.name, *sign.values))
    yield from (words for one in CHECKS.values() for words in (one.name, one.effort, one.risk, one.forbidden))
    yield from (words for rows in QUESTIONS.values() for words in rows.values())
    yield from (one.name for one in READINGS.values())
    yield from STANDS


def said_in_a_case(place: str, level: int) -> Iterator[str]:
    """All that a person reads of a case's questions, and of answers to them."""
    for item in case_items(draw_case(1, level, place)):
        one = offer(item, 1)
        yield one.prompt
        match one:
            case VisitQuestion():
                yield from (worded(act, place) for group in choices(one).values() for act in group)
                safe = [key for key in one.checks if not CHECKS[key].forbidden]
                yield from (str(cell) for row in grade(one, safe).table for cell in row)
            case CauseQuestion():
                yield from (cell for row in one.table() for cell in row)
                for place_of in range(len(one.suspects)):
                    yield from grade(one, [100.0 * (at == place_of) for at in range(len(one.suspects))]).explanation
            case ChoiceQuestion():
                yield from (*one.options, *(cell for row in one.table or () for cell in row))
            case OrderQuestion():
                yield from one.entries


def test_no_word_of_the_vocabulary_puts_burners_beside_mains() -> None:
    assert any(at_hand(words) for words in vocabulary())
    for words in vocabulary():
        assert not at_hand(of_load(words, network=True)), words
        assert of_load(words, network=False) == words
        # with a capital too, as it stands on a button
        raised = words[:1].upper() + words[1:]
        assert not at_hand(of_load(raised, network=True)), raised


@pytest.mark.parametrize("level", LEVELS)
def test_a_case_at_a_district_station_speaks_of_the_load(level: int) -> None:
    said = list(said_in_a_case(MAINS, level))
    assert len(said) > 50
    assert [words for words in said if at_hand(words)] == []
    assert any("at full load" in words for words in said)


def test_each_phrase_is_said_somewhere() -> None:
    words = [*vocabulary(), *_CALLS.values(), *said_in_a_case(HOUSE, 1), *said_in_a_case(HOUSE, 4)]
    # where the burners have hardly any gas the question is another
    words += [number_question(draw_case(seed, 4, HOUSE), "", None, "us").prompt for seed in (1, 2)]  # type: ignore[arg-type]
    said = {found[0][0].lower() + found[0][1:] for one in words for found in PHRASE.finditer(one)}
    assert said == set(NETWORK)


def test_a_station_feeds_mains_by_the_kind_of_its_limits() -> None:
    assert [place for place in places() if feeds_network(place)] == [MAINS]
    assert at_place("all burners on", "line sensed") == "all burners on"
    text = (resources.files("toolkit") / "stations" / f"{MAINS}.toml").read_text("utf-8")
    assert read_station(text, name="mine.toml").feeds_network
    one_customers = read_station(text.replace('kind = "low pressure"', 'kind = "service"'), name="mine.toml")
    assert not one_customers.feeds_network
    without = read_station(text[: text.index("[limits]")], name="mine.toml")
    assert not without.feeds_network


def test_what_the_customers_have_may_be_pilots_only() -> None:
    sign = SIGNS["burners"]
    assert of_load(f"{sign.name}: {sign.values[1]}", network=True) == "gas at the customers: pilots only"


def test_the_look_up_asks_and_answers_in_the_station_s_words() -> None:
    page = LookUp("us")
    ask = page.ask
    assert ask.signs["outlet_on"].description == "Outlet gauge, all burners on?"
    ask.take_station(MAINS)
    ask.qualified.value = True
    ask.layers["slam_shut"].value = True
    ask.signs["trip"].value = "all off"
    ask.signs["burners"].value = "no gas"
    for _ in range(6):
        page.enter(0)
    parts = (page._suspects, page._advice, page._others, page._summary, page._sheet)
    words = [
        *(part.value for part in parts),
        *(one.description for one in (*page._outcomes, *ask.signs.values())),
        *(entry.text.description for entry in ask.readings.values()),
        *(label for row in ask.signs.values() for label, _ in row.options),
    ]
    assert [one for one in words if at_hand(one)] == []
    assert "when the slam-shut tripped: at no load" in page._sheet.value
    # what was entered stands when the words change
    ask.take_station(HOUSE)
    assert ask.signs["trip"].value == "all off"
    assert ("all off", "all off") in ask.signs["trip"].options
    assert ask.readings["outlet_on"].text.description == "Outlet, all burners on"
