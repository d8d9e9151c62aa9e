"""From a draft to a passage: order, ids, strings by words, harmonics, slurs, beats.

Conventions: the same steps serve every format. ``family`` is the instrument the player names; it settles what 'sul G'
and a printed 0 mean where the score does not name an instrument itself.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from truestop.adapters.score.draft import DraftNote, DraftPart, StringEvent
from truestop.adapters.score.harmonics import is_open_or_harmonic, natural_pitch
from truestop.adapters.score.string_words import CANCEL, StringWord, parse_string_words
from truestop.domain.instrument import HIGHEST_PLACE, ROMAN, STRINGS, family_of_clefs
from truestop.domain.passage import Direction, Finger, Harmonic, Marks, Measure, Note, Passage, Remark
from truestop.domain.pitch import Interval, Pitch

_LOWEST_WRITTEN_BASS = 40
"""MIDI number of written E2, the double bass's lowest open string as written."""
_LONGEST_STRING = max(HIGHEST_PLACE.values())
_OCTAVE_DOWN = Interval(-7, -12)


def finish_part(part: DraftPart, *, family: str | None = None) -> Passage:
    """The finished passage of ``part``."""
    _settle_bass_octave(part, family)
    order = {id(note): index for index, note in enumerate(part.notes)}
    part.notes.sort(key=lambda note: _order(note, order[id(note)]))
    strings = open_strings(part, family)
    if strings is not None:
        _settle_harmonics(part.notes, strings)
    guessed = strings or _usual_strings(family_of_clefs(measure.clef for measure in part.measures))
    part.remarks += part.open_slides.values()
    if part.hand_words is not None:
        text = f"'{part.hand_words}' stands at no note; it is passed over."
        part.remarks.append(Remark(onset=part.hand_words_onset, text=text))
    if part.notes and part.notes[0].slide:
        text = f"the slide to {part.notes[0].written.pretty} comes from no note; it is passed over."
        part.remarks.append(Remark(onset=part.notes[0].onset, text=text))
    part.remarks += _apply_string_words(part.notes, part.string_events, guessed)
    _attach_clefs(part)
    _follow_slurs(part.notes)
    return _assembled(part, strings if part.strings or part.retuned else None)


def _assembled(part: DraftPart, scordatura: tuple[Pitch, ...] | None) -> Passage:
    measures = _counted(tuple(measure.made() for measure in part.measures))
    return Passage(
        title=part.title,
        composer=part.composer,
        part=part.name,
        instrument=part.family,
        strings=scordatura,
        octave_shift=part.octave_shift,
        notes=_made_notes(part, measures),
        measures=measures,
        tempos=tuple(sorted(part.tempos, key=lambda tempo: tempo.onset)),
        directions=tuple(sorted(part.directions, key=_onset_of)),
        remarks=_once_each(sorted(part.remarks, key=_onset_of)),
    )


def _once_each(remarks: Sequence[Remark]) -> tuple[Remark, ...]:
    """Every sentence once, at its first place, with how often it would come again."""
    counts = Counter(remark.text for remark in remarks)
    first = {remark.text: remark for remark in reversed(remarks)}
    return tuple(
        remark
        if counts[remark.text] == 1
        else replace(remark, text=f"{remark.text.rstrip('.')} ({counts[remark.text]} times).")
        for remark in remarks
        if remark is first[remark.text]
    )


def _onset_of(placed: Direction | Remark) -> Fraction:
    return placed.onset


def _order(note: DraftNote, index: int) -> tuple[Fraction, int, int, int, int]:
    if note.grace:
        return (note.onset, 0, note.measure_index, index, 0)
    return (note.onset, 1, note.pitch.midi, note.pitch.diatonic, index)


def open_strings(part: DraftPart, family: str | None) -> tuple[Pitch, ...] | None:
    """The open strings that the score or the player's instrument gives, I first; None where neither says."""
    if part.strings is not None:
        return part.strings
    known = family or part.family
    if known is None and part.retuned:
        known = family_of_clefs(measure.clef for measure in part.measures)
    if known is None:
        return None
    usual = dict(enumerate(_usual_strings(known), start=1)) | part.retuned
    return tuple(usual[number] for number in sorted(usual))


