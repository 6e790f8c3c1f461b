//! Giving something out of the app: the phone's share sheet, a download, the clipboard, a printer.

use gloo::timers::callback::Timeout;
use js_sys::{Array, Uint8Array};
use thiserror::Error;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{Blob, BlobPropertyBag, File, FilePropertyBag, HtmlAnchorElement, Url};

use super::js;

/// How long a browser may take to fetch what is downloaded, in milliseconds.
const DOWNLOAD_TIME: u32 = 60_000;

/// Something that can be given out as a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Parcel {
    /// The file's name with its ending; share sheets judge a file by it.
    pub name: String,
    /// Its media type, such as `application/zip`.
    pub kind: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

/// What has become of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Given to the app that the person chose.
    Shared,
    /// Saved with the browser's downloads.
    Downloaded,
    /// The person changed their mind.
    Cancelled,
}

/// Why it could not be given out.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ShareError {
    /// This browser cannot, or may not here.
    #[error("this browser does not offer that here")]
    Unsupported,
    /// It could not, in the browser's own words.
    #[error("the browser refused: {0}")]
    Refused(String),
}

/// Whether the phone's share sheet takes such a file.
#[must_use]
pub fn can_share(parcel: &Parcel) -> bool {
    file(parcel).is_ok_and(|file| accepts(&data_of_file(&file, "")))
}

/// Gives a file to the share sheet where that takes it, and downloads it where it does not. Call it from a tap:
/// browsers open the sheet for nothing else.
///
/// # Errors
///
/// `Refused`.
pub async fn give(parcel: &Parcel, title: &str) -> Result<Outcome, ShareError> {
    let data = data_of_file(&file(parcel)?, title);
    if !accepts(&data) {
        return download(parcel).map(|()| Outcome::Downloaded);
    }
    match open_sheet(&data).await {
        Err(ShareError::Refused(_)) => download(parcel).map(|()| Outcome::Downloaded),
        outcome => outcome,
    }
}

/// Gives a link to the share sheet.
///
/// # Errors
///
/// `Unsupported` (offer to copy it instead), `Refused`.
pub async fn give_link(url: &str, title: &str) -> Result<Outcome, ShareError> {
    let data = js::object(&[("url", url.into()), ("title", title.into())]).into();
    if !accepts(&data) {
        return Err(ShareError::Unsupported);
    }
    open_sheet(&data).await
}

/// Saves a file with the browser's downloads.
///
/// # Errors
///
/// `Refused`.
pub fn download(parcel: &Parcel) -> Result<(), ShareError> {
    let options = BlobPropertyBag::new();
    options.set_type(&parcel.kind);
    let blob = Blob::new_with_u8_array_sequence_and_options(&parts(parcel), &options).map_err(refused)?;
    let url = Url::create_object_url_with_blob(&blob).map_err(refused)?;
    let clicked = click(&url, &parcel.name);
    // Later, not now: the browser may still have to fetch it.
    Timeout::new(DOWNLOAD_TIME, move || {
        let _ = Url::revoke_object_url(&url);
    })
    .forget();
    clicked.ok_or(ShareError::Unsupported)
}

/// Puts text on the clipboard. Call it from a tap.
///
/// # Errors
///
/// `Unsupported`, `Refused`.
pub async fn copy(text: &str) -> Result<(), ShareError> {
    js::ask(&clipboard()?, "writeText", &[text.into()]).await.map(|_| ()).map_err(refused)
}

/// The text on the clipboard. Call it from a tap; most browsers ask the person.
///
/// # Errors
///
/// `Unsupported` (offer a field to paste into), `Refused`.
pub async fn pasted() -> Result<String, ShareError> {
    let text = js::ask(&clipboard()?, "readText", &[]).await.map_err(refused)?;
    Ok(text.as_string().unwrap_or_default())
}

/// Opens the print dialogue for what the page shows.
///
/// # Errors
///
/// `Refused`.
pub fn print() -> Result<(), ShareError> {
    js::window().ok_or(ShareError::Unsupported)?.print().map_err(refused)
}

fn clipboard() -> Result<JsValue, ShareError> {
    // Absent where the page did not come over a secure connection.
    js::navigator().and_then(|navigator| js::get(&navigator, "clipboard")).ok_or(ShareError::Unsupported)
}

fn parts(parcel: &Parcel) -> Array {
    Array::of1(&Uint8Array::from(parcel.bytes.as_slice()))
}

fn file(parcel: &Parcel) -> Result<File, ShareError> {
    let options = FilePropertyBag::new();
    options.set_type(&parcel.kind);
    File::new_with_u8_array_sequence_and_options(&parts(parcel), &parcel.name, &options).map_err(refused)
}

fn data_of_file(file: &File, title: &str) -> JsValue {
    js::object(&[("files", Array::of1(file).into()), ("title", title.into())]).into()
}

fn accepts(data: &JsValue) -> bool {
    js::navigator()
        .and_then(|navigator| js::call(&navigator, "canShare", std::slice::from_ref(data)).ok())
        .is_some_and(|answer| answer.is_truthy())
}

async fn open_sheet(data: &JsValue) -> Result<Outcome, ShareError> {
    let navigator = js::navigator().ok_or(ShareError::Unsupported)?;
    match js::ask(&navigator, "share", std::slice::from_ref(data)).await {
        Ok(_) => Ok(Outcome::Shared),
        Err(error) if js::error_name(&error) == "AbortError" => Ok(Outcome::Cancelled),
        Err(error) => Err(refused(error)),
    }
}

fn click(url: &str, name: &str) -> Option<()> {
    let document = js::document()?;
    let anchor: HtmlAnchorElement = document.create_element("a").ok()?.dyn_into().ok()?;
    anchor.set_href(url);
    anchor.set_download(name);
    // Some browsers only follow a link that is in the page.
    document.body()?.append_child(&anchor).ok()?;
    anchor.click();
    anchor.remove();
    Some(())
}

fn refused(error: JsValue) -> ShareError {
    ShareError::Refused(js::error_text(&error))
}
