"""The collector is held off, and is as before afterwards."""

import gc

import pytest

from corridor.couplings.bulk import uncollected


@pytest.mark.parametrize("before", [True, False])
def test_the_collector_is_as_before(before: bool) -> None:
    was = gc.isenabled()
    try:
        (gc.enable if before else gc.disable)()
        with uncollected():
            assert not gc.isenabled()
        assert gc.isenabled() is before
        with pytest.raises(ZeroDivisionError), uncollected():
            1 / 0  # noqa: B018
        assert gc.isenabled() is before
    finally:
        (gc.enable if was else gc.disable)()
