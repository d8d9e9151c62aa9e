"""``truestop judge``."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.adapters.audio.files import open_take
from truestop.app.describing import Described, describe_take, describe_takes
from truestop.app.hearing import Asked, Heard, Unheard, hear_takes
from truestop.app.keeping import Kept, Recording, find_or_add_player, keep_passage, keep_take
from truestop.app.mainjob import InHand
from truestop.app.ports import Draft
from truestop.cli.options import JsonFlag, PassageArgument, PassageOptions, with_options
from truestop.cli.output import make_console, print_json, progress_bar, warn
from truestop.cli.passages import open_in_hand
from truestop.cli.show import attempts_table, counted, shift_title
from truestop.domain.errors import DrillError, SoundError
from truestop.domain.record import KeptTake
from truestop.domain.shift import Relation, Shift

EARLIEST_YEAR = 1980
CLOCKS_DIFFER_S = 86400.0
"""A recorder's clock may be in another time zone."""


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
    """One take and what became of it."""

    heard: Heard
    kept: Kept | None

    @property
    def cold(self) -> list[bool]:
        """For each attempt, whether the record counts it as cold."""
        kept = () if self.kept is None else self.kept.attempts
        cold = {(one.shift, one.attempt.start_s) for one in kept if one.cold}
        return [(attempt.shift, attempt.start_s) in cold for attempt in self.heard.attempts]


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
    and_back: Annotated[
        bool,
        typer.Option("--there-and-back", help="The takes go there and back: the way back is a shift of its own."),
    ] = False,
    player: Annotated[str, typer.Option(help="Whose practice it is.")] = "me",
    recorded: Annotated[
        datetime | None,
        typer.Option(help="When the takes began, like 2027-05-14T18:30; else the files' own times count."),
    ] = None,
    processes: Annotated[
        int | None, typer.Option(min=1, max=64, help="How many takes are heard at once; else as many as pays.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Put them in the record.")] = True,
    json: JsonFlag = False,
) -> None:
    """Judge recorded takes: where the finger came to rest, what was moved afterwards, in time or not."""
    _check_times(takes, recorded)
    in_hand = open_in_hand(passage, options)
    drilled = _drilled(in_hand, shift)
    if and_back:
        _check_way_back(drilled)
    asked = Asked(
        in_hand=in_hand, shift=drilled, stage=stage.value, pulse_bpm=pulse, first_beat_s=first_beat, and_back=and_back
    )
    with progress_bar(quiet=json) as bar:
        hearing = hear_takes(takes, asked, read=open_take, processes=processes)
        found = list(bar.track(hearing, total=len(takes), description="Listening"))
    unheard = [one for one in found if isinstance(one, Unheard)]
    if len(unheard) == len(found) == 1:
        raise unheard[0].error
    results = [
        Judged(heard=one, kept=_keep(asked, one, player=player, recorded=recorded, source=passage) if keep else None)
        for one in found
        if isinstance(one, Heard)
    ]
    if json:
        problems = [(str(one.path), f"{one.error} {one.error.hint}".strip()) for one in unheard]
        print_json(describe_takes((_described(result) for result in results), unheard=problems))
    else:
        _show(asked, results)
    for result in results:
        if result.heard.remark is not None:
            warn(f"{result.heard.path.name}: {result.heard.remark}")
    for one in unheard:
        warn(str(one.error), one.error.hint)
    if unheard:
        raise typer.Exit(2)


def _show(asked: Asked, results: Sequence[Judged]) -> None:
    console = make_console()
    shifts = asked.in_hand.way.shifts if asked.shift is None else ()
    names = {asked.in_hand.key(one): f"no. {one.number}" for one in shifts}
    if asked.way_back is not None and asked.shift is not None:
        names = {asked.in_hand.key(asked.shift): "there", asked.in_hand.key(asked.way_back): "back"}
    if asked.shift is not None:
        console.print(shift_title(asked.shift))
    for result in results:
        heard = result.heard
        console.print(attempts_table(heard.path.name, heard.attempts, cold=result.cold, names=names))
        if result.kept is not None:
            _tell_where(result.kept, heard.path.name, asked.in_hand)


