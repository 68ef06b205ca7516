# Makes the values of library.go with scipy. Run: python3 scipy_values.py
import numpy as np, scipy
from scipy import signal, stats
n = np.arange(400)
x = ((7*n*n + 3*n) % 31 - 15).astype(float)
m = n - 1
y = ((5*n*n + 11*n) % 29 - 14) + (((7*m*m + 3*m) % 31) - 15)/2
print("numpy", np.__version__, "scipy", scipy.__version__)
def show(name, v): print(name, repr(float(v)))
_, p = signal.welch(x, 10, 'hann', 50, 25, detrend='linear'); show("welch-linear-7", p[7])
_, p = signal.welch(x, 10, 'flattop', 64, 48, detrend='constant'); show("welch-flattop-0", p[0]); show("welch-flattop-32", p[32])
_, p = signal.welch(x, 10, 'boxcar', 45, 0, detrend=False); show("welch-boxcar-22", p[22])
_, c = signal.coherence(x, y, 10, 'hamming', 40, noverlap=20, detrend='constant'); show("coherence-hamming-9", c[9])
_, pxy = signal.csd(x, y, 10, 'hann', 64, 32); show("csd-re-11", pxy[11].real); show("csd-im-11", pxy[11].imag)
def both(kind, order, corner, pad):
    sos = signal.butter(order, corner, kind, fs=10, output='sos')
    return signal.sosfiltfilt(sos, x, padtype='odd', padlen=pad)
import sys
for kind, order, corner in (('low', 4, 0.8), ('high', 3, 0.5), ('low', 5, 2.0)):
    poles = signal.butter(order, corner, kind, fs=10, output='zpk')[1]
    pad = 1 + int(np.ceil(np.log(1e-3)/np.log(np.abs(poles).max())))
    z = both(kind, order, corner, pad)
    show(f"butter-{kind}-{order} pad {pad} at 0", z[0]); show(f"butter-{kind}-{order} at 201", z[201])
w, h = signal.sosfreqz(signal.butter(4, 0.8, 'low', fs=10, output='sos'), [1.3], fs=10)
show("butter response abs 1.3", abs(h[0])); show("butter response phase 1.3", np.angle(h[0]))
show("chi2 lo", 28.521126760563380282/stats.chi2.ppf(0.975, 28.521126760563380282))
show("chi2 hi", 28.521126760563380282/stats.chi2.ppf(0.025, 28.521126760563380282))
show("false alarm", 1-(1-stats.norm.sf(4.2))**500)
show("threshold", stats.norm.isf(1-(1-1e-3)**(1/250)))
