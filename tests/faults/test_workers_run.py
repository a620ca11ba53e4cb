"""A site's worker as a process: started, stopped, killed, started twice, with a broker of its own or with none."""

import json
import os
import random
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from relay.errors import RefusedError
from relay.ledger import work
from relay.ledger.job_state import Standing
from relay.settings import Home
from tests.acceptance.command import Answer, answer_of, environment
from tests.faults.test_workers_ear import check_gone
from tests.faults.workers_crew import Crew
from tests.servers.process import Process
from tests.unit.workers.house import CHECK, COORDINATOR, SCAN, House, fill, film, program, reel_of_frames
from workers.broker import answers, embedded_broker

RELAY = Path(sys.executable).with_name("relay")
PATIENCE = 600
PEOPLE = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
ROOMS = {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["grade"]}


def eventually(what, told=lambda: "it never came to that") -> None:
    give_up = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < give_up, told()
        time.sleep(0.1)


def relay(house: House, site: str, *words: str | Path) -> Answer:
    done = subprocess.run(
        [RELAY, "--home", house.home(site).folder, *words], env=environment(), capture_output=True, check=False
    )
    return answer_of(done)


def run_in_background(house: House, site: str, *words: str | Path) -> Process:
    home = house.home(site).folder
    return Process([RELAY, "--home", home, "site", "run", *words], house.root / site / "worker.log")


def stopped_with(process: Process, number: int) -> int:
    os.kill(process.pid, number)
    return process._child.wait(120)


def test_a_sweep_takes_one_turn_of_every_lane_and_ends(tmp_path):
    house = House(tmp_path, film([SCAN, CHECK], {COORDINATOR: [], "lisbon": ["scan", "check"]}))
    swept = relay(house, "lisbon", "sweep", "--folder", house.root / "lisbon", "--settle", "0", "--json")
    assert swept.code == 0, swept.err
    lanes = ("look", "receive", "inspect", "mend", "send", "do", "plan", "align", "fixity", "tell")
    assert json.loads(swept.out)["did"] == {**dict.fromkeys(lanes, 0), "look": 1, "do": 1}
    assert "lisbon did scan/A/R001/1" in swept.err
    relay(house, COORDINATOR, "sweep", "--folder", house.root / COORDINATOR)
    words = relay(house, COORDINATOR, "sweep", "--folder", house.root / COORDINATOR).out
    assert words.startswith(("Done: ", "Nothing was owed."))


def test_a_sweep_leaves_to_a_running_worker_what_that_is_doing(tmp_path):
    from workers.locks import held

    house = House(tmp_path, film(PEOPLE, ROOMS))
    with held(house.home("lisbon").locks / "receive"):
        swept = relay(house, "lisbon", "sweep", "--folder", house.root / "lisbon")
    assert swept.code == 0
    assert "Left to the worker that is running: receive." in swept.out


def test_a_sweep_whose_store_is_away_says_so_and_ends(tmp_path):
    house = House(tmp_path, film(PEOPLE, ROOMS))
    (tmp_path / "store").rename(tmp_path / "away")
    swept = relay(house, "lisbon", "sweep", "--folder", house.root / "lisbon")
    assert (swept.code, swept.out) == (3, "")
    assert "There is no folder" in swept.err


def test_a_lane_that_cannot_go_keeps_the_other_lanes_of_a_sweep_not_waiting(tmp_path):
    house = House(tmp_path, film([SCAN], {COORDINATOR: [], "lisbon": ["scan"]}))
    (house.home("lisbon").folder / "hooks.toml").write_text("webhook = 3")
    fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    swept = relay(house, "lisbon", "sweep", "--folder", house.root / "lisbon", "--settle", "-1")
    assert swept.code == 0
    assert "hooks.toml cannot be read" in swept.err
    assert list(house.state().versions) == ["A/R001/v1", "A/R001/v2"]


