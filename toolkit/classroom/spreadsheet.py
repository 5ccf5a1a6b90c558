"""Cells of a CSV file, as a spreadsheet takes them."""

from __future__ import annotations

# What a spreadsheet would run as a formula, also behind blanks, also in the wide forms of the same signs.
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def harmless(text: str) -> str:
    """A text that no spreadsheet takes for a formula, nor for a number that it would then write in its own way."""
    return f"'{text}" if text.lstrip(" ")[:1] in _RUNS and text.strip(" ") else text


def rounded(value: float) -> float | int:
    """A number to six digits that count; a whole one without a point."""
    short = float(f"{value:.6g}")
    return int(short) if short.is_integer() else short
