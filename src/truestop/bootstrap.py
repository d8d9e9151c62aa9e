"""The only place that builds adapters and hands them to the use cases.

Conventions: an adapter that brings a large library with it (database, engraver, sound files) is met where it is built,
so that a command starts without those it does not use.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from truestop.adapters.score.annotating import annotate_musicxml, without_fingerings
from truestop.adapters.score.midi_writing import write_midi
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.printed_marks import print_marks
from truestop.adapters.score.reading import kind_of, read_score
from truestop.adapters.score.typed_entry import EXAMPLE, looks_typed, read_typed
from truestop.app.printing import extra_marks, without_fingers
from truestop.domain.attempt import MEASURE_VERSION, Attempt, Expectation
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Passage
from truestop.domain.run import Run
from truestop.domain.stop import FingeredPassage
from truestop.domain.tuning_scala import Scale, parse_scale

if TYPE_CHECKING:
    from truestop.adapters.spacing import FsrsSpacing
    from truestop.adapters.store import FolderShelf, SqlPracticeStore
    from truestop.app.sheet import Stand

#: A score file larger than this is not read.
LARGEST_SCORE_BYTES = 64 * 1024 * 1024
SCORE_SUFFIXES = (".musicxml", ".xml", ".mxl", ".abc", ".mid", ".midi")


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where the record, the sound of takes and the engraver's cache lie."""

    database: str | Path
    shelf: Path
    cache: Path

    @classmethod
    def usual(cls) -> Places:
        """The user's own folders; TRUESTOP_HOME and TRUESTOP_DATABASE put them elsewhere."""
        named = os.environ.get("TRUESTOP_HOME")
        home = Path(named) if named else Path(platformdirs.user_data_dir("truestop", appauthor=False))
        cache = home / "cache" if named else Path(platformdirs.user_cache_dir("truestop", appauthor=False))
        return cls.under(home, cache=cache, database=os.environ.get("TRUESTOP_DATABASE"))

    @classmethod
    def under(cls, home: Path, *, cache: Path | None = None, database: str | None = None) -> Places:
        """Everything under one folder."""
        return cls(database=database or home / "record.sqlite", shelf=home / "takes", cache=cache or home / "cache")


def open_store(places: Places) -> SqlPracticeStore:
    """The record of practice, made where there is none."""
    from truestop.adapters.store import SqlPracticeStore

    return SqlPracticeStore(places.database)


def open_shelf(places: Places) -> FolderShelf:
    """Where the sound of takes is kept."""
    from truestop.adapters.store import FolderShelf

    return FolderShelf(places.shelf)


def open_passage(
    source: str,
    *,
    part: str | None = None,
    measures: str | None = None,
    family: str | None = None,
    fresh: bool = False,
) -> Passage:
    """The passage in a file, on standard input ('-'), or in words; with ``fresh`` as if no finger were printed."""
    if source != "-" and not _names_a_file(source) and looks_typed(source):
        typed = read_typed(source, family=family)
        if family is not None and typed.instrument != family:
            raise ScoreError(
                f"The words are for {typed.instrument}, not for {family}.", where=f"'{source[:60]}'",
                hint="Leave out --instrument, or the instrument's name.",
            )  # fmt: skip
        return without_fingers(typed) if fresh else typed
    data, name = read_source(source)
    if fresh and kind_of(data, name) == "MusicXML":
        return read_score(without_fingerings(data, name), name=name, part=part, measures=measures, family=family)
    passage = read_score(data, name=name, part=part, measures=measures, family=family)
    return without_fingers(passage) if fresh else passage


@cache
def read_source(source: str) -> tuple[bytes, str]:
    """Bytes and name of a file or of standard input, read once; ScoreError where it is too large or not there."""
    if not source.strip():
        raise ScoreError("The passage has no name.", hint="Name a score, or type a shift: 'II 1 B4 > II 3 F#5'.")
    if source == "-":
        data, name = sys.stdin.buffer.read(LARGEST_SCORE_BYTES + 1), "standard input"
    else:
        data, name = read_file(Path(source)), Path(source).name
    if len(data) > LARGEST_SCORE_BYTES:
        raise ScoreError(
            f"The file is larger than {LARGEST_SCORE_BYTES // 1024**2} MB.", where=name, hint="Export one part alone."
        )
    return data, name


