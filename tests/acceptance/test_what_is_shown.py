"""What people see: strangers' words as text, frames after each send, progress on a terminal, and no long start."""

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

from tests.acceptance.command import RELAY, REPO, environment, installed
from tests.acceptance.house import House

HOSTILE = "splice [/x] at [bold]412[/bold] :smile: \x1b[2J\x1b]0;owned\x07 \u202egpj.exe"


def test_a_strangers_note_is_text_and_no_order_to_the_terminal(house: House):
    house.send("halifax", house.scan("scan"), "A/R01", "--note", HOSTILE)

    for words in (("reel", "show", "A/R01"), ("ledger", "show")):
        said = house("tokyo", *words).out
        assert "splice [/x] at [bold]412[/bold] :smile: \\x1b[2J" in said
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", said)
    assert house.told("tokyo", "reel", "show", "A/R01")["versions"][0]["note"] == HOSTILE  # type: ignore[index]


def test_a_strangers_folder_is_text_in_a_services_log_and_no_order_to_the_terminal(house: House):
    stranger = house.place / "reels" / "to-send" / f"x_{HOSTILE.replace('/', '')}"
    stranger.mkdir(parents=True)
    (stranger / "a.0000001.dpx").write_bytes(b"frame")
    (stranger.parent / f"{stranger.name}.finished").touch()

    said = house("halifax", "sweep", "--folder", "reels", "--settle", "0").err
    assert "\\x1b[2J" in said
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", said)


def test_what_is_being_done_is_text_on_a_terminal(tmp_path: Path):
    """A bar is drawn with orders of its own: what a stranger's folder is called stands among them, written out."""
    drawing = (
        "from relay.cli import progress\n"
        "progress.SHOWN_AFTER = 0\n"
        f"with progress.watching('looking at ' + {HOSTILE!r}, quiet=False) as watcher:\n"
        "    watcher.expect(2, 20)\n"
        "    watcher.moved(10)\n"
        f"    watcher.resting(1, {HOSTILE!r})\n"
    )
    primary, secondary = pty.openpty()
    subprocess.run(
        [sys.executable, "-c", drawing], cwd=REPO, stderr=secondary, check=True, env=environment(COLUMNS="400")
    )
    os.close(secondary)
    drawn = os.read(primary, 65536).decode()
    os.close(primary)
    assert drawn.count("[bold]412[/bold] :smile: \\x1b[2J") >= 2
    assert "\x1b[2J" not in drawn
    assert "\u202e" not in drawn


def test_a_send_says_which_frames_it_took_the_files_for(house: House):
    scan = house.scan("scan")
    (scan / "a_r01.0086404.dpx").unlink()

    said = house("halifax", "send", scan, "A/R01", "--start-mark", "86402", "--at-once").out
    # 35 mm with four perforations counts 16 frames to the foot: SMPTE's footage, as in tests/references.
    assert "11 frames: -2 to 1, 3-9 (-0+02 to 0+09)." in said


def test_a_wrong_start_mark_is_put_right_by_sending_again(house: House):
    scan = house.scan("scan")
    assert house.send("halifax", scan)["frames"] == [[0, 11]]
    assert house.send("halifax", scan)["new"] is False

    again = house.send("halifax", scan, "A/R01", "--start-mark", "86402")
    assert (again["version"], again["new"], again["frames"]) == ("A/R01/v2", True, [[-2, 9]])
    assert again["sent_objects"] == 0, "the files were there"
    assert house.send("halifax", scan)["new"] is False


def test_the_same_package_is_something_new_to_say_once_another_site_has_spoken(house: House):
    """What lay on top was tokyo's: whoever sends theirs again means that it shall be the newest. No byte goes twice."""
    scan = house.scan("scan")
    house.send("halifax", scan)
    house.send("tokyo", house.scan("graded", seed=2))

    again = house.send("halifax", scan)
    assert (again["version"], again["new"], again["sent_objects"]) == ("A/R01/v3", True, 0)
    history = house.told("tokyo", "reel", "show", "A/R01")["versions"]
    assert history[2]["parents"] == ["A/R01/v2"]  # type: ignore[index]
    assert history[2]["manifest"] == history[0]["manifest"]  # type: ignore[index]
    assert house.send("halifax", scan)["new"] is False


def test_a_note_that_comes_too_late_is_not_lost_in_silence(house: House):
    scan = house.scan("scan")
    house.send("halifax", scan, "A/R01", "--note", "dry scan")

    said = house("halifax", "send", scan, "A/R01", "--note", "wet gate", "--at-once").out
    assert "is this very package, sent before with entry 5: nothing new." in said
    assert "Its note stays: dry scan." in said


