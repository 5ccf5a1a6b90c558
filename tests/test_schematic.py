"""The cut-open regulator: it moves the right way, says what acts, and is safe to put on a page."""

import re
from dataclasses import replace
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from toolkit.figures import cutaway
from toolkit.figures.schematic import HEIGHT, WIDTH, DebrisView, RegulatorView, regulator_sentence, regulator_svg
from toolkit.figures.surface import extent
from toolkit.figures.views import percent

SVG = "{http://www.w3.org/2000/svg}"
HEALTHY = RegulatorView(
    lift=0.3,
    inlet_text="60 psig",
    outlet_text="7.0 in. w.c.",
    case_text="0.0 in. w.c.",
    outlet_level=0.3,
    demand=0.5,
)
WORST = replace(
    HEALTHY,
    lift=1.0,
    demand=1.0,
    relief_lift=1.0,
    vent_blocked=0.6,
    vent_flow=1.0,
    torn=True,
    stem_stuck=True,
    spring_weak=True,
    filter_blocked=0.4,
    seat_nicked=True,
    debris=DebrisView(0.5, hard=False),
    inlet_open=False,
    outlet_text="1204.0 in. w.c.",
    inlet_text="413.7 kPa gauge",
)


def parsed(view: RegulatorView, **options: object) -> ElementTree.Element:
    return ElementTree.fromstring(regulator_svg(view, **options))


def part(view: RegulatorView, name: str) -> ElementTree.Element:
    found = parsed(view).findall(f".//*[@data-part='{name}']")
    assert len(found) == 1, f"{len(found)} parts named {name}"
    return found[0]


def value(view: RegulatorView, name: str, attribute: str) -> float:
    return float(part(view, name).attrib[f"data-{attribute}"])


def present(view: RegulatorView, name: str) -> bool:
    return parsed(view).find(f".//*[@data-part='{name}']") is not None


def written(view: RegulatorView, **options: object) -> list[str]:
    return [text.text or "" for text in parsed(view, **options).iter(f"{SVG}text")]


def test_it_is_an_image_with_a_name_a_title_and_a_fixed_box() -> None:
    root = parsed(HEALTHY)
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    assert root.attrib["viewBox"] == f"0 0 {WIDTH} {HEIGHT}"
    assert root.attrib["aria-label"] == regulator_sentence(HEALTHY)
    assert root.findtext(f"{SVG}title") == "Service regulator, cut open"


def test_the_disk_leaves_the_orifice_as_the_diaphragm_sinks() -> None:
    lifts = [0.0, 0.05, 0.1, 0.3, 0.6, 1.0]
    views = [replace(HEALTHY, lift=lift) for lift in lifts]
    disks = [value(view, "disk", "x") for view in views]
    middles = [value(view, "diaphragm", "y") for view in views]
    assert disks[0] == cutaway.LIP, "shut means on the seat"
    assert all(a < b for a, b in pairwise(disks)), "gas comes from the left: away from the seat is to the right"
    assert all(a < b for a, b in pairwise(middles)), "downwards is a larger y"


def test_the_lever_ties_disk_and_diaphragm_together() -> None:
    for lift in (0.0, 0.2, 0.7, 1.0):
        pose = cutaway.pose(replace(HEALTHY, lift=lift))
        px, py = cutaway.PIVOT
        ex, ey = pose.arm_end
        assert (ex - px) ** 2 + (ey - py) ** 2 == pytest.approx(cutaway.LONG_ARM**2), "the long arm keeps its length"
        assert ey - pose.pad == pytest.approx(cutaway.pose(HEALTHY).arm_end[1] - cutaway.pose(HEALTHY).pad)
        stem = pose.stem_end[0] - pose.disk
        assert stem == pytest.approx(cutaway.pose(HEALTHY).stem_end[0] - cutaway.pose(HEALTHY).disk)
        # A bell crank turns both arms by the same angle: travels are as the arms.
        assert (ey - py) / (pose.stem_end[0] - px) == pytest.approx(cutaway.LONG_ARM / cutaway.SHORT_ARM)


def test_the_relief_opens_by_the_diaphragm_going_up_off_the_pad() -> None:
    shut, open_ = replace(HEALTHY, lift=0.1), replace(HEALTHY, lift=0.1, relief_lift=0.8)
    assert value(shut, "relief-pad", "gap") == pytest.approx(0.0)
    assert value(open_, "relief-pad", "gap") > 5
    assert value(open_, "diaphragm", "y") < value(shut, "diaphragm", "y")
    assert value(open_, "disk", "x") == value(shut, "disk", "x"), "the post and the disk stay where they are"
    assert value(open_, "relief-spring", "length") < value(shut, "relief-spring", "length")
    assert not present(shut, "relief-flow")
    assert parsed(open_).findall(".//*[@data-part='relief-flow']")


