"""Sun, moon and sky against the IAU's own routines (SOFA, as pyerfa has them), and against published definitions."""

import math
import re
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

import erfa  # type: ignore[import-untyped]  # it has no annotations
import numpy as np
import pytest

from sequencer.motion.almanac import NotThen, event, starts
from sequencer.motion.compile import compile_move
from sequencer.motion.sky import SIDEREAL_DEG_S, Body, direction, of_body, of_stars, turned
from sequencer.motion.sky_head import NEAR_DEG, following, tracks, words
from sequencer.project.store import load_rig
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.geometry import Geometry
from sequencer.score.move import Move
from sequencer.score.timelapse import Place
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate

# invented places
QUAY = Place(latitude_deg=52.4, longitude_deg=4.7)
CAPE = Place(latitude_deg=71.2, longitude_deg=25.8, height_m=300.0)
SOUTH = Place(latitude_deg=-33.9, longitude_deg=151.2)
LIMITS = {"unit": "deg", "speed": 12.0, "acceleration": 18.0, "jerk": 90.0}


def head(pan: tuple[float, float] | None = None, tilt: tuple[float, float] | None = None, **geometry: object) -> Rig:
    """Return a head; without travel its axes have no ends."""
    axes = (
        Axis(name="pan", kind="pan", travel=pan, **LIMITS),  # type: ignore[arg-type]  # numbers and a unit
        Axis(name="tilt", kind="tilt", travel=tilt, **LIMITS),  # type: ignore[arg-type]  # numbers and a unit
    )
    return Rig(name="Head", axes=axes, geometry=Geometry(**geometry))  # type: ignore[arg-type]  # its own fields


