"""The demo's decisions: why these frames and not those, asked again a year later, and what an archive is owed."""

from deploy.demo.house import House, UnexpectedError, tell
from deploy.demo.programme import Desk, listed, taken

LENDER = "Copper Shelf Film Vault"


def decide(house: House, frames: int) -> None:
    """Say why, on frames of a print and on a whole reel."""
    runs = taken(Desk(house / "lisbon" / "desk", frames))
    filled = next(f"{first}-{first + count - 1}" for name, first, count in runs if name == "B")
    tell("Why these frames and not those? One line each, while it is fresh; it stays in the ledger.")
    said = ("decide", f"B/R01:{filled}", "used", "--because", "=splice", "--instead", f"A/R01:{filled}")
    house.relay("lisbon", *said, "--evidence", f"B/R01/v1:{filled}=A/R01/v1")
    house.relay("lisbon", "decide", "C/R01", "not used", "--because", "=scratches", "--evidence", "C/R01/v1=A/R01/v1")


def ask_why(house: House, frames: int) -> None:
    """Ask as somebody will in a year: of a shot of the film, and of frames of a print."""
    programme = listed(Desk(house / "lisbon" / "desk", frames))
    place = next(at for at, shown in enumerate(programme.shown()) if shown.reel[0] == "B")
    tell("A year later somebody asks what a shot of the film is made of, and why.")
    said = house.relay("oslo", "why", f"programme:{max(0, place - 3)}-{place}")
    if "lent by North Stair Picture Archive" not in said or "the other is spliced here" not in said:
        raise UnexpectedError("the shot must be followed to print B, and its reason told")
    tell("Did these frames of print C make it into the film, and if not, why not?")
    house.relay("oslo", "why", "C/R01/v1:20-22")


def account(house: House) -> None:
    """Write what one archive is owed."""
    tell(f"The {LENDER} is owed an account: what was used where, at which generation and treatment.")
    house.relay("lisbon", "account", house / "lisbon" / "accounts", "--holder", LENDER)
