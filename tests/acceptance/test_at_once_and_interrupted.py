"""Two commands at once in one home, and Control-C in the middle: nothing is said twice, nothing is lost."""

import signal
import subprocess
import time
from pathlib import Path

from tests.acceptance.command import RELAY, environment
from tests.acceptance.house import House, contents

STOPPED = "relay: stopped. Nothing is half-done under its final name; run the same command again to go on.\n"


def _hears_control_c() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def started(house: House, site: str, *words: str | Path, **settings: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [RELAY, "--home", house.place / site, *words],
        cwd=house.place,
        env=environment(**settings),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # A suite that was started in the background ignores Control-C, and its children would, too.
        preexec_fn=_hears_control_c,  # noqa: PLW1509  one signal, and no lock is touched
    )


def test_two_sends_of_one_folder_in_one_home_make_one_version(house: House):
    scan = house.scan("scan", count=60)
    both = [started(house, "halifax", "send", scan, "A/R01", "--at-once", "--json") for _ in range(2)]
    ends = [(each.communicate(), each.returncode) for each in both]

    assert [code for _, code in ends] == [0, 0], ends
    assert house.entries == 6
    assert len(house.told("tokyo", "reel", "show", "A/R01")["versions"]) == 1  # type: ignore[arg-type]
    assert house.told("halifax", "ledger", "check", "--bucket")["entries"] == 6


def test_two_fetches_of_one_version_to_one_place_end_whole(house: House):
    scan = house.scan("scan", count=60)
    house.send("halifax", scan)
    both = [started(house, "tokyo", "fetch", "A/R01", "arrived") for _ in range(2)]
    ends = [(each.communicate(), each.returncode) for each in both]

    assert {code for _, code in ends} <= {0, 75}, ends
    assert 0 in {code for _, code in ends}
    assert contents(house.place / "arrived") == contents(scan)
    assert house.entries == 7, "one receipt"
    assert house.told("tokyo", "fetch", "A/R01", "arrived")["whole"] is True


def test_control_c_in_the_middle_of_a_send_and_then_the_same_command_again(house: House):
    scan = house.scan("scan", count=600)
    command = started(house, "halifax", "send", scan, "A/R01", "--at-once", RELAY_HANDS="1")
    while not list((house.place / "store" / "by-digest").glob("*/*")):
        assert command.poll() is None, command.communicate()
        time.sleep(0.01)
    command.send_signal(signal.SIGINT)
    out, err = command.communicate(timeout=60)

    assert (command.returncode, out, err) == (130, "", STOPPED)
    assert house.entries == 5, "nothing was said"
    there = len(contents(house.place / "store" / "by-digest"))
    sent = house.send("halifax", scan)
    assert sent["new"] is True
    assert sent["sent_objects"] == 601 - there, "what was there was not sent again"


def test_control_c_in_the_middle_of_a_fetch_and_then_the_same_command_again(house: House):
    scan = house.scan("scan", count=600)
    house.send("halifax", scan)
    command = started(house, "tokyo", "fetch", "A/R01", "arrived", RELAY_HANDS="1")
    while not list(house.place.glob(".*incoming-arrived/*")):
        assert command.poll() is None, command.communicate()
        time.sleep(0.01)
    command.send_signal(signal.SIGINT)
    out, err = command.communicate(timeout=60)

    assert (command.returncode, out, err) == (130, "", STOPPED)
    assert not (house.place / "arrived").exists()
    assert house.entries == 6, "no receipt"
    assert house.told("tokyo", "fetch", "A/R01", "arrived")["whole"] is True
    assert contents(house.place / "arrived") == contents(scan)
    assert not list(house.place.glob(".*incoming*"))