def sofa(body: Body, place: Place, at: datetime) -> tuple[float, float]:
    """Return azimuth and altitude without refraction, by SOFA's EPV00 or MOON98 and ATCO13's parts.

    Source: IAU SOFA routines epv00, moon98, atciqz and atioq; UT1 is taken as UTC, within 0.9 s.
    """
    whole = at.astimezone(UTC)
    utc1, utc2 = erfa.dtf2d("UTC", whole.year, whole.month, whole.day, whole.hour, whole.minute, float(whole.second))
    tai1, tai2 = erfa.utctai(utc1, utc2)
    tt1, tt2 = erfa.taitt(tai1, tai2)
    lat, lon = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
    heliocentric, _ = erfa.epv00(tt1, tt2)
    geocentric = -heliocentric["p"] if body == "sun" else erfa.moon98(tt1, tt2)["p"]
    # light time moves the moon by 0.7 arc seconds, and the sun less than its aberration, which atciqz adds
    astrom, _ = erfa.apco13(utc1, utc2, 0.0, lon, lat, place.height_m, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    observer = erfa.pvtob(lon, lat, place.height_m, 0.0, 0.0, 0.0, erfa.era00(utc1, utc2))["p"]
    matrix = erfa.c2i06a(tt1, tt2)
    here = matrix.T @ observer / erfa.DAU
    topocentric = geocentric - here
    ra, dec = erfa.c2s(topocentric)
    if body == "sun":
        ri, di = erfa.atciqz(ra, dec, astrom)
    else:
        # the moon goes with the earth: no aberration of its orbit
        ri, di = erfa.c2s(matrix @ topocentric)
    az, zenith, *_ = erfa.atioq(erfa.anp(ri), di, astrom)
    return math.degrees(az), 90 - math.degrees(zenith)


def apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the angle between two directions."""
    (a, h), (b, g) = (tuple(map(math.radians, each)) for each in (one, other))
    return math.degrees(erfa.seps(a, h, b, g))


@pytest.mark.parametrize("place", [QUAY, CAPE, SOUTH])
@pytest.mark.parametrize(("body", "near"), [("sun", 0.001), ("moon", 0.005)])
def test_sun_and_moon_are_where_the_iaus_routines_have_them(place: Place, body: Body, near: float) -> None:
    chance = np.random.default_rng(7)
    for hours in chance.uniform(0, 24 * 365 * 8, 200).tolist():
        at = (datetime(2015, 1, 1, tzinfo=UTC) + timedelta(hours=hours)).replace(microsecond=0)
        assert apart(direction(body, place, at, air_hpa=0.0), sofa(body, place, at)) < near


def test_refraction_lifts_the_sun_at_the_horizon_by_about_half_a_degree() -> None:
    """Source: 34' at the horizon (US Naval Observatory's definition of sunrise, from memory)."""
    at = event("sunset", QUAY, date(2026, 6, 21), UTC)
    plain, seen = direction("sun", QUAY, at, air_hpa=0.0)[1], direction("sun", QUAY, at)[1]
    assert 0.4 < seen - plain < 0.65


@pytest.mark.parametrize("name", ["sunrise", "sunset"])
@pytest.mark.parametrize("place", [QUAY, SOUTH])
def test_the_sun_rises_and_sets_as_its_limb_passes_the_horizon(name: str, place: Place) -> None:
    """Source: the middle 50' below the horizon without refraction (US Naval Observatory, from memory); SOFA's sun."""
    for month in range(1, 13):
        at = event(name, place, date(2022, month, 9), ZoneInfo("UTC"))
        assert sofa("sun", place, at)[1] == pytest.approx(-50 / 60, abs=0.02)
        assert at.date() == date(2022, month, 9)


def test_twilight_begins_and_ends_six_degrees_below() -> None:
    for name in ("dawn", "dusk"):
        at = event(name, QUAY, date(2022, 3, 20), UTC)
        assert sofa("sun", QUAY, at)[1] == pytest.approx(-6, abs=0.02)


def test_noon_is_where_the_sun_stands_south() -> None:
    at = event("noon", QUAY, date(2022, 9, 23), UTC)
    assert sofa("sun", QUAY, at)[0] == pytest.approx(180, abs=0.05)


def test_a_start_is_a_time_or_an_event_with_an_offset() -> None:
    zone, day = ZoneInfo("Europe/Amsterdam"), date(2026, 6, 21)
    assert starts("05:40", None, day, zone) == datetime(2026, 6, 21, 3, 40, tzinfo=UTC)
    sunrise = event("sunrise", QUAY, day, zone)
    assert starts("sunrise", QUAY, day, zone) == sunrise
    assert starts("sunrise+20m", QUAY, day, zone) - sunrise == timedelta(minutes=20)
    assert starts("sunrise-1h30m", QUAY, day, zone) - sunrise == -timedelta(minutes=90)
    assert sunrise.date() == day
    for wrong in ("25:00", "5:4", "sunrise+", "sunrise20m", "tea", ""):
        with pytest.raises(ValueError, match=r"no start|no time of day"):
            starts(wrong, QUAY, day, zone)
    with pytest.raises(ValueError, match="needs a place"):
        starts("sunset", None, day, zone)


@pytest.mark.parametrize(("name", "day"), [("sunset", date(2026, 6, 21)), ("sunrise", date(2026, 12, 21))])
def test_a_sunset_that_does_not_occur_is_said_with_the_nearest_that_does(name: str, day: date) -> None:
    with pytest.raises(NotThen, match=f"there is no {name} on {day} at 71.2 degrees north") as said:
        event(name, CAPE, day, UTC)
    near = [date.fromisoformat(one) for one in re.findall(r"on (\d{4}-\d\d-\d\d) at \d\d:", str(said.value))]
    assert [event(name, CAPE, one, UTC).date() for one in near] == near
    before, after = near
    assert timedelta(10) < day - before < timedelta(60)
    assert timedelta(10) < after - day < timedelta(60)
    for away in {1, *range(2, (after - before).days - 1, 9), (after - before).days - 1}:
        with pytest.raises(NotThen):
            event(name, CAPE, before + timedelta(days=away), UTC)


@pytest.mark.parametrize(
    ("place", "zone", "day", "rises", "sets"),
    [
        ((51.51, -0.13), "Europe/London", date(2024, 6, 21), "04:43", "21:21"),
        ((51.51, -0.13), "Europe/London", date(2024, 12, 21), "08:04", "15:53"),
        ((-33.87, 151.21), "Australia/Sydney", date(2023, 12, 21), "05:41", "20:05"),
    ],
)
def test_rising_and_setting_are_as_almanacs_print_them(
    place: tuple[float, float], zone: str, day: date, rises: str, sets: str
) -> None:
    """Source: printed almanacs and newspapers of these two cities (from memory), to the minute."""
    where = Place(latitude_deg=place[0], longitude_deg=place[1])
    for name, printed in (("sunrise", rises), ("sunset", sets)):
        at = event(name, where, day, ZoneInfo(zone))
        wanted = datetime.combine(day, datetime.strptime(printed, "%H:%M").time(), ZoneInfo(zone))
        assert abs(at - wanted) < timedelta(minutes=1)


@pytest.mark.parametrize(
    ("name", "latitude_deg", "longitude_deg", "day"),
    [
        # the moon stays down at its transit before, and rises late on that day; ephem's own search says never
        ("moonrise", 65.61, -167.68, date(2022, 1, 4)),
        ("moonrise", 71.18, -60.27, date(2023, 9, 26)),
    ],
)
def test_what_rises_late_in_a_polar_day_is_not_overlooked(
    name: str, latitude_deg: float, longitude_deg: float, day: date
) -> None:
    where = Place(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    at = event(name, where, day, UTC)
    assert at.date() == day
    # the moon's half-diameter is 0.25 to 0.28 degrees (from memory)
    assert sofa("moon", where, at)[1] == pytest.approx(-34 / 60 - 0.265, abs=0.03)
    assert sofa("moon", where, at + timedelta(minutes=10))[1] > sofa("moon", where, at)[1]


def test_what_rises_in_the_last_half_second_of_a_day_is_not_lost() -> None:
    """From place to place along a parallel the moon rises by 0.12 s later, until it is the next day's."""
    seventh, eighth = date(2026, 6, 7), date(2026, 6, 8)
    midnight, days = datetime(2026, 6, 8, tzinfo=UTC), []
    for step in range(24):
        where = Place(latitude_deg=45.0, longitude_deg=3.335 + step * 0.0005)
        near = []
        for day in (seventh, eighth):
            try:
                near.append(event("moonrise", where, day, UTC))
            except NotThen:
                continue
        (rise,) = (at for at in near if abs(at - midnight) < timedelta(seconds=10))
        days.append(rise.date())
    assert days == sorted(days, reverse=True)
    assert set(days) == {seventh, eighth}


