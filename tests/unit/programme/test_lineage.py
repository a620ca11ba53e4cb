"""Which version the film is made from, what it goes back to, and what was done to just these frames."""

from relay.media.treatment import Step
from relay.model import FrameRange, Production, ReelName, VersionName
from relay.programme.lineage import Known, Lineages, behind_the_programme, done_in_words, from_in_words
from tests.unit.ledger.scene import Told, pen, production, version

A = ReelName("A/R01")


def step(what: str, frames: str | None = None) -> Step:
    return Step.model_validate({"what": what, "with": "the desk", **({"frames": frames} if frames else {})})


def held(first: int, last: int, *steps: Step, silent: tuple[FrameRange, ...] = ()) -> Known:
    return Known((FrameRange(first=first, last=last),), steps, silent)


def told() -> tuple[Told, dict[VersionName, Known]]:
    """A scan, a rescan of part of it, a cleaning of the rescan, and a later one that nobody used."""
    film = production(elements="ABP").model_dump(mode="json", by_alias=True)
    film["element"][2]["kind"] = "restored programme"
    ledger = Told.founded(film=Production.model_validate(film))
    lisbon = pen("lisbon")
    ledger.say(lisbon, version("A/R01", 1))
    ledger.say(lisbon, version("A/R01", 2, parents=("A/R01/v1",)))
    ledger.say(lisbon, version("A/R01", 3, parents=("A/R01/v2",)))
    known = {
        "A/R01/v1": held(0, 29, step("dry scan")),
        "A/R01/v2": held(10, 39, step("wet gate"), silent=(FrameRange(first=20, last=21),)),
        "A/R01/v3": held(0, 39, step("dust removed", "12-14,18"), step("steadied", "14-16")),
    }
    return ledger, {VersionName(name): facts for name, facts in known.items()}


def said(ledger: Told, known: dict[VersionName, Known], frame: int) -> tuple[str, str, bool]:
    lineage = Lineages(ledger.state, A, known).of(frame)
    return from_in_words(lineage.versions), done_in_words(lineage), lineage.is_said


def test_a_frame_is_told_only_the_steps_that_touched_it_from_its_scan_on():
    ledger, known = told()
    whole = "A/R01/v3, from the scan A/R01/v1"
    scanned = "dry scan with the desk; wet gate with the desk"
    assert said(ledger, known, 11) == (whole, scanned, False)
    assert said(ledger, known, 14)[1] == f"{scanned}; dust removed with the desk; steadied with the desk"
    assert said(ledger, known, 18)[1] == f"{scanned}; dust removed with the desk"
    assert said(ledger, known, 20)[1] == f"{scanned}; changed in A/R01/v2 with no step that says so"


def test_a_frame_that_only_the_rescan_has_goes_back_to_the_rescan():
    ledger, known = told()
    assert said(ledger, known, 35) == ("A/R01/v3, from the scan A/R01/v2", "wet gate with the desk", False)
    assert said(ledger, known, 3)[0] == "A/R01/v3"  # what it was made from lacks this frame
    assert said(ledger, known, 77) == ("no version is known to hold them", "not known", False)


def test_what_the_film_s_newest_versions_were_made_from_goes_before_what_is_newer():
    ledger, known = told()
    ledger.say(pen("lisbon"), version("P/R01", 1, parents=("A/R01/v2", "A/R01/v1")))
    assert behind_the_programme(ledger.state) == {"A/R01/v1", "A/R01/v2"}
    assert said(ledger, known, 18) == (
        "A/R01/v2, from the scan A/R01/v1",
        "dry scan with the desk; wet gate with the desk",
        True,
    )
    assert said(ledger, known, 3) == ("A/R01/v1", "dry scan with the desk", True)
