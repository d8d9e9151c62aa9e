"""Why a shift fails: the cause in plain words, with its evidence and the exercise that follows.

Conventions: a cause is named only on evidence that a sound shift gives rarely: all limits stand in ``Limits``. Biases
are cents, + sharp. Where several causes hold, the one that explains most misses comes first; the others are kept.
Sources: docs/measures.md, *Diagnosis*; the limits were set on simulated players (docs/accuracy.md).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

from scipy.special import betainc, ndtr

from truestop.domain.attempt import Verdict
from truestop.domain.progress import GROUPINGS, Progress, ShiftProgress
from truestop.domain.record import PASSAGE_STAGES, Outcome
from truestop.domain.statistics import Landings, Share, make_share
from truestop.domain.wording import Saying, saying


class Cause(StrEnum):
    """What makes a shift miss."""

    TOO_FEW = "too few attempts"
    NONE = "no fault found"
    UNCLEAR = "no single cause"
    DISTANCE = "wrong distance"
    START = "wrong start"
    TARGET = "no stable target"
    EAR_AHEAD = "ear ahead of hand"
    LEAVES_LATE = "leaves late"
    SLOW = "travels slowly"
    EARLY = "arrives early"
    SPACING = "finger spacing"
    GENERAL = "in general"
    PASSAGE = "only in the passage"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """From where on evidence counts. Shares of the tolerance are meant where 'tolerance' is in the name."""

    fewest: int = 6
    """Judged attempts below which nothing is said."""
    bias_tolerance: float = 0.35
    """A bias smaller than this part of the tolerance is no fault."""
    spread_tolerance: float = 0.70
    """A spread larger than this part of the tolerance is one."""
    scattered_bias_ses: float = 3.0
    """With such a spread, a bias counts from this many standard errors on: scatter alone makes chance biases."""
    corrected_share: float = 0.10
    late_s: float = 0.045
    usual_slide_s: float = 0.20
    """Where no kin tell how long a slide takes. Common practice, no source."""
    passage_gap: float = 0.25
    sureness: float = 0.975


USUAL_LIMITS = Limits()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One cause that holds. ``weight`` orders findings: the share of attempts it puts at risk, 0–1."""

    cause: Cause
    weight: float
    evidence: Saying
    """The numbers behind it, in one sentence."""
    group: Saying | None = None
    """For a cause in general: whose, like 'arriving with 4'."""
    sharp: bool | None = None
    """The side of a bias."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kin:
    """What the player's other shifts tell."""

    generals: tuple[tuple[Saying, bool, frozenset[str]], ...] = ()
    """Biases of a whole group: (its words, sharp, keys of the shifts that share it)."""
    slide_s_per_mm: float | None = None


ALONE = Kin()


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """The first finding in words, the exercise that follows, and what else holds."""

    cause: Cause
    sentence: Saying
    evidence: Saying
    exercise: Saying
    stage: str | None
    """The stage to work at; None where nothing needs work or too little is known."""
    attempts: int
    others: tuple[Finding, ...] = ()


def find_causes(
    shift: ShiftProgress,
    outcomes: Sequence[Outcome],
    kin: Kin = ALONE,
    limits: Limits = USUAL_LIMITS,
) -> tuple[Finding, ...]:
    """All causes for which a shift's own attempts (in time order) give evidence, the weightiest first."""
    progress = shift.progress
    if progress.all.judged < limits.fewest:
        return ()
    counting = [one for one in outcomes if one.counts]
    tests: tuple[Callable[[], Finding | None], ...] = (
        lambda: _in_passage(counting, limits),
        lambda: _bias(shift, kin, limits),
        lambda: _spread(progress, limits),
        lambda: _corrected(progress.corrected, limits),
        lambda: _timing(shift, kin, limits),
    )
    found = [finding for test in tests if (finding := test()) is not None]
    return tuple(sorted(found, key=lambda finding: -finding.weight))


def find_kin(shifts: Sequence[ShiftProgress], limits: Limits = USUAL_LIMITS) -> Kin:
    """What a player's shifts have in common: biases of one finger, one string, one direction; the speed of travel."""
    sides = {one.card.key: side for one in shifts if (side := _side_of(one.progress, limits)) is not None}
    judged = [one for one in shifts if one.progress.all.judged >= limits.fewest]
    generals = []
    for grouping in ("finger", "string", "direction", "position"):
        word = GROUPINGS[grouping]
        names = {str(word(one.card)): word(one.card) for one in judged}
        for name in sorted(names):
            inside = [one.card.key for one in judged if str(word(one.card)) == name]
            outside = [one.card.key for one in judged if str(word(one.card)) != name]
            general = _general_bias(inside, outside, sides)
            if general is not None:
                generals.append((names[name], *general))
    paces = [
        slide.bias / abs(one.card.travel_mm)
        for one in shifts
        if (slide := one.progress.slide_s) is not None and abs(one.card.travel_mm) > 1.0 and not _is_late(one, limits)
    ]
    return Kin(generals=tuple(generals), slide_s_per_mm=median(paces) if paces else None)


