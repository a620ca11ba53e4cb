"""Comparison copies that somebody asks for and a worker makes: a package of one file, tied by the ledger to its prints.

It is no version of any reel: nobody works on it, and whoever needs it again asks again.
"""

import shutil
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.entry import Entry
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.state import AskedComparison, State
from relay.ledger.words import Word
from relay.media.eyes import check_media
from relay.media.manifest import PackedFile
from relay.programme.beside import Part
from relay.store.folder import in_our_words
from relay.transfer.aligned import Source
from relay.transfer.beside import make_beside, of_programme, of_reel, shown_versions
from relay.transfer.cut_lists import parsed
from relay.transfer.deposit import deposit
from relay.transfer.desk import Desk
from relay.transfer.handover import check_held
from relay.transfer.looked import read_object
from relay.transfer.showing import objects_of

REASON = 400  # letters of why one was not made
ANEW = "ask for it anew"
"""What to do where the store holds wrong bytes of one."""


def ask(source: Source, ledger: Ledger, pen: Pen, word: ComparisonAsked) -> Entry | None:
    """Ask for a comparison copy. None: the same was asked for, whatever it was for, and is not answered yet, or made.

    Raises RefusedError and MissingError where it could not be made, as far as the ledger and the frame maps say.
    """
    parts_of(source, ledger.follow(), word)

    def decide(now: State, _now: datetime) -> list[Word] | None:
        asked = (each for each in now.asked_comparisons if not isinstance(each.answer, ComparisonNotMade))
        return None if any(is_same_copy(each.word, word) for each in asked) else [word]

    return ledger.append(pen, decide)


def is_same_copy(one: ComparisonAsked, other: ComparisonAsked) -> bool:
    """Answer whether one copy serves both, whatever each is wanted for."""
    return one.model_copy(update={"note": other.note}) == other


def parts_of(desk: Source, state: State, word: ComparisonAsked) -> tuple[Part, ...]:
    """Return the steps that `word` asks for. Raises MissingError, RefusedError, BrokenError."""
    for name in word.prints:
        check_held(state.version(name))
    if word.cut_list is None:
        return of_reel(desk, state, word.prints[0], word.prints[1:], word.frames)
    try:
        cut_list = parsed(read_object(desk, word.cut_list), state).cut_list
    except ValueError as fault:
        raise RefusedError(f"the object {word.cut_list} is no cut list: {fault}") from fault
    return of_programme(desk, state, cut_list, word.elements)


def answer_asked(desk: Desk, entry: int, scratch: Path) -> ComparisonMade | ComparisonNotMade:
    """Make what `entry` asks for, in the folder `scratch`, and say so; or say why it cannot be made.

    Raises TransientError: later.
    """
    state = desk.ledger.follow()
    asked = asked_in(state, entry)
    shutil.rmtree(scratch, ignore_errors=True)  # of a worker that was killed
    try:
        word: ComparisonMade | ComparisonNotMade = _made(desk, state, asked, scratch)
    except (RefusedError, MissingError, BrokenError) as error:
        word = ComparisonNotMade(asked=entry, why=" ".join(str(error).split())[:REASON])
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    desk.ledger.append(desk.pen, lambda now, _now: None if asked_in(now, entry).answer else [word])
    return asked_in(desk.ledger.state, entry).answer or word


def _made(desk: Desk, state: State, asked: AskedComparison, scratch: Path) -> ComparisonMade:
    check_media()
    parts = parts_of(desk, state, asked.word)
    work, package = scratch / "work", scratch / "package"
    with in_our_words(str(scratch), "make room to work in"):
        work.mkdir(parents=True)
        package.mkdir()
    target = package / file_name(asked)
    found = make_beside(desk, state, parts, Fraction(asked.word.rate), work, target)
    with in_our_words(str(target), "put it there"):
        found.rename(target)
    stored = deposit(package, desk.store, desk.notebook, hands=desk.hands, clock=desk.clock)
    steps = 1 if asked.word.still else sum(len(part.steps) for part in parts)
    manifest = stored.manifest
    return ComparisonMade(
        asked=asked.entry, manifest=manifest.digest(), size=manifest.size(), steps=steps, shown=shown_versions(parts)
    )


def file_name(asked: AskedComparison) -> str:
    """Return what its file is called."""
    return f"comparison_{asked.entry}.{'png' if asked.word.still else 'mov'}"


def asked_in(state: State, entry: int) -> AskedComparison:
    """Return what `entry` asks for. Raises MissingError where it asks for no comparison copy."""
    found = next((each for each in state.asked_comparisons if each.entry == entry), None)
    if found is None:
        raise MissingError(f"entry {entry} asks for no comparison copy: `relay comparison list` shows those that do")
    return found


def made_file(source: Source, asked: AskedComparison) -> PackedFile:
    """Return the one file of the copy that was made. Raises MissingError where it was not, and BrokenError."""
    if not isinstance(asked.answer, ComparisonMade):
        why = f": {asked.answer.why}" if asked.answer else " yet: the coordinator's worker makes it"
        raise MissingError(f"what entry {asked.entry} asks for was not made{why}")
    (file,) = source.manifests.read(asked.answer.manifest).files
    return file


def bring(desk: Desk, asked: AskedComparison, target: Path) -> int:
    """Write the copy that was made at `target`, verified, and return its bytes. Raises MissingError, BrokenError."""
    file = made_file(desk, asked)
    part = target.with_name(f".{target.name}.part")
    with in_our_words(str(target), "write it"):
        try:
            with part.open("wb") as out:
                out.writelines(objects_of(desk, file, ANEW))
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
    return file.size
