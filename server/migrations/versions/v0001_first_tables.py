"""The first tables. A migration stands as it was written; `server.store.tables` may move on."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    heard_in_the_shop()
    trees_and_their_coats()
    telling_people()
    op.create_table(
        "setting",
        sa.Column("key", sa.String(), primary_key=True),
        sa.Column("value", sa.JSON(), nullable=False),
    )
    op.create_table(
        "saved_state",
        sa.Column("tree_id", sa.Integer(), primary_key=True),
        sa.Column("key", sa.String(), primary_key=True),
        sa.Column("as_of_ms", sa.BigInteger(), primary_key=True, autoincrement=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
    )


def heard_in_the_shop() -> None:
    op.create_table(
        "place",
        sa.Column("id", sa.String(), primary_key=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("speed_m_s", sa.Double(), nullable=False),
    )
    op.create_table(
        "series",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("node", sa.String(), nullable=False, index=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("heard_ms", sa.BigInteger(), nullable=False),
        sa.UniqueConstraint("place", "node", "name", "unit"),
    )
    op.create_table(
        "reading",
        sa.Column(
            "series_id", sa.Integer(), sa.ForeignKey("series.id"), primary_key=True, autoincrement=False
        ),
        sa.Column("time_ms", sa.BigInteger(), primary_key=True, autoincrement=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("arrived_ms", sa.BigInteger(), nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "node_status",
        sa.Column("place", sa.String(), primary_key=True),
        sa.Column("node", sa.String(), primary_key=True),
        sa.Column("online", sa.Boolean(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )
    op.create_table(
        "rejected",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("arrived_ms", sa.BigInteger(), nullable=False),
    )


def trees_and_their_coats() -> None:
    op.create_table(
        "recipe",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(), nullable=False, unique=True),
    )
    op.create_table(
        "recipe_coat",
        sa.Column("recipe_id", sa.Integer(), sa.ForeignKey("recipe.id"), primary_key=True),
        sa.Column("number", sa.Integer(), primary_key=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("thickness_mm", sa.Double(), nullable=False),
        sa.Column("water_kg_m2", sa.Double(), nullable=False),
    )
    op.create_table(
        "tree",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("hook", sa.String(), nullable=False),
        sa.Column("place", sa.String(), sa.ForeignKey("place.id"), nullable=False),
        sa.Column("recipe_id", sa.Integer(), sa.ForeignKey("recipe.id"), nullable=False),
        sa.Column("size_mm", sa.Double(), nullable=False),
        sa.Column("area_m2", sa.Double()),
        sa.Column("wax_kg", sa.Double()),
        sa.Column("resting_hours", sa.Double(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("left_how", sa.String(), nullable=False),
    )
    on_a_hook = sa.text("left_how = '' AND hook != ''")
    op.create_index(
        "uq_tree_hook_on_rack",
        "tree",
        ["hook"],
        unique=True,
        sqlite_where=on_a_hook,
        postgresql_where=on_a_hook,
    )
    op.create_table(
        "tree_spot",
        sa.Column("tree_id", sa.Integer(), sa.ForeignKey("tree.id"), primary_key=True),
        sa.Column("position", sa.Integer(), primary_key=True),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
    )
    op.create_table(
        "tree_event",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("tree_id", sa.Integer(), sa.ForeignKey("tree.id"), nullable=False, index=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
    )
    op.create_table(
        "dip",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("tree_id", sa.Integer(), sa.ForeignKey("tree.id"), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("said_ms", sa.BigInteger(), nullable=False),
        sa.Column("pot", sa.String()),
        sa.Column("prewet", sa.Boolean(), nullable=False),
        sa.Column("partial", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String()),
        sa.Column("key", sa.String()),
        sa.UniqueConstraint("tree_id", "key"),
    )
    op.create_table(
        "dip_undo",
        sa.Column("dip_id", sa.Integer(), sa.ForeignKey("dip.id"), primary_key=True),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
    )


def telling_people() -> None:
    op.create_table(
        "subscription",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("endpoint", sa.String(), nullable=False, unique=True),
        sa.Column("p256dh", sa.String(), nullable=False),
        sa.Column("auth", sa.String(), nullable=False),
        sa.Column("since_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("dropped_wall_ms", sa.BigInteger()),
        sa.Column("dropped_reason", sa.String()),
    )
    op.create_table(
        "notice",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("key", sa.String(), nullable=False, unique=True),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("tree_id", sa.Integer()),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("kept_wall_ms", sa.BigInteger(), nullable=False),
    )
    op.create_table(
        "delivery",
        sa.Column("notice_id", sa.Integer(), sa.ForeignKey("notice.id"), primary_key=True),
        sa.Column("subscription_id", sa.Integer(), sa.ForeignKey("subscription.id"), primary_key=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_wall_ms", sa.BigInteger(), nullable=False),
        sa.Column("settled_wall_ms", sa.BigInteger()),
        sa.Column("last_error", sa.String()),
    )
    op.create_index("ix_delivery_due", "delivery", ["state", "next_try_wall_ms"])


def downgrade() -> None:
    raise NotImplementedError("there is nothing before the first tables; restore a backup")
