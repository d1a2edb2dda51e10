"""Flags store what their sentences are made from, so that they can be read in any language."""

import json
from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op


revision: str = '0016_flag_facts'
down_revision: str | None = '0015_published_trials'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

FLAG = sa.table('flag', sa.column('id', sa.String), sa.column('message', sa.String),
                sa.column('advice', sa.String), sa.column('facts', sa.JSON),
                sa.column('rule', sa.String), sa.column('seen', sa.String))
#: Rules whose note of what was seen was a sentence: without a note a confirmation stays.
SEEN_IN_WORDS = ('bench_changed', 'date_odd', 'personal_data')
AT_ONCE = 1000


def upgrade() -> None:
    """Bring the schema to this revision; sentences stay as they are until a season is rebuilt."""
    op.add_column('flag', sa.Column('facts', sa.JSON(), nullable=False, server_default='{}'))
    for rows in _batches('message', 'advice'):
        _write([{'of': row[0], 'facts': _facts(row[1], row[2])} for row in rows], 'facts')
    op.execute(FLAG.update().where(FLAG.c.rule.in_(SEEN_IN_WORDS)).values(seen=None))
    op.drop_column('flag', 'message')
    op.drop_column('flag', 'advice')


def downgrade() -> None:
    """Take the schema back; the facts stand where the sentence was until a season is rebuilt."""
    for name in ('message', 'advice'):
        op.add_column('flag', sa.Column(name, sa.String(), nullable=False, server_default=''))
    for rows in _batches('facts'):
        _write([{'of': row[0], 'message': json.dumps(row[1])} for row in rows], 'message')
    op.drop_column('flag', 'facts')


def _facts(message, advice):
    """Return a sentence as facts, or the facts that an earlier step down left in its place."""
    if message.startswith('{'):
        return json.loads(message)
    return {'message': message, 'advice': advice}


def _batches(*names):
    """Yield the rows of all flags with some columns, a batch at a time."""
    chosen = [FLAG.c[name] for name in names]
    rows = op.get_bind().execute(sa.select(FLAG.c.id, *chosen).order_by(FLAG.c.id)).all()
    for start in range(0, len(rows), AT_ONCE):
        yield rows[start:start + AT_ONCE]


def _write(values, name):
    found = FLAG.c.id == sa.bindparam('of')
    op.get_bind().execute(FLAG.update().where(found).values({name: sa.bindparam(name)}), values)
