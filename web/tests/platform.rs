//! The browser's side in a real browser. On any other target there is nothing to test.
#![cfg(target_arch = "wasm32")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic here is a failed check")]

use std::cell::{Cell, RefCell};
use std::pin::Pin;
use std::rc::Rc;
use std::task::{Context, Poll, Waker};

use js_sys::{Array, Uint8Array};
use trug_web::platform::camera::{self, Camera};
use trug_web::platform::http::{self, NetError};
use trug_web::platform::install::{Answer, Install};
use trug_web::platform::live::{Event, Live, LiveError};
use trug_web::platform::locale::{DateForm, Join, Locale};
use trug_web::platform::storage::{self, StorageError, Store, Write};
use trug_web::platform::tabs::{Message, Tabs, Tag};
use trug_web::platform::wake::Awake;
use trug_web::platform::{address, clock, files, locale, locks, online, persist, random, updates};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_test::{wasm_bindgen_test, wasm_bindgen_test_configure};
use web_sys::{Blob, HtmlVideoElement, IdbOpenDbRequest};

wasm_bindgen_test_configure!(run_in_browser);

/// Polls a future by hand, to give it up half way.
fn poll_once<F: Future>(future: Pin<&mut F>) -> Poll<F::Output> {
    future.poll(&mut Context::from_waker(Waker::noop()))
}

fn put(key: &str, bytes: &[u8]) -> Write {
    Write::Put(key.to_owned(), bytes.to_vec())
}

fn keys(records: &[(String, Vec<u8>)]) -> Vec<&str> {
    records.iter().map(|(key, _)| key.as_str()).collect()
}

/// A database of this name that was not there before.
async fn fresh(name: &str) -> Store {
    storage::wipe(name).await.unwrap();
    Store::open(name).await.unwrap()
}

/// Waits until something has come about, two seconds at most.
async fn until(done: impl Fn() -> bool) {
    for _ in 0..200 {
        if done() {
            return;
        }
        clock::sleep(10).await;
    }
    panic!("it did not come about in time");
}

fn open_raw(name: &str, version: u32) -> IdbOpenDbRequest {
    let factory = web_sys::window().unwrap().indexed_db().unwrap().unwrap();
    factory.open_with_u32(name, version).unwrap()
}

async fn opened(request: &IdbOpenDbRequest) -> web_sys::IdbDatabase {
    let database = || request.result().ok().and_then(|result| result.dyn_into().ok());
    until(|| database().is_some()).await;
    database().unwrap()
}

#[wasm_bindgen_test]
async fn what_is_written_is_read_again_after_opening_anew() {
    let store = fresh("round").await;
    store.write(vec![put("run/b", &[2, 0, 255]), put("run/a", &[]), put("book/a", b"x")]).await.unwrap();
    store.write(vec![Write::Delete("book/a".to_owned()), put("run/b", &[3])]).await.unwrap();
    store.write(Vec::new()).await.unwrap();
    let again = Store::open("round").await.unwrap();
    let all = again.load_all().await.unwrap();
    assert_eq!(all, [("run/a".to_owned(), vec![]), ("run/b".to_owned(), vec![3])]);
}

#[wasm_bindgen_test]
async fn a_prefix_finds_its_own_and_no_more() {
    let store = fresh("prefix").await;
    let names = ["run", "run/", "run/1", "run/9é", "run0", "ru", "runs/1"];
    store.write(names.iter().map(|name| put(name, name.as_bytes())).collect()).await.unwrap();
    assert_eq!(keys(&store.load_prefix("run/").await.unwrap()), ["run/", "run/1", "run/9é"]);
    assert!(store.load_prefix("pantry/").await.unwrap().is_empty());
}

#[wasm_bindgen_test]
async fn more_records_than_a_page_come_whole_and_in_order() {
    let store = fresh("pages").await;
    let key = |i: u32| format!("run/{i:05}");
    store.write((0..4_500).map(|i| put(&key(i), &i.to_le_bytes())).collect()).await.unwrap();
    for all in [store.load_all().await.unwrap(), store.load_prefix("run/").await.unwrap()] {
        assert_eq!(all.len(), 4_500);
        assert!(all.iter().zip(0..).all(|((k, bytes), i)| *k == key(i) && *bytes == i.to_le_bytes()));
    }
}

