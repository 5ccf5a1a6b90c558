"""Bayes' rule over the signature tables.

Outside sources: the burglary alarm of Russell and Norvig, Artificial Intelligence (0.284) for Bayes with
joint signs; scipy.special.logsumexp for the mean of products in logs. The rest are properties that any probability has.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from published import published
from scipy.special import logsumexp

from toolkit.diagnosis import posterior as module
from toolkit.diagnosis.posterior import PRIORS, belief, kernel, log_likelihoods, log_priors, posterior, priors_for
from toolkit.diagnosis.signatures import (
    NOTHING,
    OTHER,
    SUSPECTS,
    UNSEEN,
    Run,
    Signatures,
    encoded,
    nearest_kind,
    shipped,
    signs_of_run,
    suspects_on,
)
from toolkit.diagnosis.signs import SIGNS, SUN, Signs
from toolkit.diagnosis.sites import KINDS, site
from toolkit.diagnosis.visits import signs_of
from toolkit.errors import ScenarioError
from toolkit.simulation import simulate
from toolkit.station_file import shipped_station, shipped_stations

KIND = "service"


def decoded(row) -> Signs:
    return Signs(
        **{key: one.values[place] for (key, one), place in zip(SIGNS.items(), row, strict=True) if place != UNSEEN}
    )


def table_of(rows, suspects) -> Signatures:
    """A table by hand: a dictionary of places of values for each run."""
    signs = np.full((len(rows), len(SIGNS)), UNSEEN, dtype=np.uint8)
    for number, row in enumerate(rows):
        for key, place in row.items():
            signs[number, list(SIGNS).index(key)] = place
    codes = np.array([list(SUSPECTS).index(one) for one in suspects], dtype=np.uint8)
    return Signatures(KIND, signs, codes, np.arange(len(rows), dtype=np.uint16), "0", 1, 1, "x")


def sharp(key):
    """A kernel that believes a run to the letter."""
    values = len(SIGNS[key].values)
    return np.vstack([np.eye(values), np.full(values, 1.0 / values)])


def some_signs(kind, suspect, number, keep=1.0, seed=4) -> Signs:
    signs = signs_of_run(Run(kind, suspect, number, seed))
    return signs.only([key for place, key in enumerate(signs.met()) if place % 10 < 10 * keep])


# --- Bayes


def test_burglary_alarm():
    """Both neighbours call: the alarm's states are runs, in the proportions of the book's tables.

    P(alarm | burglary) = 0.95 x 0.002 + 0.94 x 0.998 and P(alarm | none) = 0.29 x 0.002 + 0.001 x 0.998.
    """
    each = 500_000
    rung = [round(each * share) for share in (0.95 * 0.002 + 0.94 * 0.998, 0.29 * 0.002 + 0.001 * 0.998)]
    calls = {"slam_shut": np.array([[0.95, 0.05], [0.10, 0.90]]), "creep": np.array([[0.99, 0.01], [0.30, 0.70]])}
    signs = np.full((2 * each, len(SIGNS)), UNSEEN, dtype=np.uint8)
    for key in calls:
        column = signs[:, list(SIGNS).index(key)]
        column[:] = 0
        for start, number in zip((0, each), rung, strict=True):
            column[start : start + number] = 1
    suspect = np.repeat(np.array([list(SUSPECTS).index(key) for key in ("torn", NOTHING)], dtype=np.uint8), each)
    table = Signatures(KIND, signs, suspect, np.zeros(2 * each, dtype=np.uint16), "0", 1, each, "x")
    both = Signs(slam_shut="tripped", creep="creeps")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "kernel", lambda key: np.vstack([calls[key], [0.5, 0.5]]))
        found = posterior(both, table, {"torn": 0.001, NOTHING: 0.999})
    published("burglary_given_both_calls").check(found["torn"])


def test_likelihood_is_a_mean_of_products_of_kernels():
    """Against scipy.special.logsumexp, sign by sign and run by run."""
    signs, table = some_signs(KIND, "torn", 0), shipped(KIND)
    by_hand = {}
    for key in suspects_on(KIND):
        runs = table.signs[table.suspect == list(SUSPECTS).index(key)]
        terms = [
            sum(
                np.log(kernel(name)[run[place] if run[place] != UNSEEN else -1, seen])
                for place, (name, seen) in enumerate(zip(SIGNS, encoded(signs), strict=True))
                if seen != UNSEEN
            )
            for run in runs
        ]
        by_hand[key] = np.log(PRIORS[key]) + logsumexp(terms) - np.log(len(terms))
    expected = np.exp(np.array(list(by_hand.values())) - logsumexp(list(by_hand.values())))
    assert list(posterior(signs, KIND).values()) == pytest.approx(list(expected), rel=1e-9)


@pytest.mark.parametrize("key", SIGNS)
def test_kernels_are_probabilities_and_likeliest_on_the_run_s_own_value(key):
    rows = kernel(key)
    assert rows.sum(axis=1) == pytest.approx(np.ones(len(rows)))
    assert (rows > 0.0).all()
    assert list(rows[:-1].argmax(axis=1)) == list(range(len(SIGNS[key].values)))
    if SIGNS[key].ordered and len(SIGNS[key].values) > 2:
        assert rows[0][1] > rows[0][2]


def test_likelihood_sums_to_one_over_all_that_can_be_met():
    table, keys = shipped(KIND), ("outlet_on", "vent_off", "slam_shut", "spike")
    total = np.zeros(len(table.suspect))
    for values in product(*(SIGNS[key].values for key in keys)):
        total += np.exp(log_likelihoods(table, Signs(**dict(zip(keys, values, strict=True)))))
    assert total == pytest.approx(np.ones(len(total)))


# --- properties


@pytest.mark.parametrize("kind", KINDS)
def test_posterior_sums_to_one_whatever_was_met(kind):
    chance = np.random.default_rng(7)
    for _ in range(20):
        looked = [key for key in SIGNS if chance.random() < 0.5]
        signs = Signs(**{key: SIGNS[key].values[chance.integers(len(SIGNS[key].values))] for key in looked})
        shares = posterior(signs, kind)
        assert sum(shares.values()) == pytest.approx(1.0)
        assert all(0.0 <= share <= 1.0 for share in shares.values())
        assert tuple(shares) == suspects_on(kind)


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_looked_at_leaves_the_priors(kind):
    known = {key: PRIORS[key] for key in suspects_on(kind)}
    expected = {key: weight / sum(known.values()) for key, weight in known.items()}
    assert posterior(Signs(), kind) == pytest.approx(expected)


def test_priors_know_every_suspect():
    assert set(PRIORS) == set(SUSPECTS)


def test_order_of_the_runs_changes_nothing():
    table, signs = shipped(KIND), some_signs(KIND, "dirty_seat", 1)
    order = np.random.default_rng(3).permutation(len(table.suspect))
    mixed = replace(table, signs=table.signs[order], suspect=table.suspect[order], number=table.number[order])
    assert posterior(signs, mixed) == pytest.approx(posterior(signs, table), rel=1e-9)


def test_relabelling_changes_nothing():
    """Two suspects swap their runs and their priors: their probabilities swap, nobody else's moves."""
    table, signs = shipped(KIND), some_signs(KIND, "dirty_seat", 1)
    one, other = (list(SUSPECTS).index(key) for key in ("dirty_seat", "sun"))
    swap = np.arange(len(SUSPECTS), dtype=np.uint8)
    swap[[one, other]] = other, one
    swapped = replace(table, suspect=swap[table.suspect])
    priors = {**PRIORS, "dirty_seat": PRIORS["sun"], "sun": PRIORS["dirty_seat"]}
    before, after = posterior(signs, table), posterior(signs, swapped, priors)
    assert before["dirty_seat"] != pytest.approx(before["sun"])
    assert after == pytest.approx({**before, "dirty_seat": before["sun"], "sun": before["dirty_seat"]}, rel=1e-9)


