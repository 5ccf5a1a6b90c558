"""The file of outside values itself: complete, honest about its sources, and used."""

from pathlib import Path

import pytest
from published import TABLE
from published_table import PATH, markdown

from toolkit.references import HOW_KNOWN, SOURCES


@pytest.mark.parametrize("entry", TABLE.values(), ids=lambda entry: entry.key)
def test_entry_names_its_source_and_its_tolerance(entry):
    assert entry.source in SOURCES
    assert entry.how in HOW_KNOWN
    assert entry.section
    assert entry.unit
    assert entry.why
    assert 0 < entry.tolerance <= 0.05


def test_every_value_is_used_by_a_test():
    tests = "".join(path.read_text(encoding="utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    assert [key for key in TABLE if f'"{key}"' not in tests] == []


def test_many_values_of_many_sources():
    checked = [entry for entry in TABLE.values() if not entry.is_input]
    assert len(checked) >= 110
    assert len({entry.source for entry in checked}) >= 32


def test_most_values_were_read():
    checked = [entry.how for entry in TABLE.values() if not entry.is_input]
    assert sum(how.startswith("read") for how in checked) > len(checked) / 2


def test_table_for_a_reader_is_current():
    assert PATH.read_text(encoding="utf-8") == markdown(), "Run `uv run python tests/published_table.py`."


def test_table_for_a_reader_has_a_row_for_each_value():
    lines = markdown().splitlines()
    rows = [line for line in lines if line.startswith("| `")]
    assert [row.split("`")[1] for row in rows] == list(TABLE)
    assert f"{len(TABLE)} entries of {len({entry.source for entry in TABLE.values()})} sources" in lines[2]
    assert len({line.replace("\\|", "").count("|") for line in lines[4:]}) == 1


def test_check_fails_outside_the_tolerance():
    entry = TABLE["psi"]
    entry.check(entry.value)
    with pytest.raises(AssertionError, match="nist-sp-811"):
        entry.check(entry.value * (1 + 3 * entry.tolerance))
