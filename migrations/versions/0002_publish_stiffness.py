"""Publish: a table of effective stiffness, and views for tools that only speak SQL."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

VIEWS = {
    "published_material": """
SELECT m.name AS material, m.family, m.hardness, m.density_kg_m3, m.glass_transition_c,
       m.service_min_c, m.service_max_c, m.source,
       (SELECT count(*) FROM reading r WHERE r.material_id = m.id AND r.retired_at IS NULL) AS readings,
       f.id AS fit_id, f.created_at AS fitted_at
FROM material m
LEFT JOIN fit f ON f.id = (SELECT max(n.id) FROM fit n WHERE n.material_id = m.id)
""",
    "published_part": """
SELECT p.name AS part, m.name AS material, p.form_kind AS form, CAST(p.form AS TEXT) AS dimensions, p.thread
FROM part p
JOIN material m ON m.id = p.material_id
""",
    "published_reading": """
SELECT r.id AS number, r.kind, m.name AS material, p.name AS part, r.temperature_c, r.temperature_sd_c, r.mass_kg,
       r."count", r.axis, r.squeeze_mm, r.frequency_hz, r.log_decrement, r.half_power_width_hz, r.amplification,
       r.deflection_mm, r.dwell_s, r.storage_mpa, r.loss_factor, r.value AS hardness, r.taken_at
FROM reading r
JOIN material m ON m.id = r.material_id
LEFT JOIN part p ON p.id = r.part_id
WHERE r.retired_at IS NULL
""",
    "published_stiffness": """
SELECT p.name AS part, m.name AS material, s.axis, s.temperature_c, s.given_hz, s.given_kg, s.frequency_hz,
       s.stiffness_n_per_mm, s.stiffness_low, s.stiffness_high, s.damping_ratio, s.damping_low, s.damping_high,
       s.basis, s.extrapolated, s.fit_id,
       CASE WHEN coalesce(s.fit_id, 0) = (SELECT coalesce(max(n.id), 0) FROM fit n WHERE n.material_id = m.id)
            THEN 1 ELSE 0 END AS newest
FROM effective_stiffness s
JOIN part p ON p.id = s.part_id
JOIN material m ON m.id = p.material_id
""",
    "published_stiffness_step": """
SELECT v.*,
       lead(v.temperature_c) OVER w AS next_c,
       lead(v.frequency_hz) OVER w AS next_hz,
       lead(v.stiffness_n_per_mm) OVER w AS next_stiffness,
       lead(v.damping_ratio) OVER w AS next_damping
FROM published_stiffness v
WINDOW w AS (PARTITION BY v.part, v.axis, v.given_hz, v.given_kg ORDER BY v.temperature_c)
""",
}


def upgrade():
    op.create_table(
        "effective_stiffness",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("axis", sa.String(length=120), nullable=False),
        sa.Column("temperature_c", sa.Double(), nullable=False),
        sa.Column("given_hz", sa.Double(), nullable=True),
        sa.Column("given_kg", sa.Double(), nullable=True),
        sa.Column("frequency_hz", sa.Double(), nullable=False),
        sa.Column("stiffness_n_per_mm", sa.Double(), nullable=False),
        sa.Column("stiffness_low", sa.Double(), nullable=False),
        sa.Column("stiffness_high", sa.Double(), nullable=False),
        sa.Column("damping_ratio", sa.Double(), nullable=False),
        sa.Column("damping_low", sa.Double(), nullable=False),
        sa.Column("damping_high", sa.Double(), nullable=False),
        sa.Column("basis", sa.String(length=40), nullable=False),
        sa.Column("extrapolated", sa.Integer(), nullable=False),
        sa.Column("fit_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("(given_hz IS NULL) <> (given_kg IS NULL)", name=op.f("ck_effective_stiffness_given")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_effective_stiffness_part_id_part")),
        sa.ForeignKeyConstraint(["fit_id"], ["fit.id"], name=op.f("fk_effective_stiffness_fit_id_fit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_effective_stiffness")),
    )
    state = ["part_id", "axis", "given_hz", "given_kg", "temperature_c"]
    op.create_index("ix_effective_stiffness_state", "effective_stiffness", state)
    for name, query in VIEWS.items():
        op.execute(sa.text(f"CREATE VIEW {name} AS{query.rstrip()}"))
