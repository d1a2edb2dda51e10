"""When each stored thing was last changed."""

from collections.abc import Sequence

from alembic import op


revision: str = '0023_updated_at'
down_revision: str | None = '0022_packed_columns'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

TABLES = (
    'access_key', 'bench', 'build', 'equipment', 'erasure', 'event', 'event_run',
    'flag', 'import_batch', 'inspection', 'instrument_check', 'loan', 'organisation', 'run_order',
    'season', 'session', 'share', 'team', 'trial', 'turbine', 'wind_grid',
)

#: What was changed before has its last entry in the audit log.
CHANGED = """
    UPDATE {table} SET updated_at = (
        SELECT max(entry.created_at) FROM audit_entry AS entry
        WHERE entry.thing = '{table}' AND entry.thing_id = {table}.id
    )
    WHERE version > 1 AND EXISTS (
        SELECT 1 FROM audit_entry AS entry
        WHERE entry.thing = '{table}' AND entry.thing_id = {table}.id
    )
"""


def upgrade() -> None:
    """Bring the schema to this revision."""
    kind = 'TIMESTAMP WITH TIME ZONE' if op.get_bind().dialect.name == 'postgresql' else 'DATETIME'
    for table in TABLES:
        op.execute(f'ALTER TABLE {table} ADD COLUMN updated_at {kind}')
        op.execute(f'UPDATE {table} SET updated_at = created_at')
        op.execute(CHANGED.format(table=table))


def downgrade() -> None:
    """Take the schema back."""
    for table in TABLES:
        op.execute(f'ALTER TABLE {table} DROP COLUMN updated_at')
