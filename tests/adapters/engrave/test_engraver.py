"""Engraving in processes that may die: pictures with the file's ids, limits, restarts, the cache."""

from __future__ import annotations

import os
import re
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring

from oracles.drill_matrix import one
from oracles.foreign_readers import verovio_differences
from slur_curves import SLUR_PATH, slur_curves
from truestop.adapters.engrave.engraver import Engraver
from truestop.adapters.engrave.finish import finish_svg
from truestop.adapters.engrave.prepare import prepare_musicxml
from truestop.adapters.engrave.process import Worker, WorkerDiedError
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import read_score
from truestop.app.demo import STUDY, study_bytes
from truestop.app.sheet_ports import TEXT_FAMILY
from truestop.domain.drill import Exercise, Stage
from truestop.domain.drill.part import mark_shifts
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.errors import EngravingError
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.way import find_way

DOUBLE = "same-up-one-string-double-stop"
SVG = "{http://www.w3.org/2000/svg}"

#: Stand-ins for the worker: one that never answers, one that crashes on its first document, one that never starts.
SLEEPER = """
import sys, time, struct
sys.stdout.buffer.write(struct.pack(">Q", 15) + b'{"ready": true}'); sys.stdout.buffer.flush(); time.sleep(60)
"""
CRASHER = SLEEPER.replace("time.sleep(60)", "sys.stdin.buffer.read(8); import os; os._exit(139)")


@pytest.fixture(scope="module")
def engraver() -> Iterator[Engraver]:
    with Engraver() as engraver:
        yield engraver


@pytest.fixture(scope="module")
def landing() -> Exercise:
    """Land over the guide note, violin, from a lower to a higher finger on one string."""
    return one("violin", "to-higher-up-one-string").of_stage(Stage.LAND)[0]


def test_note_ids_of_the_file_are_ids_in_the_picture(engraver: Engraver, landing: Exercise) -> None:
    (picture,) = engraver.engrave(write_musicxml(landing.passage), width_mm=174.0)
    ids = {element.get("id") for element in fromstring(picture.svg).iter() if "note" in (element.get("class") or "")}
    assert {note.id for note in landing.passage.notes} <= ids


def test_fingers_and_numerals_are_printed_and_guide_notes_are_small(engraver: Engraver, landing: Exercise) -> None:
    (picture,) = engraver.engrave(write_musicxml(landing.passage), width_mm=174.0)
    root = fromstring(picture.svg)
    fingers = [element for element in root.iter(f"{SVG}g") if element.get("class") == "fing"]
    texts = ["".join(element.itertext()).strip() for element in fingers]
    assert texts.count("3") == 3
    assert "III" in texts
    for note in landing.passage.notes:
        group = next(element for element in root.iter() if element.get("id") == note.id)
        head = group.find(f".//{SVG}use")
        assert head is not None
        scale = re.search(r"scale\(([\d.]+)", head.get("transform", ""))
        assert scale is not None
        assert (float(scale[1]) < 0.6) == note.small


def test_staves_have_the_asked_height_and_the_picture_is_cut_to_the_music(
    engraver: Engraver, landing: Exercise
) -> None:
    (picture,) = engraver.engrave(write_musicxml(landing.passage), width_mm=174.0, staff_mm=7.0)
    root = fromstring(picture.svg)
    view = [float(number) for number in root.get("viewBox").split()]
    inner = [float(number) for number in root.find(f"{SVG}svg").get("viewBox").split()]
    lines = sorted({float(y) for y in re.findall(r'd="M\d+ (\d+) L\d+ \1"', picture.svg)})[:5]
    staff_mm = (lines[-1] - lines[0]) / inner[2] * view[2] * picture.width_mm / view[2]
    assert staff_mm == pytest.approx(7.0, abs=0.1)
    assert 60.0 < picture.width_mm < 174.0


def test_pictures_carry_no_style_sheet_and_no_foreign_font(engraver: Engraver, landing: Exercise) -> None:
    (picture,) = engraver.engrave(write_musicxml(landing.passage), width_mm=174.0)
    assert "<style" not in picture.svg
    assert " style=" not in picture.svg
    assert set(re.findall(r'font-family="([^"]*)"', picture.svg)) == {TEXT_FAMILY}


