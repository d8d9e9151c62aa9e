"""A shift in words: the name said aloud before it is played.

Conventions: fields are ready to print; every word comes from the wording table.
"""

from __future__ import annotations

from fractions import Fraction

from truestop.domain.drill.metre import metre_of
from truestop.domain.instrument import ROMAN
from truestop.domain.pitch import Interval
from truestop.domain.shift import Cover, Guide, Shift
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import Wording

QUARTER = Fraction(1)


def tempo_words(wording: Wording, quarter_bpm: float, *, beat_beats: Fraction = QUARTER, ours: bool = False) -> str:
    """A pulse as the metre counts it, ``beat_beats`` quarter notes a beat; ``ours`` where no score and no player says.

    >>> from truestop.domain.wording import ENGLISH
    >>> tempo_words(ENGLISH, 90, beat_beats=Fraction(3, 2)), tempo_words(ENGLISH, 72, ours=True)
    ('dotted quarter note = 60', 'quarter note = about 72')
    """
    if f"note.{beat_beats}" not in wording.texts:
        beat_beats = QUARTER
    note = wording.say(f"note.{beat_beats}")
    return wording.say(
        "sheet.tempo.ours" if ours else "sheet.tempo", note=note, bpm=f"{quarter_bpm / float(beat_beats):.4g}"
    )


def shift_fields(
    fingered: FingeredPassage, shift: Shift, *, wording: Wording, quarter_bpm: float | None
) -> dict[str, str]:
    """The fields that headings and instructions of a drill may use; ``quarter_bpm`` is the player's pulse, if any."""
    passage, onset = fingered.passage, fingered.steps[shift.arrival_step].onset
    measure = passage.measure_at(onset)
    bpm = quarter_bpm or passage.quarter_bpm_at(onset)
    ours = quarter_bpm is None and not passage.names_tempo_at(onset)
    guides = [guide.finger for guide in shift.guide] or [shift.arrival[0].finger]
    guide_fingers = wording.say("and").join(wording.say(f"finger.{finger}") for finger in dict.fromkeys(guides))
    return {
        "departure": _pitches(shift.departure),
        "arrival": _pitches(shift.arrival),
        "arrival_finger": _fingers(shift.arrival, wording),
        "guide_finger": _sentence_start(guide_fingers),
        "from_position": wording.position(shift.from_position),
        "to_position": wording.position(shift.to_position),
        "interval": wording.interval(shift.interval),
        "tempo": tempo_words(wording, bpm, beat_beats=metre_of(measure).beat, ours=ours),
        "passage_tempo": tempo_words(wording, bpm, beat_beats=measure.beat_beats, ours=ours),
    }


def shift_title(shift: Shift, *, wording: Wording) -> str:
    """'Shift 3': the heading of its drill."""
    return wording.say("shift.heading", number=shift.number)


def shift_kind(shift: Shift, *, wording: Wording) -> str:
    """Measure, direction, relation, crossing and cover in one line."""
    parts = [
        wording.say("shift.measure", measure=shift.measure),
        wording.say(f"shift.direction.{shift.direction}"),
        wording.say(f"shift.relation.{shift.relation}"),
    ]
    if shift.crossing:
        parts.append(wording.say("shift.crossing"))
    if shift.cover is not Cover.NONE:
        parts.append(wording.say(f"shift.cover.{shift.cover}"))
    return " · ".join(parts)


def shift_sentences(shift: Shift, *, wording: Wording) -> tuple[str, ...]:
    """From where to where, and what guides: the sentences printed under the heading."""
    sentences = [
        wording.say(
            "shift.from_to",
            departure=_stops_in_words(shift.departure, shift.from_position, wording),
            arrival=_stops_in_words(shift.arrival, shift.to_position, wording),
            interval=_intervals_in_words(shift, wording),
        )
    ]
    guides = wording.say("and").join(_guide_in_words(guide, wording) for guide in shift.guide)
    if not shift.guide:
        sentences.append(wording.say("shift.guide.none"))
    elif shift.silent:
        sentences.append(wording.say("shift.guide.silent", guide=guides))
    else:
        sentences.append(wording.say("shift.guide", guide=guides))
    return tuple(sentences)


def _intervals_in_words(shift: Shift, wording: Wording) -> str:
    """The interval; of a double stop those of the lower and the upper notes, where they differ."""
    if len(shift.departure) != len(shift.arrival):
        return wording.interval(shift.interval)
    ends = (sorted(stops, key=lambda stop: stop.pitch.midi) for stops in (shift.departure, shift.arrival))
    intervals = (Interval.between(leave.pitch, reach.pitch) for leave, reach in zip(*ends, strict=True))
    return wording.say("and").join(dict.fromkeys(wording.interval(interval) for interval in intervals))


def _stops_in_words(stops: tuple[Stop, ...], position: str, wording: Wording) -> str:
    return wording.say("and").join(_stop_in_words(stop, position, wording) for stop in stops)


def _stop_in_words(stop: Stop, position: str, wording: Wording) -> str:
    return wording.say(
        "shift.stop.open" if stop.is_open else "shift.stop",
        pitch=stop.pitch.pretty,
        finger=wording.say(f"finger.{stop.finger}"),
        string=ROMAN[stop.string],
        position=wording.position(position),
    )


def _guide_in_words(guide: Guide, wording: Wording) -> str:
    return wording.say(
        "shift.guide.stays" if guide.stays else "shift.guide.one",
        finger=wording.say(f"finger.{guide.finger}"),
        string=ROMAN[guide.string],
        start=guide.from_pitch.pretty,
        end=guide.to_pitch.pretty,
        mm=f"{abs(guide.travel_mm):.0f}",
        towards=wording.say("towards.bridge" if guide.travel_mm >= 0 else "towards.nut"),
    )


def _pitches(stops: tuple[Stop, ...]) -> str:
    return "–".join(stop.pitch.pretty for stop in stops)


def _fingers(stops: tuple[Stop, ...], wording: Wording) -> str:
    return wording.say("and").join(wording.say(f"finger.{stop.finger}") for stop in stops)


def _sentence_start(text: str) -> str:
    return text[:1].upper() + text[1:]
