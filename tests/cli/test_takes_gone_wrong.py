"""Takes that something went wrong with: a verdict only where it is sound, else a reason or one clear sentence.

The take is the start of the example's second one, from the bowed-string synthesiser: low, true.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import resample_poly

from runs import play_run, steps_of
from truestop import bootstrap
from truestop.adapters.audio.files import open_take
from truestop.app.demo import TAKES, play
from truestop.app.describing import describe_attempt
from truestop.app.hearing import Asked, hear_take
from truestop.app.mainjob import Setup, take_in_hand
from truestop.domain.attempt import Attempt, Verdict
from truestop.domain.errors import TruestopError

from .conftest import Run

Sound = NDArray[np.float64]
LASTS_S, BETWEEN_S = 4.8, 2.2
TRUTH = TAKES[1].truth[:2]


def _surround(sound: Sound) -> Sound:
    return np.stack([0.5 * sound, 0.5 * sound, sound, 0.0 * sound, 0.2 * sound, 0.2 * sound], axis=1)


def _with_dropouts(sound: Sound) -> Sound:
    out = sound.copy()
    for start in range(3000, len(out), 22050):
        out[start : start + 441] = 0.0
    return out


def _with_nan(sound: Sound) -> Sound:
    out = sound.copy()
    out[5000::30000] = np.nan
    return out


def _resampled(up: int, down: int) -> Callable[[Sound], Sound]:
    return lambda sound: resample_poly(sound, up, down)


def _cancelling_in_part(sound: Sound) -> Sound:
    other = sound.copy()
    other[: len(sound) // 3] *= -0.9
    return np.stack([sound, other], axis=1)


DAMAGES = [
    pytest.param(lambda s: np.clip(4.0 * s / np.abs(s).max(), -1, 1), 44100, "PCM_16", False, id="clipped"),
    pytest.param(_with_dropouts, 44100, "PCM_16", False, id="dropouts"),
    pytest.param(lambda s: 0.5 * s + 0.3, 44100, "PCM_16", True, id="DC"),
    pytest.param(_resampled(80, 441), 8000, "PCM_16", True, id="8 kHz"),
    pytest.param(_resampled(640, 147), 192000, "PCM_16", True, id="192 kHz"),
    pytest.param(lambda s: s, 44100, "PCM_24", True, id="24 bits"),
    pytest.param(lambda s: np.stack([s, 0.3 * s], axis=1), 44100, "PCM_16", True, id="stereo"),
    pytest.param(lambda s: np.stack([s, -s], axis=1), 44100, "PCM_16", True, id="out of phase"),
    pytest.param(_cancelling_in_part, 44100, "PCM_16", False, id="out of phase in part"),
    pytest.param(lambda s: np.stack([s, 0.0 * s], axis=1), 44100, "PCM_16", True, id="a dead channel"),
    pytest.param(_surround, 44100, "PCM_16", True, id="5.1"),
    pytest.param(_with_nan, 44100, "FLOAT", False, id="NaN"),
]


@pytest.fixture(scope="module")
def asked() -> Asked:
    in_hand = take_in_hand(bootstrap.read_study(), Setup())
    return Asked(in_hand=in_hand, shift=in_hand.way.shifts[1], stage="plain")


@pytest.fixture(scope="module")
def sound(asked: Asked) -> Sound:
    return _played(asked, 1)


@pytest.mark.parametrize(("change", "rate_hz", "subtype", "all_heard"), DAMAGES)
def test_a_damaged_take_is_judged_soundly_or_not_at_all(
    asked: Asked, sound: Sound, tmp_path: Path,
    change: Callable[[Sound], Sound], rate_hz: int, subtype: str, all_heard: bool,
) -> None:  # fmt: skip
    attempts = _heard(asked, change(0.9 * sound), rate_hz, tmp_path, subtype=subtype)
    if all_heard:
        assert tuple(one.verdict for one in attempts) == TRUTH
    for one in attempts:
        truth = TRUTH[0] if one.start_s < BETWEEN_S else TRUTH[1]
        assert one.reason if one.verdict is Verdict.UNJUDGED else one.verdict is truth


@pytest.mark.parametrize("wrong", ["instrument", "passage"])
def test_another_sound_than_expected_gets_no_verdict(asked: Asked, sound: Sound, tmp_path: Path, wrong: str) -> None:
    other = resample_poly(sound, 3, 1) if wrong == "instrument" else _played(asked, 3)
    error = None
    attempts: tuple[Attempt, ...] = ()
    try:
        attempts = _heard(asked, other, 44100, tmp_path)
    except TruestopError as raised:
        error = raised
    assert all(one.verdict is Verdict.UNJUDGED and one.reason for one in attempts)
    assert attempts or (error is not None and "changed.wav" in str(error) and error.hint)


@pytest.mark.parametrize("factor", [0.0, 0.0005, np.nan])
def test_a_silent_take_is_told_as_one(asked: Asked, sound: Sound, tmp_path: Path, factor: float) -> None:
    with pytest.raises(TruestopError, match="The take is silent") as raised:
        _heard(asked, factor * sound, 44100, tmp_path, subtype="FLOAT")
    assert "microphone" in raised.value.hint


@pytest.mark.parametrize("name", ["half.wav", "half.flac", "half.ogg", "half.mp3"])
def test_a_file_that_breaks_off_is_judged_as_far_as_it_reaches(
    asked: Asked, sound: Sound, tmp_path: Path, name: str
) -> None:
    whole = tmp_path / f"whole{name[4:]}"
    soundfile.write(whole, sound, 44100)
    assert hear_take(whole, asked, read=open_take).remark is None
    content = whole.read_bytes()
    (tmp_path / name).write_bytes(content[: len(content) * 6 // 10])
    heard = hear_take(tmp_path / name, asked, read=open_take)
    assert heard.attempts[0].verdict is TRUTH[0]
    assert all(one.verdict in (TRUTH[1], Verdict.UNJUDGED) for one in heard.attempts[1:])
    assert LASTS_S / 2 < heard.duration_s < LASTS_S * 0.7
    assert heard.remark is not None
    assert f"{heard.duration_s:.1f} s" in heard.remark
    assert "is not judged" in heard.remark


def test_where_a_file_breaks_off_is_told_in_words_and_in_json(
    run: Run, study: Path, take: Path, tmp_path: Path
) -> None:
    content, half = take.read_bytes(), tmp_path / "half.wav"
    half.write_bytes(content[: len(content) // 2])
    told = run("judge", study, half, "--shift", "2", "--no-keep")
    assert (told.code, "half.wav: The file can be read up to" in told.err) == (0, True)
    (one,) = json.loads(run("judge", study, half, "--shift", "2", "--no-keep", "--json").out)["takes"]
    assert one["remark"] in " ".join(told.err.split())


@pytest.mark.parametrize(("change", "rate_hz", "subtype", "all_heard"), DAMAGES)
def test_a_damaged_run_is_judged_soundly_or_not_at_all(
    passage: Asked, run_through: tuple[Sound, dict[str, Verdict]], tmp_path: Path,
    change: Callable[[Sound], Sound], rate_hz: int, subtype: str, all_heard: bool,
) -> None:  # fmt: skip
    played, truth = run_through
    attempts = _heard(passage, change(0.9 * played), rate_hz, tmp_path, subtype=subtype)
    assert [one.shift for one in attempts] == list(truth)
    if all_heard:
        assert [one.verdict for one in attempts] == list(truth.values())
    for one in attempts:
        assert one.reason if one.verdict is Verdict.UNJUDGED else one.verdict is truth[one.shift]
    json.dumps([describe_attempt(one) for one in attempts], allow_nan=False)


@pytest.mark.parametrize("higher", [(3, 1), (2, 1), (18, 17)], ids=["another register", "octave", "semitone"])
def test_a_run_at_another_pitch_gets_no_verdict(
    passage: Asked, run_through: tuple[Sound, dict[str, Verdict]], tmp_path: Path, higher: tuple[int, int]
) -> None:
    with pytest.raises(TruestopError, match="No run through the passage was heard"):
        _heard(passage, resample_poly(run_through[0], *higher), 44100, tmp_path)


@pytest.mark.parametrize("bars", [(1, 4), (9, 11)], ids=["in unison", "another place"])
def test_two_players_running_through_at_once_get_no_verdict(
    passage: Asked, run_through: tuple[Sound, dict[str, Verdict]], tmp_path: Path, bars: tuple[int, int]
) -> None:
    order = list(steps_of(passage.in_hand, *bars))
    second = _run(passage, order, off_cents=dict.fromkeys(order, 8.0), late_s=dict.fromkeys(order, 0.02))
    length = min(len(second), len(run_through[0]))
    attempts: tuple[Attempt, ...] = ()
    with suppress(TruestopError):
        attempts = _heard(passage, 0.5 * (second[:length] + run_through[0][:length]), 44100, tmp_path)
    assert all(one.verdict is Verdict.UNJUDGED and one.reason for one in attempts)


@pytest.fixture(scope="module")
def passage(asked: Asked) -> Asked:
    return replace(asked, shift=None)


@pytest.fixture(scope="module")
def run_through(passage: Asked) -> tuple[Sound, dict[str, Verdict]]:
    """Bars 1 to 4, with what is right for their three shifts."""
    order = list(steps_of(passage.in_hand, 1, 4))
    shifts = [one for one in passage.in_hand.way.shifts if {one.departure_step, one.arrival_step} <= set(order)]
    words = [Verdict.TRUE, Verdict.HIGH, Verdict.TRUE]
    truth = {passage.in_hand.key(one): word for one, word in zip(shifts, words, strict=True)}
    return _run(passage, order, off_cents={shifts[1].arrival_step: 33.0}), truth


def _run(passage: Asked, order: list[int], **how: dict[int, float]) -> Sound:
    return resample_poly(play_run(passage.in_hand, order, **how).samples.astype(np.float64), 2, 1)


def _heard(asked: Asked, sound: Sound, rate_hz: int, folder: Path, *, subtype: str = "PCM_16") -> tuple[Attempt, ...]:
    path = folder / "changed.wav"
    soundfile.write(path, sound, rate_hz, subtype=subtype)
    return hear_take(path, asked, read=open_take).attempts


def _played(asked: Asked, number: int) -> Sound:
    whole = play(asked.in_hand, TAKES[number], seed=1).samples[: int(LASTS_S * 44100)]
    return whole.astype(np.float64)


def test_a_drill_of_something_else_taken_for_a_run_is_told_how_to_name_a_shift(
    run: Run, study: Path, sound: Sound, tmp_path: Path
) -> None:
    """A drill of the passage's own shift is heard as a run; the same a diminished fifth lower is not in the study."""
    soundfile.write(tmp_path / "lower.wav", resample_poly(sound, 7, 5), 44100)
    with pytest.raises(TruestopError, match=r"lower\.wav: No run through the passage was heard") as caught:
        run("judge", study, tmp_path / "lower.wav")
    assert caught.value.hint.startswith("If the take drills one shift, name it with --shift.")


def test_a_take_of_a_day_to_come_is_refused(run: Run, study: Path, take: Path, tmp_path: Path) -> None:
    told = run("judge", study, take, "--shift", "2", "--recorded", "9999-12-31")
    assert told.code == 2
    late = tmp_path / "late.wav"
    late.write_bytes(take.read_bytes())
    os.utime(late, (4e9, 4e9))
    with pytest.raises(TruestopError, match=r"late\.wav.*2096") as caught:
        run("judge", study, late, "--shift", "2")
    assert "--recorded" in caught.value.hint
