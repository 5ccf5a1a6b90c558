"""The drawing of a whole station: parts move with their state, words say it, nothing covers anything else."""

import ast
import re
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from toolkit.errors import ScenarioError
from toolkit.figures import station, symbols_words
from toolkit.figures.station import HEIGHT, WIDTH, StationView, station_sentence, station_svg
from toolkit.figures.surface import extent
from toolkit.figures.symbols_views import (
    ApplianceView,
    FilterView,
    LeakView,
    MonitorView,
    ReliefValveView,
    SecondSeatView,
    SensingLineView,
    SlamShutView,
    SupplyView,
    SwitchView,
    ValveView,
    VolumeView,
    WorkerView,
)

SVG = "{http://www.w3.org/2000/svg}"
HEALTHY = StationView(
    "District station",
    (
        SupplyView("town main", "100 psig"),
        ValveView("inlet valve"),
        FilterView("filter"),
        SlamShutView("slam-shut"),
        MonitorView("monitor"),
        VolumeView("interstage", "98 psig", 0.75),
        WorkerView("worker", 0.2),
        VolumeView("outlet", "10.0 psig", 0.4),
    ),
    (
        ReliefValveView("relief valve", "outlet"),
        SwitchView("high switch", "outlet"),
        ApplianceView("bakery oven", "outlet", 0.6),
        LeakView("flange", "outlet", 0.0),
    ),
    (
        SensingLineView("worker line", "outlet", ("worker",)),
        SensingLineView("monitor line", "outlet", ("monitor",)),
        SensingLineView("trip line", "outlet", ("slam-shut",)),
    ),
    flow=0.5,
)
SECOND = replace(HEALTHY, main=(*HEALTHY.main[:6], SecondSeatView("worker", 0.2), HEALTHY.main[7]))


def changed(name, base=HEALTHY, **changes):
    """`base` with the part of that name changed."""
    done = {
        row: tuple(replace(part, **changes) if part.name == name else part for part in getattr(base, row))
        for row in ("main", "branches", "lines")
    }
    return replace(base, **done)


def renamed(name, new, base):
    return replace(base, main=tuple(replace(part, name=new) if part.name == name else part for part in base.main))


def parsed(view, **options):
    return ElementTree.fromstring(station_svg(view, **options))


def inside(view, device):
    """The symbol of a device, or a sensing line."""
    root = parsed(view)
    found = [g for g in root.iter(f"{SVG}g") if device in (g.get("data-device"), g.get("data-line"))]
    assert len(found) == 1, f"{len(found)} symbols of {device}"
    return found[0]


def part(view, device, name):
    found = [element for element in inside(view, device).iter() if element.get("data-part") == name]
    assert len(found) == 1, f"{len(found)} parts named {name} in {device}"
    return found[0]


def value(view, device, name, attribute):
    return float(part(view, device, name).attrib[f"data-{attribute}"])


def present(view, device, name):
    return any(element.get("data-part") == name for element in inside(view, device).iter())


def top_of(view, device, name):
    """Height of the highest block of a part."""
    return min(float(rect.attrib["y"]) for rect in part(view, device, name).iter(f"{SVG}rect"))


def written(view, **options):
    return [(text.text or "").replace("\u00a0", " ") for text in parsed(view, **options).iter(f"{SVG}text")]


def test_it_is_an_image_with_a_name_a_title_and_a_fixed_box():
    root = parsed(HEALTHY)
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    assert root.attrib["viewBox"] == f"0 0 {WIDTH:g} {HEIGHT:g}"
    assert root.attrib["aria-label"] == station_sentence(HEALTHY)
    assert root.findtext(f"{SVG}title") == "District station"


