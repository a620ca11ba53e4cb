"""What the suite itself promises: nothing of this machine leaks in, and nothing slow runs unasked."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

from tests.conftest import missing
from tests.sharing_out import unit_of

ROOT = Path(__file__).parents[2]


def collected(*words: str, **environment: str) -> str:
    asked = [sys.executable, "-m", "pytest", "--collect-only", "-q", *words, __file__]
    return subprocess.run(
        asked, cwd=ROOT, env={**os.environ, **environment}, capture_output=True, text=True, check=False
    ).stdout


@pytest.mark.soak
def test_that_runs_only_when_asked_to_soak(pytestconfig):
    assert "soak" in pytestconfig.option.markexpr


@pytest.mark.bench
def test_that_runs_only_when_asked_to_bench(pytestconfig):
    assert "bench" in pytestconfig.option.markexpr


@pytest.mark.parametrize(
    ("words", "soak", "bench"),
    [([], False, False), (["-m", "soak"], True, False), (["-m", "bench"], False, True)],
)
def test_what_is_slow_is_collected_only_on_request(words, soak, bench):
    shown = collected(*words)

    assert ("test_that_runs_only_when_asked_to_soak" in shown) is soak
    assert ("test_that_runs_only_when_asked_to_bench" in shown) is bench


def test_settings_of_this_machine_do_not_reach_the_tests():
    leaking = {"RELAY_SITE": "someone-else", "AWS_PROFILE": "production", "AWS_ENDPOINT_URL": "http://192.0.2.1"}
    program = [sys.executable, "-m", "pytest", "-q", f"{__file__}::test_that_sees_no_setting"]
    done = subprocess.run(program, cwd=ROOT, env={**os.environ, **leaking}, capture_output=True, text=True, check=False)

    assert "1 passed" in done.stdout


def test_that_sees_no_setting():
    assert [name for name in os.environ if name.startswith("RELAY_")] == []
    assert {name: value for name, value in os.environ.items() if name.startswith("AWS_")} == {
        "AWS_CONFIG_FILE": os.devnull,
        "AWS_SHARED_CREDENTIALS_FILE": os.devnull,
        "AWS_EC2_METADATA_DISABLED": "true",
    }


def test_what_is_missing_is_skipped_at_home_and_fails_in_ci(monkeypatch):
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="no such server"):
        missing("no such server")

    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="no such server"):
        missing("no such server")


def test_no_property_has_a_deadline():
    assert settings.default is not None
    assert settings.default.deadline is None


def test_one_process_runs_all_of_a_file_and_all_that_names_a_server_that_is_started_once():
    assert unit_of("tests/a/test_b.py::TestC::test_d[ceph]") == unit_of("tests/e/test_f.py::test_g_on_ceph") == "ceph"
    assert unit_of("tests/a/test_b.py::test_d[1]") == unit_of("tests/a/test_b.py::TestC::test_d[2]")
    assert unit_of("tests/a/test_b.py::test_d") != unit_of("tests/a/test_c.py::test_d")
    assert unit_of("tests/servers/test_ceph.py::test_a") == "tests/servers/test_ceph.py"
