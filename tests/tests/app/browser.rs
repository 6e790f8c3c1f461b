//! Real browsers, driven the way a person reads a page: by roles and accessible names alone.
//!
//! A [`Shop`] is `trug serve` with the app in it; a [`Phone`] is a browser with a profile of its own that outlives being
//! killed. `TRUG_APP` names the program to serve with, `TRUG_BROWSER` the browser.

use std::io::{BufRead as _, BufReader};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::elements::Element;
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::TempDir;

/// How long a page may take to say what is awaited.
const PATIENCE: Duration = Duration::from_secs(30);
/// Between two looks.
const BETWEEN: Duration = Duration::from_millis(80);
/// Files of a shop with a certificate of its own, beside its store.
const CERTIFICATE: &str = "certificate.pem";
const KEY: &str = "key.pem";
/// The phone's screen.
const SCREEN: (u32, u32) = (390, 844);

/// What goes wrong in a test with browsers: said, with what was awaited.
pub(crate) type Seen<T> = Result<T, String>;

fn said(error: impl std::fmt::Display) -> String {
    error.to_string()
}

/// A browser that can be driven here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Chromium, by its own driver.
    Chromium,
    /// Firefox, by its own driver.
    Firefox,
    /// WebKitGTK's small browser: the nearest thing to an iPhone on this system.
    WebKit,
}

/// `trug serve` with the app and an embedded store.
pub(crate) struct Shop {
    child: Option<Child>,
    data: TempDir,
    port: u16,
    certificate: bool,
}

impl Shop {
    /// Opens on a free port.
    ///
    /// # Errors
    /// What kept it from opening.
    pub(crate) fn open() -> Seen<Self> {
        let data = TempDir::new().map_err(said)?;
        let mut shop = Self { child: None, data, port: free_port()?, certificate: false };
        shop.start()?;
        Ok(shop)
    }

