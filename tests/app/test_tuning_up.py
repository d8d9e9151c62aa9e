"""Tuning up and singing as use cases and as commands."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from truestop.adapters.audio.files import Take, write_wav
from truestop.app.tuning_up import describe_tune_up, hear_tune_up, tune_up_sentences
from truestop.cli.main import app
from truestop.domain.errors import SoundError
from truestop.domain.instrument import make_instrument
from truestop.domain.pitch import Pitch
from truestop.domain.tuning import make_intonation
from truestop.sounding.bowed import bow_envelope, sound_string

RATE_HZ = 22050
VIOLIN = make_instrument("violin")


def bowed(*notes_hz, seconds=1.2, family="violin"):
    rng = np.random.default_rng(4)
    n = int(seconds * RATE_HZ)
    level = bow_envelope(n, sample_rate_hz=RATE_HZ)
    parts = [
        sound_string(np.full(n, hz), sample_rate_hz=RATE_HZ, family=family, level=level, rng=rng) for hz in notes_hz
    ]
    gap = np.zeros(RATE_HZ // 3, dtype=np.float32)
    samples = np.concatenate([piece for part in parts for piece in (part, gap)])
    return Take(samples=samples, sample_rate_hz=RATE_HZ)


def test_measured_strings_become_the_players_intonation():
    tuned = hear_tune_up([(0.0, bowed(196.5, 293.0, 440.6))], VIOLIN)
    assert tuned.strings_hz[0] is None
    assert tuned.strings_hz[1:] == pytest.approx((440.6, 293.0, 196.5), rel=2e-4)
    intonation = make_intonation("strings", instrument=VIOLIN, open_strings_hz=tuned.strings_hz)
    target = intonation.target(Pitch.parse("D5"), string=2, place=5)
    assert target.hz == pytest.approx(586.0, rel=2e-4)


def test_what_to_tune_is_said_in_plain_words():
    said = tune_up_sentences(hear_tune_up([(0.0, bowed(196.5, 440.0))], VIOLIN))
    assert said == (
        "String I (E5) was not heard alone and steady.",
        "String III (D4) was not heard alone and steady.",
        "String IV (G3) is 8 cents high.",
    )


@pytest.mark.parametrize("family", ["violin", "viola", "cello", "bass"])
def test_open_strings_are_heard_and_a_scale_has_none(family):
    """The scale meets two strings' pitches on its way, and semitones 85 cents off a string."""
    instrument = make_instrument(family)
    strings = make_intonation("pythagorean", instrument=instrument)
    open_hz = [strings.open_string_hz(number) for number in range(1, 5)]
    tuned = hear_tune_up([(0.0, bowed(*open_hz, family=family))], instrument)
    assert [round(tuned.latest(number).cents) for number in range(1, 5)] == [0, 0, 0, 0]
    scale = [open_hz[3] * 2 ** ((100 * step - off) / 1200) for step, off in enumerate((0, 15, 0, 0, 0, 0, 15, 0, 0))]
    with pytest.raises(SoundError, match="stopped note"):
        hear_tune_up([(0.0, bowed(*scale, seconds=0.9, family=family))], instrument)


def test_a_string_a_semitone_off_may_be_another_note():
    said = tune_up_sentences(hear_tune_up([(0.0, bowed(195.556 * 2 ** (85 / 1200)))], VIOLIN))
    assert "String IV (G3) is 85 cents high, if it was the open string." in said


def test_a_pure_tone_and_an_octave_are_no_string():
    """A reference tone from a telephone; the octave has every second harmonic of the string."""
    pure = 0.1 * np.sin(2 * np.pi * 440.0 * np.arange(2 * RATE_HZ) / RATE_HZ)
    for take in (Take(samples=pure.astype(np.float32), sample_rate_hz=RATE_HZ), bowed(392.0, seconds=2.0)):
        with pytest.raises(SoundError, match="No open string"):
            hear_tune_up([(0.0, take)], VIOLIN)


