"""First schema: dossiers, their events, and the log of the store."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "dossier",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("state", sa.String(32), nullable=False),
        sa.Column("trials", sa.Integer, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("updated", sa.String(40), nullable=False),
        sa.Column("facts", sa.Text, nullable=False),
    )
    op.create_table(
        "audit_event",
        sa.Column("dossier_id", sa.String(64), sa.ForeignKey("dossier.id"), primary_key=True),
        sa.Column("seq", sa.Integer, primary_key=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("kind", sa.String(64), nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("previous_hash", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
    )
    op.create_table(
        "store_log",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("what", sa.String(64), nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
    )