#[wasm_bindgen_test]
async fn a_database_erased_elsewhere_is_lost_and_not_begun_again() {
    let store = fresh("erased").await;
    store.write(vec![put("a", b"1")]).await.unwrap();
    storage::wipe("erased").await.unwrap();
    assert_eq!(store.write(vec![put("b", b"2")]).await, Err(StorageError::Lost));
    assert_eq!(store.load_all().await, Err(StorageError::Lost));
    assert!(Store::open("erased").await.unwrap().load_all().await.unwrap().is_empty());
}

#[wasm_bindgen_test]
async fn a_wiped_store_is_lost_to_itself() {
    let store = fresh("wiped").await;
    store.wipe().await.unwrap();
    assert_eq!(store.clone().write(vec![put("b", b"2")]).await, Err(StorageError::Lost));
}

#[wasm_bindgen_test]
async fn a_newer_database_is_left_alone() {
    let store = fresh("newer").await;
    // Another tab brings it to a newer version: this one lets go, and then knows that it is too old.
    let newer = opened(&open_raw("newer", 7)).await;
    assert_eq!(store.write(vec![put("a", b"1")]).await, Err(StorageError::Newer));
    assert_eq!(Store::open("newer").await.err(), Some(StorageError::Newer));
    newer.close();
}

#[wasm_bindgen_test]
async fn a_tab_that_does_not_let_go_blocks() {
    storage::wipe("blocked").await.unwrap();
    let holder = opened(&open_raw("blocked", 1)).await;
    assert_eq!(storage::wipe("blocked").await, Err(StorageError::Blocked));
    holder.close();
}

#[wasm_bindgen_test]
async fn a_lock_is_held_by_one_at_a_time() {
    assert!(locks::supported());
    let first = locks::hold("sync").await.unwrap();
    assert!(first.guards());
    assert!(locks::try_hold("sync").await.unwrap().is_none());
    assert!(locks::try_hold("other").await.unwrap().is_some());
    drop(first);
    let second = locks::hold("sync").await.unwrap();
    assert!(second.guards());
}

#[wasm_bindgen_test]
async fn waiting_for_a_lock_ends_when_it_is_given_back_or_given_up() {
    let first = locks::hold("queue").await.unwrap();
    let mut given_up = Box::pin(locks::hold("queue"));
    assert!(poll_once(given_up.as_mut()).is_pending());
    let got = Rc::new(Cell::new(false));
    wasm_bindgen_futures::spawn_local({
        let got = got.clone();
        async move {
            let lock = locks::hold("queue").await.unwrap();
            got.set(true);
            drop(lock);
        }
    });
    clock::sleep(30).await;
    assert!(!got.get());
    drop(given_up);
    drop(first);
    until(|| got.get()).await;
}

#[wasm_bindgen_test]
async fn tabs_hear_each_other_but_not_themselves() {
    let heard = Rc::new(RefCell::new(Vec::new()));
    let listen = |who: &'static str| {
        let heard = heard.clone();
        move |message: Message| heard.borrow_mut().push((who, message))
    };
    let one = Tabs::open("tabs", listen("one")).unwrap();
    let _two = Tabs::open("tabs", listen("two")).unwrap();
    // A tab of another version: passed over.
    let stranger = web_sys::BroadcastChannel::new("tabs").unwrap();
    stranger.post_message(&JsValue::from_str("hello there")).unwrap();
    stranger.post_message(&Array::of2(&"1".into(), &"sung".into())).unwrap();
    stranger.post_message(&Array::of3(&"1".into(), &"stored".into(), &"no bytes".into())).unwrap();
    let message = Message { tag: Tag::Stored, records: vec![("run/a".to_owned(), vec![0, 1, 255])] };
    one.send(&message).unwrap();
    one.send(&Message::bare(Tag::Hello)).unwrap();
    until(|| heard.borrow().len() >= 2).await;
    assert_eq!(*heard.borrow(), [("two", message), ("two", Message::bare(Tag::Hello))]);
    stranger.close();
}

