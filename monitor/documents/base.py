"""The base of all models a keeper's words go into, and the kinds of words they share."""

import datetime as dt
from typing import Annotated

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StringConstraints,
)
from pydantic_core import PydanticCustomError

from monitor.documents.schema import EXPECTS


class Model(BaseModel):
    """Strict base: unknown keys are mistakes, numbers are finite, values do not change.

    Errors leave out what was written: it may be a secret.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
        hide_input_in_errors=True,
    )


def _no_number(value: object) -> object:
    # A bare number would be taken for seconds: lights_on = 8 for eight seconds past midnight.
    if isinstance(value, int | float):
        raise PydanticCustomError("number_for_time", "a number is no date or time")
    return value


def _without_offset(value: dt.time) -> dt.time:
    if value.tzinfo is not None:
        raise ValueError('write the time on the wall clock, without an offset: "08:00"')
    return value


def _short(value: dt.time) -> str:
    whole_minutes = not (value.second or value.microsecond)
    return value.isoformat("minutes" if whole_minutes else "auto")


Identifier = Annotated[
    str,
    StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"),
    Field(
        json_schema_extra={
            EXPECTS: "an id of 1 to 64 letters (a-z), digits, '-' or '_', beginning with a letter "
            "or digit (it becomes part of MQTT topics, so no / + # $ and no space)"
        }
    ),
]
Name = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True, min_length=1, max_length=120, pattern=r"^[^\x00-\x1f\x7f]+$"
    ),
    Field(json_schema_extra={EXPECTS: "a name of 1 to 120 characters on one line"}),
]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
Date = Annotated[
    dt.date,
    BeforeValidator(_no_number),
    Field(json_schema_extra={EXPECTS: "a date such as 2026-10-01"}),
]
TimeOfDay = Annotated[
    dt.time,
    BeforeValidator(_no_number),
    AfterValidator(_without_offset),
    PlainSerializer(_short),
    Field(json_schema_extra={EXPECTS: 'a time of day such as "08:00"'}),
]
