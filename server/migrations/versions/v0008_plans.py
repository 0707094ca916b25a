"""What is ahead: what the caster says of the air, and pour days."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "air_word",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("amount", sa.Float(), nullable=False),
        sa.Column("start_ms", sa.BigInteger(), nullable=False),
        sa.Column("end_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("undone_ms", sa.BigInteger()),
    )
    op.create_index("ix_air_word_end_ms", "air_word", ["end_ms"])
    op.create_table(
        "pour_day",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("undone_ms", sa.BigInteger()),
    )
