"""Programs under guard: what they said, how they ended, and that nothing of them stays. Exit codes: POSIX sh, 2.8.2."""

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from relay.clock import SYSTEM_CLOCK
from workers.program import KEPT, Guarded, run


def python(text: str, *words: str) -> list[str]:
    return [sys.executable, "-c", text, *words]


def ran(command: list[str], folder: Path, limit: float = 60.0, **how):
    return run(command, folder, limit, SYSTEM_CLOCK, **how)


def is_alive(pid: int) -> bool:
    """Answer whether a process runs; one that is dead and not yet buried does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in {"Z", "X"}
    except FileNotFoundError:
        return False


def gone(pid: int) -> bool:
    give_up = time.monotonic() + 30
    while is_alive(pid):
        if time.monotonic() > give_up:
            return False
        time.sleep(0.02)
    return True


def pid_in(path: Path) -> int:
    give_up = time.monotonic() + 60
    while not (path.exists() and path.read_text()):
        assert time.monotonic() < give_up, f"nobody wrote {path}"
        time.sleep(0.02)
    return int(path.read_text())


# A program that starts another, which would live for ever, and that tells who it is.
FAMILY = """
import os, subprocess, sys, time
child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'])
open('pid', 'w').write(str(child.pid))
{then}
"""


def test_a_program_that_ends_well_ends_with_0_and_its_words_are_kept(tmp_path):
    assert ran(python("print('all is well')"), tmp_path) == (0, "all is well")


def test_the_exit_code_is_the_programs_own(tmp_path):
    assert ran(python("import sys; sys.exit('no: 3 frames are black')"), tmp_path) == (1, "no: 3 frames are black")
    assert ran(python("import sys; sys.exit(77)"), tmp_path).code == 77


def test_a_program_that_a_signal_killed_ends_with_128_and_the_signals_number(tmp_path):
    ended = ran(python("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"), tmp_path)
    assert ended.code == 128 + signal.SIGSEGV


def test_a_program_that_is_not_there_is_said_not_to_start(tmp_path):
    assert ran(["no-such-program"], tmp_path) == (127, "no-such-program cannot be started: No such file or directory")


def test_arguments_reach_the_program_as_they_are_with_no_shell_between(tmp_path):
    words = ["$(touch shell)", "; touch shell", "a b", "*", "é"]
    ended = ran(python("import sys; print(sys.argv[1:])", *words), tmp_path)
    assert ended == (0, str(words))
    assert not (tmp_path / "shell").exists()


def test_a_program_finds_the_ordinary_signals_in_their_ordinary_state(tmp_path):
    text = "import signal; print(signal.getsignal(signal.SIGTERM) is signal.SIG_DFL)"
    assert ran(python(text), tmp_path).said == "True"
    # Python itself ignores SIGPIPE; sh would tell if it had been left so for it.
    assert ran(["sh", "-c", "kill -PIPE $$; echo still here"], tmp_path) == (128 + signal.SIGPIPE, "")


def test_the_time_limit_ends_the_program_and_all_that_it_started(tmp_path):
    ended = ran(python(FAMILY.format(then="print('at frame 12', flush=True); time.sleep(600)")), tmp_path, limit=3)
    assert ended == (None, "at frame 12")
    assert gone(pid_in(tmp_path / "pid"))


def test_a_program_that_will_not_end_is_killed(tmp_path):
    text = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('deaf', flush=True); time.sleep(600)"
    )
    assert ran(python(text), tmp_path, limit=2) == (None, "deaf")


def test_what_a_program_leaves_running_in_its_group_is_ended(tmp_path):
    assert ran(python(FAMILY.format(then="")), tmp_path).code == 0
    assert gone(pid_in(tmp_path / "pid"))


def test_a_stop_that_is_asked_for_ends_the_program(tmp_path):
    ended = ran(python("import time; time.sleep(600)"), tmp_path, is_stopping=lambda: True)
    assert ended.code is None


@pytest.mark.parametrize("megabytes", [256, pytest.param(4096, marks=pytest.mark.soak)])
def test_a_program_that_writes_and_writes_fills_neither_memory_nor_disk(tmp_path, megabytes):
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    text = f"import os\nfor _ in range({megabytes}): os.write(1, b'x' * 1048575 + b'\\n')\nprint('the end')"
    ended = ran(python(text), tmp_path, limit=300)
    assert ended.code == 0
    assert ended.said.endswith("the end")
    assert len(ended.said) <= KEPT
    assert list(tmp_path.iterdir()) == []
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000  # kB


def test_a_program_that_writes_without_end_is_stopped_by_its_time_limit(tmp_path):
    text = "import os\nwhile True: os.write(1, b'more ' * 10000)"
    assert ran(python(text), tmp_path, limit=2).code is None


def test_a_program_that_closes_its_output_is_still_waited_for(tmp_path):
    text = "import os, time; os.close(1); os.close(2); time.sleep(1); open('done', 'w').close()"
    assert ran(python(text), tmp_path).code == 0
    assert (tmp_path / "done").exists()


def test_killing_the_worker_ends_the_program_that_it_ran(tmp_path):
    text = f"""
import sys
sys.path.insert(0, {str(Path.cwd())!r})
from workers.program import Guarded
with Guarded([sys.executable, '-c', {FAMILY.format(then="time.sleep(600)")!r}], folder={str(tmp_path)!r}) as program:
    print(program.process.pid, flush=True)
    program.process.wait()
"""
    with subprocess.Popen([sys.executable, "-c", text], stdout=subprocess.PIPE, text=True) as worker:
        guard = int(worker.stdout.readline())
        grandchild = pid_in(tmp_path / "pid")
        worker.kill()
    assert gone(grandchild)
    assert gone(guard)


def test_a_guarded_program_is_asked_before_it_is_killed(tmp_path):
    text = """
import signal, sys, time
def said(*_):
    open('asked', 'w').close(); sys.exit(0)
signal.signal(signal.SIGTERM, said)
open('pid', 'w').write('1')
time.sleep(600)
"""
    with Guarded(python(text), folder=tmp_path) as program:
        pid_in(tmp_path / "pid")
        program.end()
        assert not program.is_running()
    assert (tmp_path / "asked").exists()


@pytest.mark.parametrize("name", ["AWS_SECRET_ACCESS_KEY", "RELAY_BROKER"])
def test_a_program_is_not_given_what_opens_stores_and_brokers(tmp_path, name):
    from relay.settings import program_environment

    told = {name: "secret", "PATH": os.environ["PATH"], "OCIO": "/srv/config.ocio"}
    ended = ran(python("import os; print(sorted(os.environ))"), tmp_path, environment=program_environment(told))
    assert "OCIO" in ended.said
    assert name not in ended.said
