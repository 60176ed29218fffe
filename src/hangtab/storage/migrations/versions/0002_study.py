"""A table for back-tests.

Frozen: what a later layout changes stands in a later revision, never here.
"""

from __future__ import annotations

from alembic import op
from sqlalchemy import Column

from hangtab.storage.columns import Bytes, Count, Instant, Json, Words

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; what is in the book stays as it is."""
    op.create_table(
        "study",
        Column("id", Count, primary_key=True, autoincrement=False, nullable=False),
        Column("key", Words, nullable=False),
        Column("made", Instant, nullable=False),
        Column("summary", Json, nullable=False),
        Column("rows", Bytes, nullable=False),
        sqlite_strict=True,
    )
