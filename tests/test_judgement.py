"""A station judged: findings on the shipped ones, verdicts with their sections, and spoilt stations found out."""

from dataclasses import replace

import pytest
from layered import monitored

from toolkit.devices.line import Load
from toolkit.devices.relief_valve import ReliefValve
from toolkit.errors import ScenarioError
from toolkit.judgement import Judgement, judge, report
from toolkit.judgement_text import WIDTH, text_of
from toolkit.ladder import KINDS
from toolkit.limits import SERVICE_REGULATOR_FEATURES
from toolkit.references import cite
from toolkit.scenario import Scenario, Station
from toolkit.station_file import StationFile, StationLimits, shipped_station, shipped_stations
from toolkit.units import IN_WC, PSI, format_pressure


@pytest.fixture(scope="module")
def judged() -> dict[str, Judgement]:
    return {name: judge(shipped_station(name)) for name in shipped_stations()}


def kinds(one: Judgement, severity: str | None = None) -> set[str]:
    return {found.kind for found in one.findings if severity in (None, found.severity)}


def sections(one: Judgement, good: bool | None) -> set[str]:
    return {verdict.section for verdict in one.verdicts if verdict.good is good}


def changed(name: str, **limits) -> StationFile:
    """A shipped station with other limits."""
    found = shipped_station(name)
    return replace(found, limits=replace(found.limits, **limits))


def built(name: str, **parts) -> StationFile:
    """A shipped station with other parts."""
    found = shipped_station(name)
    station = replace(found.scenario.station, **parts)
    return replace(found, scenario=replace(found.scenario, station=station))


# The stations that come along


@pytest.mark.parametrize("name", shipped_stations())
def test_no_shipped_station_has_something_that_must_be_mended(judged, name):
    one = judged[name]
    assert kinds(one, "must") == set()
    assert not sections(one, False)
    assert one.verdicts
    for verdict in one.verdicts:
        assert cite(verdict.source)  # the source is known
        assert verdict.section
    assert one.rungs == tuple(sorted(one.rungs, key=lambda rung: rung.gauge_pressure))
    assert {rung.kind for rung in one.rungs} >= {"normal_full", "normal_low", "lock_up", "limit"}


def test_what_is_honestly_wanting_is_said(judged):
    assert kinds(judged["house_service"]) == {"relief_too_small", "appliance_over"}
    assert kinds(judged["bakery"]) == {"appliance_over"}
    assert kinds(judged["district_station"]) == {"monitor_moves_early", "relief_below_monitor"}
    assert kinds(judged["greenhouse_boiler"]) == {"monitor_moves_early"}
    assert kinds(judged["propane_yard"]) == {"fact_missing"}


def test_the_rules_are_chosen_by_the_kind_of_system(judged):
    assert "49 CFR 192.197(a)" in sections(judged["house_service"], True)
    assert {"49 CFR 192.197(c)(2)", "49 CFR 192.197(c)(4)", "49 CFR 192.197(b) and (c)"} <= sections(
        judged["greenhouse_boiler"], True
    )
    assert {"49 CFR 192.201(a)(1)", "49 CFR 192.203(b)(9)"} <= sections(judged["district_station"], True)
    for name in ("bakery", "propane_yard"):
        assert {verdict.section for verdict in judged[name].verdicts} == {"NFPA 54 5.9 and IFGC 416"}
    # A boiler's 14 in. w.c. is no low-pressure delivery: its appliance is made for more.
    assert not any("59.29" in verdict.section for verdict in judged["greenhouse_boiler"].verdicts)


def test_a_district_of_its_own_maop_is_judged_by_it():
    one = judge(changed("district_station", kind="distribution", maop=14 * IN_WC))
    # 49 CFR 192.201(a)(2)(iii): below 12 psi MAOP plus 50 %.
    assert one.limit.gauge_pressure == pytest.approx(21 * IN_WC)
    assert "49 CFR 192.201(a)(2)(iii)" in sections(one, True)


def test_the_peak_is_that_of_the_worst_single_failure_at_the_highest_supply(judged):
    boiler = judged["greenhouse_boiler"]
    assert boiler.highest_supply == pytest.approx(100 * PSI)
    assert {one.what for one in boiler.failures} == {
        "worker stuck wide open",
        "monitor stuck wide open",
        "worker_line broken",
        "monitor_line broken",
    }
    worst = boiler.failures[0]
    assert worst.what == "worker stuck wide open"
    assert worst.peak == max(one.peak for one in boiler.failures)
    # Behind the worker the monitor's lock-up and what is shut in between; the slam-shut stays out of it.
    assert 20 * IN_WC < worst.peak < 24 * IN_WC
    assert worst.acted == worst.over == worst.lost == ()
    assert worst.peaks["inlet"] == pytest.approx(100 * PSI, rel=0.01)
    # At a higher supply the same failure goes a little higher.
    assert judge(changed("greenhouse_boiler", maximum_actual_gauge_pressure=120 * PSI)).failures[0].peak > worst.peak


