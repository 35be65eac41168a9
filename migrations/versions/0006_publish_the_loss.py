"""Publish loss stiffness, what a squeeze does, and whether a row's fit is current."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

COLUMNS = ("loss_n_per_mm", "loss_low", "loss_high")
# As before this revision: what it goes back to.
BEFORE = """
SELECT p.name AS part, m.name AS material, s.axis, s.temperature_c, s.given_hz, s.given_kg, s.frequency_hz,
       s.stiffness_n_per_mm, s.stiffness_low, s.stiffness_high, s.damping_ratio, s.damping_low, s.damping_high,
       s.basis, s.extrapolated, s.fit_id,
       CASE WHEN coalesce(s.fit_id, 0) = (SELECT coalesce(max(n.id), 0) FROM fit n WHERE n.material_id = m.id)
            THEN 1 ELSE 0 END AS newest
FROM effective_stiffness s
JOIN part p ON p.id = s.part_id
JOIN material m ON m.id = p.material_id
"""
# DISTINCT lets every engine ask once a material, not once a row. Nothing is counted: numbers of readings only rise, and
# what changes a material's definition or its parts takes their rows away.
NOW = """
SELECT p.name AS part, n.material, s.axis, s.temperature_c, s.given_hz, s.given_kg, s.frequency_hz,
       s.stiffness_n_per_mm, s.stiffness_low, s.stiffness_high, s.damping_ratio, s.damping_low, s.damping_high,
       s.loss_n_per_mm, s.loss_low, s.loss_high, s.basis, s.extrapolated, s.fit_id,
       CASE WHEN coalesce(s.fit_id, 0) = n.fit_id THEN 1 ELSE 0 END AS newest,
       CASE WHEN coalesce(s.fit_id, 0) = n.fit_id AND n.knows_all = 1 THEN 1 ELSE 0 END AS is_current,
       2 AS table_version
FROM effective_stiffness s
JOIN part p ON p.id = s.part_id
JOIN (SELECT DISTINCT m.id AS material_id, m.name AS material, coalesce(f.id, 0) AS fit_id,
             CASE WHEN NOT EXISTS (SELECT 1 FROM reading r WHERE r.material_id = m.id AND r.retired_at IS NULL
                                   AND r.id > (SELECT coalesce(max(u.reading_id), 0) FROM fit_reading u
                                               WHERE u.fit_id = f.id))
                   AND NOT EXISTS (SELECT 1 FROM reading r WHERE r.material_id = m.id AND r.retired_at IS NOT NULL
                                   AND (r.retired_at > f.created_at
                                        OR EXISTS (SELECT 1 FROM fit_reading u
                                                   WHERE u.fit_id = f.id AND u.reading_id = r.id)))
                   AND NOT EXISTS (SELECT 1 FROM part a WHERE a.material_id = m.id AND a.added_at > f.created_at)
                  THEN 1 ELSE 0 END AS knows_all
      FROM material m
      LEFT JOIN fit f ON f.id = (SELECT max(n.id) FROM fit n WHERE n.material_id = m.id)) n
  ON n.material_id = p.material_id
"""
STEP = """
SELECT v.*,
       lead(v.temperature_c) OVER w AS next_c,
       lead(v.frequency_hz) OVER w AS next_hz,
       lead(v.stiffness_n_per_mm) OVER w AS next_stiffness,
       lead(v.damping_ratio) OVER w AS next_damping
FROM published_stiffness v
WINDOW w AS (PARTITION BY v.part, v.axis, v.given_hz, v.given_kg ORDER BY v.temperature_c)
"""
SQUEEZE = """
SELECT p.name AS part, q.axis, q.squeeze_mm, q.stiffness_factor
FROM squeeze_factor q
JOIN part p ON p.id = q.part_id
"""


def view(name, query):
    op.execute(sa.text(f"CREATE VIEW {name} AS{query.rstrip()}"))


def drop():
    for name in ("published_stiffness_step", "published_stiffness"):
        op.execute(sa.text(f"DROP VIEW {name}"))


def upgrade():
    drop()
    for name in COLUMNS:
        op.add_column("effective_stiffness", sa.Column(name, sa.Double(), nullable=True))
    op.create_table(
        "squeeze_factor",
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("axis", sa.String(length=120), nullable=False),
        sa.Column("squeeze_mm", sa.Double(), nullable=False),
        sa.Column("stiffness_factor", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_squeeze_factor_part_id_part")),
        sa.PrimaryKeyConstraint("part_id", "axis", "squeeze_mm", name=op.f("pk_squeeze_factor")),
    )
    view("published_stiffness", NOW)
    view("published_stiffness_step", STEP)
    view("published_squeeze", SQUEEZE)


def downgrade():
    drop()
    op.execute(sa.text("DROP VIEW published_squeeze"))
    op.drop_table("squeeze_factor")
    for name in COLUMNS:
        op.drop_column("effective_stiffness", name)
    view("published_stiffness", BEFORE)
    view("published_stiffness_step", STEP)
