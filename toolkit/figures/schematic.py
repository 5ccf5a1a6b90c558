"""The cut-open service regulator as an SVG picture that moves with the state it is given.

Words say what acts; colour only helps. The picture brings its own card, its sentence, and needs nothing from outside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from toolkit.figures import cutaway, parts
from toolkit.figures.cutaway import AXIS, Pose
from toolkit.figures.parts import Look, share
from toolkit.figures.style import CARD, ViewMode
from toolkit.figures.views import (
    CAPTION,
    DebrisView,
    RegulatorView,
    demand_words,
    disk_words,
    filter_words,
    regulator_sentence,
    relief_words,
    seat_words,
    valve_words,
    vent_words,
)

__all__ = ["HEIGHT", "WIDTH", "DebrisView", "RegulatorView", "regulator_sentence", "regulator_svg"]

WIDTH: Final = 640
HEIGHT: Final = 420


@dataclass(frozen=True)
class _Label:
    """`name` over `state` at `x`, `y`. Where names are left out it stays if it `acts` or is wanted `always`.

    `way` leads to the thing: from its first point, or from the end of the words where `follows`.
    What `acts` stands out.
    """

    x: float
    y: float
    name: str
    state: str = ""
    way: tuple[parts.Point, ...] = ()
    anchor: str = "start"
    acts: bool = False
    always: bool = False
    follows: bool = False


def regulator_svg(
    view: RegulatorView, *, labels: bool = True, view_mode: ViewMode = "desk", prefix: str = "regulator"
) -> str:
    """Draw the regulator in the state `view`; give an SVG element of 640 by 420 units that needs nothing from outside.

    `labels` adds the names of the parts; words for what acts and the three pressures stand in any case.
    `prefix` keeps the ids of several drawings on one page apart.
    """
    look = parts.LOOKS[view_mode]
    name = re.sub(r"[^A-Za-z0-9_-]", "-", prefix) or "regulator"
    stand = cutaway.pose(view)
    inlet, outlet, case, hatch = (f"{name}-{part}" for part in ("inlet", "outlet", "case", "hatch"))
    sentence = regulator_sentence(view)
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
            f'aria-label={parts.attribute(sentence)} font-family="DejaVu Sans, Verdana, Arial, sans-serif">'
            f"<title>Service regulator, cut open</title><desc>{parts.safe(sentence)}</desc><defs>",
            parts.gas_pattern(inlet, view.inlet_level),
            parts.gas_pattern(outlet, view.outlet_level),
            parts.gas_pattern(case, view.case_level),
            parts.hatch_pattern(hatch),
            f'</defs><rect width="{WIDTH}" height="{HEIGHT}" rx="8" fill="{CARD}"/>',
            cutaway.pipes(view, f"url(#{inlet})", f"url(#{outlet})", f"url(#{hatch})"),
            cutaway.body(stand, f"url(#{outlet})", f"url(#{case})"),
            cutaway.seat(view, f"url(#{inlet})"),
            cutaway.linkage(view, stand),
            cutaway.debris_piece(view.debris, stand) if view.debris else "",
            cutaway.diaphragm(view, stand),
            cutaway.springs(view, stand),
            cutaway.vent(view, f"url(#{case})", f"url(#{hatch})"),
            cutaway.flows(view, stand),
            *(_written(label, labels, look) for label in _labels(view, stand)),
            parts.words(WIDTH - 8, HEIGHT - 8, CAPTION, look.text * 0.9, "end"),
            "</svg>",
        )
    )


def _labels(view: RegulatorView, pose: Pose) -> list[_Label]:
    """All labels of the drawing, each at a place of its own that nothing else uses."""
    seat, relief, vented = seat_words(view), share(view.relief_lift) > 0, share(view.vent_flow) > 0
    spring = ((190, 46), (263, (pose.screw + pose.plate) / 2))
    ring = cutaway.left_ring_point(pose, 0.16)
    lever = (352.0, pose.arm_end[1] / 2 + 138)
    return [
        _Label(8, 24, "adjusting screw", way=((190, 19), (259, pose.screw - 7)), follows=True),
        _Label(8, 51, "main spring", "weak" if view.spring_weak else "", spring, acts=view.spring_weak, follows=True),
        _Label(8, 93, "relief", relief_words(view), ((170, 88), (287, pose.nut - 3)), acts=relief, follows=True),
        _Label(8, 135, "case", view.case_text, ((140, 130), (208, 166)), always=True, follows=True),
        _Label(8, 177, "diaphragm", "torn" if view.torn else "", ((130, 172), ring), acts=view.torn, follows=True),
        _Label(84, 256, "inlet", view.inlet_text, always=True),
        _Label(458, 190, "outlet", view.outlet_text, always=True),
        _Label(44, 354, "inlet valve", valve_words(view), anchor="middle", acts=not view.inlet_open),
        _Label(138, 354, "filter", filter_words(view), anchor="middle", acts=share(view.filter_blocked) > 0),
        _Label(206, 392, "orifice and seat", seat, ((208, 380), (224, AXIS + 17)), anchor="end", acts=bool(seat)),
        _Label(240, 392, "disk", disk_words(view), ((256, 380), (pose.disk + 11, AXIS + 14)), always=True),
        _Label(
            364, 392, "stem", "stuck" if view.stem_stuck else "", ((372, 380), (344, AXIS + 3)), acts=view.stem_stuck
        ),
        _Label(428, 262, "lever", way=((427, 258), (392, 262), lever)),
        _Label(
            512,
            30,
            "vent pipe\nto outdoors",
            vent_words(view),
            ((510, 50), (493, 58)),
            acts=share(view.vent_blocked) > 0,
        ),
        _Label(530, 162, "", "gas comes out" if vented else "", anchor="middle", acts=vented),
        _Label(580, 357, "appliances", demand_words(view), anchor="middle", always=True),
    ]


def _written(label: _Label, names: bool, look: Look) -> str:
    rows = [
        (row, bold) for row, bold in (*((row, False) for row in label.name.split("\n")), (label.state, True)) if row
    ]
    if not (rows and (names or label.acts or label.always)):
        return ""
    way = label.way
    if label.follows:  # the mean letter is a little wider than half its height
        way = ((label.x + 6 + 0.56 * look.text * len(label.name), way[0][1]), *way)
    return (parts.leader(way, look, label.acts) if way else "") + "".join(
        parts.words(label.x, label.y + i * look.text * 1.2, text, look.text, label.anchor, bold)
        for i, (text, bold) in enumerate(rows)
    )
