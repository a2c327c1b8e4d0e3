//! A browser with one tab: what a hand, an eye and the tools of the browser can do with the page.

use crate::programs::{Driver, LONGEST_WAIT};
use axum::http::Method;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::{Map, Value, json};
use std::future::Future;
use std::path::Path;
use std::time::{Duration, Instant};

/// How often a condition is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(25);
/// Helpers that every script may use.
const HELPERS: &str = include_str!("helpers.js");

/// The screen on which the page is seen, in CSS pixels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Screen {
    pub(crate) width: u32,
    pub(crate) height: u32,
    /// A telephone: touched, with two points of the screen to a CSS pixel.
    pub(crate) phone: bool,
}

/// The screen of a desk.
pub(crate) const DESK: Screen = Screen { width: 1280, height: 900, phone: false };

/// A browser with one tab, and the folder into which it downloads.
#[derive(Debug)]
pub(crate) struct Tab {
    runtime: tokio::runtime::Runtime,
    client: Option<Client>,
    downloads: tempfile::TempDir,
    // Goes last.
    _driver: Driver,
}

/// A question to the driver that has no name in the client.
#[derive(Debug)]
struct Question {
    method: Method,
    path: String,
    body: Option<Value>,
}

impl WebDriverCompatibleCommand for Question {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _address: &url::Url) -> (Method, Option<String>) {
        (self.method.clone(), self.body.as_ref().map(Value::to_string))
    }
}

fn wishes(downloads: &Path) -> Map<String, Value> {
    let wishes = json!({
        "goog:chromeOptions": {
            "args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
            "prefs": {
                "download.default_directory": downloads,
                "download.prompt_for_download": false,
                "profile.default_content_setting_values.automatic_downloads": 1,
            },
        },
        "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        // The page asks before unsaved work is left: here it may go.
        "unhandledPromptBehavior": "accept",
        "timeouts": {"script": LONGEST_WAIT.as_millis() as u64, "pageLoad": LONGEST_WAIT.as_millis() as u64},
    });
    wishes.as_object().expect("an object").clone()
}

impl Tab {
    /// Opens a browser with a screen at an address.
    pub(crate) fn open(screen: Screen, address: &str) -> Tab {
        let driver = Driver::start();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a thread");
        let downloads = tempfile::tempdir().expect("a folder");
        let client = runtime.block_on(async {
            let connector = hyper_util::client::legacy::connect::HttpConnector::new();
            let mut builder = ClientBuilder::new(connector);
            builder.capabilities(wishes(downloads.path()));
            builder.connect(&driver.address).await.expect("a browser")
        });
        let tab = Tab { runtime, client: Some(client), downloads, _driver: driver };
        tab.show_on(screen);
        tab.go(address);
        tab
    }

    /// The folder of downloads.
    pub(crate) fn folder(&self) -> &Path {
        self.downloads.path()
    }

    fn client(&self) -> &Client {
        self.client.as_ref().expect("open")
    }

    fn run<T>(&self, work: impl Future<Output = T>) -> T {
        self.runtime.block_on(work)
    }

    /// Goes to an address and waits until the page is there.
    pub(crate) fn go(&self, address: &str) {
        self.run(self.client().goto(address)).expect("the page is loaded");
        self.until("the page is ready", "return document.documentElement.classList.contains('ready')");
    }

    /// Shows the page on a screen.
    pub(crate) fn show_on(&self, screen: Screen) {
        let Screen { width, height, phone } = screen;
        let factor = if phone { 2 } else { 1 };
        let metrics = json!({"width": width, "height": height, "deviceScaleFactor": factor, "mobile": phone});
        self.tool("Emulation.setDeviceMetricsOverride", &metrics);
        if phone {
            self.tool("Emulation.setTouchEmulationEnabled", &json!({"enabled": true}));
        }
    }

    fn ask(&self, method: Method, path: &str, body: Option<Value>) -> Value {
        let question = Question { method, path: path.to_owned(), body };
        self.run(self.client().issue_cmd(question)).unwrap_or_else(|fault| panic!("{path}: {fault}"))
    }

    /// Uses one of the browser's own tools for developers.
    pub(crate) fn tool(&self, name: &str, parameters: &Value) -> Value {
        self.ask(Method::POST, "goog/cdp/execute", Some(json!({"cmd": name, "params": parameters})))
    }

    /// The entries of a log of the browser since it was last asked for.
    pub(crate) fn log(&self, kind: &str) -> Vec<Value> {
        let entries = self.ask(Method::POST, "se/log", Some(json!({"type": kind})));
        entries.as_array().expect("entries").clone()
    }

    /// What a script in the page returns.
    pub(crate) fn js(&self, script: &str) -> Value {
        self.js_with(script, vec![])
    }

    /// What a script with arguments returns.
    pub(crate) fn js_with(&self, script: &str, arguments: Vec<Value>) -> Value {
        let whole = format!("{HELPERS}\n{script}");
        self.run(self.client().execute(&whole, arguments)).unwrap_or_else(|fault| panic!("{script}: {fault}"))
    }

