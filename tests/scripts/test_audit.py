"""The audit of packages succeeds only if each package was looked up."""

from pathlib import Path

import pytest

from scripts.audit import NOT_LOOKED_UP, VULNERABLE, locked, verdict

LOCKS = Path(__file__).parents[2] / "scripts" / "lock"
WANTED = {"idna": {"3.18"}, "typing-extensions": {"4.16"}}


def looked_up(name="idna", version="3.18", **more):
    return {"name": name, "version": version, "vulns": []} | more


OTHER = looked_up("typing_extensions", "4.16")
BAD = {"id": "GHSA-0000", "fix_versions": ["3.19"]}


class TestRefused:
    @pytest.mark.parametrize("dependencies", [
        pytest.param([], id="nothing at all"),
        pytest.param([OTHER], id="one left out"),
        pytest.param([OTHER, {"name": "idna", "skip_reason": "not found"}], id="one skipped"),
        pytest.param([OTHER, looked_up(version="3.17")], id="another version"),
    ])  # fmt: skip
    def test_what_was_not_looked_up(self, dependencies):
        code, lines = verdict({"dependencies": dependencies}, WANTED)
        assert code == NOT_LOOKED_UP
        assert any(line.startswith("idna 3.18: ") for line in lines)

    def test_a_report_that_was_not_given(self):
        assert verdict({}, WANTED)[0] == NOT_LOOKED_UP

    def test_a_lock_in_which_nothing_was_found(self):
        assert verdict({"dependencies": [OTHER]}, {})[0] == NOT_LOOKED_UP

    def test_what_something_is_known_against(self):
        code, lines = verdict({"dependencies": [OTHER, looked_up(vulns=[BAD])]}, WANTED)
        assert code == VULNERABLE
        assert lines == ["idna 3.18: GHSA-0000, corrected in 3.19"]


def test_all_looked_up_and_clean_is_well():
    assert verdict({"dependencies": [OTHER, looked_up()]}, WANTED) == (0, [])


@pytest.mark.parametrize("lock", ["runtime", "check", "audit", "bench"])
def test_every_package_of_a_lock_is_found_and_hashed(lock):
    text = (LOCKS / f"{lock}.txt").read_text()
    packages = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert sum(map(len, locked(text).values())) == len(packages) > 20
    assert text.count("--hash=sha256:") >= len(packages)
    assert "://" not in text


def test_what_the_checks_run_on_is_what_the_service_runs_on():
    runtime, check, audit = (locked((LOCKS / f"{name}.txt").read_text())
                             for name in ("runtime", "check", "audit"))  # fmt: skip
    assert all(check[name] == versions for name, versions in runtime.items())
    assert all(audit[name] == versions for name, versions in check.items())
