"""Find a change by its time, what took a reading's place, and a page of parts, without looking through all rows."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

# By table and column; most readings were neither retired nor take another's place.
WHOLE = (("part", "added_at"), ("reading", "logged_at"), ("replaced", "replaced_at"))
SPARSE = (("reading", "retired_at"), ("reading", "corrects_id"))
# Parts are listed by code point, as a file's names are kept anyway; a server keeps them in the order of its language.
BY_CODE_POINT = "ix_part_code_points"


def upgrade():
    for table, column in WHOLE:
        op.create_index(f"ix_{table}_{column}", table, [column])
    for table, column in SPARSE:
        known = sa.text(f"{column} IS NOT NULL")
        op.create_index(f"ix_{table}_{column}", table, [column], sqlite_where=known, postgresql_where=known)
    if op.get_bind().dialect.name == "postgresql":
        op.create_index(BY_CODE_POINT, "part", [sa.text('name COLLATE "C"')])


def downgrade():
    if op.get_bind().dialect.name == "postgresql":
        op.drop_index(BY_CODE_POINT, "part")
    for table, column in WHOLE + SPARSE:
        op.drop_index(f"ix_{table}_{column}", table)
