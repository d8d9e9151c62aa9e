"""How shifts stand: one function gives the numbers that command, room and report show.

Conventions: only judged attempts at the stages plain, in time, in the passage and cold count; the other stages are
listed as stage practice. Cold attempts alone decide the standing. Landings that are wrong notes count in the share, not
in bias and spread. Days are ordinals of the local day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from operator import attrgetter

from truestop.domain.attempt import Verdict, landing_side
from truestop.domain.instrument import ROMAN
from truestop.domain.record import RECORD_STAGES, Outcome, PassageCard, ShiftCard
from truestop.domain.statistics import (
    USUAL_TEST,
    Landings,
    Share,
    Tested,
    TestSettings,
    make_share,
    run_sequential_test,
    summarise_landings,
)
from truestop.domain.statistics_pooling import BiasPrior, Pooled, SharePrior, fit_bias_prior, fit_share_prior
from truestop.domain.statistics_trend import Trend, fit_trend
from truestop.domain.wording import Saying, saying

#: Properties by which shifts are grouped, with the words for a group.
GROUPINGS: dict[str, Callable[[ShiftCard], Saying]] = {
    "kind": lambda card: saying("group.kind", kind=card.kind),
    "finger": lambda card: saying("group.finger", finger=card.arrival_finger),
    "string": lambda card: saying("group.string", string=ROMAN[card.string]),
    "position": lambda card: saying("group.position", position=card.to_position),
    "direction": lambda card: saying(f"group.direction.{card.direction}"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Everything that is shown of a set of attempts: a shift's, a group's or a passage's."""

    name: str
    attempts: int
    """At any stage, struck-out ones left out."""
    unjudged: int
    """At the stages that count."""
    all: Share
    cold: Share
    warm: Share
    corrected: Share
    """Corrected landings among judged ones (``true`` counts the corrected)."""
    late: Share
    early: Share
    misses: tuple[tuple[str, int], ...]
    """Verdict words of the misses with their number, the commonest first."""
    landing_cents: Landings | None
    landing_mm: Landings | None
    interval_cents: Landings | None
    departure_cents: Landings | None
    guide_cents: Landings | None
    timing_s: Landings | None
    slide_s: Landings | None
    trend: Trend | None
    tested: Tested
    practice: tuple[tuple[str, int, int], ...]
    """Stage practice: stage, judged, true."""
    own_ear: Share | None
    """Own-ear answers that agreed with the verdict; None where never asked."""
    first_day: date | None
    last_day: date | None
    days: int
    tolerance_cents: float | None
    """In force at the last attempt that counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftProgress:
    """A shift's progress, with what it borrows from its kin."""

    card: ShiftCard
    progress: Progress
    pooled_share: Pooled | None = None
    pooled_bias_cents: Pooled | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Relative:
    """What a shift of another passage lends: its kind, its share, and its plain mean landing with standard error."""

    kind: str
    true: int
    judged: int
    bias_cents: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassageProgress:
    """A passage: each of its shifts, the whole, and groups by kind, finger, string, position and direction."""

    card: PassageCard
    shifts: tuple[ShiftProgress, ...]
    whole: Progress
    outcomes: tuple[Outcome, ...]
    settings: TestSettings

    @property
    def groups(self) -> dict[str, tuple[Progress, ...]]:
        """Groups by each of ``GROUPINGS``, worked out when asked for."""
        cards = [one.card for one in self.shifts]
        by_shift = _by_shift(cards, self.outcomes)
        return {name: _group(cards, by_shift, name, self.settings) for name in GROUPINGS}


def summarise(outcomes: Sequence[Outcome], name: str, settings: TestSettings = USUAL_TEST) -> Progress:
    """The numbers of these attempts, given in time order."""
    on_record = [one for one in outcomes if one.stage in RECORD_STAGES]
    counting = [one for one in on_record if one.verdict is not Verdict.UNJUDGED]
    cold = [one for one in counting if one.cold]
    verdicts = Counter(one.verdict for one in counting)
    landed = [one for one in counting if one.verdict is not Verdict.WRONG_NOTE]
    days = sorted({one.day for one in outcomes})
    return Progress(
        name=name,
        attempts=len(outcomes),
        unjudged=len(on_record) - len(counting),
        all=_share(counting, Verdict.TRUE),
        cold=_share(cold, Verdict.TRUE),
        warm=_share([one for one in counting if not one.cold], Verdict.TRUE),
        corrected=_share(counting, Verdict.CORRECTED),
        late=_share(counting, Verdict.LATE),
        early=_share(counting, Verdict.EARLY),
        misses=tuple((str(word), count) for word, count in verdicts.most_common() if word.is_miss),
        landing_cents=_landings(landed, "landing_cents"),
        landing_mm=_landings(landed, "landing_mm"),
        interval_cents=_landings(landed, "interval_error_cents"),
        departure_cents=_landings(landed, "departure_cents"),
        guide_cents=_landings(outcomes, "guide_landing_cents"),
        timing_s=_landings(counting, "timing_s"),
        slide_s=_landings(counting, "slide_s"),
        trend=fit_trend([one.day for one in counting], [one.verdict is Verdict.TRUE for one in counting]),
        tested=run_sequential_test([one.verdict is Verdict.TRUE for one in cold], settings),
        practice=_stage_practice(outcomes),
        own_ear=_own_ear(counting),
        first_day=date.fromordinal(days[0]) if days else None,
        last_day=date.fromordinal(days[-1]) if days else None,
        days=len(days),
        tolerance_cents=counting[-1].tolerance_cents if counting else None,
    )


