"""The filter ahead of a station, cut open: bowl, cartridge, drain, and the gauge that shows what the cartridge costs.

Gas passes the cartridge from outside to inside, so that the dirt stays in the bowl.
"""

from __future__ import annotations

from typing import Final

from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import RAISED, SUPPLY, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE
from toolkit.figures.parts import EDGE, STEEL, WALL, num

X, AXIS = 300.0, 262.0
LEFT, RIGHT, TOP, LOW = 216.0, 396.0, 176.0, 416.0  # of the inside
PLATE: Final = 216.0  # height of the plate from which the cartridge hangs
CHANNEL: Final = 364.0  # x of the web before the outlet
OUTER, INNER, FOOT = 40.0, 27.0, 366.0  # half widths and foot of the cartridge
GAUGE: Final = (306.0, 104.0, 30.0)
TAPS: Final = (150.0, 462.0)

FILTER: Final = {
    "clean": Said(
        "Filter: clean",
        "Filter, cut open: gas passes from the bowl through the clean cartridge to the inside and on, and the "
        "differential gauge shows little.",
    ),
    "loaded": Said(
        "Filter: loaded",
        "Filter, cut open: dirt has built up on the outside of the cartridge, pressure behind it falls as gas flows, "
        "and the differential gauge shows much.",
    ),
}


def filter_svg(state: str = "clean") -> str:
    """The filter, `state` "clean" or "loaded".

    Raises:
        ScenarioError: another state.
    """
    words, name = said(FILTER, state, "filter_svg.state"), f"device-filter-{state}"
    loaded = state == "loaded"
    levels = {"inlet": SUPPLY, "outlet": RAISED if loaded else SUPPLY - 0.05}
    gas = fills(name, levels)
    hatch, low = f"url(#{name}-hatch)", AXIS - BORE / 2 - 5
    behind = (
        f"M{num(LEFT)} {num(TOP)}H{num(RIGHT)}V{num(AXIS + 26)}H{num(CHANNEL)}V{num(PLATE)}H{num(LEFT)}Z"
        f"M{num(X - INNER)} {num(PLATE - 6)}H{num(X + INNER)}V{num(FOOT - 4)}H{num(X - INNER)}Z"
    )
    walls = (
        f"M{num(LEFT)} {num(PLATE)}H{num(X - OUTER + 6)}M{num(X + OUTER - 6)} {num(PLATE)}H{num(CHANNEL)}"
        f"V{num(AXIS + 26)}H{num(RIGHT)}"
    )
    gx, gy, _ = GAUGE
    body = (
        parts.pipe([(-4, AXIS), (LEFT, AXIS)], BORE, gas["inlet"], "inlet-pipe"),
        parts.pipe([(RIGHT, AXIS), (WIDTH + 4, AXIS)], BORE, gas["outlet"], "outlet-pipe"),
        devices_parts.body(LEFT, TOP, RIGHT, LOW, gas["inlet"]),
        f'<path d="{behind}" fill="{gas["outlet"]}"/>',
        devices_parts.way(LEFT, AXIS, BORE, gas["inlet"]),
        devices_parts.way(RIGHT, AXIS, BORE, gas["outlet"]),
        devices_parts.web(walls),
        parts.block(LEFT - 12, TOP - 14, RIGHT - LEFT + 24, 14, WALL, 4),
        _cartridge(hatch if loaded else ""),
        parts.block(X - 9, LOW + 4, 18, 14, STEEL, 2),
        devices_parts.tube([(TAPS[0], low), (TAPS[0], gy), (gx - 20, gy)], gas["inlet"], "gauge-tube"),
        devices_parts.tube([(TAPS[1], low), (TAPS[1], gy), (gx + 20, gy)], gas["outlet"], "gauge-tube"),
        *(devices_parts.tap(x, low) for x in TAPS),
        parts.gauge(*GAUGE, 0.75 if loaded else 0.08, "differential-gauge"),
        *(parts.arrow([(x, AXIS), (x + 20, AXIS)], 0.2 if loaded else 0.6, "flow") for x in (90.0, 500.0)),
        *(
            parts.arrow([(X + side * (OUTER + 22), y), (X + side * (INNER - 8), y)], 0.0, "filter-flow")
            for side, y in ((-1, 330), (-1, 262), (1, 330))
        ),
        parts.arrow([(X, 280), (X, 250)], 0.2, "filter-flow"),
    )
    labels = (
        Label(
            "differential gauge", 10, 66, ((200, 61), (gx - 22, gy - 18)), "shows much" if loaded else "shows little"
        ),
        Label("lid", 500, 160, ((RIGHT + 4, TOP - 6),)),
        Label("cartridge", 480, 354, ((X + INNER + 6, 350),), "loaded" if loaded else "clean", acts=loaded),
        Label("bowl", 480, 402, ((RIGHT - 12, 390),)),
        Label("drain", 480, 436, ((X + 7, LOW + 12),)),
        Label("inlet", 10, 306),
        Label("outlet", 556, 306, (), "lower" if loaded else "near inlet", "middle", loaded),
    )
    return card(name, words, 470, levels, body, labels, moves=False)


def _cartridge(dirt: str) -> str:
    """The cartridge, open at the top and shut at its foot, with what has caught on its outside."""
    caught = (
        "".join(parts.block(X + side * (OUTER + 4) - 5, PLATE + 10, 10, FOOT - PLATE - 10, dirt, 3) for side in (-1, 1))
        + parts.block(LEFT + 18, LOW - 9, RIGHT - LEFT - 36, 9, dirt, 3)
        if dirt
        else ""
    )
    mesh = "".join(
        f"M{num(X + side * (INNER + at))} {num(PLATE + 6)}V{num(FOOT - 6)}" for side in (-1, 1) for at in (3.5, 9.5)
    )
    return (
        f'<g data-part="cartridge" data-loaded="{int(bool(dirt))}">{caught}'
        + "".join(
            parts.block(X + (INNER if side > 0 else -OUTER), PLATE, OUTER - INNER, FOOT - PLATE, WALL, 1)
            for side in (-1, 1)
        )
        + f'<path d="{mesh}" stroke="{EDGE}" stroke-width="1.6" stroke-dasharray="3 2"/>'
        + parts.block(X - OUTER - 4, FOOT - 5, 2 * OUTER + 8, 9, STEEL, 2)
        + "</g>"
    )
