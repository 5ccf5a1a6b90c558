"""The lessons of the course, in the order in which they are taken: the one list that pages, tests and records go by."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.errors import CourseError


@dataclass(frozen=True)
class Lesson:
    """A lesson: its two digits, title, notebook, about how many minutes it takes, what it is about, if it is a lab."""

    number: str
    title: str
    file: str
    minutes: int
    about: str
    lab: bool = False

    @property
    def name(self) -> str:
        """Number and title, as they stand at its head."""
        return f"{self.number} {self.title}"


# What can be looked up, beside the lessons; made by `course sheets`.
FORMULAS, GLOSSARY = "formulas.md", "glossary.md"
# The page for a fault at hand; no lesson, and made of one panel.
LOOK_UP = "look_up.ipynb"
# The pages of a class: where each learner votes, where the instructor asks, and where a session is made ready.
IN_CLASS, BOARD, PREPARE = "in_class.ipynb", "board.ipynb", "prepare.ipynb"
START = Lesson("00", "Start here", "00_start_here.ipynb", 15, "the bench, the safety card, your record")
# Graded cases without end: no lesson with a bench, and never done.
VISIT = Lesson("21", "The visit", "21_the_visit.ipynb", 25, "graded troubleshooting cases, each with a visit to make")

LESSONS = (
    Lesson(
        *("01", "Pressure and flow", "01_pressure_and_flow.ipynb", 20),
        "what drives gas through a hole, and where that stops",
    ),
    Lesson("02", "The regulator", "02_the_regulator.ipynb", 20, "why the outlet pressure is never quite the set point"),
    Lesson("03", "How regulators fail", "03_how_regulators_fail.ipynb", 25, "what hides by day and shows at night"),
    Lesson(
        *("04", "The internal relief", "04_the_internal_relief.ipynb", 25),
        "the first layer, what it can pass, and why its vent is part of it",
    ),
    Lesson(
        "05", "The monitor", "05_the_monitor.ipynb", 25, "a second regulator that takes over, and what takes out both"
    ),
    Lesson(
        *("06", "The integral device", "06_the_integral_device.ipynb", 25),
        "a second seat in the worker's own body, and what blinds the two at once",
    ),
    Lesson(
        *("07", "The relief valve", "07_the_relief_valve.ipynb", 25),
        "what it lets off, what it costs, how large it must be, and what makes it nothing",
    ),
    Lesson(
        *("08", "The slam-shut", "08_the_slam_shut.ipynb", 25),
        "a valve that stops the gas until somebody resets it, and what a reset needs",
    ),
    Lesson(
        *("09", "The pressure switch", "09_the_pressure_switch.ipynb", 25),
        "a contact that tells and moves no gas, what it may drive, and what it can hide",
    ),
    Lesson(
        *("10", "Setting the layers", "10_setting_the_layers.ipynb", 25),
        "the ladder: set points, build-up and bands in order below the limit, with room between them",
    ),
    Lesson(
        *("11", "Choosing the layers", "11_choosing_the_layers.ipynb", 25),
        "keep the gas, vent it or stop it: what each costs a hospital, a house and a bakery",
    ),
    Lesson(
        *("12", "One cause, two layers", "12_one_cause_two_layers.ipynb", 25),
        "one event that takes two layers at once, and what makes a layer stand apart",
    ),
    Lesson(
        *("13", "Inspection and proof", "13_inspection_and_proof.ipynb", 25),
        "a layer that nobody has tested is a hope: each layer's test, as found and as left",
    ),
    Lesson(
        *("14", "Set, break, defend", "14_set_break_defend.ipynb", 25),
        "every layer on one station, defended failure by failure",
    ),
    Lesson(
        *("15", "Torn, or the relief at work", "15_torn_or_the_relief_at_work.ipynb", 20),
        "gas at the vent: hold the outlet low, and smell again",
        lab=True,
    ),
    Lesson(
        *("16", "A leaking seat, or the sun", "16_a_leaking_seat_or_the_sun.ipynb", 20),
        "the gauge climbs with all off: shut the inlet valve, or wait for the shade",
        lab=True,
    ),
    Lesson(
        *("17", "Too small, or plugged", "17_too_small_or_plugged.ipynb", 20),
        "low with all burners on: read the drop across the filter while gas flows",
        lab=True,
    ),
    Lesson(
        *("18", "Weak spring, or the monitor shut", "18_weak_spring_or_the_monitor_shut.ipynb", 20),
        "low at every load: read the gauge between the two regulators",
        lab=True,
    ),
    Lesson(
        *("19", "Torn, or stuck open", "19_torn_or_stuck_open.ipynb", 20),
        "high, and gas beside the vent: hold the outlet low until the relief valve is shut",
        lab=True,
    ),
    Lesson(
        *("20", "Plugged, or leaking", "20_plugged_or_leaking.ipynb", 20),
        "low with all burners on: shut the outlet valve, and see what comes back",
        lab=True,
    ),
)


def lesson(number: str) -> Lesson:
    """The lesson of two digits. Raises CourseError for another."""
    found = [one for one in (START, *LESSONS, VISIT) if one.number == number]
    if not found:
        numbers = ", ".join(one.number for one in (START, *LESSONS, VISIT))
        raise CourseError(f"lesson: {number!r} was given, one of {numbers} was expected. Give the lesson's two digits.")
    return found[0]
