"""What one piece of a part weighs and costs."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

COLUMNS = ("mass_kg", "price")


def upgrade():
    for name in COLUMNS:
        op.add_column("part", sa.Column(name, sa.Double(), nullable=True))


def downgrade():
    for name in COLUMNS:
        op.drop_column("part", name)
