"""JupyterHub's configuration for a class: `jupyterhub --config FILE`, where `course hub-config` prints FILE.

What can be set stands in `toolkit.front.hub.VARIABLES`. A file of your own that says more begins with
`load_subconfig("FILE")` and goes on with `c.Spawner...`.
"""

import os
import sys
from pathlib import Path

from toolkit.errors import CourseError
from toolkit.front import hub

try:
    settings = hub.settings(os.environ, Path.cwd())
except CourseError as refused:
    sys.exit(str(refused))
for name, values in settings.items():
    get_config()[name].update(values)  # type: ignore[name-defined]  # noqa: F821  (JupyterHub puts it there)
print(hub.announcement(settings), file=sys.stderr)
