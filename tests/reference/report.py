#!/usr/bin/env python3
"""Every figure of a report worked out once more, from what was exported and by other people's mathematics.

    report.py REPORT.json PASSES.csv READINGS.csv

Nothing here knows the program: shares, quantiles, charts, capability and trends come from numpy and scipy, doses
from the exported readings and the laws as the report states them. It prints what it compared, and ends with 1 at
the first figure that differs by more than its tolerance.
"""
import csv
import json
import math
import re
import sys

import numpy as np
from scipy import integrate, stats

COMPARED = {}


def near(what, said, own, relative=1e-9, absolute=1e-9):
    """Holds a figure against ours."""
    COMPARED[what] = COMPARED.get(what, 0) + 1
    if said is None or own is None or not math.isclose(said, own, rel_tol=relative, abs_tol=absolute):
        sys.exit(f"{what}: the report says {said}, and it is {own}")


def same(what, said, own):
    COMPARED[what] = COMPARED.get(what, 0) + 1
    if said != own:
        sys.exit(f"{what}: the report says {said!r}, and it is {own!r}")


def number(cell):
    return float(cell) if cell != "" else None


def law(words):
    """The law behind words such as `90 s at 160 °C, or 50 s at 170 °C` or `3 s at 160 °C or above`."""
    points = [(float(at), float(time)) for time, at in re.findall(r"([\d.]+) s at ([\d.]+) °C", words)]
    return points, "or above" in words


def dose(points, hold, times, celsius, beyond):
    """A dose along straight lines between samples; `beyond`: whether the last segment goes on above its end."""
    if hold:
        (at, need), = points
        return above(times, celsius, at) / need
    at = np.array([p[0] for p in points]) + 273.15
    log_need = np.log([p[1] for p in points])

    def rate(own):
        kelvin = own + 273.15
        if kelvin < at[0]:
            return 0.0
        if kelvin >= at[-1] and not beyond:
            return math.exp(-log_need[-1])
        place = min(max(np.searchsorted(at, kelvin, side="right") - 1, 0), len(at) - 2)
        x0, x1 = 1 / at[place], 1 / at[place + 1]
        share = (1 / kelvin - x0) / (x1 - x0)
        return math.exp(-(log_need[place] + share * (log_need[place + 1] - log_need[place])))

    total = 0.0
    for t0, t1, c0, c1 in zip(times, times[1:], celsius, celsius[1:]):
        if max(c0, c1) < points[0][0]:
            continue
        # Corners of the rate along this line, so that the quadrature meets smooth pieces only.
        corners = [p[0] for p in points if min(c0, c1) < p[0] < max(c0, c1)]
        cuts = sorted({0.0, 1.0, *((corner - c0) / (c1 - c0) for corner in corners)})
        for left, right in zip(cuts, cuts[1:]):
            piece, _ = integrate.quad(lambda s: rate(c0 + s * (c1 - c0)), left, right, epsabs=1e-13, epsrel=1e-11)
            total += piece * (t1 - t0)
    return total


def above(times, celsius, at):
    """Seconds at or above a temperature."""
    total = 0.0
    for t0, t1, c0, c1 in zip(times, times[1:], celsius, celsius[1:]):
        if min(c0, c1) >= at:
            total += t1 - t0
        elif max(c0, c1) >= at:
            total += (t1 - t0) * (max(c0, c1) - at) / abs(c1 - c0)
    return total


def spread(what, said, figures, passes):
    figures = np.array(figures)
    same(f"{what}, count", said["prints"], len(figures))
    for name, own in [
        ("least", figures.min()),
        ("greatest", figures.max()),
        ("lower_quartile", np.percentile(figures, 25)),
        ("median", np.percentile(figures, 50)),
        ("upper_quartile", np.percentile(figures, 75)),
        ("mean", figures.mean()),
    ]:
        near(f"{what}, {name}", said[name], float(own))
    if len(figures) > 1:
        near(f"{what}, deviation", said["deviation"], float(figures.std(ddof=1)), 1e-8)
    same(f"{what}, least pass", said["least_pass"], passes[int(figures.argmin())])
    same(f"{what}, greatest pass", said["greatest_pass"], passes[int(figures.argmax())])


