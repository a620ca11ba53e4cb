"""Who is rung about what was said; and that ringing fails nothing and holds nobody up."""

import socket
import subprocess
import sys
import threading
import time

import pytest

from relay import doorbell
from relay.doorbell import RING_PATIENCE, Calls, Hurried, Ringer, Silent, calls_of, find_doorbell
from relay.ledger import work
from relay.ledger.job_words import HandOnOffered
from relay.transfer.handover import Sending, send
from tests.unit.workers.house import CHECK, COORDINATOR, SCAN, House, fill, film, reel_of_frames
from workers.automatic import _claim
from workers.ringing import Background
from workers.turn import Lane


class Bell:
    """Remembers who was rung."""

    def __init__(self) -> None:
        self.rung: list[tuple[set[str], set[str], str]] = []

    def ring(self, sites, stages, about: str) -> None:
        self.rung.append((set(sites), set(stages), about))


PEOPLE = [
    {"name": "scan", "may_move": True},
    {"name": "grade", "after": ["scan"], "next_opens_on": "acceptance"},
    {"name": "conform", "after": ["grade"]},
]
ROOMS = {COORDINATOR: [], "lisbon": ["scan"], "halifax": ["scan"], "kolkata": ["grade", "conform"]}


@pytest.fixture
def house(tmp_path):
    return House(tmp_path, film(PEOPLE, ROOMS))


def rung_by(house: House, site: str, say) -> list[tuple[set[str], set[str], str]]:
    bell = Bell()
    with house.desk(site) as desk:
        desk.ledger.follow()
        ringer = Ringer(bell, desk.ledger, site)
        say(desk)
        ringer.ring()
        ringer.ring()  # nothing new: nobody is rung twice
    return bell.rung


def test_each_word_about_a_job_rings_whoever_has_the_next_move(house):
    scan = "scan/A/R001/1"
    opened = rung_by(house, COORDINATOR, lambda desk: work.open_due(desk.ledger, desk.pen))
    assert opened == [({"lisbon"}, set(), scan)], "an open job of people: who is asked first"
    claimed = rung_by(house, "lisbon", lambda desk: work.claim(desk.ledger, desk.pen, scan))
    assert claimed == [({"lisbon"}, set(), scan)], "whoever claimed: its worker fetches what the job takes"
    draft = HandOnOffered(job=scan, epoch=1, to="halifax", done="half", left="half")
    offered = rung_by(house, "lisbon", lambda desk: work.offer(desk.ledger, desk.pen, scan, draft))
    assert offered == [({"lisbon", "halifax"}, set(), scan)]
    taken = rung_by(house, "halifax", lambda desk: work.take(desk.ledger, desk.pen, scan))
    assert taken == [({"halifax"}, set(), scan)]
    folder = fill(house.root / "reel", reel_of_frames())
    handed = rung_by(house, "halifax", lambda desk: send(desk, Sending(folder, "A/R001", job=scan, may_grow=True)))
    assert handed == [({"kolkata"}, set(), "A/R001/v1")], "the site that receives the outcome"
    with house.turn("kolkata") as turn:
        turn.run(Lane.RECEIVE)
    accepted = rung_by(house, COORDINATOR, lambda desk: work.accept(desk.ledger, desk.pen, scan))
    assert accepted == [(set(), {"grade"}, scan)], "somebody who can open what follows"
    returned = rung_by(house, COORDINATOR, lambda desk: work.give_back(desk.ledger, desk.pen, scan, "frame 3 is torn"))
    assert returned == [({"halifax"}, set(), scan)], "its last holder first"
    withdrawn = rung_by(house, COORDINATOR, lambda desk: work.withdraw(desk.ledger, desk.pen, scan, "not needed"))
    assert withdrawn == [(set(), {"grade"}, scan)]


def test_a_refusal_rings_who_may_mend_and_a_mending_rings_who_refused(house):
    from relay.model import digest_of
    from relay.store.keys import object_key

    folder = fill(house.root / "reel", reel_of_frames())
    with house.desk("lisbon") as desk:
        send(desk, Sending(folder, "A/R001", may_grow=True))
    body = reel_of_frames()["frame.0086400.dpx"]
    stored = house.root / "store" / object_key(digest_of(body))
    stored.chmod(0o644)
    stored.write_bytes(b"rotten")
    from relay.transfer.handover import receive
    from relay.transfer.mending import mend_version

    refused = rung_by(house, "kolkata", lambda desk: receive(desk, "A/R001/v1", house.root / "arrived"))
    assert refused == [({COORDINATOR, "lisbon", "halifax", "kolkata"}, set(), "A/R001/v1")]
    mended = rung_by(house, "lisbon", lambda desk: mend_version(desk, "A/R001/v1", folder))
    assert mended == [({"kolkata"}, set(), "A/R001/v1")]


