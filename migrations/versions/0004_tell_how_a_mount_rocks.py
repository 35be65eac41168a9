"""Readings of a whole mount that rocks: how far its parts stand apart, and how its mass lies."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

COLUMNS = ("spacing_mm", "gyration_mm", "centre_above_mm")


def upgrade():
    for name in COLUMNS:
        op.add_column("reading", sa.Column(name, sa.Double(), nullable=True))


def downgrade():
    for name in COLUMNS:
        op.drop_column("reading", name)
