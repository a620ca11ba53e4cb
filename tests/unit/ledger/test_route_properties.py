"""Random routes, and random things said about the jobs on them."""

import random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from relay.ledger import route, rules
from relay.ledger.entry import NO_ENTRY, read_entry
from relay.ledger.history import History
from relay.ledger.job_state import Job, Standing
from relay.ledger.job_words import ClaimLapsed, ClaimReleased, JobRestarted, JobWithdrawn, TryFailed
from tests.unit.ledger.job_scene import COORDINATOR, Floor, film, floor, receipt
from tests.unit.ledger.route_account import Account
from tests.unit.ledger.scene import SITES, pen

REELS = ("A/R01", "A/R02", "B/R01", "P/R01")
NAMES = ("scan", "copy", "edit", "grade", "conform")


@st.composite
def routes(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Draw a route that forks and joins anyhow; its stages stand in the file in any order."""
    stages: list[dict[str, Any]] = []
    for at, name in enumerate(NAMES[: draw(st.integers(1, len(NAMES)))]):
        after = draw(st.lists(st.sampled_from(NAMES[:at]), unique=True, max_size=3)) if at else []
        stages.append(
            {
                "name": name,
                "after": after,
                "of": draw(st.one_of(st.just([]), st.lists(st.sampled_from(REELS), unique=True, max_size=3))),
                "next_opens_on": draw(st.sampled_from(["arrival", "acceptance"])),
                "opens_on": draw(st.sampled_from([None, "arrival", "acceptance"])),
                "accepted_by": draw(st.lists(st.sampled_from(["lisbon", "halifax"]), unique=True)),
                "tries": 2,
            }
        )
    return draw(st.permutations(stages))


class Day:
    """Things said at random, all of them legal, and an account of them beside it."""

    def __init__(self, stages: list[dict[str, Any]], chance: random.Random) -> None:
        self.told: Floor = floor(stages=stages)
        self.chance = chance
        production = film(stages)
        self.account = Account(
            {
                stage.name: {
                    "after": list(stage.after),
                    "reels": list(route.reels_of(production, stage)),
                    "next_opens_on": stage.next_opens_on,
                    "opens_on": stage.opens_on,
                }
                for stage in production.route
            }
        )
        self._read = len(self.told.raws)

    def jobs(self, *standings: Standing) -> list[Job]:
        return [job for job in self.told.state.jobs.values() if job.standing in standings]

    def acts(self) -> None:
        """Do one thing of those that can be done."""
        slow = [self.claim, self.hand_in, self.receive, self.end_claim, self.rule, self.ask]
        self.chance.choice([*slow, *[self.some_due, self.deliver, self.judge, self.redo] * 3])()
        self.read()

    def deliver(self) -> None:
        """Do a job from its claim to its arrival."""
        if job := self.pick(Standing.OPEN):
            self.told.delivers(job.job, "kolkata")

    def redo(self) -> None:
        """Return what a waiting job would work on, and perhaps do it again at once."""
        waiting = {version for job in self.jobs(Standing.OPEN, Standing.STOPPED) for version in job.inputs}
        below = [job for job in self.jobs(Standing.HANDED_IN, Standing.ACCEPTED) if job.outcome in waiting]
        if below:
            job = self.chance.choice(below)
            self.told.gives_back(job.job)
            if self.chance.random() < 0.7:
                self.told.delivers(job.job, "halifax")

    def read(self) -> None:
        for number in range(self._read, len(self.told.raws)):
            entry = read_entry(self.told.raws[number], number)
            for word in entry.body.words:
                self.account.take(number, entry.body.by, word.model_dump(mode="python"))
        self._read = len(self.told.raws)

    def some_due(self) -> None:
        due = route.due(self.told.state)
        if due:
            words = self.chance.sample(due, self.chance.randint(1, len(due)))
            self.told.says(self.chance.choice(SITES), *words)

    def pick(self, *standings: Standing) -> Job | None:
        jobs = self.jobs(*standings)
        return self.chance.choice(jobs) if jobs else None

    def claim(self) -> None:
        if job := self.pick(Standing.OPEN):
            how = self.chance.choice([{}, {"lease": 60}])
            self.told.claims(job.job, self.chance.choice(SITES), **how)

    def hand_in(self) -> None:
        if (job := self.pick(Standing.CLAIMED)) and job.claim:
            self.told.hands_in(job.job, job.claim.site)

    def receive(self) -> None:
        outcomes = [job.outcome for job in self.jobs(Standing.HANDED_IN, Standing.ACCEPTED)]
        if outcomes:
            whole = self.chance.random() < 0.8
            self.told.says(self.chance.choice(SITES), receipt(self.chance.choice(outcomes), whole=whole))

    def end_claim(self) -> None:
        job = self.pick(Standing.CLAIMED)
        if job is None or job.claim is None:
            return
        epoch = job.claim.epoch
        words = [ClaimReleased(job=job.job, epoch=epoch), TryFailed(job=job.job, epoch=epoch, said="no")]
        if job.claim.lease:
            words.append(ClaimLapsed(job=job.job, epoch=epoch, silent=9999))
        self.told.says(job.claim.site, self.chance.choice(words))

    def judge(self) -> None:
        job = self.pick(Standing.HANDED_IN, Standing.HANDED_IN, Standing.ACCEPTED)
        if job is None or job.outcome is None:
            return
        arrived = route.has_arrived(self.told.state, job.outcome)
        if job.standing is Standing.HANDED_IN and arrived and self.chance.random() < 0.6:
            self.told.accepts(job.job)
        elif self.chance.random() < 0.7:
            self.told.gives_back(job.job)

    def rule(self) -> None:
        job = self.pick(Standing.OPEN, Standing.CLAIMED, Standing.HANDED_IN, Standing.STOPPED)
        if job and self.chance.random() < 0.15:
            self.told.says(COORDINATOR, JobWithdrawn(job=job.job, reason="cut"))
        elif job and job.standing is Standing.STOPPED:
            self.told.says(COORDINATOR, JobRestarted(job=job.job, reason="mended"))

    def ask(self) -> None:
        if self.chance.random() < 0.3:
            stage, reel = self.chance.choice(list(self.account.stages)), self.chance.choice(REELS)
            known = list(self.told.state.versions)
            inputs = self.chance.sample(known, min(len(known), self.chance.randint(0, 2)))
            number = route.next_pass(self.told.state, stage, reel)
            self.told.asks(f"{stage}/{reel}/{number}", inputs=tuple(inputs))

    def finish(self) -> None:
        """Let everything be done, received and accepted, until the route asks for nothing more."""
        while True:
            self.told.opens()
            for job in self.jobs(Standing.STOPPED):
                self.told.says(COORDINATOR, JobRestarted(job=job.job, reason="mended"))
            for job in self.jobs(Standing.CLAIMED):
                self.told.hands_in(job.job, job.claim.site if job.claim else "")
            for job in self.jobs(Standing.OPEN):
                self.told.does(job.job, "kolkata")
            for job in self.jobs(Standing.HANDED_IN):
                if not route.has_arrived(self.told.state, job.outcome or ""):
                    self.told.says(COORDINATOR if job.holder != COORDINATOR else "lisbon", receipt(job.outcome or ""))
                self.told.accepts(job.job)
            self.read()
            if not route.due(self.told.state):
                return


def check(day: Day) -> None:
    """What holds at every moment."""
    state, account = day.told.state, day.account
    assert not account.broken
    assert {word.job: word.inputs for word in route.due(state)} == account.due()
    for job in state.jobs.values():
        marks, expected = set(job.stands_on_returned), account.marks(job.job)
        if job.standing is not Standing.WITHDRAWN:
            # Below a version that came back and was made anew, the first mark is enough.
            assert marks <= expected
            assert bool(marks) == bool(expected)


def check_settled(day: Day) -> None:
    """Saying all that is due makes nothing more due, and in every order it comes to the same."""
    due, drafts = route.due(day.told.state), set()
    for words in (due, due[::-1]) if due else ():
        draft = day.told.state.draft()
        rules.fold(draft, read_entry(day.told.written(pen(COORDINATOR), *words), len(day.told.raws)))
        assert route.due(draft) == []
        draft.digest = NO_ENTRY
        drafts.add(draft.projection())
    assert len(drafts) <= 1


@given(stages=routes(), seed=st.integers(0, 2**32), length=st.integers(1, 60))
def test_jobs_open_once_and_in_their_time_and_marks_lie_where_they_belong(
    stages: list[dict[str, Any]], seed: int, length: int
) -> None:
    day = Day(stages, random.Random(seed))
    for _ in range(length):
        day.acts()
        check(day)
        check_settled(day)
    day.finish()
    check(day)
    assert all(job.is_over for job in day.told.state.jobs.values())
    assert day.account.due() == {}
    again = History(day.told.history.root).take_all(day.told.raws)
    assert again.projection() == day.told.state.projection()
