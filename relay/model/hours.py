"""When a site works, as the production's file says it: local wall-clock rules, days off, one-off exceptions."""

from collections.abc import Callable
from datetime import date, datetime, time
from enum import StrEnum
from typing import Annotated, Self

from pydantic import (
    AfterValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    PlainValidator,
    StringConstraints,
    model_validator,
)

from relay.model.names import Frozen, Line


class Weekday(StrEnum):
    """A day of the week, in the order in which `date.weekday` counts them."""

    MONDAY = "mon"
    TUESDAY = "tue"
    WEDNESDAY = "wed"
    THURSDAY = "thu"
    FRIDAY = "fri"
    SATURDAY = "sat"
    SUNDAY = "sun"


WEEK = tuple(Weekday)


def _check_minute(moment: time | datetime) -> None:
    if moment.tzinfo is not None:
        raise ValueError(f"{moment.isoformat()} has an offset: write the site's own local time without one")
    if moment.second or moment.microsecond:
        raise ValueError(f"{moment.isoformat()} is not a whole minute")


def _time_of_day(value: time) -> time:
    _check_minute(value)
    return value


TimeOfDay = Annotated[time, AfterValidator(_time_of_day)]
"""What the clock on the site's wall shows, to the minute."""


def _wrong(value: object, what: str, such: str) -> ValueError:
    return ValueError(f"{value!r} is no {what}: expected one such as {such}")


def _parse_local(value: object) -> datetime:
    moment = datetime.fromisoformat(value) if isinstance(value, str) else value
    if not isinstance(moment, datetime):
        raise _wrong(value, "local time", "2027-01-09T17:00:00")
    _check_minute(moment)
    return moment


def _parse_day(value: object) -> date:
    day = date.fromisoformat(value) if isinstance(value, str) else value
    if isinstance(day, datetime) or not isinstance(day, date):
        raise _wrong(value, "day", "2027-01-09")
    return day


def _parse_day_or_local(value: object) -> date:
    is_day = len(value) == len("2027-01-09") if isinstance(value, str) else not isinstance(value, datetime)
    return _parse_day(value) if is_day else _parse_local(value)


def _written(moment: date) -> str:
    return moment.isoformat()


def _field(parse: Callable[[object], date]) -> tuple[PlainValidator, PlainSerializer]:
    return PlainValidator(parse), PlainSerializer(_written, return_type=str)


LocalTime = Annotated[datetime, *_field(_parse_local)]
"""A day and what the site's clock shows on it, to the minute."""

DayOrLocalTime = Annotated[date, *_field(_parse_day_or_local)]
"""A whole day, or a `LocalTime`."""


class Shift(Frozen):
    """Hours that are worked every week: `from` until `to`, on the next day where `to` is not later than `from`."""

    days: Annotated[tuple[Weekday, ...], Field(min_length=1)] = WEEK[:5]
    """The days on which it begins."""
    begins: Annotated[TimeOfDay, Field(alias="from")]
    ends: Annotated[TimeOfDay, Field(alias="to")]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @property
    def is_overnight(self) -> bool:
        return self.ends <= self.begins


class Span(Frozen):
    """From one local time until another."""

    begins: Annotated[LocalTime, Field(alias="from")]
    ends: Annotated[LocalTime, Field(alias="to")]
    why: Line | None = None

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @model_validator(mode="after")
    def _goes_forward(self) -> Self:
        if self.ends <= self.begins:
            raise ValueError(f"from {self.begins:%Y-%m-%dT%H:%M} to {self.ends:%Y-%m-%dT%H:%M} runs backwards")
        return self


class Closure(Frozen):
    """Days off, the last one included, on which no shift begins; or hours, which are cut out of the shifts."""

    begins: Annotated[DayOrLocalTime, Field(alias="from")]
    ends: Annotated[DayOrLocalTime, Field(alias="to")]
    why: Line | None = None

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @model_validator(mode="after")
    def _is_one_of_both(self) -> Self:
        if isinstance(self.begins, datetime) != isinstance(self.ends, datetime):
            raise ValueError(
                f"from {_written(self.begins)} to {_written(self.ends)}: give two days, or two local times"
            )
        if self.ends < self.begins or (self.ends == self.begins and self.is_hours):
            raise ValueError(f"from {_written(self.begins)} to {_written(self.ends)} runs backwards")
        return self

    @property
    def is_hours(self) -> bool:
        """Whether it cuts out hours, rather than the shifts that begin on its days."""
        return isinstance(self.begins, datetime)


class Holidays(Frozen):
    """Whose public holidays a site keeps: a country, as ISO 3166-1 writes it, and a part of it, as ISO 3166-2 does."""

    country: Annotated[str, StringConstraints(pattern="^[A-Z]{2}$")]
    region: Annotated[str, StringConstraints(pattern="^[A-Z0-9]{1,3}$")] | None = None

    def __str__(self) -> str:
        return f"{self.country}-{self.region}" if self.region else self.country
