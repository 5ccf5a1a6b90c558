"""Files that the commands write: whole, or as they were before."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from toolkit.classroom import files
from toolkit.errors import LaunchError
from toolkit.front import command
from toolkit.quiz.bank import bank

LESSONS = Path(__file__).parents[1] / "lessons"
TASKS = {
    "bank": ("--write", "level_1.toml"),
    "handout": ("--folder", "00_start_here.html"),
    "images": ("--folder", "regulator.svg"),
    "phone": ("--folder", "look_up.html"),
    "sheets": ("--folder", "formulas.md"),
}


@contextmanager
def no_room() -> Iterator[None]:
    """The system lets no file grow past some bytes, as on a disk that is nearly full."""
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cases are enough of the bank."""
    cases = bank()[:2]
    monkeypatch.setattr("toolkit.front.bank_command.bank", lambda: cases)


def words(task: str, folder: Path) -> list[str]:
    return [task, *(["00"] if task == "handout" else []), TASKS[task][0], str(folder)]


def test_a_file_is_written_over_in_a_folder_that_is_made(tmp_path: Path) -> None:
    path = tmp_path / "new" / "one.txt"
    for content in (b"old", b"new"):
        files.write(path, content)
        assert path.read_bytes() == content
    assert list(path.parent.iterdir()) == [path]


def test_a_link_stays_and_its_file_is_written(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_bytes(b"old")
    (tmp_path / "link.txt").symlink_to("real.txt")
    files.write(tmp_path / "link.txt", b"new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_bytes() == b"new"


def test_a_ctrl_c_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "one.txt"
    path.write_bytes(b"old")

    def pressed(_: int) -> None:
        assert sorted(one.read_bytes() for one in tmp_path.iterdir()) == [b"new", b"old"]
        raise KeyboardInterrupt

    monkeypatch.setattr("os.fsync", pressed)  # all is written, and nothing is in its place yet
    with pytest.raises(KeyboardInterrupt):
        files.write(path, b"new")
    assert [(one.name, one.read_bytes()) for one in tmp_path.iterdir()] == [("one.txt", b"old")]


@pytest.mark.usefixtures("few")
@pytest.mark.parametrize("task", TASKS)
def test_without_room_the_old_file_stays(task: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    if task == "sheets":
        shutil.copytree(LESSONS, tmp_path, dirs_exist_ok=True)
    flag, name = TASKS[task]
    (tmp_path / name).write_text("old")
    before = sorted(tmp_path.rglob("*"))
    with no_room():
        code = command.main(words(task, tmp_path))
    said = capsys.readouterr()
    assert (code, said.out, said.err.count("\n")) == (2, "", 1)
    assert f"{tmp_path / name} cannot be written" in said.err
    assert flag in said.err
    assert (tmp_path / name).read_text() == "old"
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.usefixtures("few")
@pytest.mark.parametrize("task", [task for task in TASKS if task != "sheets"])
def test_a_file_in_the_folder_s_place_is_told(task: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken").write_text("mine")
    assert command.main(words(task, tmp_path / "taken")) == 2
    said = capsys.readouterr().err
    assert f"{tmp_path / 'taken'} is a file, and no folder" in said
    assert TASKS[task][0] in said
    assert (tmp_path / "taken").read_text() == "mine"


def test_a_report_s_folder_has_its_own_word(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken").write_text("mine")
    assert command.main(["report", str(tmp_path), "--out", str(tmp_path / "taken")]) == 2
    assert "taken is a file, and no folder): give another folder with --out." in capsys.readouterr().err


def test_a_file_further_up_is_named(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("mine")
    with pytest.raises(LaunchError, match=r"taken is a file, and no folder"):
        files.make_folder(tmp_path / "taken" / "a" / "b")
