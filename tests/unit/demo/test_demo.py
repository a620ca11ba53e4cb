"""The demo's own machinery; the whole of it runs when asked to soak."""

import subprocess
import sys
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from deploy.demo.crew import Crew
from deploy.demo.house import HERE, MORNING, REPO, SITES, House, UnexpectedError
from deploy.demo.people import TASKS
from relay.clock import FastClock, Pace
from relay.ledger import route
from relay.model import Production
from relay.settings import CLOCK_VARIABLE


@pytest.fixture
def house(tmp_path: Path) -> House:
    for site in SITES:
        (tmp_path / site).mkdir()
    return House(tmp_path, datetime.now(UTC))


def test_a_worker_that_ends_by_itself_ends_the_demo_with_what_it_said_last(house):
    crew = Crew(house)
    crew.start("tokyo")  # which never joined
    crew._running["tokyo"].process.wait(60)
    with pytest.raises(UnexpectedError, match=r"(?s)worker in tokyo ended by itself.*there is no site at"):
        crew.check()
    crew.stop("tokyo")


def test_a_deep_folder_has_a_short_way_to_the_broker(tmp_path):
    deep = tmp_path / ("reels" * 20)
    (deep / "lisbon").mkdir(parents=True)
    crew = Crew(House(deep, datetime.now(UTC)))
    # unix(7): sun_path holds 108 bytes on Linux; sys/un.h on macOS 104.
    assert len(str(crew.socket)) < 104
    assert crew.socket.parents[2].samefile(deep / "lisbon")
    crew._links.close()


def test_every_process_of_the_demo_has_the_same_fast_clock(house):
    pace = Pace.parse(house.environment()[CLOCK_VARIABLE])
    assert FastClock(pace).now() >= MORNING
    assert pace.times == 24 * 60  # a day in a minute


def test_the_people_do_what_the_route_has_no_program_for():
    film = Production.model_validate(tomllib.loads((HERE / "production.toml").read_text("utf-8")))
    by_hand = [
        route.job_name(stage.name, reel)
        for stage in film.route
        if not stage.is_automatic
        for reel in route.reels_of(film, stage)
    ]
    assert [f"{task.job}/1" for task in TASKS] == by_hand
    for task in TASKS:
        assert task.job.partition("/")[0] in film.site(task.site).stages


@pytest.mark.soak
def test_the_whole_demo_ends_with_every_job_accepted_and_no_process_left(tmp_path):
    place = tmp_path / "demo"
    ran = subprocess.run(
        [sys.executable, HERE / "run.py", place], cwd=REPO, capture_output=True, text=True, timeout=1200, check=False
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "All 12 jobs are accepted." in ran.stdout
    assert "its worker is killed" in ran.stdout
    assert subprocess.run(["pgrep", "-f", str(place)], check=False, capture_output=True).returncode == 1