@pytest.mark.parametrize("base", [HEALTHY, SECOND])
def test_the_disk_leaves_its_seat_downwards_as_the_diaphragm_sinks(base):
    views = [changed("worker", base, lift=lift) for lift in (0.0, 0.05, 0.3, 1.0)]
    gaps = [value(view, "worker", "disk", "gap") for view in views]
    assert gaps[0] == 0
    for heights in (
        gaps,
        [top_of(view, "worker", "disk") for view in views],
        [value(view, "worker", "diaphragm", "y") for view in views],
        [value(view, "worker", "main-spring", "length") for view in views],
    ):
        assert all(a < b for a, b in pairwise(heights)), "downwards is a larger y; the spring follows"
    travels = {
        round(value(view, "worker", "diaphragm", "y") - value(view, "worker", "disk", "gap"), 6) for view in views
    }
    assert len(travels) == 1, "disk and diaphragm are on one stem"


def test_the_relief_opens_by_the_diaphragm_going_up_off_the_pad():
    shut, open_ = changed("worker", lift=0.1), changed("worker", lift=0.1, relief_lift=0.8)
    assert value(shut, "worker", "relief-pad", "gap") == 0
    assert value(open_, "worker", "relief-pad", "gap") > 3
    assert value(open_, "worker", "diaphragm", "y") < value(shut, "worker", "diaphragm", "y")
    assert top_of(open_, "worker", "disk") == top_of(shut, "worker", "disk"), "the stem stays where it is"
    assert not present(shut, "worker", "relief-flow")
    assert present(open_, "worker", "relief-flow")


def test_the_second_disk_closes_on_its_own_seat():
    gaps = [value(changed("worker", SECOND, second_seat=s), "worker", "second-disk", "gap") for s in (0.0, 0.4, 1.0)]
    assert gaps[0] == 0
    assert gaps[0] < gaps[1] < gaps[2]
    assert not present(HEALTHY, "worker", "second-disk")


def test_the_relief_valve_lifts_off_its_seat_and_squeezes_its_spring():
    lifts = [changed("relief valve", lift=lift) for lift in (0.0, 0.3, 1.0)]
    assert value(lifts[0], "relief valve", "relief-disk", "gap") == 0
    assert all(
        top_of(a, "relief valve", "relief-disk") > top_of(b, "relief valve", "relief-disk") for a, b in pairwise(lifts)
    )
    assert all(
        value(a, "relief valve", "relief-spring", "length") > value(b, "relief valve", "relief-spring", "length")
        for a, b in pairwise(lifts)
    )


@pytest.mark.parametrize(
    ("changes", "opening", "flag", "waiting"),
    [
        ({}, 1.0, None, False),
        ({"open_share": 0.4}, 0.4, None, False),
        ({"state": "tripped high"}, 0.0, "high", False),
        ({"state": "tripped low"}, 0.0, "low", False),
        ({"state": "tripped high", "open_share": 0.6}, 0.6, "high", False),
        ({"state": "waiting for reset"}, 0.0, None, True),
    ],
)
def test_the_slam_shut_falls_on_its_seat_and_its_latch_says_why(changes, opening, flag, waiting):
    view = changed("slam-shut", **changes)
    healthy, fall = value(HEALTHY, "slam-shut", "shut-disk", "gap"), top_of(HEALTHY, "slam-shut", "shut-disk")
    gap = value(view, "slam-shut", "shut-disk", "gap")
    assert gap == pytest.approx(opening * healthy)
    assert top_of(view, "slam-shut", "shut-disk") - fall == pytest.approx(healthy - gap), "it closes downwards"
    knob = value(view, "slam-shut", "slam-shut", "knob") - value(HEALTHY, "slam-shut", "slam-shut", "knob")
    assert knob == pytest.approx(healthy - gap), "the knob outside tells where the disk is"
    assert value(view, "slam-shut", "catch", "out") == (view.main[3].state != "open")
    assert present(view, "slam-shut", "flag") == (flag is not None)
    if flag:
        assert part(view, "slam-shut", "flag").attrib["data-side"] == flag
    assert present(view, "slam-shut", "waiting") == waiting


def test_high_and_low_flags_differ_in_shape():
    def tip(state):
        polygon = part(changed("slam-shut", state=state), "slam-shut", "flag").find(f"{SVG}polygon")
        (_, first), (_, second), _ = (map(float, p.split(",")) for p in polygon.attrib["points"].split())
        return first - second

    assert tip("tripped high") < 0 < tip("tripped low")