def _usual_strings(family: str) -> tuple[Pitch, ...]:
    return tuple(Pitch.parse(name) for name in STRINGS[family])


def _settle_bass_octave(part: DraftPart, family: str | None) -> None:
    """A double bass part without transposition is read an octave lower, unless it goes below written E2."""
    bass = "bass" in (part.family, family if part.family is None else None)
    if not bass or part.transposes or not part.notes:
        return
    if min(note.written.midi for note in part.notes) < _LOWEST_WRITTEN_BASS:
        return
    part.octave_shift = -1
    for note in part.notes:
        note.pitch = note.pitch.transposed(_OCTAVE_DOWN)
        note.base = note.base.transposed(_OCTAVE_DOWN) if note.base else None
        note.touched = note.touched.transposed(_OCTAVE_DOWN) if note.touched else None


def _settle_harmonics(notes: Sequence[DraftNote], strings: tuple[Pitch, ...]) -> None:
    for note in notes:
        if note.harmonic is Harmonic.NATURAL and note.touched is not None and note.pitch == note.touched:
            note.pitch = natural_pitch(note.touched, strings, note.string) or note.pitch
        elif _bears_0(note) and is_open_or_harmonic(note.pitch.midi, strings) == "harmonic":
            note.fingers, note.harmonic = (), Harmonic.NATURAL


def _bears_0(note: DraftNote) -> bool:
    return note.fingers == (Finger.OPEN,) and note.harmonic is Harmonic.NONE


class _HeldString:
    """The string that words name, until something ends it."""

    def __init__(self, strings: tuple[Pitch, ...]) -> None:
        self._strings = strings
        self.number: int | None = None
        self._bare = False
        self._named_at: Fraction | None = None
        self._line = False
        self._words = ""
        self._waits = False
        """Whether the words still wait for their first note."""
        self.remarks: list[Remark] = []

    def hear(self, event: StringEvent) -> None:
        """Take in words or the end of a line."""
        if event.kind == "line starts":
            self._line = self.number is not None and self._named_at == event.onset
        elif event.kind == "line stops":
            self.number, self._line = (None, False) if self._line else (self.number, False)
        else:
            word = parse_string_words(event.text)
            if word is not None:
                self._name(word, event)

    def _name(self, word: StringWord, event: StringEvent) -> None:
        self.number = None if word is CANCEL else word.string_on(self._strings)
        self._bare, self._named_at, self._line = word.bare, event.onset, False
        self._words, self._waits = event.text.strip(), self.number is not None
        if self.number is None and word is not CANCEL:
            usual = " ".join(pitch.pretty for pitch in self._strings)
            self._remark(f"names no string here (I to {ROMAN[len(self._strings)]} are {usual})")

    def _remark(self, why: str) -> None:
        assert self._named_at is not None
        self.remarks.append(Remark(onset=self._named_at, text=f"'{self._words}' {why}; it is passed over."))

    def mark(self, column: Sequence[DraftNote], *, after_rest: bool) -> None:
        """Give the held string to a column of one note, or end the hold."""
        if self.number is None:
            return
        if after_rest and self._bare and self._named_at != column[0].onset:
            self.number = None
        elif len(column) == 1 and not column[0].tied_from_before:
            self._mark_single(column[0])
            self._waits = False
        elif len(column) > 1 and self._bare and self._named_at == column[0].onset:
            self._remark("does not say which note of the chord it is for")

    def _mark_single(self, note: DraftNote) -> None:
        number = self.number
        known = number is not None and number <= len(self._strings)
        place = note.pitch.midi - self._strings[number - 1].midi if known and number is not None else 0
        away = note.harmonic is Harmonic.NONE and not 0 <= place <= _LONGEST_STRING
        other_open = known and number is not None and note.fingers == (Finger.OPEN,) and (
            note.pitch.midi != self._strings[number - 1].midi
        )  # fmt: skip
        if away or other_open or note.string not in (None, number):
            self.number = None
            if self._waits:
                self._remark(_why_not(note, self._strings, number, away=away, other_open=other_open))
        else:
            note.string = number


