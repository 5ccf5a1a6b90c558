"""Texts that fit: how wide a text is, and how it is broken into rows or shortened with an ellipsis.

Widths are DejaVu Sans's, the widest of the fonts that the drawing asks for, so a text never takes more than is thought.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final
from unicodedata import combining, east_asian_width

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font

from toolkit.figures.style import FONT

ELLIPSIS: Final = "…"
SHORTEST_REST: Final = 3  # letters that may stand alone on the next row


@lru_cache(maxsize=2)
def _face(bold: bool) -> FT2Font:
    face = FT2Font(findfont(FontProperties(family=FONT, weight="bold" if bold else "normal")))
    face.set_size(100, 72)
    return face


@lru_cache(maxsize=4096)
def _advance(letter: str, bold: bool) -> float:
    """Width of a letter as a share of the size of the text; an em where the font does not have it."""
    if combining(letter):
        return 0.0
    face = _face(bold)
    known = face.get_char_index(ord(letter)) != 0 and east_asian_width(letter) not in "WF"
    return float(face.load_char(ord(letter)).linearHoriAdvance) / 65536 / 100 if known else 1.0


def width(text: str, size: float, bold: bool = False) -> float:
    """Width of `text` on one row, in the unit of `size`."""
    return size * sum(_advance(letter, bold) for letter in text)


def shortened(text: str, room: float, size: float, bold: bool = False) -> str:
    """`text`, or its beginning with an ellipsis where it is wider than `room`."""
    if width(text, size, bold) <= room:
        return text
    kept = text
    while kept and width(kept.rstrip() + ELLIPSIS, size, bold) > room:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS


def rows(text: str, room: float, size: float, most: int, bold: bool = False) -> tuple[str, ...]:
    """`text` in at most `most` rows no wider than `room`; what does not fit is left out and an ellipsis says so.

    Rows break at spaces and after underscores, hyphens and slashes, and within a word only where it is wider than a
    row. A number stays with its sign of per cent.
    """
    text = " ".join(text.split()).replace(" %", "\u00a0%")
    done: list[str] = []
    row = ""
    for space, piece in re.findall("( ?)([_/-]*[^ _/-]+[_/-]*|[_/-]+)", text):
        joined = row + space + piece if row else piece
        if width(joined, size, bold) <= room:
            row = joined
            continue
        *full, rest = _broken(piece, room, size, bold)
        done += [row, *full] if row else full
        row = rest
    done += [row] if row else []
    if len(done) > most:
        kept = max(most - 1, 0)
        done = [*done[:kept], *(shortened(" ".join(done[kept:]), room, size, bold) for _ in range(most - kept))]
    return tuple(done)


def _broken(word: str, room: float, size: float, bold: bool) -> list[str]:
    """`word` in pieces that fit, each but the last with a hyphen; a single letter always counts as fitting."""
    pieces = []
    while len(word) > 1 and width(word, size, bold) > room:
        n = len(word) - 1
        while n > 1 and width(word[:n] + "-", size, bold) > room:
            n -= 1
        if n > SHORTEST_REST > len(word) - n:
            n = len(word) - SHORTEST_REST
        pieces.append(word[:n] + ("-" if word[n - 1 : n + 1].isalpha() else ""))
        word = word[n:]
    return [*pieces, word]
