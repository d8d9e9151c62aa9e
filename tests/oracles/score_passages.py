"""Passages made at random for property tests: anything that a page of string music can hold."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import strategies as st

from truestop.adapters.score.draft import ClefEvent, DraftMeasure, DraftNote, DraftPart
from truestop.adapters.score.finishing import finish_part
from truestop.adapters.score.harmonics import artificial_pitch
from truestop.adapters.score.note_values import length_of
from truestop.domain.passage import Direction, Finger, Harmonic, Passage, Tempo
from truestop.domain.pitch import Interval, Pitch

METRES = ((4, 4), (3, 4), (2, 4), (6, 8), (9, 8), (3, 8), (5, 8), (2, 2), (12, 8))
FINGERS = (Finger.FIRST, Finger.SECOND, Finger.THIRD, Finger.FOURTH)
LOWEST = {"violin": 56, "viola": 49, "cello": 37, "bass": 29, None: 56}
CLEFS = {
    "violin": ("treble",), "viola": ("alto", "treble"), "cello": ("bass", "tenor", "treble"), "bass": ("bass", "tenor"),
    None: ("treble",),
}  # fmt: skip
_VALUES = tuple(
    (name, dots, None) for name in ("whole", "half", "quarter", "eighth", "16th", "32nd") for dots in (0, 1)
)
_NAMES = ("staccato", "accent", "tenuto", "fermata", "turn", "mordent", "snap-pizzicato", "strong-accent")
_WORDS = ("dolce", "poco rit.", "espressivo", "a tempo", "Übung <1> & „2“", "sul ponticello")


@st.composite
def pitches(draw: st.DrawFn, family: str | None) -> Pitch:
    """A sounding pitch above the lowest string, spelled with at most two signs."""
    low = LOWEST[family]
    octaves = range(low // 12, low // 12 + 3)
    pitch = Pitch(
        draw(st.sampled_from("CDEFGAB")), draw(st.sampled_from((0, 0, 0, -1, 1, -2, 2))), draw(st.sampled_from(octaves))
    )
    return pitch if pitch.midi > low else Pitch(pitch.step, pitch.alter, pitch.octave + 1)


@st.composite
def drafts_of_notes(draw: st.DrawFn, family: str | None, written_octave: int) -> DraftNote:
    """One note with marks; its place and value are set by whoever asks."""
    pitch = draw(pitches(family))
    fingers = tuple(draw(st.lists(st.sampled_from((*FINGERS, Finger.THUMB)), max_size=2, unique=True)))
    alternates = tuple(draw(st.lists(st.sampled_from(FINGERS), max_size=1)))
    trill = draw(st.integers(0, 9)) == 0
    note = DraftNote(
        own_id=None, written=pitch, pitch=pitch, onset=Fraction(0), duration=Fraction(0), measure_index=0,
        fingers=fingers if not trill else fingers[:1], alternates=alternates,
        string=draw(st.sampled_from((None, None, 1, 2, 3, 4))), slide=False, trill=trill,
        bow=draw(st.sampled_from((None, None, "up", "down"))), small=draw(st.integers(0, 9)) == 0,
        articulations=tuple(draw(st.lists(st.sampled_from(_NAMES), max_size=2, unique=True))),
        stem=draw(st.sampled_from((None, None, "up", "down"))),
    )  # fmt: skip
    if trill and fingers and fingers[0] is not Finger.THUMB and draw(st.booleans()):
        note.trill_finger = draw(st.sampled_from(FINGERS))
    if draw(st.integers(0, 12)) == 0:
        _make_artificial(note)
    elif draw(st.integers(0, 12)) == 0:
        note.harmonic, note.fingers, note.trill_finger = Harmonic.NATURAL, (), None
    note.written = _as_written(note.base or note.pitch, written_octave)
    return note


def _make_artificial(note: DraftNote) -> None:
    base, touched = note.pitch, note.pitch.transposed(Interval(3, 5))
    sounding = artificial_pitch(base, touched)
    assert sounding is not None
    note.base, note.touched, note.pitch, note.harmonic = base, touched, sounding, Harmonic.ARTIFICIAL


def _as_written(pitch: Pitch, octave: int) -> Pitch:
    return Pitch(pitch.step, pitch.alter, pitch.octave - octave)


def _values_up_to(room: Fraction) -> list[tuple[str, int, tuple[int, int] | None]]:
    return [value for value in _VALUES if length_of(value[0], value[1]) <= room]


@st.composite
def runs(draw: st.DrawFn, room: Fraction) -> list[tuple[Fraction, str, int, tuple[int, int] | None, bool]]:
    """Lengths that fill part of a measure: position, value, dots, tuplet and whether it sounds."""
    filled: list[tuple[Fraction, str, int, tuple[int, int] | None, bool]] = []
    position = Fraction(0)
    while room - position >= Fraction(1, 8) and draw(st.integers(0, 12)) > 0:
        if room - position >= 1 and position.denominator == 1 and draw(st.integers(0, 5)) == 0:
            tuplet, kind = draw(st.sampled_from((((3, 2), "eighth"), ((5, 4), "16th"), ((6, 4), "16th"))))
            for _ in range(tuplet[0]):
                filled.append((position, kind, 0, tuplet, draw(st.integers(0, 6)) > 0))
                position += length_of(kind, 0, tuplet)
        else:
            kind, dots, none = draw(st.sampled_from(_values_up_to(room - position)))
            filled.append((position, kind, dots, none, draw(st.integers(0, 6)) > 0))
            position += length_of(kind, dots)
    return filled


@st.composite
def passages(draw: st.DrawFn) -> Passage:
    """A passage of one to four measures as the reader itself would count it."""
    family = draw(st.sampled_from(("violin", "viola", "cello", "bass", None)))
    octave = -1 if family == "bass" else 0
    part = DraftPart(
        title=draw(st.sampled_from(("", "Étude", "A & B <c>"))), composer=draw(st.sampled_from(("", "M. Beispiel"))),
        name={"violin": "Violin", "viola": "Viola", "cello": "Cello", "bass": "Double bass", None: "Melody"}[family],
        family=family, octave_shift=octave, transposes=True,
    )  # fmt: skip
    for index in range(draw(st.integers(1, 4))):
        _add_measure(draw, part, index, family, octave)
    _tie_and_slur(draw, part)
    if draw(st.booleans()) and part.notes:
        part.tempos = [Tempo(onset=Fraction(0), quarter_bpm=draw(st.sampled_from((60.0, 72.5, 90.0))))]
    if draw(st.integers(0, 4)) == 0 and family == "violin":
        part.strings = tuple(Pitch.parse(name) for name in ("E5", "A4", "D4", "A3"))
    return finish_part(part)


def _add_measure(draw: st.DrawFn, part: DraftPart, index: int, family: str | None, octave: int) -> None:
    last = part.measures[-1] if part.measures else None
    start = last.onset + last.duration if last else Fraction(0)
    beats, beat_type = draw(st.sampled_from(METRES))
    metre = Fraction(4 * beats, beat_type)
    pickup = index == 0 and draw(st.integers(0, 3)) == 0
    duration = Fraction(1, 2) if pickup else metre
    part.measures.append(
        DraftMeasure(
            number="0" if pickup else str(index + 1), onset=start, duration=duration,
            key_fifths=draw(st.integers(-6, 6)), mode=draw(st.sampled_from(("major", "minor"))), beats=beats,
            beat_type=beat_type, clef=draw(st.sampled_from(CLEFS[family])),
            new_system=index > 0 and draw(st.integers(0, 4)) == 0, repeat_starts=draw(st.integers(0, 8)) == 0,
            repeat_ends=draw(st.integers(0, 8)) == 0,
        )
    )  # fmt: skip
    for voice in ("1", "2") if draw(st.integers(0, 3)) == 0 else ("1",):
        _add_voice(draw, part, voice, (family, octave))
    if draw(st.booleans()):
        onset = start + draw(st.sampled_from((Fraction(0), Fraction(1, 4), Fraction(1, 2)))) * duration
        kind = draw(st.sampled_from(("words", "tempo", "dynamics", "rehearsal")))
        text = draw(st.sampled_from(("p", "mf", "sffz", "più f") if kind == "dynamics" else _WORDS))
        part.directions.append(
            Direction(onset=onset, text=text, kind=kind, placement=draw(st.sampled_from(("above", "below"))))
        )


def _add_voice(draw: st.DrawFn, part: DraftPart, voice: str, setting: tuple[str | None, int]) -> None:
    measure, index = part.measures[-1], len(part.measures) - 1
    clef = measure.clef
    for position, kind, dots, tuplet, sounds in draw(runs(measure.duration)):
        if not sounds:
            continue
        onset = measure.onset + position
        if voice == "1" and position > 0 and draw(st.integers(0, 9)) == 0:
            clef = draw(st.sampled_from(("treble", "bass", "tenor", "alto")))
            part.clef_events.append(ClefEvent(onset=onset, measure_index=index, clef=clef))
        for _ in range(draw(st.sampled_from((0, 0, 0, 0, 1, 2)))):
            grace = draw(drafts_of_notes(*setting))
            before = part.notes[-1] if part.notes else None
            joins = before is not None and before.grace and (before.onset, before.voice) == (onset, voice)
            grace.grace_chord = joins and draw(st.booleans())
            grace.grace, grace.slashed, grace.type = (
                True,
                draw(st.booleans()),
                draw(st.sampled_from(("eighth", "16th"))),
            )
            _place(part, grace, onset, Fraction(0), (voice, index))
        for _ in range(draw(st.sampled_from((1, 1, 1, 1, 2)))):
            note = draw(drafts_of_notes(*setting))
            if part.notes and draw(st.integers(0, 4)) == 0 and not note.harmonic.value.endswith("al"):
                note.pitch, note.written = _same_as_before(part.notes[-1])
            note.type, note.dots, note.tuplet = kind, dots, tuplet
            _place(part, note, onset, length_of(kind, dots, tuplet), (voice, index))


def _same_as_before(note: DraftNote) -> tuple[Pitch, Pitch]:
    """Its pitch again, so that there is something to tie; the stopped pitch of a harmonic."""
    return note.base or note.pitch, note.written


def _place(part: DraftPart, note: DraftNote, onset: Fraction, length: Fraction, where: tuple[str, int]) -> None:
    note.onset, note.duration = onset, length
    note.voice, note.measure_index = where
    same_head = any(
        (other.onset, other.voice, other.written, other.grace) == (onset, where[0], note.written, note.grace)
        or (other.onset, other.voice, other.harmonic is Harmonic.NONE) == (onset, where[0], False)
        for other in part.notes
    )
    harmonic_in_chord = note.harmonic is not Harmonic.NONE and any(
        (other.onset, other.voice) == (onset, where[0]) for other in part.notes
    )
    if not same_head and not harmonic_in_chord:
        part.notes.append(note)


def _tie_and_slur(draw: st.DrawFn, part: DraftPart) -> None:
    plain = [note for note in part.notes if note.voice == "1" and not note.grace]
    for one, two in pairwise(plain):
        if one.onset + one.duration != two.onset:
            continue
        choice = draw(st.integers(0, 6))
        if choice == 0 and one.pitch == two.pitch:
            one.tied_to_next = two.tied_from_before = True
        elif choice == 1 and not one.slur_starts:
            one.slur_starts, two.slur_stops = (1,), (1,)
        elif choice == 2:
            two.slide = True
