"""The first record: players, passages, shifts, takes, attempts, traces, strikes, other judgements, daily tallies."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "passage",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("instrument", sa.String(length=20), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("deadline", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("row"),
        sa.UniqueConstraint("key"),
    )
    op.create_table(
        "player",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("row"),
        sa.UniqueConstraint("key"),
    )
    op.create_table(
        "shift",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("passage_row", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("measure", sa.String(length=20), nullable=False),
        sa.Column("direction", sa.String(length=8), nullable=False),
        sa.Column("relation", sa.String(length=20), nullable=False),
        sa.Column("crossing", sa.Boolean(), nullable=False),
        sa.Column("cover", sa.String(length=12), nullable=False),
        sa.Column("interval", sa.String(length=12), nullable=False),
        sa.Column("departure_pitch", sa.String(length=8), nullable=False),
        sa.Column("departure_finger", sa.String(length=2), nullable=False),
        sa.Column("departure_string", sa.Integer(), nullable=False),
        sa.Column("departure_place", sa.Integer(), nullable=False),
        sa.Column("arrival_pitch", sa.String(length=8), nullable=False),
        sa.Column("arrival_finger", sa.String(length=2), nullable=False),
        sa.Column("string", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("from_position", sa.String(length=30), nullable=False),
        sa.Column("to_position", sa.String(length=30), nullable=False),
        sa.Column("guide_finger", sa.String(length=2), nullable=True),
        sa.Column("travel_mm", sa.Float(), nullable=False),
        sa.Column("length_mm", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["passage_row"], ["passage.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("row"),
        sa.UniqueConstraint("key"),
    )
    with op.batch_alter_table("shift", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_shift_passage_row"), ["passage_row"], unique=False)

    op.create_table(
        "take",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("player_row", sa.Integer(), nullable=False),
        sa.Column("passage_row", sa.Integer(), nullable=False),
        sa.Column("shift", sa.String(length=80), nullable=False),
        sa.Column("recorded_at_s", sa.Float(), nullable=False),
        sa.Column("utc_offset_s", sa.Integer(), nullable=False),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("duration_s", sa.Float(), nullable=False),
        sa.Column("sample_rate_hz", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file", sa.Text(), nullable=True),
        sa.Column("original_name", sa.Text(), nullable=False),
        sa.Column("a4_hz", sa.Float(), nullable=False),
        sa.Column("measure_version", sa.Integer(), nullable=False),
        sa.Column("expected", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["passage_row"], ["passage.row"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["player_row"], ["player.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("row"),
        sa.UniqueConstraint("id"),
        sa.UniqueConstraint("player_row", "passage_row", "shift", "sha256", name="one_record_of_a_recording"),
    )
    with op.batch_alter_table("take", schema=None) as batch_op:
        batch_op.create_index("takes_by_day", ["player_row", "day"], unique=False)

    op.create_table(
        "attempt",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("take_row", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("player_row", sa.Integer(), nullable=False),
        sa.Column("shift_row", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("day_order", sa.Integer(), nullable=False),
        sa.Column("cold", sa.Boolean(), nullable=False),
        sa.Column("own_ear", sa.String(length=8), nullable=True),
        sa.Column("struck_out", sa.Boolean(), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("departure_s", sa.Float(), nullable=True),
        sa.Column("arrival_s", sa.Float(), nullable=True),
        sa.Column("target_pitch", sa.String(length=8), nullable=False),
        sa.Column("target_hz", sa.Float(), nullable=False),
        sa.Column("target_system", sa.Text(), nullable=False),
        sa.Column("target_reference", sa.Text(), nullable=True),
        sa.Column("target_string", sa.Integer(), nullable=False),
        sa.Column("target_place", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=12), nullable=False),
        sa.Column("faults", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("borderline", sa.Boolean(), nullable=False),
        sa.Column("landing_cents", sa.Float(), nullable=True),
        sa.Column("landing_se_cents", sa.Float(), nullable=True),
        sa.Column("landing_mm", sa.Float(), nullable=True),
        sa.Column("departure_cents", sa.Float(), nullable=True),
        sa.Column("departure_se_cents", sa.Float(), nullable=True),
        sa.Column("interval_error_cents", sa.Float(), nullable=True),
        sa.Column("interval_error_se_cents", sa.Float(), nullable=True),
        sa.Column("settled_cents", sa.Float(), nullable=True),
        sa.Column("correction_cents", sa.Float(), nullable=True),
        sa.Column("overshoot_cents", sa.Float(), nullable=True),
        sa.Column("guide_landing_cents", sa.Float(), nullable=True),
        sa.Column("slide_s", sa.Float(), nullable=True),
        sa.Column("timing_s", sa.Float(), nullable=True),
        sa.Column("stops", sa.Integer(), nullable=False),
        sa.Column("reversals", sa.Integer(), nullable=False),
        sa.Column("vibrato_present", sa.Boolean(), nullable=False),
        sa.Column("vibrato_rate_hz", sa.Float(), nullable=True),
        sa.Column("vibrato_extent_cents", sa.Float(), nullable=True),
        sa.Column("tolerance_cents", sa.Float(), nullable=False),
        sa.Column("measure_version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["player_row"], ["player.row"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["shift_row"], ["shift.row"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["take_row"], ["take.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("row"),
        sa.UniqueConstraint("take_row", "number", name="one_number_in_a_take"),
    )
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.create_index("attempts_at_a_shift", ["shift_row", "player_row", "day"], unique=False)

    op.create_table(
        "tally",
        sa.Column("player_row", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("shift_row", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("touches", sa.Integer(), nullable=False),
        sa.Column("judged", sa.Integer(), nullable=False),
        sa.Column("true_landings", sa.Integer(), nullable=False),
        sa.Column("corrected", sa.Integer(), nullable=False),
        sa.Column("cold_judged", sa.Integer(), nullable=False),
        sa.Column("cold_true", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["player_row"], ["player.row"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["shift_row"], ["shift.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("player_row", "shift_row", "day"),
    )
    with op.batch_alter_table("tally", schema=None) as batch_op:
        batch_op.create_index("tallies_of_a_shift", ["shift_row"], unique=False)

    op.create_table(
        "rejudged",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("attempt_row", sa.Integer(), nullable=False),
        sa.Column("judged_at_s", sa.Float(), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("departure_s", sa.Float(), nullable=True),
        sa.Column("arrival_s", sa.Float(), nullable=True),
        sa.Column("target_pitch", sa.String(length=8), nullable=False),
        sa.Column("target_hz", sa.Float(), nullable=False),
        sa.Column("target_system", sa.Text(), nullable=False),
        sa.Column("target_reference", sa.Text(), nullable=True),
        sa.Column("target_string", sa.Integer(), nullable=False),
        sa.Column("target_place", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=12), nullable=False),
        sa.Column("faults", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("borderline", sa.Boolean(), nullable=False),
        sa.Column("landing_cents", sa.Float(), nullable=True),
        sa.Column("landing_se_cents", sa.Float(), nullable=True),
        sa.Column("landing_mm", sa.Float(), nullable=True),
        sa.Column("departure_cents", sa.Float(), nullable=True),
        sa.Column("departure_se_cents", sa.Float(), nullable=True),
        sa.Column("interval_error_cents", sa.Float(), nullable=True),
        sa.Column("interval_error_se_cents", sa.Float(), nullable=True),
        sa.Column("settled_cents", sa.Float(), nullable=True),
        sa.Column("correction_cents", sa.Float(), nullable=True),
        sa.Column("overshoot_cents", sa.Float(), nullable=True),
        sa.Column("guide_landing_cents", sa.Float(), nullable=True),
        sa.Column("slide_s", sa.Float(), nullable=True),
        sa.Column("timing_s", sa.Float(), nullable=True),
        sa.Column("stops", sa.Integer(), nullable=False),
        sa.Column("reversals", sa.Integer(), nullable=False),
        sa.Column("vibrato_present", sa.Boolean(), nullable=False),
        sa.Column("vibrato_rate_hz", sa.Float(), nullable=True),
        sa.Column("vibrato_extent_cents", sa.Float(), nullable=True),
        sa.Column("tolerance_cents", sa.Float(), nullable=False),
        sa.Column("measure_version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["attempt_row"], ["attempt.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("row"),
        sa.UniqueConstraint("attempt_row", "measure_version", name="one_judgement_a_version"),
    )
    op.create_table(
        "strike",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("attempt_row", sa.Integer(), nullable=False),
        sa.Column("at_s", sa.Float(), nullable=False),
        sa.Column("struck", sa.Boolean(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["attempt_row"], ["attempt.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("row"),
    )
    with op.batch_alter_table("strike", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_strike_attempt_row"), ["attempt_row"], unique=False)

    op.create_table(
        "trace",
        sa.Column("attempt_row", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("measure_version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("points", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["attempt_row"], ["attempt.row"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("attempt_row", "measure_version"),
    )


def downgrade() -> None:
    op.drop_table("trace")
    with op.batch_alter_table("strike", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_strike_attempt_row"))

    op.drop_table("strike")
    op.drop_table("rejudged")
    with op.batch_alter_table("tally", schema=None) as batch_op:
        batch_op.drop_index("tallies_of_a_shift")

    op.drop_table("tally")
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.drop_index("attempts_at_a_shift")

    op.drop_table("attempt")
    with op.batch_alter_table("take", schema=None) as batch_op:
        batch_op.drop_index("takes_by_day")

    op.drop_table("take")
    with op.batch_alter_table("shift", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_shift_passage_row"))

    op.drop_table("shift")
    op.drop_table("player")
    op.drop_table("passage")
