"""MIDI as played, not as written: uneven, bound, in any format; what comes out can be written and read again."""

from __future__ import annotations

import io
from fractions import Fraction

import mido
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from examples import examples
from truestop.adapters.score.midi_reading import read_midi
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml

TICKS = 480
Played = tuple[int, int, int]
"""Onset and length in ticks, and the note's number."""


def midi_file(parts: list[list[Played]], *, kind: int = 1, metre: tuple[int, int] = (4, 4)) -> bytes:
    """The parts, each on its channel: on a track of its own, or (format 0) all on one."""
    file = mido.MidiFile(type=kind, ticks_per_beat=TICKS)
    first = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1])])
    file.tracks.append(first)
    events = [
        (tick, mido.Message(name, channel=channel, note=note, velocity=80 if name == "note_on" else 0), channel)
        for channel, part in enumerate(parts)
        for onset, length, note in part
        for tick, name in ((onset, "note_on"), (onset + length, "note_off"))
    ]
    events += [(0, mido.Message("control_change", channel=0, control=64, value=127), 0)]
    for channels in [range(16)] if kind == 0 else [[channel] for channel in range(len(parts))]:
        track = first if kind == 0 else mido.MidiTrack()
        at = 0
        chosen = [(tick, message) for tick, message, channel in events if channel in channels]
        for tick, message in sorted(chosen, key=lambda event: (event[0], event[1].type == "note_on")):
            track.append(message.copy(time=tick - at))
            at = tick
        if kind:
            file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@pytest.mark.parametrize("kind", [0, 1])
def test_both_formats_give_a_part_for_every_channel(kind: int) -> None:
    parts = [[(0, 480, 74), (480, 480, 76)], [(0, 960, 50)]]
    found = read_midi(midi_file(parts, kind=kind), name="x.mid").passages
    assert [[note.pitch.midi for note in passage.notes] for passage in found] == [[74, 76], [50]]
    assert found[0].notes[1].onset == 1


def test_a_melody_played_legato_is_one_voice_and_a_held_note_a_second() -> None:
    line = [(place * 240, 340, 60 + place) for place in range(8)]
    assert {note.voice for note in read_midi(midi_file([line]), name="x.mid").passages[0].notes} == {"1"}
    held = [(0, 1900, 48), *line]
    found = read_midi(midi_file([held]), name="x.mid").passages[0]
    assert {note.voice for note in found.notes if note.pitch.midi == 48} != {
        note.voice for note in found.notes if note.pitch.midi > 48
    }
    assert sum(note.duration for note in found.notes if note.pitch.midi == 48) == 4


@st.composite
def performances(draw: st.DrawFn) -> list[Played]:
    """A line of up to twenty notes, now and then two at once, each up to 20 ms early or late at 125 beats a minute."""
    at, played = 0, []
    for _ in range(draw(st.integers(1, 20))):
        length = draw(st.sampled_from((60, 96, 120, 160, 240, 360, 480, 720, 960)))
        share = draw(st.sampled_from((0.4, 0.85, 1.0, 1.2, 2.5)))
        onset = max(0, at + draw(st.integers(-20, 20)))
        struck = draw(st.lists(st.integers(55, 90), min_size=1, max_size=2, unique=True))
        played += [(onset, max(10, round(share * length)), note) for note in struck]
        at += length * draw(st.sampled_from((1, 1, 1, 2)))
    return played


@examples(60)
@example([(0, 400, 55), (160, 400, 55), (320, 400, 55)], (4, 4))
@given(performances(), st.sampled_from(((4, 4), (3, 4), (6, 8), (2, 4))))
def test_what_is_read_can_be_written_and_read_again(played: list[Played], metre: tuple[int, int]) -> None:
    passage = read_midi(midi_file([played], metre=metre), name="x.mid").passages[0]
    assert {note.pitch.midi for note in passage.notes} == {note for _, _, note in played}
    assert all(note.duration > 0 for note in passage.notes)
    assert all(note.onset * 840 % 1 == Fraction(0) for note in passage.notes)
    assert read_musicxml(write_musicxml(passage), name="x").passages[0] == passage
