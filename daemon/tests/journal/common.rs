//! What these tests share.

use std::path::Path;
use std::time::Duration;

use inkdwell_daemon::journal::{
    self, Batch, ChannelNumber, JournaledReading, Readers, Settings, Shown, Writer,
};
use inkdwell_daemon::record::{
    BatchClosed, BatchNoted, BatchOpened, Calibrated, Dose, HarmSeen, HoldJoined, HoldOpened,
    HoldSettled, Judged, Occurred, Occurrence, PassAssigned, PassJudged, Place, RecipeLocked,
    RecipeRetired, Record, Settled,
};
use inkdwell_daemon::time::Micros;

/// So many seconds after the beginning, a day in September 2026.
pub fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

/// A journal in a folder, with nothing kept free: the disks of tests are small.
pub fn open(folder: &Path) -> (Writer, Readers) {
    open_with(folder, Settings::default())
}

/// The same with other settings.
pub fn open_with(folder: &Path, settings: Settings) -> (Writer, Readers) {
    let settings = Settings {
        keep_free: Some(0),
        ..settings
    };
    journal::open(folder, settings).unwrap()
}

/// Settings with which readings are packed as soon as there are so many.
pub fn packing_at(readings: u64) -> Settings {
    Settings {
        pack_readings: readings,
        ..Settings::default()
    }
}

/// Upkeep until there is no more to do.
pub fn tidy_all(writer: &mut Writer) {
    while writer.tidy(Duration::from_millis(50)).unwrap().more {}
}

/// A reading of a number.
pub fn reading(channel: ChannelNumber, when: Micros, number: f64) -> JournaledReading {
    JournaledReading {
        channel,
        at: when,
        shown: Shown::Number(number),
        fed: true,
    }
}

/// A batch of readings alone.
pub fn readings(readings: Vec<JournaledReading>) -> Batch {
    Batch {
        readings,
        ..Batch::default()
    }
}

/// A batch of records alone.
pub fn records(when: Micros, records: impl IntoIterator<Item = Record>) -> Batch {
    Batch {
        records: records.into_iter().map(|record| (when, record)).collect(),
        ..Batch::default()
    }
}

/// What is said of a print, with figures of no meaning.
pub fn judged(verdict: &str, harm: Option<&str>) -> Judged {
    let dose = Dose {
        low: 0.1 + 0.2,
        best: 1.0 / 3.0,
        high: 1e-300,
    };
    Judged {
        evidence: "measured".to_owned(),
        cut: false,
        samples: 845,
        faults: 1,
        gaps: 0,
        peak_c: 168.2,
        threshold_c: 160.0,
        time_above_s: 31.42,
        max_rise_c_per_s: 6.1,
        uncertainty_c: 1.5,
        cure: Some(dose),
        harms: vec![HarmSeen {
            harm: "scorch".to_owned(),
            dose,
        }],
        verdict: verdict.to_owned(),
        harm: harm.map(str::to_owned),
        reasons: vec!["it \"said\" so, at 160 °C\n".to_owned()],
        remarks: Vec::new(),
    }
}

/// A pass of forty seconds.
pub fn pass(number: u64, start: Micros, batch: Option<u64>, judged: Option<Judged>) -> PassJudged {
    PassJudged {
        pass: number,
        station: "belt-1".to_owned(),
        probe: Some("film".to_owned()),
        place: Place::Ride,
        start,
        end: start.plus_seconds(40.0),
        batch,
        print: batch.map(|_| number),
        belt_m_per_min: Some(2.6),
        judged,
    }
}

/// A batch that is opened.
pub fn batch_opened(batch: u64, station: &str) -> Record {
    Record::BatchOpened(BatchOpened {
        batch,
        station: station.to_owned(),
        job: format!("job {batch}"),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        declared: String::new(),
        last_heat: true,
        quantity: Some(120),
        blank_cost: Some(5.2),
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Ada".to_owned(),
    })
}

/// One that is closed.
pub fn batch_closed(batch: u64) -> Record {
    let by = "Ada".to_owned();
    Record::BatchClosed(BatchClosed { batch, by })
}

/// A note to a batch.
pub fn batch_noted(batch: u64, note: &str) -> Record {
    Record::BatchNoted(BatchNoted {
        batch,
        note: note.to_owned(),
        by: "Ada".to_owned(),
    })
}

/// A hold that is opened.
pub fn hold_opened(hold: u64, batch: Option<u64>) -> Record {
    Record::HoldOpened(HoldOpened {
        hold,
        batch,
        station: "belt-1".to_owned(),
        verdict: "under-cured".to_owned(),
        evidence: "measured".to_owned(),
        harm: None,
    })
}

/// A pass that joins a hold.
pub fn hold_joined(hold: u64, pass: u64) -> Record {
    Record::HoldJoined(HoldJoined { hold, pass })
}

/// A hold that is settled.
pub fn hold_settled(hold: u64) -> Record {
    Record::HoldSettled(HoldSettled {
        hold,
        outcome: Settled::ReRun,
        by: "Ada".to_owned(),
        why: "cool chamber".to_owned(),
    })
}

/// A pass that is given a batch.
pub fn pass_assigned(pass: u64, batch: u64, judged: Judged) -> Record {
    Record::PassAssigned(PassAssigned {
        pass,
        station: "belt-1".to_owned(),
        batch,
        print: 1,
        by: "Ada".to_owned(),
        judged,
    })
}

/// A recipe that is locked.
pub fn recipe_locked(recipe: u64, ride: u64) -> Record {
    Record::RecipeLocked(RecipeLocked {
        recipe,
        station: "belt-1".to_owned(),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        declared: String::new(),
        ride,
        belt_m_per_min: Some(2.6),
        zones_c: vec![("zone-1".to_owned(), 190.4)],
        exit_c: None,
        belt_drift: 0.05,
        zone_drift_c: 8.0,
        exit_drift_c: 6.0,
        ride_every_s: Some(14_400.0),
        by: "Ada".to_owned(),
    })
}

/// One that is retired.
pub fn recipe_retired(recipe: u64) -> Record {
    Record::RecipeRetired(RecipeRetired {
        recipe,
        by: "Ada".to_owned(),
        why: "new heaters".to_owned(),
    })
}

/// A calibration.
pub fn calibrated(probe: &str, date: &str) -> Record {
    Record::Calibrated(Calibrated {
        probe: probe.to_owned(),
        points_c: vec![(100.0, 101.2), (160.0, 161.8)],
        uncertainty_c: Some(0.8),
        date: date.to_owned(),
        due: None,
        by: "Ada".to_owned(),
    })
}

/// Something that happened.
pub fn occurred(what: Occurrence) -> Record {
    Record::Occurred(Occurred {
        station: None,
        what,
    })
}
