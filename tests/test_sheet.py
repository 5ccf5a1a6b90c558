"""The formula sheet and the glossary: what the pages say is what the code does today.

The lines of each formula are worked here as they stand on the sheet, in the units of its table, and must give what the
function gives.
"""

from __future__ import annotations

import inspect
import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from math import pi, sqrt
from pathlib import Path
from statistics import NormalDist
from types import ModuleType
from typing import Any

import pytest

import toolkit
from toolkit.devices.regulator import Regulator, lock_up_gauge_pressure
from toolkit.errors import CourseError
from toolkit.flow import critical_flow_factor, critical_ratio, mass_flow
from toolkit.front import command, sheets
from toolkit.front.formulas import (
    NO_KEY,
    SYSTEMS,
    UNITS,
    Formula,
    documented,
    formulas,
    inputs,
    read,
    results,
)
from toolkit.front.glossary import developers_table, glossary, lesson_of
from toolkit.front.terms import TERMS
from toolkit.gas import compressibility, standard_density
from toolkit.references import SOURCES
from toolkit.sizing import api_520_subcritical_factor
from toolkit.units import (
    FOOT,
    GALLON,
    HOUR,
    IN_WC,
    INCH,
    MINUTE,
    PSI,
    SCF,
    STANDARD_ATMOSPHERE,
    format_pressure,
)

ROOT = Path(__file__).parents[1]
LESSONS = ROOT / "lessons"
AGAIN = "run `uv run course sheets`"
# What a learner should find on the sheet at the least.
FEWEST = 25

ALL: dict[str, tuple[Formula, Callable[..., Any]]] = {}
for _, _modules in sheets.GROUPS:
    for _module in _modules:
        _functions = {code: function for code, function, _ in documented(_module)}
        ALL |= {one.code: (one, _functions[one.code]) for one in formulas(_module)}


# The pages


def test_the_formula_sheet_is_what_the_code_writes_today() -> None:
    assert (LESSONS / sheets.FORMULAS).read_text("utf-8") == sheets.sheet(), AGAIN


def test_the_glossary_is_what_the_code_writes_today() -> None:
    assert (LESSONS / sheets.GLOSSARY).read_text("utf-8") == glossary(sheets.texts(LESSONS)), AGAIN


def test_every_documented_formula_stands_on_the_sheet_once() -> None:
    text = sheets.sheet()
    headings = re.findall(r"^### (.+)$", text, re.MULTILINE)
    assert len(headings) == len(set(headings)) == len(ALL) >= FEWEST
    written = {
        path.relative_to(ROOT / "toolkit").as_posix()
        for path in (ROOT / "toolkit").rglob("*.py")
        if path.parent.name != "front" and re.search(r"^ +Formula: ", path.read_text("utf-8"), re.MULTILINE)
    }
    read_from = {
        module.__name__.removeprefix("toolkit.").replace(".", "/") + ".py" for _, ms in sheets.GROUPS for module in ms
    }
    assert written == read_from


@pytest.mark.parametrize("name", [sheets.FORMULAS, sheets.GLOSSARY])
def test_the_links_of_a_page_lead_somewhere(name: str) -> None:
    text = (LESSONS / name).read_text("utf-8")
    headings = {head.replace(" ", "-") for head in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}
    links = re.findall(r"\]\(([^)]+)\)", text)
    assert links
    for link in links:
        assert (link[1:] in headings) if link.startswith("#") else (LESSONS / link).is_file(), link


