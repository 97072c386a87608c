"""Wet bulbs of dryer air, for heat_published.rs.

PsychroLib carries the equations of ASHRAE Fundamentals. Its own inverse stops short of such hot air, so
its forward relation (humidity ratio from a wet bulb) is solved for the wet bulb here.

Needs: psychrolib, scipy.
"""

import psychrolib
from scipy.optimize import brentq

psychrolib.SetUnitSystem(psychrolib.SI)
PRESSURE = 101325.0


def wet_bulb(dry, ratio):
    def missing(wet):
        return psychrolib.GetHumRatioFromTWetBulb(dry, wet, PRESSURE) - ratio

    return brentq(missing, 0.5, min(dry, 95.0), xtol=1e-10)


for dry, ratio in [(60.0, 0.010), (120.0, 0.015), (160.0, 0.015), (190.0, 0.010), (220.0, 0.030)]:
    print(f"({dry}, {ratio}, {wet_bulb(dry, ratio):.4f}),")
