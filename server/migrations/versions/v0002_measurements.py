"""What people measured, and what was learned from it."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "measurement",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column(
            "tree_id",
            sa.Integer(),
            sa.ForeignKey("tree.id", name="fk_measurement_tree_id_tree"),
            nullable=False,
        ),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("spot", sa.String()),
        sa.Column("value", sa.Double()),
        sa.Column("reference_c", sa.Double()),
        sa.Column("word", sa.String()),
        sa.Column("key", sa.String()),
        sa.UniqueConstraint("tree_id", "key", name="uq_measurement_tree_id_key"),
    )
    op.create_table(
        "measurement_undo",
        sa.Column(
            "measurement_id",
            sa.Integer(),
            sa.ForeignKey("measurement.id", name="fk_measurement_undo_measurement_id_measurement"),
            primary_key=True,
        ),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
    op.create_table(
        "ensemble",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column(
            "place", sa.String(), sa.ForeignKey("place.id", name="fk_ensemble_place_place"), nullable=False
        ),
        sa.Column("generation", sa.Integer(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("members", sa.JSON(), nullable=False),
        sa.Column("weights", sa.JSON(), nullable=False),
        sa.Column("evidence", sa.JSON(), nullable=False),
        sa.UniqueConstraint("place", "generation", name="uq_ensemble_place_generation"),
    )
