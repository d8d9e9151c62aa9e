"""The tables of the record.

Conventions: instants are seconds since 1970 UTC, days are ordinals of the local day, booleans are booleans, unknown is
NULL. ``row`` columns are the store's own numbers and never leave it; keys and take ids do. Changing a table means a new
migration beside this file.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

player = Table(
    "player",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("key", String(80), nullable=False, unique=True),
    Column("name", Text, nullable=False),
)

passage = Table(
    "passage",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("key", String(80), nullable=False, unique=True),
    Column("title", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("instrument", String(20), nullable=False),
    Column("source", Text, nullable=False),
    Column("deadline", Integer),
)

shift = Table(
    "shift",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("key", String(80), nullable=False, unique=True),
    Column("passage_row", ForeignKey("passage.row", ondelete="CASCADE"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("measure", String(20), nullable=False),
    Column("direction", String(8), nullable=False),
    Column("relation", String(20), nullable=False),
    Column("crossing", Boolean, nullable=False),
    Column("cover", String(12), nullable=False),
    Column("interval", String(12), nullable=False),
    Column("departure_pitch", String(8), nullable=False),
    Column("departure_finger", String(2), nullable=False),
    Column("departure_string", Integer, nullable=False),
    Column("departure_place", Integer, nullable=False),
    Column("arrival_pitch", String(8), nullable=False),
    Column("arrival_finger", String(2), nullable=False),
    Column("string", Integer, nullable=False),
    Column("place", Integer, nullable=False),
    Column("from_position", String(30), nullable=False),
    Column("to_position", String(30), nullable=False),
    Column("guide_finger", String(2)),
    Column("travel_mm", Float, nullable=False),
    Column("length_mm", Float, nullable=False),
)

take = Table(
    "take",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("id", String(40), nullable=False, unique=True),
    Column("player_row", ForeignKey("player.row", ondelete="CASCADE"), nullable=False),
    Column("passage_row", ForeignKey("passage.row", ondelete="CASCADE"), nullable=False),
    Column("shift", String(80), nullable=False),
    Column("recorded_at_s", Float, nullable=False),
    Column("utc_offset_s", Integer, nullable=False),
    Column("day", Integer, nullable=False),
    Column("duration_s", Float, nullable=False),
    Column("sample_rate_hz", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("file", Text),
    Column("original_name", Text, nullable=False),
    Column("a4_hz", Float, nullable=False),
    Column("measure_version", Integer, nullable=False),
    Column("expected", Text),
    UniqueConstraint("player_row", "passage_row", "shift", "sha256", name="one_record_of_a_recording"),
    Index("takes_by_day", "player_row", "day"),
)


#: Measured numbers that may be unknown, named as in Attempt.
MEASURED_NUMBERS = (
    "landing_cents",
    "landing_se_cents",
    "landing_mm",
    "departure_cents",
    "departure_se_cents",
    "interval_error_cents",
    "interval_error_se_cents",
    "settled_cents",
    "correction_cents",
    "overshoot_cents",
    "guide_landing_cents",
    "slide_s",
    "timing_s",
)


def _measured_columns() -> list[Column[object]]:
    """The columns of domain.attempt.Attempt, the shift and the trace left out; fresh objects for every table."""
    columns: list[Column[object]] = [
        Column("start_s", Float, nullable=False),
        Column("end_s", Float, nullable=False),
        Column("departure_s", Float),
        Column("arrival_s", Float),
        Column("target_pitch", String(8), nullable=False),
        Column("target_hz", Float, nullable=False),
        Column("target_system", Text, nullable=False),
        Column("target_reference", Text),
        Column("target_string", Integer, nullable=False),
        Column("target_place", Integer, nullable=False),
        Column("verdict", String(12), nullable=False),
        Column("faults", Text),
        Column("reason", Text),
        Column("borderline", Boolean, nullable=False),
        *(Column(name, Float) for name in MEASURED_NUMBERS),
        Column("stops", Integer, nullable=False),
        Column("reversals", Integer, nullable=False),
        Column("vibrato_present", Boolean, nullable=False),
        Column("vibrato_rate_hz", Float),
        Column("vibrato_extent_cents", Float),
        Column("tolerance_cents", Float, nullable=False),
        Column("measure_version", Integer, nullable=False),
        Column("notes", Text),
    ]
    return columns


attempt = Table(
    "attempt",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("take_row", ForeignKey("take.row", ondelete="CASCADE"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("player_row", ForeignKey("player.row", ondelete="CASCADE"), nullable=False),
    Column("shift_row", ForeignKey("shift.row", ondelete="CASCADE"), nullable=False),
    Column("stage", String(20), nullable=False),
    Column("at_s", Float, nullable=False),
    Column("day", Integer, nullable=False),
    Column("day_order", Integer, nullable=False),
    Column("cold", Boolean, nullable=False),
    Column("own_ear", String(8)),
    Column("struck_out", Boolean, nullable=False),
    *_measured_columns(),
    UniqueConstraint("take_row", "number", name="one_number_in_a_take"),
    Index("attempts_at_a_shift", "shift_row", "player_row", "day"),
)

trace = Table(
    "trace",
    metadata,
    Column("attempt_row", ForeignKey("attempt.row", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("measure_version", Integer, primary_key=True, autoincrement=False),
    Column("points", LargeBinary, nullable=False),
)

strike = Table(
    "strike",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("attempt_row", ForeignKey("attempt.row", ondelete="CASCADE"), nullable=False, index=True),
    Column("at_s", Float, nullable=False),
    Column("struck", Boolean, nullable=False),
    Column("why", Text, nullable=False),
)

rejudged = Table(
    "rejudged",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("attempt_row", ForeignKey("attempt.row", ondelete="CASCADE"), nullable=False),
    Column("judged_at_s", Float, nullable=False),
    Column("stage", String(20), nullable=False),
    *_measured_columns(),
    UniqueConstraint("attempt_row", "measure_version", name="one_judgement_a_version"),
)

tally = Table(
    "tally",
    metadata,
    Column("player_row", ForeignKey("player.row", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("shift_row", ForeignKey("shift.row", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("day", Integer, primary_key=True, autoincrement=False),
    Column("touches", Integer, nullable=False),
    Column("judged", Integer, nullable=False),
    Column("true_landings", Integer, nullable=False),
    Column("corrected", Integer, nullable=False),
    Column("cold_judged", Integer, nullable=False),
    Column("cold_true", Integer, nullable=False),
    Column("landed", Integer, nullable=False, server_default="0"),
    Column("landing_total", Float, nullable=False, server_default="0"),
    Column("landing_squares", Float, nullable=False, server_default="0"),
    Index("tallies_of_a_shift", "shift_row"),
)
