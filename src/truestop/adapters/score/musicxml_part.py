"""One part of a MusicXML score, measure by measure, into a draft.

Conventions: positions are exact quarter notes. ``<backup>`` never leads before the measure's start. A measure lasts as
long as what it holds; an empty one lasts as long as its time signature says. Rests leave no trace but the time
they take; past the end of the metre only notes lengthen a measure, rests do not.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from xml.etree.ElementTree import Element

from truestop.adapters.score.bounds import LONGEST_DURATION_BEATS, MOST_DIVISIONS, MOST_MEASURES, MOST_NOTES, cut
from truestop.adapters.score.draft import ZERO, ClefEvent, DraftMeasure, DraftNote, DraftPart
from truestop.adapters.score.musicxml_directions import read_direction, read_sound
from truestop.adapters.score.musicxml_note import NoteReader, join_chord
from truestop.adapters.score.musicxml_numbers import decimal, duration, text_of, whole
from truestop.domain.errors import PitchError, ScoreError
from truestop.domain.pitch import Pitch

_CORRECT = "Correct it in the notation program and export again."
_SHORTER = "Read it movement by movement."
_CLEFS = {
    ("G", "2"): "treble", ("G", "1"): "treble", ("C", "3"): "alto", ("C", "4"): "tenor", ("F", "4"): "bass",
    ("F", "3"): "bass", ("F", "5"): "bass", ("C", "1"): "treble", ("C", "2"): "alto", ("C", "5"): "bass",
}  # fmt: skip
_MODES = frozenset((
    "major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "ionian", "locrian", "none",
))  # fmt: skip


class PartReader:
    """Takes a part's measures in order and keeps what they say."""

    def __init__(self, part: DraftPart) -> None:
        self.part = part
        self._divisions: Fraction | None = None
        self._key = (0, "major")
        self._time = (4, 4)
        self._time_shown = True
        self._clef = "treble"
        self._notes = NoteReader()
        self._measure_start = ZERO
        self._cursor = ZERO
        self._struck = ZERO
        self._count = -1
        self._reached = ZERO
        self._sounded = ZERO
        self._chord: list[DraftNote] = []
        self._measure: DraftMeasure | None = None
        self._handlers: dict[str, Callable[[Element], None]] = {
            "note": self._note,
            "backup": self._backup,
            "forward": self._forward,
            "attributes": self._attributes,
            "direction": self._direction,
            "sound": self._sound,
            "print": self._print,
            "barline": self._barline,
        }

    def take(self, attributes: dict[str, str], content: Element) -> None:
        """Read one measure. Raises ScoreError that names it and the part."""
        index = len(self.part.measures)
        number = cut(attributes.get("number", ""))[:20] or str(index + 1)
        try:
            if index >= MOST_MEASURES:
                raise ScoreError(f"The part has more than {MOST_MEASURES} bars.", hint=_SHORTER)
            self._begin(number)
            for element in content:
                handler = self._handlers.get(element.tag)
                if handler is not None:
                    handler(element)
            self._end()
        except (ScoreError, PitchError) as error:
            where = f"bar {number} of {self.part.name or 'the part'}"
            raise ScoreError(error.what, hint=error.hint, where=where) from error

    def _begin(self, number: str) -> None:
        self._cursor = self._reached = self._sounded = ZERO
        beats, beat_type = self._time
        self._measure = DraftMeasure(
            number=number, onset=self._measure_start, duration=ZERO, key_fifths=self._key[0],
            mode=self._key[1], beats=beats, beat_type=beat_type,
            metre_shown=self._time_shown, clef=self._clef,
        )  # fmt: skip
        self.part.measures.append(self._measure)

    def _end(self) -> None:
        measure = self._measure
        assert measure is not None
        self._close_chord()
        metre = Fraction(4 * measure.beats, measure.beat_type)
        measure.duration = max(metre, self._sounded) if self._reached > metre else self._reached or metre
        self._measure_start += measure.duration

    @property
    def _onset(self) -> Fraction:
        return self._measure_start + self._cursor

    def _duration(self, element: Element, what: str) -> Fraction:
        child = element.find("duration")
        if child is None:
            raise ScoreError(f"{what} has no length.", hint=_CORRECT)
        if self._divisions is None:
            raise ScoreError(
                f"{what} has a length, but no <divisions> tells how long a quarter note is.",
                hint="Export the score again; the first <measure> of every <part> needs <divisions>.",
            )
        return duration((child.text or "").strip(), self._divisions, what)

    def _move_to(self, cursor: Fraction) -> None:
        self._cursor = max(cursor, ZERO)
        self._reached = max(self._reached, self._cursor)
        if self._reached > LONGEST_DURATION_BEATS:
            raise ScoreError(
                f"The bar is longer than {LONGEST_DURATION_BEATS} quarter notes.",
                hint=_CORRECT,
            )

    def _backup(self, element: Element) -> None:
        self._close_chord()
        self._move_to(self._cursor - self._duration(element, "A backup"))

    def _forward(self, element: Element) -> None:
        self._close_chord()
        self._move_to(self._cursor + self._duration(element, "A forward step"))

    def _note(self, element: Element) -> None:
        self._count += 1
        tags = {child.tag for child in element}
        chord = "chord" in tags
        if not chord:
            self._close_chord()
        length = ZERO if "grace" in tags else self._duration(element, "A note or rest")
        if not chord:
            self._struck = self._onset
        if "pitch" in tags and "cue" not in tags and element.get("print-object") != "no":
            if "grace" not in tags and length == 0:
                raise ScoreError("A note has the length 0.", hint=_CORRECT)
            note = self._notes.read(element, self._struck, length, len(self.part.measures) - 1)
            note.number = self._count
            note.hand, self.part.hand_words = self.part.hand_words, None
            note.grace_chord = note.grace and chord and bool(self._chord)
            self._chord.append(note)
            self._sounded = max(self._sounded, self._struck - self._measure_start + length)
            if len(self.part.notes) + len(self._chord) > MOST_NOTES:
                raise ScoreError(f"The part has more than {MOST_NOTES} notes.", hint=_SHORTER)
        if not chord:
            self._move_to(self._cursor + length)

    def _close_chord(self) -> None:
        if self._chord:
            self.part.notes.extend(join_chord(self._chord, self._notes.take_marks(), self.part))
            self._chord = []

    def _attributes(self, element: Element) -> None:
        for child in element:
            reader = _ATTRIBUTES.get(child.tag)
            if reader is not None:
                reader(self, child)

    def _divisions_are(self, element: Element) -> None:
        value = decimal(text_of(element), "<divisions>")
        if not 0 < value <= MOST_DIVISIONS:
            raise ScoreError(
                f"<divisions> is {text_of(element)[:30]}.", hint=f"It must lie between 1 and {MOST_DIVISIONS}."
            )
        self._divisions = value

    def _key_is(self, element: Element) -> None:
        if element.get("number", "1") != "1" or element.find("fifths") is None:
            return
        mode = text_of(element.find("mode"), "major")
        self._key = (
            whole(text_of(element.find("fifths")), "The key's <fifths>", -11, 11),
            mode if mode in _MODES else "major",
        )
        if self._measure is not None and self._cursor == 0:
            self._measure.key_fifths, self._measure.mode = self._key

    def _time_is(self, element: Element) -> None:
        if element.get("number", "1") != "1" or element.find("beats") is None:
            return
        self._time = _time_of(element)
        self._time_shown = element.get("print-object") != "no"
        if self._measure is not None and self._cursor == 0:
            self._measure.beats, self._measure.beat_type = self._time
            self._measure.metre_shown = self._time_shown

    def _clef_is(self, element: Element) -> None:
        key = (text_of(element.find("sign")), text_of(element.find("line"), ""))
        clef = _CLEFS.get(key if key[1] else (key[0], {"G": "2", "C": "3", "F": "4"}.get(key[0], "")))
        if element.get("number", "1") != "1" or clef is None or self._measure is None:
            return
        self._clef = clef
        if self._reached == 0:
            self._measure.clef = clef
        else:
            self.part.clef_events.append(
                ClefEvent(onset=self._onset, measure_index=len(self.part.measures) - 1, clef=clef)
            )

    def _transpose_is(self, element: Element) -> None:
        octaves = whole(text_of(element.find("octave-change"), "0") or "0", "<octave-change>", -4, 4)
        chromatic = whole(text_of(element.find("chromatic"), "0") or "0", "<chromatic>", -48, 48)
        diatonic_text = text_of(element.find("diatonic"))
        diatonic = whole(diatonic_text, "<diatonic>", -28, 28) if diatonic_text else round(chromatic * 7 / 12)
        self._notes.transpose(diatonic + 7 * octaves, chromatic + 12 * octaves)
        self.part.transposes = True
        if not self.part.notes:
            self.part.octave_shift = octaves + int(chromatic / 12)

    def _staff_details(self, element: Element) -> None:
        tunings = [_tuning(tuning) for tuning in element.findall("staff-tuning")]
        if 4 <= len(tunings) <= 5 and self.part.strings is None:
            self.part.strings = tuple(sorted(tunings, key=lambda pitch: -pitch.midi))

    def _direction(self, element: Element) -> None:
        read_direction(element, self.part, self._onset, self._divisions)

    def _sound(self, element: Element) -> None:
        read_sound(element, self.part, self._onset)

    def _print(self, element: Element) -> None:
        if self._measure is not None and "yes" in (element.get("new-system"), element.get("new-page")):
            self._measure.new_system = True

    def _barline(self, element: Element) -> None:
        if self._measure is None:
            return
        repeat = element.find("repeat")
        direction = repeat.get("direction") if repeat is not None else None
        self._measure.repeat_starts |= direction == "forward"
        self._measure.repeat_ends |= direction == "backward"
        style = text_of(element.find("bar-style"))
        self._measure.final_barline |= style == "light-heavy" and direction is None


