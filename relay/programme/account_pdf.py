"""An account as a PDF, with reportlab (the extra `programme`): a library that needs nothing from the system.

Its letters are those of the face that the library brings, and where that lacks one, of a second face that the extra
brings: Greek, Cyrillic, rarer Latin. What neither has, or what would have to be joined or reordered to be right, is
shown as a lozenge, and the document says so and where it stands in full: on the account's page. Returns bytes; reads
nothing but what `read` gives, and the faces.
"""

import io
from collections.abc import Callable, Iterable, Iterator
from html import escape
from importlib.resources import files
from importlib.util import find_spec
from itertools import groupby
from typing import Any

from relay.model import Digest
from relay.programme.account_words import Block, Heading, Picture, Table, Text

_WIDTH = 450
"""Points between the margins of A4."""

_SIZE = 8.5
"""Points of plain letters."""
_PADDING = 13
"""Points that a cell has beside its words."""
_LOZENGE = "\u25ca"
"""Stands for a letter that the face lacks. The face has no box, and would draw nothing that a reader finds again."""

_SECOND = "NotoSans"
_CARRIER = "fontpkg_noto_sans"


def _second_face() -> Iterator[tuple[str, str]]:
    """Yield the second face and its file, where it is installed."""
    if find_spec(_CARRIER):
        yield _SECOND, str(files(_CARRIER) / "files" / "NotoSans[wdth,wght].ttf")


def _word_width(cell: str) -> float:
    """Return how wide the widest word of a cell is, in points."""
    return max(map(_width, cell.split()), default=0.0)


def _width(text: str) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, "VeraBd", _SIZE))


def _stands_alone(letter: str) -> bool:
    """Answer whether a letter is right wherever it stands: Latin, Greek, Cyrillic, signs. Others must be joined."""
    return letter < "\u0590" or "\u1d00" <= letter < "\u2c00"