    /// Opens on a free port with a certificate that nobody signed.
    ///
    /// # Errors
    /// What kept it from opening.
    pub(crate) fn open_with_certificate() -> Seen<Self> {
        let data = TempDir::new().map_err(said)?;
        let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).map_err(said)?;
        std::fs::write(data.path().join(CERTIFICATE), made.cert.pem()).map_err(said)?;
        std::fs::write(data.path().join(KEY), made.signing_key.serialize_pem()).map_err(said)?;
        let mut shop = Self { child: None, data, port: free_port()?, certificate: true };
        shop.start()?;
        Ok(shop)
    }

    /// Starts it again on the same port with the same store.
    ///
    /// # Errors
    /// What kept it from starting.
    pub(crate) fn start(&mut self) -> Seen<()> {
        let program =
            std::env::var("TRUG_APP").map_err(|_| "TRUG_APP names no program; run cargo xtask test".to_owned())?;
        let mut serve = Command::new(program);
        serve.args(["serve", "--listen", &self.socket(), "--data"]).arg(self.data.path());
        if self.certificate {
            serve.arg("--tls-certificate").arg(self.data.path().join(CERTIFICATE));
            serve.arg("--tls-key").arg(self.data.path().join(KEY));
        }
        let mut child = serve.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().map_err(said)?;
        let lines = child.stdout.take().map(BufReader::new).ok_or("no output")?;
        let listens = lines.lines().map_while(Result::ok).any(|line| line.contains("listening on"));
        self.child = Some(child);
        if listens { Ok(()) } else { Err("the relay did not start".to_owned()) }
    }

    /// Kills it, as a power cut would.
    pub(crate) fn kill(&mut self) {
        if let Some(mut child) = self.child.take() {
            // A process that is gone already is as it should be.
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Its address.
    #[must_use]
    pub(crate) fn address(&self) -> String {
        match self.certificate {
            true => format!("https://localhost:{}/", self.port),
            false => format!("http://{}/", self.socket()),
        }
    }

    /// Where it listens.
    #[must_use]
    pub(crate) fn socket(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }
}

impl Drop for Shop {
    fn drop(&mut self) {
        self.kill();
    }
}

fn free_port() -> Seen<u16> {
    let listener = TcpListener::bind("127.0.0.1:0").map_err(said)?;
    Ok(listener.local_addr().map_err(said)?.port())
}

/// A browser with a profile of its own.
pub(crate) struct Phone {
    kind: Kind,
    driver: Child,
    port: u16,
    profile: TempDir,
    client: Client,
}

impl Phone {
    /// Turns a phone on: a new one, on which nothing is kept.
    ///
    /// # Errors
    /// What kept it from starting.
    pub(crate) async fn new(kind: Kind) -> Seen<Self> {
        Self::with(kind, &[]).await
    }

    /// A Chromium that takes any certificate, so that one need not be signed for a test.
    ///
    /// # Errors
    /// What kept it from starting.
    pub(crate) async fn trusting_any_certificate() -> Seen<Self> {
        Self::with(Kind::Chromium, &["--ignore-certificate-errors"]).await
    }

    async fn with(kind: Kind, more: &[&str]) -> Seen<Self> {
        let profile = TempDir::new().map_err(said)?;
        let port = free_port()?;
        let driver = driver(kind, port, profile.path())?;
        let client = session(kind, port, profile.path(), more).await?;
        Ok(Self { kind, driver, port, profile, client })
    }

    /// Which browser it is.
    #[must_use]
    pub(crate) const fn kind(&self) -> Kind {
        self.kind
    }

    /// The browser is killed in the middle of whatever it does, and started again with what its disk kept.
    ///
    /// # Errors
    /// What kept it from starting again.
    pub(crate) async fn die_and_start(&mut self) -> Seen<()> {
        kill_tree(&mut self.driver);
        self.port = free_port()?;
        self.driver = driver(self.kind, self.port, self.profile.path())?;
        self.client = session(self.kind, self.port, self.profile.path(), &[]).await?;
        Ok(())
    }

    /// The driver's client, for what only one test does.
    #[must_use]
    pub(crate) const fn client(&self) -> &Client {
        &self.client
    }

    /// Opens an address.
    ///
    /// # Errors
    /// What the browser says.
    pub(crate) async fn open(&self, address: &str) -> Seen<()> {
        self.client.goto(address).await.map_err(said)
    }

    /// Runs a script with arguments.
    ///
    /// # Errors
    /// What the browser says.
    pub(crate) async fn script(&self, script: &str, arguments: Vec<Value>) -> Seen<Value> {
        self.client.execute(script, arguments).await.map_err(said)
    }

    /// The elements of a role whose accessible name begins with these words, and that are seen.
    async fn find_all(&self, role: &str, name: &str) -> Seen<Vec<Element>> {
        let found = self.script(FIND, vec![json!(role), json!(name)]).await?;
        let ids = found.as_array().cloned().unwrap_or_default();
        let element = |id: &Value| {
            let id = id.as_object()?.values().next()?.as_str()?.to_owned();
            Some(Element::from_element_id(self.client.clone(), id.into()))
        };
        Ok(ids.iter().filter_map(element).collect())
    }

    /// How many elements of a role are seen whose name begins so.
    ///
    /// # Errors
    /// What the browser says.
    pub(crate) async fn count(&self, role: &str, name: &str) -> Seen<usize> {
        Ok(self.find_all(role, name).await?.len())
    }

    /// Waits for an element of a role whose name begins so.
    ///
    /// # Errors
    /// That it did not come, and what the page says instead.
    pub(crate) async fn see(&self, role: &str, name: &str) -> Seen<Element> {
        let start = Instant::now();
        loop {
            // A page that is just being loaded answers nothing, or with an error.
            if let Some(found) = self.find_all(role, name).await.ok().and_then(|found| found.into_iter().next()) {
                return Ok(found);
            }
            if start.elapsed() > PATIENCE {
                let (page, busy) = (self.text().await.unwrap_or_default(), self.script(BUSY, Vec::new()).await);
                return Err(format!("no {role} `{name}` came; at work is {busy:?}; the page says:\n{page:.1200}"));
            }
            tokio::time::sleep(BETWEEN).await;
        }
    }

    /// Waits until nothing of this role and name is seen.
    ///
    /// # Errors
    /// That it stayed.
    pub(crate) async fn see_gone(&self, role: &str, name: &str) -> Seen<()> {
        let start = Instant::now();
        while self.count(role, name).await? > 0 {
            if start.elapsed() > PATIENCE {
                return Err(format!("{role} `{name}` stayed"));
            }
            tokio::time::sleep(BETWEEN).await;
        }
        Ok(())
    }

    /// Presses the first element of a role whose name begins so.
    ///
    /// # Errors
    /// That there is none, or it cannot be pressed.
    pub(crate) async fn press(&self, role: &str, name: &str) -> Seen<()> {
        let mut last = String::new();
        // A list that is just being drawn anew may take the element away under the finger.
        for _ in 0..5 {
            let element = self.see(role, name).await?;
            let arg = serde_json::to_value(&element).map_err(said)?;
            let _ = self.script(AIM, vec![arg.clone()]).await;
            match element.click().await {
                Ok(()) if self.has_arrived(arg).await => return Ok(()),
                Ok(()) => "the driver's click reached nothing".clone_into(&mut last),
                Err(error) => last = error.to_string(),
            }
            tokio::time::sleep(BETWEEN).await;
        }
        Err(format!("{role} `{name}` cannot be pressed: {last}"))
    }

    /// Whether a click came to an element at all: a driver aims at where the element stood, and a page that is still
    /// settling may have moved it since. What the app makes of a click that came is its own affair.
    async fn has_arrived(&self, element: Value) -> bool {
        for _ in 0..5 {
            // A page that has gone on, or an element that is gone, was pressed.
            let missed = self.script(MISSED, vec![element.clone()]).await.unwrap_or_default();
            if missed != Value::Bool(true) {
                return true;
            }
            tokio::time::sleep(BETWEEN).await;
        }
        false
    }

    /// Fills in the field with this label.
    ///
    /// # Errors
    /// That there is none.
    pub(crate) async fn fill(&self, label: &str, text: &str) -> Seen<()> {
        let field = self.see("textbox", label).await?;
        field.clear().await.map_err(said)?;
        field.send_keys(text).await.map_err(said)
    }

    /// Gives a file to the field with this label, which may be hidden behind a button.
    ///
    /// # Errors
    /// That there is none.
    pub(crate) async fn give_file(&self, label: &str, path: &Path) -> Seen<()> {
        let field = self.see("file", label).await?;
        field.send_keys(&path.to_string_lossy()).await.map_err(said)
    }

    /// Waits for a file in the folder for downloads.
    ///
    /// # Errors
    /// That none came.
    pub(crate) async fn downloaded(&self, folder: &Path) -> Seen<PathBuf> {
        let start = Instant::now();
        loop {
            let files = std::fs::read_dir(folder).map_err(said)?.filter_map(Result::ok).map(|entry| entry.path());
            // What is still coming has another ending.
            if let Some(found) = files.into_iter().find(|path| path.extension().is_some_and(|ending| ending == "zip")) {
                return Ok(found);
            }
            if start.elapsed() > PATIENCE {
                return Err("nothing was downloaded".to_owned());
            }
            tokio::time::sleep(BETWEEN).await;
        }
    }

    /// Does what only Chromium's own tools for developers can.
    ///
    /// # Errors
    /// What the browser says.
    pub(crate) async fn devtools(&self, command: &'static str, parameters: Value) -> Seen<Value> {
        self.client.issue_cmd(Devtools { command, parameters }).await.map_err(said)
    }

    /// Waits until the page says this.
    ///
    /// # Errors
    /// That it did not.
    pub(crate) async fn read(&self, words: &str) -> Seen<()> {
        let start = Instant::now();
        loop {
            let page = self.text().await.unwrap_or_default();
            if page.contains(words) {
                return Ok(());
            }
            if start.elapsed() > PATIENCE {
                return Err(format!("the page never says `{words}` but:\n{page:.1200}"));
            }
            tokio::time::sleep(BETWEEN).await;
        }
    }

    /// What is to be read on the page.
    ///
    /// # Errors
    /// What the browser says.
    pub(crate) async fn text(&self) -> Seen<String> {
        Ok(self.script("return document.body.innerText", Vec::new()).await?.as_str().unwrap_or_default().to_owned())
    }

    /// Waits for the one honest word on sync.
    ///
    /// # Errors
    /// That another one stood there.
    pub(crate) async fn sync_says(&self, words: &[&str]) -> Seen<()> {
        let start = Instant::now();
        loop {
            let found = self.script(STATUS, Vec::new()).await.unwrap_or_default();
            let says = found.as_str().unwrap_or_default().to_owned();
            if words.iter().any(|word| says.contains(word)) {
                return Ok(());
            }
            if start.elapsed() > PATIENCE {
                return Err(format!("the word on sync is `{says}`, not one of {words:?}"));
            }
            tokio::time::sleep(BETWEEN).await;
        }
    }

    /// Keeps a picture of the screen in the folder that `TRUG_PICTURES` names, where it does.
    ///
    /// # Errors
    /// What the browser or the disk says.
    pub(crate) async fn picture(&self, name: &str) -> Seen<()> {
        let Some(folder) = std::env::var_os("TRUG_PICTURES").map(PathBuf::from) else { return Ok(()) };
        let png = self.client.screenshot().await.map_err(said)?;
        std::fs::create_dir_all(&folder).map_err(said)?;
        std::fs::write(folder.join(format!("{name}.png")), png).map_err(said)
    }

    /// Waits until the service worker has everything that a start without a network needs.
    ///
    /// # Errors
    /// That it does not.
    pub(crate) async fn is_ready_for_offline(&self) -> Seen<()> {
        let start = Instant::now();
        loop {
            let ready = "return !!(navigator.serviceWorker && navigator.serviceWorker.controller)";
            if self.script(ready, Vec::new()).await.ok() == Some(Value::Bool(true)) {
                return Ok(());
            }
            if start.elapsed() > PATIENCE {
                return Err("no service worker took the page".to_owned());
            }
            tokio::time::sleep(BETWEEN).await;
        }
    }
}

/// A command of the Chrome DevTools Protocol, by the driver's own extension.
#[derive(Debug)]
struct Devtools {
    command: &'static str,
    parameters: Value,
}

impl WebDriverCompatibleCommand for Devtools {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        let body = json!({ "cmd": self.command, "params": self.parameters });
        (http::Method::POST, Some(body.to_string()))
    }
}