def chart(said, figures):
    if "unknown" in said:
        same("chart refused", len(figures) < 10, True)
        return
    figures = np.array(figures)
    moving = np.abs(np.diff(figures)).mean()
    near("chart, centre", said["centre_c"], figures.mean())
    near("chart, mean moving range", said["mean_moving_range_c"], moving)
    # 1.128 and 3.267: ISO 7870-2, ranges of two.
    near("chart, lower limit", said["lower_c"], figures.mean() - 3 * moving / 1.128)
    near("chart, upper limit", said["upper_c"], figures.mean() + 3 * moving / 1.128)
    near("chart, range limit", said["range_upper_c"], 3.267 * moving)
    beyond = int(((figures < said["lower_c"]) | (figures > said["upper_c"])).sum())
    same("chart, points beyond", sum(p["rule"] == "beyond-limit" for p in said["patterns"]), beyond)


def trend(said, hours, figures):
    if len(figures) < 8:
        same("trend refused", "unknown" in said, True)
        return
    if len(figures) > 400:
        return
    n = len(figures)
    signs = sum(np.sign(b - a) for i, b in enumerate(figures) for a in figures[:i])
    z = max(abs(signs) - 1, 0) / math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    chance = 2 * stats.norm.sf(z)
    same("trend refused", "unknown" in said, bool(chance > 0.01))
    if "unknown" not in said:
        near("trend, by chance", said["by_chance"], chance, 1e-7)
        slope = stats.theilslopes(figures, hours).slope
        near("trend, slope", said["c_per_hour"], slope, 1e-9)
        near("trend, over all", said["over_all_c"], slope * (hours[-1] - hours[0]), 1e-9)


def capability(said, doses):
    """Where it is given, its conditions have to hold and its figures to be right."""
    if "unknown" in said:
        COMPARED["capability refused"] = COMPARED.get("capability refused", 0) + 1
        return
    logs = np.log(doses)
    n = len(logs)
    same("capability, enough prints", n >= 30, True)
    cpk = logs.mean() / (3 * logs.std(ddof=1))
    reach = stats.norm.ppf(0.975) * math.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    near("capability", said["cpk"]["best"], cpk)
    near("capability, low", said["cpk"]["low"], cpk - reach)
    near("capability, high", said["cpk"]["high"], cpk + reach)
    z = np.sort((logs - logs.mean()) / logs.std(ddof=1))
    i = np.arange(1, n + 1)
    a2 = -n - np.sum((2 * i - 1) / n * (stats.norm.logcdf(z) + stats.norm.logsf(z[::-1])))
    same("capability, normal", bool(a2 * (1 + 0.75 / n + 2.25 / n**2) <= 0.752), True)


def physics(batch, row, readings):
    """Peak, time above and doses from the readings of a ride that was seen whole."""
    start, end = int(row["start_steady_us"]), int(row["end_steady_us"])
    film = [(t, c) for t, c in readings.get(row["probe"], []) if start <= t <= end]
    times = [(t - start) / 1e6 for t, _ in film]
    celsius = [c for _, c in film]
    near("peak from readings", number(row["peak_c"]), max(celsius))
    near("time above from readings", number(row["time_above_s"]), above(times, celsius, number(row["threshold_c"])), 1e-6, 1e-6)
    points, hold = law(batch["ink"]["law"])
    if row["cure_best"]:
        near("cure dose from readings", number(row["cure_best"]), dose(points, hold, times, celsius, False), 1e-6, 1e-9)
    cloths = [name for name in readings if name == "cloth"]
    for limit in batch["fabric"]["limits"]:
        own = film
        if limit["harm"] != "dye-migration" and cloths:
            own = [(t, c) for t, c in readings["cloth"] if start <= t <= end]
        points, hold = law(limit["law"])
        times = [(t - start) / 1e6 for t, _ in own]
        column = limit["harm"].replace("-", "_") + "_best"
        got = dose(points, hold, times, [c for _, c in own], True)
        near(f"{limit['harm']} dose from readings", number(row[column]), got, 1e-6, 1e-9)