def test_an_open_automatic_job_rings_one_site_that_can_do_it_by_the_stages_queue(tmp_path):
    house = House(tmp_path, film([SCAN, CHECK], {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["check"]}))
    opened = rung_by(house, COORDINATOR, lambda desk: work.open_due(desk.ledger, desk.pen))
    assert opened == [(set(), {"scan"}, "scan/A/R001/1")]
    claimed = rung_by(house, "lisbon", lambda desk: _claim(desk, "scan/A/R001/1"))
    assert claimed == [({"lisbon"}, set(), "scan/A/R001/1")]


def test_only_what_the_site_itself_said_is_rung_about(house):
    bell = Bell()
    with house.desk("lisbon") as desk:
        desk.ledger.follow()
        ringer = Ringer(bell, desk.ledger, "lisbon")
        with house.desk(COORDINATOR) as other:
            work.open_due(other.ledger, other.pen)
        desk.ledger.follow()
        ringer.ring()
    assert bell.rung == []


def test_a_job_that_is_gone_rings_nobody(house):
    class Word:
        job = "scan/Z/R9/1"

    calls = calls_of(house.state(), [Word()])
    assert calls == Calls()


def test_without_a_broker_or_a_carrier_the_bell_is_silent(monkeypatch):
    assert isinstance(find_doorbell("tide", None), Silent)
    monkeypatch.setattr(doorbell, "GROUP", "relay.no-such-group")
    silent = find_doorbell("tide", "redis://127.0.0.1:1")
    assert isinstance(silent, Silent)
    silent.ring(["lisbon"], [], "A/R001/v1")


def test_a_carrier_whose_libraries_are_not_installed_is_silent():
    def load():
        raise ImportError("celery")

    assert isinstance(doorbell._opened(load, "tide", "redis://127.0.0.1:1"), Silent)


def test_ringing_lets_go_of_a_broker_that_never_answers():
    """The bound is the promise; that it is kept is asserted, the time it took otherwise is not."""
    rung, released = threading.Event(), threading.Event()

    class Deaf:
        def ring(self, *_told: object) -> None:
            rung.set()
            released.wait(600)

    began = time.monotonic()
    Hurried(Deaf).ring(["lisbon"], [], "")
    assert rung.is_set()
    assert not released.is_set()
    assert time.monotonic() - began >= RING_PATIENCE
    released.set()


@pytest.mark.parametrize("address", ["redis://127.0.0.1:1/0", "redis+socket:///nowhere/socket", "redis://x.invalid/0"])
def test_ringing_a_broker_that_is_not_there_says_so_once_and_raises_nothing(address, caplog):
    from workers.ringing import CeleryDoorbell

    bell = CeleryDoorbell("tide", address)
    for _ in range(3):
        bell.ring(["lisbon"], ["scan"], "scan/A/R001/1")
    assert len([each for each in caplog.records if "takes no messages" in each.message]) == 1


def test_ringing_a_broker_that_takes_the_line_and_says_nothing_ends(caplog):
    from workers.ringing import CeleryDoorbell

    with socket.create_server(("127.0.0.1", 0), backlog=50) as deaf:
        CeleryDoorbell("tide", f"redis://127.0.0.1:{deaf.getsockname()[1]}/0").ring(["lisbon"], [], "")
    assert "the sweep serves" in caplog.text


def test_what_piles_up_behind_a_slow_bell_is_rung_at_once():
    release, rung, done = threading.Event(), [], threading.Event()

    class Slow:
        def ring(self, sites, stages, about: str) -> None:
            release.wait(60)
            rung.append((set(sites), set(stages), about))
            if "c" in sites:
                done.set()

    bell = Background(Slow())
    for site in ("a", "b", "c"):
        bell.ring([site], ["scan"], f"about {site}")
    release.set()
    assert done.wait(60)
    assert sum(len(sites) for sites, _, _ in rung) == 3
    assert len(rung) <= 2


def test_the_core_reads_the_truth_without_celery_or_redis():
    """import-linter holds it in the source; this holds it at run time."""
    text = (
        "import sys\nimport relay.cli.main, relay.doorbell, relay.wiring\n"
        "print([m for m in sys.modules if m.split('.')[0] in {'celery', 'kombu', 'redis', 'workers'}])"
    )
    out = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True).stdout
    assert out == "[]\n"