impl Drop for Phone {
    fn drop(&mut self) {
        kill_tree(&mut self.driver);
    }
}

/// Kills a driver with the browser that it started.
fn kill_tree(driver: &mut Child) {
    #[cfg(unix)]
    {
        let group = format!("-{}", driver.id());
        let _ = Command::new("kill").args(["-KILL", "--", &group]).stderr(Stdio::null()).status();
    }
    let _ = driver.kill();
    let _ = driver.wait();
}

fn driver(kind: Kind, port: u16, profile: &Path) -> Seen<Child> {
    let mut command = match kind {
        Kind::Chromium => {
            let mut command = Command::new(std::env::var_os("CHROMEDRIVER").unwrap_or_else(|| "chromedriver".into()));
            command.arg(format!("--port={port}"));
            command
        }
        Kind::Firefox => {
            let mut command = Command::new("geckodriver");
            command.arg(format!("--port={port}"));
            command
        }
        Kind::WebKit => {
            let mut command = Command::new("xvfb-run");
            command.args(["--auto-servernum", "--server-args=-screen 0 1400x1000x24", "WebKitWebDriver"]);
            command.arg(format!("--port={port}"));
            // Its store goes into the profile.
            command.env("XDG_DATA_HOME", profile.join("data")).env("XDG_CACHE_HOME", profile.join("cache"));
            command.env("WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS", "1");
            command
        }
    };
    command.stdout(Stdio::null()).stderr(Stdio::null()).stdin(Stdio::null());
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt as _;
        command.process_group(0);
    }
    command.spawn().map_err(|error| format!("{command:?}: {error}"))
}

