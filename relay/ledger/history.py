"""Reads entries in their order and believes none before it is checked: place, chain, signature, right."""

from collections.abc import Iterable
from io import BytesIO

from relay.errors import BrokenError, RefusedError
from relay.ledger import rules
from relay.ledger.entry import NO_ENTRY, Entry, is_canonical, read_entry
from relay.ledger.keys import KeyId, PublicKey, is_signed
from relay.ledger.state import State
from relay.ledger.words import ProductionCreated


def check_place(state: State, entry: Entry) -> None:
    """Raise BrokenError unless `entry` is the one that follows `state` in the chain."""
    slot = state.sequence + 1
    if entry.body.sequence != slot:
        raise BrokenError(f"entry {slot}: what lies there says that it is entry {entry.body.sequence}")
    if entry.body.previous != state.digest:
        before = "nothing" if state.digest == NO_ENTRY else f"{state.digest[:16]}..., as entry {slot - 1} lies here"
        raise BrokenError(
            f"entry {slot} does not follow entry {slot - 1}: it was written after {entry.body.previous[:16]}..., "
            f"but before it comes {before}. One of the two was changed or put in another's place"
        )


def check_signature(state: State, entry: Entry) -> None:
    """Raise BrokenError unless the key that `entry` names signed exactly its first line, in canonical form."""
    slot, body = entry.sequence, entry.body
    public = _public(state, entry)
    if public is None:
        raise BrokenError(f"entry {slot} is signed by {body.by} with a key that is not on the roster")
    if not is_signed(public, entry.signed, entry.signature):
        raise BrokenError(f"entry {slot}: the signature is not {body.by}'s: the entry was changed, or forged")
    if not is_canonical(entry):
        raise BrokenError(f"entry {slot} is not in canonical form: two readers could understand it differently")


def _public(state: State, entry: Entry) -> PublicKey | None:
    first = entry.body.words[0]
    if state.sequence < 0 and isinstance(first, ProductionCreated):
        return first.root
    signer = state.roster.get(entry.body.key)
    return signer.public if signer else None


class History:
    """A ledger as it is read: takes one entry's bytes at a time and keeps the state.

    `root`, the pinned root key, is what tells this production's entry 0 from anybody else's. After a BrokenError the
    state is half-told: throw the history away.
    """

    def __init__(self, root: KeyId | None = None) -> None:
        self.root = root
        self.state = State()

    def take(self, raw: bytes, *, checked_before: bool = False) -> Entry:
        """Check and fold the next entry. Raises BrokenError naming the entry and the reason.

        `checked_before`: this site checked the signature of these very bytes earlier and kept them in its own copy;
        the chain and the rules are gone through all the same.
        """
        slot = self.state.sequence + 1
        entry = read_entry(raw, slot)
        check_place(self.state, entry)
        if not checked_before:
            check_signature(self.state, entry)
        try:
            rules.fold(self.state, entry)
        except RefusedError as error:
            raise BrokenError(f"entry {slot} says what its signer may not say: {error}") from error
        if slot == 0 and self.root is not None and self.state.root != self.root:
            raise BrokenError(
                f"entry 0 is signed by root {self.state.root}, but this site joined the production of root "
                f"{self.root}: this is another production, or a forged one"
            )
        return entry

    def take_all(self, raws: Iterable[bytes], *, checked_before: bool = False) -> State:
        """Take many entries and return the state after them."""
        for raw in raws:
            self.take(raw, checked_before=checked_before)
        return self.state


def split_bundle(bundle: bytes) -> list[bytes]:
    """Return the entries whose exact bytes lie end to end in `bundle`. An entry is two lines."""
    lines = BytesIO(bundle).readlines()
    return [b"".join(lines[at : at + 2]) for at in range(0, len(lines), 2)]
