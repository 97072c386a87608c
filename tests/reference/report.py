#!/usr/bin/env python3
"""Every figure of a report worked out once more, from what was exported and by other people's mathematics.

    report.py REPORT.json PASSES.csv READINGS.csv EVENTS.csv

Nothing here knows the program: shares, quantiles, charts, capability and trends come from numpy and scipy, doses
from the exported readings and the laws as the report states them, days from the time zones of Python. It prints what
it compared, and ends with 1 at the first figure that differs by more than its tolerance:

    counts, texts, what is a copy                 the same
    means, quantiles, limits, shares, costs       1e-9 (shares 1e-8, chance of a trend 1e-7)
    doses and times above, from readings          1e-6, the contract's own
    curves and the chamber, which are rounded     half a thousandth
    durations, in microseconds                    1e-6 s

`report_shop.py` beside it has what concerns decisions and the shop.
"""
import csv
import json
import math
import re
import sys

import numpy as np
from scipy import integrate, stats

import report_shop
from comparing import COMPARED, near, number, same



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


def signs_in_a_row(signs, span):
    """Where seven points or more go on with one sign: first and last place of each run."""
    found, start = [], 0
    for place in range(1, len(signs) + 1):
        if place == len(signs) or signs[place] != signs[start]:
            if signs[start] != 0 and place - start + span - 1 >= 7:
                found.append((start, place - 1 + span - 1))
            start = place
    return found


def patterns(figures, lower, upper):
    """Rule, first and last place of everything in a chart that ISO 7870-2 asks to look for."""
    beyond = [(i, "beyond-limit", i) for i, own in enumerate(figures) if own < lower or own > upper]
    side = signs_in_a_row(np.sign(figures - figures.mean()), 1)
    climb = signs_in_a_row(np.sign(np.diff(figures)), 2)
    rules = ["beyond-limit", "one-side", "trend"]
    found = beyond + [(a, "one-side", b) for a, b in side] + [(a, "trend", b) for a, b in climb]
    return sorted(found, key=lambda own: (own[0], rules.index(own[1])))


def stable(figures, found):
    """Whether there are no more patterns than chance explains in 95 of 100 charts."""
    n = len(figures)
    runs = max(n - 7, 0)
    by_chance = {
        "beyond-limit": 0.0027 * n,
        "one-side": runs / 2**7 + 1 / 2**6 if n >= 7 else 0.0,
        "trend": 2 * (1 / math.factorial(7) + runs * (1 / math.factorial(7) - 1 / math.factorial(8))) if n >= 7 else 0.0,
    }
    for rule, chance in by_chance.items():
        most = stats.poisson.ppf(0.95, chance) if chance >= 1 else 0
        if sum(own[1] == rule for own in found) > most:
            return False
    return True


def limits(figures):
    """Centre, mean moving range and limits; 1.128 and 3.267: ISO 7870-2, ranges of two."""
    moving = np.abs(np.diff(figures)).mean()
    reach = 3 * moving / 1.128
    return figures.mean(), moving, figures.mean() - reach, figures.mean() + reach


def chart(said, figures, passes):
    if "unknown" in said:
        same("chart refused", len(figures) < 10, True)
        return
    figures = np.array(figures)
    centre, moving, lower, upper = limits(figures)
    near("chart, centre", said["centre_c"], centre)
    near("chart, mean moving range", said["mean_moving_range_c"], moving)
    near("chart, lower limit", said["lower_c"], lower)
    near("chart, upper limit", said["upper_c"], upper)
    near("chart, range limit", said["range_upper_c"], 3.267 * moving)
    found = patterns(figures, lower, upper)
    own = [{"rule": rule, "first_pass": passes[a], "last_pass": passes[b]} for a, rule, b in found]
    same("chart, patterns", said["patterns"], own)
    same("chart, stable", said["stable"], stable(figures, found))


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
    """Where it is given its conditions hold and its figures are right; where it is refused one of them fails."""
    n = len(doses)
    fit = n >= 30 and min(doses) > 0 and max(doses) > min(doses)
    if fit:
        logs = np.log(doses)
        _, _, lower, upper = limits(logs)
        z = np.sort((logs - logs.mean()) / logs.std(ddof=1))
        i = np.arange(1, n + 1)
        a2 = -n - np.sum((2 * i - 1) / n * (stats.norm.logcdf(z) + stats.norm.logsf(z[::-1])))
        normal = a2 * (1 + 0.75 / n + 2.25 / n**2) <= 0.752
        fit = bool(stable(logs, patterns(logs, lower, upper)) and normal)
    same("capability refused", "unknown" in said, not fit)
    if not fit:
        return
    cpk = logs.mean() / (3 * logs.std(ddof=1))
    reach = stats.norm.ppf(0.975) * math.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    near("capability", said["cpk"]["best"], cpk)
    near("capability, low", said["cpk"]["low"], cpk - reach)
    near("capability, high", said["cpk"]["high"], cpk + reach)
    same("capability, prints", said["prints"], n)
    same("capability, limits", (said["lower_limit"], said["upper_limit"]), (0.0, None))


