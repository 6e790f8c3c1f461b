//! `cargo xtask start`: the app and its relay on this machine.

use std::net::SocketAddr;

use crate::run::{StepError, cargo, step};
use crate::web::{self, Form, WebError};

/// Where it listens unless told otherwise.
pub(crate) const LISTEN: &str = "127.0.0.1:8080";

/// How to start.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Start {
    /// How much is done for few bytes.
    pub form: Form,
    /// Where to listen.
    pub listen: Option<SocketAddr>,
}

/// What keeps the app from starting.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StartError {
    /// The app cannot be built.
    #[error(transparent)]
    Web(#[from] WebError),
    /// A step failed.
    #[error(transparent)]
    Step(#[from] StepError),
}

/// Builds the app, puts it into `trug`, and serves it until it is stopped. The relay keeps what it is sent in cargo's
/// target folder, so that it is there the next time.
pub(crate) fn run(start: &Start) -> Result<(), StartError> {
    let app = web::build(start.form)?;
    let data = app.with_file_name("start");
    step("build", cargo(&["build", "--package", "trug"]).env("TRUG_WEB_DIST", &app))?;
    let listen = start.listen.map_or_else(|| LISTEN.to_owned(), |listen| listen.to_string());
    let serve = format!("trug serve --listen {listen}");
    let mut command = cargo(&["run", "--quiet", "--package", "trug", "--", "serve", "--listen", &listen, "--data"]);
    step(&serve, command.arg(data).env("TRUG_WEB_DIST", &app))?;
    Ok(())
}
