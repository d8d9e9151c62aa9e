"""The notes that an attempt is made of, one or the two of a double stop: how they are heard, measured and judged.

Conventions: milliseconds from the start of the take; cents above each note's own target. The note that leads comes
first: it says where attempts begin and end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from truestop.domain.attempt import Attempt, Expectation, Target
from truestop.domain.pitch import hz_to_cents
from truestop.listening.accompanying import find_beside, is_chord
from truestop.listening.beating import find_beats
from truestop.listening.contour import Cents, bridge, smooth, voiced_runs
from truestop.listening.frames import GLIDE_SHARE, Plan, Samples
from truestop.listening.gridding import Grid, Stretch
from truestop.listening.keeping import Contour
from truestop.listening.landing import Landing, Sighting, measure_landing, sight_landing
from truestop.listening.pairs import FRAMES_LIVE as PAIRS_LIVE
from truestop.listening.pairs import GLIDE_SHARE as PAIRS_GLIDE_SHARE
from truestop.listening.pairs import Pair, PairPlan, PairTracker
from truestop.listening.rehearing import Paths, Slide, hear_again, line_of_slide, set_about
from truestop.listening.resting import NEW_FINGER_CENTS, SETTLE_MS, Travel
from truestop.listening.segmenting import Begun, without_blips
from truestop.listening.straightening import freed, straightened
from truestop.listening.tracking import FRAMES_FILE, FRAMES_LIVE, PitchTrack, Tracker
from truestop.listening.turning import Kept, turn_back
from truestop.listening.weighing import weigh_again
from truestop.listening.wording import covers, join_notes, make_attempt

LEAST_TRAVEL_CENTS = 90.0
"""A note that moves by less cannot show where an attempt begins."""

FADED_MS = 60
LOST_MS = 150
"""A pitch that comes back within this was lost and not left."""
CHORD_MS = 300
"""How much of the departure note is looked at for two strings."""
ECHO_SES = 5.5
"""A correction of fewer of the tracker's standard errors may be the tail of the slide dying away."""


class Hearing:
    """Feed a take, get the contours of its notes: one stretch a note, in the order of ``targets_hz``.

    More targets than tracks are the same notes against further targets.
    """

    def __init__(self, tracker: Tracker | PairTracker, targets_hz: Sequence[float]) -> None:
        self.smoothing_ms = tracker.plan.smoothing_ms
        self._tracker = tracker
        self._grids = [Grid(hz) for hz in targets_hz]

    def feed(self, block: Samples) -> tuple[Stretch, ...]:
        """What ``block`` completes."""
        return self._laid(self._tracker.feed(block), last=False)

    def finish(self) -> tuple[Stretch, ...]:
        """What is left."""
        return self._laid(self._tracker.finish(), last=True)

    def _laid(self, heard: PitchTrack | tuple[PitchTrack, PitchTrack], *, last: bool) -> tuple[Stretch, ...]:
        tracks: tuple[PitchTrack, ...] = heard if isinstance(heard, tuple) else (heard,)
        tracks *= len(self._grids) // len(tracks)
        return tuple(grid.feed(track, last=last) for grid, track in zip(self._grids, tracks, strict=True))


def make_hearing(
    expectation: Expectation, sample_rate_hz: float, *, live: bool, also: Expectation | None = None
) -> Hearing:
    """What hears the notes of ``expectation``: the lower note of a double stop first.

    The same notes are heard against the targets of ``also`` too, which arrives where ``expectation`` departs.
    """
    targets_hz = [hz for one in (expectation, also) if one is not None for hz in _targets_hz(one)]
    upper = expectation.upper_arrival
    if upper is None:
        low, high = span(expectation)
        at_once = FRAMES_LIVE if live else FRAMES_FILE
        return Hearing(Tracker(Plan(sample_rate_hz, low, high), frames_at_once=at_once), targets_hz)
    departure, arrival = _pairs(expectation, upper)
    at_once = PAIRS_LIVE if live else FRAMES_FILE
    tracker = PairTracker(PairPlan(sample_rate_hz, departure, arrival), frames_at_once=at_once)
    return Hearing(tracker, targets_hz)


def _targets_hz(expectation: Expectation) -> list[float]:
    upper = expectation.upper_arrival
    return [expectation.arrival.hz] if upper is None else [expectation.arrival.hz, upper.hz]


def span(expectation: Expectation) -> tuple[float, float]:
    """Lowest and highest pitch that the attempt is made of."""
    wanted = (expectation.departure, expectation.arrival, expectation.guide,
              expectation.upper_departure, expectation.upper_arrival)  # fmt: skip
    pitches = [target.hz for target in wanted if isinstance(target, Target)]
    return min(pitches), max(pitches)


