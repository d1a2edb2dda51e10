"""Calendar links: who sees which days, and a file that follows RFC 5545."""

from datetime import UTC, date, datetime, timedelta

import pytest
from icalendar import Calendar

from tests.support.makers import created, session_payload, trial_payload
from tests.support.share_links import make


def event_of(season_id, **changed):
    return {"season_id": season_id, "name": "Region day", "held_on": "2026-05-20"} | changed


def read_feed(anybody, link, language="en"):
    """Return the calendar behind a link, as a calendar program reads it."""
    answer = anybody.get(f"{link}/calendar.ics", params={"language": language})
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    return Calendar.from_ical(answer.content)


def entries(calendar, words):
    """Return the entries whose text has these words."""
    return [each for each in calendar.walk("VEVENT") if words in each["SUMMARY"]]


@pytest.fixture
def calendar_of(world, visiting):
    """Return a function that makes a calendar link with a key, and reads it without one."""

    def read(key, language="en"):
        link = make(visiting(key), season_id=world.season_id, calendar="yes")
        return read_feed(visiting(""), link, language)

    return read


@pytest.fixture
def lent_meter(world):
    """Lend a meter of the programme to Larch, due on 1 June."""
    meter = created(world.lead.post("/v1/equipment", json={"kind": "meter", "tag": "DMM-9"}))
    loan = {"organisation_id": world.larch.organisation_id, "lent_on": "2026-02-01",
            "due_on": "2026-06-01"}  # fmt: skip
    return created(world.lead.post(f"/v1/equipment/{meter['id']}/loans", json=loan))


class TestRefused:
    def test_a_calendar_of_a_team(self, world, visiting):
        asked = {"team_id": world.larch.team_id, "calendar": "yes", "days": "30"}
        answer = visiting(world.larch.coach_key).post("/shares", data=asked)
        assert answer.status_code == 422
        assert "Only a season has a calendar" in answer.text

    def test_a_season_link_that_is_no_calendar(self, world, visiting):
        link = make(visiting(world.larch.coach_key), season_id=world.season_id)
        assert visiting("").get(f"{link}/calendar.ics").status_code == 404

    def test_a_link_that_never_was(self, visiting):
        assert visiting("").get(f"/shared/{'x' * 43}/calendar.ics").status_code == 404

    def test_a_calendar_ends_with_its_makers_key(self, world, visiting):
        link = make(visiting(world.larch.coach_key), season_id=world.season_id, calendar="yes")
        tag = {"If-Match": '"v1"'}
        world.lead.patch(f"/v1/keys/{world.larch.key_id}", json={"revoked": True}, headers=tag)
        assert visiting("").get(f"{link}/calendar.ics").status_code == 404


class TestDays:
    def test_an_event_is_one_whole_day(self, world, calendar_of):
        created(world.lead.post("/v1/events", json=event_of(world.season_id, place="Hall two")))
        (event,) = entries(calendar_of(world.larch.coach_key), "Region day")
        assert event["SUMMARY"] == "Region day"
        assert event["LOCATION"] == "Hall two"
        assert event.start == date(2026, 5, 20)
        assert event.end == date(2026, 5, 21)  # RFC 5545, 3.6.1: a date lasts one day

    def test_an_event_that_moved_is_the_same_entry_with_a_higher_sequence(self, world, calendar_of):
        event = created(world.lead.post("/v1/events", json=event_of(world.season_id)))
        (before,) = entries(calendar_of(world.larch.coach_key), "Region day")
        moved = {"held_on": "2026-05-21"}
        path, match = f"/v1/events/{event['id']}", {"If-Match": '"v1"'}
        assert world.lead.patch(path, json=moved, headers=match).status_code == 200
        (after,) = entries(calendar_of(world.larch.coach_key), "Region day")
        assert after["UID"] == before["UID"]
        assert after["SEQUENCE"] > before["SEQUENCE"]
        assert after.start == date(2026, 5, 21)

    def test_a_loan_is_seen_by_borrower_and_lead_only(self, world, calendar_of, lent_meter):
        for key, seen in (
            (world.larch.coach_key, 1),
            (world.lead_key, 1),
            (world.birch.coach_key, 0),
        ):
            assert len(entries(calendar_of(key), "Loan due: DMM-9")) == seen

    def test_a_returned_loan_is_gone(self, world, calendar_of, lent_meter):
        path = f"/v1/equipment/{lent_meter['equipment_id']}/loans/{lent_meter['id']}/return"
        world.lead.post(path, json={"returned_on": "2026-03-01"}).raise_for_status()
        assert entries(calendar_of(world.larch.coach_key), "DMM-9") == []

    def test_a_wind_meter_is_due_a_year_after_its_last_comparison(self, world, calendar_of):
        meter = {"kind": "anemometer", "tag": "WM-7", "spec": {"checked_on": "2024-02-29"},
                 "organisation_id": world.larch.organisation_id}  # fmt: skip
        created(world.larch.coach.post("/v1/equipment", json=meter))
        (due,) = entries(calendar_of(world.larch.coach_key), "WM-7")
        assert due.start == date(2025, 2, 28)

    def test_a_visit_names_only_teams_within_reach(self, world, calendar_of):
        visit = {"kind": "visit", "build_id": world.larch.build_id}
        created(world.lead.post("/v1/trials", json=trial_payload(world.birch, **visit)))
        (seen,) = entries(
            calendar_of(world.larch.coach_key), "Visit at bench Birch hall: Larch one"
        )
        assert seen.start == datetime(2026, 3, 5, 14, 30, tzinfo=UTC)
        assert entries(calendar_of(world.birch.coach_key), "Visit") == []

    def test_a_leads_calendar_names_only_schools_that_share_their_names(self, world, calendar_of):
        visit = {"kind": "visit", "build_id": world.larch.build_id}
        created(world.lead.post("/v1/trials", json=trial_payload(world.birch, **visit)))
        assert entries(calendar_of(world.lead_key), "Larch one") == []
        path = f"/v1/organisations/{world.larch.organisation_id}"
        world.lead.patch(path, json={"sharing": "named"}, headers={"If-Match": "*"})
        assert len(entries(calendar_of(world.lead_key), "Larch one")) == 1

    def test_a_planned_session_is_there_until_it_begins(self, world, visiting):
        now = datetime.now(UTC).replace(microsecond=0)
        days = {
            "starts_on": f"{now - timedelta(days=9):%F}",
            "ends_on": f"{now + timedelta(90):%F}",
        }
        season = created(world.lead.post("/v1/seasons", json={"name": "This season"} | days))
        for moment in (now - timedelta(days=7), now + timedelta(days=7)):
            facts = {"season_id": season["id"], "started_at": f"{moment:%FT%TZ}"}
            created(
                world.larch.coach.post("/v1/sessions", json=session_payload(world.larch, **facts))
            )
        link = make(visiting(world.larch.coach_key), season_id=season["id"], calendar="yes")
        (seen,) = entries(read_feed(visiting(""), link), "Session at bench Larch hall")
        assert seen.start == now + timedelta(days=7)


