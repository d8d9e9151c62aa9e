"""One voice of an ABC tune, token by token, into a draft.

Conventions: an accidental holds to the barline for its letter in every octave (the standard's default;
'propagate-accidentals octave' or 'not' change it) and on over a tie. Tuplets without a second number last as the
standard's table says. Marks that stand before a rest or a barline belong to it and are passed over, but fingers,
strings and bows wait for the next note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from truestop.adapters.score.abc_bars import Bars
from truestop.adapters.score.abc_decorations import Pending
from truestop.adapters.score.abc_fields import AbcKey, parse_key, parse_length, parse_metre, parse_tempo, usual_length
from truestop.adapters.score.abc_joins import Slurs, Ties
from truestop.adapters.score.abc_symbols import USUAL, Line, parse_definition
from truestop.adapters.score.abc_tokens import NOTE, AbcError, Token, parse_factor, tokens_of
from truestop.adapters.score.bounds import MOST_NOTES, MOST_RESTED_MEASURES, cut
from truestop.adapters.score.draft import ZERO, DraftNote, DraftPart, StringEvent
from truestop.adapters.score.musicxml_marks import PASSED_OVER
from truestop.adapters.score.note_values import value_of
from truestop.adapters.score.string_words import parse_string_words
from truestop.domain.errors import PitchError, ScoreError
from truestop.domain.passage import Direction, Remark, Tempo
from truestop.domain.pitch import Pitch

_SIGNS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}
_NORMAL = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}
"""Notes in the time of which 2, 3, 4, 6 or 8 are played; 5, 7 and 9 go in the time of 3 in compound metres, else 2."""
_COMPOUND = (6, 9, 12)
_PLACES = "^_<>@"


@dataclass(slots=True, kw_only=True)
class Setting:
    """What the fields have set so far; every voice begins with the header's."""

    key: AbcKey = field(default_factory=AbcKey)
    metre: tuple[int, int] | None = None
    """None is free metre, which the standard assumes where no field gives one."""
    unit: Fraction | None = None
    propagate: str = "pitch"
    symbols: dict[str, str] = field(default_factory=USUAL.copy)
    """What single letters before a note stand for: '!trill!' or '"^text"'."""

    @property
    def unit_beats(self) -> Fraction:
        """The unit length in quarter notes."""
        return self.unit if self.unit is not None else usual_length(self.metre)