def test_verovio_reads_the_same_notes_slurs_and_slides(landing: Exercise) -> None:
    """``benchmarks/foreign_readers.py`` asks the same of all 224 drills."""
    for exercise in (landing, *one("cello", "through-thumb-up-across").exercises, *one("bass", DOUBLE).exercises):
        assert verovio_differences(exercise.passage, write_musicxml(exercise.passage)) == []


def test_both_notes_of_a_double_stop_keep_their_slide_under_a_bow_mark(engraver: Engraver) -> None:
    exercise = next(each for each in one("violin", DOUBLE).exercises if each.variant == "old bow")
    (picture,) = engraver.engrave(write_musicxml(exercise.passage), width_mm=174.0)
    lines = [
        group
        for group in fromstring(picture.svg).iter(f"{SVG}g")
        if (group.get("class") or "").startswith("gliss") and len(group)
    ]
    assert len(lines) == sum(note.marks.slide for note in exercise.passage.notes) == 6


def test_the_same_music_gives_the_same_picture_from_another_process(landing: Exercise) -> None:
    document = write_musicxml(landing.passage)
    with Engraver() as first, Engraver() as second:
        assert first.engrave(document, width_mm=174.0) == second.engrave(document, width_mm=174.0)


def test_a_worker_that_was_killed_is_replaced(engraver: Engraver, landing: Exercise) -> None:
    document = write_musicxml(landing.passage)
    before = engraver.engrave(document, width_mm=174.0)
    worker = engraver._idle.get()
    assert worker is not None
    engraver._idle.put(worker)
    worker._process.kill()
    worker._process.wait()
    assert engraver.engrave(document, width_mm=174.0) == before


def test_a_worker_killed_in_the_midst_of_its_work_is_replaced_and_the_work_done() -> None:
    document = write_musicxml(join_exercises(one("cello", "to-higher-up-one-string").exercises * 2, title="long"))
    with Engraver() as engraver, ThreadPoolExecutor(max_workers=1) as thread:
        before = engraver.engrave(document, width_mm=174.0)
        worker = engraver._idle.queue[0]
        assert worker is not None
        again = thread.submit(engraver.engrave, document, width_mm=174.0)
        while engraver._idle.queue:
            time.sleep(0.001)
        worker._process.kill()
        assert again.result(timeout=60.0) == before
        replacement = engraver._idle.queue[0]
        assert replacement is not None
        assert replacement._process.pid != worker._process.pid


@pytest.mark.parametrize("document", [b"<svg/>", b"<score-partwise", b"", b"\x00\xff"])
def test_a_document_that_cannot_be_loaded_is_refused_and_the_next_one_is_engraved(
    engraver: Engraver, landing: Exercise, document: bytes
) -> None:
    with pytest.raises(EngravingError, match="could not be engraved"):
        engraver.engrave(document, width_mm=174.0)
    assert engraver.engrave(write_musicxml(landing.passage), width_mm=174.0)


def test_a_worker_that_does_not_answer_is_ended_in_time() -> None:
    worker = Worker(command=[sys.executable, "-c", SLEEPER])
    start = time.monotonic()
    with pytest.raises(WorkerDiedError):
        worker.ask({"documents": [""], "options": {}}, time_limit_s=0.3)
    assert time.monotonic() - start < 5.0
    worker.end()


def test_a_worker_that_crashes_is_noticed_at_once() -> None:
    worker = Worker(command=[sys.executable, "-c", CRASHER])
    with pytest.raises(WorkerDiedError):
        worker.ask({"documents": [""], "options": {}}, time_limit_s=20.0)
    worker.end()


@pytest.mark.skipif(os.name != "posix", reason="memory limits are POSIX")
def test_memory_is_limited() -> None:
    with pytest.raises(WorkerDiedError):
        Worker(memory_limit_bytes=30 * 1024**2)


def test_the_cache_answers_without_a_process(tmp_path: Path, landing: Exercise) -> None:
    document = write_musicxml(landing.passage)
    with Engraver(cache_folder=tmp_path / "pictures") as engraver:
        made = engraver.engrave(document, width_mm=174.0)
    kept = Engraver(cache_folder=tmp_path / "pictures", workers=1)
    assert kept.engrave(document, width_mm=174.0) == made
    assert kept._idle.get() is None
    assert not list((tmp_path / "pictures").glob("*.part"))


