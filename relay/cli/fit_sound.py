"""`relay fit-sound`: scenes at their speeds against a sound, and at which speeds they would fit."""

import re
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.cut import Held, RateText, ground_of, read_cut_list
from relay.cli.making import writing
from relay.errors import MissingError, RefusedError
from relay.film.rates import format_rate, format_running_time, parse_rate
from relay.media.soundlength import HEAD, SoundLength, parse_sound_length
from relay.programme.drawing import letters, svg
from relay.programme.fitting import FASTEST, SLOWEST, Mixture
from relay.programme.framemap import FrameMap, parse_map
from relay.programme.parting import Parting, Stretch, parting
from relay.programme.reading import text_of
from relay.programme.running import Laid, Scene
from relay.programme.scenes import Length, as_filmed, guided, parse_scenes, scenes_of
from relay.settings import Home, first_fault
from relay.transfer.sounds import sound_length
from relay.wiring import open_desk

_SCENE = re.compile(r"^\s*\[\[scene\]\]", re.MULTILINE)
_SHOWN = 12
"""Frames of a repeat pattern that are spelt out in a table."""


def fit_sound(
    context: typer.Context,
    plan: Annotated[
        Path,
        typer.Argument(
            metavar="PLAN", help="A TOML file of scenes: name, frames, speed, where its sound ends; or a cut list."
        ),
    ],
    sound: Annotated[
        str | None,
        typer.Option(
            metavar="FILE|VERSION",
            help="A WAV or FLAC file, or a version that holds one.",
            show_default="the file that the plan names",
        ),
    ] = None,
    guide: Annotated[
        Path | None,
        typer.Option(
            metavar="MAP", help="A frame map to a guide print, as a file: scenes are as long as they are in that print."
        ),
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option("--svg", metavar="FILE", help="Draw where picture and sound part, as an SVG.")
    ] = None,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Fit scenes to a sound.

    Tells how long each scene runs at its speed, where picture and sound part, and the speeds that would fit. Exit
    code 2: they part by more than the plan's tolerance.
    """
    asked = _asked(context.obj, plan, guide, rate, held=held)
    heard = _length(context.obj, sound or _named(asked, plan))
    found = _parting(asked, plan, heard)
    if drawing is not None:
        _draw(drawing, svg(found, f"{plan.stem}: how many frames the picture is late"))
    answer(_facts(found), as_json=as_json, show=lambda page: _show(page, found))
    if (second := found.parts_at()) is not None:
        raise RefusedError(
            f"picture and sound part from {format_running_time(second)} on by more than "
            f"{_in_frames(found.tolerance)}: give the scenes named above one of the speeds that fit"
        )


def _in_frames(number: Fraction) -> str:
    return count(int(number), "frame") if number.denominator == 1 else f"{float(number):.1f} frames"


class _Asked(NamedTuple):
    """What is to be fitted."""

    scenes: tuple[Scene, ...]
    rate: Fraction
    tolerance: Fraction
    sound: str | None


def _asked(home: Home, path: Path, guide: Path | None, rate: str, *, held: bool) -> _Asked:
    """Read a plan of scenes, or a cut list. Raises MissingError, RefusedError."""
    try:
        text = text_of(path.read_bytes())
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the plan's TOML file, or a cut list") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"{path} cannot be read: {first_fault(error)}") from error
    if _SCENE.search(text):
        if held:
            raise RefusedError("--held is for a cut list: a plan of scenes says its own lengths and speeds")
        return _of_plan(path, text, as_filmed if guide is None else guided(_map(guide)))
    if guide is not None:
        raise RefusedError("--guide is for a plan of scenes: a cut list has its lengths already")
    with open_desk(home) as desk:
        ground = ground_of(desk.ledger.follow().film(), rate, held=held)
    listed = read_cut_list(path, ground).cut_list
    return _Asked(scenes_of(listed), listed.rate, Fraction(1), None)


def _of_plan(path: Path, text: str, length: Length) -> _Asked:
    table: dict[str, object] = {}
    try:
        table = tomllib.loads(text)
        plan = parse_scenes(text)
        return _Asked(plan.scenes(length), parse_rate(plan.rate), Fraction(plan.tolerance), plan.sound)
    except ValueError as error:  # TOML's and pydantic's are such
        raise RefusedError(
            f"{path} is no plan of scenes: {first_fault(error, table)}. Expected [[scene]] with name, speed and "
            "frames, or reel, first and last; and `until` where its sound ends"
        ) from error


def _map(path: Path) -> FrameMap:
    try:
        return parse_map(path.read_bytes())
    except FileNotFoundError as error:
        raise MissingError(f"there is no file {path}: name the guide print's frame map") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"{path} is no frame map: {first_fault(error)}") from error


def _named(asked: _Asked, plan: Path) -> str:
    if asked.sound is None:
        raise RefusedError(f'{plan} names no sound: write sound = "FILE" in it, or name one with --sound')
    return str(plan.parent / asked.sound)


def _length(home: Home, named: str) -> SoundLength:
    path = Path(named)
    if path.is_file() or path.suffix:
        return _length_of_file(path)
    with open_desk(home) as desk:
        return sound_length(desk, desk.ledger.follow().version(named))


def _length_of_file(path: Path) -> SoundLength:
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
        return parse_sound_length(head, path.stat().st_size)
    except FileNotFoundError as error:
        raise MissingError(f"there is no sound {path}: name a WAV or FLAC file, or a version that holds one") from error
    except (OSError, ValueError) as error:
        raise RefusedError(f"the length of {path} cannot be read: {first_fault(error)}") from error


def _parting(asked: _Asked, plan: Path, heard: SoundLength) -> Parting:
    try:
        return parting(asked.scenes, heard.seconds(), asked.rate, asked.tolerance)
    except ValueError as error:
        raise RefusedError(f"{plan}: {error}") from error


def _draw(path: Path, page: str) -> None:
    with writing(path):
        path.write_text(page, encoding="utf-8")


def _facts(found: Parting) -> dict[str, object]:
    parts = found.parts_at()
    return {
        "rate": str(found.rate),
        "tolerance": str(found.tolerance),
        "sound_seconds": str(found.sound),
        "picture_seconds": str(found.picture()),
        "parts_at": None if parts is None else str(parts),
        "scenes": [_scene_facts(each) for each in found.laid],
        "stretches": [_stretch_facts(each) for each in found.stretches],
        "points": [{"at": str(each.at), "behind": str(each.behind)} for each in found.points],
    }


def _scene_facts(each: Laid) -> dict[str, object]:
    return {
        "name": each.scene.name,
        "frames": each.scene.frames,
        "speed": str(each.scene.speed),
        "first": each.first,
        "length": each.length,
        "begins": str(each.begins),
        "ends": str(each.ends()),
        "repeats": list(each.repeats()),
    }


def _stretch_facts(each: Stretch) -> dict[str, object]:
    return {
        "scenes": [laid.scene.name for laid in each.scenes],
        "frames": each.frames,
        "sound_seconds": str(each.sound),
        "off": str(each.off),
        "exact": str(each.exact()),
        "from": str(each.span.slowest) if each.span else None,
        "to": str(each.span.fastest) if each.span else None,
        "speeds": list(map(str, each.named)),
        "simplest": None if each.simplest is None else str(each.simplest),
        "mixed": [
            {"before": mixed.before, "first": str(mixed.first), "then": str(mixed.then), "off": str(mixed.off)}
            for mixed in each.mixed
        ],
    }


def _show(page: Page, found: Parting) -> None:
    page.table(
        ("scene", "frames", "speed", "runs", "from frame", "length", "repeats"), [_row(each) for each in found.laid]
    )
    page.line()
    picture, sound = (format_running_time(each) for each in (found.picture(), found.sound))
    behind = found.points[-1].behind
    apart = "in step" if not behind else f"{float(abs(behind)):.1f} frames {'longer' if behind > 0 else 'shorter'}"
    page.line(f"Picture {picture}, sound {sound}: at the end {apart}, in frames at {format_rate(found.rate)} a second.")
    page.picture([[(label, ""), *((mark.text, "red" if mark.is_apart else "") for mark in marks)]
                  for label, marks in letters(found)])  # fmt: skip
    page.line()
    heads = ("to fit", "off by", "would fit at", "among them", "or")
    page.table(heads, [_fit_row(each) for each in found.stretches])


def _row(each: Laid) -> tuple[str, ...]:
    runs = format_running_time(each.scene.lasts())
    return (
        each.scene.name,
        str(each.scene.frames),
        format_rate(each.scene.speed),
        runs,
        str(each.first),
        str(each.length),
        _pattern(each),
    )


def _pattern(each: Laid) -> str:
    """Return the repeat pattern where it is short, else how it begins."""
    period = each.cadence.step.numerator
    shown = ",".join(map(str, each.repeats()[: min(period, _SHOWN)]))
    return shown if period <= _SHOWN else f"{shown} ..."


def _fit_row(each: Stretch) -> tuple[str, ...]:
    first, last = each.scenes[0].scene.name, each.scenes[-1].scene.name
    named = first if first == last else f"{first} to {last}"
    off = f"{float(each.off):+.1f} frames"
    if each.span is None:
        return named, off, f"{float(each.exact()):.2f}: outside {SLOWEST} to {FASTEST}", "", ""
    fits = f"{float(each.exact()):.3f}, or {float(each.span.slowest):.3f} to {float(each.span.fastest):.3f}"
    speeds = ", ".join(format_rate(speed) for speed in each.named) or f"none; the simplest is {each.simplest}"
    return named, off, fits, speeds, "; or ".join(map(_mixed, each.mixed))


def _mixed(mixed: Mixture) -> str:
    return f"{count(mixed.before, 'frame')} at {format_rate(mixed.first)}, then {format_rate(mixed.then)}"
