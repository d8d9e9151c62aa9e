"""Synthetic takes with known truth: attempts at one shift, played by the bowed-string synthesiser.

Conventions: cents count from the arrival's target, + is sharp; times are seconds from the start of the take, + late is
late. ``arrival_s`` in the truth is where the path comes within 10 cents of the landing for good, the definition of
docs/measures.md applied to the noiseless path. The truth keeps the path itself, so any other definition can be applied.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil

import numpy as np
from numpy.typing import NDArray

from truestop.sounding.bowed import Floats, Samples, bow_envelope, minimum_jerk, sound_string
from truestop.sounding.clicks import add_clicks

_ARRIVAL_BAND_CENTS = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedAttempt:
    """How one attempt is to be played. Cents errors are against the written pitches."""

    landing_cents: float = 0.0
    departure_cents: float = 0.0
    departure_s: float = 0.7
    """How long the departure note is held before the hand leaves."""
    slide_s: float = 0.18
    arrival_s: float = 0.9
    """How long the arrival sounds, the landing, a correction and the release within it."""
    overshoot_cents: float = 0.0
    """How far the slide runs past the landing before it settles, without resting there."""
    overshoot_s: float = 0.09
    correct_to_cents: float | None = None
    """Where the finger is moved after the landing; None where it stays."""
    correct_after_s: float = 0.25
    correct_s: float = 0.09
    vibrato_hz: float = 5.6
    vibrato_cents: float = 0.0
    """Half the swing; 0 for none."""
    vibrato_after_s: float = 0.0
    """From the landing on; 0 is from the first moment."""
    late_s: float = 0.0
    """Against the click, where there is one."""
    guide_cents: float | None = None
    """Landing of the guide finger against its announced note; None where it does not stop there."""
    guide_rest_s: float = 0.35
    silent_s: float = 0.0
    """A silence in place of the slide (a rest, a lifted hand)."""
    bow_change: bool = False
    """A new bow at the end of the slide."""
    gap_s: float = 0.5
    """Silence after the attempt."""
    level: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueAttempt:
    """What really happened in one attempt of a take."""

    start_s: float
    departure_s: float
    """Where the hand leaves (within 10 cents of the departure for the last time)."""
    arrival_s: float
    end_s: float
    landing_cents: float
    departure_cents: float
    settled_cents: float
    played: PlayedAttempt


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedTake:
    """A take and its truth. ``path_cents`` is the sounding path against the arrival's target, one value a millisecond
    (NaN in silence); ``beats_s`` are the clicks on which the arrivals should fall."""

    samples: Samples
    sample_rate_hz: int
    attempts: tuple[TrueAttempt, ...]
    path_cents: NDArray[np.float32]
    beats_s: tuple[float, ...] = ()
    clicks_s: tuple[float, ...] = ()


@dataclass(slots=True)
class _Line:
    """Path and bow under construction, per sample."""

    rate: int
    cents: list[Floats] = field(default_factory=list)
    level: list[Floats] = field(default_factory=list)
    n: int = 0

    @property
    def now_s(self) -> float:
        return self.n / self.rate

    def add(self, cents: Floats, level: Floats | float) -> None:
        self.cents.append(cents)
        self.level.append(np.broadcast_to(level, cents.shape).astype(np.float64))
        self.n += len(cents)

    def hold(self, cents: float, seconds: float, level: float = 1.0) -> None:
        self.add(np.full(max(round(seconds * self.rate), 0), float(cents)), level)

    def move(self, start: float, end: float, seconds: float) -> None:
        n = max(round(seconds * self.rate), 1)
        self.add(start + (end - start) * minimum_jerk((np.arange(n) + 0.5) / n), 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedTake:
    """The path of a take and its bow, per sample, before anything sounds. ``cents`` count from the arrival's target."""

    cents: Floats
    level: Floats
    attempts: tuple[TrueAttempt, ...]
    beats_s: tuple[float, ...]

    def path_each_ms(self, sample_rate_hz: int) -> NDArray[np.float32]:
        """The path once a millisecond, NaN where nothing sounds."""
        count = int(1000 * len(self.cents) / sample_rate_hz)
        at = (np.arange(count) * sample_rate_hz / 1000).astype(int)
        return np.where(self.level[at] > 0.02, self.cents[at], np.nan).astype(np.float32)