def test_more_of_a_prior_is_more_of_its_share():
    signs = some_signs(KIND, "too_small", 2, keep=0.4)
    plain, raised = posterior(signs, KIND), posterior(signs, KIND, {**PRIORS, "sun": 10 * PRIORS["sun"]})
    odds = [one["sun"] / one["too_small"] for one in (plain, raised)]
    assert odds[1] == pytest.approx(10 * odds[0])
    assert posterior(signs, KIND, {key: weight for key, weight in PRIORS.items() if key != "sun"})["sun"] == 0.0


def test_what_is_not_fitted_cannot_have_failed():
    station = replace(site(KIND, 0, 8).station, slam_shuts=(), switches=())
    left = priors_for(station)
    assert set(PRIORS) - set(left) >= {"shutoff_near", "switch_near", "line_broken"}
    assert left["torn"] == PRIORS["torn"]
    shares = posterior(Signs(burners="no gas"), KIND, left)
    assert shares["shutoff_near"] == 0.0
    assert sum(shares.values()) == pytest.approx(1.0)


@pytest.mark.parametrize("name", shipped_stations())
def test_a_shipped_station_on_its_own_day_is_thought_sound(name):
    scenario = shipped_station(name).scenario
    station = scenario.station
    assert scenario.faults == ()
    shares = posterior(signs_of(simulate(scenario)), nearest_kind(station), priors_for(station))
    assert shares[NOTHING] > 0.85


