"""The check before burnout: coats, answers, clearings, patches, and what came of the castings."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def _tree_id(table: str, **more: object) -> sa.Column[int]:
    key = sa.ForeignKey("tree.id", name=f"fk_{table}_tree_id_tree")
    return sa.Column("tree_id", sa.Integer(), key, nullable=False, **more)  # type: ignore[arg-type]


def _undo_of(table: str, column: str) -> sa.Column[int]:
    undo = {"clearing": "reopening"}.get(table, f"{table}_undo")
    key = sa.ForeignKey(f"{table}.id", name=f"fk_{undo}_{column}_{table}")
    return sa.Column(column, sa.Integer(), key, primary_key=True)


def upgrade() -> None:
    op.create_table(
        "coat_went",
        _tree_id("coat_went", primary_key=True),
        sa.Column("at_ms", sa.BigInteger(), primary_key=True, autoincrement=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.Column("kept_ms", sa.BigInteger(), nullable=False),
        sa.Column("verdict", sa.JSON(), nullable=False),
    )
    op.create_table(
        "dip_forecast",
        sa.Column(
            "dip_id",
            sa.Integer(),
            sa.ForeignKey("dip.id", name="fk_dip_forecast_dip_id_dip"),
            primary_key=True,
        ),
        sa.Column("made_ms", sa.BigInteger(), nullable=False),
        sa.Column("p10_ms", sa.BigInteger()),
        sa.Column("p50_ms", sa.BigInteger()),
        sa.Column("p90_ms", sa.BigInteger()),
    )
    op.create_table(
        "check_answer",
        sa.Column("id", sa.Integer(), primary_key=True),
        _tree_id("check_answer"),
        sa.Column("question", sa.String(), nullable=False),
        sa.Column("yes", sa.Boolean(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
    op.create_index("ix_check_answer_tree_id", "check_answer", ["tree_id"])
    op.create_table(
        "clearing",
        sa.Column("id", sa.Integer(), primary_key=True),
        _tree_id("clearing"),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("answer", sa.String(), nullable=False),
        sa.Column("sheet", sa.JSON(), nullable=False),
    )
    op.create_index("ix_clearing_tree_id", "clearing", ["tree_id"])
    op.create_table(
        "reopening",
        _undo_of("clearing", "clearing_id"),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
    )
    op.create_table(
        "patch",
        sa.Column("id", sa.Integer(), primary_key=True),
        _tree_id("patch"),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("spot", sa.String(), nullable=False),
        sa.Column("thickness_mm", sa.Double(), nullable=False),
        sa.Column("size_mm", sa.Double()),
        sa.Column("place_words", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
    )
    op.create_index("ix_patch_tree_id", "patch", ["tree_id"])
    op.create_table(
        "patch_undo",
        _undo_of("patch", "patch_id"),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
    op.create_table(
        "casting",
        sa.Column("id", sa.Integer(), primary_key=True),
        _tree_id("casting"),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("spot", sa.String(), nullable=False),
        sa.Column("place_words", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
    )
    op.create_index("ix_casting_tree_id", "casting", ["tree_id"])
    op.create_table(
        "casting_undo",
        _undo_of("casting", "casting_id"),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
