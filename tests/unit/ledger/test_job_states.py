"""docs/STATES.md and the rules say the same: every word is tried at every standing, by everybody."""

import re
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple, get_args

import pytest

from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import ClaimLapsed, ClaimReassigned, HandOnOffered, JobOpened, JobWord, TryFailed
from relay.ledger.keys import Pen
from relay.ledger.words import WORDS, SiteInvited, Word
from tests.unit.ledger.job_scene import COORDINATOR, LATER, SOON, Floor, film
from tests.unit.ledger.scene import pen

HERE = Path(__file__)
PAGE = HERE.parents[3] / "docs" / "STATES.md"
KINDS = {kind.model_fields["word"].default for kind in get_args(JobWord)}


class Arrow(NamedTuple):
    letter: str
    word: str
    start: str
    end: str
    who: str


@cache
def page() -> str:
    return PAGE.read_text(encoding="utf-8")


def arrows() -> Iterator[Arrow]:
    """Give the rows of the table, one for each standing that an arrow starts from."""
    standings = [standing.value for standing in Standing]
    for line in page().splitlines():
        row = re.match(r"\| ([a-z]) \| `([a-z-]+)` \| ([^|]+) \| ([^|]+) \| ([^|]+) \|", line)
        if row is None:
            continue
        letter, word, start, end, who = (cell.strip() for cell in row.groups())
        for each in standings if start == "any" else start.split(", "):
            yield Arrow(letter, word, each, each if end == "the same" else end, who)


def letters() -> list[str]:
    return list(dict.fromkeys(arrow.letter for arrow in arrows()))


def test_every_word_about_jobs_has_its_arrow_and_every_arrow_a_word() -> None:
    assert {arrow.word for arrow in arrows()} == KINDS
    assert letters() == [chr(ord("a") + at) for at in range(len(letters()))]


def test_every_arrow_has_one_test_that_carries_its_letter() -> None:
    files = ("test_job_arrows.py", "test_job_plans.py")
    source = "".join((HERE.parent / file).read_text(encoding="utf-8") for file in files)
    assert re.findall(r'^@arrow\("([a-z])"\)$', source, re.MULTILINE) == letters()


def test_the_drawing_has_every_standing_and_every_letter() -> None:
    drawing = page().split("```")[1]
    drawn = set(re.findall(r"(?<![A-Za-z])[a-z](?![A-Za-z])", drawing))
    assert drawn == set(letters())
    assert all(standing.value in drawing for standing in Standing)


JOB = "grade/A/R01/1"
ROUTE: list[dict[str, Any]] = [
    {"name": "scan"},
    {"name": "grade", "after": ["scan"], "accepted_by": ["halifax"], "may_move": True, "tries": 2},
]
DOES = {"lisbon": ["scan", "grade"], "kolkata": ["grade"], "nairobi": ["grade"], "porto": [], "halifax": []}
SIGNERS: dict[str, Pen] = {
    "the root key": pen("root"),
    "the coordinator": pen(COORDINATOR),
    "the holder": pen("lisbon"),
    "an acceptor": pen("halifax"),
    "the asked site": pen("kolkata"),
    "a former holder": pen("nairobi"),
    "a bystander": pen("porto"),
    "an invited site": pen("tokyo", "invitation"),
    "an unknown key": pen("lisbon", "nobody's"),
}
SITES = {"the coordinator", "the holder", "an acceptor", "the asked site", "a former holder", "a bystander"}
WHO = {
    "whoever works": SITES,
    "whoever does the stage": {"the holder", "the asked site", "a former holder"},
    "the holder": {"the holder"},
    "the asked site": {"the asked site"},
    "the asked site or the holder": {"the asked site", "the holder"},
    "a former holder": {"a former holder"},
    "the coordinator": {"the coordinator"},
    "the coordinator or an acceptor": {"the coordinator", "an acceptor"},
}


def scanned() -> Floor:
    names = (COORDINATOR, *DOES)
    told = Floor.founded(
        joined=tuple(DOES),
        film=film(ROUTE, {"A": 1}, {COORDINATOR: [], "tokyo": ["grade"], **DOES}, (*names, "tokyo")),
    )
    told.says(COORDINATOR, SiteInvited(site="tokyo", invitation=pen("tokyo", "invitation").public))
    told.opens()
    told.delivers("scan/A/R01")
    return told


def once_held() -> Floor:
    """The job is open; nairobi held it before."""
    told = scanned()
    told.opens()
    epoch = told.claims(JOB, "nairobi")
    told.says(COORDINATOR, ClaimReassigned(job=JOB, epoch=epoch, reason="no answer"))
    return told


def renewable(told: Floor) -> Floor:
    """The scan below the job was made anew."""
    told.gives_back("scan/A/R01")
    told.delivers("scan/A/R01")
    return told


def fail(told: Floor) -> Floor:
    epoch = told.claims(JOB, lease=60)
    told.says("lisbon", TryFailed(job=JOB, epoch=epoch, said="no"))
    return told


def held(told: Floor, **how: object) -> Floor:
    told.claims(JOB, "lisbon", **how)
    return told


def offered() -> Floor:
    told = held(once_held())
    epoch = told.job(JOB).claim.epoch
    told.says("lisbon", HandOnOffered(job=JOB, epoch=epoch, to="kolkata", done="half", left="half"))
    return told


def often_lapsed() -> Floor:
    told = once_held()
    for _ in range(9):
        epoch = told.claims(JOB, lease=60)
        told.says("kolkata", ClaimLapsed(job=JOB, epoch=epoch, silent=9999))
    return held(told, lease=60)