def _time_of(element: Element) -> tuple[int, int]:
    total = Fraction(0)
    lowest = 1
    texts = [text_of(child) for child in element if child.tag in ("beats", "beat-type")]
    for beats, beat_type in zip(texts[::2], texts[1::2], strict=False):
        unit = whole(beat_type, "<beat-type>", 1, 128)
        count = sum(whole(beat.strip(), "<beats>", 1, 256) for beat in beats.split("+"))
        total += Fraction(count, unit)
        lowest = max(lowest, unit)
    counted = total * lowest
    if counted == 0 or counted.denominator != 1:
        raise ScoreError("The time signature cannot be read.", hint="Give it as beats over a beat type, like 3/4.")
    return int(counted), lowest


def _tuning(element: Element) -> Pitch:
    step = text_of(element.find("tuning-step"))
    alter = whole(text_of(element.find("tuning-alter"), "0") or "0", "<tuning-alter>", -3, 3)
    return Pitch(step, alter, whole(text_of(element.find("tuning-octave")), "<tuning-octave>", 0, 9))


_ATTRIBUTES: dict[str, Callable[[PartReader, Element], None]] = {
    "divisions": PartReader._divisions_are,
    "key": PartReader._key_is,
    "time": PartReader._time_is,
    "clef": PartReader._clef_is,
    "transpose": PartReader._transpose_is,
    "staff-details": PartReader._staff_details,
}