def test_contact_cocks_and_valve_turn():
    assert value(changed("high switch", made=True), "high switch", "switch-lever", "tip") < value(
        HEALTHY, "high switch", "switch-lever", "tip"
    )
    turns = [value(changed("inlet valve", open_share=s), "inlet valve", "isolating-valve", "turn") for s in (1, 0.5, 0)]
    assert turns == [0, 45, 90]
    assert value(HEALTHY, "relief valve", "relief-cock", "open") == 1
    assert value(changed("relief valve", isolated=True), "relief valve", "relief-cock", "open") == 0
    assert value(changed("bakery oven", locked_out=True), "bakery oven", "appliance-cock", "open") == 0


def test_needle_flame_and_dirt_follow():
    def tip(level):
        needle = part(changed("outlet", level=level), "outlet", "gauge-needle")
        return float(needle.attrib["x2"])

    def flame(size):
        return value(changed("bakery oven", flame=size), "bakery oven", "flame", "height")

    assert tip(0.0) < tip(0.5) < tip(1.0)
    assert flame(0.2) < flame(1.0)
    assert not present(changed("bakery oven", flame=0.0), "bakery oven", "flame")
    assert not present(changed("bakery oven", flame=1.0, locked_out=True), "bakery oven", "flame")
    dirt = [len(list(inside(changed("filter", blocked=b), "filter").iter(f"{SVG}rect"))) for b in (0.0, 0.5)]
    assert dirt[0] + 1 == dirt[1]


@pytest.mark.parametrize(
    ("device", "changes", "shape"),
    [
        ("worker", {"vent_flow": 0.5}, "vent-cloud"),
        ("monitor", {"vent_flow": 0.5}, "vent-cloud"),
        ("relief valve", {"stack_flow": 0.5}, "stack-cloud"),
        ("relief valve", {"weeping": True}, "wisp"),
        ("high switch", {"made": True}, "signal"),
        ("bakery oven", {"locked_out": True}, "lock"),
        ("flange", {"flow": 0.3}, "leak-cloud"),
        ("trip line", {"state": "broken"}, "line-broken"),
        ("trip line", {"state": "blocked"}, "line-blocked"),
        *((name, {"fault": "iced"}, "warning") for name in ("inlet valve", "filter", "slam-shut", "monitor")),
        *((name, {"fault": "iced"}, "warning") for name in ("worker", "relief valve", "high switch", "bakery oven")),
    ],
)
def test_a_state_is_seen(device, changes, shape):
    assert not present(HEALTHY, device, shape)
    assert present(changed(device, **changes), device, shape)


@pytest.mark.parametrize(
    ("device", "changes", "words"),
    [
        ("inlet valve", {"open_share": 0.0}, "Isolating valve inlet valve: shut."),
        ("filter", {"blocked": 0.3}, "Filter filter: 30 % blocked."),
        ("filter", {"blocked": 1.0}, "Filter filter: blocked."),
        ("slam-shut", {"state": "tripped high"}, "Slam-shut slam-shut: tripped high."),
        ("slam-shut", {"state": "tripped low"}, "Slam-shut slam-shut: tripped low."),
        ("slam-shut", {"state": "waiting for reset"}, "Slam-shut slam-shut: waiting for reset."),
        ("slam-shut", {"state": "tripped high", "open_share": 1}, "Slam-shut slam-shut: tripped high, open."),
        ("monitor", {"lift": 0.0}, "Monitor regulator monitor: shut."),
        ("worker", {"lift": 0.001}, "Worker regulator worker: 1 % open."),
        ("worker", {"lift": 1.0}, "Worker regulator worker: wide open."),
        ("worker", {"relief_lift": 0.4}, "Worker regulator worker: 20 % open, relief open 40 %."),
        ("worker", {"vent_flow": 0.4}, "Worker regulator worker: 20 % open, gas at vent."),
        ("worker", {"fault": "seat nicked"}, "Worker regulator worker: 20 % open, seat nicked."),
        ("relief valve", {"lift": 0.4}, "At outlet: Relief valve relief valve: open 40 %."),
        ("relief valve", {"isolated": True}, "Relief valve relief valve: shut, isolated."),
        ("relief valve", {"weeping": True}, "Relief valve relief valve: shut, weeps."),
        ("high switch", {"made": True, "drives": "lockout"}, "Pressure switch high switch: made: lockout."),
        ("bakery oven", {"locked_out": True}, "Appliance bakery oven: locked out."),
        ("bakery oven", {"flame": 0.0}, "Appliance bakery oven: off."),
        ("flange", {"flow": 0.2}, "Leak to the air flange: leaks 20 %."),
        ("outlet", {"reading": "14.2 psig"}, "Volume outlet: 14.2 psig."),
        ("town main", {"reading": "14.2 psig"}, "Supply town main: 14.2 psig."),
        ("trip line", {"state": "broken"}, "Sensing line trip line, from outlet to slam-shut: broken."),
        ("monitor line", {"state": "blocked"}, "Sensing line monitor line, from outlet to monitor: blocked."),
    ],
)
def test_a_state_is_said_in_the_sentence_and_written_in_the_picture(device, changes, words):
    view = changed(device, **changes)
    assert words in station_sentence(view)
    assert words not in station_sentence(HEALTHY)
    said = re.split(r", (?!from)", words.rstrip(".").rsplit(": ", 1)[1])
    on_picture = " ".join(written(view))
    for word in said:
        assert word in on_picture


