"""Which files of a package are film, sound, movies, or stills and papers; and what the names alone say is wrong."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from relay.errors import RefusedError
from relay.media.findings import Finding, Grade, Kind
from relay.media.manifest import Manifest, PackedFile
from relay.media.ruling import Rules
from relay.media.sequence import Sequence, sequences_of
from relay.model import Digest, FrameRange, frame_count, ranges_of, without

SOUNDS = frozenset({"wav", "wave", "bwf", "flac", "aif", "aiff"})
MOVIES = frozenset({"mov", "mp4", "m4v", "mxf", "mkv", "avi", "mpg", "webm"})
PICTURES = frozenset({"dpx", "exr", "tif", "tiff", "png"})
_NO_DIGEST = Digest("0" * 64)


def kind_of(path: str) -> str:
    """Return the extension of `path`, in lower case."""
    return path.rpartition("/")[2].rpartition(".")[2].lower()


@dataclass(frozen=True)
class Contents:
    """A package's files by what they are."""

    runs: tuple[Sequence, ...]
    """Film: usually one run; several are a finding."""
    sounds: tuple[str, ...]
    movies: tuple[str, ...]
    stills: tuple[str, ...]
    """Pictures that are no film."""
    papers: tuple[str, ...]
    """Everything else."""
    others: tuple[Sequence, ...]
    """Runs that lie in a folder of the film, and are not it."""

    def names_say(self, rules: Rules, known_gaps: frozenset[int] = frozenset()) -> Iterator[Finding]:
        """Yield what is wrong by the names alone. Gaps in `known_gaps`, which others accepted, only warn."""
        for run in self.runs:
            yield from _gaps(run, rules, known_gaps)
            doubles = {one for one, other in pairwise(run.numbers()) if one == other}
            if doubles:
                words = "several files for one number: take all but one out"
                yield _finding(rules, Kind.DOUBLE, run.name, words, ranges_of(doubles))
        for run in (*self.runs[1:], *self.others):
            words = f"beside {self.runs[0].name}: a package holds one run of frames. Move the other out"
            yield _finding(rules, Kind.MIXED, run.name, words, ranges_of(set(run.numbers())))


def _gaps(run: Sequence, rules: Rules, known: frozenset[int]) -> Iterator[Finding]:
    gaps = run.missing()
    old = ranges_of({number for number in known if any(gap.first <= number <= gap.last for gap in gaps)})
    for frames, grade, more in (
        (without(gaps, old), rules.grade[Kind.GAP], ""),
        (old, Grade.WARNS, ", and had none in what this was made from"),
    ):
        if frames:
            words = (
                f"{frame_count(frames)} numbers between {run.numbers()[0]} and {run.numbers()[-1]} have no file{more}"
            )
            yield Finding(kind=Kind.GAP, grade=grade, where=run.name, what=words, frames=frames)


def _finding(rules: Rules, kind: Kind, where: str, what: str, frames: tuple[FrameRange, ...]) -> Finding:
    return Finding(kind=kind, grade=rules.grade[kind], where=where, what=what, frames=frames)


def contents_of(paths: Iterable[str]) -> Contents:
    """Sort a package's files. Raises RefusedError where the names cannot be a package's."""
    try:
        manifest = Manifest.of(PackedFile(path, 0, _NO_DIGEST) for path in paths)
    except ValueError as fault:
        raise RefusedError(f"{fault}: rename it, then look again") from fault
    sequences = sequences_of(manifest)
    best = min(map(_rank, sequences), default=None)
    # The longest first: what is beside it is the stray.
    runs = tuple(sorted((run for run in sequences if _rank(run) == best), key=lambda run: -len(run.files)))
    folders = {_folder(run.name) for run in runs}
    others = tuple(run for run in sequences if run not in runs and _folder(run.name) in folders)
    film = {file.path for run in (*runs, *others) for _, file in run.files}
    rest = [file.path for file in manifest.files if file.path not in film]
    sounds = tuple(path for path in rest if kind_of(path) in SOUNDS)
    movies = tuple(path for path in rest if kind_of(path) in MOVIES)
    stills = tuple(path for path in rest if kind_of(path) in PICTURES)
    known = {*sounds, *movies, *stills}
    return Contents(runs, sounds, movies, stills, tuple(path for path in rest if path not in known), others)


def _folder(name: str) -> str:
    return name.rpartition("/")[0]


def _rank(sequence: Sequence) -> tuple[bool, int]:
    """As `picture_of` has it: a run before a single file, DPX and EXR before TIFF before PNG."""
    return (len(sequence.files) == 1, {"dpx": 0, "exr": 0, "tif": 1, "tiff": 1}.get(sequence.kind, 2))
