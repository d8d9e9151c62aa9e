"""Sheets as files: PDF, MusicXML, SVG and MIDI of drills and of the marked part; strips; what is refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO

import mido
import pytest
from defusedxml.ElementTree import fromstring
from pypdf import PdfReader

from oracles.drill_matrix import one
from oracles.foreign_readers import music21_differences
from pdf_lines import lines_on
from slur_curves import SLUR_PATH, slur_curves
from truestop.adapters.engrave.engraver import Engraver
from truestop.adapters.engrave.pages import make_pdf
from truestop.adapters.score.midi_writing import write_midi
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import read_score
from truestop.app.demo import STUDY, study_bytes
from truestop.app.sheet import (
    SheetChoice,
    SheetFormat,
    Stand,
    engrave_exercises,
    make_annotated_part,
    make_drills,
    make_sheet,
    make_strip_sheet,
    slides_need_room,
)
from truestop.app.sheet_layout import Paper
from truestop.domain.drill import Exercise, Stage
from truestop.domain.drill.naming import shift_sentences
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.drill.specimens import kinds_of, make_specimen
from truestop.domain.errors import DrillError
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.shift import Way
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way
from truestop.domain.wording import ENGLISH

STAFF_SPACE = 175.0
"""In the engraver's inner units, at staves of 7 mm."""
FLAT_HEIGHT = 453.0
"""Of the flat's stem over its head's middle, from the outline in the picture."""
FEW_STAGES = SheetChoice(stages=(Stage.NAME, Stage.GUIDE, Stage.LAND, Stage.PLAIN, Stage.COLD))
FEW = replace(FEW_STAGES, shifts=(2,))


@pytest.fixture(scope="module")
def stand() -> Iterator[Stand]:
    with Engraver() as engraver:
        yield Stand(write_musicxml=write_musicxml, write_midi=write_midi, engraver=engraver, make_pdf=make_pdf)


@pytest.fixture(scope="module")
def study() -> tuple[FingeredPassage, Way]:
    fingered = finger_passage(read_score(study_bytes(), name=STUDY), make_instrument("violin"))
    return fingered, find_way(fingered)


