# ruff: noqa: E501  rows of what is changed into what are read side by side
"""Cut lists of any kind, for properties, and lists that are malformed or meant to hurt."""

import json
import random
from collections.abc import Iterator
from fractions import Fraction

from hypothesis import strategies as st

from relay.model import ReelName
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.edl import edl
from relay.programme.otio_form import otio_form
from relay.programme.own_form import own_form

REELS = (ReelName("A/R01"), ReelName("B/R02"), ReelName("NITRATE-LONG/R01"), ReelName("NITRATE-LONG/R02"))
SPEEDS = [Fraction(each) for each in (0, 14, 16, 20, 24, "200/11", "240/11", "18", "30", "1001/60")]


def event(rate: Fraction) -> st.SearchStrategy[Event]:
    film = st.builds(
        Event,
        st.sampled_from(REELS),
        st.integers(-500, 20_000),
        st.integers(1, 300),
        st.sampled_from(SPEEDS),
        into=st.sampled_from([Fraction(0), Fraction(1, 3), Fraction(5, 11)]),
        title=st.sampled_from(["", "the ferry", "Lamp, close"]),
    )
    slate = st.builds(Event, st.just(SLATE), st.just(0), st.integers(1, 100), st.just(rate), title=st.just("Part 2"))
    return st.one_of(film, film, film, slate)


@st.composite
def whole_lists(draw: st.DrawFn) -> CutList:
    """Return a programme without holes, with dissolves where they can be."""
    rate = draw(st.sampled_from([Fraction(24), Fraction(25)]))
    events: list[Event] = []
    for each in draw(st.lists(event(rate), min_size=1, max_size=8)):
        over = draw(st.sampled_from([0, 0, 0, 1])) if events else 0
        fields = {name: getattr(each, name) for name in ("reel", "first", "length", "speed", "into", "title")}
        events.append(
            Event(
                **fields,
                dissolve=min(each.length, 8) * over,
                fades=bool(over) and not events[-1].is_slate and draw(st.booleans()),
                wipe=draw(st.sampled_from([None, 1, 102])) if over else None,
            )
        )
    return CutList(rate, tuple(events))


GOOD = CutList(
    Fraction(24),
    (
        Event(REELS[0], 100, 36, Fraction(16), title="the ferry"),
        Event(REELS[1], 4, 48, Fraction(24), dissolve=12),
        Event(SLATE, 0, 24, Fraction(24), title="Part 2"),
        Event(REELS[0], 400, 24, Fraction(0)),
    ),
)
EDIT = "001  AR01     V     C        01:00:05:00 01:00:06:00 01:00:00:00 01:00:01:00"


def _edls() -> Iterator[str]:
    head = "TITLE: X\nFCM: NON-DROP FRAME\n"
    for label in (
        "25:00:00:00",
        "01:60:00:00",
        "01:00:00:24",
        "01:00:00",
        "1:0:0:0",
        "-1:00:00:00",
        "01:00:05:0x",
        "\u0660\u0661:00:00:00",
    ):
        for at in (0, 1, 2, 3):
            words = EDIT.split()
            words[4 + at] = label
            yield head + " ".join(words)
    for tracks in ("V V", "", "V" * 500):
        yield head + EDIT.replace(" V ", f" {tracks} ")
    for how in (
        "X",
        "W01 012",
        "W001",
        "W001 099",
        "K",
        "K B",
        "KO",
        "D",
        "D 000",
        "D 099",
        "D 99999999",
        "C 012",
        "d",
    ):
        yield head + EDIT + "\n" + EDIT.replace(" C ", f" {how} ").replace("001", "002", 1)
    yield head + EDIT.replace(" C ", " D 012 ")
    yield head + EDIT.replace("01:00:06:00", "01:00:04:00")
    yield head + EDIT.replace("01:00:01:00", "00:59:59:00")
    yield head + EDIT.replace("01:00:06:00", "01:00:07:00")
    yield head + EDIT.replace("01:00:01:00", "01:00:00:00").replace("01:00:06:00", "01:00:05:00")
    for reel in ("ZZTOP", "../../etc", "A" * 200, "$(id)", "\x1b[31mA", "AR01;rm", "A\u202eR01"):
        yield head + EDIT.replace("AR01", reel)
    for speed in ("-24.0", "abc", "16,0", "1e9", "999.9", "NaN", "016.0.0", "0.5", "", "18.18181", "inf"):
        yield head + EDIT + f"\nM2   AR01       {speed}   01:00:05:00"
    for line in (
        "M2   BR02       016.0   01:00:05:00", "M2", "M2 AR01 016.0", "garbage", "\x00\x01", "001", "<xml/>", "}{", "%s%s%n",
        "* RELAY SPEED 1/0", "* RELAY SPEED x", "* RELAY REEL AR01 IS nonsense FRAME 0 AT 01:00:00:00",
        "* RELAY REEL AR01 IS A/R01 FRAME 0 AT 99:00:00:00", "* RELAY INTO 3/2", "* RELAY RM -RF", "FCM: DROP FRAME", EDIT[:40],
        EDIT + " more", "=" * 5000, "001  AR01", "\u0663 AR01 V C 01:00:05:00 01:00:06:00 01:00:00:00 01:00:01:00",
    ):  # fmt: skip
        yield head + EDIT + "\n" + line
    yield head
    yield "TITLE: X"
    yield "just prose, no list at all"


