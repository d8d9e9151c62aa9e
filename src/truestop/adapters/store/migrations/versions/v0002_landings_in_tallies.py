"""Tallies also hold how many landings count in bias and spread, their sum and the sum of their squares."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_COUNTING = (
    "attempt.player_row = tally.player_row AND attempt.shift_row = tally.shift_row AND attempt.day = tally.day"
    " AND NOT attempt.struck_out AND attempt.landing_cents IS NOT NULL"
    " AND attempt.stage IN ('plain', 'in time', 'in the passage', 'cold')"
    " AND attempt.verdict NOT IN ('unjudged', 'wrong note')"
)
_NUMBERS = {
    "landed": "count(*)",
    "landing_total": "coalesce(sum(landing_cents), 0.0)",
    "landing_squares": "coalesce(sum(landing_cents * landing_cents), 0.0)",
}


def upgrade() -> None:
    for name, kind in (("landed", sa.Integer), ("landing_total", sa.Float), ("landing_squares", sa.Float)):
        op.add_column("tally", sa.Column(name, kind(), nullable=False, server_default="0"))
    for name, number in _NUMBERS.items():
        op.execute(f"UPDATE tally SET {name} = (SELECT {number} FROM attempt WHERE {_COUNTING})")


def downgrade() -> None:
    for name in _NUMBERS:
        op.drop_column("tally", name)
