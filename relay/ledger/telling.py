"""Tells an entry in a sentence, for whoever reads the ledger. Pure."""

from typing import assert_never

from relay.ledger.words import (
    ClaimLapsed,
    JobClaimed,
    JobHandedIn,
    JobOpened,
    KeyReplaced,
    ObjectMended,
    ProductionCreated,
    ProductionRevised,
    ReceiptSigned,
    SiteInvited,
    SiteJoined,
    SiteRemoved,
    VersionMade,
    Word,
)


def telling(word: Word) -> str:  # one arm a word
    """Return what `word` says, without its subject: the signer."""
    match word:
        case ProductionCreated():
            return f"created the production {word.production.title!r}, coordinated by {word.production.coordinator}"
        case ProductionRevised():
            return f"revised the production: {word.reason}"
        case SiteInvited():
            return f"invited {word.site}"
        case SiteJoined():
            return f"joined as {word.site}"
        case SiteRemoved():
            return f"removed {word.site}: {word.reason}"
        case KeyReplaced():
            return f"replaced the key of {word.name}: {word.reason}"
        case VersionMade():
            return f"sent {word.version}: {word.files} files, {word.size} bytes" + (
                f" ({word.note})" if word.note else ""
            )
        case ReceiptSigned():
            return _receipt(word)
        case ObjectMended():
            bad = f"whose bytes had the SHA-256 {word.found}" if word.found else "which was gone"
            return f"mended object {word.object}, {bad}, with the copy of {word.version}"
        case JobOpened():
            return f"opened job {word.job}"
        case JobClaimed():
            return f"claimed job {word.job}"
        case ClaimLapsed():
            return f"says that the claim of entry {word.epoch} on job {word.job} lapsed"
        case JobHandedIn():
            return f"handed in job {word.job} with {word.version}"
        case _:
            assert_never(word)


def _receipt(word: ReceiptSigned) -> str:
    if word.whole:
        return f"received {word.version} whole"
    named = ", ".join(fault.path for fault in word.faults[:3])
    more = f" and {word.faults_in_all - 3} more" if word.faults_in_all > 3 else ""
    return f"refused {word.version}: {named}{more}"
