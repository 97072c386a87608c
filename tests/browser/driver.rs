//! A browser, driven over W3C WebDriver as Chromium's own driver speaks it.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};

/// Nothing here takes that long.
pub const PATIENCE: Duration = Duration::from_secs(240);
/// The member that WebDriver names elements by (W3C WebDriver, section 12, "web element identifier").
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// The key that goes on to the next stop (W3C WebDriver, section 15.4.2, "normalised key value").
const TAB: &str = "\u{e004}";

/// A browser of its own; it ends when this is dropped.
pub struct Browser {
    driver: Child,
    session: String,
    agent: ureq::Agent,
}

/// An element of the page.
pub struct Element<'a> {
    browser: &'a Browser,
    css: &'a str,
}

/// Whether there is a browser to be driven; where there is none it is said loudly.
pub fn is_here() -> bool {
    let here = ["chromium", "chromedriver"].map(|program| {
        let asked = Command::new(program)
            .arg("--version")
            .stdout(Stdio::null())
            .status();
        asked.is_ok_and(|status| status.success())
    });
    if here != [true, true] {
        eprintln!(
            "\n== SKIPPED: the board in a browser (install the packages chromium and chromium-driver)\n"
        );
    }
    here == [true, true]
}

impl Browser {
    /// Starts one.
    pub fn start() -> Browser {
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts");
        let port = port(&mut driver);
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(PATIENCE))
            .build();
        let mut browser = Browser {
            driver,
            session: format!("http://127.0.0.1:{port}/session"),
            agent: config.into(),
        };
        let options = json!({
            "args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                "--autoplay-policy=no-user-gesture-required"],
        });
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": options,
            "goog:loggingPrefs": { "browser": "ALL" },
        } } });
        let made = browser.ask("", Some(&wanted));
        let id = made["sessionId"].as_str().expect("a session");
        browser.session = format!("{}/{id}", browser.session);
        browser
    }

    fn ask(&self, path: &str, body: Option<&Value>) -> Value {
        self.try_ask(path, body)
            .unwrap_or_else(|error| panic!("{path}: {error}"))
    }

    fn try_ask(&self, path: &str, body: Option<&Value>) -> Result<Value, String> {
        let url = format!("{}{path}", self.session);
        let answer = match body {
            Some(body) => self
                .agent
                .post(&url)
                .header("content-type", "application/json")
                .send(body.to_string()),
            None => self.agent.get(&url).call(),
        };
        let mut answer = answer.map_err(|error| error.to_string())?;
        let text = answer
            .body_mut()
            .with_config()
            .limit(64 << 20)
            .read_to_string();
        let text = text.map_err(|error| error.to_string())?;
        let told: Value = serde_json::from_str(&text).map_err(|error| error.to_string())?;
        match answer.status().is_success() {
            true => Ok(told["value"].clone()),
            false => Err(format!(
                "{} {}",
                told["value"]["error"], told["value"]["message"]
            )),
        }
    }

    /// Opens an address, and waits until it is loaded.
    pub fn open(&self, url: &str) {
        self.ask("/url", Some(&json!({ "url": url })));
    }

    /// The address that is open.
    pub fn address(&self) -> String {
        self.ask("/url", None)
            .as_str()
            .unwrap_or_default()
            .to_owned()
    }

    /// Runs a script in the page, and gives back what it returns.
    pub fn run(&self, script: &str) -> Value {
        self.ask(
            "/execute/sync",
            Some(&json!({ "script": script, "args": [] })),
        )
    }

    /// Runs a script that calls its last argument with what it has to say.
    pub fn run_until_called(&self, script: &str) -> Value {
        self.ask(
            "/execute/async",
            Some(&json!({ "script": script, "args": [] })),
        )
    }

    /// Something of the browser's own (Chromium's developer protocol).
    pub fn command(&self, name: &str, with: &Value) {
        let body = json!({ "cmd": name, "params": with });
        self.ask("/goog/cdp/execute", Some(&body));
    }

    /// What the browser's console has said since it was asked last, errors only.
    pub fn complaints(&self) -> Vec<String> {
        let told = self.ask("/se/log", Some(&json!({ "type": "browser" })));
        let told = told.as_array().cloned().unwrap_or_default();
        let told = told.iter().filter(|entry| entry["level"] == "SEVERE");
        told.map(|entry| entry["message"].as_str().unwrap_or_default().to_owned())
            .collect()
    }

    /// The element of a CSS selector, once it is there.
    pub fn find<'a>(&'a self, css: &'a str) -> Element<'a> {
        wait(&format!("{css} at {}", self.address()), || self.look(css));
        Element { browser: self, css }
    }

    /// The path of a selector's element as it is in the page now.
    fn look(&self, css: &str) -> Option<String> {
        let body = json!({ "using": "css selector", "value": css });
        let found = self.try_ask("/element", Some(&body)).ok()?;
        Some(format!("/element/{}", found[ELEMENT].as_str()?))
    }

    /// Presses keys one after the other, wherever the focus is (W3C WebDriver, section 15.4.2).
    pub fn keys(&self, keys: &str) {
        let pressed = keys.chars().flat_map(|key| {
            ["keyDown", "keyUp"].map(|what| json!({ "type": what, "value": key.to_string() }))
        });
        let pressed: Vec<Value> = pressed.collect();
        let keyboard = json!({ "type": "key", "id": "keyboard", "actions": pressed });
        self.ask("/actions", Some(&json!({ "actions": [keyboard] })));
    }

    /// Goes on by the tabulator until what a selector finds has the focus, and sees at each stop that a person sees where
    /// it is.
    pub fn tab_to(&self, css: &str) {
        /// No page has as many stops.
        const MOST: usize = 120;
        let look = format!(
            "const at = document.activeElement; const style = getComputedStyle(at); \
             const place = at.getBoundingClientRect(); \
             return [at.matches({}), at === document.body || style.outlineStyle !== 'none' \
             && place.bottom > 0 && place.top < innerHeight, at.outerHTML.slice(0, 120)];",
            json!(css)
        );
        for _ in 0..MOST {
            self.keys(TAB);
            let told = self.run(&look);
            assert_eq!(
                told[1], true,
                "nobody sees that the focus is on {}",
                told[2]
            );
            if told[0] == true {
                return;
            }
        }
        panic!(
            "{css} is not reached by the tabulator at {}",
            self.address()
        );
    }

    /// The visible text of what a selector finds, or nothing.
    pub fn text(&self, css: &str) -> String {
        let script = format!(
            "const found = document.querySelector({}); return found ? found.innerText : '';",
            json!(css)
        );
        self.run(&script).as_str().unwrap_or_default().to_owned()
    }

    /// Waits until an element's text holds some words, and gives it out.
    pub fn wait_for(&self, css: &str, words: &str) -> String {
        let deadline = Instant::now() + PATIENCE;
        loop {
            let text = self.text(css);
            if text.contains(words) {
                return text;
            }
            assert!(
                Instant::now() < deadline,
                "{css} never said {words:?}, but {text:?} at {}",
                self.address()
            );
            sleep(Duration::from_millis(30));
        }
    }

    /// The window's size in CSS pixels.
    pub fn size(&self, width: u32, height: u32) {
        let screen =
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.command("Emulation.setDeviceMetricsOverride", &screen);
    }

    /// What the user prefers: `prefers-color-scheme` and `prefers-reduced-motion`.
    pub fn prefers(&self, scheme: &str, motion: &str) {
        let features = json!({ "features": [
            { "name": "prefers-color-scheme", "value": scheme },
            { "name": "prefers-reduced-motion", "value": motion },
        ] });
        self.command("Emulation.setEmulatedMedia", &features);
    }

    /// Keeps a picture of what is seen.
    pub fn picture(&self, file: &Path) {
        let picture = self.ask("/screenshot", None);
        let bytes = STANDARD
            .decode(picture.as_str().unwrap_or_default())
            .expect("a picture");
        std::fs::write(file, bytes).expect("the picture is kept");
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.agent.delete(&self.session).call();
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

impl Element<'_> {
    /// Presses it.
    pub fn press(&self) {
        self.act("click", &json!({}));
    }

    /// Types into it.
    pub fn types(&self, text: &str) {
        self.act("value", &json!({ "text": text }));
    }

    /// Empties it.
    pub fn clear(&self) {
        self.act("clear", &json!({}));
    }

    /// Does something to it. A page that is kept up to date may put another element in its place
    /// between the look and the act; then the other one is meant, as it is by a person's finger.
    fn act(&self, what: &str, body: &Value) {
        wait(&format!("{what} of {}", self.css), || {
            let path = self.browser.look(self.css)?;
            match self.browser.try_ask(&format!("{path}/{what}"), Some(body)) {
                Ok(_) => Some(()),
                Err(error) if error.contains("stale element reference") => None,
                Err(error) => panic!("{what} of {}: {error}", self.css),
            }
        });
    }
}

/// The port that a driver has chosen, which it says on a line of its own.
fn port(driver: &mut Child) -> u16 {
    let out = driver.stdout.take().expect("what the driver says");
    let mut lines = BufReader::new(out).lines();
    let port = lines.by_ref().find_map(|line| {
        let line = line.ok()?;
        let (_, port) = line.split_once("started successfully on port ")?;
        port.trim_end_matches('.').parse().ok()
    });
    // What else it says is read, or it would have to wait.
    std::thread::spawn(move || lines.for_each(drop));
    port.expect("the driver's port")
}

/// Looks again and again.
pub fn wait<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + PATIENCE;
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        sleep(Duration::from_millis(30));
    }
}

/// Where pictures are kept.
pub fn pictures() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/board-pictures");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}
