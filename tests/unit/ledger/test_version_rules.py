import pytest

from relay.errors import BrokenError
from relay.ledger.words import FAULTS_IN_ENTRY, Fault, ObjectMended, ReceiptSigned, Word
from relay.model import ScanMap
from tests.unit.ledger.scene import COORDINATOR, MENDER, Told, pen, some_digest, version

MADE = version()


@pytest.fixture
def told() -> Told:
    told = Told.founded()
    told.say(pen("lisbon"), MADE)
    return told


def refused(told: Told, match: str, *words: Word) -> None:
    with pytest.raises(BrokenError, match=match):
        told.say(pen("kolkata"), *words)


@pytest.mark.parametrize("number", [1, 3, 999_999])
def test_versions_of_a_reel_are_numbered_without_a_gap(told: Told, number: int) -> None:
    refused(told, "the next version of A/R01 is v2", version("A/R01", number))
    told.say(pen("kolkata"), version("A/R01", 2), version("A/R01", 3), version("B/R01", 1))
    assert [made.name for made in told.state.of_reel("A/R01")] == ["A/R01/v1", "A/R01/v2", "A/R01/v3"]


def test_a_version_is_of_a_reel_that_the_production_has(told: Told) -> None:
    refused(told, "no reel C/R01", version("C/R01"))
    refused(told, "no reel A/R04", version("A/R04"))


def test_parents_are_versions_that_exist(told: Told) -> None:
    refused(told, "parent A/R02/v1, which does not exist", version("A/R01", 2, parents=("A/R01/v1", "A/R02/v1")))
    refused(told, "parent A/R01/v2, which does not exist", version("A/R01", 2, parents=("A/R01/v2",)))
    told.say(pen("kolkata"), version("B/R01", 1, parents=("A/R01/v1",), scan_map=ScanMap.start_mark(86400)))
    assert told.state.version("B/R01").parents == ("A/R01/v1",)


def test_who_made_a_version_and_when_is_what_the_entry_says(told: Told) -> None:
    entry = told.say(pen("kolkata"), version("A/R01", 2))
    made = told.state.version("A/R01")
    assert (made.by, made.entry, made.time) == ("kolkata", entry.sequence, entry.body.time)


def fault(name: str = "0001.dpx") -> Fault:
    return Fault(path=name, what="changed", where="arrival", expected=some_digest("a"), found=some_digest("b"))


def receipt(**said: object) -> ReceiptSigned:
    return ReceiptSigned.model_validate({"version": MADE.version, "manifest": MADE.manifest, "whole": False, **said})


@pytest.mark.parametrize(
    "word",
    [
        receipt(whole=True, faults=(fault(),), faults_in_all=1),
        receipt(whole=True, faults_in_all=1),
        receipt(whole=True, faults=(fault(),)),
        receipt(whole=False),
        receipt(faults=(fault(),)),
        receipt(faults=(fault(), fault("2")), faults_in_all=1),
        receipt(faults=(fault(),), faults_in_all=2),
        receipt(faults=(), faults_in_all=300),
        receipt(faults=(fault(),) * (FAULTS_IN_ENTRY - 1), faults_in_all=300),
    ],
)
def test_a_receipt_that_contradicts_itself_is_refused(told: Told, word: ReceiptSigned) -> None:
    refused(told, "contradicts itself", word)


@pytest.mark.parametrize("half", [{"carried": 5}, {"took": 5}])
def test_a_receipt_tells_both_how_much_came_and_how_long_it_took_or_neither(told: Told, half: dict[str, int]) -> None:
    refused(told, "both or neither", receipt(whole=True, **half))
    told.say(pen("kolkata"), receipt(whole=True, carried=12_748_800, took=950))
    (kept,) = told.state.version("A/R01/v1").receipts
    assert (kept.carried, kept.took) == (12_748_800, 950)


def test_a_receipt_is_for_the_manifest_that_the_version_has(told: Told) -> None:
    refused(told, "another manifest", receipt(whole=True, manifest=some_digest("another")))
    refused(told, "no version A/R02/v1", receipt(whole=True, version="A/R02/v1"))


def test_receipts_are_kept_in_their_order_under_their_version(told: Told) -> None:
    told.say(pen("kolkata"), receipt(faults=(fault(),) * FAULTS_IN_ENTRY, faults_in_all=16_000))
    told.say(pen("kolkata"), receipt(whole=True))
    told.say(pen("halifax"), receipt(whole=True))
    found = told.state.version("A/R01/v1").receipts
    assert [(one.site, one.whole, one.faults_in_all) for one in found] == [
        ("kolkata", False, 16_000),
        ("kolkata", True, 0),
        ("halifax", True, 0),
    ]


def test_a_mending_names_a_version_that_exists(told: Told) -> None:
    mended = ObjectMended(object=some_digest("frame"), found=some_digest("bad"), version=MADE.version)
    with pytest.raises(BrokenError, match="no version A/R02/v1"):
        told.say(pen(MENDER), mended.model_copy(update={"version": "A/R02/v1"}))
    told.say(pen(MENDER), mended)
    told.say(pen(COORDINATOR), mended.model_copy(update={"found": None}))
    assert [(one.by, one.found) for one in told.state.mendings] == [(MENDER, mended.found), (COORDINATOR, None)]


def test_a_site_loses_the_right_to_mend_with_the_production_s_file(told: Told) -> None:
    from relay.ledger.words import ProductionRevised

    film = told.state.film()
    sites = tuple(site.model_copy(update={"mends": site.name == "lisbon"}) for site in film.sites)
    told.say(pen(COORDINATOR), ProductionRevised(production=film.model_copy(update={"sites": sites}), reason="moved"))
    mended = ObjectMended(object=some_digest("frame"), version=MADE.version)
    assert not told.may(pen(MENDER), mended)
    assert told.may(pen("lisbon"), mended)