@pytest.mark.parametrize("day", [date.min, date(1899, 12, 31), date(2200, 1, 1), date.max])
def test_a_day_that_nobody_means_is_refused(day: date) -> None:
    for written in ("05:40", "sunrise", "moonset-8h"):
        with pytest.raises(ValueError, match=f"{day} is no day for a start; give one from 1900-01-01 to 2199-12-31"):
            starts(written, CAPE, day, ZoneInfo("Pacific/Auckland"))


@pytest.mark.parametrize("day", [date(1900, 1, 1), date(2199, 12, 31)])
def test_the_first_and_the_last_day_have_others_near(day: date) -> None:
    assert starts("05:40", None, day, UTC).date() == day
    with pytest.raises(NotThen, match=rf"there is no sunrise on {day} .* are on \d{{4}}-11-.* and on \d{{4}}-01-"):
        starts("sunrise", CAPE, day, UTC)


def test_at_a_pole_what_occurs_once_a_year_is_found() -> None:
    where, day = Place(latitude_deg=90.0, longitude_deg=0.0), date(2026, 6, 21)
    with pytest.raises(NotThen, match="there is no sunrise") as said:
        event("sunrise", where, day, UTC)
    near = [date.fromisoformat(one) for one in re.findall(r"on (\d{4}-\d\d-\d\d) at \d\d:", str(said.value))]
    assert [event("sunrise", where, one, UTC).date() for one in near] == near
    assert [one.month for one in near] == [3, 3]


