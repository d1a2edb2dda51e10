"""What was erased, and a record that gives up entries to nothing else."""

from collections.abc import Sequence

import sqlalchemy as sa
import sqlmodel
from alembic import op


revision: str = '0010_erasures'
down_revision: str | None = '0009_rates'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

REFUSAL = 'the record is appended to, never changed'
#: An entry may lose its words, and nothing else of it may move, where an erasure is written down.
EMPTIED = """NEW.erasure_id IS NOT NULL AND NEW.changes IS NULL AND NEW.reason IS NULL
    AND NEW.key_label = '' AND NEW.id = OLD.id AND NEW.chain = OLD.chain
    AND NEW.number = OLD.number AND NEW.seal = OLD.seal
    AND NEW.previous_seal = OLD.previous_seal AND NEW.thing_id = OLD.thing_id
    AND NEW.action = OLD.action
    AND EXISTS (SELECT 1 FROM erasure WHERE erasure.id = NEW.erasure_id)"""
#: A season's chain goes whole, with the season, where its erasure is written down.
GONE = """EXISTS (SELECT 1 FROM erasure
    WHERE erasure.kind = 'season' AND erasure.erased_id = OLD.chain)"""

#: Of a function that other triggers use too only the body is replaced.
REFUSE = """CREATE OR REPLACE FUNCTION audit_entry_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN {but} RAISE EXCEPTION '{refusal}'; END $$"""
UNLESS = f"""IF TG_OP = 'DELETE' THEN
            IF {GONE} THEN RETURN OLD; END IF;
        ELSIF TG_OP = 'UPDATE' THEN
            IF {EMPTIED} THEN RETURN NEW; END IF;
        END IF;"""

REMOVE = {
    'sqlite': ['DROP TRIGGER audit_entry_no_update', 'DROP TRIGGER audit_entry_no_delete'],
    'postgresql': [],
}
GUARD = {
    'sqlite': [
        f"""CREATE TRIGGER audit_entry_no_update BEFORE UPDATE ON audit_entry
        WHEN NOT ({EMPTIED}) BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
        f"""CREATE TRIGGER audit_entry_no_delete BEFORE DELETE ON audit_entry
        WHEN NOT ({GONE}) BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    ],
    'postgresql': [REFUSE.format(but=UNLESS, refusal=REFUSAL)],
}
#: As it was before.
SEALED = {
    'sqlite': [
        f"""CREATE TRIGGER audit_entry_no_{verb.lower()} BEFORE {verb} ON audit_entry
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"""
        for verb in ('UPDATE', 'DELETE')
    ],
    'postgresql': [REFUSE.format(but='', refusal=REFUSAL)],
}


def upgrade() -> None:
    """Bring the schema to this revision."""
    run(REMOVE)
    op.create_table('erasure',
    sa.Column('id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('created_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.Column('as_typed', sa.JSON(), nullable=False),
    sa.Column('kind', sa.String(), nullable=False),
    sa.Column('erased_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('rows', sa.JSON(), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_erasure'))
    )
    with op.batch_alter_table('erasure', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_erasure_erased_id'), ['erased_id'], unique=False)
    # Not in a batch, which would make the table anew, without its triggers.
    op.add_column('audit_entry', sa.Column('erasure_id', sqlmodel.sql.sqltypes.AutoString(), nullable=True))
    run(GUARD)


def downgrade() -> None:
    """Take the schema back; emptied entries stay empty, and their seals then no longer hold."""
    run(REMOVE)
    run(SEALED)
    op.drop_column('audit_entry', 'erasure_id')
    with op.batch_alter_table('erasure', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_erasure_erased_id'))
    op.drop_table('erasure')


def run(statements: dict[str, list[str]]) -> None:
    """Run what one kind of database needs."""
    for statement in statements[op.get_bind().dialect.name]:
        op.execute(statement)
