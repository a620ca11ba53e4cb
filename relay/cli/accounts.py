"""`relay why` and `relay account`: a place's whole story, and what became of each archive's material."""

from fractions import Fraction
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.cut import CutListFile, Held, RateText, cut_of
from relay.cli.numbers import pairs_of
from relay.errors import MissingError
from relay.ledger.state import State
from relay.model import Place, VersionName, every_frame, parse_version, reel_of
from relay.programme.account import Facts, accounts, held_frames, scans_behind
from relay.programme.account_words import share_rows
from relay.programme.cutlist import CutList
from relay.programme.fate import Fate, fates, places_by_reel
from relay.programme.lineage import Known
from relay.programme.provenance import Origin, Run, Shares, provenance
from relay.programme.story import Said, story_of_all
from relay.transfer.accounting import account_files, check_pdf, entries_of, findings_on, gathered, write_files
from relay.transfer.desk import Desk
from relay.wiring import open_desk
from relay.wording import in_words, parse_frames, parse_place


def why(
    context: typer.Context,
    place: Annotated[
        str,
        typer.Argument(
            metavar="PLACE|SOURCE",
            help="An element, a reel, frames of it, `programme`, a shot of it; or a version, perhaps with frames: "
            "A/R03/v2:120-180.",
        ),
    ],
    cut: CutListFile = None,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Tell the whole story of a place.

    What was decided and why, whether its frames are in the film, how each version was made, and everything that the
    ledger says of it. A shot of the programme is followed to the frames that it shows, and their story is told with it.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        at = _place(state, place)
        listed = cut_of(desk, state, cut, rate, held=held)
        facts, runs = _sources(desk, state, at, listed)
        versions = [state.versions[name] for name in facts]
        behind = [Place(about=run.reel, frames=(run.source,)) for run in runs if run.reel and run.source]
        told = story_of_all(state, entries_of(desk), [at, *(behind if at.frames else ())])
        found = _fates(state, at, facts, listed)
        seen = findings_on(desk, versions, at)
    answer(
        {**_facts(at, told, facts, found, state), "comes_from": [_from(run) for run in runs], "findings": seen},
        as_json=as_json,
        show=lambda shown: _show(shown, state, at, told, facts, found, runs, seen, listed is not None),
    )


def _place(state: State, text: str) -> Place:
    name, colon, frames = text.partition(":")
    try:
        version = state.version(parse_version(name)).name
    except ValueError:
        place = parse_place(text)
        known = place.is_programme or place.about in {each.code for each in state.film().elements}
        if not known:
            state.reel(place.about)
        return place
    return Place(about=reel_of(version), frames=parse_frames(frames) if colon else ())


def _fates(state: State, at: Place, facts: Facts, cut: CutList | None) -> tuple[Fate, ...]:
    if at.reel is None or cut is None:
        return ()
    held = {frame for known in facts.values() for frame in every_frame(known.frames)}
    shown = places_by_reel(cut).get(at.reel, {})
    return fates(at.reel, every_frame(at.frames) if at.frames else held, shown, state.decisions)


def _facts(at: Place, told: tuple[Said, ...], facts: Facts, found: tuple[Fate, ...], state: State) -> dict[str, object]:
    return {
        "place": str(at),
        "in_the_film": [
            {
                "frames": [each.frames.first, each.frames.last],
                "shown_at": pairs_of(each.shown),
                "decision": each.decision.entry if each.decision else None,
                "said": in_a_line(each),
            }
            for each in found
        ],
        "treatments": {name: [step.in_words() for step in known.steps] for name, known in facts.items()},
        "undocumented": {name: pairs_of(known.undocumented) for name, known in facts.items() if known.undocumented},
        "scans": {name: sorted(scans_behind(state, name)) for name in facts},
        "story": [each._asdict() for each in told],
    }


def _sources(desk: Desk, state: State, at: Place, cut: CutList | None) -> tuple[Facts, tuple[Run, ...]]:
    """Return what is known of the versions at a place, and which frames of which reels a place in the programme shows.

    Raises MissingError beyond its end.
    """
    if not at.is_programme or cut is None:
        return gathered(desk, state, [each for each in state.versions.values() if reel_of(each.name) == at.reel]), ()
    places = frozenset(every_frame(at.frames)) if at.frames else None
    seen = (*enumerate(cut.shown()), *cut.going().items())
    reels = {each.reel for place, each in seen if places is None or place in places}
    facts = gathered(desk, state, [each for each in state.versions.values() if reel_of(each.name) in reels])
    runs = provenance(cut, state.film(), held_frames(state, facts), places)
    if not runs:
        raise MissingError(f"the programme has {cut.length()} frames, counted from 0: {at} lies beyond them")
    return facts, runs


def _from(run: Run) -> dict[str, object]:
    return {
        "frames": [run.programme.first, run.programme.last],
        "origin": run.origin.value,
        "reel": run.reel,
        "shows": [run.source.first, run.source.last] if run.source else None,
        "holder": run.holder,
    }


def source_in_a_line(run: Run) -> str:
    """Return what a run of the programme's frames comes from."""
    if run.origin is Origin.MISSING:
        return "missing: no print had it"
    if run.reel is None:
        return "a slate, made new"
    return f"{run.reel}:{run.source}, " + (f"lent by {run.holder}" if run.holder else "made new")


def in_a_line(fate: Fate) -> str:
    """Return what became of a run of frames."""
    decided = fate.decision
    because = f"{decided.word.verdict}: {decided.word.because} ({decided.by}, entry {decided.entry})" if decided else ""
    if fate.shown:
        return f"in the film at {in_words(fate.shown)}" + (f"; {because}" if because else "")
    return f"not in the film; {because}" if because else "not in the film, and nobody said why"


def _show(
    page: Page,
    state: State,
    at: Place,
    told: tuple[Said, ...],
    facts: Facts,
    found: tuple[Fate, ...],
    runs: tuple[Run, ...],
    seen: list[dict[str, str]],
    has_cut: bool,
) -> None:
    page.line(head=str(at))
    for each in found:
        page.line(f"   {each.frames}: {in_a_line(each)}")
    for run in runs:
        page.line(f"   {run.programme}: {source_in_a_line(run)}")
    if not has_cut and at.reel:
        page.line("   Whether its frames are in the film is told with a cut list: --cut-list FILE.")
    if not has_cut and at.is_programme:
        page.line("   What it comes from is told with a cut list: --cut-list FILE.")
    for name, known in facts.items():
        _show_treatment(page, state, name, known)
    for finding in seen:
        page.line("   {version}: {kind} in {frames}, {grade}: {what}".format(**finding))
    page.line()
    rows = [(str(each.entry), f"{each.time:%Y-%m-%d %H:%M}", each.by, each.sentence) for each in told]
    page.table(("entry", "time (UTC)", "by", "said"), rows)


def _show_treatment(page: Page, state: State, name: VersionName, known: Known) -> None:
    steps = "; ".join(step.in_words() for step in known.steps)
    if not state.versions[name].parents:
        page.line(f"   {name} is a scan." if not steps else f"   {name} is a scan: {steps}.")
        return
    said = steps or "its site gave no record of what was done"
    page.line(f"   {name}: {said}. It goes back to {', '.join(sorted(scans_behind(state, name)))}.")
    if known.undocumented:
        where = in_words(known.undocumented)
        page.line(f"   {name} differs from what it was made from in {where}, and no step says so.")


def account(
    context: typer.Context,
    target: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new folder for the accounts.")],
    cut: CutListFile = None,
    rate: RateText = "24",
    held: Held = False,
    holder: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Only this archive's, by the name in the production's file.", show_default="all"
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write each archive's account.

    What was borrowed, scanned, used where and how treated, when it goes back, the credit line, with pictures: HTML,
    PDF, and PREMIS events in XML. With a cut list, also where every frame of the film comes from.
    """
    check_pdf()
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        facts = gathered(desk, state, state.versions.values())
        told = accounts(state, cut_of(desk, state, cut, rate, held=held), facts)
        chosen = [each for each in told.archives if holder is None or each.holder == holder]
        if not chosen:
            named = ", ".join(each.holder for each in told.archives)
            raise MissingError(f"no archive is called {holder!r} in the production's file: it has {named}")
        written = account_files(desk, state, told, chosen)
        write_files(target, written)
    sharing = told.shares
    facts_told = {
        "folder": str(target),
        "files": sorted(written),
        "frames": None
        if sharing is None
        else {
            "total": _number(sharing.total),
            "archives": {name: _number(frames) for name, frames in sharing.holders.items()},
            "made_new": _number(sharing.made_new),
            "missing": _number(sharing.missing),
        },
    }
    answer(
        facts_told,
        as_json=as_json,
        show=lambda page: _show_accounts(page, target, len(chosen), sorted(written), sharing),
    )


def _show_accounts(page: Page, target: Path, chosen: int, written: list[str], sharing: Shares | None) -> None:
    page.line(f"{target}: {count(chosen, 'account')}, {count(len(written), 'file')}:")
    for name in written:
        page.line(f"   {name}")
    if sharing is None:
        page.line("   What the film shows of them is told with a cut list: --cut-list FILE.")
    else:
        page.table(("lent by", "frames of the film", "share"), share_rows(sharing))


def _number(frames: Fraction) -> int | float:
    return int(frames) if frames.denominator == 1 else float(frames)
