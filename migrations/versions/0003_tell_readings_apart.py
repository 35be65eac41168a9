"""Tell readings apart: amplitude, which piece of several, bench session and its thermometer."""

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
    for name, kind in COLUMNS:
        op.add_column("reading", sa.Column(name, kind, nullable=True))


def downgrade():
    for name, _ in COLUMNS:
        op.drop_column("reading", name)