def test_a_drill_sheet_says_what_it_is(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    document = make_sheet(*study, choice=replace(FEW, a4_hz=442.0), stand=stand)
    text = "".join(page.extract_text() for page in PdfReader(BytesIO(document)).pages)
    shift = study[1].shifts[1]
    for words in ("Slack Water", "A = 442 Hz", "Violin", "Shift 2", f"bar {shift.measure}", "Stop when it hurts"):
        assert words in text, words
    for heading in ("Name it", "Guide alone", "Land over the guide note", "Plain", "Cold"):
        assert heading in text
    assert "Hear it" not in text


@pytest.mark.parametrize("sheet_format", list(SheetFormat))
def test_the_same_input_gives_the_same_bytes(
    stand: Stand, study: tuple[FingeredPassage, Way], sheet_format: SheetFormat
) -> None:
    first = make_sheet(*study, choice=FEW, sheet_format=sheet_format, stand=stand)
    assert first == make_sheet(*study, choice=FEW, sheet_format=sheet_format, stand=stand)
    part = make_annotated_part(*study, sheet_format=sheet_format, stand=stand)
    assert part == make_annotated_part(*study, sheet_format=sheet_format, stand=stand)


def test_the_svg_keeps_every_note_id(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    document = make_sheet(*study, choice=FEW, sheet_format=SheetFormat.SVG, stand=stand)
    ids = [element.get("id") for element in fromstring(document).iter() if element.get("id")]
    (drill,) = make_drills(*study, choice=FEW)
    for exercise in drill.exercises:
        for note in exercise.passage.notes:
            assert ids.count(note.id) == 1


def test_the_svg_breaks_its_texts_into_lines_that_fit(stand: Stand) -> None:
    """At half an em a letter no line is wider than the page's text; the double stop's sentences are."""
    kind = next(kind for kind in kinds_of("violin") if kind.double)
    specimen = make_specimen("violin", kind)
    way = replace(find_way(specimen.fingered), shifts=(specimen.shift,))
    document = make_sheet(specimen.fingered, way, choice=FEW_STAGES, sheet_format=SheetFormat.SVG, stand=stand)
    texts = [element for element in fromstring(document) if element.tag.endswith("text")]
    joined = " ".join("".join(text.itertext()) for text in texts)
    for sentence in shift_sentences(specimen.shift, wording=ENGLISH):
        assert sentence in joined
        assert len(sentence) > 120
    assert all(len("".join(text.itertext())) * 0.5 * float(text.get("font-size", "")) <= 180.0 for text in texts)


def test_the_part_keeps_its_note_ids_and_marks_every_shift(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    fingered, way = study
    root = fromstring(make_annotated_part(*study, sheet_format=SheetFormat.SVG, stand=stand))
    ids = {element.get("id") for element in root.iter()}
    assert {note.id for note in fingered.passage.notes} <= ids
    directions = [element for element in root.iter() if element.get("class") == "dir"]
    joined = [" ".join("".join(element.itertext()).split()) for element in directions]
    texts = [re.sub(r"(\d) ?([↗↘])", r"\1 \2", text) for text in joined]
    for shift in way.shifts:
        arrow = {"up": "↗", "down": "↘"}[shift.direction]
        assert f"{shift.number} {arrow} {shift.to_position}" in [
            re.sub(r"(\d)([↗↘])", r"\1 \2", text) for text in texts
        ]
    unwritten = [shift for shift in way.shifts if shift.guide and not shift.silent and shift.relation != "same"]
    assert len(unwritten) >= 4
    for shift in unwritten:
        assert f"guide-{shift.number}-1" in ids


def test_the_marked_part_reads_again_as_what_was_written(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    document = make_annotated_part(*study, sheet_format=SheetFormat.MUSICXML, stand=stand)
    passage = read_musicxml(document, name="part.musicxml").passages[0]
    written = [note for note in passage.notes if not note.id.startswith("guide-")]
    assert [(n.id, n.pitch, n.onset, n.duration) for n in written] == [
        (n.id, n.pitch, n.onset, n.duration) for n in study[0].passage.notes
    ]


@pytest.mark.parametrize(
    ("family", "kind"),
    [
        ("violin", "to-higher-up-across"),
        ("bass", "through-thumb-up-one-string"),
        ("cello", "same-down-across"),
        ("viola", "same-up-one-string-double-stop"),
        ("bass", "same-up-one-string-over-harmonic"),
    ],
)
def test_music21_reads_the_same_notes_fingers_strings_slurs_and_slides(family: str, kind: str) -> None:
    """``benchmarks/foreign_readers.py`` asks the same of all 224 drills."""
    passage = join_exercises(one(family, kind).exercises, title="drill")
    assert music21_differences(passage, write_musicxml(passage)) == []


def test_the_midi_sounds_what_is_written(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    """The foreign reader is mido."""
    document = make_sheet(*study, choice=FEW, sheet_format=SheetFormat.MIDI, stand=stand)
    (drill,) = make_drills(*study, choice=FEW)
    played = [
        message.note
        for message in mido.MidiFile(file=BytesIO(document))
        if message.type == "note_on" and message.velocity > 0
    ]
    written = [note for exercise in drill.exercises for note in exercise.passage.notes if not note.tied_from_before]
    assert sorted(played) == sorted(note.pitch.midi for note in written)


def test_shifts_that_do_not_exist_are_refused(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    with pytest.raises(DrillError, match="no shift 99"):
        make_sheet(*study, choice=SheetChoice(shifts=(99,)), stand=stand)
    with pytest.raises(DrillError, match="no shift in this passage"):
        make_sheet(study[0], replace(study[1], shifts=()), stand=stand)


def test_a_pulse_out_of_range_is_refused(stand: Stand, study: tuple[FingeredPassage, Way]) -> None:
    with pytest.raises(DrillError, match="pulse"):
        make_sheet(*study, choice=SheetChoice(shifts=(2,), quarter_bpm=1000.0), stand=stand)


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("family", ["violin", "cello", "bass"])
def test_strips_are_printed_at_true_scale(family: str, paper: Paper) -> None:
    """Places measured on the page (coordinates by pypdf) against the closed form L (1 − 2^(−n/12)), to 0.05 mm."""
    instrument = make_instrument(family)
    document = make_strip_sheet(instrument, strings=(1,), paper=paper, make_pdf=make_pdf)
    strokes = [line for line in lines_on(document) if line.is_upright]
    nut_mm = min(line.left_mm for line in strokes if line.length_mm == pytest.approx(21.0, abs=0.01))
    ticks = [line.left_mm - nut_mm for line in strokes if line.length_mm < 20.0]
    for place in (1, 2, 3):
        expected = instrument.length_mm * (1 - 2 ** (-place / 12))
        assert min(abs(tick - expected) for tick in ticks) < 0.05, place


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("family", ["violin", "viola", "cello", "bass"])
def test_strips_fit_their_paper(family: str, paper: Paper) -> None:
    instrument = make_instrument(family)
    document = make_strip_sheet(instrument, strings=(1,), paper=paper, left_handed=True, make_pdf=make_pdf)
    text = PdfReader(BytesIO(document)).pages[0].extract_text()
    assert "100 mm" in text
    assert instrument.open_pitch(1).pretty in text


def _exercise(family: str, name: str, stage: Stage, variant: str) -> Exercise:
    return next(each for each in one(family, name).of_stage(stage) if each.variant == variant)


@pytest.mark.parametrize(
    ("family", "name", "variant", "needed"),
    [
        ("bass", "same-down-across", "new bow", True),
        ("bass", "same-down-one-string", "old bow", True),
        ("bass", "same-down-across", "one bow", False),
        ("cello", "to-higher-up-one-string", "new bow", False),
    ],
)
def test_room_is_made_for_a_slide_to_an_accidental(family: str, name: str, variant: str, needed: bool) -> None:
    assert slides_need_room(_exercise(family, name, Stage.IN_TIME, variant).passage) is needed


def test_a_slide_to_a_small_sharp_is_long_enough_to_see(stand: Stand) -> None:
    """Half a staff space at least, from the picture's own coordinates; set close it was a dot inside the sharp."""
    exercise = _exercise("bass", "same-down-across", Stage.IN_TIME, "new bow")
    ((picture,),) = engrave_exercises([exercise], choice=SheetChoice(), stand=stand)
    slides = re.findall(r'class="gliss slide">\s*<path[^>]* d="M(\d+) \d+ L(\d+) \d+"', picture.svg)
    assert len(slides) == 3
    assert all(int(end) - int(start) > STAFF_SPACE / 2 for start, end in slides)


def test_guide_notes_of_the_part_stand_clear_of_the_notes_they_slide_to(
    stand: Stand, study: tuple[FingeredPassage, Way]
) -> None:
    """Every slide line is half a staff space long at least; four of the study's had no length or less."""
    document = make_annotated_part(*study, sheet_format=SheetFormat.SVG, stand=stand).decode()
    slides = re.findall(r'class="gliss slide">\s*<path[^>]* d="M(\d+) \d+ L(\d+) \d+"', document)
    assert len(slides) >= 13
    assert all(int(end) - int(start) > STAFF_SPACE / 2 for start, end in slides)


@pytest.mark.parametrize(("stage", "variant"), [(Stage.GUIDE, "slow"), (Stage.LAND, "slide")])
def test_slurs_keep_clear_of_flats(stand: Stand, stage: Stage, variant: str) -> None:
    """A flat under a slur ends a tenth of a staff space below it at least; its height is that of the outline drawn."""
    exercise = _exercise("cello", "same-up-one-string", stage, variant)
    ((picture,),) = engrave_exercises([exercise], choice=SheetChoice(), stand=stand)
    flats = re.findall(r'<use href="#E260[^"]*" transform="translate\((\d+), (\d+)\) scale\(([\d.]+)', picture.svg)
    slurs = SLUR_PATH.findall(picture.svg)
    met = 0
    for x, y, scale in flats:
        stem_x, top = int(x) + 14 * float(scale), int(y) - FLAT_HEIGHT * float(scale)
        for slur in slurs:
            _, inner = slur_curves(slur)
            under = inner[abs(inner[:, 0] - stem_x) < 20]
            met += len(under) > 0
            assert (under[:, 1] < top - STAFF_SPACE / 10).all()
    assert met >= 2
