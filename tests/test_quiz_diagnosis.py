"""What gauges and noses make of a trace."""

from __future__ import annotations

import pytest

from toolkit.diagnosis.symptoms import VENT_STEPS, gauge_shows, vent_level
from toolkit.units import IN_WC, PSI


def test_the_gauge_is_coarse() -> None:
    assert gauge_shows(7.04 * IN_WC) == pytest.approx(7.0 * IN_WC)
    assert gauge_shows(7.06 * IN_WC) == pytest.approx(7.1 * IN_WC)
    assert gauge_shows(10.3 * PSI) == pytest.approx(10.5 * PSI)


def test_vent_levels() -> None:
    assert [vent_level(flow) for flow in (-1.0, 0.0, VENT_STEPS[0], VENT_STEPS[1])] == [0, 0, 1, 2]