def test_the_main_spring_is_squeezed_by_the_screw_and_by_the_diaphragm() -> None:
    def length(**changes: float) -> float:
        return value(replace(HEALTHY, **changes), "main-spring", "length")

    assert length(spring_setting=1.0) < length(spring_setting=0.0)
    assert length(lift=0.0) < length(lift=1.0)
    assert value(replace(HEALTHY, spring_setting=1.0), "screw", "y") > value(HEALTHY, "screw", "y")


def test_needle_and_flame_follow() -> None:
    def tip(level: float) -> tuple[float, float]:
        needle = part(replace(HEALTHY, outlet_level=level), "outlet-gauge-needle")
        return float(needle.attrib["x2"]), float(needle.attrib["y2"])

    assert tip(0.0)[0] < tip(0.5)[0] < tip(1.0)[0]
    assert tip(0.5)[1] < tip(0.0)[1]

    def flames(demand: float) -> list[float]:
        found = parsed(replace(HEALTHY, demand=demand)).findall(".//*[@data-part='flame']")
        return [float(flame.attrib["data-height"]) for flame in found]

    assert flames(0.0) == []
    assert flames(0.2) < flames(1.0)


@pytest.mark.parametrize(
    ("changes", "words", "sentence"),
    [
        ({"lift": 0.0}, "shut", "Disk shut."),
        ({"lift": 0.12}, "12 % open", "Disk 12 % open."),
        ({"lift": 0.001}, "1 % open", "Disk 1 % open."),
        ({"relief_lift": 0.4}, "open 40 %", "Relief open 40 %."),
        ({"vent_blocked": 1.0}, "blocked", "Vent blocked."),
        ({"vent_blocked": 0.5}, "50 % blocked", "Vent 50 % blocked."),
        ({"vent_flow": 0.5}, "gas comes out", "Gas comes out of the vent."),
        ({"torn": True}, "torn", "Diaphragm torn."),
        ({"stem_stuck": True}, "stuck", "Stem stuck."),
        ({"spring_weak": True}, "weak", "Main spring weak."),
        ({"inlet_open": False}, "shut", "Inlet valve shut."),
        ({"filter_blocked": 0.3}, "30 % blocked", "Filter 30 % blocked."),
        ({"seat_nicked": True}, "nicked", "Seat nicked."),
        ({"debris": DebrisView(0.1, hard=True)}, "hard debris", "Hard debris on the seat."),
        ({"debris": DebrisView(0.1, hard=False)}, "soft debris", "Soft debris on the seat."),
        ({"demand": 0.0}, "off", "Appliances off."),
    ],
)
@pytest.mark.parametrize("labels", [True, False])
def test_a_state_is_said_in_words(changes: dict[str, object], words: str, sentence: str, labels: bool) -> None:
    base = replace(HEALTHY, lift=0.5)
    view = replace(base, **changes)
    before, after = written(base, labels=labels), written(view, labels=labels)
    assert after.count(words) == before.count(words) + 1
    assert sentence in regulator_sentence(view)
    assert sentence not in regulator_sentence(base)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"vent_blocked": 0.5}, "vent-plug"),
        ({"vent_flow": 0.5}, "vent-cloud"),
        ({"torn": True}, "tear-flow"),
        ({"stem_stuck": True}, "stuck"),
        ({"seat_nicked": True}, "nick"),
        ({"debris": DebrisView(0.1, hard=True)}, "debris"),
    ],
)
def test_a_state_is_seen(changes: dict[str, object], name: str) -> None:
    assert not present(HEALTHY, name)
    assert present(replace(HEALTHY, **changes), name)


def test_hard_and_soft_debris_differ_in_shape_and_larger_debris_is_larger() -> None:
    def shape(height: float, hard: bool, lift: float = 0.5) -> str:
        return part(replace(HEALTHY, lift=lift, debris=DebrisView(height, hard)), "debris").attrib["d"]

    assert "q" not in shape(0.3, True)
    assert "q" in shape(0.3, False)
    assert shape(0.3, True) != shape(0.6, True)
    assert shape(0.6, False, lift=0.05) != shape(0.6, False, lift=1.0), "soft debris is squeezed by the disk"
    assert shape(0.6, True, lift=0.05) == shape(0.6, True, lift=1.0), "hard debris is not"