def test_a_second_seat_is_said():
    view = changed("worker", SECOND, second_seat=0.0)
    assert "Regulator with second seat worker: 20 % open, second seat shut." in station_sentence(view)
    assert "second seat shut" in " ".join(written(view))


def test_a_line_reaches_from_its_tap_to_each_of_its_devices_and_tints_their_domes():
    """The gas under a diaphragm is what its line brings: that of the tap, or the air's where the line is broken."""
    one = replace(HEALTHY, lines=(SensingLineView("shared", "outlet", ("worker", "monitor"), "broken"),))
    whole = changed("shared", one, state="whole")
    drops = [len(re.findall("M", inside(view, "shared").find(f"{SVG}path").attrib["d"])) for view in (HEALTHY1, whole)]
    assert drops[1] == drops[0] + 1, "one more way down"

    def dome(view):
        return [path.get("fill") for path in inside(view, "monitor").iter(f"{SVG}path")]

    assert dome(one) != dome(whole)
    assert dome(changed("shared", one, level=0.4)) == dome(whole), "a level of its own is shown as it is"


HEALTHY1 = replace(HEALTHY, lines=(SensingLineView("shared", "outlet", ("worker",)),))


def test_gas_is_tinted_by_the_volume_it_stands_in():
    """Before the seat of a shut regulator stands the gas of the volume before it, behind it that of the next."""
    root = parsed(HEALTHY)
    fills = [
        g.findall(f"{SVG}polyline")[-1].get("stroke") for g in root.iter(f"{SVG}g") if g.get("data-part") == "pipe"
    ]
    patterns = {p.get("id"): p.find(f"{SVG}rect").get("fill") for p in root.iter(f"{SVG}pattern")}
    seen = [patterns[fill[5:-1]] for fill in fills]
    supply, between, outlet = (station.parts.tint(level) for level in (0.9, 0.75, 0.4))
    assert seen == [supply] * 4 + [between] * 2 + [outlet], (
        "one stretch of pipe an element, the last ends in the outlet"
    )


def test_arrows_show_that_gas_flows_and_none_where_it_does_not():
    def arrows(view):
        return [g for g in parsed(view).iter(f"{SVG}g") if g.get("data-part") == "main-flow"]

    assert arrows(HEALTHY)
    assert not arrows(replace(HEALTHY, flow=0.0))


LONG = "Neighbourhood pressure station device {:02d}"
assert len(LONG.format(1)) == 40


