"""Made ahead: same items, same errors, nothing made that nobody wants."""

import threading
import time

import pytest

from chatter.sound.ahead import made_ahead


def test_order_is_kept_and_another_thread_makes_the_items():
    makers = []

    def items():
        for i in range(200):
            makers.append(threading.get_ident())
            yield i

    assert list(made_ahead(items())) == list(range(200))
    assert set(makers) != {threading.get_ident()}


def test_an_error_arrives_after_what_was_made_before_it():
    def items():
        yield 1
        yield 2
        raise ValueError("third")

    got = []
    with pytest.raises(ValueError, match="third"):
        for item in made_ahead(items()):
            got.append(item)
    assert got == [1, 2]


def test_no_more_wait_than_were_asked_for():
    made = []

    def items():
        for i in range(50):
            made.append(i)
            yield i

    ahead = made_ahead(items(), most=3)
    assert next(ahead) == 0
    time.sleep(0.3)
    assert len(made) <= 1 + 3 + 1  # the one in use, those waiting, the one in the maker's hands
    ahead.close()


def test_closing_stops_the_maker_and_leaves_no_thread():
    before = threading.active_count()
    endless = iter(int, 1)
    ahead = made_ahead(endless)
    assert next(ahead) == 0
    ahead.close()
    assert threading.active_count() == before
