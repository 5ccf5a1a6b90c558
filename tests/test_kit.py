"""The offline kit: built with the package index, then set up and used where there is no network at all."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import zipfile
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from test_house import ELSEWHERE

from toolkit.errors import LaunchError
from toolkit.front import command, kit
from toolkit.front.launch import CHECKOUT_LESSONS, START_LESSON

REQUIRED = os.environ.get("COURSE_KIT") == "required"
OFFLINE = Path(__file__).with_name("offline.py")
# A program in a new network with nothing but loopback: as root, or as who may be root in a user namespace of his own.
CUTS = (("unshare", "--net"), ("unshare", "--map-root-user", "--net"))
LARGEST = 200e6  # 162 MB when it was made
PATIENCE = 400  # s; for a loaded machine, not an expectation
posix = pytest.mark.skipif(os.name != "posix", reason="the start scripts for this system are others")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A kit and its zip file, in a folder with a space in its name."""
    folder = tmp_path_factory.mktemp("built here") / "a kit"
    try:
        kit.run(SimpleNamespace(folder=folder, zip=True))  # type: ignore[arg-type]
    except LaunchError as refused:
        if REQUIRED or kit.NOT_FETCHED not in str(refused):
            raise
        pytest.skip(f"no package index to build the kit from: {refused}")
    return folder


