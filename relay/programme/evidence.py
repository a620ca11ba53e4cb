"""What people name as evidence: a version, frames of it, one against another, a still that was kept. Pure."""

from relay.errors import MissingError
from relay.ledger.decision_words import Evidence
from relay.ledger.state import State
from relay.wording import parse_frames


def evidence_of(state: State, text: str) -> Evidence:
    """Return what `text` names: a version, perhaps frames of it or against another, or a still. Raises RelayError."""
    found = [each for each in state.material if each.name == text or (len(text) > 7 and each.object.startswith(text))]
    if found:
        return Evidence(still=found[-1].object)
    name, equals, other = text.partition("=")
    name, colon, frames = name.partition(":")
    if "/" not in name:
        raise MissingError(f"no still is called {text!r}: `relay material keep` it first, or name a version")
    return Evidence(
        version=state.version(name).name,
        frames=parse_frames(frames) if colon else (),
        against=state.version(other).name if equals else None,
    )


def several(state: State, text: str) -> tuple[Evidence, ...]:
    """Return what `text` names, parted by semicolons or lines. Raises RelayError."""
    parts = (part.strip() for part in text.replace("\n", ";").split(";"))
    return tuple(evidence_of(state, part) for part in parts if part)
