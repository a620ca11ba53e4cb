"""Figures for monitoring, in Prometheus's form, and a page that says whether the board is well."""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST

from relay.board.desk import Board
from relay.board.door import Asking, NotYoursError, board_of
from relay.board.rows.needs import MARKS
from relay.ledger.job_state import Standing

router = APIRouter(include_in_schema=False)


@router.get("/health")
def health(request: Request) -> JSONResponse:
    """Say whether the ledger holds and the store answers; nothing of what it says."""
    picture = board_of(request).watch.picture
    well = not picture.alarm and picture.stale_since is None
    facts = {"well": well, "store": "away" if picture.stale_since else "answers", "ledger_holds": not picture.alarm}
    return JSONResponse(facts, status_code=200 if well else 503)


@router.get("/metrics")
def metrics(request: Request, viewer: Asking) -> Response:
    """Give the production's figures. For whoever sees all of it."""
    if viewer.role == "guest":
        raise NotYoursError("figures are of the whole production, and this link shows one archive's elements")
    board = board_of(request)
    told, state = board.now(viewer), board.watch.picture.state
    registry = CollectorRegistry()
    _one(registry, "relay_entries", "Entries in the ledger", told.entry + 1)
    _one(registry, "relay_store_silent_seconds", "Since when the store has not answered", _silent(board))
    _one(registry, "relay_hours_to_premiere", "Hours", (told.premiere.instant - told.time).total_seconds() / 3600)
    needs = Gauge("relay_needs", "Things that need someone", ["mark"], registry=registry)
    for cost, mark in MARKS.items():
        needs.labels(mark).set(sum(need.cost is cost for need in told.needs))
    jobs = Gauge("relay_jobs", "Jobs by how they stand", ["stage", "standing"], registry=registry)
    for stage in state.film().route:
        for standing in Standing:
            found = sum((job.stage, job.standing) == (stage.name, standing) for job in state.jobs.values())
            jobs.labels(stage.name, standing.value).set(found)
    owes = Gauge("relay_site_owes_versions", "Versions a site has yet to receive", ["site"], registry=registry)
    for site in told.sites:
        owes.labels(site.site).set(len(site.owes))
    frames = Gauge("relay_frames_accepted", "Frames accepted at a stage", ["stage"], registry=registry)
    for each in told.progress:
        frames.labels(each.stage).set(each.frames)
    return Response(generate_latest(registry), media_type=CONTENT_TYPE_LATEST)


def _one(registry: CollectorRegistry, name: str, told: str, value: float) -> None:
    Gauge(name, told, registry=registry).set(value)


def _silent(board: Board) -> float:
    since = board.watch.picture.stale_since
    return (board.clock.now() - since).total_seconds() if since else 0.0
