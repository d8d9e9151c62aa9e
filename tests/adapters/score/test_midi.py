"""MIDI: written deterministically, read back by an independent reader (music21), and read as a fallback."""

from __future__ import annotations

import io
import warnings
from fractions import Fraction

import mido
import pytest

from oracles.score_corpus import corpus_bytes
from truestop.adapters.score.midi_reading import read_midi
from truestop.adapters.score.midi_writing import write_midi
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.quantising import Played, quantise
from truestop.adapters.score.reading import list_parts, read_score
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Passage

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21

STUDY = b"X:1\nT:Study\nM:3/4\nL:1/8\nQ:1/4=72\nK:D\nD2|A4 B2|c>d e<f (3gfe|[DA]4 z2|^g2g2f2|G,2-G,2 _B2|{a}f6|]"


@pytest.fixture(scope="module")
def study() -> Passage:
    return read_score(STUDY, name="study.abc", family="violin")


def struck(passage: Passage) -> list[tuple[Fraction, int]]:
    return [(note.onset, note.pitch.midi) for note in passage.notes if not note.grace and not note.tied_from_before]


def test_the_same_passage_gives_the_same_bytes(study: Passage) -> None:
    assert write_midi(study) == write_midi(study)


def test_music21_hears_the_notes_that_were_written(study: Passage) -> None:
    plain = read_score(STUDY.replace(b"{a}", b""), name="study.abc")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream = music21.converter.parseData(write_midi(plain), format="midi")
        theirs = sorted(
            (Fraction(element.getOffsetInHierarchy(stream)).limit_denominator(48), pitch.midi)
            for element in stream.recurse().notes
            if element.tie is None or element.tie.type == "start"
            for pitch in element.pitches
        )
    assert theirs == sorted(struck(plain))


def test_grace_notes_take_time_from_their_note(study: Passage) -> None:
    track = mido.MidiFile(file=io.BytesIO(write_midi(study))).tracks[1]
    ticks, ons = 0, []
    for message in track:
        ticks += message.time
        if message.type == "note_on":
            ons.append((Fraction(ticks, 480), message.note))
    assert ons[-2:] == [(Fraction(16), 81), (Fraction(16) + Fraction(1, 8), 78)]


def test_a_file_that_was_written_reads_again_with_the_same_notes() -> None:
    plain = read_score(STUDY.replace(b"{a}", b""), name="study.abc")
    again = read_score(write_midi(plain), name="study.mid")
    assert again.title == "Study"
    assert again.tempos[0].quarter_bpm == 72
    assert sorted((note.pitch.name, note.type) for note in again.notes if note.tuplet) == [
        ("E5", "eighth"), ("F#5", "eighth"), ("G5", "eighth"),
    ]  # fmt: skip
    assert [midi for _, midi in struck(again)] == [midi for _, midi in struck(plain)]


def test_a_quartet_part_keeps_its_onsets_and_its_instrument() -> None:
    part = read_score(corpus_bytes("haydn/opus1no1/movement2.mxl"), name="x.mxl", part="Cello", measures="1-40")
    data = write_midi(part)
    again = read_score(data, name="x.mid")
    assert again.instrument == "cello"
    assert set(struck(part)) <= set(struck(again))
    assert list_parts(data, "x.mid")[0].name == "Cello"
    assert read_musicxml(write_musicxml(again), name="again").passages[0] == again


def test_a_bass_part_is_written_an_octave_above_its_sound() -> None:
    found = read_score(write_midi(read_score(b'X:1\nK:C\nV:1 nm="Kontrabass"\nV:1\nG,,4', name="x.abc")), name="x.mid")
    note = found.notes[0]
    assert (found.instrument, found.octave_shift) == ("bass", -1)
    assert note.written.midi == note.pitch.midi + 12


def test_uneven_playing_is_put_on_the_grid() -> None:
    """Onsets up to 0.04 of a beat off, lengths nine tenths: eighths, a triplet, sixteenths."""
    times = [Fraction(0), Fraction(1, 2), Fraction(1), Fraction(4, 3), Fraction(5, 3), Fraction(2), Fraction(9, 4),
             Fraction(5, 2), Fraction(11, 4), Fraction(3)]  # fmt: skip
    off = (0.0, 0.03, -0.02, 0.01, -0.01, 0.02, -0.01, 0.01, 0.0, 0.03)
    ends = [*times[1:], Fraction(4)]
    played = [
        Played(onset=float(time) + shift, end=float(time) + 0.9 * float(end - time), midi=60 + place)
        for place, (time, shift, end) in enumerate(zip(times, off, ends, strict=True))
    ]
    placed = quantise(played)
    assert [note.onset for note in placed] == times
    assert [note.end for note in placed] == ends


@pytest.mark.parametrize("parts", [2, 3, 4, 5, 6, 7, 8])
def test_a_beat_divided_evenly_is_that_tuplet(parts: int) -> None:
    """Unevenly by a hundredth of a beat, and bound: each note sounds on into two fifths of the next."""
    times = [1 + Fraction(place, parts) for place in range(parts + 1)]
    played = [
        Played(onset=float(time) + 0.01 * (-1) ** place, end=float(time + Fraction(7, 5 * parts)), midi=60 + place)
        for place, time in enumerate(times)
    ]
    placed = quantise(played)
    assert [note.onset for note in placed] == times
    assert [note.end for note in placed[:-1]] == times[1:]
    assert {note.voice for note in placed} == {1}


def test_music_in_odd_tuplets_survives_midi() -> None:
    text = b"X:1\nM:2/4\nL:1/16\nK:D\n(5:4:5DEFGA (3ABc d2|(7:4:7defgabc' d4|]"
    written = read_score(text, name="x.abc", family="violin")
    again = read_score(write_midi(written), name="x.mid")
    assert struck(again) == struck(written)
    assert [note.tuplet for note in again.notes][:5] == [(5, 4)] * 5


def test_notes_that_overlap_are_two_voices() -> None:
    placed = quantise(
        [Played(onset=0, end=4, midi=55), Played(onset=0, end=1, midi=62), Played(onset=1, end=2, midi=64)]
    )
    assert [(note.midi, note.voice) for note in placed] == [(55, 1), (62, 2), (64, 2)]


@pytest.mark.parametrize(
    "data", [b"MThd", b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x01\xe0MTrk\x00\x00\x00\x04\x00\xff\x2f\x00"]
)
def test_files_without_music_are_refused(data: bytes) -> None:
    with pytest.raises(ScoreError, match=r"not a whole MIDI file|holds no notes"):
        read_midi(data, name="x.mid")