def trace_take(
    attempts: Sequence[PlayedAttempt],
    *,
    departure_hz: float,
    arrival_hz: float,
    rng: np.random.Generator,
    sample_rate_hz: int = 44100,
    guide_hz: float | None = None,
    pulse_bpm: float | None = None,
    wander_cents: float = 0.8,
    lead_s: float = 0.4,
    tail_s: float = 0.4,
) -> TracedTake:
    """The path of ``attempts`` at the shift from ``departure_hz`` to ``arrival_hz``, with its truth.

    With ``pulse_bpm`` each departure is lengthened so that the arrival falls ``late_s`` after a click. ``wander_cents``
    is the RMS of the bow's slow wander around the path (it is part of the sounding path, not of the landing's truth).
    ``guide_hz`` is the announced guide note for attempts that stop there.
    """
    line = _Line(sample_rate_hz)
    line.hold(0.0, lead_s, 0.0)
    truths, beats = [], []
    interval = 1200.0 * float(np.log2(departure_hz / arrival_hz))
    guide = 1200.0 * float(np.log2(guide_hz / arrival_hz)) if guide_hz else None
    for played in attempts:
        truth, beat = _play(line, played, interval, guide, pulse_bpm)
        truths.append(truth)
        beats.append(beat)
    line.hold(0.0, tail_s, 0.0)
    cents = np.concatenate(line.cents)
    return TracedTake(cents=cents + _wander(len(cents), sample_rate_hz, wander_cents, rng),
                      level=np.concatenate(line.level), attempts=tuple(truths),
                      beats_s=tuple(beats) if pulse_bpm else ())  # fmt: skip


def render_take(
    attempts: Sequence[PlayedAttempt],
    *,
    departure_hz: float,
    arrival_hz: float,
    rng: np.random.Generator,
    family: str = "violin",
    sample_rate_hz: int = 44100,
    guide_hz: float | None = None,
    pulse_bpm: float | None = None,
    clicks_audible: bool = True,
    wander_cents: float = 0.8,
    lead_s: float = 0.4,
    tail_s: float = 0.4,
    floor_db: float = -78.0,
) -> RenderedTake:
    """A take as ``trace_take`` plans it, sounded on ``family``'s voice over a noise floor; seeded by ``rng``.

    The clicks are heard in the take unless ``clicks_audible`` is false.
    """
    traced = trace_take(attempts, departure_hz=departure_hz, arrival_hz=arrival_hz, rng=rng, lead_s=lead_s,
                        sample_rate_hz=sample_rate_hz, guide_hz=guide_hz, pulse_bpm=pulse_bpm, tail_s=tail_s,
                        wander_cents=wander_cents)  # fmt: skip
    tone = sound_string(arrival_hz * 2.0 ** (traced.cents / 1200.0), sample_rate_hz=sample_rate_hz, family=family,
                        level=traced.level, rng=rng)  # fmt: skip
    samples = tone + (10.0 ** (floor_db / 20.0) * rng.standard_normal(len(tone))).astype(np.float32)
    clicks = _clicks(len(samples) / sample_rate_hz, pulse_bpm)
    if pulse_bpm and clicks_audible:
        samples = add_clicks(samples, clicks, sample_rate_hz=sample_rate_hz, level_db=-26.0)
    return RenderedTake(samples=samples, sample_rate_hz=sample_rate_hz, attempts=traced.attempts, clicks_s=clicks,
                        path_cents=traced.path_each_ms(sample_rate_hz), beats_s=traced.beats_s)  # fmt: skip


def _play(
    line: _Line, played: PlayedAttempt, interval: float, guide: float | None, pulse_bpm: float | None
) -> tuple[TrueAttempt, float]:
    start_s, first = line.now_s, len(line.cents)
    leaving = interval + played.departure_cents
    way = [leaving]
    if played.guide_cents is not None and guide is not None:
        way.append(guide + played.guide_cents)
    hold_s, beat_s = _departure_length(line.now_s, played, way, pulse_bpm)
    line.hold(leaving, hold_s)
    slide_s = 0.0 if played.silent_s else played.slide_s
    departure_s = line.now_s + _band_crossing_s(leaving, [*way, played.landing_cents][1], slide_s)
    arrival_s = _travel(line, played, way)
    _rest(line, played)
    _bow(line, first, played)
    end_s = line.now_s
    line.hold(0.0, played.gap_s, 0.0)
    settled = played.landing_cents if played.correct_to_cents is None else played.correct_to_cents
    truth = TrueAttempt(start_s=start_s, departure_s=departure_s, arrival_s=arrival_s, end_s=end_s,
                        landing_cents=played.landing_cents, departure_cents=played.departure_cents,
                        settled_cents=settled, played=played)  # fmt: skip
    return truth, beat_s


def _departure_length(
    now_s: float, played: PlayedAttempt, way: list[float], pulse_bpm: float | None
) -> tuple[float, float]:
    """How long to hold the departure, and the beat on which the arrival should fall (nan without a pulse)."""
    guided = len(way) > 1
    rest_s = (played.guide_rest_s + 0.012 if guided else 0.0) + played.silent_s
    slide_s = 0.0 if played.silent_s else played.slide_s
    tail_s = 0.0 if guided or played.silent_s else _band_crossing_s(way[-1], played.landing_cents, played.slide_s)
    travel_s = slide_s + rest_s - tail_s
    if pulse_bpm is None:
        return played.departure_s, float("nan")
    beat = 60.0 / pulse_bpm
    beat_s = beat * ceil((now_s + played.departure_s + travel_s - played.late_s) / beat)
    return beat_s + played.late_s - travel_s - now_s, beat_s


