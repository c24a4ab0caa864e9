//! A real browser for tests, spoken to by WebDriver: JSON over HTTP to Chromium's driver.
//!
//! Where there is no browser a test says SKIPPED and why; with `GAPWRIGHT_BROWSER_TESTS=must` it fails instead.
//! `GAPWRIGHT_BROWSER` and `GAPWRIGHT_DRIVER` name other programs than those of the path, `GAPWRIGHT_SHOTS` a folder
//! for pictures.

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::raw::talk;

const FLAGS: [&str; 10] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
];

/// Longest wait for something that comes at once: a machine that does much else is slow.
const PATIENCE: Duration = Duration::from_secs(60);

fn program(variable: &str, names: &[&str]) -> Option<PathBuf> {
    if let Some(given) = std::env::var_os(variable) {
        return Some(given.into());
    }
    let path = std::env::var_os("PATH")?;
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let all = names.iter().flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    all.into_iter().find(|program| program.is_file())
}

/// A browser, if there is one.
pub fn browser(test: &str, extra: &[&str]) -> Option<Browser> {
    let chromium = program("GAPWRIGHT_BROWSER", &["chromium", "chromium-browser", "google-chrome"]);
    let driver = program("GAPWRIGHT_DRIVER", &["chromedriver"]);
    if let (Some(chromium), Some(driver)) = (chromium, driver) {
        return Some(Browser::start(&chromium, &driver, extra));
    }
    let says = format!(
        "SKIPPED {test}: no Chromium with its driver (apt-get install chromium chromium-driver)"
    );
    assert!(std::env::var("GAPWRIGHT_BROWSER_TESTS").as_deref() != Ok("must"), "{says}");
    // The test harness keeps to itself what a passing test prints by the macros.
    writeln!(std::io::stderr(), "{says}").ok();
    None
}

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: tempfile::TempDir,
}

