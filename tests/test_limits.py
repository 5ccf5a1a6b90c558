"""Published limits: each number against its source in published.toml, each edge, each sentence."""

from datetime import date, datetime
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import published

from toolkit import limits
from toolkit.errors import ScenarioError
from toolkit.limits import SERVICE_REGULATOR_FEATURES as FEATURES
from toolkit.limits import (
    Limit,
    control_lines_apart,
    delivery_band,
    equipment_rating,
    fuel_gas_code_limit,
    inspection_due,
    low_pressure_limit,
    overpressure_limit,
    series_regulators,
    service_regulator_build_up,
    service_regulator_rule,
    within,
)
from toolkit.references import SOURCES
from toolkit.units import IN_WC, PSI, parse_quantity

ALL = set(FEATURES)
BELOW, ABOVE = 1 - 1e-6, 1 + 1e-6
MIDDLE, HIGH = (value * PSI for value in published("cfr_192_201_edges").value)
LOW_RISE, MIDDLE_RISE, HIGH_RISE = published("cfr_192_201_rises").value
SPLIT = published("cfr_192_197_split").value * PSI
RELIEF_ALONE = published("cfr_192_197_relief_alone").value * PSI
BUILDING = published("code_fuel_gas_416_limit").value * PSI
APPLIANCE = published("code_fuel_gas_416_appliance").value * IN_WC
LOWEST, HIGHEST = (value * IN_WC for value in published("code_pa_59_29_band").value)


def only(verdicts):
    (verdict,) = verdicts
    return verdict


# 49 CFR 192.201


@pytest.mark.parametrize(
    ("maop", "expected", "paragraph"),
    [
        (5 * PSI, 5 * (1 + LOW_RISE) * PSI, "(iii)"),
        (MIDDLE * BELOW, MIDDLE * BELOW * (1 + LOW_RISE), "(iii)"),
        (MIDDLE, MIDDLE + MIDDLE_RISE * PSI, "(ii)"),
        (20 * PSI, (20 + MIDDLE_RISE) * PSI, "(ii)"),
        (HIGH * BELOW, HIGH * BELOW + MIDDLE_RISE * PSI, "(ii)"),
        (HIGH, HIGH * (1 + HIGH_RISE), "(i)"),
        (300 * PSI, 300 * (1 + HIGH_RISE) * PSI, "(i)"),
    ],
)
def test_the_limit_follows_the_maop_and_its_edges_belong_to_the_higher_rule(maop, expected, paragraph):
    limit = overpressure_limit(maop)
    assert limit.gauge_pressure == pytest.approx(expected, rel=1e-12)
    assert limit.section == f"49 CFR 192.201(a)(2){paragraph}"


@pytest.mark.parametrize("text", ["60 psig", "12 psig"])
def test_a_typed_edge_falls_under_the_same_rule_as_an_exact_one(text):
    typed = parse_quantity(text, "gauge_pressure")
    exact = float(text.split()[0]) * PSI
    for noise in (typed, exact * (1 - 1e-15), exact * (1 + 1e-15)):
        assert overpressure_limit(noise).section == overpressure_limit(exact).section


def test_the_metric_figures_printed_in_the_rule_agree():
    printed = published("cfr_192_201_kilopascals")
    printed.check([pressure / 1000 for pressure in (limits.MIDDLE_MAOP, limits.MIDDLE_ALLOWANCE, limits.HIGH_MAOP)])


def test_the_lower_of_ten_per_cent_and_the_share_of_smys_counts():
    share = published("cfr_192_201_smys").value
    maop = 720 * PSI
    lower = overpressure_limit(maop, 1000 * PSI)
    assert lower.gauge_pressure == pytest.approx(share * 1000 * PSI)
    assert lower.gauge_pressure < overpressure_limit(maop).gauge_pressure
    assert "SMYS" in lower.rule
    assert overpressure_limit(maop, 2000 * PSI) == overpressure_limit(maop)
    # Below 60 psi the rule does not speak of SMYS.
    assert overpressure_limit(20 * PSI, 30 * PSI) == overpressure_limit(20 * PSI)
    assert overpressure_limit(share * 1000 * PSI, 1000 * PSI).gauge_pressure == pytest.approx(share * 1000 * PSI)
    with pytest.raises(ScenarioError, match="smys_gauge_pressure"):
        overpressure_limit(share * 1000 * PSI * ABOVE, 1000 * PSI)


