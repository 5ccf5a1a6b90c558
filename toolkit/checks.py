"""Checks that every scenario dataclass makes of its own values."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from math import isfinite

from toolkit.errors import ScenarioError

_COMPARED = 60


def number(
    field: str,
    value: object,
    low: float,
    high: float,
    unit: str,
    *,
    above: bool = False,
    mend: str | None = None,
) -> float:
    """The value as a float in [low, high] (or (low, high] where `above`), else a ScenarioError that names the field."""
    edge = "above" if above else "from"
    expected = f"a number {edge} {low:g} to {high:g} {unit}".rstrip()
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ScenarioError(field, value, expected, mend or "Give a plain number in that unit.")
    real = float(value)
    if not isfinite(real) or real > high or real < low or (above and real == low):
        raise ScenarioError(field, value, expected, mend or "Give a value in that range.")
    return real


def name(field: str, value: object) -> str:
    """A name usable for a volume or device: letters, digits, underscores, starting with a letter."""
    if not isinstance(value, str) or not value.isidentifier() or not value.isascii() or len(value) > 40:
        raise ScenarioError(
            field, value, "a short name of letters, digits and underscores, starting with a letter", "Rename it."
        )
    return value


def near(given: object, known: Iterable[str], otherwise: str = "Check the spelling.") -> str:
    """What to do about a word that is not known: the nearest known one, or else the words given."""
    # of a long text only its beginning: the comparison takes the square of its length
    close = get_close_matches(given[:_COMPARED], list(known), 1) if isinstance(given, str) else []
    return f"Did you mean {close[0]!r}?" if close else otherwise
