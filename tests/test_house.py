"""The walls of the house, over the syntax trees: who may import whom, who may touch what, what lies in the repository.

The map is in DEVELOPERS.md. Each rule is a function over sources, so that a broken example beside it shows it can fail.
"""

import ast
import json
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MOST_LINES = 420
MOST_CELLS, MOST_CODE_LINES = 8, 25

# From the top down. What stands on one line may not import each other, save within a folder.
FLOORS = (
    ("front",),
    ("panels", "quiz.widgets"),
    ("classroom",),
    ("quiz",),
    ("diagnosis",),
    ("figures",),
    ("judgement",),
    ("judgement_text",),
    ("station_file",),
    ("station_values",),
    ("station_schema",),
    ("choosing",),
    ("margins",),
    ("ladder",),
    ("layers",),
    ("limits",),
    ("ensemble",),
    ("stability",),
    ("simulation",),
    ("readout",),
    ("network",),
    ("stretch",),
    ("solver",),
    ("rates",),
    ("hunting",),
    ("scenario",),
    ("event_words",),
    ("trace",),
    ("faults",),
    ("actions",),
    ("devices",),
    ("sizing", "piping"),
    ("flow",),
    ("gas",),
    ("units",),
    ("spellings", "references", "checks", "course"),
    ("compiled",),
    ("errors",),
)
# Libraries and the only places that may import them, as the beginning of a module's name.
KEPT = {
    "pint": ("units",),
    "matplotlib": ("figures.",),
    "ipywidgets": ("panels.", "quiz.widgets"),
    "IPython": ("panels.", "quiz.widgets"),
    "sqlite3": ("classroom.", "front."),
    "time": ("classroom.", "front."),
    "datetime": ("classroom.", "front.", "limits"),
    "os": ("classroom.", "front.", "compiled"),
    "shutil": ("classroom.", "front."),
    "tempfile": ("classroom.", "front."),
    "platformdirs": ("classroom.", "front.", "compiled"),
    "subprocess": ("front.",),
    "socket": ("front.",),
    "threading": ("front.",),
    # the README's pictures are told a folder, and the engine's machine code is a file
    "pathlib": ("classroom.", "front.", "panels.images", "compiled"),
    # what nobody may guess: tokens, codes and keys of a class; and the seeds that a learner draws
    "secrets": ("front.launch", "front.serve", "front.room_server", "classroom.room", "quiz.widgets"),
}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "lessons", "toolkit", "tests", "images"}
# Spelled in pieces, so that these lines do not find themselves.
ELSEWHERE = re.compile(
    "|".join(
        [
            r"(?<![\w.])/(?:ho" + r"me|ro" + r"ot|Use" + r"rs|wo" + r"rk)/\w",
            "[A-Z]:" + r"\\+Users",
            "py" + r"pi\.org",
            "python" + r"hosted\.org",
            "npm" + r"js\.(?:org|com)",
            "ana" + r"conda\.(?:org|com)",
        ]
    )
)


def listed(*more):
    done = subprocess.run(["git", "ls-files", "-z", *more], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).exists()]


def name_of(path):
    """Module name below toolkit: `quiz.widgets`; a folder's own is `quiz.`, the package's own ``."""
    parts = path.relative_to(ROOT / "toolkit").with_suffix("").parts
    return ".".join((*parts[:-1], "")) if parts[-1] == "__init__" else ".".join(parts)


SOURCES = {name_of(path): path.read_text("utf-8") for path in sorted((ROOT / "toolkit").rglob("*.py"))}
TREES = {name: ast.parse(text) for name, text in SOURCES.items()}
BOOKS = [path for path in sorted((ROOT / "lessons").rglob("*.ipynb")) if ".ipynb_checkpoints" not in path.parts]


def for_types_only(tree):
    """All nodes under `if TYPE_CHECKING:`."""
    return {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for branch in node.body
        for inner in ast.walk(branch)
    }


