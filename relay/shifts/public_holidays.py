"""Public holidays of countries and their regions, from the `holidays` library, which the extra `planning` brings."""

from collections.abc import Callable
from datetime import date
from functools import lru_cache

from relay.errors import RefusedError
from relay.model.hours import Holidays


@lru_cache(maxsize=64)
def holidays_of(keeps: Holidays) -> Callable[[date], str | None]:
    """Return what names the public holiday on a day, in English where the library can, or answers None.

    Raises RefusedError where the library is not installed, or knows no such country or region.
    """
    try:
        import holidays
    except ImportError as error:
        raise RefusedError(
            f"a site keeps the public holidays of {keeps}, and this machine has no list of them: "
            "`pip install 'relay-handoff[planning]'`, or take `holidays` out of the production's file"
        ) from error
    _check_known(keeps, holidays.list_supported_countries(include_aliases=False))
    offered = holidays.list_localized_countries(include_aliases=False).get(keeps.country, [])
    english = next((language for language in ("en_US", "en_GB", "en") if language in offered), None)
    listed = holidays.country_holidays(keeps.country, subdiv=keeps.region, language=english)
    return listed.get


def _check_known(keeps: Holidays, supported: dict[str, list[str]]) -> None:
    if keeps.country not in supported:
        raise RefusedError(f"holidays of {keeps.country!r} are not known: expected a country's code, such as CA or PT")
    regions = supported[keeps.country]
    if keeps.region and keeps.region not in regions:
        known = f"expected one of {', '.join(regions)}" if regions else "leave `region` out: that country lists none"
        raise RefusedError(f"holidays of the region {keeps.region!r} of {keeps.country} are not known: {known}")
