"""A rule of every kind, two where the kind has two faces, for the properties that hold for all of them."""

KEEP = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
SEASON = {"type": "in_each_window", "windows": [{"from_month": 9, "to_month": 4}]}
TWO_WINDOWS = {
    "type": "in_each_window",
    "windows": [
        {"from_month": 2, "from_day": 10, "to_month": 2, "to_day": 29},
        {"from_month": 12, "from_day": 15, "to_month": 1, "to_day": 5},
    ],
}
NAMED_MONTHS = {"type": "in_named_months", "named_months": [12, 2, 4]}
HOURS_LATER = {"type": "months_or_hours_later", "months": 3, "hours": 2000}
HOURS_FIRST = {"type": "months_or_hours_first", "months": 12, "hours": 2000}
TWICE = {"type": "times_per_year", "times": 2, "min_gap_months": 4, "max_gap_months": 8}

RULES = [
    {"type": "max_months", "months": 13},
    KEEP,
    {"type": "calendar_years", "every": 2},
    {"type": "same_quarter_each_year"},
    {"type": "by_day_each_year", "month": 5, "day": 1},
    TWICE,
    HOURS_LATER,
    HOURS_FIRST,
    SEASON,
    TWO_WINDOWS,
    NAMED_MONTHS,
]
