"""Weather that was probably typed in another unit: asked about, never guessed."""

from __future__ import annotations

from typing import Final

#: Coldest daytime air [°F] of each month that is taken without a question. Twenty-some degrees Celsius on a warm day
#: typed as Fahrenheit lies below it; from December to February such cold is common (no source).
_COLDEST_F: Final = dict(zip(range(1, 13), (10, 10, 30, 30, 45, 45, 45, 45, 45, 30, 30, 10), strict=True))
HOTTEST_F: Final = 125.0


def temperature_question(month: int, temp_f: float) -> str | None:
    """Return a question where a daytime temperature looks like Celsius, or like no weather; ``None`` where it does not.

    Parameters
    ----------
    month
        1 to 12.
    temp_f
        As typed [°F].

    Examples
    --------
    >>> temperature_question(7, 31)
    'is 31 °F meant, or 31 °C, which is 88 °F?'
    """
    if temp_f > HOTTEST_F:
        return f"is {temp_f:g} °F meant? It is hotter than weather is"
    if temp_f < _COLDEST_F[month]:
        return f"is {temp_f:g} °F meant, or {temp_f:g} °C, which is {temp_f * 1.8 + 32:.0f} °F?"
    return None
