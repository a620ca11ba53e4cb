"""The sites of the demo: a folder each, the `relay` command run there and shown, and the days that pass in a minute."""

import os
import subprocess
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from relay.settings import CLOCK_VARIABLE

HERE = Path(__file__).resolve().parent
REPO = HERE.parents[1]
RELAY = Path(sys.executable).with_name("relay")
FILE = HERE / "production.toml"
SITES = ("lisbon", "halifax", "kolkata", "tokyo", "oslo")
WORKING = SITES[:4]
SECONDS_A_SECOND = 1440
MORNING = datetime(2027, 8, 23, 12, tzinfo=UTC)
BOLD, DIM, PLAIN = ("\033[1m", "\033[2m", "\033[0m") if sys.stdout.isatty() else ("", "", "")


class UnexpectedError(Exception):
    """Something did not go as the demo's story says."""


def tell(text: str) -> None:
    print(f"\n{BOLD}{text}{PLAIN}", flush=True)


class House:
    """Where the sites live: `.demo`, unless another place was named."""

    def __init__(self, place: Path, begun: datetime) -> None:
        self.place = place
        self._pace = f"{SECONDS_A_SECOND} {begun.isoformat()} {MORNING.isoformat()}"

    def __truediv__(self, part: str) -> Path:
        return self.place / part

    def home(self, site: str) -> Path:
        return self.place / site / "home"

    def environment(self, **more: str) -> dict[str, str]:
        """Return this machine's environment without settings of its own, with the demo's clock and programs."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("RELAY_", "AWS_"))}  # noqa: TID251  a clean stage
        found = os.pathsep.join([str(HERE / "programs"), str(RELAY.parent), kept.get("PATH", os.defpath)])
        return {**kept, "COLUMNS": "110", "PATH": found, CLOCK_VARIABLE: self._pace, **more}

    def relay(self, site: str, *words: str | Path, ends: int = 0, quiet: bool = False) -> str:
        """Run `relay` at a site, show the command and its answer, and return the answer."""
        self.show(site, *words)
        code, answer = self.run(site, *words)
        if not quiet or code != ends:
            print("".join(f"  {line}\n" for line in answer.splitlines()), end="", flush=True)
        if code != ends:
            raise UnexpectedError(f"that ended with {code}, expected {ends}")
        return answer

    def show(self, site: str, *words: str | Path) -> None:
        """Show a command as it can be typed again from the repository's folder."""
        home = self._short(self.home(site))
        print(f"{DIM}$ relay --home {home} {_quoted([self._short(word) for word in words])}{PLAIN}", flush=True)

    def show_copying(self, site: str, folder: str) -> None:
        """Show that a finished folder was dropped, and the marker beside it that says so."""
        to_send = self._short(self.place / site / "to-send" / folder)
        print(f"{DIM}$ mv .../{folder} {to_send} && touch {to_send}.finished{PLAIN}", flush=True)

    def run(self, site: str, *words: str | Path, **more: str) -> tuple[int, str]:
        """Run `relay` at a site; return its exit code and what it said."""
        done = subprocess.run(
            [RELAY, "--home", self.home(site), *words],
            cwd=REPO,
            capture_output=True,
            text=True,
            check=False,
            env=self.environment(**more),
        )
        return done.returncode, done.stdout + done.stderr

    def _short(self, word: str | Path) -> str:
        return str(word.relative_to(REPO)) if isinstance(word, Path) and word.is_relative_to(REPO) else str(word)


def _quoted(words: Sequence[str]) -> str:
    return " ".join(f'"{word}"' if " " in word else word for word in words)