@pytest.fixture(scope="module")
def offline(built: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the kit did without a network, unpacked at another place; `way` says how the network was cut."""
    place = tmp_path_factory.mktemp("copied there")
    with zipfile.ZipFile(built.with_name("a kit.zip")) as packed:
        packed.extractall(place)
    home = place / "home"
    home.mkdir()
    known = {"HOME": str(home), "PATH": os.environ["PATH"], "LANG": "C.UTF-8", "TMPDIR": str(place)}
    cut = next((way for way in CUTS if shutil.which(way[0]) and not subprocess.run([*way, "true"]).returncode), ())
    if not cut:
        closed = "http://127.0.0.1:9"
        known |= {"http_proxy": closed, "https_proxy": closed, "no_proxy": "127.0.0.1", "PIP_NO_INDEX": "1"}
    words = [*cut, sys._base_executable, str(OFFLINE), str(place / "a kit"), "cut" if cut else "", str(place / "room")]
    with subprocess.Popen(
        words, env=known, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        try:
            said, errors = running.communicate(timeout=PATIENCE)
        except subprocess.TimeoutExpired:
            os.killpg(running.pid, signal.SIGKILL)  # and all that it started
            raise
    assert running.returncode == 0, errors
    return json.loads(said) | {"way": cut, "errors": errors}


@posix
def test_without_a_network_it_is_set_up_once_and_judges_a_station(offline: dict[str, Any]) -> None:
    if offline["way"]:
        assert offline["networks"] == ["lo"], "there was more of a network than loopback"
    code, said, errors = offline["check"]
    assert code == 0, errors
    assert "regulator" in said
    assert errors.count("Setting the course up") == 1
    assert "Setting the course up" not in offline["errors"], "it was set up a second time"


@posix
def test_without_a_network_the_start_lesson_opens(offline: dict[str, Any]) -> None:
    said, status, page, code = offline["lesson"]
    assert START_LESSON in said
    assert (status, code) == (200, 0), offline["errors"]
    assert "Guarded pressure" in page


@posix
def test_without_a_network_a_class_is_served(offline: dict[str, Any]) -> None:
    said, status, page, code = offline["class"]
    assert "class code" in said
    assert (status, code) == (200, 0), offline["errors"]
    assert 'name="code"' in page


def test_it_holds_what_its_readme_says(built: Path) -> None:
    names = {one.relative_to(built).as_posix() for one in kit.files(built)}
    lessons = {f"lessons/{one.name}" for one in CHECKOUT_LESSONS.glob("*.*") if one.is_file()}
    assert lessons <= names
    assert {"README.txt", "LICENSE", "phone/look_up.html", "start.py", "made_for.json", "SHA256SUMS"} <= names
    assert {*kit.STARTS[os.name]} <= names
    assert any(name.startswith("wheels/guarded_pressure-") for name in names)
    assert not [name for name in names if name.startswith("wheels/") and not name.endswith(".whl")]
    assert sum(one.stat().st_size for one in kit.files(built)) < LARGEST
    assert not [one for one in built.parent.iterdir() if one.name.startswith(".kit-")]
    with zipfile.ZipFile(built.with_name("a kit.zip")) as packed:
        assert set(packed.namelist()) == {f"a kit/{name}" for name in names}
    readme = (built / "README.txt").read_text()
    assert "Python {}.{} on".format(*sys.version_info) in readme
    assert "@" not in readme
    for name in names:
        if not name.startswith(("wheels/", "phone/")):
            assert not ELSEWHERE.search((built / name).read_text()), name


def test_its_sums_are_those_of_its_files(built: Path) -> None:
    kept = dict(reversed(line.split("  ", 1)) for line in (built / "SHA256SUMS").read_text().splitlines())
    there = {one.relative_to(built).as_posix(): one for one in kit.files(built) if one.name != "SHA256SUMS"}
    assert kept == {name: hashlib.sha256(one.read_bytes()).hexdigest() for name, one in there.items()}
    if shutil.which("sha256sum"):
        assert subprocess.run(["sha256sum", "--check", "--quiet", "SHA256SUMS"], cwd=built).returncode == 0


def small_kit(folder: Path, **made_for: str) -> Path:
    """A kit without wheels, for what is refused before any is needed."""
    folder.mkdir()
    for name in ("start.py", "start.sh"):
        shutil.copy(kit.SOURCES / name, folder)
    here = {"python": "{}.{}".format(*sys.version_info), "system": os.uname().sysname, "machine": os.uname().machine}
    (folder / "made_for.json").write_text(json.dumps(here | made_for))
    (folder / "SHA256SUMS").write_text(kit.sums(folder))
    return folder


def start(folder: Path) -> str:
    """The one sentence with which a start ends that is refused."""
    done = subprocess.run([sys.executable, str(folder / "start.py")], capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr
    assert not (folder / "installed").exists()
    return done.stderr


@posix
@pytest.mark.parametrize("other", [{"python": "3.99"}, {"system": "Other"}, {"machine": "other"}])
def test_a_kit_for_another_machine_says_so(tmp_path: Path, other: dict[str, str]) -> None:
    said = start(small_kit(tmp_path / "a kit", **other))
    assert "This kit is for Python" in said
    assert next(iter(other.values())) in said


@posix
def test_a_damaged_or_missing_file_is_named(tmp_path: Path) -> None:
    folder = small_kit(tmp_path / "a kit")
    (folder / "start.sh").write_text("x")
    assert start(folder).startswith("start.sh is missing or damaged")
    (folder / "start.sh").unlink()
    assert start(folder).startswith("start.sh is missing or damaged")
    (folder / "SHA256SUMS").unlink()
    assert "Copy the whole kit" in start(folder)


@posix
def test_without_the_right_python_the_script_says_which(tmp_path: Path) -> None:
    text = (kit.SOURCES / "start.sh").read_text().replace("@PYTHON@", "3.99")
    (tmp_path / "start.sh").write_text(text)
    done = subprocess.run(["sh", str(tmp_path / "start.sh")], capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr.startswith("Python 3.99 was not found")


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The one sentence that a building with these words ends with."""
    assert command.main(["kit", *words]) == 2
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    return said.err


def test_nothing_that_is_there_is_built_over(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "notes.txt").write_text("mine")
    (tmp_path / "other.zip").write_text("mine")
    assert "there already" in refused(capsys, "--folder", str(tmp_path / "kept"))
    assert "there already" in refused(capsys, "--folder", str(tmp_path / "kept" / "notes.txt"))
    assert "there already" in refused(capsys, "--folder", str(tmp_path / "other"), "--zip")
    assert not (tmp_path / "other").exists()


def test_a_zip_that_is_broken_off_leaves_nothing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(_folder: Path, archive: Path) -> None:
        archive.write_bytes(b"half of it")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(kit, "build", lambda folder: folder.mkdir())
    monkeypatch.setattr(kit, "pack", full)
    assert "No space left" in refused(capsys, "--folder", str(tmp_path / "kit"), "--zip")
    assert list(tmp_path.iterdir()) == []


def test_without_the_index_it_says_so_and_leaves_nothing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(tmp_path))
    said = refused(capsys, "--folder", str(tmp_path / "kit"))
    assert kit.NOT_FETCHED in said
    assert "pip said: ERROR" in said
    assert not list(tmp_path.iterdir())


def test_an_installed_copy_sends_to_the_checkout(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(kit, "CHECKOUT", tmp_path)
    assert "course's own folder" in refused(capsys, "--folder", str(tmp_path / "kit"))