def test_a_home_that_is_no_site_is_refused_in_a_sentence(tmp_path):
    done = subprocess.run(
        [RELAY, "--home", tmp_path, "site", "run", "--folder", tmp_path],
        env=environment(),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 3
    assert b"there is no site at" in done.stderr
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_worker_does_its_sites_work_and_stops_cleanly_when_asked(tmp_path, number):
    house = House(tmp_path, film(PEOPLE, ROOMS))
    with house.turn("lisbon") as turn:
        turn.look()
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
    worker = run_in_background(house, "lisbon", "--folder", house.root / "lisbon", "--every", "1", "--settle", "0.2")
    try:
        fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
        eventually(lambda: house.state().jobs["scan/A/R001/1"].standing is Standing.HANDED_IN, worker.last_words)
        second = relay(house, "lisbon", "site", "run", "--folder", house.root / "lisbon")
        assert second.code == 2
        assert "is running on this machine already" in second.err
        group = worker.pid
        assert stopped_with(worker, number) == 0
    finally:
        worker.kill9()
    check_gone(group)
    log = worker.last_words()
    assert "lisbon sent A/R001/v1 for job scan/A/R001/1" in log
    assert "lisbon has stopped" in log
    assert "Traceback" not in log


def test_a_stop_in_the_middle_of_a_job_ends_its_program_and_the_next_start_does_the_job(tmp_path):
    mark = tmp_path / "go"
    slow = (
        "import os, pathlib, sys, time\n"
        f"mark = pathlib.Path({str(mark)!r})\n"
        "pathlib.Path(sys.argv[1], 'half.dpx').write_bytes(b'half')\n"
        "pathlib.Path(str(mark) + '.pid').write_text(str(os.getpid()))\n"
        "while not mark.exists(): time.sleep(0.05)\n"
        "pathlib.Path(sys.argv[1], 'half.dpx').write_bytes(b'whole')\n"
    )
    house = House(
        tmp_path, film([{"name": "scan", "command": program(slow, "{output}")}], {COORDINATOR: [], "lisbon": ["scan"]})
    )
    crew = Crew(house, ["lisbon"], every=1)
    crew.start_all()
    try:
        eventually(lambda: mark.with_name("go.pid").exists(), crew.last_words)
        pid = int(mark.with_name("go.pid").read_text())
        assert crew.terminate("lisbon") == 0
        eventually(lambda: not Path(f"/proc/{pid}").exists())
        job = house.state().jobs["scan/A/R001/1"]
        assert (job.standing, job.failures) == (Standing.CLAIMED, 0)
        mark.touch()
        crew.start("lisbon")
        eventually(lambda: house.state().jobs["scan/A/R001/1"].standing is Standing.HANDED_IN, crew.last_words)
    finally:
        crew.stop()
    assert len(house.state().jobs["scan/A/R001/1"].past) == 1
    assert (house.places("lisbon").sent / "A_R001_v1" / "half.dpx").read_bytes() == b"whole"


@pytest.mark.parametrize("times", [3, pytest.param(40, marks=pytest.mark.soak)])
def test_a_worker_that_is_killed_while_it_sends_a_reel_sends_it_once(tmp_path, times):
    dice = random.Random(7)
    house = House(tmp_path, film([{"name": "scan"}], {COORDINATOR: [], "lisbon": ["scan"]}))
    with house.turn("lisbon") as turn:
        turn.look()
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
    frames = {f"frame.{86400 + number:07d}.dpx": dice.randbytes(100_000) for number in range(60)}
    fill(house.places("lisbon").to_send / "A_R001", frames)
    (house.places("lisbon").to_send / "A_R001.finished").touch()
    crew = Crew(house, ["lisbon"], every=1)
    try:
        for _ in range(times):
            crew.start("lisbon")
            time.sleep(dice.uniform(0.4, 1.6))
            crew.kill9("lisbon")
        swept = crew.sweeps()["lisbon"]
        crew.start("lisbon")
        eventually(lambda: crew.sweeps()["lisbon"] > swept, crew.last_words)
        eventually(lambda: house.state().jobs["scan/A/R001/1"].standing is Standing.HANDED_IN, crew.last_words)
        eventually(lambda: not list(house.places("lisbon").to_send.iterdir()), crew.last_words)
        assert crew.terminate("lisbon") == 0
    finally:
        crew.stop()
    assert list(house.state().versions) == ["A/R001/v1"]
    sent = house.places("lisbon").sent / "A_R001_v1"
    assert {path.name: path.read_bytes() for path in sent.iterdir()} == frames


def test_a_site_with_a_broker_of_its_own_is_rung_by_its_own_commands(tmp_path):
    """Sweeps are an hour apart here: what happens at once happens because somebody rang."""
    house = House(tmp_path, film(PEOPLE, ROOMS))
    with house.turn("lisbon") as turn:
        turn.look()
    worker = run_in_background(
        house, "lisbon", "--folder", house.root / "lisbon", "--every", "3600", "--settle", "-1", "--embedded"
    )
    home = house.home("lisbon")
    try:
        eventually(lambda: home.broker is not None, worker.last_words)
        eventually(lambda: "is rung" in rung(house, home, worker), worker.last_words)
        fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
        eventually(lambda: house.state().versions or not rung(house, home, worker), worker.last_words)
        assert stopped_with(worker, signal.SIGTERM) == 0
    finally:
        worker.kill9()
    assert list(house.state().versions) == ["A/R001/v1"]
    assert not answers(home.broker_socket), "the broker ended with the worker"


def rung(house: House, home: Home, worker: Process) -> str:
    """Ring as a command does, with what the home says; return what the worker said so far."""
    from relay.doorbell import find_doorbell

    find_doorbell(house.film.name, home.broker).ring(["lisbon"], [], "scan/A/R001/1")
    return worker._log.read_text()


def home_in(place: Path) -> Home:
    place.mkdir(parents=True, exist_ok=True)
    return Home(folder=place)


@pytest.fixture
def short():
    """A place whose path is short enough for the address of a socket."""
    import shutil
    import tempfile

    place = Path(tempfile.mkdtemp(prefix="relay-", dir="/tmp"))
    yield place
    shutil.rmtree(place, ignore_errors=True)


def test_the_embedded_broker_is_reached_by_its_own_user_only_and_by_no_port(short):
    with embedded_broker(home_in(short / "a home")) as address:
        path = short / "a home" / "broker" / "socket"
        assert address == f"redis+socket://{str(path).replace(' ', '%20')}"
        assert path.stat().st_mode & 0o077 == 0
        assert path.parent.stat().st_mode & 0o077 == 0
        from workers.ringing import CeleryDoorbell

        assert CeleryDoorbell("tide", address).send(kind("wake"), ["relay.tide.site.lisbon"])
        assert home_in(short / "a home").broker == address
        assert told(path, "CONFIG GET port").split() == [b"*2", b"$4", b"port", b"$1", b"0"]
    assert not answers(path)


def kind(name: str):
    from workers.message import Kind

    return Kind(name)


def told(path: Path, words: str) -> bytes:
    with socket.socket(socket.AF_UNIX) as line:
        line.settimeout(30)
        line.connect(str(path))
        line.sendall(f"{words}\r\n".encode())
        return line.recv(4096)


def test_what_waits_in_the_embedded_broker_outlasts_a_kill(short):
    home = home_in(short)
    with embedded_broker(home):
        path = home.broker_socket
        assert told(path, "RPUSH relay.tide.site.lisbon one two") == b":2\r\n"
        time.sleep(1.5)  # the log is synced every second
        pid = int(told(path, "INFO server").split(b"process_id:")[1].split()[0])
        os.kill(pid, signal.SIGKILL)
        eventually(lambda: not answers(path))
    with embedded_broker(home):
        assert told(path, "LLEN relay.tide.site.lisbon") == b":2\r\n"


def test_an_embedded_broker_whose_log_is_damaged_starts_empty(short):
    home = home_in(short)
    with embedded_broker(home):
        told(home.broker_socket, "RPUSH relay.tide.site.lisbon one")
        time.sleep(1.5)
    for part in (short / "broker" / "appendonlydir").iterdir():
        part.write_bytes(b"not a log at all\n" * 50)
    with embedded_broker(home):
        assert told(home.broker_socket, "LLEN relay.tide.site.lisbon") == b":0\r\n"


def test_a_broker_that_answers_already_is_used_and_left_running(short):
    home = home_in(short)
    with embedded_broker(home) as first:
        with embedded_broker(home) as second:
            assert first == second
        assert answers(home.broker_socket)


def test_a_home_whose_path_is_too_long_for_a_socket_is_told_so(tmp_path):
    with (
        pytest.raises(RefusedError, match="too long for the address of a socket"),
        embedded_broker(home_in(tmp_path / ("x" * 120))),
    ):
        pass
