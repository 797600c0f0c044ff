"""The book: sites, entries, assets, people, instruments, limit sets and jobs.

Why: the first revision.
Existing rows: there are none.
Downgrade: drops everything; it cannot bring the history back.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations import guards

revision = "0001_the_book"
down_revision = None
branch_labels = None
depends_on = None

KEYS = {
    "site": ["id = NEW.id", "code = NEW.code"],
    "entry": ["number = NEW.number"],
    "site_version": ["entry = NEW.entry"],
    "imported_file": ["entry = NEW.entry"],
    "asset": ["id = NEW.id", "site_id = NEW.site_id AND tag = NEW.tag"],
    "asset_version": ["entry = NEW.entry"],
    "machine_break": ["entry = NEW.entry"],
    "person": ["id = NEW.id", "site_id = NEW.site_id AND name = NEW.name"],
    "person_version": ["entry = NEW.entry"],
    "instrument": ["id = NEW.id", "site_id = NEW.site_id AND serial = NEW.serial"],
    "instrument_version": ["entry = NEW.entry"],
    "limit_set": ["id = NEW.id", "site_id = NEW.site_id AND name = NEW.name"],
    "limit_version": ["entry = NEW.entry", "limit_set_id = NEW.limit_set_id AND version = NEW.version"],
    "limit_row": ["entry = NEW.entry AND row_no = NEW.row_no"],
    "job": [
        "entry = NEW.entry",
        "supersedes IS NULL AND NEW.supersedes IS NULL AND site_id = NEW.site_id AND ref = NEW.ref",
        "supersedes IS NOT NULL AND supersedes = NEW.supersedes",
    ],
}
"""Tables that are guarded, and under which conditions a new row would replace one."""


def upgrade() -> None:
    """Create the tables and their guards."""
    guards.create_function()
    op.create_table(
        "site",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_site"),
        sa.UniqueConstraint("code", name="uq_site_code"),
    )
    op.create_table(
        "entry",
        sa.Column("number", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.String(length=120), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("subject", sa.BigInteger(), nullable=False),
        sa.Column("supersedes", sa.BigInteger(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("batch", sa.BigInteger(), nullable=True),
        sa.Column("line", sa.String(length=60), nullable=True),
        sa.Column("leaf", sa.LargeBinary(length=32), nullable=True),
        sa.CheckConstraint("number > 0", name=op.f("ck_entry_number")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_entry_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("number", name="pk_entry"),
    )
    op.create_table(
        "asset",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=80), nullable=False),
        sa.ForeignKeyConstraint(["id"], ["entry.number"], name="fk_asset_id_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_asset_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_asset"),
        sa.UniqueConstraint("site_id", "tag", name="uq_asset_site_id_tag"),
    )
    op.create_table(
        "imported_file",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("rows_read", sa.Integer(), nullable=False),
        sa.Column("rows_taken", sa.Integer(), nullable=False),
        sa.Column("rows_refused", sa.Integer(), nullable=False),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_imported_file_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_imported_file_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_imported_file"),
    )
    op.create_table(
        "instrument",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=80), nullable=False),
        sa.ForeignKeyConstraint(["id"], ["entry.number"], name="fk_instrument_id_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_instrument_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_instrument"),
        sa.UniqueConstraint("site_id", "serial", name="uq_instrument_site_id_serial"),
    )
    op.create_table(
        "limit_set",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["id"], ["entry.number"], name="fk_limit_set_id_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_limit_set_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_limit_set"),
        sa.UniqueConstraint("site_id", "name", name="uq_limit_set_site_id_name"),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["id"], ["entry.number"], name="fk_person_id_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_person_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name="pk_person"),
        sa.UniqueConstraint("site_id", "name", name="uq_person_site_id_name"),
    )
    op.create_table(
        "site_version",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("length_unit", sa.String(length=8), nullable=False),
        sa.Column("temperature_unit", sa.String(length=8), nullable=False),
        sa.Column("interval_months", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_site_version_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_site_version_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_site_version"),
    )
    op.create_table(
        "asset_version",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("asset_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("valid_from", sa.String(length=10), nullable=True),
        sa.Column("tag", sa.String(length=80), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("area", sa.String(length=120), nullable=False),
        sa.Column("train", sa.String(length=120), nullable=False),
        sa.Column("driven", sa.String(length=120), nullable=False),
        sa.Column("driver", sa.String(length=120), nullable=False),
        sa.Column("coupling", sa.String(length=40), nullable=False),
        sa.Column("span_mm", sa.Double(), nullable=True),
        sa.Column("speed_rpm", sa.Double(), nullable=True),
        sa.Column("speed_max_rpm", sa.Double(), nullable=True),
        sa.Column("power_kw", sa.Double(), nullable=True),
        sa.Column("criticality", sa.String(length=40), nullable=False),
        sa.Column("equipment_class", sa.String(length=40), nullable=False),
        sa.Column("feet_movable_mm", sa.Text(), nullable=False),
        sa.Column("feet_stationary_mm", sa.Text(), nullable=False),
        sa.Column("commissioned", sa.String(length=10), nullable=True),
        sa.Column("retired", sa.String(length=10), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["asset_id"], ["asset.id"], name="fk_asset_version_asset_id_asset", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_asset_version_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_asset_version_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_asset_version"),
    )
    op.create_index("ix_asset_version_asset_id", "asset_version", ["asset_id"], unique=False)
    op.create_table(
        "instrument_version",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("serial", sa.String(length=80), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("calibrated", sa.String(length=10), nullable=True),
        sa.Column("due", sa.String(length=10), nullable=True),
        sa.ForeignKeyConstraint(
            ["entry"], ["entry.number"], name="fk_instrument_version_entry_entry", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name="fk_instrument_version_instrument_id_instrument",
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id"], ["site.id"], name="fk_instrument_version_site_id_site", ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("entry", name="pk_instrument_version"),
    )
    op.create_index("ix_instrument_version_instrument_id", "instrument_version", ["instrument_id"], unique=False)
    op.create_table(
        "limit_version",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("limit_set_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("adopted_by", sa.String(length=120), nullable=False),
        sa.Column("adopted_on", sa.String(length=10), nullable=False),
        sa.Column("starter", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_limit_version_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["limit_set_id"], ["limit_set.id"], name="fk_limit_version_limit_set_id_limit_set", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_limit_version_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_limit_version"),
        sa.UniqueConstraint("limit_set_id", "version", name="uq_limit_version_limit_set_id_version"),
    )
    op.create_table(
        "machine_break",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("asset_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("on_day", sa.String(length=10), nullable=False),
        sa.Column("part", sa.String(length=40), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["asset_id"], ["asset.id"], name="fk_machine_break_asset_id_asset", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_machine_break_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_machine_break_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_machine_break"),
    )
    op.create_index("ix_machine_break_asset_id", "machine_break", ["asset_id"], unique=False)
    op.create_table(
        "person_version",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("qualification", sa.Text(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_person_version_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name="fk_person_version_person_id_person", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_person_version_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_person_version"),
    )
    op.create_index("ix_person_version_person_id", "person_version", ["person_id"], unique=False)
    op.create_table(
        "job",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.BigInteger(), nullable=False),
        sa.Column("asset_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("supersedes", sa.BigInteger(), nullable=True),
        sa.Column("void", sa.Boolean(), nullable=False),
        sa.Column("ref", sa.String(length=120), nullable=False),
        sa.Column("performed_us", sa.BigInteger(), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("reason", sa.String(length=40), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("people", sa.Text(), nullable=False),
        sa.Column("instrument_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("work_order", sa.String(length=120), nullable=False),
        sa.Column("found_offset_v", sa.Double(), nullable=True),
        sa.Column("found_angle_v", sa.Double(), nullable=True),
        sa.Column("found_offset_h", sa.Double(), nullable=True),
        sa.Column("found_angle_h", sa.Double(), nullable=True),
        sa.Column("left_offset_v", sa.Double(), nullable=True),
        sa.Column("left_angle_v", sa.Double(), nullable=True),
        sa.Column("left_offset_h", sa.Double(), nullable=True),
        sa.Column("left_angle_h", sa.Double(), nullable=True),
        sa.Column("target_offset_v", sa.Double(), nullable=False),
        sa.Column("target_angle_v", sa.Double(), nullable=False),
        sa.Column("target_offset_h", sa.Double(), nullable=False),
        sa.Column("target_angle_h", sa.Double(), nullable=False),
        sa.Column("soft_before", sa.Text(), nullable=False),
        sa.Column("soft_after", sa.Text(), nullable=False),
        sa.Column("moves_v", sa.Text(), nullable=False),
        sa.Column("moves_h", sa.Text(), nullable=False),
        sa.Column("temp_stationary_c", sa.Double(), nullable=True),
        sa.Column("temp_movable_c", sa.Double(), nullable=True),
        sa.Column("temp_ambient_c", sa.Double(), nullable=True),
        sa.Column("hours_run", sa.Double(), nullable=True),
        sa.Column("checks", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("reviewer", sa.String(length=120), nullable=False),
        sa.Column("speed_rpm", sa.Double(), nullable=True),
        sa.Column("coupling", sa.String(length=40), nullable=False),
        sa.Column("span_mm", sa.Double(), nullable=True),
        sa.Column("limit_entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("limit_offset_mm", sa.Double(), nullable=True),
        sa.Column("limit_angle_mm_m", sa.Double(), nullable=True),
        sa.Column("limit_flex_mm_m", sa.Double(), nullable=True),
        sa.Column("limit_soft_mm", sa.Double(), nullable=True),
        sa.Column("limit_each_axis", sa.Boolean(), nullable=False),
        sa.Column("found_ratio", sa.Double(), nullable=True),
        sa.Column("left_ratio", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(length=32), nullable=False),
        sa.CheckConstraint("found_offset_v IS NOT NULL OR left_offset_v IS NOT NULL", name=op.f("ck_job_measured")),
        sa.ForeignKeyConstraint(["asset_id"], ["asset.id"], name="fk_job_asset_id_asset", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_job_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name="fk_job_instrument_id_instrument", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["limit_entry"], ["limit_version.entry"], name="fk_job_limit_entry_limit_version", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_job_person_id_person", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_job_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_job"),
    )
    op.create_index("ix_job_asset_id_performed_us", "job", ["asset_id", "performed_us"], unique=False)
    op.create_index(
        "uq_job_site_id_ref",
        "job",
        ["site_id", "ref"],
        unique=True,
        sqlite_where=sa.text("supersedes IS NULL"),
        postgresql_where=sa.text("supersedes IS NULL"),
    )
    op.create_index(
        "uq_job_supersedes",
        "job",
        ["supersedes"],
        unique=True,
        sqlite_where=sa.text("supersedes IS NOT NULL"),
        postgresql_where=sa.text("supersedes IS NOT NULL"),
    )
    op.create_table(
        "limit_row",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("row_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("judged", sa.String(length=40), nullable=False),
        sa.Column("coupling", sa.String(length=40), nullable=True),
        sa.Column("above_rpm", sa.Double(), nullable=False),
        sa.Column("upto_rpm", sa.Double(), nullable=True),
        sa.Column("limit_value", sa.Double(), nullable=True),
        sa.Column("per_rpm", sa.Double(), nullable=True),
        sa.Column("floor_rpm", sa.Double(), nullable=False),
        sa.Column("combine", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry"], ["limit_version.entry"], name="fk_limit_row_entry_limit_version", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_limit_row_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", "row_no", name="pk_limit_row"),
    )
    for table, keys in KEYS.items():
        guards.create(table, keys)


def downgrade() -> None:
    """Drop everything."""
    for table in KEYS:
        guards.drop(table)
    op.drop_table("limit_row")
    op.drop_index(
        "uq_job_supersedes",
        table_name="job",
        sqlite_where=sa.text("supersedes IS NOT NULL"),
        postgresql_where=sa.text("supersedes IS NOT NULL"),
    )
    op.drop_index(
        "uq_job_site_id_ref",
        table_name="job",
        sqlite_where=sa.text("supersedes IS NULL"),
        postgresql_where=sa.text("supersedes IS NULL"),
    )
    op.drop_index("ix_job_asset_id_performed_us", table_name="job")
    op.drop_table("job")
    op.drop_index("ix_person_version_person_id", table_name="person_version")
    op.drop_table("person_version")
    op.drop_index("ix_machine_break_asset_id", table_name="machine_break")
    op.drop_table("machine_break")
    op.drop_table("limit_version")
    op.drop_index("ix_instrument_version_instrument_id", table_name="instrument_version")
    op.drop_table("instrument_version")
    op.drop_index("ix_asset_version_asset_id", table_name="asset_version")
    op.drop_table("asset_version")
    op.drop_table("site_version")
    op.drop_table("person")
    op.drop_table("limit_set")
    op.drop_table("instrument")
    op.drop_table("imported_file")
    op.drop_table("asset")
    op.drop_table("entry")
    op.drop_table("site")
    guards.drop_function()
