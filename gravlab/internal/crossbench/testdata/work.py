#!/usr/bin/python3
"""The general-purpose side: reads the name of a piece of work and how often to do
it, a line each; answers with the processor time of all of it in seconds, and one number to
compare. Needs Debian's python3-numpy, python3-scipy and python3-astropy (erfa)."""
import sys
import time

import numpy as np
import scipy.integrate
import scipy.optimize
import scipy.signal

G = 6.67430e-11
STATIONS = np.stack([np.linspace(-20, 20, 1000), np.full(1000, 0.2), np.zeros(1000)], axis=1)


def prism():
    """gz of one prism at 1,000 stations: the eight corners, vectorised."""
    lo, hi = np.array([-2.0, -3.0, 4.0]), np.array([3.0, 2.0, 7.0])
    x, y, z = (STATIONS[:, i] for i in range(3))
    total = np.zeros(len(x))
    for i, cx in enumerate((lo[0], hi[0])):
        for j, cy in enumerate((lo[1], hi[1])):
            for k, cz in enumerate((lo[2], hi[2])):
                dx, dy, dz = cx - x, cy - y, cz - z
                r = np.sqrt(dx * dx + dy * dy + dz * dz)
                term = dz * np.arctan(dx * dy / (dz * r)) - dx * np.log(r + dy) - dy * np.log(r + dx)
                total += (-1) ** (i + j + k + 1) * term
    return G * -600.0 * total


def sphere():
    """gz and the gradient tensor of one sphere at 1,000 stations."""
    mass = 4 / 3 * np.pi * 2.0**3 * -1900.0
    d = np.array([-3.0, -2.0, 5.5]) - STATIONS
    r2 = (d * d).sum(axis=1)
    r3 = r2 * np.sqrt(r2)
    gz = G * mass * d[:, 2] / r3
    t = 3 * d[:, :, None] * d[:, None, :] / r2[:, None, None]
    t[:, range(3), range(3)] -= 1
    t *= (G * mass / r3)[:, None, None]
    return gz + 0 * t[:, 2, 2]


POLYGON = np.array([[-4, 2], [3, 2.5], [6, 6], [1, 8.5], [-5, 5]], dtype=float)


def polygon():
    """gz of a polygon of five corners at 1,000 stations."""
    x = STATIONS[:, 0]
    total = np.zeros(len(x))
    for (xa, za), (xb, zb) in zip(POLYGON, np.roll(POLYGON, -1, axis=0)):
        x1, x2 = xa - x, xb - x
        dx, dz = x2 - x1, zb - za
        c = (x1 * zb - x2 * za) / (dx * dx + dz * dz)
        theta = np.arctan2(zb, x2) - np.arctan2(za, x1)
        total += c * (dz * 0.5 * np.log((x2 * x2 + zb * zb) / (x1 * x1 + za * za)) - dx * theta)
    return np.abs(2 * G * -600.0 * total)


FIT_T = np.arange(10000) * 0.1


def oscillation(t, a, tau, period, phi, offset):
    return a * np.exp(-t / tau) * np.cos(2 * np.pi * t / period - phi) + offset


FIT_Y = oscillation(FIT_T, 1.3, 400, 33, 0.7, 0.2) + 0.02 * np.sin(FIT_T**2 * 977.0)


def fit():
    """A damped oscillation of five parameters in 10,000 samples, with covariance."""
    p, _ = scipy.optimize.curve_fit(oscillation, FIT_T, FIT_Y, p0=[1.2, 380, 32.9, 0.6, 0.1],
                                    sigma=np.full(len(FIT_T), 0.02), absolute_sigma=True)
    return p[2:3]


RECORD = np.sin(np.arange(1_000_000) ** 2 % 9973.0)
SECOND = np.cos(np.arange(1_000_000) ** 2 % 9967.0) + RECORD


def welch():
    """Welch's spectral density, segments of 4,096, of 1,000,000 samples."""
    return scipy.signal.welch(RECORD, 100.0, window="hann", nperseg=4096)[1][100:101]


def coherence():
    """Coherence of two records of 1,000,000 samples, segments of 4,096."""
    return scipy.signal.coherence(RECORD, SECOND, 100.0, window="hann", nperseg=4096)[1][100:101]


def pendulum():
    """60 s of a pendulum released at 1 rad, relative tolerance 1e-9."""
    s = scipy.integrate.solve_ivp(lambda t, y: (y[1], -9.80665 / 1.0 * np.sin(y[0])), (0, 60), (1.0, 0.0),
                                  method="RK45", rtol=1e-9, atol=1e-12, t_eval=np.linspace(0, 60, 601))
    return s.y[0][300:301]


def tide():
    """1,000 hours of the tide of Moon and Sun at one place."""
    import erfa

    jd = 2458849.5 + np.arange(1000) / 24.0
    moon = np.array(erfa.moon98(jd, 69.2 / 86400.0)["p"]) * 149597870700.0
    earth, _ = erfa.epv00(jd, 69.2 / 86400.0)
    sun = -np.array(earth["p"]) * 149597870700.0
    era = erfa.era00(jd, np.zeros_like(jd))
    matrix = erfa.c2tcio(erfa.c2i06a(jd, 69.2 / 86400.0), era, np.eye(3))
    lat, lon = 0.95, -0.04
    site = erfa.gd2gc(1, lon, lat, 310.0)
    up = np.array([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
    total = 0
    for body, gm in ((moon, 0.0123000371 * 3.986004418e14), (sun, 1.32712440041e20)):
        r = np.einsum("nij,nj->ni", matrix, body)
        d = r - site
        a = gm * (d / np.linalg.norm(d, axis=1)[:, None] ** 3 - r / np.linalg.norm(r, axis=1)[:, None] ** 3)
        total = total + a @ up
    return total[500:501]


RNG = np.random.default_rng(1)


def montecarlo():
    """1,000,000 trials of G = kappa theta d^2 / (2 m M b), mean and 95 % interval."""
    n = 1_000_000
    kappa = RNG.normal(1.6e-7, 1e-9, n)
    theta = RNG.normal(3.1e-3, 2e-5, n)
    d = RNG.normal(0.075, 3e-4, n)
    m = RNG.normal(0.05, 5e-5, n)
    big = RNG.normal(4.0, 5e-3, n)
    b = RNG.normal(0.12, 2e-4, n)
    g = kappa * theta * d * d / (2 * m * big * b)
    np.percentile(g, [2.5, 97.5])
    return np.array([g.mean()])


WORK = {f.__name__: f for f in (prism, sphere, polygon, fit, welch, coherence, pendulum, tide, montecarlo)}

for line in sys.stdin:
    name, times = line.split()
    work = WORK[name]
    result = work()
    start = time.process_time()
    for _ in range(int(times)):
        work()
    print(time.process_time() - start, repr(float(np.asarray(result).sum())), flush=True)
