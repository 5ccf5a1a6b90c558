"""A JupyterHub for a class that runs its own code: each learner has a JupyterLab of the course, by a class code.

In `course serve` nobody can run code; here every learner can, so what keeps one from another is the operating system.
A spawner that gives each learner an account or a container of his own does that. The simple one does not: all learners
are one account there, and read and end each other's work. It is for trying out on one machine and is refused elsewhere.
The class code is shared: who knows it can come in under any name. Where that matters, `course serve` gives own codes.
"""

from __future__ import annotations

import argparse
import ipaddress
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import psutil

from toolkit import compiled
from toolkit.classroom.record import FOLDER_VARIABLE, data_folder
from toolkit.errors import LaunchError
from toolkit.front.launch import FRONT, HOST, START_LESSON, lessons_folder, usable_port
from toolkit.front.serve import holds
from toolkit.front.terminal import say

CONFIG_FILE = FRONT / "hub" / "jupyterhub_config.py"
CODE, CODE_FILE = "GUARDED_PRESSURE_HUB_CODE", "GUARDED_PRESSURE_HUB_CODE_FILE"
ADDRESS, PORT = "GUARDED_PRESSURE_HUB_ADDRESS", "GUARDED_PRESSURE_HUB_PORT"
FOLDER, SPAWNER, GROUP = "GUARDED_PRESSURE_HUB_FOLDER", "GUARDED_PRESSURE_HUB_SPAWNER", "GUARDED_PRESSURE_HUB_GROUP"
IDLE, UNSAFE = "GUARDED_PRESSURE_HUB_IDLE_SECONDS", "GUARDED_PRESSURE_HUB_UNSAFE"
VARIABLES = {
    CODE: "the class code, 8 to 100 characters",
    CODE_FILE: "a file with the class code in it, in place of the code itself",
    ADDRESS: "what to listen on: 127.0.0.1 (this machine only) if left out; 0.0.0.0 opens the hub to the network",
    PORT: "the port; 8000 if left out",
    FOLDER: "the hub's own folder; one in the user's data folder if left out",
    SPAWNER: "what starts a learner's server: a JupyterHub spawner by name or class; simple if left out",
    GROUP: "with the spawner localprocess: the group of the accounts that may come in",
    IDLE: "a server that has not been used for so long is ended; 1800 if left out",
    UNSAFE: f"the word {'one-account'!r} lets the simple spawner be opened to the network all the same",
}
# JupyterHub's own authenticator wants as many.
SHORTEST_CODE, LONGEST_CODE = 8, 100
SIMPLE = ("simple", "jupyterhub.spawner.SimpleLocalProcessSpawner")
LOCAL = ("localprocess", "default", "jupyterhub.spawner.LocalProcessSpawner")
ONE_ACCOUNT = "one-account"
# A name becomes a folder and a part of an address: it begins with a letter or digit and holds no slash.
NAME = r"\w(?:[\w .'-]{0,58}[\w.])?\Z"
SHORTEST_IDLE = 60
# Accounts below are the system's own.
FIRST_ACCOUNT = 1000
# Measured, 215 MB: a learner's server with the start lesson open, and its kernel; a bench and a chart take more.
A_LEARNER = 300_000_000


def run(_asked: argparse.Namespace) -> None:
    """Print where the configuration for a JupyterHub is."""
    say(f"{CONFIG_FILE}\n")


def settings(known: Mapping[str, str], current: Path) -> dict[str, dict[str, Any]]:
    """JupyterHub's settings, by class and name.

    Args:
        known: the environment; `VARIABLES` says what is read of it.
        current: where the hub is started; its lessons/ are served, or those of the checkout.

    Raises:
        LaunchError: no good class code, or what was set is not safe or cannot be used.
    """
    address, spawner = known.get(ADDRESS, HOST), known.get(SPAWNER, SIMPLE[0])
    _check_isolation(address, spawner, known.get(UNSAFE, ""))
    folder = Path(known.get(FOLDER) or data_folder() / "hub").absolute()
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as refused:
        raise LaunchError(f"The hub's folder {folder} cannot be used ({refused.strerror}): set {FOLDER}.") from refused
    taken = set[int]()
    while len(taken) < 2:
        taken.add(usable_port(None))
    hub, proxy = taken
    return {
        "JupyterHub": {
            "bind_url": f"http://{address}:{_port(known.get(PORT, '8000'))}",
            "hub_bind_url": f"http://{HOST}:{hub}",
            "authenticator_class": "shared-password",
            "spawner_class": spawner,
            "db_url": f"sqlite:///{folder / 'hub.sqlite3'}",
            "cookie_secret_file": str(folder / "cookie_secret"),
            "active_server_limit": holds(psutil.virtual_memory().available, A_LEARNER),
            # Who leaves a shared computer leaves nothing running.
            "shutdown_on_logout": True,
            "template_vars": {"announcement_login": "Username: your name. Password: the class code on the board."},
            **_culler(_idle_seconds(known.get(IDLE, "1800"))),
        },
        "ConfigurableHTTPProxy": {"api_url": f"http://{HOST}:{proxy}", "pid_file": str(folder / "proxy.pid")},
        "SharedPasswordAuthenticator": {
            "user_password": class_code(known),
            "username_pattern": NAME,
            **({"allowed_users": _members(known.get(GROUP, ""))} if spawner in LOCAL else {"allow_all": True}),
        },
        "Spawner": {
            "cmd": [sys.executable, "-m", "toolkit.front.hub_server"],
            "args": [str(lessons_folder(None, current))],
            "default_url": f"/lab/tree/{START_LESSON}",
            # A machine on which a whole class comes in at once takes its time.
            "start_timeout": 120,
            "http_timeout": 120,
            # With accounts or containers of their own each record is in its learner's own data folder.
            # Where all are one account they share the engine's machine code, too.
            **({"environment": {FOLDER_VARIABLE: record_folder} | _code_folder()} if spawner in SIMPLE else {}),
        },
        "SimpleLocalProcessSpawner": {
            "home_dir_template": f"{folder}/learners/".replace("{", "{{").replace("}", "}}") + "{username}"
        },
    }


