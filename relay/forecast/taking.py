"""What taking a print costs, and what that moves: the ground without it, and with so many of its frames. Pure."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from relay.errors import MissingError
from relay.forecast.ground import Ground
from relay.forecast.supposing import on
from relay.ledger import route
from relay.model import Element, ElementKind, Production, ReelName, Stage, code_of


class Hours(NamedTuple):
    """The working minutes that a stage takes at a site for some frames."""

    stage: str
    site: str
    frames: int
    low: int
    likely: int
    high: int
    why: str
    """How the pace is known."""


def element_named(film: Production, code: str) -> Element:
    """Return an element of the production. Raises MissingError."""
    found = next((each for each in film.elements if each.code == code), None)
    if found is None:
        known = ", ".join(each.code for each in film.elements)
        raise MissingError(
            f"the production has no element {code}: it has {known}. Write the print into the production's file, then "
            "`relay production revise`"
        )
    return found


def without(ground: Ground, code: str) -> Ground:
    """Return the ground as it would be if element `code` had not come. A stage that took its reels alone goes, too."""
    film = ground.film
    stages = tuple(_leaving(stage, code) for stage in film.route if _takes_others(film, stage, code))
    elements = tuple(each for each in film.elements if each.code != code)
    return on(ground, film.model_copy(update={"elements": elements, "route": _linked(stages)}))


def _takes_others(film: Production, stage: Stage, code: str) -> bool:
    return any(code_of(reel) != code for reel in route.reels_of(film, stage))


def _leaving(stage: Stage, code: str) -> Stage:
    rest = tuple(reel for reel in stage.of if code_of(reel) != code)
    return stage.model_copy(update={"of": rest})


def _linked(stages: tuple[Stage, ...]) -> tuple[Stage, ...]:
    names = {stage.name for stage in stages}
    return tuple(
        stage.model_copy(update={"after": tuple(name for name in stage.after if name in names)}) for stage in stages
    )


def with_frames(ground: Ground, code: str, frames: Mapping[ReelName, int]) -> Ground:
    """Return the ground as it would be if of element `code` just so many frames of each reel were worked on.

    A reel of none is left out. Where the route names reels, the print's are supposed to go the way of the reels of the
    same name of other prints. Raises MissingError where there is no such element.
    """
    element = element_named(ground.film, code)
    counts = {name.partition("/")[2]: count for name, count in frames.items() if count}
    if not counts:
        return without(ground, code)
    reels = tuple(
        each.model_copy(update={"frames": counts[each.name]}) for each in element.reels if each.name in counts
    )
    changed = element.model_copy(update={"reels": reels})
    elements = tuple(changed if each is element else each for each in ground.film.elements)
    joined = ((stage, _joined(ground.film, stage, code, counts)) for stage in ground.film.route)
    stages = tuple(after for before, after in joined if after.of or not before.of)
    return on(ground, ground.film.model_copy(update={"elements": elements, "route": _linked(stages)}))


def _joined(film: Production, stage: Stage, code: str, names: Iterable[str]) -> Stage:
    if not stage.of:
        return stage
    made = {element.code for element in film.elements if element.kind is ElementKind.RESTORED_PROGRAMME}
    rest = [reel for reel in stage.of if code_of(reel) != code]
    parts = {reel.partition("/")[2] for reel in stage.of if code_of(reel) not in made}
    own = [ReelName(f"{code}/{name}") for name in names if name in parts]
    return stage.model_copy(update={"of": (*rest, *own)})


def hours_of(
    ground: Ground, code: str, frames: Mapping[ReelName, int], only_at: str | None = None
) -> tuple[Hours, ...]:
    """Return what each stage of the route that takes the print's reels needs, at each site that does it.

    `only_at` names one site. The frames of a reel that a stage does not take are not counted for it.
    """
    supposed = with_frames(ground, code, frames)
    found = []
    for stage in supposed.film.route:
        taken = [reel for reel in route.reels_of(supposed.film, stage) if code_of(reel) == code]
        count = sum(frames.get(reel, 0) for reel in taken)
        for site in supposed.able(stage) if count else ():
            if only_at in {None, site.name}:
                pace = supposed.pace(stage, site)
                work = pace.work(count)
                found.append(Hours(stage.name, site.name, count, work.low, work.likely, work.high, pace.why))
    return tuple(found)