def test_a_spoilt_cache_entry_is_made_anew(tmp_path: Path, landing: Exercise) -> None:
    document = write_musicxml(landing.passage)
    with Engraver(cache_folder=tmp_path) as engraver:
        made = engraver.engrave(document, width_mm=174.0)
        (entry,) = tmp_path.glob("*.json")
        entry.write_text('["<svg', encoding="utf-8")
        assert engraver.engrave(document, width_mm=174.0) == made


def test_one_bad_document_among_many_is_refused_and_spoils_no_later_one(engraver: Engraver, landing: Exercise) -> None:
    good = write_musicxml(landing.passage)
    with pytest.raises(EngravingError, match="could not be engraved"):
        engraver.engrave_all([good, b"<svg/>", good], width_mm=150.0)
    assert len(engraver.engrave_all([good, good], width_mm=150.0)) == 2


def test_long_music_comes_as_one_picture_per_system(engraver: Engraver) -> None:
    passage = join_exercises(one("viola", "same-up-one-string").exercises, title="long")
    pictures = engraver.engrave(write_musicxml(passage), width_mm=174.0)
    assert len(pictures) > 5
    assert all(picture.height_mm < 45.0 for picture in pictures)
    for note in passage.notes:
        assert sum(f'id="{note.id}"' in picture.svg for picture in pictures) == 1


def test_several_documents_come_back_in_order(landing: Exercise) -> None:
    exercises = one("viola", "to-lower-down-across").exercises[:6]
    documents = [write_musicxml(exercise.passage) for exercise in exercises]
    with Engraver(workers=2) as engraver:
        together = engraver.engrave_all(documents, width_mm=174.0)
    for exercise, (picture, *_) in zip(exercises, together, strict=True):
        assert exercise.passage.notes[0].id in picture.svg


SAMPLE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Cello</part-name></score-part>
</part-list><part id="P1"><measure number="1"><note><pitch><step>A</step><octave>3</octave></pitch>
<duration>1</duration><notations><technical>{}</technical></notations></note></measure></part></score-partwise>"""


@pytest.mark.parametrize(
    ("marks", "texts"),
    [
        ("<fingering>1</fingering><string>2</string>", ["1", "II"]),
        ('<fingering>2</fingering><fingering substitution="yes">1</fingering>', ["2–1"]),
        ('<fingering>2</fingering><fingering alternate="yes">3</fingering>', ["2(3)"]),
        ("<thumb-position/>", ["T"]),
        ("<open-string/>", ["0"]),
        ("<fingering>0</fingering><open-string/>", ["0"]),
    ],
)
def test_hand_marks_become_texts(marks: str, texts: list[str]) -> None:
    root = fromstring(prepare_musicxml(SAMPLE.format(marks).encode()))
    assert [(element.text or "").strip("\u00a0") for element in root.iter("fingering")] == texts
    assert root.find(".//string") is None
    assert root.find(".//thumb-position") is None


SYSTEM = (
    '<svg viewBox="0 0 {width} 200" overflow="visible"><svg class="definition-scale" viewBox="0 0 {inner} 2000">'
    '<g class="page-margin" transform="translate(0, 100)"><path d="M0 300 L{inner} 300" />'
    '<g id="a" class="fing"><text x="{before}" y="200" font-size="0px"><tspan font-size="250px">III</tspan></text></g>'
    '<g id="b" class="dir"><text x="9300" y="200" font-size="0px"><tspan font-size="400px">1 ↗ 5th</tspan></text></g>'
    "</g></svg></svg>"
)


@pytest.mark.parametrize(("before", "moved", "wider_mm"), [(7000, True, 0.0), (8800, False, 7.0)])
def test_words_at_the_end_of_a_line_are_never_cut_off(before: int, moved: bool, wider_mm: float) -> None:
    """Seven letters of half an em at 400 end at 10 700 on a line of 10 000: set back, or the picture is 7 mm wider."""
    picture = finish_svg(SYSTEM.format(width=1000, inner=10000, before=before), width_mm=100.0)
    assert ("translate(-700, 0)" in picture.svg) == moved
    assert picture.width_mm - picture.bleed_mm == pytest.approx(100.0 + wider_mm)
    assert "1 ↗ 5th" in picture.svg


def test_words_stop_short_of_the_finger_after_them() -> None:
    """Seven letters of half an em at 400 end at 4900; the finger begins at 4868.75 and gets a gap of 140."""
    svg = SYSTEM.format(width=1000, inner=10000, before=4900).replace('x="9300"', 'x="3500"')
    svg = svg.replace('y="200" font-size="0px"><tspan font-size="250px">III', 'y="150" text-anchor="middle"><tspan '
                      'font-size="125px">3')  # fmt: skip
    picture = finish_svg(svg, width_mm=100.0)
    assert f"translate({4868.75 - 140 - 4900:.0f}, 0)" in picture.svg


def test_bold_words_are_taken_for_wider() -> None:
    """A tempo of seven bold letters of 0.65 em at 400 ends at 5320, where the finger's gap begins at 5060."""
    svg = SYSTEM.format(width=1000, inner=10000, before=5200).replace('x="9300"', 'x="3500"')
    svg = svg.replace('size="0px"><tspan font-size="400px"', 'size="0px"><tspan font-weight="bold" font-size="400px"')
    picture = finish_svg(svg, width_mm=100.0)
    assert f"translate({5060 - 5320}, 0)" in picture.svg


