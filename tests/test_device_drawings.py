"""The drawings of single devices: what pushes on what is right, words collide with nothing, every state is said."""

import math
import re
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest

from toolkit.devices.regulator import Regulator, SecondSeat
from toolkit.devices.relief_valve import ReliefValve
from toolkit.errors import ScenarioError
from toolkit.figures import devices_pressure_switch, devices_second_seat, devices_slam_shut
from toolkit.figures.device_drawings import DEVICES, DRAWINGS, drawing
from toolkit.figures.devices_card import AIR_FILL, TEXT, WIDTH, Label, Said, card
from toolkit.figures.devices_regulators import HOLE, Stage, stage
from toolkit.figures.surface import extent

SVG = "{http://www.w3.org/2000/svg}"
NAMES = list(DRAWINGS)
TURNS = 270.0  # degrees that a gauge's needle sweeps from nothing to full


def parsed(name):
    return ElementTree.fromstring(DRAWINGS[name].svg)


def parts_of(name, part):
    return parsed(name).findall(f".//*[@data-part='{part}']")


def part(name, part_name):
    found = parts_of(name, part_name)
    assert len(found) == 1, f"{len(found)} parts named {part_name} in {name}"
    return found[0]


def value(name, part_name, attribute):
    return float(part(name, part_name).attrib[f"data-{attribute}"])


def level(name, gauge):
    """Where the needle of a gauge stands, 0 to 1."""
    needle = part(name, f"{gauge}-needle")
    x1, y1, x2, y2 = (float(needle.attrib[key]) for key in ("x1", "y1", "x2", "y2"))
    return (math.degrees(math.atan2(y2 - y1, x2 - x1)) - 135.0) % 360.0 / TURNS


def fill(element):
    """The fill of a tube, which is that of the last line drawn along it."""
    return element.findall(f"{SVG}polyline")[-1].attrib["stroke"]


def depth(name, paint):
    """Colour of the gas that a fill stands for; air is painted plainly."""
    if paint.startswith("#"):
        return paint
    pattern = parsed(name).find(f".//{SVG}pattern[@id='{paint[5:-1]}']")
    return pattern.find(f"{SVG}rect").attrib["fill"]


def texts(root):
    """Words with their boxes: (words, left, top, right, bottom)."""
    for text in root.iter(f"{SVG}text"):
        size, x, y = (float(text.attrib[key]) for key in ("font-size", "x", "y"))
        # 96 px an inch and 72 pt an inch; `extent` adds 4 px on each side.
        wide = extent(text.text or "", size * 0.75, "font-weight" in text.attrib)[0] - 8
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[text.attrib["text-anchor"]]
        yield text.text, left, y - 0.76 * size, left + wide, y + 0.22 * size


def bold(name):
    return [text.text for text in parsed(name).iter(f"{SVG}text") if "font-weight" in text.attrib]


def leaders(root):
    """The lines of the labels, each a list of points."""
    for group in root.findall(".//*[@data-part='leader']"):
        line = group.findall(f"{SVG}polyline")[-1].attrib["points"]
        yield [tuple(map(float, pair.split(","))) for pair in line.split()]


def sides(points):
    return list(pairwise(points))


def cross(one, other):
    """Do two stretches of line cross?"""

    def turn(a, b, c):
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    (a, b), (c, d) = one, other
    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def enters(stretch, box):
    """Does a stretch of line touch a box?"""
    left, top, right, bottom = box
    if any(left <= x <= right and top <= y <= bottom for x, y in stretch):
        return True
    corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
    return any(cross(stretch, side) for side in sides([*corners, corners[0]]))


def faults(svg):
    """What is wrong with the words and lines of a drawing."""
    root = ElementTree.fromstring(svg)
    height = float(root.attrib["viewBox"].split()[3])
    boxes, lines = list(texts(root)), list(leaders(root))
    for name, left, top, right, bottom in boxes:
        if left < 0 or top < 0 or right > WIDTH or bottom > height:
            yield f"{name} leaves the card"
    for a, b in combinations(boxes, 2):
        if a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]:
            yield f"{a[0]} covers {b[0]}"
    for line in lines:
        if not all(0 <= x <= WIDTH and 0 <= y <= height for x, y in line):
            yield f"a line at {line[-1]} leaves the card"
        for side in sides(line):
            yield from (f"a line to {line[-1]} runs through {box[0]}" for box in boxes if enters(side, box[1:]))
    for one, other in combinations(lines, 2):
        if any(cross(a, b) for a in sides(one) for b in sides(other)):
            yield f"lines to {one[-1]} and {other[-1]} cross"


