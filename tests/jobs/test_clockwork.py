"""The scheduler as far as it is ours."""

import threading

from monitor.jobs.clockwork import Clockwork


def test_what_recurs_begins_at_once_and_outlives_a_failure() -> None:
    """Work is done at the start and again; an error in it does not end it."""
    done: list[int] = []
    thrice = threading.Event()

    def work() -> None:
        done.append(1)
        if len(done) >= 3:
            thrice.set()
        raise ValueError("as it may happen")

    clockwork = Clockwork()
    clockwork.every("work", 0.05, work)
    clockwork.start()
    came = thrice.wait(20)
    clockwork.stop()

    assert came
