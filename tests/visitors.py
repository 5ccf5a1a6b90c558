"""Visitors of a served class over the real protocol: the door, a page and its kernel, messages of its controls.

A visitor here has no browser: it keeps the state of each control as a page does, sets values and presses buttons.
"""

from __future__ import annotations

import asyncio
import http.cookies
import json
import re
import time
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from reading import Room
from tornado.httpclient import AsyncHTTPClient, HTTPRequest, HTTPResponse
from tornado.websocket import WebSocketClientConnection, websocket_connect

from toolkit.diagnosis.next_check import CHECKS
from toolkit.quiz.visit import MAKE_SAFE, worded

PATIENCE = 300.0  # s; thirty kernels start on two cores
CONTROL = "jupyter.widget.control"
# The buttons of a visit that nobody need fear.
SAFE = {worded(key) for key, one in CHECKS.items() if not one.forbidden}
# Typed one after the other until one is of the kind that is asked for.
GUESSES = ("7 in wc", "5 psi", "100 scfh", "10 s", "0.5 in", "20 %", "3", "5 min", "60 F", "1 cu ft")


@dataclass
class Visitor:
    """Somebody in a class. `waits` are the seconds from each press of a button to the kernel's rest after it."""

    room: Room
    name: str
    cookies: dict[str, str] = field(default_factory=dict)
    states: dict[str, dict[str, Any]] = field(default_factory=dict)
    waits: list[float] = field(default_factory=list)
    own: str = ""

    async def comes_in(self) -> None:
        """Through the door with code and name."""
        form = await self._ask("/come-in")
        token = re.search(r'name="_xsrf" value="([^"]+)"', form.body.decode())
        assert token
        typed = {"_xsrf": token[1], "code": self.room.code, "name": self.name, "own": self.own, "to": ""}
        answer = await self._ask("/come-in", urlencode(typed))
        own = re.search(r'class="gp-own">(\d+)<', answer.body.decode())
        self.own = own[1] if own else self.own

    async def opens(self, lesson: str) -> float:
        """Open a lesson and learn its controls; gives the seconds until all of them are known."""
        began = time.perf_counter()
        page = (await self._ask("/" + lesson)).body.decode()
        assert "data-gp-complete" in page, "the page broke off"
        assert "data-gp-failed" not in page, "a cell failed"
        found = re.search(r'id="jupyter-config-data"[^>]*>(.*?)</script>', page)
        assert found, "the page has no kernel"
        kernel = json.loads(found[1])["kernelId"]
        address = f"{self.room.root.replace('http', 'ws')}/api/kernels/{kernel}/channels"
        head = {"Cookie": self._cookie(), "Origin": self.room.root}
        request = HTTPRequest(address, headers=head, request_timeout=PATIENCE, connect_timeout=PATIENCE)
        self.line: WebSocketClientConnection = await websocket_connect(request)
        comm = uuid4().hex
        await self._say("comm_open", {"comm_id": comm, "target_name": CONTROL, "data": {}}, {"version": "1.0.0"})
        await self._say("comm_msg", {"comm_id": comm, "data": {"method": "request_states"}})
        return time.perf_counter() - began

    async def _ask(self, path: str, form: str | None = None) -> HTTPResponse:
        """What the server answers, redirects followed with all cookies."""
        client = AsyncHTTPClient(max_clients=200)
        method = "GET" if form is None else "POST"
        for _ in range(5):
            request = HTTPRequest(
                self.room.root + path,
                method=method,
                body=form,
                headers={"Cookie": self._cookie()},
                follow_redirects=False,
                request_timeout=PATIENCE,
                connect_timeout=PATIENCE,
            )
            answer = await client.fetch(request, raise_error=False)
            for line in answer.headers.get_list("Set-Cookie"):
                for key, morsel in http.cookies.SimpleCookie(line).items():
                    self.cookies[key] = morsel.value
            if answer.code not in (301, 302, 303):
                assert answer.code == 200, f"{path}: {answer.code} {answer.body[:300]!r}"
                return answer
            path, method, form = answer.headers["Location"].replace(self.room.root, ""), "GET", None
            path = path if path.startswith("/") else "/" + path
        raise AssertionError("sent round in a circle")

    def _cookie(self) -> str:
        return "; ".join(f'{key}="{value}"' for key, value in self.cookies.items())

    async def _say(self, kind: str, content: dict[str, Any], metadata: dict[str, Any] | None = None) -> None:
        """Say something to the kernel and take in all that it tells until it rests again."""
        one = uuid4().hex
        header = {"msg_id": one, "msg_type": kind, "session": "s", "username": "u", "version": "5.3", "date": ""}
        message = {"header": header, "parent_header": {}, "metadata": metadata or {}, "content": content}
        await self.line.write_message(json.dumps(message | {"channel": "shell", "buffers": []}))
        async with asyncio.timeout(PATIENCE):
            while True:
                heard = await self.line.read_message()
                assert heard is not None, "the kernel's line was cut"
                told = json.loads(heard)
                self._take(told)
                rests = told["header"]["msg_type"] == "status" and told["content"]["execution_state"] == "idle"
                if rests and told["parent_header"].get("msg_id") == one:
                    return

    def _take(self, told: dict[str, Any]) -> None:
        kind, content = told["header"]["msg_type"], told["content"]
        if kind == "comm_open" and content["target_name"] == "jupyter.widget":
            self.states[content["comm_id"]] = dict(content["data"]["state"])
        elif kind == "comm_msg":
            data = content["data"]
            if data["method"] == "update_states":
                self.states |= {key: dict(one["state"]) for key, one in data["states"].items()}
            elif data["method"] == "update":
                self.states.setdefault(content["comm_id"], {}).update(data["state"])

    # What a page shows

    def shown(self, comm: str) -> bool:
        """Whether a control's own layout shows it."""
        layout = self.states[comm].get("layout", "").removeprefix("IPY_MODEL_")
        return self.states.get(layout, {}).get("display") != "none"

    def children(self, comm: str) -> list[str]:
        """The controls inside a box."""
        return [one.removeprefix("IPY_MODEL_") for one in self.states[comm].get("children", [])]

    def button(self, *names: str) -> str:
        """The last button made that has one of these names and is shown, or nothing."""
        found = [
            comm
            for comm, state in self.states.items()
            if state.get("_model_name") == "ButtonModel" and state["description"] in names and self.shown(comm)
        ]
        return found[-1] if found else ""

    async def presses(self, *names: str) -> None:
        """Press a button, and wait for what comes of it."""
        comm = self.button(*names)
        assert comm, f"{self.name} sees no button {names}"
        began = time.perf_counter()
        await self._say("comm_msg", {"comm_id": comm, "data": {"method": "custom", "content": {"event": "click"}}})
        self.waits.append(time.perf_counter() - began)

    async def sets(self, comm: str, **state: Any) -> None:
        """Set a control."""
        self.states[comm] |= state
        data = {"method": "update", "state": state, "buffer_paths": []}
        await self._say("comm_msg", {"comm_id": comm, "data": data})

    # What is done in a quiz

    def fields(self) -> list[str]:
        """The fields of the question that is asked now: what stands in the last quiz's third box."""
        quizzes = [comm for comm, state in self.states.items() if "gp-top" in state.get("_dom_classes", ())]
        top = quizzes[-1]
        (box,) = [comm for comm in self.states if top in self.children(comm)][-1:]
        return self.children(self.children(box)[3])

    async def answers(self) -> None:
        """Give any answer that can be graded."""
        fields = self.fields()
        kinds = [self.states[comm]["_model_name"] for comm in fields]
        for guess in GUESSES if kinds == ["TextModel"] else ("",):
            if kinds == ["TextModel"]:
                await self.sets(fields[0], value=guess)
            elif kinds == ["RadioButtonsModel"]:
                await self.sets(fields[0], index=0)
            elif "GridBoxModel" in kinds:
                # Nothing is read while an abnormal condition stands: such a press would end the case.
                await self.presses(worded(MAKE_SAFE))
                offered = [self.states[button]["description"] for comm in fields for button in self.children(comm)]
                await self.presses(next(name for name in offered if name in SAFE))
            elif set(kinds) == {"DropdownModel"}:
                for place, comm in enumerate(fields, 1):
                    await self.sets(comm, index=place)
            else:
                await self.sets(fields[0], value=100)
            if not self.button("Next question", "Show the summary"):
                await self.presses("Check my answer", "I know enough: end the visit")
            if self.button("Next question", "Show the summary"):
                return
        raise AssertionError(f"{self.name} could not answer {kinds}")

    async def finishes(self) -> int:
        """Answer question after question to the summary; gives how many there were."""
        asked = 0
        while True:
            await self.answers()
            asked += 1
            last = bool(self.button("Show the summary"))
            await self.presses("Next question", "Show the summary")
            if last:
                return asked

    async def leaves(self) -> None:
        """Close the page without a farewell to its kernel."""
        self.line.close()
        while await self.line.read_message() is not None:
            pass


async def takes_a_case(visitor: Visitor, lesson: str) -> tuple[float, int]:
    """Come in, open the page of cases, take one to its summary; the seconds until the page stood, and the questions."""
    await visitor.comes_in()
    opened = await visitor.opens(lesson)
    await visitor.presses("Open this case")
    asked = await visitor.finishes()
    await visitor.leaves()
    return opened, asked
