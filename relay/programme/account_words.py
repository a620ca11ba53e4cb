"""An account as headings, lines and tables: what its page and its PDF both show. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from relay.film.length import length_in_words
from relay.film.rates import format_rate
from relay.ledger.decision_state import Decision
from relay.ledger.entry import Entry
from relay.model import Base, Digest, Element, FrameRange, frame_count
from relay.programme.account import Account, ElementAccount, ReelAccount, VersionAccount, unexplained, used_frames
from relay.programme.lineage import Use, done_in_words, from_in_words
from relay.programme.provenance import Origin, Run, Shares
from relay.wording import all_in_words, count

CAUTION = (
    "Nitrate base burns fiercely and decays: store, carry and handle it only as the local codes say, by people "
    "licensed and trained for it."
)

COUNTED = (
    "An entry that is named here can be read there. Frames of the film are counted from 0; those of a reel from its "
    "start mark, which is its frame 0."
)
NOT_SAID = (
    "Presumed: no version of the film names what it was made from. What is told is the version whose frames are "
    "fetched for it: the newest that holds them, accepted ones first."
)


@dataclass(frozen=True)
class Heading:
    text: str
    level: int
    """1 for the account itself, 2 for an element, 3 for a reel."""


@dataclass(frozen=True)
class Text:
    text: str


@dataclass(frozen=True)
class Table:
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    digest: Digest
    shows: str


Block = Heading | Text | Table | Picture


def account_blocks(account: Account) -> Iterator[Block]:
    """Yield what an archive's account shows, from top to bottom."""
    yield Heading(f"{account.title}: account for {account.holder}", 1)
    yield Text(_summary(account))
    for element in account.elements:
        yield from _element(account, element)
    if account.film:
        yield Heading("The film itself", 2)
        yield Text("What was made of all that was lent, and what was done to it as a whole:")
        yield _versions(account, account.film)


def as_of(entry: Entry) -> Text:
    """Return the line that says when an account was drawn up: the last entry that it knows."""
    return Text(f"As the production's ledger stood after entry {entry.sequence}, {entry.body.time:%d %B %Y}. {COUNTED}")


def _summary(account: Account) -> str:
    lent = count(len(account.elements), "element")
    if not account.has_cut:
        return f"{lent} lent. No cut list was given: what the film shows of them is not known yet."
    of_all = f"Of the film's {account.length:,} frames{_speed(account.rate)}"
    theirs = f"{_number(account.used)} show what {account.holder} lent{_percent(account.used, account.length)}"
    return f"{lent} lent. {of_all}, {theirs}."


def _speed(rate: Fraction | None) -> str:
    return f", at {format_rate(rate)} a second" if rate else ""


def _percent(part: Fraction, whole: Fraction | int) -> str:
    return f" ({float(100 * part / whole):.2f} %)" if whole else ""


def _number(frames: Fraction) -> str:
    return f"{int(frames):,}" if frames.denominator == 1 else f"{float(frames):,.1f}"


def _places(run: Run) -> str:
    return str(run.programme) + (", under a dissolve" if run.share < 1 else "")


def _element(account: Account, element: ElementAccount) -> Iterator[Block]:
    lent = element.element
    yield Heading(f"{lent.code}: {lent.title}", 2)
    yield Table(("", ""), tuple(_facts(lent)))
    if lent.base is Base.NITRATE:
        yield Text(CAUTION)
    yield from _decisions(account, element.decisions)
    yield from (Picture(each, f"A still of {lent.title}") for each in element.pictures)
    for reel in element.reels:
        yield from _reel(account, lent, reel)


def _facts(lent: Element) -> Iterator[tuple[str, str]]:
    yield "what it is", f"{lent.kind}, {lent.gauge}, {lent.base}"
    if lent.generation:
        yield "generation", lent.generation
    yield "condition", lent.condition or "nobody wrote it down"
    loan = lent.loan
    if loan is None:
        yield "loan", "its terms are not in the production's file"
        return
    yield "permitted use", loan.permitted_use
    yield (
        "goes back",
        f"due back {loan.due_back:%d %B %Y}"
        + (f"; leaves {loan.shipping_days} days before" if loan.shipping_days else ""),
    )
    yield "credit line", loan.credit


def _reel(account: Account, lent: Element, reel: ReelAccount) -> Iterator[Block]:
    yield Heading(f"Reel {reel.reel}", 3)
    if reel.frames:
        length = length_in_words(lent, reel.frames)
        yield Text(f"{count(reel.frames, 'frame')} by the can: {length} (feet + frames, running time).")
    if reel.versions:
        yield Text("What was scanned, and what was made of it:")
        yield _versions(account, reel.versions)
    else:
        yield Text("Nothing of it was scanned.")
    if account.has_cut:
        yield from _use(account, lent, reel)
    yield from _decisions(account, reel.decisions)
    yield from (Picture(each, f"A still of {reel.reel}") for each in reel.pictures)
    if reel.strip:
        yield Picture(reel.strip, f"{reel.reel}, a thumbnail for each second")


