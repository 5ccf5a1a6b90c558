"""`course serve` without a browser: the door, what each visitor may reach, what stands after it was killed."""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.request import OpenerDirector

import pytest
from browser import children
from reading import Room, below, book, running_room, small_lessons, visitor
from test_read import PATIENCE, kernel_of, message
from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from toolkit.classroom.record import Record
from toolkit.classroom.room import Room as Folder
from toolkit.classroom.session import session_of, shipped_session
from toolkit.front import command, serve
from toolkit.front.launch import START_LESSON
from toolkit.front.room_server import MOST_PAGES, MOST_WRONG

WHERE = "import os; print(os.environ['GUARDED_PRESSURE_DATA'])"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    lessons = small_lessons(tmp_path_factory.mktemp("class") / "lessons")
    (lessons / START_LESSON).write_text(book(("markdown", "# Start\n\nWords."), ("code", WHERE)))
    board = json.loads(book(("markdown", "# Board"), ("code", WHERE)))
    board["metadata"]["guarded_pressure"]["audience"] = "instructor"
    (lessons / "board.ipynb").write_text(json.dumps(board))
    return lessons


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory, folder: Path) -> Iterator[Room]:
    with running_room(tmp_path_factory.mktemp("home"), folder) as running:
        yield running


def opened(known: OpenerDirector, room: Room, path: str = "/" + START_LESSON) -> str:
    page: str = known.open(room.root + path).read().decode()
    return page


def asked(known: OpenerDirector, room: Room, path: str) -> tuple[int, str]:
    """Status of an answer, and the address it came from in the end."""
    with known.open(room.root + path) as answered:
        answered.read()
        return answered.status, answered.url


def refused(known: OpenerDirector, room: Room, path: str, sent: bytes | None = None) -> tuple[int, str]:
    """Status and text of a refusal."""
    with pytest.raises(urllib.error.HTTPError) as refusal:
        known.open(room.root + path, sent)
    with refusal.value as error:
        return error.code, error.read().decode()


def turned_away(room: Room, known: OpenerDirector | None = None, **typed: str) -> tuple[int, str]:
    """Status and text of what the door says to a form that it does not take."""
    with pytest.raises(urllib.error.HTTPError) as refusal:
        room.knocks(known or visitor(), **typed)
    with refusal.value as error:
        return error.code, error.read().decode()


def test_who_has_not_come_in_stands_before_the_door(room: Room) -> None:
    before = below(room.pid)
    for path in ("/", "/" + START_LESSON, "/board.ipynb"):
        with visitor().open(room.root + path) as answered:
            assert "/come-in" in answered.url
            assert 'name="code"' in answered.read().decode()
    assert refused(visitor(), room, "/api/kernels/0-0-0-0-0")[0] in (403, 404)
    assert below(room.pid) == before


def test_a_wrong_code_and_no_name_are_told(room: Room) -> None:
    for typed, said in (
        ({"code": "WRONG1", "name": "Eve"}, "class code is another"),
        ({"code": room.code, "name": " "}, "No name was given"),
    ):
        status, page = turned_away(room, **typed)
        assert status == 403
        assert said in page


def test_a_form_from_a_page_elsewhere_is_not_taken(room: Room) -> None:
    assert refused(visitor(), room, "/come-in", f"code={room.code}&name=Eve".encode())[0] == 403


def test_each_visitor_has_a_record_alone_and_the_names_are_escaped(room: Room) -> None:
    ann, welcome = room.comes_in("Ann <i>A</i>")
    bob, _ = room.comes_in("Bob", to="/" + START_LESSON)
    assert "Ann &lt;i&gt;A&lt;/i&gt;" in welcome
    assert re.search(r'class="gp-own">\d{6}<', welcome)
    at_ann, at_bob = (re.search(r"<pre>(.*)\n</pre>", opened(one, room))[1] for one in (ann, bob))  # type: ignore[index]
    assert at_ann != at_bob
    assert Record(Path(at_ann)).learner() == "Ann <i>A</i>"
    assert "Leave (Ann &lt;i&gt;A&lt;/i&gt;)" in opened(ann, room)


def test_a_door_leads_nowhere_else(room: Room) -> None:
    for number, to in enumerate(
        ("https://elsewhere.example/", "//elsewhere.example", "/a/../b", "javascript:alert(1)")
    ):
        _, page = room.comes_in(f"Guest {number}", to=to)
        assert f'href="/{START_LESSON}"' in page


