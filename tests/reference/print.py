"""The heat model's equations, written once more and handed to a stiff solver of SciPy.

Prints the temperatures that heat_solver.rs holds the model against. The equations are those that stand
above cure/src/heat/column.rs and moisture.rs; what is checked is that the model solves them.

Needs: numpy, scipy.
"""

import sys

import numpy as np
from scipy.integrate import solve_ivp

KELVIN = 273.15
SIGMA = 5.670374419e-8
ATMOSPHERE = 101325.0
R_VAPOUR = 461.523
RATIO = 0.621945
C_AIR, C_VAPOUR, C_WATER = 1006.0, 1860.0, 4186.0
LATENT = 2.501e6
SORPTION = 1.24e6
SCALE = 46.0e3 / SORPTION / 0.08
AT65 = 1.02632
FLOOR = 0.02
CLOTH_K, CLOTH_RHO, CLOTH_C, CLOTH_OPEN = 0.05, 340.0, 1300.0, 0.6
LEWIS = 0.865
DRYING = 70.0


def saturation(t):
    k = t + KELVIN
    return np.exp(
        -5.8002206e3 / k
        + 1.3914993
        - 4.8640239e-2 * k
        + 4.1764768e-5 * k**2
        - 1.4452093e-8 * k**3
        + 6.5459673 * np.log(k)
    )


def push(pressure):
    air = ATMOSPHERE - pressure
    remainder = 0.5 * (air + np.sqrt(air**2 + (0.05 * ATMOSPHERE) ** 2))
    return RATIO * pressure / remainder


def fibre(t, u, regain):
    s = np.maximum(u * AT65 / regain, 0.0)
    free = 1.0 - np.exp(-s * np.sqrt(s + FLOOR))
    heat = SORPTION * (1.0 + (u / (SCALE * regain)) ** 2) ** -1.5
    return free * np.exp(heat / R_VAPOUR * (1.0 / 293.15 - 1.0 / (t + KELVIN))), heat


class Print:
    """Nodes from top to bottom; the last is the belt."""

    def __init__(self, film, cloth, oven, film_intervals, cloth_intervals):
        self.oven, self.cloth = oven, cloth
        self.capacity, self.matter, self.kind, self.water = [0.0], [0.0], ["dry"], [0.0]
        self.heat, self.vapour = [], []
        wet = film["thickness"] * film["density"]
        solids = wet * (1.0 - film["water"])
        if film["water"] > 0.0:
            film_intervals = 1
            self.matter[0], self.kind[0], self.water[0] = solids, "ink", wet * film["water"]
        self.bound = film["bound"]
        for _ in range(film_intervals):
            half = 0.5 * solids * film["c"] / film_intervals
            step = film["thickness"] / film_intervals
            self.capacity[-1] += half
            self.add(film["k"] / step, 0.0 if film["seals"] else 0.1 * 80e-6 / step, half)
        self.interface = len(self.capacity) - 1
        vapour = ATMOSPHERE / (287.042 * (DRYING + KELVIN)) * 2.178e-5
        vapour *= ((DRYING + KELVIN) / KELVIN) ** 1.81
        air_k = 0.0263 + 7.5e-5 * (DRYING + KELVIN - 300.0)
        dry = cloth["mass"] / (1.0 + cloth["regain"])
        step = cloth["mass"] / CLOTH_RHO / cloth_intervals
        for layer in range(cloth["layers"]):
            if layer:
                self.add(cloth["gap"], vapour / (air_k / cloth["gap"]), 0.0)
            for i in range(cloth_intervals + 1):
                share = 0.5 if i in (0, cloth_intervals) else 1.0
                matter = share * dry / cloth_intervals
                self.capacity[-1] += matter * CLOTH_C
                self.matter[-1], self.kind[-1] = matter, "fibre"
                self.water[-1] = matter * cloth["moisture"]
                if i < cloth_intervals:
                    self.add(CLOTH_K / step, vapour * CLOTH_OPEN / step, 0.0)
        self.lowest = len(self.capacity) - 1
        self.add(oven["contact"], 0.0, oven["belt"])
        for name in ("capacity", "matter", "water", "heat", "vapour"):
            setattr(self, name, np.array(getattr(self, name)))
        kind = np.array(self.kind)
        self.is_ink, self.is_fibre = kind == "ink", kind == "fibre"

    def add(self, heat, vapour, capacity):
        self.heat.append(heat)
        self.vapour.append(vapour)
        self.capacity.append(capacity)
        self.matter.append(0.0)
        self.kind.append("dry")
        self.water.append(0.0)

    def rates(self, time, state, speed):
        oven, n = self.oven, len(self.capacity)
        t, m = state[:n], state[n:]
        phi, q = np.zeros(n), np.zeros(n)
        u = np.where(self.matter > 0.0, m / np.where(self.matter > 0.0, self.matter, 1.0), 0.0)
        f, i = self.is_fibre, self.is_ink
        activity, heat = fibre(t[f], u[f], self.cloth["regain"])
        phi[f], q[f] = push(activity * saturation(t[f])), heat
        phi[i] = push((1.0 - np.exp(-np.maximum(u[i], 0.0) / self.bound)) * saturation(t[i]))
        h = np.zeros(n)
        w = np.zeros(n)
        vapour = self.vapour * (phi[:-1] - phi[1:])
        flow = self.heat * (t[:-1] - t[1:]) + vapour * (
            LATENT + C_VAPOUR * 0.5 * (t[:-1] + t[1:])
        )
        h[:-1] -= flow
        h[1:] += flow
        w[:-1] -= vapour
        w[1:] += vapour
        top, bottom, g, gw = self.around(time * speed)
        h[0] += top(t[0])
        h[-1] += bottom(t[-1])
        for node, share in ((0, 1.0), (self.lowest, oven["openness"])):
            if self.matter[node] > 0.0:
                out = share * (g * phi[node] - gw)
                w[node] -= out
                h[node] -= out * (LATENT + C_VAPOUR * t[node])
        capacity = self.capacity + C_WATER * m
        return np.concatenate([(h - (C_WATER * t - q) * w) / capacity, w])

    def around(self, x):
        oven = self.oven
        edge, blurred = 0.0, lambda e: 0.5 + 0.5 * np.tanh((x - e) / oven["blur"])
        grey = oven["emissivity"] * SIGMA
        b = a = wet = seen = walls = 0.0
        inside = blurred(0.0)
        rest = 1.0 - inside
        for zone in oven["zones"]:
            edge += zone["length"]
            beyond = blurred(edge)
            s, inside = inside - beyond, beyond
            b += s * zone["h"]
            a += s * zone["h"] * zone["air"]
            wet += s * zone["h"] * oven["humidity"]
            wall = s * (zone["air"] + KELVIN) ** 4
            walls += wall
            seen += (1.0 - zone["share"]) * wall + s * zone["share"] * (zone["panel"] + KELVIN) ** 4
        rest += inside
        b += rest * oven["room_h"]
        a += rest * oven["room_h"] * oven["room"]
        wet += rest * oven["room_h"] * oven["room_humidity"]
        wall = rest * (oven["room"] + KELVIN) ** 4
        walls, seen = walls + wall, seen + wall
        below = oven["below"]
        scale = 1.0 / ((C_AIR + C_VAPOUR * oven["humidity"]) * LEWIS ** (2.0 / 3.0))
        return (
            lambda t: a - b * t + grey * (seen - (t + KELVIN) ** 4),
            lambda t: below * (a - b * t + grey * (walls - (t + KELVIN) ** 4)),
            scale * b,
            scale * wet,
        )


