"""What is ahead: what the caster says of the air, pour days, what was planned."""

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass
