//! How quick the app is on a processor four times slower, as Chromium emulates one: `cargo xtask bench app`.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use trug_device::sync::Instant;
use trug_device::{Device, DocId, Effect, Event, Plan};
use trug_folder::Files;
use trug_replica::id::Stamp;
use trug_replica::run::{Line, Pick, Quantity, Run, Taken};

use crate::browser::{Phone, Seen, Shop};
use crate::ways::{large_kitchen, with_long_list};
use crate::{TURN, first_line, kind};

/// How often a start is measured, and a tap.
const STARTS: usize = 9;
const TAPS: usize = 40;
/// A year: so many trips are over, and so much of each was picked.
const TRIPS: usize = 52;
const PICKS: usize = 250;
const LINES: usize = 400;
/// Notes when the first line of the list is there and was painted, in milliseconds from the navigation's start.
const WATCH: &str = "const look = () => document.querySelector('main input[type=checkbox]') \
    ? requestAnimationFrame(() => setTimeout(() => { window.usable = performance.now() }, 0)) \
    : requestAnimationFrame(look); look()";
/// Notes how long each tap took until the next frame was painted, by the W3C's Event Timing, which counts in steps of 8 ms
/// and holds all events of one tap together by their `interactionId`.
const LISTEN: &str = "window.taps = new Map(); new PerformanceObserver(list => list.getEntries() \
    .filter(entry => entry.interactionId) \
    .forEach(entry => taps.set(entry.interactionId, Math.max(taps.get(entry.interactionId) || 0, entry.duration)))) \
    .observe({ type: 'event', durationThreshold: 16 })";
/// Where the middle of an open box is, once it stands in the middle of the screen.
const PLACE: &str = "const box = document.querySelectorAll('main input[type=checkbox]:not(:checked)')[arguments[0]]; \
    box.scrollIntoView({ block: 'center' }); const { x, y, width, height } = box.getBoundingClientRect(); \
    return [x + width / 2, y + height / 2]";
/// Puts records into the app's database, before the app has opened it.
const KEEP: &str = "const [records, done] = arguments; const asked = indexedDB.open('trug', 1); \
    asked.onupgradeneeded = () => asked.result.createObjectStore('records'); \
    asked.onsuccess = () => { const all = asked.result.transaction('records', 'readwrite'); \
      for (const [key, text] of records) \
        all.objectStore('records').put(Uint8Array.from(atob(text), letter => letter.charCodeAt(0)), key); \
      all.oncomplete = () => { asked.result.close(); done('kept') }; all.onerror = () => done(String(all.error)) }; \
    asked.onerror = () => done(String(asked.error))";

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

/// Starts cold without a network, several times on a slow processor.
async fn starts(phone: &Phone, shop: &mut Shop) -> Seen<()> {
    phone.is_ready_for_offline().await?;
    phone.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": WATCH })).await?;
    phone.devtools("Emulation.setCPUThrottlingRate", json!({ "rate": 4 })).await?;
    shop.kill();
    let mut starts = Vec::new();
    for _ in 0..STARTS {
        starts.push(start(phone, shop).await?);
    }
    starts.sort_by(f64::total_cmp);
    let (median, least, most) = (at(&starts, 0.5), at(&starts, 0.0), at(&starts, 1.0));
    println!("to a list of {LINES} lines: median {median:.0} ms, least {least:.0}, most {most:.0}; budget 1000");
    Ok(())
}

/// Taps one box after another with a finger.
async fn taps(phone: &Phone) -> Seen<Vec<f64>> {
    phone.devtools("Emulation.setTouchEmulationEnabled", json!({ "enabled": true })).await?;
    phone.script(LISTEN, Vec::new()).await?;
    for tap in 0..TAPS {
        let place = phone.script(PLACE, vec![json!(tap * 3)]).await?;
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
        phone.devtools("Input.synthesizeTapGesture", json!({ "x": place[0], "y": place[1] })).await?;
        tokio::time::sleep(std::time::Duration::from_millis(400)).await;
    }
    let taps = phone.script("return [...taps.values()]", Vec::new()).await?;
    let mut taps: Vec<f64> = taps.as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
    // What took less than the least that is told is not told.
    taps.resize(taps.len().max(TAPS), 16.0);
    taps.sort_by(f64::total_cmp);
    Ok(taps)
}

