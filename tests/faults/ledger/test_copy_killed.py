"""Kill -9 while a site's copy of the ledger is written: the head is never behind, the entries are right or none."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest


def told(*words: object) -> dict[str, Any]:
    ran = subprocess.run(
        [sys.executable, "-m", "tests.faults.ledger.copy_killed", *(str(word) for word in words)],
        cwd=Path(__file__).parents[3],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


@pytest.mark.parametrize("scenario", ["new", "whole", "short", "gone"])
def test_a_copy_killed_at_any_call_is_right_or_empty_and_mends(scenario: str, tmp_path: Path) -> None:
    found = told(tmp_path / "home", scenario)
    assert found["wrong"] == []
    assert found["points"] > 100
    assert len(found["found"]) > 1, "the kills must fall before and after the writes"
