"""Entries in, state out; and what the signer may not say is refused. Pure: no disk, no network, no clock.

Every rule is one function over the state before the word. A rule that finds the word wrong raises RefusedError, which
a writer shows to the person who asked; a reader that meets such an entry in the bucket stops (`relay.ledger.history`).
"""

from dataclasses import replace

from relay.errors import RefusedError
from relay.ledger import comparison_rules, decision_rules, job_rules, pin_rules, route
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.decision_words import DecisionMade, ProductionClosed, RegionCompared, RegionJudged, VersionsRetired
from relay.ledger.entry import Entry
from relay.ledger.keys import PublicKey, key_id
from relay.ledger.pin_words import PlacePinned
from relay.ledger.saying import RULING, WORKING, Saying
from relay.ledger.state import (
    ROOT,
    Alignment,
    Conformed,
    CopyCheck,
    Inspected,
    KeptFolder,
    Material,
    Mending,
    Receipt,
    Role,
    Signer,
    State,
    Unseen,
    Version,
)
from relay.ledger.words import (
    FAULTS_IN_ENTRY,
    KEPT_FOLDERS,
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
from relay.model import Production, VersionName, number_of, reel_of


def fold(state: State, entry: Entry) -> None:
    """Add `entry`, whose place, chain and signature were checked, to `state`. Raises RefusedError.

    After an error the state is half-told: throw it away. Writers try on `state.draft()` first.
    """
    body = entry.body
    for word in body.words:
        saying = Saying(body.sequence, body.key, _signer(state, word, entry), body.time)
        _fold_word(state, word, saying)
    state.sequence, state.digest = body.sequence, entry.digest


def _signer(state: State, word: Word, entry: Entry) -> Signer:
    if isinstance(word, ProductionCreated) and not state.roster and entry.body.by == ROOT:
        return Signer(ROOT, Role.ROOT, word.root, 0)
    signer = state.roster.get(entry.body.key)
    if signer is None or signer.name != entry.body.by:
        raise RefusedError(f"{entry.body.by} does not sign with this key: it is not on the roster")
    if signer.until is not None:
        raise RefusedError(f"{signer.name}'s key stopped counting with entry {signer.until}")
    return signer


def _fold_word(state: State, word: Word, saying: Saying) -> None:
    match word:
        case ProductionCreated():
            _created(state, word, saying)
        case ProductionRevised():
            _revised(state, word, saying)
        case SiteInvited():
            _invited(state, word, saying)
        case SiteJoined():
            _joined(state, word, saying)
        case SiteRemoved():
            _removed(state, word, saying)
        case KeyReplaced():
            _replaced(state, word, saying)
        case VersionMade():
            _version_made(state, word, saying)
        case ReceiptSigned():
            _receipt(state, word, saying)
        case VersionInspected():
            _inspected(state, word, saying)
        case VersionConformed():
            _conformed(state, word, saying)
        case VersionsAligned():
            _aligned(state, word, saying)
        case VersionNotInspected():
            _not_inspected(state, word, saying)
        case MaterialKept():
            _material(state, word, saying)
        case CopyChecked():
            _copy_checked(state, word, saying)
        case ObjectMended():
            _mended(state, word, saying)
        case FolderNotSent():
            _not_sent(state, word, saying)
        case FolderSettled():
            _settled(state, word, saying)
        case PlacePinned():
            pin_rules.fold_pin(state, word, saying)
        case ComparisonAsked() | ComparisonMade() | ComparisonNotMade():
            comparison_rules.fold_comparison(state, word, saying)
        case DecisionMade() | RegionCompared() | RegionJudged() | ProductionClosed() | VersionsRetired():
            decision_rules.fold_decision(state, word, saying)
        case _:  # a word without a rule does not type-check here
            job_rules.fold_job(state, word, saying)


def _enlist(state: State, name: str, role: Role, public: PublicKey, entry: int) -> None:
    key = key_id(public)
    if key in state.roster:
        raise RefusedError(f"this key is already {state.roster[key].name}'s: every name needs a key of its own")
    state.roster[key] = Signer(name, role, public, entry)


def _retire(state: State, name: str, entry: int, *roles: Role) -> None:
    for key, signer in list(state.roster.items()):
        if signer.name == name and signer.role in roles and signer.until is None:
            state.roster[key] = replace(signer, until=entry)


def _created(state: State, word: ProductionCreated, saying: Saying) -> None:
    if saying.entry != 0 or state.production is not None:
        raise RefusedError("a production is created once, in entry 0")
    if key_id(word.root) != saying.key:
        raise RefusedError("entry 0 is not signed with the root key that it names")
    _check_names(word.production)
    state.production, state.root = word.production, saying.key
    _enlist(state, ROOT, Role.ROOT, word.root, 0)
    _enlist(state, word.production.coordinator, Role.COORDINATOR, word.coordinator, 0)


def _check_names(production: Production) -> None:
    if production.site(ROOT) is not None:
        raise RefusedError(f"no site can be called {ROOT}: that is what the production's root key signs as")


def _revised(state: State, word: ProductionRevised, saying: Saying) -> None:
    saying.check_role("revise the production", *RULING)
    before, after = state.film(), word.production
    if (after.name, after.coordinator) != (before.name, before.coordinator):
        raise RefusedError("the production's name and its coordinator stay as they were created")
    _check_names(after)
    gone = (set(state.newest) | {job.reel for job in state.jobs.values()}) - set(after.reel_names())
    if gone:
        told = ", ".join(sorted(gone))
        raise RefusedError(f"{told} cannot be taken out of the production: there are versions or jobs of it")
    for signer in state.roster.values():
        if signer.role is Role.SITE and signer.until is None and after.site(signer.name) is None:
            raise RefusedError(f"site {signer.name} has joined and cannot be left out: remove it from the roster first")
    state.production = after


def _check_site(state: State, name: str) -> None:
    if state.film().site(name) is None:
        raise RefusedError(f"the production has no site {name}: add it to the production's file and revise first")


def _invited(state: State, word: SiteInvited, saying: Saying) -> None:
    saying.check_role("invite a site", *RULING)
    _check_site(state, word.site)
    if state.has_joined(word.site):
        raise RefusedError(f"site {word.site} has joined already; a lost key is replaced, not invited again")
    _retire(state, word.site, saying.entry, Role.INVITATION)
    _enlist(state, word.site, Role.INVITATION, word.invitation, saying.entry)


def _joined(state: State, word: SiteJoined, saying: Saying) -> None:
    saying.check_role("join", Role.INVITATION)
    if word.site != saying.signer.name:
        raise RefusedError(f"this invitation is for {saying.signer.name}, not for {word.site}")
    _check_site(state, word.site)
    _retire(state, word.site, saying.entry, Role.INVITATION)
    _enlist(state, word.site, Role.SITE, word.key, saying.entry)


def _removed(state: State, word: SiteRemoved, saying: Saying) -> None:
    saying.check_role("remove a site", *RULING)
    if word.site == state.film().coordinator:
        raise RefusedError("the coordinator cannot be removed; the root key can replace its key")
    if not any(state.signer(word.site, role) for role in (Role.SITE, Role.INVITATION)):
        raise RefusedError(f"site {word.site} has no key that counts: there is nothing to remove")
    _retire(state, word.site, saying.entry, Role.SITE, Role.INVITATION)
    state.kept = tuple(each for each in state.kept if each.site != word.site)


def _replaced(state: State, word: KeyReplaced, saying: Saying) -> None:
    old = next((s for s in state.roster.values() if _signs(s, word.name)), None)
    if old is None:
        raise RefusedError(f"{word.name} has no key that counts: invite it instead")
    if saying.signer != old:
        saying.check_role(f"replace the key of {word.name}", *(RULING if old.role is Role.SITE else (Role.ROOT,)))
    _retire(state, word.name, saying.entry, old.role)
    _enlist(state, word.name, old.role, word.key, saying.entry)


def _signs(signer: Signer, name: str) -> bool:
    return signer.name == name and signer.until is None and signer.role is not Role.INVITATION


def _version_made(state: State, word: VersionMade, saying: Saying) -> None:
    saying.check_role("send a version", *WORKING)
    if state.retired is not None:
        # Sites remember which objects the bucket holds, and would not send what went with a retired version.
        raise RefusedError(
            f"versions were retired from this bucket by entry {state.retired}: it takes no further ones. Work that "
            "goes on belongs in a production of its own"
        )
    reel = reel_of(word.version)
    if not route.has_reel(state.film(), reel):
        raise RefusedError(f"the production has no reel {reel}")
    number = state.newest.get(reel, 0) + 1
    if number_of(word.version) != number:
        raise RefusedError(f"{word.version} is out of turn: the next version of {reel} is v{number}")
    for parent in word.parents:
        if parent not in state.versions:
            raise RefusedError(f"{word.version} names a parent {parent}, which does not exist")
    made = Version(
        name=word.version,
        manifest=word.manifest,
        files=word.files,
        size=word.size,
        parents=word.parents,
        scan_map=word.scan_map,
        note=word.note,
        by=saying.signer.name,
        entry=saying.entry,
        time=saying.time,
    )
    state.versions[word.version], state.newest[reel] = made, number


def _version(state: State, name: VersionName) -> Version:
    if name not in state.versions:
        raise RefusedError(f"there is no version {name}")
    return state.versions[name]


def _receipt(state: State, word: ReceiptSigned, saying: Saying) -> None:
    saying.check_role("sign a receipt", *WORKING)
    version = _version(state, word.version)
    if word.manifest != version.manifest:
        raise RefusedError(f"the receipt for {word.version} is about another manifest than the version has")
    if word.whole != (word.faults_in_all == 0) or len(word.faults) != min(word.faults_in_all, FAULTS_IN_ENTRY):
        raise RefusedError(f"the receipt for {word.version} contradicts itself about what was wrong")
    if (word.carried is None) != (word.took is None):
        raise RefusedError(f"the receipt for {word.version} tells how much came, or how long it took: both or neither")
    found = (word.whole, word.faults, word.faults_in_all, word.carried, word.took)
    signed = Receipt(saying.signer.name, saying.entry, saying.time, *found)
    state.versions[word.version] = replace(version, receipts=(*version.receipts, signed))


def _inspected(state: State, word: VersionInspected, saying: Saying) -> None:
    saying.check_role("say what an inspection found", *WORKING)
    version = _version(state, word.version)
    if word.manifest != version.manifest:
        raise RefusedError(f"the inspection of {word.version} is about another manifest than the version has")
    found = Inspected(
        site=saying.by,
        entry=saying.entry,
        time=saying.time,
        report=word.report,
        blocking=word.blocking,
        warning=word.warning,
        sheet=word.sheet,
        strip=word.strip,
        thumbnails=word.thumbnails,
    )
    state.versions[word.version] = replace(version, inspections=(*version.inspections, found))


def _conformed(state: State, word: VersionConformed, saying: Saying) -> None:
    saying.check_role("say how a version lies to a cut list", *WORKING)
    version = _version(state, word.version)
    if word.manifest != version.manifest:
        raise RefusedError(f"the check of {word.version} against a list is about another manifest than the version has")
    told = (word.cut_list, word.report, word.blocking, word.warning)
    found = Conformed(saying.by, saying.entry, saying.time, *told)
    state.versions[word.version] = replace(version, conforms=(*version.conforms, found))


def _aligned(state: State, word: VersionsAligned, saying: Saying) -> None:
    saying.check_role("say how two prints lie to each other", *WORKING)
    one, other = (_version(state, name).name for name in (word.one, word.other))
    told = (word.frame_map, word.matched, word.sure, word.frames, word.pins)
    found = Alignment(one, other, saying.by, saying.entry, saying.time, *told)
    others = (each for each in state.alignments if {each.one, each.other} != {one, other})
    state.alignments = (*others, found)


def _not_inspected(state: State, word: VersionNotInspected, saying: Saying) -> None:
    saying.check_role("say why it did not look at a version", *WORKING)
    version = _version(state, word.version)
    if word.manifest != version.manifest:
        raise RefusedError(f"what is said of {word.version} is about another manifest than the version has")
    unseen = Unseen(saying.by, saying.entry, saying.time, word.why)
    state.versions[word.version] = replace(version, unseen=(*version.unseen, unseen))


def _material(state: State, word: MaterialKept, saying: Saying) -> None:
    saying.check_role("keep a still or a paper", *WORKING)
    film = state.film()
    if word.about not in {*film.reel_names(), *(element.code for element in film.elements)}:
        raise RefusedError(
            f"{word.about} is no element and no reel of the production: `relay production show` has them"
        )
    if word.frames and "/" not in word.about:
        raise RefusedError(f"frames belong to a reel, and {word.about} is an element: name the reel")
    kept = Material(
        about=word.about,
        frames=word.frames,
        name=word.name,
        object=word.object,
        size=word.size,
        note=word.note,
        by=saying.by,
        entry=saying.entry,
        time=saying.time,
    )
    state.material = (*state.material, kept)


def _copy_checked(state: State, word: CopyChecked, saying: Saying) -> None:
    saying.check_role("say how a copy is", *WORKING)
    version = _version(state, word.version)
    if word.manifest != version.manifest:
        raise RefusedError(f"the check of {word.version} is about another manifest than the version has")
    bad = word.faults_in_all > 0
    if (word.outcome == "bad") != bad or len(word.faults) != min(word.faults_in_all, FAULTS_IN_ENTRY):
        raise RefusedError(f"the check of {word.version} contradicts itself about what was wrong")
    check = CopyCheck(saying.by, word.place, word.label, word.outcome, saying.entry, saying.time, word.faults)
    others = tuple(each for each in version.checks if _copy(each) != _copy(check))
    state.versions[word.version] = replace(version, checks=(*others, check))


def _copy(check: CopyCheck) -> tuple[str, ...]:
    """Return what tells one copy from another: there is one bucket, whoever looks at it."""
    return ("bucket",) if check.place == "bucket" else (check.site, check.place, check.label)


def _mended(state: State, word: ObjectMended, saying: Saying) -> None:
    site = state.film().site(saying.signer.name)
    if saying.signer.role is not Role.COORDINATOR and (site is None or not site.mends):
        raise RefusedError(f"{saying.signer.name} may not mend: the production's file gives that to sites with `mends`")
    saying.check_role("mend an object", *WORKING)
    _version(state, word.version)
    mending = Mending(word.object, word.found, word.version, saying.signer.name, saying.entry, saying.time)
    state.mendings = (*state.mendings, mending)


def _is_kept(state: State, folder: str, site: str) -> bool:
    return any(each.folder == folder for each in state.kept_at(site))


def _not_sent(state: State, word: FolderNotSent, saying: Saying) -> None:
    saying.check_role("say what lies in to-send/", *WORKING)
    if _is_kept(state, word.folder, saying.by):
        raise RefusedError(f"{saying.by} said already that {word.folder} is not sent")
    if len(state.kept_at(saying.by)) >= KEPT_FOLDERS:
        raise RefusedError(f"{saying.by} has told of {KEPT_FOLDERS} folders that are not sent: settle some first")
    state.kept = (*state.kept, KeptFolder(saying.by, word.folder, word.why, saying.entry, saying.time))


def _settled(state: State, word: FolderSettled, saying: Saying) -> None:
    saying.check_role("say what lies in to-send/", *WORKING)
    if not _is_kept(state, word.folder, saying.by):
        raise RefusedError(f"{saying.by} never said that {word.folder} is not sent, or said since that it is settled")
    state.kept = tuple(each for each in state.kept if (each.site, each.folder) != (saying.by, word.folder))