def curve(ride, row, readings):
    """Every point of a curve is a reading, and its hottest is the ride's."""
    start, end = int(row["start_steady_us"]), int(row["end_steady_us"])
    film = [((t - start) / 1e6, c) for t, c in readings[row["probe"]] if start <= t <= end]
    same("curve, verdict", (ride["verdict"], ride["harm"], ride["print"]), (row["verdict"], row["harm"] or None, int(row["print"])))
    near("curve, hottest", max(c for _, c in ride["curve"]), max(c for _, c in film), 0, 5.1e-4)
    places, at = [t for t, _ in film], 0
    for t, c in ride["curve"]:
        place = min(range(max(at - 2, 0), len(film)), key=lambda own: (abs(places[own] - t), own))
        near("curve, times", t, film[place][0], 0, 5.1e-4)
        near("curve, temperatures", c, film[place][1], 0, 5.1e-4)
        at = place
    same("curve, in order", [t for t, _ in ride["curve"]] == sorted(t for t, _ in ride["curve"]), True)


def one_print(print_, row, holds):
    """A print's line is its pass's row."""
    same("print, its pass", (print_["print"], print_["record"]), (int(row["print"]), int(row["record"])))
    same("print, place and evidence", (print_["place"], print_["evidence"]), (row["place"], row["evidence"] or "none"))
    same("print, verdict", (print_["verdict"], print_["harm"]), (row["verdict"], row["harm"] or None))
    near("print, when", print_["at"]["steady_s"], int(row["start_steady_us"]) / 1e6, 0, 1e-6)
    report_shop.shown("print, on the wall", print_["at"], row["start"])
    for member in ("peak_c", "time_above_s", "uncertainty_c", "belt_m_per_min"):
        own = number(row[member])
        if own is None or print_[member] is None:
            same(f"print, {member}", print_[member], own)
        else:
            near(f"print, {member}", print_[member], own, 0, 0)
    cure = [number(row[f"cure_{end}"]) for end in ("low", "best", "high")]
    if print_["cure"] is None:
        same("print, no cure", cure, [None] * 3)
    else:
        same("print, cure", [print_["cure"][end] for end in ("low", "best", "high")], cure)
    harms = {harm["harm"]: [harm["low"], harm["best"], harm["high"]] for harm in print_["harms"]}
    for harm in ("scorch", "dye-migration", "shrinkage", "melt"):
        own = [number(row[f"{harm.replace('-', '_')}_{end}"]) for end in ("low", "best", "high")]
        same("print, harms", harms.get(harm, [None] * 3), own)
    same("print, faults and gaps", (print_["faults"], print_["gaps"]), (int(row["faults"] or 0), int(row["gaps"] or 0)))
    same("print, holds", print_["holds"], holds.get(print_["pass"], []))
    same("print, reasons", " ".join(print_["reasons"]), row["reasons"])


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


