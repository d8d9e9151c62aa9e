"""What to practise today: a session of some minutes, each item with its reason.

Conventions: cold tests come first, in mixed order, never the same shift twice running; then short blocks on the
shifts worth work, mixed; a break or two; an end. A shift is *due* when its next cold test is; it *stands* while it is
secure and the cold tests since then do not speak against it. No shift gets more attempts on a day than a setting
allows, today's earlier ones included. The plan is a proposal: a teacher's word and a tired hand come first. Why it is
laid out like this, and what it comes to in simulated seasons: docs/practice.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import log

from truestop.domain.diagnosis import Cause, Diagnosis
from truestop.domain.progress import Progress, ShiftProgress
from truestop.domain.record import PassageCard
from truestop.domain.statistics import Standing
from truestop.domain.wording import Saying, saying


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSettings:
    """How a session is laid out. Times are common practice, no source; the break every 25 minutes is a convention."""

    attempt_s: float = 15.0
    """One attempt with the breath before it."""
    change_s: float = 20.0
    """Turning to another shift."""
    cold_part: float = 0.5
    """Cold tests take at most this part of the session."""
    shifts_at_work: int = 12
    """On one day, at most."""
    block_attempts: int = 2
    most_attempts: int = 20
    """At one shift on one day."""
    worth_need: float = 0.03
    """Work ends where the need of the next block falls below this chance of a miss."""
    block_worth: float = 0.5
    """The need that is left after a block on the same day, as a part of the need before it."""
    upkeep_need: float = 0.06
    """The least need of a shift that stands, on the day of its cold test: a few attempts keep it up."""
    recent_tests: float = 6.0
    """A cold result counts half after this many later ones."""
    longest_open_gap_days: int = 1
    """Between cold tests while the sequential test is open."""
    gap_growth: float = 1.5
    """The next gap is at most this times the longest one survived since the last miss."""
    longest_gap_days: int = 14
    wanted_share: float = 0.90
    """Of cold tests after a gap of days; where they come to less, gaps shrink."""
    trusted_tests: int = 30
    """So many of the latest such tests are looked at."""
    break_every_min: float = 25.0
    short_break_min: float = 2.0
    long_break_min: float = 5.0


USUAL_SESSION = PlanSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A shift that might be practised today."""

    shift: ShiftProgress
    diagnosis: Diagnosis
    passage: PassageCard
    due: date
    """The day of its next cold test."""
    cold: tuple[bool, ...] = ()
    """Its cold results, oldest first."""
    attempts_today: int = 0

    @property
    def key(self) -> str:
        """The shift's key."""
        return self.shift.card.key


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanItem:
    """One line of the plan. ``what`` is 'cold test', 'work', 'break' or 'end'."""

    what: str
    minutes: float
    reason: Saying
    shift: ShiftProgress | None = None
    passage: PassageCard | None = None
    stage: str | None = None
    attempts: int = 0
    exercise: Saying | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A session: its lines in order, and what was left for another day with the reason."""

    day: date
    minutes: float
    items: tuple[PlanItem, ...]
    left_out: tuple[tuple[Saying, Saying], ...] = ()
    several: bool = False
    """Whether more than one passage might have been practised: then shifts are named with theirs."""

    def label_of(self, item: PlanItem) -> Saying:
        """The line's shift as a player recognises it. Only for lines that have one."""
        assert item.shift is not None
        assert item.passage is not None
        return _label(item.shift, item.passage, several=self.several)

    @property
    def planned_minutes(self) -> float:
        """What the lines take together; less than ``minutes`` when nothing more is worth doing."""
        return sum(item.minutes for item in self.items)

    @property
    def attempts(self) -> int:
        """Attempts in all lines."""
        return sum(item.attempts for item in self.items)


