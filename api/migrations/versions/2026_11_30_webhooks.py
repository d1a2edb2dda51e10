"""Webhooks and their deliveries."""

from collections.abc import Sequence

import sqlalchemy as sa
import sqlmodel
from alembic import op


revision: str = '0025_webhooks'
down_revision: str | None = '0024_sign_in_emails'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    op.create_table('webhook',
    sa.Column('id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('created_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.Column('as_typed', sa.JSON(), nullable=False),
    sa.Column('updated_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
    sa.Column('organisation_id', sqlmodel.sql.sqltypes.AutoString(), nullable=True),
    sa.Column('url', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('kinds', sa.JSON(), nullable=False),
    sa.Column('key_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('secret', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('failing_since', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
    sa.Column('switched_off_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
    sa.Column('off_reason', sqlmodel.sql.sqltypes.AutoString(), nullable=True),
    sa.ForeignKeyConstraint(['key_id'], ['access_key.id'], name=op.f('fk_webhook_key_id_access_key')),
    sa.ForeignKeyConstraint(['organisation_id'], ['organisation.id'], name=op.f('fk_webhook_organisation_id_organisation')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_webhook'))
    )
    with op.batch_alter_table('webhook', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_webhook_key_id'), ['key_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_webhook_organisation_id'), ['organisation_id'], unique=False)

    op.create_table('webhook_delivery',
    sa.Column('id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.Column('created_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.Column('as_typed', sa.JSON(), nullable=False),
    sa.Column('updated_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
    sa.Column('webhook_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('kind', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('thing_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('organisation_id', sqlmodel.sql.sqltypes.AutoString(), nullable=True),
    sa.Column('data', sa.JSON(), nullable=False),
    sa.Column('state', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('attempts', sa.Integer(), nullable=False),
    sa.Column('due_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.Column('status_code', sa.Integer(), nullable=True),
    sa.Column('fault', sqlmodel.sql.sqltypes.AutoString(), nullable=True),
    sa.Column('ended_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
    sa.ForeignKeyConstraint(['organisation_id'], ['organisation.id'], name=op.f('fk_webhook_delivery_organisation_id_organisation')),
    sa.ForeignKeyConstraint(['webhook_id'], ['webhook.id'], name=op.f('fk_webhook_delivery_webhook_id_webhook')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_webhook_delivery'))
    )
    with op.batch_alter_table('webhook_delivery', schema=None) as batch_op:
        batch_op.create_index('ix_webhook_delivery_due', ['due_at'], unique=False, sqlite_where=sa.text("state = 'pending'"), postgresql_where=sa.text("state = 'pending'"))
        batch_op.create_index(batch_op.f('ix_webhook_delivery_organisation_id'), ['organisation_id'], unique=False)
        batch_op.create_index('ix_webhook_delivery_webhook_id_id', ['webhook_id', 'id'], unique=False)
        batch_op.create_index('uq_webhook_delivery_untried', ['webhook_id', 'kind', 'thing_id'], unique=True, sqlite_where=sa.text("state = 'pending' AND attempts = 0"), postgresql_where=sa.text("state = 'pending' AND attempts = 0"))



def downgrade() -> None:
    """Take the schema back."""
    with op.batch_alter_table('webhook_delivery', schema=None) as batch_op:
        batch_op.drop_index('uq_webhook_delivery_untried', sqlite_where=sa.text("state = 'pending' AND attempts = 0"), postgresql_where=sa.text("state = 'pending' AND attempts = 0"))
        batch_op.drop_index('ix_webhook_delivery_webhook_id_id')
        batch_op.drop_index(batch_op.f('ix_webhook_delivery_organisation_id'))
        batch_op.drop_index('ix_webhook_delivery_due', sqlite_where=sa.text("state = 'pending'"), postgresql_where=sa.text("state = 'pending'"))

    op.drop_table('webhook_delivery')
    with op.batch_alter_table('webhook', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_webhook_organisation_id'))
        batch_op.drop_index(batch_op.f('ix_webhook_key_id'))

    op.drop_table('webhook')
