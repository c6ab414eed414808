"""The collector is off inside, and as it was afterwards, whatever happens inside."""

import gc

import pytest

from retune.collector import without_collector


@pytest.mark.parametrize("was_on", [True, False])
def test_off_inside_and_as_it_was_afterwards(was_on):
    before = gc.isenabled()
    (gc.enable if was_on else gc.disable)()
    try:
        assert without_collector(gc.isenabled)() is False
        assert gc.isenabled() is was_on
        with pytest.raises(ZeroDivisionError):
            without_collector(lambda: 1 / 0)()
        assert gc.isenabled() is was_on
    finally:
        (gc.enable if before else gc.disable)()
