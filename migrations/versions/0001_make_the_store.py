"""Make the store: materials, parts, readings, fits, mountings."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "material",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("family", sa.String(length=120), nullable=False),
        sa.Column("hardness", sa.String(length=40), nullable=True),
        sa.Column("density_kg_m3", sa.Double(), nullable=True),
        sa.Column("glass_transition_c", sa.Double(), nullable=True),
        sa.Column("service_min_c", sa.Double(), nullable=True),
        sa.Column("service_max_c", sa.Double(), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_material")),
        sa.UniqueConstraint("name", name=op.f("uq_material_name")),
    )
    op.create_table(
        "mounting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("definition", sa.JSON(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mounting")),
        sa.UniqueConstraint("name", name=op.f("uq_mounting_name")),
    )
    op.create_table(
        "replaced",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=40), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_replaced")),
    )
    op.create_index("ix_replaced_record", "replaced", ["what", "record_id"])

    op.create_table(
        "fit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("program_version", sa.String(length=40), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=True),
        sa.Column("meta", sa.JSON(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("arrays", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["material_id"], ["material.id"], name=op.f("fk_fit_material_id_material")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fit")),
    )
    op.create_index("ix_fit_material_newest", "fit", ["material_id", "id"])

    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("form_kind", sa.String(length=40), nullable=False),
        sa.Column("form", sa.JSON(), nullable=False),
        sa.Column("thread", sa.String(length=120), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["material_id"], ["material.id"], name=op.f("fk_part_material_id_material")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part")),
        sa.UniqueConstraint("name", name=op.f("uq_part_name")),
    )
    op.create_index("ix_part_material_id", "part", ["material_id"])

    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("temperature_c", sa.Double(), nullable=False),
        sa.Column("temperature_sd_c", sa.Double(), nullable=True),
        sa.Column("soak_min", sa.Double(), nullable=True),
        sa.Column("seconds_out", sa.Double(), nullable=True),
        sa.Column("who", sa.String(length=120), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("axis", sa.String(length=120), nullable=True),
        sa.Column("squeeze_mm", sa.Double(), nullable=True),
        sa.Column("mass_kg", sa.Double(), nullable=True),
        sa.Column("frequency_hz", sa.Double(), nullable=True),
        sa.Column("frequency_sd_hz", sa.Double(), nullable=True),
        sa.Column("log_decrement", sa.Double(), nullable=True),
        sa.Column("log_decrement_sd", sa.Double(), nullable=True),
        sa.Column("half_power_width_hz", sa.Double(), nullable=True),
        sa.Column("amplification", sa.Double(), nullable=True),
        sa.Column("deflection_mm", sa.Double(), nullable=True),
        sa.Column("deflection_sd_mm", sa.Double(), nullable=True),
        sa.Column("dwell_s", sa.Double(), nullable=True),
        sa.Column("storage_mpa", sa.Double(), nullable=True),
        sa.Column("storage_sd", sa.Double(), nullable=True),
        sa.Column("loss_factor", sa.Double(), nullable=True),
        sa.Column("loss_factor_sd", sa.Double(), nullable=True),
        sa.Column("value", sa.String(length=40), nullable=True),
        sa.Column("logged_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("retired_why", sa.Text(), nullable=True),
        sa.CheckConstraint("(retired_at IS NULL) = (retired_why IS NULL)", name=op.f("ck_reading_retired")),
        sa.CheckConstraint("temperature_c > -273.15", name=op.f("ck_reading_temperature")),
        sa.ForeignKeyConstraint(["corrects_id"], ["reading.id"], name=op.f("fk_reading_corrects_id_reading")),
        sa.ForeignKeyConstraint(["material_id"], ["material.id"], name=op.f("fk_reading_material_id_material")),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_reading_part_id_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
    )
    op.create_index("ix_reading_material_active", "reading", ["material_id", "retired_at", "id"])
    op.create_index("ix_reading_part_active", "reading", ["part_id", "retired_at", "id"])

    op.create_table(
        "fit_reading",
        sa.Column("fit_id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["fit_id"], ["fit.id"], name=op.f("fk_fit_reading_fit_id_fit")),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"], name=op.f("fk_fit_reading_reading_id_reading")),
        sa.PrimaryKeyConstraint("fit_id", "reading_id", name=op.f("pk_fit_reading")),
    )
