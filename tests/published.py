"""Loader of published.toml, where every outside value of the tests stands once."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

PATH = Path(__file__).with_name("published.toml")


@dataclass(frozen=True)
class Published:
    """One outside value (a number, or a row of a printed table) and how near a result must come to it."""

    key: str
    value: float | list[float]
    unit: str
    source: str
    section: str
    how: str
    tolerance: float
    why: str

    @property
    def is_input(self) -> bool:
        """Whether the entry is what a check starts from, not what it must come to."""
        return self.why == "an input"

    def check(self, result: float | list[float]) -> None:
        """Fails unless the result, in the unit of the entry, lies within the relative tolerance."""
        assert result == pytest.approx(self.value, rel=self.tolerance, abs=0), (
            f"{self.key}: {result} against {self.value} {self.unit} of {self.source}, {self.section}"
        )


TABLE = {key: Published(key, **entry) for key, entry in tomllib.loads(PATH.read_text(encoding="utf-8")).items()}


def published(key: str) -> Published:
    return TABLE[key]
