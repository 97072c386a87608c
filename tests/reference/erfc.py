"""Temperatures of a thick slab and of a plane wall under convection, for heat_published.rs.

Carslaw and Jaeger, Conduction of Heat in Solids, 2.7: a semi-infinite solid from rest under convection
has at its surface the share 1 - exp(x^2) erfc(x) of the air's excess, x = h sqrt(a t) / k.

Incropera, Fundamentals of Heat and Mass Transfer, 5.5: a plane wall of half thickness L under convection;
the whole series, with zeta tan zeta = Bi, C = 4 sin zeta / (2 zeta + sin 2 zeta).

Needs: numpy, scipy.
"""

import numpy as np
from scipy.optimize import brentq
from scipy.special import erfcx

for x in [0.2, 0.4, 0.6]:
    print(f"semi-infinite ({x}, {1.0 - erfcx(x):.8f}),")


def wall(biot, fourier, place, terms=60):
    left = 0.0
    for n in range(terms):
        zeta = brentq(
            lambda z: z * np.sin(z) - biot * np.cos(z), n * np.pi + 1e-12, n * np.pi + np.pi / 2
        )
        c = 4 * np.sin(zeta) / (2 * zeta + np.sin(2 * zeta))
        left += c * np.exp(-zeta * zeta * fourier) * np.cos(zeta * place)
        if n == 0:
            first = (zeta, c)
    return first, left


for biot in [0.1, 0.5, 1.0, 2.0]:
    (zeta, c), _ = wall(biot, 1.0, 0.0)
    for fourier in [0.1, 0.4, 1.0]:
        _, surface = wall(biot, fourier, 1.0)
        _, middle = wall(biot, fourier, 0.0)
        print(f"wall ({biot}, {zeta:.4f}, {c:.4f}, {fourier}, {surface:.6f}, {middle:.6f}),")
