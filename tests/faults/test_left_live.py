"""Two workers and a live broker: an automatic cleaning takes a hair that belongs to the film, and a person is asked."""

import json
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from relay.doorbell import find_doorbell
from relay.ledger import work
from relay.ledger.deciding import decide
from relay.ledger.decision_words import DecisionMade, Region
from relay.ledger.job_state import Standing
from relay.model import FrameRange, Place
from relay.transfer.handover import Sending, send
from tests.conftest import missing
from tests.faults.test_workers_run import eventually, relay, stopped_with
from tests.faults.workers_broker import Redis
from tests.references.kept_details import case
from tests.servers.process import Process
from tests.servers.s3 import ServerMissingError
from tests.unit.workers.house import COORDINATOR, House, film
from tests.unit.workers.test_left import frames

REEL = "A/R001"
# What takes dirt out: whatever differs much from the median around it is filled with that, wherever it lies.
CLEANER = """
import pathlib, sys
import numpy as np, OpenImageIO as oiio
from scipy import ndimage
for path in sorted(pathlib.Path(sys.argv[1]).glob("*.dpx")):
    picture = oiio.ImageBuf(str(path))
    pixels = picture.get_pixels(oiio.FLOAT)
    around = ndimage.median_filter(pixels[:, :, 0], 25)
    dirt = np.abs(ndimage.gaussian_filter(pixels[:, :, 0], 1) - around) > 0.08
    filled = np.where(ndimage.binary_dilation(dirt, iterations=2), around, pixels[:, :, 0])
    out = oiio.ImageBuf(picture.spec())
    out.set_pixels(oiio.ROI(), np.repeat(filled[:, :, None], 3, axis=2).astype(np.float32))
    assert out.write(str(pathlib.Path(sys.argv[2]) / path.name)), out.geterror()
"""


@pytest.fixture
def broker() -> Iterator[Redis]:
    try:
        broker = Redis("valkey")
    except ServerMissingError as error:
        missing(str(error))
    yield broker
    broker.stop()


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A scan in whose gate a hair was, which is left as it is; Tokyo's machine is to clean the scan."""
    clean = {"name": "clean", "after": ["scan"], "command": [sys.executable, "-c", CLEANER, "{input}", "{output}"]}
    sites = {COORDINATOR: [], "halifax": ["scan"], "tokyo": ["clean"]}
    house, drawn = House(tmp_path, film([{"name": "scan"}, clean], sites)), case(7, is_cleaned=False, frames=3)
    with house.turn("halifax") as turn:
        turn.look()
        work.claim(turn.desk.ledger, turn.desk.pen, f"scan/{REEL}")
        scan = frames(tmp_path / "scan", drawn.before)
        send(turn.desk, Sending(scan, REEL, may_grow=True, job=f"scan/{REEL}/1"))
    x, y, width, height = drawn.box
    region = Region(version=f"{REEL}/v1", x=x, y=y, width=width, height=height)
    place = Place(about=REEL, frames=(FrameRange(first=0, last=2),))
    word = DecisionMade(place=place, verdict="left as it is", because="a hair in the camera gate", region=region)
    with house.desk(COORDINATOR) as desk:
        decide(desk.ledger, desk.pen, word)
    return house


def working(house: House, broker: Redis, site: str) -> Process:
    words = ("--folder", house.root / site, "--every", "3600", "--settle", "-1", "--broker", broker.address)
    command = [Path(sys.executable).with_name("relay"), "--home", house.home(site).folder, "site", "run", *words]
    return Process(command, house.root / site / "worker.log")


@pytest.mark.soak  # three processes and a broker: 19 s of processor time
def test_an_automatic_cleaning_that_took_what_belongs_to_the_film_is_put_before_a_person(house: House, broker: Redis):
    """Looks are an hour apart: the coordinator's worker compares because Tokyo's, when it handed in, rang it."""
    asked = working(house, broker, COORDINATOR)
    cleaner = asked
    try:
        eventually(lambda: f"{COORDINATOR} is rung" in rung(house, broker, asked), asked.last_words)
        cleaner = working(house, broker, "tokyo")
        eventually(lambda: house.state().comparisons, lambda: asked.last_words() + cleaner.last_words())
        for each in (cleaner, asked):
            assert stopped_with(each, signal.SIGTERM) == 0
    finally:
        for each in (cleaner, asked):
            each.kill9()
    state = house.state()
    (job,) = (each for each in state.jobs.values() if each.stage == "clean")
    assert (job.standing, job.outcome) == (Standing.HANDED_IN, f"{REEL}/v2")
    (found,) = state.comparisons
    assert (found.by, found.version, found.compared, found.flagged) == (
        COORDINATOR,
        f"{REEL}/v2",
        3,
        (FrameRange(first=0, last=2),),
    )
    listed = json.loads(relay(house, COORDINATOR, "left", "list", "--json").out)
    assert [each["version"] for each in listed["to_judge"]] == [f"{REEL}/v2"]
    crops, entry = house.root / "crops.png", str(found.decision)
    assert relay(house, COORDINATOR, "left", "crops", entry, f"{REEL}/v2", crops).code == 0
    before, after = halves(crops)
    assert np.abs(before - after).max() > 60  # of 255: what was in the gate is on the left, and not on the right
    said = relay(house, COORDINATOR, "left", "judge", entry, f"{REEL}/v2", "gone", "--because", "the hair is not there")
    assert said.code == 0
    assert "lost it" in relay(house, COORDINATOR, "left", "list").out


def rung(house: House, broker: Redis, worker: Process) -> str:
    find_doorbell(house.film.name, broker.address).ring([COORDINATOR], [], f"scan/{REEL}/1")
    return worker._log.read_text()


def halves(crops: Path) -> tuple[np.ndarray, np.ndarray]:
    """Return the first row's crop before and the one after: 300 pixels each, 10 apart and from the edge."""
    with Image.open(crops) as sheet:
        grey = np.asarray(sheet.convert("L"), float)[50:300]
    return grey[:, 20:300], grey[:, 330:610]
