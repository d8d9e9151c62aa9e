"""The drills of every kind of shift of every instrument, and the golden MusicXML kept of them.

The golden files are our own output, looked at as pages when they were made. Run this file to renew them after a change
that is meant: ``PYTHONPATH=src:tests python tests/oracles/drill_matrix.py``.
"""

from __future__ import annotations

import tarfile
from functools import cache
from io import BytesIO
from pathlib import Path

from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.domain.drill import Drill, make_drill
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.drill.specimens import GROUNDS, Specimen, kinds_of, make_specimen
from truestop.domain.passage import Passage

FOLDER = Path(__file__).with_name("drills")
FAMILIES = tuple(GROUNDS)


@cache
def matrix(family: str) -> tuple[tuple[Specimen, Drill], ...]:
    """Every specimen of an instrument with its drill."""
    specimens = (make_specimen(family, kind) for kind in kinds_of(family))
    return tuple((specimen, make_drill(specimen.fingered, specimen.shift)) for specimen in specimens)


@cache
def one(family: str, name: str) -> Drill:
    """The drill of one kind by its name: 'to-higher-up-one-string'."""
    kind = next(kind for kind in kinds_of(family) if kind.name == name)
    specimen = make_specimen(family, kind)
    return make_drill(specimen.fingered, specimen.shift)


def joined(specimen: Specimen, drill: Drill) -> Passage:
    """All exercises of a drill as one passage."""
    return join_exercises(drill.exercises, title=specimen.name)


@cache
def document(family: str, index: int) -> bytes:
    """The MusicXML of one drill of the matrix."""
    return write_musicxml(joined(*matrix(family)[index]))


def golden(family: str) -> dict[str, bytes]:
    """The golden MusicXML of an instrument by specimen name."""
    with tarfile.open(FOLDER / f"{family}.tar.xz", "r:xz") as archive:
        found = {member.name: archive.extractfile(member) for member in archive.getmembers()}
        return {name.removesuffix(".musicxml"): file.read() for name, file in found.items() if file is not None}


def renew(family: str) -> None:
    """Write an instrument's golden MusicXML anew; the same drills give the same bytes."""
    with tarfile.open(FOLDER / f"{family}.tar.xz", "w:xz") as archive:
        for index, (specimen, _) in enumerate(matrix(family)):
            written = document(family, index)
            member = tarfile.TarInfo(f"{specimen.name}.musicxml")
            member.size = len(written)
            archive.addfile(member, BytesIO(written))


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name in FAMILIES:
        renew(name)
