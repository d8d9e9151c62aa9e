"""Test takes with known truth, from recorded string notes bent along known paths, in seven conditions.

``make_take(number)`` gives one take: an attempt (or several) at a shift of 2–9 semitones up or down on violin, viola,
cello or bass, with slides of 60–600 ms, landing errors N(0, 20 cents), corrections, overshoots and vibrato. Everything
follows from the number: the same number is the same take. ``in_condition(take, name)`` sounds it in one of
``CONDITIONS``. ``make_take(number, source="synthesis")`` plays the same attempt on the bowed-string synthesiser, which
is the arbiter below the recorded notes' 0.3 cent of truth uncertainty. The truth is a
``truestop.sounding.takes.TrueAttempt``; ``path_cents`` is the path itself, one value a millisecond.

    python -m benchmarks.takes FOLDER    writes the first 28 takes in all conditions, to listen to
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

import numpy as np
from benchmarks.recorded_notes import (
    RATE_HZ,
    SOURCES,
    STEADY,
    Floats,
    RecordedNote,
    bent,
    labelled_midi,
    recorded_note,
    refined_path,
)
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, sosfiltfilt

from truestop.adapters.audio.files import write_wav
from truestop.domain.pitch import equal_hz
from truestop.sounding.bowed import sound_string
from truestop.sounding.clicks import add_clicks
from truestop.sounding.takes import PlayedAttempt, TracedTake, TrueAttempt, trace_take

FAMILIES = ("violin", "viola", "cello", "bass")
#: Lowest and highest MIDI note of departures and arrivals.
RANGES = {"violin": (57, 86), "viola": (50, 81), "cello": (38, 74), "bass": (31, 62)}
OPEN_MIDI = {"violin": (76, 69, 62, 55), "viola": (69, 62, 55, 48), "cello": (57, 50, 43, 36), "bass": (43, 38, 33, 28)}
_LEVEL = 0.12
_FLOOR = 10 ** (-75 / 20)


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchTake:
    """A take with its truth. ``path_cents`` is against the arrival's target, one value a ms, NaN in silence."""

    number: int
    condition: str
    family: str
    departure_hz: float
    arrival_hz: float
    samples: NDArray[np.float32]
    sample_rate_hz: int
    attempts: tuple[TrueAttempt, ...]
    path_cents: NDArray[np.float32]
    source: str = "recorded"


def make_take(
    number: int, *, family: str | None = None, attempts: int = 1, source: str = "recorded", kind: str | None = None
) -> BenchTake:
    """Take ``number``, clean. ``kind``: 'plain', 'corrected', 'overshoot', 'vibrato'; ``source``: 'synthesis' too."""
    rng = np.random.default_rng([20261125, number])
    family = family or FAMILIES[number % 4]
    low, high = RANGES[family]
    travel = int(rng.integers(2, 10)) * (1 if rng.uniform() < 0.5 else -1)
    departure = int(rng.integers(max(low, low - travel), min(high, high - travel) + 1))
    a4_hz = float(rng.uniform(438, 444))
    departure_hz, arrival_hz = equal_hz(departure, a4_hz=a4_hz), equal_hz(departure + travel, a4_hz=a4_hz)
    played = [draw_attempt(rng, kind=kind) for _ in range(attempts)]
    traced = trace_take(played, departure_hz=departure_hz, arrival_hz=arrival_hz, rng=rng, sample_rate_hz=RATE_HZ,
                        wander_cents=0.0)  # fmt: skip
    contour = arrival_hz * 2.0 ** (traced.cents / 1200.0)
    if source == "recorded":
        tone = _on_recorded_notes(traced, contour, family, rng)
    else:
        tone = sound_string(contour, sample_rate_hz=RATE_HZ, family=family, rng=rng).astype(np.float64)
    tone *= traced.level * _LEVEL / np.sqrt(np.mean(tone[traced.level > 0.5] ** 2))
    return BenchTake(number=number, condition="clean", family=family, departure_hz=departure_hz, arrival_hz=arrival_hz,
                     samples=_finished(tone, rng), sample_rate_hz=RATE_HZ, attempts=traced.attempts,
                     path_cents=traced.path_each_ms(RATE_HZ), source=source)  # fmt: skip