async fn session(kind: Kind, port: u16, profile: &Path, more: &[&str]) -> Seen<Client> {
    let address = format!("http://127.0.0.1:{port}");
    let wanted = capabilities(kind, profile, more)?;
    let start = Instant::now();
    loop {
        let begun = ClientBuilder::new(HttpConnector::new()).capabilities(wanted.clone()).connect(&address).await;
        match begun {
            Ok(client) => {
                client.set_window_size(SCREEN.0, SCREEN.1).await.map_err(said)?;
                return Ok(client);
            }
            Err(error) if start.elapsed() > PATIENCE => return Err(format!("the browser does not start: {error}")),
            Err(_) => tokio::time::sleep(BETWEEN).await,
        }
    }
}

/// How Chromium is started: quiet, and able to run as root on a build machine.
const CHROMIUM: [&str; 11] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-sync",
    "--disable-background-networking",
    "--disable-component-update",
    "--lang=en-US",
    "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream",
];

fn capabilities(kind: Kind, profile: &Path, more: &[&str]) -> Seen<Capabilities> {
    let data = format!("--user-data-dir={}", profile.join("chromium").display());
    let arguments: Vec<&str> = CHROMIUM.iter().chain(more).copied().chain([data.as_str()]).collect();
    let value = match kind {
        Kind::Chromium => json!({
            "browserName": "chrome",
            "goog:chromeOptions": { "args": arguments },
        }),
        Kind::Firefox => {
            let own = profile.join("firefox");
            std::fs::create_dir_all(&own).map_err(said)?;
            json!({ "browserName": "firefox", "moz:firefoxOptions": { "args": ["-headless", "-profile", own] } })
        }
        Kind::WebKit => json!({
            "browserName": "MiniBrowser",
            "webkitgtk:browserOptions": { "binary": mini_browser()?, "args": ["--automation"] },
        }),
    };
    value.as_object().cloned().ok_or_else(|| "no capabilities".to_owned())
}

