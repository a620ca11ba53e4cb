"""The JSON interface asked by a machine that reads its own description: nothing that it says brings it down."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from tests.conftest import missing
from tests.unit.board.board_house import GRADER, RULER, SCANNER

pytestmark = pytest.mark.browser


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of the library's own making
def test_no_question_that_fits_the_description_makes_it_fail(house, serve):
    try:
        import schemathesis
    except ImportError:
        missing("schemathesis: run these with `make browser`")
        raise
    house.delivers(SCANNER, "scan/A/R01/1", range(24), GRADER)
    asker, before = serve(RULER), house.ledger(RULER).follow().sequence
    headers = {"x-relay-token": asker.token()}
    cookies = {cookie.name: cookie.value for cookie in asker.cookies.jar}
    schema = schemathesis.openapi.from_dict(asker.get("/openapi.json").json())
    asked: list[str] = []
    for found in schema.get_all_operations():
        operation = found.ok()
        asked.append(f"{operation.method} {operation.path}")

        @given(case=operation.as_strategy())
        @settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), database=None)
        def asks(case: Any) -> None:
            answer = case.call(base_url=str(asker.base_url), headers=headers, cookies=cookies)
            assert answer.status_code < 500, answer.text

        asks()
    assert len(asked) == 9
    assert house.ledger(RULER).follow().sequence == before


HOSTILE = (
    "",
    "../../etc/passwd",
    "A/R01/../../x",
    "<script>alert(1)</script>",
    "\u202e\x00\ud83c",
    "%2e%2e%2f",
    "9" * 5000,
)


def test_what_strangers_make_up_is_refused_and_changes_nothing(house, serve):
    asker, before = serve(RULER), house.ledger(RULER).follow().sequence
    token = asker.token()
    for text in HOSTILE:
        plain = text.encode("utf-8", "replace").decode()
        for path in ("/api/reels", "/api/jobs", "/api/ledger", "/reels", "/jobs", "/ledger", "/api/compare", "/enter"):
            told = {"q": plain, "start": plain, "before": plain, "after": plain, "which": plain, "key": plain}
            assert asker.get(path, params=told).status_code < 500
        for field in ("act", "job", "op", "seen", "until", "reason", "to", "frames", "version"):
            told = {"act": "return", "job": "scan/A/R01/1", "op": "0" * 32, "seen": "x", "reason": "y", field: plain}
            answer = asker.post("/api/acts", json=told, headers={"x-relay-token": token})
            assert 400 <= answer.status_code < 500
    for body in (b"", b"[]", b"null", b'{"act":', b"\xff\xfe", b"[" * 20_000):
        answer = asker.post("/api/acts", content=body, headers={"x-relay-token": token})
        assert 400 <= answer.status_code < 500
    assert house.ledger(RULER).follow().sequence == before
