"""OpenTimelineIO: text in, a cut list out, and back. Pure; needs the extra `programme`.

A clip's own fields say what any reader understands; what they cannot carry exactly stands in its metadata under
`relay`. Times of a clip that is not ours are its media's labels, from the start mark's hour on.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any, NoReturn

from relay.errors import RefusedError
from relay.film.rates import ARCHIVE_RATES, FASTEST
from relay.model import ReelName, parse_reel
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.reading import EVENTS, FARTHEST, Ground, LineError, in_order
from relay.wording import printable

NESTED = 60
"""How deep a timeline may be nested: readers in C run out of stack where no error can be caught."""
WIPE = "SMPTE_Wipe"
"""What the library's reader of edit lists calls a wipe; its number stands beside it as the list has it, W001."""
_COPY = re.compile(r"(_reference)?\.(mov|mp4)$", re.IGNORECASE)
"""What a reference copy's file has behind its reel's name."""
_ITEM = re.compile(r'"OTIO_SCHEMA"\s*:\s*"(?:Clip|Gap|Transition|Stack|Track)\.')


def library() -> Any:
    """Return OpenTimelineIO. Raises RefusedError where it is not installed."""
    try:
        import opentimelineio  # untyped: what comes from it is checked here
    except ImportError as error:
        raise RefusedError("OpenTimelineIO is not installed: pip install 'relay-handoff[programme]'") from error
    return opentimelineio


def parse_otio(text: str, ground: Ground) -> CutList:
    """Return the cut list in an OpenTimelineIO file's text. Raises LineError, and RefusedError without the library."""
    otio = library()
    _check_json(text)
    try:
        timeline = otio.adapters.read_from_string(text, "otio_json")
        return _Reader(otio, text, ground).cut_list(timeline)
    except LineError:
        raise
    except (
        otio.exceptions.OTIOError,
        ValueError,
        TypeError,
        AttributeError,
        KeyError,
        IndexError,
        OverflowError,
    ) as fault:
        # The library says some faults of a file as faults of its own code.
        raise LineError(1, f"OpenTimelineIO cannot read it: {printable(str(fault)[:200])}") from None


def _check_json(text: str) -> None:
    depth = deepest = 0
    for sign in re.findall(r'"(?:[^"\\]|\\.)*+"|[\[\]{}]', text):
        depth += sign in "[{" if len(sign) == 1 else 0
        depth -= sign in "]}" if len(sign) == 1 else 0
        deepest = max(deepest, depth)
    if deepest > NESTED:
        raise LineError(1, f"it is nested {deepest} deep: expected at most {NESTED}")
    try:
        json.loads(text, parse_constant=_no_number)
    except json.JSONDecodeError as fault:
        raise LineError(fault.lineno, f"this is no JSON: {fault.msg}, at column {fault.colno}") from None
    except (ValueError, RecursionError) as fault:
        raise LineError(1, f"this is no JSON: {fault}") from None


