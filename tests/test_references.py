import re
from pathlib import Path

import pytest

import toolkit
from toolkit.errors import CourseError
from toolkit.references import _ALL, HOW_KNOWN, KINDS, SOURCES, cite


def test_each_source_once_and_complete():
    assert len(SOURCES) == len(_ALL)
    for source in _ALL:
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", source.key)
        assert source.citation
        assert source.kind in KINDS
        assert source.how_known in HOW_KNOWN
    assert len({(source.citation, source.section) for source in _ALL}) == len(_ALL)


def test_cite_says_how_well_the_source_is_known():
    assert cite("cfr-192-201").startswith("Title 49 Code of Federal Regulations Part 192")
    assert "192.201" in cite("cfr-192-201")
    assert cite("iso-4126-1").endswith("(from memory)")


def test_unknown_source_is_refused():
    with pytest.raises(CourseError, match="no-such-source"):
        cite("no-such-source")


def test_every_source_named_in_the_code_exists():
    root = Path(toolkit.__file__).parent
    named = {
        (path.name, key)
        for path in root.rglob("*.py")
        for sentence in re.findall(r"Sources?(?: of [a-z ]+)?:\s+(`[^.]*?`)\.?\s", path.read_text(encoding="utf-8"))
        for key in re.findall(r"`([a-z0-9-]+)`", sentence)
    }
    assert {"iec-60534-2-1", "nist-sp-811", "ifgc-equations"} <= {key for _, key in named}
    assert [pair for pair in named if pair[1] not in SOURCES] == []
