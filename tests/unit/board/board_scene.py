"""A floor with jobs on it, looked at by somebody at some hour."""

from datetime import datetime, timedelta
from typing import Any

from relay.board.rows.view import View, Viewer
from tests.unit.ledger.job_scene import Floor, film
from tests.unit.ledger.scene import COORDINATOR, NOON

SOON = NOON + timedelta(hours=3)
RULER = Viewer(name="ada", role="coordinator", site=COORDINATOR)
LISBON = Viewer(name="bea", role="site", site="lisbon")
GUEST = Viewer(name="a guest", role="guest", holder="Archive B")


def holders_film(**about: Any) -> Any:
    """Return the floor's production with an archive of its own for each element, each reel 16,000 frames long."""
    plain = film(**about).model_dump(mode="json", by_alias=True)
    for element in plain["element"]:
        element["holder"] = f"Archive {element['code']}"
        element["reel"] = [{**reel, "frames": 16_000} for reel in element["reel"]]
    from relay.model import Production

    return Production.model_validate(plain)


def floor(**about: Any) -> Floor:
    told = Floor.founded(film=holders_film(**about))
    told.opens()
    return told


def view(told: Floor, now: datetime = SOON, **more: Any) -> View:
    return View(state=told.state.still(), now=now, **more)