def test_no_slur_runs_through_a_finger(engraver: Engraver) -> None:
    """The study's marked part held digits under its slurs; every digit's box against both edges of every slur."""
    study = read_score(study_bytes(), name=STUDY)
    fingered = finger_passage(study, make_instrument("violin"))
    systems = engraver.engrave(write_musicxml(mark_shifts(fingered, find_way(fingered))), width_mm=180.0)
    raised = 0
    for picture in systems:
        slurs = [np.concatenate(slur_curves(path)) for path in SLUR_PATH.findall(picture.svg)]
        for up, x, y, size in re.findall(FINGER, picture.svg):
            raised += bool(up)
            bottom, left, right = float(y) + float(up or 0), float(x) - float(size) / 4, float(x) + float(size) / 4
            for edges in slurs:
                within = edges[(edges[:, 0] > left) & (edges[:, 0] < right)]
                assert not ((within[:, 1] > bottom - 0.6 * float(size)) & (within[:, 1] < bottom)).any()
    assert raised >= 1


def test_a_guide_note_after_a_clef_inside_a_bar_stands_by_the_new_clef(engraver: Engraver) -> None:
    """The guide note C5 at the height of the C5 that follows it."""
    tune = b'X:1\nT:Clefs\nL:1/4\nK:C clef=alto\n!4!"^II"A !1!E [K:clef=treble] !3!e !1!c |\n'
    fingered = finger_passage(read_score(tune, name="clefs.abc"), make_instrument("viola"))
    (picture,) = engraver.engrave(write_musicxml(mark_shifts(fingered, find_way(fingered))), width_mm=180.0)
    guide, written = (
        re.search(rf'id="{name}".*?<use [^>]*translate\(\d+, (\d+)\)', picture.svg, re.DOTALL)
        for name in ("guide-1-1", "m1n4")
    )
    assert guide is not None
    assert written is not None
    assert guide[1] == written[1]


FINGER = (
    r'class="fing"[^>]*?(?:transform="translate\(0, (-?\d+)\)"[^>]*)?>\s*'
    r'<text x="(\d+)" y="(-?\d+)"[^>]*>(?:\s*<tspan[^>]*>)*?\s*<tspan font-size="([\d.]+)px">'
)


def test_specks_of_slide_lines_are_left_out(engraver: Engraver) -> None:
    svg = SYSTEM.format(width=1000, inner=10000, before=7000).replace(
        "</g></svg>",
        '<g id="c" class="gliss slide"><path d="M10 20 L40 30" stroke="black"/></g>'
        '<g id="d" class="gliss slide"><path d="M10 20 L400 30" stroke="black"/></g></g></svg>',
        1,
    )
    finished = finish_svg(svg, width_mm=100.0).svg
    assert "M10 20 L40 30" not in finished
    assert "M10 20 L400 30" in finished
