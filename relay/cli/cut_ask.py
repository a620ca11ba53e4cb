"""`relay cut ask`: a pull list becomes the input of a job."""

from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words, count
from relay.cli.cut import Handles, Held, ListText, Near, RateText, ground_of, pulls_of
from relay.cli.typed import Reason, ReelText
from relay.errors import RefusedError
from relay.ledger.job_state import Job
from relay.ledger.state import Version
from relay.model import frame_count
from relay.programme.pulling import HANDLES, NEAR
from relay.transfer.pull_packages import PullAsked, ask_with_pull
from relay.transfer.pulling import Pulled, all_pulled
from relay.wiring import open_desk


def ask_for(
    context: typer.Context,
    stage: Annotated[str, typer.Argument(metavar="STAGE", help="The stage of the route.")],
    reel: ReelText,
    cut_list: ListText,
    reason: Reason,
    prefers: Annotated[str | None, typer.Option(metavar="SITE", help="The site that is asked first.")] = None,
    handles: Handles = HANDLES,
    near: Near = NEAR,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Ask for work on just the frames that a cut list needs.

    The pull list becomes a version of REEL, the reel of the programme that the list makes: the list itself, and the
    frames in a folder for each version that they come from. Nothing is copied for it. Whoever takes the job receives
    these frames and no others; a stage that is `conformed` holds what is handed in against the list. For the
    coordinator.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        named = state.reel(reel)
        cut, pulls = pulls_of(desk, state, cut_list, ground_of(state.film(), rate, held=held), handles, near)
        found = all_pulled(desk, state, pulls)
        if not found:
            raise RefusedError(f"{cut_list} shows no frame of any reel: there is nothing to pull")
        job = ask_with_pull(desk, PullAsked(stage, named, cut, found, reason, prefers))
        version = desk.ledger.state.versions[job.inputs[0]]
    facts = {
        "job": job.job,
        "standing": job.standing,
        "inputs": list(job.inputs),
        "frames": sum(frame_count(each.frames) for each in found),
        "bytes": version.size,
        "from": [each.version for each in found],
    }
    answer(facts, as_json=as_json, show=lambda page: _show(page, job, version, found))


def _show(page: Page, job: Job, version: Version, found: list[Pulled]) -> None:
    frames = count(sum(frame_count(each.frames) for each in found), "frame")
    come_from = ", ".join(each.version for each in found)
    page.line(f" is {job.standing}; it takes {version.name}: {frames} of {come_from}, "
              f"{bytes_in_words(version.size)} with the list.", head=job.job)  # fmt: skip