def _travel(line: _Line, played: PlayedAttempt, way: list[float]) -> float:
    """Append what lies between departure and landing; the arrival time, within 10 cents of the landing for good."""
    landing = played.landing_cents
    if played.silent_s:
        line.hold(landing, played.silent_s, 0.0)
        return line.now_s
    if len(way) > 1:
        line.move(way[0], way[1], played.slide_s)
        line.hold(way[1], played.guide_rest_s)
        line.move(way[1], landing, 0.012)
        return line.now_s
    line.move(way[0], landing, played.slide_s)
    arrival_s = line.now_s - _band_crossing_s(way[0], landing, played.slide_s)
    if not played.overshoot_cents:
        return arrival_s
    onward = float(np.sign(landing - way[0]))
    n = round(played.overshoot_s * line.rate)
    u = (np.arange(n) + 0.5) / n
    bump = onward * abs(played.overshoot_cents) * np.sin(np.pi * u) ** 2
    line.add(landing + bump, 1.0)
    outside = np.flatnonzero(np.abs(bump) > _ARRIVAL_BAND_CENTS)
    return line.now_s - (n - 1 - outside[-1]) / line.rate if len(outside) else arrival_s


def _rest(line: _Line, played: PlayedAttempt) -> None:
    """The arrival note from the landing on: rest, correction, vibrato."""
    n = round(played.arrival_s * line.rate)
    t = np.arange(n) / line.rate
    cents = np.full(n, float(played.landing_cents))
    if played.correct_to_cents is not None:
        u = np.clip((t - played.correct_after_s) / played.correct_s, 0.0, 1.0)
        cents += (played.correct_to_cents - played.landing_cents) * minimum_jerk(u)
    if played.vibrato_cents:
        since = np.maximum(t - played.vibrato_after_s, 0.0)
        grown = np.clip(since / 0.06, 0.0, 1.0) if played.vibrato_after_s else 1.0
        cents -= grown * played.vibrato_cents * np.sin(2.0 * np.pi * played.vibrato_hz * since)
    line.add(cents, 1.0)


def _bow(line: _Line, first: int, played: PlayedAttempt) -> None:
    """Give the attempt's pieces from ``first`` on their bow strokes, each between silences."""
    pieces = line.level[first:]
    whole = np.concatenate(pieces)
    sounding = whole > 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], sounding, [False]]).astype(np.int8)))
    for begin, end in edges.reshape(-1, 2):
        whole[begin:end] = bow_envelope(end - begin, sample_rate_hz=line.rate) * played.level
    if played.bow_change:
        at = len(whole) - round(played.arrival_s * line.rate)
        distance = np.abs(np.arange(len(whole)) - at) / (0.018 * line.rate)
        whole *= 1.0 - 0.85 * np.where(distance < 1.0, 0.5 + 0.5 * np.cos(np.pi * np.minimum(distance, 1.0)), 0.0)
    line.level[first:] = np.split(whole, np.cumsum([len(piece) for piece in pieces])[:-1])


def _band_crossing_s(start: float, end: float, seconds: float) -> float:
    """How long before its end a minimum-jerk move is within 10 cents of it for good (the same after its start)."""
    distance = abs(end - start)
    if distance <= _ARRIVAL_BAND_CENTS:
        return seconds
    u = np.linspace(0.0, 1.0, 2001)
    return float(seconds * np.interp(_ARRIVAL_BAND_CENTS / distance, minimum_jerk(u), u))


def _wander(n: int, rate: int, rms_cents: float, rng: np.random.Generator) -> Floats:
    """Slow seeded wander with its power below about 8 Hz, RMS ``rms_cents``."""
    count = max(int(n / rate * 16.0) + 4, 8)
    knots = rng.standard_normal(count)
    if not rms_cents:
        return np.zeros(n)
    smooth = np.convolve(knots, (0.25, 0.5, 0.25), mode="same")
    fine = np.interp(np.linspace(0.0, count - 1.0, n), np.arange(count), smooth)
    return np.asarray(rms_cents * fine / max(float(np.std(fine)), 1e-9), dtype=np.float64)


def _clicks(duration_s: float, pulse_bpm: float | None) -> tuple[float, ...]:
    if pulse_bpm is None:
        return ()
    beat = 60.0 / pulse_bpm
    return tuple(beat * index for index in range(int(duration_s / beat) + 1))
