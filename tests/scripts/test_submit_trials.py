"""The submitting script with a simulated service: messages, retries, exit codes."""

import httpx
import pytest
from client import GustbookError

from scripts import submit_trials
from scripts.submit_trials import SubmitOptions, submit_files
from tests.support.gustbooks import SimulatedService as Service

TRIED = {
    "dry_run": True,
    "understood": {
        "rows": 2, "delimiter": "semicolon", "decimal_sign": ",", "encoding": "utf-8",
    },
    "trials": {"created": 1, "unchanged": 0, "error": 0},
    "rows": [{"row": 2, "client_ref": "a", "outcome": "created", "state": "accepted", "flags": [],
              "errors": []}],
}  # fmt: skip
STORED = TRIED | {"id": "imp_1"}
WRONG = {
    "row": 3, "column": "Voltage (V)", "value": "12,O", "detail": "is not a number",
    "hint": "Was 12,0 meant?",
}  # fmt: skip
TRIED_WRONG = TRIED | {
    "trials": {"created": 1, "unchanged": 0, "error": 1},
    "rows": [*TRIED["rows"],
             {"row": 3, "client_ref": "b", "outcome": "error", "state": None, "flags": [],
              "errors": [WRONG]}],
}  # fmt: skip


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "larch.csv"
    path.write_text("team;Voltage (V)\nLarch;1,2\nLarch;12,O\n", encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch):
    monkeypatch.setattr("client.connection.time.sleep", lambda seconds: None)


def test_it_tries_first_and_then_stores(sheet, capsys):
    service = Service((200, TRIED), (201, STORED))
    assert submit_files(service.client(), [sheet], SubmitOptions()) == 0
    assert [dict(request.url.params) for request in service.asked] == [
        {"dry_run": "true", "mode": "partial"}, {"mode": "all"},
    ]  # fmt: skip
    assert service.asked[0].headers["authorization"] == "Bearer key"
    printed = capsys.readouterr().out
    assert "semicolon between cells, decimal sign ','" in printed
    assert "stored: 1 new, 0 unchanged, 0 refused trials; import imp_1" in printed


def test_what_may_be_read_in_two_ways_and_what_is_hidden_is_said(sheet, capsys):
    question = {"row": 3, "column": "voltage_mv", "value": "1,200",
                "readings": {"comma": "1.2 mV = 0.0012 V", "point": "1200 mV = 1.2 V"}}  # fmt: skip
    understood = {
        "rows": 2,
        "sheet": "Trials",
        "hidden_rows": [4, 7],
        "asks_decimal_sign": question,
    }
    service = Service((200, TRIED | {"understood": understood}), (201, STORED))
    submit_files(service.client(), [sheet], SubmitOptions(decimal="comma"))
    printed = capsys.readouterr().out
    assert "not read: hidden rows 4, 7" in printed
    assert "row 3, column voltage_mv: what is 1,200?" in printed
    assert "1200 mV = 1.2 V: submit again with --decimal point" in printed
    assert all(request.url.params["decimal"] == "comma" for request in service.asked)


def test_guesses_and_columns_that_are_not_read_are_listed(sheet, capsys):
    understood = TRIED["understood"] | {
        "guesses": ["Row 6 summarises others, such as an average, and is not read."],
        "not_read": [{"title": "Remarks", "sentence": "not read: remarks"}],
        "asks_day_order": {"row": 4, "value": "3/5/2026",
                           "readings": {"day_first": "2026-05-03", "month_first": "2026-03-05"}},
    }  # fmt: skip
    service = Service((200, TRIED | {"understood": understood}), (201, STORED))
    mapping = '{"order": "month_first"}'
    submit_files(service.client(), [sheet], SubmitOptions(mapping=mapping))
    printed = capsys.readouterr().out
    assert "Row 6 summarises others" in printed
    assert "column Remarks: not read: remarks" in printed
    assert "which day is 3/5/2026?" in printed
    assert '{"order": "day_first"}' in printed
    assert all(request.url.params["mapping"] == mapping for request in service.asked)


def test_what_the_checks_say_is_said(sheet, capsys):
    held = {"client_ref": "a", "outcome": "created", "state": "held", "errors": [],
            "flags": ["One run lies far from the others."]}  # fmt: skip
    body = TRIED | {"rows": [held | {"row": row} for row in (2, 3)]}
    service = Service((200, body), (201, body | {"id": "imp_1"}))
    submit_files(service.client(), [sheet], SubmitOptions())
    out = capsys.readouterr().out
    assert out.count("row 2, trial a: One run lies far from the others.") == 1
    assert "It waits for an answer and is not counted." in out


def test_a_file_without_rows_stores_nothing(sheet, capsys):
    service = Service((200, TRIED | {"rows": []}))
    assert submit_files(service.client(), [sheet], SubmitOptions()) == 0
    assert "no rows" in capsys.readouterr().out


