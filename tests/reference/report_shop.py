"""What a report says of decisions and of the shop, worked out from the exported records and readings."""
import hashlib
import json
import math
from datetime import date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np

from comparing import near, same

GOOD = ("cured", "gelled")


class Token(str):
    """A number as it is written."""


def canonical(value):
    """JSON without a space, members by the bytes of their names, numbers as they were written."""
    if isinstance(value, Token):
        return str(value)
    if isinstance(value, dict):
        names = sorted(value, key=lambda own: own.encode())
        return "{" + ",".join(json.dumps(n, ensure_ascii=False) + ":" + canonical(value[n]) for n in names) + "}"
    if isinstance(value, list):
        return "[" + ",".join(canonical(own) for own in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def shown(what, moment, utc):
    """A moment of the report is the exported one, to the millisecond."""
    own = datetime.fromisoformat(utc.replace("Z", "+00:00"))
    said = datetime.fromisoformat(moment["at"])
    near(what, said.timestamp(), math.floor(own.timestamp() * 1000) / 1000, 0, 1e-6)


class Shop:
    """The report beside what was exported; `records` are number, steady time and body."""

    def __init__(self, report, text, rows, celsius, numbers, records):
        self.report, self.text, self.rows = report, text, rows
        self.celsius, self.numbers, self.records = celsius, numbers, records
        self.zone = ZoneInfo(report["shop"]["timezone"])

    def of(self, *kinds):
        return [own for own in self.records if own[2]["kind"] in kinds]

    def moment(self, what, moment, at):
        """A moment in both its forms; the wall clock went with the steady time in what is compared here."""
        near(what, moment["steady_s"], at / 1e6, 0, 1e-6)
        local = datetime.fromtimestamp(at // 1000 / 1000, timezone.utc).astimezone(self.zone)
        same(what, datetime.fromisoformat(moment["at"]).utcoffset(), local.utcoffset())
        near(what, datetime.fromisoformat(moment["at"]).timestamp(), at // 1000 / 1000, 0, 1e-6)

    def decided(self, what, said, at, by):
        self.moment(what, said["at"], at)
        same(what, said["by"], by)

    # Batches.

    def holds(self, batch):
        """The holds of a batch; gives by pass those that it is in."""
        members = {}
        for _, _, body in self.of("hold-joined"):
            members.setdefault(body["hold"], []).append(body["pass"])
        settled = {body["hold"]: (at, body) for _, at, body in self.of("hold-settled")}
        own = [(at, body) for _, at, body in self.of("hold-opened") if body["batch"] == batch["batch"]]
        same("holds", [hold["hold"] for hold in batch["holds"]], [body["hold"] for _, body in own])
        in_holds, scrapped = {}, set()
        for said, (at, body) in zip(batch["holds"], own):
            self.moment("hold, opened", said["opened"], at)
            passes = members.get(body["hold"], [])
            same("hold, its passes", said["passes"], passes)
            same("hold, why", (said["verdict"], said["harm"]), (body["verdict"], body["harm"]))
            done = settled.get(body["hold"])
            same("hold, settled", said["settled"] is None, done is None)
            for number in passes:
                in_holds.setdefault(number, []).append(body["hold"])
            if done:
                self.decided("hold, settled by", said["settled"]["decided"], done[0], done[1]["by"])
                same("hold, outcome", (said["settled"]["outcome"], said["settled"]["why"]), (done[1]["outcome"], done[1]["why"]))
                if done[1]["outcome"] == "scrapped":
                    scrapped |= set(passes)
        opened = self.opened(batch)[1]
        same("scrapped, prints", batch["scrapped"]["prints"], len(scrapped))
        if opened["blank_cost"] is not None or not scrapped:
            near("scrapped, cost", batch["scrapped"]["money"], len(scrapped) * (opened["blank_cost"] or 0.0))
        return in_holds

    def opened(self, batch):
        (own,) = [(at, body) for _, at, body in self.of("batch-opened") if body["batch"] == batch["batch"]]
        return own

    def batch(self, batch, mine):
        at, body = self.opened(batch)
        self.decided("batch, opened", batch["opened"], at, body["by"])
        for member in ("job", "station", "last_heat", "quantity", "mesh_per_inch"):
            same(f"batch, {member}", batch[member], body[member])
        same("batch, ink and fabric", (batch["ink"]["id"], batch["fabric"]["id"]), (body["ink"], body["fabric"]))
        closed = [(at, own) for _, at, own in self.of("batch-closed") if own["batch"] == batch["batch"]]
        same("batch, closed", batch["closed"] is None, not closed)
        if closed:
            self.decided("batch, closed by", batch["closed"], closed[0][0], closed[0][1]["by"])
        notes = [(at, own) for _, at, own in self.of("batch-noted") if own["batch"] == batch["batch"]]
        same("notes", [note["note"] for note in batch["notes"]], [own["note"] for _, own in notes])
        for said, (at, own) in zip(batch["notes"], notes):
            self.decided("notes, by", said["written"], at, own["by"])
        speeds = [float(row["belt_m_per_min"]) for row in mine if row["belt_m_per_min"]]
        span = batch["settings"]["belt_m_per_min"]
        same("belt, known", "unknown" in span, not speeds)
        if speeds:
            near("belt, least", span["least"], min(speeds))
            near("belt, mean", span["mean"], float(np.mean(speeds)))
            near("belt, greatest", span["greatest"], max(speeds))
        self.recipe(batch, body, closed[0][0] if closed else None, mine)
        self.tests(batch)

    def recipe(self, batch, opened, closed, mine):
        said = batch["settings"]["recipe"]
        same("recipe, known", "unknown" in said, opened["recipe"] is None)
        if opened["recipe"] is None:
            return
        (locked,) = [body for _, _, body in self.of("recipe-locked") if body["recipe"] == opened["recipe"]]
        same("recipe, number", said["recipe"], locked["recipe"])
        same("recipe, belt", said["belt_m_per_min"], locked["belt_m_per_min"])
        same("recipe, zones", said["zones_c"], locked["zones_c"])
        begun = self.opened(batch)[0]
        ends = max([closed or begun, *(int(row["end_steady_us"]) for row in mine)])
        departures = []
        for _, at, body in self.of("occurred"):
            what = body["what"]
            if what.get("recipe") != locked["recipe"] or not begun <= at <= ends:
                continue
            if what["event"] == "recipe-left":
                departures.append([at, what["what"], None])
            elif what["event"] == "recipe-met":
                for own in departures:
                    own[2] = own[2] if own[2] is not None else (at - own[0]) / 1e6
        same("recipe, departures", [own["what"] for own in said["departures"]], [own[1] for own in departures])
        for own, (at, _, lasted) in zip(said["departures"], departures):
            self.moment("recipe, left", own["at"], at)
            if lasted is None:
                same("recipe, not back", own["lasted_s"], None)
            else:
                near("recipe, lasted", own["lasted_s"], lasted, 0, 1e-6)

    def tests(self, batch):
        own = [(at, body) for _, at, body in self.of("signed-off") if body["batch"] == batch["batch"]]
        same("tests", len(batch["sign_offs"]["tests"]), len(own))
        reviews = 0
        for said, (at, body) in zip(batch["sign_offs"]["tests"], own):
            for member in ("method", "passed", "result", "pass"):
                same(f"test, {member}", said[member], body[member])
            self.decided("test, by", said["recorded"], at, body["by"])
            row = self.rows.get(body["pass"])
            if row is None:
                continue
            same("test, verdict", said["verdict"], row["verdict"])
            cure = said["cure"]
            same("test, predicted", [cure[end] for end in ("low", "best", "high")], [float(row[f"cure_{end}"]) for end in ("low", "best", "high")])
            contradicts = not body["passed"] and row["verdict"] == "cured"
            contradicts |= body["passed"] and row["verdict"] == "under-cured" and cure["high"] > 0
            reviews += contradicts
            if not body["passed"] and contradicts:
                words = batch["sign_offs"]["review"][reviews - 1]
                same("test, review says by how much", f"at least {100 * (cure['low'] - 1):.0f} %" in words, True)
        if all(body["pass"] is not None for _, body in own):
            same("tests, reviews", len(batch["sign_offs"]["review"]), reviews)

    # The whole.

    def whole(self):
        report = self.report
        counts = {}
        for batch in report["batches"]:
            for count in batch["counts"]:
                key = (count["verdict"], count["harm"])
                counts[key] = counts.get(key, 0) + count["prints"]
        same("counts in all", {(c["verdict"], c["harm"]): c["prints"] for c in report["counts"]}, counts)
        open_holds = [hold for batch in report["batches"] for hold in batch["holds"] if hold["settled"] is None]
        same("holds open", report["holds_open"], len(open_holds))
        bad = sum(prints for (verdict, _), prints in counts.items() if verdict not in GOOD)
        without = sum(row["batch"] == "" for row in self.rows.values())
        same("without a batch", report["without_batch"], without)
        same("all good", report["answer"]["all_good"], bad + without == 0 or (not open_holds and not without))
        good = sum(counts.values()) - bad
        same("answer, prints proved good", f"{good} of {sum(counts.values()) + without} prints proved good" in report["answer"]["sentence"], bad + without > 0)
        same("scrapped in all", report["scrapped"]["prints"], sum(b["scrapped"]["prints"] for b in report["batches"]))
        near("cost in all", report["scrapped"]["money"], sum(b["scrapped"]["money"] for b in report["batches"]))
        self.integrity()
        self.period()
        self.alarms()
        self.chamber()
        self.probes()
        self.totals()
        self.happenings()
        self.tomorrow(open_holds)

    def integrity(self):
        journal, shop = self.report["journal"], self.report["shop"]
        last = max([own[0] for own in self.records] + [int(row["record"]) for row in self.rows.values()])
        same("head's record", journal["record"], last)
        same("head", journal["head"].startswith(f"{last}:") or str(last) in journal["head"], True)
        raw = json.loads(self.text, parse_float=Token, parse_int=Token)
        for member in ("made", "program"):
            del raw[member]
        del raw["journal"]["fingerprint"]
        same("fingerprint", journal["fingerprint"], hashlib.sha256(canonical(raw).encode()).hexdigest())
        (declared,) = [body for number, _, body in self.of("shop-declared") if number == shop["file_record"]]
        same("shop file", shop["file_sha256"], hashlib.sha256(declared["text"].encode()).hexdigest())
        same("shop, in its file", shop["name"] in declared["text"] and shop["timezone"] in declared["text"], True)

    def period(self):
        period = self.report["period"]
        if period["kind"] != "day":
            return
        begun = datetime.fromisoformat(period["from"])
        own = datetime.combine(begun.date(), time.min, self.zone)
        # A day of the calendar, however long it is.
        after = datetime.combine(begun.date() + timedelta(days=1), time.min, self.zone)
        near("period, from", begun.timestamp(), own.timestamp(), 0, 1e-6)
        near("period, before", datetime.fromisoformat(period["before"]).timestamp(), after.timestamp(), 0, 1e-6)

    def alarms(self):
        told, standing = [], {}
        for _, at, body in self.of("alarm-changed"):
            change = body["change"]
            if change == "raised":
                standing[body["alarm"]] = len(told)
                told.append([at, body["station"], None, None])
            elif body["alarm"] in standing:
                own = told[standing[body["alarm"]]]
                if change == "acknowledged" and own[2] is None:
                    own[2] = (at - own[0]) / 1e6
                elif change == "returned" and own[3] is None:
                    own[3] = (at - own[0]) / 1e6
        said = self.report["alarms"]
        same("alarms", len(said), len(told))
        for alarm, (at, station, seen, normal) in zip(said, told):
            self.moment("alarm, when", alarm["at"], at)
            same("alarm, where", alarm["station"], station)
            for what, own, ours in (("seen", alarm["acknowledged_after_s"], seen), ("normal", alarm["normal_after_s"], normal)):
                if ours is None:
                    same(f"alarm, not {what}", own, None)
                else:
                    near(f"alarm, {what} after", own, ours, 0, 1e-6)

    def chamber(self):
        said = self.report["chamber"]
        if not isinstance(said, list):
            return
        starts = [int(row["start_steady_us"]) for row in self.rows.values()]
        ends = [int(row["end_steady_us"]) for row in self.rows.values()]
        first, last = min(starts) - 600_000_000, max(ends) + 600_000_000
        for own in said:
            begun = round(own["from"]["steady_s"] * 1e6)
            same("chamber, from", begun, first)
            span = (last - first) / 1e6
            near("chamber, piece", own["piece_s"], math.ceil(max(span / 240, 10)))
            readings = self.celsius.get(own["id"]) if own["unit"] == "°C" else self.numbers.get(own["id"])
            pieces, most = {}, math.ceil(span / own["piece_s"]) - 1
            for at, figure in readings:
                if first <= at <= last:
                    place = min(int((at - first) / 1e6 / own["piece_s"]), most)
                    pieces.setdefault(place, []).append(figure)
            same("chamber, pieces", [round(p[0] / own["piece_s"]) for p in own["pieces"]], sorted(pieces))
            for begins, least, mean, greatest in own["pieces"]:
                figures = pieces[round(begins / own["piece_s"])]
                near("chamber, least", least, min(figures), 0, 5.1e-4)
                near("chamber, mean", mean, float(np.mean(figures)), 0, 5.1e-4)
                near("chamber, greatest", greatest, max(figures), 0, 5.1e-4)

    def probes(self):
        saw = {}
        for row in self.rows.values():
            if row["probe"]:
                saw.setdefault(row["probe"], []).append(row)
        same("probes", [probe["id"] for probe in self.report["probes"]], sorted(saw))
        for probe in self.report["probes"]:
            rows = saw[probe["id"]]
            same("probe, prints", probe["prints"], len(rows))
            same("probe, station", probe["station"], rows[-1]["station"])
            near("probe, U", probe["uncertainty_c"], max(float(row["uncertainty_c"] or 0) for row in rows), 0, 0)
            made = [body for _, _, body in self.of("calibrated") if body["probe"] == probe["id"]]
            same("probe, calibrated", "unknown" in probe["calibration"], not made)
            if made:
                said, own = probe["calibration"], made[-1]
                for member in ("date", "due", "uncertainty_c", "by"):
                    same(f"calibration, {member}", said[member], own[member])
                last = max(int(row["end_steady_us"]) for row in rows)
                today = datetime.fromtimestamp(last / 1e6, timezone.utc).astimezone(self.zone).date()
                same("calibration, due in days", said["due_in_days"], (date.fromisoformat(own["due"]) - today).days)

    def totals(self):
        totals, rows = self.report["totals"], self.rows.values()
        for name in ("faults", "gaps"):
            same(f"{name} in all", totals[name], sum(int(row[name] or 0) for row in rows))
        same("cut in all", totals["cut"], sum(row["cut"] == "true" for row in rows))
        same("unseen in all", totals["unseen"], sum(row["evidence"] == "none" for row in rows))
        counted = dict.fromkeys(("clock_steps", "outages", "late_readings", "turned_away"), 0)
        silent, outage, full, last = {}, 0.0, 0.0, 0
        for _, at, body in self.of("occurred"):
            what, last = body["what"], at
            counted["clock_steps"] += what["event"] == "clock-stepped"
            if what["event"] == "source-down" and what["source"] not in silent:
                counted["outages"] += 1
                silent[what["source"]] = at
            elif what["event"] == "source-up" and what["source"] in silent:
                outage += (at - silent.pop(what["source"])) / 1e6
            elif what["event"] == "late":
                counted["late_readings"] += what["readings"]
            elif what["event"] == "turned-away":
                counted["turned_away"] += what["readings"]
            elif what["event"] == "disk-free":
                full += what["after_s"]
        last = max([last, *(int(row["end_steady_us"]) for row in rows)])
        outage += sum((last - since) / 1e6 for since in silent.values())
        for name, own in counted.items():
            same(f"{name} in all", totals[name], own)
        near("outages, seconds", totals["outage_s"], outage, 0, 1e-6)
        near("disk full, seconds", totals["disk_full_s"], full, 0, 1e-6)

    def happenings(self):
        own = self.of("occurred")[:400]
        same("what happened", [said["record"] for said in self.report["happenings"]], [number for number, _, _ in own])
        for said, (_, at, body) in zip(self.report["happenings"], own):
            self.moment("what happened, when", said["at"], at)
            same("what happened, where", said["station"], body["station"])

    def tomorrow(self, open_holds):
        """The figure of each piece of advice is one of the report's own."""
        report = self.report
        batches = {batch["batch"]: batch for batch in report["batches"]}
        for advice in report["tomorrow"]:
            batch = batches.get(advice["batch"])
            first = batch["figures"][0] if batch and batch["figures"] else None
            match advice["kind"]:
                case "holds":
                    own = [sum(len(hold["passes"]) for hold in open_holds)]
                case "settings":
                    doses = [harm["best"]["greatest"] for harm in first["harms"]]
                    own = [first["cure_best"]["least"], *doses]
                case "drift":
                    own = [first["trend"]["over_all_c"]]
                case "evidence":
                    own = [batch["proof"]["unseen"]]
                case "probe":
                    own = [probe["calibration"].get("due_in_days") for probe in report["probes"]]
                case "room-to-spare":
                    own = [first["cure_low"]["least"]]
            same("tomorrow, its figure", advice["figure"] in own, True)
        same("tomorrow, few", len(report["tomorrow"]) <= 3, True)
