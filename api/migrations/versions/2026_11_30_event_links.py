"""Share links to the board of an event."""

from collections.abc import Sequence

from alembic import op


revision: str = '0019_event_links'
down_revision: str | None = '0018_season_changes'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    # In one statement that both databases know, so that the table is not copied.
    op.execute(
        'ALTER TABLE share ADD COLUMN event_id VARCHAR'
        ' CONSTRAINT fk_share_event_id_event REFERENCES event (id)'
    )
    op.create_index(op.f('ix_share_event_id'), 'share', ['event_id'], unique=False)


def downgrade() -> None:
    """Take the schema back; links to boards end with it, and the constraint with its column."""
    op.execute('DELETE FROM share WHERE event_id IS NOT NULL')
    with op.batch_alter_table('share', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_share_event_id'))
        batch_op.drop_column('event_id')
