"""What does the planner mean to build and sell: format, price, plan, hours, line?

An offer is the planner's own decision, so it has no spread; rooms from rivals to money
read it. Money is in US dollars of about 2024 unless the user says otherwise.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, Final, Literal, get_args

from capture.basis.amounts import check_amount
from capture.basis.errors import DataError, InputError

Format = Literal["exterior", "flex", "full_service", "in_bay", "self_service"]
FORMATS: Final[tuple[Format, ...]] = get_args(Format)
#: formats whose cars ride a conveyor
CONVEYOR_FORMATS: Final[frozenset[str]] = frozenset({"exterior", "flex", "full_service"})
FORMAT_WORDS: Final[Mapping[str, str]] = {
    "exterior": "exterior conveyor",
    "flex": "flex-service conveyor",
    "full_service": "full-service conveyor",
    "in_bay": "in-bay automatic",
    "self_service": "self-service bays",
}
MOST_OFFER_BYTES: Final = 100_000
MOST_LAND_USD: Final = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What is to be built and sold at a site.

    Raises
    ------
    InputError
        When a field breaks its rule; the message names the field, the rule and the value.

    Examples
    --------
    >>> Offer(ticket_price_usd=15).format
    'exterior'
    """

    #: how cars are washed
    format: Format = "exterior"
    #: bays, for in-bay and self-service formats
    bays: int = 1
    #: price of a single wash
    ticket_price_usd: float = 13.0
    #: whether a monthly plan is sold
    plan_offered: bool = True
    #: price of the plan per month
    plan_price_usd_month: float = 28.0
    #: first open hour of the day, local time, 0-23
    opens_hour: int = 8
    #: hour at which the wash closes, local time, 1-24
    closes_hour: int = 20
    #: which year after opening is looked at; 3 and more is taken as mature
    years_open: float = 4.0
    #: which busiest hour of the year the line is sized for (30 = 30th highest)
    busy_rank: int = 30
    #: what is added to that hour, as a share of it
    headroom_share: float = 0.2
    #: cars loaded by a guide rather than unattended
    guided_loading: bool = True
    #: number of pay lanes
    pay_lanes: int = 3
    #: whether wash water is reclaimed
    reclaim: bool = True
    #: height of the sign's face above the road
    sign_height_m: float = 6.0
    #: length of conveyor that the building allows; None lets the hour decide
    building_limit_m: float | None = None
    #: what the land costs, None takes the default by area
    land_cost_usd: float | None = None

    def __post_init__(self) -> None:
        if self.format not in FORMATS:
            raise InputError(
                f"offer: format must be one of {', '.join(FORMATS)}, got {self.format!r}; pick one"
            )
        for name in _YES_NO:
            if not isinstance(getattr(self, name), bool):
                raise InputError(
                    f"offer: {name} must be true or false, got {getattr(self, name)!r}; change it"
                )
        for name, low, high, unit in _LIMITS:
            value, whole = getattr(self, name), name in _WHOLE
            if value is None and name in _OPTIONAL:
                continue
            check_amount("offer", name, value, low, high, unit, whole=whole)
            if whole or not isinstance(value, int | float):
                object.__setattr__(self, name, int(value) if whole else float(value))
        if self.opens_hour >= self.closes_hour:
            raise InputError(
                f"offer: opens_hour must be before closes_hour, got {self.opens_hour} and "
                f"{self.closes_hour}; swap or widen them"
            )

    @property
    def is_conveyor(self) -> bool:
        """Whether cars ride a conveyor."""
        return self.format in CONVEYOR_FORMATS

    def change(self, **changes: Any) -> Offer:
        """Return a new offer with some fields changed; unknown fields are refused.

        Raises
        ------
        InputError
            For an unknown field or a value that breaks its rule.
        """
        return replace(self, **_known(changes, "offer"))

    def to_dict(self) -> dict[str, Any]:
        """Return the offer as plain JSON values."""
        return asdict(self)


#: field, least, most, unit
_LIMITS: Final = (
    ("bays", 1, 40, "bays"),
    ("ticket_price_usd", 0.5, 500, "USD"),
    ("plan_price_usd_month", 1, 1000, "USD a month"),
    ("opens_hour", 0, 23, "h"),
    ("closes_hour", 1, 24, "h"),
    ("years_open", 0.1, 50, "years"),
    ("busy_rank", 1, 8760, "th busiest hour"),
    ("headroom_share", 0, 3, "share"),
    ("pay_lanes", 1, 12, "lanes"),
    ("sign_height_m", 0.5, 60, "m"),
    ("building_limit_m", 6, 200, "m"),
    ("land_cost_usd", 0, MOST_LAND_USD, "USD"),
)
_WHOLE: Final = frozenset({"bays", "opens_hour", "closes_hour", "busy_rank", "pay_lanes"})
_YES_NO: Final = frozenset({"plan_offered", "guided_loading", "reclaim"})
_OPTIONAL: Final = frozenset({"building_limit_m", "land_cost_usd"})


def _known(changes: Mapping[str, Any], where: str) -> dict[str, Any]:
    names = [field.name for field in fields(Offer)]
    for name in changes:
        if name not in names:
            raise InputError(f"{where}: there is no field {name!r}; known are {', '.join(names)}")
    return dict(changes)


def load_offer(path: Path) -> Offer:
    """Read an offer from a JSON object or a TOML table of its fields.

    Parameters
    ----------
    path : Path
        Ends in ``.json`` or ``.toml``; fields left out keep their default.

    Raises
    ------
    DataError
        When the file is missing, too large, or not of that form.
    InputError
        When a field is unknown or breaks its rule.
    """
    import tomllib

    try:
        with path.open("rb") as opened:
            raw = opened.read(MOST_OFFER_BYTES + 1)
        if len(raw) > MOST_OFFER_BYTES:
            raise DataError(f"{path.name}: an offer file is under 100 kB; is this another file?")
        text = raw.decode("utf-8")
    except OSError as error:
        raise DataError(
            f"{path}: the offer file cannot be read ({error.strerror}); check the path"
        ) from None
    except UnicodeDecodeError:
        raise DataError(f"{path.name}: an offer file is text in UTF-8; save it as such") from None
    try:
        values = tomllib.loads(text) if path.suffix == ".toml" else json.loads(text)
    except (ValueError, RecursionError) as error:
        raise DataError(
            f"{path.name}: not readable as {path.suffix[1:] or 'JSON'} ({error}); mend that place"
        ) from None
    if not isinstance(values, dict):
        raise DataError(f"{path.name}: an offer file holds one table of fields; see --help")
    return Offer(**_known(values, path.name))
