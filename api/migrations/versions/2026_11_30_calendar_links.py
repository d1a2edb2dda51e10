"""Share links to the calendar of a season."""

from collections.abc import Sequence

from alembic import op


revision: str = '0020_calendar_links'
down_revision: str | None = '0019_event_links'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    # In one statement that both databases know, so that the table is not copied.
    op.execute('ALTER TABLE share ADD COLUMN calendar BOOLEAN NOT NULL DEFAULT FALSE')


def downgrade() -> None:
    """Take the schema back; links to calendars end with it."""
    op.execute('DELETE FROM share WHERE calendar')
    with op.batch_alter_table('share', schema=None) as batch_op:
        batch_op.drop_column('calendar')
