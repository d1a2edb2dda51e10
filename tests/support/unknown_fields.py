"""Build bodies with many unknown fields."""


def unknown_fields(count):
    return trial() | {f"field_{at}": at for at in range(count)}


def trial():
    return {"load_ohm": 30.1, "load_connected": True, "runs": [{"voltage_v": 1.2}]}


HEADER = "team;build;load_ohm;load_connected;voltage_v;adult_present\n"
