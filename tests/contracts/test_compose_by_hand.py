"""What docker-compose.yml starts, started by hand with its own arguments: broker, users, coordinator and two sites.

No Docker engine runs here, so images, networks and volumes are untried; folders stand for volumes, localhost for names.
"""

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from types import ModuleType

import pytest

from tests.conftest import missing
from tests.servers.process import Process, free_port
from tests.servers.s3 import S3Server
from tests.unit.test_compose import ROOT, SERVICES, SITES, given

PATIENCE = 300
PASSWORDS = {name: value for name, value in given().items() if name.endswith("_PASSWORD")}


def script(path: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(Path(path).stem, ROOT / path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def eventually(is_so: Callable[[], bool], told: Callable[[], str]) -> None:
    give_up = time.monotonic() + PATIENCE
    while not is_so():
        assert time.monotonic() < give_up, told()
        time.sleep(1)  # each look at a site's health starts a command beside what it waits for


class Machine:
    """A folder for each volume, and the processes that the containers would run."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.port = free_port()
        self.running: dict[str, Process] = {}
        (place / "letters").mkdir()

    def here(self, service: str, word: str) -> str:
        """Return a word of the file as it is said on this machine."""
        folders = {"/home/relay/home": f"{service}/home", "/reels": f"{service}/reels", "/data": "data"}
        folders |= {f"/{name}": name for name in ("broker", "authority", "letters")}
        word = word.replace("/deploy/", f"{ROOT}/deploy/").replace("@redis:6380", f"@localhost:{self.port}")
        for inside, outside in folders.items():
            if word.startswith(inside) or f"={inside}" in word:
                word = word.replace(inside, str(self.place / outside), 1)
        return str(self.place / "store") if word.startswith("s3://") else word.replace("6380", str(self.port))

    def words(self, service: str) -> list[str]:
        said = [*SERVICES[service].get("entrypoint", []), *SERVICES[service]["command"]]
        parts = [word.partition("=") for word in said]
        words = [
            f"{name}{sign}{self.here(service, value)}" if sign else self.here(service, name)
            for name, sign, value in parts
        ]
        return [sys.executable if word == "python" else word for word in words if not word.startswith("--owner")]

    def environment(self, service: str) -> dict[str, str]:
        told = {name: self.here(service, value) for name, value in SERVICES[service]["environment"].items()}
        path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
        return {"PATH": path, "HOME": str(self.place), "RELAY_HOME": str(self.place / service / "home"), **told}

    def prepare(self, **passwords: str) -> subprocess.CompletedProcess[str]:
        environment = {**self.environment("certificates"), **passwords}
        words = self.words("certificates")
        return subprocess.run(words, env=environment, capture_output=True, text=True, check=False)

    def start(self, service: str, *more: str) -> None:
        (self.place / service).mkdir(exist_ok=True)
        words = ["/usr/bin/env", "-i"]
        words += [f"{name}={value}" for name, value in self.environment(service).items()]
        self.running[service] = Process([*words, *self.words(service), *more], self.place / f"{service}.log")

    def is_healthy(self, service: str) -> bool:
        kind, *words = SERVICES[service]["healthcheck"]["test"]
        said = [self.here(service, word) for word in words]
        said = [word.replace("/authority", str(self.place / "authority")) for word in said]
        command = ["sh", "-c", said[0]] if kind == "CMD-SHELL" else said
        environment = self.environment(service)
        return subprocess.run(command, env=environment, capture_output=True, check=False).returncode == 0

    def relay(self, service: str, *words: str) -> str:
        command = ["relay", *words]
        done = subprocess.run(
            command, env=self.environment(service), capture_output=True, text=True, check=False, executable=RELAY
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def log(self, service: str) -> str:
        return (self.place / f"{service}.log").read_text(errors="replace")

    def last_words(self) -> str:
        return "\n".join(f"--- {name}\n{self.log(name)[-2000:]}" for name in self.running)


RELAY = Path(sys.executable).with_name("relay")
BEGUN = {"coordinator": "lisbon", "halifax": "halifax", "tokyo": "tokyo"}
"""Which site a service says it works for. Its log is looked at before its health, which a command of its own asks."""


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    if shutil.which("redis-server") is None:
        missing("redis-server is not installed: apt-get install redis-server")
    machine = Machine(tmp_path)
    assert machine.prepare().returncode == 0
    machine.start("redis", "--bind", "127.0.0.1", "--dir", str(tmp_path))
    eventually(lambda: machine.is_healthy("redis"), machine.last_words)
    yield machine
    for process in machine.running.values():
        process.kill9()


REPLACED = {
    "WARNING the ear is deaf, though the broker takes messages: it is opened anew",
    "INFO the ear said:",
    "INFO the ear said: worker: Warm shutdown (MainProcess)",
}
"""What a worker says of an ear that fell behind on a busy machine, and Celery's farewell."""


def complaints(log: str) -> list[str]:
    """Return whatever else was said of an ear."""
    return [line for line in log.splitlines() if "the ear" in line and line.strip() not in REPLACED]


def test_a_reel_goes_from_one_example_site_to_the_other_by_the_bell(machine: Machine) -> None:
    for service in sorted(SITES, reverse=True):  # the sites first: each waits for its invitation
        machine.start(service)
    for service, site in BEGUN.items():
        eventually(lambda service=service, site=site: f"{site} works in" in machine.log(service), machine.last_words)
    eventually(lambda: all(machine.is_healthy(service) for service in SITES), machine.last_words)
    standings = {
        site["site"]: site["standing"] for site in json.loads(machine.relay("tokyo", "site", "list", "--json"))["sites"]
    }
    assert standings == {"lisbon": "coordinator", "halifax": "joined", "tokyo": "joined"}
    assert list((machine.place / "letters").iterdir()) == [], "an invitation that was used is not left lying about"

    machine.relay("halifax", "claim", "scan/A/R01")
    to_send = machine.place / "halifax/reels/to-send"
    (to_send / "A_R01").mkdir()
    (to_send / "A_R01" / "a.0000001.dpx").write_bytes(b"a frame")
    (to_send / "A_R01.finished").touch()
    machine.relay("halifax", "claim", "scan/A/R02")  # rings: somebody looks at once
    arrived = machine.place / "tokyo/reels/arrived/A_R01_v1/a.0000001.dpx"
    eventually(arrived.exists, machine.last_words)
    assert arrived.read_bytes() == b"a frame"
    assert "tokyo is rung: " in machine.log("tokyo")
    assert complaints(machine.log("tokyo")) == [], "its user may do all that a worker needs"

    head = json.loads(machine.relay("tokyo", "ledger", "show", "--json"))["entries"][-1]["sequence"]
    machine.running["coordinator"].kill9()
    machine.running["halifax"].kill9()
    for service in ("coordinator", "halifax"):
        machine.start(service)
    for service in ("coordinator", "halifax"):
        begun = f"{BEGUN[service]} works in"
        eventually(lambda service=service, begun=begun: machine.log(service).count(begun) == 2, machine.last_words)
    said = json.loads(machine.relay("tokyo", "ledger", "show", "--json"))["entries"]
    words = [word["word"] for entry in said if entry["sequence"] > head for word in entry["words"]]
    assert not {"production-created", "site-invited", "site-joined"} & set(words), "a second start founds nothing anew"


def test_redis_started_as_the_file_says_keeps_what_it_is_told_and_knows_its_users_only(machine: Machine) -> None:
    environment = machine.environment("redis")

    def ask(*words: str, user: str = "keeper", password: str = environment["REDISCLI_AUTH"]) -> str:
        authority = str(machine.place / "authority/ca.crt")
        asked = ["redis-cli", "-h", "localhost", "-p", str(machine.port), "--tls", "--cacert", authority]
        command = [*asked, "--no-auth-warning", "--user", user, "-a", password, *words]
        return subprocess.run(command, capture_output=True, text=True, check=False).stdout

    assert "yes" in ask("config", "get", "appendonly")
    assert "noeviction" in ask("config", "get", "maxmemory-policy")
    assert "PONG" not in ask("ping", password="wrong")
    assert "PONG" in ask("ping", user="site-tokyo", password=PASSWORDS["RELAY_REDIS_TOKYO_PASSWORD"])
    assert "NOPERM" in ask("acl", "list", user="site-tokyo", password=PASSWORDS["RELAY_REDIS_TOKYO_PASSWORD"])
    assert not any(word in (machine.place / "broker/users.acl").read_text() for word in PASSWORDS.values())


def openssl(*words: str | Path) -> str:
    return subprocess.run(["openssl", *words], capture_output=True, text=True, check=True).stdout


@pytest.fixture
def prepared(tmp_path: Path) -> Machine:
    machine = Machine(tmp_path)
    done = machine.prepare()
    assert done.returncode == 0, done.stderr
    return machine


def test_the_broker_s_certificate_is_one_that_openssl_accepts_for_its_names(prepared: Machine) -> None:
    authority, certificate = prepared.place / "authority/ca.crt", prepared.place / "broker/broker.crt"
    for host in ("redis", "localhost"):
        said = openssl("verify", "-x509_strict", "-CAfile", authority, "-verify_hostname", host, certificate)
        assert said.strip().endswith("OK")
    with pytest.raises(subprocess.CalledProcessError):
        openssl("verify", "-CAfile", authority, "-verify_hostname", "elsewhere", certificate)
    modes = {path.name: path.stat().st_mode & 0o777 for path in (prepared.place / "broker").iterdir()}
    assert modes == {"ca.key": 0o600, "broker.key": 0o600, "broker.crt": 0o644, "users.acl": 0o600}
    assert [path.name for path in (prepared.place / "authority").iterdir()] == ["ca.crt"]


def test_preparing_again_keeps_the_certificate_and_takes_a_new_password(prepared: Machine) -> None:
    broker = prepared.place / "broker"
    before = {path.name: path.read_bytes() for path in broker.iterdir()}
    assert prepared.prepare(RELAY_REDIS_TOKYO_PASSWORD="another-long-word").returncode == 0
    after = {path.name: path.read_bytes() for path in broker.iterdir()}
    assert {name for name in before if before[name] != after[name]} == {"users.acl"}
    assert set(before) == set(after)


@pytest.mark.parametrize("password", ["", "short", "with a space in it", "with/a/slash/in/it", "with@a:sign-in-it"])
def test_a_password_that_would_not_work_in_an_address_is_refused(prepared: Machine, password: str) -> None:
    done = prepared.prepare(RELAY_REDIS_TOKYO_PASSWORD=password)
    assert done.returncode == 1
    assert "RELAY_REDIS_TOKYO_PASSWORD: expected 12 or more" in done.stderr


def test_a_certificate_that_ends_within_a_month_or_is_for_other_hosts_is_made_anew(tmp_path: Path, monkeypatch) -> None:
    prepare = script("deploy/redis/prepare.py")
    certificate = tmp_path / "broker.crt"
    prepare.certify(tmp_path, tmp_path, ["redis"])
    first, authority = certificate.read_bytes(), (tmp_path / "ca.crt").read_bytes()
    prepare.certify(tmp_path, tmp_path, ["redis", "127.0.0.1"])
    second = certificate.read_bytes()
    assert first != second
    openssl("verify", "-CAfile", tmp_path / "ca.crt", "-verify_ip", "127.0.0.1", certificate)
    monkeypatch.setattr(prepare, "CERTIFICATE_LASTS", timedelta(days=29))
    certificate.unlink()
    prepare.certify(tmp_path, tmp_path, ["redis"])
    ending = certificate.read_bytes()
    prepare.certify(tmp_path, tmp_path, ["redis"])
    assert certificate.read_bytes() != ending
    assert (tmp_path / "ca.crt").read_bytes() == authority, "sites need not be told of a new authority"


@pytest.mark.seaweedfs
def test_the_coordinator_makes_the_bucket_and_finds_it_the_next_time(seaweedfs: S3Server, monkeypatch) -> None:
    from relay.wiring import open_store

    begin = script("deploy/compose/begin.py")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", seaweedfs.access_key)
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", seaweedfs.secret_key)
    store = f"s3://made-by-begin/quillmark?endpoint={seaweedfs.endpoint}"
    for _ in range(2):
        begin.make_bucket(store)
        assert list(open_store(store).list("entries/")) == []
    begin.make_bucket("/a/folder")