def _pairs(expectation: Expectation, upper: Target) -> tuple[Pair, Pair]:
    """Both double stops; to a single departure note an upper one is thought as far off as the arrivals are."""
    arrival = Pair(lower_hz=expectation.arrival.hz, upper_hz=upper.hz)
    from_hz = expectation.departure.hz
    thought_hz = from_hz * arrival.upper_hz / arrival.lower_hz
    upper_from_hz = expectation.upper_departure.hz if expectation.upper_departure else thought_hz
    return Pair(lower_hz=from_hz, upper_hz=upper_from_hz), arrival


class Note:
    """One expected note: where it sets out, where it should come to rest, and how it sounds."""

    def __init__(self, expectation: Expectation, *, follows: bool = False, glide_share: float) -> None:
        self.expectation = expectation
        self.contour = Contour()
        self.interval_cents = hz_to_cents(expectation.arrival.hz, expectation.departure.hz)
        self.follows = follows and abs(self.interval_cents) < LEAST_TRAVEL_CENTS
        """Its own pitch does not show the travel: the leading note says when it should have arrived."""
        self._glide_share = glide_share
        self._paths = Paths()

    def heard(self, begun: Begun, end: int) -> Cents:
        """The contour of an attempt up to ``end``, from its departure note on."""
        cents = self.contour.cut("cents", begun.start, end)
        beyond = begun.beyond - begun.start
        if self.follows:
            cents[:beyond] = np.nan
            return cents
        return without_blips(cents, self.interval_cents, beyond)

    def travel(self, begun: Begun, end: int, smoothing_ms: float) -> Travel:
        """What the written shift says of it."""
        one = self.expectation
        guide = one.guide
        return Travel(
            interval_cents=2.0 * LEAST_TRAVEL_CENTS if self.follows else self.interval_cents,
            guide_cents=None if guide is None else hz_to_cents(guide.hz, one.arrival.hz),
            silent=one.silent or self.follows,
            new_bow=one.new_bow,
            lowest_hz=min(one.arrival.hz, one.departure.hz),
            smoothing_ms=smoothing_ms,
            tracker_se_cents=self.contour.cut("se_cents", begun.start, end),
        )

    def sight(self, begun: Begun, end: int, smoothing_ms: float) -> Sighting | None:
        """Its landing as soon as there is one."""
        return sight_landing(self.heard(begun, end), self.travel(begun, end, smoothing_ms))

    def measure(self, begun: Begun, end: int, smoothing_ms: float, sound: Kept | None) -> Landing:
        """Its landing in full, in a room read again from ``sound``; what follows as another note is no correction."""
        travel = self.travel(begun, end, smoothing_ms)
        cents, landing = measure_note(self.heard(begun, end), travel)
        if sound is not None:
            landing = weigh_again(cents, travel, landing, begun.start, self.expectation.arrival.hz, sound)
        return replace(landing, reason="echo") if in_doubt(landing, travel) else landing

    def alone(self, landing: Landing, begun: Begun, end: int, sound: Kept) -> Landing:
        """The landing, without a verdict where another source beats with it, which also makes it unsteady, or another
        note sounds along, which may have been followed instead."""
        if landing.reason not in (None, "unsteady") or landing.window is None or self.expectation.arrival_open:
            return landing
        start = begun.start + landing.window[0]
        cents = still_held(self.contour.cut("cents", start, end), landing)
        turned = turn_back(sound, self.expectation.arrival.hz * np.exp2(cents / 1200.0), start / 1000.0)
        if turned is None:
            return landing
        beside = find_beside(turned)
        if beside is not None and beside.is_note(strange=_is_strange(landing)):
            return replace(landing, reason="another note")
        beats = find_beats(turned)
        return replace(landing, reason="not alone") if beats is not None and beats.of_two else landing

    def again(
        self, landing: Landing, begun: Begun, end: int, smoothing_ms: float, sound: Kept
    ) -> tuple[Landing, Slide | None]:
        """The landing, in a room with the times of a second hearing, and that hearing's slide."""
        cents, travel = self.heard(begun, end), self.travel(begun, end, smoothing_ms)
        return hear_again(cents, travel, landing, begun.start, self.expectation.arrival.hz, sound, self._paths)

    def timed(
        self, landing: Landing, begun: Begun, end: int, smoothing_ms: float, sound: Kept | None
    ) -> tuple[Landing, Slide | None]:
        """The landing with the times of the slide's line, and that line: read before it was calmed and, where one note
        sounds, once more from its ``sound``."""
        if landing.rest is None:
            return landing, None
        cents = self.heard(begun, end)
        read = np.where(np.isfinite(cents), self.contour.cut("read_cents", begun.start, end), np.nan)
        line = freed(bridge(read), self._glide_share * smoothing_ms)
        if sound is not None:
            line = straightened(line, landing, begun.start, self.expectation.arrival.hz, sound)
        _, found = measure_note(cents, replace(self.travel(begun, end, smoothing_ms), line_cents=line))
        if found.rest == landing.rest:
            landing = replace(landing, arrival=found.arrival, leaving=found.leaving)
        return landing, line_of_slide(line, landing)

    def set_about(self, begun: Begun, end: int, smoothing_ms: float, sound: Kept) -> None:
        """Begin with what ``again`` will need."""
        cents, travel = self.heard(begun, end), self.travel(begun, end, smoothing_ms)
        landing = self.measure(begun, end, smoothing_ms, None)
        set_about(cents, travel, landing, begun.start, self.expectation.arrival.hz, sound, self._paths)

    def step(self) -> bool:
        """Do a part of what was set about; whether there is more."""
        return self._paths.step()

    def departs_from_chord(self, landing: Landing, begun: Begun, sound: Kept) -> bool:
        """Whether two strings in tuning were heard as the departure note."""
        left = begun.beyond if landing.leaving is None else begun.start + int(landing.leaving)
        start = max(left - CHORD_MS, begun.start)
        cents = self.contour.cut("cents", start, left)
        turned = turn_back(sound, self.expectation.arrival.hz * np.exp2(cents / 1200.0), start / 1000.0)
        return turned is not None and is_chord(turned)

    def attempt(self, landing: Landing, begun: Begun, end: int, slide: Slide | None = None) -> Attempt:
        """The record of this note alone, with ``slide`` as the line of its travel where there is one."""
        cents = self.contour.cut("cents", begun.start, end)
        return make_attempt(
            self.expectation,
            landing,
            start_ms=begun.start,
            end_ms=end,
            cents=cents if slide is None else slide.laid_in(cents),
            level_db=self.contour.cut("level_db", begun.start, end),
            clipped=self.contour.cut("clipped", begun.start, end),
        )


