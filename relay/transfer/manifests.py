"""Manifests, read once and kept in the site's home: they name themselves, so a kept one is as good as the store's."""

import os
from pathlib import Path

from relay.errors import BrokenError, MissingError
from relay.media.manifest import BODY_LIMIT, Manifest, parse_manifest
from relay.model import Digest, digest_of
from relay.store.keys import object_key
from relay.store.port import Store


class Manifests:
    """The manifests of one production, at one site."""

    def __init__(self, store: Store, folder: Path) -> None:
        self._store = store
        self._folder = folder

    def read(self, digest: Digest) -> Manifest:
        """Return the manifest named `digest`. Raises BrokenError when what lies in the store is not it."""
        body = self._kept(digest)
        if body is None:
            body = self._from_store(digest)
            self._keep(digest, body)
        try:
            return parse_manifest(body)
        except ValueError as error:
            raise BrokenError(f"the manifest {digest} cannot be read: {error}") from error

    def keep(self, manifest: Manifest) -> None:
        """Keep a manifest that this site made itself."""
        self._keep(manifest.digest(), manifest.encode())

    def _kept(self, digest: Digest) -> bytes | None:
        try:
            body = (self._folder / digest).read_bytes()
        except OSError:
            return None
        return body if digest_of(body) == digest else None

    def _from_store(self, digest: Digest) -> bytes:
        key = object_key(digest)
        try:
            body = self._store.read(key, BODY_LIMIT)
        except MissingError as error:
            raise BrokenError(
                f"the manifest {digest} is not in {self._store.name}, though the ledger names it: "
                "a site that has it can put it back with `relay mend`"
            ) from error
        if digest_of(body) != digest:
            raise BrokenError(
                f"{self._store.name}: {key} holds wrong bytes, found SHA-256 {digest_of(body)}: "
                "a site that sent or fetched the version can put it right with `relay mend`"
            )
        return body

    def _keep(self, digest: Digest, body: bytes) -> None:
        part = self._folder / f"{digest}.{os.getpid()}"
        try:
            self._folder.mkdir(exist_ok=True)
            part.write_bytes(body)
            part.replace(self._folder / digest)
        except OSError:
            part.unlink(missing_ok=True)  # it only saves reading it again
