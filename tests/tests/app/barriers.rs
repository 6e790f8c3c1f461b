//! axe on every screen and everything that lies over one, in both languages and both schemes.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::browser::{Kind, Phone, Seen, Shop};
use crate::{TURN, kind, link_for, with_demo};

/// What is pressed on the way to a screen: a role, and the key of its words or, where it is data, the data.
type Way = &'static [(&'static str, &'static str)];

/// Every screen of a kitchen, by its address and what is pressed there.
const SCREENS: &[(&str, Way)] = &[
    ("shop", &[]),
    ("shop/trips", &[]),
    ("shop/trip/none", &[]),
    ("shop", &[("button", "shop.options")]),
    ("shop", &[("button", "shop.add_hand")]),
    ("shop", &[("button", "shop.tools")]),
    ("shop", &[("button", "shop.tools"), ("button", "shop.split")]),
    ("shop", &[("button", "shop.tools"), ("button", "shop.store_switch")]),
    ("shop", &[("button", "shop.tools"), ("button", "shop.receipts")]),
    ("shop", &[("button", "shop.tools"), ("button", "shop.money")]),
    ("shop", &[("button", "shop.tools"), ("button", "shop.trip_done")]),
    ("shop", &[("button", "shop.share")]),
    ("shop", &[("button", "shop.share"), ("button", "share.withdraw")]),
    ("week", &[]),
    ("week", &[("button", "week.new_week")]),
    ("week", &[("button", "start.demo_throw")]),
    ("week/2026-W10", &[]),
    ("week/2026-W10", &[("button", "week.start_trip")]),
    ("week/2026-W10", &[("button", "week.remove_week")]),
    ("week/list/2026-W10", &[]),
    ("week/service/2026-W10/0", &[]),
    ("week/service/2026-W10/0", &[("button", "week.add_dish")]),
    ("week/service/2026-W10/0", &[("button", "week.add_dish"), ("button", "Roasted cauliflower")]),
    ("week/service/2026-W10/99", &[]),
    ("week/dishes", &[]),
    ("week/dishes/new", &[]),
    ("week/dish/peanut-noodles", &[]),
    ("week/dish/peanut-noodles/edit", &[]),
    ("week/households", &[]),
    ("week/households/new", &[]),
    ("week/household/lantern-row", &[]),
    ("week/foods", &[]),
    ("week/food/Merrow chili crisp", &[]),
    ("week/prices", &[]),
    ("week/stores", &[]),
    ("week/store/larkmere", &[]),
    ("week/files", &[]),
    ("pantries", &[]),
    ("pantries", &[("button", "pantry.new")]),
    ("pantries/pantry/kit", &[]),
    ("pantries/pantry/kit", &[("button", "pantry.title_edit")]),
    ("pantries/pantry/kit", &[("button", "pantry.add_lot")]),
    ("pantries/pantry/kit", &[("button", "kosher salt")]),
    ("pantries/pantry/kit", &[("button", "kosher salt"), ("button", "pantry.edit_lot")]),
    ("pantries/pantry/kit/count", &[]),
    ("pantries/pantry/kit/count", &[("button", "pantry.an_amount")]),
    ("pantries/pantry/kit/count/chilled", &[]),
    ("pantries/pantry/fennel-court", &[]),
    ("more", &[]),
    ("more", &[("link", "share.device")]),
    ("more/share/pantry/fennel-court", &[]),
    ("more/share/none", &[]),
    ("more/join", &[]),
    ("more/begin", &[]),
    ("more/relay", &[]),
    ("more/relay", &[("button", "share.relay_stop")]),
    ("more/folder", &[]),
    ("more/recovery", &[]),
    ("more/recovery", &[("button", "share.recovery_show")]),
    ("more/settings", &[]),
    ("more/settings", &[("button", "settings.wipe")]),
];

/// The trip is finished, and goes on again.
const FINISH: Way = &[("button", "shop.tools"), ("button", "shop.trip_done"), ("button", "shop.trip_done")];
const GO_ON: Way = &[("button", "shop.tools"), ("button", "shop.trip_again")];

/// What there is once a trip is finished.
const FINISHED: &[(&str, Way)] = &[
    ("shop", &[]),
    ("shop", &[("button", "shop.tools")]),
    ("shop", &[("button", "shop.tools"), ("button", "shop.put_away")]),
    ("pantries/pantry/kit", &[("button", "pantry.put_away")]),
];

/// What a phone shows on which there is nothing yet.
const FIRST: &[(&str, Way)] = &[
    ("", &[]),
    ("", &[("button", "start.empty")]),
    ("join", &[]),
    ("join/recover", &[]),
    ("join/recover", &[("button", "join.recover_now")]),
];

/// A language's words by their keys, as far as they are the same whatever is put in.
struct Words(BTreeMap<String, String>);

impl Words {
    fn of(tag: &str) -> Self {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../web/words");
        let mut words = BTreeMap::new();
        for part in ["first", "later"] {
            let text = std::fs::read_to_string(format!("{folder}/{part}/{tag}.toml")).unwrap();
            let mut section = "";
            for line in text.lines() {
                if let Some(name) = line.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
                    section = name;
                } else if let Some((key, said)) = line.split_once(" = ") {
                    let said = said.trim_matches('"').split("%{").next().unwrap_or_default();
                    words.insert(format!("{section}.{key}"), said.trim().to_owned());
                }
            }
        }
        Self(words)
    }

    /// The words of a key; what is no key is said as it stands.
    fn say<'w>(&'w self, key: &'w str) -> &'w str {
        self.0.get(key).map_or(key, String::as_str)
    }
}