#[tokio::test]
#[ignore = "a measurement: cargo xtask bench app"]
async fn a_list_of_400_lines_opens_and_ticks_quickly() {
    let _turn = TURN.lock().await;
    let mut shop = Shop::open().unwrap();
    let phone = with_long_list(&shop).await.unwrap();
    println!("cold start with no network, one trip:");
    starts(&phone, &mut shop).await.unwrap();
    let taps = taps(&phone).await.unwrap();
    let (median, most) = (at(&taps, 0.5), at(&taps, 0.95));
    println!("tap to painted tick, {LINES} lines: median {median:.0} ms, p95 {most:.0}; budget 50");
}

/// A phone's disk after a year: the trips of all weeks, and one that is open.
struct Year {
    device: Device,
    disk: BTreeMap<String, Vec<u8>>,
}

/// A day in 2026; nothing here depends on which.
const NOW: Instant = Instant(1_772_000_000_000);

impl Year {
    fn open(disk: BTreeMap<String, Vec<u8>>) -> Self {
        let mut out = Vec::new();
        let device = Device::open(disk.clone().into_iter().collect(), 7, true, NOW, &mut out).unwrap();
        let mut year = Self { device, disk };
        year.carry_out(out);
        year
    }

    fn act<R>(&mut self, act: impl FnOnce(&mut Device, &mut Vec<Effect>) -> R) -> R {
        let mut out = Vec::new();
        let done = act(&mut self.device, &mut out);
        self.carry_out(out);
        done
    }

    fn carry_out(&mut self, mut effects: Vec<Effect>) {
        while !effects.is_empty() {
            let mut next = Vec::new();
            for effect in effects {
                match effect {
                    Effect::Store { ticket, key, bytes } => {
                        self.disk.insert(key, bytes);
                        self.device.handle(NOW, Event::Stored(ticket), &mut next);
                    }
                    Effect::Delete(key) => drop(self.disk.remove(&key)),
                    _ => {}
                }
            }
            effects = next;
        }
    }

    fn shop(&mut self, trip: &DocId) {
        let lines = self.device.run(trip).unwrap().view().lines;
        for view in lines.into_iter().take(PICKS) {
            let want = view.line.as_deref().and_then(Line::want);
            let what = Taken::Got { amount: Quantity::Whole(want), packs: Vec::new(), price: None };
            let pick = Pick { line: view.id, what, at: Stamp(0), store: None, aliases: Vec::new(), label: None };
            self.act(|device, out| device.edit(NOW, trip, |run: &mut Run| run.pick(&pick), out)).unwrap();
        }
    }
}

/// What a chef's phone has on its disk after a year.
fn a_year() -> Vec<Value> {
    let mut files = Files::new();
    for (path, text) in large_kitchen(LINES) {
        files.insert(path, text.into_bytes()).unwrap();
    }
    let mut year = Year::open(BTreeMap::new());
    year.act(|device, out| device.import(NOW, &files, out)).unwrap();
    let (kitchen, _) = year.device.kitchen().unwrap();
    let plan = Plan { week: "2026-W10".to_owned(), households: Vec::new(), store: None };
    for week in 0..=TRIPS {
        let title = format!("Week {week}");
        let trip = year.act(|device, out| device.start_trip(NOW, &kitchen, &plan, &title, out)).unwrap();
        if week < TRIPS {
            year.shop(&trip);
            year.act(|device, out| device.set_finished(NOW, &trip, true, out)).unwrap();
        }
        if week % 4 == 3 {
            // A phone starts the app anew now and then.
            year = Year::open(year.disk);
        }
    }
    let bytes: usize = year.disk.values().map(Vec::len).sum();
    println!("a year on the phone's disk: {} records, {} KB", year.disk.len(), bytes >> 10);
    year.disk.iter().map(|(key, bytes)| json!([key, STANDARD.encode(bytes)])).collect()
}

#[tokio::test]
#[ignore = "a measurement: cargo xtask bench app"]
async fn a_list_opens_quickly_after_a_year() {
    let _turn = TURN.lock().await;
    let mut shop = Shop::open().unwrap();
    let phone = Phone::new(kind()).await.unwrap();
    // A page of the same origin that does not start the app.
    phone.open(&format!("{}manifest.webmanifest", shop.address())).await.unwrap();
    let kept = phone.client().execute_async(KEEP, vec![Value::Array(a_year())]).await.unwrap();
    assert_eq!(kept, json!("kept"));
    phone.open(&shop.address()).await.unwrap();
    first_line(&phone).await.unwrap();
    println!("cold start with no network, after {TRIPS} trips:");
    starts(&phone, &mut shop).await.unwrap();
}