@given(st.floats(1.0, 5e6), st.floats(1.0, 5e6))
def test_a_higher_maop_never_gives_a_lower_limit(one, other):
    low, high = sorted((one, other))
    assert low < overpressure_limit(low).gauge_pressure <= overpressure_limit(high).gauge_pressure * (1 + 1e-8)


def test_a_low_pressure_system_is_limited_by_its_weakest_equipment():
    limit = low_pressure_limit({"range": 14 * IN_WC, "old heater": 10.5 * IN_WC})
    assert limit.gauge_pressure == 10.5 * IN_WC
    assert "old heater" in limit.rule
    assert limit.section == "49 CFR 192.201(a)(1)"
    nothing_known = low_pressure_limit({})
    assert nothing_known.gauge_pressure == inf
    assert within(nothing_known, 20 * IN_WC).good is None


# Against a limit


def test_a_pressure_at_the_limit_is_within_and_one_above_is_not():
    limit = overpressure_limit(HIGH)
    assert within(limit, limit.gauge_pressure).good is True
    assert within(limit, -50.0).good is True
    over = within(limit, limit.gauge_pressure * ABOVE, "The main")
    assert over.good is False
    assert over.finding == (
        "The main reaches 66.0 psig (4.55 bar), just above the limit of 66.0 psig (4.55 bar): MAOP plus 10 %."
    )
    assert over.mend.endswith("at or below 66.0 psig (4.55 bar).")
    assert (over.section, over.source) == (limit.section, "cfr-192-201")
    assert " above the limit" in within(limit, 80 * PSI).finding
    assert "just" not in within(limit, 80 * PSI).finding


def test_each_device_has_its_own_verdict_on_its_rating():
    verdicts = equipment_rating(10 * PSI, {"gas valve": 0.5 * PSI, "line regulator": 10 * PSI})
    assert [verdict.good for verdict in verdicts] == [False, True]
    assert "on the gas valve reaches 10.0 psig (0.69 bar), above" in verdicts[0].finding
    assert "13.8 in. w.c. (34.5 mbar)" in verdicts[0].finding
    assert verdicts[0].section == "49 CFR 192.143(a)"


# 49 CFR 192.197


def test_at_most_sixty_psi_a_service_regulator_with_all_six_features_suffices():
    verdict = only(service_regulator_rule(SPLIT, ALL))
    assert verdict.good is True
    assert verdict.section == "49 CFR 192.197(a)"
    assert verdict.finding.startswith("At 60.0 psig (4.14 bar) ")
    # PHMSA interpretation PI-71-062: the federal rule permits it without an internal relief or shutoff.
    assert len(ALL) == 6


@pytest.mark.parametrize("feature", sorted(FEATURES))
def test_one_missing_feature_calls_for_a_protection(feature):
    bare = only(service_regulator_rule(SPLIT, ALL - {feature}))
    assert bare.good is False
    assert bare.section == "49 CFR 192.197(b)"
    assert FEATURES[feature] in bare.finding
    assert "monitoring regulator" in bare.mend
    # The kinds that Wis. PSC 135.197(ew) lists as suitable.
    for guard in ("monitor", "relief", "shutoff"):
        guarded = only(service_regulator_rule(SPLIT, ALL - {feature}, {guard}))
        assert guarded.good is True
        assert guarded.section == "49 CFR 192.197(b)"


def test_gas_that_upsets_regulators_calls_for_a_protection():
    assert only(service_regulator_rule(SPLIT, ALL, clean_gas=False)).good is False
    assert "the gas upsets" in only(service_regulator_rule(SPLIT, ALL, {"relief"}, clean_gas=False)).finding
    # An upstream regulator does not act at the appliances.
    assert only(service_regulator_rule(SPLIT, set(), upstream_set_gauge_pressure=SPLIT)).good is False


def test_above_sixty_psi_a_service_regulator_alone_never_suffices():
    verdict = only(service_regulator_rule(SPLIT * ABOVE, ALL))
    assert verdict.good is False
    assert verdict.section == "49 CFR 192.197(c)"
    assert verdict.finding.startswith("At 60.0 psig (4.14 bar), above 60.0 psig")


