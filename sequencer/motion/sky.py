"""Where sun, moon and stars are, and how a levelled head follows them. It reads no clock.

Azimuth is from north over east, altitude from the horizon, both as seen, with the air's refraction, unless said.
A fixed star is followed from where the head looks, by its hour angle alone: no catalogue is needed, and no refraction
is in it, since it is the patch of sky above the horizon's haze that is followed.

Source: sun and moon: ephem (MIT; its VSOP87 and lunar theory). Sidereal rate: the earth turns by 7.292115e-5 rad/s
(IERS Conventions 2010, table 1.1, nominal), that is 15.04107 degrees an hour. Hour angle and declination to azimuth and
altitude and back: Meeus, Astronomical Algorithms, chapter 13, from memory.
"""

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, get_args

import ephem  # type: ignore[import-untyped]  # it has no annotations
import numpy as np
from numpy.typing import NDArray

from sequencer.score.timelapse import Place

Floats = NDArray[np.float64]
# seconds after a start to azimuths and altitudes in degrees. Shape: (T,) to (T,) each
Where = Callable[[Floats], tuple[Floats, Floats]]
Body = Literal["sun", "moon"]
BODIES: tuple[Body, ...] = get_args(Body)
SIDEREAL_DEG_S = math.degrees(7.292115e-5)
AIR_HPA = 1010.0  # at sea level, for refraction


def direction(body: Body, place: Place, at: datetime, air_hpa: float = AIR_HPA) -> tuple[float, float]:
    """Return azimuth and altitude of the middle of sun or moon. Unit: degrees; `air_hpa` 0 is without refraction."""
    seen = body_of(body)
    seen.compute(observer_at(place, at, air_hpa))
    return math.degrees(seen.az), math.degrees(seen.alt)


def of_body(body: Body, place: Place, begins: datetime) -> Where:
    """Return where sun or moon is, so many seconds after `begins`."""

    def where(after_s: Floats) -> tuple[Floats, Floats]:
        instants = (begins + timedelta(seconds=one) for one in np.asarray(after_s).tolist())
        found = np.array([direction(body, place, at) for at in instants]).reshape(-1, 2)
        return np.degrees(np.unwrap(np.radians(found[:, 0]))), found[:, 1]

    return where


def of_stars(azimuth_deg: float, altitude_deg: float, place: Place) -> Where:
    """Return where that patch of sky is, so many seconds after it was there."""
    return lambda after_s: turned(azimuth_deg, altitude_deg, place.latitude_deg, after_s)


def body_of(body: str) -> Any:
    """Return ephem's own sun or moon."""
    return ephem.Sun() if body == "sun" else ephem.Moon()


def observer_at(place: Place, at: datetime, air_hpa: float) -> Any:
    """Return ephem's observer. Error: ValueError for an instant without a time zone."""
    if at.tzinfo is None:
        raise ValueError("an instant of the sky needs its time zone")
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
    observer.elevation, observer.pressure = place.height_m, air_hpa
    observer.date = at.astimezone(UTC).replace(tzinfo=None)
    return observer


def turned(azimuth_deg: float, altitude_deg: float, latitude_deg: float, after_s: Floats) -> tuple[Floats, Floats]:
    """Return azimuth and altitude of a fixed star, so long after it was where the first two say.

    Shape: (T,) to (T,) each. Unit: degrees, seconds; azimuth is continuous.
    """
    az, alt, lat = (math.radians(one) for one in (azimuth_deg, altitude_deg, latitude_deg))
    sin_dec = math.sin(lat) * math.sin(alt) + math.cos(lat) * math.cos(alt) * math.cos(az)
    dec = math.asin(max(-1.0, min(1.0, sin_dec)))
    # towards the west, as hour angles count; without a division, so that it holds at the poles too
    hour = math.atan2(
        -math.sin(az) * math.cos(alt), math.sin(alt) * math.cos(lat) - math.cos(alt) * math.sin(lat) * math.cos(az)
    )
    now = hour + np.radians(SIDEREAL_DEG_S) * np.asarray(after_s, np.float64)
    east = -math.cos(dec) * np.sin(now)
    north = math.sin(dec) * math.cos(lat) - math.cos(dec) * np.cos(now) * math.sin(lat)
    up = math.sin(dec) * math.sin(lat) + math.cos(dec) * np.cos(now) * math.cos(lat)
    azimuths = np.degrees(np.unwrap(np.arctan2(east, north)))
    azimuths += 360 * np.round((azimuth_deg - azimuths[:1]) / 360) if len(azimuths) else 0.0
    return azimuths, np.degrees(np.arctan2(up, np.hypot(east, north)))
