"""What a site works with: its name and pen, the ledger, the store and the notebook."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from relay.clock import Clock
from relay.errors import RefusedError
from relay.ledger.keys import Pen, key_id
from relay.ledger.ledger import Ledger
from relay.ledger.roster import check_may_sign
from relay.ledger.state import State
from relay.store.port import Store
from relay.transfer.arrivals import Arrivals
from relay.transfer.manifests import Manifests
from relay.transfer.notebook import Notebook


@dataclass(frozen=True)
class Desk:
    """One site at one production."""

    pen: Pen
    ledger: Ledger
    store: Store
    notebook: Notebook
    arrivals: Arrivals
    manifests: Manifests
    owed: Path
    """A folder for what was begun and must still be said."""
    clock: Clock
    """The machine's, which files are dated by and transfers timed with. Entries have `now()`."""
    hands: int
    """Files on their way at once."""

    @property
    def site(self) -> str:
        return self.pen.name

    def now(self) -> datetime:
        """Return the present instant on the clock that entries are dated by."""
        return self.ledger.now()

    def check_may_sign(self, state: State) -> None:
        """Raise RefusedError unless the key in this home counts, as this site's: said before hours of work."""
        check_may_sign(state, self.pen)
        owner = state.roster[key_id(self.pen.public)].name
        if owner != self.site:
            raise RefusedError(
                f"the key in this home is {owner}'s, but the home is {self.site}'s: put {self.site}'s own key back, or "
                f"name {owner}'s home with --home"
            )
