"""Reading Standard MIDI files: the fallback where no notation exists.

Conventions: each channel of each track that plays is a part. Pitches are spelled by the key signature (C major where
there is none), lengths by ``quantising``. A double bass part sounds as in the file and is written an octave higher.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TypeVar

import mido

from truestop.adapters.score.bounds import (
    HIGHEST_BPM,
    LONGEST_PIECE_BEATS,
    LOWEST_BPM,
    MOST_MEASURES,
    MOST_NOTES,
    MOST_PARTS,
    check_size,
    cut,
)
from truestop.adapters.score.draft import ZERO, DraftMeasure, DraftNote, DraftPart
from truestop.adapters.score.families import family_of_names, family_of_program
from truestop.adapters.score.finishing import finish_part
from truestop.adapters.score.notating import make_writable
from truestop.adapters.score.quantising import Placed, Played, quantise
from truestop.adapters.score.score import PartInfo, Score, choose_part
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Passage, Tempo
from truestop.domain.pitch import Interval, spell

LONGEST_NOTE_BEATS = 64
"""A note that lasts longer has lost its end; it is cut here."""
_DRUMS = 9
_ENDED = -1.0
"""Stands for the onset of a note that was struck again before its end came."""
_BROKEN = (EOFError, OSError, ValueError, KeyError, IndexError, TypeError, ArithmeticError, mido.KeySignatureError)
_MOST_MESSAGES = 4 * MOST_NOTES
_USUAL_CLEF = {"violin": "treble", "viola": "alto", "cello": "bass", "bass": "bass"}
_SHARPS = {
    "Cb": -7, "Gb": -6, "Db": -5, "Ab": -4, "Eb": -3, "Bb": -2, "F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5,
    "F#": 6, "C#": 7, "Abm": -7, "Ebm": -6, "Bbm": -5, "Fm": -4, "Cm": -3, "Gm": -2, "Dm": -1, "Am": 0, "Em": 1,
    "Bm": 2, "F#m": 3, "C#m": 4, "G#m": 5, "D#m": 6, "A#m": 7,
}  # fmt: skip


def read_midi(data: bytes, *, name: str) -> Score:
    """Every part of the MIDI file in ``data``. Raises ScoreError."""
    song = _read_song(data, name)
    infos = _infos(song)
    passages = tuple(_passage(song, track) for track in song.tracks)
    return Score(title=song.title, composer="", parts=infos, passages=passages)


def read_midi_part(data: bytes, *, name: str, part: str | None = None, family: str | None = None) -> Passage:
    """One part of the file: ``part`` is its track's name or its place. Raises ScoreError."""
    song = _read_song(data, name)
    infos = _infos(song)
    chosen = choose_part(infos, wanted=part, family=family, name=name)
    return _passage(song, song.tracks[infos.index(chosen)])


def list_midi_parts(data: bytes, *, name: str) -> tuple[PartInfo, ...]:
    """The parts of the file. Raises ScoreError."""
    return _infos(_read_song(data, name))


@dataclass(slots=True)
class _Track:
    """One channel of one track: note-ons and -offs in quarter notes."""

    name: str = ""
    program: int | None = None
    played: list[Played] = field(default_factory=list)


@dataclass(slots=True)
class _Song:
    """What a file says: its playing tracks and the signatures that hold for all."""

    title: str = ""
    tracks: list[_Track] = field(default_factory=list)
    tempos: dict[Fraction, float] = field(default_factory=dict)
    metres: dict[Fraction, tuple[int, int]] = field(default_factory=dict)
    keys: dict[Fraction, tuple[int, str]] = field(default_factory=dict)


def _read_song(data: bytes, name: str) -> _Song:
    check_size(len(data), name=name)
    try:
        file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except _BROKEN as error:
        raise ScoreError(
            f"{name} is not a whole MIDI file.", hint="Export it again, better as MusicXML: that keeps fingerings."
        ) from error
    if file.ticks_per_beat <= 0 or file.ticks_per_beat >= 0x8000:
        raise ScoreError(f"{name} counts frames instead of beats.", hint="Export it with a metre, or as MusicXML.")
    song = _Song()
    for track in file.tracks[:MOST_PARTS]:
        _read_track(track, file.ticks_per_beat, song, name)
    if not song.tracks:
        raise ScoreError(f"{name} holds no notes.", hint="Give a MIDI file with at least one playing track.")
    return song


def _read_track(track: mido.MidiTrack, ticks_per_beat: int, song: _Song, name: str) -> None:
    if len(track) > _MOST_MESSAGES:
        raise ScoreError(f"{name} has a track with {len(track)} events.", hint="Split the file.")
    ticks = 0
    track_name = ""
    channels: dict[int, _Track] = {}
    sounding: dict[tuple[int, int], list[float]] = defaultdict(list)
    for message in track:
        ticks += message.time
        beats = Fraction(ticks, ticks_per_beat)
        if message.is_meta:
            track_name = _meta(message, beats, song) or track_name
        elif message.type == "program_change":
            channels.setdefault(message.channel, _Track()).program = message.program + 1
        elif message.type in ("note_on", "note_off") and message.channel != _DRUMS:
            _note(message, float(beats), channels.setdefault(message.channel, _Track()), sounding)
    playing = [channel for channel in channels.values() if channel.played]
    for channel in playing:
        channel.name = track_name
    song.tracks.extend(playing)
    if track_name and not playing and not song.title:
        song.title = track_name


