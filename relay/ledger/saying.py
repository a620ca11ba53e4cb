"""Who says a word, where and when: what every rule asks about an entry. Pure."""

from datetime import datetime
from typing import NamedTuple

from relay.errors import RefusedError
from relay.ledger.keys import KeyId
from relay.ledger.state import Role, Signer

WORKING = (Role.SITE, Role.COORDINATOR)
RULING = (Role.COORDINATOR, Role.ROOT)


class Saying(NamedTuple):
    """The place of a word."""

    entry: int
    key: KeyId
    signer: Signer
    time: datetime

    @property
    def by(self) -> str:
        return self.signer.name

    def check_role(self, what: str, *roles: Role) -> None:
        """Raise RefusedError unless the signer has one of `roles`."""
        if self.signer.role not in roles:
            wanted = " or ".join(roles)
            raise RefusedError(
                f"{self.by} may not {what}: that takes a {wanted} key, and {self.by} signs as {self.signer.role}"
            )
