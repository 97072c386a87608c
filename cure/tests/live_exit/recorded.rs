//! The recordings that are played: a ride, the run after it, and what is said of the run when it is judged whole.

use std::fs;
use std::sync::LazyLock;

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_config::shop::Shop;
use inkdwell_cure::exit::run::{REPEATS, Run, judge_run};
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::exit::{Probe, Reference};
use inkdwell_cure::heat::fit::{Ride, Trip, fit};
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::live::Micros;
use inkdwell_cure::live::exit::{RecipeExit, RecipeModel, RecipeRide, Shown};
use inkdwell_cure::plan::PrintLaws;
use inkdwell_cure::remark::Remark;
use inkdwell_cure::trace_file::{Cell, ColumnKind, Layout, Reader};

use crate::day::{Channel, at};

pub const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../simulated-traces/samples");
/// The ride and the run were made at 2.8 m/min in a room of 22 °C, the ride's probe good to 1.5 °C (their notes).
pub const BELT: f64 = 2.8 / 60.0;
pub const ROOM: Celsius = Celsius(22.0);
pub const RIDE_DOUBT: CelsiusDifference = CelsiusDifference(1.5);

/// A sample's columns by name: seconds and values, NaN where bad.
pub struct Trace(Vec<(String, Vec<(f64, f64)>)>);

impl Trace {
    pub fn read(name: &str) -> Trace {
        let bytes = fs::read(format!("{SAMPLES}/{name}")).unwrap();
        let mut series: Vec<Vec<(f64, f64)>> = Vec::new();
        let mut take = |time: f64, cells: &[Cell]| {
            series.resize_with(cells.len(), Vec::new);
            for (column, cell) in series.iter_mut().zip(cells) {
                match cell {
                    Cell::Value(value) => column.push((time, *value)),
                    Cell::Bad => column.push((time, f64::NAN)),
                    Cell::Missing => {}
                }
            }
        };
        let mut reader = Reader::new(Layout::default());
        reader.feed(&bytes, &mut take).unwrap();
        reader.finish(&mut take).unwrap();
        let columns = reader.columns().iter().map(|column| match column.kind {
            ColumnKind::Belt(_) => "belt".to_owned(),
            _ => column.name.clone(),
        });
        Trace(columns.zip(series).collect())
    }

    pub fn column(&self, name: &str) -> &[(f64, f64)] {
        let found = self.0.iter().find(|(own, _)| own.starts_with(name));
        &found.unwrap_or_else(|| panic!("no column {name}")).1
    }
}

/// The shop of the samples, its probes and signals fed by a line.
pub fn shop() -> Shop {
    let text = fs::read_to_string(format!("{SAMPLES}/shop.toml")).unwrap();
    let text = text
        .replace("spot = \"30 mm\"", "spot = \"30 mm\"\nsource = \"line\"")
        .replace("kind = \"belt\"", "kind = \"belt\"\nsource = \"line\"")
        .replace("kind = \"count\"", "kind = \"count\"\nsource = \"line\"");
    let film = "[[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"line\"\n\
                uncertainty = \"1.5 C\"\n";
    let source = "[[source]]\nid = \"line\"\nkind = \"replay\"\n";
    let checked = Shop::parse("shop.toml", &format!("{text}\n{film}\n{source}"));
    assert_eq!(checked.problems, vec![]);
    checked.value
}

pub fn shown(readings: &[(f64, f64)]) -> Shown {
    let readings = readings.iter();
    readings
        .map(|(time, value)| (*time, value.is_finite().then_some(*value)))
        .collect()
}

/// Where a trace crosses 45 °C going up and coming down, straight between samples.
pub fn crossings(film: &[(f64, f64)]) -> (f64, f64) {
    let crossed = film.windows(2).filter_map(|pair| {
        let (a, b) = (pair[0].1 - 45.0, pair[1].1 - 45.0);
        (a * b < 0.0).then(|| pair[0].0 + (pair[1].0 - pair[0].0) * a / (a - b))
    });
    let crossed: Vec<f64> = crossed.collect();
    (crossed[0], crossed[crossed.len() - 1])
}

