"""The own set of fingered passages: counted as benchmarks/fingering.py counts, and the documents that tell of it.

Source: common practice, no source; each passage states its reason.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from annotated_abc import AnnotatedTune, read_annotated
from fingered_text import FingeredText, read_fingered
from truestop.domain.fingering import finger_passage, propose_fingerings
from truestop.domain.fingering.alternatives import STRETCH, WANTED_SHARE
from truestop.domain.frame import CONTRACTED, EXTENDED, RESTING
from truestop.domain.instrument import make_instrument

ROOT = Path(__file__).parents[2]
PATHS = sorted((ROOT / "tests" / "oracles" / "fingering").glob("*.txt"))


def load_benchmark() -> ModuleType:
    """benchmarks/fingering.py as a module."""
    spec = importlib.util.spec_from_file_location("fingering_benchmark", ROOT / "benchmarks" / "fingering.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


BENCHMARK = load_benchmark()


@pytest.fixture(scope="module")
def texts() -> list[tuple[str, FingeredText]]:
    return [(path.stem, read_fingered(path)) for path in PATHS]


def test_every_passage_gives_its_reason_and_each_note_its_finger(texts: list[tuple[str, FingeredText]]) -> None:
    assert len(texts) >= 40
    assert {text.instrument for _, text in texts} == {"violin", "viola", "cello", "bass"}
    for name, text in texts:
        assert text.head["reason"], name
        assert text.head["source"], name
        assert all(written.finger and written.string for written in text.written), name
        assert all(written.reason in text.reasons for written in text.written if written.reason), name


def test_written_fingerings_can_be_played_as_written(texts: list[tuple[str, FingeredText]]) -> None:
    for name, text in texts:
        fingered = finger_passage(text.marked(), make_instrument(text.instrument))
        for written in text.written:
            stop = fingered.stop_of(written.note_id)
            assert (stop.string, str(stop.finger)) == (written.string, written.finger), name


def test_completing_reaches_97_percent_and_proposing_90(texts: list[tuple[str, FingeredText]]) -> None:
    scores = [BENCHMARK.measure(text) for _, text in texts]
    completed, proposed = (sum(column, BENCHMARK.Score(0, 0)) for column in zip(*scores, strict=True))
    assert completed.notes > 650
    assert completed.share >= 0.97
    assert proposed.share >= 0.9


@pytest.fixture(scope="module")
def tunes() -> list[AnnotatedTune]:
    return [read_annotated(path) for path in sorted((ROOT / "tests" / "oracles" / "repertoire").glob("*.abc"))]


@pytest.fixture(scope="module")
def phrases() -> list[AnnotatedTune]:
    return [read_annotated(path) for path in sorted((ROOT / "tests" / "oracles" / "phrases").glob("*.abc"))]


def test_whole_phrases_are_fingered_nearer_to_players_than_first_position_is(phrases: list[AnnotatedTune]) -> None:
    """Longer excerpts of solo music, as taught; from memory, common practice."""
    assert len(phrases) >= 18
    assert all(len(tune.struck) >= 50 and "common practice" in tune.notes_on_it[0] for tune in phrases)
    scores = [BENCHMARK.agree(tune) for tune in phrases]
    notes = sum(score.notes for score in scores)
    first, ours = (sum(values) / notes for values in zip(*((s.first_average, s.average) for s in scores), strict=True))
    assert 0.42 < first < 0.55, "as easy as other sets of this kind"
    assert ours >= first + 0.25
    assert sum((score.completed for score in scores), BENCHMARK.Score(0, 0)).share >= 0.96


@pytest.fixture(scope="module")
def agreed() -> list[AnnotatedTune]:
    return [read_annotated(path) for path in sorted((ROOT / "tests" / "oracles" / "agreed").glob("*.abc"))]


@pytest.fixture(scope="module")
def unsearched() -> list[AnnotatedTune]:
    return [read_annotated(path) for path in sorted((ROOT / "tests" / "oracles" / "unsearched").glob("*.abc"))]


def test_passages_that_players_finger_alike_are_fingered_so(
    agreed: list[AnnotatedTune], unsearched: list[AnnotatedTune]
) -> None:
    """Whole passages with the one fingering most would use; from memory, common practice."""
    assert len(agreed) >= 10
    assert all(len(tune.struck) >= 60 and len(tune.players) == 1 for tune in agreed)
    assert all("common practice" in tune.notes_on_it[0] and len(tune.notes_on_it) >= 3 for tune in agreed)
    scores = [BENCHMARK.agree(tune) for tune in agreed]
    notes = sum(score.notes for score in scores)
    assert sum(score.average for score in scores) / notes >= 0.9
    assert sum((score.completed for score in scores), BENCHMARK.Score(0, 0)).share >= 0.97
    others = [BENCHMARK.agree(tune) for tune in unsearched]
    assert sum(score.average for score in others) / sum(score.notes for score in others) >= 0.9


def test_the_repertoire_is_fingered_nearer_to_players_than_first_position_is(tunes: list[AnnotatedTune]) -> None:
    """Excerpts of the standard literature; from memory, common practice."""
    assert len(tunes) >= 18
    assert all("common practice" in tune.notes_on_it[0] for tune in tunes)
    scores = [BENCHMARK.agree(tune) for tune in tunes]
    notes = sum(score.notes for score in scores)
    assert notes > 400
    assert 0.45 < sum(score.first_average for score in scores) / notes < 0.55, "as easy as other sets of this kind"
    assert sum(score.nearest for score in scores) / notes >= 0.82
    assert sum((score.completed for score in scores), BENCHMARK.Score(0, 0)).share >= 0.97


def test_a_finger_printed_alone_names_the_position_by_its_own_place(tunes: list[AnnotatedTune]) -> None:
    """The second finger begins third position in two of them and fourth in the third; as second position, third with a
    squeezed finger and third with a stretched one they cost less. Common practice, no source.
    """
    violin = make_instrument("violin")
    for name, player, least in (
        ("symphony_g_minor", 0, 40), ("mendelssohn_concerto", 1, 22), ("scale_b_flat_three_octaves", 0, 43),
    ):  # fmt: skip
        tune = next(tune for tune in tunes if tune.name == name)
        full = finger_passage(tune.marked(player), violin)
        sparse = BENCHMARK.printed_at(tune, player, BENCHMARK.changes(full))
        found = BENCHMARK.taken(finger_passage(sparse, violin))
        assert BENCHMARK.compare(BENCHMARK.taken(full), found).agree >= least, name


def test_the_repertoires_fingerings_are_taken_as_written(
    tunes: list[AnnotatedTune],
    phrases: list[AnnotatedTune],
    agreed: list[AnnotatedTune],
    unsearched: list[AnnotatedTune],
) -> None:
    violin = make_instrument("violin")
    for tune in (*tunes, *phrases, *agreed, *unsearched):
        for number, player in enumerate(tune.players):
            fingered = finger_passage(tune.marked(number), violin)
            stops = [fingered.stop_of(note.id) for note in tune.struck]
            assert [(stop.string, stop.finger.value) for stop in stops] == list(player), tune.name


def test_the_repertoires_fingers_lie_where_the_hand_is(
    tunes: list[AnnotatedTune],
    phrases: list[AnnotatedTune],
    agreed: list[AnnotatedTune],
    unsearched: list[AnnotatedTune],
) -> None:
    """No finger is squeezed or stretched out of its place in the hand without a word about it: a slip of the pen shows
    so. Only frames are asked here, not what a fingering costs.
    """
    violin = make_instrument("violin")
    for tune in (*tunes, *phrases, *agreed, *unsearched):
        said = " ".join(tune.notes_on_it)
        told = {shape for shape, word in ((EXTENDED, "stretched"), (CONTRACTED, "squeezed")) if word in said}
        for number in range(len(tune.players)):
            steps = finger_passage(tune.marked(number), violin).steps
            shapes = {stop.shape for step in steps for stop in step.fingered if stop.shape not in RESTING}
            assert shapes <= told, (tune.name, number)


@pytest.mark.parametrize("path", PATHS[::8], ids=lambda path: path.stem)
def test_proposals_differ_and_come_cheapest_first(path: Path) -> None:
    text = read_fingered(path)
    proposals = propose_fingerings(text.passage, make_instrument(text.instrument), 3)
    assert len(proposals) >= 2
    assert [p.cost for p in proposals] == sorted(p.cost for p in proposals)
    taken = [BENCHMARK.taken(p.fingered) for p in proposals]
    for index, one in enumerate(taken):
        for other in taken[:index]:
            differing = sum(one[note][:2] != other[note][:2] for note in one)
            assert differing >= max(2, round(WANTED_SHARE * STRETCH) * (len(one) // STRETCH))
    for proposal in proposals:
        assert proposal.cost == pytest.approx(sum(proposal.parts.values()))
        assert proposal.shifts == len(proposal.way.shifts)
        assert "shift" in proposal.summary


def test_the_documents_tables_are_those_of_the_code() -> None:
    text = (ROOT / "docs" / "fingering.md").read_text("utf-8")
    assert BENCHMARK.with_tables(text) == text
