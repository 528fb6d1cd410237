//! A real browser, driven over WebDriver (W3C Recommendation of 5 June 2018) on a local port.
//!
//! Uses what is installed, `chromedriver` and the browser that it finds, and never downloads
//! anything: where there is none, the test says so and passes over.

use std::fs;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// A browser window.
pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
}

impl Browser {
    /// Starts a headless browser; `None`, with a line that says why, where there is none.
    pub fn start(size: [u32; 2], dark: bool) -> Option<Browser> {
        let name = std::env::var("CHROMEDRIVER").unwrap_or_else(|_| "chromedriver".to_owned());
        let port = TcpListener::bind("127.0.0.1:0").ok()?.local_addr().ok()?.port();
        let started = Command::new(&name)
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let driver = match started {
            Ok(driver) => driver,
            Err(error) => {
                eprintln!(
                    "not checked in a browser: {name} does not start ({error}); install Chromium \
                     and its driver, or set CHROMEDRIVER"
                );
                return None;
            }
        };
        let mut browser = Browser { driver, port, session: String::new() };
        let patience = Instant::now();
        while browser.request("GET", "/status", None).is_err() {
            assert!(patience.elapsed() < Duration::from_secs(20), "{name} does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
        let mut arguments = vec![
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--hide-scrollbars".to_owned(),
            "--force-device-scale-factor=1".to_owned(),
            format!("--window-size={},{}", size[0], size[1]),
        ];
        if dark {
            arguments.push("--force-dark-mode".to_owned());
            arguments.push("--blink-settings=preferredColorScheme=0".to_owned());
        }
        let capabilities = json!({"capabilities": {"alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": {"args": arguments},
            "goog:loggingPrefs": {"browser": "ALL"},
        }}});
        match browser.request("POST", "/session", Some(&capabilities)) {
            Ok(answer) => {
                browser.session = answer["sessionId"].as_str().expect("a session").to_owned();
                Some(browser)
            }
            Err(error) => {
                eprintln!("not checked in a browser: {name} finds none ({error})");
                None
            }
        }
    }

    /// Opens a file and waits until its script is done.
    pub fn open(&self, page: &Path) {
        self.command("url", json!({"url": format!("file://{}", page.display())}));
        let patience = Instant::now();
        while self.script("return document.documentElement.dataset.ready || ''") != "yes" {
            assert!(
                patience.elapsed() < Duration::from_secs(20),
                "the page is not ready: {:?}",
                self.complaints()
            );
            std::thread::sleep(Duration::from_millis(30));
        }
        self.settle();
    }

    /// Waits for two frames to be drawn.
    pub fn settle(&self) {
        let wait = "const done = arguments[arguments.length - 1]; \
                    requestAnimationFrame(() => requestAnimationFrame(() => done(true)))";
        self.command("execute/async", json!({"script": wait, "args": []}));
    }

    /// Runs a script and returns its answer.
    pub fn script(&self, script: &str) -> Value {
        self.command("execute/sync", json!({"script": script, "args": []}))
    }

    /// Moves the pointer to a place of the window, and presses and lets go there if asked.
    pub fn pointer(&self, [x, y]: [f64; 2], click: bool) {
        let mut moves = vec![json!({
            "type": "pointerMove", "duration": 0, "x": x.round() as i64, "y": y.round() as i64
        })];
        if click {
            moves.push(json!({"type": "pointerDown", "button": 0}));
            moves.push(json!({"type": "pointerUp", "button": 0}));
        }
        let actions = json!({"actions": [{
            "type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"},
            "actions": moves,
        }]});
        self.command("actions", actions);
        self.settle();
    }

    /// Presses keys one after the other.
    pub fn keys(&self, keys: &[&str]) {
        let strokes: Vec<Value> = keys
            .iter()
            .flat_map(|key| ["keyDown", "keyUp"].map(|kind| json!({"type": kind, "value": key})))
            .collect();
        self.command(
            "actions",
            json!({"actions": [{"type": "key", "id": "keyboard", "actions": strokes}]}),
        );
        self.settle();
    }

    /// The window as PNG bytes, also kept in `target/browser/` for people.
    pub fn picture(&self, name: &str) -> Vec<u8> {
        use base64::Engine;
        let answer = self.get("screenshot");
        let text = answer.as_str().expect("a picture");
        let png = base64::engine::general_purpose::STANDARD.decode(text).expect("base64");
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
        fs::create_dir_all(&folder).expect("a folder");
        fs::write(folder.join(format!("{name}.png")), &png).expect("a picture kept");
        png
    }

    /// The page as it prints, PDF bytes.
    pub fn print(&self, [width_cm, height_cm]: [f64; 2]) -> Vec<u8> {
        use base64::Engine;
        let page = json!({"page": {"width": width_cm, "height": height_cm}, "background": true});
        let answer = self.command("print", page);
        let text = answer.as_str().expect("a document");
        base64::engine::general_purpose::STANDARD.decode(text).expect("base64")
    }

    /// What the page complained of on the console.
    pub fn complaints(&self) -> Vec<String> {
        let log = self.command("se/log", json!({"type": "browser"}));
        log.as_array()
            .into_iter()
            .flatten()
            .map(|entry| format!("{}: {}", entry["level"], entry["message"]))
            .collect()
    }

    fn command(&self, name: &str, body: Value) -> Value {
        self.request("POST", &format!("/session/{}/{name}", self.session), Some(&body))
            .unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    fn get(&self, name: &str) -> Value {
        self.request("GET", &format!("/session/{}/{name}", self.session), None)
            .unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    fn request(&self, method: &str, path: &str, body: Option<&Value>) -> Result<Value, String> {
        let told = |error: std::io::Error| error.to_string();
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).map_err(told)?;
        stream.set_read_timeout(Some(Duration::from_secs(60))).map_err(told)?;
        let body = body.map_or(String::new(), Value::to_string);
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n",
            body.len()
        );
        stream.write_all(head.as_bytes()).map_err(told)?;
        stream.write_all(body.as_bytes()).map_err(told)?;
        let mut answer = Vec::new();
        // The driver may keep the line open: read as much as it announced.
        let mut buffer = [0u8; 65536];
        loop {
            let n = stream.read(&mut buffer).map_err(told)?;
            answer.extend_from_slice(&buffer[..n]);
            let Some(end) = answer.windows(4).position(|w| w == b"\r\n\r\n") else {
                if n == 0 {
                    return Err("no answer".to_owned());
                }
                continue;
            };
            let head = String::from_utf8_lossy(&answer[..end]).to_lowercase();
            let length = head
                .lines()
                .find_map(|line| line.strip_prefix("content-length:")?.trim().parse().ok())
                .unwrap_or(usize::MAX);
            if n == 0 || answer.len() >= end.saturating_add(4).saturating_add(length) {
                let answer: Value = serde_json::from_slice(&answer[end + 4..])
                    .map_err(|error| error.to_string())?;
                let value = answer["value"].clone();
                return match value["error"].as_str() {
                    Some(error) => Err(format!("{error}: {}", value["message"])),
                    None => Ok(value),
                };
            }
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let _ = self.request("DELETE", &format!("/session/{}", self.session), None);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
