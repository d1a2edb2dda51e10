"""A second net on a server: what a key does not reach, its requests cannot write."""

from collections.abc import Sequence

from alembic import op


revision: str = '0011_row_security'
down_revision: str | None = '0010_erasures'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

OWNED = ('team', 'turbine', 'build', 'bench', 'wind_grid', 'session', 'trial', 'inspection')
#: A bench's trials are checked together, so that a visitor's trial may change its state for another.
VERBS = {table: ('INSERT', 'DELETE') if table == 'trial' else ('INSERT', 'UPDATE', 'DELETE')
         for table in OWNED}

#: Nothing set, as on the console and for a lead, is everything. Reports read across schools, so
#: that reading is left to the service.
WITHIN = """CREATE FUNCTION within_reach(owner text) RETURNS boolean LANGUAGE sql STABLE AS $$
    SELECT coalesce(current_setting('gustbook.reach', true), '') = ''
        OR coalesce(owner = ANY (string_to_array(current_setting('gustbook.reach', true), ',')), false)
    $$"""


def upgrade() -> None:
    """Bring the schema to this revision; an embedded database has no such thing."""
    if op.get_bind().dialect.name != 'postgresql':
        return
    op.execute(WITHIN)
    for table, verbs in VERBS.items():
        op.execute(f'ALTER TABLE {table} ENABLE ROW LEVEL SECURITY')
        op.execute(f'ALTER TABLE {table} FORCE ROW LEVEL SECURITY')
        op.execute(f'CREATE POLICY reading ON {table} FOR SELECT USING (true)')
        for verb in ('INSERT', 'UPDATE', 'DELETE'):
            allowed = 'within_reach(organisation_id)' if verb in verbs else 'true'
            how = f'WITH CHECK ({allowed})' if verb == 'INSERT' else f'USING ({allowed})'
            op.execute(f'CREATE POLICY {verb.lower()} ON {table} FOR {verb} {how}')


def downgrade() -> None:
    """Take the schema back."""
    if op.get_bind().dialect.name != 'postgresql':
        return
    for table in OWNED:
        for policy in ('reading', 'insert', 'update', 'delete'):
            op.execute(f'DROP POLICY {policy} ON {table}')
        op.execute(f'ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY')
        op.execute(f'ALTER TABLE {table} DISABLE ROW LEVEL SECURITY')
    op.execute('DROP FUNCTION within_reach(text)')
