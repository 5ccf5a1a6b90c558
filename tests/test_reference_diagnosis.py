"""The formulas of the diagnosis and of its marks against reference libraries and published worked examples.

Libraries, for the tests only: pyAgrum (Bayes nets: the posterior and mutual information), scipy (entropy, Kendall's
tau, binned means), scoringrules (Brier and ranked probability score). Published examples stand in published.toml with
their sources; the burglary alarm and the gains of the weather table are in test_posterior.py and test_next_check.py.
"""

from __future__ import annotations

import warnings
from functools import lru_cache
from random import Random

import numpy as np
import pytest
import scoringrules
from benchmark_diagnosis import calibration_error
from conftest import REQUIRED
from published import published
from scipy.stats import binned_statistic, kendalltau
from scipy.stats import entropy as scipy_entropy
from test_posterior import KIND, sharp, table_of

from toolkit.diagnosis import posterior as module
from toolkit.diagnosis.next_check import CHECKS, Check, entropy, information, outcomes
from toolkit.diagnosis.posterior import PRIORS, belief, kernel, posterior
from toolkit.diagnosis.signatures import NOTHING, SUSPECTS, UNSEEN, shipped
from toolkit.diagnosis.signs import SIGNS, Signs
from toolkit.diagnosis.sites import KINDS
from toolkit.quiz.ordering import OrderQuestion, plain_credit, shown_order
from toolkit.quiz.questions import quadratic_credit

with warnings.catch_warnings():
    # Its extension warns as it is imported; turned into an error there, the warning would end the process.
    warnings.simplefilter("ignore")
    try:
        import pyagrum
    except ImportError as error:  # a bare Debian lacks a system library that it needs
        pyagrum, missing = None, str(error)

CODES = list(SUSPECTS)


# --- a Bayes net of the same table


@lru_cache
def net_of(kind, keys) -> pyagrum.BayesNet:
    """Suspect -> run -> signs: a suspect's runs are equally likely, and each run gives a sign by its kernel.

    A run is a number among its suspect's runs, so that the signs have both for parents. The library's engines do not
    keep their net alive: the cache does.
    """
    if pyagrum is None:
        refuse = pytest.fail if REQUIRED else pytest.skip
        refuse(f"pyAgrum does not load on this machine: {missing} (Debian: apt install libgomp1)")
    table = shipped(kind)
    names = table.keys()
    mine = [np.flatnonzero(table.suspect == CODES.index(name)) for name in names]
    most = max(len(runs) for runs in mine)
    net = pyagrum.BayesNet()
    net.add(pyagrum.LabelizedVariable("suspect", "", list(names)))
    net.add(pyagrum.RangeVariable("run", "", 0, most - 1))
    net.addArc("suspect", "run")
    weights = np.array([PRIORS[name] for name in names])
    net.cpt("suspect")[:] = weights / weights.sum()
    net.cpt("run")[:] = np.array([[1.0 / len(runs)] * len(runs) + [0.0] * (most - len(runs)) for runs in mine])
    for key in keys:
        values = SIGNS[key].values
        net.add(pyagrum.LabelizedVariable(key, "", [f"v{place}" for place in range(len(values))]))
        net.addArc("suspect", key)
        net.addArc("run", key)
        shown = np.full((most, len(names), len(values)), 1.0 / len(values))
        for at, runs in enumerate(mine):
            codes = table.signs[runs, list(SIGNS).index(key)].astype(int)
            shown[: len(runs), at] = kernel(key)[np.where(codes == UNSEEN, -1, codes)]
        assert net.cpt(key).names == (key, "suspect", "run")
        net.cpt(key)[:] = shown
    return net


def drawn_signs(kind, seed) -> Signs:
    """Four signs of the kind with values drawn by chance: odd ones too, which no run shows."""
    chance = Random(f"{kind} {seed}")
    there = [key for key, had in zip(SIGNS, (shipped(kind).signs != UNSEEN).any(axis=0), strict=True) if had]
    return Signs(**{key: chance.choice(SIGNS[key].values) for key in chance.sample(there, 4)})


