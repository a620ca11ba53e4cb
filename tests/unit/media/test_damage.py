"""Every kind of damage, seeded, on frames that a camera took: it is found, where it is, and nothing else is."""

import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.media.eyes import Eyes
from relay.media.findings import Kind, Report
from relay.media.inspection import inspect_folder
from tests.references.damage import DAMAGES, Case, Pool, clean, damaged
from tests.references.pictures import clip

RECALL = 0.99
FALSE_IN_CLEAN_FRAMES = 1 / 1000
EACH, EACH_IN_SOAK = 2, 80  # cases of each kind
CLEAN_REELS, CLEAN_IN_SOAK = 5, 200


@pytest.fixture(scope="module")
def eyes() -> Iterator[Eyes]:
    with Eyes() as eyes:
        yield eyes


@pytest.fixture(scope="module")
def pool(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> Pool:
    cache = pytestconfig.cache
    folder = cache.mkdir("pictures") if cache else tmp_path_factory.mktemp("pictures")
    return Pool(clip(folder), tmp_path_factory.mktemp("pool"))


def report_of(case: Case, eyes: Eyes) -> Report:
    try:
        return inspect_folder(case.folder, case.paths(), eyes, case.asked).report()
    finally:
        shutil.rmtree(case.folder)


def ranges(report: Report, kind: Kind) -> list[tuple[int, int]]:
    """Return where a kind was found, ranges that touch joined: two damages side by side are one place."""
    numbers = {n for f in report.findings if f.kind is kind for r in f.frames for n in range(r.first, r.last + 1)}
    firsts = sorted(n for n in numbers if n - 1 not in numbers)
    return [(first, next(n for n in itertools.count(first) if n + 1 not in numbers)) for first in firsts]


def test_every_kind_of_finding_has_a_damage_that_shows_it():
    assert set(DAMAGES) == set(Kind)


def check(pool: Pool, eyes: Eyes, tmp_path: Path, each: int) -> None:
    missed, false, cases = [], [], 0
    for kind, number in itertools.product(Kind, range(each)):
        seed = number * 1000 + list(Kind).index(kind)
        case = damaged(pool, seed, kind, tmp_path / f"{seed}")
        report = report_of(case, eyes)
        cases += 1
        expected = [(each.first, each.last) for each in case.frames]
        kinds = {finding.kind for finding in report.findings}
        if kind not in kinds or ranges(report, kind) != expected:
            missed.append((kind, seed, expected, ranges(report, kind)))
        if kinds - {kind} - case.also:
            false.append((kind, seed, kinds))
    assert 1 - len(missed) / cases >= RECALL, missed
    assert len(false) <= cases / 100, false


def check_clean(pool: Pool, eyes: Eyes, tmp_path: Path, reels: int) -> None:
    found, frames = [], 0
    for seed in range(reels):
        report = report_of(clean(pool, 10**6 + seed, tmp_path / f"clean{seed}"), eyes)
        frames += report.looked_at
        found += report.findings
    assert len(found) / frames <= FALSE_IN_CLEAN_FRAMES, found


def test_damage_is_found_exactly_where_it_is(pool: Pool, eyes: Eyes, tmp_path: Path):
    check(pool, eyes, tmp_path, EACH)


def test_nothing_is_found_in_clean_frames(pool: Pool, eyes: Eyes, tmp_path: Path):
    check_clean(pool, eyes, tmp_path, CLEAN_REELS)


@pytest.mark.soak
def test_two_thousand_damages_are_found_exactly_where_they_are(pool: Pool, eyes: Eyes, tmp_path: Path):
    check(pool, eyes, tmp_path, EACH_IN_SOAK)
    check_clean(pool, eyes, tmp_path, CLEAN_IN_SOAK)
