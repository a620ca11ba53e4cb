import pytest

from relay.errors import BrokenError
from relay.ledger.keys import key_id
from relay.ledger.state import Role
from relay.ledger.words import KeyReplaced, ProductionRevised, SiteInvited, SiteJoined, SiteRemoved
from tests.unit.ledger.scene import COORDINATOR, SITES, Told, created, pen, production, version

OWN = pen(COORDINATOR)


@pytest.fixture
def told() -> Told:
    return Told.founded()


def refused(told: Told, match: str, by, *words) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BrokenError, match=match):
        told.say(by, *words)


def invite(told: Told, site: str, which: str) -> None:
    told.say(OWN, SiteInvited(site=site, invitation=pen(site, which).public))


def join(told: Told, site: str, which: str, key: str) -> None:
    told.say(pen(site, which), SiteJoined(site=site, key=pen(site, key).public))


def test_entry_0_must_be_signed_with_the_root_key_that_it_names_by_the_name_of_root() -> None:
    refused(Told(), "signature", pen("root", "other"), created())
    refused(Told(), "not on the roster", pen("oslo"), version())
    from relay.ledger.keys import Pen

    refused(Told(), "not on the roster|does not sign", Pen("lisbon", pen("root").private), created())


def test_entry_0_of_another_root_is_not_this_production() -> None:
    told = Told(key_id(pen("root", "pinned").public))
    refused(told, "another production, or a forged one", pen("root"), created())


def test_root_and_coordinator_need_two_keys() -> None:
    word = created().model_copy(update={"coordinator": pen("root").public})
    refused(Told(), "needs a key of its own", pen("root"), word)


def test_a_production_is_created_once(told: Told) -> None:
    refused(told, "created once", pen("root"), created())
    refused(Told(), "created once", pen("root"), created(), created())


def test_no_site_may_be_called_like_the_root_key(told: Told) -> None:
    refused(Told(), "called root", pen("root"), created(production(sites=("oslo", "root"))))
    revised = ProductionRevised(production=production(sites=(*SITES, "root")), reason="a site was added")
    refused(told, "called root", OWN, revised)


def test_an_invitation_is_good_once() -> None:
    told = Told.founded(joined=())
    invite(told, "lisbon", "invitation")
    join(told, "lisbon", "invitation", "first")
    refused(
        told, "stopped counting", pen("lisbon", "invitation"), SiteJoined(site="lisbon", key=pen("lisbon", "b").public)
    )
    assert told.state.signer("lisbon", Role.SITE).public == pen("lisbon").public


def test_an_invitation_is_good_for_one_site_only() -> None:
    told = Told.founded(joined=())
    invite(told, "lisbon", "invitation")
    refused(told, "is for lisbon", pen("lisbon", "invitation"), SiteJoined(site="kolkata", key=pen("kolkata").public))


def test_a_new_invitation_ends_the_one_before() -> None:
    told = Told.founded(joined=())
    invite(told, "lisbon", "mislaid")
    invite(told, "lisbon", "invitation")
    refused(told, "stopped counting", pen("lisbon", "mislaid"), SiteJoined(site="lisbon", key=pen("lisbon").public))
    join(told, "lisbon", "invitation", "first")


def test_who_has_joined_is_not_invited_again(told: Told) -> None:
    refused(told, "joined already", OWN, SiteInvited(site="lisbon", invitation=pen("lisbon", "again").public))
    refused(told, "joined already", OWN, SiteInvited(site=COORDINATOR, invitation=pen("x").public))


def test_who_is_not_in_the_production_s_file_is_not_invited(told: Told) -> None:
    refused(told, "no site tokyo", OWN, SiteInvited(site="tokyo", invitation=pen("tokyo").public))


def test_an_invited_site_that_was_left_out_since_cannot_join() -> None:
    told = Told.founded(joined=())
    invite(told, "kolkata", "invitation")
    told.say(OWN, ProductionRevised(production=production(sites=SITES[:3]), reason="no room"))
    refused(
        told, "no site kolkata", pen("kolkata", "invitation"), SiteJoined(site="kolkata", key=pen("kolkata").public)
    )


@pytest.mark.parametrize("key", [pen("root"), OWN, pen("lisbon"), pen("kolkata", "invitation")])
def test_no_key_stands_on_the_roster_twice_not_even_one_that_stopped_counting(told: Told, key) -> None:  # type: ignore[no-untyped-def]
    told.say(OWN, SiteRemoved(site="halifax", reason="closed"))
    match = "needs a key of its own"
    refused(told, match, OWN, SiteInvited(site="halifax", invitation=key.public))
    refused(told, match, pen("kolkata"), KeyReplaced(name="kolkata", key=key.public, reason="lost"))
    refused(told, match, OWN, SiteInvited(site="halifax", invitation=pen("halifax").public))
    invite(told, "halifax", "another")
    refused(told, match, pen("halifax", "another"), SiteJoined(site="halifax", key=key.public))


