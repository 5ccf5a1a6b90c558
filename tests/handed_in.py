"""Files as learners hand them in, for the tests of what is gathered from them. All people are invented."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256

from toolkit import __version__
from toolkit.classroom import chain
from toolkit.classroom.attempts import Attempt, Recorded
from toolkit.classroom.hand_in import HandIn, hand_in, packed
from toolkit.classroom.session import Session, session_of, shipped_session
from toolkit.quiz.items import Item

EVENING = datetime(2026, 12, 1, 18, 0, tzinfo=UTC)
MADE = "2026-12-04T20:00:00.000+00:00"
# Names that break what is careless: markup, formulas, paths, signs that turn text round, none at all, far too many.
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style></title><b>&amp;",
    '=HYPERLINK("https://example.org/"&A1,"click")',
    "+1+1",
    "-2+3",
    "@SUM(A1:A9)",
    "\t=1+1",
    "\uff1d1+1",
    "../../../etc/passwd",
    "..\\..\\CON",
    "/absolute/name",
    "a\u202egnp.exe",
    "\u2067\u05d0\u05d1\u05d2\u2069",
    "\u0639\u0644\u064a",
    "",
    "   ",
    "\u200b",
    "\U0001f469\u200d\U0001f527 \U0001f525",
    "e\u0301" * 40,
    "A" * 10_000,
    "line\none, \"quoted\"; 'semi'",
    "NULL",
    "{{7*7}}${7*7}%s",
)


def first_evening_toml() -> str:
    """The course's example of a session, with the days that it has as a comment."""
    return shipped_session("first_evening").replace("# opens = ", "opens = ").replace("# closes = ", "closes = ")


def first_evening() -> Session:
    return session_of(first_evening_toml())


def attempt(name: str, item: Item, share: float, seed: int = 20261201, answer: object = "7.1 in. w.c.") -> Attempt:
    hashed = sha256(f"{item.key} {seed}".encode()).hexdigest()
    words = (name, __version__, item.lesson, item.key, hashed, item.objective)
    return Attempt(*words, seed, answer, share, 1.0, 41.5)


def recorded(attempts: list[Attempt], begun: datetime = EVENING, step: float = 73.25) -> tuple[Recorded, ...]:
    """Attempts as rows of one record, one after the other, chained."""
    times = [(begun + timedelta(seconds=step * n)).isoformat(timespec="milliseconds") for n in range(len(attempts))]
    rows = [Recorded(n, time, one) for n, (time, one) in enumerate(zip(times, attempts, strict=True), 1)]
    return chain.chained(rows)


def handed(name: str, shares: dict[str, float], session: Session, begun: datetime = EVENING) -> HandIn:
    """One learner's file: a share of the marks for each item key of the session that was answered."""
    items = {item.key: item for item in session.items}
    seed = session.seed_of(name) or 0
    rows = recorded([attempt(name, items[key], share, seed) for key, share in shares.items()], begun)
    return hand_in(name, __version__, MADE, rows)


def learner(number: int, session: Session, name: str | None = None) -> HandIn:
    """A learner of some skill, drawn from the number; a few leave questions out."""
    chance = random.Random(f"learner {number}")
    skill = chance.gauss(0.6, 0.25)
    shares: dict[str, float] = {}
    for item in session.items:
        if chance.random() < 0.04:
            continue
        shares[item.key] = 1.0 if chance.random() < skill else chance.choice((0.0, 0.5))
    begun = EVENING + timedelta(minutes=number, milliseconds=number)
    return handed(name or f"Learner at bench {number}", shares, session, begun)


def class_files(people: int = 20) -> dict[str, bytes]:
    """The files of a class, by name: people, and one of each kind that cannot be taken."""
    session = first_evening()
    files = {f"bench-{number:02}.json": packed(learner(number, session)) for number in range(1, people + 1)}
    files["bench-03-again.json"] = files["bench-03.json"]
    files["bench-04-cut.json"] = files["bench-04.json"][: len(files["bench-04.json"]) // 2]
    files["picture.png"] = b"\x89PNG\r\n\x1a\n" + bytes(range(256))
    files["letter.json"] = b'{"dear": "instructor"}'
    files["bench-05-empty.json"] = packed(hand_in("Learner at bench 5", __version__, MADE, ()))
    changed = learner(6, session)
    first = replace(changed.attempts[0], attempt=replace(changed.attempts[0].attempt, seconds=1.0))
    files["bench-06.json"] = packed(replace(changed, attempts=(first, *changed.attempts[1:])))
    return files
