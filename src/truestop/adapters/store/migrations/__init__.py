"""How the record's tables came to be, one migration after another; run by Alembic when a record is opened."""
