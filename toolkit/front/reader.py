"""The server of pages: Voila's kernels, renderer and page script behind addresses of our own.

Who knows the token may open a lesson, which starts a kernel and runs the lesson in it; move the lesson's controls and
answer its questions; and end that kernel.
Nobody can run code of their own: of all messages, only those of controls (`comm_...`), the two questions what a kernel
and its controls are, and a request to end it are passed on to a kernel.
Nothing of the lessons' folder is served but its lessons and the two sheets, each as a page; nothing is ever written
there.
"""

from __future__ import annotations

import logging
import re
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import uuid4

import mistune
from jinja2 import Environment, FileSystemLoader
from jupyter_core.utils import run_sync
from jupyter_server.base.handlers import JupyterHandler
from jupyter_server.services.kernels.handlers import KernelHandler
from jupyter_server.utils import ApiPath
from tornado.ioloop import IOLoop
from tornado.iostream import StreamClosedError
from tornado.web import HTTPError, RedirectHandler
from traitlets.config import Config
from voila.app import Voila  # type: ignore[import-untyped]
from voila.notebook_renderer import NotebookRenderer  # type: ignore[import-untyped]
from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler  # type: ignore[import-untyped]
from voila.static_file_handler import MultiStaticFileHandler  # type: ignore[import-untyped]
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler  # type: ignore[import-untyped]
from voila.utils import get_page_config  # type: ignore[import-untyped]

from toolkit.course import FORMULAS, GLOSSARY
from toolkit.errors import LaunchError
from toolkit.front.launch import FRONT, HOST, START_LESSON

TEMPLATE = FRONT / "template"
# The controls' names and keys are those of the lessons in JupyterLab: the very same files.
OUR_FILES = (TEMPLATE / "static", FRONT / "labextension" / "guarded-pressure" / "static")
# What draws the controls. No other extension that is installed is loaded: it may ask questions or call home.
EXTENSIONS = ("@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8")
# A kernel takes 0.1 GB. One whose page is gone without a farewell (a browser that was killed, a computer that slept)
# is ended after this long; a page that is merely open keeps its own.
KERNEL_UNSEEN_SECONDS = 600
KERNEL_LOOK_SECONDS = 60

SHEETS = (FORMULAS, GLOSSARY)
COMMENT = re.compile(r"<!--.*?-->\n", re.DOTALL)
KERNEL = r"/api/kernels/(?P<kernel_id>\w+-\w+-\w+-\w+-\w+)"
SENTENCES = {
    403: "This page opens only with the whole address that the course printed when it was started: "
    "copy it again, from http to the end of its token.",
    404: "There is no lesson of this name.",
    503: "This machine holds no further page now. Close one, or tell your instructor.",
}
NO_PAGE = "This page could not be made. Open it again; if that does not help, tell your instructor which lesson it is."


def serve(lessons: Path, port: int, token: str, announce: Callable[[], None]) -> None:
    """Serve pages until Ctrl-C or a SIGTERM.

    Args:
        lessons: folder with the lessons.
        port: free port.
        token: what a browser must know to be let in. Other users of this machine, and other pages in the same browser,
            reach a loopback address too; without it they could start kernels and answer in the learner's name.
        announce: called once a browser would be answered.

    Raises:
        LaunchError: what draws the controls is not installed.
    """
    run(Reader(announce, config=Config(settings(lessons, port=port, token=token))))


def run(reader: Reader) -> None:
    """Serve until Ctrl-C or a SIGTERM. Raises LaunchError where what draws the controls is not installed."""
    reader.initialize([])
    for name in EXTENSIONS:
        if not any((Path(folder) / name / "package.json").is_file() for folder in reader.labextensions_path):
            raise LaunchError(
                f"The part that draws sliders and menus ({name}) is not installed: "
                "set the course up again as the README says."
            )
    # A browser that asks for what is not there is no news.
    logging.getLogger("tornado").setLevel(logging.ERROR)
    signal.signal(signal.SIGINT, reader._handle_signal_stop)
    reader.start()


