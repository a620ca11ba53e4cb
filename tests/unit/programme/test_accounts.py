"""Accounts add up to the programme, whatever was lent, made new or missing; and they say what became of it."""

import random
from collections import Counter
from fractions import Fraction
from importlib.util import find_spec
from io import BytesIO

from hypothesis import given, settings
from hypothesis import strategies as st

from relay.ledger.decision_words import DecisionMade
from relay.ledger.state import State
from relay.media.treatment import Step
from relay.model import FrameRange, Place, Production, ReelName, VersionName, frame_count
from relay.programme.account import accounts, unexplained
from relay.programme.account_page import page
from relay.programme.account_pdf import pdf
from relay.programme.account_words import (
    NOT_SAID,
    Block,
    Heading,
    Picture,
    Table,
    Text,
    account_blocks,
    provenance_blocks,
)
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.fate import fates, places_by_reel
from relay.programme.lineage import Known
from relay.programme.provenance import Origin, provenance, shares
from tests.conftest import missing
from tests.unit.ledger.scene import Told, pen, production, some_digest, version

FPS = Fraction(24)
LETTERS = "ABCDEFGH"


def generated(seed: int) -> tuple[Production, CutList, dict[ReelName, frozenset[int]]]:
    """Return a production of some archives, its cut list, and which frames of its reels were ever scanned."""
    chance = random.Random(seed)
    plain = production(elements=LETTERS[: chance.randint(1, 8)]).model_dump(mode="json", by_alias=True)
    holders = [f"Archive {number}" for number in range(chance.randint(1, 4))]
    for element in plain["element"]:
        is_new = chance.random() < 0.2
        element["reel"] = [{"name": each["name"], "frames": 400} for each in element["reel"]]
        element.update({"holder": chance.choice(holders)} | ({"kind": "restored programme"} if is_new else {}))
    film = Production.model_validate(plain)
    reels = film.reel_names()
    held = {
        reel: frozenset(range(chance.randrange(100), 100 + chance.randrange(400)))
        for reel in reels
        if chance.random() < 0.7
    }
    speeds = [Fraction(0), Fraction(16), Fraction(18), Fraction(24)]
    events = tuple(
        Event(
            chance.choice([*reels, ReelName("gap/gap")]),
            chance.randrange(500),
            chance.randint(1, 90),
            chance.choice(speeds),
            dissolve=chance.choice([0, 1]),
        )
        for _ in range(chance.randint(1, 40))
    )
    return film, CutList(FPS, events), held


@settings(max_examples=100)
@given(st.integers(0, 2**32))
def test_all_archives_and_made_new_and_missing_are_the_programme_exactly(seed: int):
    film, cut, held = generated(seed)
    runs = provenance(cut, film, held)
    whole: Counter[int] = Counter()
    for run in runs:
        whole.update(dict.fromkeys(range(run.programme.first, run.programme.last + 1), run.share))
    assert whole == dict.fromkeys(range(sum(event.length for event in cut.events)), 1)
    told = shares(runs, film)
    assert sum(told.holders.values()) + told.made_new + told.missing == len(whole)
    # Counted again from the list alone, place by place.
    elements = {f"{each.code}/{reel.name}": each for each in film.elements for reel in each.reels}
    again: Counter[str] = Counter()
    for number, event in enumerate(cut.events):
        after = cut.events[number + 1].dissolve if number + 1 < len(cut.events) else 0
        under = event.dissolve if number else 0
        for place in range(event.length + after):
            frame = event.first + (place * event.speed / FPS).__floor__()
            lent = elements.get(event.reel)
            lacks = lent is None or frame not in held.get(event.reel, {frame})
            name = "missing" if lacks else "new" if lent.kind == "restored programme" else lent.holder
            again[name] += Fraction(1, 2 if place < under or place >= event.length else 1)
    assert {name: number for name, number in told.holders.items() if number} | (
        {"new": told.made_new} if told.made_new else {}
    ) | ({"missing": told.missing} if told.missing else {}) == again


