"""deploy/systemd: units that systemd itself accepts, and that start commands which there are."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import missing

UNITS = sorted((Path(__file__).parents[2] / "deploy" / "systemd").iterdir())
RELAY = Path(sys.executable).with_name("relay")


def verified(folder: Path, change: tuple[str, str] = ("", "")) -> str:
    """Return what `systemd-analyze verify` (its manual: systemd-analyze(1)) finds, with our own program in place."""
    if shutil.which("systemd-analyze") is None:
        missing("no systemd-analyze found: apt-get install systemd")
    for unit in UNITS:
        text = unit.read_text(encoding="utf-8").replace("/opt/relay/bin/relay", str(RELAY)).replace(*change)
        (folder / unit.name).write_text(text, encoding="utf-8")
    names = [folder / unit.name for unit in UNITS]
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *names], capture_output=True, text=True, check=False
    )
    return done.stderr + ("" if done.returncode == 0 else f"exit code {done.returncode}")


def test_systemd_accepts_the_units(tmp_path):
    assert verified(tmp_path) == ""


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("ProtectSystem=strict", "ProtectSystem=strictly", "ignoring: strictly"),
        ("Restart=always", "Restrat=always", "Restrat"),
        ("OnUnitActiveSec=5min", "OnUnitActiveSec=soon", "ignoring: soon"),
        (f"ExecStart={RELAY} sweep", "ExecStart=/nowhere/relay sweep", "/nowhere/relay"),
    ],
)
def test_systemd_names_what_is_wrong_in_a_unit(tmp_path, right, wrong, said):
    assert said in verified(tmp_path, (right, wrong))


def test_the_units_start_commands_and_options_that_there_are():
    started = [words for unit in UNITS for words in re.findall(r"^ExecStart=(.+)$", unit.read_text(), re.MULTILINE)]
    assert len(started) == 2
    for line in started:
        program, *words = shlex.split(line)
        options = [word for word in words if word.startswith("--")]
        command = words[: words.index(options[0])]
        told = subprocess.run(
            [RELAY, *command, "--help"], capture_output=True, text=True, check=True, env={"COLUMNS": "200", "PATH": ""}
        )
        assert program == "/opt/relay/bin/relay"
        assert all(option in told.stdout for option in options)


def test_a_timer_wakes_a_service_that_there_is_and_each_service_reads_the_settings():
    names = {unit.name for unit in UNITS}
    for unit in UNITS:
        if unit.suffix == ".timer":
            assert unit.with_suffix(".service").name in names
        else:
            assert "EnvironmentFile=/etc/relay/relay.env" in unit.read_text()
