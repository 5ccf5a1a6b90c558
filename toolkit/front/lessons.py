"""The lessons as the browser gets them: a book to read, not files to change.

A learner's work goes into the record, not into the notebook, so the lesson on disk is served as not writable and any
change of it is refused here, whatever the page asks for.
JupyterLab then offers no saving, makes no backup copies beside the lesson, and the checkout stays as it was.
What a cell itself writes (an export, a sheet to print) goes through the kernel and is not touched by this.
"""

from __future__ import annotations

from typing import Any, NoReturn

from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager
from tornado.web import HTTPError

REFUSAL = (
    "The lessons are read only while the course is running, so nothing was changed. "
    "Your answers are kept in your record. To edit a lesson, open a copy of it with JupyterLab itself."
)


class ReadOnlyLessons(AsyncLargeFileManager):
    """Serves a folder without ever changing it; every attempt ends in HTTP 403 with a sentence."""

    async def get(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        """The file or folder as the base class gives it, marked as not writable."""
        model: dict[str, Any] = await super().get(*args, **kwargs)  # type: ignore[no-untyped-call]
        return {**model, "writable": False}

    async def save(self, *_: Any, **__: Any) -> NoReturn:
        """Refuse."""
        raise HTTPError(403, REFUSAL)

    async def delete_file(self, *_: Any, **__: Any) -> NoReturn:
        """Refuse."""
        raise HTTPError(403, REFUSAL)

    async def rename_file(self, *_: Any, **__: Any) -> NoReturn:
        """Refuse."""
        raise HTTPError(403, REFUSAL)

    async def list_checkpoints(self, *_: Any, **__: Any) -> list[dict[str, Any]]:
        """None: the base class would make their folder beside the lesson by looking into it."""
        return []

    async def create_checkpoint(self, *_: Any, **__: Any) -> NoReturn:
        """Refuse: a backup copy would stand beside the lesson."""
        raise HTTPError(403, REFUSAL)

    async def restore_checkpoint(self, *_: Any, **__: Any) -> NoReturn:
        """Refuse: it would overwrite the lesson."""
        raise HTTPError(403, REFUSAL)
