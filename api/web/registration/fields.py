"""The fields of the form of each kind of thing, in the units of a school."""

from zoneinfo import available_timezones

from api.web import wind_names
from api.web.forms import Field, labelled

#: Places only: abbreviations and fixed offsets have no summer time.
ZONES = [
    ("UTC", "UTC"),
    *(
        (name, name.replace("_", " "))
        for name in sorted(available_timezones())
        if "/" in name and not name.startswith(("Etc/", "SystemV/", "US/"))
    ),
]
FIXINGS = labelled("fixing", "screwed", "pinned", "glued", "moulded", "push_fit")
CONDITIONS = labelled("condition", "good", "worn", "broken")
WIND_METERS = labelled("wind_meter", "vane", "hot_wire", "cup", "pitot", "spec_sheet", "none")
SEASON = (
    Field("name", "text", required=True),
    Field("starts_on", "day", required=True),
    Field("ends_on", "day", required=True),
    Field("timezone", "choice", choices=ZONES),
    Field("reference_wind_speed_m_s", more=True),
    Field("reference_air_density_kg_m3", more=True),
    Field("rule_set", "lines", more=True),
)
SCHOOL = (
    Field("name", "text", required=True),
    Field("altitude_m"),
    Field("timezone", "choice", choices=ZONES),
    Field(
        "sharing", "choice", required=True, choices=labelled("sharing", "own", "anonymous", "named")
    ),
    Field("wind_unit", "choice", required=True, choices=labelled("wind_unit", *wind_names.UNITS)),
)
TEAM = (
    Field("name", "text", required=True),
    Field("season_id", "choice", required=True),
    Field("entry_class", "text", more=True),
    Field("age_band", "text", more=True),
    Field("size", "whole", more=True),
)
BUILD = (
    Field("rotor_diameter_cm", required=True),
    Field("blade_count", "whole", required=True),
    Field("pitch_deg"),
    Field("load_ohm"),
    Field("blade_mass_g"),
    Field("blade_balance_radius_cm"),
    Field("blade_fixing", "choice", choices=FIXINGS),
    Field("material", "text"),
    Field("chord_root_mm", more=True),
    Field("chord_tip_mm", more=True),
    Field("note", "lines", more=True),
)
TURBINE = (
    Field("name", "text", required=True),
    *BUILD,
    Field("generator_id", "choice", more=True),
    Field("gear_ratio", more=True),
    Field("tower_side_cm", more=True),
    Field("tower_mass_kg", more=True),
    Field("hub_height_cm", more=True),
)
ROTOR = (
    Field("name", "text", required=True),
    Field("rotor_id", "choice"),
    *BUILD,
    Field("assigned_power_mw", more=True),
)
OF_BUILD = frozenset(each.name for each in (*BUILD, *ROTOR[-1:]))
BENCH = (
    Field("name", "text", required=True),
    Field("fan_id", "choice"),
    Field("new_fan_tag", "text"),
    Field("fan_setting", "text", required=True),
    Field("distance_cm", required=True),
    Field("anemometer_id", "choice"),
    Field("new_anemometer_tag", "text"),
    Field("new_anemometer_type", "choice", choices=WIND_METERS),
    Field("room", "text", more=True),
    Field("hub_height_cm", more=True),
    Field("tunnel_area_m2", more=True),
    Field("note", "lines", more=True),
)
SESSION = (
    Field("started_at", "moment", required=True),
    Field("season_id", "choice", required=True),
    Field("adult_present", "tick", required=True),
    Field("wind_speed_start_m_s", takes_units=True),
    Field("air_temperature_c"),
    Field("pressure_hpa"),
    Field("relative_humidity_pct"),
    Field("warm_up_min"),
    Field("wind_speed_end_m_s", more=True, takes_units=True),
    Field("meter_id", "choice", more=True),
    Field("fan_setting_used", "text", more=True),
    Field("distance_used_cm", more=True),
    Field("note", "lines", more=True),
)
SPEC = {
    "fan": (Field("diameter_cm"),),
    "anemometer": (Field("type", "choice", choices=WIND_METERS),),
    "meter": (Field("counts", "whole"), Field("percent"), Field("digits")),
    "load": (
        Field("nominal_ohm"),
        Field("measured_ohm"),
        Field("tolerance_pct"),
        Field("rated_power_w"),
    ),
    "generator": (
        Field("emf_constant_v_krpm"),
        Field("winding_resistance_ohm"),
        Field("brush_drop_v"),
    ),
}
EVENT = (
    Field("name", "text", required=True),
    Field("season_id", "choice", required=True),
    Field("held_on", "day", required=True),
    Field("place", "text"),
    Field("wind_speed_m_s"),
    Field("best_of", "whole", more=True),
    Field("drift_decision", "choice", more=True, choices=labelled("drift", "corrected", "as_run")),
    Field("rule_set", "lines", more=True),
    Field("note", "lines", more=True),
)
