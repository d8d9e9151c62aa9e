"""Whether a slide was played in a room: by how much of its sound lingers when the note that it led to rests.

Where harmonics disagree during a slide it may be a room, or a rough low note, or noise. Only in a room is there still
sound where the finger was a moment ago. So the harmonics of the note at rest are taken out of the sound, each with
an amplitude that may bend, and what is left is explained as a sum of four parts that cannot be negative: past pitches
that die away, as loud as the note's own harmonics are thereabouts; noise, the same everywhere; the note's own
roughness, which lies around its harmonics; and a floor under them. Powers of noise-like sound scatter in proportion to
their size, so each bin counts by its own explained power (least squares, weighed again round after round: maximum
likelihood for exponential powers; McCullagh & Nelder, Generalized Linear Models, 1989, from memory).

Conventions: those of landing.py; a path is Hz, one value a millisecond. What is looked at has come when a plain landing
is final, so that the number shown live is the one that is kept.
"""

from __future__ import annotations

import numpy as np

from truestop.listening.contour import Cents
from truestop.listening.frames import Floats
from truestop.listening.gliding import HIGHEST_HZ, Sound
from truestop.listening.landing import Landing
from truestop.listening.resting import Travel
from truestop.listening.turning import Kept

ROOM_SE_CENTS = 1.3
"""Median standard error over the slide from which it may be a room."""
HELD_MS = (220, 20)
"""From when to when before the leaving the departure note's own standard error is read."""
READ_MS = 80
"""The note is looked at for so long after its rest began, in which it is known to rest."""
FAINTEST = 0.02
"""What lingers may be this faint and not be told from nothing: a short tail, or one on the note's own harmonics."""
LEAST_EVIDENCE = 0.14
"""What lingers, times how much more the harmonics disagree in the slide than before it: a room from here on."""
LIKELY = 0.05
"""From here on it is a room rather than not: enough where little is lost if it is none."""
MOST, LEAST_MORE = 2.5, 0.5
"""More than so many times the note's own power is another sound's, a click's, unless the harmonics disagree by this
much more in the slide than before it: a click is no slide."""
MOST_HARMONICS = 24
PAST_MS, FADING_MS = 400, 50.0
"""How far back the slide is looked at, and in which time its tail is thought to fall to 1/e."""
BENDS = 3
"""Terms of a harmonic's amplitude: a constant, a line, a parabola."""
LEAST_MS = 40
ROUNDS = 12


def in_room(
    cents: Cents,
    travel: Travel,
    landing: Landing,
    start_ms: int,
    target_hz: float,
    sound: Kept,
    least_evidence: float = LEAST_EVIDENCE,
) -> bool:
    """Whether the slide to ``landing`` was played in a room. ``cents`` begins at ``start_ms`` of the take."""
    if landing.reason not in (None, "unsteady") or landing.rest is None or landing.leaving is None:
        return False
    leaving, rest = int(landing.leaving), landing.rest
    slide_se = travel.tracker_se(leaving, rest)
    held_se = travel.tracker_se(*(max(leaving - before, 0) for before in HELD_MS))
    if slide_se < max(ROOM_SE_CENTS, held_se):
        return False
    begin, end = max(rest - PAST_MS, 0), min(rest + READ_MS, len(cents))
    heard = np.flatnonzero(np.isfinite(cents[begin:end]))
    path = target_hz * np.exp2(np.interp(np.arange(end - begin), heard, cents[begin:end][heard]) / 1200.0)
    part = Sound.of(sound, start_ms + rest, start_ms + end, start_ms + begin)
    more = slide_se / max(held_se, 1e-3) - 1.0
    question = (start_ms + rest, len(part.samples), rest - begin, path.tobytes())
    lingers = sound.recall("lingers", question, lambda: lingering(path, rest - begin, part))
    if lingers > MOST and more < LEAST_MORE:
        return False
    return (lingers + FAINTEST) * more >= least_evidence


