"""``truestop demo``."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.adapters.audio.files import read_take, write_wav
from truestop.app import demo as example
from truestop.app.keeping import Recording, find_or_add_player, keep_passage, keep_take
from truestop.app.mainjob import InHand, Setup, judge, take_in_hand
from truestop.app.ports import Draft, PracticeStore, TakeShelf
from truestop.app.progress import report_of_passage
from truestop.app.sheet import SheetChoice, SheetFormat, make_annotated_part, make_sheet
from truestop.cli.output import make_console, progress_bar, write_whole
from truestop.cli.show import attempts_table, shift_title, way_table
from truestop.cli.show_progress import report_table
from truestop.domain.wording import ENGLISH


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(demo)


def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where the example's files go.")] = Path("demo-out"),
) -> None:
    """Run the main job on the built-in study: shifts, drill sheet, verdicts on takes, progress."""
    console = make_console()
    study = take_in_hand(bootstrap.read_study(), Setup(family="violin"))
    console.print(way_table(study.fingered, study.way))
    _write_sheets(study, folder)
    places = bootstrap.Places.under(folder / "record")
    store, shelf = bootstrap.open_store(places), bootstrap.open_shelf(places)
    console.print(
        f"{example.PLAYER} drills two of them over three days; the takes are synthetic, their truth is known."
    )
    try:
        with progress_bar() as bar:
            for number, take in enumerate(bar.track(example.TAKES, description="Playing and judging takes")):
                bar.console.print(_judge_one(study, take, number, folder, store, shelf))
        passage = keep_passage(store, study.fingered, study.way, source=example.STUDY)
        player = find_or_add_player(store, example.PLAYER)
        console.print(report_table(report_of_passage(store, player=player.key, passage=passage)))
    finally:
        store.close()
    console.print(f"Files: {', '.join(sorted(path.name for path in folder.iterdir()))}, in {folder}.", soft_wrap=True)
    console.print(ENGLISH.say("sheet.cautions"))


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
) -> object:
    shift = example.shift_from(study, take.from_note)
    sound = example.play(study, take, seed=seed)
    path = folder / take.file
    write_wav(path, sound.samples, sample_rate_hz=sound.sample_rate_hz)
    attempts = judge(study, shift, read_take(path), stage=take.stage, beats_s=sound.beats_s)
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
    title = f"{take.file}, {take.stage}. {shift_title(shift)}"
    return attempts_table(title, attempts, cold=[attempt.cold for attempt in kept.attempts])
