"""A fetch by another user: `fetch_as UID ...`, the rest as for `fetch_child`. Only root can become somebody else."""

import os
import sys

from tests.faults.fetch_child import main

if __name__ == "__main__":
    user = int(sys.argv[1])
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(user)
        os.setuid(user)
    main(*sys.argv[2:])
