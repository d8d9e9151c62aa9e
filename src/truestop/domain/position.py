"""Names of positions as players say them.

Conventions: a position names a run of stops made from one placement; violin and viola count letters ('half', '1st',
'2nd'…), the cello has two numberings ('lower-upper': 'lower 2nd'; 'major-scale', after Davydov 1888: '1½'), the double
bass Simandl's roman numbers ('II–III'); thumb frames are named by the thumb's note ('thumb on A4').

Sources: violin table, common practice; 'lower-upper' numbering, common practice; 'major-scale', K. Davydov,
*Violoncell-Schule*, Leipzig 1888; double bass, F. Simandl, *Neueste Methode des Contrabass-Spiels*, Vienna.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from truestop.domain.errors import InstrumentError
from truestop.domain.frame import RESTING, first_finger_place
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger
from truestop.domain.pitch import Pitch, spell
from truestop.domain.stop import Stop

NUMBERINGS = ("lower-upper", "major-scale")
LETTER_FAMILIES = frozenset({"violin", "viola"})
"""Families whose positions are letters, so that a placement may lie a semitone up or down in one position."""

#: Violin and viola: first finger this many semitones above the open string may have these position numbers (0 is half).
#: Repeats at the octave seven positions higher. Common practice.
LETTER_POSITIONS = {
    0: (0,), 1: (0, 1), 2: (1,), 3: (2,), 4: (2, 3), 5: (3,), 6: (3, 4), 7: (4,), 8: (4, 5), 9: (5, 6), 10: (6,),
    11: (6, 7),
}  # fmt: skip

CELLO_LOWER_UPPER = {
    1: "half", 2: "1st", 3: "lower 2nd", 4: "upper 2nd", 5: "lower 3rd", 6: "upper 3rd", 7: "4th", 8: "lower 5th",
    9: "upper 5th", 10: "lower 6th", 11: "upper 6th", 12: "7th",
}  # fmt: skip
#: Where the first finger's spelling changes the name: (semitones, letters above the open string) → name.
CELLO_RESPELLED = {(3, 1): "upper 1st", (6, 4): "lower 4th"}
CELLO_MAJOR_SCALE = {
    1: "half", 2: "1st", 3: "1½", 4: "2nd", 5: "3rd", 6: "3½", 7: "4th", 8: "4½", 9: "5th", 10: "5½", 11: "6th",
    12: "7th",
}  # fmt: skip
BASS_SIMANDL = {
    1: "half", 2: "I", 3: "II", 4: "II–III", 5: "III", 6: "III–IV", 7: "IV", 8: "V", 9: "V–VI", 10: "VI",
    11: "VI–VII", 12: "VII",
}  # fmt: skip


def ordinal(number: int) -> str:
    """'1st', '2nd', '3rd', '4th'…; 'half' for 0."""
    if number == 0:
        return "half"
    ending = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def letter_positions(placement: int) -> tuple[int, ...]:
    """The position numbers a violin or viola placement may have."""
    octaves, rest = divmod(placement, 12)
    return tuple(number + 7 * octaves for number in LETTER_POSITIONS[rest])


def spelled_position(pitch: Pitch, open_pitch: Pitch, finger: Finger) -> int:
    """Position by note names: letters above the open string, less the finger, plus one."""
    return pitch.diatonic - open_pitch.diatonic - finger.rank + 1


def letter_position(pitch: Pitch, open_pitch: Pitch, finger: Finger, placement: int) -> int:
    """A violin or viola stop's position number: by note names, moved to the nearest the placement may have.

    >>> letter_position(Pitch.parse("A#4"), Pitch.parse("A4"), Finger.FIRST, 1)
    0
    """
    wanted = spelled_position(pitch, open_pitch, finger)
    return min(letter_positions(placement), key=lambda number: (abs(number - wanted), number))


def name_placement(
    stops: Sequence[Stop], instrument: Instrument, *, numbering: str = "lower-upper", key_fifths: int = 0
) -> str:
    """The name of the placement that the ``stops`` of one run share; at least one of them must be fingered."""
    fingered = [stop for stop in stops if stop.placement is not None]
    placement, thumb = fingered[0].placement or 0, fingered[0].shape == "thumb"
    if thumb:
        return f"thumb on {_pitch_at(fingered, Finger.THUMB, placement, instrument, key_fifths).pretty}"
    if instrument.family in ("violin", "viola"):
        return ordinal(_majority(fingered, instrument, placement))
    name = _numbered(fingered, placement, instrument, numbering)
    return name or f"1 on {_pitch_at(fingered, Finger.FIRST, placement, instrument, key_fifths).pretty}"


def _majority(stops: Sequence[Stop], instrument: Instrument, placement: int) -> int:
    """Majority of the non-extended stops' positions; a tie goes to the lowest finger."""
    resting = [stop for stop in stops if stop.shape in RESTING and not stop.harmonic] or list(stops)
    votes = Counter(
        letter_position(stop.pitch, instrument.open_pitch(stop.string), stop.finger, placement)
        if not stop.harmonic
        else letter_positions(placement)[0]
        for stop in resting
    )
    most = max(votes.values())
    for stop in sorted(resting, key=lambda stop: stop.finger.rank):
        number = letter_position(stop.pitch, instrument.open_pitch(stop.string), stop.finger, placement)
        if votes[number] == most:
            return number
    return next(number for number, count in votes.items() if count == most)


def _numbered(stops: Sequence[Stop], placement: int, instrument: Instrument, numbering: str) -> str | None:
    if instrument.family == "bass":
        return BASS_SIMANDL.get(placement)
    if numbering == "major-scale":
        return CELLO_MAJOR_SCALE.get(placement)
    if numbering != "lower-upper":
        raise InstrumentError(
            f"'{numbering}' is not a numbering of positions.", hint=f"Choose one of {', '.join(NUMBERINGS)}."
        )
    letters = Counter(
        stop.pitch.diatonic - instrument.open_pitch(stop.string).diatonic
        for stop in stops
        if stop.finger is Finger.FIRST and stop.place == placement
    )
    spelled = letters.most_common(1)[0][0] if letters else None
    return CELLO_RESPELLED.get((placement, spelled or 0)) or CELLO_LOWER_UPPER.get(placement)


def _pitch_at(stops: Sequence[Stop], finger: Finger, placement: int, instrument: Instrument, key_fifths: int) -> Pitch:
    """The note of ``finger`` in the placement: as played in the run, else spelled in the key on its usual string."""
    for stop in stops:
        if stop.finger is finger and stop.place == placement and not stop.harmonic:
            return stop.pitch
    counts = Counter(stop.string for stop in stops)
    string = min(counts, key=lambda number: (-counts[number], number))
    place = placement if finger is Finger.THUMB else first_finger_place(placement, thumb=False)
    return spell(instrument.open_pitch(string).midi + place, key_fifths=key_fifths)