def _no_number(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number of JSON")


class _Reader:
    def __init__(self, otio: Any, text: str, ground: Ground) -> None:
        self._otio = otio
        self._ground = ground
        self._text = text
        self._lines: list[int] | None = None
        self._read = 0

    def cut_list(self, timeline: Any) -> CutList:
        if not isinstance(timeline, self._otio.schema.Timeline):
            raise LineError(1, f"found a {type(timeline).__name__}, expected a Timeline")
        filled = [track for track in timeline.tracks if isinstance(track, self._otio.schema.Track)]
        shown = [track for track in filled if track.kind == self._otio.schema.TrackKind.Video and track.enabled]
        tracks = [track for track in shown if len(track)]
        if len(tracks) != 1:
            raise LineError(1, f"it has {len(tracks)} picture tracks: expected one; flatten them first")
        before = list(timeline.tracks).index(tracks[0])
        self._read = sum(1 + len(track) for track in filled if list(timeline.tracks).index(track) < before) + 1
        items = list(tracks[0])
        if len(items) > EVENTS:
            raise LineError(1, f"there are more than {EVENTS:,} events: cut the list in two")
        self._rate = self._rate_of(items)
        return in_order(self._rate, self._placed(items))

    def _line(self) -> int:
        """Return the line at which the item that is being read begins."""
        if self._lines is None:
            self._lines, line, before = [], 1, 0
            for found in _ITEM.finditer(self._text):
                line += self._text.count("\n", before, found.start())
                before = found.start()
                self._lines.append(line)
        return self._lines[min(self._read, len(self._lines) - 1)] if self._lines else 1

    def _fault(self, said: str) -> NoReturn:
        raise LineError(self._line(), said)

    def _rate_of(self, items: list[Any]) -> Fraction:
        rates = [item.metadata.get("relay", {}).get("rate") for item in items]
        if told := next((rate for rate in rates if isinstance(rate, str)), None):
            return self._fraction(told)
        for item in items:
            if getattr(item, "source_range", None) is not None:
                return self._exact(item.source_range.duration.rate)
        return self._ground.rate

    def _placed(self, items: list[Any]) -> Iterator[tuple[int, Event]]:
        schema, begins = self._otio.schema, 0
        mixes: tuple[int, int, int | None] | None = None
        last: tuple[int, Event] | None = None
        for item in items:
            if isinstance(item, schema.Transition):
                mixes = *self._offsets(item), self._wipe(item)
            elif isinstance(item, schema.Gap):
                if mixes:
                    self._fault("it dissolves to nothing: expected a clip after a dissolve")
                begins += self._frames(item.duration(), self._rate)
            elif isinstance(item, schema.Clip):
                event = self._event(item)
                at, event, last = self._mixed(begins, event, last, mixes)
                begins, mixes = at + event.length, None
                if last is not None:
                    yield last
                last = at, event
            else:
                self._fault(f"found a {type(item).__name__}, expected clips, gaps and dissolves on one track")
            self._read += 1
        if mixes:
            self._fault("the list ends with a dissolve to nothing")
        if last is None:
            self._fault("the list holds no clip: expected events")
        yield last

    def _mixed(
        self, begins: int, event: Event, last: tuple[int, Event] | None, mixes: tuple[int, int, int | None] | None
    ) -> tuple[int, Event, tuple[int, Event] | None]:
        """Let `event` begin where its dissolve does: ahead of the cut by what it takes of the shot before."""
        if mixes is None:
            return begins, event, last
        early, late, wipe = mixes
        if last is None or last[0] + last[1].length != begins:
            self._fault("it dissolves from nothing: expected a clip ahead of a dissolve")
        if early >= last[1].length or early + late > event.length + early:
            self._fault(f"a dissolve of {early + late} frames is longer than a shot that it joins")
        exact = event.first + event.into - early * event.speed / self._rate
        first, into = exact // 1, exact % 1
        event = replace(event, first=first, into=into, length=event.length + early, dissolve=early + late, wipe=wipe)
        if early:
            last = last[0], replace(last[1], length=last[1].length - early)
        return begins - early, event, last

    def _offsets(self, item: Any) -> tuple[int, int]:
        if item.transition_type not in {self._otio.schema.TransitionTypes.SMPTE_Dissolve, WIPE}:
            self._fault(
                f"{printable(str(item.transition_type))!r} is neither a dissolve nor a wipe: let one stand there"
            )
        early, late = (self._frames(each, self._rate) for each in (item.in_offset, item.out_offset))
        if early < 0 or late < 0:
            self._fault("a dissolve begins after it ends")
        return early, late

    def _wipe(self, item: Any) -> int | None:
        if item.transition_type != WIPE:
            return None
        told = item.metadata.get("cmx_3600", {}).get("transition", "")
        found = re.fullmatch(r"W([0-9]{3})", str(told))
        if found is None:
            self._fault(f"found {printable(str(told)[:40])!r}, expected the wipe's number, such as W001")
        return int(found[1])

    def _event(self, clip: Any) -> Event:
        if not clip.enabled:
            self._fault("the clip is switched off: take it out, or let a gap or a slate stand there")
        if clip.source_range is None:
            self._fault("the clip says no range of its source: expected its first frame and its length")
        ours = clip.metadata.get("relay")
        try:
            event = self._own(clip, ours) if ours is not None else self._foreign(clip)
            if abs(event.first) > FARTHEST or event.length > FARTHEST:
                self._fault(f"frame {event.first:,} for {event.length:,} frames is beyond any reel")
            if event.speed > FASTEST:
                self._fault(f"it runs at {event.speed} frames a second: expected at most {FASTEST}")
        except LineError:
            raise
        except (ValueError, ZeroDivisionError, TypeError, KeyError, AttributeError, OverflowError) as fault:
            self._fault(str(fault))
        return event

    def _own(self, clip: Any, ours: Any) -> Event:
        return Event(
            parse_reel(str(ours["reel"])),
            int(ours["first"]),
            self._frames(clip.source_range.duration, self._rate),
            self._fraction(str(ours["speed"])),
            into=self._fraction(str(ours.get("into", "0"))),
            dissolve=int(ours.get("dissolve", 0)),
            fades=ours.get("fades") is True,
            wipe=None if ours.get("wipe") is None else int(ours["wipe"]),
            title=clip.name,
            line=self._line(),
        )

    def _foreign(self, clip: Any) -> Event:
        length = self._frames(clip.source_range.duration, self._rate)
        own = self._exact(clip.source_range.start_time.rate)
        speed = own * self._scalar(clip)
        if isinstance(clip.media_reference, self._otio.schema.GeneratorReference):
            return Event(SLATE, 0, length, self._rate, title=clip.name, line=self._line())
        event = Event(self._reel(clip), 0, length, speed, title=clip.name, line=self._line())
        label = self._frames(clip.source_range.start_time, own)
        zero = 3600 * round(own) if self._ground.zero is None else self._ground.zero
        return self._ground.placed(event, label - zero)

    def _reel(self, clip: Any) -> ReelName:
        told = clip.metadata.get("cmx_3600")
        if name := told.get("reel") if hasattr(told, "get") else None:
            return self._ground.reel(str(name))
        media = clip.media_reference
        names = [getattr(media, "name", ""), getattr(media, "target_url", "").rpartition("/")[2], clip.name]
        faults = []
        for name in (_COPY.sub("", str(each)) for each in names if each):
            try:
                return self._ground.reel(name)
            except ValueError as fault:
                faults.append(fault)
        raise faults[0] if faults else ValueError("the clip names no reel: expected one, such as A_R01")

    def _scalar(self, clip: Any) -> Fraction:
        scalar = Fraction(1)
        for effect in clip.effects:
            if isinstance(effect, self._otio.schema.FreezeFrame):
                return Fraction(0)
            if isinstance(effect, self._otio.schema.LinearTimeWarp):
                scalar *= self._exact(float(effect.time_scalar) * float(self._rate)) / self._rate
            elif isinstance(effect, self._otio.schema.TimeEffect):
                self._fault(f"{type(effect).__name__} changes its time in a way that is not read")
        if scalar < 0:
            self._fault("it runs backwards: expected a speed of 0 (a freeze) or more")
        return scalar

    def _frames(self, time: Any, rate: Fraction) -> int:
        frames = Fraction(time.value) * rate / self._exact(time.rate)
        if abs(frames - round(frames)) > Fraction(1, 1000) or abs(frames) > 2 * FARTHEST:
            self._fault(f"{time.value:g} at {time.rate:g} a second is no whole number of frames at {rate}")
        return round(frames)

    def _exact(self, value: float) -> Fraction:
        """Return the fraction that a float stands for: film's speeds, else one of a denominator up to 1001."""
        for known in ARCHIVE_RATES.values():
            if abs(value - float(known)) < 1e-9 * max(1.0, abs(value)):
                return known
        found = Fraction(value).limit_denominator(1001)
        if abs(float(found) - value) > 1e-6:
            self._fault(f"{value!r} is no speed that a fraction says: expected one like {float(found):.6f}")
        return found

    def _fraction(self, text: str) -> Fraction:
        if not re.fullmatch(r"[0-9]{1,6}(/0*[1-9][0-9]{0,5})?", text):
            self._fault(f"{printable(text[:40])!r} is no fraction: expected one like 200/11")
        return Fraction(text)


def otio_form(cut_list: CutList, title: str = "programme") -> str:
    """Return the list as OpenTimelineIO's JSON. Raises RefusedError where the library is not installed."""
    otio = library()
    schema, time, rate = otio.schema, otio.opentime, float(cut_list.rate)
    track = schema.Track(name="V", kind=schema.TrackKind.Video)
    end = 0
    for begins, event in cut_list.laid():
        if begins > end:
            track.append(
                schema.Gap(
                    source_range=time.TimeRange(time.RationalTime(0, rate), time.RationalTime(begins - end, rate))
                )
            )
        elif begins < end:
            raise ValueError(
                f"{event.reel} from frame {event.first} on overlaps the event before: OTIO cannot say that"
            )
        if event.dissolve and not event.fades and end and begins == end:
            track.append(_transition(otio, event, rate))
        track.append(_clip(otio, event, cut_list.rate))
        end = begins + event.length
    timeline = schema.Timeline(name=title)
    timeline.tracks.append(track)
    return str(timeline.to_json_string(indent=1)) + "\n"


def _transition(otio: Any, event: Event, rate: float) -> Any:
    dissolve, time = otio.schema.TransitionTypes.SMPTE_Dissolve, otio.opentime
    return otio.schema.Transition(
        transition_type=dissolve if event.wipe is None else WIPE,
        in_offset=time.RationalTime(0, rate),
        out_offset=time.RationalTime(event.dissolve, rate),
        metadata={} if event.wipe is None else {"cmx_3600": {"transition": f"W{event.wipe:03d}"}},
    )


def _clip(otio: Any, event: Event, rate: Fraction) -> Any:
    schema, time = otio.schema, otio.opentime
    spans = event.spans(rate)
    first, last = (spans[0][0], spans[-1][1]) if spans else (0, event.length - 1)
    reference = (
        schema.GeneratorReference(name=event.title or "black", generator_kind="slate")
        if event.is_slate
        else schema.ExternalReference(
            target_url=str(event.reel), available_range=_range(time, first, last - first + 1, rate)
        )
    )
    if not event.is_slate:
        reference.name = str(event.reel)
    own = {
        "reel": event.reel,
        "first": event.first,
        "speed": str(event.speed),
        "into": str(event.into),
        "rate": str(rate),
    }
    clip = schema.Clip(
        name=event.title,
        media_reference=reference,
        source_range=_range(time, event.first, event.length, rate),
        metadata={"relay": own | (_from_black(event) if event.fades else {})},
    )
    if event.speed == 0:
        clip.effects.append(schema.FreezeFrame())
    elif event.speed != rate:
        clip.effects.append(schema.LinearTimeWarp(time_scalar=float(event.speed / rate)))
    return clip


def _from_black(event: Event) -> dict[str, object]:
    return {"fades": True, "dissolve": event.dissolve, "wipe": event.wipe}


def _range(time: Any, first: int, length: int, rate: Fraction) -> Any:
    return time.TimeRange(time.RationalTime(first, float(rate)), time.RationalTime(length, float(rate)))
