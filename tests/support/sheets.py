"""Build files of trials as people have them, and import them."""

HEADER = (
    "organisation,team,turbine,build,bench,session_started_at,kind,client_ref,load_ohm,"
    "load_connected,voltage_v,wind_speed_m_s,air_temperature_c,pressure_hpa,adult_present"
)
ROW = (
    "Larch school,Larch one,Whirl,1,Larch hall,2026-03-12 14:30,record,{ref},30.1,yes,{volts},4.2,"
    "22,950,yes"
)


def sheet(*rows, header=HEADER):
    return "\n".join([header, *rows]) + "\n"


def three_runs(ref="r1", volts=("1.20", "1.19", "1.21")):
    return [ROW.format(ref=ref, volts=each) for each in volts]


def send(client, content, content_type="text/csv", **parameters):
    body = content.encode() if isinstance(content, str) else content
    return client.post(
        "/v1/imports", params=parameters, content=body, headers={"Content-Type": content_type}
    )


def faults(answer):
    assert answer.status_code == 422, answer.text
    return [
        (error.get("row"), error.get("column"), error["code"]) for error in answer.json()["errors"]
    ]


def stored(world):
    return world.larch.coach.get("/v1/trials?limit=200").json()["items"]
