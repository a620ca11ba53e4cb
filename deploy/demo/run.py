"""The demo: one film, four sites on this machine, each with a home of its own, and a folder for a store.

Everything it does, it does with the `relay` command, and shows the command. What it leaves in `.demo/` is real:
look around.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
REPO = HERE.parents[1]
sys.path.insert(0, str(REPO))

from deploy.demo.film import RESCAN_START, START, write_edit, write_rescan, write_scan  # noqa: E402  after the path is set

PLACE = REPO / ".demo"
RELAY = Path(sys.executable).with_name("relay")
FRAMES = 80
BOLD, DIM, PLAIN = ("\033[1m", "\033[2m", "\033[0m") if sys.stdout.isatty() else ("", "", "")


class UnexpectedError(Exception):
    """A command did not end as the demo's story says."""


def tell(text: str) -> None:
    print(f"\n{BOLD}{text}{PLAIN}")


def relay(site: str, *words: str | Path, ends: int = 0, quiet: bool = False) -> str:
    """Run `relay` at a site, show the command and its answer, and return the answer."""
    shown = [str(word.relative_to(REPO)) if isinstance(word, Path) else str(word) for word in words]
    print(f"{DIM}$ relay --home .demo/{site}/home {_quoted(shown)}{PLAIN}")
    home = PLACE / site / "home"
    done = subprocess.run(
        [RELAY, "--home", home, *words], cwd=REPO, capture_output=True, text=True, check=False, env=_environment()
    )
    answer = done.stdout + done.stderr
    if not quiet or done.returncode != ends:
        print("".join(f"  {line}\n" for line in answer.splitlines()), end="")
    if done.returncode != ends:
        raise UnexpectedError(f"that ended with {done.returncode}, expected {ends}")
    return answer


def _quoted(words: Sequence[str]) -> str:
    return " ".join(f'"{word}"' if " " in word else word for word in words)


def _environment() -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("RELAY_", "AWS_"))}  # noqa: TID251  a clean stage
    return {**kept, "COLUMNS": "110"}


def draw() -> None:
    """Make the film: three prints of reel 1, each with frames missing, a rescan and a graded copy."""
    tell("Drawing a film that never was: reel 1 of three worn prints, a rescan, a graded copy.")
    for print_name, site in (("A", "halifax"), ("B", "halifax"), ("C", "tokyo")):
        missing = write_scan(PLACE / site / "scans" / f"{print_name}_R01", print_name, 1, FRAMES)
        print(f"  print {print_name}, scanned in {site}: {FRAMES - len(missing)} of {FRAMES} frames; lost: {missing}")
    found = write_rescan(PLACE / "halifax" / "scans" / "A_R01_wet_gate", "A", 1, FRAMES)
    print(f"  print A again, in the wet gate: {len(found)} frames are better, one of them was thought lost")


def found_production() -> None:
    tell("Lisbon founds the production; the store is asked for its promises first.")
    relay("lisbon", "production", "create", HERE / "production.toml", "--store", PLACE / "store")
    tell("Each of the other sites is invited, and joins with a key of its own.")
    for site in ("halifax", "kolkata", "tokyo"):
        letter = PLACE / "lisbon" / f"{site}.invitation"
        relay("lisbon", "site", "invite", site, "--into", letter)
        relay(site, "site", "join", letter, quiet=True)
    relay("lisbon", "site", "list")


def send_scans() -> None:
    scans = PLACE / "halifax" / "scans"
    tell("Halifax and Tokyo send their scans. The start mark ties file numbers to the reel's own frames.")
    relay(
        "halifax",
        "send",
        scans / "A_R01",
        "A/R01",
        "--start-mark",
        str(START),
        "--note",
        "dry scan; decay in the middle",
    )
    relay("halifax", "send", scans / "B_R01", "B/R01", "--start-mark", str(START))
    relay("tokyo", "send", PLACE / "tokyo" / "scans" / "C_R01", "C/R01", "--start-mark", str(START))


