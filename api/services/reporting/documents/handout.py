"""Make the one page that a team gets in its hands: its number, its season, what to try next."""

from api.messages import say
from api.models.reporting.team_sheet import TeamSheet
from api.models.season.progress import BuildProgress
from api.services.core import cautions
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Text
from api.services.reporting.documents.words import day, rounded_milliwatts

MOST_WORKED = 4  # sentences, so that the page stays one page


def handout_document(sheet: TeamSheet, school: str) -> Document:
    """Return a team's hand-out, in words for twelve-year-olds."""
    progress, builder = sheet.progress, Builder()
    if progress.builds:
        _number(builder, progress.builds[-1], sheet.report.reference_wind_speed_m_s)
    else:
        builder.add(Text(say("report_team.not_known", reason=progress.reason), "callout"))
    builder.add(plots.power_over_season(progress))
    worked = [each.sentence for each in progress.changes if each.status == "more"]
    builder.add(Heading(say("handout.worked")))
    builder.add(Items(worked[-MOST_WORKED:]) if worked else Text(say("handout.nothing_yet")))
    builder.add(Heading(say("report_team.next")), Text(progress.next_test.sentence, "callout"))
    if sheet.events:
        builder.add(Heading(say("report_team.at_event")))
        builder.add(Items([each.sentence for each in sheet.events[-2:]]))
    subtitle = say(
        "handout.subtitle", school=school, season=sheet.report.name, day=day(progress.as_of)
    )
    return Document(
        progress.name, subtitle, progress.as_of, builder.blocks, cautions.foot(), "hand-out"
    )


def _number(builder: Builder, build: BuildProgress, wind_speed_m_s: float) -> None:
    """Add the comparable power if it is known, else the power at the team's own bench."""
    power_w, interval_w = build.normalised_power_w, build.interval_w
    if build.fair_power_w and build.fair_interval_w:
        power_w, interval_w = build.fair_power_w, build.fair_interval_w
    value, low, high = rounded_milliwatts(power_w, interval_w)
    builder.add(Text(say("handout.number", value=value), "number"))
    meaning = say("handout.meaning", wind=wind_speed_m_s, low=low, high=high)
    builder.add(Text(meaning))
