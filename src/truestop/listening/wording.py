"""From the numbers of a landing to the word and the record of an attempt.

Conventions: the first word that applies is the verdict, in the order of docs/measures.md; all that apply are faults.
"""

from __future__ import annotations

from dataclasses import fields, replace
from math import hypot

import numpy as np

from truestop.domain.attempt import Attempt, Expectation, NoteLanding, Verdict, Vibrato
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.pitch import hz_to_cents
from truestop.domain.points import Points
from truestop.listening.contour import Cents, median
from truestop.listening.landing import Landing

WRONG_NOTE_CENTS = 70.0
SPEAKS_CENTS = 50.0
"""An open string or harmonic this close to its pitch speaks."""
OPEN_STRING_CENTS = 25.0
TIMING_S = 0.06
TOO_QUIET_DB = -60.0
CLIPPED_SHARE = 0.2
COVERED_CENTS = 60.0
APART_SE_CENTS = 1.5
"""A covered note counts only when it is known this well."""
TRACE_MS = 5

REASONS = {
    "no travel": "The pitch never reached half-way to the arrival note.",
    "no landing": "The pitch did not come to rest on the arrival note.",
    "too short": "The arrival note was too short to tell a rest from a vibrato.",
    "unsteady": "The arrival note was too unsteady to measure.",
    "gap": "The sound broke off while the note was being reached.",
    "too quiet": "The arrival note was too quiet.",
    "covered": "All its harmonics lie on the lower note's; its pitch cannot be told while both sound.",
    "echo": "The room's echo hides whether the note was corrected; play closer to the microphone.",
    "not alone": "Somebody else sounds close to the same pitch; only one player can be judged.",
    "another note": "Another note sounds along with the arrival note; only one can be judged.",
    "clipped": "The recording is overdriven at the arrival note.",
}


def make_attempt(
    expectation: Expectation,
    landing: Landing,
    *,
    start_ms: int,
    end_ms: int,
    cents: Cents,
    level_db: Cents,
    clipped: Cents,
) -> Attempt:
    """The record of one attempt. ``cents``, ``level_db`` and ``clipped`` run from ``start_ms``, one value a ms."""
    reason = landing.reason or _unclear(landing, level_db, clipped)
    faults = _faults(expectation, landing, _timing(expectation, landing, start_ms)) if reason is None else []
    verdict = Verdict.UNJUDGED if reason else next((word for word in faults if isinstance(word, Verdict)), Verdict.TRUE)
    interval, interval_se = _interval_error(landing)
    trace = np.arange(0, len(cents), TRACE_MS)
    trace = trace[np.isfinite(cents[trace])]
    return Attempt(
        shift=expectation.shift,
        stage=expectation.stage,
        start_s=start_ms / 1000.0,
        end_s=end_ms / 1000.0,
        departure_s=_seconds(start_ms, landing.leaving),
        arrival_s=_seconds(start_ms, landing.arrival),
        target=expectation.arrival,
        verdict=verdict,
        faults=tuple(str(word) for word in faults),
        reason=REASONS[reason] if reason else None,
        borderline=reason is None and _is_borderline(expectation, landing),
        landing_cents=_tidy(landing.landing_cents),
        landing_se_cents=_tidy(landing.landing_se_cents),
        landing_mm=_mm(expectation, landing),
        departure_cents=_tidy(landing.departure_cents),
        departure_se_cents=_tidy(landing.departure_se_cents),
        interval_error_cents=interval,
        interval_error_se_cents=interval_se,
        settled_cents=_tidy(landing.settled_cents),
        correction_cents=_tidy(landing.correction_cents),
        overshoot_cents=_tidy(landing.overshoot_cents),
        guide_landing_cents=_tidy(landing.guide_cents),
        slide_s=_slide(landing),
        stops=landing.stops,
        reversals=landing.reversals,
        vibrato=_vibrato(landing),
        timing_s=_timing(expectation, landing, start_ms),
        tolerance_cents=expectation.tolerance_cents,
        trace_s=Points((start_ms + trace).tolist(), 1000),
        trace_cents=Points(np.rint(100.0 * cents[trace]).astype(np.int32).tolist(), 100),
    )


def _unclear(landing: Landing, level_db: Cents, clipped: Cents) -> str | None:
    if landing.window is None:
        return None
    a, b = landing.window
    if len(clipped[a:b]) and float(np.mean(clipped[a:b])) > CLIPPED_SHARE:
        return "clipped"
    if len(level_db[a:b]) and median(level_db[a:b]) < TOO_QUIET_DB:
        return "too quiet"
    return None


def covers(expectation: Expectation) -> bool:
    """Whether the upper note's harmonics all fall on the lower one's: an octave, a twelfth, two octaves."""
    upper = expectation.upper_arrival
    if upper is None:
        return False
    ratio = upper.hz / expectation.arrival.hz
    return abs(hz_to_cents(ratio, max(round(ratio), 1))) < COVERED_CENTS


def join_notes(expectation: Expectation, lower: Attempt, upper: Attempt) -> Attempt:
    """The record of a double stop: that of the note which decides, with both notes in it.

    The worse of the two decides, in the order of verdicts. An open string beside a stopped note decides nothing, nor
    does an upper note that cannot be heard because the lower one's harmonics cover it.
    """
    if covers(expectation) and not _stands_apart(upper):
        upper = unjudged(upper, REASONS["covered"])
        counted = [lower]
    else:
        counted = [lower] if expectation.upper_arrival_open else [lower, upper]
    decides = min(counted, key=severity)
    reason = decides.reason and f"{decides.target.pitch.pretty}: {decides.reason}"
    return replace(decides, reason=reason, notes=(_as_note(lower), _as_note(upper)))