def asked(net, signs: Signs, *together: str) -> pyagrum.Tensor:
    """What the net says after some signs of the nodes asked for, together."""
    engine = pyagrum.LazyPropagation(net)
    engine.addJointTarget(set(together))
    engine.setEvidence({key: SIGNS[key].values.index(value) for key, value in signs.met().items()})
    engine.makeInference()
    return pyagrum.Tensor(engine.jointPosterior(set(together)))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(5))
def test_posterior_is_that_of_a_bayes_net(kind, seed):
    signs = drawn_signs(kind, seed)
    found = asked(net_of(kind, tuple(signs.met())), signs, "suspect").tolist()
    assert list(posterior(signs, kind).values()) == pytest.approx(found, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("key", ["smell_off", "flags", "filter"])
@pytest.mark.parametrize("kind", ["service", "line sensed"])
@pytest.mark.parametrize("met", [Signs(), Signs(outlet_on="normal", spike="marked")], ids=["at first", "later"])
def test_information_is_the_mutual_information_of_the_net(kind, key, met):
    """Of all a check's signs together: H(suspect) + H(signs) - H(both) by scipy, of the net's own joint chances."""
    check, thought = CHECKS[key], belief(met, kind)
    both = asked(net_of(kind, (*met.met(), *check.signs)), met, "suspect", *check.signs)
    parts = [one.toarray().reshape(-1) for one in (both.sumIn(["suspect"]), both.sumOut(["suspect"]), both)]
    suspect, signs, joint = (scipy_entropy(one, base=2) for one in parts)
    assert entropy(np.array(list(thought.shares().values()))) == pytest.approx(suspect, rel=1e-9)
    assert information(thought, check) == pytest.approx(suspect + signs - joint, rel=1e-9)
    assert outcomes(thought, check)[0].chance == pytest.approx(parts[1].max(), rel=1e-9)


def test_information_is_what_the_library_itself_calls_mutual_information():
    net = net_of(KIND, ("vent_off",))
    engine = pyagrum.LazyPropagation(net)
    theirs = pyagrum.InformationTheory(engine, ["suspect"], ["vent_off"]).mutualInformationXY()
    assert information(belief(Signs(), KIND), CHECKS["smell_off"]) == pytest.approx(theirs, rel=1e-9)


# --- Bayes, published


@pytest.fixture
def by_bayes(monkeypatch):
    """Posterior of causes, each (prior, chance of a sign's second value for each sign), after all of these were met."""

    def found(causes, *keys):
        table = table_of([{}] * len(causes), list(causes))
        chances = {
            key: np.array([[1.0 - row[at], row[at]] for _, row in causes.values()]) for at, key in enumerate(keys)
        }
        monkeypatch.setattr(module, "chances", lambda _, key: chances[key])
        shares = posterior(
            Signs(**{key: SIGNS[key].values[1] for key in keys}), table, {name: one[0] for name, one in causes.items()}
        )
        return [shares[name] for name in causes]

    return found


def test_alarm_after_two_calls(by_bayes):
    """No burglary, no earthquake: an alarm by itself 0.001; John calls 0.90 or 0.05, Mary 0.70 or 0.01."""
    causes = {"torn": (0.001, (0.90, 0.70)), NOTHING: (0.999, (0.05, 0.01))}
    published("alarm_given_both_calls").check(by_bayes(causes, "slam_shut", "creep"))


def test_cancer_after_a_positive_test(by_bayes):
    found = by_bayes({"torn": (0.01, (0.80,)), NOTHING: (0.99, (0.096,))}, "frost")
    published("cancer_given_a_positive_test").check(found[0])


def test_which_of_three_machines_made_the_bolt(by_bayes):
    causes = {"torn": (25, (0.05,)), "sun": (35, (0.04,)), "leak": (40, (0.02,))}
    published("bolt_of_each_machine").check(by_bayes(causes, "frost"))


# --- information, published


def test_entropy_of_a_coin_and_of_a_die():
    published("entropy_of_coin_and_die").check([entropy(np.array([0.6, 0.4])), entropy(np.full(6, 1 / 6))])


def test_gains_of_humidity_and_of_temperature(monkeypatch):
    """The weather table: humidity high 3 of 7, normal 6 of 7; hot 2 of 4, mild 4 of 6, cool 3 of 4."""
    monkeypatch.setattr(module, "kernel", sharp)
    gains = []
    for sign, splits in (("creep", ((3, 7), (6, 7))), ("relief", ((2, 4), (4, 6), (3, 4)))):
        days = [(at, number < play) for at, (play, all_days) in enumerate(splits) for number in range(all_days)]
        table = table_of([{sign: at} for at, _ in days], ["sun" if play else "torn" for _, play in days])
        gains.append(information(belief(Signs(), table, {"sun": 9, "torn": 5}), Check("one", "", 1, (sign,))))
    published("weather_gain_humidity_and_temperature").check(gains)


# --- orders


def in_order(count) -> OrderQuestion:
    entries = tuple(str(one) for one in range(count))
    return OrderQuestion("00.order", "Order.", entries, shown_order(count, Random(1)), (), 0.0, "tau", "So it is.")


def test_credit_of_an_order_by_the_published_tau_of_nine_lots_of_tuna():
    """Hollander and Wolfe's lightness and panel score; R counts T = 26 pairs of 36 in the same order."""
    lightness = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1]
    panel = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8]
    right = sorted(range(9), key=lightness.__getitem__)
    answer = [right.index(lot) for lot in sorted(range(9), key=panel.__getitem__)]
    credit = plain_credit(in_order(9), answer)
    assert credit == pytest.approx(26 / 36)
    published("tau_of_tuna").check(2.0 * credit - 1.0)


