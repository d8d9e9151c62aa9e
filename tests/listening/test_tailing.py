"""A room's tail against synthesised diffuse rooms, whose direct sound has a known path."""

import numpy as np

from listening.sounds import bowed, plain_path
from truestop.listening import tailing
from truestop.listening.tracking import track_pitch

TARGET_HZ, DEPARTURE_HZ = 659.26, 440.0


def in_room(sound, *, rt60_s, ratio_db, seed):
    """Exponentially decaying diffuse sound after 4 ms, ``ratio_db`` under the direct sound."""
    time_s = np.arange(int(1.2 * rt60_s * 44100)) / 44100
    tail = np.random.default_rng(seed).standard_normal(len(time_s)) * 10 ** (-3 * time_s / rt60_s) * (time_s > 0.004)
    tail *= 10 ** (-ratio_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    size = 1 << 18
    return np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: len(sound)].astype(np.float32)


def mean_error(sound, contour):
    track = track_pitch(sound, 44100, DEPARTURE_HZ, TARGET_HZ)
    late = (track.times_s > 0.66) & (track.times_s < 0.74)
    return abs(float(np.nanmedian(1200 * np.log2(track.f0_hz[late] / TARGET_HZ)) - contour[-1]))


def test_a_room_pulls_a_landing_less_when_its_tail_is_taken_off(monkeypatch):
    contour = plain_path(700.0, 0.0, slide_ms=150)
    sound = bowed(contour, TARGET_HZ)
    rooms = [in_room(sound, rt60_s=0.7, ratio_db=2.0, seed=seed) for seed in range(8)]
    taken_off = np.mean([mean_error(room, contour) for room in rooms])
    monkeypatch.setattr(tailing, "PULL", 0.0)
    left_on = np.mean([mean_error(room, contour) for room in rooms])
    assert taken_off < 0.85 * left_on


def test_a_dry_slide_is_left_alone(monkeypatch):
    contour = plain_path(700.0, 0.0, slide_ms=80)
    sound = bowed(contour, TARGET_HZ, noise_db=30)
    taken_off = track_pitch(sound, 44100, DEPARTURE_HZ, TARGET_HZ)
    monkeypatch.setattr(tailing, "PULL", 0.0)
    left_on = track_pitch(sound, 44100, DEPARTURE_HZ, TARGET_HZ)
    moved = np.abs(1200 * np.log2(taken_off.f0_hz / left_on.f0_hz))
    held = (left_on.times_s > 0.1) & (left_on.times_s < 1.2)
    assert np.nanmax(moved[held]) < 1.0
    assert np.nanmedian(moved[held]) < 0.01
