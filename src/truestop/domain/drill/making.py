"""The drill for one shift: which exercises it calls for, in the order of the stages.

Conventions: the table below names every exercise and its maker; words come from the wording table.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from truestop.domain.drill import guiding, hearing, playing
from truestop.domain.drill.naming import shift_fields
from truestop.domain.drill.stages import ALL_STAGES, Drill, Exercise, Stage
from truestop.domain.drill.ways import Made, Ways, ways_of
from truestop.domain.errors import DrillError
from truestop.domain.guide import Guidebook
from truestop.domain.shift import Shift
from truestop.domain.stop import FingeredPassage
from truestop.domain.wording import ENGLISH, Wording

Maker = Callable[[Ways, str, Wording], Made | None]

#: The exercises of each stage, in the order they are practised.
MAKERS: dict[Stage, tuple[tuple[str, Maker], ...]] = {
    Stage.NAME: (("name", hearing.name),),
    Stage.HEAR: (("sing", hearing.hear_sing), ("across", hearing.hear_across), ("octave", hearing.hear_octave)),
    Stage.SETTLE: (("frame", hearing.settle_frame), ("check", hearing.settle_check)),
    Stage.GUIDE: (("slow", guiding.guide_slow), ("check", guiding.guide_check), ("set", guiding.guide_set)),
    Stage.LAND: (("guide", guiding.land_guide), ("slide", guiding.land_slide), ("set", guiding.land_set)),
    Stage.PLAIN: (("plain", playing.plain),),
    Stage.IN_TIME: (
        ("rhythms", playing.rhythms),
        ("one bow", playing.one_bow),
        ("old bow", playing.old_bow),
        ("new bow", playing.new_bow),
        ("return", playing.there_and_back),
    ),
    Stage.IN_THE_PASSAGE: (("bars", playing.bars), ("phrase", playing.phrase)),
    Stage.COLD: (("cold", playing.cold),),
}


def make_drill(
    fingered: FingeredPassage,
    shift: Shift,
    *,
    stages: Sequence[Stage] = ALL_STAGES,
    wording: Wording = ENGLISH,
    quarter_bpm: float | None = None,
    book: Guidebook | None = None,
) -> Drill:
    """The exercises of ``stages`` for one shift of a fingered passage.

    ``quarter_bpm`` is the pulse to practise at, 20–300; the passage's own where None. ``book`` saves looking through
    the passage again for every shift. Raises DrillError for a pulse out of range and for a shift whose ends sound
    nothing.
    """
    if quarter_bpm is not None and not 20.0 <= quarter_bpm <= 300.0:
        raise DrillError(f"A pulse of {quarter_bpm:g} is out of range.", hint="Give 20 to 300 quarter notes a minute.")
    if not shift.departure or not shift.arrival:
        raise DrillError(f"Shift {shift.number} has no note to leave or to reach.", hint="Choose another shift.")
    ways = ways_of(fingered, shift, quarter_bpm, book or Guidebook(fingered))
    fields = shift_fields(fingered, shift, wording=wording, quarter_bpm=quarter_bpm)
    exercises = []
    for stage in ALL_STAGES:
        for variant, make in MAKERS[stage] if stage in stages else ():
            made = make(ways, f"s{shift.number}-{stage}-{variant}".replace(" ", "-"), wording)
            if made is not None:
                exercises.append(_exercise(made, ways, stage, variant, wording, fields))
    return Drill(shift=shift, exercises=tuple(exercises))


def _exercise(made: Made, ways: Ways, stage: Stage, variant: str, wording: Wording, fields: dict[str, str]) -> Exercise:
    name = f"{stage}.{variant}"
    words = fields | made.fields
    return Exercise(
        key=made.key,
        shift=ways.shift.number,
        stage=stage,
        variant=variant,
        heading=wording.say(f"{name}.heading", **words),
        instruction=wording.say(f"{name}.instruction" + (f".{made.case}" if made.case else ""), **words),
        passage=made.passage,
        stops=made.stops,
        travels=made.travels,
    )
