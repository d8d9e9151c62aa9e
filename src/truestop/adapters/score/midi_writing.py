"""Writing a passage as a Standard MIDI file.

Conventions: one track for tempo and signatures, one for the notes, 480 ticks a quarter note. Tied notes are one note.
Grace notes take their time from the note they adorn. The same passage gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from fractions import Fraction

import mido

from truestop.domain.passage import Measure, Note, Passage

TICKS_PER_BEAT = 480
GRACE_BEATS = Fraction(1, 8)
_VELOCITY = 80
_PROGRAMS = {"violin": 40, "viola": 41, "cello": 42, "bass": 43}
"""General MIDI Level 1 programs, counted from 0."""
_MAJORS = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]
_MINORS = ["Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m", "G#m", "D#m", "A#m"]

_Event = tuple[int, int, mido.Message | mido.MetaMessage]
"""Tick, order among events at that tick, message."""


def write_midi(passage: Passage) -> bytes:
    """``passage`` as a type 1 MIDI file: its notes as they sound, without repeats."""
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_BEAT, charset="utf-8")
    file.tracks.append(_track(_conductor(passage)))
    file.tracks.append(_track(_player(passage)))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _ticks(beats: Fraction) -> int:
    return round(beats * TICKS_PER_BEAT)


def _track(events: Iterable[_Event]) -> mido.MidiTrack:
    track = mido.MidiTrack()
    at = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - at))
        at = tick
    return track


def _conductor(passage: Passage) -> list[_Event]:
    events: list[_Event] = [(0, 0, mido.MetaMessage("track_name", name=passage.title or "Passage"))]
    tempos = [(Fraction(0), passage.quarter_bpm_at(Fraction(0)))]
    tempos += [(tempo.onset, tempo.quarter_bpm) for tempo in passage.tempos if tempo.onset > 0]
    events += [(_ticks(at), 1, mido.MetaMessage("set_tempo", tempo=round(60e6 / bpm))) for at, bpm in tempos]
    before: Measure | None = None
    for measure in passage.measures:
        at = _ticks(measure.onset)
        if before is None or (before.beats, before.beat_type) != (measure.beats, measure.beat_type):
            metre = mido.MetaMessage("time_signature", numerator=measure.beats, denominator=measure.beat_type)
            events.append((at, 2, metre))
        if before is None or (before.key_fifths, before.mode) != (measure.key_fifths, measure.mode):
            events.append((at, 3, mido.MetaMessage("key_signature", key=_key_name(measure))))
        before = measure
    return events


def _key_name(measure: Measure) -> str:
    names = _MINORS if measure.mode in ("minor", "aeolian") else _MAJORS
    return names[max(-7, min(7, measure.key_fifths)) + 7]


def _player(passage: Passage) -> list[_Event]:
    events: list[_Event] = [
        (0, 0, mido.MetaMessage("track_name", name=passage.part or passage.instrument or "Passage")),
        (0, 1, mido.Message("program_change", program=_PROGRAMS.get(passage.instrument or "", 40))),
    ]
    for start, end, midi in _sounding(passage):
        first = _ticks(start)
        last = max(_ticks(end), first + 1)
        events.append((first, 3, mido.Message("note_on", note=midi, velocity=_VELOCITY)))
        events.append((last, 2, mido.Message("note_off", note=midi, velocity=0)))
    return events


def _sounding(passage: Passage) -> list[tuple[Fraction, Fraction, int]]:
    """Start, end and MIDI number of every note struck."""
    late = _grace_times(passage)
    struck: list[tuple[Fraction, Fraction, int]] = []
    open_ties: dict[int, int] = {}
    for note in passage.notes:
        if not 0 <= note.pitch.midi <= 127:
            continue
        if note.tied_from_before and note.pitch.midi in open_ties and not note.grace:
            index = open_ties.pop(note.pitch.midi)
            struck[index] = (struck[index][0], note.end, note.pitch.midi)
        else:
            struck.append((*_times(note, late), note.pitch.midi))
            index = len(struck) - 1
        if note.tied_to_next:
            open_ties[note.pitch.midi] = index
    return struck


def _times(note: Note, late: dict[str, tuple[Fraction, Fraction]]) -> tuple[Fraction, Fraction]:
    return late.get(note.id, (note.onset, note.end))


def _grace_times(passage: Passage) -> dict[str, tuple[Fraction, Fraction]]:
    """When grace notes sound, and the notes that they make late."""
    times: dict[str, tuple[Fraction, Fraction]] = {}
    waiting: list[tuple[Note, ...]] = []
    for column in passage.columns:
        if column[0].grace:
            waiting.append(column)
            continue
        each = min(GRACE_BEATS, min(note.duration for note in column) / (2 * max(1, len(waiting))))
        for place, grace in enumerate(waiting):
            start = column[0].onset + place * each
            times |= {note.id: (start, start + each) for note in grace}
        if waiting:
            times |= {note.id: (note.onset + len(waiting) * each, note.end) for note in column}
        waiting = []
    for place, grace in enumerate(waiting):
        start = grace[0].onset + place * GRACE_BEATS
        times |= {note.id: (start, start + GRACE_BEATS) for note in grace}
    return times
