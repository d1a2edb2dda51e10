"""What trials come to is kept beside them."""

from collections.abc import Sequence

import sqlalchemy as sa
import sqlmodel
from alembic import op


revision: str = '0013_kept_results'
down_revision: str | None = '0012_names_of_trials'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Bring the schema to this revision."""
    op.create_table('trial_result',
    sa.Column('trial_id', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('formula', sa.Integer(), nullable=False),
    sa.Column('numbers', sa.LargeBinary(), nullable=False),
    sa.Column('air_density_source', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('wind_speed_source', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('rotor_speed_source', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('normalisation', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.Column('reason', sqlmodel.sql.sqltypes.AutoString(), nullable=False),
    sa.ForeignKeyConstraint(['trial_id'], ['trial.id'], name=op.f('fk_trial_result_trial_id_trial'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('trial_id', name=op.f('pk_trial_result')),
    sqlite_with_rowid=False
    )


def downgrade() -> None:
    """Take the schema back."""
    op.drop_table('trial_result')