def _meta(message: mido.MetaMessage, beats: Fraction, song: _Song) -> str:
    if message.type == "set_tempo" and message.tempo > 0:
        bpm = 60e6 / message.tempo
        if LOWEST_BPM <= bpm <= HIGHEST_BPM:
            song.tempos[beats] = bpm
    elif message.type == "time_signature":
        if 1 <= message.numerator <= 64 and message.denominator in (1, 2, 4, 8, 16, 32, 64):
            song.metres[beats] = (message.numerator, message.denominator)
    elif message.type == "key_signature" and message.key in _SHARPS:
        song.keys[beats] = (_SHARPS[message.key], "minor" if message.key.endswith("m") else "major")
    return cut("".join(sign for sign in message.name if sign.isprintable())) if message.type == "track_name" else ""


def _note(message: mido.Message, beats: float, track: _Track, sounding: dict[tuple[int, int], list[float]]) -> None:
    """A note struck again while it sounds ends there; the end that was meant for it is passed over."""
    waiting = sounding[message.channel, message.note]
    if message.type == "note_on" and message.velocity > 0:
        if waiting and waiting[-1] != _ENDED:
            _end(track, waiting[-1], beats, message.note)
            waiting[-1] = _ENDED
        waiting.append(beats)
    elif waiting:
        onset = waiting.pop(0)
        if onset != _ENDED:
            _end(track, onset, beats, message.note)


def _end(track: _Track, onset: float, beats: float, midi: int) -> None:
    if beats > onset:
        track.played.append(Played(onset=onset, end=min(beats, onset + LONGEST_NOTE_BEATS), midi=midi))


def _infos(song: _Song) -> tuple[PartInfo, ...]:
    return tuple(
        PartInfo(id=f"track {place}", name=track.name, family=_family(track), note_count=len(track.played))
        for place, track in enumerate(song.tracks, start=1)
    )


def _family(track: _Track) -> str | None:
    return family_of_names([track.name]) or (family_of_program(track.program) if track.program else None)


def _passage(song: _Song, track: _Track) -> Passage:
    family = _family(track)
    part = DraftPart(title=song.title, name=track.name, family=family, transposes=True)
    part.octave_shift = -1 if family == "bass" else 0
    part.tempos = [Tempo(onset=onset, quarter_bpm=round(bpm, 3)) for onset, bpm in sorted(song.tempos.items())]
    placed = quantise(track.played[:MOST_NOTES])
    clef = _USUAL_CLEF.get(family or "", "treble" if sum(n.midi for n in placed) >= 57 * len(placed) else "bass")
    part.measures = _measures(song, max(note.end for note in placed), clef)
    onsets = [measure.onset for measure in part.measures]
    part.notes = [_draft_note(note, part, bisect_right(onsets, note.onset) - 1) for note in placed]
    return make_writable(finish_part(part))


def _draft_note(note: Placed, part: DraftPart, index: int) -> DraftNote:
    pitch = spell(note.midi, key_fifths=part.measures[index].key_fifths)
    written = pitch.transposed(Interval(7, 12)) if part.octave_shift == -1 else pitch
    return DraftNote(
        own_id=None, written=written, pitch=pitch, onset=note.onset, duration=note.end - note.onset,
        measure_index=index, voice=str(note.voice),
    )  # fmt: skip


def _measures(song: _Song, end: Fraction, clef: str) -> list[DraftMeasure]:
    if end > LONGEST_PIECE_BEATS:
        hint = "Remove the silence, or export it again."
        raise ScoreError(f"The file lasts {float(end):.0f} quarter notes, more than a piece does.", hint=hint)
    measures: list[DraftMeasure] = []
    onset = ZERO
    while onset < end or not measures:
        if len(measures) >= MOST_MEASURES:
            raise ScoreError(f"The file has more than {MOST_MEASURES} bars.", hint="Split it.")
        beats, beat_type = _in_force(song.metres, onset, (4, 4))
        fifths, mode = _in_force(song.keys, onset, (0, "major"))
        measures.append(
            DraftMeasure(
                number=str(len(measures) + 1), onset=onset, duration=Fraction(4 * beats, beat_type), key_fifths=fifths,
                mode=mode, beats=beats, beat_type=beat_type, clef=clef,
            )
        )  # fmt: skip
        onset += measures[-1].duration
    return measures


_T = TypeVar("_T")


def _in_force(changes: dict[Fraction, _T], onset: Fraction, default: _T) -> _T:
    found = [at for at in changes if at <= onset]
    return changes[max(found)] if found else default
