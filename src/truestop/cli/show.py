"""Results as tables that read well at 80 columns. Words carry the meaning; colour only repeats it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from truestop.domain.attempt import Attempt, NoteLanding, Verdict, Vibrato
from truestop.domain.fingering import Proposal
from truestop.domain.instrument import ROMAN
from truestop.domain.shift import Cover, Guide, Shift, Way
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import ENGLISH

VERDICT_STYLE = {Verdict.TRUE: "bold green", Verdict.UNJUDGED: "dim"}
WIDEST_PAIR = 22
"""Columns that two stops may take on one line of a table."""
MISS_STYLE = "bold yellow"
NO_NAMES: Mapping[str, str] = MappingProxyType({})


def way_table(fingered: FingeredPassage, way: Way) -> RenderableType:
    """Every shift by name, then what is not a shift."""
    title = fingered.passage.title or "Passage"
    lines: list[RenderableType] = []
    if way.shifts:
        table = plain_table(f"{title}: {counted(len(way.shifts), 'shift')}")
        for heading in ("#", "Bar", "From → to", "Interval", "Hand", "Guide and travel"):
            table.add_column(heading, justify="right" if heading in ("#", "Bar") else "left", no_wrap=heading != "Hand")
        for shift in way.shifts:
            table.add_row(*_shift_cells(shift))
        lines.append(table)
    else:
        lines.append(Text(f"{title}: no shift; {_stays(fingered)}."))
    if way.other:
        lines.append(_other_motions(way))
    return Group(*lines)


def _stays(fingered: FingeredPassage) -> str:
    """Where the hand is in a passage without shifts."""
    positions = dict.fromkeys(step.position for step in fingered.steps if step.fingered and step.position)
    if not positions:
        return "only open strings sound"
    return f"the hand stays in {' and '.join(positions)} position"


def _shift_cells(shift: Shift) -> tuple[str, ...]:
    departure, arrival = stops_text(shift.departure), stops_text(shift.arrival)
    arrow = " → " if cell_len(departure + arrival) < WIDEST_PAIR else "\n→ "
    return (
        str(shift.number),
        shift.measure,
        arrow.join((departure, arrival)),
        shift.interval.name.replace("-", "−"),
        f"{shift.direction} {shift.from_position} → {shift.to_position}\n{kind_text(shift)}",
        "\n".join(f"{guide_text(guide)}\n{show_number(guide.travel_mm, '{:+.0f}')} mm" for guide in shift.guide)
        or "silent",
    )


def stops_text(stops: Sequence[Stop]) -> str:
    """Stops as a player writes them: note, string, finger, and whether it is a harmonic."""
    return " + ".join(_stop_text(stop) for stop in stops)


def _stop_text(stop: Stop) -> str:
    text = f"{stop.pitch.pretty} {ROMAN[stop.string]} {stop.finger.value}"
    return f"{text} harmonic" if stop.harmonic else text


def kind_text(shift: Shift) -> str:
    """Finger relation, crossing and cover in words."""
    words = ["same finger" if shift.relation == "same" else f"{shift.relation.value} finger"]
    if shift.relation in ("from open", "to open", "through thumb"):
        words = [shift.relation.value]
    if shift.crossing:
        words.append("across")
    if shift.cover is not Cover.NONE:
        words.append(ENGLISH.say(f"shift.cover.{shift.cover.value}"))
    return ", ".join(words)


def guide_text(guide: Guide) -> str:
    """Guide finger, string and notes: '1 on II: D5–F♯5', '3 on I: stays on G5'."""
    start = guide.from_pitch.pretty
    way = f"stays on {start}" if guide.stays else f"{start}–{guide.to_pitch.pretty}"
    return f"{guide.finger.value} on {ROMAN[guide.string]}: {way}"


def _other_motions(way: Way) -> Text:
    counts: dict[str, list[str]] = {}
    for motion in way.other:
        counts.setdefault(motion.kind, []).append(motion.measure)
    parts = [f"{kind} in {_bars(tuple(dict.fromkeys(bars)))}" for kind, bars in counts.items()]
    return Text("Not shifts: " + "; ".join(parts) + ".", style="dim")


def _bars(numbers: tuple[str, ...]) -> str:
    return f"{'bar' if len(numbers) == 1 else 'bars'} {', '.join(numbers)}"


@dataclass(frozen=True, slots=True)
class _BarLines:
    """Bars with their stops, one below the other: lines break between notes. A long part has thousands of notes, which
    a table would measure one by one.
    """

    title: str
    bars: Mapping[str, Sequence[str]]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """The lines, as wide as the console."""
        margin = max(cell_len(bar) for bar in (*self.bars, "Bar")) + 1
        room = max(20, options.max_width - margin - 2)
        lines = [f"{'Bar':>{margin}}  {_STOPS_HEADING}", f" {'─' * (options.max_width - 2)}"]
        for bar, stops in self.bars.items():
            for number, line in enumerate(_filled(stops, room)):
                lines.append(f"{'' if number else bar:>{margin}}  {line}")
        yield Text(self.title, style="bold")
        yield Text("\n".join(["", *lines, ""]), no_wrap=True, overflow="ignore")


_STOPS_HEADING = "Notes: string and finger, position where it changes"


def _filled(words: Sequence[str], room: int) -> list[str]:
    """The words on as few lines of ``room`` columns as hold them, two spaces apart."""
    lines: list[str] = []
    for word in words:
        if lines and cell_len(lines[-1]) + 2 + cell_len(word) <= room:
            lines[-1] += f"  {word}"
        else:
            lines.append(word)
    return lines


def stops_table(fingered: FingeredPassage, *, ids: bool = False) -> RenderableType:
    """Every note's stop, one bar a row; with ``ids`` the notes' ids before them."""
    bars: dict[str, list[str]] = {}
    position: str | None = None
    for step in fingered.steps:
        label = ""
        if step.position is not None and step.position != position:
            position = step.position
            label = f"[{position}] "
        named = " + ".join(f"{stop.note_id}: {_stop_text(stop)}" if ids else _stop_text(stop) for stop in step.stops)
        bars.setdefault(step.measure, []).append(label + named)
    return _BarLines(f"{fingered.passage.title or 'Passage'} in the hand", bars)


def costs_table(proposals: Sequence[Proposal]) -> RenderableType:
    """What each fingering costs, in trade words."""
    table = plain_table("What they cost")
    for heading in ("Fingering", "shifts", "mm", "crossings", "stretches", "open", "4th finger", "cost"):
        table.add_column(heading, justify="right", no_wrap=True)
    for number, one in enumerate(proposals, start=1):
        counts = (one.shifts, round(one.travel_mm), one.crossings, one.stretches, one.open_strings, one.fourth_fingers)
        table.add_row(str(number), *(str(count) for count in counts), f"{one.cost:.1f}")
    return table


def attempts_table(
    title: str, attempts: Sequence[Attempt], *, cold: Sequence[bool] = (), names: Mapping[str, str] = NO_NAMES
) -> RenderableType:
    """One take's attempts: where the finger came to rest and the word for it; ``names`` by shift key."""
    table = plain_table(title)
    for heading in ("#", "at s", "cents", "mm", "moved", "slide s", "vibrato", "timing"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict")
    for number, attempt in enumerate(attempts, start=1):
        is_cold = number <= len(cold) and cold[number - 1]
        name = names.get(attempt.shift, str(number))
        table.add_row(*_attempt_cells(name, attempt), verdict_text(attempt, cold=is_cold))
        for note in attempt.notes:
            table.add_row("", "", *_note_cells(note), note_text(note))
    return table


def _note_cells(note: NoteLanding) -> tuple[str, ...]:
    return (
        show_number(note.landing_cents, "{:+.1f}"),
        show_number(note.landing_mm, "{:+.1f}"),
        show_number(note.correction_cents or None, "{:+.1f}"),
        "",
        _swing(note.vibrato),
        "",
    )


def _swing(vibrato: Vibrato) -> str:
    return f"±{vibrato.extent_cents:.0f}" if vibrato.present and vibrato.extent_cents is not None else ""


def _attempt_cells(name: str, attempt: Attempt) -> tuple[str, ...]:
    return (
        name,
        show_number(attempt.arrival_s if attempt.arrival_s is not None else attempt.start_s, "{:.2f}"),
        show_number(attempt.landing_cents, "{:+.1f}"),
        show_number(attempt.landing_mm, "{:+.1f}"),
        show_number(attempt.correction_cents or None, "{:+.1f}"),
        show_number(attempt.slide_s, "{:.2f}"),
        _swing(attempt.vibrato),
        show_number(attempt.timing_s, "{:+.2f}"),
    )


def shift_title(shift: Shift) -> Text:
    """One line that names a shift."""
    where = f"Shift {shift.number}, bar {shift.measure}: {stops_text(shift.departure)} → {stops_text(shift.arrival)}"
    return Text(f"{where}, {shift.direction} {shift.from_position} → {shift.to_position}, {kind_text(shift)}")


def verdict_text(attempt: Attempt, *, cold: bool = False) -> Text:
    """The word, with what qualifies it."""
    return _qualified(attempt, cold=cold)


def note_text(note: NoteLanding) -> Text:
    """One note of a double stop, its name before its word."""
    return Text(f"{note.target.pitch.pretty} ", style="dim").append_text(_qualified(note))


def _qualified(judged: Attempt | NoteLanding, *, cold: bool = False) -> Text:
    style = VERDICT_STYLE.get(judged.verdict, MISS_STYLE)
    remarks = [fault for fault in judged.faults if fault != judged.verdict.value]
    if judged.borderline:
        remarks.append("borderline")
    if cold:
        remarks.append("cold")
    if judged.reason:
        remarks.append(judged.reason)
    text = Text(judged.verdict.value, style=style)
    if remarks:
        text.append(f" ({', '.join(remarks)})", style="dim")
    return text


def plain_table(title: str) -> Table:
    """A table with a rule under its heads and nothing else."""
    return Table(
        title=title or None,
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )


def show_number(value: float | None, form: str) -> str:
    """A number with a true minus sign, '' where there is none; what rounds to 0 has the sign of 0."""
    if value is None:
        return ""
    text = form.format(value)
    return form.format(0.0) if not text.strip("+-0.") else text.replace("-", "−")


def counted(count: int, noun: str) -> str:
    """'1 shift', '2 shifts'."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
