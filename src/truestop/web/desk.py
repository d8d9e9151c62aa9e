"""What the room has at hand: the record, the shelf of takes, the engraver, the passages and the player's choices.

Conventions: everything lies below the room's folder or in the record; one desk serves one player on one machine.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from threading import RLock
from typing import Any

from truestop.adapters.audio.files import open_take
from truestop.app.expecting_runs import expect_run, shifts_within
from truestop.app.keeping import USUAL_PLAYER, Recording, keep_passage, keep_take
from truestop.app.mainjob import InHand
from truestop.app.performance import Performed, judge_performance, moved
from truestop.app.ports import Draft
from truestop.app.room_rules import STAGE_ORDER
from truestop.app.sheet import Stand
from truestop.bootstrap import Places, open_shelf, open_stand, open_store, write_anew, write_into
from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.drill import Exercise, Stage
from truestop.domain.errors import TruestopError
from truestop.domain.record import is_cold
from truestop.domain.run import Run
from truestop.domain.shift import Shift
from truestop.web.choices import ChoiceFile, Choices, change
from truestop.web.ears import DeafEar, NoteEar, PhraseEar, ReturnEar, ShiftEar, StringsEar
from truestop.web.exercises import (
    arrival_ids,
    beats_of,
    exercise_of,
    expect_back,
    expect_exercise,
    other_pitches_hz,
    steps_played,
    ways_of_stages,
)
from truestop.web.hearing import Ear, Mask, MaskedEar, PhraseJudged, Pitched, attempts_in
from truestop.web.music import Music, OpenPassage
from truestop.web.takes import Slip, TakeFolder, mend_take, read_frames, read_stretch
from truestop.web.views import view_attempt

MUSICXML_SUFFIXES = (".musicxml", ".xml", ".mxl")


class RoomDesk:
    """Everything the room asks of the rest of the program."""

    def __init__(self, places: Places, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._resources = ExitStack()
        self.store = open_store(places)
        self._resources.callback(self.store.close)
        self.shelf = open_shelf(places)
        self.stand: Stand = self._resources.enter_context(open_stand(places))
        self.music = Music(folder / "passages")
        self._choice_file = ChoiceFile(folder / "choices.json")
        self.choices = self._choice_file.read()
        self._lock = RLock()
        self.store.keep_player(USUAL_PLAYER)

    def close(self) -> None:
        """End the engraver's processes and close the record."""
        self._resources.close()

    def choose(self, asked: Mapping[str, Any]) -> Choices:
        """Change what the player chose."""
        with self._lock:
            self.choices = change(self.choices, asked)
            self._choice_file.write(self.choices)
            return self.choices

    def passage(self, passage: str) -> OpenPassage:
        """A passage as it is read with the present choices."""
        return self.music.get(passage, self.choices)

    def in_hand(self, passage: str) -> InHand:
        """A passage in the hand."""
        return self.passage(passage).in_hand

    def stages(self, passage: str, shift: int) -> tuple[str, ...]:
        """The stages that a shift calls for, in the order of practice."""
        in_hand = self.in_hand(passage)
        called_for = ways_of_stages(in_hand, in_hand.shift(shift))
        return tuple(stage for stage in STAGE_ORDER if stage in called_for)

    # For the conversation -----------------------------------------------------------------------------------------

    def ear_for(self, purpose: str, about: Mapping[str, Any], sample_rate_hz: int, beats_s: tuple[float, ...]) -> Ear:
        """An ear for a take that begins: for the open strings, for one note, or for a shift."""
        if purpose == "through":
            return DeafEar()
        if purpose == "tune":
            setup = self.choices.setup(self.choices.instrument)
            return StringsEar(self.choices.make_instrument(), setup.a4_hz, sample_rate_hz)
        in_hand, shift, exercise = self._practised(about)
        expectation = expect_exercise(in_hand, shift, exercise, beats_s=beats_s)
        if exercise.stage is Stage.IN_THE_PASSAGE:
            return PhraseEar(sample_rate_hz)
        if exercise.stage not in (Stage.HEAR, Stage.SETTLE):
            back = expect_back(in_hand, shift, exercise, beats_s=beats_s)
            if back is None:
                return ShiftEar(expectation, sample_rate_hz, direction=shift.direction)
            directions = (shift.direction, in_hand.way_back(shift).direction)
            return ReturnEar(expectation, back, sample_rate_hz, directions=directions)
        others_hz = other_pitches_hz(in_hand, shift, exercise, expectation.arrival)
        return NoteEar(expectation, sample_rate_hz, any_octave=exercise.stage is Stage.HEAR, others_hz=others_hz)

    def _practised(self, about: Mapping[str, Any]) -> tuple[InHand, Shift, Exercise]:
        """What a take of practice is about."""
        in_hand = self.in_hand(str(about["passage"]))
        shift, stage = in_hand.shift(int(about["shift"])), str(about.get("stage", "plain"))
        return in_hand, shift, exercise_of(in_hand, shift, stage, str(about.get("way", "")))

    def beats(self, passage: str, shift: int, stage: str, way: str) -> dict[str, Any]:
        """Beats of one round of the way, and those on which an arrival falls."""
        in_hand = self.in_hand(passage)
        return beats_of(exercise_of(in_hand, in_hand.shift(shift), stage, way))

    def cold_due(self, passage: str, shift: int) -> bool:
        """Whether the next attempt would be a cold one, after practice on another day."""
        in_hand = self.in_hand(passage)
        attempts = self.store.attempts_at(player=USUAL_PLAYER.key, shift=in_hand.key(in_hand.shift(shift)))
        return bool(attempts) and is_cold(time.time(), utc_offset_s(), (attempts[-1].at_s, attempts[-1].day))

    def keep_take(self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]) -> str:
        """Put a complete take into the record, with its sound on the shelf."""
        in_hand, shift, exercise = self._practised(slip.about)
        there = expect_exercise(in_hand, shift, exercise, beats_s=slip.beats_s)
        back = expect_back(in_hand, shift, exercise, beats_s=slip.beats_s)
        expected, also = ((there,), ()) if back is None else ((there, back), (in_hand.way_back(shift),))
        judged_by_travel = exercise.stage not in (Stage.HEAR, Stage.SETTLE, Stage.IN_THE_PASSAGE)
        drafts = [Draft(attempt=one, own_ear=answer) for one, answer in attempts]
        again = expected if judged_by_travel and not slip.masks else ()
        return self._keep(slip, path, in_hand, in_hand.key(shift), drafts, expected=again, also=also)

    def judge_phrase(self, slip: Slip, path: Path, first_frame: int, last_frame: int) -> PhraseJudged:
        """Every shift of the exercise that was played in a stretch of the take."""
        in_hand, shift, exercise = self._practised(slip.about)
        performed = self._perform(slip, path, first_frame, last_frame)
        own = tuple(one.attempt for one in performed if one.shift.number == shift.number)
        shown = view_performed(exercise, in_hand, performed)
        return PhraseJudged(attempts=own, direction=shift.direction, shifts=shown)

    def _perform(self, slip: Slip, path: Path, first_frame: int, last_frame: int | None) -> Sequence[Performed]:
        """The shifts in a stretch, at their times in the take."""
        in_hand, _, exercise = self._practised(slip.about)
        sound = read_stretch(path, slip.masks, first_frame, last_frame)
        performed = judge_performance(in_hand, sound, steps=steps_played(in_hand, exercise))
        later_s = first_frame / sound.sample_rate_hz
        return [replace(one, attempt=moved(one.attempt, later_s)) for one in performed]

    def keep_passage_take(
        self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]
    ) -> tuple[str | None, list[dict[str, Any]]]:
        """Keep a take of the passage: what was told, and what else the whole take shows."""
        in_hand, shift, exercise = self._practised(slip.about)
        performed = self._perform(slip, path, 0, None)
        told = [(attempt.start_s, attempt.end_s) for attempt, _ in attempts]
        others = [
            one.attempt
            for one in performed
            if one.shift.number != shift.number
            or not any(start_s < one.attempt.end_s and one.attempt.start_s < end_s for start_s, end_s in told)
        ]
        drafts = [Draft(attempt=one, own_ear=answer) for one, answer in attempts]
        drafts = sorted([*drafts, *(Draft(attempt=one) for one in others)], key=lambda draft: draft.attempt.start_s)
        shown = view_performed(exercise, in_hand, performed)
        if not drafts:
            return None, shown
        run = None if slip.masks else self._run_of(in_hand, exercise)
        return self._keep(slip, path, in_hand, in_hand.key(shift), drafts, run=run), shown

    @staticmethod
    def _run_of(in_hand: InHand, exercise: Exercise) -> Run:
        """What an exercise in the passage is judged against; a take under whose sounds it was deaf is not kept so."""
        steps = steps_played(in_hand, exercise)
        return expect_run(in_hand, shifts_within(in_hand, steps), steps=steps)

    def _keep(
        self,
        slip: Slip,
        path: Path,
        in_hand: InHand,
        shift: str | None,
        drafts: Sequence[Draft],
        *,
        expected: Sequence[Expectation] = (),
        run: Run | None = None,
        also: Sequence[Shift] = (),
    ) -> str:
        take = mend_take(path)
        passage = self.keep_passage(in_hand, also=also)
        kept = keep_take(
            self.store,
            Recording(
                path=path, recorded_at_s=slip.opened_at_s, utc_offset_s=utc_offset_s(), duration_s=take.duration_s,
                sample_rate_hz=take.sample_rate_hz, a4_hz=in_hand.setup.a4_hz, original_name=path.name,
            ),
            drafts,
            passage=passage,
            shift=shift,
            shelf=self.shelf,
            expected=expected,
            run=run,
        )  # fmt: skip
        return kept.take.id

    def keep_passage(self, in_hand: InHand, *, also: Sequence[Shift] = ()) -> str:
        """Put the passage and its shifts into the record, ``also`` a way back; its key there."""
        title = in_hand.fingered.passage.title
        return keep_passage(self.store, in_hand.fingered, in_hand.way, source=title, also=also)

    def annotated(self, opened: OpenPassage) -> bytes:
        """The passage as MusicXML with its fingers: its own file where that is MusicXML, else written anew."""
        card = opened.card
        if card.kind == "study" or (card.kind == "file" and card.name.lower().endswith(MUSICXML_SUFFIXES)):
            return write_into(self.music.source(card.id), card.name, opened.in_hand.fingered)
        return write_anew(opened.in_hand.fingered)

    def judge_through(self, slip: Slip, path: Path) -> list[dict[str, Any]]:
        """A run through the passage: every shift that was played, judged and kept; each with its arrival's notes."""
        in_hand = self.in_hand(str(slip.about["passage"]))
        performed = judge_performance(in_hand, open_take(path))
        if performed:
            run = expect_run(in_hand, tuple(in_hand.way.shifts))
            self._keep(slip, path, in_hand, None, [Draft(attempt=one.attempt) for one in performed], run=run)
        return [
            {
                "number": one.shift.number,
                "notes": [stop.note_id for stop in one.shift.arrival],
                "attempt": view_attempt(one.attempt),
            }
            for one in performed
        ]

    def recover(self, takes: TakeFolder, *, older_than_s: float = 0.0) -> int:
        """Judge takes again that were never closed, and put them into the record. Returns how many there were."""
        count = 0
        for found in takes.recover():
            slip = takes.slip(found.take)
            if slip is None or time.time() - found.written_at_s < older_than_s:
                continue
            try:
                count += self._recover_one(slip, found.path, found.sample_rate_hz)
            except TruestopError:
                continue
            takes.delete(found.take)
        return count

    def _recover_one(self, slip: Slip, path: Path, sample_rate_hz: int) -> bool:
        if slip.purpose == "through":
            return bool(self.judge_through(slip, path))
        if slip.purpose != "practice":
            return False
        if slip.about.get("stage") == Stage.IN_THE_PASSAGE:
            return self.keep_passage_take(slip, path, ())[0] is not None
        ear = MaskedEar(self.ear_for(slip.purpose, slip.about, sample_rate_hz, slip.beats_s))
        ear.masks = [Mask(first, last) for first, last in slip.masks]
        heard = ear.hear(read_frames(path))
        if not any(isinstance(each, Pitched) and any(value is not None for value in each.cents) for each in heard):
            return False
        attempts = attempts_in(heard)
        answers = [*slip.answers, *[None] * len(attempts)]
        self.keep_take(slip, path, list(zip(attempts, answers, strict=False)))
        return True

    def rename_strings(self, measured_hz: Sequence[float | None] | None) -> Choices:
        """Take the measured open strings as the tuning system, or forget them."""
        asked: dict[str, Any] = {"measured_hz": measured_hz}
        asked["intonation"] = "strings" if measured_hz is not None else replace(Choices()).intonation
        return self.choose(asked)


def view_performed(exercise: Exercise, in_hand: InHand, performed: Sequence[Performed]) -> list[dict[str, Any]]:
    """The shifts that were played, each with its number and its arrival's notes in the engraved exercise."""
    notes = arrival_ids(exercise, in_hand.way.shifts)
    return [
        {"number": one.shift.number, "notes": notes.get(one.shift.number, []), "attempt": view_attempt(one.attempt)}
        for one in performed
    ]


def utc_offset_s() -> int:
    """The machine's own offset from UTC, summer time included."""
    return time.localtime().tm_gmtoff
