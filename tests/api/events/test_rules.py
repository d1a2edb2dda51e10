"""An event's rules: invalid ones, and when the season's rules apply."""

import jsonschema
import pytest

from tests.support.events import event, patch, readiness
from tests.support.makers import (
    World,
    rule_set,
)


class TestRefusedRules:
    @pytest.mark.parametrize(
        ("changed", "pointer", "words"),
        [
            ({"field": "build.rotor_diametre_m"}, "/rule_set/checks/0/field",
             "Did you mean build.rotor_diameter_m?"),
            ({"op": "=<"}, "/rule_set/checks/0/op", "is not an operator"),
            ({"unit": "kgs"}, "/rule_set/checks/0/unit", "Did you mean kg?"),
            ({"unit": "kg"}, "/rule_set/checks/0", "no unit of build.rotor_diameter_m"),
            ({"value": None}, "/rule_set/checks/0", "a limit needs op"),
            ({"value": [1, 2]}, "/rule_set/checks/0", "'in' goes with a list"),
            ({"touchs": []}, "/rule_set/checks/0/touchs", "Did you mean touches?"),
            ({"op": "in"}, "/rule_set/checks/0", "'in' goes with a list"),
            ({"value": "wide"}, "/rule_set/checks/0", "compares numbers"),
            ({"value": None, "value_from": "turbine.tower_mass_kg"}, "/rule_set/checks/0",
             "not of one unit"),
            ({"id": "pull_test"}, "/rule_set/checks/0", "must be an inspection"),
            ({"kind": "inspection", "value": [1, 2]}, "/rule_set/checks/0", "'in' goes with"),
            ({"severity": "may"}, "/rule_set/checks/0/severity", "must"),
            ({"id": "Rotor size"}, "/rule_set/checks/0/id", "form"),
        ],
    )  # fmt: skip
    def test_with_path_and_nearest_name(self, changed, pointer, words, world: World):
        rules = rule_set()
        rules["checks"][0] |= changed
        for path, owner in ((event(world), "event"), (f"/v1/seasons/{world.season_id}", "season")):
            refused = patch(world.lead, path, rule_set=rules)
            assert refused.status_code == 422, owner
            (error,) = refused.json()["errors"]
            assert error["pointer"] == pointer
            assert words in f"{error['detail']} {error.get('hint')}"

    def test_one_name_twice(self, world: World):
        rules = rule_set()
        rules["checks"] += rules["checks"][:1]
        refused = patch(world.lead, event(world), rule_set=rules)
        assert "two checks named rotor_size" in refused.text


class TestRules:
    def test_the_example_is_one_and_fits_the_schema(self, world: World):
        example = world.lead.get("/v1/templates/rule-set.json").json()
        schema = world.lead.get("/v1/templates/rule-set.schema.json").json()
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.validate(example, schema)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({"name": "x", "checks": [{"id": "a"}]}, schema)
        assert patch(world.lead, event(world), rule_set=example).status_code == 200

    def test_the_seasons_hold_where_the_event_has_none(self, world: World):
        assert patch(world.lead, event(world), rule_set=None).status_code == 200
        assert "rule set" in readiness(world.lead, world)["reason"]
        assert readiness(world.lead, world)["teams"] == []
        season = f"/v1/seasons/{world.season_id}"
        assert patch(world.lead, season, rule_set=rule_set()).status_code == 200
        assert readiness(world.lead, world)["rule_set"] == "Meeting rules, version 1"
