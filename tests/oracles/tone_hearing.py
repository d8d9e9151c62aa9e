"""Reference tones heard from outside: Praat for pitch, ITU-R BS.1770-4 for loudness, and what should sound when.

Conventions: what *should* sound is worked out here anew, from spelling, tuning system and metre; what *does* sound is
measured by Praat (Boersma 1993, through praat-parselmouth). Praat's own uncertainty at a pitch is its greatest error on
an exact sine and exact sawtooths (one with its fundamental at a tenth, as bodies pass low notes) of that pitch, length
and search range, swelling as the first seconds do (a swell alone moves Praat by thousandths of a cent), plus 0.001 cent
for rounding.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import parselmouth
import scipy.signal
from parselmouth.praat import call

from truestop.app.mainjob import InHand
from truestop.app.tones import GUIDE_NOTE_S, NOTE_S, SLIDE_S, RenderedTones, SoundedPart
from truestop.domain.pitch import Pitch
from truestop.sounding.tones import FINGER_DROP_S, QUIET_START_S, RATE_HZ, starting_quiet

SETTLED_S = 0.15
"""Left out at either end of a note: the bow's attack and the next finger."""
_LONGEST_S = 1.2
_LOWEST_SEARCH_HZ = 20.0
_ROUNDING_CENTS = 0.001
_STEADY_FROM = round(QUIET_START_S * RATE_HZ)
_FIFTH_CENTS = 1200.0 * np.log2(1.5)
_FIFTHS = {"F": -4, "C": -3, "G": -2, "D": -1, "A": 0, "E": 1, "B": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sung:
    """One note that should sound: when, and every pitch of it."""

    kind: str
    from_s: float
    to_s: float
    notes_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One pitch as Praat hears it beside what it should be."""

    kind: str
    target_hz: float
    off_cents: float
    uncertainty_cents: float

    @property
    def within(self) -> bool:
        """Whether the difference is no more than Praat's own uncertainty."""
        return abs(self.off_cents) <= self.uncertainty_cents


def closed_form_hz(pitch: Pitch, *, system: str, a4_hz: float) -> float:
    """Equal temperament by semitones; the Pythagorean line by pure fifths from A, octave-reduced by the letter."""
    if system == "equal":
        return a4_hz * float(2.0 ** ((pitch.midi - 69) / 12))
    fifths = _FIFTHS[pitch.step] + 7 * pitch.alter
    cents = fifths * _FIFTH_CENTS
    near = 100.0 * (pitch.midi - 69)
    return a4_hz * float(2.0 ** ((cents + 1200.0 * round((near - cents) / 1200.0)) / 1200.0))


def sung(in_hand: InHand, rendered: RenderedTones, bpm: float) -> Iterator[Sung]:
    """Every note of every part, where it should be at rest; of a phrase, from the score's own metre at ``bpm``."""
    for part in rendered.parts:
        if part.kind == "phrase":
            yield from _phrase(in_hand, part, bpm)
        elif part.kind != "count-in":
            for from_s, length_s, notes_hz in _rests(in_hand, part):
                yield Sung(kind=part.kind, from_s=part.start_s + from_s, to_s=part.start_s + from_s + length_s,
                           notes_hz=notes_hz)  # fmt: skip


def _rests(in_hand: InHand, part: SoundedPart) -> Iterator[tuple[float, float, tuple[float, ...]]]:
    """Begin after the part's start, length, and pitches of each of a part's rests."""
    hz = _targets(in_hand, part)
    if part.kind in ("arrival", "drone"):
        yield 0.0, part.end_s - part.start_s, hz
        return
    shift = in_hand.shift(part.shift or 0)
    if part.kind == "interval" or not shift.guide:
        n = len(shift.departure)
        yield 0.0, NOTE_S, hz[:n]
        yield part.end_s - part.start_s - NOTE_S, NOTE_S, hz[n:]
        return
    voices, at = len(shift.guide), 0.0
    whole = len(hz) // voices * voices
    together = [hz[first : first + voices] for first in range(0, whole, voices)]
    together[-1] += hz[whole:]
    for index, notes_hz in enumerate(together):
        yield at, GUIDE_NOTE_S, notes_hz
        at += GUIDE_NOTE_S + (SLIDE_S if index == 0 else FINGER_DROP_S)


def _targets(in_hand: InHand, part: SoundedPart) -> tuple[float, ...]:
    """The pitches of a part in closed form where the system has one, else as the part announces them.

    Everything but drone, departure and a guide's beginning is moved by the part's ``off_cents``, open strings never.
    """
    setup = in_hand.setup
    if setup.system not in ("equal", "pythagorean"):
        return tuple(value for _, value in part.sounds)
    shift = in_hand.shift(part.shift) if part.shift else None
    kept = {"arrival": 0, "drone": len(part.sounds)}.get(part.kind, len(shift.departure) if shift else 0)
    if part.kind == "guide" and shift and shift.guide:
        kept = len(shift.guide)
    opened = {stop.pitch.name for stop in shift.arrival if stop.is_open} if shift else set()
    named = [(name, index >= kept and name not in opened) for index, (name, _) in enumerate(part.sounds)]
    return tuple(
        closed_form_hz(Pitch.parse(name), system=setup.system, a4_hz=setup.a4_hz)
        * 2.0 ** (part.off_cents * moved / 1200.0)
        for name, moved in named
    )


def _phrase(in_hand: InHand, part: SoundedPart, bpm: float) -> Iterator[Sung]:
    passage, setup = in_hand.fingered.passage, in_hand.setup
    first = min(note.onset for note in passage.notes)
    by_onset: dict[object, list[float]] = {}
    ends = {}
    for note in passage.notes:
        hz = closed_form_hz(note.pitch, system=setup.system, a4_hz=setup.a4_hz)
        by_onset.setdefault(note.onset, []).append(hz)
        ends[note.onset] = note.onset + note.duration
    for onset, end in ends.items():
        begin_s, end_s = (part.start_s + float(at - first) * 60.0 / bpm for at in (onset, end))
        yield Sung(kind="phrase", from_s=begin_s, to_s=end_s, notes_hz=tuple(by_onset[onset]))


def hear(rendered: RenderedTones, note: Sung) -> list[Heard]:
    """Each pitch of a note as Praat hears it; of two at once, each by the band around its fundamental."""
    rate = rendered.sample_rate_hz
    from_s = note.from_s + SETTLED_S
    longest_s = _LONGEST_S * (1 if len(note.notes_hz) == 1 else 3)
    begin, end = (round(at * rate) for at in (from_s, min(note.to_s - SETTLED_S, from_s + longest_s)))
    stretch = rendered.samples[begin:end].astype(float)
    found = []
    for hz in note.notes_hz:
        others = tuple(round(other, 4) for other in note.notes_hz if other != hz)
        off = _cents_heard(stretch, rate, hz, others)
        known = praat_uncertainty(round(hz, 4), others, len(stretch), rate, min(begin, _STEADY_FROM))
        found.append(Heard(kind=note.kind, target_hz=hz, off_cents=off, uncertainty_cents=known))
    return found


def _cents_heard(samples: np.ndarray, rate: int, hz: float, others: Sequence[float]) -> float:
    alone = _band(samples, rate, hz, others) if others else samples
    return 1200.0 * float(np.log2(praat_hz(alone, rate, hz) / hz))


def praat_hz(samples: np.ndarray, rate: int, near_hz: float) -> float:
    """Median pitch by Praat's accurate autocorrelation, searched from 0.6 to 2.2 times ``near_hz`` (20 Hz at least)."""
    track = parselmouth.Sound(samples, rate).to_pitch_ac(
        pitch_floor=max(_LOWEST_SEARCH_HZ, 0.6 * near_hz), pitch_ceiling=2.2 * near_hz, very_accurate=True
    )
    values = track.selected_array["frequency"]
    return float(np.median(values[values > 0]))


@cache
def praat_uncertainty(hz: float, others: tuple[float, ...], n: int, rate: int, begin: int) -> float:
    """Praat's greatest error, in cents, on exact sines and sawtooths of these pitches, ``n`` samples long."""
    swell = starting_quiet(np.ones(begin + n))[begin:]
    exact = [
        sum(_partials(note_hz, n, rate, count=count, fundamental=fundamental) for note_hz in (hz, *others))
        for count, fundamental in ((1, 1.0), (30, 1.0), (30, 0.1))
    ]
    errors = [abs(_cents_heard(swell * tone, rate, hz, others)) for tone in exact]
    return max(errors) + _ROUNDING_CENTS


def _partials(hz: float, n: int, rate: int, *, count: int, fundamental: float) -> np.ndarray:
    """A sawtooth of so many partials, fewer where they would lie above 8 kHz; one partial is a sine."""
    t = np.arange(n) / rate
    levels = [fundamental, *(1.0 / k for k in range(2, min(max(int(8000.0 / hz), 1), count) + 1))]
    return np.sum([level * np.sin(2 * np.pi * hz * k * t) for k, level in enumerate(levels, start=1)], axis=0)


def _band(samples: np.ndarray, rate: int, hz: float, others: Sequence[float]) -> np.ndarray:
    """The stretch through Praat's Hann band around one fundamental, clear of all partials of the others; ends cut."""
    half = min(0.5 * abs(k * other - hz) for other in others for k in range(1, int(hz / other) + 2))
    half = min(half, 0.3 * hz)
    tapered = samples * scipy.signal.windows.tukey(len(samples), 0.5)
    band = call(parselmouth.Sound(tapered, rate), "Filter (pass Hann band)", hz - half, hz + half, half)
    cut = len(samples) // 4
    return np.asarray(band.values[0][cut:-cut])


def click_onsets_s(samples: np.ndarray, rate: int) -> np.ndarray:
    """When clicks begin: in the band above 1.2 kHz, each one's first rise above a tenth of its own peak."""
    high = np.abs(scipy.signal.sosfilt(scipy.signal.butter(4, 1200.0, "high", fs=rate, output="sos"), samples))
    loud = np.flatnonzero(high > 0.01 * high.max())
    begins = loud[np.flatnonzero(np.diff(loud, prepend=-rate) > 0.1 * rate)]
    clicks = [high[begin : begin + rate // 20] for begin in begins]
    return np.array([begin + np.argmax(click > 0.1 * click.max()) for begin, click in zip(begins, clicks)]) / rate


def loudness_lufs(samples: np.ndarray, rate: int) -> float:
    """Integrated loudness after ITU-R BS.1770-4: its filters at 48 kHz and both gates, figures from memory."""
    x = scipy.signal.resample_poly(samples.astype(float), 160, 147) if rate == 44100 else samples.astype(float)
    shelf = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
    high_pass = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
    weighted = scipy.signal.lfilter(*high_pass, scipy.signal.lfilter(*shelf, x))
    size, hop = 19200, 4800
    sums = np.concatenate([[0.0], np.cumsum(weighted**2)])
    starts = np.arange(0, len(weighted) - size + 1, hop)
    power = (sums[starts + size] - sums[starts]) / size
    power = power[power > 10 ** ((-70.0 + 0.691) / 10)]
    return float(-0.691 + 10 * np.log10(np.mean(power[power > 0.1 * np.mean(power)])))


def true_peak_db(samples: np.ndarray) -> float:
    """The highest value between the samples too, by fourfold oversampling as in BS.1770-4, Annex 2; in dBTP."""
    return float(20 * np.log10(np.abs(scipy.signal.resample_poly(samples.astype(float), 4, 1)).max()))


def bends(rendered: RenderedTones, notes: Sequence[Sung]) -> tuple[float, float]:
    """The largest second difference anywhere, and inside the notes at rest; a click is a bend that no tone has.

    Full scale is 1. A sound without clicks bends nowhere more than its tones do.
    """
    bend = np.abs(np.diff(rendered.samples.astype(float), n=2))
    rate = rendered.sample_rate_hz
    inside = [bend[round((note.from_s + SETTLED_S) * rate) : round((note.to_s - SETTLED_S) * rate)] for note in notes]
    return float(bend.max()), max(float(part.max(initial=0.0)) for part in inside)
