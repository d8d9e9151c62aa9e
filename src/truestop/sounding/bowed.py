"""A bowed string as a sum of harmonics along an exact pitch contour.

Conventions: a contour is one frequency in Hz per sample; the phase is its running integral in double precision, so the
sounding fundamental *is* the contour. Harmonics are summed below the Nyquist frequency only (band-limited); each is
scaled by amplitude alone, never filtered, so that no harmonic's phase drifts while the pitch moves. Randomness comes
from the generator that is passed in. Levels are linear amplitudes unless a name ends in _db.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]

_BLOCK = 64
"""Samples between two evaluations of the harmonics' amplitudes; linear in between."""
_CHUNK_BLOCKS = 512


class Resonance(NamedTuple):
    """One resonance of the body: at ``hz``, ``gain`` times the floor, of quality ``q``."""

    hz: float
    gain: float
    q: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """What makes one family sound like itself. ``damping_hz`` is where the string's own spectrum has fallen to 1/e."""

    resonances: tuple[Resonance, ...]
    damping_hz: float
    top_hz: float
    """No harmonic is made above this."""
    noise_db: float
    """Level of the bow's noise under the tone."""
    attack_s: float


#: Air, body and bridge-hill resonances at their usual places; rough figures from memory, for the ear only.
VOICES = {
    "violin": Voice(
        resonances=(Resonance(275, 2.2, 14), Resonance(450, 2.6, 18), Resonance(540, 2.8, 18), Resonance(1000, 1.2, 5),
                    Resonance(2400, 2.2, 2.5)),
        damping_hz=2600, top_hz=12000, noise_db=-43, attack_s=0.045),
    "viola": Voice(
        resonances=(Resonance(225, 2.4, 13), Resonance(360, 2.5, 15), Resonance(430, 2.6, 16), Resonance(850, 1.2, 5),
                    Resonance(1900, 1.8, 2.5)),
        damping_hz=2000, top_hz=10000, noise_db=-42, attack_s=0.055),
    "cello": Voice(
        resonances=(Resonance(103, 2.6, 12), Resonance(175, 2.8, 14), Resonance(205, 2.4, 15), Resonance(500, 1.2, 4),
                    Resonance(1200, 1.7, 2.5)),
        damping_hz=1400, top_hz=8000, noise_db=-42, attack_s=0.07),
    "bass": Voice(
        resonances=(Resonance(62, 2.6, 10), Resonance(105, 2.8, 12), Resonance(140, 2.0, 12), Resonance(350, 1.2, 4),
                    Resonance(800, 1.5, 2.5)),
        damping_hz=900, top_hz=5000, noise_db=-40, attack_s=0.09),
}  # fmt: skip


def body_gain(hz: Floats, voice: Voice) -> Floats:
    """Amplitude with which the body passes ``hz``: a floor of one plus the magnitudes of its resonances."""
    gain = np.ones_like(hz)
    for resonance in voice.resonances:
        detune = resonance.q * (hz / resonance.hz - resonance.hz / np.maximum(hz, 1e-9))
        gain += resonance.gain / np.sqrt(1.0 + detune * detune)
    return gain


def harmonic_level(hz: Floats, k: int, voice: Voice, nyquist_hz: float) -> Floats:
    """Amplitude of harmonic ``k`` at frequency ``hz``: sawtooth 1/k, damped, through the body, faded out at the top."""
    top = min(voice.top_hz, 0.96 * nyquist_hz)
    fade = np.clip((top - hz) / (0.12 * top), 0.0, 1.0)
    return body_gain(hz, voice) * np.exp(-hz / voice.damping_hz) * (fade * fade * (3.0 - 2.0 * fade)) / k


def sound_string(
    contour_hz: Floats,
    *,
    sample_rate_hz: int,
    family: str = "violin",
    level: Floats | float = 1.0,
    rng: np.random.Generator | None = None,
    noise_db: float | None = None,
) -> Samples:
    """The sound of a bowed string whose fundamental is ``contour_hz`` (one per sample, > 0), shape (n,), float32.

    ``level`` is the bow's envelope, one number or one per sample. Without ``rng`` there is no bow noise and the string
    starts at phase 0. A steady tone at level 1 has an RMS of about 0.1 (−20 dBFS) in every register.
    """
    voice = VOICES[family]
    contour_hz = np.asarray(contour_hz, dtype=np.float64)
    start = 0.0 if rng is None else float(rng.uniform())
    tone = _sum_harmonics(contour_hz, start, voice, sample_rate_hz)
    if rng is not None:
        tone += _bow_noise(
            len(contour_hz), voice, sample_rate_hz, rng, voice.noise_db if noise_db is None else noise_db
        )
    return (tone * level).astype(np.float32)


