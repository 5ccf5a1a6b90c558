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
