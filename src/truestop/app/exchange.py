"""The tables a player takes away: every column with its kind and its meaning.

Conventions: one CSV file per table, or one JSON file with all of them; UTF-8, a header line, comma separated, an empty
field for unknown, numbers with a decimal point and as many digits as they have, 'yes' and 'no'. docs/own-data.md shows
these tables.
"""

from __future__ import annotations

from dataclasses import dataclass

SCHEMA = "truestop.record/1"


@dataclass(frozen=True, slots=True)
class Field:
    """One column. ``kind`` is 'text', 'whole', 'number', 'yes/no', 'day' (YYYY-MM-DD) or 'numbers' (a run of them)."""

    name: str
    kind: str
    meaning: str
    optional: bool = False


def _optional(*fields: tuple[str, str, str]) -> tuple[Field, ...]:
    return tuple(Field(name, kind, meaning, optional=True) for name, kind, meaning in fields)


_MEASURED = (
    Field("stage", "text", "stage of the drill; plain, in time, in the passage and cold count for the record"),
    Field("start_s", "number", "start of the attempt in the take"),
    Field("end_s", "number", "its end"),
    *_optional(
        ("departure_s", "number", "when the slide leaves the departure note"),
        ("arrival_s", "number", "when the finger comes to rest"),
    ),
    Field("target_pitch", "text", "arrival note, like F#4"),
    Field("target_hz", "number", "its frequency in the tuning in force"),
    Field("target_system", "text", "tuning system in force"),
    *_optional(
        ("target_reference", "text", "what it was tuned against"),
    ),
    Field("target_string", "whole", "string of arrival, 1 the highest"),
    Field("target_place", "whole", "semitones above the open string"),
    Field("verdict", "text", "true, high, low, corrected, wrong note, early, late or unjudged"),
    *_optional(
        ("faults", "text", "everything that applied, parted by '; '"),
        ("reason", "text", "why it is unjudged"),
    ),
    Field("borderline", "yes/no", "a limit of the verdict lies within one standard error"),
    *_optional(
        ("landing_cents", "number", "where the finger first came to rest, from the target, + sharp"),
        ("landing_se_cents", "number", "its standard error"),
        ("landing_mm", "number", "the same on the string, + towards the bridge"),
        ("departure_cents", "number", "departure note from its own written pitch"),
        ("departure_se_cents", "number", "its standard error"),
        ("interval_error_cents", "number", "landing less departure"),
        ("interval_error_se_cents", "number", "its standard error"),
        ("settled_cents", "number", "where the pitch settled"),
        ("correction_cents", "number", "settled less landing; 0 where there was no correction"),
        ("overshoot_cents", "number", "how far the slide went past the landing"),
        ("guide_landing_cents", "number", "landing of the guide note from its own pitch"),
        ("slide_s", "number", "length of the slide"),
        ("timing_s", "number", "arrival from the beat, + late"),
    ),
    Field("stops", "whole", "stretches at rest inside the slide"),
    Field("reversals", "whole", "turns against the travel inside the slide"),
    Field("vibrato_present", "yes/no", "vibrato on the arrival note"),
    *_optional(
        ("vibrato_rate_hz", "number", "its rate"),
        ("vibrato_extent_cents", "number", "half its mean swing"),
    ),
    Field("tolerance_cents", "number", "tolerance in force"),
    Field("measure_version", "whole", "version of the measure that gave these numbers"),
    *_optional(
        ("notes", "text", "both notes of a double stop with their numbers, lower first, as JSON; empty for one note"),
    ),
)

