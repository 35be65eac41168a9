"""The schema as typed models: what the migrations must arrive at, and what every write goes through.

Reads do not come through here: see :mod:`matdb.store.connection`.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from matdb.bench.readings import Reading, reading_fields
from matdb.fields import FieldInfo, record_fields

#: Constraint names, so that a later migration can drop by name on every engine.
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Base of the models; its metadata is the schema."""

    metadata = sa.MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy's own class attribute
        dt.datetime: sa.DateTime(timezone=True),
        dict[str, Any]: sa.JSON(),
    }


class MaterialRow(Base):
    """A material."""

    __tablename__ = "material"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120), unique=True)
    family: Mapped[str] = mapped_column(sa.String(120))
    hardness: Mapped[str | None] = mapped_column(sa.String(40))
    density_kg_m3: Mapped[float | None] = mapped_column(sa.Double)
    glass_transition_c: Mapped[float | None] = mapped_column(sa.Double)
    relative_density: Mapped[float | None] = mapped_column(sa.Double)
    service_min_c: Mapped[float | None] = mapped_column(sa.Double)
    service_max_c: Mapped[float | None] = mapped_column(sa.Double)
    source: Mapped[str] = mapped_column(sa.Text)
    note: Mapped[str] = mapped_column(sa.Text)
    added_at: Mapped[dt.datetime]


class PartRow(Base):
    """A part: a form, as JSON with its kind beside it, made of a material."""

    __tablename__ = "part"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120), unique=True)
    material_id: Mapped[int] = mapped_column(sa.ForeignKey("material.id"), index=True)
    form_kind: Mapped[str] = mapped_column(sa.String(40))
    form: Mapped[dict[str, Any]]
    thread: Mapped[str | None] = mapped_column(sa.String(120))
    note: Mapped[str] = mapped_column(sa.Text)
    mass_kg: Mapped[float | None] = mapped_column(sa.Double)
    price: Mapped[float | None] = mapped_column(sa.Double)
    added_at: Mapped[dt.datetime] = mapped_column(index=True)


def _where_known(name: str, column: str) -> sa.Index:
    """An index of what most rows do not have."""
    known = sa.text(f"{column} IS NOT NULL")
    return sa.Index(name, column, sqlite_where=known, postgresql_where=known)


