"""The demo's programme: three scenes of reel 1 set to their music, put together by a list, and held against it."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from pathlib import Path

from deploy.demo.film import START
from deploy.demo.house import House, UnexpectedError, tell
from deploy.demo.pictures import graded, read_dpx, write_like
from deploy.demo.records import GRADING_DESK, write_record
from deploy.demo.reels import FRAMES_PER_SECOND, Shot, frames_lost, shots
from deploy.demo.sound import write_cue
from relay.model import ReelName
from relay.programme.cutlist import CutList, Event, Shown
from relay.programme.own_form import own_form
from relay.programme.running import Scene, lay_out

RATE = Fraction(24)
GUESSED = {"the ferry": 18}
"""Frames a second that the editor first thought of, where it was not what the musicians played to."""
LATE = 3
"""Frames by which a shot slips when it is first put together."""


@dataclass(frozen=True)
class Desk:
    """What lies on the editor's desk in Lisbon."""

    folder: Path
    frames: int
    """Of reel 1."""

    @property
    def plan(self) -> Path:
        return self.folder / "scenes.toml"

    @property
    def cue(self) -> Path:
        return self.folder / "cue.wav"

    @property
    def draft(self) -> Path:
        """The first list, by somebody who took all of it from print A."""
        return self.folder / "draft.toml"

    @property
    def recut(self) -> Path:
        return self.folder / "recut.toml"

    @property
    def cut_list(self) -> Path:
        return self.folder / "reel-1.toml"

    def scenes(self) -> dict[str, Shot]:
        cut = shots(1, self.frames)
        return {"the lamp": cut[2], "the ferry": cut[3], "the train": cut[5]}


def write_plan(desk: Desk, speeds: dict[str, str]) -> None:
    """Write down the scenes and where the music of each ends."""
    lines, played = ['sound = "cue.wav"\n'], 0
    for name, shot in desk.scenes().items():
        played += shot.length
        until = Fraction(played, FRAMES_PER_SECOND)
        lines.append(
            f'\n[[scene]]\nname = "{name}"\nreel = "A/R01"\nfirst = {shot.first}\n'
            f"last = {shot.first + shot.length - 1}\n"
            f'speed = "{speeds.get(name, FRAMES_PER_SECOND)}"\nuntil = "{float(until)}"\n'
        )
    desk.plan.write_text("".join(lines), encoding="utf-8")


def taken(desk: Desk, prints: str = "AB") -> Iterator[tuple[str, int, int]]:
    """Yield the runs that the scenes are made of: the print, its first frame, how many.

    The last of `prints` is taken where print A lost frames.
    """
    lost = set(frames_lost("A", 1, desk.frames))
    for shot in desk.scenes().values():
        frames = range(shot.first, shot.first + shot.length)
        for is_lost, run in groupby(frames, key=lost.__contains__):
            held = list(run)
            yield prints[-1 if is_lost else 0], held[0], len(held)


def listed(desk: Desk, prints: str = "AB") -> CutList:
    """Return the programme as a cut list: each run at the speed that its scene was fitted to."""
    runs = list(taken(desk, prints))
    laid = lay_out([Scene(name, count, Fraction(FRAMES_PER_SECOND)) for name, _, count in runs], RATE)
    return CutList(
        RATE,
        tuple(
            Event(ReelName(f"{name}/R01"), first, each.length, each.scene.speed)
            for (name, first, _), each in zip(runs, laid, strict=True)
        ),
    )


def fit(house: House, frames: int) -> None:
    """Set three scenes to their music: one does not fit, and is told at which speeds it would."""
    desk = Desk(house / "lisbon" / "desk", frames)
    desk.folder.mkdir(parents=True, exist_ok=True)
    write_cue(desk.cue, sum(shot.length for shot in desk.scenes().values()))
    write_plan(desk, {name: str(speed) for name, speed in GUESSED.items()})
    tell("Three scenes are set to the piano's cue. The editor thought the ferry runs at 18: it does not fit.")
    house.relay("lisbon", "fit-sound", desk.plan, "--svg", desk.folder / "parts.svg", ends=2)
    answer = json.loads(house.run("lisbon", "fit-sound", desk.plan, "--json")[1].partition("\nrelay:")[0])
    fitting = {each["scenes"][0]: each["speeds"][0] for each in answer["stretches"] if Fraction(each["off"])}
    tell(f"At {', '.join(fitting.values())} it fits, so that goes into the plan.")
    write_plan(desk, fitting)
    house.relay("lisbon", "fit-sound", desk.plan)


