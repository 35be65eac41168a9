"""Tell readings apart: amplitude, which piece of several, bench session and its thermometer; foams by their density."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

COLUMNS = (
    ("session", sa.String(120)),
    ("thermometer_sd_k", sa.Double()),
    ("amplitude_mm", sa.Double()),
    ("piece", sa.Integer()),
)


def upgrade():
    op.add_column("material", sa.Column("relative_density", sa.Double(), nullable=True))
    for name, kind in COLUMNS:
        op.add_column("reading", sa.Column(name, kind, nullable=True))


def downgrade():
    op.drop_column("material", "relative_density")
    for name, _ in COLUMNS:
        op.drop_column("reading", name)