class ReadingRow(Base):
    """A reading of any kind: one column per field of every kind (below), NULL where a kind has no such field.

    Rows are written once. The only columns that ever change are ``retired_at`` and ``retired_why``, once.
    """

    __tablename__ = "reading"
    __table_args__ = (
        sa.CheckConstraint("temperature_c > -273.15", name="temperature"),
        sa.CheckConstraint("(retired_at IS NULL) = (retired_why IS NULL)", name="retired"),
        sa.Index("ix_reading_material_active", "material_id", "retired_at", "id"),
        sa.Index("ix_reading_part_active", "part_id", "retired_at", "id"),
        _where_known("ix_reading_retired_at", "retired_at"),
        _where_known("ix_reading_corrects_id", "corrects_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(sa.String(40))
    material_id: Mapped[int] = mapped_column(sa.ForeignKey("material.id"))
    part_id: Mapped[int | None] = mapped_column(sa.ForeignKey("part.id"))

    taken_at: Mapped[dt.datetime]
    logged_at: Mapped[dt.datetime] = mapped_column(index=True)
    corrects_id: Mapped[int | None] = mapped_column(sa.ForeignKey("reading.id"))
    retired_at: Mapped[dt.datetime | None]
    retired_why: Mapped[str | None] = mapped_column(sa.Text)


def _figure(each: FieldInfo, *, everywhere: bool) -> Any:
    """The column of a reading's field; NULL where a kind does not have it, or may lack it."""
    text = sa.String(each.longest) if each.longest <= 120 else sa.Text()
    kinds: dict[str, Any] = {"count": sa.Integer(), "name": sa.String(120), "shore": sa.String(40), "text": text}
    kind = kinds.get(each.dimension, sa.Double())
    return mapped_column(kind, nullable=not everywhere or not (each.needed or each.default is not None))


# The columns of the figures are the fields of the kinds of reading: a new field needs a migration, and nothing here.
for _each in reading_fields().values():
    if _each.group != "subject" and _each.name != "taken_at":
        setattr(ReadingRow, _each.name, _figure(_each, everywhere=_each.name in record_fields(Reading)))


class FitRow(Base):
    """A fit of a material: what came out, from which readings, by which program version."""

    __tablename__ = "fit"
    __table_args__ = (sa.Index("ix_fit_material_newest", "material_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    material_id: Mapped[int] = mapped_column(sa.ForeignKey("material.id"))
    created_at: Mapped[dt.datetime]
    program_version: Mapped[str] = mapped_column(sa.String(40))
    seed: Mapped[int | None] = mapped_column(sa.BigInteger)
    meta: Mapped[dict[str, Any]]
    fingerprint: Mapped[str] = mapped_column(sa.String(64))
    arrays: Mapped[bytes] = mapped_column(sa.LargeBinary)


class FitReadingRow(Base):
    """A reading that a fit used."""

    __tablename__ = "fit_reading"

    fit_id: Mapped[int] = mapped_column(sa.ForeignKey("fit.id"), primary_key=True)
    reading_id: Mapped[int] = mapped_column(sa.ForeignKey("reading.id"), primary_key=True)


class EffectiveStiffnessRow(Base):
    """Stiffness and damping ratio of a part at a temperature, computed for readers that only look up.

    Derived: it can be thrown away and computed again. A row holds at ``given_hz``, or under ``given_kg`` on one
    piece at the natural frequency; the other of the two is NULL.
    """

    __tablename__ = "effective_stiffness"
    __table_args__ = (
        sa.CheckConstraint("(given_hz IS NULL) <> (given_kg IS NULL)", name="given"),
        sa.Index("ix_effective_stiffness_state", "part_id", "axis", "given_hz", "given_kg", "temperature_c"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    part_id: Mapped[int] = mapped_column(sa.ForeignKey("part.id"))
    axis: Mapped[str] = mapped_column(sa.String(120))
    temperature_c: Mapped[float] = mapped_column(sa.Double)
    given_hz: Mapped[float | None] = mapped_column(sa.Double)
    given_kg: Mapped[float | None] = mapped_column(sa.Double)
    frequency_hz: Mapped[float] = mapped_column(sa.Double)
    stiffness_n_per_mm: Mapped[float] = mapped_column(sa.Double)
    stiffness_low: Mapped[float] = mapped_column(sa.Double)
    stiffness_high: Mapped[float] = mapped_column(sa.Double)
    damping_ratio: Mapped[float] = mapped_column(sa.Double)
    damping_low: Mapped[float] = mapped_column(sa.Double)
    damping_high: Mapped[float] = mapped_column(sa.Double)
    loss_n_per_mm: Mapped[float | None] = mapped_column(sa.Double)
    loss_low: Mapped[float | None] = mapped_column(sa.Double)
    loss_high: Mapped[float | None] = mapped_column(sa.Double)
    basis: Mapped[str] = mapped_column(sa.String(40))
    extrapolated: Mapped[int]
    fit_id: Mapped[int | None] = mapped_column(sa.ForeignKey("fit.id"))


class SqueezeFactorRow(Base):
    """How much stiffer than unsqueezed a part is, in storage and loss alike; derived as the table is."""

    __tablename__ = "squeeze_factor"

    part_id: Mapped[int] = mapped_column(sa.ForeignKey("part.id"), primary_key=True)
    axis: Mapped[str] = mapped_column(sa.String(120), primary_key=True)
    squeeze_mm: Mapped[float] = mapped_column(sa.Double, primary_key=True)
    stiffness_factor: Mapped[float] = mapped_column(sa.Double)


class MountingRow(Base):
    """A mounting: its definition as JSON."""

    __tablename__ = "mounting"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.String(120), unique=True)
    definition: Mapped[dict[str, Any]]
    added_at: Mapped[dt.datetime]


class ReplacedRow(Base):
    """What a material, a part or a mounting said before it was replaced."""

    __tablename__ = "replaced"
    __table_args__ = (sa.Index("ix_replaced_record", "what", "record_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str] = mapped_column(sa.String(40))
    record_id: Mapped[int]
    before: Mapped[dict[str, Any]]
    replaced_at: Mapped[dt.datetime] = mapped_column(index=True)
    why: Mapped[str] = mapped_column(sa.Text)
