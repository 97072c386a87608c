#!/usr/bin/env python3
"""Figures of an independent library that the tests of cure/src/statistics hold theirs against."""
import math

from scipy import stats

peaks = [158.2, 161.4, 160.1, 159.7, 162.3, 160.8, 159.1, 161.9, 160.4, 163.0, 158.8, 160.6]
n = len(peaks)
mean = sum(peaks) / n
deviation = math.sqrt(sum((x - mean) ** 2 for x in peaks) / (n - 1))
z = sorted((x - mean) / deviation for x in peaks)
raw = -n - sum((2 * i + 1) * (stats.norm.logcdf(z[i]) + stats.norm.logsf(z[n - 1 - i])) for i in range(n)) / n
try:
    library = stats.anderson(peaks, "norm", method="interpolate").statistic
except TypeError:
    library = stats.anderson(peaks, "norm").statistic
assert abs(raw - library) < 1e-9, (raw, library)
print("Anderson-Darling, corrected for n:", repr(float(library) * (1 + 0.75 / n + 2.25 / n**2)))

rising = [3.1, 2.9, 3.6, 3.3, 4.1, 3.8, 4.4, 4.0, 4.9, 4.5]
n = len(rising)
print("Theil-Sen slope:", repr(float(stats.theilslopes(rising, range(n)).slope)))
tau = stats.kendalltau(range(n), rising).statistic
s = round(tau * n * (n - 1) / 2)
z = (abs(s) - 1) / math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
print("Kendall, normal approximation with continuity:", repr(float(2 * stats.norm.sf(z))))

for good, seen in [(17, 20), (40, 50), (1, 30)]:
    print(f"at least, {good} of {seen}:", repr(float(stats.beta.ppf(0.05, good, seen - good + 1))))
