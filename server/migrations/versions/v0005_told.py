"""How people are told: other channels than push, what is put off, one summary for a quiet night."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "put_off",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("tree_id", sa.Integer(), sa.ForeignKey("tree.id"), nullable=False),
        sa.Column("dipped_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
    )
    op.create_index("ix_put_off_tree_id", "put_off", ["tree_id"])
    op.add_column(
        "subscription", sa.Column("kind", sa.String(), nullable=False, server_default=sa.text("'push'"))
    )
    op.add_column("subscription", sa.Column("name", sa.String()))
    op.add_column("notice", sa.Column("state", sa.String(), nullable=False, server_default=sa.text("'told'")))
    op.add_column("notice", sa.Column("told_ms", sa.BigInteger()))
    op.add_column("notice", sa.Column("told_in", sa.Integer()))
    op.create_index("ix_notice_state", "notice", ["state"])
