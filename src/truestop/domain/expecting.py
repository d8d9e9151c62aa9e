"""What to expect of an attempt at a shift, worked out before the first sound.

Conventions: ``arrival`` is the lower note of a double stop, ``upper_arrival`` the upper one; an open string or harmonic
beside a stopped note always comes second, since the finger is what is judged. A guide note is announced
only at the stages that sound it; elsewhere it is hidden and a stop on it is an ordinary landing.
"""

from __future__ import annotations

from truestop.domain.attempt import Expectation, Target
from truestop.domain.instrument import Instrument
from truestop.domain.pitch import Pitch
from truestop.domain.shift import Cover, Guide, Shift
from truestop.domain.stop import Stop
from truestop.domain.tuning import NOTHING, Against, Intonation

#: What sounds at each stage: 'guide' the guide finger alone, 'announced' the notes with the guide note between.
_SOUNDS = {"guide": "guide", "land": "announced"}


def expect_shift(
    shift: Shift,
    *,
    key: str,
    stage: str,
    instrument: Instrument,
    intonation: Intonation,
    tolerance_cents: float = 20.0,
    against: Against = NOTHING,
    beats_s: tuple[float, ...] = (),
) -> Expectation:
    """What an attempt at ``shift`` should sound like at ``stage``; ``key`` is the shift's stable key in the record.

    ``against`` gives what the notes are tuned to (drone, tonic); the other note of a double stop and a sounding open
    string are found here. PitchError where *just* has no reference.
    """
    departure = _targets(shift.departure, intonation, against)
    arrival = _targets(shift.arrival, intonation, against)
    guide = _guide_targets(shift.guide[0], intonation, against) if shift.guide else None
    alone = _SOUNDS.get(stage) == "guide" and guide is not None
    if alone and guide is not None:
        departure, arrival = (guide[0],), (guide[1],)
    announced = _announced(shift, guide) if _SOUNDS.get(stage) == "announced" else None
    return Expectation(
        shift=key, stage=stage, departure=departure[0], arrival=arrival[0], guide=announced,
        silent=shift.cover is not Cover.NONE and not alone,
        departure_open=not alone and _rings_by_itself(_in_order(shift.departure)[0]),
        arrival_open=not alone and _rings_by_itself(_in_order(shift.arrival)[0]),
        length_mm=instrument.length_mm, tolerance_cents=tolerance_cents, beats_s=beats_s,
        open_strings_hz=tuple(intonation.open_string_hz(n) for n in range(1, len(instrument.strings) + 1)),
        upper_departure=departure[1] if len(departure) > 1 else None,
        upper_arrival=arrival[1] if len(arrival) > 1 else None,
        upper_arrival_open=len(arrival) > 1 and _rings_by_itself(_in_order(shift.arrival)[1]),
    )  # fmt: skip


def stop_target(
    stop: Stop, sounding: tuple[Stop, ...], *, intonation: Intonation, against: Against = NOTHING
) -> Target:
    """The target of ``stop``, with ``sounding`` (it included) struck together."""
    others = [other for other in sounding if other is not stop]
    open_string = next((other.string for other in others if other.is_open), against.open_string)
    other = others[0].pitch if others and not others[0].is_open else against.other
    heard = Against(open_string=open_string, other=other, drone=against.drone, tonic=against.tonic)
    return intonation.target(stop.pitch, string=stop.string, place=stop.place, against=heard)


def _targets(stops: tuple[Stop, ...], intonation: Intonation, against: Against) -> tuple[Target, ...]:
    return tuple(stop_target(stop, stops, intonation=intonation, against=against) for stop in _in_order(stops))


def _guide_targets(guide: Guide, intonation: Intonation, against: Against) -> tuple[Target, Target]:
    def at(pitch: Pitch, place: int) -> Target:
        return intonation.target(pitch, string=guide.string, place=place, against=against)

    return at(guide.from_pitch, guide.from_place), at(guide.to_pitch, guide.to_place)


def _announced(shift: Shift, guide: tuple[Target, Target] | None) -> Target | None:
    """The guide note that is not itself written: where the finger comes to, else where it sets out."""
    if guide is None:
        return None
    written = {stop.pitch.midi for stop in (*shift.departure, *shift.arrival)}
    return next((target for target in reversed(guide) if target.pitch.midi not in written), None)


def _in_order(stops: tuple[Stop, ...]) -> list[Stop]:
    return sorted(stops, key=lambda stop: (_rings_by_itself(stop), stop.pitch.midi))


def _rings_by_itself(stop: Stop) -> bool:
    return stop.is_open or stop.harmonic
