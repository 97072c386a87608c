//! A real server that speaks the InfluxDB 2 write interface: VictoriaMetrics, as Debian packages it.

use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use serde_json::Value;

use crate::figures::get;
use crate::free_port::free_port;
use crate::shop::{blocked, fill, parsed, start, text, until};

/// The server; it ends with the test.
pub struct Victoria {
    pub port: u16,
    folder: tempfile::TempDir,
    program: PathBuf,
    child: Child,
}

impl Victoria {
    /// `None` where it is not installed.
    pub async fn start() -> Option<Victoria> {
        let path = std::env::var_os("PATH").unwrap_or_default();
        let mut programs =
            std::env::split_paths(&path).map(|folder| folder.join("victoria-metrics"));
        let Some(program) = programs.find(|program| program.is_file()) else {
            eprintln!("SKIPPED: a test against VictoriaMetrics (package victoria-metrics)");
            return None;
        };
        let (port, folder) = (free_port(), tempfile::tempdir().unwrap());
        let child = spawn(&program, &folder, port);
        let victoria = Victoria {
            port,
            folder,
            program,
            child,
        };
        victoria.answers().await;
        Some(victoria)
    }

    async fn answers(&self) {
        let port = self.port;
        until("the server", || {
            std::net::TcpStream::connect(("127.0.0.1", port)).ok()
        })
        .await;
    }

    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    pub async fn again(&mut self) {
        self.child = spawn(&self.program, &self.folder, self.port);
        self.answers().await;
    }

    /// Asks: what each series shows, by the values of its labels in their alphabetical order.
    async fn ask(&self, query: &str) -> Vec<(Vec<String>, f64)> {
        get(self.port, "/internal/force_flush").await;
        let escaped: String = query.bytes().map(|byte| format!("%{byte:02X}")).collect();
        let (_, body) = get(
            self.port,
            &format!("/api/v1/query?query={escaped}&nocache=1"),
        )
        .await;
        let answer: Value = serde_json::from_str(&body).unwrap_or_else(|_| panic!("{body}"));
        let series = answer["data"]["result"].as_array().unwrap().iter();
        let mut found: Vec<(Vec<String>, f64)> = series
            .map(|series| {
                let labels = series["metric"].as_object().unwrap().values();
                let labels = labels.map(|label| label.as_str().unwrap().to_owned());
                let value = series["value"][1].as_str().unwrap();
                (labels.collect(), value.parse().unwrap())
            })
            .collect();
        found.sort_by(|one, other| one.0.cmp(&other.0));
        found
    }

    /// Asks until the answer is as it must be; what is written is seen a moment later.
    pub async fn shows(&self, query: &str, expected: &[(&[&str], f64)]) {
        let expected: Vec<(Vec<String>, f64)> = expected
            .iter()
            .map(|(labels, value)| (labels.iter().map(|own| (*own).to_owned()).collect(), *value))
            .collect();
        let mut found = Vec::new();
        for _ in 0..100 {
            found = self.ask(query).await;
            if found == expected {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(200)).await;
        }
        assert_eq!(found, expected, "{query}");
    }

    /// The same where the answer is one number that has to be found good.
    pub async fn sees(&self, query: &str, is_good: impl Fn(f64) -> bool) {
        let mut found = Vec::new();
        for _ in 0..100 {
            found = self.ask(query).await;
            if let [(_, value)] = &found[..]
                && is_good(*value)
            {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(200)).await;
        }
        panic!("{query}: {found:?}");
    }
}

fn spawn(program: &PathBuf, folder: &tempfile::TempDir, port: u16) -> Child {
    Command::new(program)
        .arg(format!("-storageDataPath={}", folder.path().display()))
        .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
        // A point that comes twice counts once.
        .arg("-dedup.minScrapeInterval=1ms")
        .args(["-memory.allowedBytes=64MB", "-loggerLevel=ERROR"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

impl Drop for Victoria {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub fn sink(port: u16) -> String {
    format!(
        "[[sink]]\nid = \"history\"\nkind = \"influxdb\"\nurl = \"http://127.0.0.1:{port}\"\n\
         org = \"shops\"\nbucket = \"dryers\"\n"
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn twenty_shops_share_a_server_that_is_away_and_comes_back() {
    let Some(mut victoria) = Victoria::start().await else {
        return;
    };
    victoria.kill();
    let mut shops = Vec::new();
    for number in 1..=20_u64 {
        let folder = tempfile::tempdir().unwrap();
        fill(folder.path(), &[("history", "influxdb")], 10 + number);
        let shop = parsed(&text(&format!("Shop {number:02}"), &sink(victoria.port)));
        shops.push((start(shop, folder.path()).await, folder));
    }
    for (shift, _) in &shops {
        let why = blocked(shift, "history").await;
        assert!(why.starts_with("nothing listens at"), "{why}");
    }
    victoria.again().await;
    for (shift, _) in &shops {
        until("the outbox empty", || {
            let sinks = shift.sinks();
            let last = shift.readers().reader().unwrap().head().unwrap().number.0;
            (sinks[0].2.counts(last).waiting == 0).then_some(())
        })
        .await;
    }
    let query = "sum by (shop, verdict) (count_over_time(inkdwell_verdict_prints[1d]))";
    let mut expected = Vec::new();
    for number in 1..=20_u64 {
        let (prints, bad) = (10 + number, (10 + number) / 7);
        let shop = format!("Shop {number:02}");
        expected.push((
            vec![shop.clone(), "cured".to_owned()],
            (prints - bad) as f64,
        ));
        expected.push((vec![shop, "under-cured".to_owned()], bad as f64));
    }
    let expected: Vec<(Vec<&str>, f64)> = expected
        .iter()
        .map(|(labels, value)| (labels.iter().map(String::as_str).collect(), *value))
        .collect();
    let expected: Vec<(&[&str], f64)> = expected
        .iter()
        .map(|(labels, value)| (&labels[..], *value))
        .collect();
    victoria.shows(query, &expected).await;
    for (shift, _) in shops {
        shift.stop().await.unwrap();
    }
}
