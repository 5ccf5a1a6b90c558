"""Visitors who take a case all at once, over the real protocol: all finish, and every answer is in its record.

Thirty at once, with latency and memory: `uv run python tests/benchmark_room.py`.
"""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path

from reading import running_room
from visitors import Visitor, takes_a_case

from toolkit.classroom.room import Room as Folder
from toolkit.course import VISIT

TOGETHER = 4


def test_visitors_finish_a_case_together_and_nothing_is_lost_when_the_server_is_killed(tmp_path: Path) -> None:
    with running_room(tmp_path / "home", None, by=signal.SIGKILL) as room:
        everybody = [Visitor(room, f"Visitor {number}") for number in range(TOGETHER)]

        async def all_at_once() -> list[tuple[float, int]]:
            return list(await asyncio.gather(*(takes_a_case(one, VISIT.file) for one in everybody)))

        asked = {one.name: questions for one, (_, questions) in zip(everybody, asyncio.run(all_at_once()), strict=True)}
    folder = Folder(room.folder)
    for one in folder.visitors():
        record = folder.record(one)
        assert record.learner() == one.name
        assert len(record.attempts()) == asked[one.name]
        assert {found.attempt.learner for found in record.attempts()} == {one.name}
        assert record.verify().holds
    assert len(folder.visitors()) == TOGETHER
