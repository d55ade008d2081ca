"""The United States, and whatever locale has no file of its own: Nov 24, 2026, 5:00 PM."""

DATE_FORMAT = "M j, Y"
MONTH_DAY_FORMAT = "M j"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "g:i A"
DATETIME_FORMAT = "M j, Y, g:i A"
SHORT_DATETIME_FORMAT = "M j, g:i A"
