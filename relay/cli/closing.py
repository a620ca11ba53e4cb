"""`relay export close` and `relay retire`: how a production ends, and what its bucket may lose then."""

from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, answer, bytes_in_words, count
from relay.cli.cut import CutListFile, Held, RateText, cut_of
from relay.cli.progress import watching
from relay.cli.typed import Reason
from relay.programme.account import accounts
from relay.transfer.accounting import account_files, gathered
from relay.transfer.closing import close as write_export
from relay.transfer.closing import final_versions
from relay.transfer.retiring import retirable
from relay.transfer.retiring import retire as take_out
from relay.wiring import open_desk


def close(
    context: typer.Context,
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="The new folder that becomes the bag.")],
    versions: Annotated[
        list[str] | None,
        typer.Argument(metavar="VERSION", help="The final versions.", show_default="what the last stage accepted"),
    ] = None,
    cut: CutListFile = None,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Close the production with one export for decades.

    A bag (RFC 8493) of the final reels, the ledger with its keys, every manifest, reports and accounts, and a page
    that says how to verify all of it with sha256sum and openssl. For the coordinator.
    """
    with open_desk(context.obj) as desk, watching(f"closing into {target}", quiet=as_json) as watcher:
        state = desk.ledger.follow()
        finals = tuple(state.version(name).name for name in versions) if versions else final_versions(state)
        told = accounts(
            state, cut_of(desk, state, cut, rate, held=held), gathered(desk, state, state.versions.values())
        )
        reports = account_files(desk, state, told, told.archives)
        closed = write_export(desk, target, finals, reports, watcher)
    facts = {
        "bag": str(target),
        "finals": list(closed.finals),
        "files": closed.files,
        "bytes": closed.size,
        "export": closed.export,
        "entry": closed.entry,
    }
    said = (
        f" holds {', '.join(closed.finals)} and the ledger: {count(closed.files, 'file')}, "
        f"{bytes_in_words(closed.size)}; entry {closed.entry}. HOW-TO-VERIFY.txt in it says how to check it; "
        f"{target.name}.closing beside it is the coordinator's signature on it."
    )
    answer(facts, as_json=as_json, show=lambda page: page.line(said, head=str(target)))


def retire(
    context: typer.Context,
    bag: Annotated[
        Path, typer.Argument(metavar="BAG", help="The closing export: every byte of it is read again first.")
    ],
    reason: Reason,
    versions: Annotated[
        list[str] | None,
        typer.Argument(metavar="VERSION", help="Which versions go.", show_default="all but the final ones"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Take old versions out of the bucket, after the closing.

    Only by the coordinator, and only while the export of the newest closing lies whole in BAG. The ledger goes on
    saying that they were there, and the bucket takes no further versions.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        named = tuple(state.version(name).name for name in versions) if versions else retirable(state)
        gone = take_out(desk, bag, named, reason)
    facts = {"versions": list(gone.versions), "objects": gone.objects, "bytes": gone.size}
    said = (
        f"{count(len(gone.versions), 'version')} retired: {count(gone.objects, 'object')} and "
        f"{bytes_in_words(gone.size)} are out of the bucket."
    )
    answer(facts, as_json=as_json, show=lambda page: page.line(said))
