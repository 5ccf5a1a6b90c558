"""Playing a run in time, two settings beside each other, and the projector's switch: what the kernel's side does."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from toolkit.classroom.record import Record
from toolkit.errors import RecordError
from toolkit.figures.style import SIZES
from toolkit.panels import LESSONS, bench
from toolkit.panels.bench import Panel
from toolkit.panels.play import TICK
from toolkit.panels.predict import PredictThenTry
from toolkit.quiz import html
from toolkit.units import IN_WC, PSI

MONITOR = LESSONS["05"].BENCH


def panel(lesson="05", **moved):
    made = Panel(LESSONS[lesson].BENCH)
    for key, value in moved.items():
        made.rows[key].value = value
    return made


def readout(of, name):
    return dict(of.shown.readouts)[name]


# Play ---------------------------------------------------------------------------------------------------------------


def ticks(player, count):
    """What the page's clock does while it plays."""
    for _ in range(count):
        player.clock.value = min(player.clock.value + player.clock.step, player.clock.max)


def test_playing_moves_the_moment_with_the_speed_chosen():
    made = panel(moment=30.0)
    player = made.player
    player.toggle()
    assert player.clock.playing
    assert player.play_button.description == "Pause"
    for speed in (1, 20, 60):
        player.speed.value = speed
        before = made.settings["moment"]
        ticks(player, 5)
        assert made.settings["moment"] == pytest.approx(before + 5 * TICK * speed)
    player.toggle()
    still = made.settings["moment"]
    assert player.play_button.description == "Play"
    ticks(player, 3)  # a tick that was on its way when Pause was pressed
    assert made.settings["moment"] == still


def test_gauges_drawing_and_ladder_follow_while_it_plays():
    made = panel(moment=55.0)
    before = made._drawing.value, made._ladder.value, made._gauges.value, made._words.value
    made.player.toggle()
    ticks(made.player, 10)
    after = made._drawing.value, made._ladder.value, made._gauges.value, made._words.value
    assert all(a != b for a, b in zip(before[:3], after[:3], strict=True))
    # The sentence is of the whole run: a screen reader is not told it again at each moment.
    assert after[3] == before[3]


def test_a_drag_while_it_plays_is_gone_on_from():
    made = panel(moment=0.0)
    made.player.toggle()
    ticks(made.player, 2)
    made.rows["moment"].value = 300.0
    ticks(made.player, 1)
    assert made.settings["moment"] == pytest.approx(300.0)
    ticks(made.player, 1)
    assert made.settings["moment"] == pytest.approx(300.0 + TICK * made.player.speed.value)


def test_it_stops_at_the_end_and_begins_anew():
    made = panel(moment=600.0)
    made.player.toggle()
    assert made.settings["moment"] == 0.0
    made.player.speed.value = 60
    ticks(made.player, 60)
    assert made.settings["moment"] == 600.0


def test_a_bench_without_a_moment_has_nothing_to_play():
    assert panel("01").player is None


# Compare ------------------------------------------------------------------------------------------------------------


def test_a_kept_setting_stays_beside_the_one_on_the_bench():
    made = panel(inlet=40 * PSI)
    kept = readout(made, "interstage now")
    made.compare.keep()
    assert "Both are set alike" in made._words.value
    made.rows["inlet"].value = 80 * PSI
    alone = panel(inlet=80 * PSI)
    assert readout(made, "interstage now") == f"{readout(alone, 'interstage now')} | {kept}"
    assert [line.label for line in made.shown.chart.lines] == ["outlet", "outlet, as kept"]
    assert made._drawing.value.count("<svg") == 2
    assert "As set: By day" in made._words.value
    assert "As kept: By day" in made._words.value
    made.compare.chosen = "nothing"
    assert made._drawing.value == alone._drawing.value
    assert made._gauges.value == alone._gauges.value


def test_what_is_kept_is_looked_at_as_the_bench_is():
    made = panel(moment=30.0)
    made.compare.keep()
    made.rows["set_point"].value = 9 * IN_WC
    for units in ("metric", "us"):
        made.rows["units"].value = units
        made.rows["moment"].value += 60.0
        other = panel(moment=made.settings["moment"])
        other.rows["units"].value = units
        assert readout(made, "outlet now").endswith("| " + readout(other, "outlet now"))