@pytest.mark.parametrize(("guard", "paragraph"), [("monitor", "(c)(2)"), ("shutoff", "(c)(4)")])
def test_above_sixty_psi_a_monitor_or_a_shutoff_is_a_method(guard, paragraph):
    verdict = only(service_regulator_rule(300 * PSI, set(), {guard}))
    assert verdict.good is True
    assert verdict.section == f"49 CFR 192.197{paragraph}"


def test_a_relief_guards_alone_to_125_psi_and_within_the_rating_only():
    def relief(inlet, rated, *more):
        return service_regulator_rule(inlet, ALL, {"relief", *more}, rated_inlet_gauge_pressure=rated)

    assert only(relief(RELIEF_ALONE, RELIEF_ALONE)).good is True
    assert only(relief(RELIEF_ALONE, None)).good is None
    assert only(relief(RELIEF_ALONE, RELIEF_ALONE * BELOW)).good is False
    beyond = only(relief(RELIEF_ALONE * ABOVE, 2 * RELIEF_ALONE))
    assert beyond.good is False
    assert "just above the 125.0 psig (8.62 bar)" in beyond.finding
    assert beyond.section == "49 CFR 192.197(c)(3)"
    # With a monitor it does not guard alone.
    assert only(relief(2 * RELIEF_ALONE, None, "monitor")).section == "49 CFR 192.197(c)(2)"


def test_an_upstream_regulator_needs_its_limit_its_setting_and_the_six_features():
    def upstream(features=ALL, set_point=SPLIT, limit=SPLIT):
        return only(
            service_regulator_rule(
                150 * PSI, features, upstream_set_gauge_pressure=set_point, upstream_limit_gauge_pressure=limit
            )
        )

    assert upstream().good is True
    assert upstream().section == "49 CFR 192.197(c)(1)"
    assert "no relief or manual-reset shutoff" in upstream(limit=None).finding
    assert "only held to 61.0 psig" in upstream(limit=61 * PSI).finding
    assert "upstream set point of 60.0 psig (4.14 bar) is just above" in upstream(set_point=SPLIT * ABOVE).finding
    assert "lacks" in upstream(features=ALL - {"single_port"}).finding
    for bad in (upstream(limit=None), upstream(limit=61 * PSI), upstream(set_point=61 * PSI), upstream(features=set())):
        assert bad.good is False
        assert bad.mend


def test_build_up_at_no_flow_by_the_federal_rule_and_by_one_state():
    share = published("code_wis_135_197_build_up").value
    flowing = 7 * IN_WC
    edge = flowing * (1 + share)
    federal, state = service_regulator_build_up(flowing, edge)
    assert (federal.good, state.good) == (None, True)
    assert federal.section == "49 CFR 192.197(a)(5)"
    assert state.section == "Wis. PSC 135.197(dw)"
    assert "50 % of the 7.0 in. w.c. (17.4 mbar)" in state.finding
    assert service_regulator_build_up(flowing, edge * ABOVE)[1].good is False
    assert service_regulator_build_up(flowing, 6 * IN_WC)[1].good is True
    weak = {"range": 9 * IN_WC}
    assert [verdict.good for verdict in service_regulator_build_up(flowing, 10 * IN_WC, weak)] == [False, True]
    assert [verdict.good for verdict in service_regulator_build_up(flowing, 9 * IN_WC, weak)] == [True, True]


# The fuel gas code and the states


def test_the_building_limit_holds_above_two_psi_for_low_pressure_appliances():
    limit = fuel_gas_code_limit(BUILDING * ABOVE, APPLIANCE)
    assert limit.gauge_pressure == pytest.approx(BUILDING, rel=1e-12)
    assert limit.section == "NFPA 54 5.9 and IFGC 416"
    assert within(limit, BUILDING).good is True
    assert within(limit, BUILDING * ABOVE).good is False
    for no_number in (fuel_gas_code_limit(BUILDING, APPLIANCE), fuel_gas_code_limit(5 * PSI, APPLIANCE * ABOVE)):
        assert no_number.gauge_pressure == inf
        assert within(no_number, 1 * PSI).good is None
    # Known from memory only, and said so.
    assert SOURCES[limit.source].how_known == "from memory"


@pytest.mark.parametrize(
    ("gauge", "good", "paragraph"),
    [
        (LOWEST * BELOW, False, "(b)"),
        (LOWEST, True, "(a) and (b)"),
        (7 * IN_WC, True, "(a) and (b)"),
        (HIGHEST, True, "(a) and (b)"),
        (HIGHEST * ABOVE, False, "(a)"),
        (-1 * IN_WC, False, "(b)"),
    ],
)
def test_low_pressure_delivery_lies_in_its_band(gauge, good, paragraph):
    verdict = delivery_band(gauge)
    assert verdict.good is good
    assert verdict.section == f"52 Pa. Code 59.29{paragraph}"