impl Browser {
    fn start(chromium: &PathBuf, driver: &PathBuf, extra: &[&str]) -> Browser {
        let mut command = Command::new(driver);
        command.arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null());
        let mut driver = command.spawn().expect("the driver starts");
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let said = "started successfully on port ";
        let port = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| line.split(said).nth(1)?.trim_end_matches('.').parse::<u16>().ok());
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let own = [
            format!("--user-data-dir={}", profile.path().display()),
            "--window-size=1280,900".to_string(),
        ];
        let args: Vec<String> =
            FLAGS.iter().chain(extra).map(ToString::to_string).chain(own).collect();
        let mut browser = Browser {
            driver,
            port: port.expect("the driver says its port"),
            session: "/session".into(),
            _profile: profile,
        };
        let made = browser.post(
            "",
            &json!({ "capabilities": { "alwaysMatch": {
                "goog:chromeOptions": { "binary": chromium, "args": args },
                "goog:loggingPrefs": { "browser": "ALL" },
            } } }),
        );
        let id = made["sessionId"].as_str().unwrap_or_else(|| panic!("no session: {made}"));
        browser.session = format!("/session/{id}");
        // A window without a screen may be without focus, and has no clipboard then.
        browser.devtools("Emulation.setFocusEmulationEnabled", &json!({ "enabled": true }));
        browser
    }

    fn ask(&self, method: &str, path: &str, body: &str) -> Value {
        let head = format!(
            "{method} {}{path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.session,
            self.port,
            body.len()
        );
        let answer = talk(([127, 0, 0, 1], self.port).into(), head.as_bytes());
        let value: Value = serde_json::from_str(&answer.body)
            .unwrap_or_else(|error| panic!("{path}: {error}: {answer:?}"));
        let value = value["value"].clone();
        assert!(value.get("error").is_none(), "{path}: {} {}", value["error"], value["message"]);
        value
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        self.ask("POST", path, &body.to_string())
    }

    pub fn get(&self, path: &str) -> Value {
        self.ask("GET", path, "")
    }

    pub fn open(&self, address: &str) {
        self.post("/url", &json!({ "url": address }));
    }

    /// Runs the body of a function in the page.
    pub fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// Runs the body of a function that waits.
    pub fn run_waiting(&self, script: &str) -> Value {
        let script = format!(
            "const done = arguments[0]; (async () => {{ {script} }})().then(done, e => done('FAILED ' + e));"
        );
        self.post("/execute/async", &json!({ "script": script, "args": [] }))
    }

    /// Puts text on the clipboard: the browser refuses while its window has no focus yet.
    pub fn to_clipboard(&self, text: &str) {
        let began = Instant::now();
        let script = format!(
            "await navigator.clipboard.writeText({0}); return await navigator.clipboard.readText() === {0};",
            json!(text)
        );
        loop {
            let done = self.run_waiting(&script);
            if done == json!(true) {
                return;
            }
            assert!(began.elapsed() < PATIENCE, "not on the clipboard: {done}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits until an expression is true.
    pub fn until(&self, expression: &str) {
        let began = Instant::now();
        while self.run(&format!("return !!({expression})")) != json!(true) {
            let text = || self.run("return document.body.innerText.slice(0, 900)");
            assert!(began.elapsed() < PATIENCE, "never true: {expression}\n{}", text());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Keys to wherever the focus is; `^` holds Control for the next key, `+` Shift.
    pub fn keys(&self, keys: &[&str]) {
        let code = |name: &str| match name {
            "Enter" => "\u{e007}",
            "Tab" => "\u{e004}",
            "Escape" => "\u{e00c}",
            "F2" => "\u{e032}",
            "Delete" => "\u{e017}",
            "Left" => "\u{e012}",
            "Up" => "\u{e013}",
            "Right" => "\u{e014}",
            "Down" => "\u{e015}",
            "Home" => "\u{e011}",
            "End" => "\u{e010}",
            _ => "",
        };
        let mut actions = Vec::new();
        let mut press = |key: &str, held: Option<&str>| {
            let stroke = |kind: &str, key: &str| json!({ "type": kind, "value": key });
            actions.extend(held.map(|held| stroke("keyDown", held)));
            actions.extend([stroke("keyDown", key), stroke("keyUp", key)]);
            actions.extend(held.map(|held| stroke("keyUp", held)));
        };
        for key in keys {
            let (held, key) = match key.as_bytes() {
                [b'^', _, ..] => (Some("\u{e009}"), &key[1..]),
                [b'+', _, ..] => (Some("\u{e008}"), &key[1..]),
                _ => (None, *key),
            };
            match code(key) {
                "" => key.chars().for_each(|letter| press(&letter.to_string(), held)),
                named => press(named, held),
            }
        }
        let keys = json!({ "actions": [{ "type": "key", "id": "keys", "actions": actions }] });
        self.post("/actions", &keys);
    }

    pub fn devtools(&self, command: &str, params: &Value) -> Value {
        self.post("/goog/cdp/execute", &json!({ "cmd": command, "params": params }))
    }

    /// A screen of this size, light or dark.
    pub fn screen(&self, width: u32, height: u32, dark: bool) {
        let mobile = width < 1000;
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            &json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": mobile }),
        );
        let scheme = if dark { "dark" } else { "light" };
        let feature = json!({ "name": "prefers-color-scheme", "value": scheme });
        self.devtools("Emulation.setEmulatedMedia", &json!({ "features": [feature] }));
    }

    /// A screen as wide as the text on A4: 190 mm.
    pub fn screen_of_paper(&self) {
        let screen =
            json!({ "width": 718, "height": 1000, "deviceScaleFactor": 1, "mobile": false });
        self.devtools("Emulation.setDeviceMetricsOverride", &screen);
    }

    /// The page as it is printed on paper of this width and height, in inches.
    pub fn pdf(&self, [wide, high]: [f64; 2]) -> Vec<u8> {
        let paper = json!({ "paperWidth": wide, "paperHeight": high });
        base64(self.devtools("Page.printToPDF", &paper)["data"].as_str().unwrap())
    }

    /// A picture of the page, kept where `GAPWRIGHT_SHOTS` says.
    pub fn picture(&self, name: &str) {
        let Some(folder) = std::env::var_os("GAPWRIGHT_SHOTS") else { return };
        let data = self.get("/screenshot");
        let bytes = base64(data.as_str().unwrap());
        std::fs::write(PathBuf::from(folder).join(name), bytes).unwrap();
    }

    /// Complaints of the page: errors of the script, refused by the policy, not found.
    pub fn complaints(&self) -> Vec<String> {
        let log = self.post("/se/log", &json!({ "type": "browser" }));
        let lines = log.as_array().unwrap().iter().map(|line| line["message"].to_string());
        lines.collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The session first: a driver that is killed leaves its browser behind.
        let request = format!(
            "DELETE {} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n",
            self.session
        );
        if !std::thread::panicking() {
            talk(([127, 0, 0, 1], self.port).into(), request.as_bytes());
        } else if let Ok(mut stream) = std::net::TcpStream::connect(("127.0.0.1", self.port)) {
            stream.write_all(request.as_bytes()).ok();
            std::io::Read::read(&mut stream, &mut [0; 64]).ok();
        }
        self.driver.kill().ok();
        self.driver.wait().ok();
    }
}

fn base64(text: &str) -> Vec<u8> {
    let six = |sign: u8| match sign {
        b'A'..=b'Z' => sign - b'A',
        b'a'..=b'z' => sign - b'a' + 26,
        b'0'..=b'9' => sign - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let signs: Vec<u8> = text.bytes().filter(|sign| *sign != b'=').map(six).collect();
    let bytes = signs.chunks(4).flat_map(|part| {
        let word = part.iter().fold(0_u32, |word, six| word << 6 | u32::from(*six));
        let word = word << (6 * (4 - part.len()));
        word.to_be_bytes()[1..part.len()].to_vec()
    });
    bytes.collect()
}
