"""The main job: a passage comes into the hand, its shifts are found, takes of them are judged and kept.

``take_in_hand`` → ``expect`` → ``judge`` → ``keep`` is the whole path; the other use cases hang on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.errors import DrillError
from truestop.domain.expecting import expect_shift
from truestop.domain.fingering import STYLES, Pin, finger_passage
from truestop.domain.instrument import Instrument, family_of_clefs, make_instrument
from truestop.domain.passage import Passage
from truestop.domain.pitch import Pitch
from truestop.domain.record import shift_key
from truestop.domain.shift import GuideRule, Shift, Way
from truestop.domain.stop import FingeredPassage
from truestop.domain.tuning import Against, Intonation, make_intonation, tonic_of_key
from truestop.domain.tuning_scala import Scale
from truestop.domain.way import find_way, turn_back


class Sound(Protocol):
    """A recorded take: mono samples and their rate."""

    @property
    def samples(self) -> NDArray[np.float32]:
        """Mono, full scale ±1."""
        ...

    @property
    def sample_rate_hz(self) -> int:
        """Samples a second."""
        ...


class SoundInBlocks(Protocol):
    """A recorded take that need not be in memory."""

    @property
    def sample_rate_hz(self) -> int:
        """Samples a second."""
        ...

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        ...

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The take from its first sample to its last, mono, full scale ±1; it may be asked for again."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldSound:
    """A take in memory, as one block."""

    samples: NDArray[np.float32]
    sample_rate_hz: int

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.sample_rate_hz

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """All of it."""
        yield self.samples


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Everything a player sets: the instrument, how the hand reads, what counts as in tune."""

    family: str | None = None
    """None: as the score says, else by its clefs."""
    size: str | None = None
    length_mm: float | None = None
    strings: str | tuple[Pitch, ...] | None = None
    style: str = "usual"
    numbering: str = "lower-upper"
    guide_rule: GuideRule = GuideRule.LOWER
    a4_hz: float = 440.0
    system: str = "pythagorean"
    scale: Scale | None = None
    open_strings_hz: tuple[float | None, ...] | None = None
    tolerance_cents: float = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InHand:
    """A passage in the hand, with its way and its targets."""

    setup: Setup
    fingered: FingeredPassage
    way: Way
    intonation: Intonation

    @property
    def instrument(self) -> Instrument:
        """The instrument it is played on."""
        return self.fingered.instrument

    def shift(self, number: int) -> Shift:
        """Shift ``number`` of the passage; DrillError where there is none."""
        for shift in self.way.shifts:
            if shift.number == number:
                return shift
        count = len(self.way.shifts)
        hint = (
            f"Choose 1 to {count}."
            if count
            else "The passage stays in one position; choose another or pin a fingering."
        )
        raise DrillError(f"There is no shift {number} in this passage.", hint=hint)

    def way_back(self, shift: Shift) -> Shift:
        """The way back of a sounding shift: a shift of its own, outside the music."""
        return turn_back(self.fingered, shift, guide_rule=self.way.guide_rule)

    def key(self, shift: Shift) -> str:
        """The shift's stable key in the record."""
        return shift_key(self.fingered, shift)


def take_in_hand(passage: Passage, setup: Setup, *, pins: Mapping[str, Pin] | None = None) -> InHand:
    """Finger the passage as printed and completed, and find its shifts."""
    instrument = instrument_for(passage, setup)
    fingered = finger_passage(
        passage, instrument, style=STYLES[setup.style], pins=pins or {}, numbering=setup.numbering
    )
    return on_its_way(fingered, setup)


def on_its_way(fingered: FingeredPassage, setup: Setup) -> InHand:
    """A fingering, its shifts and its targets."""
    intonation = make_intonation(
        setup.system,
        instrument=fingered.instrument,
        a4_hz=setup.a4_hz,
        open_strings_hz=setup.open_strings_hz,
        scale=setup.scale,
    )
    way = find_way(fingered, guide_rule=setup.guide_rule)
    return InHand(setup=setup, fingered=fingered, way=way, intonation=intonation)


def instrument_for(passage: Passage, setup: Setup) -> Instrument:
    """The player's instrument for this passage; the score's scordatura holds unless the player names strings.

    Where neither names an instrument its clefs tell: alto is a viola's, bass or tenor a cello's, else it is a violin.
    """
    family = setup.family or passage.instrument or family_of_clefs(measure.clef for measure in passage.measures)
    strings = setup.strings if setup.strings is not None else passage.strings
    return make_instrument(family, size=setup.size, strings=strings, length_mm=setup.length_mm)


def expect(in_hand: InHand, shift: Shift, *, stage: str = "plain", beats_s: tuple[float, ...] = ()) -> Expectation:
    """What an attempt at ``shift`` should sound like."""
    arrival = in_hand.fingered.steps[shift.arrival_step]
    measure = in_hand.fingered.passage.measure_at(arrival.onset)
    return expect_shift(
        shift,
        key=in_hand.key(shift),
        stage=stage,
        instrument=in_hand.instrument,
        intonation=in_hand.intonation,
        tolerance_cents=in_hand.setup.tolerance_cents,
        against=Against(tonic=tonic_of_key(measure.key_fifths, mode=measure.mode)),
        beats_s=beats_s,
    )


def judge(
    in_hand: InHand, shift: Shift, take: SoundInBlocks, *, stage: str = "plain", beats_s: tuple[float, ...] = ()
) -> Sequence[Attempt]:
    """The attempts at ``shift`` in a take, each with its verdict."""
    from truestop.listening.judging import (
        judge_blocks,
    )  # a second to load; sheets and tones need none

    expectation = expect(in_hand, shift, stage=stage, beats_s=beats_s)
    return tuple(judge_blocks(take.blocks(), take.sample_rate_hz, expectation))
