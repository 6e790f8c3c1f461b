//! Everything that this browser keeps, as it is: for when nothing else opens.

use std::fmt::Write;

use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use super::archive;
use super::folder::given;
use super::page::{Outcome, Saying};
use crate::desk::NAME;
use crate::look::{Button, Shape};
use crate::platform::share::Parcel;
use crate::platform::storage::Store;
use crate::words::t;

/// Hands over everything that this browser keeps, as it is. It reads the database itself and needs nothing else of the
/// app, so that it works where the app does not open.
#[component]
pub fn RawExport() -> Html {
    let outcome = use_state(|| None::<Outcome>);
    let save = {
        let outcome = outcome.setter();
        Callback::from(move |_: MouseEvent| {
            let outcome = outcome.clone();
            spawn_local(async move { outcome.set(given(records().await, &t!("error.export")).await) });
        })
    };
    html! {
        <div class="stack">
            <p>{ t!("error.export_text") }</p>
            <div class="strip"><Button label={t!("error.export")} icon={Shape::Send} on_press={save} /></div>
            <Saying outcome={(*outcome).clone()} />
        </div>
    }
}

async fn records() -> Result<Parcel, String> {
    let store = Store::open(NAME).await.map_err(|error| error.to_string())?;
    let records = store.load_all().await.map_err(|error| error.to_string())?;
    let text = lines(&records);
    let bytes = archive::pack([("records.txt", text.as_bytes())]).map_err(|error| error.to_string())?;
    Ok(Parcel { name: "trug-records.zip".to_owned(), kind: "application/zip".to_owned(), bytes })
}

/// One record a line: its key, a tab, and its bytes in hexadecimal.
fn lines(records: &[(String, Vec<u8>)]) -> String {
    let mut text = String::new();
    for (key, bytes) in records {
        text.push_str(key);
        text.push('\t');
        for byte in bytes {
            // Writing to a String cannot fail.
            let _ = write!(text, "{byte:02x}");
        }
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::lines;

    #[test]
    fn each_record_is_a_line() {
        let records = [("a/b".to_owned(), vec![0, 255, 16]), ("c".to_owned(), Vec::new())];
        assert_eq!(lines(&records), "a/b\t00ff10\nc\t\n");
    }
}
