"""Drafts: forms that are filled in but not yet part of a dossier."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "draft",
        sa.Column("owner", sa.String(200), primary_key=True),
        sa.Column("name", sa.String(64), primary_key=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
    )
