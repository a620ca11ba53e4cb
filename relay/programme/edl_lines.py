"""The lines of an edit list in the form of CMX 3600: text in, its edits out, each with its line and its labels. Pure.

What a list says is taken here as it stands; `relay.programme.edl` says what it means.
"""

import re
from dataclasses import dataclass, field
from fractions import Fraction

from relay.film.rates import format_rate
from relay.film.timecode import DROP_RATE, parse_timecode
from relay.model import ReelName, parse_reel
from relay.programme.reading import EVENTS, RATES, Ground, LineError, speed_in
from relay.wording import printable

_LABEL = r"[0-9]{2}:[0-9]{2}:[0-9]{2}[:;][0-9]{2}"
_NAMED = r"\S{1,64}(?: \S{1,64}){0,7}?"
"""A reel's name, which may have blanks in it, one at a time."""
_EDIT = re.compile(
    rf"(?P<number>[0-9]{{1,6}})[A-Z]?\s+(?P<reel>{_NAMED})\s+(?P<tracks>NONE|[ABV0-9/]{{1,16}})\s+"
    rf"(?P<how>K\s?[BO]|[A-Z][A-Z0-9]{{0,3}})(?:\s+(?P<over>[0-9]{{1,4}}))?"
    rf"\s+({_LABEL})\s+({_LABEL})\s+({_LABEL})\s+({_LABEL})"
)
_M2 = re.compile(rf"M2\s+(?P<reel>{_NAMED})\s+(?P<speed>[+-]?[0-9]{{1,4}}(?:\.[0-9]{{1,9}})?)\s+({_LABEL})")
_REEL = re.compile(rf"RELAY REEL (\S{{1,128}}) IS (\S{{1,64}}) FRAME 0 AT ({_LABEL})")
_OURS = re.compile(r"RELAY (SPEED|INTO) ([0-9]{1,6}(?:/[0-9]{1,6})?)")
_NAME = re.compile(r"(?:FROM|TO) CLIP NAME:\s*(.*)", re.IGNORECASE)
_PASSED = re.compile(r"(TITLE:|FCM:|SPLIT:|>>>|AUD\s|M3\s|EFFECTS NAME|[A-Z ]{1,40}REEL: )", re.IGNORECASE)
_WIPE = re.compile(r"W([0-9]{3})")


@dataclass
class Edit:
    """One line of a list, with what the lines after it say of it."""

    line: int
    number: str
    reel: str
    over: int
    """Frames of its dissolve or its wipe; 0: a cut."""
    wipe: int | None
    source: tuple[int, int]
    record: tuple[int, int]
    is_drop: bool = False
    """Whether its source's labels are drop-frame."""
    speed: Fraction | None = None
    into: Fraction = Fraction(0)
    name: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether it has no length, as what goes under a dissolve is written."""
        return self.record[0] == self.record[1]


@dataclass
class Sheet:
    """A list as far as it was read."""

    ground: Ground
    edits: list[Edit] = field(default_factory=list)
    ours: dict[str, tuple[ReelName, int]] = field(default_factory=dict)
    """Reels of our own comments, by the list's name: the reel, and the timecode of its frame 0."""
    sounds: int = 0
    """The last line that lays sound alone."""
    is_drop: bool = False
    """Whether the list said so: then a colon stands where others write a semicolon."""

    def label(self, line: int, text: str) -> int:
        """Return the frame that a label means. Raises LineError."""
        try:
            return parse_timecode(self._meant(text), self.ground.rate)
        except ValueError as fault:
            raise LineError(line, f"{fault}; it was read at {format_rate(self.ground.rate)} frames a second, "
                            "--rate says another") from None  # fmt: skip

    def drops(self, text: str) -> bool:
        """Answer whether a label is drop-frame."""
        return ";" in self._meant(text)

    def _meant(self, text: str) -> str:
        return f"{text[:8]};{text[9:]}" if self.is_drop else text

    def day(self) -> int:
        """Return how many frames the clock has."""
        last = 23 if self.ground.rate < 25 else 24 if self.ground.rate == 25 else 29
        return self.label(0, f"23:59:59:{last}") + 1


def read_lines(text: str, ground: Ground) -> Sheet:
    """Return the edits in an edit list's text, with one at least. Raises LineError."""
    if ground.rate not in RATES:
        known = ", ".join(map(str, RATES))
        raise LineError(1, f"no timecode counts at {ground.rate} frames a second: expected one of {known}")
    sheet = Sheet(ground)
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        _read(sheet, number, line.strip())
    if not sheet.edits and sheet.sounds:
        raise LineError(sheet.sounds, "the list holds sound alone: expected pictures, events whose track is V or B")
    if not sheet.edits:
        raise LineError(max(1, len(text.splitlines())), "the list ends without an event: expected lines like "
                        "001  AR01  V  C  00:00:00:00 00:00:01:00 01:00:00:00 01:00:01:00")  # fmt: skip
    return sheet


