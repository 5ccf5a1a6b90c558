"""The plate between two gauges: it moves the right way, says what it is, and is safe to put on a page."""

from dataclasses import replace
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit.figures.orifice import HEIGHT, WIDTH, OrificeView, orifice_sentence, orifice_svg
from toolkit.figures.surface import extent

SVG = "{http://www.w3.org/2000/svg}"
# Values to look at, not results.
CHOKED = OrificeView(
    upstream_text="60.0 psig",
    upstream_absolute_text="74.7 psia",
    downstream_text="10.0 psig",
    downstream_absolute_text="24.7 psia",
    air_text="14.7 psia",
    hole_text="0.125 in.",
    flow_text="1,000 scfh",
    upstream_level=0.67,
    downstream_level=0.11,
    hole=0.5,
    flow=0.7,
    choked=True,
)
WIDEST = replace(
    CHOKED,
    upstream_text="20.8 in. w.c. (0.75 psig)",
    downstream_text="103.1 mbar (0.103 bar)",
    upstream_absolute_text="5.153 bar abs",
    downstream_absolute_text="5.153 bar abs",
    air_text="1.013 bar abs",
    flow_text="10,041.23 m³/h",
    hole=1.0,
    flow=-1.0,
    choked=False,
)


def parsed(view: OrificeView, **options: str) -> ElementTree.Element:
    return ElementTree.fromstring(orifice_svg(view, **options))


def found(view: OrificeView, name: str) -> list[ElementTree.Element]:
    return parsed(view).findall(f".//*[@data-part='{name}']")


def written(view: OrificeView) -> list[str]:
    return [text.text or "" for text in parsed(view).iter(f"{SVG}text")]


def tip(view: OrificeView, part: str) -> tuple[float, float]:
    """Where the head of an arrow points."""
    head = found(view, part)[0].find(f"{SVG}polygon")
    assert head is not None
    x, y = head.attrib["points"].split()[0].split(",")
    return float(x), float(y)


def tail(view: OrificeView, part: str) -> float:
    line = found(view, part)[0].find(f"{SVG}polyline")
    assert line is not None
    return float(line.attrib["points"].split(",")[0])


def test_it_is_an_image_with_a_name_a_title_and_a_fixed_box() -> None:
    root = parsed(CHOKED)
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    assert root.attrib["viewBox"] == f"0 0 {WIDTH} {HEIGHT}"
    assert root.attrib["aria-label"] == orifice_sentence(CHOKED)


def test_each_pressure_stands_there_as_gauge_and_as_absolute() -> None:
    said = written(CHOKED)
    for text in ("60.0 psig", "74.7 psia", "10.0 psig", "24.7 psia", "14.7 psia", "1,000 scfh", "0.125 in."):
        assert text in said
        assert text.rstrip(".") in orifice_sentence(CHOKED)


def test_the_word_says_whether_it_chokes() -> None:
    assert "choked" in written(CHOKED)
    free = replace(CHOKED, choked=False)
    assert "not choked" in written(free)
    assert "choked" not in written(free)
    assert ", not choked." in orifice_sentence(free)


@pytest.mark.parametrize("part", ["upstream-flow", "hole-flow", "downstream-flow"])
def test_arrows_grow_with_the_flow_and_turn_round_with_it(part: str) -> None:
    ahead, back = CHOKED, replace(CHOKED, flow=-0.7)
    assert tip(ahead, part)[0] > tail(ahead, part)
    assert tip(back, part)[0] < tail(back, part)
    reach = [tip(v, part)[0] - tail(v, part) for v in (replace(CHOKED, flow=f) for f in (0.1, 0.5, 1.0))]
    assert all(a < b for a, b in pairwise(reach))
    assert "runs backwards" in written(back)
    assert found(replace(CHOKED, flow=0.0), part) == []
    assert "nothing flows" in written(replace(CHOKED, flow=0.0))


def test_the_hole_and_the_needles_follow() -> None:
    holes = [float(found(replace(CHOKED, hole=h), "plate")[0].attrib["data-hole"]) for h in (0.2, 0.5, 1.0)]
    assert holes[1] == pytest.approx(2.5 * holes[0])
    assert holes[2] == pytest.approx(2 * holes[1])
    for side in ("upstream", "downstream"):
        x = [
            float(found(replace(CHOKED, **{f"{side}_level": level}), f"{side}-gauge-needle")[0].attrib["x2"])
            for level in (0.1, 0.5, 0.8)
        ]
        assert all(a < b for a, b in pairwise(x))


@pytest.mark.parametrize("view_mode", ["desk", "projector"])
@pytest.mark.parametrize("view", [CHOKED, WIDEST, replace(WIDEST, flow=0.0)])
def test_words_keep_clear_of_each_other_and_stay_on_the_card(view: OrificeView, view_mode: str) -> None:
    boxes = []
    for text in parsed(view, view_mode=view_mode).iter(f"{SVG}text"):
        size = float(text.attrib["font-size"])
        # extent() takes points at 96 px an inch: 0.75 pt a px.
        width, _ = extent(text.text or "", size * 0.75, text.attrib.get("font-weight") == "700")
        x, y = float(text.attrib["x"]), float(text.attrib["y"])
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[text.attrib["text-anchor"]]
        boxes.append((text.text, left, y - 0.75 * size, left + width, y + 0.2 * size))
    assert all(b[1] >= 0 and b[3] <= WIDTH and b[2] >= 0 and b[4] <= HEIGHT for b in boxes), boxes
    for a, b in combinations(boxes, 2):
        assert not (a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]), (a, b)


def test_text_from_anywhere_is_text_and_ids_are_apart() -> None:
    hostile = "<script>alert('1')</script>\" & \x00"
    root = parsed(replace(CHOKED, flow_text=hostile))
    assert root.find(f".//{SVG}script") is None
    assert any("<script>" in text for text in written(replace(CHOKED, flow_text=hostile)))
    ids = [{e.attrib["id"] for e in parsed(CHOKED, prefix=p).iter() if "id" in e.attrib} for p in ("one", "t<o")]
    assert ids[0].isdisjoint(ids[1])
    assert all(len(each) == 2 for each in ids)


numbers = st.floats(allow_nan=True, allow_infinity=True)


@given(numbers, numbers, numbers, numbers)
@settings(derandomize=True, max_examples=60)
def test_any_state_is_a_whole_picture_without_numbers_that_are_none(a: float, b: float, hole: float, c: float) -> None:
    svg = orifice_svg(replace(CHOKED, upstream_level=a, downstream_level=b, hole=hole, flow=c))
    ElementTree.fromstring(svg)
    assert "nan" not in svg.replace("DejaVu Sans", "")
    assert "inf" not in svg
