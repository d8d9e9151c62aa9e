"""Vibratos from the first moment in synthesised diffuse rooms, whose centres are known from the path played."""

import numpy as np
import pytest

from listening.sounds import expect, vibrato_path
from listening.test_weighing import RATE_HZ, listened, not_again, rooms
from truestop.listening import notes
from truestop.listening.judging import LandingFinal, VerdictFinal, judge_take

CENTRE_CENTS = 6.0


def under_vibrato(half_swing, rate_hz):
    return vibrato_path(CENTRE_CENTS, -half_swing, rate_hz=rate_hz, slide_ms=140)


def landings(sounds):
    return [one for sound in sounds for one in judge_take(sound, RATE_HZ, expect()) if one.landing_cents is not None]


def off_centre(sounds):
    """Mean error of their landings in cents."""
    found = landings(sounds)
    assert len(found) >= len(sounds) - 1
    assert all(one.vibrato.present and not one.correction_cents for one in found)
    return np.mean([abs(one.landing_cents - CENTRE_CENTS) for one in found])


def test_a_vibrato_s_centre_is_found_under_a_room_s_tail(monkeypatch):
    """Under each within half a cent, on the whole by less than half of what the first hearing is off."""
    heard = [rooms(under_vibrato(*swing)) for swing in ((19.0, 6.4), (24.0, 5.0), (33.0, 5.8))]
    again = [off_centre(sounds) for sounds in heard]
    monkeypatch.setattr(notes, "weigh_again", not_again)
    once = [off_centre(sounds) for sounds in heard]
    assert max(again) < 0.5
    assert np.mean(again) < 0.5 * np.mean(once)


def test_the_centre_that_is_told_is_the_one_that_is_kept_in_blocks_of_any_size():
    for sound in rooms(under_vibrato(24.0, 5.6), 2):
        small, large = listened(sound, 64), listened(sound, 1000)
        kept, as_well = ([each.attempt for each in heard if isinstance(each, VerdictFinal)] for heard in (small, large))
        assert kept == as_well
        told = [each.landing_cents for each in small if isinstance(each, LandingFinal)]
        assert told == pytest.approx([one.landing_cents for one in kept], abs=1e-3)
