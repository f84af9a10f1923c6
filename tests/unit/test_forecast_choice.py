"""Which stored forecast an hour goes by, what of the weather is taken from it, and what is said of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from habmap.errors import InputError
from habmap.records import WIND_HEIGHT_WORDS, Forecast, ForecastHour
from habmap.work.burn.forecast import forecast_used, ignition_weather, wind_height, with_forecast
from habmap.work.burn.request import BurnRequest, ForecastSource
from habmap.work.burn.result import ForecastUsed

AT = datetime(2026, 3, 20, 14)
ZONE = ZoneInfo("America/Chicago")
GIVEN = {"temp_f": 60.0, "rh_pct": 35.0, "wind_mph": 8.0, "wind_from_deg": 180.0}


def forecast(name: str, first: datetime, last: datetime, *, height: str | None = None, **cells: float) -> Forecast:
    """Return a row an hour from one to another."""
    hours = tuple(
        ForecastHour(at=first + timedelta(hours=n), **({"temp_f": 50.0, "rh_pct": 40.0, "wind_mph": 10.0} | cells))  # type: ignore[arg-type]
        for n in range(int((last - first) / timedelta(hours=1)) + 1)
    )
    return Forecast(uuid=name, file_name=f"{name}.csv", wind_height=height, hours=hours,
                    recorded_at=datetime(2026, 3, 20, 12, tzinfo=UTC))  # fmt: skip


def request(**fields: object) -> BurnRequest:
    return BurnRequest(**({"names": ("A",), "at": AT} | fields))  # type: ignore[arg-type]


def chosen(asked: BurnRequest, *stored: Forecast) -> tuple[str | None, tuple[str, ...]]:
    found, words = with_forecast(asked, stored)
    return found.forecast_source and found.forecast_source.file_name, words


def test_the_newest_that_holds_the_hour_counts_and_with_the_weather_given_one_of_a_later_hour_will_do() -> None:
    now = forecast("now", AT - timedelta(hours=2), AT)
    older = forecast("older", AT - timedelta(hours=5), AT + timedelta(hours=5))
    ended = forecast("ended", AT - timedelta(hours=5), AT - timedelta(hours=1))
    later = forecast("later", AT + timedelta(hours=3), AT + timedelta(hours=6))
    assert chosen(request(), now, older) == ("now.csv", ())
    # an hour lasts to the next: its row is less than an hour old
    assert chosen(request(at=AT + timedelta(minutes=59)), now)[0] == "now.csv"
    assert chosen(request(at=AT + timedelta(minutes=60)), now)[0] is None
    assert chosen(request(at=AT - timedelta(hours=2)), now)[0] == "now.csv"
    assert chosen(request(at=AT - timedelta(hours=2, minutes=1)), now)[0] is None
    # the newest that ended is told, whether an older one holds the hour or none
    span = "from 2026-03-20 09:00 to 2026-03-20 13:00"
    told = f"the forecast ended.csv reaches {span}, not to 2026-03-20 14:00: it is not used"
    assert chosen(request(), ended, older) == ("older.csv", (told,))
    assert chosen(request(), ended) == (None, (told,))
    assert chosen(request()) == (None, ())
    # one that begins later says nothing of ignition, unless all of that is given
    assert chosen(request(), later)[0] is None
    assert chosen(request(**GIVEN), later) == ("later.csv", ())
    assert chosen(request(**GIVEN | {"rh_pct": None}), later)[0] is None
    assert chosen(request(**GIVEN), ended)[0] is None
    assert chosen(request(**GIVEN), later, older)[0] == "older.csv"  # it holds the hour itself


def test_a_forecast_handed_over_comes_before_stored_ones_where_it_reaches_the_day() -> None:
    held, stored = forecast("held", AT, AT + timedelta(hours=3)), forecast("stored", AT, AT)
    source = ForecastSource(file_name="held.csv")
    asked = request(forecast=held.hours, forecast_source=source)
    assert chosen(asked, stored) == ("held.csv", ())
    late = request(forecast=held.hours, forecast_source=source, at=AT + timedelta(days=2))
    found, (words,) = with_forecast(late, [stored])
    assert (found.forecast, found.forecast_source) == ((), None) and words.startswith("the forecast held.csv reaches")
    bare = request(forecast=held.hours, at=AT + timedelta(days=2))
    assert "the forecast handed over reaches" in with_forecast(bare)[1][0]


def test_two_heights_of_one_wind_are_refused_where_it_is_the_forecast_s() -> None:
    high = forecast("high", AT, AT, height="20ft")
    with pytest.raises(InputError, match="another height"):
        with_forecast(request(wind_height="eye"), [high])
    for fields in ({"wind_height": "20ft"}, {}, {"wind_height": "eye", "wind_mph": 5.0}):
        assert with_forecast(request(**fields), [high])[0].forecast
    assert with_forecast(request(wind_height="eye"), [forecast("silent", AT, AT)])[0].forecast
    # where it is meant: as said, else as the forecast says of its own wind
    for fields, meant in (
        ({}, "20ft"), ({"wind_mph": 5.0}, None), ({"wind_mph": 5.0, "wind_height": "eye"}, "eye"),
        ({"wind_height": "20ft"}, "20ft"),
    ):  # fmt: skip
        assert wind_height(with_forecast(request(**fields), [high])[0]) == meant
    assert wind_height(request(wind_height="eye")) == "eye" and wind_height(request()) is None


def test_what_is_given_counts_and_the_rest_is_the_forecast_s_hour() -> None:
    rows = forecast("f", AT, AT, wind_from_deg=270.0, gust_mph=12.0)

    def weather(**fields: object) -> dict[str, float | None]:
        return ignition_weather(with_forecast(request(**fields), [rows])[0], ())

    found = weather(rh_pct=25.0)
    assert [found[item] for item in ("temp_f", "rh_pct", "wind_mph", "wind_from_deg", "gust_mph")] == [
        50.0, 25.0, 10.0, 270.0, 12.0,
    ]  # fmt: skip
    # gusts weaker than the wind that was given are not its gusts
    assert [weather(wind_mph=mph)["gust_mph"] for mph in (12.0, 12.5, 0.0)] == [12.0, None, 12.0]
    assert weather(gust_mph=30.0)["gust_mph"] == 30.0
    still = forecast("still", AT, AT, wind_from_deg=0.0, wind_mph=0.0, gust_mph=0.0)
    for fields, gusts in (({}, 0.0), ({"wind_mph": 0.0}, 0.0), ({"wind_mph": 0.005}, None)):
        assert ignition_weather(with_forecast(request(**fields), [still])[0], ())["gust_mph"] == gusts
    calm = forecast("calm", AT, AT, wind_from_deg=0.0, wind_mph=0.0)
    assert ignition_weather(with_forecast(request(), [calm])[0], ())["gust_mph"] is None
    # all that is missing is named, with why a forecast was not used
    with pytest.raises(InputError, match="not complete") as refused:
        ignition_weather(request(temp_f=60.0, rh_pct=35.0), ("old",))
    assert refused.value.value == "no wind, no wind from; old"
    # a past burn needs no more than the direction that its smoke took
    past = ignition_weather(request(is_observed=True, wind_from_deg=90.0), ())
    assert (past["wind_from_deg"], past["temp_f"]) == (90.0, None)
    with pytest.raises(InputError, match="not complete"):
        ignition_weather(request(is_observed=True, temp_f=60.0, rh_pct=35.0, wind_mph=8.0), ())


def test_it_is_said_which_forecast_how_old_and_what_is_taken_from_it() -> None:
    """Loaded at noon UTC, 7 in the morning in Kansas: 7 hours before ignition at 14:00."""
    rows = forecast("f", AT - timedelta(hours=1), AT + timedelta(hours=2), wind_from_deg=270.0, height="20ft")

    def used(at: datetime = AT, **fields: object) -> ForecastUsed:
        asked, _ = with_forecast(request(at=at, **fields), [rows])
        found = forecast_used(asked, ignition_weather(asked, ()), ZONE)
        assert found is not None
        return found

    found = used(rh_pct=25.0)
    assert (found.first, found.last, found.wind_height) == ("2026-03-20T13:00", "2026-03-20T16:00", "20ft")
    assert found.taken == ("temp_f", "wind_mph", "wind_from_deg")
    assert found.words.startswith(
        "f.csv, loaded 2026-03-20 07:00, 7 hours before ignition, from 2026-03-20 13:00 to 2026-03-20 16:00; "
    )
    assert found.words.endswith("; the weather at ignition is its row of 14:00")
    assert f"; its wind is {WIND_HEIGHT_WORDS['20ft']}; " in found.words
    assert used(AT + timedelta(minutes=30)).words.endswith("its row of 14:00")
    whole = used(**GIVEN)
    assert whole.taken == () and "the weather at ignition" not in whole.words
    assert forecast_used(request(**GIVEN), {}, ZONE) is None
    handed = request(forecast=rows.hours, wind_height="eye")
    told = forecast_used(handed, ignition_weather(handed, ()), ZONE)
    assert told is not None and told.words.startswith("handed over, named with --forecast, not kept, ")
    assert (told.wind_height, told.recorded_at) == ("eye", None)
    # a height that was said with a wind of one's own says nothing of the forecast's
    own = request(forecast=rows.hours, wind_height="eye", wind_mph=5.0)
    told = forecast_used(own, ignition_weather(own, ()), ZONE)
    assert told is not None and told.wind_height is None and "nobody said at what height its wind is" in told.words


@pytest.mark.parametrize(
    ("hours", "words"),
    [(-0.1, "after ignition"), (0.0, "0 hours before"), (47.9, "48 hours before"), (48.0, "2 days before"),
     (48.4, "2 days before"), (84.1, "4 days before")],
)  # fmt: skip
def test_a_forecast_s_age_is_told_in_hours_up_to_two_days(hours: float, words: str) -> None:
    at = datetime(2026, 3, 20, 7) + timedelta(hours=hours)
    rows = forecast("f", at, at, wind_from_deg=270.0)
    asked, _ = with_forecast(request(at=at), [rows])
    found = forecast_used(asked, ignition_weather(asked, ()), ZONE)
    assert found is not None and words in found.words
