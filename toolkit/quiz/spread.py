"""How a suspects question is made: one suspect built into a station by chance, and what a visit there reads."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from toolkit.diagnosis.suspects import INLET_GAUGE_RANGE, SUSPECTS, draw_run, posterior
from toolkit.diagnosis.symptoms import Readings, visit
from toolkit.quiz.questions import SuspectsQuestion
from toolkit.scenario import Station
from toolkit.units import format_pressure, format_quantity

TRIES = 60


def spread_question(
    key: str,
    chance: Random,
    units: str,
    suspects: tuple[str, ...],
    told: str,
    wanted: Callable[[Readings], bool] = lambda _: True,
) -> SuspectsQuestion:
    """Make a question whose true suspect is drawn by the same weights as the posterior starts from.

    `told` opens the prompt. `wanted` may keep only visits with certain readings: what the readings say of the suspects
    stays right, since it is the readings that are chosen, not the suspect.
    """
    weights = [SUSPECTS[suspect].weight for suspect in suspects]
    for _ in range(TRIES):
        truth = chance.choices(suspects, weights)[0]
        run = draw_run(truth, chance)
        if wanted(run.readings):
            break
    inlets = " to ".join(format_quantity(gauge, "gauge_pressure", units) for gauge in INLET_GAUGE_RANGE)
    wrong = "At most one thing is wrong" if "healthy" in suspects else "One thing is wrong"
    regulator = Station().regulators[0]
    start = regulator.set_gauge_pressure + (regulator.relief.start_above_set if regulator.relief else 0.0)
    prompt = (
        f"{told} By its tag the regulator is set to {format_pressure(regulator.set_gauge_pressure, units)} and its "
        f"internal relief starts at {format_pressure(start, units)}; by the record the inlet holds {inlets}. "
        f"{wrong}. Spread 100 points over the suspects, as sure as you are of each."
    )
    return SuspectsQuestion(
        key,
        prompt,
        run.readings,
        suspects,
        truth,
        posterior(run.readings, suspects),
        visit(run.station, run.faults),
        units,
    )
