"""One voice of an ABC tune, token by token, into a draft.

Conventions: positions are exact quarter notes. An accidental holds to the barline for its letter in every octave (the
standard's default; 'propagate-accidentals octave' or 'not' change it) and on over a tie. Tuplets without a second
number last as the standard's table says.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from truestop.adapters.score.abc_decorations import Pending
from truestop.adapters.score.abc_fields import AbcKey, parse_key, parse_length, parse_metre, parse_tempo, usual_length
from truestop.adapters.score.abc_tokens import NOTE, AbcError, Token, parse_factor, tokens_of
from truestop.adapters.score.bounds import LONGEST_DURATION_BEATS, MOST_MEASURES, MOST_NOTES, MOST_RESTED_MEASURES, cut
from truestop.adapters.score.draft import ZERO, DraftMeasure, DraftNote, DraftPart, StringEvent
from truestop.adapters.score.note_values import value_of
from truestop.domain.errors import PitchError, ScoreError
from truestop.domain.passage import Direction, Tempo
from truestop.domain.pitch import Pitch

_SIGNS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}
_NORMAL = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
"""Notes in the time of which 2, 3, 4, 6 or 8 are played; 5, 7 and 9 go in the time of 3 in compound metres, else 2."""


@dataclass(slots=True, kw_only=True)
class Setting:
    """What the fields have set so far; every voice begins with the header's."""

    key: AbcKey = field(default_factory=AbcKey)
    metre: tuple[int, int] | None = (4, 4)
    unit: Fraction | None = None
    propagate: str = "pitch"

    @property
    def unit_beats(self) -> Fraction:
        """The unit length in quarter notes."""
        return self.unit if self.unit is not None else usual_length(self.metre)


