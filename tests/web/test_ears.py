"""The room's ears on synthesised sound: sung notes, frames, phrases."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from truestop.adapters.score.typed_entry import read_typed
from truestop.app.mainjob import Setup, take_in_hand
from truestop.domain.attempt import Verdict
from truestop.sounding.bowed import bow_envelope, sound_string
from truestop.web.ears import PITCH_TOLERANCE_CENTS, NoteEar, PhraseEar
from truestop.web.exercises import exercise_of, expect_exercise, other_pitches_hz
from truestop.web.hearing import Ear, Heard, NoteHeard, PhraseHeard

RATE_HZ = 22050
Sound = NDArray[np.float32]


def note(hz: float, seconds: float = 1.0) -> Sound:
    n = round(seconds * RATE_HZ)
    level = bow_envelope(n, sample_rate_hz=RATE_HZ)
    return np.asarray(sound_string(np.full(n, hz), sample_rate_hz=RATE_HZ, family="viola", level=level), np.float32)


def rest(seconds: float) -> Sound:
    return np.zeros(round(seconds * RATE_HZ), dtype=np.float32)


def feed(ear: Ear, sound: Sound) -> list[Heard]:
    return [heard for start in range(0, sound.size, 512) for heard in ear.feed(sound[start : start + 512])]


def ear_at(stage: str) -> tuple[NoteEar, float, float]:
    in_hand = take_in_hand(read_typed("II 1 B4 > II 3 F#5", family="violin"), Setup(family="violin"))
    shift = in_hand.shift(1)
    exercise = exercise_of(in_hand, shift, stage)
    expected = expect_exercise(in_hand, shift, exercise)
    others = other_pitches_hz(in_hand, shift, exercise, expected.arrival)
    ear = NoteEar(expected, RATE_HZ, any_octave=stage == "hear", others_hz=others)
    return ear, expected.departure.hz, expected.arrival.hz


def test_the_departure_is_played_and_the_arrival_sung_an_octave_below() -> None:
    ear, departure_hz, arrival_hz = ear_at("hear")
    sung_hz = arrival_hz / 2 * 2 ** (-31 / 1200)
    heard = feed(ear, np.concatenate([note(departure_hz), rest(0.4), note(sung_hz), rest(0.4), note(arrival_hz)]))
    notes = [each for each in heard if isinstance(each, NoteHeard)]
    assert [each.octaves for each in notes] == [-1, 0]
    sung = notes[0].attempt
    assert sung.stage == "hear"
    assert sung.verdict is Verdict.TRUE
    assert sung.landing_cents == pytest.approx(-31.0, abs=2.0)
    assert sung.landing_mm is None
    assert sung.tolerance_cents == PITCH_TOLERANCE_CENTS
    assert 1.3 < sung.start_s < 1.6
    assert len(sung.trace_s) == len(sung.trace_cents) > 5


def test_a_wrong_note_that_is_sung_is_a_miss() -> None:
    ear, _, arrival_hz = ear_at("hear")
    (heard,) = [each for each in feed(ear, note(arrival_hz * 2 ** (1 / 12))) if isinstance(each, NoteHeard)]
    assert heard.attempt.verdict is Verdict.HIGH
    assert heard.attempt.faults == ("high",)


def test_the_frame_is_walked_and_only_the_arrival_judged() -> None:
    ear, _, arrival_hz = ear_at("settle")
    frame = [arrival_hz * 2 ** (-semitones / 12) for semitones in (4, 2)]
    low_hz = arrival_hz * 2 ** (-26 / 1200)
    sound = np.concatenate([note(frame[0]), rest(0.2), note(frame[1]), rest(0.2), note(low_hz)])
    notes = [each for each in feed(ear, sound) if isinstance(each, NoteHeard)]
    assert [each.attempt.verdict for each in notes] == [Verdict.LOW]
    assert notes[0].attempt.landing_mm == pytest.approx(-2.9, abs=0.6)


def test_a_phrase_ends_with_a_pause_and_short_rests_stay_inside() -> None:
    ear = PhraseEar(RATE_HZ)
    sound = np.concatenate([rest(1.0), note(494.0, 1.5), rest(0.8), note(740.0, 1.5), rest(2.0), note(494.0, 0.4),
                            rest(2.0)])  # fmt: skip
    (phrase,) = [each for each in feed(ear, sound) if isinstance(each, PhraseHeard)]
    assert phrase.first_frame / RATE_HZ == pytest.approx(0.7, abs=0.1)
    assert 5.9 < phrase.last_frame / RATE_HZ < 6.2
