//! One request to a relay and its answer.
//!
//! No cookies, no cache, no redirects, and an end to waiting: the relay's rules are all in its own headers, and a
//! shop's captive portal must not pass for one.

use std::cell::Cell;
use std::rc::Rc;

use gloo::timers::callback::Timeout;
use js_sys::Uint8Array;
use thiserror::Error;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{
    AbortController, Headers, ReadableStreamDefaultReader, ReferrerPolicy, Request, RequestCache, RequestCredentials,
    RequestInit, RequestMode, RequestRedirect,
};

use super::js;

/// The most that is read of one answer, in bytes. A relay's page is some MiB; what is longer is not a relay's.
pub const BODY_LIMIT: usize = 64 << 20;

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum NetError {
    /// No network, no such host, no trust in its certificate, a redirect, or not allowed to be read from here: a
    /// browser does not tell which.
    #[error("the relay cannot be reached: {0}")]
    Unreachable(String),
    /// No whole answer in the time given.
    #[error("the relay did not answer in time")]
    TimedOut,
    /// The answer is longer than [`BODY_LIMIT`].
    #[error("the relay's answer is too long")]
    TooLarge,
    /// The address, a header or the method is none.
    #[error("the request cannot be made: {0}")]
    Malformed(String),
}

/// An answer, read to its end.
#[derive(Debug)]
pub struct Response {
    /// The status, 100 to 599.
    pub status: u16,
    /// The body.
    pub body: Vec<u8>,
    headers: Headers,
}

impl Response {
    /// A header, whatever the case of its name, where the answer has it and lets it be read.
    #[must_use]
    pub fn header(&self, name: &str) -> Option<String> {
        self.headers.get(name).ok().flatten()
    }
}

/// Sends one request and reads its answer within `timeout_ms` milliseconds. Dropping the future gives it up.
///
/// # Errors
///
/// [`NetError`]; a status of any kind is no error.
pub async fn send(
    method: &str,
    url: &str,
    headers: &[(&str, &str)],
    body: Option<Vec<u8>>,
    timeout_ms: u32,
) -> Result<Response, NetError> {
    let deadline = Deadline::new(timeout_ms)?;
    let request = request(method, url, headers, body, &deadline.controller)?;
    exchange(&request).await.map_err(|error| if deadline.passed.get() { NetError::TimedOut } else { error })
}

/// Gives a request up when time is over, or when nobody waits for it any longer.
struct Deadline {
    controller: AbortController,
    passed: Rc<Cell<bool>>,
    _timer: Timeout,
}

impl Deadline {
    fn new(timeout_ms: u32) -> Result<Self, NetError> {
        let controller = AbortController::new().map_err(malformed)?;
        let passed = Rc::new(Cell::new(false));
        let timer = Timeout::new(timeout_ms, {
            let (controller, passed) = (controller.clone(), passed.clone());
            move || {
                passed.set(true);
                controller.abort();
            }
        });
        Ok(Self { controller, passed, _timer: timer })
    }
}

impl Drop for Deadline {
    fn drop(&mut self) {
        // Does nothing to a request that is answered.
        self.controller.abort();
    }
}

fn request(
    method: &str,
    url: &str,
    headers: &[(&str, &str)],
    body: Option<Vec<u8>>,
    controller: &AbortController,
) -> Result<Request, NetError> {
    let fields = Headers::new().map_err(malformed)?;
    for (name, value) in headers {
        fields.set(name, value).map_err(malformed)?;
    }
    let options = RequestInit::new();
    options.set_method(method);
    options.set_headers(&fields);
    options.set_mode(RequestMode::Cors);
    options.set_credentials(RequestCredentials::Omit);
    options.set_cache(RequestCache::NoStore);
    options.set_redirect(RequestRedirect::Error);
    options.set_referrer_policy(ReferrerPolicy::NoReferrer);
    options.set_signal(Some(&controller.signal()));
    if let Some(body) = body {
        options.set_body(&Uint8Array::from(body.as_slice()));
    }
    Request::new_with_str_and_init(url, &options).map_err(malformed)
}

async fn exchange(request: &Request) -> Result<Response, NetError> {
    let window = js::window().ok_or_else(|| NetError::Malformed("there is no window".to_owned()))?;
    let answer = JsFuture::from(window.fetch_with_request(request)).await.map_err(unreachable)?;
    let answer: web_sys::Response = answer.unchecked_into();
    let headers = answer.headers();
    let body = read(&answer).await?;
    Ok(Response { status: answer.status(), body, headers })
}

async fn read(answer: &web_sys::Response) -> Result<Vec<u8>, NetError> {
    let Some(stream) = answer.body() else { return Ok(Vec::new()) };
    let reader: ReadableStreamDefaultReader = stream.get_reader().unchecked_into();
    let mut body = Vec::new();
    loop {
        let piece = JsFuture::from(reader.read()).await.map_err(unreachable)?;
        let Some(bytes) = js::get(&piece, "value") else { return Ok(body) };
        let bytes: Uint8Array = bytes.unchecked_into();
        let start = body.len();
        if start + bytes.length() as usize > BODY_LIMIT {
            return Err(NetError::TooLarge);
        }
        body.resize(start + bytes.length() as usize, 0);
        if let Some(room) = body.get_mut(start..) {
            bytes.copy_to(room);
        }
    }
}

fn malformed(error: JsValue) -> NetError {
    NetError::Malformed(js::error_text(&error))
}

fn unreachable(error: JsValue) -> NetError {
    NetError::Unreachable(js::error_text(&error))
}