@settings(max_examples=100)
@given(st.integers(0, 2**32))
def test_what_each_archive_s_account_counts_is_its_share(seed: int):
    film, cut, held = generated(seed)
    state = State(production=film)
    told = accounts(state, cut, {VersionName(f"{reel}/v1"): Known() for reel in held})
    assert told.shares is not None
    assert {account.holder: account.used for account in told.archives} == dict(told.shares.holders)
    for account in told.archives:  # what is told with its treatment is all that is counted
        parts = [use for element in account.elements for reel in element.reels for use in reel.uses]
        assert sum(frame_count(use.programme) * use.share for use in parts) == account.used
    assert sum(each.used for each in told.archives) + told.shares.made_new + told.shares.missing == cut.length()


A = ReelName("A/R01")


def scene() -> Told:
    told = Told.founded()
    told.say(pen("lisbon"), version("A/R01", 1), version("B/R01", 1))
    told.say(pen("lisbon"), version("A/R01", 2, parents=("A/R01/v1",)))
    scratched = Place(about=A, frames=(FrameRange(first=10, last=14),))
    told.say(pen("lisbon"), DecisionMade(place=scratched, verdict="not used", because="scratched <b>", person="Ines"))
    told.say(pen("lisbon"), DecisionMade(place=Place(about="A"), verdict="preferred", because="tone"))
    return told


CUT = CutList(FPS, (Event(A, 0, 10, FPS), Event(ReelName("gap/gap"), 0, 3, FPS), Event(A, 20, 5, FPS)))
DUSTED = Step.model_validate({"what": "dust removed", "with": "the cleaning desk", "frames": "3-5", "by": "Ines"})
ALL = (FrameRange(first=0, last=29),)
FACTS = {
    VersionName("A/R01/v1"): Known(ALL),
    VersionName("A/R01/v2"): Known(ALL, (DUSTED,), (FrameRange(first=7, last=8),)),
}


def test_the_narrowest_and_then_the_newest_decision_says_why_a_frame_is_not_in_the_film():
    told = scene()
    told.say(pen("lisbon"), DecisionMade(place=Place(about="A"), verdict="not used", because="decayed"))
    found = fates(A, range(10, 22), places_by_reel(CUT)[A], told.state.decisions)
    assert [(str(each.frames), each.decision and each.decision.word.because) for each in found] == [
        ("10-14", "scratched <b>"),
        ("15-19", "decayed"),
        ("20-21", "decayed"),
    ]
    silent = fates(ReelName("B/R01"), range(3), {}, told.state.decisions)
    assert [(str(each.frames), each.shown, each.decision) for each in silent] == [("0-2", (), None)]


def test_an_account_says_what_was_scanned_used_treated_and_left_and_when_it_goes_back():
    told = accounts(scene().state, CUT, FACTS)
    (of_a, of_b) = told.archives
    blocks = list(account_blocks(of_a))
    text = "\n".join(
        block.text if isinstance(block, Heading | Text) else str(block.rows)
        for block in blocks
        if not isinstance(block, Picture)
    )
    assert "Of the film's 18 frames, at 24 a second, 15 show what Archive A lent (83.33 %)" in text
    assert "due back 31 December 2026" in text
    assert "Courtesy of A" in text
    assert (
        "('A/R01/v2', '2026-03-02', 'Site lisbon', '0-29', 'A/R01/v1', 'dust removed with the cleaning desk on 3-5, by"
        in text
    )
    assert "changed with no step that says so: 7-8" in text
    kind, v2 = "projection print", "A/R01/v2, from the scan A/R01/v1 (presumed)"
    assert [block.rows for block in blocks if isinstance(block, Table) and "generation" in block.heads] == [
        (
            ("0-2, 6, 9", "0-2, 6, 9", kind, v2, "nothing: as it was scanned"),
            ("3-5", "3-5", kind, v2, "dust removed with the cleaning desk, by Ines"),
            ("7-8", "7-8", kind, v2, "changed in A/R01/v2 with no step that says so"),
            ("13-17", "20-24", kind, v2, "nothing: as it was scanned"),
        )
    ]
    assert NOT_SAID in text
    assert "not used: scratched <b> (Ines, Site lisbon, 2026-03-02" in text
    assert "Nitrate base burns" in text
    (reel, *_) = of_a.elements[0].reels
    assert unexplained(reel) == (FrameRange(first=15, last=19), FrameRange(first=25, last=29))
    assert "Not in the film, and nobody said why: 10 frames, 15-19, 25-29." in text  # that A is preferred is no reason
    assert of_b.used == 0
    assert [each.text for each in account_blocks(of_b) if isinstance(each, Text)].count(
        "Nothing of it is in the film."
    ) == 3


