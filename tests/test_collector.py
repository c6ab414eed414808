"""The collector is off inside, and as it was afterwards, whatever happens inside."""

import gc
from collections import Counter

import pytest

from retune.collector import without_collector
from retune.encode import encode
from retune.options import ENCODINGS, Options
from retune.pipeline import analyze, tune


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


LARGE = {"FileRewrite", "Performance", "Score", "Timeline", "Request", "OtherEvent", "list", "ndarray"}


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_nothing_large_waits_for_the_collector(encoding, samples):
    """What an encoder made for itself is freed when it returns, but for small objects that know each other."""
    analysis = analyze(samples["string_trio"])
    tuning, options = tune(analysis), Options(encoding=encoding)
    encode(analysis.score, tuning, options)  # modules are imported, tables made

    def count():
        return Counter(type(thing).__name__ for thing in gc.get_objects() if type(thing).__name__ in LARGE)

    gc.collect()
    gc.disable()
    try:
        before = count()
        encode(analysis.score, tuning, options)
        left = count() - before
    finally:
        gc.enable()
    assert {name: number for name, number in left.items() if number > 10} == {}
    assert not left.keys() & {"FileRewrite", "Performance", "Score", "Timeline", "OtherEvent"}
