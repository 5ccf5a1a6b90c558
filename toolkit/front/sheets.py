"""The formula sheet and the glossary beside the lessons: what they say, and `course sheets`, which writes them."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType

from toolkit import flow, gas, gas_by_hand, ladder, margins, piping, sizing, units
from toolkit.classroom import files
from toolkit.course import FORMULAS, GLOSSARY
from toolkit.devices import balance, regulator, relief_valve
from toolkit.errors import LaunchError
from toolkit.front.formulas import SYSTEMS, Formula, formulas
from toolkit.front.glossary import glossary
from toolkit.front.terminal import say
from toolkit.references import SOURCES, cite

GROUPS: tuple[tuple[str, tuple[ModuleType, ...]], ...] = (
    ("Pressure and the air", (units, gas_by_hand)),
    ("Gas", (gas,)),
    ("Flow through an opening", (flow,)),
    ("Pipes", (piping,)),
    ("The regulator", (regulator, balance)),
    ("Relief valves", (relief_valve, sizing)),
    ("The set points of a station", (ladder, margins)),
)
# A term in a citation is not explained there.
_SOURCES = "\n## Sources"

_HEAD = """\
<!-- Made by `uv run course sheets` from the code of the course; never edit it by hand. -->
# Formula sheet

What the course reckons with, and where each formula holds.
Every example is worked by the course's own functions when this page is made.

**For teaching.**
A real device is sized and set from its certified data, by licensed persons.
The local code and the operator's written procedure decide.
The bench's regulator, named in some examples, is invented.

- Put in the units of the table; a pressure says whether it is gauge or absolute.
  The examples show what a gauge or a tag shows: bring that to the units of the table first.
- A standard volume flow counts at 15 °C and 101.325 kPa in metric, at 60 °F and 14.73 psia in US units.
- `√(...)` is the square root, `^` a power; letters side by side are multiplied.
- The words in brackets after a source say how well the course knows it.
  What is "worked out here" is checked by the tests of the course, most of it against runs of the simulation.

What the words mean: [Glossary](glossary.md).
Back to [00 Start here](00_start_here.ipynb).
"""


def run(asked: argparse.Namespace) -> None:
    """Write both sheets into `asked.folder`."""
    main(asked.folder)


def main(folder: Path) -> None:
    """Write `formulas.md` and `glossary.md` into the folder of the lessons, and say so.

    Raises LaunchError where no lesson lies there or the folder cannot be written, CourseError on a docstring or a term
    that will not do.
    """
    pages = {FORMULAS: sheet(), GLOSSARY: glossary(texts(folder))}
    for name, text in pages.items():
        files.write(folder / name, text.encode("utf-8"))
        say(f"Wrote {folder / name}.\n")


def texts(folder: Path) -> Mapping[str, str]:
    """What the lessons in a folder say, by file name: their prose in one line, without the list of sources.

    Raises LaunchError where there is no lesson.
    """
    found = {}
    for path in sorted(folder.glob("[0-9][0-9]_*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        prose = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
        found[path.name] = " ".join(prose.partition(_SOURCES)[0].split())
    if not found:
        raise LaunchError(f"There is no lesson in {folder}: start in the course's folder, or give --folder FOLDER.")
    return found


def sheet() -> str:
    """The formula sheet as Markdown. Raises CourseError on a docstring that `formulas` refuses."""
    groups = [(title, [one for module in modules for one in formulas(module)]) for title, modules in GROUPS]
    contents = [f"- [{title}](#{title.replace(' ', '-')})" for title, _ in groups]
    parts = [_HEAD, "\n".join(contents) + "\n"]
    for title, found in groups:
        parts += [f"## {title}\n", *(_entry(one) for one in found)]
    return "\n".join(parts)


def _entry(formula: Formula) -> str:
    examples = dict.fromkeys(formula.examples.values())
    labels = SYSTEMS if len(examples) > 1 else ("both",)
    source = cite(formula.source) if formula.source in SOURCES else formula.source
    lines = [
        f"### {formula.heading[0].upper()}{formula.heading[1:]}",
        "",
        "```text",
        *formula.lines,
        "```",
        "",
        "| symbol | what it is | unit |",
        "|:---|:---|:---|",
        *(f"| `{one.name}` | {one.meaning} | {one.unit} |" for one in formula.where),
        "",
        f"- **Holds:** {formula.holds}",
        *(
            f"- **Example{'' if label == 'both' else ', ' + label}:** {one}"
            for label, one in zip(labels, examples, strict=True)
        ),
        f"- **Source:** {source}",
        f"- In the code: `{formula.code}`",
        "",
    ]
    return "\n".join(lines)