def _general_bias(
    inside: Sequence[str], outside: Sequence[str], sides: dict[str, bool]
) -> tuple[bool, frozenset[str]] | None:
    """The side on which nearly all of a group miss and hardly any others; needs three shifts inside, two outside."""
    if len(inside) < 3 or len(outside) < 2:
        return None
    for sharp in (True, False):
        hits = frozenset(key for key in inside if sides.get(key) is sharp)
        strays = sum(sides.get(key) is sharp for key in outside)
        if len(hits) >= max(3, 0.75 * len(inside)) and strays <= 0.25 * len(outside):
            return sharp, hits
    return None


def _side_of(progress: Progress, limits: Limits) -> bool | None:
    """True for a sharp bias that counts, False for a flat one, None for none."""
    landing = progress.landing_cents
    if landing is None or progress.all.judged < limits.fewest or not _counts(landing, progress, limits):
        return None
    return landing.bias > 0


def _counts(landing: Landings, progress: Progress, limits: Limits) -> bool:
    """Whether a bias is one: large enough, and beyond its interval; where landings scatter widely, far beyond it."""
    tolerance = progress.tolerance_cents or 20.0
    if not landing.biased or abs(landing.bias) < limits.bias_tolerance * tolerance:
        return False
    scattered = (landing.spread or 0.0) >= limits.spread_tolerance * tolerance
    return not scattered or abs(landing.bias) >= limits.scattered_bias_ses * (landing.bias_se or 0.0)


def _bias(shift: ShiftProgress, kin: Kin, limits: Limits) -> Finding | None:
    progress = shift.progress
    landing = progress.landing_cents
    if landing is None or not _counts(landing, progress, limits):
        return None
    sharp = landing.bias > 0
    group = next((words for words, side, keys in kin.generals if side is sharp and shift.card.key in keys), None)
    cause = Cause.GENERAL if group else _where_the_bias_comes_from(progress, landing, limits)
    return Finding(
        cause=cause,
        weight=_risk(landing, progress),
        evidence=_bias_evidence(progress, landing, cause),
        group=group,
        sharp=sharp,
    )


def _where_the_bias_comes_from(progress: Progress, landing: Landings, limits: Limits) -> Cause:
    """Start, finger spacing or distance."""
    departure, interval, guide = progress.departure_cents, progress.interval_cents, progress.guide_cents
    if departure is not None and interval is not None and departure.count >= limits.fewest:
        same_side = departure.biased and departure.bias * landing.bias > 0
        if same_side and abs(interval.bias) < 0.5 * abs(landing.bias):
            return Cause.START
    tolerance = progress.tolerance_cents or 20.0
    if guide is not None and guide.count >= limits.fewest:
        small = abs(guide.bias) < 0.5 * abs(landing.bias) and abs(guide.bias) < limits.bias_tolerance * tolerance
        if small:
            return Cause.SPACING
    return Cause.DISTANCE


def starts_right(progress: Progress, limits: Limits = USUAL_LIMITS) -> bool:
    """Whether the departure note is known well enough to say that it is in tune."""
    departure = progress.departure_cents
    if departure is None or departure.count < limits.fewest:
        return False
    near = limits.bias_tolerance * (progress.tolerance_cents or 20.0)
    return not departure.biased or abs(departure.bias) < near


def _spread(progress: Progress, limits: Limits) -> Finding | None:
    landing = progress.landing_cents
    tolerance = progress.tolerance_cents or 20.0
    if landing is None or landing.spread is None or landing.count < limits.fewest:
        return None
    if landing.spread < limits.spread_tolerance * tolerance:
        return None
    mm = progress.landing_mm
    numbers = {"cents": f"{landing.spread:.0f}", "count": landing.count, "tolerance": f"{tolerance:.0f}"}
    if mm is None or mm.spread is None:
        evidence = saying("evidence.spread", **numbers)
    else:
        evidence = saying("evidence.spread.mm", mm=f"{mm.spread:.1f}", **numbers)
    return Finding(cause=Cause.TARGET, weight=_beyond(landing.spread, 0.0, tolerance), evidence=evidence)


