"""One learner's JupyterLab in a JupyterHub, which starts it as `python -m toolkit.front.hub_server [LESSONS]`.

The settings are those of `course`; who may come in, and where it listens, JupyterHub says through the environment.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import Any

from traitlets.config import Config

from toolkit.classroom.record import Record
from toolkit.errors import CourseError
from toolkit.front import engine
from toolkit.front.launch import lab_settings, lessons_folder, settle_process


def settings(lessons: Path, layouts: Path) -> dict[str, dict[str, Any]]:
    """The settings of a learner's server, by class and name: `launch.lab_settings` without what the hub decides.

    `lessons` is the folder to serve, `layouts` one for the arrangement of windows. Raises LaunchError as that does.
    """
    known = lab_settings(lessons, port=0, token="", open_browser=False, layouts=layouts)
    del known["IdentityProvider"]  # the hub's own
    for decided in ("ip", "port"):
        del known["ServerApp"][decided]
    return known


def main(words: list[str]) -> None:
    """Serve one learner until the hub ends it; `words` may name the lessons' folder."""
    lessons = lessons_folder(Path(words[0]) if words else None, Path.cwd())
    engine.start()
    record = Record()
    if not record.learner():
        record.set_learner(os.environ.get("JUPYTERHUB_USER", ""))
    settle_process()
    with tempfile.TemporaryDirectory(prefix="course-") as scratch:
        tempfile.tempdir = scratch
        # Only now: the lines above change what this imports.
        from jupyterhub.singleuser.extension import JupyterHubSingleUser

        JupyterHubSingleUser.serverapp_config = {"jpserver_extensions": {"jupyterlab": True}}
        known = Config(settings(lessons, Path(scratch)))
        JupyterHubSingleUser.initialize_server(argv=[], config=known).start()


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except CourseError as refused:
        sys.exit(str(refused))