def longest_gap(
    progress: Progress,
    cold: Sequence[tuple[date, bool]],
    deadline: date | None,
    today: date,
    settings: PlanSettings = USUAL_SESSION,
    trust: float = 1.0,
) -> int:
    """Most days to the next cold test after ``cold`` results (day, true), oldest first."""
    kept = stands(progress)
    gap = settings.longest_open_gap_days
    if kept:
        gap = min(settings.longest_gap_days, max(2, int(trust * settings.gap_growth * _longest_kept_gap(cold))))
    if deadline is None or deadline <= today:
        return gap
    days = (deadline - today).days
    tests = 1 if kept else progress.tested.true_to_go
    return max(1, min(gap, days // max(1, tests), days - 1 if days > 1 else 1))


def _longest_kept_gap(cold: Sequence[tuple[date, bool]]) -> int:
    """The most days without a cold test, since the last miss, after which the next one was true."""
    longest = 1
    for (before, _), (after, true) in pairwise(cold):
        longest = max(longest, (after - before).days) if true else 1
    return longest


def gap_trust(histories: Iterable[Sequence[tuple[date, bool]]], settings: PlanSettings = USUAL_SESSION) -> float:
    """How far this player's gaps may stretch (0–1), by what the latest cold tests after a gap of days came to.

    With forgetting that is even over days, a share p after a gap would be ``wanted_share`` after ln(wanted)/ln(p) of
    it. Ten tests at the wanted share are assumed before the first.
    """
    tests = sorted(
        (after, true)
        for cold in histories
        for (before, _), (after, true) in pairwise(cold)
        if (after - before).days > settings.longest_open_gap_days
    )[-settings.trusted_tests :]
    share = (10.0 * settings.wanted_share + sum(true for _, true in tests)) / (10.0 + len(tests))
    return min(1.0, log(settings.wanted_share) / log(share)) if share < 1.0 else 1.0


def stands(progress: Progress) -> bool:
    """Whether a shift is secure and the cold tests since then do not speak against it."""
    return progress.tested.standing is Standing.SECURE and progress.tested.sum >= 0.0


def outlook_of(progress: Progress, cold: Sequence[bool], settings: PlanSettings = USUAL_SESSION) -> float:
    """The chance (0–1) that the next cold attempt is true: recent cold results before old ones, all attempts behind."""
    fade = 0.5 ** (1.0 / settings.recent_tests)
    weight, true = 2.0, 2.0 * progress.all.mean
    for back, result in enumerate(reversed(cold)):
        weight += fade**back
        true += fade**back * result
    return true / weight


def plan_session(
    candidates: Sequence[Candidate], *, today: date, minutes: float, settings: PlanSettings = USUAL_SESSION
) -> Plan:
    """The session for ``today``. ``minutes`` ≥ 5."""
    breaks_min = _breaks(minutes, settings)
    room_min = minutes - sum(breaks_min)
    tests, postponed = _choose_tests(candidates, today, room_min * settings.cold_part, settings)
    lines = [_test_line(one, today, settings) for one in tests]
    room_min -= sum(line.minutes for line in lines)
    workers = _choose_work(candidates, today, settings)
    after = tests[-1].key if tests else None
    lines += _work_lines(workers, room_min, {one.key for one in tests}, after, today, settings)
    items = _with_breaks(lines, breaks_min)
    end = PlanItem(what="end", minutes=0.0, reason=_end_reason(candidates, workers, lines, today, settings))
    several = len({one.passage.key for one in candidates}) > 1
    left_out = tuple((_label(one.shift, one.passage, several=several), saying("plan.no room")) for one in postponed)
    return Plan(day=today, minutes=minutes, items=(*items, end), left_out=left_out, several=several)


def _label(shift: ShiftProgress, passage: PassageCard, *, several: bool) -> Saying:
    label = shift.card.label
    return saying("plan.label", title=passage.title, label=label) if several else label


def _breaks(minutes: float, settings: PlanSettings) -> list[float]:
    if minutes < 20.0:
        return []
    if minutes <= 40.0:
        return [settings.short_break_min]
    return [settings.long_break_min] * int(minutes / (settings.break_every_min + settings.long_break_min))


def _choose_tests(
    candidates: Sequence[Candidate], today: date, room_min: float, settings: PlanSettings
) -> tuple[list[Candidate], list[Candidate]]:
    """Due shifts that fit, in mixed order, and those that do not."""
    due = [one for one in candidates if one.due <= today and one.attempts_today == 0]
    due.sort(key=lambda one: (-_pressure(one, today), one.due, one.key))
    fitting = max(1, int(room_min / _test_minutes(settings)))
    return _mixed(due[:fitting]), due[fitting:]


def _mixed(candidates: Sequence[Candidate]) -> list[Candidate]:
    """The same candidates with neighbours from different passages, kinds and bars where that can be done."""
    left = list(candidates)
    order: list[Candidate] = []
    while left:
        nearest = order[-1] if order else None
        following = min(left, key=lambda one: (_likeness(one, nearest), left.index(one)))
        left.remove(following)
        order.append(following)
    return order


def _likeness(one: Candidate, other: Candidate | None) -> int:
    if other is None:
        return 0
    a, b = one.shift.card, other.shift.card
    return 4 * (a.key == b.key) + 2 * (a.kind == b.kind) + (a.passage == b.passage and abs(a.number - b.number) == 1)


def _pressure(one: Candidate, today: date) -> float:
    """How near the performance is: 0 without one, 1 on the day."""
    deadline = one.passage.deadline
    if deadline is None or deadline < today:
        return 0.0
    return 1.0 / (1.0 + (deadline - today).days / 7.0)


def _choose_work(candidates: Sequence[Candidate], today: date, settings: PlanSettings) -> list[Candidate]:
    """The shifts worth work, the neediest first: tried before, and not standing or tested today."""
    needy = [
        one
        for one in candidates
        if _is_worth_work(one, today, settings) and one.attempts_today < settings.most_attempts
    ]
    needy.sort(key=lambda one: (-_need(one, today, settings), one.key))
    return needy[: settings.shifts_at_work]


def _is_worth_work(one: Candidate, today: date, settings: PlanSettings) -> bool:
    progress = one.shift.progress
    wanted = bool(progress.all.judged) and (one.due <= today or not stands(progress))
    return wanted and _need(one, today, settings) >= settings.worth_need


def _need(one: Candidate, today: date, settings: PlanSettings) -> float:
    """How much the first block at a shift is worth today."""
    need = (1.0 - outlook_of(one.shift.progress, one.cold, settings)) * (1.0 + 2.0 * _pressure(one, today))
    return max(need, settings.upkeep_need) if stands(one.shift.progress) else need


def _work_lines(
    workers: Sequence[Candidate],
    room_min: float,
    tested: set[str],
    after: str | None,
    today: date,
    settings: PlanSettings,
) -> list[PlanItem]:
    """Short blocks, the neediest next, never the same shift twice running, until room, need or allowance ends."""
    left = {one.key: settings.most_attempts - one.attempts_today - (one.key in tested) for one in workers}
    need = {one.key: _need(one, today, settings) for one in workers}
    turns = dict.fromkeys(left, 0)
    lines: list[PlanItem] = []
    last = after
    while True:
        ready = [
            one for one in workers if left[one.key] > 0 and one.key != last and need[one.key] >= settings.worth_need
        ]
        if not ready:
            return lines
        one = max(ready, key=lambda candidate: need[candidate.key])
        attempts = min(settings.block_attempts, left[one.key], _fitting(room_min, settings))
        if attempts < min(2, left[one.key]):
            return lines
        line = _work_line(one, attempts, turns[one.key], today, settings)
        lines.append(line)
        room_min -= line.minutes
        left[one.key] -= attempts
        need[one.key] *= settings.block_worth
        turns[one.key] += 1
        last = one.key


def _fitting(room_min: float, settings: PlanSettings) -> int:
    return int((60.0 * room_min - settings.change_s) / settings.attempt_s)


def _test_minutes(settings: PlanSettings) -> float:
    return (settings.change_s + settings.attempt_s) / 60.0


def _test_line(one: Candidate, today: date, settings: PlanSettings) -> PlanItem:
    return PlanItem(
        what="cold test",
        minutes=_test_minutes(settings),
        reason=_test_reason(one, today),
        shift=one.shift,
        passage=one.passage,
        stage="cold",
        attempts=1,
        exercise=saying("plan.exercise.test"),
    )


def _work_line(one: Candidate, attempts: int, turn: int, today: date, settings: PlanSettings) -> PlanItem:
    """Odd turns work at the diagnosed stage, even ones play it plainly."""
    stage = one.diagnosis.stage or "plain"
    sound = one.diagnosis.cause is Cause.NONE
    exercise = saying("plan.exercise.sound") if sound else one.diagnosis.exercise
    if turn % 2 == 1 and stage != "plain":
        stage, exercise = "plain", saying("plan.exercise.plain")
    return PlanItem(
        what="work",
        minutes=(settings.change_s + attempts * settings.attempt_s) / 60.0,
        reason=_work_reason(one, today, settings),
        shift=one.shift,
        passage=one.passage,
        stage=stage,
        attempts=attempts,
        exercise=exercise,
    )


def _test_reason(one: Candidate, today: date) -> Saying:
    progress = one.shift.progress
    cold, tested = progress.cold, progress.tested
    if cold.judged == 0:
        return saying("plan.reason.never")
    if stands(progress):
        state = saying("plan.state.secure")
    elif tested.standing is Standing.SECURE:
        state = saying("plan.state.missed")
    else:
        state = saying("plan.state.open", true=cold.true, judged=cold.judged, count=tested.true_to_go)
    overdue = (today - one.due).days
    key = "plan.reason.today" if overdue <= 0 else "plan.reason.since.one" if overdue == 1 else "plan.reason.since"
    return saying(key, days=overdue, state=state, deadline=_deadline_words(one, today))


def _work_reason(one: Candidate, today: date, settings: PlanSettings) -> Saying:
    deadline = _deadline_words(one, today)
    if stands(one.shift.progress):
        return saying("plan.reason.upkeep", deadline=deadline)
    level = round(100 * outlook_of(one.shift.progress, one.cold, settings))
    why = saying("plan.why.none") if one.diagnosis.cause is Cause.NONE else one.diagnosis.sentence
    return saying("plan.reason.work", level=level, deadline=deadline, why=why)


def _deadline_words(one: Candidate, today: date) -> Saying:
    deadline = one.passage.deadline
    if deadline is None or deadline < today:
        return saying("plan.deadline.none")
    days = (deadline - today).days
    key = {0: "plan.deadline.today", 1: "plan.deadline.one"}.get(days, "plan.deadline")
    return saying(key, days=days)


def _with_breaks(lines: Sequence[PlanItem], breaks_min: Sequence[float]) -> list[PlanItem]:
    """Breaks spread evenly over the session; none after the last line."""
    items: list[PlanItem] = []
    played, waiting = 0.0, list(breaks_min)
    every = sum(line.minutes for line in lines) / (len(waiting) + 1)
    for number, line in enumerate(lines):
        items.append(line)
        played += line.minutes
        taken = len(breaks_min) - len(waiting)
        if waiting and played >= every * (taken + 1) - 1e-9 and number < len(lines) - 1:
            pause = PlanItem(what="break", minutes=waiting.pop(0), reason=saying("plan.pause"))
            items.append(pause)
    return items


def _end_reason(
    candidates: Sequence[Candidate],
    workers: Sequence[Candidate],
    lines: Sequence[PlanItem],
    today: date,
    settings: PlanSettings,
) -> Saying:
    if not candidates:
        return saying("plan.end.empty")
    if not workers and any(_is_worth_work(one, today, settings) for one in candidates):
        return saying("plan.end.allowance", attempts=settings.most_attempts)
    if not lines:
        return saying("plan.end.nothing", day=min(one.due for one in candidates))
    if not workers:
        return saying("plan.end.no work")
    worked = any(line.what == "work" for line in lines)
    return saying("plan.end.enough" if worked else "plan.end.tests")