#[wasm_bindgen_test]
async fn an_answer_comes_with_its_status_headers_and_body() {
    let url = address::app().unwrap();
    let answer = http::send("GET", &url, &[("Accept", "text/html")], None, 5_000).await.unwrap();
    assert_eq!(answer.status, 200);
    assert!(String::from_utf8(answer.body.clone()).unwrap().contains("<html"));
    assert!(answer.header("CONTENT-TYPE").unwrap().starts_with("text/html"));
    assert_eq!(answer.header("Trug-Head"), None);
    let missing = http::send("GET", &format!("{url}no-such-page"), &[], None, 5_000).await.unwrap();
    assert_eq!(missing.status, 404);
}

#[wasm_bindgen_test]
async fn what_cannot_be_sent_says_why() {
    let table = [
        ("GET", "http://", "a", true),
        ("B AD", "http://127.0.0.1:1/", "a", true),
        ("GET", "http://127.0.0.1:1/", "a\nb", true),
        ("GET", "http://127.0.0.1:1/", "a", false),
    ];
    for (method, url, value, malformed) in table {
        let error = http::send(method, url, &[("Accept", value)], None, 5_000).await.unwrap_err();
        let as_expected =
            if malformed { matches!(error, NetError::Malformed(_)) } else { matches!(error, NetError::Unreachable(_)) };
        assert!(as_expected, "{method} {url} {value:?}: {error:?}");
    }
}

#[wasm_bindgen_test]
async fn a_live_line_to_nobody_closes_once() {
    let heard = Rc::new(RefCell::new(Vec::new()));
    let listen = |heard: &Rc<RefCell<Vec<Event>>>| {
        let heard = heard.clone();
        move |event| heard.borrow_mut().push(event)
    };
    let live = Live::open("ws://127.0.0.1:1/v1/live", listen(&heard)).unwrap();
    assert_eq!(live.send("{}"), Err(LiveError::NotOpen));
    until(|| !heard.borrow().is_empty()).await;
    assert!(matches!(heard.borrow().as_slice(), [Event::Closed { code: 1006, .. }]));
    assert!(matches!(Live::open("mailto:nobody", |_| {}), Err(LiveError::Address(_))));

    let silent = Rc::new(RefCell::new(Vec::new()));
    drop(Live::open("ws://127.0.0.1:1/v1/live", listen(&silent)).unwrap());
    clock::sleep(100).await;
    assert!(silent.borrow().is_empty());
}

#[wasm_bindgen_test]
async fn the_clock_goes_forward_and_knows_the_day() {
    let (before, start) = (clock::now_ms(), clock::monotonic_ms());
    clock::sleep(30).await;
    assert!(clock::monotonic_ms() - start >= 25.0);
    assert!(clock::now_ms() >= before + 25);
    let today = clock::today();
    assert_eq!(today.len(), 10);
    assert!(today.as_str() > "2025-01-01");
    // Noon in UTC is the same day nearly everywhere.
    assert_eq!(clock::local_date(1_772_625_600_000), "2026-03-04");
}

#[wasm_bindgen_test]
async fn an_alarm_that_is_set_anew_rings_once_and_may_set_itself() {
    let rung = Rc::new(RefCell::new(Vec::new()));
    let alarm = Rc::new(clock::Alarm::new());
    let ring = |what: &'static str| {
        let rung = rung.clone();
        move || rung.borrow_mut().push(what)
    };
    alarm.set(10, ring("first"));
    alarm.set(20, {
        let (alarm, again, second) = (alarm.clone(), ring("again"), ring("second"));
        move || {
            second();
            alarm.set(10, again);
        }
    });
    until(|| rung.borrow().len() >= 2).await;
    assert_eq!(*rung.borrow(), ["second", "again"]);
    alarm.set(10, ring("cleared"));
    alarm.clear();
    clock::sleep(40).await;
    assert_eq!(rung.borrow().len(), 2);
}

/// The space that `Intl` puts between parts may be one that does not break.
fn plain(text: &str) -> String {
    text.replace(['\u{a0}', '\u{202f}'], " ")
}