def test_the_command_writes_both_pages(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for book in LESSONS.glob("*.ipynb"):
        shutil.copy(book, tmp_path)
    assert command.main(["sheets", "--folder", str(tmp_path)]) == 0
    assert capsys.readouterr().out.count("Wrote ") == 2
    for name in (sheets.FORMULAS, sheets.GLOSSARY):
        assert (tmp_path / name).read_bytes() == (LESSONS / name).read_bytes(), AGAIN


def test_the_command_refuses_a_folder_in_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def refused() -> str:
        assert command.main(["sheets", "--folder", str(tmp_path)]) == command.EXIT_REFUSED
        said = capsys.readouterr()
        assert (said.out, said.err.count("\n")) == ("", 1)
        return said.err

    assert "no lesson" in refused()
    for book in LESSONS.glob("*.ipynb"):
        shutil.copy(book, tmp_path)
    (tmp_path / sheets.FORMULAS).mkdir()
    assert "--folder" in refused()


# The formulas, worked as they are written

SCALES = {
    **dict.fromkeys(("", "Pa", "m", "m²", "m³", "m³/s", "kg/s", "kg/m³", "kg/mol", "s", "K", "N", "N/m"), 1.0),
    # a Kv or Cv is a number of its unit, in the code as well
    **dict.fromkeys(("1/m", "W", "J/m³", "J/kg", "J/(kg K)", "m³/h", "US gal/min"), 1.0),
    "scfh": SCF / HOUR,
    "in.": INCH,
    "in. w.c.": IN_WC,
    "ft": FOOT,
    "psia": PSI,
    "kg/h": 1 / HOUR,
    "kPa": 1e3,
    "bar": 1e5,
    "mm²": 1e-6,
    "kg/kmol": 1e-3,
}


def known(formula: Formula, given: Mapping[str, Any]) -> dict[str, Any]:
    """What a formula takes from elsewhere: results of other formulas, tables, constants."""
    found: dict[str, Any] = {
        "Φ": NormalDist().cdf,
        "p0": STANDARD_ATMOSPHERE,
        "z": NormalDist().inv_cdf(0.975),
    }
    if "rungs" in given:
        first, second = given["rungs"]
        found |= {"p1": first.gauge_pressure, "p2": second.gauge_pressure}
        found |= {"a1": first.high / first.gauge_pressure - 1, "a2": second.high / second.gauge_pressure - 1}
    if "gas" in given:
        of, kelvin = given["gas"], given.get("temperature", 288.15)
        highest = given.get("upstream_absolute", given.get("absolute_pressure", STANDARD_ATMOSPHERE))
        found |= {"ρs": standard_density(of), "Z": compressibility(of, highest, kelvin)}
        found |= {"m": lambda before, behind, at: mass_flow(1.0, before, behind, of, at)}
        k = of.heat_ratio
    else:
        k = given.get("heat_ratio", 1.3)
    found |= {"C*": critical_flow_factor(k), "r": critical_ratio(k)}
    if "relieving_absolute" in given and "back_absolute" in given:
        ratio = given["back_absolute"] / given["relieving_absolute"]
        found |= {"F2": api_520_subcritical_factor(k, ratio)}
    bare = {one.name for one in formula.where if not one.of or one.of.startswith("rungs.")}
    return {name: value for name, value in found.items() if name in bare}


def as_python(text: str, calls: set[str]) -> str:
    """An expression of the sheet as Python: letters side by side are multiplied."""
    tokens = re.findall(r"\d+(?:\.\d+)?|√|[^\W\d_][\w*]*|\*\*|[^\s\w]", text)
    out: list[str] = []
    before = ""
    for token in tokens:
        opens = bool(re.match(r"[\w(√]", token))
        closes = bool(re.match(r"[\w)]", before)) and not (token == "(" and before in calls)
        if opens and closes and before not in ("if", "else"):
            out.append("*")
        out.append({"^": "**", "≤": "<=", "√": "sqrt", "C*": "C_star"}.get(token, token))
        before = token
    return " ".join(out)


def branches(formula: Formula) -> Iterator[tuple[str, str, str]]:
    """Left side, right side and condition ("" is always) of each line."""
    for line in formula.lines:
        body, _, condition = line.partition("    ")
        left, _, right = body.partition(" = ")
        yield left, right, {"else": "", "": ""}.get(condition, condition.removeprefix("if "))


def worked(formula: Formula, given: Mapping[str, Any], sign: str = "+") -> float:
    """The first result of a formula by its own lines, in SI."""
    scale = {one.name: SCALES[one.unit] for one in formula.where}
    names: dict[str, Any] = {"sqrt": sqrt, "min": min, "max": max, "π": pi}
    others = known(formula, given)
    calls = {"√", "min", "max"} | {name for name, value in others.items() if callable(value)}
    for one in formula.where:
        parameter, _, attribute = one.of.partition(".")
        if one.name in others:
            value = others[one.name]
            names[one.name.replace("*", "_star")] = value if callable(value) else value / scale[one.name]
        elif parameter in given:
            value = getattr(given[parameter], attribute) if attribute else given[parameter]
            names[one.name] = value / scale[one.name]
    lines = list(branches(formula))
    result = lines[0][0]
    steps = [(left, right) for left, right, _ in lines if left != result]
    for _ in steps:  # in whatever order they build on each other
        for left, right in steps:
            with suppress(NameError):
                names[left] = eval(as_python(right, calls), names)
    right = next(
        right
        for left, right, condition in lines
        if left == result and (not condition or eval(as_python(condition, calls), names))
    )
    return float(eval(as_python(right.replace("±", sign), calls), names)) * scale[formula.results[0]]


# Where the function draws by chance, or the sheet rounds a constant.
NEAR = {"margins.nuisance_of": 0.1}


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("code", ALL)
def test_a_formula_as_written_gives_what_the_function_gives(code: str, system: str) -> None:
    formula, function = ALL[code]
    given = inputs(formula, function, formula.examples[system])
    defaults = {
        name: one.default
        for name, one in inspect.signature(function).parameters.items()
        if isinstance(one.default, float | int)
    }
    gave = results(formula, function(**given))
    for sign, value in zip("-+" if len(gave) > 1 else "+", gave, strict=True):
        assert worked(formula, defaults | given, sign) == pytest.approx(value, rel=NEAR.get(code, 5e-4))


def test_choked_and_unchoked_examples_are_both_there() -> None:
    for code in ("flow.mass_flow", "sizing.api_520_area"):
        formula, function = ALL[code]
        ends = (
            ("upstream_absolute", "downstream_absolute") if "flow" in code else ("relieving_absolute", "back_absolute")
        )
        ratios = []
        for system in SYSTEMS:
            given = inputs(formula, function, formula.examples[system])
            ratios.append(given[ends[1]] / given[ends[0]])
        assert min(ratios) < critical_ratio(1.3) < max(ratios)


def test_every_part_of_the_balance_is_worked_with_numbers_that_are_not_nothing() -> None:
    """The bench's examples have a clean seat; here every symbol counts."""
    dirty = Regulator().condition()._replace(debris_stiffness=1e5, debris_height=9e-4, kept=0.9, nick=2e-6)
    for code, more in (
        ("devices.regulator.gauge_at_lift", {"lift": 5e-5, "inlet_gauge_pressure": 4e5}),
        ("devices.regulator.lock_up_gauge_pressure", {"inlet_gauge_pressure": 4e5}),
        ("devices.regulator.inlet_effect", {}),
        ("devices.regulator.relief_start_gauge_pressure", {"lift": 8e-4}),
        ("devices.balance.preload_for", {"rise": 500.0}),
        ("ladder.take_over_gauge_pressure", {}),
    ):
        formula, function = ALL[code]
        given = {"c": dirty, **more}
        assert worked(formula, given) == pytest.approx(function(**given), rel=1e-9)


def test_numbers_worked_by_hand_stand_on_the_sheet() -> None:
    text = sheets.sheet()
    lock_up = lock_up_gauge_pressure(Regulator().condition(), 60 * PSI)
    assert f"p1 = 60.0 psig gives p2 = {format_pressure(lock_up, 'us')}" in text
    assert "k = 1.30 gives r = 0.546" in text  # (2 / 2.3)^(1.3 / 0.3)
    per_cv = GALLON * HOUR / MINUTE / sqrt(PSI / 1e5)
    assert f"Cv = 10.0 gives Kv = {10 * per_cv:.2f}" in text


# What the sheet says of its symbols


@pytest.mark.parametrize("code", ALL)
def test_gauge_and_absolute_are_kept_apart(code: str) -> None:
    formula, function = ALL[code]
    for one in formula.where:
        if one.unit in ("Pa", "kPa", "bar", "psia") and not one.name.startswith("Δ"):
            assert ("gauge" in one.meaning) != ("absolute" in one.meaning), one
        parameter = one.of.rpartition(".")[2]
        assert "gauge" not in parameter or "gauge" in one.meaning, one
        assert "absolute" not in parameter or "absolute" in one.meaning, one
        for example in formula.examples.values():
            if said := re.search(
                rf"(?:^|, |gives ){re.escape(one.name)} = [\d,.]+ (psi[ga]|bar(?: abs)?)(?:,| gives|$)", example
            ):
                assert ("absolute" in one.meaning) == (said[1] in ("psia", "bar abs")), (one, example)
    assert all(parameter in inspect.signature(function).parameters for parameter in _parameters(formula))


def _parameters(formula: Formula) -> set[str]:
    results_of = set(formula.results)
    return {one.of.partition(".")[0] for one in formula.where if one.of and one.name not in results_of}


@pytest.mark.parametrize("code", ALL)
def test_each_source_is_known_or_said_to_be_none(code: str) -> None:
    source = ALL[code][0].source
    assert source in SOURCES or source in NO_KEY


# Docstrings that will not do

GOOD = """Area of a disk.

    Formula: area of a disk
        A = π d^2 / 4
    Where:
        A: area [m²]
        d (diameter): diameter [m]
    Holds: always
    Source: from memory
    Example:
        US: d = 2.00 in. gives A = 3.142 in²
        metric: d = 20.0 mm gives A = 314.2 mm²
    """


def made(docstring: str) -> ModuleType:
    def disk(diameter: float) -> float:
        return pi / 4 * diameter**2

    module = ModuleType("toolkit.made")
    disk.__doc__, disk.__module__ = docstring, module.__name__
    module.disk = disk  # type: ignore[attr-defined]
    return module


def test_a_good_docstring_is_read() -> None:
    (formula,) = formulas(made(GOOD))
    assert (formula.code, formula.heading, formula.lines) == ("made.disk", "area of a disk", ("A = π d^2 / 4",))
    assert [(one.name, one.of, one.unit) for one in formula.where] == [("A", "", "m²"), ("d", "diameter", "m")]
    assert read("x", "No formula here.") is None


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (re.search(r"    Where:\n(?:        .*\n)*", GOOD)[0], "", "no `Where:`"),  # type: ignore[index]
        ("    Holds: always\n", "", "no `Holds:`"),
        ("    Source: from memory\n", "", "no `Source:`"),
        (GOOD[GOOD.index("    Example:") :], "", "no `Example:`"),
        ("        A = π d^2 / 4\n", "", "heading and lines"),
        ("Holds: always\n    Source: from memory", "Source: from memory\n    Holds: always", "out of order"),
        ("        d (diameter): diameter [m]\n", "", "symbol d"),
        ("/ 4", "/ 4 f", "symbol f"),
        ("        d (", "        e (edge): edge [m]\n        d (", "explains e"),
        ("        d (", "        A: area [m²]\n        d (", "explains A twice"),
        ("d (diameter): diameter [m]", "d diameter [m]", "is no line"),
        ("d (diameter): diameter [m]", "d, L: see RegulatorCondition", "does not explain d"),
        ("Source: from memory", "Source: `no-such-source`", "no-such-source"),
        ("Source: from memory", "Source: a friend", "a friend"),
        ("        metric: d = 20.0 mm gives A = 314.2 mm²\n", "", "both unit systems"),
        ("A = 3.142 in²", "A = 3.143 in²", "it is 3.142 in²"),
        ("A = 3.142 in²", "A = 3.142 furlongs", "cannot be read"),
        ("gives A = 3.142 in²", "gives B = 3.142 in²", "Give A"),
        ("d = 2.00 in. gives", "D = 2.00 in. gives", "is no input"),
        ("US: d = 2.00 in. gives", "US: natural gas gives", "cannot be worked"),
    ],
)
def test_a_broken_docstring_is_refused_with_the_name_of_its_function(old: str, new: str, says: str) -> None:
    assert GOOD.count(old) == 1
    with pytest.raises(CourseError, match=re.escape(says)) as refused:
        formulas(made(GOOD.replace(old, new)))
    assert str(refused.value).startswith("made.disk: ")
    assert str(refused.value).endswith(".")


