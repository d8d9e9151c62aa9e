"""How often truestop fingers a note as a player would, and how long it takes.

Run ``python benchmarks/fingering.py`` for the tables of docs/accuracy.md; ``--write`` puts them there, ``--speed`` adds
the times; ``--terms`` renews the tables of docs/fingering.md. Counting: a note counts when string, finger and position
name are all the annotator's. *Completing* keeps only the finger at each change of position (and at the first note)
and harmonics, and hides the rest, strings too; *proposing* hides everything.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from itertools import combinations
from operator import add
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from music21 import converter, corpus  # noqa: E402

from annotated_abc import AnnotatedTune, read_annotated  # noqa: E402
from fingered_text import FingeredText, read_fingered  # noqa: E402
from truestop.adapters.score.reading import read_score  # noqa: E402
from truestop.domain.fingering import STYLES, Term, finger_passage, terms  # noqa: E402
from truestop.domain.fingering.weights import GROUPS  # noqa: E402
from truestop.domain.instrument import make_instrument  # noqa: E402
from truestop.domain.passage import Passage  # noqa: E402
from truestop.domain.stop import FingeredPassage  # noqa: E402
from truestop.domain.way import find_way  # noqa: E402

FOLDER = ROOT / "tests" / "oracles" / "fingering"
REPERTOIRE = ROOT / "tests" / "oracles" / "repertoire"
PHRASES = ROOT / "tests" / "oracles" / "phrases"
AGREED = ROOT / "tests" / "oracles" / "agreed"
UNSEARCHED = ROOT / "tests" / "oracles" / "unsearched"
PAGE = ROOT / "docs" / "accuracy.md"
GUIDE = ROOT / "docs" / "fingering.md"
SECTION = Path(__file__).with_name("fingering_section.md")
"""The text around the tables."""
BEGIN, END = "<!-- fingering: begin -->", "<!-- fingering: end -->"

Taken = dict[str, tuple[int, str, str | None]]


@dataclass(frozen=True)
class Score:
    """Notes that agree, of how many."""

    agree: int
    notes: int

    @property
    def share(self) -> float:
        return self.agree / self.notes if self.notes else 0.0

    def __add__(self, other: Score) -> Score:
        return Score(self.agree + other.agree, self.notes + other.notes)


def taken(fingered: FingeredPassage) -> Taken:
    """String, finger and position of every note."""
    return {
        stop.note_id: (stop.string, str(stop.finger), step.position if stop.is_fingered else None)
        for step in fingered.steps
        for stop in step.stops
    }


def compare(annotated: Taken, found: Taken) -> Score:
    """How many notes agree in string, finger and position."""
    return Score(sum(found[note] == want for note, want in annotated.items()), len(annotated))


def changes(fingered: FingeredPassage) -> set[str]:
    """Notes at which a position begins, and harmonics: where an edition prints a finger."""
    position, found = None, set()
    for step in fingered.steps:
        if step.position is not None and step.position != position:
            found |= {stop.note_id for stop in step.fingered}
            position = step.position
        found |= {stop.note_id for stop in step.stops if stop.harmonic}
    return found | {stop.note_id for stop in fingered.steps[0].stops}


def measure(text: FingeredText) -> tuple[Score, Score]:
    """(completing, proposing) for one annotated passage."""
    instrument = make_instrument(text.instrument)
    full = finger_passage(text.marked(), instrument)
    annotated = taken(full)
    sparse = text.marked(changes(full), strings=False)
    completed = compare(annotated, taken(finger_passage(sparse, instrument)))
    proposed = compare(annotated, taken(finger_passage(text.passage, instrument)))
    return completed, proposed


def table(texts: Iterable[tuple[str, FingeredText]]) -> str:
    """The accuracy table, by instrument."""
    sums: dict[str, tuple[int, Score, Score]] = {}
    for _, text in texts:
        completed, proposed = measure(text)
        count, before, after = sums.get(text.instrument, (0, Score(0, 0), Score(0, 0)))
        sums[text.instrument] = (count + 1, before + completed, after + proposed)
    rows = ["| instrument | passages | notes | completing | proposing |", "|---|---|---|---|---|"]
    for name, (count, completed, proposed) in sums.items():
        rows.append(f"| {name} | {count} | {completed.notes} | {completed.share:.1%} | {proposed.share:.1%} |")
    completed = sum((row[1] for row in sums.values()), Score(0, 0))
    proposed = sum((row[2] for row in sums.values()), Score(0, 0))
    total = sum(row[0] for row in sums.values())
    rows.append(f"| all | {total} | {completed.notes} | {completed.share:.1%} | {proposed.share:.1%} |")
    return "\n".join(rows)


@dataclass(frozen=True)
class Agreement:
    """One tune: notes, and how many agree with the players on average, with the nearest player, with any at that note;
    the average of the player who agrees with all players best; the same for a score that stays in first position;
    completing counts the players' notes together, and so does the agreement of two different players."""

    notes: int
    average: float
    nearest: int
    any_player: int
    best_player: float
    first_average: float
    first_nearest: int
    completed: Score
    each_other: Score

    def __add__(self, other: Agreement) -> Agreement:
        return Agreement(
            self.notes + other.notes, self.average + other.average, self.nearest + other.nearest,
            self.any_player + other.any_player, self.best_player + other.best_player,
            self.first_average + other.first_average, self.first_nearest + other.first_nearest,
            self.completed + other.completed, self.each_other + other.each_other,
        )  # fmt: skip