pub fn ride(began: Micros) -> RecipeRide {
    let trace = Trace::read("exit-reference.csv");
    let exits = ["exit_", "exit2"].into_iter().zip([0.35, 0.95]);
    let exits = exits.map(|(column, distance)| RecipeExit {
        probe: column.trim_end_matches('_').to_owned(),
        distance: inkdwell_config::quantity::Metres(distance),
        spot: inkdwell_config::quantity::Metres(0.03),
        uncertainty: None,
        shown: shown(column_of(&trace, column)),
    });
    RecipeRide {
        began,
        pass: crossings(trace.column("film")),
        belt: MetresPerSecond(BELT),
        film: shown(trace.column("film")),
        cloth: shown(trace.column("cloth")),
        speeds: shown(trace.column("belt")),
        exits: exits.collect(),
        room: Some(ROOM),
        uncertainty: RIDE_DOUBT,
        assumed: None,
        passed: 0.0,
        station: None,
    }
}

pub fn column_of<'t>(trace: &'t Trace, name: &str) -> &'t [(f64, f64)] {
    let exact = trace
        .0
        .iter()
        .find(|(own, _)| *own == name.trim_end_matches('_'));
    &exact.unwrap_or_else(|| panic!("no column {name}")).1
}

/// The fitted model; its ride began at -3600 s.
pub fn model() -> &'static RecipeModel {
    static MODEL: LazyLock<RecipeModel> = LazyLock::new(|| {
        let library = Library::shipped();
        RecipeModel::fitted(
            ride(at(-3600.0)),
            shop().station("belt-1").unwrap(),
            library.ink("plastisol-standard").unwrap(),
            library.fabric("cotton-jersey").unwrap(),
        )
        .unwrap()
    });
    &MODEL
}

pub fn laws() -> PrintLaws {
    let library = Library::shipped();
    PrintLaws::new(
        library.ink("plastisol-standard").unwrap(),
        library.fabric("cotton-jersey").unwrap(),
    )
}

/// The run's channels as the line sends them: the belt in m/min.
pub fn channels(run: &Trace) -> [Channel<'_>; 4] {
    [
        ("exit", column_of(run, "exit"), 1.0),
        ("exit2", column_of(run, "exit2"), 1.0),
        ("belt-speed", run.column("belt"), 60.0),
        ("prints", run.column("prints"), 1.0),
    ]
}

/// The whole run, judged at once, as recorded files are.
pub fn offline(run: &Trace) -> Vec<JudgedPass> {
    let shop = shop();
    let station = shop.station("belt-1").unwrap();
    let trace = Trace::read("exit-reference.csv");
    let (begin, end) = crossings(trace.column("film"));
    let near = |column: &str| {
        let good = inkdwell_cure::good_samples(trace.column(column)).into_iter();
        good.filter(|own| own.0 >= begin - 60.0 && own.0 <= end + 60.0)
            .map(|own| (Seconds(own.0), Celsius(own.1)))
            .collect()
    };
    let ride = Ride {
        trip: Trip::Belt(MetresPerSecond(BELT)),
        film: near("film"),
        cloth: near("cloth"),
        room: Some(ROOM),
        uncertainty: RIDE_DOUBT,
    };
    let library = Library::shipped();
    let ink = library.ink("plastisol-standard").unwrap();
    let fabric = library.fabric("cotton-jersey").unwrap();
    let fit = fit(
        &[ride],
        station,
        ink,
        fabric,
        Reference::fit_options(fabric),
    )
    .unwrap();
    let probe = |distance: f64| Probe {
        distance: inkdwell_config::quantity::Metres(distance),
        spot: inkdwell_config::quantity::Metres(0.03),
        uncertainty: REPEATS,
    };
    let probes = [
        (probe(0.35), column_of(&trace, "exit")),
        (probe(0.95), column_of(&trace, "exit2")),
    ];
    let way = Way::measured(trace.column("belt"), 5.0).unwrap();
    let pitch = station.print_pitch.map(|pitch| pitch.0);
    let reference = Reference::learn(&fit, &probes, &way, pitch).unwrap();
    let run = Run {
        exits: vec![Some(column_of(run, "exit")), Some(column_of(run, "exit2"))],
        way: Way::measured(run.column("belt"), 5.0).unwrap(),
        belt_declared: true,
        count: Some(run.column("prints")),
        eye: Some(0.25),
        pitch,
        max_gap: Seconds(5.0),
        remarks: Vec::new(),
    };
    let mut model = reference.model(ROOM).unwrap();
    let mut passes = Vec::new();
    judge_run((&reference, &mut model), &run, &laws(), &mut |pass| {
        passes.push(pass)
    });
    passes
}

pub fn left_at(pass: &JudgedPass) -> f64 {
    let mut told = pass.remarks.iter().filter_map(|remark| match remark {
        Remark::LeftAt { shown } => Some(shown.0),
        _ => None,
    });
    told.next().unwrap()
}