def settings(lessons: Path, *, port: int, token: str) -> dict[str, dict[str, Any]]:
    """The server's settings, by class and name."""
    return {
        "Voila": {
            "ip": HOST,
            "port": port,
            "port_retries": 0,
            "root_dir": str(lessons),
            "open_browser": False,
            "token": token,
            "config_file_paths": [],
        },
        "Application": {"log_level": "ERROR"},
        # Pages elsewhere cannot load ours into themselves; a link or the address bar still opens one.
        "IdentityProvider": {"cookie_options": {"samesite": "Lax"}},
        "VoilaConfiguration": {
            "template": "lab",  # ours is found before it
            "allow_template_override": "NO",
            "allow_theme_override": "NO",
            "extension_allowlist": list(EXTENSIONS),
            "show_tracebacks": False,
            "strip_sources": True,
        },
        # Only the Python that runs the course: a kernel of the same name elsewhere may lack the course.
        "KernelSpecManager": {"kernel_dirs": [], "allowed_kernelspecs": {"python3"}},
        "KernelManager": {"transport_encryption": "auto"},
        "MappingKernelManager": {"cull_idle_timeout": KERNEL_UNSEEN_SECONDS, "cull_interval": KERNEL_LOOK_SECONDS},
    }


class Reader(Voila):  # type: ignore[misc]
    """Voila with our template and our addresses; `announce` is called once it answers."""

    def __init__(self, announce: Callable[[], None], **known: Any) -> None:
        super().__init__(**known)
        # Voila finds it only as it begins to listen, and a signal may come before.
        self.ioloop = IOLoop.current()
        self.ioloop.add_callback(announce)

    def setup_template_dirs(self) -> None:
        """Our template and files first."""
        super().setup_template_dirs()
        self.template_paths.insert(0, str(TEMPLATE))
        self.static_paths[:0] = map(str, OUR_FILES)

    def init_settings(self) -> dict[str, Any]:
        """What Voila sets, less its leave to be reached under any name: a page elsewhere could give itself ours."""
        known: dict[str, Any] = super().init_settings()
        return known | {
            "allow_remote_access": False,
            "xsrf_cookie_kwargs": {"samesite": "Lax"},
            "headers": {
                # Scripts and data from here only; the controls bring styles and pictures along within themselves.
                "Content-Security-Policy": (
                    f"default-src 'self'; connect-src 'self' ws://{HOST}:{self.port}; "
                    "style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self' data:; "
                    "object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
                ),
                "Referrer-Policy": "same-origin",
                "X-Content-Type-Options": "nosniff",
            },
        }

    def init_handlers(self) -> list[tuple[Any, ...]]:
        """The only addresses there are."""
        return [
            (r"/", RedirectHandler, {"url": START_LESSON, "permanent": False}),
            (r"/([^/]+\.ipynb)", LessonPage),
            (rf"/({'|'.join(map(re.escape, SHEETS))})", SheetPage),
            (KERNEL, KernelHandler),
            (KERNEL + "/channels", VoilaKernelWebsocketHandler),
            (r"/voila/api/shutdown/(.*)", VoilaShutdownKernelHandler),
            (r"/voila/static/(.*)", MultiStaticFileHandler, {"paths": self.static_paths}),
            (r"/voila/labextensions/(.*)", MultiStaticFileHandler, {"paths": self.labextensions_path}),
            (r".*", NoPage),
        ]

    def stop(self) -> None:
        """End all kernels at once: an answer is in the record as soon as it is graded, so none has to be waited for."""
        run_sync(self.kernel_manager.shutdown_all)(now=True)


class Page(JupyterHandler):
    """A page, or a sentence on a page of its own that says why there is none."""

    async def prepare(self, **_: Any) -> None:
        """Let in who knows the token; nobody is sent to a page to log in."""
        await super().prepare(_redirect_to_login=False)

    def write_error(self, status_code: int, **_: Any) -> None:
        """A sentence, whatever went wrong."""
        page = Environment(loader=FileSystemLoader(TEMPLATE), autoescape=True).get_template("sentence.html.j2")
        self.set_header("Content-Type", "text/html; charset=utf-8")
        start = START_LESSON if self.current_user else ""  # who is not let in has nowhere to go on to
        self.finish(page.render(sentence=SENTENCES.get(status_code, NO_PAGE), start=start))


