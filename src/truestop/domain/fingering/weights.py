"""What makes one fingering better than another, as a table of terms with their reasons.

Conventions: costs are relative; 1.0 is about what a player gives to avoid one awkward but safe thing (a plain stretch).
``quick`` and ``slow`` scale with the time a note gives: nothing at ≤ 0.15 s, all of it at ≥ 0.7 s for slow terms. A
style changes terms; it never forbids a stop, so that every passage keeps a fingering.

Source: common practice of the trade, no single source; the numbers are ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

GROUPS = (
    "shifts",
    "crossings",
    "stretches",
    "finger changes",
    "positions",
    "open strings",
    "harmonics",
    "weak fingers",
    "edition",
)


def _term(value: float, group: str, reason: str) -> Any:
    return field(default=value, metadata={"group": group, "reason": reason})


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """The terms of the cost; each field carries its group and its reason."""

    shift: float = _term(2.6, "shifts", "Every travel of the hand is a risk.")
    shift_semitone: float = _term(0.16, "shifts", "A longer way is harder to measure, per semitone of the placement.")
    shift_leap: float = _term(0.15, "shifts", "Beyond a fifth the arm has to open: added per semitone above 7.")
    shift_crossing: float = _term(
        0.7, "shifts", "Travelling while the bow changes string: no finger is heard on its way."
    )
    shift_same_finger: float = _term(-0.35, "shifts", "The same finger stays on the string and guides itself.")
    shift_semitone_glide: float = _term(-0.3, "shifts", "The same finger a semitone on is hardly a travel.")
    shift_to_first: float = _term(-0.2, "shifts", "Arriving on the first finger sets the whole frame.")
    shift_to_fourth: float = _term(0.7, "shifts", "Arriving on the fourth finger sets the frame from its weakest end.")
    shift_from_fourth: float = _term(
        0.4, "shifts", "Travelling up from the fourth finger, the whole hand has to pass the note that sounds."
    )
    shift_repeated: float = _term(0.7, "shifts", "A repeated or tied-over pitch gains nothing from travelling.")
    shift_against: float = _term(
        0.5, "shifts", "Travelling up to a lower note, or down to a higher one, feels backwards."
    )
    shift_first_third: float = _term(
        -1.0, "shifts", "Between first and third position: the way that every player knows best (violin, viola)."
    )
    parallel: float = _term(2.0, "finger changes", "Octaves and tenths in a row keep their pair of fingers.")
    shift_behind_open: float = _term(0.48, "shifts", "Factor: while an open string sounds the hand travels unheard.")
    shift_at_rest: float = _term(0.5, "shifts", "Factor: a rest gives the time.")
    shift_in_slur: float = _term(1.12, "shifts", "Factor: inside a slur the travel is heard.")
    shift_on_beat: float = _term(0.9, "shifts", "Factor: the hand likes to change with the beat.")
    creep: float = _term(0.9, "shifts", "The frame re-forms around a finger that reaches out: less than a shift.")
    creep_strain: float = _term(0.7, "shifts", "Creeping: times the strain of the reach that leads it.")
    creep_further: float = _term(0.6, "shifts", "Creeping further than a semitone: per semitone.")
    adjust: float = _term(0.45, "shifts", "A semitone's turn of the hand inside one position.")
    crossing: float = _term(0.12, "crossings", "The bow goes to the next string.")
    crossing_skip: float = _term(0.75, "crossings", "Added for every string the bow leaps over.")
    crossing_in_slur: float = _term(
        1.5, "crossings", "Factor: under a slur the change of colour and the bump are heard."
    )
    crossing_slow: float = _term(0.25, "crossings", "Added in slow notes: a singing line stays on its string.")
    extension: float = _term(1.0, "stretches", "The hand opens: times the strain of the reach.")
    extension_slow: float = _term(
        1.0, "stretches", "A stretched finger cannot vibrate: added in slow notes, times the strain."
    )
    chord_stretch: float = _term(
        0.7, "stretches", "Two fingers stretched apart at once: times the strain of the chord."
    )
    span: float = _term(
        0.75, "finger changes", "Neighbouring notes stretch two fingers apart or squeeze them: per semitone."
    )
    hop: float = _term(0.85, "finger changes", "A finger leaps to another string and place in the next note.")
    fifth: float = _term(0.25, "finger changes", "A finger rolls across to the same place on the next string.")
    glide: float = _term(0.75, "finger changes", "A finger moves a semitone inside the position.")
    glide_fourth: float = _term(0.6, "finger changes", "Added when it is the fourth finger that glides.")
    glide_far: float = _term(2.5, "finger changes", "A finger moves further inside the position: really a travel.")
    order: float = _term(2.2, "finger changes", "A higher finger on a lower place of one string.")
    same_pitch: float = _term(1.6, "finger changes", "The same pitch again with another finger or string.")
    begin_away: float = _term(
        0.6, "positions", "The hand that begins above first position is set with nothing to lead it (violin, viola)."
    )
    low_under_high: float = _term(
        0.4,
        "positions",
        "Near a note beyond first position the hand is up already: a note that third could take, as far as it is near.",
    )
    half_position: float = _term(
        0.4, "positions", "Half position is cramped and less at home than first (violin, viola)."
    )
    half_position_low: float = _term(
        0.07, "positions", "Half position on cello and bass: first is a little more at home."
    )
    cello_away: float = _term(0.05, "positions", "The cello's hand is at home in first and fourth position.")
    first_position: float = _term(0.0, "positions", "First position is home.")
    second_position: float = _term(0.12, "positions", "Second position is less at home than first and third.")
    third_position: float = _term(0.02, "positions", "Third position rests against the body, but first is home.")
    fourth_position: float = _term(0.24, "positions", "Fourth position goes round the body: less at home than third.")
    fifth_position: float = _term(
        0.24,
        "positions",
        "Fifth position and above are taken for their notes; third's fingers serve in fifth and seventh again.",
    )
    height: float = _term(0.03, "positions", "Every semitone above the fourth position, per note.")
    low_string_height: float = _term(
        0.055, "positions", "On a lower string: per semitone above first position and string below I."
    )
    low_string_third: float = _term(
        0.225,
        "positions",
        "Factor on that up to third position of violin and viola, which is at home on lower strings as well.",
    )
    low_string_deep: float = _term(
        0.3,
        "positions",
        "Quick notes on strings III and IV are taken at home, not in a position: per string below II (violin, viola).",
    )
    low_string_slow: float = _term(
        0.6, "positions", "Factor on that in slow notes: the covered colour of a lower string suits a singing line."
    )
    bright_slow: float = _term(
        0.27, "positions", "A slow note low on string I of a violin is bright: lines are sung on the string below."
    )
    misspelled: float = _term(0.65, "positions", "The note's letter does not belong to the placement.")
    open_slow: float = _term(1.25, "open strings", "A slow open string cannot vibrate and sounds bare.")
    open_sung: float = _term(
        1.0, "open strings", "A short open string among slow notes: this share of what it would cost as one of them."
    )
    open_alone: float = _term(
        0.5, "open strings", "A slow open string among quick notes: this share of what it costs more than they would."
    )
    open_quick: float = _term(-0.16, "open strings", "A quick open string costs nothing and rings.")
    open_in_position: float = _term(
        1.2, "open strings", "Above second position an open string stands out; it serves a shift."
    )
    open_slur: float = _term(0.4, "open strings", "Under a slur an open string sticks out of the line.")
    open_top_slur: float = _term(
        0.2, "open strings", "The open top string whistles or glares after a slurred crossing."
    )
    open_trill: float = _term(2.2, "open strings", "A trill on an open string has no hand to lean on.")
    harmonic: float = _term(0.3, "harmonics", "A harmonic's clear colour stands out between stopped notes.")
    harmonic_slow: float = _term(0.7, "harmonics", "A slow harmonic cannot vibrate, even at an end.")
    harmonic_rings: float = _term(-0.3, "harmonics", "It rings on when the finger has left: a quick end gains by it.")
    harmonic_reach: float = _term(
        0.35, "harmonics", "Factor on stretches: a finger that only touches reaches further, and its pitch is safe."
    )
    shift_to_harmonic: float = _term(
        -0.9, "harmonics", "A harmonic forgives where the finger lands: travelling onto it is safe."
    )
    fourth: float = _term(0.18, "weak fingers", "The fourth finger is the weakest.")
    fourth_slow: float = _term(0.24, "weak fingers", "A slow note under the fourth finger sings less.")
    trill_fourth: float = _term(3.0, "weak fingers", "A trill above the fourth finger has no finger to play it.")
    trill_third: float = _term(0.3, "weak fingers", "A trill with the fourth finger is slower.")
    trill_no_room: float = _term(
        4.0, "weak fingers", "The finger printed for a trill's upper note has to lie above the note's own finger."
    )
    trill_apart: float = _term(
        0.8, "weak fingers", "Between a note's finger and the printed finger of its trill: for every finger left out."
    )
    thumb: float = _term(0.35, "weak fingers", "The thumb is raised onto the string only for a reason.")
    change_unmarked: float = _term(
        16.0, "edition", "Where an edition prints fingers, it prints one at each change of position."
    )
    turn_unmarked: float = _term(
        1.5, "edition", "Without a printed finger the hand does not turn on its way to another string either."
    )
    stay_marked: float = _term(2.0, "edition", "A printed finger tells that something changes here.")
    marked_reach: float = _term(
        2.0,
        "edition",
        "A printed finger onto which the hand comes names the position: it lies in its own place.",
    )
    unlike_printed: float = _term(
        1.5, "edition", "A pitch printed open, or stopped where it could be open, is so again until printed otherwise."
    )
    offered: float = _term(0.4, "edition", "A finger printed as a second choice is the editor's second choice.")
    unlike_sequence: float = _term(0.4, "edition", "A figure that climbs or falls by step keeps its fingers.")
    thumb_frame: float = _term(0.16, "weak fingers", "With the thumb up the hand gives up its neck frame: per note.")
    low_thumb: float = _term(0.15, "weak fingers", "The thumb below the octave: per semitone, for lack of room.")
    unlike: float = _term(0.8, "edition", "A figure that came before is fingered as before.")


#: What the families weigh otherwise: factors on single terms. Reasons: the cello's and bass's fourth finger is no
#: weaker than its neighbours, their open strings and harmonics ring, the bow has further to go from string to string,
#: on their necks a finger does not glide inside the frame, and a hand opened by an extension is a frame of its own.
FAMILY_FACTORS = MappingProxyType(
    {
        "viola": {"shift_semitone": 1.1, "fourth": 1.15},
        "cello": {
            "crossing": 1.83, "open_quick": 0.625, "open_slur": 0.5,
            "marked_reach": 0.0, "span": 3.2, "fourth": 0.3, "fourth_slow": 0.625, "open_slow": 0.6, "shift": 0.9,
            "open_in_position": 0.5, "glide": 3.0, "low_string_height": 1.5, "shift_semitone_glide": 0.93,
            "open_alone": 2.0, "harmonic_rings": 1.6,
        },
        "bass": {
            "crossing": 1.83, "open_slur": 0.5,
            "marked_reach": 0.0, "span": 1.33, "fourth": 0.0, "fourth_slow": 0.0, "open_slow": 0.25, "open_quick": 1.25,
            "shift": 0.85, "open_in_position": 0.2, "glide": 3.0, "crossing_slow": 0.3, "low_string_height": 3.0,
            "shift_semitone_glide": 0.93, "open_alone": 2.0, "shift_against": 0.5, "harmonic_rings": 2.0,
        },
    }
)  # fmt: skip


def weights_for(weights: Weights, family: str) -> Weights:
    """The weights as a family weighs them."""
    factors = FAMILY_FACTORS.get(family, {})
    return replace(weights, **{name: getattr(weights, name) * factor for name, factor in factors.items()})


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """A way of fingering: weights, how high the hand may go without excuse, the double bass's hand."""

    name: str
    weights: Weights = Weights()
    comfortable_place: int = 40
    """Placements above this (semitones) cost ``above_comfortable`` per semitone."""
    above_comfortable: float = 0.0
    bass_hand: str = "1-2-4"
    reason: str = ""


