"""What lingers of a slide, against synthesised diffuse rooms of known strength, noise, and rough dry notes."""

import numpy as np
import pytest

from listening.sounds import bowed, expect, plain_path
from listening.test_tailing import in_room as sounded_in_room
from truestop.listening import lingering as lingering_module
from truestop.listening import notes, rehearing, weighing
from truestop.listening.gliding import Sound
from truestop.listening.judging import judge_take
from truestop.listening.lingering import FAINTEST, PAST_MS, lingering

TARGET_HZ, RATE_HZ = 659.26, 44100


def path_of(interval, slide_ms):
    return plain_path(interval, 0.0, slide_ms=slide_ms)


def lingers(sound, contour, slide_ms, target_hz=TARGET_HZ):
    """What lingers in the first 80 ms of the rest."""
    rest = 500 + slide_ms
    path = target_hz * np.exp2(contour[rest - PAST_MS : rest + 80] / 1200.0)
    part = sound[int(rest * RATE_HZ / 1000) : int((rest + 80) * RATE_HZ / 1000)]
    return lingering(path, PAST_MS, Sound(part, RATE_HZ, float(PAST_MS)))


def rough(contour, target_hz, cents, seed):
    """Sound whose pitch trembles by so many cents from period to period, as a recorded low string's does."""
    random = np.random.default_rng(seed)
    tremble = np.convolve(random.standard_normal(len(contour)), np.hanning(12), "same")
    return bowed(contour + cents * tremble / tremble.std(), target_hz, noise_db=40)


@pytest.mark.parametrize("interval", [200.0, 500.0, 700.0, -400.0, 1200.0])
@pytest.mark.parametrize("slide_ms", [60, 150])
def test_a_tail_of_known_strength_is_told(interval, slide_ms):
    """As much as diffuse sound leaves: its power against the direct sound's, dying away while it is read, and half of
    it under the note's own harmonics at worst."""
    contour = path_of(interval, slide_ms)
    sound = bowed(contour, TARGET_HZ)
    rt60_s, ratio_db = 0.8, 2.0
    found = [lingers(sounded_in_room(sound, rt60_s=rt60_s, ratio_db=ratio_db, seed=seed), contour, slide_ms)
             for seed in range(6)]  # fmt: skip
    at_the_middle = 10.0 ** (-0.1 * ratio_db - 6.0 * 0.04 / rt60_s)
    assert 0.2 * at_the_middle < np.median(found) < 4.0 * at_the_middle


@pytest.mark.parametrize("interval", [200.0, 500.0, 700.0, -400.0])
@pytest.mark.parametrize("noise_db", [60, 20, 10, 5])
def test_dry_sound_and_noise_leave_nothing(interval, noise_db):
    contour = path_of(interval, 100)
    found = [lingers(bowed(contour, TARGET_HZ, noise_db=noise_db, seed=seed), contour, 100) for seed in range(4)]
    assert max(found) < FAINTEST


@pytest.mark.parametrize("target_hz", [110.0, 220.0, 440.0])
def test_a_rough_dry_note_leaves_less_than_a_room(target_hz):
    contour = path_of(500.0, 100)
    dry = [rough(contour, target_hz, 4.0, seed) for seed in range(6)]
    rooms = [sounded_in_room(sound, rt60_s=0.8, ratio_db=2.0, seed=seed) for seed, sound in enumerate(dry)]
    dry_share, room_share = (
        np.median([lingers(sound, contour, 100, target_hz) for sound in sounds]) for sounds in (dry, rooms)
    )
    assert dry_share < FAINTEST
    assert room_share > 4.0 * FAINTEST


@pytest.mark.parametrize("snr_db", [8, 12])
def test_noise_and_roughness_are_not_heard_again(snr_db, monkeypatch):
    """The harmonics of these disagree by more than 1.3 cents in the slide, which alone was taken for a room."""
    asked, disagree = [], []

    def ask(cents, travel, landing, *rest):
        disagree.append(travel.tracker_se(int(landing.leaving), landing.rest) > lingering_module.ROOM_SE_CENTS)
        asked.append(lingering_module.in_room(cents, travel, landing, *rest))
        return asked[-1]

    for module in (weighing, rehearing):
        monkeypatch.setattr(module, "in_room", ask)
    contour = plain_path(500.0, 6.0, slide_ms=50)
    for seed in range(4):
        noise = np.random.default_rng(seed).standard_normal(int(len(contour) * RATE_HZ / 1000))
        sound = rough(contour, 164.8, 3.0, seed)[: len(noise)]
        sound = sound + (0.2 * 10 ** (-snr_db / 20) * noise[: len(sound)]).astype(np.float32)
        judge_take(sound.astype(np.float32), RATE_HZ, expect("B2", "E3"))
    assert sum(disagree) >= 4
    assert not any(asked)


def test_a_room_is_heard_again(monkeypatch):
    read = []
    true_weigh = notes.weigh_again
    monkeypatch.setattr(notes, "weigh_again", lambda *a: read.append((a[2], true_weigh(*a))) or read[-1][1])
    sound = bowed(plain_path(500.0, 6.0, slide_ms=140), TARGET_HZ)
    for seed in range(3):
        judge_take(sounded_in_room(sound, rt60_s=0.9, ratio_db=1.0, seed=seed), RATE_HZ, expect())
    assert sum(first != again for first, again in read) >= 2


def test_silence_and_a_note_too_high_for_its_harmonics_tell_nothing():
    path = np.full(480, TARGET_HZ)
    assert lingering(path, 400, Sound(np.zeros(3528, np.float32), RATE_HZ, 400.0)) == 0.0
    tone = np.sin(2 * np.pi * 9000.0 * np.arange(3528) / RATE_HZ).astype(np.float32)
    assert lingering(np.full(480, 9000.0), 400, Sound(tone, RATE_HZ, 400.0)) >= 0.0
    assert lingering(path, 470, Sound(tone, RATE_HZ, 400.0)) == 0.0
