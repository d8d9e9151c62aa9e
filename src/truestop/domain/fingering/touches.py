"""Every string and finger that gives a note as asked, and in a player's words why none does.

Conventions: a wish is what page and player ask of one note; a touch answers it on one string with one finger, before a
hand is chosen. A harmonic lies where the string is touched, an artificial one where its base finger stops. Of
harmonics that the page does not print only the octave's is thought of: half the string, sounding as written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from truestop.domain.frame import NATURAL_HARMONICS, Fit, fits, fits_touching
from truestop.domain.hand_mark import HandMark, parse_hand_mark
from truestop.domain.instrument import ROMAN, STRINGS, Instrument, strings_down_to
from truestop.domain.passage import Finger, Harmonic, Note
from truestop.domain.pitch import Pitch

OCTAVE = 12
"""Place of the harmonic at half the string."""
FINGERS = (Finger.THUMB, Finger.FIRST, Finger.SECOND, Finger.THIRD, Finger.FOURTH)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of one note: the key under which its choices are kept."""

    midi: int
    diatonic: int
    string: int | None
    finger: Finger | None
    harmonic: Harmonic
    touched_midi: int | None
    base_midi: int | None
    trill: bool
    trill_finger: Finger | None = None
    """The finger printed for the trill's upper note."""
    others: tuple[Finger, ...] = ()
    """Fingers that the page offers beside ``finger``; where that is None, in its stead."""
    may_ring: bool = False
    """Whether the octave's harmonic may be proposed for it."""
    open_before: bool | None = None
    """Whether the page last had this pitch on the open string (or stopped), where it has printed that before."""
    hand: HandMark | None = None
    """What the page says of the hand."""

    @property
    def bound(self) -> bool:
        """Whether the page or the player fixes the string, the finger or the hand."""
        return self.string is not None or self.is_fingered or self.hand is not None

    @property
    def is_fingered(self) -> bool:
        """Whether the page or the player names a finger, or fingers to choose from."""
        return self.finger is not None or bool(self.others)


@dataclass(frozen=True, slots=True)
class Touch:
    """One note on one string with one finger, before a hand is chosen."""

    string: int
    finger: Finger
    place: int
    fits: tuple[Fit, ...]
    harmonic: bool = False


def wish_of(note: Note, string: int | None, finger: Finger | None, others: tuple[Finger, ...] = ()) -> Wish:
    """What is asked of ``note``; ``string``, ``finger`` and those offered beside it come from its marks or a pin."""
    marks = note.marks
    return Wish(
        midi=note.pitch.midi, diatonic=note.pitch.diatonic, string=string, finger=finger, harmonic=marks.harmonic,
        touched_midi=marks.touched.midi if marks.touched else None,
        base_midi=marks.base.midi if marks.base else None, trill=note.trill, trill_finger=marks.trill_finger,
        others=tuple(other for other in others if other is not finger),
        hand=parse_hand_mark(marks.hand) if marks.hand else None,
    )  # fmt: skip


def touches(wish: Wish, instrument: Instrument, bass_hand: str) -> tuple[Touch, ...]:
    """Every string and finger that gives the note as asked."""
    if wish.others:
        asked = [finger for finger in (wish.finger, *wish.others) if finger is not None]
        found_for = [touches(replace(wish, finger=finger, others=()), instrument, bass_hand) for finger in asked]
        return tuple(dict.fromkeys(touch for found in found_for for touch in found))
    strings = (wish.string,) if wish.string else range(1, len(instrument.strings) + 1)
    found: list[Touch] = []
    for string in strings:
        if not 1 <= string <= len(instrument.strings):
            continue
        open_midi = instrument.strings[string - 1].midi
        if wish.harmonic is Harmonic.ARTIFICIAL:
            found += _artificial(wish, string, open_midi, instrument, bass_hand)
        else:
            found += _plain(wish, string, wish.midi - open_midi, instrument, bass_hand)
            found += _natural_harmonic(wish, string, open_midi, instrument, bass_hand)
            if wish.may_ring and wish.midi - open_midi == OCTAVE:
                found += _fingered(wish, string, OCTAVE, instrument, bass_hand, harmonic=True)
    return tuple(found)


def _plain(wish: Wish, string: int, place: int, instrument: Instrument, bass_hand: str) -> list[Touch]:
    if wish.harmonic is Harmonic.NATURAL or place < 0 or place > instrument.highest_place:
        return []
    if place == 0:
        return [Touch(string, Finger.OPEN, 0, ())] if wish.finger in (None, Finger.OPEN) else []
    return _fingered(wish, string, place, instrument, bass_hand)


def _fingered(
    wish: Wish, string: int, place: int, instrument: Instrument, bass_hand: str, harmonic: bool = False
) -> list[Touch]:
    wanted = FINGERS if wish.finger in (None, Finger.OPEN) else (wish.finger,)
    reach = fits_touching if harmonic else fits
    made = (
        Touch(string, finger, place, reach(instrument.family, finger, place, bass_hand), harmonic) for finger in wanted
    )
    if wish.finger is Finger.OPEN and not harmonic:
        return []
    return [touch for touch in made if touch.fits]


def _natural_harmonic(wish: Wish, string: int, open_midi: int, instrument: Instrument, bass_hand: str) -> list[Touch]:
    """Where the page asks for a harmonic, or prints 0 over a note that is no open string."""
    printed_zero = wish.finger is Finger.OPEN and wish.midi != open_midi
    if wish.harmonic is not Harmonic.NATURAL and not printed_zero:
        return []
    places: tuple[int, ...] = NATURAL_HARMONICS.get(wish.midi - open_midi, ())
    if wish.touched_midi is not None:
        places = tuple(place for place in places if place == wish.touched_midi - open_midi)
    elif not places and wish.harmonic is Harmonic.NATURAL and wish.midi - open_midi in (4, 5, 7, 9):
        places = (wish.midi - open_midi,)
    return [touch for place in places for touch in _fingered(wish, string, place, instrument, bass_hand, harmonic=True)]


