"""Names of drafts may be as long as those of results of a dossier with a long id."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("draft") as table:
        table.alter_column("name", existing_type=sa.String(64), type_=sa.String(200),
                           existing_nullable=False)