def agree(tune: AnnotatedTune) -> Agreement:
    """How a proposal for a tune of the repertoire agrees with its players."""
    violin = make_instrument("violin")
    hands = [finger_passage(tune.marked(player), violin) for player in range(len(tune.players))]
    players = [taken(hand) for hand in hands]
    proposed, first = taken(finger_passage(tune.passage, violin)), stay_in_first(tune.passage)
    ours = [compare(player, proposed).agree for player in players]
    low = [compare(player, first).agree for player in players]
    completed = Score(0, 0)
    for number, hand in enumerate(hands):
        sparse = printed_at(tune, number, changes(hand))
        completed += compare(players[number], taken(finger_passage(sparse, violin)))
    return Agreement(
        notes=len(proposed), average=sum(ours) / len(ours), nearest=max(ours),
        any_player=sum(any(player[note] == found for player in players) for note, found in proposed.items()),
        best_player=max(sum(compare(one, other).agree for other in players) / len(players) for one in players),
        first_average=sum(low) / len(low), first_nearest=max(low), completed=completed,
        each_other=sum((compare(one, other) for one, other in combinations(players, 2)), Score(0, 0)),
    )  # fmt: skip


def printed_at(tune: AnnotatedTune, player: int, ids: set[str]) -> Passage:
    """The tune with the fingers of one player at some notes, no strings."""
    pairs = zip(tune.marked(player).notes, tune.passage.notes, strict=True)
    notes = [
        replace(bare, marks=replace(marked.marks, string=None)) if bare.id in ids else bare for marked, bare in pairs
    ]
    return replace(tune.passage, notes=tuple(notes))


def stay_in_first(passage: Passage) -> Taken:
    """Every note in first position on the highest string that has it, open where it can be; out of reach: nothing."""
    strings = make_instrument("violin").strings
    found: Taken = {}
    for note in passage.notes:
        number, string = next((at, open_) for at, open_ in enumerate(strings, 1) if open_.midi <= note.pitch.midi)
        finger = 0 if string.midi == note.pitch.midi else max(1, note.pitch.diatonic - string.diatonic)
        found[note.id] = (number, str(finger) if finger <= 4 else "", None if finger == 0 else "1st")
    return found