def test_units_of_examples_are_those_of_the_benches() -> None:
    assert UNITS["psig"].scale == UNITS["psia"].scale == PSI
    assert UNITS["°F"].offset > 0  # a temperature, not a difference


# The glossary


def test_the_table_for_developers_is_the_glossary_s() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    table = text.partition("## Glossary")[2].partition("\n## ")[0].partition("| term")
    assert "".join(table[1:]).strip() == developers_table().strip(), "paste what `glossary.developers_table()` gives"


def test_each_term_stands_once() -> None:
    names = [one.term.casefold() for one in TERMS]
    assert len(names) == len(set(names))


def test_each_name_that_a_term_has_in_the_code_is_there() -> None:
    code = "\n".join(
        path.read_text("utf-8") for path in Path(toolkit.__file__).parent.rglob("*.py") if "front" not in path.parts
    )
    for one in TERMS:
        for name in re.findall(r"`([^`]+)`", one.code + one.meaning):
            assert re.search(rf"\b{re.escape(name)}\b" if "..." not in name else re.escape(name.strip(".")), code), name


def test_a_lesson_says_the_term_that_it_brings_up() -> None:
    lessons = sheets.texts(LESSONS)
    page = (LESSONS / sheets.GLOSSARY).read_text("utf-8")
    for one in TERMS:
        name = lesson_of(one, lessons)
        if name:
            assert one.stands_in(lessons[name]), AGAIN
            assert not one.lesson or name.startswith(one.lesson)
        rows = [line for line in page.splitlines() if line.startswith(f"| **{one.term}** |")]
        assert len(rows) == one.learners
        if rows:
            assert rows[0].endswith(f"[{name[:2]}]({name}) |" if name else "|  |")
    assert len([one for one in TERMS if lesson_of(one, lessons)]) > 30


def test_a_term_that_its_lesson_no_longer_says_is_refused() -> None:
    lessons = sheets.texts(LESSONS)
    term = next(one for one in TERMS if one.term == "set point")
    assert lesson_of(term, lessons).startswith("02")
    assert lesson_of(replace(term, lesson=""), lessons).startswith("00")
    silent = {
        name: re.sub("set point", "spring", text, flags=re.IGNORECASE) if name.startswith("02") else text
        for name, text in lessons.items()
    }
    with pytest.raises(CourseError, match="Lesson 02 is to explain 'set point'"):
        lesson_of(term, silent)


def test_words_are_found_whole_in_either_number_and_not_in_the_sources() -> None:
    term = next(one for one in TERMS if one.term == "relief valve")
    assert term.stands_in("Two Relief valves stand here.")
    assert not term.stands_in("A relief-valve-like thing")
    for name, text in sheets.texts(LESSONS).items():
        assert "(from memory)" not in text, name


def test_the_learners_page_is_free_of_code() -> None:
    page = glossary(sheets.texts(LESSONS)).partition("-->")[2]
    assert "`" not in page
    assert "degC" not in page