def delivered() -> Floor:
    told = once_held()
    told.delivers(JOB)
    return told


def accepted() -> Floor:
    told = delivered()
    told.accepts(JOB)
    return told


def withdrawn() -> Floor:
    told = once_held()
    told.says(COORDINATOR, *tried(told, "job-withdrawn"))
    return told


SITUATIONS: dict[str, Callable[[], Floor]] = {
    "none": scanned,
    "open": lambda: renewable(once_held()),
    "claimed by a machine": lambda: renewable(held(once_held(), lease=60)),
    "claimed by a person, offered": lambda: renewable(offered()),
    "claimed for the last try": lambda: held(fail(once_held()), lease=60),
    "claimed after many lapses": often_lapsed,
    "handed in": lambda: renewable(delivered()),
    "accepted": lambda: renewable(accepted()),
    "stopped": lambda: renewable(fail(fail(once_held()))),
    "withdrawn": lambda: renewable(withdrawn()),
}


@cache
def situation(name: str) -> Floor:
    return SITUATIONS[name]()


def tried(told: Floor, kind: str) -> tuple[Word, ...]:
    """Return a word of `kind` about the job, as right as it can be said now, with what must stand beside it."""
    job = told.state.jobs.get(JOB)
    former = kind == "work-came-late"
    outcome = job.outcome if job and job.outcome else job.returns[-1].version if job and job.returns else "A/R01/v1"
    says: dict[str, Any] = {
        "job": JOB,
        "reel": "A/R01",
        "stage": "grade",
        "epoch": epoch_of(job, former=former),
        "silent": 9999,
        "version": outcome,
        "to": "kolkata",
        "until": LATER if kind == "claim-extended" else SOON,
        "inputs": (f"A/R01/v{told.state.newest['A/R01']}",),
        **dict.fromkeys(("reason", "reasons", "done", "left", "said"), "so"),
    }
    made: tuple[Word, ...] = ()
    if kind in {"job-handed-in", "work-came-late"}:
        made = (told.next_version("A/R01"),)
        says["version"] = made[0].version
    if kind == "job-opened":
        says = {name: says[name] for name in ("job", "stage", "reel", "inputs")}
    return (*made, parsed(kind, says))


def epoch_of(job: Job | None, *, former: bool) -> int:
    if job is None:
        return 1
    claims = [claim for claim in (*job.past, job.claim) if claim]
    return claims[0].epoch if former or not job.claim else job.claim.epoch


def parsed(kind: str, says: dict[str, Any]) -> Word:
    [model] = [each for each in get_args(JobWord) if each.model_fields["word"].default == kind]
    fields = {name: value for name, value in says.items() if name in model.model_fields}
    return WORDS.validate_python({"word": kind, **fields})


def attempts(told: Floor, kind: str) -> list[tuple[Word, ...]]:
    """Return the ways to say a word: a claim is a person's or a machine's, a job the route's or asked for."""
    words = tried(told, kind)
    if kind == "job-opened":
        asked = JobOpened(job="grade/A/R01/2", stage="grade", reel="A/R01", reason="the pan flickers")
        return [words, (asked,)]
    return [words]


def after(told: Floor, by: Pen, words: tuple[Word, ...]) -> str | None:
    """Return where the job named last stands once `by` has said this, or None where that is refused."""
    if not told.may(by, *words):
        return None
    from relay.ledger import rules
    from relay.ledger.entry import read_entry

    draft = told.state.draft()
    rules.fold(draft, read_entry(told.written(by, *words), len(told.raws)))
    job = draft.jobs.get(words[-1].job)  # type: ignore[union-attr]
    return job.standing.value if job else "none"


def start_of(name: str) -> str:
    return name.partition(" by ")[0].partition(" for ")[0].partition(" after ")[0]


@cache
def seen() -> dict[tuple[str, str, str], set[str]]:
    """Return who could say each word, from which standing to which; a further pass is opened from none."""
    found: dict[tuple[str, str, str], set[str]] = {}
    for name in SITUATIONS:
        told = situation(name)
        for kind in sorted(KINDS):
            for words in attempts(told, kind):
                asked = kind == "job-opened" and words[-1].job != JOB  # type: ignore[union-attr]
                if asked and name != "none":
                    continue
                for who, by in SIGNERS.items():
                    end = after(told, by, words)
                    if end is not None:
                        word = f"{kind} asked" if asked else kind
                        found.setdefault((word, start_of(name), end), set()).add(who)
    return found


def test_each_situation_stands_where_its_name_says() -> None:
    for name in SITUATIONS:
        job = situation(name).state.jobs.get(JOB)
        assert (job.standing.value if job else "none") == start_of(name)


def test_the_rules_have_the_arrows_that_the_page_has_and_no_other() -> None:
    drawn = {(arrow.word, arrow.start, arrow.end) for arrow in arrows()}
    assert {(word.removesuffix(" asked"), start, end) for word, start, end in seen()} == drawn


@pytest.mark.parametrize("arrow", list(arrows()), ids=lambda arrow: f"{arrow.letter} from {arrow.start}")
def test_an_arrow_is_said_by_those_whom_the_page_names_and_by_nobody_else(arrow: Arrow) -> None:
    word = f"{arrow.word} asked" if arrow.letter == "b" else arrow.word
    assert seen()[word, arrow.start, arrow.end] == WHO[arrow.who]


def test_a_job_that_was_never_opened_takes_no_word_but_its_opening_and_who_is_expected() -> None:
    told = situation("none")
    for kind in KINDS - {"job-opened", "site-expected"}:
        assert not any(told.may(by, *tried(told, kind)) for by in SIGNERS.values()), kind