def crowded(stages, before, behind, reliefs, switches, appliances, long):
    """A station with everything acting at once."""
    count = iter(range(100))

    def name(short):
        i = next(count)
        return LONG.format(i)[-40:] if long else f"{short} {i}"

    main = [
        SupplyView(name("main"), "1 378.9 kPa gauge"),
        ValveView(name("valve"), 0.4, "passes"),
        FilterView(name("filter"), 0.4),
    ]
    if before:
        main.append(SlamShutView(name("slam-shut"), "tripped low", 0.5, "latch worn"))
    for i in range(stages):
        fields = {"relief_lift": 0.4, "vent_flow": 1.0, "fault": "vent blocked by ice"}
        kind = (WorkerView, SecondSeatView, MonitorView)[(stages - 1 - i) % 3]
        main.append(kind(name("regulator"), 0.3, **fields))
        if i < stages - 1:
            main.append(VolumeView(name("interstage"), "689.5 kPa gauge", 0.7))
    if behind:
        main.append(SlamShutView(name("slam-shut"), "waiting for reset", fault="set too near"))
    outlet = VolumeView(name("outlet"), "1 204.0 in. w.c.", 0.9)
    main.append(outlet)
    branches = [
        ReliefValveView(name("relief valve"), outlet.name, 0.5, 1.0, True, False, "set high") for _ in range(reliefs)
    ]
    branches += [SwitchView(name("switch"), outlet.name, True, "lockout of all burners") for _ in range(switches)]
    branches += [ApplianceView(name("oven"), outlet.name, 0.7, bool(i), "pilot out") for i in range(appliances)]
    sensing = [p.name for p in main if isinstance(p, WorkerView | MonitorView | SecondSeatView | SlamShutView)]
    lines = [SensingLineView(name("line"), outlet.name, (device,), "broken") for device in sensing]
    return StationView("Crowded", tuple(main), tuple(branches), tuple(lines), 1.0)


STATIONS = [
    HEALTHY,
    SECOND,
    *(
        crowded(stages, before, behind, *hung, long)
        for stages, before, behind in ((1, False, True), (2, True, False), (3, True, True))
        for hung in ((0, 0, 1), (1, 2, 0), (2, 2, 3))
        for long in (False, True)
    ),
    replace(
        HEALTHY,
        branches=(
            *HEALTHY.branches,
            ReliefValveView("interstage relief", "interstage", 0.5, 0.5),
            SwitchView("interstage switch", "interstage", fault="deadband small"),
            LeakView("thread", "interstage", 1.0),
        ),
    ),
]


@pytest.mark.parametrize("view_mode", ["desk", "projector"])
@pytest.mark.parametrize("view", STATIONS)
def test_no_text_covers_another_or_leaves_the_picture(view, view_mode):
    root = parsed(view, view_mode=view_mode)
    picture = [float(number) for number in root.attrib["viewBox"].split()]
    boxes = []
    for text in root.iter(f"{SVG}text"):
        size, x, y = (float(text.attrib[name]) for name in ("font-size", "x", "y"))
        # 96 px an inch and 72 pt an inch; `extent` adds 4 px on each side.
        width = extent(text.text or "", size * 0.75, "font-weight" in text.attrib)[0] - 8
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[text.attrib["text-anchor"]]
        boxes.append((text.text, left, y - 0.76 * size, left + width, y + 0.22 * size))
    for name, left, top, right, bottom in boxes:
        assert left >= 0, name
        assert top >= 0, name
        assert right <= picture[2], name
        assert bottom <= picture[3], name
    assert clashes(boxes) == []


def clashes(boxes):
    return [
        (a[0], b[0]) for a, b in combinations(boxes, 2) if a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]
    ]


def box(group):
    """What the pieces of a symbol span, curves aside; what is turned is left out."""
    turned = {inner for g in group.iter() if "transform" in g.attrib for inner in g.iter()}
    xs, ys = [], []
    for piece in group.iter():
        if piece in turned:
            continue
        n = {key: float(piece.get(key, 0)) for key in ("x", "y", "width", "height", "cx", "cy", "r")}
        if piece.tag == f"{SVG}rect":
            xs += [n["x"], n["x"] + n["width"]]
            ys += [n["y"], n["y"] + n["height"]]
        if piece.tag == f"{SVG}circle":
            xs += [n["cx"] - n["r"], n["cx"] + n["r"]]
            ys += [n["cy"] - n["r"], n["cy"] + n["r"]]
        for point in piece.get("points", "").split():
            x, y = map(float, point.split(","))
            xs.append(x)
            ys.append(y)
    return min(xs), min(ys), max(xs), max(ys)


