"""The demo's clock: days that pass in a minute, the same for every process, and for folders only."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from relay.clock import FastClock, Pace
from relay.errors import RefusedError
from relay.settings import CLOCK_VARIABLE, home_of
from relay.wiring import open_ledger, open_store

MORNING = datetime(2027, 8, 30, 6, tzinfo=UTC)
PACE = "1440 2026-11-25T21:30:00Z 2027-08-30T06:00:00Z"


def test_a_day_passes_in_a_minute_for_every_process_alike() -> None:
    # 24 hours in 60 seconds: each counts as 1,440.
    begun = datetime.now(UTC) - timedelta(seconds=60)
    clocks = [FastClock(Pace.parse(f"1440 {begun.isoformat()} {MORNING.isoformat()}")) for _ in range(2)]
    first, second = (clock.now() for clock in clocks)
    assert MORNING + timedelta(days=1) <= first <= second < MORNING + timedelta(days=1, hours=12)
    assert (first.tzinfo, first.microsecond) == (UTC, 0)


def test_a_fast_clock_s_stopwatch_is_the_machine_s() -> None:
    clock = FastClock(Pace.parse(PACE))
    began = clock.ticks()
    clock.wait(0.01)
    assert 0.01 <= clock.ticks() - began < 10


def test_a_home_has_the_pace_that_the_environment_names(tmp_path: Path) -> None:
    assert home_of(tmp_path, {CLOCK_VARIABLE: PACE}).pace == Pace(
        1440, datetime(2026, 11, 25, 21, 30, tzinfo=UTC), MORNING
    )
    assert home_of(tmp_path, {}).pace is None


@pytest.mark.parametrize(
    "text",
    ["fast", "0 2026-11-25T21:30:00Z 2027-08-30T06:00:00Z", "9 2026-11-25T21:30:00 2027-08-30T06:00:00Z", "9 x y"],
)
def test_a_pace_that_means_nothing_is_refused_with_an_example(tmp_path: Path, text: str) -> None:
    with pytest.raises(RefusedError, match=r"for the demo only.*such as 1440"):
        home_of(tmp_path, {CLOCK_VARIABLE: text})


def test_entries_in_a_folder_are_dated_by_the_pace(tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    home = home_of(tmp_path / "home", {CLOCK_VARIABLE: PACE})
    assert open_ledger(home, open_store(str(tmp_path / "store")), None).now() >= MORNING


def test_a_bucket_is_refused_while_a_pace_is_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Amazon S3, "RequestTimeTooSkewed": a request more than 15 minutes off is refused, whatever it asks.
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "someone")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "something")
    bucket = open_store("s3://bucket/quillmark?endpoint=http://127.0.0.1:9")
    with pytest.raises(RefusedError, match=f"unset {CLOCK_VARIABLE}"):
        open_ledger(home_of(tmp_path, {CLOCK_VARIABLE: PACE}), bucket, None)
    assert open_ledger(home_of(tmp_path, {}), bucket, None).state.sequence == -1
