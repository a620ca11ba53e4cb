"""The account that an archive is owed: what was borrowed, scanned and used, how it was treated, when it goes back.

Values only; reads nothing. The pages, the PDF and the PREMIS events are made from this.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from relay.ledger.decision_state import Decision
from relay.ledger.state import Material, State, Version
from relay.media.treatment import Step
from relay.model import (
    Digest,
    Element,
    ElementKind,
    FrameRange,
    ReelName,
    VersionName,
    every_frame,
    ranges_of,
    reel_of,
)
from relay.programme.cutlist import CutList
from relay.programme.fate import Fate, fates, places_by_reel
from relay.programme.lineage import Known, Lineages, Use, uses
from relay.programme.provenance import Run, Shares, provenance, shares

PICTURES = (".png", ".jpg", ".jpeg")


Facts = Mapping[VersionName, Known]
"""What was gathered about versions beside the ledger."""


@dataclass(frozen=True)
class VersionAccount:
    """One version of a reel."""

    version: Version
    frames: tuple[FrameRange, ...]
    scans: tuple[VersionName, ...]
    """The scans that it goes back to; itself, where it is one."""
    steps: tuple[Step, ...]
    undocumented: tuple[FrameRange, ...]


@dataclass(frozen=True)
class ReelAccount:
    """One reel of a borrowed element."""

    reel: ReelName
    frames: int | None
    """As the can or a count says."""
    versions: tuple[VersionAccount, ...]
    runs: tuple[Run, ...]
    """Where the programme shows it."""
    uses: tuple[Use, ...]
    """The same frames, parted by the version that is shown and by what was done to it."""
    fates: tuple[Fate, ...]
    decisions: tuple[Decision, ...]
    pictures: tuple[Digest, ...]
    """PNG or JPEG: stills that were kept."""
    strip: Digest | None = None
    """A thumbnail for each second of the newest version that was looked at, as PNG."""

    @property
    def used(self) -> Fraction:
        """Frames of the programme; of those under a dissolve, half."""
        return sum((run.counts for run in self.runs), Fraction(0))


@dataclass(frozen=True)
class ElementAccount:
    """One borrowed element."""

    element: Element
    reels: tuple[ReelAccount, ...]
    decisions: tuple[Decision, ...]
    """On the element as a whole."""
    pictures: tuple[Digest, ...]

    @property
    def used(self) -> Fraction:
        return sum((reel.used for reel in self.reels), Fraction(0))


@dataclass(frozen=True)
class Account:
    """Everything that one archive lent."""

    holder: str
    title: str
    """The film's."""
    elements: tuple[ElementAccount, ...]
    has_cut: bool
    length: int
    """Frames of the programme; 0 where no cut list was given."""
    film: tuple[VersionAccount, ...] = ()
    """The versions of the restored programme itself."""
    rate: Fraction | None = None
    """Frames a second of the programme."""
    sites: Mapping[str, str] = field(default_factory=dict)
    """What each site is called."""

    def title_of(self, site: str) -> str:
        """Return what a site is called; of one that is not in the production's file any more, its name."""
        return self.sites.get(site, site)

    @property
    def used(self) -> Fraction:
        """Frames of the programme that show what this archive lent; of those under a dissolve, half."""
        return sum((element.used for element in self.elements), Fraction(0))


@dataclass(frozen=True)
class Accounts:
    """All archives', and the programme's own provenance."""

    archives: tuple[Account, ...]
    runs: tuple[Run, ...]
    shares: Shares | None


def accounts(state: State, cut: CutList | None, facts: Facts) -> Accounts:
    """Return the account of every archive that lent an element."""
    film = state.film()
    runs = provenance(cut, film, held_frames(state, facts)) if cut else ()
    divided = shares(runs, film)
    books = _Books(state, cut, facts, runs, places_by_reel(cut) if cut else {})
    archives = tuple(_account(books, holder) for holder in sorted(divided.holders))
    return Accounts(archives, runs, divided if cut else None)