def lingering(path_hz: Floats, rest: int, sound: Sound) -> float:
    """Power of what sounded before ``rest`` and is still heard until the path's end, against the note's own. 0: dry.

    ``path_hz`` has no gaps; ``sound`` is that of the note at rest.
    """
    if not 0 < rest <= len(path_hz) - LEAST_MS or len(sound.samples) < sound.rate_hz * LEAST_MS / 1000.0:
        return 0.0
    hz = float(np.median(path_hz[rest:]))
    highest_hz = min(HIGHEST_HZ, 0.45 * sound.rate_hz, (MOST_HARMONICS + 0.5) * hz)
    samples, rate_hz, ms = sound.thinned(2.2 * highest_hz)
    turns = np.cumsum(np.interp(ms, np.arange(len(path_hz)), path_hz)) / rate_hz
    bell = np.hanning(len(samples) + 2)[1:-1]
    left, powers = _without_harmonics(samples, turns, bell, max(1, int(highest_hz / hz)))
    bins_hz, power = _spectrum(left * bell, rate_hz)
    resolved_hz = rate_hz / len(samples)
    numbers = bins_hz / hz
    beside_hz = np.abs(numbers - np.rint(numbers)) * hz
    kept = (numbers > 0.5) & (numbers < len(powers) + 0.5) & (beside_hz > BENDS * resolved_hz)
    if np.count_nonzero(kept) < 20 or not power[kept].any():
        return 0.0
    around = np.exp(np.interp(numbers, np.arange(1, len(powers) + 1), np.log(powers)))
    past = _past(path_hz[max(rest - PAST_MS, 0) : rest], bins_hz, resolved_hz, len(powers) * hz)
    rough = resolved_hz / (np.square(beside_hz) + resolved_hz**2)
    parts = np.stack((past * around, np.ones(len(around)), rough * around, around))[:, kept]
    return _share_of_first(parts, power[kept] * (2.0 / rate_hz / float(bell @ bell)))


def _without_harmonics(samples: Floats, turns: Floats, bell: Floats, count: int) -> tuple[Floats, Floats]:
    """The sound without the first ``count`` harmonics, taken out one after the other, twice; and their powers."""
    terms = np.polynomial.legendre.legvander(np.linspace(-1.0, 1.0, len(samples)), BENDS - 1)
    weighed = terms * bell[:, None]
    solve = np.linalg.inv(weighed.T @ terms) @ weighed.T
    left, powers = samples.copy(), np.full(count, 1e-20)
    once = np.exp(-2j * np.pi * turns)
    for first in (True, False):
        back = np.ones(len(samples), np.complex128)
        for k in range(count):
            back = back * once
            harmonic = 2.0 * ((terms @ (solve @ (left * back))) * back.conj()).real
            left -= harmonic
            if first:
                powers[k] += bell @ np.square(harmonic) / bell.sum()
    return left, powers


def _spectrum(sound: Floats, rate_hz: float) -> tuple[Floats, Floats]:
    """Frequencies, two to what the length resolves, and the powers there."""
    spectrum = np.fft.rfft(sound, 2 * len(sound))
    bins_hz = np.arange(len(spectrum), dtype=np.float64) * (0.5 * rate_hz / len(sound))
    return bins_hz, np.asarray(np.square(np.abs(spectrum)), np.float64)


def _past(path_hz: Floats, bins_hz: Floats, resolved_hz: float, highest_hz: float) -> Floats:
    """Where the harmonics were, the later the more, blurred by what is resolved; its integral over Hz is theirs."""
    step_hz = float(bins_hz[1])
    fading = np.exp((np.arange(len(path_hz)) - len(path_hz)) / FADING_MS)
    places = np.zeros(len(bins_hz))
    for k in range(1, int(highest_hz / path_hz.min()) + 2):
        at = np.rint(k * path_hz / step_hz).astype(np.intp)
        there = at < len(places)
        places += np.bincount(at[there], fading[there], len(places))
    near = np.exp(-0.5 * np.square(np.arange(-6, 7) * step_hz / (0.7 * resolved_hz)))
    return np.asarray(np.convolve(places, near / near.sum(), "same") / (fading.sum() * step_hz))


def _share_of_first(parts: Floats, power: Floats) -> float:
    """How much of the first part is in ``power``, the others explaining what they can."""
    from scipy.optimize import nnls  # costs some 0.1 s: met when a room is heard, not when a command starts

    sizes = parts.mean(axis=1) + 1e-30
    columns = (parts / sizes[:, None]).T
    explained = np.full(len(power), power.mean())
    shares = np.zeros(len(parts))
    for _ in range(ROUNDS):
        shares, _ = nnls(columns / explained[:, None], power / explained)
        explained = np.sqrt(explained * (columns @ shares + 1e-12 * power.mean()))
    return float(shares[0] / sizes[0])
