"""``truestop judge``."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.adapters.audio.files import Take, read_take
from truestop.app.describing import Described, describe_take, describe_takes
from truestop.app.keeping import Kept, Recording, find_or_add_player, keep_passage, keep_take
from truestop.app.mainjob import InHand, expect
from truestop.app.performance import STAGE as PASSAGE_STAGE
from truestop.app.performance import judge_performance
from truestop.app.ports import Draft
from truestop.cli.options import JsonFlag, PassageArgument, PassageOptions, with_options
from truestop.cli.output import make_console, print_json, progress_bar, warn
from truestop.cli.passages import open_in_hand
from truestop.cli.show import attempts_table, shift_title
from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.errors import SoundError
from truestop.domain.shift import Shift
from truestop.listening.judging import judge_take


class StageName(StrEnum):
    """Stages that can be judged from a take."""

    GUIDE = "guide"
    LAND = "land"
    PLAIN = "plain"
    IN_TIME = "in time"
    COLD = "cold"


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(judge)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """The click in the player's ear."""

    pulse_bpm: float | None
    first_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One take with what was expected and heard in it."""

    path: Path
    take: Take
    drilled: Shift | None
    attempts: tuple[Attempt, ...]
    expected: tuple[Expectation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One take and what became of it."""

    heard: Heard
    kept: Kept | None

    @property
    def cold(self) -> list[bool]:
        """For each attempt, whether the record counts it as cold."""
        attempts = self.heard.attempts
        if self.kept is None or len(self.kept.attempts) != len(attempts):
            return [False] * len(attempts)
        return [kept.cold for kept in self.kept.attempts]


@with_options
def judge(
    passage: PassageArgument,
    takes: Annotated[list[Path], typer.Argument(metavar="TAKE…", help="Recordings: WAV, FLAC, OGG or MP3.")],
    options: PassageOptions,
    shift: Annotated[
        int | None,
        typer.Option("--shift", min=1, help="The shift the takes drill; without it they are runs through the passage."),
    ] = None,
    stage: Annotated[StageName, typer.Option(help="The stage that was played.")] = StageName.PLAIN,
    pulse: Annotated[
        float | None, typer.Option(metavar="BPM", min=20, max=300, help="Click in the player's ear, for timing.")
    ] = None,
    first_beat: Annotated[float, typer.Option(metavar="S", help="When the first click sounds in the take.")] = 0.0,
    player: Annotated[str, typer.Option(help="Whose practice it is.")] = "me",
    recorded: Annotated[
        datetime | None, typer.Option(help="When the takes began; else the files' own times count.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Put them in the record.")] = True,
    json: JsonFlag = False,
) -> None:
    """Judge recorded takes: where the finger came to rest, what was moved afterwards, in time or not."""
    in_hand = open_in_hand(passage, options)
    drilled = _drilled(in_hand, shift)
    beat = Beat(pulse_bpm=pulse, first_s=first_beat)
    with progress_bar(quiet=json) as bar:
        heard = [_hear(in_hand, drilled, path, stage, beat) for path in bar.track(takes, description="Listening")]
    results = [
        Judged(heard=one, kept=_keep(in_hand, one, player=player, recorded=recorded, source=passage) if keep else None)
        for one in heard
    ]
    if json:
        print_json(describe_takes(_described(result) for result in results))
        return
    console = make_console()
    names = {in_hand.key(one): f"no. {one.number}" for one in in_hand.way.shifts} if drilled is None else {}
    if drilled is not None:
        console.print(shift_title(drilled))
    for result in results:
        heard_one = result.heard
        console.print(attempts_table(heard_one.path.name, heard_one.attempts, cold=result.cold, names=names))
        if result.kept is not None:
            _tell_where(result.kept, heard_one.path.name)


def _drilled(in_hand: InHand, number: int | None) -> Shift | None:
    """The shift that is drilled; None for runs through a passage of several."""
    if number is not None or len(in_hand.way.shifts) <= 1:
        return in_hand.shift(number or 1)
    return None


def _hear(in_hand: InHand, drilled: Shift | None, path: Path, stage: StageName, beat: Beat) -> Heard:
    take = read_take(path)
    if drilled is None:
        attempts = tuple(performed.attempt for performed in judge_performance(in_hand, take))
        expected = tuple(expect(in_hand, shift, stage=PASSAGE_STAGE) for shift in in_hand.way.shifts)
    else:
        expected = (expect(in_hand, drilled, stage=stage.value, beats_s=_beats(take, beat)),)
        attempts = judge_take(take.samples, take.sample_rate_hz, expected[0])
    if not attempts:
        raise _nothing_heard(path, in_hand, drilled)
    return Heard(path=path, take=take, drilled=drilled, attempts=attempts, expected=expected)


def _beats(take: Take, beat: Beat) -> tuple[float, ...]:
    if beat.pulse_bpm is None:
        return ()
    gap_s = 60.0 / beat.pulse_bpm
    count = int(max(take.duration_s - beat.first_s, 0.0) / gap_s) + 1
    return tuple(beat.first_s + gap_s * number for number in range(count))


def _keep(in_hand: InHand, heard: Heard, *, player: str, recorded: datetime | None, source: str) -> Kept:
    places = bootstrap.Places.usual()
    store = bootstrap.open_store(places)
    take = heard.take
    began_s = recorded.timestamp() if recorded else heard.path.stat().st_mtime - take.duration_s
    recording = Recording(
        path=heard.path,
        recorded_at_s=began_s,
        utc_offset_s=time.localtime(began_s).tm_gmtoff,
        duration_s=take.duration_s,
        sample_rate_hz=take.sample_rate_hz,
        a4_hz=in_hand.setup.a4_hz,
    )
    try:
        return keep_take(
            store,
            recording,
            [Draft(attempt=attempt) for attempt in heard.attempts],
            passage=keep_passage(store, in_hand.fingered, in_hand.way, source=source),
            shift=None if heard.drilled is None else in_hand.key(heard.drilled),
            player=find_or_add_player(store, player).key,
            shelf=bootstrap.open_shelf(places),
            expected=heard.expected,
        )
    finally:
        store.close()


def _tell_where(kept: Kept, name: str) -> None:
    if kept.already:
        warn(f"{name} is in the record already as take {kept.take.id}; it was not counted again.")
    else:
        warn(f"Kept as take {kept.take.id}; truestop strike {kept.take.id}.N takes out an attempt that was none.")


def _described(result: Judged) -> Described:
    heard = result.heard
    return describe_take(
        file=str(heard.path),
        sample_rate_hz=heard.take.sample_rate_hz,
        duration_s=heard.take.duration_s,
        attempts=heard.attempts,
        cold=result.cold,
        take=None if result.kept is None else result.kept.take.id,
    )


def _nothing_heard(path: Path, in_hand: InHand, shift: Shift | None) -> SoundError:
    what = "No shift of the passage"
    if shift is not None:
        what = f"No attempt from {shift.departure[-1].pitch.pretty} to {shift.arrival[-1].pitch.pretty}"
    return SoundError(
        f"{what} was heard, A4 at {in_hand.setup.a4_hz:g} Hz.",
        where=path.name,
        hint="Check the shift, the instrument and the reference pitch, or record nearer to the microphone.",
    )