def _corrected(corrected: Share, limits: Limits) -> Finding | None:
    sure = 1.0 - float(betainc(1.0 + corrected.true, 1.0 + corrected.judged - corrected.true, limits.corrected_share))
    if corrected.true < 3 or sure < limits.sureness:
        return None
    evidence = saying("evidence.corrected", corrected=corrected.true, judged=corrected.judged)
    return Finding(cause=Cause.EAR_AHEAD, weight=corrected.true / corrected.judged, evidence=evidence)


def _is_late(shift: ShiftProgress, limits: Limits) -> bool:
    timing = shift.progress.timing_s
    return timing is not None and timing.biased and timing.bias >= limits.late_s


def _timing(shift: ShiftProgress, kin: Kin, limits: Limits) -> Finding | None:
    timing = shift.progress.timing_s
    if timing is None or timing.count < limits.fewest or not timing.biased or abs(timing.bias) < limits.late_s:
        return None
    progress = shift.progress
    if timing.bias < 0:
        evidence = saying("evidence.early", ms=f"{-1000 * timing.bias:.0f}", count=timing.count)
        return Finding(cause=Cause.EARLY, weight=max(progress.early.mean, 0.1), evidence=evidence)
    usual = limits.usual_slide_s
    if kin.slide_s_per_mm is not None and abs(shift.card.travel_mm) > 1.0:
        usual = kin.slide_s_per_mm * abs(shift.card.travel_mm)
    slide = progress.slide_s
    excess = slide.bias - usual if slide is not None else 0.0
    slow = excess >= 0.5 * timing.bias
    late = {"ms": f"{1000 * timing.bias:.0f}", "count": timing.count}
    if slide is None:
        evidence = saying("evidence.late", **late)
    else:
        slid = {"slide": f"{1000 * slide.bias:.0f}", "usual": f"{1000 * usual:.0f}"}
        evidence = saying("evidence.late.slide", **late, **slid)
    return Finding(
        cause=Cause.SLOW if slow else Cause.LEAVES_LATE, weight=max(progress.late.mean, 0.1), evidence=evidence
    )


def _in_passage(counting: Sequence[Outcome], limits: Limits) -> Finding | None:
    inside, alone = ([one for one in counting if (one.stage in PASSAGE_STAGES) is side] for side in (True, False))
    if min(len(inside), len(alone)) < limits.fewest:
        return None
    there, here = (make_share(sum(one.verdict is Verdict.TRUE for one in some), len(some)) for some in (inside, alone))
    gap = here.mean - there.mean
    error = (_variance(here) + _variance(there)) ** 0.5
    if gap < limits.passage_gap or gap < 2.0 * error:
        return None
    evidence = saying(
        "evidence.passage", here_true=here.true, here=here.judged, there_true=there.true, there=there.judged
    )
    return Finding(cause=Cause.PASSAGE, weight=min(1.0, gap + 0.5), evidence=evidence)


def _variance(share: Share) -> float:
    """Of the Beta(1, 1) posterior."""
    return share.mean * (1.0 - share.mean) / (share.judged + 3.0)


def _risk(landing: Landings, progress: Progress) -> float:
    return _beyond(landing.spread or 0.0, landing.bias, progress.tolerance_cents or 20.0)


def _beyond(spread: float, bias: float, tolerance: float) -> float:
    """Part of normal landings outside the tolerance."""
    if spread <= 0.0:
        return float(abs(bias) > tolerance)
    return float(ndtr((-tolerance - bias) / spread) + 1.0 - ndtr((tolerance - bias) / spread))


def _bias_evidence(progress: Progress, landing: Landings, cause: Cause) -> Saying:
    """Bias with its interval in cents and mm, and what start and distance say."""
    mm, departure, interval, guide = (
        progress.landing_mm, progress.departure_cents, progress.interval_cents, progress.guide_cents,
    )  # fmt: skip
    reach = ((landing.bias_high or 0.0) - (landing.bias_low or 0.0)) / 2.0
    start: Saying | str = ""
    if departure is not None and interval is not None:
        both = {"departure": f"{departure.bias:+.0f}", "distance": f"{interval.bias:+.0f}"}
        start = saying("evidence.bias.start", **both)
    guided: Saying | str = ""
    if cause is Cause.SPACING and guide is not None:
        guided = saying("evidence.bias.guide", guide=f"{guide.bias:+.0f}")
    said = {
        "cents": f"{landing.bias:+.0f}",
        "reach": f"{reach:.0f}",
        "count": landing.count,
        "start": start,
        "guide": guided,
    }
    if mm is None:
        return saying("evidence.bias", **said)
    return saying("evidence.bias.mm", mm=f"{mm.bias:+.1f}", **said)
