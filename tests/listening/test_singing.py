"""A sung note in any octave, against synthetic voices of known pitch and against Praat."""

import numpy as np
import parselmouth
import pytest

from truestop.listening.holding import HeldNotes
from truestop.listening.singing import check_singing, sung_cents
from truestop.sounding.bowed import sound_string

RATE_HZ = 44100


def voice(hz, seconds=1.2, *, vibrato=0.0, scoop=0.0, formants=(600.0, 1100.0, 2600.0), seed=1, rate_hz=RATE_HZ):
    """A glottal pulse train through three formants, with breath: a plain source-filter voice."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    cents = vibrato * np.sin(2 * np.pi * 5.5 * t) - scoop * np.exp(-t / 0.05)
    phase = 2 * np.pi * np.cumsum(hz * 2 ** (cents / 1200)) / rate_hz
    tone = np.zeros(len(t))
    for k in range(1, int(min(5000.0, 0.45 * rate_hz) / hz) + 1):
        gain = sum(1.0 / (1.0 + ((k * hz - formant) / 90.0) ** 2) for formant in formants) + 0.05
        tone += gain / k * np.cos(k * phase + k)
    fade = np.minimum(np.minimum(t, t[::-1]) / 0.05, 1.0)
    tone *= 0.2 * fade / np.abs(tone).max()
    return tone + 0.002 * rng.standard_normal(len(t))


@pytest.mark.parametrize("octave", [-3, -2, -1, 0])
@pytest.mark.parametrize("off", [-62.0, -31.0, 0.0, 44.0, 70.0])
def test_any_octave_and_both_sides(octave, off):
    note = check_singing(voice(880.0 * 2 ** (octave + off / 1200)), RATE_HZ, 880.0)
    assert note.cents == pytest.approx(off, abs=4.0)
    assert note.octaves == octave
    assert note.word == ("true" if abs(off) <= 50 else "high" if off > 0 else "low")


@pytest.mark.parametrize("hz", [95.0, 180.0, 330.0, 620.0])
def test_the_same_pitch_as_praat(hz):
    samples = voice(hz, vibrato=25.0)
    track = parselmouth.Sound(samples, RATE_HZ).to_pitch_ac(pitch_floor=60.0, pitch_ceiling=1000.0)
    heard = track.selected_array["frequency"]
    by_praat = float(np.median(heard[heard > 0]))
    assert 1200 * np.log2(check_singing(samples, RATE_HZ, 440.0).hz / by_praat) == pytest.approx(0.0, abs=6.0)


def test_vibrato_averages_out_and_a_scoop_does_not_count():
    assert check_singing(voice(220.0, vibrato=60.0), RATE_HZ, 440.0).cents == pytest.approx(0.0, abs=8.0)
    assert check_singing(voice(220.0, scoop=200.0), RATE_HZ, 440.0).cents == pytest.approx(0.0, abs=8.0)


def test_the_longest_note_counts():
    samples = np.concatenate([voice(262.0, 0.4), np.zeros(RATE_HZ // 5), voice(330.0, 1.0)])
    note = check_singing(samples, RATE_HZ, 660.0)
    assert note.word == "true"
    assert note.start_s == pytest.approx(0.6, abs=0.06)


@pytest.mark.parametrize("rate_hz", [8000, 16000, 48000, 96000])
def test_every_sample_rate(rate_hz):
    assert check_singing(voice(247.0, rate_hz=rate_hz), rate_hz, 494.0).cents == pytest.approx(0.0, abs=4.0)


@pytest.mark.parametrize(
    "samples",
    [np.zeros(RATE_HZ), np.zeros(0), np.full(RATE_HZ, np.nan), 0.1 * np.random.default_rng(1).standard_normal(RATE_HZ),
     voice(220.0, 0.15), np.full(RATE_HZ, np.inf)],
)  # fmt: skip
def test_no_voice_is_said_with_a_reason(samples):
    note = check_singing(samples, RATE_HZ, 440.0)
    assert note.word == "unheard"
    assert note.reason
    assert note.cents is None


def test_octaves_are_taken_out():
    assert sung_cents(110.0 * 2 ** (30 / 1200), 440.0) == pytest.approx(30.0)
    assert sung_cents(880.0 * 2 ** (-20 / 1200), 440.0) == pytest.approx(-20.0)


def held(samples, *, low_hz=60.0, high_hz=1400.0, hold_s=0.5, block=None, **more):
    notes = HeldNotes(RATE_HZ, low_hz, high_hz, hold_s, **more)
    step = block or len(samples)
    found = [note for a in range(0, len(samples), step) for note in notes.feed(samples[a : a + step])]
    return [*found, *notes.finish()]


@pytest.mark.parametrize("hz", [75.0, 98.0, 147.0, 220.0, 659.0, 1047.0])
@pytest.mark.parametrize("vibrato", [0.0, 50.0])
def test_a_voice_of_any_height_is_told_once_while_it_is_held(hz, vibrato):
    (note,) = held(voice(hz, vibrato=vibrato))
    assert 1200 * np.log2(note.hz / hz) == pytest.approx(0.0, abs=4.0)
    assert 0.5 <= note.held_s < 0.6


def test_blocks_of_any_size_find_the_same_notes():
    samples = np.concatenate([voice(147.0, 0.9), np.zeros(9000), voice(165.0, 0.9)]).astype(np.float32)
    whole = held(samples)
    assert [round(note.hz) for note in whole] == [147, 165]
    for block in (1000, 1024):
        assert held(samples, block=block) == whole


def test_whole_notes_are_told_by_all_their_length():
    samples = np.concatenate([voice(147.0, 0.9), np.zeros(9000), voice(165.0, 0.2), np.zeros(9000), voice(131.0, 0.7)])
    assert [note.held_s for note in held(samples, whole=True)] == pytest.approx([0.82, 0.62], abs=0.08)


@pytest.mark.parametrize("hz", [30.87, 41.2, 97.999, 659.255, 2349.3])
def test_bowed_notes_are_held_as_well(hz):
    tone = sound_string(np.full(RATE_HZ, hz), sample_rate_hz=RATE_HZ, family="bass" if hz < 60 else "violin",
                        rng=np.random.default_rng(2))  # fmt: skip
    (note,) = held(tone, low_hz=hz * 0.7, high_hz=hz * 1.45)
    assert 1200 * np.log2(note.hz / hz) == pytest.approx(0.0, abs=2.0)