    /// What a script that may wait returns.
    pub(crate) fn js_awaited(&self, script: &str, arguments: Vec<Value>) -> Value {
        let whole = format!(
            "{HELPERS}\nconst done = arguments[arguments.length - 1];\n\
             const args = [...arguments].slice(0, -1);\n\
             (async () => {{ {script} }})().then(done, (fault) => done({{fault: String(fault.stack)}}));"
        );
        let found = self.run(self.client().execute_async(&whole, arguments));
        let found = found.unwrap_or_else(|fault| panic!("{script}: {fault}"));
        assert!(found.get("fault").is_none(), "{script}: {found}");
        found
    }

    /// Waits until a script returns something that is neither false nor null; the answer is that.
    pub(crate) fn until(&self, what: &str, script: &str) -> Value {
        self.until_with(what, script, vec![])
    }

    /// The same with arguments.
    pub(crate) fn until_with(&self, what: &str, script: &str, arguments: Vec<Value>) -> Value {
        let give_up = Instant::now() + LONGEST_WAIT;
        loop {
            let found = self.js_with(script, arguments.clone());
            if !matches!(found, Value::Null | Value::Bool(false)) {
                return found;
            }
            if Instant::now() > give_up {
                panic!("never came: {what}\n{:#}", self.js("return state()"));
            }
            std::thread::sleep(LOOK_EVERY);
        }
    }

    /// Presses an element, as a hand would: it must be in sight and not covered.
    pub(crate) fn click(&self, css: &str) {
        self.js_with("centre(arguments[0])", vec![json!(css)]);
        let element = self.run(self.client().find(Locator::Css(css)));
        let element = element.unwrap_or_else(|fault| panic!("{css}: {fault}"));
        self.run(element.click()).unwrap_or_else(|fault| panic!("press {css}: {fault}"));
    }

    /// Types into an element; what was in a box goes.
    pub(crate) fn write(&self, css: &str, text: &str) {
        self.js_with("centre(arguments[0]).select?.()", vec![json!(css)]);
        self.hand_over(css, text);
    }

    /// Gives a file to an input of files.
    pub(crate) fn give_file(&self, css: &str, path: &Path) {
        self.hand_over(css, path.to_str().expect("a plain path"));
    }

    fn hand_over(&self, css: &str, text: &str) {
        let element = self.run(self.client().find(Locator::Css(css)));
        let element = element.unwrap_or_else(|fault| panic!("{css}: {fault}"));
        self.run(element.send_keys(text)).unwrap_or_else(|fault| panic!("write into {css}: {fault}"));
    }

    /// The name that the browser tells to screen readers for each element that a selector finds and that is in sight, with its markup.
    pub(crate) fn spoken_names(&self, css: &str) -> Vec<(String, String)> {
        let found = self.run(self.client().find_all(Locator::Css(css))).expect("elements");
        let mut names = vec![];
        for element in found {
            let reference = serde_json::to_value(&element).expect("a reference");
            let seen = self.js_with(
                "return visible(arguments[0]) && !behindDialog(arguments[0]) && arguments[0].cloneNode(false).outerHTML",
                vec![reference],
            );
            if let Value::String(markup) = seen {
                let id = element.element_id();
                let name = self.ask(Method::GET, &format!("element/{}/computedlabel", id.as_ref()), None);
                names.push((markup, name.as_str().unwrap_or("").to_owned()));
            }
        }
        names
    }

    /// Presses and lifts keys one after another, wherever the focus is.
    pub(crate) fn keys(&self, keys: &[char]) {
        let presses: Vec<Value> = keys
            .iter()
            .flat_map(|key| {
                [json!({"type": "keyDown", "value": key}), json!({"type": "keyUp", "value": key})]
            })
            .collect();
        self.act(json!([{"type": "key", "id": "keys", "actions": presses}]));
    }

    /// Presses a key while Control is held.
    pub(crate) fn with_control(&self, key: char) {
        let control = '\u{e009}';
        self.act(json!([{"type": "key", "id": "keys", "actions": [
            {"type": "keyDown", "value": control}, {"type": "keyDown", "value": key},
            {"type": "keyUp", "value": key}, {"type": "keyUp", "value": control},
        ]}]));
    }

    /// Presses at the first place of the viewport, goes through the others and lifts; `pointer` is `mouse` or `touch`.
    pub(crate) fn drag(&self, pointer: &str, way: &[[f64; 2]]) {
        let to = |[x, y]: [f64; 2], ms: u32| json!({"type": "pointerMove", "duration": ms, "x": x.round(), "y": y.round()});
        let mut actions = vec![to(way[0], 0), json!({"type": "pointerDown", "button": 0})];
        actions.extend(way[1..].iter().map(|place| to(*place, 60)));
        actions.push(json!({"type": "pointerUp", "button": 0}));
        let kind = json!({"pointerType": pointer});
        self.act(json!([{"type": "pointer", "id": pointer, "parameters": kind, "actions": actions}]));
    }

    fn act(&self, actions: Value) {
        self.ask(Method::POST, "actions", Some(json!({"actions": actions})));
    }
}

impl Drop for Tab {
    fn drop(&mut self) {
        if let Some(client) = self.client.take() {
            // A browser that hangs must not hang the test as well; the driver takes it along.
            let closing = async { tokio::time::timeout(Duration::from_secs(20), client.close()).await };
            let _ = self.runtime.block_on(closing);
        }
    }
}
