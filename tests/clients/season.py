"""What a program in Python does with its generated client, as `season.ts` does in TypeScript."""

import io


class Season:
    """Read four reports, send a file, change a team and add a bench."""

    def __init__(self, generated, url, key):
        """`generated` imports a part of the generated client by its name."""
        self.generated, self.models = generated, generated(".models")
        self.client = generated(".client").AuthenticatedClient(base_url=url, token=key)

    def answers(self, rows):
        """Return what came, as plain values."""
        with self.client:
            return {
                "reports": self._reports(),
                "tried": self._tried(rows),
                "changed": self._changed(5),
                "distance_m": self._bench_at(90),
            }

    def _call(self, subject, name, *ids, **values):
        operation = self.generated(f".api.{subject}.{name}")
        return operation.sync_detailed(*ids, client=self.client, **values)

    def _first(self, subject):
        return self._call(subject, f"list_{subject}").parsed.items[0]

    def _reports(self):
        shown = {
            kind: self._call("reports", f"get_{kind}_report", self._first(f"{kind}s").id)
            for kind in ("season", "organisation", "team")
        }
        shown["event"] = self._call("reports", "get_event_sheet", self._first("events").id)
        return {name: each.parsed.to_dict() for name, each in shown.items()}

    def _tried(self, rows):
        """Return what an import of rows would do: they come as they are, and then in a form."""
        file = self.generated(".types").File(io.BytesIO(rows.encode()), "rows.csv")
        plain = self._call("imports", "import_trials", body=file, dry_run=True).parsed.trials
        file.payload.seek(0)
        form = self.models.FileForm(file)
        in_form = self._call("imports", "import_trials", body=form, dry_run=True).parsed.trials
        assert plain == in_form
        return in_form.to_dict()

    def _changed(self, size):
        team_id = self._first("teams").id
        etag = self._call("teams", "get_team", team_id).headers["ETag"]
        body = self.models.TeamUpdate(size=size)
        team, refusal = (
            self._call("teams", "change_team", team_id, body=body, if_match=etag).parsed
            for _ in range(2)
        )
        return {"size": team.size, "again": refusal.type_}

    def _bench_at(self, distance_cm):
        like = self._first("benches")
        facts = self.models.BenchCreate(
            organisation_id=like.organisation_id, fan_id=like.fan_id, name="Gym", fan_setting="1",
            anemometer_id=like.anemometer_id, distance_cm=distance_cm,
        )  # fmt: skip
        return self._call("benches", "create_bench", body=facts).parsed.distance_m
