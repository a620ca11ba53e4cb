"""A production with three sites on one machine, each with a home of its own, and a folder for a store."""

import shutil
from collections.abc import Mapping
from pathlib import Path

from tests.acceptance.command import Answer, Forker

PRODUCTION = """
name = "quillmark"
title = "The Lamp at Quillmark"
coordinator = "lisbon"

[premiere]
at = 2027-09-18T19:00:00
zone = "Europe/Oslo"
venue = "The Blue Stove Hall, Oslo"

[[site]]
name = "lisbon"
title = "Lisbon: supervision"
zone = "Europe/Lisbon"

[[site]]
name = "halifax"
title = "Halifax: scanning"
zone = "America/Halifax"
mends = true

[[site]]
name = "tokyo"
title = "Tokyo: grading"
zone = "Asia/Tokyo"

[[element]]
code = "A"
title = "The tinted print"
kind = "projection print"
gauge = "35mm"
base = "nitrate"
holder = "Copper Shelf Film Vault"
speed = "18"

[element.loan]
due_back = 2027-12-01
credit = "Print: Copper Shelf Film Vault"
permitted_use = "this restoration"

[[element.reel]]
name = "R01"
frames = 16320

[[element.reel]]
name = "R02"
"""
SITES = ("lisbon", "halifax", "tokyo")
FRAME = 3000  # bytes


class House:
    """Where the sites live. Called like the command: `house("tokyo", "fetch", "A/R01", "arrived")`."""

    def __init__(self, forker: Forker, place: Path, store: str = "store", env: Mapping[str, str] | None = None) -> None:
        self.place = place
        self.store = store
        self.env = env
        self._forker = forker
        (place / "quillmark.toml").write_text(PRODUCTION, encoding="utf-8")

    def __call__(self, site: str, *words: str | bytes | Path, ends: int = 0) -> Answer:
        """Run a command at a site, and see it end with the exit code that is expected."""
        answer = self._forker.run("--home", self.place / site, *words, cwd=self.place, env=self.env)
        assert answer.code == ends, f"ended with {answer.code}, expected {ends}:\n{answer.out}{answer.err}"
        assert "Traceback" not in answer.err
        return answer

    def told(self, site: str, *words: str | bytes | Path, ends: int = 0) -> dict[str, object]:
        """Run a command for a script: one JSON object."""
        return self(site, *words, "--json", ends=ends).facts

    def send(self, site: str, folder: Path | str, reel: str = "A/R01", *words: str) -> dict[str, object]:
        """Send a folder of which the test knows that it is finished, though its files are new."""
        return self.told(site, "send", folder, reel, *words, "--at-once")

    def refused(self, site: str, *words: str | bytes | Path, ends: int = 2) -> str:
        """Run a command that cannot be granted, and return its sentence."""
        answer = self(site, *words, ends=ends)
        assert answer.out == ""
        assert answer.err.startswith("relay: ")
        assert answer.err.count("\n") == 1, f"expected one sentence:\n{answer.err}"
        return answer.err

    def create(self) -> None:
        self("lisbon", "production", "create", "quillmark.toml", "--store", self.store)
        for site in SITES[1:]:
            self("lisbon", "site", "invite", site)
            self(site, "site", "join", f"{site}.invitation")

    def copied(self, to: Path) -> "House":
        """Return a house like this one in another place."""
        shutil.copytree(self.place, to, dirs_exist_ok=True)
        for file in (*to.glob("*/site.toml"), *to.glob("*.invitation")):
            file.write_text(file.read_text().replace(str(self.place), str(to)))
        return House(self._forker, to, self.store, self.env)

    def scan(self, name: str, first: int = 86400, count: int = 12, seed: int = 1) -> Path:
        """Draw a folder of frames."""
        folder = self.place / name
        folder.mkdir()
        for number in range(first, first + count):
            (folder / f"a_r01.{number:07d}.dpx").write_bytes(picture(number - first, seed))
        return folder

    @property
    def entries(self) -> int:
        return len(list((self.place / "store" / "entries").iterdir()))


def picture(frame: int, seed: int = 1) -> bytes:
    """Return bytes that stand for one frame of one scan: the same for the same frame, whatever its file is called."""
    return f"{seed} {frame}\n".encode() * (FRAME // 8)


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file under `folder` by its path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
