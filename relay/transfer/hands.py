"""Many hands, one heap of work: each takes the next piece when it is free. The first that fails stops all."""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, wait

from relay.errors import RelayError, TransientError

Piece = Callable[[], None]


def do_all(pieces: Iterator[Piece], hands: int) -> None:
    """Do every piece, `hands` at a time. `pieces` is asked by one hand at a time.

    When a piece fails, no other is begun, those that are under way are finished, and the failure is raised; one
    that a person must look at goes before one that passes by itself.
    """
    heap = _Heap(pieces)
    with ThreadPoolExecutor(hands, thread_name_prefix="hand") as pool:
        try:
            tasks = [pool.submit(heap.work) for _ in range(hands)]
            wait(tasks)
        finally:
            heap.stopped.set()
    faults = [fault for task in tasks if (fault := task.exception())]
    if faults:
        raise min(faults, key=_passes)


def _passes(fault: BaseException) -> bool:
    return isinstance(fault, TransientError) or not isinstance(fault, RelayError)


class _Heap:
    def __init__(self, pieces: Iterator[Piece]) -> None:
        self.stopped = threading.Event()
        self._pieces = pieces
        self._lock = threading.Lock()

    def work(self) -> None:
        try:
            while not self.stopped.is_set():
                with self._lock:
                    piece = next(self._pieces, None)
                if piece is None:
                    return
                piece()
        except BaseException:
            self.stopped.set()
            raise
