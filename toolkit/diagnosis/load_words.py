"""How the load is spoken of: by the burners that stand there, or, where a station feeds mains, as the load of these.

The words of signs, checks and questions are written once, for a station whose burners are at hand. Where it feeds
mains, each phrase of NETWORK takes the place of the one that it stands beside. What stands where: trade usage, no
source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.station_file import shipped_station, shipped_stations

NETWORK: Mapping[str, str] = {
    # how much is drawn
    "with all burners on, beside their rating": "at full load, beside the rating",
    "all on, beside the burners' rating": "at full load, beside the rating",
    "with all burners on": "at full load",
    "all burners on": "at full load",
    "all on": "at full load",
    "burners on": "under load",
    "with pilots only": "at the least load",
    # not where it says what the customers have: pilots only
    "gauge, pilots only": "gauge, at the least load",
    "outlet, pilots only": "outlet, at the least load",
    "with all off": "at no load",
    "all off": "at no load",
    "as the burners shut": "at a sharp drop of the load",
    "as burners shut": "at a sharp drop of the load",
    "all burners are off before": "the outlet valve is shut before",
    # who would lose it
    "shut the outlet valve, read": "with another run or a bypass carrying the load, shut this run's outlet valve, read",
    "burners go out, at a station of many customers all of theirs": (
        "never with customers on it unless another run or a bypass carries them"
    ),
    # who draws it
    "gas at the burners": "gas at the customers",
    "the burners have gas": "the customers have gas",
    "do the burners have gas": "do the customers have gas",
    "the pilots burn, but": "at the customers the pilots burn, but",
    "burners are out: every appliance valve": "customers are without gas: every customer's valve",
    "no burner takes it": "no customer takes it",
    "the burners together take": "the customers together take",
    "every appliance valve is shut": "every customer's valve is shut",
    "every burner accounted for": "every customer accounted for",
    "account for every burner": "account for every customer",
}
# The longest first; each also with a capital. A script reads the pattern too.
PHRASE = re.compile(
    "|".join(
        rf"\b[{one[0]}{one[0].upper()}]{re.escape(one[1:])}(?!\w)" for one in sorted(NETWORK, key=len, reverse=True)
    )
)


def of_load(text: str, network: bool) -> str:
    """A text as it is said of a station; `network`: it feeds mains."""
    return PHRASE.sub(_of_network, text) if network else text


def _of_network(found: re.Match[str]) -> str:
    written = found[0]
    words = NETWORK[written[0].lower() + written[1:]]
    return words if written[0].islower() else words[0].upper() + words[1:]


def at_place(text: str, place: str) -> str:
    """A text as it is said at a place: a kind of station, or the name of one that comes along."""
    return of_load(text, feeds_network(place))


def sign_words(signs: Signs, place: str) -> tuple[tuple[str, str], ...]:
    """Signs that were met at a place, in words: what was looked at, and what it showed."""
    return tuple((at_place(SIGNS[key].name, place), at_place(value, place)) for key, value in signs.met().items())


def feeds_network(place: str) -> bool:
    """Whether a place is a station of the course that feeds mains; what is drawn by its kind has burners."""
    return place in shipped_stations() and shipped_station(place).feeds_network
