//! A Chromium without a window, told what to do over its own protocol (Chrome DevTools Protocol)
//! through a pair of pipes.
#![allow(dead_code, reason = "each test file uses its part")]

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

/// How long a page may take for anything: the machine of a gate is busy.
const PATIENCE: Duration = Duration::from_secs(180);

pub(crate) struct Browser {
    child: Child,
    to: ChildStdin,
    from: Receiver<Value>,
    session: Option<String>,
    asked: u64,
    /// What went wrong in the page: exceptions, and what its policy refused.
    pub(crate) complaints: Vec<String>,
    profile: TempDir,
}

/// The browser that is here, by `PRECEDENT_BROWSER` or one of the usual names.
pub(crate) fn here() -> Option<PathBuf> {
    let named = std::env::var_os("PRECEDENT_BROWSER").map(PathBuf::from);
    let usual = ["chromium", "chromium-browser", "google-chrome"].map(PathBuf::from);
    let runs = |name: &PathBuf| Command::new(name).arg("--version").output().is_ok();
    named.into_iter().chain(usual).find(runs)
}

impl Browser {
    /// `None`, said so, where there is no Chromium.
    pub(crate) fn start() -> Option<Self> {
        Self::start_with(&[])
    }

    /// With more said to it: a microphone that is none, say.
    pub(crate) fn start_with(more: &[&str]) -> Option<Self> {
        let Some(name) = here() else {
            crate::skip::skipped("no Chromium is here; tests/run installs one on Debian");
            return None;
        };
        let profile = tempfile::tempdir().unwrap();
        // The browser reads commands at 3 and answers at 4; a shell puts our pipes there.
        let mut child = Command::new("sh")
            .args(["-c", r#"exec "$0" "$@" 3<&0 4>&1 </dev/null >/dev/null 2>&1"#])
            .arg(name)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic"])
            .args(["--no-first-run", "--disable-background-networking"])
            .args(["--disable-component-update", "--disable-sync", "--remote-debugging-pipe"])
            .args(more)
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let to = child.stdin.take().unwrap();
        let mut answers = BufReader::new(child.stdout.take().unwrap());
        let (tell, from) = channel();
        std::thread::spawn(move || {
            let mut bytes = Vec::new();
            while matches!(answers.read_until(0, &mut bytes), Ok(read) if read > 0) {
                bytes.pop();
                if tell.send(serde_json::from_slice(&bytes).unwrap()).is_err() {
                    return;
                }
                bytes.clear();
            }
        });
        let complaints = Vec::new();
        let mut browser = Self { child, to, from, session: None, asked: 0, complaints, profile };
        let target = browser.tell("Target.createTarget", json!({ "url": "about:blank" }));
        let attach = json!({ "targetId": target["targetId"], "flatten": true });
        let attached = browser.tell("Target.attachToTarget", attach);
        browser.session = Some(attached["sessionId"].as_str().unwrap().to_owned());
        for part in ["Page.enable", "Runtime.enable", "Log.enable"] {
            browser.tell(part, json!({}));
        }
        Some(browser)
    }

    /// A command of the protocol, and what it gave.
    #[track_caller]
    pub(crate) fn tell(&mut self, method: &str, params: Value) -> Value {
        self.asked += 1;
        let mut command = json!({ "id": self.asked, "method": method, "params": params });
        if let Some(session) = &self.session {
            command["sessionId"] = json!(session);
        }
        self.to.write_all(command.to_string().as_bytes()).unwrap();
        self.to.write_all(b"\0").unwrap();
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            match self.from.recv_timeout(Duration::from_secs(1)) {
                Ok(said) if said["id"] == json!(self.asked) => {
                    assert!(said["error"].is_null(), "{method}: {}", said["error"]);
                    return said["result"].clone();
                }
                Ok(said) => self.hear(&said),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => panic!("{method}: the browser ended"),
            }
        }
        panic!("{method}: no answer in {PATIENCE:?}");
    }

    fn hear(&mut self, said: &Value) {
        let params = &said["params"];
        match said["method"].as_str() {
            Some("Runtime.exceptionThrown") => {
                self.complaints.push(params["exceptionDetails"].to_string());
            }
            Some("Log.entryAdded") if params["entry"]["level"] == "error" => {
                self.complaints.push(params["entry"].to_string());
            }
            _ => {}
        }
    }

    /// The value of an expression, or of what it promises.
    #[track_caller]
    pub(crate) fn js(&mut self, expression: &str) -> Value {
        let ask = json!({ "expression": expression, "awaitPromise": true, "returnByValue": true });
        let said = self.tell("Runtime.evaluate", ask);
        assert!(said["exceptionDetails"].is_null(), "{expression}: {}", said["exceptionDetails"]);
        said["result"]["value"].clone()
    }

    #[track_caller]
    pub(crate) fn text(&mut self, expression: &str) -> String {
        self.js(expression).as_str().unwrap_or_default().to_owned()
    }

    #[track_caller]
    pub(crate) fn number(&mut self, expression: &str) -> f64 {
        self.js(expression).as_f64().unwrap_or(f64::NAN)
    }

    /// Waits until an expression holds.
    #[track_caller]
    pub(crate) fn wait(&mut self, condition: &str) {
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            if self.js(&format!("!!({condition})")) == json!(true) {
                return;
            }
            std::thread::sleep(Duration::from_millis(60));
        }
        let body = self.text("document.body.innerText.slice(0, 1500)");
        panic!("never: {condition}\n{body}\n{:?}", self.complaints);
    }