def talk(room: Room, known: OpenerDirector, kernel: str, sent: list[dict[str, object]]) -> list[str]:
    """The kinds of answers of a kernel up to that to the last of the messages sent."""
    cookies = next(one.cookiejar for one in known.handlers if hasattr(one, "cookiejar"))
    head = {"Cookie": "; ".join(f"{one.name}={one.value}" for one in cookies), "Origin": room.root}

    async def spoken() -> list[str]:
        address = room.root.replace("http", "ws") + f"/api/kernels/{kernel}/channels"
        connection = await websocket_connect(HTTPRequest(address, headers=head))
        for one in sent:
            await connection.write_message(json.dumps(one))
        heard: list[str] = []
        while True:
            told = json.loads(await asyncio.wait_for(connection.read_message(), PATIENCE))
            if told["channel"] == "shell":
                heard.append(told["header"]["msg_type"])
                if told["parent_header"].get("msg_id") == sent[-1]["header"]["msg_id"]:  # type: ignore[index]
                    connection.close()
                    while await connection.read_message() is not None:
                        pass  # to the end: a line that is only half shut is left open
                    return heard

    return asyncio.run(spoken())


def test_no_visitor_reaches_the_kernel_of_another_and_none_runs_code(room: Room, tmp_path: Path) -> None:
    (ann, _), (bob, _) = room.comes_in("Ann K"), room.comes_in("Bob K")
    kernel = kernel_of(opened(ann, room))
    assert asked(ann, room, f"/api/kernels/{kernel}")[0] == 200
    for stranger in (bob, visitor()):
        assert refused(stranger, room, f"/api/kernels/{kernel}")[0] in (403, 404)
        with pytest.raises(HTTPClientError, match=r"40[34]"):
            talk(room, stranger, kernel, [message("kernel_info_request", {})])
    mark = tmp_path / "ran"
    code = message("execute_request", {"code": f"open({str(mark)!r}, 'w')", "silent": False})
    assert talk(room, ann, kernel, [code, message("kernel_info_request", {})]) == ["kernel_info_reply"]
    assert not mark.exists()


def test_the_instructors_pages_are_the_instructors(room: Room) -> None:
    ann, _ = room.comes_in("Ann I")
    assert refused(ann, room, "/board.ipynb")[0] == 404
    assert refused(ann, room, "/instructor?key=wrong")[0] == 403
    known = visitor()
    assert "Words." in opened(known, room, room.instructor.removeprefix(room.root))
    assert "<h1>Board</h1>" in opened(known, room, "/board.ipynb") or "Board" in opened(known, room, "/board.ipynb")


def test_a_visitor_keeps_few_pages_open_and_none_after_leaving(room: Room) -> None:
    ann, _ = room.comes_in("Ann P")
    kernels = [kernel_of(opened(ann, room)) for _ in range(MOST_PAGES + 1)]
    assert refused(ann, room, f"/api/kernels/{kernels[0]}")[0] == 404
    for kernel in kernels[1:]:
        assert asked(ann, room, f"/api/kernels/{kernel}")[0] == 200
    before = len(below(room.pid))
    assert "/come-in" in asked(ann, room, "/leave")[1]
    assert len(below(room.pid)) == before - MOST_PAGES
    assert "/come-in" in asked(ann, room, "/" + START_LESSON)[1]


def test_many_wrong_codes_have_to_wait(tmp_path: Path, folder: Path) -> None:
    with running_room(tmp_path / "home", folder) as room:
        known = visitor()
        codes = []
        for _ in range(MOST_WRONG + 1):
            codes.append(turned_away(room, known, code="WRONG1", name="Eve")[0])
        assert codes == [403] * MOST_WRONG + [429]
        assert turned_away(room, known, code=room.code, name="Eve")[0] == 429


def test_a_full_machine_says_so_and_lets_the_instructor_in(tmp_path: Path, folder: Path) -> None:
    program = (
        "import sys; from toolkit.front import command, serve; serve.holds = lambda *_: 1;"
        f"sys.exit(command.main(['serve', '--folder', {str(tmp_path / 'room')!r}, *sys.argv[1:]]))"
    )
    with running_room(tmp_path / "home", folder, program=program) as room:
        (ann, _), (bob, _) = room.comes_in("Ann"), room.comes_in("Bob")
        opened(ann, room)
        assert refused(bob, room, "/" + START_LESSON)[0] == 503
        assert "Words." in opened(visitor(), room, room.instructor.removeprefix(room.root))
        asked(ann, room, "/leave")
        # the instructor's page is one as well: only when it is gone is there room
        assert refused(bob, room, "/" + START_LESSON)[0] == 503


