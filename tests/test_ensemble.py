"""Many scenarios: the same results in the same order here, on processes, and on a cluster that loses a worker."""

import os
import pickle
import signal
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pytest
from layered import SCENARIOS

from toolkit.ensemble import ensemble
from toolkit.errors import ScenarioError, SimulationError
from toolkit.faults import NickedSeat
from toolkit.scenario import Demand, Scenario
from toolkit.simulation import simulate

MANY = [
    Scenario(demands=(Demand(0, 0.5), Demand(20, 0.0)), faults=(NickedSeat(devices="regulator", leak_area=area),))
    for area in np.geomspace(1e-10, 1e-7, 96)
]


@pytest.fixture(scope="module")
def expected():
    return [end(scenario) for scenario in MANY]


def end(scenario: Scenario) -> float:
    """What is compared, small enough to send: where the outlet stands at the end [Pa]."""
    return simulate(scenario).settled("outlet_gauge_pressure")


def fails_on(number: int) -> int:
    if number in (3, 5):
        raise SimulationError(f"no {number}")
    return 10 * number


def breaks_on(number: int) -> int:
    if number == 3:
        raise ZeroDivisionError("of its own")
    return number


def test_here_and_in_processes_the_same_in_the_same_order(expected):
    assert len(set(expected)) == len(MANY)  # else the order would not show
    assert ensemble(MANY, work=end) == expected
    with ProcessPoolExecutor(2) as pool:
        assert ensemble(MANY, pool, end) == expected
        assert pool.submit(int, "7").result() == 7  # it is left open


def test_whole_traces_come_back_from_a_process():
    picked = list(SCENARIOS.values())[:3]
    with ProcessPoolExecutor(1) as pool:
        for mine, theirs in zip(ensemble(picked), ensemble(picked, pool), strict=True):
            assert theirs.events == mine.events
            assert theirs.scenario == mine.scenario
            assert all((theirs[name] == mine[name]).all() for name in mine.signals)
            with pytest.raises(TypeError):
                theirs.signals["new"] = mine.times
    assert pickle.loads(pickle.dumps(simulate(picked[0]))).totals


def test_progress_is_told_in_order_and_the_bar_only_on_a_terminal(capsys):
    seen = []
    ensemble(range(5), work=fails_on, progress=lambda done, every: seen.append((done, every)), errors="keep")
    assert seen == [(done, 5) for done in range(6)]
    ensemble(range(2), work=fails_on)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("threads", [0, 2])
def test_what_cannot_be_run_is_raised_or_kept_in_its_place(threads):
    pool = ThreadPoolExecutor(threads) if threads else None
    kept = ensemble(range(8), pool, fails_on, errors="keep")
    assert [str(one) if isinstance(one, SimulationError) else one for one in kept] == [
        *(0, 10, 20, "no 3", 40, "no 5", 60, 70)
    ]
    with pytest.raises(SimulationError, match="no 3") as caught:
        ensemble(range(4), pool, fails_on)
    assert "scenario 3 of 4" in caught.value.__notes__[0]
    with pytest.raises(ZeroDivisionError):
        ensemble(range(8), pool, breaks_on, errors="keep")
    with pytest.raises(ScenarioError, match="'raise' or 'keep'"):
        ensemble([], errors="ignore")
    assert ensemble([], pool) == []
    if pool:
        pool.shutdown()


def test_what_has_not_begun_is_called_off():
    class Late(Executor):
        """Runs nothing but the first."""

        futures: list[Future]

        def submit(self, fn, /, *args, **kwargs):
            future = Future()
            self.futures.append(future)
            if len(self.futures) == 4:
                future.set_result(fn(*args, **kwargs))
            return future

    late = Late()
    late.futures = []
    with pytest.raises(SimulationError, match="no 3"):
        ensemble(range(6), late, fails_on)
    assert [f.cancelled() for f in late.futures] == [True, True, True, False, True, True]


# the library's own threads and sockets may still be closing as the test ends
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_cluster_that_loses_a_worker_in_mid_run_loses_nothing(expected):
    """dask.distributed, its executor unchanged; a worker is killed by its own id while the work goes on."""
    distributed = pytest.importorskip("distributed")
    killed = []
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        workers = sorted(client.run(os.getpid).values())
        assert len(set(workers)) == 2
        assert os.getpid() not in workers

        def kill_one(done: int, every: int) -> None:
            if not killed and 0 < done < every // 2:
                os.kill(workers[0], signal.SIGKILL)
                killed.append(done)

        found = ensemble(MANY, client.get_executor(), end, progress=kill_one)
        assert set(client.run(os.getpid).values()) != set(workers)
    assert killed
    assert found == expected
