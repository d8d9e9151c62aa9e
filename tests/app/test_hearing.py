"""Many takes: heard at once or one by one, the same comes out; a bad one stops no other."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from truestop import bootstrap
from truestop.adapters.audio.files import open_take, write_wav
from truestop.app.demo import TAKES, play, shift_from
from truestop.app.hearing import Asked, Heard, Unheard, hear_takes
from truestop.app.mainjob import InHand, Setup, take_in_hand
from truestop.domain.errors import SoundError


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(bootstrap.read_study(), Setup())


@pytest.fixture(scope="module")
def takes(study: InHand, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """A good take, no sound file at all, the good take again."""
    folder = tmp_path_factory.mktemp("takes")
    sound = play(study, TAKES[0], seed=1)
    for name in ("first.wav", "last.wav"):
        write_wav(folder / name, sound.samples, sample_rate_hz=sound.sample_rate_hz)
    (folder / "middle.wav").write_bytes(b"no sound")
    return [folder / "first.wav", folder / "middle.wav", folder / "last.wav"]


@pytest.mark.parametrize("processes", [1, 2])
def test_a_bad_take_is_named_and_the_others_are_heard(study: InHand, takes: list[Path], processes: int) -> None:
    asked = Asked(in_hand=study, shift=shift_from(study, TAKES[0].from_note), stage=TAKES[0].stage)
    first, middle, last = hear_takes(takes, asked, read=open_take, processes=processes)
    assert isinstance(first, Heard)
    assert isinstance(last, Heard)
    assert isinstance(middle, Unheard)
    assert "middle.wav" in str(middle.error)
    assert middle.error.hint
    assert first.attempts
    assert first.attempts == last.attempts


def test_an_error_travels_between_processes_whole() -> None:
    sent = SoundError("The file is empty.", hint="Record again.", where="take.wav")
    came = pickle.loads(pickle.dumps(sent))
    assert (type(came), came.what, came.hint, came.where) == (SoundError, sent.what, sent.hint, sent.where)
