"""Read what a projector shows on the day of an event: who runs, who is next, and the results."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from api.models.events.runs import EventResults, Placed, SlotRead
from api.models.registry.events import Event
from api.services.core import resources
from api.services.core.scope import Caller
from api.services.events import run_orders, runs

NEXT_SHOWN = 3


@dataclass(frozen=True, slots=True)
class BoardRow:
    """A team's result, and how far it is behind the first."""

    placed: Placed
    gap_pct: float | None


@dataclass(frozen=True, slots=True)
class Board:
    """An event as it is now; `running` is None before the order is drawn and after the last run."""

    event: Event
    running: SlotRead | None
    coming: Sequence[SlotRead]
    done: int
    planned: int
    rows: Sequence[BoardRow]
    results: EventResults

    @property
    def is_finished(self) -> bool:
        """Tell whether every planned run is stored."""
        return 0 < self.planned <= self.done


def read_board(db: Session, caller: Caller, event_id: str) -> Board:
    """Return the board of an event, as far as the caller may see its teams."""
    event = resources.get_row(db, caller, Event, event_id)
    drawn = run_orders.newest_row(db, event)
    slots = run_orders.newest(db, caller, event.id).slots if drawn else []
    results = runs.results(db, caller, event.id)
    stored = {run.position for run in results.runs} if slots else set()
    left = [slot for slot in slots if slot.position not in stored]
    return Board(
        event=event,
        running=left[0] if left else None,
        coming=left[1 : 1 + NEXT_SHOWN],
        done=len(slots) - len(left),
        planned=len(slots),
        rows=_rows(results.places or []),
        results=results,
    )


def _rows(places: Sequence[Placed]) -> list[BoardRow]:
    first_w = places[0].best_w if places else None
    return [BoardRow(placed, _gap(placed.best_w, first_w)) for placed in places]


def _gap(power_w: float | None, first_w: float | None) -> float | None:
    """Return how much less than the first a power is, in percent; None if either is not shown."""
    return None if not power_w or not first_w else 100 * (power_w / first_w - 1)
