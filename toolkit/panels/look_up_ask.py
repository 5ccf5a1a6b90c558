"""What a person enters on the look-up page: its controls, and all that they say as one value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from html import escape
from typing import Any

import ipywidgets

from toolkit.diagnosis.load_words import of_load
from toolkit.diagnosis.look_up import (
    LAYER_OF,
    LAYERS,
    QUESTIONS,
    Asked,
    first_up,
    layers_of,
    met,
    signs_with,
    suspects_of,
)
from toolkit.diagnosis.look_up_words import CARRIED
from toolkit.diagnosis.next_check import STOPS, stops_of
from toolkit.diagnosis.posterior import PRIORS, PRIORS_DATED
from toolkit.diagnosis.readings import READINGS, RECORD, GaugeReadings, Record, record_of
from toolkit.diagnosis.signatures import SUSPECTS, Signatures
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.errors import CourseError
from toolkit.panels.look_up_entry import Entry, Fold, away, classed, grid, head, refused
from toolkit.station_file import StationFile, read_station, shipped_station, shipped_stations
from toolkit.units import format_pressure

# With this station the page opens, and starts over.
FIRST = "house_service"
# What stands for a sign that nobody looked at, and for a station file of the person's own.
NOT_LOOKED, OWN = "", ""
NO_TABLE = "the days of the nearest kind speak, until `course tables --station FILE` has made its own"
# No weight of a suspect is larger.
LARGEST_WEIGHT = 1e6
# The readings that are asked for at once; the rest is folded away. So are all groups of signs but the first.
USUAL_READINGS = ("outlet_on", "outlet_off", "inlet")
PROVEN_GROUP = "Proven by a qualified person"

TableOf = Callable[[StationFile], Signatures | None]


class Ask:
    """The controls. `changed` is called after every change; `column` and `stop_boxes` are where they stand."""

    def __init__(self, units: str, changed: Callable[[], None], table_of_own: TableOf) -> None:
        self.units, self._tell, self._table_of_own = units, changed, table_of_own
        self.done: frozenset[str] = frozenset()
        self.station: StationFile = shipped_station(FIRST)
        self._table: Signatures | None = None
        self._held = False
        # Whether the station is a file of the person's own, and what its record put into the fields.
        self._own_file, self._put = False, dict[str, str]()
        self._looks = {"style": {"description_width": "auto"}, "layout": ipywidgets.Layout(width="auto")}
        self.stops = {key: self._box(first_up(words)) for key, words in STOPS.items()}
        self.safe = self._box("A qualified person has made it safe by the written procedure")
        self.qualified = self._box("I am qualified, and have the written procedure: propose such work too")
        self.carried = self._box(CARRIED)
        self.layers = {key: self._box(first_up(words)) for key, words in LAYERS.items()}
        self.signs = {key: self._row(key, words) for rows in QUESTIONS.values() for key, words in rows.items()}
        self.record = {key: Entry(one, self._changed, kept=not one.layer) for key, one in RECORD.items()}
        self.readings = {key: Entry(one, self._changed) for key, one in READINGS.items()}
        self.weights: dict[str, Any] = {}
        self._weights_box = classed(ipywidgets.VBox(), "gp-entries gp-weights")
        # What goes beside the controls: the page fills in the record's line and says of weights what is wrong.
        self.weights_said, self.record_said, self._file_said = (ipywidgets.HTML() for _ in range(3))
        self.stop_boxes = classed(ipywidgets.VBox(list(self.stops.values())), "gp-stops")
        self.column = ipywidgets.VBox(
            [*self._ask_station(), *self._ask_signs(), *self._ask_readings(), *self._ask_rest()]
        )

    def asked(self) -> Asked:
        """What stands in the controls; a reading that cannot be understood counts as none."""
        layers = frozenset(key for key, box in self.layers.items() if box.value)
        said = Asked(
            layers=layers,
            record=self._record(),
            signs=Signs(**{key: row.value for key, row in self.signs.items() if row.value != NOT_LOOKED}),
            readings=GaugeReadings(**{key: self.readings[key].value for key in READINGS}),
            stops=frozenset(key for key, box in self.stops.items() if box.value),
            done=self.done,
            qualified=self.qualified.value,
            network=self.station.feeds_network,
            carried=self.carried.value,
            priors=self._priors(),
            # Other layers than the file's: its own days speak no more.
            table=self._table if layers == layers_of(self.station.scenario.station) else None,
        )
        # What was pressed holds until it is pressed again; made safe is what the gauges say.
        safe = set(stops_of(met(said)[0])) - said.stops if self.safe.value else ()
        return replace(said, made_safe=frozenset(safe))

    def _record(self) -> Record:
        """The record typed; where a field cannot be used, what stood there before."""
        typed = {key: entry.last for key, entry in self.record.items() if not RECORD[key].layer}
        set_point = typed["set_gauge_pressure"]
        lock_up = self.record["lock_up_gauge_pressure"]
        if typed["lock_up_gauge_pressure"] < set_point:
            lock_up.refuse(
                f"Lock-up lies below the set point of {format_pressure(set_point, self.units)}: look both up again. "
                "Until then it is taken to be the set point."
            )
            typed["lock_up_gauge_pressure"] = set_point
        relief = self.record["relief_start_gauge_pressure"]
        if relief.value is not None and relief.value < set_point:
            relief.refuse("The relief starts below the set point: look both up again. Until then it counts as unknown.")
            return Record(**typed)
        return Record(**typed, relief_start_gauge_pressure=relief.value)

    def _priors(self) -> Mapping[str, float]:
        return {key: box.value for key, box in self.weights.items()} if self.weights else PRIORS

    def take_station(self, name: str) -> None:
        """Take layers and record from a shipped station."""
        self.take(shipped_station(name))

    def take_file(self, name: str, content: bytes) -> None:
        """Take layers and record from a station file of the person's own; a refusal is said beside the button."""
        try:
            station = read_station(content.decode("utf-8-sig"), name=name)
            record_of(station.scenario.station)  # a station that has none is refused before anything is taken
        except UnicodeDecodeError:
            self._file_said.value = refused(f"{name} is no text in UTF-8: give a station file (.toml).")
        except CourseError as error:
            self._file_said.value = refused(f"{name}: {error}")
        else:
            self.take(station, own=True)
            days = "its own simulated days speak" if self._table else NO_TABLE
            title = escape(station.title)
            self._file_said.value = f"<p role='status'>Layers and record are those of {title}; {days}.</p>"

    def whose(self) -> tuple[str, bool]:
        """Whose record stands in the fields, in words, and whether it is the person's own."""
        title = f"“{self.station.title}”"
        if any(self.record[key].text.value != text for key, text in self._put.items()):
            return f"your own station, as typed, begun from {title}", True
        return (f"{title}, your own file", True) if self._own_file else (f"{title}, invented for this course", False)

    def take(self, file: StationFile, *, own: bool = False) -> None:
        """Take layers and record from a station; `own`: it is a file of the person's own."""
        record = record_of(file.scenario.station)
        with self.together():
            self.station, self._table, self._own_file = file, self._table_of_own(file), own
            self.carried.value = False  # it was said of another station
            fitted = layers_of(file.scenario.station)
            for key, box in self.layers.items():
                box.value = key in fitted
            for one in fields(record):
                self.record[one.name].put(getattr(record, one.name), self.units)
            self._put = {key: entry.text.value for key, entry in self.record.items()}
            self._word()

    def said(self, text: str) -> str:
        """A text as it is said of this station: of its burners, or of the load of its mains."""
        return of_load(text, self.station.feeds_network)

    def _word(self) -> None:
        """Ask for signs and readings in the words of this station."""
        for rows in QUESTIONS.values():
            for key, words in rows.items():
                row = self.signs[key]
                row.description = self.said(words)
                if row.options != (options := self._options(key)):
                    entered, row.options = row.value, options
                    row.value = entered
        for key, entry in self.readings.items():
            entry.text.description = first_up(self.said(READINGS[key].name))

    def enter(self, check: str, shown: Mapping[str, str]) -> None:
        """Enter that a check was made, and the signs that it has shown."""
        with self.together():
            self.done = self.done | {check}
            for key, value in shown.items():
                self.signs[key].value = value

    def take_back(self) -> None:
        """Take back the readings and signs that call for a stop: they were entered by mistake."""
        with self.together():
            for key in ("outlet_on", "outlet_pilots", "outlet_off"):
                self.signs[key].value = NOT_LOOKED
            for key in ("outlet_on", "outlet_pilots", "outlet_off", "outlet_off_later"):
                self.readings[key].clear()

    def start_over(self) -> None:
        """Forget all that was entered."""
        with self.together():
            for box in (*self.stops.values(), self.safe, self.qualified):
                box.value = False
            for row in self.signs.values():
                row.value = NOT_LOOKED
            for entry in self.readings.values():
                entry.clear()
            for key, box in self.weights.items():
                box.value = PRIORS[key]
            self.done = frozenset()
            self._pick.value, self._file_said.value = FIRST, ""
            self.take(shipped_station(FIRST))

    def open_weights(self) -> None:
        """Make the fields of the weights, which a page that nobody asks for them does not carry."""
        if self.weights:
            return
        self.weights = {
            key: ipywidgets.BoundedFloatText(
                weight, min=0.0, max=LARGEST_WEIGHT, step=0.5, description=first_up(SUSPECTS[key]), **self._looks
            )
            for key, weight in PRIORS.items()
        }
        for box in self.weights.values():
            box.observe(self._changed, "value")
        self._weights_box.children = tuple(self.weights.values())
        self.fit(self.asked())

    @contextmanager
    def together(self) -> Iterator[None]:
        """Changes that are answered once, after the last of them."""
        before, self._held = self._held, True
        try:
            yield
        finally:
            self._held = before
        self._changed()

    def fit(self, asked: Asked) -> None:
        """Leave out what a station with these layers cannot show, and work that this person may not do."""
        here = set(signs_with(asked.layers))
        for key, row in self.signs.items():
            away(row, key not in here)
        for key, entry in self.record.items():
            away(entry, RECORD[key].layer not in ("", *asked.layers))
        for key, entry in self.readings.items():
            away(entry, _layer_of(key) not in (None, *asked.layers))
        for name, rows in QUESTIONS.items():
            proven = name == PROVEN_GROUP and not asked.qualified
            away(self._groups[name], proven or not here & set(rows))
        for key, box in self.weights.items():
            away(box, key not in suspects_of(asked.layers))
        away(self.layers["shutoff_first"], not self.layers["slam_shut"].value)
        away(self.layers["damped"], not self.layers["line"].value)
        away(self.carried, not asked.network)
        away(self._file_part, self._pick.value != OWN)

    def _ask_station(self) -> Iterable[Any]:
        # A closed menu does not break its line; the whole title stands beside the record.
        names = [(shipped_station(name).title.partition(",")[0], name) for name in shipped_stations()]
        self._pick = ipywidgets.Dropdown(
            options=[*names, ("my own station file (.toml)", OWN)],
            value=FIRST,
            description="Start from",
            **self._looks,
        )
        self._pick.observe(self._picked, "value")
        self._upload = ipywidgets.FileUpload(
            accept=".toml", description="Choose the file", tooltip="Choose a station file", layout={"width": "auto"}
        )
        self._upload.observe(self._uploaded, "value")
        self._file_part = ipywidgets.VBox([self._upload, self._file_said])
        record = Fold("Change the record", [grid(self.record.values())])
        return (
            head("Layers fitted"),
            classed(ipywidgets.VBox([self._pick, self._file_part]), "gp-station"),
            classed(ipywidgets.HBox(list(self.layers.values())), "gp-chips"),
            self.record_said,
            record,
        )

    def _ask_signs(self) -> Iterable[Any]:
        self._groups: dict[str, Any] = {}
        for name, rows in QUESTIONS.items():
            inside = [self.signs[key] for key in rows]
            if not self._groups:
                self._groups[name] = ipywidgets.VBox([head(name, "h3"), *inside])
            else:
                self._groups[name] = Fold(name, inside)
        return (head("What was met"), *self._groups.values())

    def _ask_readings(self) -> Iterable[Any]:
        usual = [self.readings[key] for key in USUAL_READINGS]
        more = [entry for key, entry in self.readings.items() if key not in USUAL_READINGS]
        return head("What the gauges read, with the unit"), grid(usual), Fold("More readings", [grid(more)])

    def _ask_rest(self) -> Iterable[Any]:
        words = (
            f"Teaching values of {PRIORS_DATED}, not field statistics: how likely each suspect is before anything was "
            "looked at. They need not add up to anything; 0 rules a suspect out."
        )
        weights = Fold(
            "Change the weights of the suspects",
            [ipywidgets.HTML(f"<p class='gp-small'>{words}</p>"), self.weights_said, self._weights_box],
            opened=self.open_weights,
        )
        return head("You"), self.qualified, self.carried, weights

    def _box(self, words: str) -> Any:
        box = ipywidgets.Checkbox(description=words, indent=False, layout=ipywidgets.Layout(width="auto"))
        box.observe(self._changed, "value")
        return box

    def _row(self, key: str, words: str) -> Any:
        row = ipywidgets.RadioButtons(options=self._options(key), value=NOT_LOOKED, description=words, **self._looks)
        row.observe(self._changed, "value")
        return classed(row, "gp-sign")

    def _options(self, sign: str) -> tuple[tuple[str, str], ...]:
        """What may be entered of a sign: words and value."""
        return (("not looked at", NOT_LOOKED), *((self.said(value), value) for value in SIGNS[sign].values))

    def _changed(self, _change: object = None) -> None:
        if not self._held:
            self._tell()

    def _picked(self, _change: object) -> None:
        if not self._held:
            self._file_said.value = ""
            if self._pick.value == OWN:
                self._changed()
            else:
                self.take_station(self._pick.value)

    def _uploaded(self, _change: object) -> None:
        for one in self._upload.value:
            self.take_file(one["name"], bytes(one["content"]))


def _layer_of(reading: str) -> str | None:
    return LAYER_OF.get("filter_drop" if reading == "after_filter" else reading)
