"""Take the picture of the README: the season's page of a running demo.

Run `python3 scripts/demo.py`, and in another window, with the key that it prints:
`GUSTBOOK_KEY=… .venv/bin/python -m tests.browser.readme_picture http://127.0.0.1:8000`.
"""

import os
import sys
from pathlib import Path

from tests.support.browsers import launched, sign_in

PICTURE = Path(__file__).parents[2] / "demo_seed" / "season_page.png"
SIZE = {"width": 1180, "height": 860}
MOST_BYTES = 150_000


def main(url: str) -> None:
    """Store the upper part of the season's page as it is on a laptop."""
    with launched() as browser:
        page = browser.new_page(viewport=SIZE, base_url=url, color_scheme="light")
        sign_in(page, os.environ["GUSTBOOK_KEY"])
        page.goto("/season")
        page.screenshot(path=PICTURE)
    if PICTURE.stat().st_size > MOST_BYTES:
        raise SystemExit(f"{PICTURE.name} has more than {MOST_BYTES:,} bytes")


if __name__ == "__main__":
    main(sys.argv[1])
