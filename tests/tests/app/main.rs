//! The app as a person uses it, in real browsers: by roles and accessible names, with the network cut, the server killed,
//! and the phone turned off in the middle.
//!
//! `TRUG_BROWSER=webkit` runs the same in WebKitGTK, `firefox` in Firefox; without it, in Chromium. `TRUG_PICTURES=folder` keeps pictures.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "all of it is a test, though clippy sees that of the test functions alone"
)]

mod barriers;
mod browser;
mod pictures;
mod speed;
mod trouble;
mod ways;

use browser::{Kind, Phone, Seen, Shop};
use serde_json::json;

/// One browser at a time: two would time each other out on a small machine.
pub(crate) static TURN: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());

/// The browser that this run is for.
pub(crate) fn kind() -> Kind {
    match std::env::var("TRUG_BROWSER").as_deref() {
        Ok("webkit") => Kind::WebKit,
        Ok("firefox") => Kind::Firefox,
        _ => Kind::Chromium,
    }
}

/// A phone on which the demo kitchen was brought in, in the shop.
pub(crate) async fn with_demo(shop: &Shop) -> Seen<Phone> {
    let phone = Phone::new(kind()).await?;
    phone.open(&shop.address()).await?;
    phone.press("button", "Look around with the demo").await?;
    phone.see("checkbox", "").await?;
    Ok(phone)
}

/// The food that the first line of the list names.
pub(crate) async fn first_line(phone: &Phone) -> Seen<String> {
    let mut last = Err("there is no line".to_owned());
    // A list that is just being drawn anew may take the line away between two questions.
    for _ in 0..20 {
        last = name_of_first_line(phone).await;
        if last.is_ok() {
            return last;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    last
}

async fn name_of_first_line(phone: &Phone) -> Seen<String> {
    let line = phone.see("checkbox", "").await?;
    let id = serde_json::to_value(&line).map_err(|error| error.to_string())?;
    // Text of what is not laid out yet, far down, is not inner text everywhere.
    let name = "const e = arguments[0]; const by = e.getAttribute('aria-labelledby'); \
                const text = node => node.innerText || node.textContent; \
                return by ? text(document.getElementById(by.split(' ')[0])) : (e.getAttribute('aria-label') || text(e.labels[0]))";
    let name = phone.script(name, vec![id]).await?;
    let name = name.as_str().unwrap_or_default().lines().next().unwrap_or_default().trim().to_owned();
    if name.is_empty() { Err("the first line has no name".to_owned()) } else { Ok(name) }
}

#[tokio::test]
async fn first_open_leads_to_a_picked_list() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = Phone::new(kind()).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    for choice in ["Start empty", "Look around with the demo", "Bring in a kitchen folder"] {
        phone.see("button", choice).await.unwrap();
    }
    phone.picture("welcome").await.unwrap();
    phone.press("button", "Look around with the demo").await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.picture("shop").await.unwrap();
    phone.press("checkbox", &food).await.unwrap();
    phone.sync_says(&["on this phone", "to send", "sent"]).await.unwrap();
    phone.picture("picked").await.unwrap();
    for place in ["Week", "Pantries", "Shop"] {
        phone.press("link", place).await.unwrap();
        phone.see("heading", "").await.unwrap();
    }
}

#[tokio::test]
async fn it_starts_cold_with_the_server_gone_and_keeps_every_tick() {
    let _turn = TURN.lock().await;
    let mut shop = Shop::open().unwrap();
    let mut phone = with_demo(&shop).await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.is_ready_for_offline().await.unwrap();
    phone.press("checkbox", &food).await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
    shop.kill();
    if phone.kind() != Kind::WebKit {
        phone.die_and_start().await.unwrap();
    }
    phone.open(&shop.address()).await.unwrap();
    phone.see("checkbox", "").await.unwrap();
    let again = first_line(&phone).await.unwrap();
    assert_ne!(again, food, "what was picked is in its own group");
    phone.press("checkbox", &again).await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
}

#[tokio::test]
async fn a_tick_that_was_said_to_be_on_the_phone_survives_a_kill() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let mut phone = with_demo(&shop).await.unwrap();
    if phone.kind() == Kind::WebKit {
        // Its automation begins each session with an empty store.
        return;
    }
    for _ in 0..3 {
        let food = first_line(&phone).await.unwrap();
        phone.press("checkbox", &food).await.unwrap();
        phone.sync_says(&["on this phone"]).await.unwrap();
        phone.die_and_start().await.unwrap();
        phone.open(&shop.address()).await.unwrap();
        assert_ne!(first_line(&phone).await.unwrap(), food);
    }
}

/// The chef's phone makes a link to the trip for a helper; what the link says.
pub(crate) async fn link_for(phone: &Phone, helper: &str) -> Seen<String> {
    phone.press("button", "Send the list").await?;
    phone.fill("Name, so that you know who it is", helper).await?;
    phone.press("button", "Make a link").await?;
    phone.see("heading", "Link for").await?;
    let found = "const all = [...document.querySelectorAll('input, textarea, output, a, p, code')]; \
                 const text = one => one.value || one.href || one.innerText || ''; \
                 const one = all.map(text).find(text => /^https?:.*#.{40}/.test(text)); return one || ''";
    let link = phone.script(found, Vec::new()).await?.as_str().unwrap_or_default().trim().to_owned();
    if link.is_empty() { Err("there is no link on the page".to_owned()) } else { Ok(link) }
}

