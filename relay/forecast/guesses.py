"""What a forecast takes for granted because nobody said it, in sentences, so that somebody can say it."""

from collections.abc import Iterator

from relay.forecast.ground import BYTES_A_FRAME, Ground
from relay.forecast.lines import USUAL_LINE, measured
from relay.forecast.paces import USUAL_RATE, frames_of
from relay.ledger import route


def guesses_of(ground: Ground) -> tuple[str, ...]:
    """Return a sentence for each thing that was taken for granted."""
    return (
        *hours_guessed(ground),
        *_rates(ground),
        *_frames(ground),
        *_lines(ground),
        *_bytes(ground),
        *_half_done(ground),
        *_under_way(ground),
    )


def _names(found: list[str]) -> str:
    return ", ".join(found)


def hours_guessed(ground: Ground) -> Iterator[str]:
    """Give a sentence that names the sites whose hours nobody said."""
    if without := [site.name for site in ground.film.sites if site.stages and not site.shifts]:
        yield f"weekdays from 9 to 5 by their own clocks, for {_names(without)}: no [[site.shift]] is given"


def _rates(ground: Ground) -> Iterator[str]:
    for stage in ground.film.route:
        paces = {site.name: ground.pace(stage, site) for site in ground.able(stage)}
        if without := [name for name, pace in paces.items() if pace.is_guess]:
            yield f"{USUAL_RATE:,} frames an hour for {stage.name} at {_names(without)}: no rate is given or known yet"


def _frames(ground: Ground) -> Iterator[str]:
    on_route = dict.fromkeys(reel for stage in ground.film.route for reel in route.reels_of(ground.film, stage))
    lengths = {reel: frames_of(ground.state, ground.film, reel) for reel in on_route}
    if without := [reel for reel, (_, is_guess) in lengths.items() if is_guess]:
        frames = lengths[without[0]][0]
        yield f"{frames:,} frames for {_names([str(reel) for reel in without])}: nobody counted, nothing was sent"


def _lines(ground: Ground) -> Iterator[str]:
    sites = [site for site in ground.film.sites if site.stages and site.line is None]
    if without := [site.name for site in sites if measured(ground.state, site.name) is None]:
        yield f"a line of {USUAL_LINE} megabits a second for {_names(without)}: no `line` is given, no receipt tells"


def _bytes(ground: Ground) -> Iterator[str]:
    if not ground.state.versions:
        yield f"{BYTES_A_FRAME:,} bytes a frame (10-bit DPX of 2048 x 1556): nothing was sent yet"


def _half_done(ground: Ground) -> Iterator[str]:
    if moving := [stage.name for stage in ground.film.route if stage.may_move and not stage.is_automatic]:
        yield f"half of a reel's bytes, for work at {_names(moving)} that is handed on before it is done"


def _under_way(ground: Ground) -> Iterator[str]:
    if any(job.claim and not job.claim.lease for job in ground.state.jobs.values()):
        yield "that whoever holds a job has worked on it in all their hours since: nobody says how far they are"