def _why_not(note: DraftNote, strings: tuple[Pitch, ...], number: int | None, *, away: bool, other_open: bool) -> str:
    """Why words give no string to the first note they stand at."""
    if away and number is not None:
        return f"cannot hold for {note.written.pretty}, which does not lie on string {ROMAN[number]}"
    other = "an open string that is another" if other_open else f"string {ROMAN.get(note.string or 0, note.string)}"
    return f"stands at {note.written.pretty}, which is marked as {other}"


def _apply_string_words(
    notes: Sequence[DraftNote], events: Sequence[StringEvent], strings: tuple[Pitch, ...]
) -> list[Remark]:
    """Gives strings to ``notes``; what words could not be taken in."""
    if not any(event.kind == "words" and parse_string_words(event.text) for event in events):
        return []
    held = _HeldString(strings)
    waiting = sorted(events, key=lambda event: event.onset)[::-1]
    end = Fraction(0)
    for column in _columns(notes):
        while waiting and waiting[-1].onset <= column[0].onset:
            held.hear(waiting.pop())
        held.mark(column, after_rest=column[0].onset > end)
        end = max(end, *(note.onset + note.duration for note in column))
    return held.remarks


def _columns(notes: Sequence[DraftNote]) -> list[list[DraftNote]]:
    columns: list[list[DraftNote]] = []
    for note in notes:
        before = columns[-1][-1] if columns else None
        joins = before is not None and before.onset == note.onset and before.grace == note.grace
        if joins and (not note.grace or note.grace_chord):
            columns[-1].append(note)
        else:
            columns.append([note])
    return columns


def _attach_clefs(part: DraftPart) -> None:
    onsets = [note.onset for note in part.notes]
    for event in part.clef_events:
        index = bisect_right(onsets, event.onset)
        while index > 0 and onsets[index - 1] == event.onset:
            index -= 1
        if index < len(part.notes) and part.notes[index].measure_index == event.measure_index:
            part.notes[index].clef_before = event.clef


def _follow_slurs(notes: Sequence[DraftNote]) -> None:
    """Tell for every note whether a slur or tie leads to it. A slur that never ends is passed over."""
    by_voice: dict[str, list[list[DraftNote]]] = {}
    started: dict[tuple[str, int], int] = {}
    under: dict[str, list[tuple[int, int]]] = {}
    for column in _voice_columns(notes):
        columns = by_voice.setdefault(column[0].voice, [])
        columns.append(column)
        place = len(columns) - 1
        for note in column:
            for number in note.slur_stops:
                start = _take_start(started, note.voice, number, place)
                if start is not None:
                    under.setdefault(note.voice, []).append((start, place))
        for note in column:
            for number in note.slur_starts:
                started[note.voice, number] = place
    for voice, columns in by_voice.items():
        _mark_continuing(columns, under.get(voice, []))


def _take_start(started: dict[tuple[str, int], int], voice: str, number: int, place: int) -> int | None:
    """Where in ``voice`` the slur that stops at ``place`` began; one from another voice leads from the note before."""
    if (voice, number) in started:
        return started.pop((voice, number))
    for key in started:
        if key[1] == number:
            del started[key]
            return max(place - 1, 0)
    return None


def _voice_columns(notes: Sequence[DraftNote]) -> list[list[DraftNote]]:
    last: dict[str, list[DraftNote]] = {}
    columns: list[list[DraftNote]] = []
    for note in notes:
        before = last.get(note.voice)
        joins = before is not None and before[0].onset == note.onset and before[0].grace == note.grace
        if joins and before is not None and (not note.grace or note.grace_chord):
            before.append(note)
        else:
            last[note.voice] = [note]
            columns.append(last[note.voice])
    return columns


