"""The server of a class: the pages of `reader` for all who come in by the class code, each with a record alone.

A visitor opens lessons, answers, and ends kernels of his own; every kernel knows one record's folder and no other.
As in `reader` nobody can run code. The instructor's address opens pages that are kept from all others.
"""

from __future__ import annotations

import os
import re
import secrets
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader
from jupyter_server.auth import IdentityProvider, User
from jupyter_server.auth.decorator import allow_unauthenticated
from jupyter_server.services.kernels.handlers import KernelHandler
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from tornado.web import HTTPError, RequestHandler
from traitlets import Any as Anything
from traitlets.config import Config
from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler  # type: ignore[import-untyped]
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler  # type: ignore[import-untyped]

from toolkit.classroom.record import FOLDER_VARIABLE
from toolkit.classroom.room import INSTRUCTOR, ROOM_VARIABLE, Room, Visitor
from toolkit.course import BOARD, IN_CLASS, PREPARE
from toolkit.errors import RecordError, RoomError
from toolkit.front import reader
from toolkit.front.launch import HOST, START_LESSON

# A page whose kernel has not been used for so long is told so and can be started again; its answers stand. A page that
# looks on while the class is at work is not idle: the instructor's own, and the one that a vote comes to.
IDLE_SECONDS = 1200
# Open pages of one visitor; a further one ends the oldest lesson, so that nobody takes the room of others.
MOST_PAGES = 2
# So many wrong codes from one address within so long, and it has to wait. Thirty people mistype often.
MOST_WRONG, WRONG_SECONDS = 20, 60.0


class RoomIdentity(IdentityProvider):
    """Who asks: the visitor of a cookie that this room has signed, or nobody."""

    room: Room = Anything()  # type: ignore[assignment]

    @property
    def auth_enabled(self) -> bool:
        """Nobody is let in without a cookie."""
        return True

    def get_user(self, handler: RequestHandler) -> User | None:
        """The visitor who asks."""
        known = handler.get_signed_cookie(self.get_cookie_name(handler))
        visitor = self.room.visitor(known.decode("ascii", "replace")) if known else None
        return User(username=visitor.key, name=visitor.name) if visitor else None

    def user_to_cookie(self, user: User) -> str:
        """The key alone."""
        return user.username


@dataclass(frozen=True)
class Shown:
    """What a kernel is for: a page, and the key of the visitor who has opened it."""

    visitor_key: str
    page: str


class RoomKernels(AsyncMappingKernelManager):
    """Kernels whose pages hear of their end, which would look alive and lose answers otherwise."""

    async def shutdown_kernel(self, kernel_id: str, **known: Any) -> None:  # type: ignore[override]
        """End a kernel, then the lines to its pages: each calls again, and finds out."""
        await super().shutdown_kernel(kernel_id, **known)  # type: ignore[no-untyped-call]
        for line in self._lines(kernel_id):
            line.close()

    async def cull_kernel_if_idle(self, kernel_id: str) -> None:
        """End a kernel that nobody has used for long, unless its page looks on while the class is at work."""
        shown = self._server.shown.get(kernel_id)
        looks_on = shown is not None and (shown.visitor_key == INSTRUCTOR or shown.page == IN_CLASS)
        if not (looks_on and self._lines(kernel_id)):
            await super().cull_kernel_if_idle(kernel_id)  # type: ignore[no-untyped-call]

    def _lines(self, kernel_id: str) -> list[OwnWebsocket]:
        return [line for line in self._server.lines if line.kernel_id == kernel_id]

    @property
    def _server(self) -> RoomServer:
        assert isinstance(self.parent, RoomServer)
        return self.parent


