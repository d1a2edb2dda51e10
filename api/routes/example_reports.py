"""Examples of the answers of reports."""

from typing import Any

from api.routes.example_things import BCH, BLD, EVT, MOMENT, ORG, SEA, SES, TEAM, TRL

TREND = {
    "sessions": 1,
    "slope_pct_per_week": None,
    "interval_pct_per_week": None,
    "kendall_s": None,
    "p_one_sided": None,
    "verdict": "too_early",
    "reason": "5 sessions are needed to call a trend",
    "sentence_key": "trend.too_early",
    "sentence": "It is too early to see a trend.",
}
FIGURE = {
    "normalised_power_w": 0.0441,
    "normalised_power_cubic_w": 0.0453,
    "u_own": 0.051,
    "u_bench": 0.143,
    "u_total": 0.152,
    "interval_w": [0.0326, 0.0598],
    "trials": 2,
    "sessions": 1,
    "bench_id": BCH,
}
TEAM_REPORT: dict[str, Any] = {
    "team_id": TEAM,
    "name": "Larch",
    "organisation_id": ORG,
    "entry_class": None,
    "current": FIGURE | {"build_id": BLD, "build_number": 2, "latest_at": MOMENT},
    "current_build_number": 2,
    "reason": None,
    "untested_build_number": None,
    "best_seen": {
        "normalised_power_w": 0.046,
        "u_total": 0.152,
        "interval_w": [0.0339, 0.0623],
        "trial_id": TRL,
        "build_id": BLD,
        "build_number": 2,
        "of_trials": 2,
    },
    "first": FIGURE | {"session_id": SES, "started_at": MOMENT},
    "latest": FIGURE | {"session_id": SES, "started_at": MOMENT},
    "change": None,
    "change_reason": "only one build has a record trial that counts",
    "trend": TREND,
    "trials": 2,
    "sessions": 1,
    "trials_stored": 2,
    "last_trial_at": MOMENT,
    "left_out": [],
}
REPORT = {
    "season_id": SEA,
    "name": "Spring 2026",
    "revision": 41,
    "as_of": MOMENT,
    "reference_wind_speed_m_s": 4.0,
    "reference_air_density_kg_m3": 1.225,
    "organisations": [{"organisation_id": ORG, "name": "Tarnwick", "teams": [TEAM_REPORT]}],
    "benches": [],
    "comparison": {
        "available": True,
        "places": [
            {
                "group": 0,
                "group_size": 2,
                "place": 1,
                "places": [1, 2],
                "team_id": TEAM,
                "name": "Larch",
                "build_id": BLD,
                "build_number": 2,
                "fair_power_w": 0.0471,
                "u_total": 0.09,
                "interval_w": [0.0393, 0.0564],
                "trials": 2,
                "ahead_of_next": None,
                "reason": None,
                "untested_build_number": None,
            }
        ],
        "not_shown": 0,
        "others_as_of": None,
        "assumption": None,
        "sentence_key": "fair.available",
        "sentence": "Teams in the same group can be compared, because they share a bench, the "
        "reference rotor or a visiting turbine. Where two are too close to call, it says so.",
    },
    "trials_stored": 2,
    "trials": 2,
    "sessions": 1,
    "left_out": [],
    "drift": None,
}

BUDGET: dict[str, Any] = {
    "trial_id": TRL,
    "normalised_power_w": 0.0441,
    "interval_w": [0.0326, 0.0598],
    "u_total_pct": 15.2,
    "terms": [
        {
            "term": "wind_meter",
            "name": "Wind meter",
            "part": "bench",
            "u_input": 0.0448,
            "sensitivity": -2.6,
            "u_pct": 11.7,
            "share_pct": 59.0,
        }
    ],
    "sentence_key": "budget_advice.wind_meter",
    "sentence": "59 % of the uncertainty is the wind meter.",
}
QUALITY: dict[str, Any] = {
    "season_id": SEA,
    "name": "Spring 2026",
    "revision": 41,
    "as_of": MOMENT,
    "charts": [
        {
            "bench_id": BCH,
            "bench": "Larch hall",
            "rotor_id": BLD,
            "rotor": "Reference rotor",
            "moved_at": None,
            "points": [
                {
                    "session_id": SES,
                    "started_at": MOMENT,
                    "off_pct": 1.4,
                    "sd_pct": 4.9,
                    "z": 0.3,
                    "verdict": "fine",
                    "trials": 2,
                }
            ],
            "sentence_key": "quality.chart_fine",
            "sentence": "Larch hall: steady over 5 sessions.",
        }
    ],
    "drift": None,
    "precision": [
        {
            "level": "intermediate",
            "sd_pct": 5.1,
            "limit_pct": 15.3,
            "degrees_of_freedom": 30,
            "sentence_key": "quality.intermediate",
            "sentence": "Two trials of one build on different days differ by less than 15 %.",
        }
    ],
    "influence": [
        {
            "bench_id": BCH,
            "bench": "Larch hall",
            "builds": 20,
            "largest_shift_pct": -1.7,
            "largest_shift_team": "Heron",
            "reversed": [],
            "reversed_count": 0,
            "only_link": 0,
            "sentence_key": "quality.no_influence",
            "sentence": "Larch hall: without it, the order of the others stays the same.",
        }
    ],
    "influence_left_out": None,
    "interaction": None,
    "reason": None,
}


