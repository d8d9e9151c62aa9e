"""Attempts, and judgements of them made anew, also hold both notes of a double stop."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for table in ("attempt", "rejudged"):
        op.add_column(table, sa.Column("notes", sa.Text()))


def downgrade() -> None:
    for table in ("attempt", "rejudged"):
        op.drop_column(table, "notes")
