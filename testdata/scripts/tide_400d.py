#!/usr/bin/python3
"""Vertical tide of the Moon and the Sun on a rigid Earth, hourly for 400 days.

Writes tide_400d.csv beside this folder. Needs astropy 5.2.1 and pyerfa 2.0.0.1 as
Debian packages them (python3-astropy, python3-erfa, python3-numpy); works offline:
the Earth's orientation comes from the IERS-B table that astropy carries.

Conventions, the same as tide_check.csv:
  upward positive, along the normal of the WGS84 ellipsoid;
  a = GM (d/|d|^3 - R/|R|^3), d from the site to the body, R from the Earth's centre;
  GM of the Moon 0.0123000371 x 3.986004418e14, of the Sun 1.32712440041e20 m^3/s^2;
  geometric positions: eraMoon98 and minus the Earth of eraEpv00;
  GCRS to ITRS by IAU 2006/2000A with UT1-UTC and polar motion; permanent part included;
  no gravimetric factor.
"""
import os

import astropy
import astropy.units as u
import erfa
import numpy as np
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = "error"

LAT, LON, HEIGHT = 54.625, -2.375, 310.0  # an invented field site
START, HOURS = "2020-01-01T00:00:00", 400 * 24
GM_MOON = 0.0123000371 * 3.986004418e14
GM_SUN = 1.32712440041e20
AU = 149597870700.0


def main():
    table = iers.IERS_B.open()
    utc = Time(START, scale="utc") + np.arange(HOURS) / 24.0 * u.day
    # Whole hours exactly: no leap second falls in the series.
    utc = Time(utc.jd1, utc.jd2, format="jd", scale="utc")
    dut1 = table.ut1_utc(utc).to_value("s")
    xp, yp = (v.to_value("rad") for v in table.pm_xy(utc))
    tt = utc.tt
    utc.delta_ut1_utc = dut1
    ut1 = utc.ut1

    moon = np.array(erfa.moon98(tt.jd1, tt.jd2)["p"]) * AU
    earth, _ = erfa.epv00(tt.jd1, tt.jd2)
    sun = -np.array(earth["p"]) * AU

    matrix = erfa.c2t06a(tt.jd1, tt.jd2, ut1.jd1, ut1.jd2, xp, yp)
    site = erfa.gd2gc(1, np.radians(LON), np.radians(LAT), HEIGHT)
    up = np.array([np.cos(np.radians(LAT)) * np.cos(np.radians(LON)),
                   np.cos(np.radians(LAT)) * np.sin(np.radians(LON)),
                   np.sin(np.radians(LAT))])

    def upward(body, gm):
        r = np.einsum("nij,nj->ni", matrix, body)
        d = r - site
        a = gm * (d / np.linalg.norm(d, axis=1)[:, None] ** 3
                  - r / np.linalg.norm(r, axis=1)[:, None] ** 3)
        return a @ up * 1e9

    m, s = upward(moon, GM_MOON), upward(sun, GM_SUN)
    out = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "tide_400d.csv")
    with open(out + ".part", "w", newline="") as f:
        f.write("utc,moon_nm_s2,sun_nm_s2\r\n")
        for i in range(HOURS):
            t = np.datetime64(START) + np.timedelta64(i, "h")
            f.write(f"{t}Z,{m[i]:.1f},{s[i]:.1f}\r\n")
        f.flush()
        os.fsync(f.fileno())
    os.replace(out + ".part", out)
    print("astropy", astropy.__version__, "erfa", erfa.__version__, "rows", HOURS)


if __name__ == "__main__":
    main()