def grade() -> None:
    arrived, graded = PLACE / "kolkata" / "arrived" / "A_R01", PLACE / "kolkata" / "to-send" / "A_R01"
    tell("It is morning in Kolkata: print A arrives, every byte verified, and a receipt is signed.")
    relay("kolkata", "fetch", "A/R01", arrived)
    tell("Kolkata grades some shots and sends the reel on. Frames that did not change are not sent again.")
    changed = write_edit(graded, arrived, "A", 1, FRAMES)
    relay("kolkata", "send", graded, "A/R01", "--note", f"graded: {len(changed)} frames")


def rescan() -> None:
    tell("Halifax scanned the decayed stretch again, with other file numbers. The reel's own numbers stay.")
    wet_gate = PLACE / "halifax" / "scans" / "A_R01_wet_gate"
    words = ("--start-mark", str(RESCAN_START), "--parent", "A/R01/v1", "--note", "wet gate; one lost frame found")
    relay("halifax", "send", wet_gate, "A/R01", *words)
    relay("lisbon", "reel", "compare", "A/R01/v1", "A/R01/v2")
    relay("lisbon", "reel", "show", "A/R01")


def break_and_mend() -> None:
    scan, arrived = PLACE / "halifax" / "scans" / "B_R01", PLACE / "tokyo" / "arrived" / "B_R01"
    tell("Now something breaks: one bit of one frame of print B flips in the store.")
    frame = sorted(scan.glob("*.dpx"))[40]
    print(f"  flipped one bit in the object of {frame.name}: {flip_a_bit(frame)}")
    tell("Tokyo fetches print B. It is refused, the file is named, and nothing lies under the final name.")
    relay("tokyo", "fetch", "B/R01", arrived, ends=4)
    if arrived.exists():
        raise UnexpectedError(f"{arrived} must not be there")
    tell("Halifax has the good copy and may mend. Tokyo fetches again: only what was bad comes over the line.")
    relay("halifax", "mend", "B/R01/v1", scan)
    relay("tokyo", "fetch", "B/R01", arrived)


def flip_a_bit(frame: Path) -> str:
    """Flip the lowest bit of one byte in the middle of the object that holds `frame`, and return its short name."""
    digest = subprocess.run(
        [
            sys.executable,
            "-c",
            "import hashlib,sys; print(hashlib.sha256(open(sys.argv[1],'rb').read()).hexdigest())",
            frame,
        ],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    held = PLACE / "store" / "by-digest" / digest[:2] / digest
    body = bytearray(held.read_bytes())
    body[len(body) // 2] ^= 1
    held.chmod(0o644)
    held.write_bytes(body)
    return f"by-digest/{digest[:2]}/{digest[:16]}..."


def check_and_export() -> None:
    tell("Kolkata checks the whole record by itself, with no line to anybody.")
    relay("kolkata", "ledger", "check")
    tell("Lisbon writes the rescan as a bag, which the archive can check without Relay.")
    relay("lisbon", "export", "bag", "A/R01/v3", PLACE / "lisbon" / "A_R01_bag")


def account(began: float) -> None:
    tell("What happened")
    relay("lisbon", "reel", "list")
    relay("lisbon", "ledger", "show", "--last", "0")
    tell("What to look at next")
    print("  .venv/bin/relay --home .demo/lisbon/home reel show B/R01       a refusal, a mending and a whole arrival")
    print("  .venv/bin/relay --home .demo/tokyo/home verify .demo/tokyo/arrived/B_R01 B/R01")
    print("  .venv/bin/relay --home .demo/tokyo/home --help                 everything else")
    print("  ls .demo/store                                                 what lies in a store: docs/FORMAT.md")
    print(f"\nDone in {time.monotonic() - began:.0f} s. `make clean` removes it all.")


def main() -> None:
    began = time.monotonic()
    shutil.rmtree(PLACE, ignore_errors=True)
    for site in ("lisbon", "halifax", "kolkata", "tokyo"):
        for folder in ("home", "scans", "to-send", "arrived"):
            (PLACE / site / folder).mkdir(parents=True)
    try:
        for part in (draw, found_production, send_scans, grade, rescan, break_and_mend, check_and_export):
            part()
        account(began)
    except UnexpectedError as error:
        sys.exit(f"The demo went wrong: {error}. What there is lies in {PLACE}.")


if __name__ == "__main__":
    main()
