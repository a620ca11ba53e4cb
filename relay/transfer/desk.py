"""What a site works with: its name and pen, the ledger, the store and the notebook."""

from dataclasses import dataclass
from pathlib import Path

from relay.clock import Clock
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
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
    hands: int
    """Files on their way at once."""

    @property
    def site(self) -> str:
        return self.pen.name