@dataclass(frozen=True, slots=True)
class Measured:
    """An attempt with the leading note's landing."""

    lead: Landing
    attempt: Attempt


class Notes:
    """The expected notes together; ``lead`` is the one that shows the travel."""

    def __init__(self, expectation: Expectation) -> None:
        upper = expectation.upper_arrival
        self._expectation = expectation
        alone = replace(expectation, upper_departure=None, upper_arrival=None)
        share = GLIDE_SHARE if upper is None else PAIRS_GLIDE_SHARE
        self.written = [Note(alone, glide_share=share)]
        """In the order of the targets: lower, upper."""
        if upper is not None:
            self.written.append(Note(_upper_alone(expectation, upper), follows=True, glide_share=share))
        self.lead = self.written[0]
        if len(self.written) > 1 and abs(self.lead.interval_cents) < LEAST_TRAVEL_CENTS < abs(
            self.written[1].interval_cents
        ):
            self.lead = self.written[1]
            self.written[0] = Note(alone, follows=True, glide_share=share)

    @property
    def others(self) -> list[Note]:
        """The notes that do not lead and must be heard for a verdict: not one that its octave covers."""
        if len(self.written) < 2 or covers(self._expectation) or self._expectation.upper_arrival_open:
            return []
        return [note for note in self.written if note is not self.lead]

    def add(self, stretches: Sequence[Stretch]) -> Stretch:
        """The next stretch of every note; the leading note's is handed back."""
        for note, stretch in zip(self.written, stretches, strict=True):
            note.contour.add(stretch)
        return stretches[self.written.index(self.lead)]

    def forget(self, before: int) -> None:
        """Drop what lies before."""
        for note in self.written:
            note.contour.forget(before)

    def is_other(self, measured: Measured, begun: Begun, sound: Kept) -> bool:
        """Whether what was heard is no attempt at the shift but two strings that are tuned together."""
        one = len(self.written) == 1 and not self._expectation.silent
        return one and _is_strange(measured.lead) and self.lead.departs_from_chord(measured.lead, begun, sound)

    def hear_ahead(self, begun: Begun, end: int, smoothing_ms: float, sound: Kept) -> None:
        """Begin to hear the slide again before the verdict is due, which finds it heard if nothing changes until then;
        ``step`` does it."""
        if len(self.written) == 1:
            self.lead.set_about(begun, end, smoothing_ms, sound)

    def step(self) -> bool:
        """Do a part of what ``hear_ahead`` began; whether there is more."""
        return self.lead.step()

    def measure(
        self, begun: Begun, end: int, smoothing_ms: float, sound: Kept | None = None, *, last: bool = False
    ) -> Measured:
        """Every note measured; the attempt is that of the note which decides.

        Where one note is expected, it must sound alone in ``sound``, and in a room its landing is read again; where
        this is the ``last`` word on it, it is asked for the reason, too, and its slide is heard again.
        """
        one = sound if len(self.written) == 1 else None
        landings = [note.measure(begun, end, smoothing_ms, one) for note in self.written]
        if one is not None and (last or landings[0].reason is None):
            landings = [self.lead.alone(landings[0], begun, end, one)]
        slides: list[Slide | None] = [None] * len(landings)
        if last:
            landings, slides = self._travelled(landings, begun, end, smoothing_ms, one)
        if covers(self._expectation) and _fades(landings):
            landings[1] = Landing(reason="covered")
        attempts = [
            note.attempt(landing, begun, end, slide)
            for note, landing, slide in zip(self.written, landings, slides, strict=True)
        ]
        lead = landings[self.written.index(self.lead)]
        return Measured(lead, attempts[0] if len(attempts) == 1 else join_notes(self._expectation, *attempts))

    def _travelled(
        self, landings: list[Landing], begun: Begun, end: int, smoothing_ms: float, sound: Kept | None
    ) -> tuple[list[Landing], list[Slide | None]]:
        """Every landing with the times of its slide, and the line of that: where one note sounds in a room, by a second
        hearing of ``sound``."""
        if sound is not None:
            again, slide = self.lead.again(landings[0], begun, end, smoothing_ms, sound)
            if again is not landings[0]:
                return [again], [slide]
        timed = [
            note.timed(landing, begun, end, smoothing_ms, sound)
            for note, landing in zip(self.written, landings, strict=True)
        ]
        return [landing for landing, _ in timed], [slide for _, slide in timed]