/// A helper's phone that joined by a link.
pub(crate) async fn joined(link: &str, name: &str) -> Seen<Phone> {
    let helper = Phone::new(kind()).await?;
    helper.open(link).await?;
    helper.fill("Your name", name).await?;
    helper.press("button", "Join").await?;
    helper.see("checkbox", "").await?;
    Ok(helper)
}

#[tokio::test]
async fn a_helper_joins_by_a_link_and_both_see_what_the_other_got() {
    let _turn = TURN.lock().await;
    let mut shop = Shop::open().unwrap();
    let chef = with_demo(&shop).await.unwrap();
    let food = first_line(&chef).await.unwrap();
    let link = link_for(&chef, "Jo").await.unwrap();
    let helper = joined(&link, "Jo").await.unwrap();
    let address = helper.script("return location.href", Vec::new()).await.unwrap();
    assert!(!address.as_str().unwrap().contains('#'), "the link is taken out of the address bar");
    let page = helper.text().await.unwrap();
    for secret in ["Tansy", "Ropewalk", "$523", "Fennel Court"] {
        assert!(!page.contains(secret), "a helper does not see {secret}");
    }
    helper.picture("helper").await.unwrap();
    // Apart: each picks something, with nothing in between.
    shop.kill();
    helper.press("checkbox", &food).await.unwrap();
    helper.sync_says(&["to send"]).await.unwrap();
    chef.open(&shop.address()).await.unwrap();
    chef.press("link", "Shop").await.unwrap();
    chef.press("checkbox", &food).await.unwrap();
    chef.sync_says(&["to send"]).await.unwrap();
    // Together again.
    shop.start().unwrap();
    for phone in [&chef, &helper] {
        phone.open(&shop.address()).await.unwrap();
        phone.sync_says(&["sent"]).await.unwrap();
    }
    // Only now: a phone that was left alone asks a relay that was away again after a pause that has grown.
    for phone in [&chef, &helper] {
        phone.read("ought twice").await.unwrap();
    }
    chef.picture("twice").await.unwrap();
}

#[tokio::test]
async fn the_first_link_asks_the_relay_for_nothing_that_is_not_there() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // Only Chromium's driver can get at the page before it loads.
        return;
    }
    let shop = Shop::open().unwrap();
    let chef = Phone::new(kind()).await.unwrap();
    let listen = "const ask = window.fetch; window.answers = []; \
                  window.fetch = async (...all) => { \
                    const answer = await ask.apply(window, all); \
                    if (answer.url.includes('/v1/logs/')) window.answers.push(answer.status); \
                    return answer; \
                  }";
    chef.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": listen })).await.unwrap();
    chef.open(&shop.address()).await.unwrap();
    chef.press("button", "Look around with the demo").await.unwrap();
    link_for(&chef, "Jo").await.unwrap();
    chef.sync_says(&["sent"]).await.unwrap();
    let answers = chef.script("return window.answers", Vec::new()).await.unwrap();
    let answers: Vec<u64> = answers.as_array().unwrap().iter().filter_map(serde_json::Value::as_u64).collect();
    // A kitchen's book, its pantries and its trip: each is made, read and written.
    assert!(answers.len() >= 24, "{answers:?}");
    assert!(answers.iter().all(|status| matches!(status, 200 | 201)), "{answers:?}");
}

#[tokio::test]
async fn withdrawn_access_ends_and_what_was_picked_before_still_arrives() {
    let _turn = TURN.lock().await;
    let mut shop = Shop::open().unwrap();
    let chef = with_demo(&shop).await.unwrap();
    let food = first_line(&chef).await.unwrap();
    let link = link_for(&chef, "Jo").await.unwrap();
    let helper = joined(&link, "Jo").await.unwrap();
    shop.kill();
    helper.press("checkbox", &food).await.unwrap();
    helper.sync_says(&["to send"]).await.unwrap();
    shop.start().unwrap();
    chef.press("button", "Withdraw access").await.unwrap();
    chef.see("dialog", "Withdraw access").await.unwrap();
    chef.press("button", "Withdraw access").await.unwrap();
    chef.read("Access withdrawn").await.unwrap();
    helper.open(&shop.address()).await.unwrap();
    helper.sync_says(&["sent"]).await.unwrap();
    chef.press("link", "Shop").await.unwrap();
    chef.see_gone("checkbox", &format!("{food} ")).await.ok();
    chef.sync_says(&["sent"]).await.unwrap();
}

#[tokio::test]
async fn two_tabs_share_one_database() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    let food = first_line(&phone).await.unwrap();
    let first = phone.client().window().await.unwrap();
    let second = phone.client().new_window(true).await.unwrap().handle;
    phone.client().switch_to_window(second).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    let again = first_line(&phone).await.unwrap();
    assert_eq!(again, food);
    phone.press("checkbox", &food).await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
    phone.client().switch_to_window(first).await.unwrap();
    phone.read("1 got").await.unwrap();
}