# The card


@pytest.mark.parametrize("name", NAMES)
def test_words_and_lines_collide_with_nothing(name):
    assert list(faults(DRAWINGS[name].svg)) == []


@pytest.mark.parametrize(
    ("labels", "fault"),
    [
        ([Label("disk", 600, 100), Label("nozzle and stack", 600, 160)], "leaves the card"),
        ([Label("disk", 60, 100), Label("nozzle", 66, 108)], "covers"),
        ([Label("disk", 60, 100, ((300, 95),)), Label("nozzle", 160, 100)], "runs through"),
        ([Label("disk", 60, 100, ((300, 200),)), Label("nozzle", 60, 200, ((300, 100),))], "cross"),
        ([Label("disk", 60, 100, ((700, 100),))], "leaves the card"),
        # the line of a label must not run through its own state
        ([Label("disk", 60, 100, ((100, 150),), "held widely open")], "runs through"),
    ],
)
def test_collisions_would_be_found(labels, fault):
    svg = card("x", Said("Title", "A sentence."), 300, {}, (), labels)
    assert any(fault in found for found in faults(svg))


@pytest.mark.parametrize("name", NAMES)
def test_it_is_an_image_with_a_title_and_one_sentence_that_is_also_written_below(name):
    root, drawn = parsed(name), DRAWINGS[name]
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-label"] == drawn.alt == root.findtext(f"{SVG}desc")
    assert root.findtext(f"{SVG}title") == drawn.title
    assert re.fullmatch(r"[A-Z][^.]+\.", drawn.alt), "one sentence"
    assert drawn.alt in " ".join(text.text for text in root.iter(f"{SVG}text")), "no word of it is left out"


@pytest.mark.parametrize("name", NAMES)
def test_it_has_a_card_of_its_own_and_letters_that_can_be_read(name):
    root = parsed(name)
    width, height = root.attrib["viewBox"].split()[2:]
    ground = root.find(f"{SVG}rect")
    assert (ground.attrib["width"], ground.attrib["height"], ground.attrib["fill"]) == (width, height, "#FFFFFF")
    sizes = [float(text.attrib["font-size"]) for text in root.iter(f"{SVG}text")]
    assert min(sizes) * 720 / float(width) >= 10
    # 8 px as the least is common practice, no source.
    assert min(sizes) * 360 / float(width) >= 8


def test_ids_are_unique_over_all_drawings_and_nothing_points_outside():
    seen = []
    for name, drawn in DRAWINGS.items():
        own = re.findall(r' id="([^"]+)"', drawn.svg)
        assert set(re.findall(r"url\(([^)]*)\)", drawn.svg)) <= {f"#{one}" for one in own}, name
        assert "href" not in drawn.svg
        assert drawn.svg.count("http") == 1, "only the name space"
        seen += own
    assert len(seen) == len(set(seen))


@pytest.mark.parametrize("name", NAMES)
def test_no_number_is_missing(name):
    assert not re.search(r"(?<![a-z])(nan|inf|None)(?![a-z])", DRAWINGS[name].svg)


