"""How shifts stand, at 80 columns: the same numbers as the room and the report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from truestop.app.progress import PassageReport
from truestop.app.reporting import trend_words
from truestop.app.studio import PlayerLine
from truestop.cli.show import counted
from truestop.domain.diagnosis import Diagnosis
from truestop.domain.plan import Plan, PlanItem
from truestop.domain.progress import ShiftProgress
from truestop.domain.rejudging import Comparison
from truestop.domain.statistics import USUAL_TEST, Landings, Share
from truestop.domain.wording import ENGLISH


def report_table(report: PassageReport, *, all_shifts: bool = False) -> RenderableType:
    """A passage's shifts: attempts, true, cold and warm share with 95 % bounds, bias and spread, and the diagnosis."""
    lines = [line for line in report.lines if all_shifts or line[0].progress.attempts]
    untried = len(report.lines) - len(lines)
    whole = report.progress.whole
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    landings = f"{whole.all.true} of {whole.all.judged} landings true"
    table.title = f"{report.progress.card.title}: {', '.join((landings, *trend_words(whole)))}"
    table.title_justify, table.title_style = "left", "bold"
    for heading in ("Shift", "true", "cold", "warm", "bias", "spread"):
        table.add_column(heading, justify="left" if heading == "Shift" else "right", no_wrap=heading != "Shift")
    for shift, _ in lines:
        _add_shift(table, shift)
    settings = report.progress.whole.tested.settings
    notes = [Text(f"Shares with 95 % bounds (Wilson). Standing by cold attempts: {settings.words}.", style="dim")]
    if untried:
        rest = f"{counted(untried, 'more shift')} of this passage {'has' if untried == 1 else 'have'} not been tried."
        notes.append(Text(rest, style="dim"))
    return Group(table, *_reasons(lines), *notes)


def _add_shift(table: Table, shift: ShiftProgress) -> None:
    progress = shift.progress
    table.add_row(
        Text(f"{shift.card.label}: {progress.tested.words}"),
        f"{progress.all.true}/{progress.all.judged}",
        _share(progress.cold),
        _share(progress.warm),
        _both(progress.landing_cents, progress.landing_mm, "bias"),
        _both(progress.landing_cents, progress.landing_mm, "spread"),
    )


def _reasons(lines: Sequence[tuple[ShiftProgress, Diagnosis]]) -> Iterator[Text]:
    """Shifts with the same words share a line."""
    by_words: dict[str, list[str]] = {}
    for shift, diagnosis in lines:
        words = f"{diagnosis.sentence} {diagnosis.exercise}"
        by_words.setdefault(words, []).append(str(shift.card.number))
    for words, numbers in by_words.items():
        yield _why(numbers, words)


def _why(numbers: Sequence[str], reason: str) -> Text:
    words = Text(f"No. {', '.join(numbers)}: ", style="bold")
    words.append(f"{reason}\n", style="not bold")
    return words


def plan_table(plan: Plan) -> RenderableType:
    """The session line by line; a shift's reason and exercise stand where it is met first."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    long = f"{counted(round(plan.planned_minutes), 'minute')}, {counted(plan.attempts, 'attempt')}"
    table.title = f"{ENGLISH.say('day', **ENGLISH.day_fields(plan.day))}: {long}"
    table.title_justify, table.title_style = "left", "bold"
    table.add_column("min", justify="right", no_wrap=True)
    table.add_column("What")
    table.add_column("Why")
    said: set[tuple[str, ...]] = set()
    for item in plan.items:
        words, reason = _what(plan, item, said), _once(item, str(item.reason), said)
        table.add_row(_minutes(item.minutes), Text("\n".join(words)), Text(reason))
    left_out = [Text(f"Not today: {label}, {reason}.", style="dim") for label, reason in plan.left_out]
    return Group(table, Text(ENGLISH.say("plan.rule"), style="dim"), *left_out)


def _what(plan: Plan, item: PlanItem, said: set[tuple[str, ...]]) -> list[str]:
    if item.shift is None:
        return [item.what]
    what = f"{item.what}, {item.attempts}×" if item.what != "work" else f"{item.stage}, {item.attempts}×"
    exercise = _once(item, str(item.exercise or ""), said) if item.what == "work" else ""
    return [what, str(plan.label_of(item)), *([exercise] if exercise else [])]


def _once(item: PlanItem, words: str, said: set[tuple[str, ...]]) -> str:
    """``words``, or nothing where they were said of this shift before."""
    key = (item.what, item.shift.card.key if item.shift else "", words)
    if item.shift is not None and key in said:
        return ""
    said.add(key)
    return words


def _minutes(minutes: float) -> str:
    return f"{minutes:.1f}".removesuffix(".0") if minutes else ""


def studio_table(lines: Sequence[PlayerLine]) -> RenderableType:
    """One line a player: shifts by standing, cold and overall share with 95 % bounds, days of practice."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in ("Player", "secure", "still open", "not yet", "cold", "all", "days", "last"):
        table.add_column(heading, justify="left" if heading == "Player" else "right", no_wrap=heading != "Player")
    for one in lines:
        table.add_row(
            Text(one.name), str(one.secure), str(one.still_open), str(one.not_yet), _share(one.cold), _share(one.all),
            str(one.days), f"{one.last_day:%d %b}",
        )  # fmt: skip
    note = f"Shares with 95 % bounds (Wilson). Standing by cold attempts: {USUAL_TEST.words}."
    return Group(table, Text(note, style="dim"))


def comparison_table(comparison: Comparison) -> RenderableType:
    """What another version of the measure would change."""
    lines = [
        Text(
            f"Judged again by version {comparison.new_version}: {counted(comparison.compared, 'attempt')} of "
            f"{counted(comparison.takes, 'take')}, {comparison.same_verdict} with the same verdict."
        )
    ]
    if comparison.median_shift_cents is not None and comparison.largest_shift_cents is not None:
        lines.append(
            Text(
                f"Landings moved by {comparison.median_shift_cents:.2f} cents in the median, "
                f"{comparison.largest_shift_cents:.2f} at most."
            )
        )
    for kept, new in comparison.changed:
        lines.append(Text(f"{kept.id}: {kept.attempt.verdict.value} would be {new.verdict.value}."))
    if comparison.lost:
        lines.append(Text(f"Not heard again: {', '.join(kept.id for kept in comparison.lost)}."))
    if comparison.found:
        lines.append(Text(f"Heard only now: {len(comparison.found)}; they are not added."))
    if comparison.silent_takes:
        lines.append(Text(f"Could not be judged again: {', '.join(comparison.silent_takes)}."))
    return Group(*lines)


def _share(share: Share) -> str:
    if not share.judged:
        return "none yet"
    return f"{share.true}/{share.judged}\n{share.wilson_low:.0%}–{share.wilson_high:.0%}"


def _both(cents: Landings | None, mm: Landings | None, name: str) -> str:
    """A number in cents and in mm, one below the other, the bias with its interval."""
    in_cents, in_mm = _value(cents, name), _value(mm, name)
    if in_cents is None or in_mm is None:
        return ""
    form = "{:+.1f}" if name == "bias" else "{:.1f}"
    return f"{form.format(in_cents)} c\n{form.format(in_mm)} mm".replace("-", "−")


def _value(landings: Landings | None, name: str) -> float | None:
    return None if landings is None else getattr(landings, name)
