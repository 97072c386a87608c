//! A shift that plays a trace, and serves.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::{Board, Shop};
use inkdwell_daemon::api::{self, Limits, Serving};
use inkdwell_daemon::journal::{self, Settings};
use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::shift::{self, Options, Shift};
use tokio::time::{Instant, sleep};
use tokio_util::sync::CancellationToken;

use crate::client::Client;

/// A hundred times as fast as it happened.
const FASTER: f64 = 100.0;

/// A dryer whose channels come from a played file, and a flash unit that reads another file.
pub fn shop(trace: &Path, flash: Option<&Path>) -> Shop {
    let flash = flash.map_or_else(String::new, |file| {
        format!(
            "[[source]]\nid = \"lamp\"\nkind = \"replay\"\nfile = {file:?}\nfaster = {FASTER}\n\
             [[probe]]\nid = \"eye\"\nstation = \"flash-1\"\nplace = \"exit\"\nsource = \"lamp\"\n\
             distance = \"0 cm\"\nspot = \"30 mm\"\nuncertainty = \"1 C\"\n"
        )
    });
    let text = format!(
        "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
         [[source]]\nid = \"played\"\nkind = \"replay\"\nfile = {trace:?}\nfaster = {FASTER}\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\n\
         zones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
         [[station]]\nid = \"flash-1\"\nkind = \"flash-unit\"\nheated_length = \"0.5 m\"\n\
         zones = [ {{ length = \"0.5 m\", panel = \"520 C\" }} ]\n\
         [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"cloth\"\nstation = \"belt-1\"\nplace = \"cloth\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"air\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"played\"\n\
         [[probe]]\nid = \"exit\"\nstation = \"belt-1\"\nplace = \"exit\"\nsource = \"played\"\n\
         distance = \"0.35 m\"\nspot = \"30 mm\"\n{flash}"
    );
    let checked = Shop::parse("shop.toml", &text);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

/// The film of three rides of 140 s each after a quiet minute, the second of them too cool; its cloth; air
/// that swings about 190 °C; and what the exit probe sees.
///
/// By hand: a film begins to warm at 60 s + 140 s n. The print is under the exit probe
/// (2.4 m + 0.35 m) / (2.6 m / 60 s) = 63.5 s later; there it shows 121 °C, elsewhere the belt's 40 °C.
pub fn trace(peaks: [f64; 3]) -> String {
    let mut text = String::from("time_s,film_c,cloth_c,air_c,exit_c\n");
    for half in 0..1020 {
        let t = f64::from(half) * 0.5;
        let since = t - 60.0;
        let (ride, phase) = ((since / 140.0).floor(), since.rem_euclid(140.0));
        let peak = match ride as i64 {
            0..=2 => peaks[ride as usize],
            _ => 25.0,
        };
        let film = (25.0 + 4.0 * phase)
            .min(peak)
            .min(25.0 + 2.5 * (110.0 - phase))
            .max(25.0);
        let air = if half % 2 == 0 { 189.0 } else { 191.0 };
        let exit = if ride >= 0.0 && (60.0..67.0).contains(&phase) {
            121.0
        } else {
            40.0
        };
        text += &format!("{t},{film:.2},{:.2},{air},{exit}\n", film + 3.0);
    }
    text
}

/// What usually is played: cured, under-cured, cured.
pub const PEAKS: [f64; 3] = [172.0, 140.0, 170.0];

/// Four heatings under a lamp, twenty seconds each: to 112, 96, 112 and 130 °C from 60 °C.
pub fn flashes() -> String {
    let mut text = String::from("time_s,eye_c\n");
    for fifth in 0..750 {
        let t = f64::from(fifth) * 0.2;
        let since = t - 60.0;
        let (heating, phase) = ((since / 20.0).floor(), since.rem_euclid(20.0));
        let peak = match heating as i64 {
            0 | 2 => 112.0,
            1 => 96.0,
            3 => 130.0,
            _ => 60.0,
        };
        let share = if phase < 8.0 {
            phase / 8.0
        } else {
            (20.0 - phase) / 12.0
        };
        text += &format!("{t},{:.2}\n", 60.0 + share * (peak - 60.0));
    }
    text
}

/// Limits under which no test is held up for being quick.
pub fn generous() -> Limits {
    Limits {
        rate: (100_000, 100_000),
        changes: (100_000, 100_000),
        ..Limits::default()
    }
}

/// A daemon that serves.
pub struct Served {
    pub shift: Arc<Shift>,
    pub serving: Serving,
    pub stop: CancellationToken,
    pub client: Client,
}

/// Where the daemon listens: a port that the system chooses.
pub fn loopback() -> Board {
    Board {
        listen: "127.0.0.1:0".parse().unwrap(),
        ..Board::default()
    }
}

impl Served {
    pub async fn start(shop: Shop, data: &Path, limits: Limits) -> Served {
        let shift = Served::shift(shop, data).await;
        let stop = CancellationToken::new();
        let (shared, board) = (Arc::clone(&shift), loopback());
        let serving = api::serve_within(shared, &board, data, stop.clone(), limits);
        let serving = serving.await.unwrap();
        let token = std::fs::read_to_string(data.join(api::token::FILE)).unwrap();
        let client = Client::new(serving.address, token.trim());
        Served {
            shift,
            serving,
            stop,
            client,
        }
    }

    pub async fn shift(shop: Shop, data: &Path) -> Arc<Shift> {
        let options = Options {
            shop,
            digest: "of the shop".to_owned(),
            folder: data.to_owned(),
            faster: FASTER,
            journal: Settings::default(),
            keep_readings: None,
        };
        Arc::new(shift::start(options).await.unwrap())
    }

    /// Waits until so many sources have played all they have.
    pub async fn played(&self, sources: usize) {
        until("the end of the play", || {
            let reader = self.shift.readers().reader().unwrap();
            let events = reader.newest_events(200).unwrap().into_iter();
            let ended =
                events.filter(|event| matches!(event.event.what, Occurrence::SourceEnded { .. }));
            (ended.count() >= sources).then_some(())
        })
        .await;
    }

    pub async fn stop(self) {
        self.stop.cancel();
        self.serving.ended().await;
        let shift = Arc::into_inner(self.shift).expect("nothing holds the shift any more");
        shift.stop().await.unwrap();
    }
}

pub async fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + Duration::from_secs(30);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        sleep(Duration::from_millis(10)).await;
    }
}

/// Passes as the journal has them.
pub fn passes(shift: &Shift) -> Vec<journal::KeptPass> {
    let reader = shift.readers().reader().unwrap();
    reader.passes(&journal::PassQuery::default()).unwrap()
}
