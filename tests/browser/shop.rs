//! A simulated shop with a daemon, for a browser to look at.

use std::fs;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use chrono::{DateTime, SecondsFormat, Utc};
use inkdwell_config::shop::{Board, Shop};
use inkdwell_daemon::api::{self, Limits, Serving};
use inkdwell_daemon::journal::Settings;
use inkdwell_daemon::shift::{self, Options, Shift};
use tokio::runtime::Runtime;
use tokio_util::sync::CancellationToken;

/// How many times faster than real everything happens: a ride of the dryer takes five seconds.
pub const FASTER: f64 = 30.0;

/// The shop file of the demonstration, with a scenario of these tests.
const SHOP: &str = include_str!("../../simulated-traces/demo/shop.toml");
const SCENARIO: &str = include_str!("heater-sags.scenario.toml");

/// A daemon that can be ended and started again on the same data.
pub struct House {
    runtime: Runtime,
    folder: tempfile::TempDir,
    hosts: Vec<String>,
    running: Option<Running>,
}

struct Running {
    shift: Arc<Shift>,
    serving: Serving,
    stop: CancellationToken,
}

impl House {
    /// A shop whose dryer is not switched on yet. `hosts` are names under which its board may be asked for.
    pub fn new(hosts: &[String]) -> House {
        let mut house = House {
            runtime: Runtime::new().expect("threads"),
            folder: tempfile::tempdir().expect("a folder"),
            hosts: hosts.to_vec(),
            running: None,
        };
        let scenario = house.scenario().display().to_string();
        let shop = SHOP.replace("1-good-run.scenario.toml", &scenario);
        let shop = shop.replace("faster = 90", &format!("faster = {FASTER}"));
        fs::write(house.folder.path().join("shop.toml"), shop).expect("the shop file");
        house.begin_scenario(Utc::now().timestamp_micros());
        house.start();
        house
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    fn shop(&self) -> Shop {
        Shop::load(&self.folder.path().join("shop.toml")).expect("a shop file without a fault")
    }

    /// Starts the daemon, its dryer switched off.
    pub fn start(&mut self) {
        let mut shop = self.shop();
        shop.sources.clear();
        shop.probes.clear();
        shop.signals.clear();
        let options = Options {
            shop,
            digest: "of the shop".to_owned(),
            folder: self.data(),
            faster: FASTER,
            journal: Settings::default(),
            keep_readings: None,
        };
        let board = Board {
            listen: SocketAddr::from(([127, 0, 0, 1], 0)),
            hosts: self.hosts.clone(),
            tls: None,
        };
        let stop = CancellationToken::new();
        let running = self.runtime.block_on(async {
            let shift = Arc::new(shift::start(options).await.expect("the daemon starts"));
            let limits = Limits {
                rate: (100_000, 100_000),
                ..Limits::default()
            };
            let (shared, data) = (Arc::clone(&shift), self.data());
            let serving = api::serve_within(shared, &board, &data, stop.clone(), limits);
            Running {
                serving: serving.await.expect("it serves"),
                shift,
                stop,
            }
        });
        self.running = Some(running);
    }

    fn running(&self) -> &Running {
        self.running.as_ref().expect("it runs")
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.running().serving.address
    }

    /// The text of its token.
    pub fn token(&self) -> String {
        let token = fs::read_to_string(self.data().join(api::token::FILE)).expect("the token");
        token.trim().to_owned()
    }

    /// The daemon itself.
    pub fn shift(&self) -> &Shift {
        &self.running().shift
    }

    fn scenario(&self) -> PathBuf {
        self.folder.path().join("heater-sags.scenario.toml")
    }

    /// The trace begins at this time, in microseconds since 1970.
    fn begin_scenario(&self, at: i64) {
        let at = DateTime::from_timestamp_micros(at).expect("a time");
        let at = at.to_rfc3339_opts(SecondsFormat::Micros, true);
        let scenario = SCENARIO.replace("seed = 1\n", &format!("seed = 1\nstarted = \"{at}\"\n"));
        fs::write(self.scenario(), scenario).expect("the scenario");
    }

    /// Switches the dryer on.
    pub fn switch_on(&self) {
        self.begin_scenario(self.shift().now().0);
        let (shop, shift) = (self.shop(), self.shift());
        let reloaded = self
            .runtime
            .block_on(shift.reload(shop, "of the shop".to_owned()));
        reloaded.expect("the dryer is switched on");
    }

    /// Ends the daemon as it is told.
    pub fn stop(&mut self) {
        let Some(running) = self.running.take() else {
            return;
        };
        running.stop.cancel();
        self.runtime.block_on(async {
            running.serving.ended().await;
            let shift = Arc::into_inner(running.shift).expect("nothing holds the daemon any more");
            shift.stop().await.expect("it ends");
        });
    }
}

impl Drop for House {
    fn drop(&mut self) {
        if !std::thread::panicking() {
            self.stop();
        }
    }
}