def imports(tree):
    """Dotted names that are imported at run time; `from a import b` gives both a and a.b."""
    free = for_types_only(tree)
    for node in ast.walk(tree):
        if node in free:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def floor(module):
    """How far down a module of the toolkit stands, or None where the map does not know it."""
    best = None
    for number, names in enumerate(FLOORS):
        for name in names:
            if (module == name or module.startswith((f"{name}.", f"{name}_"))) and (
                best is None or len(name) > best[1]
            ):
                best = number, len(name)
    return best[0] if best else None


def upward(module, tree):
    """Imports of a module that do not go down, nor stay in its own folder on its own floor."""
    here = floor(module)
    for name in imports(tree):
        if not name.startswith("toolkit."):
            continue
        there = name.removeprefix("toolkit.")
        if floor(there) is None:  # a name of the package itself
            continue
        same_folder = "." in module and there.split(".")[0] == module.split(".")[0]
        if floor(there) < here or (floor(there) == here and not same_folder):
            yield there


def forbidden(module, tree):
    """Libraries that a module imports and may not."""
    for name in set(imports(tree)):
        places = KEPT.get(name)
        if places is None and name.split(".")[0] in KEPT:
            places = KEPT[name.split(".")[0]]
        if places is not None and not module.startswith(places):
            yield name


