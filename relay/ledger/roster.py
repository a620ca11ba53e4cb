"""Who belongs to a production: founding it, inviting a site, joining, leaving, and new keys for old.

Each function says one thing in the ledger, through `append`: running it again after a lost answer says nothing twice.
"""

from datetime import datetime

from pydantic import ValidationError

from relay.errors import RefusedError
from relay.ledger.entry import Entry
from relay.ledger.keys import KeyId, Pen, PublicKey, key_id
from relay.ledger.ledger import Ledger
from relay.ledger.state import Role, State
from relay.ledger.words import (
    KeyReplaced,
    ProductionCreated,
    ProductionRevised,
    SiteInvited,
    SiteJoined,
    SiteRemoved,
    Word,
)
from relay.model import Digest, DigestField, Frozen, Line, Production, Slug


class Invitation(Frozen):
    """What a site is given to join with: the address, the root to pin, and a key that is good for joining once."""

    relay_invitation: int = 1
    production: Slug
    site: Slug
    store: Line
    root: DigestField
    seed: Line
    """The invitation's private key. Whoever has it can join as this site, once: send it like a password."""

    def pen(self) -> Pen:
        return Pen.from_seed(self.site, self.seed)


def parse_invitation(text: str) -> Invitation:
    """Return the invitation in `text`. Raises ValueError."""
    try:
        invitation = Invitation.model_validate_json(text)
    except ValidationError as error:
        raise ValueError("this is not an invitation: expected the file that `relay site invite` wrote") from error
    invitation.pen()
    return invitation


def found(ledger: Ledger, production: Production, root: Pen, coordinator: Pen) -> Entry | None:
    """Write entry 0. None when this very production was founded before. Raises RefusedError where another lies."""

    def decide(state: State, _now: datetime) -> list[Word] | None:
        if state.production is None:
            word = ProductionCreated(production=production, root=root.public, coordinator=coordinator.public)
            return [word]
        if state.root != key_id(root.public):
            raise RefusedError("another production lies at this address: choose another prefix")
        return None

    return ledger.append(root, decide)


def revise(ledger: Ledger, pen: Pen, production: Production, reason: str) -> Entry | None:
    """Put the production's changed file into the ledger; None when nothing in it is new."""

    def decide(state: State, _now: datetime) -> list[Word] | None:
        return None if state.film() == production else [ProductionRevised(production=production, reason=reason)]

    return ledger.append(pen, decide)


def invite(ledger: Ledger, pen: Pen, site: str, store: str) -> Invitation:
    """Invite `site`; an earlier invitation that was not used stops counting."""
    guest = Pen.fresh(site)
    ledger.insist(pen, lambda _state, _now: [SiteInvited(site=site, invitation=guest.public)])
    state = ledger.state
    root = state.root or Digest("")
    return Invitation(production=state.film().name, site=site, store=store, root=root, seed=guest.seed())


def join(ledger: Ledger, invitation: Invitation, pen: Pen) -> Entry | None:
    """Sign with `pen` as the invited site from now on. None when that was said before."""
    guest = invitation.pen()

    def decide(state: State, _now: datetime) -> list[Word] | None:
        mine = state.signer(invitation.site, Role.SITE)
        if mine is not None and mine.public == pen.public:
            return None
        _check_open(state, key_id(guest.public), invitation.site)
        return [SiteJoined(site=invitation.site, key=pen.public)]

    return ledger.append(guest, decide)


def _check_open(state: State, key: KeyId, site: str) -> None:
    signer = state.roster.get(key)
    if signer is None:
        raise RefusedError(f"the production knows nothing of this invitation for {site}: ask for a new one")
    if signer.until is not None:
        raise RefusedError(
            f"this invitation for {site} stopped counting with entry {signer.until}: it was used, or replaced by a "
            "newer one. If it was not you who used it, tell the coordinator at once"
        )


def remove(ledger: Ledger, pen: Pen, site: str, reason: str) -> Entry:
    """Take a site's keys off the roster."""
    return ledger.insist(pen, lambda _state, _now: [SiteRemoved(site=site, reason=reason)])


def replace_key(ledger: Ledger, pen: Pen, name: str, key: PublicKey, reason: str) -> Entry:
    """Let `name` sign with `key` from now on, and with no earlier key."""
    return ledger.insist(pen, lambda _state, _now: [KeyReplaced(name=name, key=key, reason=reason)])


def check_may_sign(state: State, pen: Pen) -> None:
    """Raise RefusedError unless `pen` is on the roster now: said before hours of sending, not after."""
    signer = state.roster.get(key_id(pen.public))
    if signer is None:
        raise RefusedError(f"this home's key is not on the roster for {pen.name}: join, or ask the coordinator")
    if signer.until is not None:
        raise RefusedError(
            f"{pen.name}'s key stopped counting with entry {signer.until}: ask the coordinator for a new one"
        )
