"""Time stamps as people and recorders write them, as seconds.

    2025-03-30T01:59:59.5+01:00    30.03.2025 01:59:59,5    30-Mar-2025 1:59:59.5 AM

The first block of stamps tells the form, all others must have it.
"""

import re
from collections.abc import Iterable
from datetime import date

import numpy as np

Array = np.ndarray

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
EPOCH = date(1970, 1, 1).toordinal()
DAY = 86400.0
ZERO, SMALL = ord("0"), 32
"""Code of the digit, and the bit that makes a small letter."""

_CLOCK = (r"(?:[T ]+(?P<H>\d{1,2}):(?P<M>\d{2})(?::(?P<S>\d{2}(?:[.,]\d+)?))?"
          r"(?: ?(?P<p>[AaPp])\.?[Mm]\.?)?)? ?(?P<z>Z|[+-]\d{2}:?\d{2})?")
_DATES = {
    "ymd": r"(?P<Y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})",
    "dby": r"(?P<d>\d{1,2})[- ](?P<b>[A-Za-z]{3})[a-z]*[- ](?P<Y>\d{4}|\d{2})",
    "dmy": r"(?P<d>\d{1,2})[./-](?P<m>\d{1,2})[./-](?P<Y>\d{4}|\d{2})",
    "mdy": r"(?P<m>\d{1,2})[./-](?P<d>\d{1,2})[./-](?P<Y>\d{4}|\d{2})",
}
FORMS = {name: re.compile(day + _CLOCK) for name, day in _DATES.items()}
_DIRECTIVES = {
    "Y": r"(?P<Y>\d{4})", "y": r"(?P<Y>\d{2})", "m": r"(?P<m>\d{1,2})", "d": r"(?P<d>\d{1,2})",
    "b": r"(?P<b>[A-Za-z]{3})", "B": r"(?P<b>[A-Za-z]{3})[A-Za-z]*", "H": r"(?P<H>\d{1,2})",
    "I": r"(?P<H>\d{1,2})", "M": r"(?P<M>\d{1,2})", "p": r"(?P<p>[AaPp])\.?[Mm]\.?",
    "z": r"(?P<z>Z|[+-]\d{2}:?\d{2})", "%": "%",
}  # fmt: skip


def written(time_format: str) -> re.Pattern[str]:
    """The form that a text such as "%d/%m/%Y %H:%M:%S" tells. ValueError for an unknown part."""
    pattern, rest = "", time_format.replace("%S.%f", "%S").replace("%S,%f", "%S")
    while rest:
        if rest[0] == "%" and rest[1:2] == "S":
            pattern, rest = pattern + r"(?P<S>\d{1,2}(?:[.,]\d+)?)", rest[2:]
        elif rest[0] == "%":
            if rest[1:2] not in _DIRECTIVES:
                raise ValueError(f"%{rest[1:2]}")
            pattern, rest = pattern + _DIRECTIVES[rest[1]], rest[2:]
        else:
            pattern, rest = pattern + re.escape(rest[0]), rest[1:]
    form = re.compile(pattern)
    if missing := {"Y", "d"} - set(form.groupindex):
        raise ValueError(" and ".join("%" + name for name in sorted(missing)) + " missing")
    return form


def form_of(cells: Iterable[str]) -> str | None:
    """The name of the one form that all of these have; "" for two that are possible, None for
    none."""
    possible = list(FORMS)
    dotted = False
    for cell in cells:
        dotted = dotted or bool(re.match(r"\d{1,2}\.\d{1,2}\.\d", cell))
        possible = [name for name in possible if _reads(FORMS[name], cell)]
    if possible == ["dmy", "mdy"]:
        return "dmy" if dotted else ""
    return possible[0] if possible else None


def _reads(form: re.Pattern[str], cell: str) -> bool:
    try:
        seconds_of(form, cell)
    except ValueError:
        return False
    return True


def seconds_of(form: re.Pattern[str], cell: str) -> float:
    """One stamp as seconds since 1970, without its offset taken off. Raises ValueError."""
    match = form.fullmatch(cell)
    if match is None:
        raise ValueError(cell)
    part = match.groupdict()
    year = int(part["Y"])
    month = int(part["m"]) if part.get("m") else MONTHS.index(str(part.get("b")).lower()) + 1
    days = date(year + 2000 if year < 100 else year, month, int(part["d"])).toordinal() - EPOCH
    hour, minute = int(part.get("H") or 0), int(part.get("M") or 0)
    if half := part.get("p"):
        if not 1 <= hour <= 12:
            raise ValueError(cell)
        hour = hour % 12 + (12 if half in "Pp" else 0)
    second = float((part.get("S") or "0").replace(",", "."))
    if not (hour < 24 and minute < 60 and second < 61.0):
        raise ValueError(cell)
    return days * DAY + hour * 3600.0 + minute * 60.0 + second