class VoiceReader:
    """Takes the tokens of one voice in order."""

    def __init__(self, part: DraftPart, setting: Setting, clef: str | None = None) -> None:
        self.part = part
        self._set = setting
        self._bars = Bars(part, clef or setting.key.clef or "treble")
        self._signs: dict[tuple[str, int], int] = {}
        self._pending = Pending()
        self._graces: Token | None = None
        self._last: list[DraftNote] = []
        self._span: tuple[Fraction, Sequence[DraftNote]] | None = None
        self._factor = Fraction(1)
        self._tuplet: tuple[int, int] | None = None
        self._tuplet_left = 0
        self._told: set[str] = set()
        self._ties, self._slurs, self._line = Ties(), Slurs(), Line()
        self._handlers = {
            "note": self._note, "chord": self._chord, "rest": self._rest, "grace": self._grace, "bar": self._bar,
            "broken": self._broken, "tie": self._tie, "slur": self._slurs.begin, "slur end": self._slur_end,
            "tuplet": self._begin_tuplet, "decoration": self._sign, "sign": self._sign, "text": self._text,
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
        """Close the last bar; raises AbcError where a slur never ends or grace notes stand before nothing."""
        self._slurs.finish()
        if self._pending.waits:
            self._remark(self._bars.onset, f"a mark at the end of the music stands before no note; {PASSED_OVER}.")
        if self._bars.begun:
            self._bars.close()
        elif self._graces is not None:
            fault = ScoreError("These grace notes stand before no note.", hint="Write the note that they lead to.")
            raise AbcError(fault, self._graces.column, self._graces.line)
        self._ties.finish()

    def set_field(self, letter: str, text: str) -> None:
        """A ``K:``, ``M:``, ``L:``, ``Q:``, ``U:`` or ``I:`` field in the tune; others are passed over. ScoreError."""
        if letter == "K":
            key = parse_key(text)
            self._set.key = key if key.given else self._set.key
            if key.clef is not None:
                self._bars.change_clef(key.clef)
        elif letter == "M":
            self._set.metre = parse_metre(text)
        elif letter == "L":
            self._set.unit = parse_length(text)
        elif letter == "Q":
            self._tempo(text)
        elif letter == "U":
            sign, meaning = parse_definition(text)
            self._set.symbols[sign] = meaning
        elif letter == "I" and text.split()[:1] == ["propagate-accidentals"]:
            self._set.propagate = text.split()[-1]

    def mark_line(self, text: str, *, goes_on: bool, column: int) -> None:
        """A symbol line (``s:``): its marks go to the notes read before. Raises AbcError."""
        for notes, mark in self._line.place(text, goes_on=goes_on, column=column):
            own = Pending()
            try:
                self._mark(mark, own, notes[0].onset)
            except ScoreError as error:
                raise AbcError(error, column) from error
            self._give(own, notes)

    def _tempo(self, text: str) -> None:
        bpm, words = parse_tempo(text, self._set.unit_beats)
        onset = self._bars.onset
        if bpm is not None:
            self.part.tempos = [tempo for tempo in self.part.tempos if tempo.onset != onset]
            self.part.tempos.append(Tempo(onset=onset, quarter_bpm=bpm))
        if cut(words):
            self.part.directions.append(Direction(onset=onset, text=cut(words), kind="tempo"))

    def _inline_field(self, token: Token) -> None:
        self.set_field(token.text[1], token.text[3:-1].strip())

    def _bar(self, token: Token) -> None:
        self._pending.names = []
        self._span = None
        if self._bars.line(token.text):
            self._graces = None
            self._signs.clear()
            self._line.add(None)

    def _rest(self, token: Token) -> None:
        top, bottom = parse_factor(token.text[1:])
        self._pending.names = []
        if token.text[0] in "ZX":
            self._rest_bars(top)
            return
        self._bars.open(self._set.key, self._set.metre)
        self._keep(self._pending, self._bars.onset)
        length = self._length(Fraction(top, bottom))
        self._bars.advance(length, sounds=False)
        self._span, self._graces = (length, ()), None
        self._count_tuplet()

    def _rest_bars(self, count: int) -> None:
        beats, beat_type = self._set.metre or (4, 4)
        if self._bars.begun:
            raise ScoreError("A rest of whole bars begins inside a bar.", hint="Write z with a length, or | before Z.")
        if count > MOST_RESTED_MEASURES:
            raise ScoreError(f"A rest of {count} bars is too long.", hint=f"Use up to {MOST_RESTED_MEASURES}.")
        for _ in range(count):
            self._bars.open(self._set.key, self._set.metre)
            self._bars.advance(Fraction(4 * beats, beat_type), sounds=False)
            self._bars.close()
            self._line.add(None)
        self._signs.clear()
        self._span, self._graces = None, None

    def _length(self, factor: Fraction) -> Fraction:
        """A length in quarter notes after broken rhythm and tuplet."""
        length = factor * self._set.unit_beats * self._factor
        self._factor = Fraction(1)
        return length * self._tuplet[1] / self._tuplet[0] if self._tuplet is not None else length

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
                self._give(own, notes[-1:])
                own = Pending()
            elif part.kind in ("decoration", "sign"):
                self._mark(self._meaning(part), own, self._bars.onset)
            elif part.kind == "tie" and notes:
                tied.append(notes[-1])
            elif part.kind == "text":
                if not own.finger_text(part.text[1:-1].lstrip(_PLACES)):
                    self._annotate(part.text[1:-1], own, self._bars.onset)
            elif part.kind not in ("slur", "slur end"):
                raise AbcError(
                    ScoreError(f"'{part.text}' means nothing inside a chord.", hint="Write notes only."), part.column
                )
        if not notes:
            raise ScoreError("The chord is empty.", hint="Write its notes between the brackets, like [DA].")
        self._place(notes, Fraction(top, bottom) * (first or 1), token)
        self._ties.begin(tied, token)

    def _head(self, text: str) -> DraftNote:
        match = NOTE.fullmatch(text)
        assert match is not None
        letter = match["letter"].upper()
        octave = (5 if match["letter"].islower() else 4) + match["octave"].count("'") - match["octave"].count(",")
        alter = self._alteration(letter, octave, match["sign"])
        pitch = Pitch(letter, alter, octave)
        return DraftNote(
            own_id=None, written=pitch, pitch=pitch, onset=self._bars.onset, duration=ZERO,
            measure_index=self._bars.index,
        )  # fmt: skip

    def _alteration(self, letter: str, octave: int, sign: str | None) -> int:
        line = (letter, 0 if self._set.propagate == "pitch" else octave)
        if sign:
            if self._set.propagate != "not":
                self._signs[line] = _SIGNS[sign]
            return _SIGNS[sign]
        if line in self._signs:
            return self._signs[line]
        tied = self._ties.alteration(letter, octave, self._bars.onset)
        return self._set.key.alterations[letter] if tied is None else tied

    def _place(self, notes: list[DraftNote], factor: Fraction, token: Token) -> None:
        if len(self.part.notes) >= MOST_NOTES:
            raise ScoreError(f"The tune has more than {MOST_NOTES} notes.", hint="Split it into several tunes.")
        self._bars.open(self._set.key, self._set.metre)
        length = self._length(factor)
        value = value_of(length, self._tuplet)
        for note in notes:
            note.duration, note.tuplet = length, self._tuplet
            note.type, note.dots = value or (None, 0)
        self._ties.arrive(notes)
        self._give(self._pending, notes)
        self._pending = Pending()
        self._slurs.arrive(notes[0])
        self.part.notes.extend(notes)
        self._line.add(notes)
        self._last, self._span, self._graces = notes, (length, notes), None
        self._bars.advance(length, sounds=True)
        self._count_tuplet()

    def _give(self, pending: Pending, notes: list[DraftNote]) -> None:
        pending.give(notes)
        self._keep(pending, notes[0].onset)

    def _keep(self, pending: Pending, onset: Fraction) -> None:
        """What is no note's own: dynamics, and what was passed over, each sentence once."""
        for text in pending.dynamics:
            self.part.directions.append(Direction(onset=onset, text=text, kind="dynamics", placement="below"))
        for text in pending.remarks:
            if text not in self._told:
                self._told.add(text)
                self._remark(onset, text)
        pending.dynamics, pending.remarks = [], []

    def _remark(self, onset: Fraction, text: str) -> None:
        self.part.remarks.append(Remark(onset=onset, text=text))

    def _count_tuplet(self) -> None:
        self._tuplet_left = max(0, self._tuplet_left - 1)
        if self._tuplet_left == 0:
            self._tuplet = None

    def _grace(self, token: Token) -> None:
        inside = token.text[1:-1]
        slashed = inside.startswith("/")
        parts = list(tokens_of(inside.removeprefix("/"), start=token.column + 1 + slashed))
        columns = sum(part.kind in ("note", "chord") for part in parts)
        own = Pending()
        for part in parts:
            if part.kind in ("decoration", "sign"):
                self._mark(self._meaning(part), own, self._bars.onset)
            elif part.kind in ("note", "chord"):
                heads = tokens_of(part.text[1:].partition("]")[0]) if part.kind == "chord" else [part]
                notes = [self._grace_note(head.text, slashed, columns) for head in heads if head.kind == "note"]
                for note in notes[1:]:
                    note.grace_chord = True
                if notes:
                    self._give(own, notes)
                    own, self._graces = Pending(), token
                self.part.notes.extend(notes)

    def _grace_note(self, text: str, slashed: bool, columns: int) -> DraftNote:
        match = NOTE.fullmatch(text)
        assert match is not None
        self._bars.open(self._set.key, self._set.metre)
        note = self._head(text[: match.start("length")])
        note.grace, note.slashed = True, slashed
        note.type = "eighth" if columns == 1 else "16th"
        return note

    def _broken(self, token: Token) -> None:
        if self._span is None or self._factor != 1:
            raise ScoreError("A broken rhythm stands between two notes.", hint="Write it right after a note, like A>B.")
        length, notes = self._span
        halved = Fraction(1, 2 ** len(token.text))
        long, short = 2 - halved, halved
        before, after = (long, short) if token.text[0] == ">" else (short, long)
        for note in notes:
            note.duration *= before
            note.type, note.dots = value_of(note.duration, note.tuplet) or (None, 0)
        for grace in reversed(self.part.notes):
            if not grace.grace or grace.onset != self._bars.onset:
                break
            grace.onset += length * before - length
        self._bars.advance(length * before - length, sounds=bool(notes))
        self._factor, self._span = after, None

    def _tie(self, token: Token) -> None:
        if not self._last or self._last[0].onset + self._last[0].duration != self._bars.onset:
            raise ScoreError("A tie begins at a note.", hint="Write it right after the note, like A-A.")
        self._ties.begin(self._last, token)

    def _slur_end(self, token: Token) -> None:
        self._slurs.end(self._last[0] if self._last else None)

    def _begin_tuplet(self, token: Token) -> None:
        parts = [int(part) if part else 0 for part in token.text[1:].split(":")] + [0, 0]
        actual = parts[0]
        compound = self._set.metre is not None and self._set.metre[0] in _COMPOUND
        normal = parts[1] or _NORMAL.get(actual, 3 if compound else 2)
        if actual < 2 or max(actual, normal) > 64:
            raise ScoreError(f"'{token.text}' is not a tuplet.", hint="Write (3 before three notes.")
        if self._tuplet_left > 0:
            raise ScoreError("A tuplet begins inside another.", hint="Write out the inner one with lengths of its own.")
        self._tuplet = (actual, normal) if actual != normal else None
        self._tuplet_left = parts[2] or actual

    def _sign(self, token: Token) -> None:
        self._mark(self._meaning(token), self._pending, self._bars.onset)

    def _meaning(self, token: Token) -> str:
        """What a sign stands for; a decoration stands for itself."""
        if token.kind == "decoration":
            return token.text
        return self._set.symbols.get(token.text, token.text)

    def _mark(self, mark: str, pending: Pending, onset: Fraction) -> None:
        """A decoration, an annotation, or a letter that stands for one."""
        mark = self._set.symbols.get(mark, mark)
        if mark[0] == '"':
            self._annotate(mark[1:-1], pending, onset)
        elif len(mark) > 1:
            pending.decorate(mark)
        else:
            hint = f"Notes are written A to G and a to g; U:{mark}=!thumb! would give {mark} a meaning."
            raise ScoreError(f"'{mark}' means nothing here.", hint=hint)

    def _text(self, token: Token) -> None:
        self._annotate(token.text[1:-1], self._pending, self._bars.onset)

    def _annotate(self, text: str, pending: Pending, onset: Fraction) -> None:
        """An annotation; words without a sign of their place are chord symbols, unless they name a finger or string."""
        placed = text[:1] in _PLACES and bool(text)
        words = cut(text[1:] if placed else text)
        if not words or (not placed and words[:1].upper() in "ABCDEFGN"):
            return
        word = parse_string_words(words)
        if word is not None and word.bare:
            pending.string = word.number
        elif pending.finger_text(words) or not (placed or word):
            return
        self.part.directions.append(
            Direction(onset=onset, text=words, placement="below" if text[0] == "_" else "above")
        )
        self.part.string_events.append(StringEvent(onset=onset, kind="words", text=words))