def test_a_killed_class_goes_on(tmp_path: Path, folder: Path) -> None:
    with running_room(tmp_path / "home", folder, by=signal.SIGKILL) as room:
        ann, _ = room.comes_in("Ann")
        where = re.search(r"<pre>(.*)\n</pre>", opened(ann, room))[1]  # type: ignore[index]
        port = room.root.rpartition(":")[2]
    with running_room(tmp_path / "home", folder, "--port", port) as again:
        assert again.code == room.code
        # the cookie of before is still good, and leads to the same record
        assert re.search(r"<pre>(.*)\n</pre>", opened(ann, again))[1] == where  # type: ignore[index]
    assert [one.name for one in Folder(room.folder).visitors()] == ["Ann"]


def test_a_session_says_in_which_numbers_each_is_asked(tmp_path: Path) -> None:
    lessons = small_lessons(tmp_path / "lessons")
    asks = "from toolkit.quiz.widgets import Quiz; print(Quiz('02').seed, Quiz('05').seed)"
    (lessons / START_LESSON).write_text(book(("markdown", "# Start"), ("code", asks)))
    text = shipped_session("first_evening")
    each = tmp_path / "each.toml"
    each.write_text(text.replace('kind = "same"', 'kind = "each"'), encoding="utf-8")

    def seeds(room: Room, name: str) -> list[int]:
        known, _ = room.comes_in(name)
        return [int(one) for one in re.search(r"<pre>(\d+) (\d+)\n", opened(known, room)).groups()]  # type: ignore[union-attr]

    with running_room(tmp_path / "same", lessons, "--session", "first_evening") as room:
        (ann, other), (bob, _) = seeds(room, "Ann"), seeds(room, "Bob")
        assert ann == bob == session_of(text).seed
        assert other != ann  # lesson 05 is not in the session: anybody's numbers
    with running_room(tmp_path / "each", lessons, "--session", str(each)) as room:
        (ann, _), (bob, _) = seeds(room, "Ann"), seeds(room, "Bob")
        assert (ann, bob) == tuple(session_of(each.read_text(encoding="utf-8")).seed_of(one) for one in ("Ann", "Bob"))
        assert ann != bob


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--session", "nothing_here"), "no session of the course has that name"),
        (("--code", ""), "class code ''"),
    ],
)
def test_what_will_not_do_is_refused_before_anything_is_made(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, folder: Path, words: tuple[str, ...], said: str
) -> None:
    assert command.main(["serve", "--lessons", str(folder), "--folder", str(tmp_path / "room"), *words]) == 2
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_place_of_the_class_s_folder_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, folder: Path
) -> None:
    (tmp_path / "room").write_text("a file")
    assert command.main(["serve", "--lessons", str(folder), "--folder", str(tmp_path / "room")]) == 2
    assert f"{tmp_path / 'room'} is a file, and no folder" in capsys.readouterr().err


def test_how_many_a_machine_holds() -> None:
    assert serve.holds(8_000_000_000, 100_000_000) == 64
    assert serve.holds(1, 100_000_000) == serve.LEAST_VISITORS


def test_only_this_machine_is_listened_on_unless_asked(room: Room, tmp_path: Path) -> None:
    assert serve.addresses(network=False) == ["127.0.0.1"]
    folder = Folder(tmp_path / "room")
    alone = serve.announcement(["127.0.0.1"], 8123, folder, "key", 80_000_000, 30, network=False)
    open_ = serve.announcement(["192.0.2.7"], 8123, folder, "key", 80_000_000, 30, network=True)
    assert "--network opens" in alone
    assert "unencrypted" in open_
    assert "http://192.0.2.7:8123/" in open_
    assert "holds about 30 at once, by its memory" in open_
    if Path("/proc/net/tcp").exists():
        port = int(room.root.rpartition(":")[2])
        listening = [
            line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines() if line.split()[3] == "0A"
        ]
        assert [one for one in listening if one.endswith(f":{port:04X}")] == [f"0100007F:{port:04X}"]


def test_a_page_takes_memory_that_is_measured(tmp_path: Path) -> None:
    before = children(os.getpid())
    assert 30e6 < serve.memory_of_a_page(tmp_path) < 1e9
    assert children(os.getpid()) == before
