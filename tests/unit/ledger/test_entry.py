import base64
import json
from datetime import timedelta

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from relay.errors import BrokenError, RefusedError
from relay.ledger.entry import is_canonical, read_entry
from relay.ledger.history import History
from tests.unit.ledger.scene import NOON, Told, pen, version


def resigned(signed: bytes, name: str = "lisbon") -> bytes:
    """Return `signed` as an entry with a good signature: what an ill-meaning site can write."""
    return signed + base64.b64encode(pen(name).sign(signed)) + b"\n"


@pytest.fixture
def told() -> Told:
    return Told.founded()


def line_of(raw: bytes) -> bytes:
    return raw.split(b"\n")[0] + b"\n"


def refusal(told: Told, raw: bytes) -> str:
    history = History(told.history.root)
    history.take_all(told.raws)
    with pytest.raises(BrokenError) as caught:
        history.take(raw)
    assert str(caught.value).startswith(f"entry {len(told.raws)}")
    return str(caught.value)


def test_the_first_line_is_rfc_8785_canonical_json(told: Told) -> None:
    note = 'é, "quoted", \\, \u2028, \u0000\u001f\u007f, \U0001f39e, \t\r\n'
    for raw in (*told.raws, told.written(pen("lisbon"), version(note=note))):
        signed = line_of(raw)
        # RFC 8785 as PyPI `rfc8785` implements it; the line feed is ours.
        assert rfc8785.dumps(json.loads(signed)) + b"\n" == signed


@given(note=st.text(st.characters(exclude_categories=("Cs",)), max_size=40))
def test_whatever_a_note_says_comes_back_from_the_stored_form(note: str) -> None:
    told = Told()
    raw = told.written(pen("lisbon"), version(note=note))
    entry = read_entry(raw, 0)
    assert is_canonical(entry)
    assert entry.body.words == (version(note=note),)
    assert rfc8785.dumps(json.loads(entry.signed)) + b"\n" == entry.signed


def spaced(signed: bytes) -> bytes:
    return signed.replace(b'":', b'": ', 1)


def reordered(signed: bytes) -> bytes:
    body = json.loads(signed)
    return json.dumps({"words": body.pop("words"), **body}, separators=(",", ":")).encode() + b"\n"


def escaped(signed: bytes) -> bytes:
    return signed.replace(b'"note":"x"', b'"note":"\\u0078"')


def doubled(signed: bytes) -> bytes:
    return signed.replace(b'"files":160', b'"files":1,"files":160')


def offset(signed: bytes) -> bytes:
    return signed.replace(b'Z","words', b'+00:00","words')


def fractional(signed: bytes) -> bytes:
    return signed.replace(b'Z","words', b'.000Z","words')


@pytest.mark.parametrize("altered", [spaced, reordered, escaped, doubled, offset, fractional])
def test_a_second_way_of_writing_the_same_is_refused_though_it_is_well_signed(told: Told, altered) -> None:  # type: ignore[no-untyped-def]
    raw = told.written(pen("lisbon"), version(note="x"))
    signed = altered(line_of(raw))
    assert signed != line_of(raw)
    assert "canonical" in refusal(told, resigned(signed))


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        (b'"files":160', b'"files":160.0'),
        (b'"files":160', b'"files":"160"'),
        (b'"files":160', b'"files":1.6e2'),
        (b'"files":160', b'"files":true'),
        (b'"files":160', b'"files":NaN'),
        (b'"files":160', b'"files":0'),
        (b'"files":160', b'"files":' + b"9" * 5000),
        (b'"note":"x"', b'"note":"\\ud800"'),
        (b'"note":"x"', b'"note":"\xff"'),
        (b'"note":"x"', b'"note":null'),
        (b'"note":"x"', b'"note":' + b"[" * 100_000),
        (b'"2026-03-02T12:07:00Z"', b"1772452800"),
        (b'"2026-03-02T12:07:00Z"', b'"2026-03-02T12:07:00.5Z"'),
        (b'"2026-03-02T12:07:00Z"', b'"2026-03-02T13:07:00+01:00"'),
        (b'"2026-03-02T12:07:00Z"', b'"2026-03-02T12:07:00"'),
        (b'"version":"A/R01/v1"', b'"version":"A/R01/v01"'),
        (b'"words":[{', b'"words":[],"x":[{'),
    ],
)
def test_what_is_not_said_in_the_only_way_is_refused_though_it_is_well_signed(
    told: Told, was: bytes, becomes: bytes
) -> None:
    signed = line_of(told.written(pen("lisbon"), version(note="x")))
    assert signed.count(was) == 1
    refusal(told, resigned(signed.replace(was, becomes)))


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        (b'"word":"version-made"', b'"word":"reel-repainted"'),
        (b'"files":160', b'"colour":"sepia","files":160'),
        (b'"relay_entry":1', b'"relay_entry":2'),
        (b'"words":[', b'"weather":"fog","words":['),
    ],
)
def test_a_word_or_a_field_of_a_newer_relay_says_upgrade(told: Told, was: bytes, becomes: bytes) -> None:
    signed = line_of(told.written(pen("lisbon"), version()))
    assert signed.count(was) == 1
    assert "upgrade" in refusal(told, resigned(signed.replace(was, becomes)))


def test_an_unknown_word_behind_a_known_one_still_says_upgrade(told: Told) -> None:
    signed = line_of(told.written(pen("lisbon"), version()))
    altered = signed.replace(b'"word":"version-made"}]', b'"word":"version-made"},{"word":"reel-repainted"}]')
    assert "upgrade" in refusal(told, resigned(altered))


def test_what_is_no_entry_at_all_does_not_ask_for_an_upgrade(told: Told) -> None:
    for raw in (b"", b"\n", b"\n\n", b"{}\n\n", b"hello\nworld\n", b"[1]\nAAAA\n", b"\x00" * 99):
        assert "upgrade" not in refusal(told, raw)


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda raw: raw[:-1],
        lambda raw: raw + b"\n",
        lambda raw: raw + raw,
        lambda raw: raw.replace(b"\n", b"\r\n"),
        lambda raw: raw[:-1] + b" \n",
        lambda raw: raw[:-3] + b"\n",
        line_of,
        lambda raw: line_of(raw) + b"\n",
        lambda raw: line_of(raw) + b"A" * 88 + b"\n",
        lambda raw: line_of(raw) + base64.b64encode(b"A" * 63) + b"\n",
        # The last figure of base64 has bits that mean nothing: 64 bytes leave four of them.
        lambda raw: raw[:-4] + bytes([raw[-4] + 1]) + b"==\n",
    ],
)
def test_a_signature_line_that_is_not_exactly_right_is_refused(told: Told, spoilt) -> None:  # type: ignore[no-untyped-def]
    raw = told.written(pen("lisbon"), version())
    assert raw.endswith(b"==\n")
    refusal(told, spoilt(raw))


def test_what_makes_no_entry_is_refused_before_it_is_signed(told: Told) -> None:
    with pytest.raises(RefusedError, match="at words"):
        told.written(pen("lisbon"), *[version()] * 10_001)
    with pytest.raises(RefusedError, match="at by"):
        told.written(pen("Not A Slug"), version())
    with pytest.raises(RefusedError, match="fraction of a second"):
        told.written(pen("lisbon"), version(), time=NOON + timedelta(milliseconds=1))