REPORT_EXAMPLES: dict[str, Any] = {
    "SeasonReport": REPORT,
    "SeasonQuality": QUALITY,
    "UncertaintyBudget": BUDGET,
    "TeamProgress": {
        "team_id": TEAM,
        "name": "Larch",
        "as_of": MOMENT,
        "revision": 41,
        "current_build_number": 2,
        "builds": [
            FIGURE
            | {
                "build_id": BLD,
                "number": 2,
                "best_seen_w": 0.046,
                "best_seen_debiased_w": 0.0447,
                "fair_power_w": 0.0471,
                "fair_u_total": 0.09,
                "fair_interval_w": [0.0393, 0.0564],
                "wind_exponent": 2.6,
                "wind_exponent_u": 0.4,
                "wind_exponent_source": "default",
            }
        ],
        "sessions": [
            FIGURE
            | {
                "session_id": SES,
                "started_at": MOMENT,
                "build_number": 2,
                "adjusted_power_w": 0.0465,
                "reference_ran": True,
            }
        ],
        "trend": TREND,
        "plateau": {
            "status": "not_yet",
            "builds": 1,
            "sentence_key": "plateau.not_yet",
            "sentence": "Too few builds yet to say whether the gains have levelled off.",
        },
        "pitch": [],
        "load": [],
        "wind": [],
        "changes": [],
        "next_test": {
            "factor": "pitch",
            "value": 8.0,
            "sentence_key": "next.pitch",
            "sentence": "Try 8.0° of pitch next, all else as it is.",
        },
        "reason": None,
    },
    "SeasonComparison": {
        "season_id": SEA,
        "as_of": MOMENT,
        "revision": 41,
        "groups": [[BLD]],
        "builds": [
            {
                "build_id": BLD,
                "build_number": 2,
                "team_id": TEAM,
                "team_name": "Larch",
                "current": True,
                "group": 0,
                "fair_power_w": 0.052,
                "u_total": 0.09,
                "u_region": 0.147,
                "interval_w": [0.0434, 0.0623],
                "trials": 5,
                "reason": None,
            }
        ],
        "odd_trials": [],
        "benches": [
            {
                "bench_id": BCH,
                "name": "Hall fan, setting 2",
                "effect_pct": -9.5,
                "u_pct": 6.1,
                "z": -1.0,
                "zeta": -1.6,
                "e_n": -0.8,
                "against": "season_model",
                "assigned": {
                    "effect_pct": -6.2,
                    "z_prime": -0.4,
                    "zeta": -0.4,
                    "e_n": -0.2,
                    "verdict": "fine",
                },
                "verdict": "fine",
                "trials": 12,
                "sentence_key": "bench.fine",
                "sentence": "Hall fan, setting 2 reads -10 % from the others: fine.",
            }
        ],
        "builds_not_listed": 0,
        "pairs": [],
        "pairs_not_listed": 0,
        "missing_links": [],
        "check": {
            "standard_deviation": 0.9,
            "verdict": "fine",
            "trials": 12,
            "session_sd": 0.06,
            "residual_factor": 1.0,
            "estimated": False,
            "interaction_sd": 0.05,
            "interaction_estimated": False,
            "sentence_key": "model.fine",
            "sentence": "The season's trials scatter as their uncertainties say (0.9 times).",
        },
        "trials": 12,
        "not_shown": 0,
        "others_as_of": None,
        "reason": None,
    },
    "SeasonPlan": {
        "season_id": SEA,
        "as_of": MOMENT,
        "revision": 41,
        "teams": 24,
        "doubt_pct": 17.0,
        "steps": [
            {
                "kind": "reference",
                "bench_id": BCH,
                "team_ids": [],
                "joins": 4,
                "doubt_before_pct": 17.0,
                "doubt_after_pct": 14.0,
                "sentence_key": "plan.reference",
                "sentence": "A session of the reference rotor at Hall fan, setting 2: the "
                "uncertainty between two teams falls from 17 to 14 %.",
            }
        ],
        "visit_day": None,
        "reason": None,
    },
    "EventOutlook": {
        "event_id": EVT,
        "season_id": SEA,
        "held_on": "2026-05-16",
        "as_of": MOMENT,
        "revision": 41,
        "wind_speed_m_s": 4.3,
        "best_of": 2,
        "draws": 20000,
        "seed": 2718281828,
        "teams": [
            {
                "team_id": TEAM,
                "team_name": "Larch",
                "build_id": BLD,
                "build_number": 2,
                "untested_build_number": None,
                "status": "placed",
                "median_w": 0.058,
                "range_80_w": [0.047, 0.071],
                "first": 0.31,
                "top_three": 0.74,
                "top_half": 0.96,
                "trials": 5,
                "days_since_last_trial": 9,
                "reason": None,
                "sentence_key": "outlook.range",
                "sentence": "Larch: 58 mW at the event, most likely 47 to 71 mW; first with 31 % "
                "probability.",
            }
        ],
        "pairs": [],
        "pairs_not_listed": 0,
        "whole_order": 0.04,
        "among_shown": False,
        "entrants": 6,
        "missing_links": [],
        "reason": None,
    },
    "EventReview": {
        "event_id": EVT,
        "as_of": MOMENT,
        "revision": 57,
        "teams": [
            {
                "team_id": TEAM,
                "team_name": "Larch",
                "median_w": 0.058,
                "range_80_w": [0.047, 0.071],
                "result_w": 0.062,
                "z": 0.41,
                "within": True,
            }
        ],
        "finished": 6,
        "coverage": 0.83,
        "brier": 0.16,
        "mean_ln_bias": 0.05,
        "reason": None,
        "sentence_key": "review.coverage",
        "sentence": "5 of 6 results were within their 80 % range; with many results four of five "
        "should.",
    },
}