def chances(tree):
    """Places where random numbers have no seed."""
    modules = {"random", "np.random", "numpy.random"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            owner, _, last = called.rpartition(".")
            if last in ("Random", "default_rng", "RandomState", "SeedSequence", "SystemRandom"):
                if not (node.args or node.keywords) or last == "SystemRandom":
                    yield called
            elif owner in modules and last not in ("Generator", "PCG64"):
                yield called
        elif isinstance(node, ast.ImportFrom) and node.module in ("random", "numpy.random"):
            yield from (a.name for a in node.names if a.name not in ("Random", "default_rng", "Generator"))


def opens(tree):
    """Calls that open or write files without a library."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called == "open" or called.rpartition(".")[2] in ("write_text", "write_bytes", "read_text", "savefig"):
                yield called


# The rules on the toolkit


def test_the_map_knows_every_module():
    assert [m for m in SOURCES if m and floor(m) is None] == []


@pytest.mark.parametrize("module", [m for m in SOURCES if m])
def test_imports_go_down(module):
    assert sorted(set(upward(module, TREES[module]))) == []


@pytest.mark.parametrize("module", [m for m in SOURCES if m])
def test_libraries_stay_in_their_rooms(module):
    assert sorted(forbidden(module, TREES[module])) == []


@pytest.mark.parametrize("module", [m for m in SOURCES if m])
def test_random_numbers_have_a_seed(module):
    assert list(chances(TREES[module])) == []


def test_random_numbers_of_the_tests_have_a_seed():
    found = {p.name: list(chances(ast.parse(p.read_text("utf-8")))) for p in sorted((ROOT / "tests").glob("*.py"))}
    assert {name: calls for name, calls in found.items() if calls} == {}


@pytest.mark.parametrize("module", [m for m in SOURCES if m])
def test_files_are_opened_only_where_the_disk_is(module):
    if not module.startswith(("classroom.", "front.", "panels.images")):
        assert list(opens(TREES[module])) == []


def test_no_module_is_too_long():
    long = {m: len(text.splitlines()) for m, text in SOURCES.items() if len(text.splitlines()) > MOST_LINES}
    assert long == {}


def test_no_folder_imports_itself_in_a_circle():
    below = {m: {i.removeprefix("toolkit.") for i in imports(tree)} & set(SOURCES) for m, tree in TREES.items()}
    done, left = set(), dict(below)
    while left:
        ready = [m for m, needs in left.items() if needs <= done | {m}]
        assert ready, f"a circle among {sorted(left)}"
        done.update(ready)
        for m in ready:
            del left[m]


@pytest.mark.parametrize(
    ("rule", "module", "code"),
    [
        (upward, "devices.line", "from toolkit.scenario import Station"),
        (upward, "scenario", "from toolkit import simulation"),
        (upward, "sizing", "import toolkit.piping"),
        (upward, "quiz.items", "from toolkit.classroom.record import Record"),
        (upward, "quiz.items", "def late():\n    from toolkit.quiz.widgets import quiz"),
        (forbidden, "panels.bench", "import matplotlib.pyplot as plt"),
        (forbidden, "quiz.html", "import ipywidgets"),
        (forbidden, "simulation", "def now():\n    import time"),
        (forbidden, "gas", "from pint import UnitRegistry"),
        (forbidden, "diagnosis.symptoms", "from secrets import randbelow"),
        (lambda _, tree: chances(tree), "x", "import random\nrandom.random()"),
        (lambda _, tree: chances(tree), "x", "rng = np.random.default_rng()"),
        (lambda _, tree: chances(tree), "x", "from random import choice"),
        (lambda _, tree: chances(tree), "x", "r = Random()"),
        (lambda _, tree: opens(tree), "x", "open('notes.txt')"),
    ],
)
def test_each_rule_can_find_something(rule, module, code):
    assert list(rule(module, ast.parse(code)))


@pytest.mark.parametrize(
    ("rule", "module", "code"),
    [
        (upward, "trace", "if TYPE_CHECKING:\n    from toolkit.scenario import Scenario"),
        (upward, "quiz.widgets", "from toolkit.classroom.record import Record"),
        (upward, "figures.chart", "from toolkit.figures.style import INK"),
        (forbidden, "units", "import pint"),
        (forbidden, "figures.surface", "from matplotlib.figure import Figure"),
        (lambda _, tree: chances(tree), "x", "from random import Random\nr = Random('seed')"),
    ],
)
def test_each_rule_lets_through_what_it_should(rule, module, code):
    assert not list(rule(module, ast.parse(code)))


# The rules on the repository


def test_the_top_level_holds_what_the_map_says():
    found = {path.relative_to(ROOT).parts[0] for path in listed()}
    assert {name for name in found if not name.startswith(".")} <= TOP


def test_no_text_names_a_machine_or_a_registry():
    found = []
    for path in listed("--cached", "--others", "--exclude-standard"):
        try:
            text = path.read_text("utf-8")
        except UnicodeDecodeError:
            continue
        found += [f"{path.relative_to(ROOT)}: {hit.group()}" for hit in ELSEWHERE.finditer(text)]
    assert found == []
    for bad in ("see /ho" + "me/ada/x", "at /ro" + "ot/x", "https://py" + "pi.org/simple"):
        assert ELSEWHERE.search(bad)
    assert not ELSEWHERE.search("lessons/home/first and toolkit/work/x")


def book_faults(book):
    """What a lesson carries that it should not."""
    code = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    sources = ["".join(cell["source"]) for cell in code]
    if any(cell.get("outputs") or cell.get("execution_count") for cell in code):
        yield "outputs or counts"
    if "widgets" in book["metadata"]:
        yield "widget state"
    lines = sum(1 for source in sources for line in source.splitlines() if line.strip())
    if len(code) > MOST_CELLS or lines > MOST_CODE_LINES:
        yield f"{len(code)} cells, {lines} lines"
    for source in sources:
        for name in imports(ast.parse(source)):
            if not re.match(r"toolkit\.(panels|quiz)(\.|$)", name):
                yield f"imports {name}"


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_a_lesson_is_thin_and_clean(path):
    assert list(book_faults(json.loads(path.read_text("utf-8")))) == []


def test_there_are_lessons():
    assert BOOKS


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"outputs": [{"output_type": "stream"}]}, "outputs or counts"),
        ({"execution_count": 3}, "outputs or counts"),
        ({"source": "from toolkit.simulation import simulate"}, "imports toolkit.simulation"),
        ({"source": "import numpy"}, "imports numpy"),
        ({"source": "\n".join(["x = 1"] * 26)}, "1 cells, 26 lines"),
    ],
)
def test_a_lesson_s_faults_are_found(change, fault):
    cell = {"cell_type": "code", "source": "from toolkit.panels import bench\nbench('01')", "outputs": []}
    good = {"cells": [cell | {"execution_count": None}], "metadata": {}}
    assert not list(book_faults(good))
    assert fault in list(book_faults({"cells": [cell | change], "metadata": {}}))
    assert list(book_faults(good | {"metadata": {"widgets": {}}})) == ["widget state"]
