"""Beams from the metre, and where tuplets begin and end.

Conventions: notes are beamed within a group of beats: a half measure of eighths in 4/4, the whole measure in 2/4 and
3/8, a beat elsewhere; finer values break their inner beams at the beat. A rest, a longer note or the group's end
breaks a beam. Common practice of engraving, no single source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from truestop.adapters.score.note_values import FLAGS, beat_unit, is_dyadic
from truestop.domain.passage import Measure

Beams = tuple[str, ...]
"""For each level from the outermost: 'begin', 'continue', 'end', 'forward hook' or 'backward hook'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """One note, chord or rest of a voice as beams see it. ``position`` counts from the (whole) measure's start."""

    position: Fraction
    length: Fraction
    type: str | None
    tuplet: tuple[int, int] | None = None
    rest: bool = False

    @property
    def flags(self) -> int:
        """Beams it takes; 0 for rests and for quarters and longer."""
        return 0 if self.rest or self.type is None else FLAGS.get(self.type, 0)


def beams_of(beats: Sequence[Beat], measure: Measure) -> list[Beams]:
    """The beams of every note of one voice in one measure."""
    beams: list[Beams] = [()] * len(beats)
    for run in _runs(beats, measure):
        if len(run) > 1:
            for index, levels in zip(run, _levels([beats[i] for i in run], beat_unit(measure)), strict=True):
                beams[index] = levels
    return beams


def _runs(beats: Sequence[Beat], measure: Measure) -> list[list[int]]:
    wide, narrow = _groups(measure)
    runs: list[list[int]] = []
    end: Fraction | None = None
    for index, beat in enumerate(beats):
        if beat.flags == 0:
            end = None
            continue
        joins = end == beat.position and bool(runs) and _same_group(beats, runs[-1], index, wide, narrow)
        if joins:
            runs[-1].append(index)
        else:
            runs.append([index])
        end = beat.position + beat.length
    return runs


def _groups(measure: Measure) -> tuple[Fraction, Fraction]:
    pulse = beat_unit(measure)
    if measure.beat_type == 4:
        wide = {2: Fraction(2), 3: Fraction(3)}.get(measure.beats, Fraction(2) if measure.beats % 2 == 0 else pulse)
        return wide, pulse
    if measure.beat_type >= 8 and measure.beats <= 4:
        return Fraction(4 * measure.beats, measure.beat_type), Fraction(4 * measure.beats, measure.beat_type)
    if measure.beat_type >= 8 and measure.beats % 3 != 0:
        return 2 * pulse, 2 * pulse
    return (Fraction(2), Fraction(1)) if measure.beat_type == 2 else (pulse, pulse)


def _same_group(beats: Sequence[Beat], run: Sequence[int], index: int, wide: Fraction, narrow: Fraction) -> bool:
    """Whether a note joins a run: plain eighths over the wide group, everything else over the beat."""
    first, beat = beats[run[0]], beats[index]
    if first.position // narrow == beat.position // narrow:
        return True
    if first.position // wide != beat.position // wide:
        return False
    start = first.position // wide * wide
    inside = [other for other in beats if start <= other.position < start + wide and other.length != 0]
    return all(other.type == "eighth" and other.tuplet is None and not other.rest for other in inside)


def _levels(run: Sequence[Beat], pulse: Fraction) -> list[Beams]:
    result: list[list[str]] = [[] for _ in run]
    for level in range(1, max(beat.flags for beat in run) + 1):
        for index, beat in enumerate(run):
            if beat.flags >= level:
                before = index > 0 and run[index - 1].flags >= level and not _breaks(run, index, level, pulse)
                after = (
                    index + 1 < len(run) and run[index + 1].flags >= level and not _breaks(run, index + 1, level, pulse)
                )
                result[index].append(_BEAM[before, after] or _hook(run, index))
    return [tuple(levels) for levels in result]


_BEAM = {(False, True): "begin", (True, True): "continue", (True, False): "end", (False, False): ""}


def _breaks(run: Sequence[Beat], index: int, level: int, pulse: Fraction) -> bool:
    return level > 1 and run[index].position % pulse == 0


def _hook(run: Sequence[Beat], index: int) -> str:
    if index == 0:
        return "forward hook"
    if index == len(run) - 1:
        return "backward hook"
    beat = run[index]
    return "forward hook" if beat.length and beat.position % (2 * beat.length) == 0 else "backward hook"


def grace_beams(types: Sequence[str | None]) -> list[Beams]:
    """The beams of grace notes that stand together."""
    if len(types) < 2 or any(kind is None or kind not in FLAGS for kind in types):
        return [() for _ in types]
    run = [
        Beat(position=Fraction(index, 1024), length=Fraction(1, 1024), type=kind) for index, kind in enumerate(types)
    ]
    return _levels(run, Fraction(1))


def tuplet_ends(beats: Sequence[Beat]) -> list[str]:
    """For every note or rest of a voice 'start', 'stop' or '' : where a tuplet's bracket begins and ends."""
    ends = [""] * len(beats)
    first: int | None = None
    for index, beat in enumerate(beats):
        if first is not None and beat.tuplet != beats[first].tuplet:
            _close(ends, first, index - 1)
            first = None
        if beat.tuplet is None:
            continue
        if first is None:
            first = index
        total = sum((other.length for other in beats[first : index + 1]), Fraction(0))
        ends_on_a_beat = is_dyadic(beat.position + beat.length)
        if ends_on_a_beat and _is_full(total, beats[first : index + 1], beats[index + 1 :]):
            _close(ends, first, index)
            first = None
    if first is not None:
        _close(ends, first, len(beats) - 1)
    return ends


def _is_full(total: Fraction, group: Sequence[Beat], following: Sequence[Beat]) -> bool:
    tuplet = group[0].tuplet
    assert tuplet is not None
    shortest = min(beat.length for beat in group)
    missing = shortest * tuplet[0] - total
    return missing <= 0 or (is_dyadic(total) and len(group) > 1 and not _fill(missing, shortest, tuplet, following))


def _fill(missing: Fraction, shortest: Fraction, tuplet: tuple[int, int], following: Sequence[Beat]) -> bool:
    """Whether ``following`` notes complete the tuplet: three of a sextuplet last half of it, and go on."""
    written = shortest * tuplet[0] / tuplet[1]
    if written.numerator.bit_count() > 1:
        return False
    for beat in following:
        if missing <= 0 or beat.tuplet != tuplet or beat.length < shortest:
            break
        missing -= beat.length
    return missing == 0


def _close(ends: list[str], first: int, last: int) -> None:
    if last > first:
        ends[first], ends[last] = "start", "stop"
