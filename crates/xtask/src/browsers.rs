//! What needs real browsers: the app's own tests in WebAssembly, and the app as a person uses it.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::run::{StepError, cargo, step};
use crate::test::{BROWSERS, Counts, WASM, counted, succeeds};
use crate::web::{self, Form, WebError};

/// A browser, what shows that it is there, and the system's packages that bring it.
struct Needed {
    what: &'static str,
    programs: &'static [&'static str],
    packages: &'static str,
}

const NEEDED: [Needed; 3] = [
    Needed { what: "Node with npm", programs: &["node", "npm"], packages: "nodejs npm" },
    Needed {
        what: "Chromium with its driver",
        programs: &["chromium", "chromedriver"],
        packages: "chromium chromium-driver",
    },
    Needed {
        what: "WebKitGTK with its driver",
        programs: &["WebKitWebDriver", "xvfb-run"],
        packages: "webkit2gtk-driver xvfb",
    },
];

/// [published: axe-core, the rules engine for WCAG]
const AXE: &str = "axe-core@4.14.1";

/// Adds the browsers with the system's package manager, or says what to type.
pub(crate) fn require() -> Result<(), StepError> {
    for needed in &NEEDED {
        let present = || needed.programs.iter().all(|program| succeeds(Command::new("which").arg(program)));
        if present() {
            continue;
        }
        let line = format!("apt-get update && apt-get install --yes {}", needed.packages);
        println!("\n{} is missing: {line}", needed.what);
        let mut install = Command::new("sh");
        install.args(["-c", &line]).env("DEBIAN_FRONTEND", "noninteractive").stdin(Stdio::null());
        // Whether it helped is asked again.
        let _ = install.status();
        if !present() {
            return Err(StepError::Missing { step: "tools".to_owned(), what: needed.what.to_owned(), line });
        }
    }
    Ok(())
}

/// The program that carries the app, once it is built.
pub(crate) fn trug() -> Result<PathBuf, WebError> {
    Ok(web::target_directory()?.join("debug/trug"))
}

/// The rules of accessibility that the app is held against, from the registry.
pub(crate) fn axe() -> Result<PathBuf, WebError> {
    let folder = web::target_directory()?.join("axe");
    let rules = folder.join("node_modules/axe-core/axe.min.js");
    if !rules.exists() {
        std::fs::create_dir_all(&folder).map_err(|source| WebError::write(&folder, source))?;
        let mut npm = Command::new("npm");
        npm.args(["install", "--no-audit", "--no-fund", "--no-save", AXE, "--prefix"]).arg(&folder);
        step("axe", &mut npm)?;
    }
    Ok(rules)
}

/// Runs something that is no test of its own, such as a measurement, with the app as it is shipped.
pub(crate) fn with_small_app(what: &str, pictures: Option<&Path>) -> Result<(), WebError> {
    let app = web::build(Form::Small)?;
    let mut build = cargo(&["test", "--workspace", BROWSERS, "--no-run"]);
    step("trug with the app", build.env("TRUG_WEB_DIST", &app))?;
    let mut run = cargo(&["test", "--workspace", BROWSERS, "--test", "app", "--", "--ignored", "--nocapture", what]);
    run.env("TRUG_WEB_DIST", app).env("TRUG_APP", trug()?).envs(pictures.map(|folder| ("TRUG_PICTURES", folder)));
    step(what, &mut run)?;
    Ok(())
}

/// Runs the app's parts in WebAssembly, then all of the app in WebKit; in Chromium it has run with all other tests.
pub(crate) fn run(app: &Path, counts: &mut Counts) -> Result<(), WebError> {
    let mut parts = cargo(&["test", "--package", "trug-web", "--target", WASM, "--tests", "--no-fail-fast"]);
    parts.env("CHROMEDRIVER", "/usr/bin/chromedriver").env("WASM_BINDGEN_TEST_TIMEOUT", "120");
    parts.env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUNNER", trug()?.with_file_name("wasm-test-runner"));
    counted("the app's parts", parts, counts)?;
    in_browser("the app in WebKit", "webkit", app, counts)?;
    // No system's package brings Firefox's driver: it is tried where both are there.
    let there = |program: &str| succeeds(Command::new("which").arg(program));
    if there("geckodriver") && (there("firefox") || there("firefox-esr")) {
        in_browser("the app in Firefox", "firefox", app, counts)?;
    } else {
        counts
            .not_run
            .push("the app in Firefox, which wants firefox and geckodriver (cargo install geckodriver)".to_owned());
    }
    Ok(())
}

fn in_browser(name: &str, browser: &str, app: &Path, counts: &mut Counts) -> Result<(), WebError> {
    let mut whole = cargo(&["test", "--workspace", BROWSERS, "--test", "app"]);
    whole.env("TRUG_WEB_DIST", app).env("TRUG_APP", trug()?).env("TRUG_BROWSER", browser).env("TRUG_AXE", axe()?);
    counted(name, whole, counts)?;
    Ok(())
}
