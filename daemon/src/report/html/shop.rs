//! What concerns the whole shop, and how the report is checked.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;
use maud::{Markup, html};

use super::super::picture;
use super::super::{Chamber, Known, Probe, Report, Totals};
use super::{figure, money, time};

/// Chamber, alarms, probes, troubles.
pub(super) fn shop(report: &Report, units: Units) -> Markup {
    html! {
        section {
            h2 { "The shop" }
            p { "Scrapped in all: " (money(&report.scrapped)) "." }
            h3 { "Belt and chamber" }
            @match &report.chamber {
                Known::Not { unknown } => p { (unknown) },
                Known::Is(chamber) => {
                    @for station in stations(chamber) {
                        @if let Some(picture) = picture::chamber(chamber, station, units) { (figure(&picture)) }
                    }
                }
            }
            (alarms(report))
            (probes(&report.probes, units))
            (troubles(&report.totals))
            @if !report.happenings.is_empty() {
                h3 { "What happened" }
                table {
                    thead { tr { th { "When" } th { "Where" } th { "What" } th.n { "Record" } } }
                    tbody {
                        @for own in &report.happenings {
                            tr {
                                td { (time(&own.at)) }
                                td { (own.station.as_deref().unwrap_or("shop")) }
                                td { (own.what) }
                                td.n { (own.record) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn stations(chamber: &[Chamber]) -> Vec<Option<&str>> {
    let mut stations: Vec<Option<&str>> =
        chamber.iter().map(|own| own.station.as_deref()).collect();
    stations.sort_unstable();
    stations.dedup();
    stations
}

fn alarms(report: &Report) -> Markup {
    let after =
        |seconds: Option<f64>| seconds.map_or("not yet".to_owned(), |own| format!("{own:.0} s"));
    html! {
        h3 { "Alarms" }
        @match &report.alarms {
            Known::Not { unknown } => p { (unknown) },
            Known::Is(alarms) if alarms.is_empty() => p { "None." },
            Known::Is(alarms) => {
                table {
                    thead {
                        tr { th { "When" } th { "Where" } th { "What" } th.n { "Acknowledged after" } th.n { "Normal after" } }
                    }
                    tbody {
                        @for alarm in alarms {
                            tr {
                                td { (time(&alarm.at)) }
                                td { (alarm.station.as_deref().unwrap_or("shop")) }
                                td { (alarm.what) }
                                td.n { (after(alarm.acknowledged_after_s)) }
                                td.n { (after(alarm.normal_after_s)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn probes(probes: &[Probe], units: Units) -> Markup {
    if probes.is_empty() {
        return html! {};
    }
    let doubt = |own: Option<f64>| {
        own.map_or("–".to_owned(), |own| {
            units.difference(CelsiusDifference(own))
        })
    };
    html! {
        h3 { "Probes" }
        table {
            thead {
                tr { th { "Probe" } th { "Place" } th { "Station" } th.n { "Prints" } th.n { "U (k = 2)" } th { "Calibrated" } }
            }
            tbody {
                @for probe in probes {
                    tr {
                        td { (probe.id) }
                        td { (probe.place) }
                        td { (probe.station.as_deref().unwrap_or("–")) }
                        td.n { (probe.prints) }
                        td.n { (doubt(probe.uncertainty_c)) }
                        td {
                            @match &probe.calibration {
                                Known::Not { unknown } => (unknown),
                                Known::Is(own) => {
                                    (own.date) " by " (own.by)
                                    @if let Some(due) = &own.due { ", due " (due) }
                                    @if own.due_in_days.is_some_and(|days| days < 0) { " " b { "overdue" } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn troubles(totals: &Totals) -> Markup {
    let rows = [
        ("bad samples in passes", totals.faults.to_string()),
        ("gaps in passes", totals.gaps.to_string()),
        ("passes seen only in part", totals.cut.to_string()),
        (
            "prints counted that no probe saw",
            totals.unseen.to_string(),
        ),
        (
            "outages of sources",
            format!("{}, {:.0} s in all", totals.outages, totals.outage_s),
        ),
        (
            "the wall clock was set",
            format!("{} times", totals.clock_steps),
        ),
        (
            "readings too late to be judged",
            totals.late_readings.to_string(),
        ),
        (
            "readings lost because they came too fast",
            totals.turned_away.to_string(),
        ),
        ("disk full", format!("{:.0} s", totals.disk_full_s)),
    ];
    html! {
        h3 { "Gaps, faults and outages" }
        table { tbody { @for (name, figure) in &rows { tr { td { (name) } td { (figure) } } } } }
    }
}

/// How the report is checked.
pub(super) fn integrity(report: &Report) -> Markup {
    html! {
        section {
            h2 { "How this report is checked" }
            dl {
                dt { "Chain's head" } dd.hash { (report.journal.head) }
                dt { "Fingerprint" } dd.hash { (report.journal.fingerprint) }
                dt { "Made" } dd { (time(&report.made)) " (" (report.shop.timezone) "), Inkdwell " (report.program) }
                @if let Some(digest) = &report.shop.file_sha256 {
                    dt { "Shop file" } dd.hash { (digest) }
                }
            }
            p {
                "Every verdict, decision and event is a record in a chain of hashes; the head is its last link. "
                code { "inkdwell verify --data FOLDER --shop SHOP_FILE THIS_FILE" }
                " goes over the chain and tells whether the journal still supports every figure here."
            }
        }
    }
}
