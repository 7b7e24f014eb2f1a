"""The groups of an aerodrome report (METAR, SPECI; WMO FM 15) that tell wind, air and cloud.

What a report does not say it may say by its rules. A gust is given when it is ten knots (5 m/s) or
more over the mean of the ten minutes before (WMO-No. 306, FM 15, 15.5.5), in the United States when
peaks and lulls are ten knots apart (FMH-1, 5.4.4), which is less over the mean; so without a gust
group no gust was more than that over the mean. "P" before a speed says that it was more than the
group can tell (FM 15, 15.5.6). All from memory.
"""

import re
from math import isnan, nan

from watcher.sources.stations.rows import at_least, at_most

_MODIFIED = re.compile(r"\s(RMK|TEMPO|BECMG|NOSIG|FCST)\b")
_WIND = re.compile(
    r"\s(?P<from>\d{3}|VRB|///)(?P<over>P?)(?P<mean>\d{2,3})"
    r"(?:G(?P<gust_over>P?)(?P<gust>\d{2,3}|//))?(?P<unit>KT|MPS|KMH)(?=\s|=|$)"
)
_TEMPERATURES = re.compile(r"\s(M?\d{2})/(M?\d{2})?(?=\s|=|$)")
_TENTHS = re.compile(r"\sT([01])(\d{3})(?:([01])(\d{3}))?(?=\s|=|$)")
_CLOUD = re.compile(
    r"\s(?P<cover>FEW|SCT|BKN|OVC|VV)(?P<height>\d{3}|///)(?:CB|TCU|///)?(?=\s|=|$)"
)
_CLEAR = re.compile(r"\s(SKC|CLR|NSC|NCD|CAVOK)(?=\s|=|$)")
# One to two, three to four, five to seven and eight eighths (FM 15, 15.9); fog hides the sky.
_COVER_PCT = {"FEW": 18.75, "SCT": 43.75, "BKN": 75.0, "OVC": 100.0, "VV": 100.0}
_HUNDRED_FEET_M = 30.48
_M_S = {"KT": 1852 / 3600, "MPS": 1.0, "KMH": 1 / 3.6}
_GUST_REPORTED_FROM = {"KT": 10, "MPS": 5, "KMH": 20}
"""How far over the mean a gust is reported, in the unit of the group."""


def body_of(report: str) -> str:
    """Return what a report says of the moment: without remarks and what is expected."""
    return _MODIFIED.split(report)[0]


def wind(report: str) -> dict[str, float]:
    """Return what a report says of the wind as values of a row, in SI; nothing without a group.

    A mean or gust that is more than a group can say has a bound only; so has a gust not reported. A
    calm has no direction, and neither has a variable wind.
    """
    found = _WIND.search(body_of(report))
    if found is None:
        return {}
    unit = _M_S[found["unit"]]
    mean = int(found["mean"]) * unit
    row = {at_least("wind_m_s") if found["over"] else "wind_m_s": mean}
    if found["from"].isdigit() and mean > 0:
        row["wind_from_deg"] = float(int(found["from"]))
    gust = found["gust"]
    if gust is None and not found["over"]:
        row |= unreported_gust(mean, _GUST_REPORTED_FROM[found["unit"]] * unit)
    elif gust is None or gust == "//":
        row[at_least("gust_m_s")] = mean
    else:
        row[at_least("gust_m_s") if found["gust_over"] else "gust_m_s"] = int(gust) * unit
    return row


def unreported_gust(
    mean_m_s: float, reported_from_m_s: float = 10 * 1852 / 3600
) -> dict[str, float]:
    """Return between what the gust lies when a report tells none; nothing without a mean."""
    if isnan(mean_m_s):
        return {}
    return {at_least("gust_m_s"): mean_m_s, at_most("gust_m_s"): mean_m_s + reported_from_m_s}


def temperatures(report: str) -> tuple[float, float]:
    """Return temperature and dew point [degC], NaN for one that is not reported.

    Tenths of the remarks (FMH-1, 12.7.2) count before whole degrees.
    """
    tenths = _TENTHS.search(report)
    if tenths is not None:
        return _signed(tenths[1], tenths[2]), _signed(tenths[3], tenths[4])
    whole = _TEMPERATURES.search(body_of(report))
    if whole is None:
        return nan, nan
    return _whole(whole[1]), _whole(whole[2])


def cloud(report: str) -> dict[str, float]:
    """Return the cover and the height of the cloud [%, m]; nothing of a report without such groups.

    Cover is the middle of the eighths that the fullest layer stands for; the height that of the
    lowest layer over more than half of the sky, or how far one sees up into fog. Automatic stations
    see no cloud above 12 000 ft: their clear sky is one without low cloud.
    """
    body = body_of(report)
    layers = [(found["cover"], found["height"]) for found in _CLOUD.finditer(body)]
    if not layers:
        return {"cloud_pct": 0.0} if _CLEAR.search(body) else {}
    row = {"cloud_pct": max(_COVER_PCT[cover] for cover, _ in layers)}
    broken = [height for cover, height in layers if _COVER_PCT[cover] > 50]
    if broken and all(height.isdigit() for height in broken):
        row["ceiling_m"] = min(int(height) for height in broken) * _HUNDRED_FEET_M
    return row


def _signed(sign: str | None, tenths: str | None) -> float:
    return nan if tenths is None else (-1 if sign == "1" else 1) * int(tenths) / 10


def _whole(degrees: str | None) -> float:
    return nan if degrees is None else float(degrees.replace("M", "-"))
