"""The command needs nothing beyond what a plain installation brings, until it is asked for what an extra is for."""

import subprocess
import sys
import tomllib

from tests.acceptance.command import REPO, environment

MODULES = {
    "argon2-cffi": "argon2",
    "openimageio": "OpenImageIO",
    "pillow": "PIL",
    "prometheus-client": "prometheus_client",
}
BARE = """
import sys

class Nothing:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in sys.argv[1:]:
            raise ModuleNotFoundError(name)

sys.meta_path.insert(0, Nothing())
from relay.cli.commands import all_loaded
all_loaded()
"""


def extras() -> set[str]:
    """Return the modules that the extras bring, as pyproject.toml has them."""
    told = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    kinds = set(told) - {"test", "lint", "browser"}
    names = {line.split(">")[0].split("[")[0].strip() for kind in kinds for line in told[kind]}
    return {MODULES.get(name, name) for name in names}


def test_the_command_loads_without_any_extra():
    assert {"numpy", "scipy", "celery"} <= extras()
    command = [sys.executable, "-c", BARE, *extras()]
    done = subprocess.run(command, cwd=REPO, env=environment(), capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-800:]