def _but(**terms: float) -> Weights:
    return replace(Weights(), **terms)


USUAL = Style(
    name="usual", reason="What most players would write: first and third position at home, open strings where quick."
)
STYLES = MappingProxyType(
    {
        style.name: style
        for style in (
            USUAL,
            Style(
                name="secure",
                weights=_but(
                    shift=3.6, shift_first_third=-0.3, low_under_high=0.0, begin_away=1.5, height=0.1,
                    low_string_height=0.12, low_string_third=1.0, open_slow=0.4, fourth_slow=0.1, crossing_slow=0.15,
                    harmonic=0.1, shift_to_harmonic=-1.3
                ),
                reason="Low positions, few shifts, open strings welcome.",
            ),
            Style(
                name="one string",
                weights=_but(
                    crossing=1.2, crossing_slow=2.0, shift=1.4, shift_semitone=0.1, low_string_height=0.0, height=0.0,
                    open_slow=2.0, open_quick=0.4,
                ),
                reason="One colour: the line stays on its string.",
            ),
            Style(
                name="brilliant",
                weights=_but(
                    shift=1.9, height=0.0, low_string_height=0.02, open_slow=1.8, open_quick=0.3, fourth_position=0.0,
                    second_position=0.05, harmonic=0.0, thumb_frame=0.6
                ),
                reason="High positions for brightness, no open strings in the line.",
            ),
            Style(
                name="beginner",
                weights=_but(
                    shift=4.5, shift_first_third=0.0, low_under_high=0.0, begin_away=3.0, low_string_third=1.0,
                    third_position=0.3, extension=1.6, thumb=3.0, thumb_frame=1.5,
                    open_slow=0.0, open_quick=-0.2, fourth=0.25, second_position=0.6,
                    half_position=0.6, harmonic=20.0
                ),
                comfortable_place=5,
                above_comfortable=0.6,
                reason="First to third position, open strings, few stretches.",
            ),
        )
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One row of the table of weights."""

    name: str
    value: float
    group: str
    reason: str


def terms(weights: Weights | None = None) -> tuple[Term, ...]:
    """The table of ``weights``, one row a term, in the order of the groups."""
    chosen = weights or Weights()
    return tuple(
        Term(
            name=item.name,
            value=getattr(chosen, item.name),
            group=item.metadata["group"],
            reason=item.metadata["reason"],
        )
        for item in fields(Weights)
    )
