"""What happened to an archive's material as events of PREMIS 3.0 (Library of Congress), for catalogues of others. Pure.

Event types are labels of the Library of Congress's preservation vocabulary. Sites are agents; versions are
representations, and so are the frames of them that the film shows, each run with its generation, what was done to it
and where the film shows it. Each entry of the ledger that says something of a version is one event, by its number;
each step of a treatment record is one more.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import NamedTuple
from xml.etree import ElementTree as ET

from relay.ledger.decision_words import VersionsRetired
from relay.ledger.entry import Entry
from relay.ledger.state import State
from relay.ledger.telling import telling
from relay.ledger.words import (
    CopyChecked,
    ObjectMended,
    ReceiptSigned,
    VersionInspected,
    VersionMade,
    Word,
)
from relay.model import Element, VersionName, code_of, reel_of
from relay.programme.account import Account, ReelAccount
from relay.programme.lineage import Done, Use, done_in_words
from relay.wording import all_in_words

NAMESPACE = "http://www.loc.gov/premis/v3"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"


def _terms(scheme: str) -> dict[str, str]:
    return {"authority": scheme, "authorityURI": f"http://id.loc.gov/vocabulary/preservation/{scheme}"}


class _Event(NamedTuple):
    label: str
    outcome: str
    versions: tuple[VersionName, ...]


def _event(word: Word) -> _Event | None:
    match word:
        case VersionMade():
            return _Event("ingestion" if word.parents else "capture", "success", (word.version,))
        case ReceiptSigned():
            return _Event("replication", "success" if word.whole else "failure", (word.version,))
        case CopyChecked():
            return _Event("fixity check", word.outcome, (word.version,))
        case VersionInspected():
            return _Event("validation", "failure" if word.blocking else "success", (word.version,))
        case ObjectMended():
            return _Event("replication", "success", (word.version,))
        case VersionsRetired():
            return _Event("deletion", "success", word.versions)
        case _:
            return None


def premis(state: State, entries: Iterable[Entry], account: Account) -> bytes:
    """Return the events about what an archive lent as an XML document, in UTF-8; `state` is what `entries` say."""
    ET.register_namespace("premis", NAMESPACE)
    ET.register_namespace("xsi", _XSI)
    wanted = {each.element.code for each in account.elements}
    theirs = [name for name in state.versions if code_of(name) in wanted]
    used = [(each.element, use) for each in account.elements for reel in each.reels for use in reel.uses]
    told = [(at, entry, each) for entry in entries for at, each in enumerate(_events(entry, wanted))]
    steps = [step for each in account.elements for reel in each.reels for step in _steps(reel)]
    root = ET.Element(_tag("premis"), {"version": "3.0"})
    root.extend(_object(state, name) for name in theirs)
    root.extend(_used(state, lent, use) for lent, use in used if use.lineage.versions)
    root.extend(_event_element(at, entry, *each) for at, entry, each in told)
    root.extend(_step_element(state, done) for done in steps)
    agents = {entry.body.by for _, entry, _ in told} | {state.versions[done.version].by for done in steps}
    root.extend(_agent(name, state) for name in sorted(agents))
    ET.indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode").encode() + b"\n"


def _steps(reel: ReelAccount) -> Iterator[Done]:
    for each in reel.versions:
        yield from (Done(each.version.name, number, step) for number, step in enumerate(each.steps))


def _events(entry: Entry, codes: set[str]) -> Iterator[tuple[_Event, str]]:
    for word in entry.body.words:
        event = _event(word)
        if event is None:
            continue
        theirs = tuple(name for name in event.versions if code_of(name) in codes)
        if theirs:
            yield event._replace(versions=theirs), telling(word)


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _add(parent: ET.Element, name: str, text: str | None = None, **attributes: str) -> ET.Element:
    element = ET.SubElement(parent, _tag(name), attributes)
    element.text = None if text is None else _plain(text)
    return element


def _plain(text: str) -> str:
    """Return `text` without what XML 1.0 cannot hold (section 2.2)."""
    return "".join(each if each in "\t\n" or (each >= " " and each not in "\ufffe\uffff") else " " for each in text)


def _identified(parent: ET.Element, name: str, kind: str, value: str) -> ET.Element:
    holder = _add(parent, name)
    _add(holder, f"{name}Type", kind)
    _add(holder, f"{name}Value", value)
    return holder


def _object(state: State, name: VersionName) -> ET.Element:
    element = ET.Element(_tag("object"), {f"{{{_XSI}}}type": "premis:representation"})
    _identified(element, "objectIdentifier", "version", name)
    _identified(element, "objectIdentifier", "manifest SHA-256", state.versions[name].manifest)
    lent = state.film().element_of(reel_of(name))
    _add(element, "originalName", f"{lent.title}, reel {reel_of(name)}" if lent else name)
    return element


def _used(state: State, lent: Element, use: Use) -> ET.Element:
    """Return a run of frames that the film shows: what it is, how it was treated, which version has it."""
    name, lineage = use.lineage.versions[0], use.lineage
    element = ET.Element(_tag("object"), {f"{{{_XSI}}}type": "premis:representation"})
    shown = all_in_words(use.source)
    places = all_in_words(use.programme)
    _identified(element, "objectIdentifier", "frames of a version", f"{name}:{shown} at programme:{places}")
    reel = reel_of(name)
    facts = {
        "frames of the reel": f"{reel}:{shown}",
        "frames of the film": places + (", under a dissolve" if use.share < 1 else ""),
        "generation": lent.kind + (f", {lent.generation}" if lent.generation else ""),
        "goes back to": lineage.versions[-1],
        "treatment": done_in_words(lineage),
        "version": "as the film's own versions say" if lineage.is_said else "presumed: the first that is fetched",
    }
    for kind, value in facts.items():
        told = _add(element, "significantProperties")
        _add(told, "significantPropertiesType", kind)
        _add(told, "significantPropertiesValue", value)
    _related(element, "structural", "is part of", ("version", name))
    for made in use.programme:
        _related(element, "derivation", "is source of", ("frames of the film", f"programme:{made}"))
    for done in lineage.done:
        _identified(element, "linkingEventIdentifier", "step of a treatment record", _step_name(state, done))
    return element


def _related(parent: ET.Element, kind: str, subtype: str, other: tuple[str, str]) -> None:
    holder = _add(parent, "relationship")
    _add(holder, "relationshipType", kind, **_terms("relationshipType"))
    _add(holder, "relationshipSubType", subtype, **_terms("relationshipSubType"))
    _identified(holder, "relatedObjectIdentifier", *other)


def _step_name(state: State, done: Done) -> str:
    return f"{state.versions[done.version].entry}, step {done.number + 1}"


def _step_element(state: State, done: Done) -> ET.Element:
    """Return what was done to some frames of a version as an event: a new version came of it."""
    version = state.versions[done.version]
    event = _Event("modification" if version.parents else "capture", "success", (done.version,))
    name = ("step of a treatment record", _step_name(state, done))
    return _told(event, name, (version.time, version.by), done.step.in_words())


def _event_element(at: int, entry: Entry, event: _Event, said: str) -> ET.Element:
    return _told(event, ("ledger entry", f"{entry.sequence}.{at}"), (entry.body.time, entry.body.by), said)


def _told(event: _Event, name: tuple[str, str], signed: tuple[datetime, str], said: str) -> ET.Element:
    element = ET.Element(_tag("event"))
    _identified(element, "eventIdentifier", *name)
    _add(element, "eventType", event.label, **_terms("eventType"))
    _add(element, "eventDateTime", signed[0].isoformat())
    _add(_add(element, "eventDetailInformation"), "eventDetail", said)
    _add(_add(element, "eventOutcomeInformation"), "eventOutcome", event.outcome)
    _identified(element, "linkingAgentIdentifier", "site", signed[1])
    for version in event.versions:
        _identified(element, "linkingObjectIdentifier", "version", version)
    return element


def _agent(name: str, state: State) -> ET.Element:
    site = state.film().site(name)
    element = ET.Element(_tag("agent"))
    _identified(element, "agentIdentifier", "site", name)
    _add(element, "agentName", site.title if site else name)
    _add(element, "agentType", "organization")
    return element