def test_the_band_agrees_with_the_ounces_printed_beside_it():
    ounce = PSI / 16
    published("code_pa_59_29_ounces").check([limits.LOWEST_DELIVERY / ounce, limits.HIGHEST_DELIVERY / ounce])


# Layout and dates


def test_one_damaged_control_line_must_not_defeat_both():
    assert control_lines_apart(False).good is True
    shared = control_lines_apart(True)
    assert shared.good is False
    assert shared.section == "49 CFR 192.203(b)(9)"
    assert "of its own" in shared.mend


def test_worker_and_monitor_must_not_be_set_alike():
    alike = series_regulators(20 * PSI, 20 * PSI * (1 + 1e-12))
    assert alike.good is False
    assert "20.0 psig (1.38 bar)" in alike.finding
    assert "PI-71-082" in alike.section
    assert series_regulators(20 * PSI, 22 * PSI).good is True
    assert series_regulators(20 * PSI, 18 * PSI).good is True


@pytest.mark.parametrize(
    ("last", "due", "why"),
    [
        (date(2025, 1, 10), date(2026, 4, 10), "months"),
        (date(2025, 9, 30), date(2026, 12, 30), "months"),
        (date(2025, 10, 1), date(2026, 12, 31), "year"),
        (date(2025, 12, 20), date(2026, 12, 31), "year"),
        (date(2026, 1, 31), date(2027, 4, 30), "months"),
    ],
)
def test_the_next_inspection_comes_within_15_months_and_the_next_calendar_year(last, due, why):
    # The day itself is still in time: PHMSA interpretation PI-92-052.
    in_time, late = inspection_due(last, due), inspection_due(last, date.fromordinal(due.toordinal() + 1))
    assert (in_time.good, late.good) == (True, False)
    assert due.isoformat() in in_time.finding
    assert due.isoformat() in late.finding
    assert why in in_time.finding
    assert in_time.section == "49 CFR 192.739(a) and 192.743(a)"


def test_the_months_are_those_of_the_rule():
    assert published("cfr_192_739_months").value == limits.INSPECTION_MONTHS


def test_dates_out_of_order_or_of_another_kind_are_refused():
    with pytest.raises(ScenarioError, match="not after 2025-05-01"):
        inspection_due(date(2025, 5, 2), date(2025, 5, 1))
    for odd in (datetime(2025, 1, 1), "2025-01-01", None, date(1, 1, 1), date(9999, 12, 31)):
        with pytest.raises(ScenarioError, match="last"):
            inspection_due(odd, date(2025, 5, 1))


# Every verdict, every refusal


def every_verdict():
    some = [within(limit, gauge) for limit in all_limits() for gauge in (1 * IN_WC, 500 * PSI)]
    for inlet in (30 * PSI, 100 * PSI, 200 * PSI):
        for guards in (set(), {"monitor"}, {"relief"}, {"shutoff"}, {"monitor", "relief", "shutoff"}):
            for features in (ALL, ALL - {"single_port", "resilient_seat", "self_contained"}):
                some += service_regulator_rule(inlet, features, guards)
                some += service_regulator_rule(inlet, features, guards, clean_gas=False, rated_inlet_gauge_pressure=5e5)
                some += service_regulator_rule(inlet, features, guards, upstream_set_gauge_pressure=70 * PSI)
    some += [*service_regulator_build_up(7 * IN_WC, 20 * IN_WC), *equipment_rating(1e4, {"valve": 2e4, "meter": 5e3})]
    some += [delivery_band(gauge) for gauge in (100.0, 2000.0, 5000.0)]
    some += [control_lines_apart(True), control_lines_apart(False)]
    some += [series_regulators(1e5, 1e5), series_regulators(1e5, 2e5)]
    return some + [inspection_due(date(2025, 1, 1), date(year, 1, 2)) for year in (2026, 2027)]


