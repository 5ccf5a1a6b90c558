"""The pressure switch with manual reset, cut open: diaphragm, spring, contacts, and the catch that a button frees.

Pressure under the diaphragm pushes it up against the spring; past the setting the rod lifts the blade off the lower
contact and against the upper one. A catch beside the blade's tip lets it pass upwards and holds it there, also after
the pressure has gone back, until somebody presses the button.
"""

from __future__ import annotations

from typing import Final

from toolkit.figures import devices_parts, parts
from toolkit.figures.devices_card import AIR_FILL, HELD, RAISED, WIDTH, Label, Said, card, fills, said
from toolkit.figures.devices_parts import BORE, Dome
from toolkit.figures.parts import EDGE, RUBBER, STEEL, WARN, num
from toolkit.figures.style import CARD, INK

X, AXIS = 280.0, 398.0  # of the diaphragm and rod, of the pipe
LEFT, RIGHT, TOP, LOW = 176.0, 442.0, 72.0, 232.0  # of the housing's inside
HINGE: Final = (206.0, 152.0)  # of the blade
TIP: Final = 392.0  # x of the blade's tip
DOWN, UP = 158.0, 122.0  # height of the tip at rest and made
CONTACT: Final = 352.0  # x of the contacts
THICK: Final = 5.0  # of the blade
REST: Final = 304.0  # height of the diaphragm at rest
WIRES: Final = (50.0, 192.0)  # heights of the wires from the upper and from the lower contact
CATCH: Final = (404.0, 104.0)  # pivot of the catch

PRESSURE_SWITCH: Final = {
    "normal": Said(
        "High-pressure switch: normal",
        "High-pressure switch with manual reset, cut open: pressure is below the setting, the spring holds the "
        "diaphragm down, and the blade closes the burner circuit.",
    ),
    "tripped": Said(
        "High-pressure switch: tripped",
        "High-pressure switch with manual reset, cut open: pressure has passed the setting, the rod has lifted the "
        "blade over the catch, the burner circuit is open and the alarm circuit closed.",
    ),
    "waiting": Said(
        "High-pressure switch: waiting for reset",
        "High-pressure switch with manual reset, cut open: pressure and rod have gone back, but the catch holds the "
        "blade up and the burners stay locked out until somebody presses the button.",
    ),
}


def pressure_switch_svg(state: str = "normal") -> str:
    """The switch, `state` "normal", "tripped" or "waiting" for its reset.

    Raises:
        ScenarioError: another state.
    """
    words, name = said(PRESSURE_SWITCH, state, "pressure_switch_svg.state"), f"device-pressure-switch-{state}"
    made, pushed = state != "normal", state == "tripped"
    levels = {"gas": RAISED if pushed else HELD}
    gas = fills(name, levels)["gas"]
    tip = UP if made else DOWN
    rod = _blade_height(X, UP if pushed else DOWN) + THICK / 2
    plate = REST + rod - _blade_height(X, DOWN) - THICK / 2
    dome = Dome(X, 204, 276, 306, 336, half=92, tower=30, plate=60)
    top = AXIS - BORE / 2 - 5
    body = (
        parts.pipe([(-4, AXIS), (WIDTH + 4, AXIS)], BORE, gas, "outlet-pipe"),
        devices_parts.dome(dome, plate, gas, AIR_FILL),
        devices_parts.body(LEFT, TOP, RIGHT, LOW, AIR_FILL),
        devices_parts.tube([(X, 337), (X, top)], gas, "tube"),
        devices_parts.tap(X, top),
        parts.spring(X, 252, plate - 6, 20, 3, 3.0, "spring"),
        parts.block(X - 28, 234, 56, 18, STEEL, 2),
        parts.block(X - 2.5, rod, 5, plate - rod, STEEL, 1),
        devices_parts.diaphragm(dome, plate),
        _wires(made),
        _blade(tip),
        _catch(),
        "" if made else parts.arrow([(520, AXIS), (540, AXIS)], 0.4, "flow"),
    )
    labels = (
        Label("blade", 10, 116, ((120, 111), (240, _blade_height(240, tip)))),
        Label("common", 10, HINGE[1] + 5),
        Label("rod", 10, 206, ((120, 201), (X - 2, 206))),
        Label("spring", 10, 256, ((120, 251), (X - 20, 262))),
        Label("diaphragm", 10, 298, ((120, 293), (X - 76, 296 + (plate - REST) / 2))),
        Label("sensing tube", 10, 358, ((X - 3, 358),)),
        Label("alarm circuit", 468, WIRES[0] + 5, (), "closed" if made else "open", acts=made),
        Label("reset button", 468, 106, ((RIGHT + 12, 95),)),
        Label("catch", 468, 144, ((CATCH[0] - 6, 130),), "holds the blade" if made else ""),
        Label("burner circuit", 468, WIRES[1] + 5, (), "open" if made else "closed", acts=made),
        Label("adjusting sleeve", 468, 258, ((X + 26, 243),)),
        Label("outlet", 10, 440, (), "above the setting" if pushed else "below the setting", acts=pushed),
    )
    return card(name, words, 490, levels, body, labels)


