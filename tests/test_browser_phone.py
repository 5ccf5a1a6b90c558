"""The phone page in a real browser: it counts as the course does, reads units as it does, and can be used.

What it is held against is the course's own Python, which has its outside checks beside it (tests/test_posterior.py,
test_next_check.py, test_units.py, test_readings.py).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import asdict
from random import Random

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import WAIT, screenshot
from playwright.sync_api import Browser, Locator, Page, expect

from toolkit.diagnosis.look_up import LAYERS, Asked, answer, end_words, meanwhile
from toolkit.diagnosis.next_check import CHECKS, CONFIRMED_BY, STOPS, information, next_check, outcomes, worth_making
from toolkit.diagnosis.posterior import PRIORS, belief
from toolkit.diagnosis.readings import (
    READINGS,
    RECORD,
    GaugeReadings,
    Record,
    signs_beside_start,
    signs_of_readings,
)
from toolkit.diagnosis.signatures import SUSPECTS, UNSEEN, encoded, shipped
from toolkit.diagnosis.signs import GAS, SIGNS, START, Signs
from toolkit.diagnosis.sites import KINDS
from toolkit.errors import QuantityError
from toolkit.front import phone
from toolkit.spellings import SPELLINGS
from toolkit.units import IN_WC, PSI, parse_quantity

pytestmark = pytest.mark.browser

SEED, SETS = 360, 200
CLOSE = 1e-9


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("phone") / phone.NAME
    path.write_bytes(phone.page().encode("utf-8"))
    return path.as_uri()


@pytest.fixture
def opened(chromium_browser: Browser, address: str) -> Iterator[Page]:
    """The page on a phone, opened from its file; at the end it must have asked for nothing else and complained of
    nothing.
    """
    context = chromium_browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
    context.set_default_timeout(WAIT)
    asked: list[str] = []
    said: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    context.on("weberror", lambda error: said.append(str(error.error)))
    context.on("console", lambda line: said.append(line.text))
    page = context.new_page()
    page.goto(address)
    expect(page.locator("#step-1")).to_be_visible()
    yield page
    context.close()
    assert set(asked) == {address}
    assert not said


def some_sets() -> list[tuple[str, dict[str, str], list[str], bool]]:
    """Kinds, signs (from none to many: of one simulated day, or any), checks done, qualified or not."""
    chance = Random(SEED)
    found = []
    for number in range(SETS):
        kind = list(KINDS)[number % len(KINDS)]
        rows = shipped(kind).signs
        day = [*map(int, rows[chance.randrange(len(rows))])] if number % 2 else [UNSEEN] * len(SIGNS)
        keys = chance.sample(list(SIGNS), chance.choice((0, 1, 2, 3, 4, 6, 10, 20, 29)))
        places = dict(zip(SIGNS, day, strict=True))
        signs = {
            key: SIGNS[key].values[places[key]] if places[key] != UNSEEN else chance.choice(SIGNS[key].values)
            for key in keys
            if places[key] != UNSEEN or not number % 2
        }
        done = chance.sample(list(CHECKS), chance.choice((0, 0, 2, 8)))
        found.append((kind, signs, done, chance.random() < 0.5))
    return found


# --- it counts as the course does


def test_shares_are_those_of_the_course(opened: Page) -> None:
    for kind, signs, _, _ in some_sets():
        theirs = dict(opened.evaluate("([k, s, p]) => ranked(belief(k, s, p))", [kind, signs, dict(PRIORS)]))
        ours = belief(Signs(**signs), kind).shares()
        assert theirs.keys() == ours.keys()
        for key, share in ours.items():
            assert theirs[key] == pytest.approx(share, abs=CLOSE), (kind, signs, key)
        assert sum(theirs.values()) == pytest.approx(1.0, abs=CLOSE)


def test_information_and_advice_are_those_of_the_course(opened: Page) -> None:
    script = """([kind, signs, priors, done, may]) => {
        const thought = belief(kind, signs, priors), advice = nextCheck(thought, {done, ...may});
        const told = Object.entries(COURSE.checks).map(([key, one]) => [key, information(thought, one)]);
        const shown = advice.check ? outcomes(thought, COURSE.checks[advice.check]) : [];
        return {told: Object.fromEntries(told), advice, shown};
    }"""
    states, chance = set(), Random(SEED)
    for kind, signs, done, qualified in some_sets():
        may = {"qualified": qualified, "network": chance.random() < 0.5, "carried": chance.random() < 0.5}
        theirs = opened.evaluate(script, [kind, signs, dict(PRIORS), done, may])
        thought = belief(Signs(**signs), kind)
        for key, check in CHECKS.items():
            assert theirs["told"][key] == pytest.approx(information(thought, check), abs=CLOSE), (kind, signs, key)
        advice = next_check(thought, done, **may)
        states.add(advice.state)
        assert theirs["advice"]["state"] == advice.state, (kind, signs)
        assert theirs["advice"]["check"] == (advice.check and advice.check.key), (kind, signs)
        assert theirs["advice"]["bits"] == pytest.approx(advice.bits, abs=CLOSE)
        if advice.state == "call for help":
            continue
        ways = worth_making(thought, done, **may)
        assert {key for key, _ in theirs["advice"]["ways"]} == {check.key for check, _ in ways}
        if advice.check is not None:
            ours = outcomes(thought, advice.check)
            assert len(theirs["shown"]) == len(ours)
            by_values = {tuple(one["values"].values()): one for one in theirs["shown"]}
            for one in ours:
                other = by_values[one.values]
                assert other["chance"] == pytest.approx(one.chance, abs=CLOSE)
                assert dict(other["ranked"]) == pytest.approx(one.shares, abs=CLOSE)
    assert states == {"check", "found", "call for help", "not enough to tell"}


def test_a_stop_or_what_is_made_safe_counts_as_in_the_course(opened: Page) -> None:
    high = {"outlet_off": "far high"}
    script = "([s, how]) => nextCheck(belief('service', s, COURSE.priors), how).state"
    for signs, stops, safe in (({}, ["fire"], []), (high, [], []), (high, [], ["above_rating"]), ({}, [], [])):
        ours = next_check(belief(Signs(**signs), "service"), stops=stops, made_safe=safe).state
        assert opened.evaluate(script, [signs, {"stops": stops, "madeSafe": safe}]) == ours


# --- it reads what is typed as the course does


def some_texts() -> list[str]:
    """Numbers in many spellings by units in many spellings, and a good deal of nonsense; seeded."""
    chance = Random(SEED)
    numbers = [
        *("7", "7.0", ".5", "-2", "+3", "2e3", "1/4", "1 1/4", "1-1/4", "1½", "1,500", "1 500", "0,6", "0,600", "1,5"),
        *("12,345,678", "1,2,3", "1.2.3", "1/0", "1e999", "1e9", "−2", "7.", "1,234.5", "1.234,5", "- 3", "00012", ""),
    ]
    units = [
        *("in. w.c.", "in wc", '" w.c.', "″wc", "psi", "psig", "psia", "PSI", "mbar", "kPa", "bar", "bar abs", "barg"),
        *("oz/in2", "oz/in²", "osi", "MPa", "mpa", "MPag", "kPa gauge", "psid", "in", "ft", "%", "scfh", "F", "inHg"),
        *("bananas", "", "psi psi", "p s i", "lb per sq in", "mm w.c.", "constructor", "__proto__", "a", "g", "MW"),
    ]
    typed = [f"{number}{chance.choice(('', ' ', '  ', chr(160)))}{unit}" for number in numbers for unit in units]
    alphabet = [*"0123456789.,/-+eE ½²\"'<>&psigabrwcINmkKP\t\u2009\ufeff\u0085é漢🔥\\{}$"]
    typed += ["".join(chance.choice(alphabet) for _ in range(chance.randrange(14))) for _ in range(600)]
    typed += [f"{chance.uniform(-5, 80):.{chance.randrange(5)}f} {chance.choice(list(SPELLINGS))}" for _ in range(600)]
    return [*typed, "7" * 60, "7" * 61, "7 " + "🔥" * 58, "<script>alert(1)</script>", "2 psi\n", "  3 mbar  "]


def as_read(text: str, kind: str) -> float | str:
    try:
        return parse_quantity(text, kind)
    except QuantityError as refused:
        return str(refused)


@pytest.mark.parametrize("kind", sorted({field.kind for field in (*READINGS.values(), *RECORD.values())}))
def test_what_is_typed_is_read_as_in_the_course(opened: Page, kind: str) -> None:
    texts = some_texts()
    theirs = opened.evaluate("([texts, kind]) => texts.map(one => parsed(one, kind))", [texts, kind])
    read = 0
    for text, other in zip(texts, theirs, strict=True):
        ours = as_read(text, kind)
        if isinstance(ours, float):
            read += 1
            assert other.get("value") == pytest.approx(ours, rel=1e-12), text
        else:
            assert "value" not in other, text
            # the last sentences: how to mend it; what was typed is quoted before them
            mend = ours.partition(" was given; ")[2]
            if "\\" not in mend and '"' not in mend:  # Python writes these in its own way
                assert other["error"].partition(" was given; ")[2] == mend, text
    assert 500 < read < len(texts) - 500


def test_readings_amount_to_the_same_signs_as_in_the_course(opened: Page) -> None:
    chance = Random(SEED)
    cases = []
    for _ in range(400):
        set_point = chance.uniform(4, 14) * IN_WC
        lock_up = set_point * chance.uniform(1.0, 1.3)
        start = set_point * chance.uniform(1.0, 2.5) if chance.random() < 0.7 else None
        record = Record(set_point, lock_up, lock_up * chance.uniform(0.9, 2.5), chance.uniform(2, 100) * PSI, start)
        typical = dict.fromkeys(READINGS, set_point) | {"inlet": record.inlet_gauge_pressure}
        typical |= dict.fromkeys(("after_filter", "between"), record.inlet_gauge_pressure)
        read = {key: one * chance.uniform(0.0, 2.2) for key, one in typical.items() if chance.random() < 0.6}
        cases.append((read, record))
    # and on the very limits
    plain = Record(1000.0, 1200.0, 2000.0, 10000.0)
    cases += [({"outlet_on": value}, plain) for value in (500.0, 900.0, 1200.0, 1250.0, 2000.0, 2000.1)]
    smelt = [{key: chance.choice(GAS) for key in ("vent_on", "vent_off") if chance.random() < 0.7} for _ in cases]
    theirs = opened.evaluate(
        """cases => cases.map(([read, record, signs]) =>
            [signsOfReadings(read, record), signsBesideStart(signs, read, record)])""",
        [(read, vars(record), signs) for (read, record), signs in zip(cases, smelt, strict=True)],
    )
    starts = set()
    for (read, record), signs, (gauges, start) in zip(cases, smelt, theirs, strict=True):
        readings = GaugeReadings(**read)
        assert gauges == signs_of_readings(readings, record).met(), (read, record)
        assert start == signs_beside_start(Signs(**signs), readings, record).met(), (read, record, signs)
        starts |= set(start.values())
    assert starts == set(START[1:])


def test_the_whole_answer_is_that_of_the_course(opened: Page) -> None:
    """Layers, signs and readings by chance, readings that contradict what was entered among them."""
    chance, mains = Random(SEED + 1), Random(SEED + 2)
    record = Record(7 * IN_WC, 7.8 * IN_WC, 14 * IN_WC, 60 * PSI, 9 * IN_WC)
    states = set()
    for _ in range(300):
        layers = [key for key in LAYERS if chance.random() < 0.5]
        signs = {key: chance.choice(SIGNS[key].values) for key in chance.sample(list(SIGNS), chance.randrange(6))}
        read = {key: chance.uniform(2, 13) * IN_WC for key in READINGS if chance.random() < 0.3}
        how = {"done": chance.sample(list(CHECKS), 3), "stops": [], "qualified": chance.random() < 0.5}
        how |= {"network": mains.random() < 0.5, "carried": mains.random() < 0.5}
        how["madeSafe"] = ["above_rating"] if chance.random() < 0.5 else []
        asked = {"layers": layers, "signs": signs, "read": read, "record": asdict(record), **how}
        script = """asked => { const {stops, signs, overruled, suspects, advice, here} = answer(asked);
            return {stops, signs, overruled, suspects, kind: here.kind, state: advice.state, check: advice.check,
                why: whyOf(advice, signs), care: meanwhile(signs), end: stops.length || advice.check ? ""
                : endOf(advice, one => percent(one).replaceAll("\u00a0", " "))}; }"""
        theirs = opened.evaluate(script, asked)
        ours = answer(
            Asked(
                frozenset(layers),
                record,
                Signs(**signs),
                GaugeReadings(**read),
                made_safe=frozenset(how["madeSafe"]),
                done=frozenset(how["done"]),
                qualified=how["qualified"],
                network=how["network"],
                carried=how["carried"],
            )
        )
        states.add(ours.advice.state)
        assert theirs["signs"] == ours.signs.met()
        assert len(theirs["overruled"]) == len(ours.said)
        assert (theirs["stops"], theirs["kind"]) == (list(ours.stops), ours.kind)
        assert theirs["state"] == ours.advice.state
        assert theirs["check"] == (ours.advice.check and ours.advice.check.key)
        assert tuple(theirs["care"]) == meanwhile(ours.signs)
        if not ours.stops:
            assert theirs["why"] == ours.advice.why
            assert theirs["end"] == ("" if ours.advice.check else end_words(ours))
        theirs_by_key = {one["key"]: one for one in theirs["suspects"]}
        assert theirs_by_key.keys() == {one.key for one in ours.suspects}
        for one in ours.suspects:
            other = theirs_by_key[one.key]
            assert other["share"] == pytest.approx(one.share, abs=CLOSE)
            assert sorted(other["speaks"]) == sorted(one.speaks)
            assert sorted(other["against"]) == sorted(one.against)
    assert len(states) >= 3


def test_nothing_wrong_and_what_takes_hours_are_judged_as_in_the_course(opened: Page) -> None:
    """By priors under which these two rules of the advice decide."""
    sound = {"outlet_on": "normal", "lock_up": "as on record", "creep": "still", "vent_off": "none"}
    script = """([signs, priors, done]) => {
        const advice = nextCheck(belief("service", signs, priors), {done});
        return [advice.state, advice.check, whyOf(advice, signs)]; }"""
    sure, sunny = {"nothing": 1e6, "dirty_seat": 1.0}, {"sun": 20.0, "dirty_seat": 1.0}
    seen = set()
    for signs in (sound, sound | {"vent_on": "a whiff"}, sound | {"creep": "creeps"}, {"outlet_on": "normal"}):
        for priors in (sure, sunny):
            for done in ([], [key for key in CHECKS if key != "sun"], list(CHECKS)):
                ours = next_check(belief(Signs(**signs), "service", priors), done)
                seen.add((ours.state, ours.check.key if ours.check else ours.why.partition(":")[0]))
                theirs = opened.evaluate(script, [signs, priors, done])
                assert theirs == [ours.state, ours.check and ours.check.key, ours.why], (signs, priors, done)
    assert ("not enough to tell", "Something is wrong that was not found") in seen
    assert ("check", "sun") in seen
    assert len(seen) >= 5


# --- it can be used

VENT = "Gas at the vent, all off?"
# What can be tapped or typed into.
CONTROLS = "button, input, select, summary, #bar a"
# No target of a finger is smaller [CSS px]; source: WCAG 2.2, success criterion 2.5.5, from memory.
FINGER = 44


def press(page: Page, question: str, value: str) -> None:
    page.get_by_role("group", name=question).get_by_role("button", name=value, exact=True).click()


def box(page: Page, name: str) -> Locator:
    """The field of that name."""
    return page.get_by_role("textbox", name=name, exact=True)


def first_suspect(page: Page) -> str:
    return page.locator("ol.suspects .head").first.inner_text()


def unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")


def enter_all(page: Page) -> None:
    """Everything that can be entered, by one who is qualified, and the checks that are then proposed."""
    unfold(page)
    page.get_by_role("button", name="I am qualified").click()
    for name in LAYERS.values():
        button = page.get_by_role("button", name=name[0].upper() + name[1:], exact=True)
        if button.get_attribute("aria-pressed") == "false":
            button.click()
    for group in page.locator("fieldset").all():
        group.locator("button").nth(1).click()
    for key in READINGS:
        page.locator(f"#{key}").fill("7.25 in. w.c.")


def fits(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


def test_a_symptom_and_two_readings_give_an_answer_in_three_taps(opened: Page) -> None:
    before = opened.locator("#bar").inner_text()
    press(opened, VENT, "Strong")
    box(opened, "Outlet, all off (lock-up)").fill("9 in wc")
    box(opened, "Inlet before the filter, all on").fill("60 psi")
    expect(opened.locator("#bar")).not_to_have_text(before)
    ours = answer(
        Asked(
            frozenset({"relief", "filter"}),
            Record(7 * IN_WC, 7.8 * IN_WC, 14 * IN_WC, 60 * PSI, 16 * IN_WC),
            Signs(vent_off="strong"),
            GaugeReadings(outlet_off=9 * IN_WC, inlet=60 * PSI),
        )
    )
    best = ours.suspects[0]
    assert first_suspect(opened).split("\n") == [best.name.capitalize(), f"{100 * best.share:.0f}\u00a0%"]
    assert ours.advice.check is not None
    card = opened.locator(".card")
    expect(card.locator("h3").first).to_have_text(ours.advice.check.name.capitalize())
    for words in (f"about {ours.advice.check.minutes} min", ours.advice.check.effort, ours.advice.check.risk):
        expect(card).to_contain_text(words)
    expect(card.locator(".outcome").first).to_contain_text("Would mean")


def test_whose_record_it_is_stands_before_any_reading(opened: Page) -> None:
    said = opened.get_by_text("It is not yours")
    expect(said).to_be_visible()
    first = box(opened, "Outlet, all burners on")
    assert said.bounding_box()["y"] < first.bounding_box()["y"]  # type: ignore[index]
    unfold(opened)
    box(opened, "On record: set point").fill("7.1 in. w.c.")
    expect(said).to_have_count(0)
    expect(opened.get_by_text("the record typed here: your own station's")).to_be_visible()


def test_at_a_station_that_feeds_mains_the_page_speaks_of_the_load(opened: Page) -> None:
    menu, district = opened.locator("#station"), "Low-pressure district station"
    words = opened.locator("#main, #sheet")

    def at_hand() -> list[str]:
        return re.findall(
            r"\ball (?:burners )?o(?:n|ff)\b|\bburners\b(?! go out, at)", " ".join(words.all_text_contents())
        )

    assert at_hand()
    menu.select_option(label=district)
    assert at_hand() == []
    expect(opened.locator("legend", has_text="Outlet gauge, at the least load?")).to_have_count(1)
    opened.get_by_text("Gauges and meter", exact=True).click()
    opened.get_by_role("group", name="Outlet gauge, at no load?").get_by_role("button", name="High", exact=True).click()
    expect(opened.locator("#sheet")).to_contain_text("outlet gauge, at no load: high")
    assert at_hand() == []
    # a record of one's own that begins there is of such a station too; the closed menu shows each name whole
    opened.get_by_text("The record:").click()
    opened.get_by_label("On record: set point", exact=True).fill("7 in. w.c.")
    expect(menu).to_have_value("")
    assert at_hand() == []
    wide, room = menu.evaluate("""e => {
      const pen = document.createElement('canvas').getContext('2d'), style = getComputedStyle(e)
      pen.font = style.font
      return [Math.max(...[...e.options].map(o => pen.measureText(o.text).width)),
        e.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight)]
    }""")
    assert wide <= room
    menu.select_option(label="House service")
    expect(opened.locator("legend", has_text="Outlet gauge, all burners on?")).to_have_count(1)


def proposed(page: Page) -> str:
    """The check that is advised and the others, in words."""
    return " ".join(page.locator(".card h3, .outcome b").all_text_contents())


def test_on_mains_no_run_is_isolated_unless_the_load_is_carried(opened: Page) -> None:
    carries = opened.get_by_role("button", name="Another run or a bypass carries the load")
    expect(carries).to_be_hidden()
    opened.locator("#station").select_option(label="Low-pressure district station")
    unfold(opened)
    isolates = "ith another run or a bypass carrying the load, shut this run"
    assert isolates not in proposed(opened)
    carries.click()
    assert isolates not in proposed(opened)
    opened.get_by_role("button", name="I am qualified").click()
    assert isolates in proposed(opened)
    unfold(opened)
    opened.locator(".outcome", has_text=isolates).first.click()
    expect(opened.locator(".card")).to_contain_text("qualified persons only")
    carries.click()
    assert isolates not in proposed(opened)


def test_my_own_station_takes_neither_words_nor_record_from_another(opened: Page) -> None:
    menu, feeds = opened.locator("#station"), opened.get_by_role("button", name="Feeds mains")
    menu.select_option(label="Low-pressure district station")
    expect(feeds).to_have_attribute("aria-pressed", "true")
    menu.select_option(label="my own station")
    expect(feeds).to_have_attribute("aria-pressed", "false")
    expect(opened.locator("legend", has_text="Outlet gauge, all burners on?")).to_have_count(1)
    set_point = box(opened, "On record: set point")
    expect(set_point).to_have_value("")
    expect(opened.locator("#set_gauge_pressure-wrong")).to_contain_text("Readings are weighed beside the record")
    expect(opened.get_by_text("the record typed here: your own station's")).to_be_visible()
    # and it may be of the other sort
    feeds.click()
    expect(opened.locator("legend", has_text="Outlet gauge, at full load?")).to_have_count(1)
    expect(menu).to_have_value("")
    menu.select_option(label="House service")
    expect(set_point).not_to_have_value("")
    expect(feeds).to_have_attribute("aria-pressed", "false")


def test_while_the_slam_shut_is_down_the_page_warns_of_a_reset(opened: Page) -> None:
    unfold(opened)
    opened.get_by_role("button", name="Slam-shut", exact=True).click()
    press(opened, "How is the slam-shut?", "Tripped")
    expect(opened.get_by_text("no reset to try it").first).to_be_visible()
    assert "burners on" not in opened.locator("#step-6 ~ div h3").first.inner_text()


@pytest.mark.parametrize("stop", STOPS)
def test_a_stop_leaves_nothing_but_stop_and_call(opened: Page, stop: str) -> None:
    words = STOPS[stop].split(":")[0]
    opened.get_by_role("button", name=words[0].upper() + words[1:]).click()
    halt = opened.get_by_role("alert")
    expect(halt).to_contain_text("STOP. CALL.")
    expect(halt).to_contain_text(STOPS[stop][1:])
    expect(opened.locator("#main .step:visible, #bar:visible, #main .toggle:visible")).to_have_count(0)
    opened.get_by_role("button", name="It no longer holds").click()
    expect(halt).to_be_hidden()
    expect(opened.locator("ol.suspects .head").first).to_be_visible()


def test_a_reading_above_the_rating_stops_and_can_be_mended_or_made_safe(opened: Page) -> None:
    box(opened, "Outlet, all off (lock-up)").fill("20 in wc")
    halt = opened.get_by_role("alert")
    expect(halt).to_contain_text(STOPS["above_rating"][1:])
    opened.get_by_role("button", name="I entered something wrong").click()
    expect(halt).to_be_hidden()
    expect(box(opened, "Outlet, all off (lock-up)")).to_have_value("")
    box(opened, "Outlet, all off (lock-up)").fill("1 psi")
    opened.get_by_role("button", name="A qualified person has made it safe").click()
    expect(halt).to_be_hidden()
    expect(opened.locator("ol.suspects .head").first).to_be_visible()


def test_an_outcome_is_one_tap_and_can_be_taken_back(opened: Page) -> None:
    name, shares = opened.locator(".card h3").first, opened.locator("ol.suspects")
    first, before = name.inner_text(), shares.inner_text()
    opened.locator(".outcome").first.click()
    expect(name).not_to_have_text(first)
    expect(shares).not_to_have_text(before, use_inner_text=True)
    expect(opened.locator("#step-6")).to_be_focused()
    opened.get_by_role("button", name="Take back the last").click()
    expect(name).to_have_text(first)
    expect(shares).to_have_text(before, use_inner_text=True)


def test_it_ends_found_or_not_enough_to_tell(opened: Page) -> None:
    """Outcomes tapped for one suspect until its own check is asked for; then none that tells anything."""
    opened.get_by_role("button", name="I am qualified").click()
    suspect, end = "torn", opened.locator(".end")
    _, sign, values = CONFIRMED_BY[suspect]
    press(opened, VENT, "Strong")
    press(opened, "Gas at the vent, all burners on?", "Strong")
    opened.evaluate("state.signs.outlet_on = 'high'; state.signs.creep = 'still'; update()")
    opened.evaluate(f"state.signs.{sign} = '{values[-1]}'; update()")
    expect(end).to_contain_text("Likely cause")
    expect(end).to_contain_text("Diaphragm torn")
    opened.get_by_role("button", name="Start over").click()
    for _ in range(len(CHECKS)):
        if end.count():
            break
        opened.get_by_role("button", name="Something else, or it could not be made").click()
    expect(end).to_contain_text("Not enough to tell")


def test_a_reading_overrules_what_was_entered_and_says_so(opened: Page) -> None:
    unfold(opened)
    press(opened, "Outlet gauge, all burners on?", "Low")
    box(opened, "Outlet, all burners on").fill("9 inwc")
    group = opened.get_by_role("group", name="Outlet gauge, all burners on?")
    expect(group).to_contain_text("Your reading amounts to “high”, “low” was entered. The reading counts.")
    expect(group.get_by_role("button", name="High", exact=True)).to_have_attribute("aria-pressed", "true")
    expect(group.get_by_role("button", name="Low", exact=True)).to_have_attribute("aria-pressed", "false")


def test_gas_below_the_relief_s_start_is_told_as_such(opened: Page) -> None:
    press(opened, VENT, "Strong")
    box(opened, "Outlet, all burners on").fill("7 in wc")
    box(opened, "Outlet, all off (lock-up)").fill("8.3 in wc")
    assert first_suspect(opened).startswith("Diaphragm torn")
    unfold(opened)
    group = opened.get_by_role("group", name="Gas at the vent: is the outlet gauge as high")
    expect(group.get_by_role("button", name="Below it", exact=True)).to_have_attribute("aria-pressed", "true")
    start = box(opened, "On record: internal relief starts at")
    expect(start).to_have_value("16.0 in. w.c.")
    start.fill("5 in wc")
    expect(opened.locator("#relief_start_gauge_pressure-wrong")).to_contain_text("below the set point")
    start.fill("")
    expect(start).to_have_attribute("aria-invalid", "false")
    expect(group.get_by_text("Told by your readings.")).to_be_hidden()
    opened.get_by_role("button", name="Internal relief", exact=True).click()
    expect(start).to_be_hidden()


def test_nonsense_has_its_error_beside_it_and_the_rest_stands(opened: Page) -> None:
    press(opened, VENT, "Strong")
    before = first_suspect(opened)
    inlet = box(opened, "Inlet before the filter, all on")
    for text, says in (("9 bananas", "bananas"), ("60", "Add the unit."), ("-99 psi", "vacuum"), ("9e9 bar", "gauge")):
        inlet.fill(text)
        expect(inlet).to_have_attribute("aria-invalid", "true")
        expect(opened.locator("#inlet-wrong")).to_contain_text(says)
        assert first_suspect(opened) == before
    inlet.fill("60")
    opened.get_by_role("button", name="Inlet before the filter, all on: psig").click()
    expect(inlet).to_have_value("60 psig")
    expect(inlet).to_have_attribute("aria-invalid", "false")
    assert first_suspect(opened) != before
    unfold(opened)
    box(opened, "On record: lock-up").fill("5 in wc")
    expect(opened.locator("#lock_up_gauge_pressure-wrong")).to_contain_text("wrong way round")


def test_every_unit_on_offer_is_read(opened: Page) -> None:
    for unit in opened.evaluate("OFFERED_UNITS"):
        assert parse_quantity(f"7 {unit}", "gauge_pressure") > 0


def test_typed_text_stays_text(opened: Page) -> None:
    hostile = "<img src=x onerror=alert(1)>"
    box(opened, "Outlet, all burners on").fill(hostile)
    expect(opened.locator("#outlet_on-wrong")).to_contain_text(hostile)
    assert opened.locator("img").count() == 0


@pytest.mark.parametrize("width", [360, 400, 1024])
def test_it_fits_its_width_and_fingers(opened: Page, width: int) -> None:
    opened.set_viewport_size({"width": width, "height": 740})
    assert fits(opened)
    enter_all(opened)
    box(opened, "Outlet, all burners on").fill("W" * 70)
    assert fits(opened)
    small = opened.locator(f":is({CONTROLS}):visible").evaluate_all(
        """(all, least) => all.filter(one => {
            const {width, height} = one.getBoundingClientRect();
            return Math.min(width, height) < least;
        }).map(one => one.outerHTML)""",
        FINGER,
    )
    assert not small
    opened.get_by_role("button", name="Fire or").click()
    assert fits(opened)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(opened: Page, scheme: str) -> None:
    opened.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    for way in ("opened", "entered", "stopped"):
        if way == "entered":
            enter_all(opened)
            box(opened, "Inlet before the filter, all on").fill("60")
        elif way == "stopped":
            opened.get_by_role("button", name="Fire or").click()
        found = Axe().run(opened).response["violations"]
        serious = [f"{one['id']}: {[node['html'][:120] for node in one['nodes'][:3]]}" for one in found]
        assert not serious, way


def tab_to(page: Page, words: str) -> None:
    """Press Tab until the keyboard stands on the control of that name."""
    for _ in range(150):
        page.keyboard.press("Tab")
        name: str = page.evaluate(
            """() => { const e = document.activeElement;
                return [...(e.labels || [])].map(one => one.textContent).join(" ") || e.textContent; }"""
        )
        if re.search(words, name):
            return
    raise AssertionError(f"the Tab key does not come to {words!r}")


def test_an_answer_by_keyboard_alone(opened: Page) -> None:
    tab_to(opened, "^Slam-shut$")
    opened.keyboard.press("Space")
    tab_to(opened, "^Strong$")
    opened.keyboard.press("Enter")
    tab_to(opened, "^Outlet, all off .lock-up")
    opened.keyboard.type("9 in wc")
    expect(opened.locator("#bar")).to_contain_text("%")
    tab_to(opened, "Would mean")
    name = opened.locator(".card h3").first.inner_text()
    opened.keyboard.press("Enter")
    expect(opened.locator(".card h3").first).not_to_have_text(name)
    expect(opened.locator("#step-6")).to_be_focused()
    tab_to(opened, "Would mean")
    tab_to(opened, "^Start over$")
    opened.keyboard.press("Enter")
    expect(opened.locator("#step-1")).to_be_focused()
    expect(box(opened, "Outlet, all off (lock-up)")).to_have_value("")
    expect(opened.locator(".toggle[aria-pressed=true]")).to_have_count(2)  # the first station's layers


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_one_page(opened: Page, paper: str) -> None:
    def pages() -> int:
        return len(re.findall(rb"/Type\s*/Page\b(?!s)", opened.pdf(format=paper)))

    assert pages() == 1
    enter_all(opened)
    while opened.locator(".outcome").count():
        opened.locator(".outcome").first.click()
    assert len(opened.evaluate("state.past")) > 3 or opened.locator(".end").count()
    assert pages() == 1
    opened.emulate_media(media="print")
    sheet = opened.locator("#sheet")
    expect(sheet).to_be_visible()
    expect(opened.locator("main")).to_be_hidden()
    for words in ("Station", "Date and time", "7.25 in. w.c.", "licensed persons decide"):
        expect(sheet).to_contain_text(words)
    opened.emulate_media(media="screen")
    opened.get_by_role("button", name="Fire or").click()
    expect(sheet).not_to_contain_text("%")
    assert pages() == 1


# --- practice


def test_cases_are_days_of_the_tables_with_the_course_s_own_answers(opened: Page) -> None:
    script = """number => { const {kind, truth, signs, suspects, checks, advice, thought} = caseOf(number);
        return {kind, truth, signs, suspects, checks, marks: checks.map(key => markOf({advice, thought}, key))}; }"""
    for number in range(1, 81):
        one = opened.evaluate(script, number)
        assert one == opened.evaluate(script, number), "the same case twice"
        signs, table = Signs(**one["signs"]), shipped(one["kind"])
        codes = list(encoded(signs))
        mine = table.signs[table.suspect == list(SUSPECTS).index(one["truth"])]
        known = [place for place, code in enumerate(codes) if code != UNSEEN]
        assert (mine[:, known] == [codes[place] for place in known]).all(axis=1).any(), "no such day"
        thought = belief(signs, table)
        assert one["suspects"][0] in dict(thought.ranked()[:4])
        assert set(one["suspects"]) == {key for key, _ in thought.ranked()[:4]}
        done = [key for key, check in CHECKS.items() if set(check.signs) <= signs.met().keys()]
        advice = next_check(thought, done)
        assert len(set(one["checks"])) == len(one["checks"])
        for key, told in zip(one["checks"], one["marks"], strict=True):
            if advice.state == "call for help":
                expected = float(key == "stop and call")
            elif key == "stop and call":
                expected = 0.0
            elif CHECKS[key].forbidden:
                assert CHECKS[key].forbidden in told["why"]
                expected = 0.0
            elif key == (advice.check and advice.check.key):
                expected = 1.0
            else:
                continue
            assert told["mark"] == expected, (number, key)
            assert told["why"]
        assert all(0.0 <= told["mark"] <= 1.0 for told in one["marks"])
        assert max(told["mark"] for told in one["marks"]) == 1.0
    stopped = {"advice": {"state": "call for help", "stop": "fire"}}
    marks = opened.evaluate("of => ['stop and call', 'frost'].map(key => markOf(of, key).mark)", stopped)
    assert marks == [1, 0]


def test_practice_by_keyboard_and_back(opened: Page) -> None:
    opened.get_by_role("button", name="Practise on simulated cases").focus()
    opened.keyboard.press("Enter")
    expect(opened.locator("#step-1")).to_be_hidden()
    opened.get_by_label("the same on every phone").fill("17")
    opened.get_by_role("button", name="Show this case").press("Enter")
    expect(opened.get_by_role("heading", name="Case 17")).to_be_focused()
    opened.keyboard.press("Tab")
    opened.keyboard.press("Enter")
    expect(opened.get_by_role("group", name="What comes next?").get_by_role("button").first).to_be_focused()
    opened.keyboard.press("Enter")
    expect(opened.get_by_role("button", name="Next case")).to_be_focused()
    expect(opened.locator(".tally")).to_contain_text("of 2 marks")
    assert fits(opened)
    assert not [one["id"] for one in Axe().run(opened).response["violations"]]
    opened.keyboard.press("Enter")
    expect(opened.get_by_role("heading", name="Case 18")).to_be_focused()
    opened.get_by_role("button", name="Back to the look-up").click()
    expect(opened.locator("#step-1")).to_be_visible()


def test_the_first_answer_takes_no_time(opened: Page) -> None:
    """How long the page takes to be built with its first answer, and to take up an entry [ms]."""
    built, entered = opened.evaluate(
        """() => { const at = performance.now(); build(); const built = performance.now();
            state.signs.vent_off = "strong"; update(); return [built - at, performance.now() - built]; }"""
    )
    print(f"built in {built:.0f} ms, an entry in {entered:.0f} ms")
    assert built < 1000
    assert entered < 500


def test_for_people_to_look_at(opened: Page) -> None:
    press(opened, VENT, "Strong")
    box(opened, "Outlet, all off (lock-up)").fill("9 in wc")
    for scheme in ("light", "dark"):
        opened.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        for width, height in ((360, 740), (1024, 768)):
            opened.evaluate("scrollTo(0, 0)")
            screenshot(opened, f"phone-{scheme}-top", width, height)
            opened.locator("#step-5").evaluate("one => one.scrollIntoView()")
            assert screenshot(opened, f"phone-{scheme}-answer", width, height).stat().st_size > 10_000
