"""The steps from an empty programme to the first trial, for the page of today."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.messages import say
from api.models.registry.organisations import Organisation
from api.services.trials.today import Today


@dataclass(frozen=True, slots=True)
class Step:
    """One step: whether it is done, and the page on which the next one is."""

    words: str
    done: bool
    is_next: bool = False
    address: str = ""
    action: str = ""


def first_steps(waits: Today, school: Organisation | None, *, is_lead: bool) -> Sequence[Step]:
    """Return the steps, of which the first open one is the next; none once a trial is stored.

    Only a lead opens a season or registers a school: for others these steps have no page.
    """
    if waits.trials:
        return ()
    of_school, to_school = "/schools", say("nav.schools")
    if school is not None:
        of_school, to_school = f"/schools/{school.id}", say("today.to_school", name=school.name)
    new_bench = f"/benches/new?organisation_id={school.id}" if school else "/schools"
    steps = [
        ("season", waits.season is not None, "/seasons/new" if is_lead else "", say("new.season")),
        ("school", waits.schools > 0, "/schools/new" if is_lead else "", say("new.school")),
        ("team", waits.teams > 0, of_school, to_school),
        ("bench", waits.benches > 0, new_bench, say("new.bench")),
        ("trial", False, "/trials/new", say("today.enter")),
    ]
    first_open = next(at for at, (_, done, *_) in enumerate(steps) if not done)
    return [
        Step(say(f"first.{name}"), done, at == first_open, address, action)
        for at, (name, done, address, action) in enumerate(steps)
    ]
