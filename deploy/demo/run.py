"""The demo: one film, four sites on this machine and a venue, each with a home of its own, and a folder for a store.

    python deploy/demo/run.py [FOLDER]

Everything its people do, they do with the `relay` command, and the command is shown. First reels go over by hand; then
four workers run, and a reel goes the whole route. What is left in `.demo/` is real: look around.
"""

import shutil
import sys
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from deploy.demo.crew import Crew
from deploy.demo.house import MORNING, REPO, SITES, House, UnexpectedError, tell
from deploy.demo.main_job import PARTS
from deploy.demo.round import Round
from relay.clock import SYSTEM_CLOCK
from relay.errors import RelayError

INTERRUPTED = 130


def go(house: House) -> None:
    """Tell the whole story. Raises UnexpectedError where it goes otherwise."""
    tell(f"The demo's clock: it is {MORNING:%A, %d %B %Y, %H:%M} UTC, and a day passes in a minute.")
    for part in PARTS:
        part(house)
    tell(
        "Reel 2 goes the route. A worker runs at each of four sites; Lisbon's has the broker that wakes the others.\n"
        "Each line without a $ is an entry of the ledger, at the hour of the site that signed it."
    )
    with Crew(house) as crew:
        Round(house, crew).go()


def account(house: House, began: float) -> None:
    tell("What happened, as the ledger says")
    house.relay("lisbon", "jobs", "--all")
    house.relay("lisbon", "reel", "list")
    tell("What was found in the tinted print's scan, and the pages that were drawn while it was looked at")
    pictures = {f"--{name}": house / "lisbon" / f"A_R02_{name}.png" for name in ("sheet", "strip")}
    house.relay("lisbon", "reel", "findings", "A/R02/v1", *(word for pair in pictures.items() for word in pair))
    if not all(picture.read_bytes().startswith(b"\x89PNG") for picture in pictures.values()):
        raise UnexpectedError("the contact sheet and the strip must be pictures")
    side_by_side(house)
    movie = min((house / "lisbon" / "arrived").rglob("*_reference.mov"), default=None)
    if movie is None:
        raise UnexpectedError("the reference copies must have arrived in Lisbon")
    tell("What to look at next")
    print("  .demo/lisbon/A_R02_sheet.png and A_R02_strip.png          a reel on one page; its cuts and its gaps")
    print(f"  {'.demo' / movie.relative_to(house.place)}   a reference copy, its numbers under the picture")
    print("  .demo/lisbon/accounts                                     what an archive is owed: HTML, PDF, PREMIS")
    print("  .demo/lisbon/coverage_A.svg and A_R02_beside.mov          what each print holds; the prints in step")
    print("  .venv/bin/relay --home .demo/lisbon/home ledger show --last 0     everything that was said, and by whom")
    print("  .venv/bin/relay --home .demo/lisbon/home reel show B/R01          a refusal, a mending, a whole arrival")
    print("  .venv/bin/relay --home .demo/tokyo/home verify .demo/tokyo/arrived/B_R01 B/R01")
    print("  .venv/bin/relay --home .demo/oslo/home who                        who is awake now, in each house")
    print("  .venv/bin/relay --home .demo/oslo/home --help                     everything else")
    print("  less .demo/kolkata/worker.log                                     what a worker says about its work")
    print("  ls .demo/store                                                    what lies in a store: docs/FORMAT.md")
    print(f"\nDone in {SYSTEM_CLOCK.ticks() - began:.0f} s. `make clean` removes it all.")


def side_by_side(house: House) -> None:
    """Show what two prints of reel 2 lack and which has it, as strips and in step."""
    scans = "A/R02/v1", "B/R02/v1"
    drawing, movie = house / "lisbon" / "coverage_A.svg", house / "lisbon" / "A_R02_beside.mov"
    tell(
        "Two prints of reel 2, put side by side by the thumbnails that were kept: what A lacks and who has\n"
        "it, as far as that is sure: short as this reel is, much is for people to look at, and `relay pin` settles it."
    )
    house.relay("lisbon", "align", *scans, quiet=True)  # Lisbon's worker did it by itself, where it had the time
    said = house.relay("lisbon", "gaps", scans[0])
    house.relay("lisbon", "coverage", scans[0], "--svg", drawing)
    house.relay("lisbon", "beside", scans[0], movie, scans[1], "--speed", "20")
    if "B/R02/v1 at" not in said or not drawing.stat().st_size or not movie.stat().st_size:
        raise UnexpectedError("print B must have something that print A lacks, and both must be drawn")


def main() -> None:
    began = SYSTEM_CLOCK.ticks()
    place = Path(sys.argv[1]).absolute() if len(sys.argv) > 1 else REPO / ".demo"
    shutil.rmtree(place, ignore_errors=True)
    for site in SITES:
        for folder in ("home", "arrived"):
            (place / site / folder).mkdir(parents=True)
    house = House(place, datetime.now(UTC))  # noqa: TID251  what the demo's clock is set by
    try:
        go(house)
        account(house, began)
    except (UnexpectedError, RelayError) as error:
        sys.exit(f"\nThe demo went wrong: {error}. What there is lies in {place}.")
    except KeyboardInterrupt:
        print(f"\nStopped. Its workers have ended; what there is lies in {place}.", file=sys.stderr)
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    main()