def _artificial(wish: Wish, string: int, open_midi: int, instrument: Instrument, bass_hand: str) -> list[Touch]:
    """The base finger decides: the stopped note, two octaves below where the score does not give it."""
    base = wish.base_midi if wish.base_midi is not None else wish.midi - 24
    place = base - open_midi
    if not 1 <= place <= instrument.highest_place:
        return []
    lowest = Finger.THUMB if instrument.family in ("cello", "bass") and place >= 5 else Finger.FIRST
    fingers = (wish.finger,) if wish.finger not in (None, Finger.OPEN) else (lowest,)
    made = (
        Touch(string, finger, place, fits(instrument.family, finger, place, bass_hand), True)
        for finger in fingers
        if finger
    )
    return [touch for touch in made if touch.fits]


def why_impossible(wish: Wish, instrument: Instrument, bass_hand: str) -> tuple[str, str]:
    """(what, remedy) for a note that no touch gives, in a player's words; the note itself is named by the caller."""
    if wish.midi < instrument.lowest_midi:
        return _below(wish, instrument)
    if wish.midi > instrument.strings[0].midi + instrument.highest_place and wish.harmonic is Harmonic.NONE:
        return (
            f"the note lies above the end of the {instrument.family}'s fingerboard.",
            "Check the clef and the octave.",
        )
    string, finger = wish.string, wish.finger
    if string is not None and string > len(instrument.strings):
        return (
            f"the {instrument.family} has no string {ROMAN.get(string, string)}.",
            f"Strings run from I to {ROMAN[len(instrument.strings)]}; for more, name the open strings.",
        )
    if string is not None and not _possible(wish, instrument, bass_hand, finger=None):
        return _string_fault(wish, instrument, string)
    if finger is Finger.OPEN and not _possible(wish, instrument, bass_hand, string=None):
        return (
            "0 asks for an open string or natural harmonic, and no string gives this note so.",
            "Change the 0 to a finger, or check the strings' tuning.",
        )
    if finger is not None and not _possible(wish, instrument, bass_hand, string=None, finger=finger):
        return _finger_fault(wish, instrument, finger)
    if finger is None or string is None:
        return _harmonic_fault(wish, instrument)
    return (
        f"finger {finger} and string {ROMAN[string]} do not go together here.",
        "Change or remove one of the two marks.",
    )


def _below(wish: Wish, instrument: Instrument) -> tuple[str, str]:
    """What is wrong with a note below the lowest string, and which strings or instruments go so low."""
    what = f"the note lies below the {instrument.family}'s lowest string ({instrument.strings[-1].pretty})."
    lower = strings_down_to(instrument.family, wish.midi)
    others = [
        family
        for family in STRINGS
        if family != instrument.family and Pitch.parse(STRINGS[family][-1]).midi <= wish.midi
    ]
    remedies = [
        *([f"name strings that go so low, like '{' '.join(lower)}'"] if lower else []),
        *([f"choose the instrument that the passage is for ({_listed(others)})"] if others else []),
        "transpose the passage",
    ]
    sentence = ", or ".join(remedies)
    return what, f"{sentence[0].upper()}{sentence[1:]}."


def _possible(wish: Wish, instrument: Instrument, bass_hand: str, **change: object) -> bool:
    fields_of = {name: getattr(wish, name) for name in Wish.__dataclass_fields__} | {"others": ()} | change
    return bool(touches(Wish(**fields_of), instrument, bass_hand))


def _string_fault(wish: Wish, instrument: Instrument, string: int) -> tuple[str, str]:
    open_pitch = instrument.strings[string - 1]
    able = [
        ROMAN[number]
        for number in range(1, len(instrument.strings) + 1)
        if 0 <= wish.midi - instrument.strings[number - 1].midi <= instrument.highest_place
    ]
    place = wish.midi - open_pitch.midi
    where = (
        "lies below it"
        if place < 0
        else "lies beyond its fingerboard"
        if place > instrument.highest_place
        else "is no harmonic of it"
    )
    return (
        f"string {ROMAN[string]} ({open_pitch.pretty}) cannot sound it; the note {where}.",
        f"Mark string {_listed(able)} instead, or remove the string mark."
        if place < 0 and able
        else "Mark a higher string, or remove the string mark.",
    )


def _listed(names: list[str]) -> str:
    """'I', 'I or II', 'I, II or III'."""
    return " or ".join(name for name in (", ".join(names[:-1]), names[-1]) if name)


def _harmonic_fault(wish: Wish, instrument: Instrument) -> tuple[str, str]:
    if wish.harmonic is Harmonic.ARTIFICIAL:
        return (
            "it is marked as an artificial harmonic, and no finger of one hand stops and touches it so.",
            "Check the stopped and the touched pitch, or remove the harmonic mark.",
        )
    strings = " ".join(pitch.pretty for pitch in instrument.strings)
    return (
        f"it is marked as a natural harmonic, and none of the strings {strings} sounds it so.",
        "Remove the harmonic mark, or check the pitch and the strings' tuning.",
    )


def _finger_fault(wish: Wish, instrument: Instrument, finger: Finger) -> tuple[str, str]:
    if finger is Finger.THUMB and instrument.family in ("violin", "viola"):
        return f"the {instrument.family} has no thumb position.", "Change the thumb mark to a finger 1 to 4."
    return f"finger {finger} cannot stop it on any string.", "Change or remove the finger."