def _read(sheet: Sheet, number: int, line: str) -> None:
    if "\x00" in line:
        raise LineError(number, "the line holds a NUL: this is no text")
    if line.startswith("*"):
        _comment(sheet, number, line[1:].strip())
    elif line.startswith("M2"):
        _motion(sheet, number, line)
    elif line and not _PASSED.match(line):
        _edit(sheet, number, line)
    elif line.upper().startswith("FCM:"):
        sheet.is_drop = "NON" not in line.upper()
        if sheet.is_drop and sheet.ground.rate != DROP_RATE:
            raise LineError(
                number, f"drop-frame does not exist at {format_rate(sheet.ground.rate)} frames a second: expected "
                f"NON-DROP, or the list read with --rate {DROP_RATE}"
            )  # fmt: skip


def _edit(sheet: Sheet, number: int, line: str) -> None:
    found = _EDIT.fullmatch(line)
    if found is None:
        raise LineError(number, f"found {printable(line[:80])!r}, expected an event: number, reel, V, C or D and "
                        "frames, and four timecodes")  # fmt: skip
    if not {"V", "B"} & set(found["tracks"]):
        sheet.sounds = number
        return  # sound is laid by itself
    if re.search(r"V(?:[02-9]|1[0-9])", found["tracks"]):
        raise LineError(number, f"{found['tracks']} is a further picture track: expected all pictures on V")
    if len(sheet.edits) >= EVENTS:
        raise LineError(number, f"there are more than {EVENTS:,} events: cut the list in two")
    over, wipe = _how(number, found["how"], found["over"])
    labels = found.groups()[-4:]
    source = _span(sheet, number, "source", labels[:2])
    record = _span(sheet, number, "record", labels[2:])
    if sheet.edits:  # the nearest day to the event before: a programme may begin ahead of midnight
        days = round(Fraction(sheet.edits[-1].record[0] - record[0], sheet.day())) * sheet.day()
        record = record[0] + days, record[1] + days
    sheet.edits.append(Edit(number, found["number"], found["reel"], over, wipe, source, record, sheet.drops(labels[0])))


def _how(number: int, how: str, told: str | None) -> tuple[int, int | None]:
    """Return the length of a dissolve or a wipe, 0 for a cut, and the wipe's number. Raises LineError."""
    over, wipe = int(told or 0), _WIPE.fullmatch(how)
    if how[0] == "K":
        raise LineError(number, "a key lays one picture over another, which is not read: let a shot of its own, of AX "
                        "or BL, stand for a title, and lay what is to stand over film by hand")  # fmt: skip
    if how not in {"C", "D"} and wipe is None:
        raise LineError(number, f"{how!r} is neither a cut (C), a dissolve (D) nor a wipe (W and three figures)")
    if (how == "C") != (over == 0):
        raise LineError(number, "expected D, or a wipe like W001, with its length in frames, or C without one")
    return over, int(wipe[1]) if wipe else None


def _span(sheet: Sheet, number: int, what: str, labels: tuple[str, ...]) -> tuple[int, int]:
    """Return the frames of two labels; one at most may have passed midnight. Raises LineError."""
    first, last = (sheet.label(number, label) for label in labels)
    if last < first:
        last += sheet.day()
        if 2 * (last - first) > sheet.day():
            raise LineError(number, f"the {what} runs backwards, {labels[0]} to {labels[1]}")
    return first, last


def _motion(sheet: Sheet, number: int, line: str) -> None:
    found = _M2.fullmatch(line)
    if found is None:
        raise LineError(
            number, f"found {printable(line[:80])!r}, expected M2, a reel, a speed like 016.0 and a timecode"
        )
    told = (edit for edit in reversed(sheet.edits[-2:]) if edit.reel == found["reel"])
    edit = next(told, None)
    if edit is None:
        raise LineError(number, f"M2 is of reel {printable(found['reel'])!r}, which is not in the event before it")
    edit.speed = speed_in(number, found["speed"])


def _comment(sheet: Sheet, number: int, text: str) -> None:
    last = sheet.edits[-1] if sheet.edits else None
    if ours := _REEL.fullmatch(text):
        try:
            sheet.ours[ours[1]] = parse_reel(ours[2]), sheet.label(number, ours[3])
        except LineError:
            raise
        except ValueError as fault:
            raise LineError(number, str(fault)) from None
    elif (said := _OURS.fullmatch(text)) and last:
        if said[2].endswith("/0") or re.search(r"/0+$", said[2]):
            raise LineError(number, f"{said[2]} divides by nothing: expected a fraction")
        if said[1] == "SPEED":
            last.speed = Fraction(said[2])
        else:
            last.into = Fraction(said[2])
    elif text.startswith("RELAY "):
        raise LineError(number, f"found {printable(text[:80])!r}, which Relay never wrote there")
    elif (name := _NAME.fullmatch(text)) and last and (text.upper().startswith("TO") or not last.name):
        last.name = printable(name[1].strip())[:400]