def write_fingered(source: str, fingered: FingeredPassage, *, fresh: bool = False) -> bytes:
    """The score with the fingerings a player would print: the file itself where it is MusicXML, else written anew.

    With ``fresh`` the fingerings that the file prints give way.
    """
    if source == "-" or _names_a_file(source):
        data, name = read_source(source)
        if kind_of(data, name) == "MusicXML":
            return write_into(without_fingerings(data, name) if fresh else data, name, fingered)
    return write_anew(fingered)


def write_anew(fingered: FingeredPassage) -> bytes:
    """The passage with the fingerings a player would print, as a MusicXML document of our own."""
    extra = extra_marks(fingered, print_marks)
    return write_musicxml(print_marks(fingered, also=extra.also, hands=extra.hands))


def write_into(data: bytes, name: str, fingered: FingeredPassage) -> bytes:
    """A MusicXML file with the fingerings a player would print, all else as it was."""
    extra = extra_marks(fingered, print_marks)
    return annotate_musicxml(data, name, fingered, also=extra.also, hands=extra.hands)


def _names_a_file(source: str) -> bool:
    """Whether it is a file's name rather than a shift in words; a missing file with a score's ending still is."""
    return source.lower().endswith(SCORE_SUFFIXES) or Path(source).exists()


def read_file(path: Path) -> bytes:
    """A file's bytes, at most one more than the largest score; ScoreError where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_SCORE_BYTES + 1)
    except FileNotFoundError as error:
        raise ScoreError("There is no such file.", where=str(path), hint=_missing_hint(path)) from error
    except OSError as error:
        if path.is_dir():
            hint = "Name one score in it; truestop sheets makes the sheets of a whole folder."
            raise ScoreError("This is a folder, not a score.", where=str(path), hint=hint) from error
        raise ScoreError(
            f"The file cannot be read: {error.strerror or error}.", where=str(path), hint="Check that you may read it."
        ) from error


def _missing_hint(path: Path) -> str:
    """Words that no file's name would hold may have been meant as a shift."""
    typed = "" if path.suffix or " " not in path.name else f"; a shift is typed like {EXAMPLE}"
    return f"Check its name and folder{typed}."


def read_scale(path: Path) -> Scale:
    """A Scala scale from a file."""
    return parse_scale(read_file(path).decode("utf-8", "replace"), name=path.name)


@contextmanager
def open_stand(
    places: Places, *, workers: int = 2, tell: Callable[[str], None] = lambda sentence: None
) -> Iterator[Stand]:
    """Writers, engraver and page maker, which may ``tell`` something; the engraver's processes end with the context."""
    from truestop.adapters.engrave.engraver import Engraver
    from truestop.adapters.engrave.pages import make_pdf
    from truestop.app.sheet import Stand

    with Engraver(cache_folder=places.cache / "engraved", workers=workers) as engraver:
        pages = partial(make_pdf, tell=tell)
        yield Stand(write_musicxml=write_musicxml, write_midi=write_midi, engraver=engraver, make_pdf=pages)


def read_study() -> Passage:
    """The built-in study."""
    from truestop.app.demo import STUDY, study_bytes

    return read_score(study_bytes(), name=STUDY)


def make_spacing() -> FsrsSpacing:
    """Days to the next cold test."""
    from truestop.adapters.spacing import FsrsSpacing

    return FsrsSpacing()


class FileJudge:
    """app.ports.TakeJudge: judges a kept take's sound file with the measure of this version."""

    measure_version = MEASURE_VERSION

    def judge(self, sound: Path, expected: Expectation) -> Sequence[Attempt]:
        """The attempts at what was expected."""
        from truestop.adapters.audio.files import open_take
        from truestop.listening.judging import judge_blocks

        take = open_take(sound)
        return tuple(judge_blocks(take.blocks(), take.sample_rate_hz, expected))

    def judge_run(self, sound: Path, run: Run) -> Sequence[Attempt]:
        """The attempts at its shifts."""
        from truestop.adapters.audio.files import open_take
        from truestop.app.performance import judge_run

        return tuple(crossed.attempt for crossed in judge_run(run, open_take(sound)))


def make_take_judge() -> FileJudge:
    """Judges kept takes again."""
    return FileJudge()
