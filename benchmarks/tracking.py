"""The tracker against the Cramér–Rao bound and against its peers' speed, and its look-ahead on every instrument.

    python -m benchmarks.tracking [--windows SHARE]

With ``--windows`` the tracker's windows are cut to that share of their length, for what a shorter look-ahead costs:
steady tones, and recorded landings in three conditions (takes 700–723).
The bound for the fundamental of a harmonic tone in white noise of variance σ²: var(ω₀) ≥ 24 σ² / (N (N² − 1) Σ k² A_k²)
(Christensen & Jakobsson 2009, from memory). A stretch of 120 ms is read from the frames inside it by their mean.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
from benchmarks.landing import Tally, judge_into
from benchmarks.one_thread import on_one_thread
from benchmarks.takes import FAMILIES, in_condition, make_take
from numpy.typing import NDArray

from truestop.listening import frames
from truestop.listening.frames import Plan
from truestop.listening.tracking import track_pitch

RATE_HZ = 44100
STRETCH_S = 0.12
Floats = NDArray[np.float64]

#: Departure and arrival in Hz: a usual shift on the lowest and the highest string.
SHIFTS = {
    "violin, IV": (220.0, 293.7),
    "violin, I": (740.0, 987.8),
    "violin, top": (2637.0, 4186.0),
    "viola, IV": (146.8, 196.0),
    "cello, IV": (73.4, 98.0),
    "cello, I": (246.9, 329.6),
    "bass, IV": (46.2, 61.7),
    "bass, B0 at A = 415": (29.1, 38.9),
}


def tone(hz: float, seconds: float, snr_db: float, random: np.random.Generator) -> tuple[NDArray[np.float32], float]:
    """A steady tone with amplitudes 1/k in white noise, and the bound for a stretch of it in cents."""
    k = np.arange(1, 15)[np.arange(1, 15) * hz < 0.45 * RATE_HZ]
    amplitude = 0.1 / k
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    phase = random.uniform(0, 2 * np.pi, len(k))
    clean = (amplitude[:, None] * np.sin(2 * np.pi * hz * k[:, None] * time_s + phase[:, None])).sum(axis=0)
    sigma = float(np.sqrt(np.mean(clean**2)) * 10 ** (-snr_db / 20))
    n = STRETCH_S * RATE_HZ
    variance = 24 * sigma**2 / (n * (n**2 - 1) * float((k**2 * amplitude**2).sum()))
    bound = np.sqrt(variance) * RATE_HZ / (2 * np.pi * hz) * 1200 / np.log(2)
    return (clean + sigma * random.standard_normal(len(clean))).astype(np.float32), float(bound)


def against_bound(low_hz: float, high_hz: float, snr_db: float) -> float:
    """Root mean square error of stretches over the bound."""
    random = np.random.default_rng(1)
    errors = []
    for _ in range(6):
        sound, bound = tone(high_hz, 2.2, snr_db, random)
        track = track_pitch(sound, RATE_HZ, low_hz, high_hz)
        cents = 1200 * np.log2(track.f0_hz / high_hz)
        for start in np.arange(0.2, 2.0, 0.15):
            inside = (track.times_s >= start) & (track.times_s < start + STRETCH_S)
            errors.append(float(np.nanmean(cents[inside])))
    return float(np.sqrt(np.mean(np.square(errors)))) / bound


def speed(hear: Callable[[], object], seconds: float, best: list[float]) -> None:
    """One more run; the best counts."""
    start = time.thread_time()
    hear()
    best.append(seconds / (time.thread_time() - start))


def print_windows(share: float) -> None:
    """Look-ahead and accuracy with windows of ``share`` of their length."""
    frames.LEAST_WAIT_S *= share
    frames.WAIT_PERIODS *= share
    frames.MOST_WAIT_S *= share
    print("| shift | look-ahead (ms) | 20 dB | 10 dB | 0 dB |\n|---|---|---|---|---|")
    for name, (low, high) in SHIFTS.items():
        ratios = " | ".join(f"{against_bound(low, high, snr_db):.2f}" for snr_db in (20, 10, 0))
        print(f"| {name} | {1000 * Plan(RATE_HZ, low, high).look_ahead_s:.1f} | {ratios} |", flush=True)
    print("\n| instrument | condition | landings' mean | failed or unjudged |\n|---|---|---|---|")
    for offset, family in enumerate(FAMILIES):
        takes = [make_take(number) for number in range(700 + offset, 724, 4)]
        for condition in ("clean", "noise 10 dB", "room"):
            tally = Tally()
            for take in takes:
                judge_into(tally, in_condition(take, condition))
            lost = tally.failed + tally.unjudged
            print(f"| {family} | {condition} | {np.mean(tally.errors):.2f} | {lost} of {tally.takes} |", flush=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--windows", type=float, default=0.0)
    windows = parser.parse_args().windows
    on_one_thread("benchmarks.tracking")
    if windows:
        print_windows(windows)
        return
    import librosa
    import parselmouth

    print("| shift | look-ahead (ms) | rms / bound at 20 dB | 10 dB | 0 dB |\n|---|---|---|---|---|")
    for name, (low, high) in SHIFTS.items():
        ratios = " | ".join(f"{against_bound(low, high, snr_db):.2f}" for snr_db in (20, 10, 0))
        print(f"| {name} | {1000 * Plan(RATE_HZ, low, high).look_ahead_s:.0f} | {ratios} |")
    print("\n| × real time | truestop | praat ac | praat ac, told the range | librosa yin | librosa pyin |")
    print("|---|---|---|---|---|---|")
    random = np.random.default_rng(2)
    for name, (low, high) in SHIFTS.items():
        sound, _ = tone(high, 10.0, 30.0, random)
        praat = parselmouth.Sound(sound.astype(np.float64), RATE_HZ)
        plan = Plan(RATE_HZ, low, high)
        floor, top = plan.low_hz, plan.high_hz
        frame = 2048 if floor > 60 else 4096
        yin = {"fmin": floor, "fmax": top, "sr": RATE_HZ, "frame_length": frame, "hop_length": 256}
        ears: list[Callable[[], object]] = [
            lambda s=sound, a=low, b=high: track_pitch(s, RATE_HZ, a, b),
            lambda p=praat: p.to_pitch_ac(time_step=0.005, pitch_floor=35.0, pitch_ceiling=5000.0),
            lambda p=praat, a=floor, b=top: p.to_pitch_ac(time_step=0.005, pitch_floor=a, pitch_ceiling=b),
            lambda s=sound, o=yin: librosa.yin(s, **o),
        ]
        best: list[list[float]] = [[] for _ in ears]
        for _ in range(5):
            for hear, runs in zip(ears, best, strict=True):
                speed(hear, 10.0, runs)
        pyin: list[float] = []
        short = sound[: 2 * RATE_HZ]
        speed(lambda s=short, o=yin: librosa.pyin(s, **o), 2.0, pyin)
        print(f"| {name} | " + " | ".join(f"{max(runs):.0f}" for runs in [*best, pyin]) + " |", flush=True)


if __name__ == "__main__":
    main()
