"""What lesson 06 states: its numbers worked out anew, the source of each rule it tells, and what it teaches."""

from __future__ import annotations

import pytest
from lesson_text import DAY_AT, HERE, INLET_GAUGE, NIGHT_AT, OUTLET, PASSES, area_of, bench_trace, both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure, relief_start_gauge_pressure
from toolkit.panels import lesson_05, lesson_06
from toolkit.panels.regulator_view import DUSK
from toolkit.panels.words import vented_words
from toolkit.quiz.lesson_06 import shut_gauge_pressure
from toolkit.units import IN_WC, INCH, format_quantity

RATING = HERE.loads[0].maximum_gauge_pressure
HARD = "hard: grit, weld slag"
# One step of the slider in US units.
GRIT = 0.002 * INCH


def worked() -> dict[str, str]:
    well, failed = bench_trace(lesson_06, failure="nothing else"), bench_trace(lesson_06)
    (worker,) = failed.scenario.station.regulators
    condition, second = worker.condition(), worker.second_seat
    seated, lift, area = relief_start_gauge_pressure(condition), worker.travel, worker.diaphragm_area
    down = worker.lever_ratio * lift
    less, more = worker.spring_rate * down, (second.spring_rate + worker.spring_rate) * second.travel
    left = seated - less / area
    per_travel = worker.area_growth / down
    begins = left / (1 + worker.area_growth)
    shut = (left + more / area) / (1 + per_travel * (down - second.travel))
    worst = (seated + more / area) / (1 - per_travel * second.travel)
    # The steps are the closed forms, and these are what the bench does.
    assert begins == pytest.approx(relief_start_gauge_pressure(condition, lift), rel=1e-9)
    assert shut == pytest.approx(shut_gauge_pressure(worker, lift), rel=1e-9)
    assert worst == pytest.approx(shut_gauge_pressure(worker), rel=1e-9)
    assert shut == pytest.approx(failed.at(OUTLET, NIGHT_AT), rel=2e-3)
    # "once at rest"; "for a moment it can be a little more"
    grit = bench_trace(lesson_06, failure="nothing else", hardness=HARD, debris=GRIT)
    assert grit.at(OUTLET, NIGHT_AT) < worst < grit.peak(OUTLET)[1] < RATING
    lock_up = lock_up_gauge_pressure(condition, INLET_GAUGE)
    assert lock_up == pytest.approx(well.at(OUTLET, NIGHT_AT), rel=2e-3)
    return {
        "seated": pressure(seated),
        "lift": both(lift, "small_length"),
        "down": both(down, "small_length"),
        "main spring": both(worker.spring_rate, "spring_rate"),
        "less": both(less, "force"),
        "area": area_of(area),
        "taken off": both(less / area, "pressure_difference"),
        "left": pressure(left),
        "grown": f"{worker.area_growth:.0%}".replace("%", " %"),
        "begins": pressure(begins),
        "travel": both(second.travel, "small_length"),
        "own spring": both(second.spring_rate, "spring_rate"),
        "more": both(more, "force"),
        "added": both(more / area, "pressure_difference"),
        "before the area": pressure(left + more / area),
        "larger": f"{per_travel * (down - second.travel):.0%}".replace("%", " %"),
        "shut": pressure(shut),
        "by day": pressure(failed.at(OUTLET, DAY_AT)),
        "worst before the area": pressure(seated + more / area),
        "smaller": f"{per_travel * second.travel:.0%}".replace("%", " %"),
        "worst": pressure(worst),
        "grit": both(GRIT, "small_length"),
        "grit, peak": pressure(grit.peak(OUTLET)[1]),
        "rating": pressure(RATING),
        "spare": both(RATING - worst, "pressure_difference"),
        "lock-up": pressure(lock_up),
        "least raised": both(shut - lock_up, "pressure_difference"),
        "most raised": both(worst - lock_up, "pressure_difference"),
    }