def pdf(title: str, blocks: Iterable[Block], read: Callable[[Digest], bytes | None]) -> bytes:
    """Return the document."""
    from reportlab.lib.pagesizes import A4
    from reportlab.platypus import SimpleDocTemplate

    out = io.BytesIO()
    document = SimpleDocTemplate(out, pagesize=A4, title=title, invariant=True)
    writer = _Writer(read)
    parts = [part for block in blocks for part in writer.flowables(block)]
    foot = writer.foot(title)
    document.build([*parts, *writer.lacking()], onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


class _Writer:
    def __init__(self, read: Callable[[Digest], bytes | None]) -> None:
        from reportlab.lib.styles import ParagraphStyle
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont

        for name, file in (("Vera", "Vera.ttf"), ("VeraBd", "VeraBd.ttf"), *_second_face()):
            pdfmetrics.registerFont(TTFont(name, file))
        self._glyphs = pdfmetrics.getFont("Vera").face.charToGlyph
        self._others = pdfmetrics.getFont(_SECOND).face.charToGlyph if dict(_second_face()) else {}
        self._plain = ParagraphStyle("plain", fontName="Vera", fontSize=_SIZE, leading=11.5, spaceAfter=4)
        self._bold = ParagraphStyle("bold", parent=self._plain, fontName="VeraBd")
        self._heads = {
            level: ParagraphStyle(
                f"h{level}", fontName="VeraBd", fontSize=size, leading=size * 1.3, spaceBefore=10, spaceAfter=4
            )
            for level, size in ((1, 15), (2, 12), (3, 10))
        }
        self._read = read
        self._lacked = set[str]()

    def foot(self, title: str) -> Callable[[Any, Any], None]:
        """Return what writes the foot of a page."""
        runs = list(self._runs(title[:90]))

        def write(canvas: Any, document: Any) -> None:
            line = canvas.beginText(document.leftMargin, 30)
            for face, said in (*runs, ("Vera", f", page {canvas.getPageNumber()}")):
                line.setFont(face, 8)
                line.textOut(said)
            canvas.drawText(line)

        return write

    def lacking(self) -> Iterator[Any]:
        """Yield a line that says what could not be written here, where that is so."""
        from reportlab.platypus import Paragraph

        if self._lacked:
            codes = sorted(f"U+{ord(each):04X}" for each in self._lacked)
            more = f" and {len(codes) - 12} more" if len(codes) > 12 else ""
            words = f"This document's faces lack {', '.join(codes[:12])}{more}: {_LOZENGE} stands for each. "
            yield Paragraph(words + "The HTML page of the same name has the words in full.", self._plain)

    def flowables(self, block: Block) -> Iterator[Any]:
        from reportlab.platypus import Paragraph

        match block:
            case Heading(text, level):
                yield Paragraph(self._shown(text), self._heads[level])
            case Text(text):
                yield Paragraph(self._shown(text), self._plain)
            case Table(heads, rows):
                has_heads = any(heads)
                yield self._table([heads, *rows] if has_heads else [*rows], heads=has_heads)
            case Picture(digest, shows):
                yield from self._picture(digest, shows)

    def _shown(self, text: str) -> str:
        return "".join(
            escape(said, quote=False) if face == "Vera" else f'<font name="{face}">{escape(said, quote=False)}</font>'
            for face, said in self._runs(text)
        )

    def _runs(self, text: str) -> Iterator[tuple[str, str]]:
        """Yield `text` in runs, each with the face that has its letters."""
        for face, run in groupby(text, self._face):
            said = "".join(run)
            if face is None:
                self._lacked |= set(said)
            yield face or "Vera", said if face else _LOZENGE * len(said)

    def _face(self, letter: str) -> str | None:
        if ord(letter) in self._glyphs or letter == "\n":
            return "Vera"
        return _SECOND if ord(letter) in self._others and _stands_alone(letter) else None

    def _table(self, rows: list[tuple[str, ...]], *, heads: bool) -> Any:
        from reportlab.lib import colors
        from reportlab.platypus import Paragraph
        from reportlab.platypus import Table as Grid

        widths = self._widths(rows)
        cells = [
            [Paragraph(self._shown(cell), self._bold if heads and not at else self._plain) for cell in row]
            for at, row in enumerate(rows)
        ]
        style = [("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.grey), ("VALIGN", (0, 0), (-1, -1), "TOP")]
        return Grid(
            cells,
            colWidths=widths,
            style=style,
            repeatRows=1 if heads else 0,
            splitInRow=1,  # a cell may be longer than a page: a record names up to a thousand steps
            spaceAfter=6,
            hAlign="LEFT",
        )

    def _widths(self, rows: list[tuple[str, ...]]) -> list[float]:
        """Return each column's width in points: its widest word, and a share of the rest by what is written in it."""
        columns = list(zip(*rows, strict=True))
        least = [min(_WIDTH / len(columns), _PADDING + max(map(_word_width, column))) for column in columns]
        whole = [min(_WIDTH, _PADDING + max(map(_width, column))) for column in columns]
        more = [max(1.0, all_of_it - word) for all_of_it, word in zip(whole, least, strict=True)]
        rest = _WIDTH - sum(least)
        return [width + rest * each / sum(more) for width, each in zip(least, more, strict=True)]

    def _picture(self, digest: Digest, shows: str) -> Iterator[Any]:
        from PIL import UnidentifiedImageError
        from reportlab.lib.utils import ImageReader
        from reportlab.platypus import Image, Paragraph

        body = self._read(digest)
        try:
            width, height = ImageReader(io.BytesIO(body or b"")).getSize()
        except (OSError, UnidentifiedImageError):
            yield Paragraph(self._shown(f"A picture of {shows}, SHA-256 {digest}, cannot be shown here."), self._plain)
            return
        scale = min(_WIDTH / width, 560 / height, 1.0)
        yield Image(io.BytesIO(body or b""), width * scale, height * scale)
        yield Paragraph(self._shown(f"{shows}, SHA-256 {digest[:16]}..."), self._plain)
