"""Two processes on one server: the short version of `changed_elsewhere`."""

from tests.reliability import changed_elsewhere


def test_both_answer_as_a_service_without_caches_does(server_database, tmp_path):
    comparison, _ = changed_elsewhere.run(tmp_path, server_database, writes=8)
    assert comparison.answers > 8 * 20
    assert not comparison.differing
