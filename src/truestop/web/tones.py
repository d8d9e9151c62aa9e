"""The room's reference sounds, rendered as ``truestop tones`` does: which of them each stage wants to be heard."""

from __future__ import annotations

import numpy as np

from truestop.app.mainjob import InHand
from truestop.app.tones import TonesWanted, make_tones
from truestop.sounding.bowed import Samples
from truestop.sounding.loudness import TARGET_LUFS, at_loudness
from truestop.sounding.tones import RATE_HZ, silence, sound_held, starting_quiet

#: What sounds at a stage; everywhere else departure and arrival.
SOUNDS = {"name": "arrival", "hear": "arrival", "settle": "arrival", "guide": "guide", "in the passage": "phrase"}
STRING_S, TAIL_S = 3.0, 0.1


def sound_of_stage(in_hand: InHand, shift: int, stage: str) -> Samples:
    """The arrival alone, the guide's way, departure and arrival, or the bars around the shift."""
    wanted = TonesWanted(kinds=(SOUNDS.get(stage, "interval"),), shifts=(shift,), click=False)
    return make_tones(in_hand, wanted).samples


def sound_of_string(hz: float, family: str) -> Samples:
    """An open string to tune to."""
    held = np.concatenate([sound_held([hz], STRING_S, family=family), silence(TAIL_S)])
    return at_loudness(starting_quiet(held), sample_rate_hz=RATE_HZ, lufs=TARGET_LUFS)
