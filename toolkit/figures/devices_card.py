"""What the drawings of single devices share: the white card, its words, and labels with lines to what they name.

A drawing shows the principle of a device, not one that can be bought. Gas spaces are tinted and dotted by pressure,
words say what acts, and one sentence says for ear and eye what the picture shows. Nothing depends on colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from toolkit.errors import ScenarioError
from toolkit.figures import parts
from toolkit.figures.parts import Look, Point, num
from toolkit.figures.style import CARD
from toolkit.figures.symbols_words import rows, width
from toolkit.figures.views import CAPTION

WIDTH: Final = 640.0
TEXT: Final = 15.0  # 8.4 px where the card is shown 360 px wide
TITLE: Final = 17.0
MARGIN: Final = 10.0
ROW: Final = 1.22  # from row to row, in sizes of the text
MOST_ROWS: Final = 4  # of the sentence under a drawing
CLEAR: Final = 4.0  # between the words of a label and the start of its line

# Levels of the tints. Only their order is meant: pressures of one drawing can be a hundred times apart.
SUPPLY, RAISED, HELD, LOW, AIR = 0.85, 0.58, 0.32, 0.08, 0.0
AIR_FILL: Final = parts.tint(AIR)  # air has no dots


@dataclass(frozen=True)
class Said:
    """What a state is called over the drawing, and the one sentence that says what is seen and why."""

    title: str
    alt: str


@dataclass(frozen=True)
class Label:
    """Words (rows parted by line feeds) with the first base line at `x`, `y`; `state` follows in bold.

    `way` leads from the words to the thing; its last point is the thing. What `acts` stands out.
    """

    text: str
    x: float
    y: float
    way: tuple[Point, ...] = ()
    state: str = ""
    anchor: Literal["start", "middle", "end"] = "start"
    acts: bool = False


def said(states: Mapping[str, Said], state: str, field: str) -> Said:
    """The words of a state.

    Raises:
        ScenarioError: the device is not drawn in that state.
    """
    if state not in states:
        raise ScenarioError(field, state, "one of " + ", ".join(states), "Name one of these states.")
    return states[state]


def fills(name: str, levels: Mapping[str, float]) -> dict[str, str]:
    """The fill of each gas space of the drawing `name`, for `card` to define."""
    return {space: f"url(#{name}-{space})" for space in levels}


def card(
    name: str,
    words: Said,
    height: float,
    levels: Mapping[str, float],
    body: Sequence[str],
    labels: Sequence[Label],
    *,
    moves: bool = True,
) -> str:
    """A drawing of 640 units by `height` and the rows of its sentence, as an SVG element that needs nothing else.

    `name` keeps the ids of several drawings on one page apart; `levels` are the gas spaces with the depth of their
    tints (`fills`); `body` is drawn in its order, then the lines of the labels, then their words. Of what `moves` the
    drawing says that its travel is exaggerated.
    """
    sentence = rows(f"{words.alt} {CAPTION if moves else ''}", WIDTH - 2 * MARGIN, TEXT, MOST_ROWS)
    low = height + (len(sentence) * ROW + 0.5) * TEXT
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(WIDTH)} {num(low)}" role="img" '
            f'aria-label={parts.attribute(words.alt)} font-family="DejaVu Sans, Verdana, Arial, sans-serif">'
            f"<title>{parts.safe(words.title)}</title><desc>{parts.safe(words.alt)}</desc><defs>",
            *(parts.gas_pattern(f"{name}-{space}", level) for space, level in levels.items()),
            parts.hatch_pattern(f"{name}-hatch"),
            f'</defs><rect width="{num(WIDTH)}" height="{num(low)}" rx="8" fill="{CARD}"/>',
            parts.words(MARGIN, 25, words.title, TITLE, bold=True),
            *body,
            *(_line(label) for label in labels if label.way),
            *(_written(label) for label in labels),
            *(parts.words(MARGIN, height + i * ROW * TEXT, row, TEXT) for i, row in enumerate(sentence)),
            "</svg>",
        )
    )


def _rows(label: Label) -> list[tuple[str, bool]]:
    return [
        *((row, False) for row in label.text.split("\n") if row),
        *((row, True) for row in label.state.split("\n") if row),
    ]


def _written(label: Label) -> str:
    return "".join(
        parts.words(label.x, label.y + i * ROW * TEXT, row, TEXT, label.anchor, bold)
        for i, (row, bold) in enumerate(_rows(label))
    )


def _line(label: Label) -> str:
    """The line from the words: from the side of the first row where the thing is, or from above or below them."""
    written = _rows(label)
    wide = [width(row, TEXT, bold) for row, bold in written]
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor]
    left, right = label.x - shift * wide[0], label.x + (1 - shift) * wide[0]
    x, y = label.way[0]
    if x > right:
        start = right + CLEAR, label.y - 0.35 * TEXT
    elif x < left:
        start = left - CLEAR, label.y - 0.35 * TEXT
    else:
        over = y < label.y
        start = x, label.y - 0.85 * TEXT - 1 if over else label.y + (len(written) - 1) * ROW * TEXT + 0.35 * TEXT
    return f'<g data-part="leader">{parts.leader((start, *label.way), Look(TEXT, 1.0), label.acts)}</g>'
