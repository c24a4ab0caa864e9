"""The model of tests/bench/monte_carlo.rs in numpy, a whole array at a time.

Reads one number of draws per line, answers each with: seconds, processor seconds, mean,
standard deviation and both ends of the symmetric 95 % interval. The time covers the draws and the figures calculated from them.
"""

import sys
import time

try:
    import numpy as np
except ImportError:
    sys.exit(3)


def draw(rng, n):
    u = lambda half: rng.uniform(-half, half, n)
    bore = 120.050 + u(0.010)
    shaft = 118.200 + u(0.008)
    housing = 1.840 + rng.normal(0.0, 0.006, n)
    runout = 0.012 * np.sin(np.pi * rng.uniform(-0.5, 0.5, n))
    face = rng.triangular(-0.015, 0.0, 0.015, n)
    lot = u(0.004)
    clearance = bore - shaft
    clearance -= housing
    clearance += runout
    clearance += face
    clearance -= 4.0 * lot
    for thickness, half in ((0.254, 0.013), (0.254, 0.013), (0.508, 0.025), (0.127, 0.010)):
        clearance -= thickness + u(half)
    return clearance


def rounds():
    rng = np.random.default_rng(1)
    for line in sys.stdin:
        n = int(line)
        start, work = time.perf_counter(), time.process_time()
        y = draw(rng, n)
        mean = y.mean()
        sd = y.std(ddof=1)
        # The ranks of JCGM 101:2008, 7.7; a partition does for them, and is quicker than a sort.
        within = int(0.95 * n + 0.5)
        low = (n - within + 1) // 2 - 1
        y.partition((low, low + within))
        ends = y[low], y[low + within]
        seconds, work = time.perf_counter() - start, time.process_time() - work
        print(seconds, work, mean, sd, *ends, flush=True)


rounds()
