"""Settings in, parts out: the only place that names a concrete store."""

from collections.abc import Iterator
from contextlib import contextmanager

from relay.clock import SYSTEM_CLOCK, Clock, FastClock
from relay.doorbell import Ringer, find_doorbell
from relay.errors import RefusedError
from relay.ledger.copy import LocalCopy
from relay.ledger.keys import KeyId, load_pen
from relay.ledger.ledger import Ledger
from relay.settings import CLOCK_VARIABLE, Home, SiteFile, store_keys, store_region
from relay.store.address import Address, DirectoryAddress, S3Address, parse_address
from relay.store.directory import DirectoryStore
from relay.store.port import Store
from relay.transfer.arrivals import Arrivals
from relay.transfer.desk import Desk
from relay.transfer.manifests import Manifests
from relay.transfer.notebook import Notebook
from relay.transfer.seat import Seat


def open_store(text: str) -> Store:
    """Return the store at an address. Raises RefusedError when it is no address."""
    match _address(text):
        case DirectoryAddress(root):
            return DirectoryStore(root)
        case S3Address(bucket, prefix, endpoint, region):
            from relay.store.s3 import S3Store  # a folder needs none of it
            from relay.store.signing import Keys

            keys = store_keys()
            return S3Store(
                bucket, prefix, endpoint=endpoint, region=region or store_region(), keys=Keys(*keys) if keys else None
            )


def found_store(text: str) -> Store:
    """Return the store at an address, making the folder if it is one; a bucket is made by whoever owns the account."""
    match _address(text):
        case DirectoryAddress(root):
            return DirectoryStore.founded(root)
        case _:
            return open_store(text)


def full_address(text: str) -> str:
    """Return the address as another process in another folder understands it."""
    match _address(text):
        case DirectoryAddress(root):
            return str(root)
        case _:
            return text


def _address(text: str) -> Address:
    try:
        return parse_address(text)
    except ValueError as error:
        raise RefusedError(str(error)) from error


def open_ledger(home: Home, store: Store, root: KeyId | None) -> Ledger:
    """Return the ledger in `store` as this home sees it."""
    return Ledger(store, LocalCopy(home.ledger), _calendar(home, store), root)


def _calendar(home: Home, store: Store) -> Clock:
    """Return the clock that entries are dated by: the machine's, except in a demonstration. Raises RefusedError."""
    if home.pace is None:
        return SYSTEM_CLOCK
    if not isinstance(store, DirectoryStore):
        raise RefusedError(
            f"{CLOCK_VARIABLE} is set, which is for the demo only, but the production lies in {store.name}, which "
            f"refuses what is signed at another time than its own: unset {CLOCK_VARIABLE}"
        )
    return FastClock(home.pace)


@contextmanager
def open_desk(home: Home) -> Iterator[Desk]:
    """Open what the site at `home` works with. Raises MissingError where no site is."""
    site: SiteFile = home.read()
    store = open_store(site.store)
    ledger = open_ledger(home, store, site.root)
    pen = load_pen(site.site, home.key)
    bell = Ringer(find_doorbell(site.production, home.broker), ledger, site.site)
    with Notebook(home.notebook) as notebook:
        yield Desk(
            pen=pen,
            ledger=ledger,
            store=store,
            notebook=notebook,
            arrivals=Arrivals(home.arrivals),
            manifests=Manifests(store, home.manifests),
            owed=home.owed,
            clock=SYSTEM_CLOCK,
            hands=home.hands,
        )
    bell.ring()


def take_seat(home: Home) -> Seat:
    """Return what the site at `home` speaks with while a program runs. Raises MissingError where no site is."""
    site = home.read()
    store = open_store(site.store)
    ledger = open_ledger(home, store, site.root)
    bell = Ringer(find_doorbell(site.production, home.broker), ledger, site.site)
    return Seat(
        pen=load_pen(site.site, home.key),
        ledger=ledger,
        store=store,
        manifests=Manifests(store, home.manifests),
        clock=SYSTEM_CLOCK,
        ring=bell.ring,
    )