def _tomls() -> Iterator[str]:
    good = own_form(GOOD)
    for old, new in (
        ('rate = "24"', 'rate = "0"'), ('rate = "24"', 'rate = "x"'), ('rate = "24"', "rate = 24"), ('rate = "24"', 'rate = "-1"'),
        ("first = 100", 'first = "a"'), ("first = 100", "first = 99999999999"), ("first = 100", "first = 1.5"), ("first = 100", "first ="),
        ("length = 36", "length = 0"), ("length = 36", "length = -4"), ("length = 36", "length = 999999999999"), ("length = 36\n", ""),
        ('speed = "16"', 'speed = "-16"'), ('speed = "16"', 'speed = "1/0"'), ('speed = "16"', 'speed = "999"'),
        ('speed = "16"', "speed = nan"), ('reel = "A/R01"', 'reel = "../x"'), ('reel = "A/R01"', "reel = 3"), ('reel = "A/R01"', 'reel = "A"'),
        ("dissolve = 12", "dissolve = 4000"), ("dissolve = 12", "dissolve = -1"), ("dissolve = 12", 'into = "2"'), ("dissolve = 12", 'into = "1/0"'),
        ("dissolve = 12", "dissolve = 12\nwipe = 1000"), ("dissolve = 12", "wipe = 1"), ("dissolve = 12", 'wipe = "W001"'),
        ("[[event]]", "[event]"), ("[[event]]", "[[event"), ("length = 36", "length = 36\nlength = 37"), ("length = 36", "lenght = 36"),
        ("the ferry", "x" * 500), ("the ferry", "\x01"),
    ):  # fmt: skip
        assert old in good, old
        yield good.replace(old, new, 1)
    yield 'rate = "24"\n'
    yield 'rate = "24"\nevent = []\n'
    yield 'rate = "24"\nevent = 3\n'
    yield "[[event]]\n" + "a = [" * 2000


def _otios() -> Iterator[str]:
    good = otio_form(GOOD)
    table = json.loads(good)
    for cut in (10, 200, 1000, len(good) // 2, len(good) - 3):
        yield good[:cut]
    for old, new in (
        ('"Timeline.1"', '"Clip.2"'), ('"Timeline.1"', '"Nothing.9"'), ('"Timeline.1"', '"Timeline.99"'), ('"Timeline.1"', "7"),
        ('"Track.1"', '"Gap.1"'), ('"kind": "Video"', '"kind": "Audio"'), ('"Clip.2"', '"Stack.1"'), ('"Clip.2"', '"Clip.77"'),
        ('"value": 36.0', '"value": 36.5'), ('"value": 36.0', '"value": -36.0'), ('"value": 36.0', '"value": 1e300'), ('"value": 36.0', '"value": NaN'),
        ('"value": 36.0', '"value": "x"'), ('"rate": 24.0', '"rate": 0.0'), ('"rate": 24.0', '"rate": -24.0'), ('"rate": 24.0', '"rate": 1e-300'),
        ('"reel": "A/R01"', '"reel": "x"'), ('"reel": "A/R01"', '"reel": []'), ('"speed": "16"', '"speed": "-16"'), ('"speed": "16"', '"speed": "1/0"'),
        ('"speed": "16"', '"speed": "9999"'), ('"into": "0"', '"into": "7"'), ('"first": 100', '"first": "x"'), ('"first": 100', '"first": 1e12'),
        ('"SMPTE_Dissolve"', '"SMPTE_Wipe"'), ('"first": 100', '"first": null'), ('"SMPTE_Dissolve"', '"Custom_Transition"'), ('"value": 12.0', '"value": 1200.0'), ('"value": 12.0', '"value": -12.0'),
    ):  # fmt: skip
        assert old in good, old
        yield good.replace(old, new, 1)
    yield '{"OTIO_SCHEMA": "Timeline.1", "tracks": null}'
    yield '{"OTIO_SCHEMA": "Timeline.1"}'
    yield "{}"
    yield '{"a":' * 50_000
    yield '{"a":' * 100 + "1" + "}" * 100
    yield '{"OTIO_SCHEMA": "Timeline.1", "tracks": {"OTIO_SCHEMA": "Stack.1", "children": []}}'
    children = table["tracks"]["children"]
    for broken in ([], [*children, *children], [{"OTIO_SCHEMA": "Clip.2"}], [1, 2, 3]):
        yield json.dumps({**table, "tracks": {**table["tracks"], "children": broken}})
    for named in ("ZZ", "", None, 7):
        clip = {
            **children[0]["children"][0],
            "metadata": {"cmx_3600": {"reel": named}},
            "media_references": {},
            "name": "",
        }
        yield json.dumps({**table, "tracks": {**table["tracks"], "children": [{**children[0], "children": [clip]}]}})


def _others() -> Iterator[str]:
    yield ""
    yield "\n\n\n"
    yield "\ufeff"
    yield "\x00" * 100
    yield '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY x "x"><!ENTITY y "&x;&x;&x;&x;&x;&x;&x;&x;">]><xmeml>&y;</xmeml>'
    yield '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><xmeml>&x;</xmeml>'
    yield "x" * (33 * 1024 * 1024)


def _mangled(seed: int) -> Iterator[str]:
    """Yield good lists with a sign changed in each of the places that mean something."""
    dice = random.Random(seed)
    text = edl(GOOD)
    events = [number for number, line in enumerate(text.splitlines()) if line[:1].isdigit()]
    for _ in range(40):
        lines = text.splitlines()
        at = dice.choice(events)
        line, place = lines[at], dice.randrange(28, 70)
        lines[at] = line[:place] + dice.choice("xyz;/?") + line[place + 1 :]
        yield "\n".join(lines)


def hostile() -> list[str]:
    return [*_edls(), *_tomls(), *_otios(), *_others(), *_mangled(11)]
