"""Contours with a closed form, and sounds made exactly from them: the arbiter below the truth of any recording."""

from __future__ import annotations

import numpy as np

from truestop.domain.attempt import Expectation, Target
from truestop.domain.pitch import Pitch, equal_hz


def glide(cents_from, cents_to, length_ms):
    """A smooth slide, half a cosine."""
    return cents_from + (cents_to - cents_from) * (0.5 - 0.5 * np.cos(np.pi * (np.arange(length_ms) + 0.5) / length_ms))


def plain_path(interval=500.0, landing=0.0, *, slide_ms=150, before_ms=500, after_ms=700, departure=0.0):
    """Departure held, slide, arrival held: cents above the target."""
    start = -interval + departure
    return np.concatenate(
        [np.full(before_ms, start), glide(start, landing, slide_ms), np.full(after_ms, float(landing))]
    )


def corrected_path(landing, settled, *, interval=500.0, dwell_ms=220, move_ms=80, slide_ms=150, after_ms=900):
    """A landing that rests for ``dwell_ms`` and is then moved."""
    contour = plain_path(interval, landing, slide_ms=slide_ms, after_ms=after_ms)
    at = 500 + slide_ms + dwell_ms
    contour[at : at + move_ms] = glide(landing, settled, move_ms)
    contour[at + move_ms :] = settled
    return contour


def overshot_path(landing, over, *, interval=500.0, slide_ms=150, back_ms=60):
    """A slide that runs past the landing without resting there."""
    contour = plain_path(interval, landing + over * np.sign(interval), slide_ms=slide_ms, after_ms=900)
    at = 500 + slide_ms
    contour[at : at + back_ms] = glide(contour[at], landing, back_ms)
    contour[at + back_ms :] = landing
    return contour


def vibrato_path(landing, extent, *, interval=500.0, rate_hz=5.8, phase=0.0, onset_ms=0, after_ms=900, slide_ms=150):
    """Vibrato around the landing, from the first moment or later."""
    contour = plain_path(interval, landing, slide_ms=slide_ms, after_ms=after_ms)
    time_s = np.arange(after_ms - onset_ms) / 1000.0
    swell = np.minimum(time_s / 0.03, 1.0)
    contour[500 + slide_ms + onset_ms :] += extent * swell * np.sin(2 * np.pi * rate_hz * time_s + phase)
    return contour


SILENCE = np.full(300, np.nan)


def bowed(contour, target_hz, *, rate_hz=44100, harmonics=14, noise_db=None, seed=0, level=0.2):
    """An exact additive sound along ``contour`` (cents above the target, 1 ms grid, NaN silent), amplitudes 1/k."""
    random = np.random.default_rng(seed)
    heard = np.isfinite(contour)
    grid = np.arange(len(contour))
    time_ms = np.arange(int(len(contour) * rate_hz / 1000)) * (1000.0 / rate_hz)
    cents = np.interp(time_ms, grid, np.interp(grid, grid[heard], contour[heard]))
    hz = target_hz * 2.0 ** (cents / 1200.0)
    phase = 2 * np.pi * np.cumsum(hz) / rate_hz
    sound = np.zeros(len(time_ms))
    for k in range(1, harmonics + 1):
        sound += np.where(k * hz < 0.45 * rate_hz, 1.0 / k, 0.0) * np.sin(k * phase + random.uniform(0, 2 * np.pi))
    edge = np.hanning(21) / np.hanning(21).sum()
    sound *= np.interp(time_ms, grid, np.convolve(np.pad(heard.astype(float), 10, mode="edge"), edge, mode="valid"))
    sound *= level / np.sqrt(np.mean(sound[sound != 0] ** 2))
    if noise_db is not None:
        sound += random.standard_normal(len(sound)) * level * 10 ** (-noise_db / 20)
    return sound.astype(np.float32)


def stop(name, *, string=1, place=7):
    """A target in equal temperament."""
    pitch = Pitch.parse(name)
    return Target(
        pitch=pitch, hz=equal_hz(pitch.midi), system="equal", reference="A4 = 440 Hz", string=string, place=place
    )


def expect(departure="B4", arrival="E5", **more):
    """What a drill would say."""
    return Expectation(shift="demo", stage="plain", departure=stop(departure, place=2), arrival=stop(arrival), **more)