def still_held(cents: Cents, landing: Landing) -> Cents:
    """The note from its landing's window on, as far as it is judged, and further where its pitch is only lost for a
    while: where two sources cancel, other pitches are heard, or none. These are taken out."""
    assert landing.window is not None
    start = landing.window[0]
    judged = max(landing.judged or 0, landing.window[1]) - start
    cents = cents[: max((landing.rest or start) + SETTLE_MS - start, judged)].copy()
    margin = NEW_FINGER_CENTS + (landing.vibrato.extent_cents if landing.vibrato else 0.0)
    with np.errstate(invalid="ignore"):
        away = ~(np.abs(cents - (landing.landing_cents or 0.0)) <= margin)
    away[:judged] = False
    for a, b in voiced_runs(away):
        if b - a > LOST_MS or b == len(cents):
            return cents[:a]
        cents[a:b] = np.nan
    return cents


def _is_strange(landing: Landing) -> bool:
    """Whether the landing is no note that was expected."""
    return landing.landing_cents is None or abs(landing.landing_cents) > NEW_FINGER_CENTS


def in_doubt(landing: Landing, travel: Travel) -> bool:
    """Whether a room's tail may be what looks like a correction: it is small for how much the harmonics disagree."""
    if landing.reason is not None or landing.window is None or not landing.toward:
        return False
    return abs(landing.correction_cents or 0.0) < ECHO_SES * travel.tracker_se(*landing.window)


def _fades(landings: Sequence[Landing]) -> bool:
    """Whether the upper note goes under in the lower one while that is still judged: it may have been corrected."""
    lower, upper = (landing.judged or 0 for landing in landings)
    return upper < lower - FADED_MS


def _upper_alone(expectation: Expectation, upper: Target) -> Expectation:
    """What is expected of the upper note. Without a departure note of its own it sets out where it arrives."""
    return replace(
        expectation,
        departure=expectation.upper_departure or upper,
        arrival=upper,
        arrival_open=expectation.upper_arrival_open,
        guide=None,
        upper_departure=None,
        upper_arrival=None,
    )


def measure_note(cents: Cents, travel: Travel) -> tuple[Cents, Landing]:
    """The contour up to the next note, which is no correction of this one, and the landing in it."""
    landing = measure_landing(cents, travel)
    left = _next_note(cents, landing)
    return (cents, landing) if left is None else (cents[:left], measure_landing(cents[:left], travel))


def _next_note(cents: Cents, landing: Landing) -> int | None:
    """Where the arrival note is left for another one, or None: what follows is no correction."""
    if landing.landing_cents is None or landing.window is None:
        return None
    after = landing.window[1]
    margin = NEW_FINGER_CENTS + (landing.vibrato.extent_cents if landing.vibrato else 0.0)
    low, high = min(landing.landing_cents, 0.0) - margin, max(landing.landing_cents, 0.0) + margin
    tail = smooth(cents[after:], 8.0)
    with np.errstate(invalid="ignore"):
        away = (tail < low) | (tail > high)
    if not away.any():
        return None
    gone = int(away.argmax())
    speed = np.abs(np.gradient(tail[: gone + 1])) * 1000.0 if gone > 0 else np.zeros(1)
    with np.errstate(invalid="ignore"):
        slow = np.flatnonzero(speed < 100.0)
    return after + (int(slow[-1]) if len(slow) else 0)