class RoomServer(reader.Reader):
    """The reader with a door. `most` is how many kernels may run at once."""

    def __init__(self, room: Room, most: int, instructor_key: str, announce: Callable[[], None], **known: Any) -> None:
        super().__init__(announce, **known)
        self.room, self.most, self.instructor_key = room, most, instructor_key
        self.shown: dict[str, Shown] = {}  # what each kernel is for, oldest first
        self.lines: set[OwnWebsocket] = set()  # open lines between pages and their kernels
        self.starting: set[str] = set()  # kernels that the manager does not know yet
        self.wrong: dict[str, deque[float]] = {}

    def init_settings(self) -> dict[str, Any]:
        """As the reader's, but forms may be sent here, and the room's network may ask."""
        known = super().init_settings()
        self.identity_provider.room = self.room
        if self.ip != HOST:
            # Whoever asks under another name has no cookie for it: cookies go with the name in the address bar.
            known["allow_remote_access"] = True
        policy = known["headers"]["Content-Security-Policy"]
        policy = policy.replace("form-action 'none'", "form-action 'self'").replace(f"ws://{HOST}:", "ws://*:")
        known["headers"]["Content-Security-Policy"] = policy
        return known

    def init_handlers(self) -> list[tuple[Any, ...]]:
        """The reader's addresses, each for the visitor whose kernel it is, and the door."""
        owned = {
            reader.LessonPage: RoomLesson,
            reader.SheetPage: RoomSheet,
            KernelHandler: OwnKernel,
            VoilaKernelWebsocketHandler: OwnWebsocket,
            VoilaShutdownKernelHandler: OwnShutdown,
        }
        pages = [(where, owned.get(page, page), *more) for where, page, *more in super().init_handlers()]
        return [(r"/come-in", Door), (r"/instructor", InstructorDoor), (r"/leave", Leave), *pages]

    async def make_way(self, visitor: Visitor, keep: int = MOST_PAGES - 1) -> None:
        """End a visitor's oldest kernels, but so many; those of a class's vote last."""
        there = {*self.starting, *self.kernel_manager.list_kernel_ids()}
        self.shown = {one: shown for one, shown in self.shown.items() if one in there}
        mine = [one for one, shown in self.shown.items() if shown.visitor_key == visitor.key]
        mine.sort(key=lambda one: self.shown[one].page in (IN_CLASS, BOARD))
        for old in mine[: max(0, len(mine) - keep)]:
            if old not in self.starting:
                self.shown.pop(old, None)
                await self.kernel_manager.shutdown_kernel(old, now=True)

    def too_many_wrong(self, address: str, *, one_more: bool = False) -> bool:
        """Whether an address has tried too many codes of late."""
        now, times = monotonic(), self.wrong.setdefault(address, deque(maxlen=MOST_WRONG))
        while times and now - times[0] > WRONG_SECONDS:
            times.popleft()
        if one_more:
            times.append(now)
        return len(times) >= MOST_WRONG


def serve(
    lessons: Path, room: Room, *, ip: str, port: int, most: int, instructor_key: str, announce: Callable[[], None]
) -> None:
    """Serve a class until Ctrl-C or a SIGTERM.

    `room` is its folder, `ip` what to listen on, `most` how many pages may be open at once. Raises LaunchError as
    `reader.serve` does.
    """
    known = reader.settings(lessons, port=port, token="")
    known["Voila"] |= {"ip": ip, "identity_provider_class": RoomIdentity, "cookie_secret": room.secret}
    known["VoilaConfiguration"] |= {"multi_kernel_manager_class": RoomKernels}
    known["MappingKernelManager"] |= {"cull_idle_timeout": IDLE_SECONDS, "cull_connected": True}
    reader.run(RoomServer(room, most, instructor_key, announce, config=Config(known)))


def visitor_of(handler: Any) -> Visitor:
    """Who asks; HTTP 403 where it is nobody."""
    user = handler.current_user
    if user is None:
        raise HTTPError(403)
    return Visitor(user.username, user.name)


class _Inside:
    """A page inside: who has not come in is sent to the door."""

    async def prepare(self: Any, **_: Any) -> None:
        if self.identity_provider.get_user(self) is None:
            self.redirect(f"/come-in?to={quote(self.request.path)}")
            return
        await super().prepare()  # type: ignore[misc]


class RoomLesson(_Inside, reader.LessonPage):
    """A lesson, for who has come in."""

    GONE = (
        f"The bench has stopped: it stood unused for {IDLE_SECONDS // 60} minutes, or more than {MOST_PAGES} pages of "
        'yours were open. Your answers are kept. Press "Start again". If no page comes then, ask your instructor.'
    )

    def may_open(self, metadata: Any) -> bool:
        """The instructor's own pages are there for no one else."""
        theirs = metadata.get("audience") == INSTRUCTOR and not visitor_of(self).instructs
        return super().may_open(metadata) and not theirs

    def links(self) -> list[tuple[str, str]]:
        """The class's page, and the way out for who sits here."""
        visitor = visitor_of(self)
        theirs = [("The board", f"/{BOARD}"), ("Prepare a session", f"/{PREPARE}")]
        pages = theirs if visitor.instructs else [("In class", f"/{IN_CLASS}")]
        return [*pages, (f"Leave ({visitor.name})", "/leave")]

    async def get(self, name: str) -> None:
        """Send the page; HTTP 503 where the machine holds no more. The instructor always gets one."""
        app: RoomServer = self.settings["voila"]
        visitor = visitor_of(self)
        await app.make_way(visitor)
        if len(app.shown) >= app.most and not visitor.instructs:
            raise HTTPError(503)
        await super().get(name)

    async def _kernel(self, kernel_id: str, **known: Any) -> Any:
        """A kernel that knows its visitor's folder, and the room's."""
        app: RoomServer = self.settings["voila"]
        visitor = visitor_of(self)
        app.shown[kernel_id] = Shown(visitor.key, self.path_args[0])
        app.starting.add(kernel_id)
        where = {FOLDER_VARIABLE: str(app.room.data_folder(visitor)), ROOM_VARIABLE: str(app.room.folder)}
        try:
            return await super()._kernel(kernel_id, env=os.environ | where, **known)
        finally:
            app.starting.discard(kernel_id)