@pytest.mark.parametrize(
    ("name", "by"),
    [
        ("lisbon", pen("lisbon")),
        ("lisbon", OWN),
        ("lisbon", pen("root")),
        (COORDINATOR, OWN),
        (COORDINATOR, pen("root")),
        ("root", pen("root")),
    ],
)
def test_a_key_is_replaced_by_its_holder_or_by_who_stands_above(told: Told, name: str, by) -> None:  # type: ignore[no-untyped-def]
    told.say(by, KeyReplaced(name=name, key=pen(name, "second").public, reason="the old one was lost"))
    refused(told, "stopped counting", pen(name), KeyReplaced(name=name, key=pen(name, "third").public, reason="again"))
    told.say(pen(name, "second"), KeyReplaced(name=name, key=pen(name, "third").public, reason="a better machine"))
    role = {"root": Role.ROOT, COORDINATOR: Role.COORDINATOR}.get(name, Role.SITE)
    assert told.state.signer(name, role).public == pen(name, "third").public
    assert sum(s.name == name and s.until is None for s in told.state.roster.values()) == 1


@pytest.mark.parametrize(
    ("name", "by"),
    [("root", OWN), ("root", pen("lisbon")), (COORDINATOR, pen("lisbon")), ("kolkata", pen("lisbon"))],
)
def test_a_key_is_not_replaced_from_below_or_from_beside(told: Told, name: str, by) -> None:  # type: ignore[no-untyped-def]
    refused(told, "may not replace", by, KeyReplaced(name=name, key=pen(name, "second").public, reason="mine now"))


def test_the_pinned_root_stays_the_pin_when_the_root_key_is_replaced(told: Told) -> None:
    told.say(pen("root"), KeyReplaced(name="root", key=pen("root", "second").public, reason="kept badly"))
    reader = Told(key_id(pen("root").public))
    for raw in told.raws:
        reader.take(raw)
    assert reader.state.root == key_id(pen("root").public)


def test_nothing_can_follow_in_an_entry_whose_key_was_just_replaced(told: Told) -> None:
    word = KeyReplaced(name="lisbon", key=pen("lisbon", "second").public, reason="lost")
    refused(told, "stopped counting", pen("lisbon"), word, version())


def test_who_has_no_key_has_none_to_replace() -> None:
    told = Told.founded(joined=())
    refused(told, "no key that counts", OWN, KeyReplaced(name="lisbon", key=pen("lisbon").public, reason="lost"))


def test_an_invitation_cannot_replace_its_site_s_key() -> None:
    told = Told.founded(joined=())
    invite(told, "lisbon", "invitation")
    word = KeyReplaced(name="lisbon", key=pen("lisbon").public, reason="lost")
    refused(told, "no key that counts", pen("lisbon", "invitation"), word)


def test_a_removed_site_says_nothing_more_and_what_it_said_stands(told: Told) -> None:
    told.say(pen("lisbon"), version())
    told.say(OWN, SiteRemoved(site="lisbon", reason="closed"))
    refused(told, "stopped counting", pen("lisbon"), version("A/R02"))
    assert told.state.version("A/R01/v1").by == "lisbon"
    refused(told, "no key that counts", OWN, SiteRemoved(site="lisbon", reason="twice"))


def test_a_removed_site_comes_back_with_a_new_invitation_and_a_new_key(told: Told) -> None:
    told.say(OWN, SiteRemoved(site="lisbon", reason="closed"))
    invite(told, "lisbon", "again")
    join(told, "lisbon", "again", "second")
    told.say(pen("lisbon", "second"), version())
    refused(told, "stopped counting", pen("lisbon"), version("A/R02"))


def test_removing_a_site_ends_its_open_invitation() -> None:
    told = Told.founded(joined=())
    invite(told, "lisbon", "invitation")
    told.say(OWN, SiteRemoved(site="lisbon", reason="another house took over"))
    refused(told, "stopped counting", pen("lisbon", "invitation"), SiteJoined(site="lisbon", key=pen("lisbon").public))


@pytest.mark.parametrize("name", [COORDINATOR, "root", "tokyo"])
def test_neither_the_coordinator_nor_the_root_nor_a_stranger_can_be_removed(told: Told, name: str) -> None:
    refused(told, "removed|no key that counts", pen("root"), SiteRemoved(site=name, reason="no"))


def revised(**changed: object) -> ProductionRevised:
    return ProductionRevised(production=production().model_copy(update=changed), reason="changed")


def test_a_revision_keeps_name_coordinator_joined_sites_and_worked_reels(told: Told) -> None:
    told.say(pen("lisbon"), version("B/R03"))
    refused(told, "stay as they were", OWN, revised(name="other"))
    refused(told, "stay as they were", OWN, revised(coordinator="lisbon"))
    refused(told, "kolkata has joined", OWN, ProductionRevised(production=production(sites=SITES[:3]), reason="x"))
    refused(told, "B/R03 cannot be taken out", OWN, ProductionRevised(production=production(reels=2), reason="x"))
    told.say(OWN, ProductionRevised(production=production(elements="BC"), reason="A was recalled, C turned up"))
    refused(told, "no reel A/R01", pen("lisbon"), version("A/R01"))
    told.say(pen("lisbon"), version("C/R01"))


def test_a_reel_with_a_job_is_not_taken_out(told: Told) -> None:
    from relay.ledger.job_words import JobOpened

    told.say(OWN, JobOpened(job="scan/A/R01/1", stage="scan", reel="A/R01"))
    refused(told, "A/R01 cannot be taken out", OWN, ProductionRevised(production=production(elements="BC"), reason="x"))
