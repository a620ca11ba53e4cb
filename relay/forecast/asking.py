"""What there is to plan, out of the ledger and the production: the planner's problem. Pure.

Every job of the route becomes a task under its own name, those that are not open yet, too. A machine is a place of its
own beside its site, open at all hours; so is the desk at which outcomes are accepted, which keeps the site's hours
without taking a hand from the work.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import lru_cache

from relay.errors import RefusedError
from relay.forecast.ground import Ground, desk_of, place_of, worker_of
from relay.forecast.houses import hands_at, people_at
from relay.forecast.lines import has_whole
from relay.forecast.paces import frames_in, frames_of, spent
from relay.ledger import route
from relay.ledger.job_state import Claim as Held
from relay.ledger.job_state import Job, Standing
from relay.model import Element, ReelName, Site, Stage, VersionName, code_of
from relay.shifts import problem as plan
from relay.shifts.problem import TaskId
from relay.shifts.zones import minute_of, minute_shown, zone_named

ACCEPTING = plan.Work(5, 15, 60)
"""Working minutes that looking at an outcome and accepting it takes (common practice)."""

ACCEPT = "accept"


def problem_of(ground: Ground) -> plan.Problem:
    """Return what there is to plan at `ground.now`. Raises RefusedError where the production has no route."""
    if not ground.film.route:
        raise RefusedError(
            "the production's file has no route, so nothing can be planned: add its [[stage]]s, "
            "then `relay production revise`"
        )
    problem = _Asking(ground).problem()
    _check_premiere(ground, sum(task.done is None for task in problem.tasks))
    return problem


def _check_premiere(ground: Ground, left: int) -> None:
    premiere = ground.film.premiere.instant()
    if left and premiere <= ground.now:
        raise RefusedError(
            f"the premiere was {premiere:%a %Y-%m-%d %H:%M} UTC, and {left} things are left to do: there is no date to "
            "plan for. Write a new one under [premiere] in the production's file, then `relay production revise`, or "
            "`relay withdraw` what is not wanted any more; `relay who` and `relay jobs` go on as before"
        )


class _Asking:
    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.film = ground.film
        self.state = ground.state
        self.places = tuple(self._places())
        self._seen: dict[tuple[str, ReelName], list[Job | None]] = {}
        self.legs_for = lru_cache(maxsize=None)(self._legs_for)

    def problem(self) -> plan.Problem:
        tasks = tuple(self._tasks())
        return plan.Problem(
            epoch=self.ground.epoch,
            sites=self.places,
            tasks=tasks,
            loans=tuple(self._loans()),
            premiere=self.ground.minute(self.film.premiere.instant()),
            told=tuple(self._told(tasks)),
        )

    def _places(self) -> Iterator[plan.SiteHours]:
        automatic = {stage.name for stage in self.film.route if stage.is_automatic}
        for site in self.film.sites:
            windows, hands = self._windows(site), {stage: hands_at(site, stage) for stage in site.stages}
            yield plan.SiteHours(site.name, windows, people_at(site), hands)
            yield plan.SiteHours(desk_of(site.name), windows, 1000)
            if automatic & set(site.stages):
                machine = {stage: number for stage, number in hands.items() if stage in automatic}
                yield plan.SiteHours(worker_of(site.name), plan.ALWAYS_OPEN, sum(machine.values()), machine)

    def _windows(self, site: Site) -> plan.Windows:
        zero = minute_of(self.ground.epoch)
        found = self.ground.calendars[site.name].windows(zero, zero + self.ground.horizon)
        return tuple((start - zero, end - zero) for start, end in found)

    def _tasks(self) -> Iterator[plan.Task]:
        for order, stage in enumerate(self.film.route):
            for place, reel in enumerate(route.reels_of(self.film, stage)):
                for job in self._passes(stage, reel):
                    yield self._task(stage, reel, job, (place, order))
                    yield from self._acceptance(stage, reel, job, (place, order))

    def _passes(self, stage: Stage, reel: ReelName) -> list[Job | None]:
        """Return the jobs of a stage on a reel that are not withdrawn; None stands for one that is still to come."""
        key = (stage.name, reel)
        if key not in self._seen:
            self._seen[key] = self._look_up(stage, reel)
        return self._seen[key]

    def _look_up(self, stage: Stage, reel: ReelName) -> list[Job | None]:
        opened = list(route.passes(self.state, stage.name, reel))
        live: list[Job | None] = [job for job in opened if job.standing is not Standing.WITHDRAWN]
        is_to_come = route.job_name(stage.name, reel) not in self.state.jobs and not self._is_cut_off(stage, reel)
        return [None, *live] if is_to_come else live

    def _is_cut_off(self, stage: Stage, reel: ReelName) -> bool:
        """Answer whether all that the stage would take was withdrawn, so that the route never opens its job."""
        return bool(stage.after) and not self._takes(stage, reel)

    def _takes(self, stage: Stage, reel: ReelName) -> list[tuple[Stage, ReelName]]:
        """Return the stages and reels whose outcomes a stage takes for a reel, as far as they are still worked on."""
        found = []
        for before in (each for each in self.film.route if each.name in stage.after):
            reels = route.reels_of(self.film, before)
            wanted = (reel,) if reel in reels else reels
            found += [(before, each) for each in wanted if self._passes(before, each)]
        return found

    def _newest(self, stage: Stage, reel: ReelName) -> TaskId:
        """Return the task whose outcome a stage hands over for a reel: that of the pass that was opened last."""
        passes = self._passes(stage, reel)
        opened = [job for job in passes if job is not None]
        if None in passes or not opened:
            return TaskId(route.job_name(stage.name, reel))
        return TaskId(max(reversed(opened), key=lambda job: job.opened).job)

    def _after(self, stage: Stage, reel: ReelName) -> Iterator[TaskId]:
        for before, each in self._takes(stage, reel):
            newest = self._newest(before, each)
            yield newest
            job = self.state.jobs.get(newest)
            if stage.waits_for_acceptance(before) and (job is None or job.standing is not Standing.ACCEPTED):
                yield acceptance_of(newest)

    def _task(self, stage: Stage, reel: ReelName, job: Job | None, order: tuple[int, int]) -> plan.Task:
        name = TaskId(job.job if job else route.job_name(stage.name, reel))
        is_asked = job is not None and name != route.job_name(stage.name, reel)
        done = self._done(job) if job else None
        return plan.Task(
            id=name,
            stage=stage.name,
            choices=self._choices(stage, reel, job, is_asked=is_asked),
            title=f"{stage.name} of {reel}" + (f", pass {name.rpartition('/')[2]}" if is_asked else ""),
            order=order,
            after=() if is_asked or done else tuple(self._after(stage, reel)),
            legs=self._legs(stage, reel, job, done),
            due=self._due(stage, reel),
            overnight=plan.Overnight(stage.overnight),
            hand_on=self._hand_on(stage, reel),
            loan=code_of(reel) if not stage.after and self._is_lent(reel) else None,
            claim=self._claim(job) if job and not done else None,
            done=done,
        )

    def _choices(self, stage: Stage, reel: ReelName, job: Job | None, *, is_asked: bool) -> tuple[plan.Choice, ...]:
        frames = frames_in(self.state, self.film, job) if job else frames_of(self.state, self.film, reel)[0]
        sites = {site.name: site for site in self.ground.able(stage)}
        held = job.claim.site if job and job.claim else job.holder if job and job.outcome else None
        if held and (worker := self.film.site(held)):
            sites.setdefault(held, worker)  # a stage may have been revised away from the site that has the job
        where = worker_of if stage.is_automatic else str
        return tuple(
            plan.Choice(
                where(name), self.ground.pace(stage, site).work(frames), self._there(job, name) if is_asked else 0
            )
            for name, site in sites.items()
        )

    def _there(self, job: Job | None, site: str) -> int:
        """Return when what a job takes is at a site, where it comes from outside the plan."""
        inputs = job.inputs if job else ()
        return max((self.ground.bring(self._missing(each, site), site) for each in inputs), default=0)

    def _missing(self, version: VersionName, site: str) -> int:
        return 0 if has_whole(self.state, version, site) else self.ground.missing(version, site)

    def _done(self, job: Job) -> plan.Done | None:
        if job.outcome is None or job.holder is None or job.standing not in {Standing.HANDED_IN, Standing.ACCEPTED}:
            return None
        version = self.state.versions[job.outcome]
        copies = {site.name: 0 for site in self.places if has_whole(self.state, job.outcome, place_of(site.name))}
        return plan.Done(self._at(job, job.holder), self.ground.minute(version.time), copies)

    def _at(self, job: Job, site: str) -> str:
        stage = self.film.stage(job.stage)
        return worker_of(site) if stage and stage.is_automatic else site

    def _claim(self, job: Job) -> plan.Claim | None:
        if job.claim is None:
            return None
        before = job.past[-len(job.hand_ons) :] if job.hand_ons else ()
        held = (*before, job.claim)
        ends = (*(claim.since for claim in held[1:]), self.ground.now)
        done = sum(spent(claim, end, self.ground.calendars) for claim, end in zip(held, ends, strict=True))
        return plan.Claim(self._where(job.claim), self.ground.minute(job.claim.since), done)

    def _where(self, claim: Held) -> str:
        return worker_of(claim.site) if claim.lease is not None else claim.site

    def _legs(self, stage: Stage, reel: ReelName, job: Job | None, done: plan.Done | None) -> plan.Legs:
        if not done or not job or not job.outcome:
            return self.legs_for(self.ground.size_of(stage, reel))
        outcome = job.outcome
        brought = {to.name: self.ground.bring(self._missing(outcome, place_of(to.name)), to.name) for to in self.places}
        return {
            (source.name, to.name): 0 if place_of(source.name) == place_of(to.name) else brought[to.name]
            for source in self.places
            for to in self.places
        }

    def _legs_for(self, size: int) -> plan.Legs:
        names = [place.name for place in self.places]
        return {(source, to): self.ground.carry(size, source, to) for source in names for to in names}

    def _hand_on(self, stage: Stage, reel: ReelName) -> plan.HandOn | None:
        if not stage.may_move or stage.is_automatic:
            return None
        # What changed so far is not known ahead: half of the reel, on an average of all hand-ons.
        return plan.HandOn(self.legs_for(self.ground.size_of(stage, reel) // 2), stage.hand_over)

    def _acceptance(self, stage: Stage, reel: ReelName, job: Job | None, order: tuple[int, int]) -> Iterator[plan.Task]:
        if not self._is_judged(stage) or (job and job.standing is Standing.ACCEPTED):
            return
        of = TaskId(job.job if job else route.job_name(stage.name, reel))
        yield plan.Task(
            id=acceptance_of(of),
            stage=ACCEPT,
            choices=tuple(plan.Choice(desk_of(name), ACCEPTING) for name in self._acceptors(stage)),
            title=f"acceptance of {stage.name} of {reel}",
            order=order,
            after=(of,),
            legs=self.legs_for(0),
            due=self._stage_due(stage),
        )

    def _is_judged(self, stage: Stage) -> bool:
        """Answer whether somebody must accept work of a stage before it counts: for what follows, or as delivered."""
        after = route.followers(self.film, stage.name)
        is_awaited = any(each.waits_for_acceptance(stage) for each in after)
        return is_awaited or stage.next_opens_on == "acceptance" or stage.received_by is not None

    def _acceptors(self, stage: Stage) -> tuple[str, ...]:
        """Return who may accept: where one site receives the work and may, only that one."""
        if stage.received_by in stage.accepted_by:
            return (stage.received_by,)
        return tuple(dict.fromkeys((self.film.coordinator, *stage.accepted_by)))

    def _stage_due(self, stage: Stage) -> int | None:
        asked = self.film.due(stage)
        return self.ground.minute(asked) if asked else None

    def _due(self, stage: Stage, reel: ReelName) -> int | None:
        """Return the stage's own date, or the day on which a print must leave again, whichever comes first.

        The latter is a date only where the file does not say which site has the print; else its stay bounds the work.
        """
        dates = [due] if (due := self._stage_due(stage)) is not None else []
        element = self.film.element_of(reel)
        if not stage.after and element and element.loan and not element.loan.lent_to:
            coordinator = self.film.site(self.film.coordinator)
            dates.append(self._leaves(element, coordinator.zone if coordinator else "UTC"))
        return min(dates, default=None)

    def _is_lent(self, reel: ReelName) -> bool:
        element = self.film.element_of(reel)
        return bool(element and element.loan and element.loan.lent_to)

    def _loans(self) -> Iterator[plan.Loan]:
        for element in self.film.elements:
            site = self.film.site(element.loan.lent_to) if element.loan and element.loan.lent_to else None
            if not site or not element.loan:
                continue
            day = element.loan.arrives
            arrives = self._midnight(day, site.zone) if day else min(0, self._leaves(element, site.zone))
            stays = (plan.Stay(site.name, arrives, self._leaves(element, site.zone)),)
            yield plan.Loan(element.code, stays)

    def _leaves(self, element: Element, zone: str) -> int:
        """Return the end of the last day on which a print must be sent back."""
        loan = element.loan
        if loan is None:
            raise ValueError(f"element {element.code} is not lent by anybody")
        return self._midnight(loan.due_back - timedelta(days=loan.shipping_days - 1), zone)

    def _midnight(self, day: date, zone: str) -> int:
        local = datetime(day.year, day.month, day.day)  # noqa: DTZ001  what a wall clock shows
        return minute_shown(local, zone_named(zone)) - minute_of(self.ground.epoch)

    def _told(self, tasks: tuple[plan.Task, ...]) -> Iterator[plan.Told]:
        """Give what people know: whom the ledger asks first for a job, and from when; a person means at once."""
        for task in tasks:
            asked, begins = self._asked(task.id)
            site = next((choice.site for choice in task.choices if place_of(choice.site) == asked), None)
            if site is not None:
                yield plan.Told(task.id, site, self.ground.minute(begins) if begins else 0)

    def _asked(self, task: TaskId) -> tuple[str | None, datetime | None]:
        job, expected = self.state.jobs.get(task), self.state.expected.get(task)
        if job is not None:
            return (job.prefers, job.begins) if job.standing is Standing.OPEN else (None, None)
        return (expected.site, expected.begins) if expected else (None, None)


def acceptance_of(task: str) -> TaskId:
    """Return the task in which the outcome of another is accepted."""
    return TaskId(f"{ACCEPT} {task}")
