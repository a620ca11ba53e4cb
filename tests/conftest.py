"""What every test stands on: no setting of this machine leaks in, and real servers start when first asked for."""

import gc
import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from tests.servers.s3 import GivenServer, S3Server, ServerMissingError
from tests.sharing_out import scheduler, unit_of

ON_REQUEST = ("soak", "bench", "browser")
GIVEN = ("TEST_S3_ENDPOINT", "TEST_S3_ACCESS_KEY", "TEST_S3_SECRET_KEY")

# No deadline in any profile: the machine that runs the tests may be busy.
_SLOW = [HealthCheck.too_slow]
settings.register_profile("dev", max_examples=50, deadline=None, suppress_health_check=_SLOW)
settings.register_profile("ci", max_examples=50, deadline=None, derandomize=True, suppress_health_check=_SLOW)
settings.register_profile("soak", max_examples=10_000, deadline=None, suppress_health_check=_SLOW)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "dev")


def missing(reason: str) -> None:
    """Skip the test at home; in CI, where everything is installed on purpose, fail it."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"CI must have it: {reason}", pytrace=False)
    pytest.skip(reason)


def pytest_configure() -> None:
    """Session fixtures run before any test's fixtures, so the environment is cleaned before them too."""
    for name in _leaks():
        del os.environ[name]
    os.environ.update(_HERMETIC)
    gc.disable()  # collecting leaves no garbage, and looking for some takes a sixth of its time


def pytest_collection_finish() -> None:
    """Never look for garbage among the tests themselves either."""
    gc.freeze()
    gc.enable()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    asked = config.option.markexpr
    unasked = {mark for mark in ON_REQUEST if mark not in asked}
    left_out = {item: None for item in items if any(item.get_closest_marker(mark) for mark in unasked)}
    if left_out:
        config.hook.pytest_deselected(items=list(left_out))
        items[:] = [item for item in items if item not in left_out]
    for item in items:
        if _needs_ceph(item) and unit_of(item.nodeid) != "ceph":
            raise pytest.UsageError(f"{item.nodeid} needs Ceph: say so in its name, so that Ceph is started only once")


def _needs_ceph(item: pytest.Item) -> bool:
    return item.get_closest_marker("ceph") is not None or "ceph" in getattr(item, "fixturenames", ())


def pytest_unconfigure() -> None:
    """Leave nothing of OpenImageIO behind that would be called leaked, loudly, at the end."""
    gc.unfreeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `--dist loadfile`, keep together what shares a server as well."""
    return scheduler(config, log) if config.option.dist == "loadfile" else None


_HERMETIC = {
    "AWS_CONFIG_FILE": os.devnull,
    "AWS_SHARED_CREDENTIALS_FILE": os.devnull,
    "AWS_EC2_METADATA_DISABLED": "true",
    "NO_PROXY": "127.0.0.1,localhost",
    "no_proxy": "127.0.0.1,localhost",
    "OPENBLAS_NUM_THREADS": "1",  # read when NumPy is loaded: two threads that wait for each other burn both cores
}


def _leaks() -> list[str]:
    return [name for name in os.environ if name.startswith(("RELAY_", "AWS_"))]


@pytest.fixture(autouse=True)
def clean_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in _leaks():
        monkeypatch.delenv(name)
    for name, value in _HERMETIC.items():
        monkeypatch.setenv(name, value)


def _served(start: Callable[[], S3Server]) -> Iterator[S3Server]:
    try:
        server = start()
    except ServerMissingError as error:
        missing(str(error))
        raise
    try:
        yield server
    finally:
        server.stop()


@pytest.fixture(scope="session")
def seaweedfs() -> Iterator[S3Server]:
    from tests.servers.seaweedfs import SeaweedFS

    yield from _served(SeaweedFS)


@pytest.fixture(scope="session")
def ceph(tmp_path_factory: pytest.TempPathFactory) -> Iterator[S3Server]:
    from tests.servers.ceph import Ceph

    if "PYTEST_XDIST_WORKER" in os.environ:
        try:
            (tmp_path_factory.getbasetemp().parent / "ceph-started").touch(exist_ok=False)
        except FileExistsError:
            pytest.fail("another process of this run has started Ceph: tests.sharing_out is not heeded", pytrace=False)
    yield from _served(Ceph)


@pytest.fixture(scope="session")
def moto_s3() -> Iterator[S3Server]:
    from tests.servers.moto_server import MotoServer

    yield from _served(MotoServer)


@pytest.fixture(scope="session")
def ignoring_s3() -> Iterator[S3Server]:
    from tests.servers.ignoring import IgnoringServer

    yield from _served(IgnoringServer)


@pytest.fixture(scope="session")
def given_s3() -> S3Server:
    """Any S3 server that the person running the tests names, to see whether it keeps the promises."""
    if not all(name in os.environ for name in GIVEN):
        pytest.skip(f"no server is given: set {', '.join(GIVEN)}")
    return GivenServer(*(os.environ[name] for name in GIVEN))