def test_a_title_is_made_new_black_is_missing_and_what_goes_under_a_dissolve_is_in_the_film():
    b = ReelName("B/R01")
    events = (
        Event(SLATE, 0, 4, FPS, title="The lamp is lit"),
        Event(SLATE, 0, 2, FPS),
        Event(A, 0, 10, FPS),
        Event(b, 50, 6, FPS, dissolve=3),
    )
    cut = CutList(FPS, events)
    told = shares(provenance(cut, production()), production())
    # three places show A and B both: half of each counts for either archive, and all of it is the film
    halves = Fraction(3, 2)
    assert (dict(told.holders), told.made_new, told.missing) == (
        {"Archive A": 10 + halves, "Archive B": 3 + halves},
        4,
        2,
    )
    assert told.total == cut.length()
    assert places_by_reel(cut)[A][12] == [18]  # frame 12 of A is mixed into place 18, the last of the dissolve
    assert places_by_reel(cut)[b] == {50 + at: [16 + at] for at in range(6)}


def test_a_mixture_with_black_is_the_pictures_and_one_with_a_title_is_half_the_titles():
    black, title = Event(SLATE, 0, 8, FPS, dissolve=4), Event(SLATE, 0, 8, FPS, dissolve=4, title="Night")
    a = Event(A, 0, 10, FPS)
    to_black = shares(
        provenance(CutList(FPS, (a, black, Event(A, 50, 6, FPS, dissolve=2))), production()), production()
    )
    assert (to_black.holders["Archive A"], to_black.missing, to_black.total) == (10 + 4 + 6, 4, 24)
    to_title = shares(provenance(CutList(FPS, (a, title)), production()), production())
    assert (to_title.holders["Archive A"], to_title.made_new, to_title.total) == (12, 6, 18)


def test_the_account_says_what_lies_under_a_dissolve_and_how_it_counts():
    events = (Event(A, 0, 10, FPS), Event(ReelName("B/R01"), 50, 6, FPS, dissolve=3))
    told = accounts(scene().state, CutList(FPS, events), FACTS)
    said = str([block for account in told.archives for block in account_blocks(account)])
    assert "('10-12, under a dissolve', '10-12', " in said
    assert "('10-12, under a dissolve', '50-52', " in said
    assert "('13-15', '53-55', " in said
    assert "Of the film's 16 frames, at 24 a second, 11.5 show what Archive A lent (71.88 %)." in said


def test_the_provenance_is_told_run_by_run_with_what_no_print_had():
    told = accounts(scene().state, CUT, FACTS)
    assert told.shares is not None
    (_, whole, runs) = provenance_blocks("Tide", told.runs, told.shares)
    assert isinstance(whole, Table)
    assert whole.rows == (
        ("Archive A", "15", "83.33 %"),
        ("Archive B", "0", "0.00 %"),
        ("made new", "0", "0.00 %"),
        ("missing: no print had it", "3", "16.67 %"),
        ("all of the film", "18", "100.00 %"),
    )
    assert isinstance(runs, Table)
    assert runs.rows[1] == ("10-12", "missing", "", "")
    assert [run.origin for run in told.runs] == [Origin.PRINT, Origin.MISSING, Origin.PRINT]


def png() -> bytes:
    from PIL import Image

    out = BytesIO()
    Image.new("RGB", (40, 20), "grey").save(out, "PNG")
    return out.getvalue()