def test_the_layers_that_act_are_named(judged):
    by_what = {one.what: one.acted for one in judged["propane_yard"].failures}
    assert by_what == {
        "second_stage stuck wide open": ("second_stage",),
        "first_stage stuck wide open": ("yard_relief",),
    }


# Spoilt stations


def test_a_relief_that_the_rule_asks_for_is_a_must():
    # Without the six features of 192.197(a) the house's service needs a device that works.
    one = judge(changed("house_service", features=()))
    assert kinds(one, "must") >= {"relief_too_small", "appliance_over"}
    assert "49 CFR 192.197(b)" in sections(one, True)  # there is a relief, and it is one of the devices
    assert "49 CFR 192.197(b) and (c)" in sections(one, False)  # but it does not hold the pressure


def test_a_service_above_sixty_with_nothing_is_not_kept():
    found = shipped_station("house_service")
    regulator = replace(found.scenario.station.regulators[0], relief=None)
    one = judge(
        replace(
            built("house_service", regulators=(regulator,)),
            limits=replace(found.limits, maximum_actual_gauge_pressure=100 * PSI),
        )
    )
    assert "unguarded" in kinds(one, "must")
    assert "49 CFR 192.197(c)" in sections(one, False)
    assert not one.capacity


def test_two_stages_are_judged_as_an_upstream_regulator():
    service = {"kind": "service", "maximum_actual_gauge_pressure": 70 * PSI}
    bare = judge(changed("propane_yard", **service))
    assert {"49 CFR 192.197(c)(1)", "49 CFR 192.197(c)(3)"} <= sections(bare, False)  # features and rating are short
    full = changed("propane_yard", features=tuple(SERVICE_REGULATOR_FEATURES), **service)
    verdict = next(one for one in judge(full).verdicts if one.section == "49 CFR 192.197(c)(1)")
    assert verdict.good
    assert "10.0 psig" in verdict.finding


def test_one_control_line_for_both_is_not_kept():
    found = shipped_station("district_station").scenario.station
    shared = tuple(replace(one, senses="worker_line") for one in found.regulators)
    one = judge(built("district_station", regulators=shared, relief_valves=()))
    assert "49 CFR 192.203(b)(9)" in sections(one, False)
    worst = one.failures[0]
    # The one line broken opens both: nearly the main's pressure on the district.
    assert worst.what == "worker_line broken"
    assert worst.peak > 30 * PSI
    assert "49 CFR 192.201(a)(1)" in sections(one, False)
    assert "appliance_over" in kinds(one, "must")


def test_equal_set_points_are_not_kept():
    found = shipped_station("district_station").scenario.station
    equal = tuple(replace(one, set_gauge_pressure=7.5 * IN_WC) for one in found.regulators)
    one = judge(built("district_station", regulators=equal))
    assert any("PI-71-082" in section for section in sections(one, False))
    assert "monitor_throttles" in kinds(one, "must")


def test_too_little_at_the_appliances_is_found():
    one = judge(changed("house_service", lowest_delivery_gauge_pressure=7.5 * IN_WC))
    assert "delivery" in kinds(one, "must")


def test_a_device_above_its_rating_is_not_kept():
    maxima = {"service_regulator": 50 * PSI}
    one = judge(changed("house_service", inlet_maxima=maxima))
    assert "49 CFR 192.143(a)" in sections(one, False)
    two = judge(changed("house_service", inlet_maxima={}))
    assert "fact_missing" in kinds(two)


def test_a_device_is_judged_by_the_failure_that_lifts_its_inlet_most():
    # By hand: second stage wide open, its inlet stays at what the first stage holds, 10 psig; first stage wide open, it
    # is lifted above 16 psig, where the yard's relief begins to open.
    for rating, good in ((15 * PSI, False), (20 * PSI, True)):
        one = judge(changed("propane_yard", kind="service", inlet_maxima={"second_stage": rating}))
        (verdict,) = [found for found in one.verdicts if found.section == "49 CFR 192.143(a)"]
        assert verdict.good is good
        low, high = sorted(failure.peaks["yard_line"] for failure in one.failures)
        assert low < 15 * PSI < 16 * PSI < high < 20 * PSI


def test_a_building_is_judged_by_its_worst_appliance_in_its_worst_failure(judged):
    # By hand: the forge is lifted by its own regulator wide open; with the first stage so, the second holds.
    (yard,) = judged["propane_yard"].verdicts
    assert yard.finding.startswith("With second_stage stuck wide open, the pressure in workshop reaches 21.")
    # By hand: an oven sees what the house line holds, 2 psig, once its own regulator stands wide open; with another one
    # so, its own holds 7 in. w.c.
    (bakery,) = judged["bakery"].verdicts
    oven = bakery.finding.removeprefix("With ").split("_")[0]
    assert bakery.finding.startswith(
        f"With {oven}_oven_regulator stuck wide open, the pressure in {oven}_oven_line reaches 2.1 psig"
    )


