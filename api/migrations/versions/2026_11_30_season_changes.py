"""What recent writes changed, so that processes learn of each other's."""

from collections.abc import Sequence

import sqlalchemy as sa
import sqlmodel
from alembic import op


revision: str = '0018_season_changes'
down_revision: str | None = '0017_formula_3'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    op.create_table('season_change',
    sa.Column('season_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('revision', sa.Integer(), nullable=False),
    sa.Column('before', sa.Integer(), nullable=False),
    sa.Column('only_trials', sa.Boolean(), nullable=False),
    sa.Column('keys', sa.JSON(), nullable=False),
    sa.Column('organisations', sa.JSON(), nullable=True),
    sa.Column('benches', sa.JSON(), nullable=True),
    sa.Column('at_s', sa.Float(), nullable=False),
    sa.PrimaryKeyConstraint('season_id', 'revision', name=op.f('pk_season_change'))
    )


def downgrade() -> None:
    """Take the schema back."""
    op.drop_table('season_change')