def test_clocks_that_are_changed_move_no_instant() -> None:
    """Source: EU clocks change at 01:00 UTC on the last Sundays of March and October (directive 2000/84/EC)."""
    zone, place = ZoneInfo("Europe/Amsterdam"), QUAY
    spring, autumn = date(2026, 3, 29), date(2026, 10, 25)
    with pytest.raises(NotThen, match="put forward on 2026-03-29, and 02:30 is left out; the nearest is 03:30"):
        starts("02:30", None, spring, zone)
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert starts("02:30", None, autumn, zone).timestamp() == first.timestamp(), "the first of the two"
    assert starts("05:40", None, autumn, zone) == datetime(2026, 10, 25, 4, 40, tzinfo=UTC)
    # six hours before sunrise are six hours, not seven
    for day in (spring, autumn):
        gap = event("sunrise", place, day, zone).timestamp() - starts("sunrise-6h", place, day, zone).timestamp()
        assert gap == 6 * 3600


def test_the_sky_turns_by_15_041_degrees_an_hour() -> None:
    """Source: the sidereal rate, 15.041 degrees an hour (the trade's figure; IERS's rotation of the earth)."""
    assert pytest.approx(15.041, abs=0.0005) == SIDEREAL_DEG_S * 3600
    # at the pole a star goes round at one altitude by just that
    azimuth, altitude = turned(100.0, 30.0, 90.0, np.array([0.0, 3600.0]))
    assert azimuth[1] - azimuth[0] == pytest.approx(15.04107, abs=1e-4)
    assert altitude == pytest.approx(30.0)
    # after a sidereal day, 23 h 56 min 4.0905 s, it is back
    azimuth, altitude = turned(100.0, 30.0, 52.0, np.linspace(0, 86_164.0905, 1000))
    assert altitude[-1] == pytest.approx(30.0, abs=1e-4)
    assert (azimuth[-1] - azimuth[0]) % 360 == pytest.approx(0, abs=1e-3) or abs(azimuth[-1] - azimuth[0] - 360) < 1e-3


@pytest.mark.parametrize("place", [QUAY, CAPE, SOUTH])
def test_a_star_goes_where_the_iaus_routines_have_it(place: Place) -> None:
    """Source: SOFA atco13 for stars of J2000 without proper motion and refraction, over six hours."""
    chance = np.random.default_rng(11)
    lat, lon = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
    for _ in range(50):
        ra, dec = chance.uniform(0, 2 * math.pi), math.asin(chance.uniform(-1, 1))

        def seen(hour: float, ra: float = ra, dec: float = dec) -> tuple[float, float]:
            day = 2461000.5 + hour / 24
            az, zenith, *_ = erfa.atco13(ra, dec, 0, 0, 0, 0, day, 0.0, 0.0, lon, lat, 0.0, 0, 0, 0.0, 0, 0, 0.55)
            return math.degrees(az), 90 - math.degrees(zenith)

        start = seen(0)
        azimuth, altitude = turned(*start, place.latitude_deg, np.arange(0.0, 7 * 3600.0, 3600.0))
        for hour in range(7):
            assert apart((azimuth[hour], altitude[hour]), seen(hour)) < 0.005


