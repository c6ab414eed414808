"""Linear algebra has one thread inside, and as many as before afterwards, whatever happens inside."""

import threading

import pytest

from retune.threads import _controls, on_one_thread

get, put = _controls()


@pytest.fixture(autouse=True)
def two_threads():
    before = get()
    put(2)
    if get() != 2:
        pytest.skip("no OpenBLAS with threads below NumPy")
    yield
    assert get() == 2
    put(before)


def test_one_inside_and_as_many_as_before_afterwards():
    assert on_one_thread(get)() == 1
    assert get() == 2
    assert on_one_thread(lambda: (on_one_thread(get)(), get()))() == (1, 1)
    with pytest.raises(ZeroDivisionError):
        on_one_thread(lambda: 1 / 0)()


def test_calls_that_overlap_leave_it_as_it_was():
    started, ended = threading.Event(), threading.Event()
    first = threading.Thread(target=on_one_thread(lambda: (started.set(), ended.wait(10))))
    first.start()
    started.wait(10)

    @on_one_thread
    def second():
        ended.set()
        first.join()
        return get()

    assert second() == 1