@pytest.mark.parametrize("view", STATIONS)
def test_no_symbol_covers_another_or_a_text(view):
    root = parsed(view)
    symbols = [(g.get("data-device"), *box(g)) for g in root.iter(f"{SVG}g") if "data-device" in g.attrib]
    assert len(symbols) == len(view.main) + len(view.branches)
    assert clashes(symbols) == []
    texts = []
    for text in root.iter(f"{SVG}text"):
        size, x, y = (float(text.attrib[name]) for name in ("font-size", "x", "y"))
        half = (extent(text.text or "", size * 0.75, "font-weight" in text.attrib)[0] - 8) / 2
        if text.attrib["text-anchor"] == "middle":
            texts.append((text.text, x - half, y - 0.72 * size, x + half, y))
    assert [pair for pair in clashes([*symbols, *texts]) if set(pair) & {name for name, *_ in symbols}] == []


def test_lines_to_the_left_never_cross():
    """The way down of one line never meets the lane of another that stands lower."""
    view = crowded(3, True, True, 0, 0, 0, False)
    plan = station._layout(view, 1.0)
    spans = {line.name: station._span(view, line, plan.slots, plan.taps[line.name]) for line in view.lines}
    for a in view.lines:
        for b in view.lines:
            if plan.lanes[a.name] < plan.lanes[b.name]:
                assert not any(spans[b.name][0] < x < spans[b.name][1] for x in spans[a.name]), (a.name, b.name)
    assert len(set(plan.lanes.values())) > 1


def test_a_long_name_is_shortened_and_stands_in_full_in_a_title():
    view = crowded(3, True, True, 2, 2, 3, True)
    root = parsed(view)
    titles = [title.text for title in root.iter(f"{SVG}title")]
    shown = written(view)
    assert any(row.endswith("…") for row in shown)
    for part in (*view.main, *view.branches):
        assert sum(title.startswith(part.name) for title in titles) == 2, "the symbol's and the words'"
        assert part.name not in shown
    for line in view.lines:
        assert any(line.name in title for title in titles)


def test_a_row_that_is_too_long_widens_the_picture_and_nothing_else():
    view = crowded(3, True, True, 2, 2, 3, True)
    _, _, width, height = parsed(view).attrib["viewBox"].split()
    assert WIDTH < float(width) < 1.25 * WIDTH, "letters stay legible"
    assert float(height) == HEIGHT


@pytest.mark.parametrize("view", [HEALTHY, crowded(3, True, True, 2, 2, 3, True)])
def test_letters_stay_legible_when_the_picture_is_1024_wide(view):
    root = parsed(view)
    width = float(root.attrib["viewBox"].split()[2])
    sizes = [float(text.attrib["font-size"]) for text in root.iter(f"{SVG}text")]
    # 8 px as the least is common practice, no source.
    assert min(sizes) * 1024 / width >= 8.0


def test_it_brings_its_own_card_so_a_dark_page_changes_nothing():
    root = parsed(HEALTHY)
    card = root.find(f"{SVG}rect")
    assert (float(card.attrib["width"]), float(card.attrib["height"])) == (WIDTH, HEIGHT)
    assert card.attrib["fill"] == "#FFFFFF"
    for text in root.iter(f"{SVG}text"):
        assert text.attrib["fill"] == "#000000"
        assert text.attrib["stroke"] == "#FFFFFF", "a halo keeps words legible over lines"
    assert "currentColor" not in station_svg(HEALTHY)


def test_hostile_text_stays_text():
    hostile = "<script>alert(\"x\")</script> & 'quoted' ]]>"
    view = changed("outlet", reading=hostile)
    view = replace(renamed("filter", hostile[:-1], view), name="bad\x00\x1b\ud800name " + hostile)
    view = changed("high switch", view, drives="\x07<b>")
    root = parsed(view)
    assert hostile in root.attrib["aria-label"]
    assert hostile[:-1] in [g.get("data-device") for g in root.iter(f"{SVG}g")]
    assert root.find(f".//{SVG}script") is None
    assert root.find(f".//{SVG}b") is None
    station_svg(view).encode("utf-8")