    #[track_caller]
    pub(crate) fn go(&mut self, address: &str) {
        self.tell("Page.navigate", json!({ "url": address }));
        self.wait("document.readyState === 'complete'");
    }

    /// Presses what a selector finds, and waits for the place it leads to.
    #[track_caller]
    pub(crate) fn press(&mut self, selector: &str) {
        let ask = format!(
            "(() => {{ const it = document.querySelector({selector:?}); if (!it) return false; \
             window.left = true; it.click(); return true; }})()"
        );
        let there = self.js(&ask);
        assert_eq!(
            there,
            json!(true),
            "no {selector} in\n{}",
            self.text("document.body.innerText")
        );
        self.wait("!window.left && document.readyState === 'complete'");
    }

    /// Presses a button by the words on it.
    #[track_caller]
    pub(crate) fn press_words(&mut self, words: &str) {
        let mark = format!(
            "(() => {{ const it = [...document.querySelectorAll('button, a')].find((one) => \
             one.textContent.trim() === {words:?} && one.checkVisibility()); it?.setAttribute('data-pressed', ''); \
             return Boolean(it); }})()"
        );
        let there = self.js(&mark);
        assert_eq!(there, json!(true), "no '{words}' in\n{}", self.text("document.body.innerText"));
        self.press("[data-pressed]");
    }

    /// Fills fields of a form by their names.
    #[track_caller]
    pub(crate) fn fill(&mut self, form: &str, fields: &[(&str, &str)]) {
        for (name, value) in fields {
            let ask = format!(
                "(() => {{ const it = document.querySelector({form:?})?.querySelector(`[name=\"{name}\"]`); \
                 if (!it) return 'missing'; if (it.type === 'checkbox') it.checked = true; else it.value = {value:?}; \
                 it.dispatchEvent(new Event('change', {{ bubbles: true }})); return it.value; }})()"
            );
            assert_eq!(self.text(&ask), *value, "{name} of {form}");
        }
    }

    /// Waits until long work has ended and the place says what came of it.
    #[track_caller]
    pub(crate) fn worked(&mut self) {
        self.wait("document.readyState === 'complete' && !document.querySelector('.work')");
    }

    pub(crate) fn size(&mut self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500 });
        self.tell("Emulation.setDeviceMetricsOverride", size);
    }

    pub(crate) fn key(&mut self, key: &str) {
        let mut down = json!({ "type": "keyDown", "key": key });
        if key.len() == 1 {
            down["text"] = json!(key);
        }
        self.tell("Input.dispatchKeyEvent", down);
        self.tell("Input.dispatchKeyEvent", json!({ "type": "keyUp", "key": key }));
    }

    /// `kind`: `mousePressed`, `mouseMoved`, `mouseReleased`; the left button is held.
    pub(crate) fn mouse(&mut self, kind: &str, [x, y]: [f64; 2]) {
        let event = json!({ "type": kind, "x": x, "y": y, "button": "left", "buttons": 1, "clickCount": 1 });
        self.tell("Input.dispatchMouseEvent", event);
    }

    /// Left, top, width and height of an element in the window.
    pub(crate) fn place(&mut self, selector: &str) -> [f64; 4] {
        let ask = format!(
            "(() => {{ const r = document.querySelector('{selector}').getBoundingClientRect(); \
             return [r.left, r.top, r.width, r.height]; }})()"
        );
        let said = self.js(&ask);
        [0, 1, 2, 3].map(|k| said[k].as_f64().unwrap())
    }

    /// Processor time that all of the browser's processes have taken, milliseconds; Linux only.
    pub(crate) fn processor_ms(&self) -> Option<f64> {
        let profile = self.profile.path().to_str().unwrap().to_owned();
        let mut ticks = 0.0;
        for process in std::fs::read_dir("/proc").ok()?.filter_map(Result::ok) {
            let read = |name: &str| std::fs::read_to_string(process.path().join(name)).ok();
            // A process may end while it is looked at.
            let Some(stat) =
                read("cmdline").filter(|line| line.contains(&profile)).and_then(|_| read("stat"))
            else {
                continue;
            };
            let fields: Vec<&str> = stat.rsplit_once(") ")?.1.split(' ').collect();
            // User and system time in ticks, of which a Linux kernel shows 100 a second (proc(5)).
            ticks += fields[11].parse::<f64>().ok()? + fields[12].parse::<f64>().ok()?;
        }
        Some(10.0 * ticks)
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
