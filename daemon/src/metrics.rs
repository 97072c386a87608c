//! Figures for whoever watches many of these: OpenMetrics text, at `/metrics`.
//!
//! What to watch, and what it means:
//!
//! | figure | watch for |
//! |---|---|
//! | `inkdwell_passes_total{station,verdict}` | verdicts other than `cured` and `gelled` that come more often |
//! | `inkdwell_source_up{source}` | 0 for longer than a minute: a probe is not heard |
//! | `inkdwell_turned_away_readings_total` | anything above 0: readings were lost |
//! | `inkdwell_disk_full` | 1: nothing is accepted |
//! | `inkdwell_sink_up{sink}` | 0 for longer than a few minutes |
//! | `inkdwell_sink_waiting_records{sink}` | grows and does not shrink: the other side takes nothing |
//! | `inkdwell_sink_set_aside_total{sink}` | anything above 0: look at why with `GET /api/sinks` |
//! | `inkdwell_commit_seconds` | a 99th percentile of more than 0.15: the disk is too slow |
//! | `inkdwell_open_holds` | prints to be pulled that nobody has settled |
//! | `up` of the one that asks | 0: the monitor itself has died |
//!
//! Counts begin with the daemon.

use std::sync::Arc;
use std::time::Duration;

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};

use crate::record::{Occurrence, Record};
use crate::shift::News;
use crate::sink::{Health as SinkHealth, Way};
use crate::source::health::{Health as SourceHealth, Line};

/// The media type of OpenMetrics text.
pub const MEDIA_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Upper ends of the classes of a commit's time, in seconds.
const COMMIT_SECONDS: [f64; 9] = [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.15, 0.5, 2.0];

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Judged {
    station: String,
    verdict: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfKind {
    kind: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfSource {
    source: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfSink {
    sink: String,
    kind: &'static str,
}

/// What is counted since the start.
#[derive(Debug, Clone)]
pub struct Metrics {
    records: Family<OfKind, Counter>,
    passes: Family<Judged, Counter>,
    readings: Counter,
    turned_away: Counter,
    commits: Histogram,
}

impl Default for Metrics {
    fn default() -> Metrics {
        Metrics {
            records: Family::default(),
            passes: Family::default(),
            readings: Counter::default(),
            turned_away: Counter::default(),
            commits: Histogram::new(COMMIT_SECONDS),
        }
    }
}

/// What is known at the moment of asking.
#[derive(Debug, Default)]
pub struct Now {
    /// The last record.
    pub last_record: u64,
    /// Holds that nobody has settled.
    pub open_holds: u64,
    /// Whether nothing is accepted because the disk is full.
    pub disk_full: bool,
    /// The sources by their ids.
    pub sources: Vec<(String, Arc<SourceHealth>)>,
    /// The sinks: id, kind, health.
    pub sinks: Vec<(String, &'static str, Arc<SinkHealth>)>,
}

impl Metrics {
    /// Counts what was committed, in so much time.
    pub(crate) fn note(&self, news: &News, took: Duration) {
        self.commits.observe(took.as_secs_f64());
        self.readings.inc_by(news.readings.len() as u64);
        for (_, _, record) in &news.records {
            let kind = record.kind();
            self.records.get_or_create(&OfKind { kind }).inc();
            match record {
                Record::PassJudged(pass) => {
                    let verdict = pass.judged.as_ref();
                    let verdict =
                        verdict.map_or("no-batch".to_owned(), |judged| judged.verdict.clone());
                    let station = pass.station.clone();
                    self.passes
                        .get_or_create(&Judged { station, verdict })
                        .inc();
                }
                Record::Occurred(occurred) => {
                    if let Occurrence::TurnedAway { readings, .. } = &occurred.what {
                        self.turned_away.inc_by(*readings);
                    }
                }
                _ => {}
            }
        }
    }

    /// The text.
    ///
    /// # Errors
    /// None that is known.
    pub fn text(&self, now: &Now) -> Result<String, std::fmt::Error> {
        let mut registry = Registry::with_prefix("inkdwell");
        let version = [("version", env!("CARGO_PKG_VERSION"))];
        registry.register("build", "The version of the daemon", Info::new(version));
        registry.register(
            "records",
            "Records of evidence committed, by their kind",
            self.records.clone(),
        );
        registry.register(
            "passes",
            "Prints judged, by station and verdict; no-batch: nobody knows what it needed",
            self.passes.clone(),
        );
        registry.register("readings", "Readings committed", self.readings.clone());
        registry.register(
            "turned_away_readings",
            "Readings that were lost since they came faster than they could be taken",
            self.turned_away.clone(),
        );
        registry.register_with_unit(
            "commit",
            "How long a commit took until it was on the disk",
            Unit::Seconds,
            self.commits.clone(),
        );
        let holds = gauge(now.open_holds);
        registry.register("open_holds", "Holds that nobody has settled", holds);
        registry.register(
            "disk_full",
            "1 where nothing is accepted because the disk is full",
            gauge(u64::from(now.disk_full)),
        );
        of_sources(&mut registry, &now.sources);
        of_sinks(&mut registry, now);
        let mut text = String::new();
        prometheus_client::encoding::text::encode(&mut text, &registry)?;
        Ok(text)
    }
}

fn gauge(value: u64) -> Gauge {
    let gauge = Gauge::<i64>::default();
    gauge.set(i64::try_from(value).unwrap_or(i64::MAX));
    gauge
}

fn of_sources(registry: &mut Registry, sources: &[(String, Arc<SourceHealth>)]) {
    let (up, losses) = (
        Family::<OfSource, Gauge>::default(),
        Family::<OfSource, Counter>::default(),
    );
    for (source, health) in sources {
        let of = OfSource {
            source: source.clone(),
        };
        let is_up = matches!(health.line(), Line::Up | Line::Ended);
        up.get_or_create(&of).set(i64::from(is_up));
        losses.get_or_create(&of).inc_by(health.counts().losses);
    }
    registry.register("source_up", "1 where the source's device is heard", up);
    registry.register("source_losses", "How often a source was lost", losses);
}

fn of_sinks(registry: &mut Registry, now: &Now) {
    let (up, waiting) = (
        Family::<OfSink, Gauge>::default(),
        Family::<OfSink, Gauge>::default(),
    );
    let (sent, aside, failed) = (
        Family::<OfSink, Counter>::default(),
        Family::<OfSink, Counter>::default(),
        Family::<OfSink, Counter>::default(),
    );
    for (sink, kind, health) in &now.sinks {
        let of = OfSink {
            sink: sink.clone(),
            kind,
        };
        let counts = health.counts(now.last_record);
        let is_up = !matches!(health.way(), Way::Blocked(_));
        up.get_or_create(&of).set(i64::from(is_up));
        let records = i64::try_from(counts.waiting).unwrap_or(i64::MAX);
        waiting.get_or_create(&of).set(records);
        sent.get_or_create(&of).inc_by(counts.sent);
        aside.get_or_create(&of).inc_by(counts.set_aside);
        failed.get_or_create(&of).inc_by(counts.failed);
    }
    registry.register("sink_up", "1 where the other side takes what is sent", up);
    registry.register(
        "sink_waiting_records",
        "Records that are committed and not yet settled at the sink",
        waiting,
    );
    registry.register("sink_sent", "Messages and points that were taken", sent);
    registry.register(
        "sink_set_aside",
        "Messages that were refused for good and set aside",
        aside,
    );
    registry.register(
        "sink_failed_attempts",
        "Attempts that failed and are made again",
        failed,
    );
}