def _sum_harmonics(contour_hz: Floats, start_turns: float, voice: Voice, sample_rate_hz: int) -> Floats:
    n = len(contour_hz)
    blocks = -(-n // _BLOCK)
    padded = np.concatenate([contour_hz, np.full(blocks * _BLOCK + 1 - n, contour_hz[-1])])
    steps = 0.5 * (padded[:-1] + padded[1:]) / sample_rate_hz
    turns = start_turns + np.concatenate([[0.0], np.cumsum(steps)])[: blocks * _BLOCK]
    edges_hz = padded[::_BLOCK]
    out = np.empty((blocks, _BLOCK))
    for first in range(0, blocks, _CHUNK_BLOCKS):
        last = min(first + _CHUNK_BLOCKS, blocks)
        chunk = turns[first * _BLOCK : last * _BLOCK].reshape(-1, _BLOCK)
        out[first:last] = _sum_chunk(chunk, edges_hz[first : last + 1], voice, 0.5 * sample_rate_hz)
    return out.ravel()[:n]


def _sum_chunk(turns: Floats, edges_hz: Floats, voice: Voice, nyquist_hz: float) -> Floats:
    """Σ a_k sin kφ by the recursion sin kφ = 2 cos φ sin (k−1)φ − sin (k−2)φ, amplitudes linear between block edges."""
    phase = 2.0 * np.pi * (turns - np.floor(turns))
    twice_cos, before, now = 2.0 * np.cos(phase), np.zeros_like(phase), np.sin(phase)
    at_start, at_end, power = np.zeros_like(phase), np.zeros_like(phase), np.zeros_like(edges_hz)
    for k in range(1, int(min(voice.top_hz, nyquist_hz) / edges_hz.min()) + 1):
        level = harmonic_level(k * edges_hz, k, voice, nyquist_hz)
        power += 0.5 * level * level
        at_start += level[:-1, None] * now
        at_end += level[1:, None] * now
        before, now = now, twice_cos * now - before
    scale = 0.1 / np.sqrt(np.maximum(power, 1e-12)) * _presence(edges_hz, voice)
    ramp = np.arange(_BLOCK) / _BLOCK
    return at_start * scale[:-1, None] * (1.0 - ramp) + at_end * scale[1:, None] * ramp


def _presence(hz: Floats, voice: Voice) -> Floats:
    """A trace of the body's colour in the loudness (within about ±2 dB), so that vibrato and slides breathe."""
    gain = body_gain(hz, voice)
    return (gain / 2.0) ** 0.25


def _bow_noise(n: int, voice: Voice, sample_rate_hz: int, rng: np.random.Generator, noise_db: float) -> Floats:
    size = scipy.fft.next_fast_len(max(n, 1), real=True)
    hz = scipy.fft.rfftfreq(size, 1.0 / sample_rate_hz)
    shape = (
        body_gain(np.maximum(hz, 20.0), voice) * np.exp(-hz / (2.5 * voice.damping_hz)) * np.minimum(hz / 150.0, 1.0)
    )
    shape *= 0.1 * 10.0 ** (noise_db / 20.0) / np.sqrt(np.mean(shape * shape))
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(rng.standard_normal(size)) * shape, size), dtype=np.float64)[:n]


def bow_envelope(n: int, *, sample_rate_hz: int, attack_s: float = 0.05, release_s: float = 0.08) -> Floats:
    """A bow stroke of ``n`` samples: rises from and falls to silence with zero slope (click-free), 1 between."""
    envelope = np.ones(n)
    rise = min(max(int(attack_s * sample_rate_hz), 1), n // 2)
    fall = min(max(int(release_s * sample_rate_hz), 1), n // 2)
    if rise:
        envelope[:rise] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    if fall:
        envelope[n - fall :] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    return envelope


def contour_through(times_s: Floats, cents: Floats, *, reference_hz: float, sample_rate_hz: int) -> Floats:
    """A contour in Hz through break points: ``cents`` above ``reference_hz`` at ``times_s`` (rising), eased between.

    Each leg is a minimum-jerk movement (Flash & Hogan 1985): at rest at both ends.
    """
    t = np.arange(round(float(times_s[-1]) * sample_rate_hz)) / sample_rate_hz
    leg = np.clip(np.searchsorted(times_s, t, side="right") - 1, 0, len(times_s) - 2)
    span = np.maximum(times_s[leg + 1] - times_s[leg], 1e-12)
    u = minimum_jerk(np.clip((t - times_s[leg]) / span, 0.0, 1.0))
    path = cents[leg] + (cents[leg + 1] - cents[leg]) * u
    return np.asarray(reference_hz * 2.0 ** (path / 1200.0), dtype=np.float64)


def minimum_jerk(u: Floats) -> Floats:
    """The smoothest way from 0 to 1: 10u³ − 15u⁴ + 6u⁵ (Flash & Hogan 1985)."""
    return np.asarray(u * u * u * (10.0 + u * (6.0 * u - 15.0)), dtype=np.float64)
