"""The README's pictures: made by the program, the same at each run, and those that stand in images/."""

from pathlib import Path
from xml.etree import ElementTree

from toolkit.figures.device_drawings import DRAWINGS
from toolkit.panels import images
from toolkit.panels.cut_open import cut_open
from toolkit.station_file import shipped_stations

SVGS = [
    *("fouled_seat.svg", "fouled_seat_chart.svg", "regulator.svg"),
    *(f"station_{name}.svg" for name in shipped_stations()),
    *(f"device_{name}.svg" for name in DRAWINGS),
]
HERE = Path(__file__).parents[1] / "images"


def test_images_are_the_same_at_each_run_and_well_formed(tmp_path: Path) -> None:
    images.main(tmp_path / "a")
    images.main(tmp_path / "b")
    made = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert made == sorted(SVGS)
    for name in made:
        content = (tmp_path / "a" / name).read_bytes()
        assert content == (tmp_path / "b" / name).read_bytes()
        assert len(content) < 200_000
        ElementTree.fromstring(content)


def test_what_stands_in_images_is_what_the_program_draws_today(tmp_path: Path) -> None:
    images.main(tmp_path)
    assert {path.name for path in HERE.iterdir()} == {path.name for path in tmp_path.iterdir()}
    for name in SVGS:
        assert (HERE / name).read_text("utf-8") == (tmp_path / name).read_text("utf-8"), "run `uv run course images`"


def test_a_lesson_shows_a_device_as_it_is_drawn() -> None:
    shown = cut_open("relief_valve_open").value
    assert DRAWINGS["relief_valve_open"].svg in shown