class TestFile:
    def test_lines_end_and_fold_as_rfc_5545_demands(self, world, visiting):
        """Section 3.1: CRLF line ends, and no line longer than 75 octets."""
        name = "Begegnung für Wind, Räder; und sehr, sehr langer Name des Tages in der Halle"
        created(world.lead.post("/v1/events", json=event_of(world.season_id, name=name)))
        link = make(visiting(world.lead_key), season_id=world.season_id, calendar="yes")
        file = visiting("").get(f"{link}/calendar.ics").content
        lines = file.split(b"\r\n")
        assert lines[0] == b"BEGIN:VCALENDAR"
        assert lines[-2:] == [b"END:VCALENDAR", b""]
        assert b"\n" not in file.replace(b"\r\n", b"")
        assert max(map(len, lines)) <= 75
        (event,) = entries(Calendar.from_ical(file), "Begegnung")
        assert event["SUMMARY"] == name

    def test_required_properties_are_there(self, world, calendar_of):
        """RFC 5545, 3.6 and 3.6.1: PRODID and VERSION; UID and DTSTAMP of each entry."""
        created(world.lead.post("/v1/events", json=event_of(world.season_id)))
        calendar = calendar_of(world.lead_key)
        assert calendar["VERSION"] == "2.0"
        assert "Gustbook" in calendar["PRODID"]
        (event,) = entries(calendar, "Region day")
        now = datetime.now(UTC)
        assert now - timedelta(minutes=5) < event["DTSTAMP"].dt <= now
        assert str(event["UID"]).startswith("evt_")

    def test_it_is_the_same_calendar_each_time_and_read_twice_a_day(self, world, visiting):
        """RFC 7986, 5.3 and 5.7: a UID, and an interval whose type is named."""
        link = make(visiting(world.lead_key), season_id=world.season_id, calendar="yes")
        files = [visiting("").get(f"{link}/calendar.ics").text.splitlines() for _ in range(2)]
        for file in files:
            assert f"UID:{world.season_id}@gustbook" in file
            assert "REFRESH-INTERVAL;VALUE=DURATION:PT12H" in file

    def test_its_language_is_in_its_address(self, world, calendar_of, lent_meter):
        assert entries(calendar_of(world.lead_key, "de"), "Leihgabe fällig: DMM-9")
        assert entries(calendar_of(world.lead_key, "xx"), "Loan due: DMM-9")

    def test_its_page_tells_the_address_and_lists_the_days(self, world, visiting, lent_meter):
        link = make(visiting(world.lead_key), season_id=world.season_id, calendar="yes")
        page = visiting("").get(link).text
        assert f"{link}/calendar.ics?language=en" in page
        assert "webcal://" in page
        assert "Loan due: DMM-9" in page
