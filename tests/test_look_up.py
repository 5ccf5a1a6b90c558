"""The look-up: what is asked and what is answered, and the page that asks. No outside source: the answer must be the
diagnosis's own (posterior.py, next_check.py, tested beside their sources), with the safety rules before it."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from itertools import chain, combinations
from random import Random

import pytest

from toolkit.classroom import tables
from toolkit.classroom.tables import table_of
from toolkit.diagnosis.look_up import (
    LAYER_OF,
    LAYERS,
    NEEDED,
    QUESTIONS,
    RULED_OUT,
    Asked,
    answer,
    end_words,
    kind_of,
    layers_of,
    meanwhile,
    met,
    signs_with,
    suspects_of,
)
from toolkit.diagnosis.look_up_words import AFTER, STANDS
from toolkit.diagnosis.next_check import CHECKS, OUT_OF_REACH, STOPS, SURE, next_check
from toolkit.diagnosis.own_station import own_station
from toolkit.diagnosis.posterior import PRIORS, belief, priors_for
from toolkit.diagnosis.readings import READINGS, GaugeReadings, record_of
from toolkit.diagnosis.signatures import (
    NOTHING,
    OTHER,
    SEED,
    SUSPECTS,
    Run,
    codes_of_run,
    file_name,
    nearest_kind,
    packed,
    signatures,
)
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import KINDS, site
from toolkit.errors import ScenarioError
from toolkit.panels import look_up_html as html
from toolkit.panels.look_up import LookUp, look_up
from toolkit.panels.look_up_ask import FIRST, NO_TABLE
from toolkit.panels.look_up_trace import day_html
from toolkit.station_file import read_station, shipped_station, shipped_stations
from toolkit.units import IN_WC, PSI

EVERY = frozenset(LAYERS)
HOUSE = shipped_station("house_service").scenario.station
RECORD = record_of(HOUSE)
HOSTILE = "<script>alert(1)</script>"


def asked(*layers, **more) -> Asked:
    return Asked(frozenset(layers or layers_of(HOUSE)), RECORD, **more)


def after(now: Asked, check, values) -> Asked:
    """What is asked once a check has shown these values."""
    return replace(now, signs=replace(now.signs, **values), done=now.done | {check.key})


def drawn(chance, layers) -> Signs:
    """Some signs that a station with these layers can show, by chance, and no stop condition."""
    keys = chance.sample(signs_with(layers), chance.randrange(8))
    return Signs(**{key: chance.choice([v for v in SIGNS[key].values if v != "far high"]) for key in keys})


# --- what is asked


def test_every_sign_is_asked_for_once_and_every_layer_is_known():
    rows = list(chain.from_iterable(QUESTIONS.values()))
    assert sorted(rows) == sorted(SIGNS)
    assert all(words.endswith("?") for group in QUESTIONS.values() for words in group.values())
    assert set(LAYER_OF) <= set(SIGNS)
    assert set(LAYER_OF.values()) <= EVERY
    assert set(NEEDED) | set(RULED_OUT) <= set(SUSPECTS)


@pytest.mark.parametrize("name", shipped_stations())
def test_the_layers_of_a_shipped_station_lead_to_its_kind_and_its_suspects(name):
    station = shipped_station(name).scenario.station
    layers = layers_of(station)
    assert kind_of(layers) == nearest_kind(station)
    assert set(suspects_of(layers)) == set(priors_for(station))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("number", range(2))
def test_the_layers_of_a_drawn_station_lead_to_its_kind_and_its_suspects(kind, number):
    station = site(kind, number, 7).station
    layers = layers_of(station)
    assert kind_of(layers) == nearest_kind(station) == kind
    assert set(suspects_of(layers)) == set(priors_for(station))


def test_a_slam_shut_without_any_relief_acts_first():
    assert kind_of(frozenset({"slam_shut"})) == "shutoff first"
    assert "true_trip" in suspects_of(frozenset({"slam_shut"}))
    assert "true_trip" not in suspects_of(frozenset({"slam_shut", "relief"}))


@pytest.mark.parametrize("name", ["layers", "stops", "made_safe", "done"])
def test_an_unknown_name_is_refused(name):
    with pytest.raises(ScenarioError, match=rf"asked\.{name}.*'vest'"):
        replace(asked(), **{name: frozenset({"vest"})})


# --- stop conditions come first


@pytest.mark.parametrize("stop", STOPS)
def test_while_a_stop_condition_holds_there_is_no_suspect_and_no_check(stop):
    told = answer(asked(stops=frozenset({stop}), signs=Signs(vent_on="a whiff"), qualified=True))
    assert list(told.stops) == [stop]
    assert told.suspects == told.meanings == told.others == ()
    assert (told.advice.state, told.advice.check) == ("call for help", None)
    page = html.suspects_html(told) + html.advice_html(told) + html.others_html(told)
    assert page == ""
    assert STOPS[stop][1:].split("'")[0] in html.stopped_html(told)
    assert not any(check.name in html.sheet_html(asked(), told, "us", "x") for check in CHECKS.values())


@pytest.mark.parametrize("key", ["outlet_on", "outlet_pilots", "outlet_off"])
def test_a_reading_above_the_rating_stops_until_it_is_made_safe(key):
    above = asked(readings=GaugeReadings(**{key: 14.1 * IN_WC}))
    assert list(answer(above).stops) == ["above_rating"]
    safe = answer(replace(above, made_safe=frozenset({"above_rating"})))
    assert safe.stops == {}
    assert safe.suspects
    # Another stop condition is not made safe with it.
    other = replace(above, made_safe=frozenset({"above_rating"}), stops=frozenset({"fire"}))
    assert list(answer(other).stops) == ["fire"]
    assert answer(asked(readings=GaugeReadings(**{key: 13.9 * IN_WC}))).stops == {}


def test_who_is_not_qualified_never_gets_work_for_the_qualified():
    chance, qualified = Random(11), 0
    for _ in range(150):
        layers = frozenset(one for one in LAYERS if chance.random() < 0.5)
        now = asked(*layers, signs=drawn(chance, layers)) if layers else asked(signs=drawn(chance, layers))
        told = answer(now)
        checks = [told.advice.check, *(check for check, _ in told.others)]
        assert not any(check and (check.qualified or check.forbidden) for check in checks)
        able = answer(replace(now, qualified=True))
        checks = [check for check in (able.advice.check, *(check for check, _ in able.others)) if check]
        assert not any(check.forbidden for check in checks)
        qualified += any(check.qualified for check in checks)
    assert qualified >= 3


def test_on_mains_no_run_is_isolated_unless_the_load_is_carried():
    district = shipped_station("district_station").scenario.station
    chance, isolated = Random(12), {True: set(), False: set()}
    for _ in range(60):
        now = Asked(layers_of(district), record_of(district), drawn(chance, layers_of(district)), network=True)
        for qualified in (False, True):
            for carried in (False, True):
                told = answer(replace(now, qualified=qualified, carried=carried))
                checks = [told.advice.check, *(check for check, _ in told.others)]
                found = {one.key for one in checks if one and one.isolates}
                isolated[qualified and carried] |= found
                assert all(one.qualified for one in checks if one and one.isolates)
    assert isolated[False] == set()
    assert "gauge_off" in isolated[True]


# --- the answer


def test_with_nothing_entered_the_shares_are_the_priors():
    told = answer(asked())
    weights = priors_for(HOUSE)
    assert sum(one.share for one in told.suspects) == pytest.approx(1.0)
    for one in told.suspects:
        assert one.share == pytest.approx(weights[one.key] / sum(weights.values()), rel=1e-9)
        assert one.speaks == one.against == ()
    assert html.NOTHING_YET in html.suspects_html(told)


def test_the_answer_is_the_diagnosis_s_own():
    signs = Signs(vent_on="a whiff", outlet_on="normal", outlet_off="high", lock_up="higher", swing="steady")
    station = site("monitored", 0, 7).station
    layers = layers_of(station)
    told = answer(Asked(layers, record_of(station), signs))
    now = belief(signs, "monitored", priors_for(station))
    assert {one.key: one.share for one in told.suspects} == pytest.approx(now.shares())
    assert told.advice == next_check(now)
    assert [one.run for one in told.suspects] == [now.most_telling(one.key) for one in told.suspects]


def test_what_speaks_for_a_suspect_and_against_it():
    told = answer(asked(signs=Signs(lock_up="higher", vent_on="none")))
    dirty = next(one for one in told.suspects if one.key == "dirty_seat")
    torn = next(one for one in told.suspects if one.key == "torn")
    assert dirty.speaks[0] == "lock-up beside its record: higher"
    assert "gas at the vent, all on: none" in torn.against
    assert told.suspects[0] is dirty


def test_gas_at_the_vent_below_the_relief_s_start_is_not_put_down_to_dirt():
    """Trade usage, no source: dirt lifts the outlet, and only from 16 in. w.c. on does that open this relief."""
    low = asked(signs=Signs(vent_off="strong"), readings=GaugeReadings(outlet_on=7 * IN_WC, outlet_off=8.3 * IN_WC))
    for table in (None, table_of(shipped_station(FIRST))):
        shares = {one.key: one.share for one in answer(replace(low, table=table)).suspects}
        assert shares["dirty_seat"] < 0.05
        assert shares["torn"] + shares["weak_relief"] + shares["two_faults"] > 0.9
        assert max(shares, key=shares.get) == "torn"
    assert met(low)[0].relief_start == "below it"
    # without the start on record the two stand side by side, as long as nobody looks
    unknown = replace(low, record=replace(RECORD, relief_start_gauge_pressure=None))
    assert met(unknown)[0].relief_start is None
    # smelt only with all off, where a tear would smell with the burners on too: dirt is not found either
    half = answer(replace(low, signs=Signs(vent_on="none", vent_off="strong")))
    assert half.advice.state == "check"
    assert next(one.share for one in half.suspects if one.key == "dirty_seat") < 0.5
    # held open by the pressure that dirt has let in, it is dirt again
    high = replace(low, readings=GaugeReadings(outlet_on=7 * IN_WC, outlet_off=16.2 * IN_WC),
                   made_safe=frozenset({"above_rating"}))  # fmt: skip
    assert met(high)[0].relief_start == "as high"
    assert answer(high).suspects[0].key == "dirty_seat"


def test_a_reading_overrules_what_was_pressed_and_says_so():
    now = asked(signs=Signs(outlet_on="low", vent_on="none"), readings=GaugeReadings(outlet_on=7 * IN_WC))
    signs, said = met(now)
    assert signs.outlet_on == "normal"
    assert signs.vent_on == "none"
    assert list(said) == ["outlet_on"]
    assert re.search("Outlet gauge, all burners on.*“normal”.*“low”.*The reading counts", said["outlet_on"])
    assert said["outlet_on"] in html.suspects_html(answer(now))
    assert met(replace(now, signs=Signs(outlet_on="normal")))[1] == {}


def test_each_outcome_of_the_check_can_be_entered():
    now = asked(signs=Signs(vent_on="a whiff"), readings=GaugeReadings(outlet_on=7 * IN_WC))
    told = answer(now)
    check = told.advice.check
    assert check is not None
    assert 0.9 < sum(one.chance for one in told.meanings) <= 1.0 + 1e-9
    for one in told.meanings:
        then = after(now, check, one.values)
        assert check.key in then.done
        next_ = answer(then)
        assert next_.advice.check is not check
        if next_.stops:
            assert "far high" in one.values.values()
            continue
        top = {suspect.key: suspect.share for suspect in next_.suspects}
        for key, share in one.then:
            assert top[key] == pytest.approx(share, rel=1e-6)
    assert answer(after(now, check, {})).advice.check is not check


def test_the_search_ends_in_a_finding():
    now = asked(signs=Signs(vent_on="none", outlet_on="normal", outlet_pilots="normal", creep="creeps", swing="steady"),
                readings=GaugeReadings(outlet_off=9.5 * IN_WC))  # fmt: skip
    for _ in range(12):
        told = answer(now)
        if told.advice.check is None:
            break
        now = after(now, told.advice.check, told.meanings[0].values)
    assert told.advice.state == "found"
    assert "dirt or nick" in told.advice.why
    assert "Likely cause" in html.advice_html(told)
    assert "The repair is for the qualified" in html.advice_html(told)


def test_a_finding_says_how_likely_it_is_and_what_is_safe_before_it_says_repair():
    told = answer(asked(signs=Signs(vent_off="none", outlet_on="normal", swing="steady"),
                        readings=GaugeReadings(outlet_off=8.6 * IN_WC)))  # fmt: skip
    assert (told.advice.state, told.suspects[0].key) == ("found", "dirty_seat")
    words = end_words(told)
    assert words.startswith(f"Likely to {html.per_cent(told.suspects[0].share)} ")
    assert "not certain" in words
    assert words.index("Make it safe first") < words.index("repair") < words.index("prove every layer")
    assert words in unescape(html.sheet_html(asked(), told, "us", "x"))
    assert "Found" not in html.advice_html(told) + html.summary_html(told)


@pytest.mark.parametrize(("suspect", "word"), [("sun", "shade"), ("true_trip", "still to be found"), ("leak", "call")])
def test_what_is_no_repair_of_the_station_ends_in_words_of_its_own(suspect, word):
    assert word in AFTER[suspect]
    assert set(AFTER) - {""} <= set(SUSPECTS)
    sound = answer(asked(signs=Signs(sun="rises and falls back", lock_up="as on record"), priors={"sun": 1.0}))
    assert (sound.advice.state, AFTER["sun"] in end_words(sound)) == ("found", True)


def test_what_stays_up_in_the_shade_is_never_put_down_to_the_sun():
    """However much weight the sun has: gas has come in, and it is not left so."""
    told = answer(asked(signs=Signs(sun="rises and stays up"), priors={**PRIORS, "sun": 1e6}))
    assert told.suspects[0].key == "sun"
    assert told.advice.state != "found"
    assert "it is not left so" in " ".join(meanwhile(told.signs))
    assert meanwhile(Signs(sun="rises and falls back")) == ()


SOUND_GAUGES = Signs(vent_on="none", vent_off="none", outlet_on="normal", lock_up="as on record", creep="still")


@pytest.mark.parametrize("gas", [{"vent_on": "a whiff"}, {"vent_off": "strong"}, {"creep": "creeps"}])
def test_nothing_wrong_is_never_the_finding_while_a_sign_stands_that_no_sound_day_shows(gas):
    """However much weight it has, and however sound the gauges are."""
    sure = asked(signs=SOUND_GAUGES, priors={**PRIORS, NOTHING: 1e6})
    assert answer(sure).advice.state == "found"
    now = replace(sure, signs=replace(SOUND_GAUGES, **gas))
    told = answer(now)
    assert told.suspects[0].key == NOTHING
    assert told.suspects[0].share > SURE
    assert told.advice.state != "found"
    end = answer(replace(now, done=frozenset(CHECKS)))
    assert end.advice.state == "not enough to tell"
    key, value = next(iter(gas.items()))
    assert f"{SIGNS[key].name} is {value}" in end.advice.why
    assert "Something is wrong" in html.advice_html(end)


def test_while_the_slam_shut_is_down_no_check_wants_burners_alight():
    """To make one somebody would have to reset before the cause is found, or to relight."""
    chance = Random(5)
    proposed = set()
    for _ in range(40):
        layers = frozenset((*(one for one in LAYERS if chance.random() < 0.5), "slam_shut"))
        signs = replace(drawn(chance, layers), slam_shut="tripped")
        told = answer(asked(*layers, signs=signs, qualified=True))
        proposed |= {check.key for check in (told.advice.check, *(one for one, _ in told.others)) if check}
    assert proposed
    alight = {key for key, check in CHECKS.items() if re.search("all burners on|pilots only|burners shut", check.name)}
    assert alight == set(OUT_OF_REACH[1][2]) - {"listen"}
    assert not proposed & (alight | {"listen"})
    out = answer(asked(signs=Signs(burners="no gas"), qualified=True))
    assert not {check.key for check, _ in out.others} & set(OUT_OF_REACH[0][2])


def test_what_must_be_kept_to_stands_before_the_check_and_on_paper():
    now = asked("slam_shut", "relief", signs=Signs(slam_shut="tripped", vent_off="a whiff", burners="no gas"))
    told = answer(now)
    care = meanwhile(told.signs)
    assert [bool(re.search(word, " ".join(care))) for word in ("no reset", "no flame", "only the qualified relight")]
    assert len(care) == 3
    page = html.advice_html(told)
    for words in care:
        assert page.index(words) < page.index(html.escape(told.advice.check.name[1:]))
        assert words in html.sheet_html(now, told, "us", "x")
    assert meanwhile(SOUND_GAUGES) == ()
    assert all(
        value in SIGNS[key].values for calls in STANDS.values() for key, values in calls.items() for value in values
    )
    assert "gp-care" not in html.advice_html(answer(replace(now, stops=frozenset({"fire"}))))


def test_where_nothing_is_wrong_there_is_nothing_to_repair():
    told = answer(asked(signs=Signs(vent_on="none", vent_off="none", creep="still", burners="gas", noise="quiet",
                                    swing="steady", spike="small", meter_on="as the rating", meter_off="stands",
                                    filter_drop="small", vent_end="clear", sun="no rise", frost="none"),
                        readings=GaugeReadings(7 * IN_WC, 7.2 * IN_WC, 7.8 * IN_WC, inlet=60 * PSI)))  # fmt: skip
    assert told.suspects[0].key == NOTHING
    assert told.advice.state == "found"
    assert "No fault was borne out" in html.advice_html(told)
    assert "repair" not in html.advice_html(told)


def test_changed_weights_change_the_answer_and_none_is_refused():
    signs = Signs(lock_up="higher")
    usual = answer(asked(signs=signs)).suspects[0]
    ruled = answer(asked(signs=signs, priors={**PRIORS, usual.key: 0.0}))
    assert usual.key not in {one.key for one in ruled.suspects if one.share > 0.0}
    assert ruled.suspects[0].key != usual.key
    with pytest.raises(ScenarioError, match="priors"):
        answer(asked(priors=dict.fromkeys(PRIORS, 0.0)))


def every_combination():
    return [frozenset(one) for size in range(len(LAYERS) + 1) for one in combinations(LAYERS, size)]


def test_every_combination_of_layers_is_answered():
    chance = Random(3)
    for layers in every_combination():
        now = Asked(layers, RECORD, drawn(chance, layers), qualified=True)
        told = answer(now)
        assert sum(one.share for one in told.suspects) == pytest.approx(1.0), layers
        keys = {one.key for one in told.suspects}
        assert {NOTHING, OTHER, "dirty_seat"} <= keys <= set(suspects_of(layers)), layers
        checks = [told.advice.check, *(check for check, _ in told.others)]
        shown = {key for check in checks if check for key in check.signs}
        for check in filter(None, checks):
            assert any(key in signs_with(layers) for key in check.signs), (layers, check.key)
        for one in told.meanings:
            assert set(one.values) <= set(signs_with(layers)), layers
            assert one.values, layers
        assert shown or told.advice.state != "check"


def test_a_sign_of_a_layer_that_is_not_fitted_does_not_count():
    with_it = asked(*EVERY, signs=Signs(slam_shut="tripped", vent_on="none"))
    assert met(with_it)[0].slam_shut == "tripped"
    assert met(replace(with_it, layers=frozenset({"relief"})))[0] == Signs(vent_on="none")


# --- the page


@pytest.fixture
def page() -> LookUp:
    return LookUp()


def shown(widget) -> bool:
    return "gp-away" not in widget._dom_classes


def test_the_page_opens_with_the_weights_and_starts_over(page):
    first = page.answer
    assert html.NOTHING_YET in page._suspects.value
    page.ask.signs["vent_on"].value = "strong"
    page.ask.readings["outlet_on"].text.value = "0.25 psi"
    page.ask.stops["monoxide"].value = True
    page.ask.take_station("district_station")
    page.ask.open_weights()
    page.ask.weights["dirty_seat"].value = 0.0
    assert page.answer != first
    page.start_over()
    assert page.answer == first
    file = shipped_station(FIRST)
    assert page.ask.asked() == Asked(layers_of(HOUSE), page.ask.asked().record, table=table_of(file))
    assert page.ask.station.name == FIRST


def test_the_page_asks_who_carries_the_load_of_a_station_that_feeds_mains(page):
    assert not page.ask.asked().network
    assert not shown(page.ask.carried)
    page.ask.take_station("district_station")
    page.ask.qualified.value = True
    assert page.ask.asked().network
    assert shown(page.ask.carried)
    page.ask.signs["outlet_on"].value = "normal"
    page.ask.signs["noise"].value = "quiet"
    isolates = "ith another run or a bypass carrying the load, shut this run"
    assert isolates not in page._advice.value + page._others.value
    page.ask.carried.value = True
    assert page.answer == answer(page.ask.asked())
    assert isolates in page._advice.value + page._others.value
    # it was said of this station alone
    page.ask.take_station(FIRST)
    assert not page.ask.asked().carried


def test_a_press_and_two_readings_are_the_answer_to_them(page):
    page.ask.signs["vent_on"].value = "a whiff"
    page.ask.readings["outlet_on"].text.value = "7 in wc"
    page.ask.readings["outlet_off"].text.value = "22.4 mbar"
    asks = page.ask.asked()
    assert asks.signs == Signs(vent_on="a whiff")
    assert asks.readings.outlet_on == pytest.approx(7 * IN_WC)
    assert asks.readings.outlet_off == pytest.approx(2240.0)
    assert met(asks)[0] == Signs(
        vent_on="a whiff", outlet_on="normal", outlet_off="high", lock_up="higher", relief_start="below it"
    )
    assert page.answer == answer(page.ask.asked())
    best = page.answer.suspects[0]
    assert f"<b>{best.name}</b><span class='gp-per-cent'>{html.per_cent(best.share)}" in page._suspects.value


def test_the_relief_s_start_is_asked_where_one_is_fitted_and_may_be_left_out(page):
    entry = page.ask.record["relief_start_gauge_pressure"]
    assert shown(entry)
    assert page.ask.asked().record.relief_start_gauge_pressure == pytest.approx(16 * IN_WC)
    assert "internal relief starts at 16" in page.ask.record_said.value
    entry.text.value = "5 in. w.c."
    assert page.ask.asked().record.relief_start_gauge_pressure is None
    assert "below the set point" in entry._said.value
    entry.text.value = ""
    assert page.ask.asked().record.relief_start_gauge_pressure is None
    assert entry._said.value == ""
    page.ask.take_station("bakery")
    assert not shown(entry)
    assert "internal relief" not in page.ask.record_said.value


def test_a_reading_that_makes_no_sense_is_refused_beside_its_field_and_the_rest_stays(page):
    page.ask.signs["vent_on"].value = "a whiff"
    before = page.answer
    entry = page.ask.readings["outlet_on"]
    entry.text.value = f"9 {HOSTILE}"
    assert "role='alert'" in entry._said.value
    assert "It does not count" in entry._said.value
    assert HOSTILE not in entry._said.value
    assert page.answer == before
    entry.text.value = "9 in wc"
    assert entry._said.value == ""
    assert page.answer != before


def test_the_record_keeps_what_stood_there_while_a_field_makes_no_sense(page):
    before = page.ask.asked().record
    page.ask.record["set_gauge_pressure"].text.value = "seven"
    assert page.ask.asked().record == before
    assert "still counts" in page.ask.record["set_gauge_pressure"]._said.value
    page.ask.record["set_gauge_pressure"].text.value = "11 in wc"
    assert "below the set point" in page.ask.record["lock_up_gauge_pressure"]._said.value
    assert page.ask.asked().record.set_gauge_pressure == pytest.approx(11 * IN_WC)
    page.ask.record["lock_up_gauge_pressure"].text.value = "12 in wc"
    assert page.ask.record["lock_up_gauge_pressure"]._said.value == ""
    assert page.ask.asked().record.lock_up_gauge_pressure == pytest.approx(12 * IN_WC)


def test_a_stop_condition_puts_all_else_away(page):
    page.ask.signs["vent_on"].value = "a whiff"
    assert shown(page._rest)
    page.ask.stops["gas_indoors"].value = True
    assert not shown(page._rest)
    assert "people out" in page._stopped.value
    assert page._suspects.value == page._advice.value == ""
    assert not shown(page._undo)
    page.ask.stops["gas_indoors"].value = False
    assert shown(page._rest)
    assert page._stopped.value == ""


def test_a_reading_above_the_rating_can_be_taken_back_or_made_safe(page):
    page.ask.readings["outlet_off"].text.value = "1 psig"
    assert not shown(page._rest)
    assert shown(page._undo)
    page.ask.safe.value = True
    assert shown(page._rest)
    page.ask.safe.value = False
    page.ask.take_back()
    assert shown(page._rest)
    assert page.ask.readings["outlet_off"].value is None


def test_made_safe_speaks_only_of_what_the_gauges_say(page):
    page.ask.readings["outlet_off"].text.value = "1 psig"
    page.ask.safe.value = True
    assert page.answer.stops == {}
    for pressed in ("gas_indoors", "above_rating"):
        page.ask.stops[pressed].value = True
        assert list(page.answer.stops) == [pressed]
        page.ask.stops[pressed].value = False


def test_the_outcome_of_a_check_is_entered_by_one_press(page):
    page.ask.signs["vent_on"].value = "a whiff"
    check, first = page.answer.advice.check, page.answer.meanings[0]
    assert page._outcomes[0].description == html.outcome_words(first)
    page._outcomes[0].click()
    assert check.key in page.ask.done
    assert {key: page.ask.signs[key].value for key in first.values} == first.values
    assert page.answer.advice.check is not check
    again = page.answer.advice.check
    page._no_outcome.click()
    assert again.key in page.ask.done
    assert page.answer.advice.check is not again


def test_what_is_not_fitted_is_not_asked_for(page):
    assert not shown(page.ask.signs["slam_shut"])
    assert not shown(page.ask.signs["between"])
    assert not shown(page.ask.readings["between"])
    assert not shown(page.ask._groups["What the layers did"])
    page.ask.layers["slam_shut"].value = True
    assert shown(page.ask.signs["slam_shut"])
    assert shown(page.ask._groups["What the layers did"])
    page.ask.take_station("district_station")
    assert shown(page.ask.readings["between"])
    assert page.ask.asked().layers == layers_of(shipped_station("district_station").scenario.station)
    assert not shown(page.ask._groups["Proven by a qualified person"])
    page.ask.qualified.value = True
    assert shown(page.ask._groups["Proven by a qualified person"])


def test_a_station_file_of_one_s_own_fills_layers_and_record(page):
    file = shipped_station("propane_yard")
    text = _source("propane_yard").replace(file.title, HOSTILE)
    page.ask.take_file("own.toml", text.encode())
    assert page.ask.asked().layers == layers_of(file.scenario.station)
    assert page.ask.asked().record.set_gauge_pressure == pytest.approx(11 * IN_WC, rel=0.01)
    assert HOSTILE not in page.ask._file_said.value + page._sheet.value
    before = page.ask.asked()
    for content in (b"\xff\xfe", b"[station", text.replace("[supply]", "[suply]").encode()):
        page.ask.take_file(f"{HOSTILE}.toml", content)
        assert "role='alert'" in page.ask._file_said.value
        assert HOSTILE not in page.ask._file_said.value
        assert page.ask.asked() == before


def _source(name: str) -> str:
    from importlib import resources

    return (resources.files("toolkit") / "stations" / f"{name}.toml").read_text("utf-8")


def test_a_shipped_station_s_own_days_speak_for_it_and_a_changed_one_s_kind_does():
    file = shipped_station("district_station")
    table = table_of(file)
    assert table is not None
    assert table.own is not None
    changed = replace(file.scenario.station, altitude=1234.5)
    assert table_of(replace(file, scenario=replace(file.scenario, station=changed))) is None
    told = answer(Asked(layers_of(file.scenario.station), RECORD, Signs(lock_up="higher"), table=table))
    assert {one.key for one in told.suspects} == set(table.keys())
    assert sum(one.share for one in told.suspects) == pytest.approx(1.0)
    assert "this very station" in html.reckoned(told)


def test_a_table_made_of_a_file_of_one_s_own_speaks_for_it(tmp_path, monkeypatch):
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(tmp_path))
    text = _source("house_service").replace('size = "5 L"', 'size = "6 L"')
    own = own_station(read_station(text, name="mine.toml"))
    runs = [Run(own, key, 0, SEED) for key in (NOTHING, "dirty_seat")]
    tables.user_folder().mkdir()
    path = tables.user_folder() / file_name(own)
    path.write_bytes(packed(signatures(runs, [codes_of_run(one) for one in runs], dated="x", per_suspect=1)))
    page = look_up()
    page.ask.take_file("any name.toml", text.encode())
    assert page.ask.asked().table.own.station == own.station
    assert {one.key for one in page.answer.suspects} <= {NOTHING, "dirty_seat", OTHER}
    assert "its own simulated days" in page.ask._file_said.value
    assert "this very station" in page._suspects.value
    path.unlink()
    page.ask.take_file("any name.toml", text.encode())
    assert page.ask.asked().table is None
    assert NO_TABLE in page.ask._file_said.value


def test_the_page_says_whose_record_the_readings_are_weighed_beside(page):
    said = page.ask.record_said
    assert "invented for this course" in said.value
    assert "It is not yours" in said.value
    page.ask.record["set_gauge_pressure"].text.value = "7.1 in wc"
    for words in (said.value, page._sheet.value):
        assert "your own station, as typed" in words
        assert "It is not yours" not in words
    page.ask.take_file("own.toml", _source("bakery").encode())
    assert "your own file" in said.value
    page.start_over()
    assert "It is not yours" in said.value


def test_the_signatures_of_one_s_own_station_speak_while_its_layers_stand():
    table = belief(Signs(), "monitored").table
    page = LookUp("us", lambda _file: table)
    assert page.ask.asked().table is table
    page.ask.layers["relief_valve"].value = not page.ask.layers["relief_valve"].value
    assert page.ask.asked().table is None


def test_weights_without_any_above_nothing_are_refused_and_the_answer_stays(page):
    before = page.answer
    page.ask.open_weights()
    for box in page.ask.weights.values():
        box.value = 0.0
    assert "above 0" in page.ask.weights_said.value
    # A stop condition stops all the same.
    page.ask.stops["fire"].value = True
    assert list(page.answer.stops) == ["fire"]
    assert not shown(page._rest)
    page.ask.stops["fire"].value = False
    page.ask.weights["dirty_seat"].value = 1.0
    assert page.ask.weights_said.value == ""
    assert page.answer.suspects[0].share == pytest.approx(1.0)
    assert page.answer != before


def test_the_trace_that_shows_a_suspect_comes_and_goes(page):
    page.ask.signs["lock_up"].value = "higher"
    page._days[0].click()
    assert re.search('<svg [^>]*class="gp-chart"[^>]* aria-label="[^"]{30,}"', page._trace.value)
    page._days[0].click()
    assert page._trace.value == ""
    run = page.answer.suspects[0].run
    assert day_html(run, "us") == day_html(run, "us") != day_html(run, "metric")


def test_the_printed_sheet_has_all_that_was_entered_and_lines_to_fill_in(page):
    page.ask.signs["vent_on"].value = "a whiff"
    page.ask.readings["outlet_on"].text.value = "7 in wc"
    sheet = page._sheet.value
    for words in ("Station:", "By:", "Date and time:", "gas at the vent, all on: a whiff", "7.0 in. w.c.", "Cautions"):
        assert words in sheet
    assert page.answer.suspects[0].name in sheet
    assert page.answer.advice.check.name[1:].split("'")[0] in sheet


def test_per_cents_are_whole_and_never_a_false_nothing_or_certainty():
    assert html.per_cent(0.0) == "0 %"
    assert html.per_cent(0.0049) == "under 1 %"
    assert html.per_cent(0.436) == "44 %"
    assert html.per_cent(0.9951) == "over 99 %"
    assert html.per_cent(1.0) == "100 %"


def test_readings_of_a_station_at_another_pressure_are_weighed_beside_its_own_record():
    record = record_of(shipped_station("greenhouse_boiler").scenario.station)
    now = Asked(EVERY, record, readings=GaugeReadings(outlet_on=13.9 * IN_WC, inlet=record.inlet_gauge_pressure))
    assert met(now)[0] == Signs(outlet_on="normal", inlet="normal")
    assert met(replace(now, record=RECORD))[0].outlet_on == "high"
    assert set(READINGS) >= {"outlet_on", "inlet"}
    assert RECORD.inlet_gauge_pressure == pytest.approx(60 * PSI)