def held_frames(state: State, facts: Facts) -> dict[ReelName, frozenset[int]]:
    """Return the frames that any version of a reel holds; a reel of which no version's frames are known is left out."""
    held: dict[ReelName, frozenset[int]] = {}
    for name, known in facts.items():
        if known.frames and name in state.versions:
            held[reel_of(name)] = held.get(reel_of(name), frozenset()) | set(every_frame(known.frames))
    return held


@dataclass(frozen=True)
class _Books:
    state: State
    cut: CutList | None
    facts: Facts
    runs: tuple[Run, ...]
    places: Mapping[ReelName, Mapping[int, Sequence[int]]]

    def decided(self, about: str) -> tuple[Decision, ...]:
        return tuple(each for each in self.state.decisions if each.word.place.about == about)

    def pictures(self, about: str) -> tuple[Digest, ...]:
        return tuple(each.object for each in self.state.material if each.about == about and _is_picture(each))


def _is_picture(kept: Material) -> bool:
    return kept.name.lower().endswith(PICTURES)


def _account(books: _Books, holder: str) -> Account:
    film = books.state.film()
    lent = [element for element in film.elements if element.holder == holder and not _is_made(element)]
    return Account(
        holder=holder,
        title=film.title,
        elements=tuple(_element(books, element) for element in lent),
        has_cut=books.cut is not None,
        length=books.cut.length() if books.cut else 0,
        film=tuple(_film(books)),
        rate=books.cut.rate if books.cut else None,
        sites={site.name: site.title for site in film.sites},
    )


def _is_made(element: Element) -> bool:
    return element.kind is ElementKind.RESTORED_PROGRAMME


def _film(books: _Books) -> Iterator[VersionAccount]:
    for element in filter(_is_made, books.state.film().elements):
        for reel in element.reels:
            for version in books.state.of_reel(ReelName(f"{element.code}/{reel.name}")):
                yield _version(books, version)


def _element(books: _Books, element: Element) -> ElementAccount:
    reels = tuple(_reel(books, element, ReelName(f"{element.code}/{reel.name}"), reel.frames) for reel in element.reels)
    return ElementAccount(element, reels, books.decided(element.code), books.pictures(element.code))


def _reel(books: _Books, element: Element, name: ReelName, frames: int | None) -> ReelAccount:
    versions = tuple(_version(books, version) for version in books.state.of_reel(name))
    runs = tuple(run for run in books.runs if run.reel == name and run.holder == element.holder)
    strips = [look.strip for each in versions for look in each.version.inspections if look.strip]
    return ReelAccount(
        reel=name,
        frames=frames,
        versions=versions,
        runs=runs,
        uses=uses(runs, Lineages(books.state, name, books.facts)),
        fates=_fates(books, name, frames, versions),
        decisions=books.decided(name),
        pictures=books.pictures(name),
        strip=strips[-1] if strips else None,
    )


def _fates(books: _Books, name: ReelName, frames: int | None, versions: Sequence[VersionAccount]) -> tuple[Fate, ...]:
    if books.cut is None:
        return ()
    known = {frame for each in versions for frame in every_frame(each.frames)} or set(range(frames or 0))
    return fates(name, known, books.places.get(name, {}), books.state.decisions)


def _version(books: _Books, version: Version) -> VersionAccount:
    known = books.facts.get(version.name, Known())
    scans = tuple(sorted(scans_behind(books.state, version.name)))
    return VersionAccount(version, known.frames, scans, known.steps, known.undocumented)


def scans_behind(state: State, version: VersionName) -> set[VersionName]:
    """Return the versions without parents that `version` goes back to: what every change can be undone to."""
    seen, waiting = set[VersionName](), [version]
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting.extend(state.versions[name].parents)
    return {name for name in seen if not state.versions[name].parents}


def unexplained(reel: ReelAccount) -> tuple[FrameRange, ...]:
    """Return the frames that are not in the programme, and of which nobody said why."""
    return tuple(each.frames for each in reel.fates if not each.shown and each.decision is None)


def used_frames(reel: ReelAccount) -> tuple[FrameRange, ...]:
    """Return which of the reel's frames the programme shows."""
    return ranges_of(set(every_frame(each.frames for each in reel.fates if each.shown)))