@pytest.mark.parametrize("device", DEVICES)
def test_states_differ_in_words_and_in_shape_not_by_colour_alone(device):
    svg, states = DEVICES[device]
    drawn = [svg(state) for state in states]
    without = [re.sub(r'#[0-9A-F]{6}|device-[\w-]+|(aria-label|font-weight)="[^"]*"', "", one) for one in drawn]
    shapes = [re.sub(r"<(text|title|desc)\b.*?</\1>", "", one) for one in without]
    said = [re.findall(r"<text[^>]*>([^<]*)</text>", one) for one in drawn]
    for i, j in combinations(range(len(states)), 2):
        assert shapes[i] != shapes[j]
        assert said[i] != said[j]
    assert len({words.alt for words in states.values()}) == len(states)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("monitor", {"wide open", "near inlet", "holds"}),
        ("monitor_at_work", {"takes over", "lower"}),
        ("second_seat", {"throttles", "clear", "at set point"}),
        ("second_seat_at_work", {"held off", "throttles", "squeezed", "higher"}),
        ("relief_valve", {"on the nozzle", "below the setting"}),
        ("relief_valve_open", {"lifted", "above the setting"}),
        ("slam_shut", {"held open", "in range"}),
        ("slam_shut_tripped_high", {"shut", "swung away", "too high"}),
        ("slam_shut_tripped_low", {"shut", "swung away", "too low"}),
        ("pressure_switch", {"open", "closed", "below the setting"}),
        ("pressure_switch_tripped", {"holds the blade", "above the setting"}),
        ("pressure_switch_waiting", {"holds the blade", "below the setting"}),
        ("vent", {"sinks", "air goes in", "down"}),
        ("vent_torn", {"torn", "gas comes out", "lifted"}),
        ("sensing_line", {"open", "holds", "held"}),
        ("sensing_line_shut_off", {"shut", "blind", "stays put", "rises unseen"}),
        ("sensing_line_torn", {"torn", "blind", "wide open", "rises"}),
        ("filter", {"clean", "shows little", "near inlet"}),
        ("filter_loaded", {"loaded", "shows much", "lower"}),
    ],
)
def test_what_stands_how_is_said_beside_it(name, words):
    assert words <= set(bold(name))


def test_names_are_those_of_the_devices_with_their_states():
    assert set(DEVICES) <= set(DRAWINGS)
    assert drawing("slam_shut_tripped_low").title == "Slam-shut: tripped on low pressure"
    assert drawing("relief_valve").svg == DEVICES["relief_valve"][0]("shut")


@pytest.mark.parametrize("ask", [lambda: drawing("valve"), *(lambda d=d: DEVICES[d][0]("ajar") for d in DEVICES)])
def test_what_is_not_drawn_is_refused_with_what_is(ask):
    with pytest.raises(ScenarioError, match="one of "):
        ask()


def test_text_is_escaped():
    hostile = "<script>\"&'"
    root = ElementTree.fromstring(card("x", Said(hostile, hostile), 100, {}, (), [Label(hostile, 9, 60)]))
    assert root.attrib["aria-label"] == hostile
    assert root.find(f".//{SVG}script") is None


# Regulators


def test_outlet_pressure_under_the_diaphragm_shuts_the_straight_stem_s_disk():
    def drawn(lift):
        s = Stage(100, 300, lift, 0.5, "#111111", "#222222", "#333333")
        found = ElementTree.fromstring(f'<svg xmlns="http://www.w3.org/2000/svg">{stage(s, "worker")}</svg>')
        read = {e.get("data-part"): e for e in found.iter()}
        return (
            float(read["disk"].get("data-gap")),
            float(read["diaphragm"].get("data-y")),
            float(read["main-spring"].get("data-length")),
        )

    (gap, height, length), (wide, low, long) = drawn(0.0), drawn(1.0)
    assert gap == 0
    assert wide > 0
    assert low - height == pytest.approx(wide), "disk and diaphragm are on one stem, and both go down to open"
    assert long > length


def test_the_monitor_throttles_once_grit_holds_the_worker_open():
    rest, work = "monitor", "monitor_at_work"
    assert value(rest, "monitor", "lift") == 1.0 > value(work, "monitor", "lift") > 0
    assert value(work, "worker", "lift") > value(rest, "worker", "lift")
    assert (len(parts_of(rest, "grit")), len(parts_of(work, "grit"))) == (0, 1)
    assert level(work, "interstage-gauge") < level(rest, "interstage-gauge")
    assert level(work, "outlet-gauge") > level(rest, "outlet-gauge")
    assert level(work, "interstage-gauge") > level(work, "outlet-gauge")


