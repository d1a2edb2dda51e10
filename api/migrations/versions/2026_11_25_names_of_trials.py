"""Each school names its own runs of the reference rotor."""

from collections.abc import Sequence

from alembic import op


revision: str = '0012_names_of_trials'
down_revision: str | None = '0011_row_security'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

OLD, NEW = 'uq_trial_build_id_client_ref', 'uq_trial_build_id_client_ref_organisation_id'


def upgrade() -> None:
    """Bring the schema to this revision."""
    with op.batch_alter_table('trial', schema=None) as batch_op:
        batch_op.drop_constraint(OLD, type_='unique')
        batch_op.create_unique_constraint(NEW, ['build_id', 'client_ref', 'organisation_id'])


def downgrade() -> None:
    """Take the schema back; of two schools' runs of one name the later loses it."""
    op.execute("""UPDATE trial SET client_ref = NULL WHERE EXISTS (
        SELECT 1 FROM trial AS other WHERE other.build_id = trial.build_id
        AND other.client_ref = trial.client_ref AND other.id < trial.id)""")
    with op.batch_alter_table('trial', schema=None) as batch_op:
        batch_op.drop_constraint(NEW, type_='unique')
        batch_op.create_unique_constraint(OLD, ['build_id', 'client_ref'])