OVEN = {
    "zones": [
        {"length": 1.2, "air": 190.0, "h": 40.0, "panel": 190.0, "share": 0.0},
        {"length": 1.0, "air": 150.0, "h": 25.0, "panel": 360.0, "share": 0.5},
    ],
    "humidity": 0.015,
    "room": 22.0,
    "room_h": 9.0,
    "room_humidity": 0.008,
    "below": 0.5,
    "openness": 0.5,
    "emissivity": 0.9,
    "blur": 0.05,
    "belt": 450.0,
    "contact": 80.0,
    "belt_start": 42.0,
}
PLASTISOL = {"thickness": 120e-6, "density": 1200.0, "water": 0.0, "bound": 0.1, "c": 1300.0, "k": 0.17, "seals": True}
WATER_BASED = {"thickness": 80e-6, "density": 1080.0, "water": 0.5, "bound": 0.1, "c": 1500.0, "k": 0.35, "seals": False}
SHIRT = {"mass": 0.18, "regain": 0.08, "moisture": 0.07, "layers": 2, "gap": 100.0}
BAG = {"mass": 0.30, "regain": 0.08, "moisture": 0.09, "layers": 1, "gap": 100.0}


def solve(name, film, cloth, speed, after):
    column = Print(film, cloth, OVEN, 2, 2)
    n = len(column.capacity)
    start = np.concatenate([np.full(n, OVEN["room"]), column.water])
    start[n - 1] = OVEN["belt_start"]
    length = sum(zone["length"] for zone in OVEN["zones"])
    begin, end = -0.25 / speed, length / speed + after
    times = np.linspace(0.0, end, 25)
    solution = solve_ivp(
        column.rates,
        (begin, end),
        start,
        method="Radau",
        t_eval=times,
        rtol=1e-9,
        atol=np.concatenate([np.full(n, 1e-7), np.full(n, 1e-11)]),
        args=(speed,),
        max_step=0.5,
    )
    if not solution.success:
        sys.exit(solution.message)
    for i, time in enumerate(times):
        t = solution.y[:, i]
        print(f"{name},{time:.6f},{t[0]:.4f},{t[column.interface]:.4f},{t[column.lowest]:.4f}")


print("case,seconds,top_c,bottom_c,underside_c")
solve("plastisol on a shirt", PLASTISOL, SHIRT, 2.4 / 60.0, 30.0)
solve("plastisol on a bag", PLASTISOL, BAG, 1.6 / 60.0, 30.0)
solve("water-based on a shirt", WATER_BASED, SHIRT, 1.2 / 60.0, 30.0)
solve("water-based on a bag", WATER_BASED, BAG, 0.8 / 60.0, 30.0)