#[wasm_bindgen_test]
fn money_and_numbers_are_written_as_the_reader_does() {
    let (english, spanish) = (Locale::new("en-US"), Locale::new("es-ES"));
    assert_eq!(english.money("1234.5", "USD"), "$1,234.50");
    assert_eq!(english.money("-0.05", "USD"), "-$0.05");
    assert_eq!(plain(&spanish.money("12345.5", "EUR")), "12.345,50 €");
    assert_eq!(english.money("9007199254740993.01", "USD"), "$9,007,199,254,740,993.01");
    assert_eq!(english.number("1234.5678", 2), "1,234.57");
    assert_eq!(spanish.number("0.25", 2), "0,25");
    assert_eq!(english.money("3.00", "no such currency"), "no such currency 3.00");
    assert_eq!(Locale::new("not a tag").tag(), "en");
    assert!(!locale::preferred().is_empty());
}

#[wasm_bindgen_test]
fn dates_and_lists_are_written_as_the_reader_does() {
    let (english, spanish) = (Locale::new("en-US"), Locale::new("es-US"));
    assert_eq!(english.date("2026-03-04", DateForm::Short), "Wed, Mar\u{a0}4");
    assert_eq!(english.date("2026-03-04", DateForm::Full), "Wednesday, March\u{a0}4, 2026");
    assert!(spanish.date("2026-03-04", DateForm::Day).ends_with(" 4\u{a0}de\u{a0}marzo"));
    let mexican = Locale::new("es-MX").date("2026-03-04", DateForm::Short);
    assert!(mexican.starts_with("mié") && mexican.ends_with(" 4\u{a0}de\u{a0}mar"), "{mexican}");
    assert_eq!(english.date("next week", DateForm::Day), "next week");
    assert_eq!(english.list(&["milk", "eggs", "nuts"], Join::And), "milk, eggs, and nuts");
    assert_eq!(spanish.list(&["leche", "huevos"], Join::Or), "leche o huevos");
    assert_eq!(english.list::<&str>(&[], Join::And), "");
    let now = 1_772_625_600_000;
    assert_eq!(english.relative(now - 2 * 3_600_000, now), "2 hours ago");
    assert_eq!(english.relative(now - 86_400_000, now), "yesterday");
    assert_eq!(english.relative(now - 1_000, now), "now");
    assert!(!english.time(now).is_empty());
}

#[wasm_bindgen_test]
async fn the_browser_says_how_much_room_there_is() {
    let room = persist::room().await.unwrap();
    assert!(room.quota > room.used);
    assert!(persist::granted().await.is_some());
}

#[wasm_bindgen_test]
fn seeds_differ() {
    assert_ne!(random::seed(), random::seed());
}

#[wasm_bindgen_test]
async fn an_invitation_leaves_the_address_bar_and_places_come_back() {
    let location = web_sys::window().unwrap().location();
    let came = Rc::new(RefCell::new(Vec::new()));
    let _fragments = address::on_fragment({
        let came = came.clone();
        move |fragment| came.borrow_mut().push(fragment)
    });
    location.set_hash("1.run.secret").unwrap();
    until(|| !came.borrow().is_empty()).await;
    assert_eq!(*came.borrow(), ["1.run.secret"]);
    assert!(!location.href().unwrap().contains("secret"));
    assert_eq!(address::take_fragment(), None);

    let places = Rc::new(RefCell::new(Vec::new()));
    let _changes = address::on_change({
        let places = places.clone();
        move |place| places.borrow_mut().push(place)
    });
    address::replace("");
    assert_eq!(address::place(), "");
    address::go("shop/run 3&x=1");
    assert_eq!(address::place(), "shop/run 3&x=1");
    assert_eq!(location.search().unwrap(), "?at=shop/run%203%26x%3D1");
    address::back();
    until(|| !places.borrow().is_empty()).await;
    assert_eq!((*places.borrow()).as_slice(), [""]);
    assert!(!address::app().unwrap().contains(['?', '#']));
}

#[wasm_bindgen_test]
async fn a_file_is_read_whole_or_refused() {
    let blob = blob(&[1, 2, 3]);
    assert_eq!(files::read(&blob, 3).await.unwrap(), [1, 2, 3]);
    assert_eq!(files::read(&blob, 2).await, Err(files::FileError::TooLarge(3)));
}

fn blob(bytes: &[u8]) -> Blob {
    Blob::new_with_u8_array_sequence(&Array::of1(&Uint8Array::from(bytes))).unwrap()
}