def test_keeping_again_takes_the_new_setting():
    made = panel(inlet=40 * PSI)
    made.compare.keep()
    made.rows["inlet"].value = 80 * PSI
    made.compare.keep()
    assert made.compare.kept["inlet"] == pytest.approx(80 * PSI)
    assert "Both are set alike" in made._words.value


def test_the_two_drawings_share_no_name():
    made = panel()
    made.compare.keep()
    made.rows["above"].value = 6 * IN_WC
    ids = re.findall(r'\bid="([^"]+)"', made._drawing.value)
    assert ids
    assert len(set(ids)) == len(ids)
    used = set(re.findall(r"url\(#([^)]+)\)", made._drawing.value))
    assert used <= set(ids)
    root = ElementTree.fromstring(made._drawing.value)
    assert [caption.text for caption in root.iter("figcaption")] == ["As set", "As kept"]


@pytest.mark.parametrize("lesson", [n for n, module in LESSONS.items() if module.BENCH.without])
def test_each_layer_can_be_taken_away_and_that_is_seen(lesson):
    made = panel(lesson)
    words, changes = LESSONS[lesson].BENCH.without
    assert words.startswith(("without ", "with "))
    made.compare.chosen = "without"
    bare = LESSONS[lesson].BENCH.show({**made.settings, **changes})
    assert words.capitalize() in made._words.value
    assert made.shown.sentence.endswith(bare.sentence)
    assert bare.sentence != LESSONS[lesson].BENCH.show(made.settings).sentence


def test_a_refusal_of_the_other_setting_is_told():
    made = panel(inlet=5 * PSI)
    made.compare.keep()
    made.compare.kept["set_point"] = 10 * PSI
    made.rows["inlet"].value = 60 * PSI
    assert "worker.set_gauge_pressure" in made._words.value
    assert made.error


# Projector ----------------------------------------------------------------------------------------------------------


def open_bench(ask):
    ask.choose(0)
    ask.open_bench()
    return ask.panel


def test_one_switch_makes_it_large_folds_the_controls_and_hides_the_answer(tmp_path, monkeypatch):
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(tmp_path))
    ask = bench("05")
    assert ask.screen == "desk"
    ask.projector.value = True
    made = open_bench(ask)
    assert "gp-on-projector" in ask._dom_classes
    assert {"gp-projector", "gp-folded", "gp-hidden"} <= set(made._dom_classes)
    assert made.shown.spec.view == "projector"
    assert f'width="{SIZES["projector"].chart[0]}"' in made._chart.value
    assert ask._large.value == html.LARGE
    fold, reveal = made.children[0].children
    reveal.value = True
    assert "gp-hidden" not in made._dom_classes
    fold.value = True
    assert "gp-folded" not in made._dom_classes
    # The next lesson opens on the same screen.
    assert bench("02").screen == "projector"
    ask.projector.value = False
    assert not ask._large.value
    assert "gp-projector" not in made._dom_classes
    assert made.shown.spec.view == "desk"
    assert bench("02").screen == "desk"


@pytest.mark.parametrize("lesson", LESSONS)
def test_a_projector_s_picture_has_larger_letters(lesson):
    large, small = Panel(LESSONS[lesson].BENCH, "us", "projector"), Panel(LESSONS[lesson].BENCH)
    biggest = [max(map(float, re.findall(r'font-size="([\d.]+)"', made._drawing.value))) for made in (large, small)]
    assert biggest[0] > biggest[1]
    assert large.shown.sentence == small.shown.sentence


def test_a_screen_that_cannot_be_kept_does_not_stop_the_lesson(tmp_path, monkeypatch):
    blocked = tmp_path / "a file"
    blocked.write_text("")
    monkeypatch.setenv("GUARDED_PRESSURE_DATA", str(blocked))
    ask = bench("05")
    ask.projector.value = True
    assert ask.screen == "projector"


def test_an_unknown_screen_is_refused(tmp_path):
    with pytest.raises(RecordError, match="'desk' or 'projector'"):
        Record(tmp_path).set_screen("wall")


def test_the_desk_is_where_a_lesson_opens():
    assert PredictThenTry(LESSONS["05"].PREDICTION, MONITOR).screen == "desk"
