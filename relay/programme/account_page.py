"""An account as one HTML page that needs nothing beside it: its pictures stand inside. Pure."""

import base64
from collections.abc import Callable, Iterable, Iterator
from html import escape

from relay.model import Digest
from relay.programme.account_words import Block, Heading, Picture, Table, Text

Read = Callable[[Digest], bytes | None]
"""Gives a picture's bytes; None where the store does not hold it any more."""

_STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem;color:#1d1d1b;"
    "background:#fdfcf8}table{border-collapse:collapse;margin:.5rem 0 1rem}td,th{text-align:left;vertical-align:top;"
    "padding:.25rem .8rem .25rem 0;border-bottom:1px solid #ccc}h2{margin-top:2.5rem}img{max-width:100%;"
    "border:1px solid #999}figure{margin:1rem 0}@media print{h2{break-before:page}}"
)


def page(title: str, blocks: Iterable[Block], read: Read) -> str:
    """Return the page. What people wrote is text on it, never markup."""
    inside = "\n".join(part for block in blocks for part in _block(block, read))
    return (
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{escape(title)}</title>\n'
        f"<style>{_STYLE}</style></head>\n<body>\n{inside}\n</body>\n</html>\n"
    )


def _block(block: Block, read: Read) -> Iterator[str]:
    match block:
        case Heading(text, level):
            yield f"<h{level}>{escape(text)}</h{level}>"
        case Text(text):
            yield f"<p>{escape(text)}</p>"
        case Table(heads, rows):
            yield f"<table>{_row(heads, 'th') if any(heads) else ''}{''.join(_row(row, 'td') for row in rows)}</table>"
        case Picture(digest, shows):
            yield _picture(read(digest), digest, shows)


def _row(cells: tuple[str, ...], tag: str) -> str:
    return "<tr>" + "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in cells) + "</tr>"


def _picture(body: bytes | None, digest: Digest, shows: str) -> str:
    if body is None:
        return f"<p>A picture of {escape(shows)}, SHA-256 {digest}, is not in the store any more.</p>"
    kind = "png" if body.startswith(b"\x89PNG") else "jpeg"
    data = base64.b64encode(body).decode()
    return (
        f'<figure><img src="data:image/{kind};base64,{data}" alt="{escape(shows)}">'
        f"<figcaption>{escape(shows)}, SHA-256 {digest[:16]}...</figcaption></figure>"
    )
