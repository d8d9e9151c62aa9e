"""Reference tones: pitch by an independent tracker, loudness and peak by the standard, no clicks, a quiet start."""

from __future__ import annotations

import numpy as np
import parselmouth
import pyloudnorm
import pytest

from truestop import bootstrap
from truestop.app.mainjob import InHand, Setup, take_in_hand
from truestop.app.tones import RenderedTones, SoundedPart, TonesWanted, make_tones
from truestop.domain.drill.specimens import Kind, make_specimen
from truestop.domain.errors import DrillError
from truestop.domain.shift import Relation


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(bootstrap.read_study(), Setup())


@pytest.fixture(scope="module")
def tones(study: InHand) -> RenderedTones:
    return make_tones(study, TonesWanted(kinds=("arrival", "interval", "guide", "drone"), shifts=(2, 8)))


def _heard_hz(rendered: RenderedTones, part: SoundedPart, *, from_s: float, to_s: float) -> float:
    """Median pitch of a stretch by Praat's autocorrelation method (Boersma 1993), through praat-parselmouth."""
    rate = rendered.sample_rate_hz
    stretch = rendered.samples[int((part.start_s + from_s) * rate) : int((part.start_s + to_s) * rate)]
    sound = parselmouth.Sound(stretch.astype(float), rate)
    pitch = sound.to_pitch_ac(pitch_floor=150.0, pitch_ceiling=2000.0, very_accurate=True)
    found = pitch.selected_array["frequency"]
    return float(np.median(found[found > 0]))


def test_arrivals_sound_at_their_targets(tones: RenderedTones) -> None:
    arrivals = [part for part in tones.parts if part.kind == "arrival"]
    assert len(arrivals) == 2
    for part in arrivals:
        heard = _heard_hz(tones, part, from_s=0.4, to_s=1.6)
        assert 1200 * np.log2(heard / part.sounds[0][1]) == pytest.approx(0.0, abs=0.05)


def test_a_landing_moved_on_purpose_is_moved_by_so_much(study: InHand) -> None:
    moved = make_tones(study, TonesWanted(kinds=("arrival",), shifts=(2,), off_cents=-18.0))
    target = make_tones(study, TonesWanted(kinds=("arrival",), shifts=(2,))).parts[0].sounds[0][1]
    heard = _heard_hz(moved, moved.parts[0], from_s=0.4, to_s=1.6)
    assert 1200 * np.log2(heard / target) == pytest.approx(-18.0, abs=0.05)


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
    loudness = pyloudnorm.Meter(tones.sample_rate_hz).integrated_loudness(tones.samples.astype(float))
    assert loudness == pytest.approx(-18.0, abs=0.5)
    assert np.abs(tones.samples).max() <= 10 ** (-1.5 / 20) + 1e-6


def test_tones_start_quiet_and_without_a_click(tones: RenderedTones) -> None:
    rate = tones.sample_rate_hz
    first, later = (np.sqrt(np.mean(tones.samples[a:b] ** 2)) for a, b in ((0, rate // 5), (rate, 2 * rate)))
    assert first < 0.25 * later
    steps = np.abs(np.diff(tones.samples))
    edges = [round(edge * rate) for part in tones.parts for edge in (part.start_s, part.end_s)]
    for edge in edges:
        assert steps[max(edge - 8, 0) : edge + 8].max(initial=0.0) < 0.01


def test_the_drone_is_the_tonic(tones: RenderedTones) -> None:
    drone = next(part for part in tones.parts if part.kind == "drone")
    assert [name for name, _ in drone.sounds] == ["D4"]


def test_a_drone_may_hold_the_fifth_an_open_string_or_a_named_pitch(study: InHand) -> None:
    def names(drone: str) -> list[str]:
        rendered = make_tones(study, TonesWanted(kinds=("drone",), shifts=(2,), drone=drone))
        return [name for name, _ in rendered.parts[0].sounds]

    assert names("fifth") == ["D4", "A4"]
    assert names("C#4") == ["C#4"]
    assert names("open")[0] in ("E5", "A4", "D4", "G3")


def test_the_phrase_has_a_bar_of_count_in(study: InHand) -> None:
    rendered = make_tones(study, TonesWanted(kinds=("phrase",), shifts=(2,), bpm=60.0))
    assert [part.kind for part in rendered.parts] == ["count-in", "phrase"]
    assert np.diff(rendered.clicks_s[:8]) == pytest.approx(np.ones(7), abs=1e-6)


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
