"""The built-in example: an invented player works on an own study, with takes whose truth is known.

Mirela Oduya prepares 'Slack Water' for the class of Jonas Pellworm. Both are invented. Over three days she drills two
of its shifts; every take is played by the bowed-string synthesiser, seeded, so that each verdict can be checked.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

import numpy as np

from truestop.app.mainjob import InHand, expect
from truestop.domain.attempt import Verdict
from truestop.domain.shift import Shift
from truestop.sounding.takes import PlayedAttempt, RenderedTake, render_take

PLAYER = "Mirela Oduya"
STUDY = "study.musicxml"
A4_HZ = 440.0
DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoTake:
    """One take of the example. ``days_ago`` places it; ``truth`` is the verdict each attempt deserves."""

    file: str
    from_note: str
    """The departure's note id in the study."""
    days_ago: int
    stage: str
    played: tuple[PlayedAttempt, ...]
    truth: tuple[Verdict, ...]
    pulse_bpm: float | None = None


def _low(cents: float) -> PlayedAttempt:
    return PlayedAttempt(landing_cents=-cents, departure_cents=1.5)


def _high(cents: float) -> PlayedAttempt:
    return PlayedAttempt(landing_cents=cents, departure_cents=-2.0, overshoot_cents=12.0)


def _true(cents: float, *, vibrato: float = 0.0) -> PlayedAttempt:
    return PlayedAttempt(landing_cents=cents, vibrato_cents=vibrato, vibrato_after_s=0.3, arrival_s=1.2)


def _corrected(cents: float) -> PlayedAttempt:
    return PlayedAttempt(landing_cents=cents, correct_to_cents=2.0, correct_after_s=0.28, arrival_s=1.3)


def _timed(cents: float, late_s: float) -> PlayedAttempt:
    return PlayedAttempt(landing_cents=cents, late_s=late_s, departure_s=1.2)


TRUE, HIGH, LOW, CORRECTED, LATE = Verdict.TRUE, Verdict.HIGH, Verdict.LOW, Verdict.CORRECTED, Verdict.LATE

TAKES = (
    DemoTake(
        file="1-first-evening.wav", from_note="m2n1", days_ago=2, stage="plain",
        played=(_low(34.0), _high(27.0), _corrected(-31.0), _low(26.0), _true(-8.0), _true(5.0)),
        truth=(LOW, HIGH, CORRECTED, LOW, TRUE, TRUE),
    ),
    DemoTake(
        file="2-next-day.wav", from_note="m2n1", days_ago=1, stage="plain",
        played=(_low(25.0), _true(-12.0), _true(-6.0, vibrato=18.0), _corrected(28.0), _true(3.0)),
        truth=(LOW, TRUE, TRUE, CORRECTED, TRUE),
    ),
    DemoTake(
        file="3-with-the-click.wav", from_note="m2n1", days_ago=0, stage="in time", pulse_bpm=60.0,
        played=(_timed(-4.0, 0.0), _timed(6.0, 0.19), _timed(-9.0, 0.01), _timed(2.0, 0.24)),
        truth=(TRUE, LATE, TRUE, LATE),
    ),
    DemoTake(
        file="4-across-the-strings.wav", from_note="m7n3", days_ago=0, stage="plain",
        played=(_high(32.0), _high(29.0), _high(24.0), _true(11.0), _high(28.0)),
        truth=(HIGH, HIGH, HIGH, TRUE, HIGH),
    ),
)  # fmt: skip


def study_bytes() -> bytes:
    """The built-in study as MusicXML."""
    return files("truestop.demo").joinpath(STUDY).read_bytes()


def shift_from(in_hand: InHand, note_id: str) -> Shift:
    """The shift that leaves from a note of the study."""
    return next(shift for shift in in_hand.way.shifts if any(stop.note_id == note_id for stop in shift.departure))


def play(in_hand: InHand, take: DemoTake, *, seed: int) -> RenderedTake:
    """The take as sound, with its truth. The same seed gives the same samples."""
    expectation = expect(in_hand, shift_from(in_hand, take.from_note), stage=take.stage)
    return render_take(
        take.played,
        departure_hz=expectation.departure.hz,
        arrival_hz=expectation.arrival.hz,
        rng=np.random.default_rng(seed),
        family=in_hand.instrument.family,
        pulse_bpm=take.pulse_bpm,
    )
