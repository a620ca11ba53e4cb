"""Which tests one of several processes runs: all of a file, since they share what is built for it; and all of a server.

A server that takes long to start is started once, by whichever process has the tests that name it.
"""

from typing import Any

STARTED_ONCE = ("ceph", "moto")


def unit_of(nodeid: str) -> str:
    """Return what a test is run together with: the server that it names, or else its file."""
    file, _, test = nodeid.partition("::")
    return next((server for server in STARTED_ONCE if server in test), file)


def scheduler(config: Any, log: Any) -> Any:
    from xdist.scheduler import LoadFileScheduling  # not where only browsers are tested

    class ByFileAndServer(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return unit_of(nodeid)

    return ByFileAndServer(config, log)
