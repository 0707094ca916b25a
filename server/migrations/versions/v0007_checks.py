"""The check before burnout: who cleared a tree, and what came of the casting."""

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass
