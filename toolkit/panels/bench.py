"""The bench: a panel on which controls make a scenario, the scenario is run, and pictures and words show the run.

A lesson gives a `Bench` (what can be set, and one plain function from the settings to what is shown) and gets a
`Panel`, whose `update` puts what is shown on the screen. Pictures are kept and updated; nothing is drawn from a failed
run, the words of the error stand in the sentence's place and the last good pictures are dimmed.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import Any

import ipywidgets

from toolkit.errors import CourseError
from toolkit.figures.chart import TimeChart
from toolkit.figures.data import ChartData, ChartSpec
from toolkit.panels.controls import GROUPS, Choice, ChoiceRow, Control, Slider, SliderRow
from toolkit.simulation import simulate

Settings = Mapping[str, Any]

UNITS = Choice("units", "Units", "view", (("US (in. w.c., psi, scfh)", "us"), ("metric (mbar, bar, m³/h)", "metric")))


@dataclass(frozen=True)
class Shown:
    """What a panel shows of a run at a moment.

    `drawing` is an SVG string; `chart` what changes on the chart and `spec` what stands still; `readouts` are
    (name, text) pairs; `sentence` says the run in words; `events` are (time, sentence) pairs.
    """

    drawing: str
    spec: ChartSpec
    chart: ChartData
    readouts: tuple[tuple[str, str], ...]
    sentence: str
    events: tuple[tuple[str, str], ...] = ()
    ladder: str = ""


@dataclass(frozen=True)
class Bench:
    """What a lesson puts on its panel. `show` is a plain function of the settings (SI values by key).

    A `wide` drawing stands over its chart, not beside it.
    """

    title: str
    controls: tuple[Control, ...]
    show: Callable[[Settings], Shown]
    wide: bool = False

    def start(self, units: str) -> dict[str, Any]:
        """The settings with which the panel opens in a display set: what an explanation computes with."""
        starts = {c.key: c.start if isinstance(c, Slider) else c.options[0][1] for c in self.controls}
        return starts | {"units": units}


# A run is a plain value of its scenario, so going back to a setting, or moving the moment, costs no new run.
run = lru_cache(maxsize=64)(simulate)


class Panel(ipywidgets.VBox):  # type: ignore[misc]
    """The widgets of a Bench. `shown` is what stands on it, `error` the words of a refusal or ''."""

    def __init__(self, bench: Bench, units: str = "us") -> None:
        self.bench, self.error = bench, ""
        self.shown: Shown | None = None
        self._charts: dict[ChartSpec, TimeChart] = {}
        controls = (*bench.controls, UNITS)
        self.rows: dict[str, SliderRow | ChoiceRow] = {
            c.key: SliderRow(c, units, self.update) if isinstance(c, Slider) else ChoiceRow(c, self.update)
            for c in controls
        }
        self._drawing, self._chart, self._words = (ipywidgets.HTML() for _ in range(3))
        # under a wide drawing there is room for the words beside the chart
        beside = [self._words] if bench.wide else []
        pictures = ipywidgets.HBox([self._drawing, self._chart, *beside])
        pictures.add_class("gp-pictures")
        if bench.wide:
            pictures.add_class("gp-wide")
        groups = []
        for group, title in GROUPS.items():
            members = [self.rows[c.key] for c in controls if c.group == group]
            if members:
                box = ipywidgets.VBox([ipywidgets.HTML(f"<h4 class='gp-group'>{title}</h4>"), *members])
                box.add_class("gp-group-box")
                groups.append(box)
        bank = ipywidgets.HBox(groups)
        bank.add_class("gp-bank")
        super().__init__([pictures, bank] if bench.wide else [pictures, self._words, bank])
        self.add_class("gp-panel")
        self.rows["units"].value = units
        self.update()

    @property
    def settings(self) -> dict[str, Any]:
        """The values of all controls, SI."""
        return {key: row.value for key, row in self.rows.items()}

    def update(self) -> None:
        """Show the settings; a refusal shows its words and dims the pictures."""
        units = self.settings["units"]
        for row in self.rows.values():
            row.show_in(units)  # first, since a quantity at the end of its range may move a little
        settings = self.settings
        try:
            shown = self.bench.show(settings)
            chart = self._charts.get(shown.spec)
            if chart is None:
                chart = self._charts[shown.spec] = TimeChart(shown.spec)
            png = base64.b64encode(chart.draw(shown.chart)).decode()
        except CourseError as error:
            self.error = str(error)
            self._words.value = f"<div class='gp-refused' role='alert'><b>Not run.</b> {escape(self.error)}</div>"
            self.add_class("gp-stale")
            return
        width, _ = chart.size
        alt = escape(chart.alt(shown.chart), quote=True)
        if self.error:
            self.error = ""
            self.remove_class("gp-stale")
        self.shown = shown
        # the chart first: the page decodes it while it takes in the drawing
        self._chart.value = (
            f"<img class='gp-chart' style='max-width:{width}px' src='data:image/png;base64,{png}' alt=\"{alt}\">"
        )
        self._drawing.value = shown.drawing
        self._words.value = words_html(shown)


def words_html(shown: Shown) -> str:
    """Readouts, sentence and the list of events as HTML, all text escaped."""
    cells = "".join(
        f"<div class='gp-readout'><span>{escape(name)}</span><b>{escape(text)}</b></div>"
        for name, text in shown.readouts
    )
    events = "".join(f"<li><b>{escape(time)}</b> {escape(said)}</li>" for time, said in shown.events)
    listed = f"<details class='gp-events'><summary>What happened, in order</summary><ul>{events}</ul></details>"
    return (
        f"<div class='gp-readouts'>{cells}</div><p class='gp-sentence' aria-live='polite'>{escape(shown.sentence)}</p>"
        + (listed if events else "")
    )


# A white card with dark text of its own, its fields too, whatever the page's theme.
STYLE = """<style>
.gp-panel,.gp-predict{color-scheme:light;--jp-widgets-color:#111;--jp-widgets-label-color:#111;
  --jp-widgets-input-color:#111;--jp-widgets-input-background-color:#fff;--jp-widgets-input-border-color:#8c8c8c;
  --jp-content-font-color1:#111;--jp-ui-font-color1:#111;--jp-layout-color1:#fff;--jp-layout-color2:#eee;
  --jp-border-color1:#8c8c8c;--jp-widgets-slider-border-color:#8c8c8c}
.gp-group-box>.widget-html{margin:0}
.gp-panel{border:1px solid #c5cbd3;border-radius:8px;padding:10px;background:#fff;color:#111;max-width:1180px;
  overflow:hidden;box-sizing:border-box}
.gp-panel .widget-html-content,.gp-panel .widget-label{color:#111}
.gp-pictures{flex-wrap:wrap;gap:8px;align-items:flex-start;overflow:hidden}
.gp-pictures>.widget-html{flex:1 1 400px;min-width:min(400px,100%);max-width:600px;margin:0}
.gp-wide>.widget-html:first-child{flex:1 1 100%;max-width:100%}
.gp-wide>.widget-html{flex:0 1 560px}
.gp-wide>.widget-html:last-child{flex:1 1 300px;min-width:min(300px,100%)}
.gp-pictures .widget-html-content{width:100%}
.gp-pictures svg,.gp-chart{width:100%;height:auto;display:block}
.gp-panel .widget-html{height:auto}
.gp-readouts{display:flex;flex-wrap:wrap;gap:6px;margin:6px 0;line-height:1.25}
.gp-readout{border:1px solid #c5cbd3;border-radius:6px;padding:3px 9px;background:#f5f7f9;min-width:86px}
.gp-readout span{display:block;font-size:12px;color:#3b444d}
.gp-readout b{font-size:15px;white-space:nowrap}
.gp-sentence{font-size:15px;line-height:1.45;margin:6px 0;max-width:95ch}
.gp-events{margin:4px 0;font-size:14px}.gp-events ul{margin:4px 0 4px 20px;padding:0;line-height:1.4}
.gp-events summary{cursor:pointer}
.gp-bank{flex-wrap:wrap;gap:10px 18px;overflow:hidden;border-top:1px solid #c5cbd3;padding-top:4px;
  align-items:flex-start}
.gp-group-box{flex:1 1 176px;min-width:176px;max-width:300px;overflow:hidden}
.gp-group{margin:4px 0 2px;font-size:13px;color:#3b444d;border-bottom:2px solid #0072B2}
.gp-label{font-size:14px;font-weight:600}.gp-unit{font-size:13px;white-space:nowrap;color:#3b444d}
.gp-control .widget-html-content{line-height:1.3}
.gp-control{width:100%;overflow:hidden;margin:2px 0}
.gp-control .jupyter-widgets{margin:2px 0}.gp-control .widget-box{margin:0;overflow:visible}
.gp-control .widget-slider{min-width:60px;margin:2px 12px}
.gp-predict .widget-button{align-self:flex-start;padding:0 16px}
.gp-predict{border:1px solid #c5cbd3;border-left:5px solid #0072B2;border-radius:8px;padding:8px 12px;margin:0 0 8px;
  background:#fff;color:#111;max-width:1180px;box-sizing:border-box;overflow:hidden}
.gp-predict .widget-html-content,.gp-predict label{color:#111!important}
.gp-question{font-size:16px;line-height:1.4;margin:2px 0 4px}
.gp-predict .widget-radio-box{margin:0}.gp-predict .widget-radio-box label{font-size:15px;height:auto;line-height:1.5}
.gp-predict .widget-radio-box label:has(input:checked){font-weight:bold}
.gp-stale .gp-pictures svg,.gp-stale .gp-pictures img{opacity:.35}
.gp-refused{border-left:5px solid #D55E00;padding:6px 10px;margin:6px 0;font-size:15px;background:#fff4ec}
</style>"""
