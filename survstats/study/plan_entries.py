"""What may stand behind a single key of a study file: texts on one line, years, roles, names; nothing unknown."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, StringConstraints

_ONE_LINE = r"^[^\p{Cc}\p{Cf}\p{Zl}\p{Zp}]*$"  # no control letters, marks of direction, breaks of lines
Line = Annotated[str, StringConstraints(max_length=120, pattern=_ONE_LINE, strip_whitespace=True)]
Word = Annotated[Line, Field(min_length=1)]
Year = Annotated[int, Field(ge=1678, le=2261)]
Role = Literal["flight_crew", "technical_crew", "passenger"]
Name = Annotated[str, StringConstraints(max_length=60, pattern=_ONE_LINE, strip_whitespace=True)]
Label = Annotated[Name, Field(min_length=1)]
Source = Annotated[
    str, StringConstraints(min_length=1, max_length=200, pattern=_ONE_LINE, strip_whitespace=True)
]
Zone = Annotated[str, StringConstraints(min_length=1, max_length=24, pattern=_ONE_LINE)]

#: A section knows its keys, and takes no text for a number.
STRICT = ConfigDict(extra="forbid", strict=True, frozen=True)