def test_what_a_second_seat_holds_may_be_too_much_for_the_next_regulator():
    maxima = {"service_regulator": 125 * PSI, "deck_oven_regulator": 2.3 * PSI, "rack_oven_regulator": 5 * PSI}
    one = judge(changed("bakery", inlet_maxima=maxima))
    (found,) = [found for found in one.findings if found.kind == "above_rating"]
    assert found.severity == "must"
    assert found.devices == ("service_regulator", "deck_oven_regulator")


def test_without_limits_there_is_nothing_to_judge_by():
    with pytest.raises(ScenarioError, match=r"\[limits\]"):
        judge(replace(shipped_station("bakery"), limits=None))
    with pytest.raises(ScenarioError, match="a volume whose pressure a regulator senses"):
        judge(changed("house_service", at="service_line"))


def test_a_good_station_has_no_findings():
    station = replace(
        monitored(above=7 * IN_WC, interstage=5e-5),
        relief_valves=(ReliefValve(set_gauge_pressure=22 * IN_WC),),
        loads=(Load(maximum_gauge_pressure=2 * PSI),),
    )
    limits = StationLimits(
        kind="service",
        at="outlet",
        maop=2 * PSI,
        maximum_actual_gauge_pressure=60 * PSI,
        lowest_delivery_gauge_pressure=4 * IN_WC,
        inlet_maxima={"worker": 125 * PSI, "monitor": 125 * PSI},
    )
    one = judge(StationFile("good", "Good", "Worker, monitor and relief.", Scenario(station), limits))
    assert one.findings == ()
    assert sections(one, False) == set()
    assert "Findings\n  none" in report(StationFile("good", "Good", "All.", Scenario(station), limits), "us")


def test_it_says_the_same_each_time(judged):
    assert judge(shipped_station("greenhouse_boiler")) == judged["greenhouse_boiler"]


# The text


@pytest.mark.parametrize("name", shipped_stations())
@pytest.mark.parametrize("system", ["us", "metric"])
def test_the_text_fits_a_terminal_and_has_every_part(judged, name, system):
    station, one = shipped_station(name), judged[name]
    text = text_of(station, one, system)
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH <= 100
    assert lines[0] == station.title
    flat = " ".join(text.split())
    heads = ("The ladder, from the top down", "Findings", "Worst single failures", "What the rules say")
    for head in (*heads, "Chance that a layer acts with nothing wrong", "Cautions"):
        assert sum(line.startswith(head) for line in lines) >= 1, head
    for verdict in one.verdicts:
        assert f"{verdict.section}: " in flat
    for found in one.findings:
        assert " ".join(found.mend.split()) in flat
    for failure in one.failures:
        assert failure.what in flat
        assert format_pressure(failure.peak, system) in text
    assert ("Reliefs: what they pass" in text) == bool(one.capacity)
    for words in ("This is teaching", "The operator", "licensed practice", "Never plug a vent"):
        assert words in flat
    assert "\x1b" not in text
    assert ".." not in text


def test_the_ladder_is_drawn_from_the_top_down(judged):
    one = judged["greenhouse_boiler"]
    lines = (
        text_of(shipped_station("greenhouse_boiler"), one, "us").split("tolerance\n")[1].split("\n\n")[0].splitlines()
    )
    assert len(lines) == len(one.rungs)
    for line, rung in zip(lines, reversed(one.rungs), strict=True):
        assert line.strip().startswith(format_pressure(rung.gauge_pressure, "us"))
        assert rung.name in line
        assert KINDS[rung.kind] in line
    marks = [max(line.find("|"), line.find("#")) for line in lines]
    assert marks == sorted(marks, reverse=True)
    assert marks[0] > marks[-1]
    assert "30.4 to 33.6" in lines[1]  # the slam-shut's 5 % of 32 in. w.c.
    assert "-" * 10 in lines[0]


def test_units_are_those_asked_for(judged):
    assert report(shipped_station("greenhouse_boiler"), "us") == text_of(
        shipped_station("greenhouse_boiler"), judged["greenhouse_boiler"], "us"
    )
    metric = text_of(shipped_station("greenhouse_boiler"), judged["greenhouse_boiler"], "metric").split("\nFindings\n")[
        0
    ]
    assert "mbar" in metric
    assert "in. w.c." not in metric


def test_a_spoilt_station_s_text_says_must_and_not_kept():
    found = shipped_station("district_station")
    shared = tuple(replace(one, senses="worker_line") for one in found.scenario.station.regulators)
    text = report(built("district_station", regulators=shared, relief_valves=()), "us")
    assert "\n  must    " in text
    assert "\n  not kept  49 CFR 192.203(b)(9): " in text
    assert "must be mended" in text


def test_the_layers_of_a_station_do_not_change_by_being_judged():
    before = shipped_station("bakery")
    assert isinstance(before.scenario.station, Station)
    judge(before)
    assert shipped_station("bakery") == before
