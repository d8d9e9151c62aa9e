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
from truestop.app.mainjob import InHand
from truestop.app.mainjob import judge as judge_attempts
from truestop.app.performance import judge_performance
from truestop.app.ports import Draft
from truestop.cli.options import JsonFlag, PassageArgument, PassageOptions, with_options
from truestop.cli.output import make_console, print_json, progress_bar, warn
from truestop.cli.passages import open_in_hand
from truestop.cli.show import attempts_table, shift_title
from truestop.domain.attempt import Attempt
from truestop.domain.errors import SoundError
from truestop.domain.shift import Shift


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
class Judged:
    """One take with what was heard in it and what became of it."""

    path: Path
    take: Take
    attempts: tuple[Attempt, ...]
    kept: Kept | None

    @property
    def cold(self) -> list[bool]:
        """For each attempt, whether the record counts it as cold."""
        if self.kept is None or len(self.kept.attempts) != len(self.attempts):
            return [False] * len(self.attempts)
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
    heard = []
    with progress_bar(quiet=json) as bar:
        for path in bar.track(takes, description="Listening"):
            take = read_take(path)
            heard.append((path, take, _attempts(in_hand, drilled, path, take, stage, pulse, first_beat)))
    results = [
        Judged(path=path, take=take, attempts=attempts,
               kept=_keep(in_hand, drilled, path, take, attempts, player, recorded, passage) if keep else None)
        for path, take, attempts in heard
    ]  # fmt: skip
    if json:
        print_json(describe_takes(_described(result) for result in results))
        return
    console = make_console()
    names = {in_hand.key(one): f"no. {one.number}" for one in in_hand.way.shifts} if drilled is None else {}
    if drilled is not None:
        console.print(shift_title(drilled))
    for result in results:
        console.print(attempts_table(result.path.name, result.attempts, cold=result.cold, names=names))
        if result.kept is not None and result.kept.already:
            warn(f"{result.path.name} is in the record already; it was not counted again.")


def _drilled(in_hand: InHand, number: int | None) -> Shift | None:
    """The shift that is drilled; None for runs through a passage of several."""
    if number is not None or len(in_hand.way.shifts) <= 1:
        return in_hand.shift(number or 1)
    return None


def _attempts(
    in_hand: InHand,
    drilled: Shift | None,
    path: Path,
    take: Take,
    stage: StageName,
    pulse_bpm: float | None,
    first_beat_s: float,
) -> tuple[Attempt, ...]:
    if drilled is None:
        attempts = tuple(performed.attempt for performed in judge_performance(in_hand, take))
    else:
        beats_s = _beats(take, pulse_bpm, first_beat_s)
        attempts = tuple(judge_attempts(in_hand, drilled, take, stage=stage.value, beats_s=beats_s))
    if not attempts:
        raise _nothing_heard(path, in_hand, drilled)
    return attempts


def _beats(take: Take, pulse_bpm: float | None, first_beat_s: float) -> tuple[float, ...]:
    if pulse_bpm is None:
        return ()
    gap_s = 60.0 / pulse_bpm
    count = int(max(take.duration_s - first_beat_s, 0.0) / gap_s) + 1
    return tuple(first_beat_s + gap_s * number for number in range(count))


def _keep(
    in_hand: InHand,
    shift: Shift | None,
    path: Path,
    take: Take,
    attempts: tuple[Attempt, ...],
    player: str,
    recorded: datetime | None,
    source: str,
) -> Kept:
    places = bootstrap.Places.usual()
    store = bootstrap.open_store(places)
    began_s = recorded.timestamp() if recorded else path.stat().st_mtime - take.duration_s
    recording = Recording(
        path=path,
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
            [Draft(attempt=attempt) for attempt in attempts],
            passage=keep_passage(store, in_hand.fingered, in_hand.way, source=source),
            shift=None if shift is None else in_hand.key(shift),
            player=find_or_add_player(store, player).key,
            shelf=bootstrap.open_shelf(places),
        )
    finally:
        store.close()


def _described(result: Judged) -> Described:
    return describe_take(
        file=str(result.path),
        sample_rate_hz=result.take.sample_rate_hz,
        duration_s=result.take.duration_s,
        attempts=result.attempts,
        cold=result.cold,
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