class RoomSheet(_Inside, reader.SheetPage):
    """A sheet, for who has come in."""


class _Own:
    """What a visitor may do to a kernel of his own."""

    async def prepare(self: Any) -> None:
        result = super().prepare()  # type: ignore[misc]
        if result is not None:
            await result
        user, asked = self.current_user, self.path_kwargs.get("kernel_id") or (self.path_args or [""])[0]
        shown = self.settings["voila"].shown.get(asked)
        if user is None or shown is None or shown.visitor_key != user.username:
            raise HTTPError(404)


class OwnKernel(_Own, KernelHandler):  # type: ignore[misc]
    """A kernel's state and its end."""


class OwnWebsocket(_Own, VoilaKernelWebsocketHandler):  # type: ignore[misc]
    """A kernel's controls."""

    async def open(self, kernel_id: str) -> None:
        """A line to a page, known to the room."""
        self.settings["voila"].lines.add(self)
        await super().open(kernel_id)

    def on_close(self) -> None:
        """The page has gone, or its kernel."""
        self.settings["voila"].lines.discard(self)
        super().on_close()


class OwnShutdown(_Own, VoilaShutdownKernelHandler):  # type: ignore[misc]
    """A page's farewell."""


class Door(reader.Page):
    """Where a visitor comes in: class code and name, and the own code for who comes back."""

    @allow_unauthenticated
    async def get(self) -> None:
        """Show the door."""
        self._show()

    @allow_unauthenticated
    async def post(self) -> None:
        """Let in who knows the class code."""
        app: RoomServer = self.settings["voila"]
        address = self.request.remote_ip or ""
        if app.too_many_wrong(address):
            self._show("Too many codes were wrong. Wait a minute, then try again.", 429)
            return
        if not app.room.opens(self.get_body_argument("code", "")):
            app.too_many_wrong(address, one_more=True)
            self._show("The class code is another one. Look at the board again.", 403)
            return
        try:
            visitor, own = app.room.come_in(self.get_body_argument("name", ""), self.get_body_argument("own", ""))
        except (RoomError, RecordError) as error:
            # An own code can be guessed at as well.
            app.too_many_wrong(address, one_more=True)
            self._show(str(error), 403)
            return
        self.identity_provider.set_login_cookie(self, User(username=visitor.key, name=visitor.name))
        where = _inside(self.get_body_argument("to", ""))
        if own:
            self._page("welcome.html.j2", name=visitor.name, own=own, where=where)
        else:
            self.redirect(where)

    def _show(self, said: str = "", status: int = 200) -> None:
        self.set_status(status)
        typed = {name: self.get_argument(name, "")[:200] for name in ("name", "to")}
        self._page("door.html.j2", said=said, xsrf=self.xsrf_token.decode(), **typed)

    def _page(self, template: str, **known: Any) -> None:
        page = Environment(loader=FileSystemLoader(reader.TEMPLATE), autoescape=True).get_template(template)
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        self.finish(page.render(**known))


class InstructorDoor(reader.Page):
    """Where the instructor comes in, by the address that was printed."""

    @allow_unauthenticated
    async def get(self) -> None:
        """Let in who knows the key."""
        app: RoomServer = self.settings["voila"]
        address = self.request.remote_ip or ""
        given = self.get_query_argument("key", "")
        if app.too_many_wrong(address) or not secrets.compare_digest(given.encode(), app.instructor_key.encode()):
            app.too_many_wrong(address, one_more=True)
            raise HTTPError(403)
        self.identity_provider.set_login_cookie(self, User(username=INSTRUCTOR, name="Instructor"))
        self.redirect("/" + START_LESSON)


class Leave(reader.Page):
    """The way out, for who shares a computer."""

    @allow_unauthenticated
    async def get(self) -> None:
        """Forget who sits here, and end what was open."""
        if self.current_user is not None:
            app: RoomServer = self.settings["voila"]
            await app.make_way(visitor_of(self), keep=0)
        self.identity_provider.clear_login_cookie(self)
        self.redirect("/come-in")


def _inside(path: str) -> str:
    """A path to go on to: a page of this room, never an address elsewhere."""
    return path if re.fullmatch(r"/[\w.-]+", path) else "/" + START_LESSON
