"""Blobs, every version of every job, every version of every book entry."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "blobs",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "job_versions",
        sa.Column("job_id", sa.String(80), primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("basis", sa.Integer, nullable=False),
        sa.Column("saved_at", sa.String(32), nullable=False),
        sa.Column("changed", sa.Text, nullable=False),
        sa.Column("document", sa.Text, nullable=False),
    )
    op.create_table(
        "book_versions",
        sa.Column("book", sa.String(16), primary_key=True),
        sa.Column("entry_id", sa.String(80), primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("saved_at", sa.String(32), nullable=False),
        sa.Column("document", sa.Text, nullable=False),
    )