def _mark_continuing(columns: Sequence[Sequence[DraftNote]], slurs: Sequence[tuple[int, int]]) -> None:
    change = [0] * (len(columns) + 2)
    for start, stop in slurs:
        change[start + 1] += 1
        change[stop + 1] -= 1
    open_slurs = 0
    for place, column in enumerate(columns):
        open_slurs += change[place]
        for note in column:
            note.bow_continues = open_slurs > 0 or note.tied_from_before


def _counted(measures: tuple[Measure, ...]) -> tuple[Measure, ...]:
    """The measures, each with the count of those before it that bear its number."""
    seen: Counter[str] = Counter()
    counted: list[Measure] = []
    for measure, offset in zip(measures, beats_before(measures), strict=True):
        seen[measure.number] += not (counted and offset > 0 and counted[-1].number == measure.number)
        counted.append(replace(measure, same_number_before=seen[measure.number] - 1))
    return tuple(counted)


def beats_before(measures: Sequence[Measure]) -> list[Fraction]:
    """How much of each measure's metre has gone when it begins: for pickups and the second part of split measures."""
    offsets: list[Fraction] = []
    for index, measure in enumerate(measures):
        nominal = Fraction(4 * measure.beats, measure.beat_type)
        missing = nominal - measure.duration
        before = measures[index - 1] if index else None
        if missing <= 0:
            offsets.append(Fraction(0))
        elif before is None:
            offsets.append(missing)
        else:
            same_metre = (before.beats, before.beat_type) == (measure.beats, measure.beat_type)
            completes = before.duration == missing and offsets[-1] == 0 and same_metre
            offsets.append(before.duration if completes else Fraction(0))
    return offsets


def _made_notes(part: DraftPart, measures: tuple[Measure, ...]) -> tuple[Note, ...]:
    own = Counter(note.own_id for note in part.notes if note.own_id)
    used = {name for name, count in own.items() if count == 1}
    in_measure: Counter[int] = Counter()
    offsets = beats_before(measures)
    made: list[Note] = []
    for note in part.notes:
        measure = part.measures[note.measure_index]
        in_measure[note.measure_index] += 1
        if note.own_id is not None and own[note.own_id] == 1:
            note_id = note.own_id
        else:
            note_id = _free_id(f"m{measure.number}n{in_measure[note.measure_index]}", used)
            used.add(note_id)
        beat = note.onset - measure.onset + offsets[note.measure_index] + 1
        made.append(_made_note(note, note_id, measure.number, beat))
    return tuple(made)


def _free_id(name: str, used: set[str]) -> str:
    name = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "-_.") else "_" for sign in name)
    candidate, count = name, 1
    while candidate in used:
        count += 1
        candidate = f"{name}.{count}"
    return candidate


_NO_MARKS = Marks()


def _made_marks(note: DraftNote) -> Marks:
    if not (
        note.fingers or note.alternates or note.string or note.slide or note.bow or note.trill_finger or note.hand
        or note.harmonic is not Harmonic.NONE
    ):  # fmt: skip
        return _NO_MARKS
    return Marks(
        fingers=note.fingers, alternates=note.alternates, string=note.string, harmonic=note.harmonic,
        touched=note.touched, base=note.base, slide=note.slide, bow=note.bow, trill_finger=note.trill_finger,
        hand=note.hand,
    )  # fmt: skip


def _made_note(note: DraftNote, note_id: str, measure: str, beat: Fraction) -> Note:
    return Note(
        id=note_id, pitch=note.pitch, written=note.written, onset=note.onset, duration=note.duration, measure=measure,
        measure_index=note.measure_index, beat=beat, voice=note.voice, staff=note.staff, grace=note.grace,
        slashed=note.slashed, grace_chord=note.grace_chord, small=note.small, tied_from_before=note.tied_from_before,
        tied_to_next=note.tied_to_next, bow_continues=note.bow_continues, slur_starts=note.slur_starts,
        slur_stops=note.slur_stops, type=note.type, dots=note.dots, tuplet=note.tuplet, trill=note.trill,
        articulations=note.articulations, marks=_made_marks(note), stem=note.stem, clef_before=note.clef_before,
    )  # fmt: skip