@pytest.mark.parametrize("name", ["monitor", "monitor_at_work"])
def test_worker_and_monitor_sense_the_outlet_at_one_point_by_lines_of_their_own(name):
    lines = parts_of(name, "sensing-line")
    outlet = part(name, "outlet-pipe")
    assert len(lines) == 2
    assert {fill(line) for line in lines} == {fill(outlet)}
    ends = [line.find(f"{SVG}polyline").attrib["points"].split()[-1].split(",") for line in lines]
    assert ends[0][1] == ends[1][1]
    assert abs(float(ends[0][0]) - float(ends[1][0])) < 2 * HOLE


def test_the_monitor_s_spring_is_turned_in_further():
    root = parsed("monitor")
    plates = {}
    for name in ("worker", "monitor"):
        found = root.find(f".//*[@data-part='{name}']")
        spring, skin = (found.find(f".//*[@data-part='{piece}']") for piece in ("main-spring", "diaphragm"))
        plates[name] = float(skin.get("data-y")) - float(spring.get("data-length"))  # height of the screw
    assert plates["monitor"] > plates["worker"]


def test_the_second_disk_takes_over_where_the_first_is_held_off():
    rest, work = "second_seat", "second_seat_at_work"
    assert value(rest, "first-disk", "gap") > value(work, "first-disk", "gap") > 0, "it lies on the grit"
    assert value(rest, "second-disk", "gap") > devices_second_seat.SECOND_TRAVEL, "clear: further than its travel"
    assert 0 < value(work, "second-disk", "gap") < value(work, "first-disk", "gap"), "gas keeps flowing, throttled"
    assert value(work, "diaphragm", "y") < value(rest, "diaphragm", "y"), "higher pressure lifts the diaphragm on"
    assert value(work, "overtravel-spring", "length") < value(rest, "overtravel-spring", "length")
    assert level(work, "outlet-gauge") > level(rest, "outlet-gauge")
    moved = value(rest, "diaphragm", "y") - value(work, "diaphragm", "y")
    assert value(rest, "second-disk", "gap") - value(work, "second-disk", "gap") == pytest.approx(moved)


def test_holes_and_travels_of_the_second_seat_are_in_the_simulated_proportions():
    here, seat, regulator = devices_second_seat, SecondSeat(), Regulator()
    assert pytest.approx(seat.travel / regulator.travel) == here.SECOND_TRAVEL / here.TRAVEL
    assert pytest.approx(seat.orifice_diameter / regulator.orifice_diameter) == here.SECOND_HOLE / here.HOLE


# Relief valve


def test_the_relief_valve_lifts_against_its_spring_and_gas_goes_up_the_stack():
    shut, lifted = "relief_valve", "relief_valve_open"
    assert value(shut, "relief-disk", "gap") == 0 < value(lifted, "relief-disk", "gap")
    squeezed = value(shut, "spring", "length") - value(lifted, "spring", "length")
    assert squeezed == pytest.approx(value(lifted, "relief-disk", "gap"))
    assert parts_of(shut, "relief-flow") == []
    assert len(parts_of(lifted, "relief-flow")) >= 3
    assert fill(part(shut, "stack")) == AIR_FILL
    assert depth(lifted, fill(part(lifted, "stack"))) != depth(shut, fill(part(shut, "stack")))
    assert depth(lifted, fill(part(lifted, "riser"))) != depth(shut, fill(part(shut, "riser")))


@pytest.mark.parametrize("name", ["relief_valve", "relief_valve_open"])
def test_the_isolating_valve_under_a_relief_valve_is_locked_open(name):
    assert value(name, "isolating-valve", "open") == 1
    assert len(parts_of(name, "lock")) == 1
    assert "locked open" in bold(name)


def test_nozzle_and_stack_are_in_the_simulated_proportions():
    valve, xs = ReliefValve(), re.findall(r"[MHL]([\d.]+)", part("relief_valve", "nozzle").attrib["d"])
    middle = sum({float(x) for x in xs}) / len(set(xs))
    hole = 2 * min(abs(float(x) - middle) for x in xs)
    stack = float(part("relief_valve", "stack").findall(f"{SVG}polyline")[-1].attrib["stroke-width"])
    assert stack / hole == pytest.approx(valve.stack_bore / valve.orifice_diameter, rel=1e-3)


