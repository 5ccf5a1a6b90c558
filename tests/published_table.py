"""The table of all outside values for a reader: `python tests/published_table.py` writes tests/PUBLISHED.md anew."""

from collections import Counter
from pathlib import Path

from published import TABLE, Published

from toolkit.references import HOW_KNOWN, SOURCES

PATH = Path(__file__).with_name("PUBLISHED.md")
HEADS = ("key", "value", "unit", "relative tolerance", "why not smaller", "source", "section", "how known")


def markdown() -> str:
    """The whole text of tests/PUBLISHED.md: counts, then a row for each entry in the order of published.toml."""
    counts = Counter(entry.how for entry in TABLE.values())
    inputs = sum(entry.is_input for entry in TABLE.values())
    sources = len({entry.source for entry in TABLE.values()})
    known = ", ".join(f"{counts[how]} {how}" for how in HOW_KNOWN if counts[how])
    lines = [
        "# Outside values of the tests",
        "",
        f"{len(TABLE)} entries of {sources} sources: {known}. "
        f"{len(TABLE) - inputs} are checked against the toolkit, {inputs} are inputs of such checks. "
        "Generated from `published.toml` by `python tests/published_table.py`; do not edit.",
        "",
        _row(HEADS),
        _row(["---"] * len(HEADS)),
        *(_row(_cells(entry)) for entry in TABLE.values()),
    ]
    return "\n".join(lines) + "\n"


def _cells(entry: Published) -> list[str]:
    values = entry.value if isinstance(entry.value, list) else [entry.value]
    citation = SOURCES[entry.source].citation
    return [
        f"`{entry.key}`",
        ", ".join(f"{value:.10g}" for value in values),
        entry.unit,
        f"{entry.tolerance:g}",
        entry.why,
        citation,
        entry.section,
        entry.how,
    ]


def _row(cells: list[str] | tuple[str, ...]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


if __name__ == "__main__":
    PATH.write_text(markdown(), encoding="utf-8")
