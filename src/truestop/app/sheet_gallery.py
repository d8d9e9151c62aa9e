"""The gallery: every kind of shift of every instrument on sheets, to look at and to test by.

Conventions: a specimen's shift is drilled like any other; one sheet per instrument.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from truestop.app.sheet import engrave_exercises
from truestop.app.sheet_blocks import drill_blocks, lay_out
from truestop.app.sheet_choice import SheetChoice, Stand
from truestop.app.sheet_layout import Block
from truestop.domain.drill import Drill, make_drill
from truestop.domain.drill.specimens import GROUNDS, Specimen, kinds_of, make_specimen
from truestop.domain.wording import ENGLISH, Wording


def drills_of(family: str, *, choice: SheetChoice, wording: Wording = ENGLISH) -> tuple[tuple[Specimen, Drill], ...]:
    """Every specimen of an instrument with its drill, numbered through."""
    specimens = (make_specimen(family, kind) for kind in kinds_of(family))
    numbered = [
        replace(specimen, shift=replace(specimen.shift, number=number))
        for number, specimen in enumerate(specimens, start=1)
    ]
    return tuple(
        (specimen, make_drill(specimen.fingered, specimen.shift, stages=choice.stages, wording=wording))
        for specimen in numbered
    )


def make_gallery(
    *,
    choice: SheetChoice,
    stand: Stand,
    families: Sequence[str] = tuple(GROUNDS),
    wording: Wording = ENGLISH,
    on_progress: Callable[[str], None] = lambda name: None,
) -> Iterator[tuple[str, bytes]]:
    """File name and PDF of each instrument's gallery; ``on_progress`` hears each family as it is begun."""
    for family in families:
        on_progress(family)
        pairs = drills_of(family, choice=choice, wording=wording)
        blocks: list[Block] = []
        label = 1
        for specimen, drill in pairs:
            systems = engrave_exercises(drill.exercises, choice=choice, stand=stand)
            blocks += drill_blocks(specimen.fingered, [drill], systems, choice, wording, first_label=label)
            label += len(drill.exercises)
        sheet = lay_out(pairs[0][0].fingered, blocks, kind="sheet.kind.drill", choice=choice, wording=wording)
        yield f"gallery-{family}.pdf", stand.make_pdf(replace(sheet, title=wording.say("gallery.title")))
