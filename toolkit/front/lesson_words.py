"""How easily a text reads: its sentences, their length, its grade level."""

from __future__ import annotations

import re
from collections.abc import Iterator


def sentences(text: str) -> Iterator[list[str]]:
    """The words of each sentence of a Markdown text without headings: no tables, link targets or pure figures."""
    text = re.sub(r"^\|.*$", "", text, flags=re.MULTILINE)
    text = re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", text).replace("in. w.c.", "inches")
    text = re.sub(r"\([^()]*\d[^()]*\)", "", text)
    for sentence in re.split(r"[.!?]\s|\n", text + "\n"):
        words = re.findall(r"[A-Za-z][A-Za-z'-]*", sentence)
        if words:
            yield words


def syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end left out."""
    plain = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", plain))
    silent = re.search(r"([^le]e|[^td]ed)$", plain) is not None
    return max(1, groups - silent)


def reading_grade(text: str) -> float:
    """Flesch-Kincaid grade level, 0 for no text. Source: Kincaid and others 1975, from memory."""
    found = list(sentences(text))
    words = [word for sentence in found for word in sentence]
    if not words:
        return 0.0
    return 0.39 * len(words) / len(found) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