/// Goes to a place within the page, so that axe stays loaded, and waits until it was drawn.
const GO: &str = "const done = arguments[arguments.length - 1]; \
    const drawn = then => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(then, 30))); \
    document.querySelectorAll('dialog[open]').forEach(one => one.close()); \
    drawn(() => { \
      history.pushState(null, '', '?at=' + encodeURIComponent(arguments[0])); \
      dispatchEvent(new PopStateEvent('popstate')); \
      drawn(done); \
    });";

/// What axe finds on the screen, with all that is folded up in it unfolded. What the scheme changes is colour alone, so
/// that the dark one is held against the rules on contrast.
const LOOK: &str = "const done = arguments[arguments.length - 1]; \
    const drawn = () => new Promise(then => requestAnimationFrame(() => requestAnimationFrame(then))); \
    const say = (found, scheme) => found.violations.map(one => \
      `${scheme}: ${one.id} ${one.nodes.map(node => node.target).slice(0, 3).join(', ')}`); \
    const look = async () => { \
      const page = document.documentElement; \
      const over = document.querySelector('dialog[open]') || document; \
      over.querySelectorAll('details:not([open])').forEach(one => { one.open = true; }); \
      page.setAttribute('data-scheme', 'light'); \
      await drawn(); \
      const light = say(await axe.run(), 'light'); \
      page.setAttribute('data-scheme', 'dark'); \
      await drawn(); \
      const contrast = { runOnly: ['color-contrast'] }; \
      return light.concat(say(await axe.run(contrast), 'dark')); \
    }; \
    look().then(done, why => done([String(why)]));";

async fn load_axe(phone: &Phone) -> Seen<()> {
    let path = std::env::var_os("TRUG_AXE").ok_or("TRUG_AXE names no axe.min.js; run cargo xtask test")?;
    let axe = std::fs::read_to_string(path).map_err(|error| error.to_string())?;
    phone.script(&format!("{axe}; window.axe = axe;"), Vec::new()).await.map(drop)
}

/// Goes to a screen by what is pressed on the way.
async fn go(phone: &Phone, place: &str, way: Way, words: &Words) -> Seen<()> {
    phone.client().execute_async(GO, vec![json!(place)]).await.map_err(|error| error.to_string())?;
    for (role, key) in way {
        phone.press(role, words.say(key)).await?;
    }
    Ok(())
}

/// Adds what axe finds on the screen that is shown.
async fn look(phone: &Phone, screen: &str, found: &mut Vec<String>) {
    match phone.client().execute_async(LOOK, Vec::new()).await {
        Ok(seen) => {
            let seen = seen.as_array().cloned().unwrap_or_default();
            found.extend(seen.iter().filter_map(Value::as_str).map(|one| format!("{screen}: {one}")));
        }
        Err(error) => found.push(format!("{screen}: {error}")),
    }
}

/// Goes to each screen and adds what axe finds there; a screen to which no way leads is found as well.
async fn look_at(phone: &Phone, screens: &[(&str, Way)], language: &str, found: &mut Vec<String>) {
    let words = Words::of(language);
    for (place, way) in screens {
        let screen = format!("{language}, {place:?} {way:?}");
        match go(phone, place, way, &words).await {
            Ok(()) => look(phone, &screen, found).await,
            Err(error) => found.push(format!("{screen}: {error:.120}")),
        }
    }
}

#[tokio::test]
async fn no_screen_has_a_barrier_that_axe_knows() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // The rules read the same page; what a page says does not differ by browser.
        return;
    }
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    // Grounds change at once.
    let still = json!({ "features": [{ "name": "prefers-reduced-motion", "value": "reduce" }] });
    phone.devtools("Emulation.setEmulatedMedia", still).await.unwrap();
    phone.press("checkbox", "").await.unwrap();
    let link = link_for(&phone, "Jo").await.unwrap();
    let mut found = Vec::new();
    for (language, own_name) in [("en", "English"), ("es", "Español")] {
        phone.open(&format!("{}?at=more/settings", shop.address())).await.unwrap();
        phone.press("radio", own_name).await.unwrap();
        load_axe(&phone).await.unwrap();
        look_at(&phone, SCREENS, language, &mut found).await;
        let words = Words::of(language);
        go(&phone, "shop", FINISH, &words).await.unwrap();
        look_at(&phone, FINISHED, language, &mut found).await;
        go(&phone, "shop", GO_ON, &words).await.unwrap();
    }
    // From here on nothing is kept on the phone, not even the language: it is the browser's.
    let spanish = Words::of("es");
    phone.open(&format!("{}?at=more/settings", shop.address())).await.unwrap();
    phone.press("button", spanish.say("settings.wipe")).await.unwrap();
    phone.press("button", spanish.say("settings.wipe_now")).await.unwrap();
    phone.see("button", "Start empty").await.unwrap();
    let agent = phone.script("return navigator.userAgent", Vec::new()).await.unwrap();
    for language in ["en", "es"] {
        let speaks = json!({ "userAgent": agent, "acceptLanguage": language });
        phone.devtools("Emulation.setUserAgentOverride", speaks).await.unwrap();
        phone.open(&shop.address()).await.unwrap();
        phone.see("button", Words::of(language).say("start.empty")).await.unwrap();
        load_axe(&phone).await.unwrap();
        look_at(&phone, FIRST, language, &mut found).await;
        // An invitation is another document for the browser only where its address differs before the fragment.
        phone.open("about:blank").await.unwrap();
        phone.open(&link).await.unwrap();
        phone.see("button", Words::of(language).say("join.join")).await.unwrap();
        load_axe(&phone).await.unwrap();
        look(&phone, &format!("{language}, an invitation"), &mut found).await;
    }
    assert!(found.is_empty(), "{} barriers:\n{}", found.len(), found.join("\n"));
}
