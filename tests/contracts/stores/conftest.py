"""The stores that every test of this folder runs against."""

import os
from pathlib import Path

import pytest

from relay.store.port import Store
from tests.contracts.stores.rigs import DirectoryRig, MemoryRig, Rig, S3Rig, ShuttleRig, refuse_links

# Whatever stands in a bucket's prefix must reach the server escaped, and signed, in one and the same way.
AWKWARD_PREFIX = "reels of 1921/na\u00efve+%20~&=?#(1)"

KINDS = [
    "memory",
    "directory",
    "shuttle drive",
    "moto",
    pytest.param("seaweedfs", marks=pytest.mark.seaweedfs),
    pytest.param("ceph", marks=pytest.mark.ceph),
]
CHECKING = KINDS[4:]


def rig_of(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Rig:
    match kind:
        case "memory":
            return MemoryRig()
        case "directory":
            return DirectoryRig(tmp_path / "store")
        case "shuttle drive":
            request.getfixturevalue("monkeypatch").setattr(os, "link", refuse_links)
            return ShuttleRig(tmp_path / "drive")
        case "moto":
            moto = request.getfixturevalue("moto_s3")
            return S3Rig.on(moto, AWKWARD_PREFIX, threads=4, keys=20, page=100, checks_bodies=False)
        case "seaweedfs":
            # A key that is fought over costs this server a second at four writers, and six at thirty-two.
            return S3Rig.on(request.getfixturevalue("seaweedfs"), AWKWARD_PREFIX, threads=2, keys=6)
        case "ceph":
            return S3Rig.on(request.getfixturevalue("ceph"), AWKWARD_PREFIX, page=100)
    raise ValueError(kind)


@pytest.fixture(params=KINDS)
def rig(request: pytest.FixtureRequest, tmp_path: Path) -> Rig:
    return rig_of(request.param, request, tmp_path)


@pytest.fixture
def store(rig: Rig) -> Store:
    return rig.open()


@pytest.fixture
def second(rig: Rig) -> Store:
    """Another client of the same place."""
    return rig.open()


@pytest.fixture(params=CHECKING)
def checking_rig(request: pytest.FixtureRequest, tmp_path: Path) -> S3Rig:
    """A server that checks keys and bodies, unlike moto."""
    return rig_of(request.param, request, tmp_path)