def main(report, passes, readings):
    with open(report, encoding="utf-8") as file:
        report = json.load(file)
    with open(passes, encoding="utf-8") as file:
        rows = {int(row["pass"]): row for row in csv.DictReader(file)}
    shown = {}
    with open(readings, encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["celsius"] and row["fed"] == "true":
                shown.setdefault(row["probe"], []).append((int(row["steady_us"]), float(row["celsius"])))
    for own in shown.values():
        own.sort()
    total = 0
    for batch in report["batches"]:
        mine = [row for row in rows.values() if row["batch"] == str(batch["batch"])]
        mine.sort(key=lambda row: (int(row["start_steady_us"]), int(row["pass"])))
        total += len(mine)
        same("prints of a batch", batch["proof"]["prints"], len(mine))
        for count in batch["counts"]:
            own = sum(row["verdict"] == count["verdict"] and (row["harm"] or None) == count["harm"] for row in mine)
            same("prints by verdict", count["prints"], own)
        seen = [row for row in mine if row["evidence"] in ("measured", "inferred")]
        good = sum(row["verdict"] in ("cured", "gelled") for row in seen)
        same("prints unseen", batch["proof"]["unseen"], len(mine) - len(seen))
        if seen:
            share = float(stats.beta.ppf(0.05, good, len(seen) - good + 1)) if good else 0.0
            near("good at least", batch["proof"]["good_at_least"], share, 1e-8)
        for print_ in batch["prints"]:
            row = rows[print_["pass"]]
            same("verdict of a print", print_["verdict"], row["verdict"])
            same("record of a print", print_["record"], int(row["record"]))
            if row["peak_c"]:
                near("peak of a print", print_["peak_c"], number(row["peak_c"]))
        for figures in batch["figures"]:
            own = [row for row in mine if row["evidence"] == figures["evidence"]]
            numbers = [int(row["pass"]) for row in own]
            spread("peak", figures["peak_c"], [number(row["peak_c"]) for row in own], numbers)
            spread("time above", figures["time_above_s"], [number(row["time_above_s"]) for row in own], numbers)
            if figures["cure_low"]:
                spread("cure, low", figures["cure_low"], [number(row["cure_low"]) for row in own], numbers)
                spread("cure, best", figures["cure_best"], [number(row["cure_best"]) for row in own], numbers)
            for harm in figures["harms"]:
                name = harm["harm"].replace("-", "_")
                spread("harm, high", harm["high"], [number(row[name + "_high"]) for row in own], numbers)
                spread("harm, best", harm["best"], [number(row[name + "_best"]) for row in own], numbers)
            whole = [row for row in own if row["cut"] == "false"]
            peaks = [number(row["peak_c"]) for row in whole]
            hours = [(int(row["start_steady_us"]) - int(whole[0]["start_steady_us"])) / 3.6e9 for row in whole]
            chart(figures["chart"], peaks)
            trend(figures["trend"], hours, peaks)
            if figures["cure_best"]:
                capability(figures["capability"], [number(row["cure_best"]) for row in whole])
        for row in mine:
            whole = row["cut"] == "false" and row["faults"] == "0" and row["gaps"] == "0"
            if row["place"] == "ride" and whole and shown.get(row["probe"]):
                physics(batch, row, shown)
    same("prints in all", report["prints"], total)
    for name in ("faults", "gaps"):
        same(f"{name} in all", report["totals"][name], sum(int(row[name] or 0) for row in rows.values()))
    for what in sorted(COMPARED):
        print(f"{COMPARED[what]:6}  {what}")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    main(*sys.argv[1:])