def test_ids_are_unique_carry_the_prefix_and_nothing_points_outside():
    svg = station_svg(HEALTHY, prefix='a"><script>')
    ids = re.findall(r' id="([^"]+)"', svg)
    assert ids
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"a-*script-[A-Za-z0-9-]+", name) for name in ids)
    assert set(re.findall(r"url\(([^)]*)\)", svg)) <= {f"#{name}" for name in ids}
    assert "href" not in svg
    assert svg.count("http") == 1, "only the name space"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"main": ()}, "main"),
        ({"branches": (SwitchView("s", "attic"),)}, "at"),
        ({"branches": (SwitchView("s", "filter"),)}, "at"),
        ({"branches": (SwitchView("worker", "outlet"),)}, "name"),
        ({"lines": (SensingLineView("l", "attic", ("worker",)),)}, "tap"),
        ({"lines": (SensingLineView("l", "outlet", ("filter",)),)}, "devices"),
        ({"lines": (SensingLineView("l", "outlet", ()),)}, "devices"),
        ({"lines": (SensingLineView("l", "outlet", ("worker", "worker")),)}, "devices"),
    ],
)
def test_a_station_that_cannot_be_drawn_is_refused(changes, field):
    with pytest.raises(ScenarioError) as told:
        replace(HEALTHY, **changes)
    assert told.value.field == field


number = st.floats(allow_nan=True, allow_infinity=True)


@given(number, number, number, st.text(max_size=60))
@example(float("nan"), float("inf"), float("-inf"), "\u200b\u202e\n\t")
@settings(derandomize=True, max_examples=60, deadline=None)
def test_any_number_and_any_text_give_a_well_formed_picture(lift, flow, level, text):
    view = replace(changed("worker", lift=lift, relief_lift=flow, vent_flow=level, fault=text), flow=flow)
    view = changed("outlet", view, level=level, reading=text)
    view = changed("relief valve", view, lift=lift, stack_flow=flow)
    view = changed("slam-shut", view, open_share=lift)
    view = changed("trip line", view, level=level)
    view = changed("inlet valve", changed("filter", view, blocked=flow), open_share=level)
    view = changed("bakery oven", changed("flange", view, flow=flow), flame=lift)
    for element in ElementTree.fromstring(station_svg(view)).iter():
        for key, attribute in element.attrib.items():
            assert key in ("aria-label", "id") or not re.search(r"\b(nan|inf)\b", attribute), key


@given(st.text(max_size=80), st.floats(1.0, 300.0), st.integers(0, 5), st.booleans())
@settings(derandomize=True, max_examples=200, deadline=None)
def test_rows_fit_or_hold_a_single_letter(text, room, most, bold):
    found = symbols_words.rows(text, room, 12.0, most, bold)
    assert len(found) <= most
    for row in found:
        assert symbols_words.width(row, 12.0, bold) <= room or len(row.rstrip("-…")) <= 1
    letters = re.sub(r"\s", "", "".join(found))
    if "…" not in letters and most:
        assert letters.replace("-", "") == re.sub(r"\s", "", text).replace("-", ""), "nothing is lost without a sign"


def test_the_width_of_a_text_is_that_of_the_charts_font():
    """Against the ink that the charts' own renderer draws: never less, and at most a letter's margins more."""
    for text, bold in (("relief open 40 %", False), ("waiting for reset", True), ("1 204.0 in. w.c.", True)):
        ink = extent(text, 90.0, bold)[0] - 8
        assert ink * 0.97 <= symbols_words.width(text, 120.0, bold) <= ink * 1.05


def test_the_drawing_knows_nothing_of_the_engine():
    folder = Path(station.__file__).parent
    for path in (folder / "station.py", *folder.glob("symbols*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("toolkit"):
                assert node.module in ("toolkit.errors", "toolkit.units") or node.module.startswith(
                    "toolkit.figures"
                ), path.name