def summarise_passage(
    card: PassageCard,
    shifts: Sequence[ShiftCard],
    outcomes: Sequence[Outcome],
    settings: TestSettings = USUAL_TEST,
    relatives: Sequence[Relative] = (),
) -> PassageProgress:
    """Progress of a passage from a player's attempts at its shifts, in time order; untried shifts too.

    ``relatives`` are the same player's shifts of other passages, to borrow from.
    """
    by_shift = _by_shift(shifts, outcomes)
    each = [ShiftProgress(card=one, progress=summarise(by_shift[one.key], str(one.label), settings)) for one in shifts]
    return PassageProgress(
        card=card,
        shifts=pool_kin(each, relatives),
        whole=summarise(outcomes, card.title, settings),
        outcomes=tuple(outcomes),
        settings=settings,
    )


def _by_shift(shifts: Sequence[ShiftCard], outcomes: Iterable[Outcome]) -> dict[str, list[Outcome]]:
    by_shift: dict[str, list[Outcome]] = {card.key: [] for card in shifts}
    for one in outcomes:
        by_shift.setdefault(one.shift, []).append(one)
    return by_shift


def pool_kin(shifts: Sequence[ShiftProgress], relatives: Sequence[Relative] = ()) -> tuple[ShiftProgress, ...]:
    """Let each shift borrow from those of its kind, other passages' too; where its kind has no other, from all."""
    played = [_relative(one) for one in shifts if one.progress.all.judged] + [one for one in relatives if one.judged]
    kin_of = {kind: [one for one in played if one.kind == kind] for kind in {one.card.kind for one in shifts}}
    alone = {kind for kind, kin in kin_of.items() if len(kin) < 2}
    everybody = _priors(played) if alone else (None, None)
    priors = {kind: everybody if kind in alone else _priors(kin) for kind, kin in kin_of.items()}
    return tuple(_pool(one, *priors[one.card.kind]) for one in shifts)


def _relative(one: ShiftProgress) -> Relative:
    counted = one.progress.all
    return Relative(kind=one.card.kind, true=counted.true, judged=counted.judged, bias_cents=_bias_of(one))


def _priors(kin: Sequence[Relative]) -> tuple[SharePrior | None, BiasPrior | None]:
    """What kin say together of the share true and of the bias."""
    shares = fit_share_prior([(one.true, one.judged) for one in kin])
    return shares, fit_bias_prior([one.bias_cents for one in kin if one.bias_cents is not None])


def _pool(one: ShiftProgress, share_prior: SharePrior | None, bias_prior: BiasPrior | None) -> ShiftProgress:
    own, counted = _bias_of(one), one.progress.all
    return replace(
        one,
        pooled_share=share_prior.posterior(counted.true, counted.judged) if share_prior else None,
        pooled_bias_cents=bias_prior.posterior(*own) if bias_prior and own and own[1] > 0.0 else None,
    )


def _bias_of(one: ShiftProgress) -> tuple[float, float] | None:
    landing = one.progress.landing_cents
    if landing is None or landing.bias_se is None:
        return None
    return landing.bias, landing.bias_se


def _group(
    shifts: Sequence[ShiftCard], by_shift: dict[str, list[Outcome]], grouping: str, settings: TestSettings
) -> tuple[Progress, ...]:
    word = GROUPINGS[grouping]
    members: dict[str, list[Outcome]] = {}
    for card in shifts:
        members.setdefault(str(word(card)), []).extend(by_shift[card.key])
    played = {name: sorted(outcomes, key=lambda one: one.at_s) for name, outcomes in members.items() if outcomes}
    return tuple(summarise(outcomes, name, settings) for name, outcomes in sorted(played.items()))


def _share(outcomes: Sequence[Outcome], verdict: Verdict) -> Share:
    return make_share([one.verdict for one in outcomes].count(verdict), len(outcomes))


def _landings(outcomes: Iterable[Outcome], name: str) -> Landings | None:
    return summarise_landings([value for value in map(attrgetter(name), outcomes) if value is not None])


def _stage_practice(outcomes: Iterable[Outcome]) -> tuple[tuple[str, int, int], ...]:
    judged: Counter[str] = Counter()
    true: Counter[str] = Counter()
    for one in outcomes:
        if one.stage not in RECORD_STAGES and one.verdict is not Verdict.UNJUDGED:
            judged[one.stage] += 1
            true[one.stage] += one.verdict is Verdict.TRUE
    return tuple((stage, count, true[stage]) for stage, count in judged.items())


def _own_ear(outcomes: Iterable[Outcome]) -> Share | None:
    """An answer agrees when it names the side of a landing beyond the tolerance, or says true of one within it."""
    answers = [one for one in outcomes if one.own_ear is not None and one.landing_cents is not None]
    if not answers:
        return None
    agreed = sum(one.own_ear == landing_side(one.landing_cents or 0.0, one.tolerance_cents) for one in answers)
    return make_share(agreed, len(answers))