def test_two_runs_of_frames_are_sent_as_files_and_cannot_bear_a_start_mark(house: House):
    scan = house.scan("scan")
    for number in range(3):
        (scan / f"b_r01.{number:07d}.dpx").write_bytes(b"another run")

    assert "the package holds 2 runs of frames" in house.refused(
        "halifax", "send", scan, "A/R01", "--start-mark", "86400", "--at-once"
    )
    assert house.send("halifax", scan)["frames"] == []
    assert house("tokyo", "reel", "show", "A/R01").out.count("frames") == 1, "the can's"


def on_a_terminal(house: House, *words: str | Path) -> str:
    """Run the installed command with a terminal of its own, and return all that it drew there."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [RELAY, "--home", house.place / "tokyo", *words],
        cwd=house.place,
        env=environment(TERM="xterm", COLUMNS="120"),
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
    )
    os.close(theirs)
    drawn = b""
    try:
        while some := os.read(ours, 65536):
            drawn += some
    except OSError:
        pass  # so Linux says that the other end was closed
    os.close(ours)
    assert process.wait() == 0, drawn
    return drawn.decode()


def test_a_terminal_shows_that_a_fresh_folder_is_waited_for_and_how_far_the_transfer_is(house: House):
    for version in range(1, 21):  # on a busy machine a folder may not be fresh any more when the command has started
        drawn = on_a_terminal(house, "send", house.scan(f"scan{version}", seed=version).name, "A/R01")
        if "waiting" in drawn:
            break

    assert re.search(rf"waiting \d s: scan{version} changed just now; is it finished\?", drawn)
    assert "sending A/R01" in drawn
    assert "12 of 12 frames" in drawn
    assert f"A/R01/v{version}" in drawn


def test_where_nobody_looks_nothing_is_drawn(house: House):
    answer = house("halifax", "send", house.scan("scan"), "A/R01", "--at-once")

    assert answer.err == ""
    assert "\x1b" not in answer.out


def test_the_installed_command_is_the_one_that_is_tested(house: House):
    for words in (("--help",), ("reel", "--help"), ("--version",)):
        assert installed(*words, cwd=house.place) == house._forker.run(*words, cwd=house.place)
    assert installed("--home", "nobody", "reel", "list", cwd=house.place).code == 3


def test_asking_for_help_loads_nothing_that_help_does_not_need():
    """Seconds are for `make bench`; what makes them is asked here."""
    heavy = ("rich.console", "boto3", "botocore", "celery", "redis", "kombu", "numpy", "asyncio", "sqlalchemy")
    loaded = "import sys, relay.cli.commands as all; all.all_loaded(); "
    asked = f"{loaded}print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", asked], cwd=REPO, capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


def test_a_command_loads_no_other_commands(house: House):
    script = "import sys; sys.argv = ['relay', 'site', 'list']\nfrom relay.cli.main import main\ntry: main()\nfinally: "
    shown = "print([name for name in sys.modules if name.startswith(('relay.cli.', 'relay.programme.'))])"
    env = environment(PYTHONPATH=str(REPO), RELAY_HOME=str(house.place / "tokyo"))
    done = subprocess.run([sys.executable, "-c", script + shown], env=env, capture_output=True, text=True, check=True)
    assert "relay.cli.site" in done.stdout
    assert not any(f"relay.cli.{each}" in done.stdout for each in ("prints", "cuts", "reel", "planning"))
    assert "relay.programme" not in done.stdout


def test_a_command_whose_bell_still_rings_ends_without_taking_libraries_down_under_it(house: House):
    """A thread that was loading the bell's libraries then crashed the command after its work was done."""
    script = """if True:
        import atexit, sys, time
        from relay.cli.main import main
        from relay.doorbell import Hurried
        atexit.register(print, "taken down")
        Hurried(lambda: time.sleep(3600)).ring([], [], "")
        sys.argv = ["relay", "site", "list"]
        main()
    """
    env = environment(PYTHONPATH=str(REPO), RELAY_HOME=str(house.place / "tokyo"))
    done = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True)
    assert done.stdout == house("tokyo", "site", "list").out
    assert done.stderr == ""


def test_what_relay_did_not_foresee_is_kept_for_whoever_mends_it(house: House):
    """No trace on the screen; the words of a person; exit code 4."""
    fault = "import relay.wiring, relay.cli.reel\nrelay.cli.reel.open_desk = None\n"
    script = f"{fault}import sys; sys.argv = ['relay', 'reel', 'list']\nfrom relay.cli.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=house.place,
        env=environment(PYTHONPATH=str(REPO)),
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stdout) == (4, "")
    assert done.stderr.startswith("relay: something happened that Relay did not foresee; nothing was deleted.")
    assert "Traceback" not in done.stderr
    assert "TypeError" in (house.place / "relay-fault.txt").read_text()
