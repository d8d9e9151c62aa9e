"""Reference tones: pitch by an independent tracker, loudness and peak by the standard, no clicks, a quiet start."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from oracles.tone_hearing import bends, click_onsets_s, hear, loudness_lufs, sung, true_peak_db
from truestop import bootstrap
from truestop.adapters.score.reading import read_score
from truestop.adapters.score.typed_entry import read_typed
from truestop.app.mainjob import InHand, Setup, take_in_hand
from truestop.app.tones import RenderedTones, TonesWanted, make_tones
from truestop.domain.drill.specimens import Kind, make_specimen
from truestop.domain.errors import DrillError
from truestop.domain.shift import Relation


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(bootstrap.read_study(), Setup())


@pytest.fixture(scope="module")
def tones(study: InHand) -> RenderedTones:
    return make_tones(study, TonesWanted(kinds=("arrival", "interval", "guide"), shifts=(2, 8)))


def _in_hand(words: str, setup: Setup) -> InHand:
    return take_in_hand(read_typed(words, family=setup.family or "violin"), setup)


#: Every tone of a shift in the words of the command line; the low bass is a five-string, its B0 at 28.1 Hz.
SOUNDED = (
    ("violin: III 1 E4 > II 3 F#5", Setup(family="violin", system="pythagorean", a4_hz=442.0), 0.0),
    ("violin: I 2 G5 > I 4 E6", Setup(family="violin", system="equal", a4_hz=440.0), 18.0),
    ("cello: I 2 C4 > I T A4", Setup(family="cello", system="pythagorean", a4_hz=430.0), 0.0),
    ("bass: V 1 C1 > V 4 F1", Setup(family="bass", strings="five-b", system="equal", a4_hz=415.0), -18.0),
)


@pytest.mark.parametrize(("words", "setup", "off_cents"), SOUNDED)
def test_praat_hears_every_rest_of_every_tone_on_its_pitch(words: str, setup: Setup, off_cents: float) -> None:
    in_hand = _in_hand(words, setup)
    wanted = TonesWanted(kinds=("arrival", "interval", "guide"), shifts=(1,), off_cents=off_cents)
    rendered = make_tones(in_hand, wanted)
    notes = list(sung(in_hand, rendered, bpm=60.0))
    heard = [each for note in notes for each in hear(rendered, note)]
    assert len(heard) >= 5
    assert [each for each in heard if not each.within or abs(each.off_cents) > 0.05] == []
    everywhere, inside = bends(rendered, notes)
    assert everywhere <= 1.1 * inside


@pytest.mark.parametrize(
    ("family", "drone", "names"),
    [
        ("violin", "tonic", ["D4"]),
        ("violin", "fifth", ["D4", "A4"]),
        ("violin", "open", ["A4"]),
        ("violin", "C#4", ["C#4"]),
        ("bass", "B0", ["B0"]),
    ],
)
def test_praat_hears_every_drone_on_its_pitch(study: InHand, family: str, drone: str, names: list[str]) -> None:
    low = Setup(family="bass", strings="five-b", system="equal", a4_hz=400.0)
    in_hand = study if family == "violin" else _in_hand("bass: V 1 C1 > V 4 F1", low)
    rendered = make_tones(in_hand, TonesWanted(kinds=("drone",), shifts=(1,), drone=drone))
    assert [name for name, _ in rendered.parts[0].sounds] == names
    heard = [each for note in sung(in_hand, rendered, bpm=60.0) for each in hear(rendered, note)]
    assert len(heard) == len(names)
    assert [each for each in heard if not each.within] == []


@pytest.mark.parametrize("family", ["viola", "bass"])
def test_praat_hears_the_phrase_note_for_note_in_time(family: str) -> None:
    specimen = make_specimen(family, Kind(relation=Relation.TO_HIGHER, direction="up", crossing=True))
    in_hand = take_in_hand(specimen.fingered.passage, Setup(family=family, system="equal", a4_hz=442.0))
    rendered = make_tones(in_hand, TonesWanted(kinds=("phrase",), bpm=90.0, click=False))
    heard = [each for note in sung(in_hand, rendered, bpm=90.0) for each in hear(rendered, note)]
    assert len(heard) == len(specimen.fingered.passage.notes)
    assert [each for each in heard if not each.within] == []


def test_both_guides_and_both_arrivals_of_a_double_stop_sound() -> None:
    """Every announced pitch has its line in the spectrum of its own stretch (numpy's FFT), every other one has not."""
    kind = Kind(relation=Relation.SAME, direction="up", crossing=False, double=True)
    specimen = make_specimen("violin", kind)
    in_hand = take_in_hand(specimen.fingered.passage, Setup())
    shift = next(each for each in in_hand.way.shifts if len(each.arrival) == 2)
    rendered = make_tones(in_hand, TonesWanted(kinds=("guide",), shifts=(shift.number,)))
    (part,) = rendered.parts
    begin, end = part.sounds[:2], part.sounds[2:]
    assert [name for name, _ in begin] == [stop.pitch.name for stop in shift.departure]
    assert [name for name, _ in end] == [stop.pitch.name for stop in shift.arrival]
    for from_s, sounding, silent in ((0.3, begin, end), (1.5, end, begin)):
        for _, hz in sounding:
            assert _level_near(rendered, from_s, hz) > 0.01
        for _, hz in silent:
            assert _level_near(rendered, from_s, hz) < 0.002


def _level_near(rendered: RenderedTones, from_s: float, hz: float) -> float:
    rate = rendered.sample_rate_hz
    stretch = rendered.samples[int(from_s * rate) : int((from_s + 0.5) * rate)]
    level = np.abs(np.fft.rfft(stretch * np.hanning(len(stretch)))) / len(stretch) * 4
    near = abs(np.fft.rfftfreq(len(stretch), 1 / rate) - hz) < 4.0
    return float(level[near].max())


def test_loudness_and_peak_keep_to_the_mark(tones: RenderedTones) -> None:
    """The meter is the standard's own recipe; ``benchmarks/tones.py`` holds it against libebur128."""
    assert loudness_lufs(tones.samples, tones.sample_rate_hz) == pytest.approx(-18.0, abs=0.1)
    assert true_peak_db(tones.samples) <= -1.0


def test_tones_start_quiet_and_without_a_click(tones: RenderedTones) -> None:
    rate = tones.sample_rate_hz
    first, later = (np.sqrt(np.mean(tones.samples[a:b] ** 2)) for a, b in ((0, rate // 5), (rate, 2 * rate)))
    assert first < 0.25 * later
    steps = np.abs(np.diff(tones.samples))
    edges = [round(edge * rate) for part in tones.parts for edge in (part.start_s, part.end_s)]
    for edge in edges:
        assert steps[max(edge - 8, 0) : edge + 8].max(initial=0.0) < 0.01


def test_the_phrase_has_a_bar_of_count_in(study: InHand) -> None:
    rendered = make_tones(study, TonesWanted(kinds=("phrase",), shifts=(2,), bpm=60.0))
    assert [part.kind for part in rendered.parts] == ["count-in", "phrase"]
    assert np.diff(rendered.clicks_s[:8]) == pytest.approx(np.ones(7), abs=1e-6)


@pytest.mark.parametrize("bpm", [40.0, 72.0, 208.0])
def test_clicks_are_heard_on_their_beats(study: InHand, bpm: float) -> None:
    rendered = make_tones(study, TonesWanted(kinds=("clicks",), bpm=bpm))
    onsets = click_onsets_s(rendered.samples, rendered.sample_rate_hz)
    assert len(onsets) == 5 * study.fingered.passage.measures[0].beats
    assert onsets == pytest.approx(np.arange(len(onsets)) * 60.0 / bpm, abs=0.001)


#: What stands before the first bar of 3/4, in eighths, and where the clicks fall, counted in beats from the start.
PICKUPS = [
    ("", [0, 1, 2, 3, 4, 5, 6, 7, 8]),
    ("d2", [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
    ("d", [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
    ("d3", [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
]


@pytest.mark.parametrize(("pickup", "beats"), PICKUPS)
def test_clicks_keep_to_the_bars_after_a_pickup(tmp_path: Path, pickup: str, beats: list[int]) -> None:
    """Common practice, no source: a pickup is counted in by the bar it ends; the first bar begins on a click."""
    path = tmp_path / "pickup.abc"
    bars = f"{pickup} | " if pickup else ""
    path.write_text(f"X:1\nT:Pickup\nM:3/4\nL:1/8\nK:D\n{bars}A2 d2 f2 | a6 |]\n")
    passage = bootstrap.open_passage(str(path), part=None, measures=None, family="violin")
    rendered = make_tones(take_in_hand(passage, Setup()), TonesWanted(kinds=("phrase",), bpm=60.0))
    assert rendered.clicks_s == pytest.approx(beats, abs=1e-6)
    phrase = next(part for part in rendered.parts if part.kind == "phrase")
    eighths = int(pickup[1:] or 1) if pickup else 0
    assert phrase.start_s == pytest.approx(3.0 + (3.0 if pickup else 0.0) - eighths / 2, abs=1e-3)


def test_an_upbeat_eighth_in_six_eight_is_counted_in_by_dotted_quarters(tmp_path: Path) -> None:
    path = tmp_path / "jig.abc"
    path.write_text("X:1\nT:Jig\nM:6/8\nL:1/8\nK:D\nd | A2 d f2 a | a6 |]\n")
    passage = bootstrap.open_passage(str(path), part=None, measures=None, family="violin")
    rendered = make_tones(take_in_hand(passage, Setup()), TonesWanted(kinds=("phrase",), bpm=90.0))
    assert rendered.clicks_s == pytest.approx(range(8), abs=1e-6)


def test_a_bar_cut_short_before_a_pickup_keeps_its_beats(tmp_path: Path) -> None:
    path = tmp_path / "parts.abc"
    path.write_text("X:1\nT:Parts\nM:3/4\nL:1/8\nK:D\nA2 d2 f2 | a2 a3 |: d | f6 |]\n")
    passage = bootstrap.open_passage(str(path), part=None, measures=None, family="violin")
    rendered = make_tones(take_in_hand(passage, Setup()), TonesWanted(kinds=("phrase",), bpm=60.0))
    assert rendered.clicks_s == pytest.approx(range(12), abs=1e-6)


@pytest.mark.parametrize(
    ("metre", "bpm", "apart_s", "beats"),
    [
        ("6/8", 90.0, 1.0, 2),
        ("6/8", 54.0, 60 / 108, 6),
        ("9/8", 120.0, 0.75, 3),
        ("3/4", 60.0, 1.0, 3),
        ("2/2", 120.0, 1.0, 2),
    ],
)
def test_the_click_counts_what_the_metre_counts(metre: str, bpm: float, apart_s: float, beats: int) -> None:
    """Dotted quarters in 6/8, unless they are slower than 40 a minute: then its eighths; common practice, no source."""
    tune = f"X:1\nM:{metre}\nL:1/8\nK:G\n!1!A2!1!c2!3!e2|\n".encode()
    in_hand = take_in_hand(read_score(tune, name="t.abc", family="violin"), Setup(family="violin"))
    rendered = make_tones(in_hand, TonesWanted(kinds=("clicks",), bpm=bpm))
    onsets = click_onsets_s(rendered.samples, rendered.sample_rate_hz)
    assert len(onsets) == 5 * beats
    assert onsets == pytest.approx(np.arange(len(onsets)) * apart_s, abs=0.001)


@pytest.mark.parametrize(
    ("wanted", "message"),
    [
        (TonesWanted(kinds=("whistle",)), "no tone 'whistle'"),
        (TonesWanted(off_cents=900.0), "too far off"),
        (TonesWanted(shifts=(99,)), "no shift 99"),
        (TonesWanted(bpm=1.0, kinds=("phrase",)), "out of range"),
    ],
)
def test_what_cannot_be_rendered_is_said(study: InHand, wanted: TonesWanted, message: str) -> None:
    with pytest.raises(DrillError, match=message):
        make_tones(study, wanted)
