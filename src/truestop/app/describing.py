"""Results as plain dictionaries with versioned schemas, for ``--json`` and the room. Documented in docs/json.md.

Conventions: pitches are written like 'F#4', times are seconds from the start of the file, None where unknown, never
NaN.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from math import isfinite
from typing import Any

from truestop.domain.attempt import Attempt, NoteLanding, Target, Vibrato
from truestop.domain.shift import Guide, Motion, Shift, Way
from truestop.domain.stop import FingeredPassage, Step, Stop

Described = dict[str, Any]


def describe_way(fingered: FingeredPassage, way: Way) -> Described:
    """Schema ``truestop.shifts/1``: every note's stop, every shift, the other motions."""
    return {
        "schema": "truestop.shifts/1",
        "title": fingered.passage.title,
        "part": fingered.passage.part,
        "instrument": describe_instrument(fingered),
        "guide_rule": way.guide_rule.value,
        "notes": [described for step in fingered.steps for described in describe_step(fingered, step)],
        "shifts": [describe_shift(shift) for shift in way.shifts],
        "other": [describe_motion(motion) for motion in way.other],
        "remarks": list(fingered.remarks),
    }


def describe_instrument(fingered: FingeredPassage) -> Described:
    """Family, size, open strings (I first) and vibrating length."""
    instrument = fingered.instrument
    return {
        "family": instrument.family,
        "size": instrument.size,
        "strings": [pitch.name for pitch in instrument.strings],
        "length_mm": instrument.length_mm,
    }


def describe_step(fingered: FingeredPassage, step: Step) -> list[Described]:
    """One entry per stop."""
    measure = fingered.passage.measure_at(step.onset)
    beat = 1 + (step.onset - measure.onset) * Fraction(measure.beat_type, 4)
    return [describe_stop(stop, step, beat) for stop in step.stops]


def describe_stop(stop: Stop, step: Step, beat: Fraction) -> Described:
    """A note in the hand; ``beat`` counts the measure's beats from 1."""
    position = None
    if stop.placement is not None:
        position = {"label": step.position, "first_finger_semitones": stop.placement, "shape": stop.shape}
    return {
        "id": stop.note_id,
        "measure": step.measure,
        "beat": round(float(beat), 6),
        "pitch": stop.pitch.name,
        "midi": stop.pitch.midi,
        "string": stop.string,
        "finger": stop.finger.value,
        "place": stop.place,
        "harmonic": stop.harmonic,
        "position": position,
        "given": stop.given,
    }


def describe_shift(shift: Shift) -> Described:
    """One travel of the hand."""
    return {
        "number": shift.number,
        "measure": shift.measure,
        "departure": [stop.note_id for stop in shift.departure],
        "arrival": [stop.note_id for stop in shift.arrival],
        "direction": shift.direction,
        "relation": shift.relation.value,
        "crossing": shift.crossing,
        "cover": shift.cover.value,
        "interval": shift.interval.name,
        "from_position": shift.from_position,
        "to_position": shift.to_position,
        "on_old_bow": shift.on_old_bow,
        "guide": [describe_guide(guide) for guide in shift.guide],
    }


def describe_guide(guide: Guide) -> Described:
    """The finger that carries the hand."""
    return {
        "finger": guide.finger.value,
        "string": guide.string,
        "from": guide.from_pitch.name,
        "to": guide.to_pitch.name,
        "travel_semitones": guide.travel_semitones,
        "travel_mm": round(guide.travel_mm, 2),
    }


def describe_motion(motion: Motion) -> Described:
    """A movement that is not a shift."""
    return {"kind": motion.kind, "notes": list(motion.note_ids), "measure": motion.measure}


def describe_target(target: Target) -> Described:
    """What the landing was measured against."""
    return {
        "pitch": target.pitch.name,
        "hz": round(target.hz, 4),
        "system": target.system,
        "reference": target.reference,
    }


