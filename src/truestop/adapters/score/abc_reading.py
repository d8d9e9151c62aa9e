"""Reading ABC 2.1: one or more tunes in a text file, typed by hand or exported.

Conventions: each tune is a part, named by its number (``X:``) and its title; a tune's further voices (``V:``) are parts
of their own. Errors name line and character. Header fields other than T, C, M, L, Q, K and V say nothing to the
hand and are passed over. Source: the ABC music standard 2.1 (December 2011).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from truestop.adapters.score.abc_fields import (
    parse_clef,
    parse_key,
    parse_length,
    parse_metre,
    parse_tempo,
    refuse_shifted,
)
from truestop.adapters.score.abc_symbols import parse_definition
from truestop.adapters.score.abc_tokens import AbcError, Token, tokens_of
from truestop.adapters.score.abc_voice import Setting, VoiceReader
from truestop.adapters.score.bounds import MOST_PARTS, check_size, cut
from truestop.adapters.score.draft import ZERO, DraftPart
from truestop.adapters.score.families import family_of_names
from truestop.adapters.score.finishing import finish_part
from truestop.adapters.score.notating import make_writable
from truestop.adapters.score.score import PartInfo, Score, choose_part
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Direction, Passage, Tempo

_FIELD = re.compile(r"([A-Za-z]|\+):(.*)")
_TUNE = re.compile(r"^(X|K|M|L|T):", re.MULTILINE)
_NOTE_THEN_BAR = re.compile(r"[A-Ga-gx-zX-Z]:+[|\]:]")
"""Notes and rests before a barline that looks like a field's colon."""
_HEADER_FIELDS = "XTMLK"
_FILE_FIELDS = "XTMLKCQU"
_ACCIDENTALS = ("not", "octave", "pitch")
_NAME = re.compile(r"\b(?:nm|name)\s*=\s*\"([^\"]*)\"")


def looks_like_abc(data: bytes) -> bool:
    """Whether ``data`` begins like an ABC file."""
    start = data[:4096].decode("utf-8", "replace").lstrip("\ufeff")
    return start.startswith("%abc") or _TUNE.search(start) is not None


def read_abc(data: bytes, *, name: str) -> Score:
    """Every tune (and voice) in ``data``. Raises ScoreError with line and character."""
    tunes = _Tunes(name)
    parts = tunes.read(data)
    passages = tuple(_finished(part, None) for part in parts)
    infos = tuple(
        replace(info, note_count=len(passage.notes)) for info, passage in zip(_infos(parts), passages, strict=True)
    )
    return Score(title=passages[0].title, composer=passages[0].composer, parts=infos, passages=passages)


def read_abc_part(data: bytes, *, name: str, part: str | None = None, family: str | None = None) -> Passage:
    """One tune of ``data``: ``part`` is its number, its title or its place. Raises ScoreError."""
    parts = _Tunes(name).read(data)
    infos = _infos(parts)
    chosen = choose_part(infos, wanted=part, family=family, name=name)
    return _finished(parts[infos.index(chosen)], family)


def list_abc_parts(data: bytes, *, name: str) -> tuple[PartInfo, ...]:
    """The tunes of ``data``. Raises ScoreError."""
    return read_abc(data, name=name).parts


def _finished(part: _Part, family: str | None) -> Passage:
    return make_writable(finish_part(part.draft, family=family))


def _infos(parts: list[_Part]) -> tuple[PartInfo, ...]:
    return tuple(
        PartInfo(id=part.id, name=part.name, family=part.draft.family, note_count=len(part.draft.notes))
        for part in parts
    )


@dataclass(slots=True, kw_only=True)
class _Part:
    """One voice of one tune, finished."""

    id: str
    name: str
    draft: DraftPart


