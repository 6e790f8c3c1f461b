//! How quick the app is on a processor four times slower, as Chromium emulates one: `cargo xtask bench app`.

use serde_json::json;

use crate::browser::{Phone, Seen, Shop};
use crate::ways::with_long_list;
use crate::{TURN, first_line};

/// How often a start is measured, and a tap.
const STARTS: usize = 9;
const TAPS: usize = 40;
/// Notes when the first line of the list is there and was painted, in milliseconds from the navigation's start.
const WATCH: &str = "const look = () => document.querySelector('main input[type=checkbox]') \
    ? requestAnimationFrame(() => setTimeout(() => { window.usable = performance.now() }, 0)) \
    : requestAnimationFrame(look); look()";
/// From a tap to the frame that shows it, in milliseconds.
const TAP: &str = "const done = arguments[arguments.length - 1]; \
    const box = document.querySelectorAll('main input[type=checkbox]:not(:checked)')[arguments[0]]; \
    const from = performance.now(); box.click(); \
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - from), 0))";

/// The value that this share of all is not above.
fn at(sorted: &[f64], share: f64) -> f64 {
    let index = (sorted.len() as f64 * share).ceil() as usize;
    sorted.get(index.saturating_sub(1)).copied().unwrap_or_default()
}

async fn start(phone: &Phone, shop: &Shop) -> Seen<f64> {
    phone.open(&shop.address()).await?;
    first_line(phone).await?;
    tokio::time::sleep(std::time::Duration::from_millis(1500)).await;
    let usable = phone.script("return window.usable", Vec::new()).await?;
    usable.as_f64().ok_or_else(|| "the list did not come".to_owned())
}

#[tokio::test]
#[ignore = "a measurement: cargo xtask bench app"]
async fn a_list_of_400_lines_opens_and_ticks_quickly() {
    let _turn = TURN.lock().await;
    let mut shop = Shop::open().unwrap();
    let phone = with_long_list(&shop).await.unwrap();
    phone.is_ready_for_offline().await.unwrap();
    phone.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": WATCH })).await.unwrap();
    phone.devtools("Emulation.setCPUThrottlingRate", json!({ "rate": 4 })).await.unwrap();
    shop.kill();
    let mut starts = Vec::new();
    for _ in 0..STARTS {
        starts.push(start(&phone, &shop).await.unwrap());
    }
    let mut taps = Vec::new();
    for tap in 0..TAPS {
        let took = phone.client().execute_async(TAP, vec![json!(tap * 3)]).await.unwrap();
        taps.push(took.as_f64().unwrap());
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    }
    starts.sort_by(f64::total_cmp);
    taps.sort_by(f64::total_cmp);
    println!(
        "cold start with no network to a list of 400 lines: median {:.0} ms, least {:.0}, most {:.0}; budget 1000",
        at(&starts, 0.5),
        at(&starts, 0.0),
        at(&starts, 1.0)
    );
    println!("tap to painted tick, 400 lines: median {:.0} ms, p95 {:.0}; budget 50", at(&taps, 0.5), at(&taps, 0.95));
}
