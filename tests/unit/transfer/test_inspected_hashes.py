"""What was hashed while it was looked at need not be read for its hash again: counted in bytes."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.errors import BrokenError
from relay.model import digest_of
from relay.transfer.deposit import deposit
from relay.transfer.folder import survey
from relay.transfer.hashes import remember_hashes
from relay.transfer.notebook import Notebook
from tests.contracts.memory_store import MemoryStore
from tests.faults.send_house import LaterClock, lay_out

FRAMES = {f"frames/a.{number:04d}.dpx": bytes([number]) * 5000 for number in range(20)}
CHANGED = "frames/a.0007.dpx"


@pytest.fixture
def notebook(tmp_path: Path) -> Iterator[Notebook]:
    with Notebook(tmp_path / "notebook") as notebook:
        yield notebook


def look(notebook: Notebook, folder: Path, meanwhile: str = "", held: bytes = b"") -> None:
    """Hash a folder as an inspection does; `meanwhile` is a file that gets other bytes after it was read."""
    files = survey(folder).files
    digests = {path: digest_of((folder / path).read_bytes()) for path in files}
    if meanwhile:
        (folder / meanwhile).write_bytes(held)
    remember_hashes(notebook, folder, files, digests, LaterClock().now())


@pytest.fixture
def store(tmp_path: Path, notebook: Notebook) -> MemoryStore:
    """A store that holds the frames already: of an earlier version, from another folder."""
    store = MemoryStore()
    deposit(lay_out(tmp_path / "first", FRAMES), store, notebook, clock=LaterClock())
    return store


def test_of_what_was_looked_at_only_the_frames_that_the_store_lacks_are_read(
    tmp_path: Path, notebook: Notebook, store: MemoryStore
):
    mended = lay_out(tmp_path / "mended", {**FRAMES, CHANGED: b"mended" * 1000})
    look(notebook, mended)
    sent = deposit(mended, store, notebook, clock=LaterClock())
    assert (sent.hashed_bytes, sent.manifest.by_path[CHANGED].digest) == (6000, digest_of(b"mended" * 1000))
    unseen = lay_out(tmp_path / "unseen", FRAMES)  # so the count tells the two apart
    assert deposit(unseen, store, notebook, clock=LaterClock()).hashed_bytes == 20 * 5000


def test_a_file_that_changed_while_it_was_looked_at_is_not_believed(
    tmp_path: Path, notebook: Notebook, store: MemoryStore
):
    folder = lay_out(tmp_path / "copy", FRAMES)
    look(notebook, folder, meanwhile=CHANGED, held=b"other" * 1000)
    sent = deposit(folder, store, notebook, clock=LaterClock())
    assert (sent.hashed_bytes, sent.manifest.by_path[CHANGED].digest) == (5000, digest_of(b"other" * 1000))


def test_what_the_store_lacks_must_still_hold_what_was_looked_at(tmp_path: Path, notebook: Notebook):
    folder = lay_out(tmp_path / "reel", FRAMES)
    files = survey(folder).files
    remember_hashes(notebook, folder, files, dict.fromkeys(files, digest_of(b"what it was")), LaterClock().now())
    with pytest.raises(BrokenError, match="changed although nothing shows it"):
        deposit(folder, MemoryStore(), notebook, clock=LaterClock())


def test_a_file_that_vanished_meanwhile_is_passed_by(tmp_path: Path, notebook: Notebook):
    folder = lay_out(tmp_path / "reel", FRAMES)
    files = survey(folder).files
    digests = {path: digest_of((folder / path).read_bytes()) for path in files}
    (folder / CHANGED).unlink()
    remember_hashes(notebook, folder, files, digests, LaterClock().now())
    stamps = {str(folder.resolve() / path): stamp for path, stamp in files.items()}
    assert set(notebook.known(stamps)) == set(stamps) - {str(folder.resolve() / CHANGED)}