/// A bitmap of 24 bits a point, rows from the bottom.
fn bitmap(width: u32, height: u32, shade: impl Fn(u32, u32) -> u8) -> Vec<u8> {
    let row = (width * 3).next_multiple_of(4);
    let mut bytes = b"BM".to_vec();
    for field in [54 + row * height, 0, 54, 40, width, height, 1 | 24 << 16, 0, row * height, 2835, 2835, 0, 0] {
        bytes.extend(field.to_le_bytes());
    }
    for y in (0..height).rev() {
        let mut line: Vec<u8> = (0..width).flat_map(|x| [shade(x, y); 3]).collect();
        line.resize(row as usize, 0);
        bytes.extend(line);
    }
    bytes
}

#[wasm_bindgen_test]
async fn a_photo_becomes_brightness() {
    let file = blob(&bitmap(3, 2, |x, y| if (x, y) == (2, 0) { 255 } else { 0 }));
    let frame = camera::picture(&file, 100).await.unwrap();
    assert_eq!((frame.width, frame.height, frame.bytes), (3, 2, vec![0, 0, 255, 0, 0, 0]));
    let small = camera::picture(&blob(&bitmap(200, 100, |_, _| 255)), 50).await.unwrap();
    assert_eq!((small.width, small.height), (50, 25));
    assert!(small.bytes.iter().all(|point| *point == 255));
    assert!(camera::picture(&blob(b"no picture"), 100).await.is_err());
}

#[wasm_bindgen_test]
async fn the_camera_shows_frames_until_it_is_stopped() {
    let document = web_sys::window().unwrap().document().unwrap();
    let video: HtmlVideoElement = document.create_element("video").unwrap().unchecked_into();
    let camera = Camera::open(&video).await.unwrap();
    until(|| camera.frame(320).is_some_and(|frame| frame.bytes.iter().any(|point| *point > 0))).await;
    let frame = camera.frame(320).unwrap();
    assert_eq!(frame.bytes.len(), (frame.width * frame.height) as usize);
    assert!(frame.width.max(frame.height) <= 320);
    if let Some(detector) = camera::Detector::new().await {
        assert_eq!(detector.read(&camera).await, None);
    }
    camera.stop();
    assert!(video.src_object().is_none());
}

#[wasm_bindgen_test]
async fn an_offer_to_install_is_kept_until_it_is_used() {
    let window = web_sys::window().unwrap();
    let changes = Rc::new(Cell::new(0));
    let install = Install::watch({
        let changes = changes.clone();
        move || changes.set(changes.get() + 1)
    });
    assert!(!install.offered());
    assert_eq!(install.prompt().await, Answer::NoOffer);
    window.dispatch_event(&web_sys::Event::new("beforeinstallprompt").unwrap()).unwrap();
    assert!(install.offered());
    window.dispatch_event(&web_sys::Event::new("appinstalled").unwrap()).unwrap();
    assert!(!install.offered());
    assert_eq!(changes.get(), 2);
}

#[wasm_bindgen_test]
fn going_offline_is_told() {
    let window = web_sys::window().unwrap();
    let told = Rc::new(RefCell::new(Vec::new()));
    let watch = online::watch({
        let told = told.clone();
        move |online| told.borrow_mut().push(online)
    });
    assert!(online::is_online());
    for event in ["offline", "online"] {
        window.dispatch_event(&web_sys::Event::new(event).unwrap()).unwrap();
    }
    drop(watch);
    window.dispatch_event(&web_sys::Event::new("offline").unwrap()).unwrap();
    assert_eq!(*told.borrow(), [false, true]);
}

#[wasm_bindgen_test]
async fn without_a_worker_there_is_no_update() {
    let updates = updates::watch(|_| {}).unwrap();
    updates.check().await;
    assert!(!updates.waiting());
    assert!(!updates.take_over());
}

#[wasm_bindgen_test]
async fn keeping_the_screen_on_may_be_refused_and_given_up_at_any_time() {
    // Dropped before the browser has answered, and after.
    drop(Awake::start());
    let awake = Awake::start();
    clock::sleep(100).await;
    assert!(online::is_visible() || !awake.holds());
}