def test_pressures_stand_in_the_drawing_with_and_without_names() -> None:
    for labels in (True, False):
        found = written(HEALTHY, labels=labels)
        assert {HEALTHY.inlet_text, HEALTHY.outlet_text, HEALTHY.case_text} <= set(found)
    assert "adjusting screw" in written(HEALTHY, labels=True)
    assert "adjusting screw" not in written(HEALTHY, labels=False)
    assert "Travel is exaggerated." in written(HEALTHY, labels=False)


def test_hostile_text_stays_text() -> None:
    hostile = "<script>alert(\"x\")</script> & 'quoted' ]]>"
    view = replace(HEALTHY, outlet_text=hostile, inlet_text="bad\x00\x1b\ud800control")
    root = parsed(view)
    assert hostile in written(view)
    assert hostile in root.attrib["aria-label"]
    assert root.find(f".//{SVG}script") is None
    regulator_svg(view).encode("utf-8")


def test_a_hostile_prefix_cannot_leave_its_attribute() -> None:
    root = parsed(HEALTHY, prefix='a"><script>')
    ids = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
    assert ids
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", name) for name in ids)


def test_ids_are_unique_carry_the_prefix_and_nothing_points_outside() -> None:
    svg = regulator_svg(WORST, prefix="panel-3")
    ids = re.findall(r' id="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    assert all(name.startswith("panel-3-") for name in ids)
    assert set(re.findall(r"url\(([^)]*)\)", svg)) <= {f"#{name}" for name in ids}
    assert "href" not in svg
    assert svg.count("http") == 1, "only the name space"


@pytest.mark.parametrize("view_mode", ["desk", "projector"])
@pytest.mark.parametrize("labels", [True, False])
@pytest.mark.parametrize("view", [HEALTHY, WORST, replace(WORST, vent_blocked=1.0, filter_blocked=1.0)])
def test_no_text_covers_another_or_leaves_the_picture(view: RegulatorView, labels: bool, view_mode: str) -> None:
    boxes = []
    for text in parsed(view, labels=labels, view_mode=view_mode).iter(f"{SVG}text"):
        size, x, y = (float(text.attrib[name]) for name in ("font-size", "x", "y"))
        # 96 px an inch and 72 pt an inch; `extent` adds 4 px on each side.
        width = extent(text.text or "", size * 0.75, "font-weight" in text.attrib)[0] - 8
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[text.attrib["text-anchor"]]
        boxes.append((text.text, left, y - 0.76 * size, left + width, y + 0.22 * size))
    for name, left, top, right, bottom in boxes:
        assert left >= 0, name
        assert top >= 0, name
        assert right <= WIDTH, name
        assert bottom <= HEIGHT, name
    clashes = [
        (a[0], b[0]) for a, b in combinations(boxes, 2) if a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]
    ]
    assert clashes == []


def test_letters_stay_legible_when_the_picture_is_420_wide() -> None:
    sizes = [float(text.attrib["font-size"]) for text in parsed(HEALTHY).iter(f"{SVG}text")]
    # 8 px as the least is common practice, no source.
    assert min(sizes) * 420 / WIDTH >= 8.0


number = st.floats(allow_nan=True, allow_infinity=True)


@given(number, number, number, number)
@example(float("nan"), float("nan"), float("nan"), float("nan"))
@example(float("inf"), float("-inf"), float("inf"), 1e308)
@settings(derandomize=True, max_examples=60)
def test_any_number_gives_a_well_formed_picture(lift: float, relief: float, level: float, blocked: float) -> None:
    view = replace(
        WORST,
        lift=lift,
        relief_lift=relief,
        outlet_level=level,
        vent_blocked=blocked,
        debris=DebrisView(blocked, hard=True),
    )
    svg = regulator_svg(view)
    ElementTree.fromstring(svg)
    assert not re.search(r"\b(nan|inf)\b", svg)


def test_what_the_solver_leaves_of_nothing_is_nothing() -> None:
    assert [percent(value) for value in (0.0, 1e-15, 1e-7, 1e-5, 0.004, 0.126, 1.0, 7.0)] == [
        *("0 %", "0 %", "0 %", "1 %", "1 %", "13 %", "100 %", "100 %")
    ]