def _versions(account: Account, versions: tuple[VersionAccount, ...]) -> Table:
    heads = ("version", "when", "by", "frames", "goes back to", "what was done")
    return Table(heads, tuple(_version(account, each) for each in versions))


def _used(lent: Element, use: Use) -> tuple[str, ...]:
    places = all_in_words(use.programme) + (", under a dissolve" if use.share < 1 else "")
    lineage = use.lineage
    taken = from_in_words(lineage.versions) + ("" if lineage.is_said or not lineage.versions else " (presumed)")
    return places, all_in_words(use.source), lent.kind, taken, done_in_words(lineage)


def _frames(number: Fraction) -> str:
    return f"{_number(number)} {'frame' if number == 1 else 'frames'}"


def _version(account: Account, told: VersionAccount) -> tuple[str, ...]:
    version, by = told.version, account.title_of(told.version.by)
    done = "; ".join(step.in_words() for step in told.steps) or (
        "the scan" if not version.parents else "the site gave no record"
    )
    if told.undocumented:
        done += f"; changed with no step that says so: {all_in_words(told.undocumented)}"
    frames = all_in_words(told.frames) if told.frames else "not numbered"
    kept = "" if version.retired is None else f" (retired from the bucket, entry {version.retired})"
    return version.name + kept, f"{version.time:%Y-%m-%d}", by, frames, ", ".join(told.scans), done


def _use(account: Account, lent: Element, reel: ReelAccount) -> Iterator[Block]:
    if reel.uses:
        level = f"{lent.kind}" + (f" ({lent.generation})" if lent.generation else "")
        yield Text(f"Used for {_frames(reel.used)} of the film, at the generation of the {level}:")
        heads = ("frames of the film", "show frames of the reel", "generation", "taken from", "what was done to them")
        yield Table(heads, tuple(_used(lent, use) for use in reel.uses))
        if not all(use.lineage.is_said for use in reel.uses):
            yield Text(NOT_SAID)
    else:
        yield Text("Nothing of it is in the film.")
    left = [each for each in reel.fates if not each.shown and each.decision]
    if left:
        yield Text("Not in the film, and why:")
        yield Table(
            ("frames", "decision"),
            tuple((str(each.frames), _decided(account, each.decision)) for each in left if each.decision),
        )
    silent = unexplained(reel)
    if silent and used_frames(reel):
        yield Text(f"Not in the film, and nobody said why: {_many(silent)}.")
    elif silent:
        yield Text(f"Nobody said why it is not in the film: {_many(silent)}.")


def _many(frames: tuple[FrameRange, ...]) -> str:
    return f"{count(frame_count(frames), 'frame')}, {all_in_words(frames)}"


def _decisions(account: Account, decisions: tuple[Decision, ...]) -> Iterator[Block]:
    if decisions:
        yield Text("What was decided:")
        yield Table(("place", "decision"), tuple((str(each.word.place), _decided(account, each)) for each in decisions))


def _decided(account: Account, decision: Decision) -> str:
    word, site = decision.word, account.title_of(decision.by)
    who = f"{word.person}, {site}" if word.person else site
    instead = f"; instead: {word.instead}" if word.instead else ""
    return f"{word.verdict}: {word.because}{instead} ({who}, {decision.time:%Y-%m-%d}, entry {decision.entry})"


def provenance_blocks(title: str, runs: tuple[Run, ...], shares: Shares) -> Iterator[Block]:
    """Yield the programme's own provenance: every frame of it, adding up to 100 %."""
    yield Heading(f"{title}: where every frame comes from", 1)
    yield Table(("lent by", "frames", "share"), share_rows(shares))
    yield Table(("frames of the film", "from", "frames of the reel", "lent by"), tuple(map(_run, runs)))


def share_rows(shares: Shares) -> tuple[tuple[str, ...], ...]:
    """Return who lent how much of the film, what was made new and what no print had; the last row is all of it."""
    rows = [*shares.holders.items(), ("made new", shares.made_new), ("missing: no print had it", shares.missing)]
    rows.append(("all of the film", shares.total))
    return tuple((name, _number(number), _percent(number, shares.total).strip(" ()")) for name, number in rows)


def _run(run: Run) -> tuple[str, ...]:
    if run.origin is Origin.MISSING:
        return _places(run), "missing", "", ""
    lender = run.holder or "made new"
    return _places(run), run.reel or "", str(run.source), lender
