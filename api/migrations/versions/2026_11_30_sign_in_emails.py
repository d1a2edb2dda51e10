"""Add the e-mail address of an adult's school account to keys."""

from collections.abc import Sequence

from alembic import op


revision: str = '0024_sign_in_emails'
down_revision: str | None = '0023_updated_at'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    # In one statement that both databases know, so that the table is not copied.
    op.execute("ALTER TABLE access_key ADD COLUMN sign_in_email VARCHAR")


def downgrade() -> None:
    """Take the schema back; all addresses are erased."""
    with op.batch_alter_table('access_key', schema=None) as batch_op:
        batch_op.drop_column('sign_in_email')
