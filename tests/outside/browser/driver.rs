//! A small client of the W3C WebDriver protocol (www.w3.org/TR/webdriver2), as much of it as the tests need.

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine as _;
use serde_json::{Value, json};

/// The name of an element's identifier in answers, fixed by the standard (section 12.2).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";
/// How long to wait for what a page should show.
const PATIENCE: Duration = Duration::from_secs(15);
/// Keys as the standard numbers them (section 17.4.2).
pub const TAB: char = '\u{E004}';
pub const ENTER: char = '\u{E007}';

/// How wide, how high, and whether scripts run.
#[derive(Clone, Copy)]
pub enum Size {
    Phone,
    /// The narrowest window there is. The driver cannot tap on an emulated phone that runs no script.
    Narrow,
    Desk,
    /// The screen of a counter, 1280 by 800.
    Counter,
}

/// Chromium's driver as a process of its own, with one browser window.
pub struct Browser {
    child: Child,
    _output: BufReader<ChildStdout>,
    agent: ureq::Agent,
    session: String,
    home: String,
}

/// An element on the page.
#[derive(Clone, Debug)]
pub struct Element(String);

impl Browser {
    /// Starts a window; `home` is the server under test.
    pub fn start(home: &str, size: Size, script: bool) -> Self {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed by tests/run");
        let mut output = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        let port: u16 = loop {
            line.clear();
            assert_ne!(output.read_line(&mut line).unwrap(), 0, "no chromedriver");
            if let Some((_, port)) = line.trim().rsplit_once("successfully on port ") {
                break port.trim_end_matches('.').parse().unwrap();
            }
        };
        let agent = ureq::Agent::new_with_config(
            ureq::Agent::config_builder()
                .http_status_as_error(false)
                .timeout_global(Some(Duration::from_secs(90)))
                .build(),
        );
        let window = match size {
            Size::Counter => "--window-size=1280,800",
            Size::Narrow => "--window-size=500,900",
            Size::Phone | Size::Desk => "--window-size=1440,900",
        };
        let mut options = json!({
            "args": ["--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", window, "--lang=en-GB"],
        });
        if matches!(size, Size::Phone) {
            // A window cannot be as narrow as a phone; its screen can be emulated.
            options["mobileEmulation"] = json!({"deviceMetrics":
                {"width": 360, "height": 740, "pixelRatio": 2.0, "touch": true, "mobile": true}});
        }
        if !script {
            options["prefs"] = json!({"profile.managed_default_content_settings.javascript": 2});
        }
        let mut browser = Self {
            child,
            _output: output,
            agent,
            session: format!("http://127.0.0.1:{port}/session"),
            home: home.to_owned(),
        };
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": options,
            "goog:loggingPrefs": {"browser": "ALL"},
        }}});
        let made = browser.post("", &wanted).expect("a window");
        let id = made["sessionId"].as_str().unwrap();
        browser.session = format!("{}/{id}", browser.session);
        browser
    }

    fn answer(
        sent: Result<ureq::http::Response<ureq::Body>, ureq::Error>,
    ) -> Result<Value, String> {
        let mut answer = sent.map_err(|e| e.to_string())?;
        let status = answer.status().as_u16();
        let body: Value = answer.body_mut().read_json().map_err(|e| e.to_string())?;
        match status {
            200 => Ok(body["value"].clone()),
            _ => Err(body["value"]["message"]
                .as_str()
                .unwrap_or("no message")
                .lines()
                .next()
                .unwrap_or_default()
                .to_owned()),
        }
    }

    fn post(&self, path: &str, body: &Value) -> Result<Value, String> {
        Self::answer(
            self.agent
                .post(format!("{}{path}", self.session))
                .send_json(body),
        )
    }

    fn get(&self, path: &str) -> Result<Value, String> {
        Self::answer(self.agent.get(format!("{}{path}", self.session)).call())
    }

    /// Opens a page of the server.
    pub fn go(&self, path: &str) {
        let url = if path.starts_with("http") {
            path.to_owned()
        } else {
            format!("{}{path}", self.home)
        };
        self.post("/url", &json!({"url": url})).expect(path);
    }

    /// Path and query of the page.
    pub fn path(&self) -> String {
        let url = self.get("/url").unwrap();
        let url = url.as_str().unwrap();
        url.strip_prefix(&self.home).unwrap_or(url).to_owned()
    }

    /// Everything that can be read on the page.
    pub fn text(&self) -> String {
        let Some(body) = self.find("body") else {
            return String::new();
        };
        self.text_of(&body)
    }

    pub fn text_of(&self, element: &Element) -> String {
        let text = self.get(&format!("/element/{}/text", element.0));
        text.unwrap_or_default().as_str().unwrap_or_default().into()
    }

    /// Stops with what the page says, and a picture of it.
    pub fn fail(&self, why: &str) -> ! {
        self.picture("failed");
        panic!("{why}\nat {}\n{}", self.path(), self.text());
    }

    pub fn find(&self, css: &str) -> Option<Element> {
        let body = json!({"using": "css selector", "value": css});
        let found = self.post("/element", &body).ok()?;
        Some(Element(found[ELEMENT].as_str()?.to_owned()))
    }

    pub fn all(&self, css: &str) -> Vec<Element> {
        let body = json!({"using": "css selector", "value": css});
        let found = self.post("/elements", &body).unwrap();
        let ids = found.as_array().unwrap().iter();
        ids.map(|e| Element(e[ELEMENT].as_str().unwrap().to_owned()))
            .collect()
    }

    /// The element, once it is there.
    pub fn must(&self, css: &str) -> Element {
        let begun = Instant::now();
        loop {
            if let Some(found) = self.find(css) {
                return found;
            }
            if begun.elapsed() > PATIENCE {
                self.fail(&format!("nothing matches {css}"));
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn click(&self, element: &Element) {
        let done = self.post(&format!("/element/{}/click", element.0), &json!({}));
        if let Err(why) = done {
            self.fail(&why);
        }
    }

    pub fn press(&self, css: &str) {
        self.click(&self.must(css));
    }

    /// Types into an element; a path, where it takes a file.
    pub fn type_into(&self, element: &Element, text: &str) {
        let path = format!("/element/{}/value", element.0);
        if let Err(why) = self.post(&path, &json!({"text": text})) {
            self.fail(&why);
        }
    }

    pub fn clear(&self, element: &Element) {
        let path = format!("/element/{}/clear", element.0);
        self.post(&path, &json!({})).unwrap();
    }

    pub fn property(&self, element: &Element, name: &str) -> Value {
        let path = format!("/element/{}/property/{name}", element.0);
        self.get(&path).unwrap_or(Value::Null)
    }

    pub fn attribute(&self, element: &Element, name: &str) -> String {
        let path = format!("/element/{}/attribute/{name}", element.0);
        let value = self.get(&path).unwrap_or(Value::Null);
        value.as_str().unwrap_or_default().to_owned()
    }

    /// Presses keys, wherever the focus is.
    pub fn keys(&self, keys: &str) {
        let actions: Vec<Value> = keys
            .chars()
            .flat_map(|key| {
                let key = key.to_string();
                [
                    json!({"type": "keyDown", "value": key}),
                    json!({"type": "keyUp", "value": key}),
                    // Nobody types as fast as a scanner.
                    json!({"type": "pause", "duration": 60}),
                ]
            })
            .collect();
        let body = json!({"actions": [{"type": "key", "id": "keyboard", "actions": actions}]});
        self.post("/actions", &body).unwrap();
    }

    /// Fingers on a touch screen: each goes through its points (pixels of the window) in equal steps of time, all at once.
    pub fn fingers(&self, paths: &[&[(i64, i64)]]) {
        let fingers: Vec<Value> = paths
            .iter()
            .enumerate()
            .map(|(n, path)| {
                let to = |(x, y): (i64, i64), duration: u64| {
                    json!({"type": "pointerMove", "duration": duration, "x": x, "y": y, "origin": "viewport"})
                };
                let mut actions = vec![to(path[0], 0), json!({"type": "pointerDown", "button": 0})];
                actions.extend(path[1..].iter().map(|at| to(*at, 120)));
                actions.push(json!({"type": "pointerUp", "button": 0}));
                json!({"type": "pointer", "id": format!("finger{n}"), "parameters": {"pointerType": "touch"},
                       "actions": actions})
            })
            .collect();
        self.post("/actions", &json!({"actions": fingers})).unwrap();
    }

    /// A scanner that types: the keys at once, and Enter.
    pub fn scan(&self, text: &str) {
        // The time of a key is that of the keyboard, however busy the machine is: Chromium's own way to press a key says it
        // (DevTools protocol, Input.dispatchKeyEvent).
        let begun = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .unwrap()
            .as_secs_f64();
        for (n, key) in text.chars().chain([ENTER]).enumerate() {
            let at = begun + 0.002 * f64::from(u32::try_from(n).unwrap());
            let (key, text, code) = if key == ENTER {
                ("Enter".to_owned(), "\r".to_owned(), 13)
            } else {
                (key.to_string(), key.to_string(), 0)
            };
            // That a key comes up again nobody here listens to; without it four hundred scans take half as long.
            let params = json!({"type": "keyDown", "key": key, "text": text, "timestamp": at, "windowsVirtualKeyCode": code});
            let body = json!({"cmd": "Input.dispatchKeyEvent", "params": params});
            self.post("/goog/cdp/execute", &body).unwrap();
        }
    }

    /// Runs a script on the page; for measuring, not for doing.
    pub fn run(&self, script: &str) -> Value {
        let body = json!({"script": script, "args": []});
        match self.post("/execute/sync", &body) {
            Ok(value) => value,
            Err(why) => self.fail(&why),
        }
    }

    /// Whether this text shows, soon.
    pub fn shows(&self, text: &str) {
        let begun = Instant::now();
        while !self.text().contains(text) {
            if begun.elapsed() > PATIENCE {
                self.fail(&format!("the page does not say: {text}"));
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// A picture of the whole page, for people to look at.
    pub fn picture(&self, name: &str) {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("../screenshots");
        std::fs::create_dir_all(&folder).unwrap();
        let Ok(Value::String(text)) = self.get("/screenshot") else {
            return;
        };
        let bytes = base64::engine::general_purpose::STANDARD.decode(text);
        std::fs::write(folder.join(format!("{name}.png")), bytes.unwrap()).unwrap();
    }

    /// What the browser's console says since the last time it was asked: errors, broken policies, all of it.
    pub fn console(&self) -> Vec<String> {
        let lines = self.post("/se/log", &json!({"type": "browser"})).unwrap();
        let lines = lines.as_array().unwrap().iter();
        lines
            .map(|l| format!("{}: {}", l["level"], l["message"]))
            .collect()
    }

    /// The value of a cookie.
    pub fn cookie(&self, name: &str) -> String {
        let cookie = self.get(&format!("/cookie/{name}")).unwrap();
        format!("{name}={}", cookie["value"].as_str().unwrap())
    }

    // --- What people do on our pages ---

    /// Signs in by the form.
    pub fn sign_in(&self, user_name: &str, password: &str) {
        self.go("/sign-in");
        self.type_into(&self.must("#user_name"), user_name);
        self.type_into(&self.must("#password"), password);
        self.press("main form button");
        self.must("header .who");
    }

    /// Fills in a field by its name: types, chooses, or ticks.
    pub fn fill(&self, name: &str, value: &str) {
        let field = self.must(&format!("main [name='{name}']:not([type=hidden])"));
        let kind = self.property(&field, "type");
        match kind.as_str().unwrap_or_default() {
            "select-one" => {
                let option = self.must(&format!("main [name='{name}'] option[value='{value}']"));
                self.click(&option);
            }
            "checkbox" => self.click(&field),
            _ => {
                self.clear(&field);
                self.type_into(&field, value);
            }
        }
    }

    /// Chooses the first option whose words contain these.
    pub fn choose(&self, name: &str, words: &str) {
        let path = format!("//select[@name='{name}']//option[contains(., '{words}')]");
        let body = json!({"using": "xpath", "value": path});
        let Ok(found) = self.post("/element", &body) else {
            self.fail(&format!("{name} does not offer {words}"));
        };
        self.click(&Element(found[ELEMENT].as_str().unwrap().to_owned()));
    }

    /// Follows the page's way to an act.
    pub fn begin(&self, act: &str) {
        self.press(&format!("main a[href*='/do/{act}']"));
        self.must(&format!("main form[action='/do/{act}']"));
    }

    /// Sends the form; the act must be done.
    pub fn send(&self, act: &str) {
        self.press(&format!("main form[action='/do/{act}'] .acts button"));
        self.done();
    }

    /// Sends the form, reads what is signed, and signs.
    pub fn sign(&self, act: &str, password: &str) {
        self.press(&format!("main form[action='/do/{act}'] .acts button"));
        self.type_into(&self.must("#signing-password"), password);
        self.press("fieldset.signing button");
        self.done();
    }

    /// Waits until the page says that an act was done.
    pub fn done(&self) {
        let begun = Instant::now();
        while !self.path().contains("done=") {
            if begun.elapsed() > PATIENCE {
                self.fail("it was not done");
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The window first, so that the browser's own processes end with it.
        let _ = self.agent.delete(&self.session).call();
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