def test_unsure_it_stops_at_what_looks_odd(sheet):
    odd = {"detail": "1 row looks odd", "errors": [{"row": 2, "detail": "9.4 m/s?"}]}
    service = Service((200, TRIED), (422, odd))
    with (
        service.client() as client,
        pytest.raises(GustbookError, match=r"(?s)1 row looks odd.*row 2"),
    ):
        submit_files(client, [sheet], SubmitOptions(unsure=True))
    assert dict(service.asked[1].url.params) == {"mode": "all", "warnings": "refuse"}


def test_refused_rows_submitted_again_keep_one_problem_column(tmp_path):
    path = tmp_path / "larch.refused.csv"
    path.write_text("team;Voltage (V);problem\nLarch;1,2;x\nLarch;12,O;y\n", encoding="utf-8")
    submit_files(Service((200, TRIED_WRONG)).client(), [path], SubmitOptions())
    assert [each.name for each in tmp_path.iterdir()] == ["larch.refused.csv"]
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    assert lines[0] == "team;Voltage (V);problem"
    assert lines[1].startswith("Larch;12,O;Voltage (V): '12,O'")


def test_a_dry_run_only_tries(sheet):
    service = Service((200, TRIED))
    assert submit_files(service.client(), [sheet], SubmitOptions(dry_run=True)) == 0
    assert len(service.asked) == 1


def test_wrong_rows_are_named_and_nothing_is_stored(sheet, capsys):
    service = Service((200, TRIED_WRONG))
    assert submit_files(service.client(), [sheet], SubmitOptions()) == 1
    printed = capsys.readouterr().out
    assert "row 3, column Voltage (V): '12,O' is not a number. Was 12,0 meant?" in printed
    refused = sheet.with_name("larch.refused.csv").read_text(encoding="utf-8-sig")
    problem = "Voltage (V): '12,O' is not a number. Was 12,0 meant?"
    assert refused == f"team;Voltage (V);problem\nLarch;12,O;{problem}\n"


def test_partial_stores_the_good_rows(sheet):
    service = Service((200, TRIED_WRONG), (201, TRIED_WRONG | {"id": "imp_2"}))
    assert submit_files(service.client(), [sheet], SubmitOptions(partial=True)) == 1
    assert dict(service.asked[1].url.params) == {"mode": "partial"}


def test_a_lost_answer_is_asked_for_again_under_the_same_key(sheet):
    lost = httpx.ReadError("connection reset")
    service = Service((200, TRIED), lost, (503, {"detail": "busy"}), (201, STORED))
    assert submit_files(service.client(), [sheet], SubmitOptions()) == 0
    keys = {request.headers["idempotency-key"] for request in service.asked[1:]}
    assert len(keys) == 1


def test_two_runs_have_two_keys(sheet):
    service = Service((200, TRIED), (201, STORED), (200, TRIED), (201, STORED))
    for _ in range(2):
        submit_files(service.client(), [sheet], SubmitOptions())
    assert len({service.asked[i].headers["idempotency-key"] for i in (1, 3)}) == 2


@pytest.mark.parametrize(
    ("answers", "code", "words"),
    [
        ([httpx.ConnectError("refused")] * 5, 4, "cannot be reached"),
        ([(401, {"title": "A valid access key is needed", "detail": "no such key"})], 3, "401"),
        ([(500, {"title": "Something went wrong here", "detail": "noted"})], 4, "500"),
        (
            [(422, {"detail": "1 column titles cannot be used", "errors": [
                {"row": 1, "column": "voltz", "detail": "is not a column",
                 "hint": "Did you mean volts?"}]})],
            1, "row 1, column voltz: is not a column. Did you mean volts?",
        ),
    ],
    ids=["no service", "key", "fault", "file"],
)  # fmt: skip
def test_it_stops_in_words_with_a_code(answers, code, words, sheet):
    with pytest.raises(GustbookError) as stopped:
        submit_files(Service(*answers).client(), [sheet], SubmitOptions())
    assert stopped.value.exit_code == code
    assert words in str(stopped.value)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(GustbookError, match="No such file"):
        submit_files(Service().client(), [tmp_path / "no.csv"], SubmitOptions())


def test_a_key_never_stands_on_the_command_line(capsys):
    with pytest.raises(SystemExit):
        submit_trials.main(["--help"])
    printed = capsys.readouterr().out
    assert "--key" not in printed
    assert "exit codes: 0 stored or unchanged" in printed


def test_refused_rows_of_a_wide_file_are_cut_alike(tmp_path):
    path = tmp_path / "wide.csv"
    path.write_bytes("sep=;\r\nteam;Voltage (V)\r\nLärch;1\r\nLärch;x\r\n".encode("utf-16"))
    service = Service((200, TRIED_WRONG))
    submit_files(service.client(), [path], SubmitOptions())
    refused = path.with_name("wide.refused.csv").read_text(encoding="utf-8-sig").splitlines()
    assert refused[1].startswith("Lärch;x;")
