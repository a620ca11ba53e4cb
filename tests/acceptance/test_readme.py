"""A stranger follows README.md: its own lines, in its own order, with nothing of ours in the environment."""

import os
import re
import subprocess
from pathlib import Path

from tests.acceptance.command import RELAY, REPO
from tests.acceptance.house import contents, picture

README = (REPO / "README.md").read_text(encoding="utf-8")


def steps() -> list[str]:
    """Return the blocks of commands of "Send a reel of your own", but for the installation."""
    section = README.partition("## Send a reel of your own")[2].partition("\n## ")[0]
    blocks = [
        text for kind, text in re.findall(r"^```(\w*)\n(.*?)^```$", section, re.MULTILINE | re.DOTALL) if not kind
    ]
    assert "pip install ." in blocks[0]
    return blocks[1:]


def test_the_steps_of_the_readme_work_as_they_stand(tmp_path: Path):
    film = re.search(r"^```toml\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert film
    (tmp_path / "quillmark.toml").write_text(film[1], encoding="utf-8")
    scan = tmp_path / "scans" / "A_R01"
    scan.mkdir(parents=True)
    for number in range(20):
        (scan / f"own_{number:05d}.tif").write_bytes(picture(number))
    (scan / "notes.txt").write_text("a splice at 12")

    for block in steps():
        if "A_R01_arrived A/R01" in block:  # "Change something"
            (tmp_path / "A_R01_arrived" / "own_00012.tif").write_bytes(picture(12, seed=2))
        done = subprocess.run(
            ["bash", "-eu", "-c", block],
            cwd=tmp_path,
            env={"PATH": f"{RELAY.parent}:{os.defpath}", "HOME": str(tmp_path)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        assert done.stderr == ""

    assert "frames changed: 1 (12)" in done.stdout
    assert contents(tmp_path / "A_R01_arrived").keys() == contents(scan).keys()