/// The small browser lies in the library's folder, whose name has the system's triple in it.
fn mini_browser() -> Seen<PathBuf> {
    let libraries = std::fs::read_dir("/usr/lib").map_err(said)?;
    let folders = libraries.filter_map(Result::ok).map(|entry| entry.path());
    let mut found = folders.map(|folder| folder.join("webkit2gtk-4.1/MiniBrowser")).filter(|path| path.exists());
    found.next().ok_or_else(|| "there is no MiniBrowser: apt-get install webkit2gtk-driver xvfb".to_owned())
}

/// Elements by role and the beginning of the accessible name, as HTML-AAM and accname have them for what the app uses.
const FIND: &str = r#"
const [role, name] = arguments;
const kinds = {
  button: 'button, [role=button], input[type=submit], summary',
  link: 'a[href], [role=link]',
  checkbox: 'input[type=checkbox], [role=checkbox]',
  radio: 'input[type=radio], [role=radio]',
  textbox: 'input:not([type=checkbox]):not([type=radio]):not([type=submit]):not([type=file]), textarea, [role=textbox]',
  combobox: 'select, [role=combobox]',
  group: '[role=group], fieldset, section[aria-labelledby], section[aria-label], [role=region], details',
  dialog: 'dialog[open], [role=dialog]',
  heading: 'h1, h2, h3, h4',
  status: '[role=status]',
  alert: '[role=alert]',
  navigation: 'nav, [role=navigation]',
  file: 'input[type=file]',
};
const text = node => (node ? node.innerText || node.textContent || '' : '').replace(/\s+/g, ' ').trim();
const nameOf = element => {
  const by = element.getAttribute('aria-labelledby');
  if (by) return by.split(' ').map(id => text(document.getElementById(id))).join(' ').trim();
  if (element.getAttribute('aria-label')) return element.getAttribute('aria-label').trim();
  if (element.labels && element.labels.length) return text(element.labels[0]);
  if (element.tagName === 'FIELDSET') return text(element.querySelector('legend'));
  if (element.tagName === 'DETAILS') return text(element.querySelector('summary'));
  return text(element) || element.value || element.title || '';
};
const open = document.querySelector('dialog[open]');
const root = open && role !== 'dialog' ? open : document;
return [...root.querySelectorAll(kinds[role] || `[role=${role}]`)]
  .filter(element => role === 'file' || role === 'status' || element.getClientRects().length || (element.labels && element.labels.length && element.labels[0].getClientRects().length))
  .filter(element => nameOf(element).toLowerCase().startsWith(name.toLowerCase()))
  .slice(0, 600);
"#;

/// What the page says is at work.
const BUSY: &str = "return [...document.querySelectorAll('[aria-busy=true]')].map(one => one.innerText)";

/// Brings an element into the middle of the screen, and notes when it is clicked.
const AIM: &str = "const one = arguments[0]; one.scrollIntoView({block: 'center'}); window.aimed = one; \
    one.addEventListener('click', () => { if (window.aimed === one) window.aimed = null }, {capture: true, once: true})";

/// Whether the element that was aimed at is still there and heard nothing.
const MISSED: &str = "return window.aimed === arguments[0] && arguments[0].isConnected";

/// What the statuses on the page say.
const STATUS: &str = "return [...document.querySelectorAll('[role=status]')].map(one => one.innerText).join(' | ')";
