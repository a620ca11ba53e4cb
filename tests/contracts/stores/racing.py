"""Writers that race for keys, in threads and in processes of their own."""

import multiprocessing
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

from relay.model import digest_of
from relay.store.port import Store
from tests.contracts.stores.rigs import Rig

Wins = list[tuple[str, bytes]]


def race(store: Store, keys: list[str], writer: str, threads: int) -> Wins:
    """Return the keys that each of the threads created, with the bytes; all start on a key together."""
    start = threading.Barrier(threads)

    def run(number: int) -> Wins:
        wins = []
        for key in keys:
            body = f"{writer}/{number} was here first: {key}".encode()
            start.wait(120)
            if store.create(key, body, digest_of(body)):
                wins.append((key, body))
        return wins

    with ThreadPoolExecutor(threads) as pool:
        return [win for wins in pool.map(run, range(threads)) for win in wins]


def race_in_two_processes(rig: Rig, keys: list[str]) -> Wins:
    context = multiprocessing.get_context("spawn")
    wins = context.SimpleQueue()
    ready = context.Barrier(2)
    children = [context.Process(target=_child, args=(rig, keys, str(number), ready, wins)) for number in range(2)]
    for child in children:
        child.start()
    results = [wins.get() for _ in children]
    for child in children:
        child.join(60)
    return [win for result in results for win in result]


def _child(rig: Rig, keys: list[str], writer: str, ready: threading.Barrier, wins) -> None:
    store = rig.open()
    result: Wins = []
    try:
        ready.wait(60)
        result = race(store, keys, writer, rig.threads)
    finally:
        wins.put(result)


def times_won(wins: Wins) -> Counter[str]:
    return Counter(key for key, _ in wins)