@dataclass(slots=True, kw_only=True)
class _Header:
    """A tune's header while it is read."""

    number: str = ""
    title: str = ""
    composer: str = ""
    setting: Setting = field(default_factory=Setting)
    tempo: tuple[float | None, str] = (None, "")
    voices: dict[str, str] = field(default_factory=dict)
    clefs: dict[str, str] = field(default_factory=dict)


class _Tunes:
    """Reads a file line by line."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._line = 0
        self._parts: list[_Part] = []
        self._header: _Header | None = None
        self._defaults = _Header()
        self._begun = False
        """Whether a tune has begun: fields before the first are the file's own and hold for all tunes."""
        self._in_body = False
        self._field_before = ""
        self._block_ends = ""
        self._voices: dict[str, VoiceReader] = {}
        self._voice: VoiceReader | None = None

    def read(self, data: bytes) -> list[_Part]:
        """The parts of ``data`` in order."""
        check_size(len(data), name=self._name)
        for self._line, line in enumerate(_text_of(data).splitlines(), start=1):
            try:
                self._take(line)
            except AbcError as fault:
                raise self._placed(fault) from fault
        try:
            self._end_tune()
        except AbcError as fault:
            raise self._placed(fault) from fault
        if not self._parts:
            raise ScoreError(
                f"{self._name} holds no tune.", hint="A tune begins with X:1 and K: fields, then its notes."
            )
        return self._parts

    def _placed(self, fault: AbcError) -> ScoreError:
        where = f"line {fault.line or self._line}, character {fault.column} of {self._name}"
        return ScoreError(fault.error.what, hint=fault.error.hint, where=where)

    def _take(self, line: str) -> None:
        if self._block_ends:
            self._block_ends = "" if line.startswith(self._block_ends) else self._block_ends
        elif line.startswith("%%begin"):
            self._block_ends = f"%%end{line.split()[0].removeprefix('%%begin')}"
        elif line.startswith(("%%", "I:")):
            self._directive(line.removeprefix("%%").removeprefix("I:"))
        elif line.lstrip().startswith("%"):
            return
        elif not line.strip():
            self._end_tune()
        elif (match := _FIELD.match(line)) is not None and not (self._in_body and _NOTE_THEN_BAR.match(line)):
            self._field(match[1], match[2].partition("%")[0].strip(), match.start(2) + 1)
        elif self._header is None and not self._in_body:
            return
        else:
            self._music(line)

    def _directive(self, text: str) -> None:
        words = text.split()
        if words[:1] == ["propagate-accidentals"] and len(words) > 1 and words[1] in _ACCIDENTALS:
            if self._in_body:
                self._current().set_field("I", text)
            else:
                (self._header or self._defaults).setting.propagate = words[1]

    def _field(self, letter: str, text: str, column: int) -> None:
        if letter == "X":
            self._end_tune()
        if self._header is None:
            if letter not in (_HEADER_FIELDS if self._begun else _FILE_FIELDS):
                return
            self._header = self._new_header()
        self._begun |= letter in "XK"
        goes_on, self._field_before = letter == "+", self._field_before if letter == "+" else letter
        try:
            if self._in_body:
                if self._field_before == "s":
                    self._current().mark_line(text, goes_on=goes_on, column=column)
                else:
                    self._body_field(letter, text)
            else:
                self._header_field(self._header, letter, text)
        except ScoreError as error:
            raise AbcError(error, column) from error

    def _new_header(self) -> _Header:
        given = self._defaults
        setting = replace(given.setting, symbols=dict(given.setting.symbols))
        return _Header(title=given.title, composer=given.composer, tempo=given.tempo, setting=setting)

    def _header_field(self, header: _Header, letter: str, text: str) -> None:
        setting = header.setting
        if letter == "X":
            header.number = cut(text)[:20]
        elif letter == "T":
            header.title = header.title or cut(text)
        elif letter == "C":
            header.composer = header.composer or cut(text)
        elif letter == "M":
            setting.metre = parse_metre(text)
        elif letter == "L":
            setting.unit = parse_length(text)
        elif letter == "Q":
            header.tempo = parse_tempo(text, setting.unit_beats)
        elif letter == "V":
            self._name_voice(header, text)
        elif letter == "U":
            sign, meaning = parse_definition(text)
            setting.symbols[sign] = meaning
        elif letter == "K":
            setting.key = parse_key(text)
            setting.unit = setting.unit_beats
            self._in_body = True

    def _name_voice(self, header: _Header, text: str) -> str:
        refuse_shifted(text)
        voice = text.split()[0] if text.split() else "1"
        named = _NAME.search(text)
        if named or voice not in header.voices:
            header.voices[voice] = cut(named[1]) if named else ""
        clef = parse_clef(_NAME.sub("", text))
        if clef is not None:
            header.clefs[voice] = clef
        return voice

    def _body_field(self, letter: str, text: str) -> None:
        if letter == "V":
            self._switch(text)
        elif letter in "KMLQU":
            self._current().set_field(letter, text)

    def _switch(self, text: str) -> None:
        assert self._header is not None
        voice = self._name_voice(self._header, text)
        if voice not in self._voices:
            if len(self._parts) + len(self._voices) >= MOST_PARTS:
                raise ScoreError(f"There are more than {MOST_PARTS} voices.", hint="Split the file.")
            self._voices[voice] = self._new_voice(self._header, voice)
        elif (clef := parse_clef(_NAME.sub("", text))) is not None:
            self._voices[voice].set_field("K", clef)
        self._voice = self._voices[voice]

    def _new_voice(self, header: _Header, voice: str) -> VoiceReader:
        name = header.voices.get(voice, "")
        draft = DraftPart(
            title=header.title, composer=header.composer, name=name, family=family_of_names([name or voice])
        )
        bpm, words = header.tempo
        if bpm is not None:
            draft.tempos.append(Tempo(onset=ZERO, quarter_bpm=bpm))
        if words:
            draft.directions.append(Direction(onset=ZERO, text=cut(words), kind="tempo"))
        setting = replace(header.setting, symbols=dict(header.setting.symbols))
        return VoiceReader(draft, setting, header.clefs.get(voice))

    def _current(self) -> VoiceReader:
        if self._voice is None:
            assert self._header is not None
            self._switch(next(iter(self._header.voices), "1"))
        assert self._voice is not None
        return self._voice

    def _music(self, line: str) -> None:
        if not self._in_body:
            fault = ScoreError("Notes stand before the key.", hint="End the tune's header with a K: field, like K:G.")
            raise AbcError(fault, 1)
        for token in tokens_of(line, number=self._line):
            if token.kind == "field" and token.text[1] == "V":
                self._switch_inline(token)
            else:
                self._current().take(token)

    def _switch_inline(self, token: Token) -> None:
        try:
            self._switch(token.text[3:-1].strip())
        except ScoreError as error:
            raise AbcError(error, token.column) from error

    def _end_tune(self) -> None:
        header = self._header
        if header is not None and not self._begun:
            self._defaults = header
        for voice, reader in self._voices.items():
            reader.finish()
            assert header is not None
            number = header.number or str(len(self._parts) + 1)
            several = len(self._voices) > 1
            name = f"{header.title}, {header.voices[voice] or voice}" if several else header.title
            self._parts.append(
                _Part(id=self._free(f"{number}.{voice}" if several else number), name=name, draft=reader.part)
            )
        self._header, self._in_body, self._voice = None, False, None
        self._voices = {}
        if len(self._parts) > MOST_PARTS:
            raise ScoreError(f"{self._name} holds more than {MOST_PARTS} tunes.", hint="Split the file.")

    def _free(self, wanted: str) -> str:
        taken = {part.id for part in self._parts}
        return next(name for count in range(len(taken) + 1) if (name := f"{wanted}{'b' * count}") not in taken)


def _text_of(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