def _stands_apart(upper: Attempt) -> bool:
    """Whether a note an octave or a twelfth up is so far out of tune with the lower one that it can be measured."""
    sure = upper.landing_se_cents is not None and upper.landing_se_cents <= APART_SE_CENTS
    return sure and upper.verdict is not Verdict.UNJUDGED


def without_verdict(attempt: Attempt, reason: str) -> Attempt:
    """The attempt unjudged for a reason that leaves what was measured of it."""
    return replace(attempt, verdict=Verdict.UNJUDGED, faults=(), reason=reason, borderline=False)


def unjudged(note: Attempt, reason: str) -> Attempt:
    """The attempt with nothing said of where it landed, and why."""
    return replace(
        note,
        verdict=Verdict.UNJUDGED,
        faults=(),
        reason=reason,
        borderline=False,
        landing_cents=None,
        landing_se_cents=None,
        landing_mm=None,
        interval_error_cents=None,
        settled_cents=None,
        correction_cents=None,
        overshoot_cents=None,
    )


_ORDER = {verdict: place for place, verdict in enumerate(Verdict)} | {
    Verdict.LOW: list(Verdict).index(Verdict.HIGH),
    Verdict.LATE: list(Verdict).index(Verdict.EARLY),
}


def severity(attempt: Attempt) -> tuple[int, float]:
    """For sorting: worse attempts first, of two alike the one further off."""
    return _ORDER[attempt.verdict], -abs(attempt.landing_cents or 0.0)


def _as_note(attempt: Attempt) -> NoteLanding:
    return NoteLanding(**{field.name: getattr(attempt, field.name) for field in fields(NoteLanding)})


def _faults(expectation: Expectation, landing: Landing, timing_s: float | None) -> list[Verdict | str]:
    """Every word that applies, in the order of verdicts, then remarks."""
    assert landing.landing_cents is not None
    cents, settled = landing.landing_cents, landing.settled_cents
    faults: list[Verdict | str] = []
    near = SPEAKS_CENTS if expectation.arrival_open else WRONG_NOTE_CENTS
    wrong = abs(cents) > near and (settled is None or abs(settled) > near)
    if wrong:
        faults.append(Verdict.WRONG_NOTE)
    if not expectation.arrival_open:
        if landing.correction_cents and landing.toward:
            faults.append(Verdict.CORRECTED)
        if abs(cents) > expectation.tolerance_cents:
            faults.append(Verdict.HIGH if cents > 0 else Verdict.LOW)
    if timing_s is not None and abs(timing_s) > TIMING_S:
        faults.append(Verdict.EARLY if timing_s < 0 else Verdict.LATE)
    if landing.correction_cents and not landing.toward and not expectation.arrival_open:
        faults.append("moved away")
    if wrong and _is_other_open_string(expectation, cents):
        faults.append("open string")
    return faults


def _is_other_open_string(expectation: Expectation, cents: float) -> bool:
    return any(
        abs(hz_to_cents(hz, expectation.arrival.hz) - cents) < OPEN_STRING_CENTS for hz in expectation.open_strings_hz
    )


def _is_borderline(expectation: Expectation, landing: Landing) -> bool:
    """Whether a threshold that decides the word lies within one standard error of the landing."""
    assert landing.landing_cents is not None
    if expectation.arrival_open:
        return False
    off, se = abs(landing.landing_cents), landing.landing_se_cents or 0.0
    return any(abs(off - limit) <= se for limit in (expectation.tolerance_cents, WRONG_NOTE_CENTS))


def _timing(expectation: Expectation, landing: Landing, start_ms: int) -> float | None:
    arrival = _seconds(start_ms, landing.arrival)
    if arrival is None or not expectation.beats_s:
        return None
    nearest = min(expectation.beats_s, key=lambda beat: abs(arrival - beat))
    return round(arrival - nearest, 4)


def _interval_error(landing: Landing) -> tuple[float | None, float | None]:
    if landing.landing_cents is None or landing.departure_cents is None:
        return None, None
    se = hypot(landing.landing_se_cents or 0.0, landing.departure_se_cents or 0.0)
    return _tidy(landing.landing_cents - landing.departure_cents), _tidy(se)


def _mm(expectation: Expectation, landing: Landing) -> float | None:
    if landing.landing_cents is None or expectation.arrival_open:
        return None
    return _tidy(cents_to_mm(landing.landing_cents, expectation.arrival.place, expectation.length_mm))


def _slide(landing: Landing) -> float | None:
    if landing.arrival is None or landing.leaving is None:
        return None
    return _tidy(max(landing.arrival - landing.leaving, 0.0) / 1000.0, 5)


def _vibrato(landing: Landing) -> Vibrato:
    swing = landing.vibrato
    if swing is None:
        return Vibrato(present=False)
    return Vibrato(present=True, rate_hz=_tidy(swing.rate_hz), extent_cents=_tidy(swing.extent_cents))


def _seconds(start_ms: int, at: float | None) -> float | None:
    return None if at is None else _tidy((start_ms + at) / 1000.0, 5)


def _tidy(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0
