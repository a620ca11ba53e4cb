"""Which paths a package may hold. A path from another site is data from a stranger.

A package travels between Linux, macOS and Windows, so a path must mean one file on each of them: what Windows
cannot hold follows Microsoft's page "Naming Files, Paths, and Namespaces".
"""

import re
import unicodedata
from collections.abc import Iterable

PART_LIMIT = 255  # bytes of UTF-8, as most file systems have it
PATH_LIMIT = 1024  # bytes of UTF-8: what macOS allows for a whole path

_DEVICES = r"(?:con|prn|aux|nul|conin\$|conout\$|(?:com|lpt)[0-9¹²³]) *(?:\..*)?"
_LITTER = r"\.ds_store|thumbs\.db|desktop\.ini|\._.*"

_PLAIN = re.compile(
    rf"(?!(?:{_DEVICES}|{_LITTER})$)[a-z0-9_](?:[a-z0-9_. -]{{0,253}}[a-z0-9_-])?", re.ASCII | re.IGNORECASE
)
"""What nearly every name looks like; any other is looked at more closely, for the sentence that says what is wrong."""

_DEVICE = re.compile(_DEVICES, re.IGNORECASE)
_BROWSED = re.compile(_LITTER, re.IGNORECASE)
_NEVER = re.compile(r'[\x00-\x1f\x7f-\x9f<>:"|?*\\/]')

# Line and paragraph separators break lists of names; the others are invisible or turn the text around.
_DECEIVING = frozenset(
    "\u2028\u2029\ufeff\u061c\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)

OURS = ".relay-"
"""How the names of our own hidden files and folders begin, such as a landing that is under way."""


def is_ours(name: str) -> bool:
    """Answer whether `name`, one part of a path, is a hidden file or folder of our own."""
    return name[:7].lower() == OURS


def is_litter(name: str) -> bool:
    """Answer whether `name`, one part of a path, is a file that a file browser drops by itself.

    Such a file changes whenever somebody looks into the folder; it is no part of a package.
    """
    return _BROWSED.fullmatch(name) is not None


def check_part(part: str) -> None:
    """Refuse one part of a path, a file's or a folder's name. Raises ValueError."""
    if _PLAIN.fullmatch(part) is None and (fault := _fault_of(part)):
        raise ValueError(fault)


def _fault_of(part: str) -> str | None:
    if part in {"", ".", ".."}:
        return f"the part {part!r} leads elsewhere or nowhere"
    if any("\ud800" <= letter <= "\udfff" for letter in part):
        return "it is not UTF-8"
    if found := _NEVER.search(part):
        return f"the character {found[0]!r} cannot stand in a name on every system"
    if unseen := next((letter for letter in part if letter in _DECEIVING), None):
        return f"the character U+{ord(unseen):04X} hides or turns the text around it"
    if part != part.strip() or part.endswith("."):
        return f"{part!r} begins or ends with a space, or ends with a dot, which Windows drops"
    if _DEVICE.fullmatch(part):
        return f"{part!r} is the name of a device on Windows"
    if _size_of(part) > PART_LIMIT:
        return f"a part is {_size_of(part)} bytes long, the most is {PART_LIMIT}"
    if is_ours(part):
        return f"{part!r} is a name that this tool keeps for itself"
    if is_litter(part):
        return f"{part!r} is a name that file browsers write by themselves"
    return None


def folded(text: str) -> str:
    """Return what is equal for names that some system takes for the same: case, accents' form, unseen characters."""
    if text.isascii():
        return text.lower()
    # Canonical caseless matching (Unicode, section 3.13, D145), by way of capitals as Windows compares; some Apple
    # file systems also ignore joiners.
    decomposed = unicodedata.normalize("NFD", unicodedata.normalize("NFD", text).upper().casefold())
    return "".join(letter for letter in decomposed if unicodedata.category(letter) != "Cf")


class Names:
    """The paths of one package, told one by one: each is looked at alone and beside those before it."""

    def __init__(self) -> None:
        self._folders: dict[str, str] = {}
        self._seen: dict[str, tuple[str, bool]] = {}

    def add(self, path: str) -> None:
        """Take `path` in. Raises ValueError with a sentence that names it."""
        try:
            self._add(path)
        except ValueError as fault:
            raise ValueError(f"the path {path!r} cannot be part of a package: {fault}") from None

    def _add(self, path: str) -> None:
        if path.startswith("/"):
            raise ValueError("it is absolute")
        if len(path) * 4 > PATH_LIMIT and _size_of(path) > PATH_LIMIT:
            raise ValueError(f"it is {_size_of(path)} bytes long, the most is {PATH_LIMIT}")
        folder, _, name = path.rpartition("/")
        key = self._folders.get(folder) or self._folder_key(folder)
        check_part(name)
        self._take(f"{key}/{folded(name)}", path, is_folder=False)

    def _folder_key(self, folder: str) -> str:
        key = above = ""
        for part in folder.split("/") if folder else ():
            check_part(part)
            key, above = f"{key}/{folded(part)}", f"{above}/{part}" if above else part
            if above not in self._folders:
                self._take(key, above, is_folder=True)
                self._folders[above] = key
        return key

    def _take(self, key: str, path: str, *, is_folder: bool) -> None:
        before = self._seen.get(key)
        if before is None:
            self._seen[key] = (path, is_folder)
        elif before[0] != path:
            raise ValueError(f"some systems cannot tell {path!r} from {before[0]!r}")
        elif is_folder is before[1]:
            raise ValueError("it stands twice")
        else:
            raise ValueError(f"{path!r} is a file and also a folder")


def _size_of(path: str) -> int:
    return len(path.encode(errors="surrogatepass"))


def check_paths(paths: Iterable[str]) -> None:
    """Refuse paths that cannot make one package together. Raises ValueError, naming the first."""
    names = Names()
    for path in paths:
        names.add(path)
