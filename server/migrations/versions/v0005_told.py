"""How people are told: other channels than push, what is put off, one summary for a quiet night."""

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass
