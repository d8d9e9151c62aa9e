"""An arrival judged by itself: where something else sounded in between and no slide can be heard.

Conventions: those of judging.py; the samples begin with the arrival note, not before it.
"""

from __future__ import annotations

from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.pitch import hz_to_cents
from truestop.listening.frames import Plan, Samples
from truestop.listening.gridding import Grid
from truestop.listening.judging import usable
from truestop.listening.notes import measure_note
from truestop.listening.resting import Travel
from truestop.listening.tracking import FRAMES_FILE, PitchTrack, Tracker
from truestop.listening.wording import make_attempt


def judge_arrival(samples: Samples, sample_rate_hz: float, expectation: Expectation) -> Attempt | None:
    """The attempt whose arrival note ``samples`` hold; None where the rate is out of range or there is no sound."""
    arrival_hz = expectation.arrival.hz
    if not len(samples) or not usable(sample_rate_hz, arrival_hz):
        return None
    tracker = Tracker(Plan(sample_rate_hz, arrival_hz, arrival_hz), frames_at_once=FRAMES_FILE)
    track = PitchTrack.joined([tracker.feed(samples), tracker.finish()])
    if not len(track):
        return None
    heard = Grid(arrival_hz).feed(track, last=True)
    travel = Travel(
        interval_cents=hz_to_cents(arrival_hz, expectation.departure.hz),
        silent=True,
        lowest_hz=arrival_hz,
        smoothing_ms=tracker.plan.smoothing_ms,
    )
    _, landing = measure_note(heard.cents, travel)
    return make_attempt(
        expectation,
        landing,
        start_ms=0,
        end_ms=len(heard.cents),
        cents=heard.cents,
        level_db=heard.level_db,
        clipped=heard.clipped.astype(float),
    )
