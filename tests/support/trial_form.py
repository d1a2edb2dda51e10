"""Fill the trial form and a sheet of trials, and count stored trials."""

CSV = (
    "team;build;bench;session_started_at;client_ref;load_ohm;load_connected;voltage_v;"
    "wind_speed_m_s;adult_present\n"
    "Larch one;1;Larch hall;2026-03-12 14:30;sheet-1;30,1;yes;1,20;4,2;yes\n"
    "Larch one;1;Larch hall;2026-03-12 14:30;sheet-2;30,1;yes;1,l9;4,2;yes\n"
)


def trials_of(world):
    items = world.lead.get(
        "/v1/trials", params={"build_id": world.larch.build_id, "limit": 200}
    ).json()["items"]
    return len(items)


def fill_trial(page, *volts, load="30,1"):
    """Fill the form as at the bench, with commas."""
    page.get_by_label("Load resistor").fill(load)
    page.get_by_label("The load was connected").check()
    for at, each in enumerate(volts, start=1):
        page.get_by_label(f"Reading {at}").fill(each)


def new_trial(page, world):
    page.goto(f"/trials/new?build_id={world.larch.build_id}&session_id={world.larch.session_id}")


def stored_of(world, build_id):
    asked = {"build_id": build_id, "limit": 200}
    return len(world.lead.get("/v1/trials", params=asked).json()["items"])


def wait_for_kept_form(page, path="/trials/new"):
    """Wait until the service worker has cached the trial form."""
    for _ in range(100):
        if page.evaluate(f"caches.match('{path}').then(Boolean)"):
            return
        page.wait_for_timeout(100)
    raise AssertionError("the trial form was not cached")
