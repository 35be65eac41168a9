"""Find the rows of a change by its time, and what took a reading's place, without looking through all rows."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

# By table and column; most readings were neither retired nor take another's place.
WHOLE = (("part", "added_at"), ("reading", "logged_at"), ("replaced", "replaced_at"))
SPARSE = (("reading", "retired_at"), ("reading", "corrects_id"))


def upgrade():
    for table, column in WHOLE:
        op.create_index(f"ix_{table}_{column}", table, [column])
    for table, column in SPARSE:
        known = sa.text(f"{column} IS NOT NULL")
        op.create_index(f"ix_{table}_{column}", table, [column], sqlite_where=known, postgresql_where=known)


def downgrade():
    for table, column in WHOLE + SPARSE:
        op.drop_index(f"ix_{table}_{column}", table)
