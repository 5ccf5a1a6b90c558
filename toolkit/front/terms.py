"""The words of the glossary: one entry each, for the learners' page and for the table in DEVELOPERS.md."""

from __future__ import annotations

import re
from dataclasses import dataclass

from toolkit.units import IN_WC, PSI


@dataclass(frozen=True)
class Term:
    """A word of the trade, its name in the code, its SI unit ("-" where there is none) and what it means.

    `plain` says it to a learner where `meaning` says too much or too little. `shown` is the kind of quantity by whose
    units a bench shows it. `said` are the words by which lessons say it, where they are not the term's own; `lesson`
    the two digits of the lesson to send a learner to, where that is not the first to say it. What only the code speaks
    of is not for `learners`.
    """

    term: str
    code: str
    unit: str
    meaning: str
    plain: str = ""
    shown: str = ""
    said: tuple[str, ...] = ()
    lesson: str = ""
    learners: bool = True

    def stands_in(self, text: str) -> bool:
        """Whether a lesson's text says the term, all of it; the plural counts."""
        words = self.said or tuple(self.term.split(", "))
        return all(re.search(rf"(?<![\w-]){re.escape(word)}s?(?![\w-])", text, re.IGNORECASE) for word in words)


TERMS = (
    Term(
        "set point",
        "`set_gauge_pressure`",
        "Pa",
        "outlet pressure the spring is adjusted for, at 10 % of the disk's travel and the inlet pressure it was set at",
        plain="outlet pressure for which the spring is adjusted, at one inlet pressure and a small flow",
        shown="low_gauge_pressure",
        lesson="02",
    ),
    Term(
        "inlet, outlet",
        "`inlet`, `outlet`",
        "-",
        "names of the volumes a device stands between",
        plain="where gas comes in, and where it goes out; also the pipes there",
    ),
    Term(
        "lift",
        "`lift`",
        "m",
        "how far the disk stands off the seat; 0 is closed",
        shown="small_length",
        said=("off the seat",),
    ),
    Term("droop", "`droop`", "Pa", "set point minus outlet pressure under flow", shown="pressure_difference"),
    Term(
        "lock-up",
        "`lock_up_gauge_pressure`",
        "Pa",
        "outlet pressure at which the disk seals with no flow",
        shown="low_gauge_pressure",
    ),
    Term("creep", "-", "-", "outlet pressure that keeps rising at no flow because the seat leaks"),
    Term(
        "inlet effect",
        "`inlet_effect`",
        "Pa/Pa",
        "change of the held outlet pressure per change of inlet pressure",
        plain="how far the outlet goes along with a change of the inlet pressure",
    ),
    Term(
        "main spring",
        "`spring_preload`, `spring_rate`",
        "N, N/m",
        "force on the diaphragm at lift 0, and its rate",
        plain="spring that pushes the diaphragm down and opens the disk; the adjusting screw presses it",
        shown="spring_rate",
    ),
    Term(
        "lever ratio",
        "`lever_ratio`",
        "-",
        "diaphragm travel per disk travel",
        plain="how far the diaphragm travels for each step of the disk's travel",
        said=("lever",),
        lesson="02",
    ),
    Term(
        "diaphragm area",
        "`diaphragm_area`",
        "m2",
        "effective area at lift 0; grows by `area_growth` over the travel",
        plain="area on which the outlet pressure works; it grows a little as the diaphragm goes down",
        shown="area",
        said=("diaphragm's area",),
    ),
    Term(
        "unbalanced area",
        "`unbalanced_area`",
        "m2",
        "area on which inlet minus outlet pressure pushes the disk open",
        plain="area on which the inlet pressure pushes the disk open",
        shown="area",
        said=("area of the hole",),
    ),
    Term(
        "case",
        "`case_...`",
        "-",
        "the room above the diaphragm, on the spring side; breathes through the vent",
        said=("room above",),
    ),
    Term("vent", "`vent`", "-", "opening of the case to the outside air", lesson="04"),
    Term(
        "internal relief",
        "`relief`",
        "-",
        "spring-held opening in the diaphragm's centre, discharges into the case and out of the vent",
        plain="opening in the middle of the diaphragm, held shut by a spring; its gas goes to the case and the vent",
        lesson="04",
    ),
    Term(
        "start-to-discharge",
        "`relief_start_gauge_pressure`",
        "Pa",
        "outlet pressure at which a relief begins to open",
        shown="low_gauge_pressure",
        said=("relief begins to open",),
    ),
    Term(
        "reseat, blowdown",
        "-",
        "Pa",
        "pressure at which a relief is shut again; start minus reseat",
        plain="pressure at which a relief is shut again; how far that lies below its start",
        shown="pressure_difference",
    ),
    Term(
        "build-up",
        "-",
        "Pa",
        "rise of pressure above start-to-discharge while a relief passes its flow",
        plain="rise of the pressure above the start of a relief while the relief passes its flow",
        shown="pressure_difference",
        said=("relief's build-up",),
    ),
    Term(
        "flow area",
        "`flow_area`",
        "m2",
        "discharge coefficient times area, CA",
        plain="area of an opening, times the share of it that the gas makes use of",
        shown="area",
    ),
    Term(
        "standard volume flow",
        "`standard_flow`",
        "m3/s",
        "at 15 degC and 101.325 kPa (ISO 13443)",
        plain="volume flow as it would be at a standard pressure and temperature",
        shown="standard_flow",
        said=("scfh",),
    ),
    Term(
        "scf",
        "-",
        "-",
        "standard cubic foot at 14.73 psia and 60 degF",
        plain="standard cubic foot: at 14.73 psia and 60 °F",
        said=("standard cubic foot",),
    ),
    Term(
        "in. w.c.",
        "-",
        "Pa",
        "inch of water column, conventional, 249.08891 Pa",
        plain=f"inch of water column: one psi is {PSI / IN_WC:.1f} of them",
        lesson="01",
    ),
    Term(
        "debris",
        "`Debris`",
        "m, N/m",
        "a piece on the seat: its height, its stiffness, the share of the seat's edge it holds open",
        plain="dirt on the seat that keeps the disk from sealing; it may be hard or soft",
        shown="small_length",
    ),
    Term("hydrate", "`Ice`", "-", "ice-like plugs of gas and water", lesson="03"),
    Term("backed off", "`WeakMainSpring`", "-", "of an adjusting screw: turned out by itself", lesson="03"),
    Term(
        "severity",
        "`severity`",
        "-",
        "how far a fault has come, 0 to 1; ramps over `ramp` seconds from `onset`",
        learners=False,
    ),
    Term(
        "condition",
        "`...Condition`",
        "-",
        "a device's effective numbers at one moment, faults included",
        learners=False,
    ),
    Term(
        "worker, monitor",
        "device names",
        "-",
        "of two regulators in series: the one that holds the pressure, and the one that takes over",
    ),
    Term(
        "interstage",
        "volume name",
        "-",
        "the volume between worker and monitor",
        plain="the room between worker and monitor",
        said=("between the two regulators",),
    ),
    Term("slam-shut", "-", "-", "safety shutoff valve: trips, stays shut until reset by hand"),
    Term("MAOP", "-", "Pa", "maximum allowable operating pressure", shown="gauge_pressure"),
    # what the lessons say besides
    Term(
        "gauge pressure",
        "`..._gauge_pressure`",
        "Pa",
        "pressure counted from that of the air around the gauge",
        shown="gauge_pressure",
        said=("gauge counts",),
    ),
    Term(
        "absolute pressure",
        "`..._absolute`",
        "Pa",
        "pressure counted from nothing at all: gauge pressure plus the air's",
        shown="absolute_pressure",
    ),
    Term("atmosphere", "`atmosphere`", "Pa", "pressure of the air at a site; less the higher it lies"),
    Term(
        "choked flow",
        "`critical_ratio`",
        "-",
        "flow through an opening in which the gas moves as fast as sound: only the pressure before it counts",
    ),
    Term(
        "heat input",
        "`heat_input`",
        "W",
        "heat that burners take in as gas, gross",
        shown="heat_input",
        said=("input",),
    ),
    Term("orifice", "`orifice_diameter`", "m", "the hole in the seat, or in a burner", shown="small_length"),
    Term("seat", "`seat_stiffness`, `seat_depth`", "N/m, m", "the edge on which the disk seals"),
    Term("disk", "-", "-", "the part that shuts the hole in the seat"),
    Term("stem", "-", "-", "the part that joins disk and lever; it can stick"),
    Term("diaphragm", "-", "-", "flexible wall on which the outlet pressure pushes against the main spring"),
    Term("sensing line", "`SensingLine`", "-", "tube through which a device feels the pressure it acts on"),
    Term("tap", "`tap`", "-", "place on a pipe where a sensing line or a gauge is joined to it"),
    Term(
        "vent limiter",
        "`limiter_bore`",
        "m",
        "small hole in a vent: breathes slowly, and lets little gas out if the diaphragm tears",
        shown="small_length",
    ),
    Term(
        "stack",
        "`stack_bore`",
        "m",
        "pipe that leads what a relief lets off to a safe place outdoors",
        shown="small_length",
    ),
    Term("relief valve", "`ReliefValve`", "-", "valve of its own on the pipe that lets gas off above its set pressure"),
    Term("pop", "`POPPED`", "-", "a relief valve's sudden opening; dirt may keep it from sealing afterwards"),
    Term(
        "weeping",
        "`weep`, `weeps_after_pop`",
        "m2",
        "a little gas that a relief passes although it is shut",
    ),
    Term("second seat", "`SecondSeat`", "-", "seat in the regulator's own body that shuts where the disk cannot"),
    Term("pressure switch", "`PressureSwitch`", "-", "switch that a pressure works: alarm, lockout or trip"),
    Term(
        "deadband",
        "`deadband`",
        "Pa",
        "how far back inside its setting the pressure must come before a switch lets go",
        shown="pressure_difference",
    ),
    Term("lockout", "`locks_out`", "-", "burners shut by a control until it lets go or somebody resets it"),
    Term("trip", "`trips`", "-", "what a slam-shut or a switch does when its setting is passed"),
    Term("latch", "`Latch`", "-", "what holds a tripped device where it is until somebody resets it by hand"),
    Term("reset", "`Reset`", "-", "bringing a tripped device back by hand, after the cause is found"),
    Term(
        "equalise",
        "`bypass_bore`, `reset_difference`",
        "m, Pa",
        "to bring both sides of a shut valve to one pressure, slowly, before it is opened",
    ),
    Term("purge", "`Purge`", "-", "to drive air out of a pipe with gas, or gas with air, by the written procedure"),
    Term("isolate", "-", "-", "to shut a section off from every source of pressure"),
    Term(
        "pilot",
        "-",
        "-",
        "small flame that lights a burner; also a small regulator that drives a large one",
        said=("pilots",),
    ),
    Term(
        "relight",
        "-",
        "-",
        "to light burners again, once every outlet downstream is accounted for; for qualified people",
    ),
    Term("as found, as left", "-", "-", "readings before anything is touched, and after the work; a report has both"),
    Term(
        "hunting",
        "`hunts`",
        "-",
        "pressure that swings to and fro and does not come to rest",
        said=("hunts",),
        lesson="11",
    ),
    Term("kick", "`spike`", "-", "how far the outlet jumps when all burners shut at once", lesson="03"),
    Term("spike", "-", "-", "short rise of pressure before a layer has acted"),
    Term(
        "take-over",
        "`take_over_gauge_pressure`",
        "Pa",
        "outlet pressure at which a monitor begins to act",
        shown="low_gauge_pressure",
        said=("takes over",),
        lesson="05",
    ),
    Term("layer", "-", "-", "one of several devices that guard the same pressure, each for the failure of the others"),
    Term("overpressure", "-", "-", "pressure above what the things downstream are built for"),
    Term(
        "build-up of a regulator",
        "-",
        "Pa",
        "rise of the outlet above the set point while nothing flows",
        shown="pressure_difference",
        said=("build-up from a service regulator",),
    ),
    Term(
        "rating",
        "`maximum_gauge_pressure`",
        "Pa",
        "highest inlet pressure that an appliance's controls are built for",
        shown="low_gauge_pressure",
    ),
    Term("nuisance trip", "`Nuisance`", "-", "a layer that acts with nothing wrong"),
    Term("heat ratio", "`heat_ratio`", "-", "heat capacity of a gas at constant pressure over that at constant volume"),
    Term("compressibility factor", "`compressibility`", "-", "Z: how far a gas is from ideal, for which it is 1"),
    Term(
        "Kv, Cv", "`kv`, `cv`", "m3/h, US gal/min", "flow of water through a valve at a difference of 1 bar; of 1 psi"
    ),
    Term(
        "discharge coefficient",
        "`discharge_coefficient`",
        "-",
        "share of an opening that the gas makes use of, by what it passes",
    ),
    Term(
        "pressure drop",
        "`pressure_drop`",
        "Pa",
        "pressure that a flow costs on its way through a pipe or valve",
        shown="pressure_difference",
    ),
    Term("chatter", "`chatters`", "-", "of a switch: to make and let go again and again"),
    Term(
        "jump",
        "-",
        "-",
        "to bridge a switch's contacts so that it is blind; never done",
        said=("jumped", "jump a switch"),
    ),
)
