"""The stored form, checked with the programs that anybody has: `sha256sum` and `openssl`."""

import base64
import shutil
import subprocess
from pathlib import Path

import pytest

from relay.ledger.entry import Entry, read_entry
from relay.ledger.keys import Pen
from tests.conftest import missing
from tests.unit.ledger.scene import Told, longer, pen


def program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        missing(f"`{name}` is not installed")
    return str(found)


@pytest.fixture(scope="module")
def told() -> Told:
    return longer(Told.founded(), 12)


def sha256sum(path: Path) -> str:
    ran = subprocess.run([program("sha256sum"), path], capture_output=True, text=True, check=True)
    return ran.stdout.split()[0]


def openssl_verifies(folder: Path, entry: Entry, public: str) -> bool:
    (folder / "public.pem").write_text(f"-----BEGIN PUBLIC KEY-----\n{public}\n-----END PUBLIC KEY-----\n")
    (folder / "signature").write_bytes(entry.signature)
    words = ["pkeyutl", "-verify", "-pubin", "-inkey", "public.pem", "-rawin", "-in", "signed", "-sigfile", "signature"]
    ran = subprocess.run([program("openssl"), *words], cwd=folder, capture_output=True, text=True, check=False)
    assert "Verified Successfully" in ran.stdout or "Verification Failure" in ran.stdout, ran.stderr
    return ran.returncode == 0


def test_each_entry_carries_what_sha256sum_says_of_the_one_before(told: Told, tmp_path: Path) -> None:
    for slot, raw in enumerate(told.raws):
        (tmp_path / str(slot)).write_bytes(raw)
        entry = read_entry(raw, slot)
        assert entry.body.previous == (sha256sum(tmp_path / str(slot - 1)) if slot else "0" * 64)
        assert entry.digest == sha256sum(tmp_path / str(slot))


def test_openssl_verifies_the_first_line_and_nothing_else(told: Told, tmp_path: Path) -> None:
    for slot, raw in enumerate(told.raws):
        entry = read_entry(raw, slot)
        public = told.state.roster[entry.body.key].public
        (tmp_path / "signed").write_bytes(raw.split(b"\n")[0] + b"\n")
        assert openssl_verifies(tmp_path, entry, public)
    (tmp_path / "signed").write_bytes(raw.split(b"\n")[0])
    assert not openssl_verifies(tmp_path, entry, public)


def test_an_entry_names_its_key_by_what_sha256sum_says_of_openssl_s_der_form(told: Told, tmp_path: Path) -> None:
    entry = read_entry(told.raws[-1], len(told.raws) - 1)
    public = told.state.roster[entry.body.key].public
    (tmp_path / "public.pem").write_text(f"-----BEGIN PUBLIC KEY-----\n{public}\n-----END PUBLIC KEY-----\n")
    words = ["pkey", "-pubin", "-in", "public.pem", "-outform", "DER", "-out", "public.der"]
    subprocess.run([program("openssl"), *words], cwd=tmp_path, check=True)
    assert sha256sum(tmp_path / "public.der") == entry.body.key


def test_openssl_reads_a_saved_key_and_we_read_one_that_openssl_made(tmp_path: Path) -> None:
    pen("lisbon").save(tmp_path / "ours")
    words = ["pkey", "-in", "ours", "-pubout", "-outform", "DER"]
    ran = subprocess.run([program("openssl"), *words], cwd=tmp_path, check=True, capture_output=True)
    assert base64.b64encode(ran.stdout).decode() == pen("lisbon").public

    from relay.ledger.keys import load_pen

    subprocess.run(
        [program("openssl"), *["genpkey", "-algorithm", "ed25519", "-out", "theirs"]], cwd=tmp_path, check=True
    )
    theirs: Pen = load_pen("lisbon", tmp_path / "theirs")
    assert len(theirs.sign(b"x")) == 64