def happened() -> dict[str, str]:
    well, failed, bare = (
        bench_trace(lesson_06, **chosen) for chosen in ({"failure": "nothing else"}, {}, {"fitted": "not fitted"})
    )
    (worker,) = failed.scenario.station.regulators
    # "stands wide open"; "The burners keep burning, and nothing is let off"; below the rating all the time
    assert lesson_06.began(well) is None
    assert failed[PASSES][failed.times < DUSK].min() >= 0.99 * well.at(PASSES, DAY_AT)
    assert vented_words(failed, "us") == "none"
    assert failed.peak(OUTLET)[1] < RATING < bare.at(OUTLET, DAY_AT)
    # "The nearer the disk is to its own seat, the higher": the hump stays below the worst
    assert failed.at(OUTLET, NIGHT_AT) < failed.peak(OUTLET)[1] < shut_gauge_pressure(worker)
    grit = bench_trace(lesson_06, failure="nothing else", hardness=HARD, debris=GRIT)
    # "it moves every night with nothing wrong"; "hardly any gas is stored": no more than the hump
    near = bench_trace(lesson_06, failure="nothing else", above=0.5 * IN_WC)
    assert lesson_06.began(near) > DUSK
    start = relief_start_gauge_pressure(near.scenario.station.regulators[0].condition())
    assert start < lock_up_gauge_pressure(worker.condition(), INLET_GAUGE)
    far, up = bench_trace(lesson_06, above=14 * IN_WC), bench_trace(lesson_06, set_point=10 * IN_WC)
    monitored = bench_trace(lesson_05, failure="worker's sensing line broken")
    rows = {}
    for failure, seat in (
        ("worker stuck wide open", "shut"),
        ("sensing line broken", "open"),
        ("vent blocked", "open"),
        ("diaphragm torn wide", "open"),
        ("one slug of grit through both seats", "down, held off by dirt"),
    ):
        run = bench_trace(lesson_06, failure=failure)
        assert lesson_06.seat_words(run, NIGHT_AT) == seat
        assert (run.peak(OUTLET)[1] > RATING) == (seat != "shut")
        rows[failure] = f"| {failure} | {pressure(run.at(OUTLET, DAY_AT))} | {pressure(run.at(OUTLET, NIGHT_AT))} |"
        rows[failure] += f" {seat} |"
    # The seconds that "Predict and try" gives show what the text says of day and night.
    for run in (well, failed):
        assert pressure(run.at(OUTLET, 110.0)) == pressure(run.at(OUTLET, DAY_AT))
        assert pressure(run.at(OUTLET, 410.0)) == pressure(run.at(OUTLET, NIGHT_AT))
    # "the disk was not yet wide open"
    (acts,) = failed.happened("second_seat_acts")
    assert failed.at("worker_lift", acts.time) < 0.9 * worker.travel
    raised = failed.at(OUTLET, DAY_AT) - well.at(OUTLET, DAY_AT)
    assert raised / IN_WC == pytest.approx(3, abs=0.15)
    return {
        "begins": pressure(relief_start_gauge_pressure(worker.condition())),
        "begins, on its way": pressure(acts.value),
        "burners": both(failed.at(PASSES, DAY_AT), "standard_flow"),
        "burners' rating": both(failed.scenario.station.loads[0].rated_flow, "standard_flow"),
        "well, day": pressure(well.at(OUTLET, DAY_AT)),
        "well, night": pressure(well.at(OUTLET, NIGHT_AT)),
        "open, day": pressure(failed.at(OUTLET, DAY_AT)),
        "open, night": pressure(failed.at(OUTLET, NIGHT_AT)),
        "rating": pressure(RATING),
        "bare, day": pressure(bare.at(OUTLET, DAY_AT)),
        "bare, night": pressure(bare.at(OUTLET, NIGHT_AT)),
        "hump": pressure(failed.peak(OUTLET)[1]),
        "grit": both(GRIT, "small_length"),
        "grit, night": pressure(grit.at(OUTLET, NIGHT_AT)),
        "raised": f"about 3 in. w.c. ({format_quantity(raised, 'pressure_difference', 'metric')})",
        "too near": both(0.5 * IN_WC, "pressure_difference"),
        "near begins": pressure(start),
        "too far": both(14 * IN_WC, "pressure_difference"),
        "far, night": pressure(far.at(OUTLET, NIGHT_AT)),
        "turned up": pressure(10 * IN_WC),
        "up, day": pressure(up.at(OUTLET, DAY_AT)),
        "up, hump": pressure(up.peak(OUTLET)[1]),
        **rows,
        "monitor": pressure(monitored.at(OUTLET, DAY_AT)),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("built so that one can test where it acts and whether it leaks", "cfr-192-199"),  # 192.199(c)
    ("each calendar year, at most 15 months apart", "cfr-192-739"),
    ("one single incident must not affect both the regulator and its protection", "cfr-192-199"),  # 192.199(g)
    ("Damage to one control line must not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("jammed a regulator and its backup at once", "fairport-harbor-2011"),
]

_BENCH = "test tests/test_panel_lesson_06.py::"
# Each sentence that the lesson teaches, as it stands there, and what bears it out.
TEACHES = [
    ("While the worker's disk follows the diaphragm, the second seat stands wide open.", "bench"),
    (
        "It travels on against a spring of its own, and shuts the second seat.",
        _BENCH + "test_at_no_flow_the_outlet_stands_where_the_force_balance_has_it",
    ),
    ("The burners keep burning, and nothing is let off.", "bench"),
    (
        "The nearer the worker's disk is to its own seat, the higher the second seat holds.",
        _BENCH + "test_the_nearer_the_disk_to_its_seat_the_higher_the_second_seat_holds",
    ),
    (
        "That is below the worker's lock-up, so it moves every night with nothing wrong.",
        _BENCH + "test_set_below_lock_up_it_moves_every_night_and_the_sentence_says_so",
    ),
    (
        "It must act above the lock-up, and hold below the highest inlet pressure of whatever stands behind it.",
        "item 06.order",
    ),
    (
        "The second seat's spring works against the same main spring.",
        _BENCH + "test_the_second_seat_moves_along_with_the_workers_screw",
    ),
    ("A broken line leaves the diaphragm without pressure, and it opens both seats wide.", "item 06.blind"),
    ("A blocked vent locks air in above the diaphragm, and it cannot rise far enough.", "bench"),
    ("A torn diaphragm lets the gas through to its other side, and it no longer lifts.", "item 06.blind"),
    ("A slug of grit fouls the two seats in one go.", "item 06.blind"),
    ("With the worker's line broken it still holds 11.0 in. w.c. (27.4 mbar).", "bench"),
    (
        "Hold the worst against the rating, not the 11.0 in. w.c. (27.4 mbar) at which it begins.",
        "item 06.line_regulators",
    ),
    ("If it creeps on, past the worst, the second seat does not hold.", "item 06.creep_stops"),
    ("Gas at the vent points to a torn diaphragm, and then the second seat is no guard.", "item 06.visit"),
    ("A raised and steady outlet says that the worker has failed and the second seat has held.", "item 06.visit"),
    (
        "Federal rules want a limiting device built so that one can test where it acts and whether it leaks.",
        "source cfr-192-199",
    ),
    ("Stations are inspected and tested each calendar year, at most 15 months apart.", "source cfr-192-739"),
    ("Damage to one control line must not take out both, either.", "source cfr-192-203"),
]
