"""Tells an entry in a sentence, for whoever reads the ledger. Pure."""

from typing import assert_never

from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade, ComparisonWord
from relay.ledger.decision_words import (
    DecisionMade,
    DecisionWord,
    Evidence,
    ProductionClosed,
    RegionCompared,
    RegionJudged,
    VersionsRetired,
)
from relay.ledger.job_words import (
    ClaimExtended,
    ClaimLapsed,
    ClaimReassigned,
    ClaimReleased,
    HandOnDeclined,
    HandOnOffered,
    HandOnTaken,
    InputsRenewed,
    JobAccepted,
    JobClaimed,
    JobHandedIn,
    JobOpened,
    JobRestarted,
    JobReturned,
    JobWithdrawn,
    JobWord,
    SiteAsked,
    SiteExpected,
    TryFailed,
    WorkCameLate,
)
from relay.ledger.pin_words import PlacePinned
from relay.ledger.words import (
    CopyChecked,
    FolderNotSent,
    FolderSettled,
    KeyReplaced,
    MaterialKept,
    ObjectMended,
    ProductionCreated,
    ProductionRevised,
    ReceiptSigned,
    SiteInvited,
    SiteJoined,
    SiteRemoved,
    VersionConformed,
    VersionInspected,
    VersionMade,
    VersionNotInspected,
    VersionsAligned,
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
            files = f"{word.files:,} {'file' if word.files == 1 else 'files'}"
            return f"sent {word.version}: {files}, {word.size:,} bytes" + (f" ({word.note})" if word.note else "")
        case ReceiptSigned():
            return _receipt(word)
        case VersionInspected():
            found = _found(word.blocking, word.warning)
            return f"looked at {word.version}: {found if word.blocking or word.warning else 'nothing found'}"
        case VersionConformed():
            found = _found(word.blocking, word.warning)
            lies = found if word.blocking or word.warning else "frame for frame as it says"
            return f"held {word.version} against the cut list {word.cut_list[:12]}: {lies}"
        case VersionsAligned():
            found = f"{word.matched} of {word.frames} frames found, {word.sure} surely"
            return f"put {word.one} beside {word.other}: {found}"
        case VersionNotInspected():
            return f"did not look at {word.version}: {word.why}"
        case MaterialKept():
            return f"kept {word.name} about {word.about}" + (f" ({word.note})" if word.note else "")
        case CopyChecked():
            where = "the bucket" if word.place == "bucket" else f"{word.label} ({word.place})"
            said = {"whole": "whole", "bad": f"bad in {word.faults_in_all} files", "gone": "no copy any more"}
            return f"checked {word.version} in {where}: {said[word.outcome]}"
        case ObjectMended():
            bad = f"whose bytes had the SHA-256 {word.found}" if word.found else "which was gone"
            return f"mended object {word.object}, {bad}, with the copy of {word.version}"
        case FolderNotSent():
            return f"could not send {word.folder} from to-send/: {word.why}"
        case FolderSettled():
            return f"settled {word.folder}: it was sent, or is not in to-send/ any more"
        case PlacePinned():
            who, note = f"{word.person} of the site " if word.person else "", f" ({word.note})" if word.note else ""
            if word.other_frame is None:
                return f"{who}lifted the pin on {word.one}:{word.frame} to {word.other}{note}"
            return f"{who}pinned {word.one}:{word.frame} to {word.other}:{word.other_frame}{note}"
        case ComparisonAsked() | ComparisonMade() | ComparisonNotMade():
            return _of_a_comparison(word)
        case DecisionMade() | RegionCompared() | RegionJudged() | ProductionClosed() | VersionsRetired():
            return _of_the_film(word)
        case _:
            return _of_a_job(word)


def _of_a_comparison(word: ComparisonWord) -> str:
    match word:
        case ComparisonAsked():
            return f"asked for {asked_in_words(word)}"
        case ComparisonMade():
            return f"made the comparison copy that entry {word.asked} asks for: {word.steps} steps, {word.size:,} bytes"
        case ComparisonNotMade():
            return f"could not make the comparison copy that entry {word.asked} asks for: {word.why}"
        case _:
            assert_never(word)


def asked_in_words(word: ComparisonAsked) -> str:
    """Return what a comparison copy is to show."""
    kind = "a still" if word.still else "a movie"
    note = f" ({word.note})" if word.note else ""
    if word.cut_list:
        return f"{kind} of {' beside '.join(word.elements)} along the cut list {word.cut_list[:12]}{note}"
    frames = f", frames {word.frames}" if word.frames else ""
    return f"{kind} of {' beside '.join(word.prints)}{frames}{note}"


def _of_the_film(word: DecisionWord) -> str:
    match word:
        case DecisionMade():
            who = f"{word.person} of the site " if word.person else ""
            instead = f" (instead: {word.instead})" if word.instead else ""
            seen = f"; seen: {', '.join(evidence_in_words(each) for each in word.evidence)}" if word.evidence else ""
            return f"{who}decided {word.place} is {word.verdict}{instead}{_because(word.because)}{seen}"
        case RegionCompared():
            gone = f"the detail seems gone in {', '.join(map(str, word.flagged))}" if word.flagged else "it is there"
            return f"compared {word.version} with what entry {word.decision} leaves as it is: {gone}"
        case RegionJudged():
            said = "is still there" if word.stands else "was cleaned away"
            return f"says what entry {word.decision} leaves as it is {said} in {word.version}{_because(word.because)}"
        case ProductionClosed():
            exported = f"{word.files:,} files, {word.size:,} bytes exported"
            return f"closed the production: {exported}, {', '.join(word.finals)}"
        case VersionsRetired():
            named = ", ".join(word.versions[:5])
            more = f" and {len(word.versions) - 5} more" if len(word.versions) > 5 else ""
            return f"retired {named}{more} from the bucket{_because(word.reason)}"
        case _:
            assert_never(word)


def evidence_in_words(evidence: Evidence) -> str:
    """Return what was looked at."""
    if evidence.still:
        return f"still {evidence.still[:12]}..."
    frames = ":" + ",".join(map(str, evidence.frames)) if evidence.frames else ""
    return f"{evidence.version}{frames}" + (f" against {evidence.against}" if evidence.against else "")


def _of_a_job(word: JobWord) -> str:
    match word:
        case JobOpened():
            taking = f", taking {', '.join(word.inputs)}" if word.inputs else ""
            return f"opened job {word.job}{taking}{_because(word.reason)}"
        case InputsRenewed():
            return f"gave job {word.job} new inputs: {', '.join(word.inputs)}"
        case JobClaimed():
            meant = f" until {word.until:%Y-%m-%d %H:%M} UTC" if word.until else f", with a lease of {word.lease} s"
            return f"claimed job {word.job}{meant}"
        case ClaimExtended():
            return f"extended the claim on job {word.job} until {word.until:%Y-%m-%d %H:%M} UTC"
        case ClaimReleased():
            return f"gave job {word.job} back{_because(word.reason)}"
        case ClaimLapsed():
            return f"says that the claim of entry {word.epoch} on job {word.job} lapsed"
        case ClaimReassigned():
            return f"took job {word.job} from its holder, for {word.to or 'whoever comes first'}{_because(word.reason)}"
        case SiteAsked():
            when = f", to begin {word.begins:%Y-%m-%d %H:%M} UTC" if word.begins else ""
            return f"asks {word.to or 'nobody'} first for job {word.job}{when}{_because(word.reason)}"
        case SiteExpected():
            when = f", from {word.begins:%Y-%m-%d %H:%M} UTC" if word.begins else ""
            return f"expects {word.to or 'nobody'} to go on with job {word.job}{when}{_because(word.reason)}"
        case HandOnOffered():
            return f"offered job {word.job} to {word.to}; done: {word.done}; left to do: {word.left}"
        case HandOnTaken():
            return f"goes on with job {word.job}"
        case HandOnDeclined():
            return f"does not hand on job {word.job}{_because(word.reason)}"
        case JobHandedIn():
            return f"handed in job {word.job} with {word.version}" + (f" ({word.note})" if word.note else "")
        case WorkCameLate():
            return f"sent {word.version} for job {word.job} after its claim was over; it is kept, unaccepted"
        case TryFailed():
            return f"could not do job {word.job}: {word.said.strip().rpartition(chr(10))[2][:200]}"
        case JobRestarted():
            return f"restarted job {word.job}{_because(word.reason)}"
        case JobAccepted():
            unseen = ", which nobody looked at" if word.unseen else ""
            return f"accepted {word.version} of job {word.job}{unseen}" + (f" ({word.note})" if word.note else "")
        case JobReturned():
            return f"returned {word.version} of job {word.job}{_because(word.reasons)}"
        case JobWithdrawn():
            return f"withdrew job {word.job}{_because(word.reason)}"
        case _:
            assert_never(word)


def _found(blocking: int, warning: int) -> str:
    blocks = "1 finding blocks" if blocking == 1 else f"{blocking} findings block"
    return f"{blocks} acceptance, {warning} {'warns' if warning == 1 else 'warn'}"


def _because(reason: str) -> str:
    return f": {reason}" if reason else ""


def _receipt(word: ReceiptSigned) -> str:
    if word.whole:
        return f"received {word.version} whole"
    named = ", ".join(fault.path for fault in word.faults[:3])
    more = f" and {word.faults_in_all - 3} more" if word.faults_in_all > 3 else ""
    return f"refused {word.version}: {named}{more}"