class NoPage(Page):
    """Any other address."""

    async def get(self) -> None:
        """Refuse."""
        raise HTTPError(404)


class SheetPage(Page):
    """The formula sheet or the glossary: text that no kernel is needed for."""

    async def get(self, name: str) -> None:
        """Send one of the sheets in the lessons' folder; HTTP 404 where the folder has none."""
        app: Reader = self.settings["voila"]
        path = Path(app.root_dir) / name
        if not path.is_file():
            raise HTTPError(404)
        source = path.read_text(encoding="utf-8")
        # The text is our own, made from the code; what looks like HTML in it is shown as text all the same.
        text = mistune.create_markdown(escape=True, plugins=["table"])(COMMENT.sub("", source))
        title = next(line.removeprefix("# ") for line in source.splitlines() if line.startswith("# "))
        page = Environment(loader=FileSystemLoader(TEMPLATE), autoescape=True).get_template("sheet.html.j2")
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.finish(page.render(title=title, text=text))


class LessonPage(Page):
    """One lesson: its text at once, then its kernel, then what its cells show."""

    GONE = (
        'The bench has stopped. Press "Start again". If no page comes then, the course was ended: '
        'type "course read" again and open the address that it prints.'
    )

    async def get(self, name: str) -> None:
        """Send the page of a lesson in the lessons' folder."""
        if self.get_query_arguments("token"):
            # Its cookie is set by now; left in the address, it would be copied along with it.
            self.redirect(self.request.path)
            return
        renderer = await self._lesson(name)
        _ = self.xsrf_token  # sets its cookie, which the page must show as it ends its kernel
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        kernel_id, complete = str(uuid4()), False
        try:
            async for piece, _resources in renderer.generate_content_generator(kernel_id, self._kernel(kernel_id)):
                self.write(piece)
                await self.flush()
            complete = True
        except StreamClosedError:
            pass  # the reader has gone on already
        except Exception:  # no kernel: the text is out, and the page's script says what is missing
            self.log.exception("The page %s could not be completed.", name)
            await self.finish()
        finally:
            if not complete and kernel_id in self.kernel_manager:
                await self.kernel_manager.shutdown_kernel(kernel_id, now=True)  # type: ignore[no-untyped-call]

    async def _lesson(self, name: str) -> Any:
        """What renders a lesson; HTTP 404 for what is none, so that no other notebook is run by opening it."""
        app: Reader = self.settings["voila"]
        known = {"voila_configuration": app.voila_configuration, "base_url": self.base_url}
        page_config = get_page_config(settings=self.settings, log=app.log, **known)
        renderer = NotebookRenderer(
            request_handler=self,
            traitlet_config=app.config,
            notebook_path=name,
            template_paths=app.template_paths,
            contents_manager=self.contents_manager,
            kernel_spec_manager=self.kernel_spec_manager,
            # the lessons have no formulas, and what sets them is large
            page_config=page_config | {"disabledExtensions": ["@jupyterlab/mathjax-extension"]},
            **known,
        )
        await renderer.initialize()
        if not self.may_open(renderer.notebook.metadata.get("guarded_pressure", {})):
            raise HTTPError(404)
        renderer.resources |= {"title": title(renderer.notebook), "links": self.links(), "gone": self.GONE}
        return renderer

    def links(self) -> list[tuple[str, str]]:
        """Words and addresses that stand at the head of the page, beside the way to all lessons."""
        return []

    def may_open(self, metadata: Any) -> bool:
        """Whether a notebook, by what it says of itself, is a page for who asks."""
        return bool(metadata.get("lesson"))

    async def _kernel(self, kernel_id: str, **known: Any) -> Any:
        """Start a kernel; `known` is what else it is started with."""
        await self.kernel_manager.start_kernel(kernel_id=kernel_id, kernel_name="python3", path=ApiPath(""), **known)
        return self.kernel_manager.get_kernel(kernel_id)


def title(book: Any) -> str:
    """A lesson's first heading."""
    lines = (line for cell in book.cells if cell.cell_type == "markdown" for line in cell.source.splitlines())
    return next((line.removeprefix("# ").strip() for line in lines if line.startswith("# ")), "A lesson")