def test_page_and_pdf_show_all_of_it_with_pictures_and_strangers_words_are_text():
    from pypdf import PdfReader

    account = accounts(scene().state, CUT, FACTS).archives[0]
    blocks = [
        *account_blocks(account),
        Picture(some_digest("still"), "the can"),
        Picture(some_digest("gone"), "a label"),
    ]
    read = {some_digest("still"): png()}.get
    shown = page("Tide", blocks, read)
    assert "scratched &lt;b&gt;" in shown
    assert "<b>" not in shown
    assert shown.count("data:image/png;base64,") == 1
    assert "a label, SHA-256" in shown
    document = PdfReader(BytesIO(pdf("Tide", blocks, read)))
    text = " ".join(" ".join(each.extract_text().split()) for each in document.pages)
    for said in ("due back 31 December 2026", "Courtesy of A", "scratched <b>", "13-17", "cannot be shown here"):
        assert said in text
    assert sum(len(each.images) for each in document.pages) == 1


def test_a_cell_that_is_longer_than_a_page_is_printed_whole():
    from pypdf import PdfReader

    cell = "; ".join(f"step {number}" for number in range(1500))
    document = PdfReader(BytesIO(pdf("Tide", [Table(("what", "more"), ((cell, "x"),))], lambda _digest: None)))
    text = " ".join(" ".join(each.extract_text().split()) for each in document.pages)
    assert len(document.pages) > 1
    assert all(f"step {number}" in text for number in (0, 700, 1499))


def test_letters_that_the_pdf_s_face_lacks_are_lozenges_and_the_document_says_which():
    from pypdf import PdfReader

    def text_of(title: str) -> str:
        document = PdfReader(BytesIO(pdf(title, [Heading(title, 1)], lambda _digest: None)))
        return " ".join(" ".join(each.extract_text().split()) for each in document.pages)

    shown = text_of("Die Ebbe \u6f6e \u0e19\u0e49\u0e33")
    assert "lack U+0E19, U+0E33, U+0E49, U+6F6E: \u25ca stands" in shown
    assert "The HTML page of the same name" in shown
    assert shown.count("Die Ebbe \u25ca \u25ca\u25ca\u25ca") == 2  # the heading, and the foot of the page
    assert "faces lack" not in text_of("L\u00e4mpchen")


def test_greek_and_cyrillic_are_printed_and_what_must_be_joined_is_said_to_be_lacking():
    from pypdf import PdfReader

    if find_spec("fontpkg_noto_sans") is None:
        missing("pip install fontpkg-noto-sans: the second face of the extra `programme`")

    def text_of(title: str, *blocks: Block) -> str:
        document = PdfReader(BytesIO(pdf(title, [Heading(title, 1), *blocks], lambda _digest: None)))
        return " ".join(" ".join(each.extract_text().split()) for each in document.pages)

    shown = text_of("\u041b\u0430\u043c\u043f\u0430", Table(("x",), (("\u039b\u03ac\u03bc\u03c0\u03b1 & <b>",),)))
    assert shown.count("\u041b\u0430\u043c\u043f\u0430") == 2  # the heading, and the foot of the page
    assert "\u039b\u03ac\u03bc\u03c0\u03b1 & <b>" in shown
    assert "faces lack" not in shown
    assert "lack U+0926, U+092A, U+093F" in text_of(
        "\u0926\u093f\u092a"
    )  # Unicode Standard 12.1 (memory): it is reordered
    assert "U+0926" in text_of("Lamp", Table(("\u0926",), (("x",),)))


def test_no_word_of_a_table_is_broken_where_it_fits():
    from pypdf import PdfReader

    heads = ("version", "when", "by", "frames", "goes back to", "what was done")
    row = ("A/R01/v12", "2027-08-26", "Halifax: scanning", "0-15, 19-51", "A/R01/v1", "cleaned " * 60)
    text = PdfReader(BytesIO(pdf("Tide", [Table(heads, (row,))], lambda _digest: None))).pages[0].extract_text()
    for word in (*" ".join(heads).split(), "A/R01/v12", "2027-08-26", "scanning"):
        assert word in text.split(), word
