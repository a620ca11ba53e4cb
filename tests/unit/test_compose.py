"""docker-compose.yml against the Compose Specification, and the promises that its first lines make."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
import yaml

from tests.conftest import missing
from tests.servers.process import Process, free_port

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docker-compose.yml").read_text()
EXAMPLE = (ROOT / "deploy" / "compose.env.example").read_text()
VARIABLE = re.compile(r"\$\{(\w+)(?::([-?])([^}]*))?}")
SECRETS = {"RELAY_REDIS_PASSWORD", "RELAY_S3_ACCESS_KEY", "RELAY_S3_SECRET_KEY"}


def given() -> dict[str, str]:
    """Return what the example sets, with a password in each empty place."""
    lines = [line.partition("=") for line in EXAMPLE.splitlines() if line and not line.startswith("#")]
    return {name: value or "a-long-password" for name, _, value in lines}


def filled() -> str:
    return VARIABLE.sub(lambda found: given()[found[1]], TEXT)


SERVICES = yaml.safe_load(filled())["services"]


def test_the_file_is_one_that_the_compose_specification_allows():
    try:
        import compose_spec
    except ImportError:
        missing("compose-spec is not installed")
    composed = compose_spec.PyCompose.from_yaml(filled())
    composed.validate()

    assert set(composed.service_names()) == {"redis", "minio", "seaweedfs"}
    with pytest.raises(ValueError, match="helthcheck"):
        compose_spec.PyCompose.from_yaml(filled().replace("healthcheck:", "helthcheck:"))


def test_the_example_names_every_variable_and_no_other():
    used = {name for name, _, _ in VARIABLE.findall(TEXT)}

    assert used == set(given())


def test_where_nothing_is_set_the_example_says_what_holds():
    defaults = {name: value for name, kind, value in VARIABLE.findall(TEXT) if kind == "-"}

    assert defaults == {name: value for name, value in given().items() if name not in SECRETS}


def test_no_secret_has_a_default():
    assert {name for name, kind, _ in VARIABLE.findall(TEXT) if kind == "?"} == SECRETS
    assert all((name, "?") in {(found, kind) for found, kind, _ in VARIABLE.findall(TEXT)} for name in SECRETS)


@pytest.mark.parametrize("name", SERVICES)
def test_a_service_keeps_its_data_shows_its_health_and_listens_on_this_machine_only(name):
    service = SERVICES[name]

    assert service["healthcheck"]["test"]
    assert service["restart"] == "unless-stopped"
    assert [volume.split(":")[0] for volume in service["volumes"]] == [name]
    assert all(port.startswith("127.0.0.1:") for port in service["ports"])


def test_only_one_store_starts_unasked():
    assert [name for name, service in SERVICES.items() if "profiles" not in service] == ["redis", "minio"]


def test_redis_started_as_the_file_says_asks_for_its_password_and_keeps_what_it_is_told(tmp_path):
    programs = [shutil.which(name) for name in ("redis-server", "redis-cli")]
    if None in programs:
        missing("no redis-server found: apt-get install redis-server")
    command, secret = SERVICES["redis"]["command"], SERVICES["redis"]["environment"]["REDISCLI_AUTH"]
    port = str(free_port())
    redis = Process([*command, "--port", port, "--bind", "127.0.0.1", "--dir", tmp_path], tmp_path / "log")

    def ask(*words: str, password: str = secret) -> str:
        asked = ["redis-cli", "-p", port, "--no-auth-warning", "-a", password, *words]
        return subprocess.run(asked, capture_output=True, text=True, check=False).stdout

    try:
        while redis.is_running() and "PONG" not in ask("ping"):
            pass
        assert "yes" in ask("config", "get", "appendonly")
        assert "noeviction" in ask("config", "get", "maxmemory-policy")
        assert "PONG" not in ask("ping", password="wrong")
    finally:
        redis.kill9()