def test_a_head_follows_the_stars_and_its_keys_are_where_the_sky_is() -> None:
    rig, rate = head((-170.0, 170.0), (-30.0, 80.0)), Rate(24000, 1001)
    lasts_s = 4 * 3600.0
    course = following(of_stars(140.0, 25.0, QUAY), rig, 150.0, lasts_s)
    assert course.cannot == ()
    pan, tilt = tracks(course, Fraction(100), rate)
    move = compile_move(rig, Move(tracks=(pan, tilt)), rate, laws())
    at_s = np.linspace(0, lasts_s, 4001)
    azimuth, altitude = turned(140.0, 25.0, QUAY.latitude_deg, at_s)
    there = move.sample(at_s + float(rate.seconds(100)))
    beside = (there[:, 0] + (azimuth - 150.0)) * np.cos(np.radians(altitude))
    assert np.abs(beside).max() < NEAR_DEG
    assert np.abs(there[:, 1] - altitude).max() < NEAR_DEG
    assert len(pan.keys) < 100


def test_a_head_whose_ways_are_the_others_follows_too() -> None:
    plain = following(of_stars(140.0, 25.0, QUAY), head(), 150.0, 3600.0)
    turned_round = following(
        of_stars(140.0, 25.0, QUAY), head(positive=(("pan", "right"), ("tilt", "down"))), 150.0, 3600.0
    )
    assert turned_round.pan == pytest.approx(-plain.pan)
    assert turned_round.tilt == pytest.approx(-plain.tilt)
    assert plain.pan[0] == pytest.approx(10.0)  # to the left of where it faces


def test_the_sun_is_followed_past_north_without_a_flip() -> None:
    """In the far north's summer the sun goes through north at midnight."""
    begins = datetime(2026, 6, 21, 20, tzinfo=UTC)
    course = following(of_body("sun", CAPE, begins), head(), 350.0, 4 * 3600.0)
    assert course.cannot == ()
    assert np.abs(np.diff(course.pan)).max() < 0.02
    at = begins + timedelta(hours=4)
    azimuth = direction("sun", CAPE, at)[0]
    assert (course.pan[-1] + azimuth - 350.0) % 360 == pytest.approx(0, abs=1e-6) or (
        (course.pan[-1] + azimuth - 350.0) % 360
    ) == pytest.approx(360, abs=1e-6)


def test_where_the_head_cannot_follow_is_said() -> None:
    # a star of the place's own declination passes through the zenith
    up = following(of_stars(90.0, 60.0, Place(latitude_deg=0.0, longitude_deg=0.0)), head(), 90.0, 3 * 3600.0)
    assert "passes near the zenith, at an altitude of 89.999, where pan would have to turn faster" in words(up)
    (one,) = up.cannot
    # 30 degrees at 15.041 degrees an hour
    assert one.from_s == pytest.approx(30 / 15.041 * 3600, abs=5)
    with pytest.raises(ValueError, match="zenith"):
        tracks(up, Fraction(0), Rate(25))
    low = following(of_stars(240.0, 20.0, QUAY), head(tilt=(-30.0, 15.0)), 240.0, 3 * 3600.0)
    assert "tilt would have to go beyond its travel [-30, 15] deg" in words(low)
    assert "it is below the horizon" in words(low)
    narrow = following(of_stars(180.0, 30.0, QUAY), head(pan=(-10.0, 10.0)), 180.0, 3600.0)
    assert "pan would have to go beyond" in words(narrow)
    assert f"for the first {int(narrow.cannot[0].from_s) // 3600}:" in words(narrow)


def test_a_rig_without_a_head_is_refused() -> None:
    rig = load_rig(Path("projects/low-tide"))
    slide = Rig(name="Slide", axes=(rig.axes[2],))
    with pytest.raises(ValueError, match="one pan and one tilt"):
        following(of_stars(0.0, 30.0, QUAY), slide, 0.0, 60.0)


@pytest.mark.parametrize("lasts_s", [0.0, -1.0, 604_801.0, math.inf, math.nan])
def test_a_time_in_which_no_sky_can_be_followed_is_refused(lasts_s: float) -> None:
    with pytest.raises(ValueError, match=f"for {lasts_s:g} s; give the cue more than 0 s, and a week at the most"):
        following(of_stars(0.0, 30.0, QUAY), head(), 0.0, lasts_s)
