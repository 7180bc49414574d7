"""Work on several threads."""

import numba
import pytest

from corridor.tone.parallel import in_parallel


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
