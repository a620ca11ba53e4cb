"""What happened to an archive's material as events of PREMIS 3.0 (Library of Congress), for catalogues of others. Pure.

Event types are labels of the Library of Congress's preservation vocabulary. Sites are agents, versions are
representations, and each entry of the ledger that says something of them is one event, by its number.
"""

from collections.abc import Iterable, Iterator
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
from relay.model import VersionName, reel_of

NAMESPACE = "http://www.loc.gov/premis/v3"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_VOCABULARY = {"authority": "eventType", "authorityURI": "http://id.loc.gov/vocabulary/preservation/eventType"}


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


def premis(state: State, entries: Iterable[Entry], codes: Iterable[str]) -> bytes:
    """Return the events about versions of the elements `codes` as an XML document, in UTF-8."""
    ET.register_namespace("premis", NAMESPACE)
    ET.register_namespace("xsi", _XSI)
    wanted = set(codes)
    theirs = [name for name in state.versions if name.partition("/")[0] in wanted]
    root = ET.Element(_tag("premis"), {"version": "3.0"})
    root.extend(_object(state, name) for name in theirs)
    told = [(at, entry, each) for entry in entries for at, each in enumerate(_events(entry, wanted))]
    root.extend(_event_element(at, entry, *each) for at, entry, each in told)
    root.extend(_agent(name, state) for name in sorted({entry.body.by for _, entry, _ in told}))
    ET.indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode").encode() + b"\n"


def _events(entry: Entry, codes: set[str]) -> Iterator[tuple[_Event, str]]:
    for word in entry.body.words:
        event = _event(word)
        if event is None:
            continue
        theirs = tuple(name for name in event.versions if name.partition("/")[0] in codes)
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


def _event_element(at: int, entry: Entry, event: _Event, said: str) -> ET.Element:
    element = ET.Element(_tag("event"))
    _identified(element, "eventIdentifier", "ledger entry", f"{entry.sequence}.{at}")
    _add(element, "eventType", event.label, **_VOCABULARY)
    _add(element, "eventDateTime", entry.body.time.isoformat())
    _add(_add(element, "eventDetailInformation"), "eventDetail", said)
    _add(_add(element, "eventOutcomeInformation"), "eventOutcome", event.outcome)
    _identified(element, "linkingAgentIdentifier", "site", entry.body.by)
    for name in event.versions:
        _identified(element, "linkingObjectIdentifier", "version", name)
    return element


def _agent(name: str, state: State) -> ET.Element:
    site = state.film().site(name)
    element = ET.Element(_tag("agent"))
    _identified(element, "agentIdentifier", "site", name)
    _add(element, "agentName", site.title if site else name)
    _add(element, "agentType", "organization")
    return element