def cut(house: House, frames: int) -> None:
    """Check the editor's list: one names frames that print A lost, the next does not; and tell what it needs."""
    desk = Desk(house / "lisbon" / "desk", frames)
    desk.draft.write_text(own_form(listed(desk, "A")), encoding="utf-8")
    desk.cut_list.write_text(own_form(listed(desk)), encoding="utf-8")
    tell("The editor's first list takes all of it from print A, which lost some frames there: the check names them.")
    house.relay("lisbon", "cut", "check", desk.draft, ends=2)
    tell("The second takes those from print B. What it needs from each reel is the pull list.")
    house.relay("lisbon", "cut", "check", desk.cut_list)
    house.relay("lisbon", "cut", "pull", desk.cut_list, "--handles", "2")


def cut_again(house: House, frames: int) -> None:
    """Let a shot stand ahead of the last one, which begins later: only what differs is told."""
    desk = Desk(house / "lisbon" / "desk", frames)
    whole, letter = listed(desk), shots(1, frames)[6]
    ahead, last = whole.events[:-1], whole.events[-1]
    new = Event(ReelName("A/R01"), letter.first, 12, Fraction(FRAMES_PER_SECOND), title="the letter")
    later = replace(last, first=last.first + 2, length=last.length - 2)
    desk.recut.write_text(own_form(CutList(whole.rate, (*ahead, new, later))), encoding="utf-8")
    tell(
        "The editor shows the letter before the train ends. Only what differs is fetched, processed again, or dropped."
    )
    house.relay("lisbon", "cut", "differ", desk.cut_list, desk.recut, "--handles", "2")


def lay(house: House, made: Path, places: dict[int, Shown], late: int = 0) -> None:
    """Put places of the programme together in the folder `made`, their pictures `late` frames behind their headers."""
    for place, shown in places.items():
        name = shown.reel[0]
        scan = house / "kolkata" / "arrived" / f"{name}_R01" / f"quillmark_{name.lower()}_r01."
        header, planes = read_dpx(Path(f"{scan}{START + shown.frame:07d}.dpx"))
        if late:
            _, planes = read_dpx(Path(f"{scan}{START + shown.frame + late:07d}.dpx"))
        write_like(made / f"quillmark_q_r01.{START + place:07d}.dpx", header, graded(planes, name))


def put_together(house: House, frames: int) -> None:
    """Let Kolkata put the programme together by the list: a frame is left out, a shot slips, and both are named."""
    desk = Desk(house / "lisbon" / "desk", frames)
    made = house / "kolkata" / "graded" / "Q_R01"
    tell("Kolkata puts reel 1 together by the list, and grades it. One frame was left out: it is named.")
    house.relay("kolkata", "fetch", "B/R01", house / "kolkata" / "arrived" / "B_R01", quiet=True)
    made.mkdir(parents=True)
    places, ferry = dict(enumerate(listed(desk).shown())), desk.scenes()["the ferry"]
    of_ferry = {at: each for at, each in places.items() if 0 <= each.frame - ferry.first < ferry.length}
    lay(house, made, {at: each for at, each in places.items() if at not in of_ferry})
    lay(house, made, of_ferry, late=LATE)
    left_out = sorted(made.iterdir())[31]
    aside = left_out.rename(house / "kolkata" / left_out.name)
    house.relay("kolkata", "conform", made, desk.cut_list, "--no-pictures", ends=2)
    shutil.move(aside, left_out)
    tell("Now each number is right, but the ferry's pictures lie late under them. The pictures themselves tell.")
    said = house.relay("kolkata", "conform", made, desk.cut_list, ends=2)
    if "by picture" not in said:
        raise UnexpectedError("the shot that slipped must be named by its pictures")
    lay(house, made, of_ferry)
    tell("Laid again, it lies as the list says, by number and by picture, and goes over.")
    house.relay("kolkata", "conform", made, desk.cut_list)
    write_record(made, "graded to one tone, print by print, the tints kept", GRADING_DESK)
    made_from = [word for name in "AB" for word in ("--parent", f"{name}/R01/v1")]
    words = ("--start-mark", str(START), *made_from, "--note", "put together and graded")
    house.relay("kolkata", "send", made, "Q/R01", *words)
    tell("Lisbon receives it, and signs that it lies frame for frame as the list says.")
    house.relay("lisbon", "fetch", "Q/R01", house / "lisbon" / "arrived" / "Q_R01", quiet=True)
    house.relay("lisbon", "conform", "Q/R01/v1", desk.cut_list)
    tell("A movie of it to look at, with its sound, from the frames that there are.")
    house.relay("lisbon", "movie", desk.cut_list, desk.folder / "reel-1.mov", "--sound", desk.cue, "--lines", "360")