def test_none_of_these_takes_what_no_suspect_explains():
    odd = Signs(
        outlet_on="far high", outlet_off="far low", inlet="far low", filter_drop="large", burners="gas",
        meter_on="more than the rating", vent_on="none", spike="small", frost="frost", sun="rises and falls back",
        lock_up="lower",
    )  # fmt: skip
    assert max((shares := posterior(odd, KIND)), key=lambda key: shares[key]) == OTHER


@pytest.mark.parametrize("kind", KINDS)
def test_the_shade_tells_the_sun_from_a_leak(kind):
    """Each by that sign alone; and a gauge that climbs over minutes before the sun is a leak, if it stays up."""
    stays, falls = (posterior(Signs(sun=value), kind) for value in SUN[1:])
    assert max(falls, key=lambda key: falls[key]) == "sun"
    assert falls["sun"] > 10 * falls["dirty_seat"]
    assert stays["dirty_seat"] > 3 * stays["sun"]
    creeps = posterior(Signs(sun="rises and stays up", creep="creeps"), kind)
    assert max(creeps, key=lambda key: creeps[key]) == "dirty_seat"


def test_a_sign_that_was_not_to_be_had_tells_nothing(monkeypatch):
    monkeypatch.setattr(module, "kernel", sharp)
    table = table_of([{"relief": 0}, {}], ["torn", "sun"])
    assert posterior(Signs(), table, {"torn": 1, "sun": 1})["sun"] == pytest.approx(0.5)
    shares = posterior(Signs(relief="shut"), table, {"torn": 1, "sun": 1})
    assert shares["sun"] == pytest.approx((1 / 3) / (1 + 1 / 3))


@pytest.mark.parametrize(
    ("kind", "suspect"),
    [
        (KIND, "torn"),
        (KIND, "filter_plugged"),
        ("line sensed", "line_broken"),
        ("monitored", "monitor_shut"),
        ("damped", "relief_dirty"),
    ],
)
def test_clear_cases_are_found_and_their_most_telling_run_looks_like_them(kind, suspect):
    signs = some_signs(kind, suspect, 0)
    thought = belief(signs, kind)
    best, share = thought.ranked()[0]
    assert best == suspect
    assert share > 0.8
    run = thought.most_telling(suspect)
    told = signs_of_run(run).met()
    same = sum(told.get(key) == value for key, value in signs.met().items())
    assert same >= 0.85 * len(signs.met())
    assert run.suspect == suspect
    assert thought.most_telling(OTHER) is None


@pytest.mark.parametrize(
    ("priors", "field"),
    [({"gremlins": 1.0}, "gremlins"), ({"torn": -1.0}, "priors.torn"), ({"torn": 0.0}, "weight above 0")],
)
def test_wrong_priors_are_refused(priors, field):
    with pytest.raises(ScenarioError, match=field):
        log_priors(shipped(KIND), priors)


def test_unknown_names_are_refused():
    with pytest.raises(ScenarioError, match="gremlins"):
        belief(Signs(), KIND).most_telling("gremlins")
    with pytest.raises(ScenarioError, match="servce"):
        belief(Signs(), "servce")
