"""Automatic jobs that come with Relay: a stage names one as its command, and needs no program of its own."""

from collections.abc import Callable
from pathlib import Path

from relay.ledger.job_state import Job
from relay.ledger.state import State
from workers.kinds import programme_movie, reference_copy

Order = Callable[[State, Job, Path, Path, Path, list[str]], list[str]]
"""State, job, scratch, input and output folders, the stage's further words: the program to run."""

KINDS: dict[str, Order] = {"programme-movie": programme_movie.program, "reference-copy": reference_copy.program}
"""`command = ["reference-copy"]`: the stage makes a small movie of each reel, its numbers burnt in. With
`programme-movie` it makes one of the programme, by the cut list among what it takes."""