TABLES: dict[str, tuple[Field, ...]] = {
    "players": (
        Field("key", "text", "short name that does not change"),
        Field("name", "text", "name as shown"),
    ),
    "passages": (
        Field("key", "text", "made of title, part and composer"),
        Field("title", "text", "title"),
        Field("part", "text", "part, empty where there is one only"),
        Field("instrument", "text", "violin, viola, cello or bass"),
        Field("source", "text", "name of the file it was read from"),
        *_optional(
            ("deadline", "day", "day of the performance"),
        ),
    ),
    "shifts": (
        Field("key", "text", "made of the passage, the bar and the stops"),
        Field("passage", "text", "key of the passage"),
        Field("number", "whole", "number in the passage, from 1"),
        Field("measure", "text", "bar of the arrival, as printed"),
        Field("direction", "text", "up or down"),
        Field("relation", "text", "how arrival finger and departure finger stand to each other"),
        Field("crossing", "yes/no", "the shift crosses to another string"),
        Field("cover", "text", "what lies between: none, rest, open, harmonic"),
        Field("interval", "text", "written interval, like +P5"),
        Field("departure_pitch", "text", "departure note"),
        Field("departure_finger", "text", "its finger, T for the thumb"),
        Field("departure_string", "whole", "its string"),
        Field("departure_place", "whole", "semitones above the open string"),
        Field("arrival_pitch", "text", "arrival note"),
        Field("arrival_finger", "text", "its finger"),
        Field("string", "whole", "string of arrival"),
        Field("place", "whole", "semitones above the open string"),
        Field("from_position", "text", "position left"),
        Field("to_position", "text", "position reached"),
        *_optional(
            ("guide_finger", "text", "the finger that carries the hand"),
        ),
        Field("travel_mm", "number", "its way, + towards the bridge"),
        Field("length_mm", "number", "vibrating length of the string"),
    ),
    "takes": (
        Field("id", "text", "number of the take"),
        Field("player", "text", "key of the player"),
        Field("passage", "text", "key of the passage"),
        *_optional(
            ("shift", "text", "key of the shift it was recorded for; empty for a run through the passage"),
        ),
        Field("recorded_at_s", "number", "start of the recording, seconds since 1970-01-01 UTC"),
        Field("utc_offset_s", "whole", "the player's clock less UTC"),
        Field("duration_s", "number", "length"),
        Field("sample_rate_hz", "whole", "samples a second"),
        Field("sha256", "text", "digest of the sound file"),
        *_optional(
            ("file", "text", "its name among the takes; empty where the sound was not kept"),
        ),
        Field("original_name", "text", "name of the file it came from"),
        Field("a4_hz", "number", "reference pitch in force"),
        Field("measure_version", "whole", "version of the measure when it was kept"),
        *_optional(
            (
                "expected",
                "text",
                "what the drill, or the run with its line, said was coming, as JSON; for judging the take again",
            ),
        ),
    ),
    "attempts": (
        Field("take", "text", "number of the take"),
        Field("number", "whole", "number in the take, from 1"),
        Field("shift", "text", "key of the shift"),
        Field("at_s", "number", "start of the attempt, seconds since 1970-01-01 UTC"),
        Field("day", "day", "local day, from 04:00"),
        Field("day_order", "whole", "1 for the first attempt at this shift on its day"),
        Field("cold", "yes/no", "a cold attempt"),
        *_optional(
            ("own_ear", "text", "high, low or true, said by the player before being told"),
        ),
        Field("struck_out", "yes/no", "struck out: it counts nowhere"),
        *_MEASURED,
    ),
    "strikes": (
        Field("take", "text", "number of the take"),
        Field("number", "whole", "number of the attempt in it"),
        Field("at_s", "number", "when, seconds since 1970-01-01 UTC"),
        Field("struck", "yes/no", "yes: struck out, no: put back"),
        Field("why", "text", "the reason given"),
    ),
    "rejudged": (
        Field("take", "text", "number of the take"),
        Field("number", "whole", "number of the attempt in it"),
        Field("judged_at_s", "number", "when, seconds since 1970-01-01 UTC"),
        *_MEASURED,
    ),
    "traces": (
        Field("take", "text", "number of the take"),
        Field("number", "whole", "number of the attempt in it"),
        Field("measure_version", "whole", "version of the measure that made it"),
        Field("times_s", "numbers", "times from the start of the take"),
        Field("cents", "numbers", "pitch at these times, cents above the target"),
    ),
}