def offset_of(form: re.Pattern[str], cell: str) -> float | None:
    """Seconds ahead of universal time that the stamp states; None where it states none."""
    match = form.fullmatch(cell)
    zone = match.groupdict().get("z") if match else None
    if zone is None or zone == "Z":
        return 0.0 if zone else None
    sign = -1.0 if zone[0] == "-" else 1.0
    return sign * (int(zone[1:3]) * 3600.0 + int(zone[-2:]) * 60.0)


def all_seconds(form: re.Pattern[str], cells: Array) -> Array:
    """(n,) of many stamps of one form, less the offset that each states. Raises ValueError.

    Stamps of the same length are read at once, digit by digit at the places of the first one.
    """
    found = np.empty(len(cells))
    lengths = np.char.str_len(cells)
    for length in np.unique(lengths):
        same = lengths == length
        found[same] = _alike(form, cells[same])
    return found


def _alike(form: re.Pattern[str], cells: Array) -> Array:
    """Of stamps of one length; one by one where they do not look alike."""
    match = form.fullmatch(str(cells[0]))
    if match is None:
        raise ValueError(cells[0])
    codes = np.ascontiguousarray(cells).view(np.uint32).reshape(len(cells), -1)
    free = np.zeros(codes.shape[1], dtype=bool)
    parts: dict[str, Array] = {}
    for name in [n for n in form.groupindex if match[n]]:
        place = slice(*match.span(name))
        free[place] = True
        parts[name] = codes[:, place]
    plain = all(_digits(parts[n]) for n in parts if n in "YmdHM")
    if "b" in parts or not plain or (codes[:, ~free] != codes[0, ~free]).any():
        return np.array([seconds_of(form, cell) - (offset_of(form, cell) or 0.0)
                         for cell in map(str, cells)])
    return _days(parts) * DAY + _clock(parts) - _offset(parts)


def _digits(codes: Array) -> bool:
    return bool(((codes >= ZERO) & (codes <= ZERO + 9)).all())


def _whole(codes: Array) -> Array:
    """The number that these digits write."""
    return (codes.astype(np.int64) - ZERO) @ 10 ** np.arange(codes.shape[1])[::-1]


def _days(parts: dict[str, Array]) -> Array:
    """Days since 1970."""
    year, month, day = (_whole(parts[name]) for name in "Ymd")
    year = np.where(year < 100, year + 2000, year)
    if ((month < 1) | (month > 12) | (day < 1)).any():
        raise ValueError("no such day")
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1)
    if (days.astype("datetime64[M]") != months).any():
        raise ValueError("no such day")
    return days.astype(np.int64).astype(float)


def _clock(parts: dict[str, Array]) -> Array:
    """Seconds since midnight."""
    none = np.zeros(1, dtype=np.int64)
    hour, minute = (_whole(parts[name]) if name in parts else none for name in "HM")
    if "p" in parts:
        if ((hour < 1) | (hour > 12)).any():
            raise ValueError("no such hour")
        hour = hour % 12 + np.where((parts["p"][:, 0] | SMALL) == ord("p"), 12, 0)
    second = _decimal(parts["S"]) if "S" in parts else none
    if (hour > 23).any() or (minute > 59).any() or (second >= 61.0).any():
        raise ValueError("no such time")
    return hour * 3600.0 + minute * 60.0 + second


def _decimal(codes: Array) -> Array:
    """Seconds with their fraction behind two digits and a mark."""
    if not _digits(codes[:, :2]) or not _digits(codes[:, 3:]):
        raise ValueError("no such second")
    fraction = _whole(codes[:, 3:]) / 10.0 ** (codes.shape[1] - 3) if codes.shape[1] > 3 else 0.0
    return _whole(codes[:, :2]) + fraction


def _offset(parts: dict[str, Array]) -> Array | float:
    """Seconds ahead of universal time."""
    if "z" not in parts or parts["z"].shape[1] == 1:
        return 0.0
    zone = parts["z"]
    sign = np.where(zone[:, 0] == ord("-"), -1.0, 1.0)
    return sign * (_whole(zone[:, 1:3]) * 3600.0 + _whole(zone[:, -2:]) * 60.0)
