"""Nodes: how each is set up, who may publish, calibrations, and how other makers' payloads are read."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "node",
        sa.Column("place", sa.String(), primary_key=True),
        sa.Column("node", sa.String(), primary_key=True),
        sa.Column("hook", sa.String(), nullable=False),
        sa.Column("temp_error_c", sa.Double()),
        sa.Column("rh_error_pct", sa.Double()),
        sa.Column("battery_low_v", sa.Double()),
    )
    op.create_table(
        "mqtt_account",
        sa.Column("user_name", sa.String(), primary_key=True),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.Column("topics", sa.JSON(), nullable=False),
        sa.Column("created_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("revoked_wall_ms", sa.BigInteger()),
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("node", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("slope", sa.Double(), nullable=False),
        sa.Column("shift", sa.Double(), nullable=False),
        sa.Column("residual", sa.Double()),
        sa.Column("points", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
    )
    op.create_index("ix_calibration_place", "calibration", ["place"])
    op.create_table(
        "calibration_undo",
        sa.Column(
            "calibration_id",
            sa.Integer(),
            sa.ForeignKey("calibration.id", name="fk_calibration_undo_calibration_id_calibration"),
            primary_key=True,
        ),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
    op.create_table(
        "salt_jar",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("node", sa.String(), nullable=False),
        sa.Column("salt", sa.String(), nullable=False),
        sa.Column("begun_ms", sa.BigInteger(), nullable=False),
        sa.Column("ended_ms", sa.BigInteger()),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reading_pct", sa.Double()),
        sa.Column("temp_c", sa.Double()),
    )
    op.create_table(
        "mapping",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("topic_filter", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("node", sa.String(), nullable=False),
        sa.Column("format", sa.String(), nullable=False),
        sa.Column("fields", sa.JSON(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("removed_ms", sa.BigInteger()),
    )