def repertoire_table(tunes: Iterable[AnnotatedTune]) -> str:
    """The table of the repertoire, a row a tune and one for all."""
    rows = [
        "| piece | notes | fingerings | completing | average | nearest | any | best player | each other "
        "| first position: average | nearest |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    total: Agreement | None = None
    for tune in tunes:
        one = agree(tune)
        total = one if total is None else total + one
        rows.append(_row(tune.passage.title.split(": ")[-1] or tune.name, str(len(tune.players)), one))
    return "\n".join([*rows, _row("all", "", total)]) if total else ""


def agreed_table(tunes: Iterable[AnnotatedTune]) -> str:
    """The table of passages with one fingering each, a row a passage and one for all."""
    rows = ["| passage | notes | completing | proposing | first position |", "|---|---|---|---|---|"]
    named = [(tune.passage.title.split(": ")[-1], agree(tune)) for tune in tunes]
    for name, one in (*named, ("all", reduce(add, (one for _, one in named)))):
        shares = (one.completed.share, one.average / one.notes, one.first_average / one.notes)
        rows.append(f"| {name} | {one.notes} | {' | '.join(f'{share:.1%}' for share in shares)} |")
    return "\n".join(rows)


LIKE_MINDED = 0.85
"""Share of notes from which on an excerpt's fingerings count as one mind."""


def like_minded_line(tunes: Iterable[AnnotatedTune]) -> str:
    """A sentence on the excerpts that players finger alike, or have one usual fingering of."""
    ones = [agree(tune) for tune in tunes]
    alike = [one for one in ones if not one.each_other.notes or one.each_other.share >= LIKE_MINDED]
    total = alike[0]
    for one in alike[1:]:
        total = total + one
    return (
        f"Excerpts with one fingering, or with fingerings that agree in {LIKE_MINDED:.0%} of the notes or more: "
        f"{len(alike)}, {total.notes} notes. There two fingerings agree in {total.each_other.share:.1%}; average "
        f"{total.average / total.notes:.1%}, nearest {total.nearest / total.notes:.1%}, best player "
        f"{total.best_player / total.notes:.1%}, completing {total.completed.share:.1%}."
    )


def _row(name: str, players: str, one: Agreement) -> str:
    shares = [one.average, one.nearest, one.any_player, one.best_player, one.first_average, one.first_nearest]
    cells = [f"{share / one.notes:.1%}" for share in shares]
    cells.insert(4, f"{one.each_other.share:.1%}" if one.each_other.notes else "")
    columns = " | ".join(cells)
    return f"| {name} | {one.notes} | {players} | {one.completed.share:.1%} | {columns} |"


def details(texts: Iterable[tuple[str, FingeredText]]) -> None:
    """One line a passage, for reading."""
    for name, text in texts:
        completed, proposed = measure(text)
        print(f"{name:36} completing {completed.agree}/{completed.notes}  proposing {proposed.agree}/{proposed.notes}")


def lengthened(passage: Passage, notes: int) -> Passage:
    """The passage over and over until it has ``notes`` notes."""
    last = passage.measures[-1]
    length, made, times = last.onset + last.duration, [], 0
    while len(made) < notes:
        made += [
            replace(note, id=f"{note.id}-{times}", onset=note.onset + times * length, measure=f"{note.measure}.{times}")
            for note in passage.notes
        ]
        times += 1
    return replace(passage, notes=tuple(made[:notes]))


def speed_table() -> str:
    """Seconds of processor time for completing and shift finding, by length, violin passages of the set in a row."""
    texts = [read_fingered(path) for path in sorted(FOLDER.glob("violin_*.txt"))]
    onset, notes, measures = Fraction(0), [], []
    for number, text in enumerate(texts):
        notes += [replace(note, id=f"{number}.{note.id}", onset=note.onset + onset) for note in text.passage.notes]
        measures += [replace(measure, onset=measure.onset + onset) for measure in text.passage.measures]
        onset = measures[-1].onset + measures[-1].duration
    joined = replace(texts[0].passage, notes=tuple(notes), measures=tuple(measures))
    rows = ["| notes | seconds | µs a note |", "|---|---|---|"]
    for count in (1_000, 10_000, 100_000):
        passage = lengthened(joined, count)
        begin = time.process_time()
        find_way(finger_passage(passage, make_instrument("violin")))
        spent = time.process_time() - begin
        rows.append(f"| {count:,} | {spent:.2f} | {spent / count * 1e6:.0f} |")
    return "\n".join(rows)


def foreign_table() -> str:
    """Reading, completing and shift finding of a first-violin part against music21's parse of the same file."""
    path = next(Path(one) for one in corpus.getWork("beethoven/opus18no1/movement1") if str(one).endswith(".mxl"))
    data = path.read_bytes()
    violin = make_instrument("violin")

    def ours() -> None:
        find_way(finger_passage(read_score(data, name=path.name, part="1", family="violin"), violin))

    ours_s, theirs_s = least_s(ours), least_s(lambda: converter.parse(path, forceSource=True, storePickle=False))
    return (
        f"Beethoven op. 18/1 i, first violin: reading, completing and shift finding {ours_s:.2f} s; "
        f"music21 {theirs_s:.2f} s to parse the file; ratio {ours_s / theirs_s:.2f}."
    )


def least_s(work: Callable[[], object], times: int = 3) -> float:
    """Least processor time of a few runs."""
    spent = []
    for _ in range(times):
        begin = time.process_time()
        work()
        spent.append(time.process_time() - begin)
    return min(spent)


def terms_table() -> str:
    """The weights with their reasons, by group."""
    rows = ["| group | term | value | reason |", "|---|---|---|---|"]
    rows += [f"| {term.group} | `{term.name}` | {term.value:g} | {term.reason} |" for term in ordered_terms()]
    return "\n".join(rows)


def ordered_terms() -> list[Term]:
    """The terms, group by group."""
    return sorted(terms(), key=lambda term: GROUPS.index(term.group))


def styles_table() -> str:
    """The styles and what they change."""
    rows = ["| style | what it is for | changed terms |", "|---|---|---|"]
    usual = {term.name: term.value for term in terms()}
    for style in STYLES.values():
        changed = ", ".join(f"`{t.name}` {t.value:g}" for t in terms(style.weights) if t.value != usual[t.name])
        rows.append(f"| {style.name} | {style.reason} | {changed or 'none'} |")
    return "\n".join(rows)


def with_tables(text: str) -> str:
    """docs/fingering.md with its tables as the code has them."""
    for name, body in (("terms", terms_table()), ("styles", styles_table())):
        begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
        head, rest = text.split(begin, 1)
        text = f"{head}{begin}\n{body}\n{end}{rest.split(end, 1)[1]}"
    return text


def write_section(body: str, page: Path = PAGE) -> None:
    """Put ``body`` into the page's Fingering section, making page and section where they are missing."""
    section = f"{BEGIN}\n{body}\n{END}"
    text = page.read_text("utf-8") if page.exists() else "# Accuracy\n"
    if BEGIN in text:
        head, rest = text.split(BEGIN, 1)
        text = head + section + rest.split(END, 1)[1]
    else:
        text = text.rstrip() + "\n\n" + section + "\n"
    page.write_text(text, encoding="utf-8")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--write", action="store_true", help="put the tables into docs/accuracy.md")
    options.add_argument("--speed", action="store_true", help="time 1,000, 10,000 and 100,000 notes as well")
    options.add_argument("--terms", action="store_true", help="write the tables of docs/fingering.md and stop")
    options.add_argument("--details", action="store_true", help="one line a passage")
    options.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    chosen = options.parse_args()
    if chosen.terms:
        GUIDE.write_text(with_tables(GUIDE.read_text("utf-8")), encoding="utf-8")
        return
    texts = [(path.stem, read_fingered(path)) for path in sorted(chosen.folder.glob("*.txt"))]
    if not texts:
        raise SystemExit(f"{chosen.folder} holds no fingered passages (*.txt).")
    if chosen.details:
        details(texts)
    body = table(texts)
    print(body)
    tunes = [read_annotated(path) for path in sorted(REPERTOIRE.glob("*.abc"))]
    repertoire = f"{like_minded_line(tunes)}\n\n{repertoire_table(tunes)}"
    print(repertoire)
    phrases = repertoire_table(read_annotated(path) for path in sorted(PHRASES.glob("*.abc")))
    print(phrases)
    agreed = agreed_table(read_annotated(path) for path in sorted(AGREED.glob("*.abc")))
    print(agreed)
    unsearched = agreed_table(read_annotated(path) for path in sorted(UNSEARCHED.glob("*.abc")))
    print(unsearched)
    speed = f"{speed_table()}\n\n{foreign_table()}" if chosen.speed else ""
    print(speed)
    if chosen.write:
        measured = speed or "(not measured in this run)"
        tables = {
            "table": body,
            "repertoire": repertoire,
            "phrases": phrases,
            "agreed": agreed,
            "unsearched": unsearched,
        }
        write_section(SECTION.read_text("utf-8").rstrip().format(**tables, speed=measured))


if __name__ == "__main__":
    main()