def all_limits():
    yield from (overpressure_limit(maop) for maop in (5 * PSI, 20 * PSI, 100 * PSI))
    yield overpressure_limit(720 * PSI, 1000 * PSI)
    yield from (low_pressure_limit({}), low_pressure_limit({"range": 14 * IN_WC}))
    yield from (fuel_gas_code_limit(5 * PSI, APPLIANCE), fuel_gas_code_limit(5 * PSI, PSI))
    yield fuel_gas_code_limit(PSI, APPLIANCE)


def test_every_verdict_is_one_sentence_with_its_section_its_source_and_a_way_to_mend():
    verdicts = every_verdict()
    assert {verdict.good for verdict in verdicts} == {True, False, None}
    for verdict in verdicts:
        sentence = verdict.finding.replace("in. w.c.", "inches").replace("2 in. (", "2 inches (")
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert ". " not in sentence
        assert ".." not in sentence
        assert (verdict.mend == "") is (verdict.good is True)
        assert not verdict.mend or (verdict.mend[0].isupper() and verdict.mend.endswith("."))
        assert verdict.source in SOURCES
        assert any(word in verdict.section for word in ("49 CFR 192.", "Wis. PSC", "NFPA 54", "52 Pa. Code"))
        for us, metric in (("psi", " bar)"), ("in. w.c.", " mbar)")):
            assert verdict.finding.count(us) == verdict.finding.count(metric)


def test_every_limit_names_its_section_and_its_source():
    for limit in all_limits():
        assert limit.rule
        assert limit.source in SOURCES
        assert any(word in limit.section for word in ("49 CFR 192.201(a)", "NFPA 54"))


@pytest.mark.parametrize(
    ("field", "call"),
    [
        ("maop_gauge_pressure", lambda: overpressure_limit(0.0)),
        ("maop_gauge_pressure", lambda: overpressure_limit(nan)),
        ("maop_gauge_pressure", lambda: overpressure_limit("60 psi")),
        ("smys_gauge_pressure", lambda: overpressure_limit(100 * PSI, -1.0)),
        ("gauge_pressure", lambda: within(overpressure_limit(PSI), inf)),
        ("gauge_pressure", lambda: within(overpressure_limit(PSI), -2e5)),
        ("gauge_pressure", lambda: Limit(nan, "rule", "section", "cfr-192-201")),
        ("gauge_pressure", lambda: Limit(0.0, "rule", "section", "cfr-192-201")),
        ("inlet_maxima.range", lambda: low_pressure_limit({"range": 0.0})),
        ("inlet_maxima", lambda: low_pressure_limit([1000.0])),
        ("inlet_maxima", lambda: low_pressure_limit({"": 1000.0})),
        ("inlet_maxima", lambda: equipment_rating(1000.0, {})),
        ("supply_gauge_pressure", lambda: fuel_gas_code_limit(-1.0, APPLIANCE)),
        ("appliance_gauge_pressure", lambda: fuel_gas_code_limit(PSI, 0.0)),
        ("features", lambda: service_regulator_rule(SPLIT, {"golden_seat"})),
        ("features", lambda: service_regulator_rule(SPLIT, "single_port")),
        ("features", lambda: service_regulator_rule(SPLIT, [["single_port"]])),
        ("protections", lambda: service_regulator_rule(SPLIT, ALL, {"luck"})),
        ("clean_gas", lambda: service_regulator_rule(SPLIT, ALL, clean_gas=1)),
        ("maximum_actual_gauge_pressure", lambda: service_regulator_rule(-1.0, ALL)),
        ("upstream_set_gauge_pressure", lambda: service_regulator_rule(SPLIT, ALL, upstream_limit_gauge_pressure=1e5)),
        ("rated_inlet_gauge_pressure", lambda: service_regulator_rule(SPLIT, ALL, rated_inlet_gauge_pressure=True)),
        ("flowing_gauge_pressure", lambda: service_regulator_build_up(0.0, 1.0)),
        ("no_flow_gauge_pressure", lambda: service_regulator_build_up(1.0, nan)),
        ("gauge_pressure", lambda: delivery_band(None)),
        ("shared_tap", lambda: control_lines_apart("no")),
        ("worker_set_gauge_pressure", lambda: series_regulators(0.0, 1e5)),
        ("monitor_set_gauge_pressure", lambda: series_regulators(1e5, nan)),
    ],
)
def test_bad_input_is_refused_with_the_name_of_the_field(field, call):
    with pytest.raises(ScenarioError) as caught:
        call()
    assert caught.value.field == field
    assert caught.value.mend