def _drilled(in_hand: InHand, number: int | None) -> Shift | None:
    """The shift that is drilled; None for runs through a passage of several."""
    if number is not None or len(in_hand.way.shifts) <= 1:
        return in_hand.shift(number or 1)
    return None


def _check_way_back(drilled: Shift | None) -> None:
    if drilled is None:
        raise DrillError("Runs through the passage have no way back.", hint="Name the shift with --shift.")
    if drilled.silent or drilled.relation is Relation.FROM_OPEN:
        raise DrillError(
            "This shift is not drilled there and back.", hint="Its travel is silent or leaves an open string."
        )


def _check_times(takes: Sequence[Path], recorded: datetime | None) -> None:
    """A take of a day to come would keep every attempt before that day from being cold."""
    latest_s = time.time() + CLOCKS_DIFFER_S
    if recorded is not None:
        if recorded.year < EARLIEST_YEAR or recorded.timestamp() > latest_s:
            raise typer.BadParameter(
                f"--recorded: {recorded:%Y-%m-%d} is {'long past' if recorded.year < EARLIEST_YEAR else 'to come'}. "
                "Say when the takes began, like 2027-05-14T18:30."
            )
        return
    for path in takes:
        if path.is_file() and path.stat().st_mtime > latest_s:
            raise SoundError(
                f"The file's own time, {datetime.fromtimestamp(path.stat().st_mtime):%Y-%m-%d}, is to come.",
                where=path.name,
                hint="Say when it was recorded, like --recorded 2027-05-14T18:30.",
            )


def _keep(asked: Asked, heard: Heard, *, player: str, recorded: datetime | None, source: str) -> Kept:
    places = bootstrap.Places.usual()
    store = bootstrap.open_store(places)
    in_hand, back = asked.in_hand, asked.way_back
    began_s = recorded.timestamp() if recorded else heard.path.stat().st_mtime - heard.duration_s
    recording = Recording(
        path=heard.path,
        recorded_at_s=began_s,
        utc_offset_s=time.localtime(began_s).tm_gmtoff,
        duration_s=heard.duration_s,
        sample_rate_hz=heard.sample_rate_hz,
        a4_hz=in_hand.setup.a4_hz,
    )
    try:
        return keep_take(
            store,
            recording,
            [Draft(attempt=attempt) for attempt in heard.attempts],
            passage=keep_passage(
                store, in_hand.fingered, in_hand.way, source=source, also=() if back is None else (back,)
            ),
            shift=None if asked.shift is None else in_hand.key(asked.shift),
            player=find_or_add_player(store, player).key,
            shelf=bootstrap.open_shelf(places),
            expected=heard.expected,
            run=heard.run,
        )
    finally:
        store.close()


def _tell_where(kept: Kept, name: str, in_hand: InHand) -> None:
    if kept.before is None and kept.already:
        warn(f"{name} is in the record already as take {kept.take.id}; it was not counted again.")
    elif kept.before is not None and kept.already:
        warn(
            f"{name} is in the record already as take {kept.take.id}, {_purpose(kept.take, in_hand)}; the same attempts"
            f" were not counted again. To judge it as this instead, delete that take first: truestop forget take"
            f" {kept.take.id}."
        )
    else:
        warn(f"Kept as take {kept.take.id}; truestop strike {kept.take.id}.N takes out an attempt that was none.")
        if kept.before is not None:
            warn(
                f"{counted(kept.not_counted, 'more attempt')} of it, in the record already as take {kept.before.id},"
                f" {_purpose(kept.before, in_hand)}, {'was' if kept.not_counted == 1 else 'were'} not counted again."
            )


def _purpose(take: KeptTake, in_hand: InHand) -> str:
    """What a kept take was judged as."""
    if take.shift is None:
        return "a run through the passage"
    number = next((one.number for one in in_hand.way.shifts if in_hand.key(one) == take.shift), None)
    return "a drill of another shift" if number is None else f"a drill of no. {number}"


def _described(result: Judged) -> Described:
    heard = result.heard
    return describe_take(
        file=str(heard.path),
        sample_rate_hz=heard.sample_rate_hz,
        duration_s=heard.duration_s,
        attempts=heard.attempts,
        cold=result.cold,
        take=None if result.kept is None else result.kept.take.id,
        remark=heard.remark,
    )