def statistics(batch, mine):
    """The figures of a batch."""
    for figures in batch["figures"]:
        own = [row for row in mine if row["evidence"] == figures["evidence"]]
        passes = [int(row["pass"]) for row in own]
        same("figures, prints", figures["prints"], len(own))
        spread("peak", figures["peak_c"], [number(row["peak_c"]) for row in own], passes)
        spread("time above", figures["time_above_s"], [number(row["time_above_s"]) for row in own], passes)
        if figures["cure_low"]:
            spread("cure, low", figures["cure_low"], [number(row["cure_low"]) for row in own], passes)
            spread("cure, best", figures["cure_best"], [number(row["cure_best"]) for row in own], passes)
        for harm in figures["harms"]:
            name = harm["harm"].replace("-", "_")
            spread("harm, high", harm["high"], [number(row[name + "_high"]) for row in own], passes)
            spread("harm, best", harm["best"], [number(row[name + "_best"]) for row in own], passes)
        whole = [row for row in own if row["cut"] == "false"]
        peaks = [number(row["peak_c"]) for row in whole]
        hours = [(int(row["start_steady_us"]) - int(whole[0]["start_steady_us"])) / 3.6e9 for row in whole]
        chart(figures["chart"], peaks, [int(row["pass"]) for row in whole])
        trend(figures["trend"], hours, peaks)
        if figures["cure_best"]:
            capability(figures["capability"], [number(row["cure_best"]) for row in whole])


def evidence(batch, mine):
    """How the evidence of a batch stands."""
    proof = batch["proof"]
    same("prints of a batch", proof["prints"], len(mine))
    for count in batch["counts"]:
        own = sum(row["verdict"] == count["verdict"] and (row["harm"] or None) == count["harm"] for row in mine)
        same("prints by verdict", count["prints"], own)
    same("prints by verdict, all", sum(count["prints"] for count in batch["counts"]), len(mine))
    seen = good = 0
    for kind in ("measured", "inferred"):
        rows = [row for row in mine if row["evidence"] == kind]
        own = sum(row["verdict"] in ("cured", "gelled") for row in rows)
        same(f"prints {kind}", (proof[kind], proof[kind + "_good"]), (len(rows), own))
        seen, good = seen + len(rows), good + own
    same("prints unseen", proof["unseen"], len(mine) - seen)
    if seen:
        # Clopper and Pearson's lower bound is a quantile of the beta law.
        share = float(stats.beta.ppf(0.05, good, seen - good + 1)) if good else 0.0
        near("good at least", proof["good_at_least"], share, 1e-8)


def main(report, passes, readings, events):
    csv.field_size_limit(1 << 30)
    with open(report, encoding="utf-8") as file:
        text = file.read()
    report = json.loads(text)
    with open(passes, encoding="utf-8") as file:
        rows = {int(row["pass"]): row for row in csv.DictReader(file)}
    shown, numbers = {}, {}
    with open(readings, encoding="utf-8") as file:
        for row in csv.DictReader(file):
            at = int(row["steady_us"])
            if row["celsius"] and row["fed"] == "true":
                shown.setdefault(row["probe"], []).append((at, float(row["celsius"])))
            elif row["number"] and row["fed"] == "true":
                numbers.setdefault(row["probe"], []).append((at, float(row["number"])))
    for own in [*shown.values(), *numbers.values()]:
        own.sort()
    with open(events, encoding="utf-8") as file:
        records = [(int(row["record"]), int(row["steady_us"]), json.loads(row["body"])) for row in csv.DictReader(file)]
    shop = report_shop.Shop(report, text, rows, shown, numbers, records)
    total = 0
    for batch in report["batches"]:
        mine = [row for row in rows.values() if row["batch"] == str(batch["batch"])]
        mine.sort(key=lambda row: (int(row["start_steady_us"]), int(row["pass"])))
        total += len(mine)
        evidence(batch, mine)
        holds = shop.holds(batch)
        for print_ in batch["prints"]:
            one_print(print_, rows[print_["pass"]], holds)
        same("prints, in order", [print_["pass"] for print_ in batch["prints"]], [int(row["pass"]) for row in mine])
        statistics(batch, mine)
        if isinstance(batch["rides"], list):
            for ride in batch["rides"]:
                curve(ride, rows[ride["pass"]], shown)
        shop.batch(batch, mine)
        for row in mine:
            whole = row["cut"] == "false" and row["faults"] == "0" and row["gaps"] == "0"
            if row["place"] == "ride" and whole and shown.get(row["probe"]):
                physics(batch, row, shown)
    same("prints in all", report["prints"], total)
    shop.whole()
    for what in sorted(COMPARED):
        print(f"{COMPARED[what]:6}  {what}")


if __name__ == "__main__":
    if len(sys.argv) != 5:
        sys.exit(__doc__)
    main(*sys.argv[1:])
