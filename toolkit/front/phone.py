"""`course phone`: the look-up page as one file for phones, with its tables in it and nothing to fetch.

Words, limits, weights, kernels and units are taken from the course itself when the page is written; what stands in
phone/ is how it looks and the arithmetic that a page without Python has to do by itself.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import asdict
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from toolkit import __version__, spellings, units
from toolkit.classroom import files
from toolkit.diagnosis import load_words, look_up, look_up_words, next_check, posterior, readings, symptoms
from toolkit.diagnosis.signatures import NOTHING, OTHER, SUSPECTS, TWO, UNSEEN, Signatures, shipped
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import KINDS
from toolkit.errors import QuantityError
from toolkit.front.terminal import say
from toolkit.station_file import shipped_station, shipped_stations

NAME = "look_up.html"
SOURCES = "phone"
# What becomes the page's script, in this order.
SCRIPTS = ("reckoning.js", "practice.js", "look_up.js")
# The station that the page opens with: the most usual one.
FIRST = "house_service"
# A sign's place in a row is a digit of this base, the highest digit for a sign that was not to be had; so many digits
# of it go into a byte.
BASE = 1 + max(len(sign.values) for sign in SIGNS.values())
PER_BYTE = 3
# The page's limits of readings, by their names there.
LIMITS = {
    **{
        name: getattr(readings, name)
        for name in (
            *("FAR_LOW", "STARTS", "LOCK_UP_OFF", "INLET_LOW", "INLET_FAR_LOW", "DROP_MARKED", "DROP_LARGE"),
            *("BETWEEN_LOW", "BETWEEN_HIGH", "KICK_MARKED", "KICK_LARGE"),
        )
    },
    **{name: getattr(symptoms, name) for name in ("LITTLE", "LOW", "STILL")},
}
# A text for each way in which a gauge pressure is refused: the refusal gives the words of that way.
REFUSED = {
    "long": "7" * (units.LONGEST_TEXT + 1),
    "number": "psi",
    "two_ways": "1,2,3 psi",
    "zero": "1/0 psi",
    "large": "1e99 psi",
    "unit": "7",
    "unknown": "7 spelling",
    "dimension": "7 ft",
    "inch": "7 in",
    "vacuum": "-99 psi",
    "difference": "7 psid",
}


def run(asked: argparse.Namespace) -> None:
    """Write the page into `asked.folder` and say where. Raises LaunchError where that cannot be done."""
    path: Path = asked.folder / NAME
    files.write(path, page().encode("utf-8"))
    say(f"{path}\n")


def page() -> str:
    """The whole page as HTML: no link leads out of it, and its own policy lets it ask for nothing."""
    style, script = source("look_up.css"), "\n".join(map(source, SCRIPTS))
    policy = f"default-src 'none'; style-src '{_hashed(style)}'; script-src '{_hashed(script)}'; base-uri 'none'"
    parts = {
        "policy": f'<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">',
        "style": style,
        # No text of the course can end the element that it stands in.
        "course": json.dumps(course(), ensure_ascii=False, separators=(",", ":")).replace("<", r"\u003c"),
        "script": script,
    }
    text = source("page.html")
    for name, part in parts.items():
        text = text.replace(f"<!--{name}-->", part)
    return text


def source(name: str) -> str:
    """The text of a file of phone/."""
    return (resources.files("toolkit") / "front" / SOURCES / name).read_text("utf-8")


def _hashed(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def course() -> dict[str, Any]:
    """All that the page goes by, as plain data."""
    return {
        "version": __version__,
        "signs": {key: {"name": one.name, "values": one.values} for key, one in SIGNS.items()},
        "suspects": SUSPECTS,
        "nothing": NOTHING,
        "other": OTHER,
        "two": TWO,
        "priors": dict(posterior.PRIORS),
        "priors_dated": posterior.PRIORS_DATED,
        "kernels": {key: posterior.kernel(key).tolist() for key in SIGNS},
        "packing": {"base": BASE, "per_byte": PER_BYTE, "unseen": BASE - 1},
        "kinds": {kind: {"name": name, "rows": packed(shipped(kind))} for kind, name in KINDS.items()},
        "layers": look_up.LAYERS,
        "by_layers": [_station_of(number) for number in range(2 ** len(look_up.LAYERS))],
        "questions": look_up.QUESTIONS,
        "network": {"words": load_words.NETWORK, "pattern": load_words.PHRASE.pattern},
        "speaks": look_up.SPEAKS,
        "most": {
            "suspects": look_up.MOST_SUSPECTS,
            "then": look_up.MOST_THEN,
            "outcomes": look_up.MOST_OUTCOMES,
            "others": look_up.MOST_OTHERS,
        },
        "checks": {
            key: {name: value for name, value in asdict(one).items() if name != "key"}
            for key, one in next_check.CHECKS.items()
        },
        "stops": next_check.STOPS,
        "seen_stops": list(seen_stops()),
        "confirmed_by": next_check.CONFIRMED_BY,
        "sure": next_check.SURE,
        "long": next_check.LONG,
        "making_ready": next_check.MAKING_READY,
        "least_bits": next_check.LEAST_BITS,
        "least_chance": next_check.LEAST_CHANCE,
        "units": unit_table(),
        "limits": LIMITS,
        "record": _fields(readings.RECORD),
        "readings": _fields(readings.READINGS),
        "range": {"lowest": -units.STANDARD_ATMOSPHERE, "largest": readings.LARGEST},
        "stations": list(stations()),
        "why": why(),
        "cautions": look_up_words.CAUTIONS,
        "carried": look_up_words.CARRIED,
        "defers": look_up_words.DEFERS,
        "teaching": look_up_words.TEACHING,
        "ends": look_up_words.ENDS,
        "states": look_up_words.STATES,
        "after": look_up_words.AFTER,
        "stands": look_up_words.STANDS,
        "out_of_reach": next_check.OUT_OF_REACH,
        "explained": look_up_words.EXPLAINED,
        "never": [one.forbidden for one in next_check.CHECKS.values() if one.forbidden],
    }


def _station_of(number: int) -> tuple[int, int, int]:
    """What a choice of layers amounts to, a bit a layer: place of its kind, its suspects and its signs, a bit each."""
    layers = frozenset(key for place, key in enumerate(look_up.LAYERS) if number >> place & 1)
    suspects, signs = look_up.suspects_of(layers), look_up.signs_with(layers)
    return (
        list(KINDS).index(look_up.kind_of(layers)),
        sum(1 << place for place, key in enumerate(SUSPECTS) if key in suspects),
        sum(1 << place for place, key in enumerate(SIGNS) if key in signs),
    )


def stations() -> Iterator[dict[str, Any]]:
    """The shipped stations, FIRST before the others: title, layers, whether it feeds mains, and the record as typed."""
    for name in sorted(shipped_stations(), key=lambda one: one != FIRST):
        found = shipped_station(name)
        record = readings.record_of(found.scenario.station)
        yield {
            "title": found.title,
            "layers": sorted(look_up.layers_of(found.scenario.station)),
            "network": found.feeds_network,
            "record": {key: _shown(getattr(record, key)) for key in readings.RECORD},
        }


def _shown(pressure: float | None) -> str:
    return "" if pressure is None else units.format_pressure(pressure, "us")


def why() -> dict[str, str]:
    """The reasons that advice comes with, with what they speak of left open in braces."""
    key, value = "frost", "frost"
    suspect, kind = "hydrate", "service"
    plain, shown = (posterior.belief(one, kind, {suspect: 1.0}) for one in (Signs(), Signs(**{key: value})))
    unsure = posterior.belief(Signs(), kind)
    odd_key, odd = "slam_shut", "tripped"
    strange = next_check.next_check(posterior.belief(Signs(**{odd_key: odd}), kind, {NOTHING: 1.0}), next_check.CHECKS)
    open_words = {
        SUSPECTS[suspect]: "{suspect}",
        **{f"{SIGNS[of].name} is {shows}": "{sign} is {value}" for of, shows in ((key, value), (odd_key, odd))},
    }
    found = {
        "found": next_check.next_check(shown).why,
        "bears out": next_check.next_check(plain).why,
        "most": next_check.next_check(unsure).why,
        "nothing left": next_check.next_check(unsure, next_check.CHECKS).why,
        "strange": strange.why,
        "fits none": next_check.next_check(posterior.belief(Signs(), kind, {OTHER: 1.0})).why,
    }
    for words, left_open in open_words.items():
        found = {name: why.replace(words, left_open) for name, why in found.items()}
    return found


def _fields(of: dict[str, readings.Field]) -> dict[str, dict[str, str]]:
    return {
        key: {"name": one.name, "kind": one.kind, "usual": one.usual, "layer": one.layer} for key, one in of.items()
    }


def packed(table: Signatures) -> str:
    """The rows of a table in base64, those that are alike once: suspect, number of such days, signs by threes."""
    rows, days = np.unique(np.column_stack([table.suspect, table.signs]), axis=0, return_counts=True)
    digits = np.where(rows[:, 1:] == UNSEEN, BASE - 1, rows[:, 1:])
    digits = np.pad(digits, ((0, 0), (0, -digits.shape[1] % PER_BYTE)))
    joined = digits.reshape(len(digits), -1, PER_BYTE) @ BASE ** np.arange(PER_BYTE)
    found = np.column_stack([rows[:, 0], days, joined])
    if found.max() > np.iinfo(np.uint8).max:
        raise ValueError("A row does not fit its bytes: mend BASE and PER_BYTE.")
    return base64.b64encode(found.astype(np.uint8).tobytes()).decode()


def seen_stops() -> Iterator[tuple[str, str, str]]:
    """The stop conditions that a sign shows by itself: condition, sign, value."""
    for key, sign in SIGNS.items():
        for value in sign.values:
            for stop in next_check.stops_of(Signs(**{key: value})):
                yield stop, key, value


def unit_table() -> dict[str, Any]:
    """What the page needs to read a typed pressure as units.parse_quantity does: spellings, grammar, refusals."""
    kinds = {field.kind for field in (*readings.RECORD.values(), *readings.READINGS.values())}
    return {
        "spellings": {word: _unit(word, dimension) for word, (dimension, _) in spellings.SPELLINGS.items()},
        "exact": {word: _unit(word, dimension) for word, (dimension, _) in spellings.EXACT.items()},
        "references": spellings.REFERENCES,
        "number": grammar(),
        "blanks": "".join(f"\\u{ord(one):04x}" for one in map(chr, range(0x10000)) if one.isspace()),
        "tidy": {chr(one): text for one, text in spellings.TIDY.items()},
        "longest": units.LONGEST_TEXT,
        "largest": units.LARGEST_NUMBER,
        "atmosphere": units.STANDARD_ATMOSPHERE,
        "expected": {kind: expected(kind) for kind in sorted(kinds)},
        "refusals": dict(refusals()),
    }


def _unit(word: str, dimension: str) -> dict[str, Any]:
    if dimension == "pressure":
        return {"dimension": dimension, "scale": units.parse_quantity(f"1 {word}", "pressure_difference")}
    return {"dimension": dimension, **({"inch": True} if spellings.SPELLINGS.get(word, ("", ""))[1] == "inch" else {})}


def expected(kind: str) -> str:
    """What a refusal says was expected of a kind."""
    try:
        units.parse_quantity("", kind)
    except QuantityError as refused:
        return str(refused).partition(" was given; ")[2].partition(f"{units.examples(kind)}. ")[0] + units.examples(
            kind
        )
    raise AssertionError("nothing at all was read as a pressure")


def grammar() -> str:
    """The grammar of a typed number for a script: without the blanks of its layout, ASCII's blanks spelled out."""
    pattern = re.sub(r"(?<!\\)\s+", "", spellings.NUMBER.pattern)
    return pattern.replace("(?P<", "(?<").replace(r"\s", r"[ \t\n\r\f\v]")


def refusals() -> Iterator[tuple[str, str]]:
    """The last sentence of each refusal, with the text's own words left open in braces."""
    kind = "gauge_pressure"
    for way, text in REFUSED.items():
        try:
            units.parse_quantity(text, kind)
        except QuantityError as refused:
            words = str(refused).partition(f"{units.examples(kind)}. ")[2]
            # what was typed, and the dimension of its unit
            words = re.sub(r"'(spelling|ft|in)' is", "'{spelling}' is", words)
            yield way, words.replace("unit of length", "unit of {dimension}")
