"""Runs the `relay` command, each time in a process of its own.

The installed command takes half a second to load. So most tests fork theirs from one process that has loaded it: that
process runs no threads and has done nothing yet, so that what is forked from it is as good as new. Of libraries that
only some commands use, it loads what one of those had to load, so that the next one need not.
"""

import gc
import importlib
import json
import os
import subprocess
import sys
import traceback
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from relay.model import Frozen

RELAY = Path(sys.executable).with_name("relay")
COSTLY = ("PIL", "av", "numpy", "ortools", "pandas", "relay", "rich", "scipy", "typer")
"""Whose modules take long to load, and start no thread when they are."""
REPO = Path(__file__).resolve().parents[2]


class Answer(NamedTuple):
    """What a command said, and how it ended."""

    code: int
    out: str
    err: str

    @property
    def facts(self) -> dict[str, Any]:
        """What `--json` printed: one object, and nothing beside it."""
        facts = json.loads(self.out)
        assert isinstance(facts, dict)
        return facts


def environment(**more: str) -> dict[str, str]:
    """Return this machine's environment without settings of its own."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("RELAY_", "AWS_"))}
    return {**kept, "AWS_EC2_METADATA_DISABLED": "true", "AWS_CONFIG_FILE": os.devnull, **more}


def answer_of(done: "subprocess.CompletedProcess[bytes]") -> Answer:
    return Answer(done.returncode, done.stdout.decode(errors="replace"), done.stderr.decode(errors="replace"))


def installed(*words: str | bytes | Path, cwd: Path, env: Mapping[str, str] | None = None, **how: Any) -> Answer:
    """Run the installed command itself."""
    done = subprocess.run(
        [RELAY, *words],
        cwd=cwd,
        env=env or environment(),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        **how,
    )
    return answer_of(done)


class Forker:
    """The process that has loaded the command, and forks one for each call."""

    def __init__(self, place: Path) -> None:
        self._place = place
        self._process = subprocess.Popen(
            [sys.executable, "-c", "from tests.acceptance.command import serve; serve()"],
            cwd=REPO,
            env=environment(PYTHONPATH=str(REPO)),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: str | bytes | Path, cwd: Path, env: Mapping[str, str] | None = None) -> Answer:
        assert self._process.stdin
        assert self._process.stdout
        out, err = self._place / "out", self._place / "err"
        asked = {
            "words": [os.fsdecode(word) for word in words],
            "cwd": str(cwd),
            "env": dict(env or environment()),
            "out": str(out),
            "err": str(err),
            "loaded": str(self._place / "loaded"),
        }
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        code = int(self._process.stdout.readline())
        return Answer(code, out.read_text(errors="replace"), err.read_text(errors="replace"))

    def stop(self) -> None:
        self._process.communicate()  # closes its input, at which it ends


def serve() -> None:
    """Fork a command for each line on standard input, and answer with its exit code."""
    from relay.cli.main import main

    _load()
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(asked, main)
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)
        _load_as_well(Path(asked["loaded"]))


def _load() -> None:
    """Load what commands load when they first need it, and build the models that pydantic leaves for later."""
    importlib.import_module("relay.cli.commands").all_loaded()
    for name in ("store.s3", "forecast.asking", "board.serve"):
        importlib.import_module(f"relay.{name}")
    for name in ("console", "table", "progress", "panel"):
        importlib.import_module(f"rich.{name}")
    _build(Frozen)
    found = importlib.import_module("relay.store.found")
    found.Found("", None, importlib.import_module("relay.store.signing").Keys("key", "secret"), None).client(None, 1.0)
    gc.freeze()


def _load_as_well(told: Path) -> None:
    """Load what the last command had to load besides."""
    names = told.read_text(encoding="utf-8").split() if told.exists() else []
    for name in names:
        importlib.import_module(name)
    told.unlink(missing_ok=True)
    if names:
        gc.freeze()


def _build(model: type[Frozen]) -> None:
    for each in model.__subclasses__():
        each.model_rebuild()
        _build(each)


def _become(asked: Mapping[str, Any], main: Any) -> None:
    code: int | str | None = 1
    known = set(sys.modules)
    try:
        os.chdir(asked["cwd"])
        os.environ.clear()
        os.environ.update(asked["env"])
        sys.argv = ["relay", *asked["words"]]
        for number, path in ((0, os.devnull), (1, asked["out"]), (2, asked["err"])):
            opened = os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC)
            os.dup2(opened, number)
            os.close(opened)
        main()
        code = 0
    except SystemExit as end:
        code = end.code
    except BaseException:
        # As the interpreter does at the end of the installed command.
        try:
            sys.excepthook(*sys.exc_info())
        except SystemExit as end:
            code = end.code
        except BaseException:
            traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        more = [name for name in sys.modules if name not in known and name.partition(".")[0] in COSTLY]
        Path(asked["loaded"]).write_text("\n".join(more), encoding="utf-8")
        os._exit(code if isinstance(code, int) else 0 if code is None else 1)
