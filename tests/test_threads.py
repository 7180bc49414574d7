"""Work on several threads."""

import time
from collections.abc import Iterator

import numba
import pytest

from corridor.threads import at_once, in_parallel, in_ranges, worked


@pytest.mark.parametrize("threads", [1, numba.get_num_threads()])
def test_every_item_is_worked_on_once(threads: int) -> None:
    before = numba.get_num_threads()
    numba.set_num_threads(threads)
    try:
        found: dict[int, int] = {}
        in_parallel(lambda item: found.update({item: item**2}), range(50))
    finally:
        numba.set_num_threads(before)
    assert found == {k: k**2 for k in range(50)}


def test_nothing_to_do_is_done() -> None:
    in_parallel(lambda item: pytest.fail(str(item)), [])


def test_an_error_comes_out() -> None:
    def fails(item: int) -> None:
        message = f"item {item}"
        raise ValueError(message)

    with pytest.raises(ValueError, match="item 3"):
        in_parallel(fails, [3])


@pytest.fixture(params=[1, numba.get_num_threads()])
def _threads(request: pytest.FixtureRequest) -> Iterator[None]:
    before = numba.get_num_threads()
    numba.set_num_threads(request.param)
    yield
    numba.set_num_threads(before)


@pytest.mark.usefixtures("_threads")
def test_results_come_in_the_order_of_the_items() -> None:
    def work(item: int) -> int:
        time.sleep(0.001 * (item % 3))  # later ones may be done first
        return item**2

    assert list(worked(work, range(30))) == [k**2 for k in range(30)]
    assert list(worked(work, [])) == []


@pytest.mark.usefixtures("_threads")
def test_an_error_comes_out_and_ends_the_work() -> None:
    begun: list[int] = []

    def fails(item: int) -> int:
        begun.append(item)
        if item == 3:
            message = f"item {item}"
            raise ValueError(message)
        time.sleep(0.002)
        return item

    with pytest.raises(ValueError, match="item 3"):
        list(worked(fails, range(500)))
    assert len(begun) < 500


def test_work_within_work_has_one_thread() -> None:
    seen = set(worked(lambda _: numba.get_num_threads(), range(20)))
    assert seen == {1}


@pytest.mark.usefixtures("_threads")
@pytest.mark.parametrize(("count", "smallest"), [(0, 1), (1, 1), (7, 3), (1000, 1), (1000, 400), (5, 0)])
def test_ranges_cover_every_item_once(count: int, smallest: int) -> None:
    found: list[tuple[int, int]] = []
    in_ranges(lambda first, last: found.append((first, last)), count, smallest=smallest)
    items = [item for first, last in sorted(found) for item in range(first, last)]
    assert items == list(range(count))
    if count >= smallest:
        assert all(last - first >= min(smallest, count) for first, last in found)


@pytest.mark.parametrize("threads", [1, numba.get_num_threads()])
def test_two_at_once_give_both_and_use_all_threads(threads: int) -> None:
    before = numba.get_num_threads()
    numba.set_num_threads(threads)
    try:
        assert at_once(numba.get_num_threads, lambda: "other") == (threads, "other")
    finally:
        numba.set_num_threads(before)


def test_of_two_errors_the_first_ones_comes_out() -> None:
    def fails(error: Exception, after_s: float) -> None:
        time.sleep(after_s)
        raise error

    with pytest.raises(KeyError):
        at_once(lambda: fails(KeyError("one"), 0.05), lambda: fails(ValueError("other"), 0.0))
