"""Order, shared objects, lost workers and errors, with and without Dask."""

from types import SimpleNamespace

import pytest

from swarm.run.workers import _lost, open_workers
from targets.base.errors import InputError, NothingFeasible
from tests.helpers import work_items


@pytest.fixture(scope="module")
def two_workers():
    with open_workers(2) as pool:
        yield pool


def test_results_come_in_the_order_of_the_items(two_workers):
    assert two_workers.map(work_items.slow_first, range(6)) == list(range(6))


def test_one_worker_and_two_give_the_same(two_workers):
    with open_workers(1) as serial:
        alone = serial.map(work_items.scaled, range(9), shared=3)
    assert two_workers.map(work_items.scaled, range(9), shared=3) == alone == [3 * k for k in range(9)]


def test_an_equal_call_is_computed_again_with_its_own_shared_object(two_workers):
    first = two_workers.map(work_items.scaled, [1, 1], shared=2)
    assert first == [2, 2]
    assert two_workers.map(work_items.scaled, [1, 1], shared=5) == [5, 5]


def test_done_is_told_after_every_item(two_workers):
    for pool_workers in (1, 2):
        told = []

        def on_done(done, total, told=told):
            told.append((done, total))

        if pool_workers == 1:
            with open_workers(1) as pool:
                pool.map(work_items.scaled, range(3), shared=1, on_done=on_done)
        else:
            two_workers.map(work_items.scaled, range(3), shared=1, on_done=on_done)
        assert told == [(1, 3), (2, 3), (3, 3)]


def test_each_worker_has_its_own_kernel_folder_and_one_thread(two_workers):
    seen = set(two_workers.map(work_items.where, range(20)))
    assert len({folder for _, folder, _ in seen}) == len({pid for pid, _, _ in seen})
    assert {threads for _, _, threads in seen} == {"1"}


def test_a_worker_killed_half_way_changes_nothing(two_workers, tmp_path):
    mark = tmp_path / "mark"
    assert two_workers.map(work_items.die_once, range(8), shared=str(mark)) == [k**2 for k in range(8)]
    assert mark.exists()


def test_a_result_that_went_with_its_worker_is_computed_again():
    """Seen once in a hundred kills: finished, then pending again when it is looked at, then finished without error."""
    gone = SimpleNamespace(status="pending", exception=lambda: None)
    assert "took the result" in str(_lost(gone))


@pytest.mark.parametrize("workers", [1, 2])
def test_answers_to_the_user_arrive_whole(two_workers, workers):
    with open_workers(1) as serial:
        pool = serial if workers == 1 else two_workers
        with pytest.raises(InputError, match=r"bodies\.json, line 3") as bad:
            pool.map(work_items.refuse, [0], shared="input")
        assert bad.value.expected == "a number"
        with pytest.raises(NothingFeasible) as nothing:
            pool.map(work_items.refuse, [0], shared="limit")
        assert nothing.value.limit == "burn limit"


def test_any_other_error_is_raised_as_it_is(two_workers):
    with pytest.raises(ZeroDivisionError):
        two_workers.map(work_items.fail, [0], shared=None)


def test_a_scheduler_that_does_not_answer_is_bad_input(monkeypatch):
    monkeypatch.setattr("swarm.run.workers._START_TIMEOUT_S", 1)
    with pytest.raises(InputError, match="no scheduler answers"), open_workers(scheduler="tcp://127.0.0.1:9"):
        pass
