"""What lesson 01 states: its numbers worked out anew, and the source of each rule it tells."""

from __future__ import annotations

from typing import Any

from lesson_text import both, flow_through, pressure

from toolkit.flow import critical_ratio
from toolkit.gas import NATURAL_GAS
from toolkit.panels import lesson_01
from toolkit.units import BTU, FOOT, HOUR, IN_WC, INCH, PSI, SCF, STANDARD_ATMOSPHERE, atmosphere


def worked() -> dict[str, str]:
    line, lower = 60 * PSI, 30 * PSI
    ratio = critical_ratio(NATURAL_GAS.heat_ratio)
    line_abs, lower_abs = line + STANDARD_ATMOSPHERE, lower + STANDARD_ATMOSPHERE
    limit = ratio * line_abs
    leak = 500 * SCF / HOUR
    input_ = 100_000 * BTU / HOUR
    burner, raised = 3.5 * IN_WC, 14 * IN_WC
    return {
        "line": pressure(line),
        "air": both(STANDARD_ATMOSPHERE, "absolute_pressure"),
        "line absolute": both(line_abs, "absolute_pressure"),
        "choked at": f"{ratio:.3f}",
        "limit absolute": both(limit, "absolute_pressure"),
        "limit gauge": pressure(limit - STANDARD_ATMOSPHERE),
        "leak": both(leak, "standard_flow"),
        "lower": pressure(lower),
        "lower absolute": both(lower_abs, "absolute_pressure"),
        "share": f"{lower_abs / line_abs:.2f}",
        "leak then": both(leak * flow_through(1e-6, lower) / flow_through(1e-6, line), "standard_flow"),
        "two psi": both(2 * PSI, "gauge_pressure"),
        "psi": f"{PSI / IN_WC:.1f} in. w.c.",
        "two psi in. w.c.": both(2 * PSI, "low_gauge_pressure"),
        "delivered": pressure(7 * IN_WC),
        "taken off": both(2 * PSI - 7 * IN_WC, "pressure_difference"),
        "burner": pressure(burner),
        "raised": pressure(raised),
        "times": f"{raised / burner:.0f} times",
        "times flow": f"{flow_through(1e-6, raised) / flow_through(1e-6, burner):.0f} times",
        "furnace": both(input_, "heat_input"),
        "heat content": f"{NATURAL_GAS.heating_value * SCF / BTU:,.0f} Btu",
        "heat content metric": f"{NATURAL_GAS.heating_value / 1e6:.1f} MJ",
        "furnace flow": both(input_ / NATURAL_GAS.heating_value, "standard_flow"),
    }


def happened() -> dict[str, str]:
    settings = lesson_01.BENCH.start("us")

    def plate(**changed: Any) -> Any:
        return lesson_01.plate(settings | changed)

    here = plate()
    hills = 5000 * FOOT
    return {
        "air": both(STANDARD_ATMOSPHERE, "absolute_pressure"),
        "hills": both(hills, "altitude"),
        "air in the hills": both(atmosphere(hills), "absolute_pressure"),
        "psi": f"{PSI / IN_WC:.1f} in. w.c. ({PSI / 100:.1f} mbar)",
        "before": pressure(here.upstream_gauge),
        "behind": pressure(here.downstream_gauge),
        "flow": both(here.flow, "standard_flow"),
        "same into the air": both(plate(downstream=0.0).flow, "standard_flow"),
        "choked at": f"{critical_ratio(here.gas.heat_ratio):.3f}",
        "limit": pressure(here.critical_gauge),
        "quarter": both(0.25 * INCH, "small_length"),
        "eighth": both(0.125 * INCH, "small_length"),
        "times": f"{plate(hole=0.25 * INCH).flow / here.flow:.0f} times",
        "choked into the air from": pressure(
            STANDARD_ATMOSPHERE / critical_ratio(here.gas.heat_ratio) - STANDARD_ATMOSPHERE
        ),
    }


NUMBERS = {"Worked example": worked, "What happened": happened}

# What the lesson teaches: a sentence of its text, and what bears it out.
TEACHES = [
    ("So absolute pressure is what the gauge shows, plus the air.", "item 01.absolute"),
    ("**A gauge counts from the air around it.**", "item 01.gauge"),
    ("At 5,000 ft (1,524 m) it has only 12.2 psia (0.843 bar abs).", "bench"),
    (
        "One psi is 27.7 in. w.c. (68.9 mbar).",
        "test tests/test_panels.py::test_units_are_converted_by_the_published_ratios",
    ),
    ("Never compare two readings before they stand in one unit, both gauge or both absolute.", "item 01.taken_off"),
    (
        "**Gas runs from the higher pressure to the lower.**",
        "test tests/test_flow.py::test_flow_turns_its_sign_with_the_pressures",
    ),
    ("A bigger hole passes more.", "test tests/test_flow.py::test_flow_grows_with_the_area"),
    (
        "From 0.125 in. (3.17 mm) to 0.250 in. (6.35 mm) is twice the diameter, 4 times the area, and 4 "
        "times the flow.",
        "bench",
    ),
    (
        "The gas in the hole already moves as fast as sound.",
        "test tests/test_taught.py::test_gas_in_a_choked_hole_moves_at_the_speed_of_sound",
    ),
    ("Whatever you change behind the hole, the news cannot travel back up through it.", "bench"),
    (
        "Natural gas chokes when the absolute pressure behind is 0.546 of the absolute pressure before, or less.",
        "bench",
    ),
    ("Into the open air, any line above about 12.2 psig (0.84 bar) is choked.", "item 01.choked_until"),
    ("**Once it is choked, only the pressure before the hole counts, and it counts in absolute.**", "bench"),
    ("Twice the absolute pressure is twice the flow.", "bench"),
    ("Twice the gauge pressure is less than that, because the air's share does not double.", "item 01.choked"),
    ("There the flow goes with the square root of the small pressure difference.", "item 01.orifice"),
    (
        "The square root of that gives about 2 times the flow, and so about twice the heat.",
        "test tests/test_flow.py::test_burner_input_goes_with_the_square_root_of_the_pressure",
    ),
    (
        "A standard cubic foot of natural gas holds 1,036 Btu, a standard cubic metre 38.6 MJ.",
        "source eia-heat-content",
    ),
    ("Divide: the furnace takes 97 scfh (2.73 m³/h).", "item 01.input"),
]
