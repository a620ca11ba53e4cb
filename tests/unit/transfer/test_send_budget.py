"""Memory that is lent: never more than the limit, in the order of asking, and given back whatever happens."""

import ctypes
import random
import sys
import threading
from pathlib import Path

import pytest

from relay.transfer.budget import Budget

MB = 1024 * 1024


def test_what_is_lent_at_once_never_exceeds_the_limit_and_everybody_is_served():
    budget = Budget(20 * MB)
    dice = random.Random(5)
    sizes = [dice.randrange(9 * MB) for _ in range(200)]
    lent, most, lock = 0, 0, threading.Lock()

    def borrow(some: list[int]) -> None:
        nonlocal lent, most
        for size in some:
            with budget.of(size) as view:
                with lock:
                    lent += size
                    most = max(most, lent)
                view[-1:] = b"x"[: min(1, size)]
                threading.Event().wait(0.001)
                with lock:
                    lent -= size

    threads = [threading.Thread(target=borrow, args=(sizes[n::8],)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not any(thread.is_alive() for thread in threads)
    assert 9 * MB < most <= budget.peak <= 20 * MB
    with budget.of(20 * MB) as view:
        assert len(view) == 20 * MB


def test_a_large_loan_is_not_passed_by_for_ever_by_small_ones():
    budget = Budget(4 * MB)
    order: list[str] = []
    first = budget.of(3 * MB)
    first.__enter__()

    def borrow(name: str, size: int) -> None:
        with budget.of(size):
            order.append(name)

    large = threading.Thread(target=borrow, args=("large", 4 * MB))
    large.start()
    while not budget._queue:
        pass
    small = threading.Thread(target=borrow, args=("small", 1 * MB))  # would fit beside the first
    small.start()
    while len(budget._queue) < 2:
        pass
    first.__exit__(None, None, None)
    large.join(timeout=60)
    small.join(timeout=60)
    assert order == ["large", "small"]


def test_a_loan_is_given_back_when_the_work_fails():
    budget = Budget(MB)
    for _ in range(3):
        with pytest.raises(KeyError), budget.of(MB):
            raise KeyError
    with budget.of(MB):
        pass


def test_a_loan_over_the_limit_is_refused_at_once():
    with pytest.raises(ValueError, match="never fit"), Budget(MB).of(MB + 1):
        pass


def test_the_same_memory_is_lent_again_for_a_file_of_nearly_the_same_size():
    budget = Budget(64 * MB)
    with budget.of(12_748_800) as view:
        view[:5] = b"first"
    with budget.of(12_748_799) as view:
        assert bytes(view[:5]) == b"first"
    with budget.of(0) as view:
        assert len(view) == 0


def test_bytes_that_arrived_make_room_for_the_next_loan_as_far_as_memory_reaches():
    budget = Budget(4 * MB)  # and 6 MiB of memory
    served, enough = {name: threading.Event() for name in ("next", "another")}, threading.Event()

    def borrow(name: str) -> None:
        with budget.of(2 * MB):
            served[name].set()
            enough.wait(30)

    borrowing = [threading.Thread(target=borrow, args=(name,), daemon=True) for name in served]
    with budget.loan(3 * MB) as (_, loan):
        borrowing[0].start()
        budget.ease(loan, 2 * MB)
        budget.ease(loan, 3 * MB)  # it never counts for more again
        assert served["next"].wait(10)
        budget.ease(loan, 0)
        borrowing[1].start()  # 7 MiB of memory with it
        assert not served["another"].wait(0.1)
    assert served["another"].wait(10)
    enough.set()
    for each in borrowing:
        each.join(timeout=10)
    assert budget.peak == 4 * MB


@pytest.mark.skipif(sys.platform != "linux", reason="reads what Linux tells of a process's memory")
def test_what_is_lent_is_memory_of_our_own_since_the_system_gives_no_large_pages_to_what_is_shared():
    """Linux, Documentation/admin-guide/mm/transhuge.rst: anonymous memory is one setting, shared memory another."""
    with Budget(16 * MB).of(13 * MB) as view:
        view[:1] = b"x"
        address = ctypes.addressof(ctypes.c_char.from_buffer(view))
        lines = [line.split() for line in Path("/proc/self/maps").read_text().splitlines()]
        spans = [([int(end, 16) for end in line[0].split("-")], line[1]) for line in lines]
        assert [rights for (start, end), rights in spans if start <= address < end] == ["rw-p"]