@pytest.mark.parametrize("count", [3, 5, 8])
def test_credit_of_an_order_against_scipy(count):
    chance = Random(count)
    for _ in range(50):
        answer = chance.sample(range(count), count)
        tau = kendalltau(np.arange(count), np.argsort(answer)).statistic
        assert 2.0 * plain_credit(in_order(count), answer) - 1.0 == pytest.approx(tau, abs=1e-12)


# --- scores


def test_credit_of_a_spread_against_scoringrules():
    """1 less half the sum of the library's Brier scores, category by category."""
    chance = np.random.default_rng(11)
    for size in (2, 3, 5, 24):
        for spread in chance.dirichlet(np.full(size, 0.5), 20):
            truth = int(chance.integers(size))
            brier = scoringrules.brier_score(np.eye(size)[truth], spread).sum()
            assert quadratic_credit(list(spread), truth) == pytest.approx(1.0 - 0.5 * brier, abs=1e-12)
            if size == 2:
                ranked = scoringrules.rps_score(truth + 1, spread)
                assert quadratic_credit(list(spread), truth) == pytest.approx(1.0 - ranked, abs=1e-12)


def test_credit_of_a_spread_by_published_scores():
    """Of two outcomes the sum over both is twice the score of one, and the credit takes half of it."""
    published("brier_of_rain_that_came").check([1.0 - quadratic_credit([p, 1.0 - p], 0) for p in (0.7, 0.5, 0.3)])


# --- calibration


def test_calibration_error_of_the_published_ten_cases():
    said = [0.55] + [0.6675] * 4 + [0.896] * 5
    published("calibration_error_of_ten").check(calibration_error(said, [1, 1, 1, 0, 0, 1, 1, 1, 1, 1]))


def test_calibration_error_against_scipy_s_bins():
    """Too sure in some bins, not sure enough in others: gaps of one sign would add up to the same in any bins."""
    chance = np.random.default_rng(12)
    sure = chance.beta(3, 1, 400)
    right = chance.random(400) < sure + 0.4 * np.sin(25.0 * sure)
    bins = {"bins": 10, "range": (0.0, 1.0)}
    mean, hits = (binned_statistic(sure, what, "mean", **bins).statistic for what in (sure, right.astype(float)))
    count = np.histogram(sure, **bins)[0]
    expected = np.nansum(np.abs(mean - hits) * count) / 400
    assert expected > 0.05
    assert calibration_error(sure, right) == pytest.approx(expected, rel=1e-12)
    assert calibration_error([1.0, 1.0], [True, True]) == 0.0
