"""What lesson 05 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

import pytest
from lesson_text import DAY_AT, HERE, INLET_GAUGE, INTERSTAGE, NIGHT_AT, OUTLET, PASSES, bench_trace, both, pressure

from toolkit.devices.regulator import lock_up_gauge_pressure
from toolkit.ladder import take_over_gauge_pressure
from toolkit.panels import lesson_05, monitor_station
from toolkit.panels.regulator_view import DUSK
from toolkit.panels.words import vented_words
from toolkit.units import FOOT, IN_WC, MBAR, PSI, format_pressure, format_quantity


def worked() -> dict[str, str]:
    well, failed = bench_trace(lesson_05, failure="nothing else"), bench_trace(lesson_05)
    monitor, worker = failed.scenario.station.regulators
    set_point = monitor.set_gauge_pressure
    starts, rating = take_over_gauge_pressure(monitor.condition()), HERE.loads[0].maximum_gauge_pressure
    lock_up = lock_up_gauge_pressure(worker.condition(), INLET_GAUGE)
    held = lock_up_gauge_pressure(monitor.condition(), INLET_GAUGE)
    allowance = set_point - starts
    # The closed forms are what the bench does; "the monitor must still be wide open".
    assert well.at(OUTLET, NIGHT_AT) == pytest.approx(lock_up, rel=2e-3)
    assert failed.at(OUTLET, NIGHT_AT) == pytest.approx(held, rel=2e-3)
    assert well.at("monitor_lift", NIGHT_AT) == pytest.approx(monitor.travel)
    between, behind = monitor_station.INTERSTAGE, monitor_station.OUTLET
    (fault,) = failed.scenario.faults
    # "looks fine", yet "it moves along with the worker"
    near = bench_trace(lesson_05, failure="nothing else", above=2 * IN_WC)
    too_near = near.scenario.station.regulators[0]
    by_day, at_night = (near.at("monitor_lift", time) / too_near.travel for time in (DAY_AT, NIGHT_AT))
    assert take_over_gauge_pressure(too_near.condition()) < near.at(OUTLET, DAY_AT)
    assert near.at(INTERSTAGE, DAY_AT) == pytest.approx(well.at(INTERSTAGE, DAY_AT), rel=5e-3)
    # What the text multiplies, and what comes of it with the rounded numbers that stand there.
    spike = (between * INLET_GAUGE + behind * lock_up) / (between + behind)
    feet = (round(0.0106 * 60 * 27.68, 1), round(round(behind / FOOT**3, 3) * round(lock_up / IN_WC, 1), 1))
    # 20.0 L times the 19.4 mbar that stand there are 388: the lock-up's next digit makes it 389.
    litres = (round(between / 1e-3 * INLET_GAUGE / MBAR), round(behind / 1e-3 * lock_up / MBAR))
    assert round(sum(feet) / round((between + behind) / FOOT**3, 3), 1) == round(spike / IN_WC, 1)
    assert round(sum(litres) / round((between + behind) / 1e-3, 1), 1) == round(spike / MBAR, 1)
    return {
        "lock-up": pressure(lock_up),
        "set point": pressure(set_point),
        "starts": pressure(starts),
        "allowance": both(allowance, "pressure_difference"),
        "lowest": pressure(lock_up + allowance),
        "near": pressure(too_near.set_gauge_pressure),
        "near, between": pressure(near.at(INTERSTAGE, DAY_AT)),
        "near, lifts": f"only {by_day:.0%} open, and at night {at_night:.0%}".replace("%", " %"),
        "to spare": both(starts - lock_up, "pressure_difference"),
        "held": pressure(held),
        "rating": pressure(rating),
        "left": both(rating - held, "pressure_difference"),
        "between": f"{between / FOOT**3:.4f} ft³ ({format_quantity(between, 'volume', 'metric')})",
        "a psi": f"1 psi is {PSI / IN_WC:.2f} in. w.c. ({format_pressure(PSI, 'metric')})",
        "in one unit": f"{INLET_GAUGE / IN_WC:,.0f} in. w.c. ({INLET_GAUGE / MBAR:,.0f} mbar)",
        "multiplied": f"{feet[0]} and {feet[1]} (in litres and mbar {litres[0]:,} and {litres[1]})",
        "together": both(between + behind, "volume"),
        "inlet": pressure(INLET_GAUGE),
        "behind": both(behind, "volume"),
        "spike": pressure(spike),
        "ramp": f"{fault.ramp:.0f} seconds",
        "bench spike": pressure(failed.peak(OUTLET)[1]),
    }


def happened() -> dict[str, str]:
    well, failed = bench_trace(lesson_05, failure="nothing else"), bench_trace(lesson_05)
    worker, monitor = monitor_station.settings_of(failed.scenario)
    rating = HERE.loads[0].maximum_gauge_pressure
    # "The burners keep burning, and nothing is vented"
    assert failed[PASSES][failed.times < DUSK].min() >= well.at(PASSES, DAY_AT)
    assert vented_words(failed, "us") == "none"
    assert failed.peak(OUTLET)[1] < rating
    # "stands wide open and waits"; set too near it is "never wide open", and the bench shows no hunting
    travel = well.scenario.station.regulators[0].travel
    assert well["monitor_lift"].min() == pytest.approx(travel)
    near = bench_trace(lesson_05, failure="nothing else", above=0.5 * IN_WC)
    assert near["monitor_lift"].max() < travel
    assert not near.happened("hunts")
    rows = {}
    for inches in (0.5, 2, 4, 14):
        above = inches * IN_WC
        healthy = bench_trace(lesson_05, failure="nothing else", above=above).at(INTERSTAGE, DAY_AT)
        open_ = bench_trace(lesson_05, above=above).at(OUTLET, DAY_AT)
        rows[f"row {inches}"] = f"{both(above, 'pressure_difference')} | {pressure(healthy)} | {pressure(open_)} |"
    assert open_ > rating  # "The last row is above the rating"
    line = bench_trace(lesson_05, failure="worker's sensing line broken")
    assert vented_words(line, "us") != "none"
    one_line = bench_trace(lesson_05, failure="both on one line, broken")
    for regulator in one_line.scenario.station.regulators:
        assert one_line.at(f"{regulator.name}_lift", NIGHT_AT) == pytest.approx(regulator.travel)
    slug = bench_trace(lesson_05, failure="one slug of grit through both seats")
    return {
        "worker": pressure(worker),
        "monitor": pressure(monitor),
        "well, day": pressure(well.at(OUTLET, DAY_AT)),
        "well, night": pressure(well.at(OUTLET, NIGHT_AT)),
        "between": pressure(well.at(INTERSTAGE, DAY_AT)),
        "burners": both(failed.at(PASSES, DAY_AT), "standard_flow"),
        "burners' rating": both(failed.scenario.station.loads[0].rated_flow, "standard_flow"),
        "near": both(2 * IN_WC, "pressure_difference"),
        "open, day": pressure(failed.at(OUTLET, DAY_AT)),
        "open, night": pressure(failed.at(OUTLET, NIGHT_AT)),
        "rating": pressure(rating),
        "between then": pressure(failed.at(INTERSTAGE, DAY_AT)),
        "spike": pressure(failed.peak(OUTLET)[1]),
        **rows,
        "line": pressure(line.at(OUTLET, DAY_AT)),
        "one line": pressure(one_line.at(OUTLET, NIGHT_AT)),
        "slug": pressure(slug.at(OUTLET, NIGHT_AT)),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What "In the field" tells of rules and reports, with the source that has it.
TOLD = [
    ("each calendar year, at most 15 months apart", "cfr-192-739"),  # 192.739
    ("their set points must differ", "phmsa-pi-71-082"),
    ("damage to one control line does not take out both", "cfr-192-203"),  # 192.203(b)(9)
    ("both left on a main that was taken out of use", "ntsb-par-19-02"),
    ("jammed a worker and its backup at once", "fairport-harbor-2011"),
]

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    (
        "To the monitor the outlet always looks too low, so it stands wide open and waits.",
        "test tests/test_dynamics.py::test_worker_holds_and_the_monitor_stands_wide_open",
    ),
    ("The outlet rises until it balances the monitor's spring, and there it stays.", "item 05.holds_at"),
    (
        "A monitor keeps the gas on, and keeps it in the pipe.",
        "test tests/test_choosing.py::test_what_is_let_off_and_what_is_kept",
    ),
    ("The outlet stands steady near the monitor's set point.", "item 05.took_over"),
    (
        "The gauge between the two has fallen to 37.2 in. w.c. (92.7 mbar) by day, because now the monitor "
        "does the work.",
        "bench",
    ),
    (
        "The gas that stood between the two comes through before the monitor can shut.",
        "test tests/test_layers.py::test_the_gas_between_the_two_dumps_downstream",
    ),
    ("A small room between the two and a large one behind them keep the spike small.", "item 05.spike"),
    (
        "Time and room decide what a spike does.",
        "test tests/test_taught.py::test_time_and_room_decide_what_a_spike_does",
    ),
    ("Set too near, the monitor is never wide open.", "bench"),
    (
        "Both answer the same change of the outlet, and two that do so can fight and hunt.",
        "test tests/test_symptom_table.py::test_usual_and_often_occur_and_dots_never",
    ),
    (
        "Set too high, the monitor holds a pressure that is too much for what stands downstream.",
        "test tests/test_ladder.py::test_a_wrong_order_is_found",
    ),
    (
        "At night the worker locks up at 7.8 in. w.c. (19.4 mbar), and the monitor must still be wide open.",
        "item 05.monitor_set",
    ),
    (
        "So it begins to close well below its set point.",
        "test tests/test_ladder.py::test_a_monitor_takes_over_where_its_disk_leaves_the_stop",
    ),
    (
        "A regulator whose sensing line is broken feels no pressure, and opens.",
        "test tests/test_layers.py::test_two_regulators_on_one_broken_line_both_open",
    ),
    ("With both on one line, and that line broken, both open wide.", "bench"),
    (
        "A second layer is worth little against a cause that takes both.",
        "test tests/test_dynamics.py::test_one_cause_that_takes_two_layers",
    ),
    ("Never shut, cut or move a sensing line before you know which regulator goes blind.", "item 05.old_main"),
    ("Never set the two alike.", "test tests/test_limits.py::test_worker_and_monitor_must_not_be_set_alike"),
    (
        "Federal rules also want that damage to one control line does not take out both the regulator and "
        "its protection.",
        "source cfr-192-203",
    ),
    (
        "In 2018 the sensing lines of a worker and its monitor were both left on a main that was taken out "
        "of use, and both regulators opened fully (NTSB/PAR-19/02).",
        "source ntsb-par-19-02",
    ),
]