class VoiceReader:
    """Takes the tokens of one voice in order."""

    def __init__(self, part: DraftPart, setting: Setting) -> None:
        self.part = part
        self._set = setting
        self._clef = setting.key.clef or "treble"
        self._start = self._cursor = ZERO
        self._opened: DraftMeasure | None = None
        self._number = 0
        self._signs: dict[tuple[str, int], int] = {}
        self._pending = Pending()
        self._last: list[DraftNote] = []
        self._factor = Fraction(1)
        self._tuplet: tuple[int, int] | None = None
        self._tuplet_left = 0
        self._ties: dict[tuple[str, int], tuple[DraftNote, Token]] = {}
        self._tied_at: dict[tuple[str, int], Fraction] = {}
        self._slurs: list[tuple[int, Token]] = []
        self._slurs_to_start: list[tuple[int, Token]] = []
        self._repeat_starts = False
        self._handlers = {
            "note": self._note, "chord": self._chord, "rest": self._rest, "grace": self._grace, "bar": self._bar,
            "broken": self._broken, "tie": self._tie, "slur": self._slur, "slur end": self._slur_end,
            "tuplet": self._begin_tuplet, "decoration": self._decorate, "sign": self._decorate, "text": self._text,
            "field": self._inline_field,
        }  # fmt: skip

    def take(self, token: Token) -> None:
        """Read one token. Raises AbcError with its column."""
        handler = self._handlers.get(token.kind)
        if handler is None:
            return
        try:
            handler(token)
        except (ScoreError, PitchError) as error:
            raise AbcError(ScoreError(error.what, hint=error.hint), token.column) from error

    def finish(self) -> None:
        """Close the last measure; raises AbcError where a slur never ends."""
        if self._slurs:
            token = self._slurs[-1][1]
            fault = ScoreError("The slur that begins here never ends.", hint="Close it with ).")
            raise AbcError(fault, token.column, token.line)
        if self._cursor > 0:
            self._close_measure()
        for note, _ in self._ties.values():
            note.tied_to_next = False

    def set_field(self, letter: str, text: str) -> None:
        """A ``K:``, ``M:``, ``L:`` or ``Q:`` field inside the tune; others are passed over. Raises ScoreError."""
        if letter == "K":
            self._set.key = parse_key(text)
            self._clef = self._set.key.clef or self._clef
        elif letter == "M":
            self._set.metre = parse_metre(text)
        elif letter == "L":
            self._set.unit = parse_length(text)
        elif letter == "Q":
            self._tempo(text)
        elif letter == "I" and text.split()[:1] == ["propagate-accidentals"]:
            self._set.propagate = text.split()[-1]

    def _tempo(self, text: str) -> None:
        bpm, words = parse_tempo(text, self._set.unit_beats)
        onset = self._start + self._cursor
        if bpm is not None:
            self.part.tempos.append(Tempo(onset=onset, quarter_bpm=bpm))
        if cut(words):
            self.part.directions.append(Direction(onset=onset, text=cut(words), kind="tempo"))

    def _inline_field(self, token: Token) -> None:
        self.set_field(token.text[1], token.text[3:-1].strip())

    def _open_measure(self) -> DraftMeasure:
        if self._opened is not None:
            return self._opened
        if len(self.part.measures) >= MOST_MEASURES:
            raise ScoreError(f"The tune has more than {MOST_MEASURES} bars.", hint="Split it into several tunes.")
        beats, beat_type = self._set.metre or (4, 4)
        self._opened = DraftMeasure(
            number="", onset=self._start, duration=ZERO, key_fifths=self._set.key.fifths, mode=self._set.key.mode,
            beats=beats, beat_type=beat_type, clef=self._clef, repeat_starts=self._repeat_starts,
        )  # fmt: skip
        self._repeat_starts = False
        self.part.measures.append(self._opened)
        return self._opened

    def _close_measure(self) -> None:
        measure = self._open_measure()
        measure.duration = self._cursor
        self._start += self._cursor
        self._cursor = ZERO
        self._signs.clear()
        self._opened = None
        measure.number = self._numbered(measure)

    def _numbered(self, measure: DraftMeasure) -> str:
        """A pickup is 0; the second part of a measure that a repeat cuts in two bears the first one's number and b."""
        before = self.part.measures[-2] if len(self.part.measures) > 1 else None
        metre = Fraction(4 * measure.beats, measure.beat_type)
        if self._set.metre is not None and measure.duration < metre:
            if before is None:
                return "0"
            if before.duration + measure.duration == metre and before.number == str(self._number):
                return f"{self._number}b"
        self._number += 1
        return str(self._number)

    def _bar(self, token: Token) -> None:
        if self._cursor > 0:
            measure = self._open_measure()
            measure.repeat_ends = ":" in token.text.partition("|")[0] or token.text.startswith("::")
            measure.final_barline = token.text.endswith("]") and not measure.repeat_ends
            self._close_measure()
        self._repeat_starts = token.text.endswith(":") and (
            (token.text != ":" and "|" in token.text) or token.text == "::"
        )

    def _advance(self, length: Fraction) -> None:
        self._open_measure()
        self._cursor += length
        if self._cursor > LONGEST_DURATION_BEATS:
            raise ScoreError(
                f"The bar is longer than {LONGEST_DURATION_BEATS} quarter notes.", hint="Write barlines with |."
            )

    def _rest(self, token: Token) -> None:
        top, bottom = parse_factor(token.text[1:])
        if token.text[0] in "ZX":
            metre = Fraction(4 * (self._set.metre or (4, 4))[0], (self._set.metre or (4, 4))[1])
            if top > MOST_RESTED_MEASURES:
                raise ScoreError(f"A rest of {top} bars is too long.", hint=f"Use up to {MOST_RESTED_MEASURES}.")
            for _ in range(top):
                self._advance(metre)
                self._close_measure()
            return
        self._last = []
        self._advance(self._length(Fraction(top, bottom)))

    def _length(self, factor: Fraction) -> Fraction:
        """A length in quarter notes after broken rhythm and tuplet; counts the tuplet's notes."""
        length = factor * self._set.unit_beats * self._factor
        self._factor = Fraction(1)
        if self._tuplet is not None:
            length = length * self._tuplet[1] / self._tuplet[0]
        return length

    def _note(self, token: Token) -> None:
        match = NOTE.fullmatch(token.text)
        assert match is not None
        top, bottom = parse_factor(match["length"])
        note = self._head(token.text[: match.start("length")])
        self._place([note], Fraction(top, bottom), token)

    def _chord(self, token: Token) -> None:
        inside, _, outside = token.text[1:].partition("]")
        top, bottom = parse_factor(outside)
        notes: list[DraftNote] = []
        first: Fraction | None = None
        own = Pending()
        tied: list[DraftNote] = []
        for part in tokens_of(inside, start=token.column + 1):
            if part.kind == "note":
                match = NOTE.fullmatch(part.text)
                assert match is not None
                factor = Fraction(*parse_factor(match["length"]))
                first = factor if first is None else first
                notes.append(self._head(part.text[: match.start("length")]))
                own.give(notes[-1:])
                own = Pending()
            elif part.kind in ("decoration", "sign"):
                own.decorate(part.text)
            elif part.kind == "tie" and notes:
                tied.append(notes[-1])
            elif part.kind not in ("text", "slur", "slur end"):
                raise AbcError(
                    ScoreError(f"'{part.text}' means nothing inside a chord.", hint="Write notes only."), part.column
                )
        if not notes:
            raise ScoreError("The chord is empty.", hint="Write its notes between the brackets, like [DA].")
        self._place(notes, Fraction(top, bottom) * (first or 1), token)
        for note in tied:
            self._tie_from(note, token)

    def _head(self, text: str) -> DraftNote:
        match = NOTE.fullmatch(text)
        assert match is not None
        letter = match["letter"].upper()
        octave = (5 if match["letter"].islower() else 4) + match["octave"].count("'") - match["octave"].count(",")
        alter = self._alteration(letter, octave, match["sign"])
        pitch = Pitch(letter, alter, octave)
        return DraftNote(
            own_id=None, written=pitch, pitch=pitch, onset=self._start + self._cursor, duration=ZERO,
            measure_index=len(self.part.measures) - (self._opened is not None),
        )  # fmt: skip

    def _alteration(self, letter: str, octave: int, sign: str | None) -> int:
        line = (letter, 0 if self._set.propagate == "pitch" else octave)
        if sign:
            if self._set.propagate != "not":
                self._signs[line] = _SIGNS[sign]
            return _SIGNS[sign]
        if line in self._signs:
            return self._signs[line]
        tied = self._ties.get((letter, octave))
        if tied is not None and tied[0].onset + tied[0].duration == self._start + self._cursor:
            return tied[0].pitch.alter
        return self._set.key.alterations[letter]

    def _place(self, notes: list[DraftNote], factor: Fraction, token: Token) -> None:
        if len(self.part.notes) >= MOST_NOTES:
            raise ScoreError(f"The tune has more than {MOST_NOTES} notes.", hint="Split it into several tunes.")
        self._open_measure()
        length = self._length(factor)
        value = value_of(length, self._tuplet)
        for note in notes:
            note.duration, note.tuplet = length, self._tuplet
            note.type, note.dots = value or (None, 0)
            self._end_tie(note)
        self._check_ties(notes)
        self._pending.give(notes)
        self._keep_dynamics(notes[0].onset)
        self._pending = Pending()
        notes[0].slur_starts = tuple(number for number, _ in self._slurs_to_start)
        self._slurs_to_start = []
        self.part.notes.extend(notes)
        self._last = notes
        self._advance(length)
        self._count_tuplet()

    def _keep_dynamics(self, onset: Fraction) -> None:
        for text in self._pending.dynamics:
            self.part.directions.append(Direction(onset=onset, text=text, kind="dynamics", placement="below"))

    def _count_tuplet(self) -> None:
        if self._tuplet is not None:
            self._tuplet_left -= 1
            if self._tuplet_left <= 0:
                self._tuplet = None

    def _grace(self, token: Token) -> None:
        inside = token.text[1:-1]
        slashed = inside.startswith("/")
        found = [
            part
            for part in tokens_of(inside.removeprefix("/"), start=token.column + 1 + slashed)
            if part.kind == "note"
        ]
        own = Pending()
        for part in tokens_of(inside.removeprefix("/"), start=token.column + 1 + slashed):
            if part.kind in ("decoration", "sign"):
                own.decorate(part.text)
            elif part.kind == "note":
                match = NOTE.fullmatch(part.text)
                assert match is not None
                self._open_measure()
                note = self._head(part.text[: match.start("length")])
                note.grace, note.slashed = True, slashed
                note.type = "eighth" if len(found) == 1 else "16th"
                own.give([note])
                own = Pending()
                self.part.notes.append(note)

    def _broken(self, token: Token) -> None:
        if not self._last:
            raise ScoreError("A broken rhythm stands between two notes.", hint="Write it right after a note, like A>B.")
        halved = Fraction(1, 2 ** len(token.text))
        long, short = 2 - halved, halved
        before, after = (long, short) if token.text[0] == ">" else (short, long)
        change = self._last[0].duration * before - self._last[0].duration
        for note in self._last:
            note.duration *= before
            note.type, note.dots = value_of(note.duration, note.tuplet) or (None, 0)
        self._cursor += change
        self._factor = after

    def _tie(self, token: Token) -> None:
        if not self._last:
            raise ScoreError("A tie begins at a note.", hint="Write it right after the note, like A-A.")
        for note in self._last:
            self._tie_from(note, token)

    def _tie_from(self, note: DraftNote, token: Token) -> None:
        note.tied_to_next = True
        self._ties[note.pitch.step, note.pitch.octave] = (note, token)

    def _end_tie(self, note: DraftNote) -> None:
        line = (note.pitch.step, note.pitch.octave)
        tied = self._ties.get(line)
        if tied is not None and tied[0].pitch == note.pitch and tied[0].onset + tied[0].duration == note.onset:
            note.tied_from_before = True
            del self._ties[line]

    def _check_ties(self, notes: list[DraftNote]) -> None:
        for note, token in self._ties.values():
            if note.onset < notes[0].onset:
                fault = ScoreError(
                    "The tie leads to no note of the same pitch.", hint="Use a slur ( ) between two pitches."
                )
                raise AbcError(fault, token.column, token.line)

    def _slur(self, token: Token) -> None:
        taken = {number for number, _ in self._slurs}
        number = next((number for number in range(1, 17) if number not in taken), None)
        if number is None:
            raise ScoreError("More than 16 slurs are open at once.", hint="Close them with ).")
        self._slurs.append((number, token))
        self._slurs_to_start.append((number, token))

    def _slur_end(self, token: Token) -> None:
        if not self._slurs or not self._last:
            raise ScoreError("No slur is open that could end here.", hint="Begin it with ( before its first note.")
        number, _ = self._slurs.pop()
        self._last[0].slur_stops = (*self._last[0].slur_stops, number)

    def _begin_tuplet(self, token: Token) -> None:
        parts = [int(part) if part else 0 for part in token.text[1:].split(":")] + [0, 0]
        actual = parts[0]
        compound = self._set.metre is not None and self._set.metre[1] == 8 and self._set.metre[0] % 3 == 0
        normal = parts[1] or _NORMAL.get(actual, 3 if compound else 2)
        if actual < 2:
            raise ScoreError(f"'{token.text}' is not a tuplet.", hint="Write (3 before three notes.")
        self._tuplet = (actual, normal) if actual != normal else None
        self._tuplet_left = parts[2] or actual

    def _decorate(self, token: Token) -> None:
        self._pending.decorate(token.text)

    def _text(self, token: Token) -> None:
        text = token.text[1:-1]
        if text[:1] not in ("^", "_", "<", ">", "@"):
            return
        words = cut(text[1:])
        if not words or self._pending.finger_text(words):
            return
        onset = self._start + self._cursor
        self.part.directions.append(
            Direction(onset=onset, text=words, placement="below" if text[0] == "_" else "above")
        )
        self.part.string_events.append(StringEvent(onset=onset, kind="words", text=words))
