"""An account as a PDF, with reportlab (the extra `programme`): a library that needs nothing from the system.

Its letters are those of the face that the library brings; what that face lacks is shown as a lozenge, and the document
says so and where it stands in full: on the account's page. Returns bytes; reads nothing but what `read` gives.
"""

import io
from collections.abc import Callable, Iterable, Iterator
from typing import Any
from xml.sax.saxutils import escape

from relay.model import Digest
from relay.programme.account_words import Block, Heading, Picture, Table, Text

_WIDTH = 450
"""Points between the margins of A4."""

_LOZENGE = "\u25ca"
"""Stands for a letter that the face lacks. The face has no box, and would draw nothing that a reader finds again."""


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

        for name, file in (("Vera", "Vera.ttf"), ("VeraBd", "VeraBd.ttf")):
            pdfmetrics.registerFont(TTFont(name, file))
        self._glyphs = pdfmetrics.getFont("Vera").face.charToGlyph
        self._plain = ParagraphStyle("plain", fontName="Vera", fontSize=8.5, leading=11.5, spaceAfter=4)
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
        said = self._drawn(title[:90])

        def write(canvas: Any, document: Any) -> None:
            canvas.setFont("Vera", 8)
            canvas.drawString(document.leftMargin, 30, f"{said}, page {canvas.getPageNumber()}")

        return write

    def lacking(self) -> Iterator[Any]:
        """Yield a line that says what could not be written here, where that is so."""
        from reportlab.platypus import Paragraph

        if self._lacked:
            codes = sorted(f"U+{ord(each):04X}" for each in self._lacked)
            more = f" and {len(codes) - 12} more" if len(codes) > 12 else ""
            words = f"This document's face lacks {', '.join(codes[:12])}{more}: {_LOZENGE} stands for each. "
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
        return escape(self._drawn(text))

    def _drawn(self, text: str) -> str:
        self._lacked |= {each for each in text if ord(each) not in self._glyphs and each != "\n"}
        return "".join(_LOZENGE if each in self._lacked else each for each in text)

    def _table(self, rows: list[tuple[str, ...]], *, heads: bool) -> Any:
        from reportlab.lib import colors
        from reportlab.platypus import Paragraph
        from reportlab.platypus import Table as Grid

        weights = [min(45, 4 + max(6, *(len(row[at]) for row in rows))) for at in range(len(rows[0]))]
        widths = [_WIDTH * weight / sum(weights) for weight in weights]
        cells = [[Paragraph(self._shown(cell), self._plain) for cell in row] for row in rows]
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
