"""A pitch tracker that knows which two notes are coming.

Blocks of any size go in; frames at fixed places of the take come out, each from a window around it and from nothing
else, so the cutting of the blocks never shows. How a frame is worked out: frames.py.

Conventions: times in seconds from the first sample, at the middle of the window; frequencies in Hz; levels in dB re
full scale. float32 in, float64 out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from truestop.listening.forgetting import Fading
from truestop.listening.frames import Analysis, Floats, Frames, Plan, Samples, overlapping, thin
from truestop.listening.tailing import Tail

DEEPEST_LEVEL_DB = -66.0
"""Nothing below this is called a sound."""
FADE_DB = 40.0
"""Nothing this far below the loudest of the last seconds is called a sound."""
LEAST_SHARE, LOW_NOTES_MORE = 0.38, 0.35
"""Less of the sound on the harmonics is no single pitch; more is asked where noise, too, mostly lies on harmonics."""
BLURRING_PER_S, BLURRED_SHARE = 6.0, 0.65
"""A glide this fast, relative to its pitch, smears its harmonics: less will do, down to this part."""
LATELY_S, LATELY_SHARE, DIPPED_SHARE = 0.03, 0.88, 0.3
"""Where the share of the last moments is enough, a frame may fall to this part of it: rough low notes dip, and noise,
whose single frames may reach the least share, never does so for long."""
LEAST_ODD_SHARE = 0.02
UNCLEAR_SE_CENTS, NEAR_OCTAVE_CENTS = 12.0, 150.0
"""A frame whose harmonics disagree more than this, and that lies this near an octave off the last clear one, has no
pitch: in a room a low note's harmonics, some of them still in its tail, may line up best there for a moment."""
LOUDEST = 100.0
"""Samples are held within this, in full scales: a broken file must not overflow."""
PIECE = 1 << 16
"""Longer blocks are taken in piece by piece."""
FRAMES_LIVE = 2
FRAMES_FILE = 640


@dataclass(frozen=True, slots=True, kw_only=True)
class PitchTrack:
    """Frames of a take. All arrays have one value a frame; ``f0_hz`` is NaN where no single pitch is heard."""

    times_s: Floats
    f0_hz: Floats
    se_cents: Floats
    """Standard error of one frame's pitch, from how much its harmonics disagree."""
    share: Floats
    """Share of the sound in the band that lies on the harmonics, 0…1."""
    level_db: Floats
    clipped: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.times_s)

    @classmethod
    def joined(cls, parts: list[PitchTrack]) -> PitchTrack:
        """Parts of one take, in order."""
        if len(parts) < 2:
            return parts[0] if parts else NO_FRAMES
        return cls(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in cls.__slots__})


NO_FRAMES = PitchTrack(
    **{name: np.empty(0) for name in ("times_s", "f0_hz", "se_cents", "share", "level_db")},
    clipped=np.empty(0, np.bool_),
)
"""A track of no length."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Some frames of a take, ready to be read: windows thinned to the plan's rate, with those beside them asked for."""

    times_s: Floats
    windows: Samples
    clipped: NDArray[np.bool_]


class Cutter:
    """Cuts a take that comes in blocks of any size into frames at fixed places, with ``beside`` more on either side."""

    def __init__(self, plan: Plan, *, frames_at_once: int, beside: int = 0) -> None:
        self._plan = plan
        self._beside = beside
        self._at_once = frames_at_once
        reach = len(plan.filter) // 2
        self._raw = np.zeros(reach + (plan.half + beside * plan.hop) * plan.step, np.float32)
        self._frame = 0
        self._fed = self._taken = 0
        self._waiting: list[Samples] = []
        self._rows = plan.hop * plan.step
        self._least = self._needed(frames_at_once)

    def feed(self, block: Samples) -> Iterator[Cut]:
        """The frames that ``block`` completes, perhaps none."""
        samples = np.asarray(block, np.float32)
        for a in range(0, len(samples), PIECE):
            piece = samples[a : a + PIECE]
            self._fed += len(piece)
            self._waiting.append(piece)
            if len(self._raw) + self._fed - self._taken >= self._least:
                self._take_in()
                while len(self._raw) >= self._least:
                    yield self._cut(self._at_once)

    def _take_in(self) -> None:
        """Blocks are kept as they come and put together when there are enough for a frame."""
        if self._waiting:
            self._raw = np.concatenate((self._raw, _sound_only(np.concatenate(self._waiting))))
        self._waiting, self._taken = [], self._fed

    def finish(self) -> Iterator[Cut]:
        """The last frames, the take followed by silence."""
        self._take_in()
        wanted = ceil(self._fed / self._rows) - self._frame
        if wanted <= 0:
            return
        short = self._needed(wanted) - len(self._raw)
        self._raw = np.concatenate((self._raw, np.zeros(max(short, 0), np.float32)))
        yield self._cut(wanted)

    def _needed(self, frames: int) -> int:
        plan = self._plan
        return int(((frames + 2 * self._beside - 1) * plan.hop + 2 * plan.half) * plan.step + len(plan.filter))

    def _cut(self, frames: int) -> Cut:
        plan = self._plan
        raw = self._raw[: self._needed(frames)]
        thinned = thin(raw, plan)
        windows = overlapping(thinned, 2 * plan.half + 1, plan.hop)[: frames + 2 * self._beside]
        clipped = _clipped(raw[self._beside * self._rows :], plan, frames)
        self._raw = self._raw[frames * self._rows :]
        times_s = np.asarray((self._frame + np.arange(frames)) * (self._rows / plan.sample_rate_hz), np.float64)
        self._frame += frames
        return Cut(times_s, windows, clipped)


class Loudness:
    """The loudest level so far, forgotten by 3 dB a second."""

    def __init__(self, plan: Plan) -> None:
        self._fall_db = 3.0 * plan.hop / plan.rate_hz
        self._loudest_db = -200.0

    def feed(self, level_db: Floats) -> Floats:
        """The loudest at every frame."""
        fall = self._fall_db * np.arange(1, len(level_db) + 1)
        risen = np.maximum.accumulate(np.maximum(level_db + fall, self._loudest_db))
        loud = risen - fall
        self._loudest_db = float(loud[-1])
        return np.asarray(loud)


class Tracker:
    """Feed blocks, get frames. ``frames_at_once`` only trades speed for delay."""

    def __init__(self, plan: Plan, *, frames_at_once: int = FRAMES_LIVE) -> None:
        self.plan = plan
        self._analysis = Analysis(plan)
        self._cutter = Cutter(plan, frames_at_once=frames_at_once)
        self._loudness = Loudness(plan)
        self._tail = Tail(plan)
        keep = float(np.exp(-plan.hop / plan.rate_hz / LATELY_S))
        self._lately = Fading(keep, weight=1.0 - keep)
        self._clear_hz = np.full(1, np.nan)
        self._least_share = LEAST_SHARE + LOW_NOTES_MORE * min(0.8, 3.0 * plan.bin_hz / plan.low_hz)

    def feed(self, block: Samples) -> PitchTrack:
        """The frames that ``block`` completes, perhaps none."""
        return self._read(self._cutter.feed(block))

    def finish(self) -> PitchTrack:
        """The last frames, the take followed by silence."""
        return self._read(self._cutter.finish())

    def _read(self, cuts: Iterator[Cut]) -> PitchTrack:
        return PitchTrack.joined([self._track(cut) for cut in cuts])

    def _track(self, cut: Cut) -> PitchTrack:
        found = self._analysis.read(cut.windows)
        heard = self._is_heard(found, self._loudness.feed(found.level_db))
        return PitchTrack(
            times_s=cut.times_s,
            f0_hz=np.where(heard, self._tail.feed(found), np.nan),
            se_cents=found.se_cents,
            share=found.share,
            level_db=found.level_db,
            clipped=cut.clipped,
        )

    def _is_heard(self, found: Frames, loud_db: Floats) -> NDArray[np.bool_]:
        least = self._least_share
        loud = (found.level_db > DEEPEST_LEVEL_DB) & (found.level_db > loud_db - FADE_DB)
        blurred = least * np.maximum(1.0 / (1.0 + (found.slope_per_s / BLURRING_PER_S) ** 2), BLURRED_SHARE)
        lately = self._lately.feed(found.share[None])[0]
        dips = (lately > LATELY_SHARE * least) & (found.share > DIPPED_SHARE * least)
        single = ((found.share > blurred) | dips) & (found.odd_share > LEAST_ODD_SHARE)
        return np.asarray(loud & single & ~self._slips_to_octave(found))

    def _slips_to_octave(self, found: Frames) -> NDArray[np.bool_]:
        """Frames that are unclear and about an octave off the last one that was clear."""
        unclear = found.se_cents > UNCLEAR_SE_CENTS
        if not unclear.any():
            self._clear_hz = found.f0_hz[-1:]
            return unclear
        pitches = np.concatenate((self._clear_hz, found.f0_hz))
        last = np.maximum.accumulate(np.where(unclear, 0, np.arange(1, len(unclear) + 1)))
        clear_hz = pitches[last]
        self._clear_hz = clear_hz[-1:]
        off_octaves = np.abs(np.abs(np.log2(found.f0_hz / clear_hz)) - 1.0)
        return np.asarray(unclear & (off_octaves < NEAR_OCTAVE_CENTS / 1200.0))


def _sound_only(block: Samples) -> Samples:
    """``block`` without what is no number, and within bounds."""
    if float(np.abs(block).max(initial=0.0)) <= LOUDEST:
        return block
    return np.asarray(np.clip(np.nan_to_num(block, nan=0.0, posinf=1.0, neginf=-1.0), -LOUDEST, LOUDEST), np.float32)


def _clipped(raw: Samples, plan: Plan, frames: int) -> NDArray[np.bool_]:
    """Frames in whose hop three samples in a row stay at one extreme value close to full scale."""
    start = plan.half * plan.step + len(plan.filter) // 2 - plan.hop * plan.step // 2
    part = raw[start : start + frames * plan.hop * plan.step]
    full = np.abs(part) >= 0.985
    if not full.any():
        return np.zeros(frames, np.bool_)
    flat = np.zeros(len(part), np.bool_)
    flat[2:] = full[2:] & full[1:-1] & full[:-2]
    flat[2:] &= np.abs(part[2:] - part[:-2]) < 2e-3
    whole = np.zeros(frames * plan.hop * plan.step, np.bool_)
    whole[: len(flat)] = flat
    return np.asarray(whole.reshape(frames, -1).any(axis=1))


def track_pitch(samples: Samples, sample_rate_hz: float, low_hz: float, high_hz: float) -> PitchTrack:
    """The whole take at once: the same frames as fed in blocks."""
    tracker = Tracker(Plan(sample_rate_hz, low_hz, high_hz), frames_at_once=FRAMES_FILE)
    return PitchTrack.joined([tracker.feed(samples), tracker.finish()])
