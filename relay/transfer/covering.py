"""What the prints of an element's reels cover, by the frame maps in the store: reel by reel, along its own frames."""

from relay.errors import MissingError
from relay.ledger.state import State
from relay.model import ReelName, VersionName, code_of, reel_of
from relay.programme.coverage import About, Covered, covered
from relay.programme.lacking import Print
from relay.transfer.aligned import Source, prints_of
from relay.transfer.looked import decay_of


def aligned_elements(state: State) -> tuple[str, ...]:
    """Return the codes of the elements of which a reel was put beside another print, sorted."""
    return tuple(sorted({code_of(name) for name in state.aligned()}))


def reels_along(source: Source, state: State, code: str) -> tuple[Covered, ...]:
    """Return each reel of element `code`, by its newest version that was put beside another print.

    Raises MissingError where there is none.
    """
    newest: dict[ReelName, VersionName] = {}
    for name in sorted(state.aligned(), key=lambda name: state.versions[name].entry):
        if code_of(name) == code:
            newest[reel_of(name)] = name
    if not newest:
        raise MissingError(f"no reel of {code} was put beside another print yet: nothing is known to draw")
    prints = prints_of(source, state, [state.versions[newest[reel]] for reel in sorted(newest)])
    return tuple(covered_by(source, state, one) for one in prints)


def covered_by(source: Source, state: State, one: Print) -> Covered:
    """Return what each print covers along `one`. Raises BrokenError where a report of decay cannot be read."""
    names = (one.version, *one.maps)
    return covered(one, {name: _about(source, state, name) for name in names})


def _about(source: Source, state: State, name: VersionName) -> About:
    element = state.film().element_of(reel_of(name))
    decay = decay_of(source, state.versions[name])
    return About(kind_in_words(state, name), decay, element.title if element else "")


def kind_in_words(state: State, version: VersionName) -> str:
    """Return what a version was scanned from: `duplicate negative, second`; empty where the production does not say."""
    element = state.film().element_of(reel_of(version))
    if element is None:
        return ""
    return f"{element.kind}" + (f", {element.generation}" if element.generation else "")
