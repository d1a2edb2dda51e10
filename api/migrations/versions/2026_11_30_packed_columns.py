"""Trials are published in packed columns: publish them again."""

from collections.abc import Sequence

from alembic import op


revision: str = '0022_packed_columns'
down_revision: str | None = '0021_wind_units'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Remove what was packed in the earlier format; the next reader publishes all trials."""
    op.execute('DELETE FROM published_trials')


def downgrade() -> None:
    """Remove what was packed in the later format."""
    op.execute('DELETE FROM published_trials')