def draw_attempt(rng: np.random.Generator, *, kind: str | None = None) -> PlayedAttempt:
    """An attempt as a player might make it: slides log-uniform 60–600 ms, landings N(0, 20 cents)."""
    kind = kind or str(rng.choice(["plain", "corrected", "overshoot", "vibrato"], p=[0.4, 0.2, 0.2, 0.2]))
    landing = float(rng.normal(0.0, 20.0))
    basic = PlayedAttempt(
        landing_cents=landing, departure_cents=float(rng.normal(0.0, 8.0)), departure_s=float(rng.uniform(0.45, 0.8)),
        slide_s=float(np.exp(rng.uniform(np.log(0.06), np.log(0.6)))), arrival_s=float(rng.uniform(0.75, 1.1)),
        gap_s=float(rng.uniform(0.3, 0.6)),
    )  # fmt: skip
    if kind == "corrected":
        away = float(rng.choice([-1.0, 1.0])) * float(rng.uniform(14.0, 45.0))
        return replace(basic, landing_cents=away, correct_s=float(rng.uniform(0.06, 0.14)),
                       correct_to_cents=float(rng.normal(0.0, 3.0)),
                       correct_after_s=float(rng.uniform(0.16, 0.34)))  # fmt: skip
    if kind == "overshoot":
        return replace(basic, overshoot_cents=float(rng.uniform(12, 45)), overshoot_s=float(rng.uniform(0.06, 0.1)))
    if kind == "vibrato":
        return replace(basic, vibrato_cents=float(rng.uniform(8.0, 35.0)), vibrato_hz=float(rng.uniform(4.8, 6.8)),
                       vibrato_after_s=float(rng.choice([0.0, 0.3])))  # fmt: skip
    return basic


def _on_recorded_notes(traced: TracedTake, contour: Floats, family: str, rng: np.random.Generator) -> Floats:
    tone = np.zeros(len(contour))
    for attempt in traced.attempts:
        piece = slice(round(attempt.start_s * RATE_HZ), round(attempt.end_s * RATE_HZ))
        note = _note_for(contour[piece], family, rng)
        needed = float(contour[piece].sum()) / RATE_HZ + 2.0
        latest = int(np.searchsorted(note.cycles, note.cycles[-1] - needed))
        tone[piece] = bent(note, contour[piece], begin=int(rng.integers(0, max(latest, 1))))
    return tone


def _note_for(contour: Floats, family: str, rng: np.random.Generator) -> RecordedNote:
    """One of the nearest notes that are long enough to be bent along ``contour``."""
    middle = 69 + 12 * np.log2(np.sqrt(contour.min() * contour.max()) / 440.0)
    stems = [(abs(labelled_midi(stem) - middle), source, stem) for source in SOURCES[family] for stem in STEADY[source]]
    needed = float(contour.sum()) / RATE_HZ + 2.0
    nearest = (recorded_note(source, stem) for _, source, stem in sorted(stems)[:10])
    long_enough = list(islice((note for note in nearest if note.cycles[-1] > needed), 2))
    if not long_enough:
        raise RuntimeError(f"no {family} note near {middle:.1f} lasts {needed:.0f} cycles")
    return long_enough[int(rng.integers(0, len(long_enough)))]


def _finished(tone: Floats, rng: np.random.Generator) -> NDArray[np.float32]:
    tone = tone + _FLOOR * rng.standard_normal(len(tone))
    return (tone * min(1.0, 0.95 / max(float(np.abs(tone).max()), 1e-9))).astype(np.float32)


def _clean(take: BenchTake, rng: np.random.Generator) -> Floats:
    return take.samples.astype(np.float64)


def _noise(snr_db: float) -> Callable[[BenchTake, np.random.Generator], Floats]:
    def sound(take: BenchTake, rng: np.random.Generator) -> Floats:
        return take.samples + _LEVEL * 10 ** (-snr_db / 20) * rng.standard_normal(len(take.samples))

    return sound


def _room(take: BenchTake, rng: np.random.Generator) -> Floats:
    """Exponentially decaying diffuse sound: RT60 0.4–1 s, direct to reverberant 0–6 dB, from 4 ms on."""
    rt60_s, ratio_db = rng.uniform(0.4, 1.0), rng.uniform(0.0, 6.0)
    t = np.arange(int(1.2 * rt60_s * RATE_HZ)) / RATE_HZ
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / rt60_s) * (t > 0.004)
    tail = fftconvolve(tail, [0.3, 0.4, 0.3])[: len(t)]
    tail *= 10 ** (-ratio_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return fftconvolve(take.samples, tail)[: len(take.samples)]


def _clicks(take: BenchTake, rng: np.random.Generator) -> Floats:
    beat_s = 60.0 / rng.uniform(60, 132)
    times = np.arange(rng.uniform(0, beat_s), len(take.samples) / RATE_HZ, beat_s)
    return add_clicks(take.samples, times, sample_rate_hz=RATE_HZ, level_db=-14.0).astype(np.float64)


def _open_string(take: BenchTake, rng: np.random.Generator) -> Floats:
    """A neighbouring open string rings on from just before the take, 12–20 dB under the tone, falling in 1.5–4 s."""
    midi = int(rng.choice(OPEN_MIDI[take.family]))
    n = len(take.samples)
    decay = 10 ** (-3 * np.arange(n) / RATE_HZ / rng.uniform(1.5, 4.0) / 3)
    ring = sound_string(np.full(n, equal_hz(midi)), sample_rate_hz=RATE_HZ, family=take.family)
    return take.samples + ring * decay * (_LEVEL / 0.1) * 10 ** (-rng.uniform(12, 20) / 20)


def _phone(take: BenchTake, rng: np.random.Generator) -> Floats:
    """300–3400 Hz and mild saturation. The filter is applied both ways, so that it moves nothing in time."""
    banded = sosfiltfilt(butter(4, (300, 3400), "bandpass", fs=RATE_HZ, output="sos"), take.samples)
    drive = rng.uniform(1.5, 3.0) / (np.abs(banded).max() + 1e-9)
    return np.tanh(drive * banded) * 0.5


CONDITIONS: dict[str, Callable[[BenchTake, np.random.Generator], Floats]] = {
    "clean": _clean,
    "noise 20 dB": _noise(20.0),
    "noise 10 dB": _noise(10.0),
    "room": _room,
    "clicks": _clicks,
    "open string": _open_string,
    "phone": _phone,
}


def in_condition(take: BenchTake, condition: str) -> BenchTake:
    """``take`` as it sounds in ``condition``.

    The truth stays what it is, but for a recorded note through a phone: the band leaves out harmonics, and those
    disagree by a cent or more, so that what is left has another period. It is measured as the note's own was.
    """
    rng = np.random.default_rng([take.number, list(CONDITIONS).index(condition)])
    samples = CONDITIONS[condition](take, rng)
    peak = float(np.abs(samples).max())
    scaled = (samples * min(1.0, 0.95 / max(peak, 1e-9))).astype(np.float32)
    path = _path_in_band(take, samples) if (take.source, condition) == ("recorded", "phone") else take.path_cents
    return replace(take, condition=condition, samples=scaled, path_cents=path)


def _path_in_band(take: BenchTake, samples: Floats) -> NDArray[np.float32]:
    """The path moved to the least-squares period of ``samples`` along it."""
    path, ms = take.path_cents.astype(np.float64), np.arange(len(take.path_cents))
    sounding = np.isfinite(path)
    at_ms = np.arange(len(samples)) * 1000.0 / RATE_HZ
    bent_hz = take.arrival_hz * 2.0 ** (np.interp(at_ms, ms[sounding], path[sounding]) / 1200.0)
    moved = 1200.0 * np.log2(refined_path(samples, bent_hz) / bent_hz)
    return (path + np.interp(ms, at_ms, moved)).astype(np.float32)


def all_takes(count: int = 112, *, source: str = "recorded") -> Iterator[BenchTake]:
    """The first ``count`` takes, each in one condition after the other: 112 are sixteen in each, four a family."""
    conditions = list(CONDITIONS)
    for number in range(count):
        yield in_condition(make_take(number, source=source), conditions[(number // len(FAMILIES)) % len(conditions)])


def main(folder: str) -> None:
    """Write takes to listen to."""
    Path(folder).mkdir(parents=True, exist_ok=True)
    for take in all_takes(28):
        name = f"{take.number:03}-{take.family}-{take.condition.replace(' ', '-')}.wav"
        write_wav(Path(folder) / name, take.samples, sample_rate_hz=RATE_HZ)
        print(name, [round(attempt.landing_cents, 1) for attempt in take.attempts])


if __name__ == "__main__":
    main(sys.argv[1])