def _code_folder() -> dict[str, str]:
    path = compiled.code_path()
    return {} if path is None else {compiled.FOLDER: str(path.parent)}


def record_folder(spawner: Any) -> str:
    """Where the record of a learner is whom the simple spawner serves."""
    return str(Path(spawner.home_dir) / "record")


def class_code(known: Mapping[str, str]) -> str:
    """The class code, from its file or the environment.

    Raises:
        LaunchError: there is none, it cannot be read, or it is too short or too long.
    """
    named = known.get(CODE_FILE)
    try:
        code = (Path(named).read_text(encoding="utf-8") if named else known.get(CODE, "")).strip()
    except (OSError, ValueError) as refused:
        raise LaunchError(f"The class code cannot be read from {named} ({refused}): set {CODE_FILE} anew.") from refused
    if not (SHORTEST_CODE <= len(code) <= LONGEST_CODE and code.isprintable() and len(set(code)) > 3):
        raise LaunchError(
            f"A class code of {SHORTEST_CODE} to {LONGEST_CODE} characters, at least four of them different, was "
            f"expected: set {CODE}, or {CODE_FILE} to a file with it."
        )
    return code


def announcement(set_: Mapping[str, Mapping[str, Any]]) -> str:
    """What the instructor reads as the hub starts: who can come in, and what keeps learners apart."""
    where, spawner = set_["JupyterHub"]["bind_url"], set_["JupyterHub"]["spawner_class"]
    lines = [f"The hub opens at {where}; every learner can run code on this machine."]
    if not _loopback(where.removeprefix("http://").rpartition(":")[0]):
        lines.append(
            "It is open to the network: every device in it can reach the door, and without a certificate "
            "(c.JupyterHub.ssl_cert) the class code and all else go over it unencrypted."
        )
    if spawner in SIMPLE:
        lines.append("All learners are one account (spawner simple): for trying out only.")
    return "\n".join(lines)


def _check_isolation(address: str, spawner: str, unsafe: str) -> None:
    if spawner in SIMPLE and not _loopback(address) and unsafe != ONE_ACCOUNT:
        raise LaunchError(
            f"{ADDRESS} is {address}, which opens the hub to the network, and {SPAWNER} is {spawner}, with which all "
            "learners are one account and can read, change and end each other's work: set a spawner that gives each "
            f"an account or a container of his own. Or set {UNSAFE}={ONE_ACCOUNT} if that may be, on a machine that "
            "holds nothing else."
        )


def _loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address.strip("[]")).is_loopback
    except ValueError:
        return address == "localhost"


def _port(text: str) -> int:
    try:
        return usable_port(text)
    except LaunchError as refused:
        raise LaunchError(f"The port {text!r} is none, or is in use: set {PORT} to a free one.") from refused


def _idle_seconds(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) >= SHORTEST_IDLE):
        raise LaunchError(f"{IDLE} is {text!r}, whole seconds, {SHORTEST_IDLE} or more, were expected: set it anew.")
    return int(text)


def _culler(seconds: int) -> dict[str, Any]:
    """The service that ends idle servers, with no more rights than that takes."""
    name = "idle-culler"
    rights = ["list:users", "read:users:activity", "read:servers", "delete:servers"]
    command = [sys.executable, "-m", "jupyterhub_idle_culler", f"--timeout={seconds}"]
    return {
        "services": [{"name": name, "command": command}],
        "load_roles": [{"name": name, "scopes": rights, "services": [name]}],
    }


def _members(group: str) -> set[str]:
    """The accounts of a group, none of them the system's own: the class code lets anybody in as any of them."""
    import grp
    import pwd

    try:
        names = set(grp.getgrnam(group).gr_mem)
        known = {name for name in names if pwd.getpwnam(name).pw_uid >= FIRST_ACCOUNT}
    except KeyError:
        names = known = set()
    if not names or known != names:
        raise LaunchError(
            f"{GROUP} is {group!r}, a group with the learners' accounts in it, and none of the system's own, was "
            "expected: whoever knows the class code can come in as any of them. Set it anew."
        )
    return names