def describe_attempt(attempt: Attempt, *, cold: bool = False) -> Described:
    """One attempt of schema ``truestop.judge/1``."""
    return {
        "shift": attempt.shift,
        "stage": attempt.stage,
        "start_s": _rounded(attempt.start_s, 4),
        "end_s": _rounded(attempt.end_s, 4),
        "departure_s": _rounded(attempt.departure_s, 4),
        "arrival_s": _rounded(attempt.arrival_s, 4),
        "target": describe_target(attempt.target),
        "landing_cents": _rounded(attempt.landing_cents, 2),
        "landing_se_cents": _rounded(attempt.landing_se_cents, 2),
        "landing_mm": _rounded(attempt.landing_mm, 2),
        "interval_error_cents": _rounded(attempt.interval_error_cents, 2),
        "settled_cents": _rounded(attempt.settled_cents, 2),
        "correction_cents": _rounded(attempt.correction_cents, 2),
        "overshoot_cents": _rounded(attempt.overshoot_cents, 2),
        "guide_landing_cents": _rounded(attempt.guide_landing_cents, 2),
        "slide_s": _rounded(attempt.slide_s, 4),
        "stops": attempt.stops,
        "reversals": attempt.reversals,
        "vibrato": describe_vibrato(attempt.vibrato),
        "timing_s": _rounded(attempt.timing_s, 4),
        "tolerance_cents": attempt.tolerance_cents,
        "verdict": attempt.verdict.value,
        "faults": list(attempt.faults),
        "borderline": attempt.borderline,
        "reason": attempt.reason,
        "cold": cold,
        "measure_version": attempt.measure_version,
        "notes": [describe_note(note) for note in attempt.notes] or None,
    }


def describe_note(note: NoteLanding) -> Described:
    """One note of a double stop, in an attempt's ``notes``."""
    return {
        "target": describe_target(note.target),
        "arrival_s": _rounded(note.arrival_s, 4),
        "landing_cents": _rounded(note.landing_cents, 2),
        "landing_se_cents": _rounded(note.landing_se_cents, 2),
        "landing_mm": _rounded(note.landing_mm, 2),
        "interval_error_cents": _rounded(note.interval_error_cents, 2),
        "settled_cents": _rounded(note.settled_cents, 2),
        "correction_cents": _rounded(note.correction_cents, 2),
        "overshoot_cents": _rounded(note.overshoot_cents, 2),
        "vibrato": describe_vibrato(note.vibrato),
        "verdict": note.verdict.value,
        "faults": list(note.faults),
        "borderline": note.borderline,
        "reason": note.reason,
    }


def describe_vibrato(vibrato: Vibrato) -> Described:
    """Whether there is one, how fast and how wide."""
    return {
        "present": vibrato.present,
        "rate_hz": _rounded(vibrato.rate_hz, 2),
        "extent_cents": _rounded(vibrato.extent_cents, 1),
    }


def describe_takes(takes: Iterable[Described], *, unheard: Iterable[tuple[str, str]] = ()) -> Described:
    """Schema ``truestop.judge/1``; ``unheard`` are (file, problem) of takes that say nothing."""
    problems = [{"file": file, "problem": problem} for file, problem in unheard]
    return {"schema": "truestop.judge/1", "takes": list(takes), "unheard": problems}


def describe_take(
    *,
    file: str,
    sample_rate_hz: float,
    duration_s: float,
    attempts: Sequence[Attempt],
    cold: Sequence[bool],
    take: str | None = None,
    remark: str | None = None,
) -> Described:
    """One take with its attempts; ``take`` is its number in the record, ``remark`` where its file breaks off."""
    return {
        "file": file,
        "take": take,
        "sample_rate_hz": sample_rate_hz,
        "duration_s": _rounded(duration_s, 4),
        "remark": remark,
        "attempts": [describe_attempt(attempt, cold=is_cold) for attempt, is_cold in zip(attempts, cold, strict=True)],
    }


def _rounded(value: float | None, digits: int) -> float | None:
    if value is None or not isfinite(value):
        return None
    return round(float(value), digits) + 0.0
