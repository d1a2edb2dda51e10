"""Which seasons are still to be rebuilt after a change of the schema."""

from collections.abc import Sequence

import sqlalchemy as sa
import sqlmodel
from alembic import op


revision: str = '0014_rebuild_due'
down_revision: str | None = '0013_kept_results'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    op.create_table('rebuild_due',
    sa.Column('season_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.PrimaryKeyConstraint('season_id', name=op.f('pk_rebuild_due'))
    )


def downgrade() -> None:
    """Take the schema back."""
    op.drop_table('rebuild_due')