# Slam-shut

TRIPPED = ["slam_shut_tripped_high", "slam_shut_tripped_low"]


def ring(name):
    """Left, top, right, bottom of the ring on the trip rod."""
    here = devices_slam_shut
    wide, high = here.RING
    middle = here.ROLLER[1] + value(name, "trip", "shift")
    return here.ROD_X - wide, middle - high, here.ROD_X + wide, middle + high


def test_armed_the_ring_blocks_the_latch_and_the_latch_carries_the_collar():
    here = devices_slam_shut
    left, top, _, bottom = ring("slam_shut")
    x, y, radius = here.ROLLER
    assert value("slam_shut", "latch", "turn") == 0
    assert x + radius == pytest.approx(left), "the roller stands against the ring"
    assert top < y < bottom
    assert here.X + here.COLLAR[1] > here.TIP, "the pawl reaches under the collar"
    assert value("slam_shut", "collar", "y") == here.COLLAR[0]
    assert value("slam_shut", "shut-disk", "gap") == here.FALL
    assert len(parts_of("slam_shut", "flow")) == 3


@pytest.mark.parametrize("name", TRIPPED)
def test_tripped_the_ring_has_left_the_roller_and_the_pawl_is_clear_of_the_collar(name):
    here = devices_slam_shut
    assert value(name, "latch", "turn") == -here.SWING
    left, top, _, bottom = ring(name)
    x, y = here.swung(*here.ROLLER[:2], armed=False)
    radius = here.ROLLER[2]
    assert x + radius > left, "it has swung to where the ring was"
    assert y + radius <= top or y - radius >= bottom
    assert x + radius <= here.ROD_X - 4, "and not into the rod"
    foot = here.swung(here.PIVOT[0] + 6, here.ROLLER[1] - 4, armed=False)
    assert foot[0] < left or foot[1] > bottom or foot[1] < top, "the hook itself stays clear of the ring"
    tip, _ = here.swung(here.TIP, here.COLLAR[0], armed=False)
    assert tip > here.X + here.COLLAR[1]
    assert value(name, "shut-disk", "gap") == 0
    assert value(name, "collar", "y") - here.COLLAR[0] == here.FALL, "the stem falls with the disk"
    assert parts_of(name, "flow") == []
    assert value(name, "by-pass-valve", "open") == 0
    assert "shut" in bold(name)


@pytest.mark.parametrize("name", TRIPPED)
def test_the_hook_turns_as_the_picture_says(name):
    turn, x, y = (float(n) for n in re.findall(r"[-\d.]+", part(name, "latch").attrib["transform"]))
    here = devices_slam_shut
    px, py, _ = here.ROLLER
    angle = math.radians(turn)  # SVG turns clockwise, as y points down
    dx, dy = px - x, py - y
    turned = (x + dx * math.cos(angle) - dy * math.sin(angle), y + dx * math.sin(angle) + dy * math.cos(angle))
    assert turned == pytest.approx(here.swung(px, py, armed=False))


def test_high_pressure_squeezes_both_trip_springs_and_low_pressure_frees_only_the_low_one():
    armed, high, low = (
        {piece: value(name, f"{piece}-spring", "length") for piece in ("high", "low")}
        for name in ("slam_shut", *TRIPPED)
    )
    assert high["high"] < armed["high"]
    assert high["low"] < armed["low"]
    assert low["high"] == armed["high"], "its washer lies on the ledge"
    assert low["low"] > armed["low"]
    assert value(TRIPPED[0], "diaphragm", "y") < value("slam_shut", "diaphragm", "y")
    assert value(TRIPPED[1], "diaphragm", "y") > value("slam_shut", "diaphragm", "y")


def test_the_closing_spring_throws_the_disk():
    assert value(TRIPPED[0], "closing-spring", "length") > value("slam_shut", "closing-spring", "length")


@pytest.mark.parametrize("name", ["slam_shut", *TRIPPED])
def test_the_trip_feels_what_is_behind_the_regulators(name):
    assert fill(part(name, "sensing-line")) == fill(part(name, "outlet-pipe"))


# Switch