def _blade_height(x: float, tip: float) -> float:
    """Height of the blade's middle at `x` when its tip stands at `tip`."""
    return HINGE[1] + (tip - HINGE[1]) * (x - HINGE[0]) / (TIP - HINGE[0])


def _blade(tip: float) -> str:
    (x, y), line = HINGE, f'stroke-width="{num(THICK)}" stroke-linecap="round"'
    return (
        f'<g data-part="blade" data-tip="{num(tip)}">'
        f'<path d="M{num(x)} {num(y)}L{num(TIP)} {num(tip)}" stroke="{INK}" {line}/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="5" fill="{CARD}" stroke="{EDGE}" stroke-width="2"/></g>'
    )


def _wires(made: bool) -> str:
    """The two contacts, where the blade meets them, and the wires away from them and from the hinge."""
    lower = _blade_height(CONTACT, DOWN) + THICK / 2 + 5
    upper = _blade_height(CONTACT, UP) - THICK / 2 - 5
    runs = f"M{num(CONTACT)} {num(upper)}V{num(WIRES[0])}H462M{num(CONTACT)} {num(lower)}V{num(WIRES[1])}H462"
    runs += f"M{num(HINGE[0])} {num(HINGE[1])}H84"
    dots = "".join(
        f'<circle data-part="{part}" data-closed="{int(closed)}" cx="{num(CONTACT)}" cy="{num(y)}" r="5" '
        f'fill="{STEEL}" stroke="{EDGE}" stroke-width="1.5"/>'
        for part, y, closed in (("alarm", upper, made), ("burner", lower, not made))
    )
    return f'<path d="{runs}" fill="none" stroke="{EDGE}" stroke-width="2.4"/>{dots}'


def _catch() -> str:
    """A lever on a pivot: its nose lets the blade pass upwards only; the button pushes its upper end to free it."""
    x, y = CATCH
    nose = UP + THICK / 2
    points = [
        (x - 4, y - 18),
        (x + 4, y - 18),
        (x + 4, nose + 22),
        (x - 2, nose + 22),
        (TIP - 8, nose + 1),
        (x - 4, nose + 1),
    ]
    return (
        f'<g data-part="catch"><polygon points="{parts.pairs(points)}" fill="{STEEL}" stroke="{EDGE}" '
        f'stroke-width="1.4" stroke-linejoin="round"/>'
        f'<circle cx="{num(x)}" cy="{num(y)}" r="3" fill="{CARD}" stroke="{EDGE}" stroke-width="1.4"/>'
        f"{parts.block(x + 5, y - 16, RIGHT + 8 - x - 5, 7, RUBBER, 1)}"
        f"{parts.block(RIGHT + 6, y - 22, 12, 19, WARN, 3)}"
        f'<g transform="rotate(90 {num(x + 4)} {num(y + 26)})">'
        f"{parts.spring(x + 4, y + 26 - (RIGHT - x - 5), y + 26, 6, 4, 1.5, 'catch-spring')}</g></g>"
    )
