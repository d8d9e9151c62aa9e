"""``truestop demo``."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer
from rich.console import RenderableType

from truestop import bootstrap
from truestop.adapters.audio.files import open_take, write_wav
from truestop.app import demo as example
from truestop.app.describing import Described, describe_take, describe_way
from truestop.app.describing_progress import describe_report
from truestop.app.keeping import Recording, find_or_add_player, keep_passage, keep_take
from truestop.app.mainjob import InHand, Setup, judge, take_in_hand
from truestop.app.ports import Draft, PracticeStore, TakeShelf
from truestop.app.progress import PassageReport, report_of_passage
from truestop.app.sheet import SheetChoice, SheetFormat, make_annotated_part, make_sheet
from truestop.cli.options import JsonFlag
from truestop.cli.output import make_console, print_json, progress_bar, write_whole
from truestop.cli.show import attempts_table, shift_title, way_table
from truestop.cli.show_progress import report_table
from truestop.domain.attempt import Attempt
from truestop.domain.shift import Shift
from truestop.domain.wording import ENGLISH


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedTake:
    """One of the example's takes with what was heard in it."""

    shift: Shift
    take: example.DemoTake
    recording: Recording
    attempts: tuple[Attempt, ...]
    cold: tuple[bool, ...]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(demo)


def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where the example's files go.")] = Path("demo-out"),
    json: JsonFlag = False,
) -> None:
    """Run the main job on the built-in study: shifts, drill sheet, verdicts on takes, progress."""
    console = make_console(quiet=json)
    study = take_in_hand(bootstrap.read_study(), Setup(family="violin"))
    console.print(way_table(study.fingered, study.way))
    _write_sheets(study, folder)
    places = bootstrap.Places.under(folder / "record")
    store, shelf = bootstrap.open_store(places), bootstrap.open_shelf(places)
    console.print(
        f"{example.PLAYER} drills two of them over three days; the takes are synthetic, their truth is known."
    )
    try:
        judged = []
        with progress_bar(quiet=json) as bar:
            for number, take in enumerate(bar.track(example.TAKES, description="Playing and judging takes")):
                judged.append(_judge_one(study, take, number, folder, store, shelf))
                console.print(_table(judged[-1]))
        passage = keep_passage(store, study.fingered, study.way, source=example.STUDY)
        player = find_or_add_player(store, example.PLAYER)
        report = report_of_passage(store, player=player.key, passage=passage)
        console.print(report_table(report))
    finally:
        store.close()
    files = sorted(path.name for path in folder.iterdir())
    console.print(f"Files: {', '.join(files)}, in {folder}.", soft_wrap=True)
    console.print(ENGLISH.say("sheet.cautions"))
    if json:
        print_json(_described(study, judged, report, folder, files))


def _write_sheets(study: InHand, folder: Path) -> None:
    wanted = (example.shift_from(study, "m2n1").number, example.shift_from(study, "m7n3").number)
    with bootstrap.open_stand(bootstrap.Places.under(folder / "record")) as stand:
        choice = SheetChoice(shifts=wanted)
        pages = make_sheet(study.fingered, study.way, choice=choice, sheet_format=SheetFormat.PDF, stand=stand)
        write_whole(folder / "drill-sheet.pdf", pages)
        part = make_annotated_part(study.fingered, study.way, sheet_format=SheetFormat.PDF, stand=stand)
        write_whole(folder / "part-with-shifts.pdf", part)
    write_whole(folder / example.STUDY, example.study_bytes())


def _judge_one(
    study: InHand, take: example.DemoTake, seed: int, folder: Path, store: PracticeStore, shelf: TakeShelf
) -> JudgedTake:
    shift = example.shift_from(study, take.from_note)
    sound = example.play(study, take, seed=seed)
    path = folder / take.file
    write_wav(path, sound.samples, sample_rate_hz=sound.sample_rate_hz)
    attempts = judge(study, shift, open_take(path), stage=take.stage, beats_s=sound.beats_s)
    recording = Recording(
        path=path,
        recorded_at_s=time.time() - take.days_ago * example.DAY_S,
        utc_offset_s=time.localtime().tm_gmtoff,
        duration_s=len(sound.samples) / sound.sample_rate_hz,
        sample_rate_hz=sound.sample_rate_hz,
        a4_hz=example.A4_HZ,
    )
    kept = keep_take(
        store,
        recording,
        [Draft(attempt=attempt) for attempt in attempts],
        passage=keep_passage(store, study.fingered, study.way, source=example.STUDY),
        shift=study.key(shift),
        player=find_or_add_player(store, example.PLAYER).key,
        shelf=shelf,
    )
    cold = tuple(attempt.cold for attempt in kept.attempts)
    return JudgedTake(shift=shift, take=take, recording=recording, attempts=tuple(attempts), cold=cold)


def _table(judged: JudgedTake) -> RenderableType:
    title = f"{judged.take.file}, {judged.take.stage}. {shift_title(judged.shift)}"
    return attempts_table(title, judged.attempts, cold=judged.cold)


def _described(
    study: InHand, judged: Sequence[JudgedTake], report: PassageReport, folder: Path, files: Sequence[str]
) -> Described:
    takes = [
        describe_take(
            file=one.take.file,
            sample_rate_hz=one.recording.sample_rate_hz,
            duration_s=one.recording.duration_s,
            attempts=one.attempts,
            cold=one.cold,
        )
        for one in judged
    ]
    return {
        "schema": "truestop.demo/1",
        "folder": str(folder),
        "files": list(files),
        "way": describe_way(study.fingered, study.way),
        "takes": takes,
        "progress": describe_report(report),
    }