@pytest.mark.parametrize(
    ("name", "made", "lifted"),
    [
        ("pressure_switch", False, False),
        ("pressure_switch_tripped", True, True),
        ("pressure_switch_waiting", True, False),
    ],
)
def test_the_switch_trips_on_rising_pressure_and_waits_for_its_reset(name, made, lifted):
    here = devices_pressure_switch
    assert value(name, "blade", "tip") == (here.UP if made else here.DOWN)
    assert value(name, "alarm", "closed") == made
    assert value(name, "burner", "closed") == (not made)
    assert (value(name, "diaphragm", "y") < here.REST) == lifted
    assert (value(name, "spring", "length") < value("pressure_switch", "spring", "length")) == lifted
    assert "Travel is exaggerated." in " ".join(text.text for text in parsed(name).iter(f"{SVG}text"))


def test_the_blade_touches_the_contact_that_it_closes():
    here = devices_pressure_switch
    for name, contact in (("pressure_switch", "burner"), ("pressure_switch_tripped", "alarm")):
        circle = part(name, contact)
        tip = value(name, "blade", "tip")
        x, y, r = (float(circle.attrib[key]) for key in ("cx", "cy", "r"))
        blade = here.HINGE[1] + (tip - here.HINGE[1]) * (x - here.HINGE[0]) / (here.TIP - here.HINGE[0])
        assert abs(y - blade) == pytest.approx(r + here.THICK / 2, abs=0.01)


# Vent, sensing line, filter


def test_air_goes_into_a_breathing_case_and_gas_out_of_a_torn_one():
    assert parts_of("vent", "vent-cloud") == parts_of("vent", "tear-flow") == []
    assert len(parts_of("vent_torn", "vent-cloud")) == len(parts_of("vent_torn", "tear-flow")) == 1
    assert parts_of("vent_torn", "air-flow") == []
    assert (value("vent", "diaphragm", "torn"), value("vent_torn", "diaphragm", "torn")) == (0, 1)
    assert value("vent_torn", "limiter", "ball") < value("vent", "limiter", "ball"), "gas lifts the ball on its seat"
    for name in ("vent", "vent_torn"):
        assert "not with an internal relief" in bold(name)


def test_the_diaphragm_feels_what_the_sensing_line_brings():
    def sides_of(name):
        return depth(name, fill(part(name, "sensing-line"))), depth(name, fill(part(name, "outlet-pipe")))

    whole, shut, torn = (sides_of(f"sensing_line{state}") for state in ("", "_shut_off", "_torn"))
    assert whole[0] == whole[1]
    assert shut[0] == whole[0], "the trapped gas is as it was"
    assert shut[1] != whole[1]
    assert torn[0] not in (whole[0], torn[1])
    assert level("sensing_line_shut_off", "outlet-gauge") > level("sensing_line", "outlet-gauge")
    assert level("sensing_line_torn", "outlet-gauge") > level("sensing_line", "outlet-gauge")
    lifts = [value(f"sensing_line{state}", "regulator", "lift") for state in ("", "_shut_off", "_torn")]
    assert lifts[0] == lifts[1] < lifts[2] == 1.0, "blind it stays where it was; without pressure it opens"
    assert [value(f"sensing_line{state}", "line-valve", "open") for state in ("", "_shut_off", "_torn")] == [1, 0, 1]
    assert len(parts_of("sensing_line_torn", "line-break")) == 1


def test_a_loaded_filter_shows_on_its_gauge_and_lowers_what_is_behind():
    assert level("filter_loaded", "differential-gauge") > level("filter", "differential-gauge")
    assert (value("filter", "cartridge", "loaded"), value("filter_loaded", "cartridge", "loaded")) == (0, 1)
    behind = [depth(name, fill(part(name, "outlet-pipe"))) for name in ("filter", "filter_loaded")]
    assert behind[0] != behind[1]
    assert "Travel" not in DRAWINGS["filter"].svg, "nothing in it moves"


def test_letters_have_one_size():
    for name in NAMES:
        sizes = {float(text.attrib["font-size"]) for text in parsed(name).iter(f"{SVG}text")}
        assert len(sizes) == 2, "the title and all other words"
        assert min(sizes) == TEXT
