"""Notes and photographs of a tree."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "tree_note",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column(
            "tree_id",
            sa.Integer(),
            sa.ForeignKey("tree.id", name="fk_tree_note_tree_id_tree"),
            nullable=False,
        ),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("picture", sa.String(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("key", sa.String()),
        sa.UniqueConstraint("tree_id", "key", name="uq_tree_note_tree_id_key"),
    )
    op.create_index("ix_tree_note_tree_id", "tree_note", ["tree_id"])
    op.create_table(
        "tree_note_undo",
        sa.Column(
            "note_id",
            sa.Integer(),
            sa.ForeignKey("tree_note.id", name="fk_tree_note_undo_note_id_tree_note"),
            primary_key=True,
            autoincrement=False,
        ),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
