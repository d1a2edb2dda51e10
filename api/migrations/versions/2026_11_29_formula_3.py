"""Exponents of a season's sweeps change results: every migration lets seasons be rebuilt."""

from collections.abc import Sequence


revision: str = '0017_formula_3'
down_revision: str | None = '0016_flag_facts'
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    """Change no table: cached results of formula 2 are computed again by the rebuild."""


def downgrade() -> None:
    """Change no table: an older service computes results of its own formula again."""