def test_drift_over_a_session_is_reported():
    takes = [
        (minutes * 60.0, bowed(293.33 * fall, 440.0 * fall)) for minutes, fall in ((0, 1.0), (40, 0.997), (80, 0.994))
    ]
    tuned = hear_tune_up(takes, VIOLIN)
    assert tuned.drift.noticed
    assert tuned.drift.cents == pytest.approx(-10.4, abs=0.7)
    assert "went down by 10 cents in 80 minutes" in tune_up_sentences(tuned)[-1]
    json.dumps(describe_tune_up(tuned), allow_nan=False)


def test_nothing_heard_is_said_with_its_remedy():
    with pytest.raises(SoundError, match="No open string is heard") as error:
        hear_tune_up([(0.0, Take(samples=np.zeros(RATE_HZ, np.float32), sample_rate_hz=RATE_HZ))], VIOLIN)
    assert "one" in error.value.hint or "itself" in error.value.hint


def test_the_commands(tmp_path):
    write_wav(tmp_path / "strings.wav", bowed(196.5, 440.0).samples, sample_rate_hz=RATE_HZ)
    result = CliRunner().invoke(app, ["tune", str(tmp_path / "strings.wav"), "--json"])
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert told["schema"] == "truestop.tune/1"
    assert told["strings"][3]["cents"] == pytest.approx(8.3, abs=0.5)
    plain = CliRunner().invoke(app, ["tune", str(tmp_path / "strings.wav")])
    assert "--open-strings '- 440.0" in plain.stdout

    hum = tmp_path / "hum.wav"
    write_wav(hum, bowed(220.0 * 2 ** (30 / 1200)).samples, sample_rate_hz=RATE_HZ)
    sung = json.loads(CliRunner().invoke(app, ["sing", str(hum), "--note", "A4", "--json"]).stdout)
    assert (sung["word"], sung["octaves"]) == ("true", -1)
    assert sung["cents"] == pytest.approx(30.0, abs=2.0)
    said = CliRunner().invoke(app, ["sing", str(hum), "--note", "G4"])
    assert said.stdout.startswith(("high: 223.8 Hz for G4, 234 cents high", "high: 223.9 Hz for G4, 234 cents high"))


@pytest.mark.parametrize(("fall_cents", "said"), [(3.6, True), (1.5, False)])
def test_strings_that_fall_within_one_recording_are_told(tmp_path, fall_cents, said):
    fall = 2 ** (-fall_cents / 1200)
    pause = np.zeros(RATE_HZ * 100, np.float32)
    parts = [bowed(293.33 * by, 440.0 * by).samples for by in (1.0, fall)]
    write_wav(tmp_path / "evening.wav", np.concatenate([parts[0], pause, parts[1]]), sample_rate_hz=RATE_HZ)
    printed = CliRunner().invoke(app, ["tune", str(tmp_path / "evening.wav")]).stdout
    assert ("went down by 4 cents in 2 minutes" in " ".join(printed.split())) is said


def test_strings_that_tremble_or_sound_together_are_not_heard():
    """A vibrato, a fifth, talk-like noise: none is an open string alone and steady."""
    rng = np.random.default_rng(3)
    n = 2 * RATE_HZ
    swing = 293.33 * 2 ** (15 * np.sin(2 * np.pi * 5.5 * np.arange(n) / RATE_HZ) / 1200)
    fifth = sum(sound_string(np.full(n, hz), sample_rate_hz=RATE_HZ, rng=rng) for hz in (293.33, 440.0))
    noise = 0.1 * rng.standard_normal(n).astype(np.float32)
    for samples in (sound_string(swing, sample_rate_hz=RATE_HZ, rng=rng), fifth, noise):
        with pytest.raises(SoundError, match="No open string"):
            hear_tune_up([(0.0, Take(samples=samples, sample_rate_hz=RATE_HZ))], VIOLIN)
