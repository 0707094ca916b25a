"""Who may do what: paired devices, codes to pair by, tokens of programs, the key that signs cookies."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "access_key",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("key", sa.String(), nullable=False),
    )
    op.create_table(
        "device",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("key_hash", sa.String(), nullable=False),
        sa.Column("paired_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("seen_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("revoked_wall_ms", sa.BigInteger()),
    )
    op.create_index("ix_device_key_hash", "device", ["key_hash"])
    op.create_table(
        "pairing_code",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("code_hash", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("until_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("used_wall_ms", sa.BigInteger()),
    )
    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("made_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("seen_wall_ms", sa.BigInteger()),
        sa.Column("revoked_wall_ms", sa.BigInteger()),
    )
    op.create_index("ix_api_token_token_hash", "api_token", ["token_hash"])
