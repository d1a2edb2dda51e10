"""What was published of other schools' trials, for all hosts alike."""

from collections.abc import Sequence

import sqlalchemy as sa
import sqlmodel
from alembic import op


revision: str = '0015_published_trials'
down_revision: str | None = '0014_rebuild_due'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    op.create_table('published_trials',
    sa.Column('season_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('revision', sa.Integer(), nullable=False),
    sa.Column('shows', sa.Integer(), nullable=False),
    sa.Column('taken_at_s', sa.Float(), nullable=False),
    sa.Column('content', sa.LargeBinary(), nullable=True),
    sa.Column('states', sa.LargeBinary(), nullable=True),
    sa.PrimaryKeyConstraint('season_id', 'revision', name=op.f('pk_published_trials'))
    )


def downgrade() -> None:
    """Take the schema back."""
    op.drop_table('published_trials')
