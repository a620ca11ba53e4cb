"""The board over the real chain: pages say things, workers of other processes carry them out, pages show it."""

from collections.abc import Iterator
from typing import Any

import pytest

from relay.board import reckoning
from relay.ledger.job_state import Standing
from tests.browser.chain import HALIFAX, KOLKATA, TOKYO, Chain
from tests.browser.keyboard import claims_and_gives_back
from tests.conftest import missing
from tests.faults.workers_broker import Redis
from tests.servers.s3 import ServerMissingError
from tests.servers.seaweedfs import SeaweedFS
from tests.unit.workers.house import COORDINATOR

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def chain(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chain]:
    try:
        server, broker = SeaweedFS(), Redis()
    except ServerMissingError as error:
        missing(str(error))
        raise
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ACCESS_KEY_ID", server.access_key)
        patch.setenv("AWS_SECRET_ACCESS_KEY", server.secret_key)
        patch.setattr(reckoning, "SECONDS", 0.05)
        try:
            with Chain(tmp_path_factory.mktemp("chain"), server, broker) as chain:
                yield chain
        finally:
            broker.stop()
            server.stop()


@pytest.fixture(autouse=True)
def keys(clean_environment: None, chain: Chain, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", chain.server.access_key)
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", chain.server.secret_key)


def row(number: int) -> str:
    return f"#job-scan-A-R{number:03d}-1"


def job(chain: Chain, number: int) -> Any:
    """Return the job as the bucket alone tells it."""
    return chain.house.state(COORDINATOR).jobs[f"scan/A/R{number:03d}/1"]


def test_from_claim_to_accept_from_the_page_alone(chain: Chain, look: Any):
    scanner, ruler = (look(chain.boards[site], "/jobs") for site in (HALIFAX, COORDINATOR))
    scanner.click(f"{row(1)} button:has-text('Claim')")
    scanner.wait_for_selector(f"{row(1)}.is-claimed")
    ruler.wait_for_selector(f"{row(1)}.is-claimed")
    chain.drops(HALIFAX, "A/R001", seed=1)
    ruler.wait_for_selector(f"{row(1)}.is-handed-in")
    ruler.click(f"{row(1)} button:has-text('Accept')")  # which comes once Kolkata's worker received it whole
    ruler.wait_for_selector("#said:has-text('is accepted')")
    assert job(chain, 1).standing is Standing.ACCEPTED
    assert (chain.house.places(KOLKATA).arrived / "A_R001_v1").is_dir()
    scanner.wait_for_selector(row(1), state="detached")


def test_a_refused_arrival_appears_on_an_open_page(chain: Chain, look: Any):
    scanner, ruler = look(chain.boards[HALIFAX], "/jobs"), look(chain.boards[COORDINATOR])
    chain.crew.terminate(KOLKATA)
    scanner.click(f"{row(2)} button:has-text('Claim')")
    scanner.wait_for_selector(f"{row(2)}.is-claimed")
    chain.drops(HALIFAX, "A/R002", seed=2)
    scanner.wait_for_selector(f"{row(2)}.is-handed-in")
    chain.crew.terminate(HALIFAX)  # whose worker would mend it from what it sent, perhaps before anybody looked
    chain.spoil(seed=2)
    chain.crew.start(KOLKATA)
    ruler.wait_for_selector("#card h1:has-text('refused A/R002/v1')")
    assert "REFUSED" in ruler.inner_text("#needs").upper()
    assert job(chain, 2).standing is Standing.HANDED_IN


def test_of_two_browsers_that_claim_at_once_one_wins_and_the_other_is_told_who(chain: Chain, look: Any):
    pages = {site: look(chain.boards[site], "/jobs") for site in (HALIFAX, TOKYO)}
    for page in pages.values():
        page.evaluate(f"document.querySelector('{row(3)} form.act button').click()")
    said = {}
    for site, page in pages.items():
        page.wait_for_selector("#said:has-text('claimed by'), #said:has-text('Not said')")
        said[site] = page.inner_text("#said")
    winner = job(chain, 3).claim.site
    (loser,) = pages.keys() - {winner}
    assert f"is claimed by {winner}" in said[winner]
    assert said[loser].startswith("Not said:")
    assert winner in said[loser]
    pages[loser].wait_for_selector(f"{row(3)}.is-claimed")


def test_the_keyboard_alone_claims_and_gives_back(chain: Chain, look: Any):
    page = look(chain.boards[TOKYO])
    claims_and_gives_back(page, "scan/A/R004/1", "scan/A/R004", row(4), "the gate jams")
    assert job(chain, 4).reason == "the gate jams"


def test_a_page_that_is_offline_says_since_when_and_recovers(chain: Chain, look: Any):
    page, scanner = look(chain.boards[COORDINATOR], "/jobs"), look(chain.boards[HALIFAX], "/jobs")
    page.wait_for_function("events.readyState === EventSource.OPEN")
    page.context.set_offline(True)
    page.wait_for_selector("#cut:has-text('No line to the board since')")
    scanner.click(f"{row(5)} button:has-text('Claim')")
    scanner.wait_for_selector(f"{row(5)}.is-claimed")
    assert page.locator(f"{row(5)}.is-open").count() == 1, "what was known then is still shown"
    page.context.set_offline(False)
    page.wait_for_selector("#cut", state="hidden")
    page.wait_for_selector(f"{row(5)}.is-claimed")


def test_without_a_broker_everything_goes_on_and_without_the_bucket_the_last_is_shown(chain: Chain, look: Any):
    scanner, ruler = look(chain.boards[HALIFAX], "/jobs"), look(chain.boards[COORDINATOR], "/jobs")
    chain.broker.kill9()
    scanner.click(f"{row(5)} summary:has-text('Give back')")
    scanner.fill(f"{row(5)} input[name=reason]", "the lamp is out")
    scanner.click(f"{row(5)} button:has-text('Give back')")
    ruler.wait_for_selector(f"{row(5)}.is-open")
    chain.server.kill9()
    ruler.wait_for_selector("#warn:has-text('has not answered since')", timeout=90_000)
    assert ruler.locator(f"{row(5)}.is-open").count() == 1
    ruler.reload()
    ruler.wait_for_selector(f"{row(5)}.is-open")
    chain.server.restart()
    ruler.wait_for_selector("#warn:not(:has-text('has not answered'))", state="attached", timeout=90_000)
