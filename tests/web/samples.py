"""Invented rules and charts, the awkward ones too."""

from datetime import date

from fleet.presentation.drift_chart import DriftChart, DriftVisit, Outcome
from fleet.presentation.due_rule import DueRule
from fleet.presentation.reading_rule import Pin, ReadingRule, Wall

TODAY = date(2027, 2, 16)


def co2(found: list[Pin] | None = None, left: list[Pin] | None = None) -> ReadingRule:
    return ReadingRule(
        "CO₂ at high fire",
        "% dry",
        low=7.6,
        high=10.4,
        decimals=2,
        band_lower=8.7,
        band_upper=9.3,
        target=9.0,
        walls=[Wall(8.2, "lower"), Wall(9.9, "upper")],
        found=[Pin(8.55)] if found is None else found,
        left=[Pin(8.94)] if left is None else left,
    )


def co(found: list[Pin], left: list[Pin]) -> ReadingRule:
    walls = [Wall(350, "upper")]
    return ReadingRule("CO air-free", "ppm", 0, 500, 0, band_upper=120, walls=walls, found=found, left=left)


READINGS: dict[str, ReadingRule] = {
    "found and left": co2(),
    "not read": co2([], []),
    "found only": co2(left=[]),
    "two found pins near each other": co2([Pin(8.81), Pin(8.86)]),
    "three pins on one side": co2([Pin(8.81), Pin(8.86), Pin(8.9)], [Pin(9.02), Pin(9.05), Pin(9.31)]),
    "pins by the walls": co2([Pin(8.21)], [Pin(9.86)]),
    "outside the range": co2([Pin(6.9)], [Pin(11.25)]),
    "more_than": co([Pin(2000, qualifier="more_than")], [Pin(64)]),
    "less_than": co([Pin(410, "while firing")], [Pin(5, qualifier="less_than")]),
    "expected, with its spread": co2([Pin(8.66, "expected", spread=(8.4, 8.93))], [Pin(9.04)]),
    "no limits, no band": ReadingRule("Flue above air", "K", 0, 120, 0, found=[Pin(49)], left=[Pin(47)]),
    "no sheet at all": ReadingRule("O₂", "%", 0, 21, 1, found=[Pin(4.7)]),
    "two limits above, as read": ReadingRule(
        "CO", "ppm", 0, 1200, 0, walls=[Wall(350, "upper"), Wall(1000, "upper")], found=[Pin(640, text="640")]
    ),
    "below zero": ReadingRule(
        "Draught",
        "Pa",
        -30,
        5,
        1,
        band_lower=-16,
        band_upper=-6,
        target=-10,
        walls=[Wall(-3, "upper")],
        left=[Pin(-9.5)],
    ),
    "a hostile name": ReadingRule('<b onload="x">&', "%", 0, 10, 1, found=[Pin(4, '"><script>', text="<i>4")]),
}

DUES: dict[str, DueRule] = {
    "planned too late": DueRule(TODAY, date(2026, 6, 3), date(2027, 2, 18), date(2027, 2, 1), date(2027, 3, 11)),
    "planned in time": DueRule(TODAY, date(2027, 2, 1), date(2027, 3, 20), planned=date(2027, 3, 2)),
    "nothing planned": DueRule(TODAY, date(2026, 12, 20), date(2027, 3, 4)),
    "long overdue": DueRule(TODAY, date(2025, 1, 1), date(2025, 12, 31), planned=date(2027, 3, 2)),
    "a window that began before the line": DueRule(
        TODAY, date(2024, 1, 1), date(2027, 3, 20), first=date(2027, 1, 1), until=date(2027, 5, 1)
    ),
    "no last day yet": DueRule(TODAY, date(2027, 2, 1), horizon=date(2027, 8, 9)),
    "nothing known": DueRule(TODAY),
}


def course(start: float, fall: float, spread: float, months: int = 15) -> list[Outcome]:
    """Outcomes from the last reading on, month by month, spreading as they go."""
    outcomes = []
    for month in range(months):
        middle, half = start - fall * month / 12, spread * (month / 12) ** 0.5
        on = date(2026 + (2 + month) // 12, (2 + month) % 12 + 1, 9)
        outcomes.append(Outcome(on, middle - 2.4 * half, middle - half, middle, middle + half, middle + 2.4 * half))
    return outcomes


CHARTS: dict[str, DriftChart] = {
    "five visits and a fan": DriftChart(
        "CO₂ at high fire",
        "% dry",
        2,
        [
            DriftVisit(date(2022, 3, 1), None, 9.01),
            DriftVisit(date(2023, 2, 21), 8.78, 9.03),
            DriftVisit(date(2024, 3, 4), 8.71, 8.97),
            DriftVisit(date(2025, 2, 25), 8.62, 9.0),
            DriftVisit(date(2026, 3, 9), 8.69, 8.98),
        ],
        TODAY,
        lower=8.2,
        upper=9.9,
        band_lower=8.7,
        band_upper=9.3,
        target=9.0,
        course=course(8.98, 0.3, 0.16),
        due=DUES["planned too late"],
    ),
    "a rising ceiling quantity": DriftChart(
        "CO air-free at high fire",
        "ppm",
        0,
        [DriftVisit(date(2026, 8, 11), 61, 40), DriftVisit(date(2026, 12, 2), 92, None)],
        TODAY,
        upper=350,
        band_upper=120,
        course=[Outcome(date(2026, 12, 2), 92, 92, 92, 92, 92), Outcome(date(2027, 9, 1), 60, 150, 240, 360, 620)],
        due=DUES["planned in time"],
    ),
    "nothing yet": DriftChart("O₂ at low fire", "%", 1, [], TODAY),
    "names close together": DriftChart(
        "O₂", "%", 2, [DriftVisit(date(2026, 8, 11), 4.5, 9.0)], TODAY, 4.0, 4.12, 4.03, 4.09, 4.06
    ),
}
