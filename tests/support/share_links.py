"""Make share links as people do."""

TOKEN = "/shared/"


def make(browser, **asked):
    """Make a link as a person does; return its address."""
    answer = browser.post("/shares", data={"days": "30"} | asked)
    assert answer.status_code == 200, answer.text
    start = answer.text.index(TOKEN)
    return answer.text[start : answer.text.index('"', start)]
