"""The unit in which a school's forms ask for wind."""

from collections.abc import Sequence

from alembic import op


revision: str = '0021_wind_units'
down_revision: str | None = '0020_calendar_links'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    # In one statement that both databases know, so that the table is not copied.
    op.execute("ALTER TABLE organisation ADD COLUMN wind_unit VARCHAR NOT NULL DEFAULT 'm_s'")


def downgrade() -> None:
    """Take the schema back; all forms ask in metres a second again."""
    with op.batch_alter_table('organisation', schema=None) as batch_op:
        batch_op.drop_column('wind_unit')
