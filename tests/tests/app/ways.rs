//! Ways of using the app other than with a thumb on a phone in English, and the kitchen folder's way in and out.

use std::collections::BTreeSet;
use std::io::Write as _;

use fantoccini::key::Key;
use serde_json::json;
use tempfile::TempDir;
use trug_catalog::Catalog;

use crate::browser::{Kind, Phone, Seen, Shop};
use crate::{TURN, first_line, joined, kind, link_for, with_demo};

/// What has the focus, by its accessible name.
const FOCUSED: &str = "const one = document.activeElement; if (!one || one === document.body) return ''; \
    const by = one.getAttribute('aria-labelledby'); const text = node => (node ? node.innerText : '').trim(); \
    return by ? by.split(' ').map(id => text(document.getElementById(id))).join(' ') : \
    (one.getAttribute('aria-label') || (one.labels && one.labels.length ? text(one.labels[0]) : text(one)) || '')";

/// Presses keys where the focus is.
async fn keys(phone: &Phone, keys: &str) -> Seen<()> {
    let focused = phone.client().active_element().await.map_err(|error| error.to_string())?;
    focused.send_keys(keys).await.map_err(|error| error.to_string())
}

/// Goes on with the tabulator until something of this name has the focus.
async fn tab_to(phone: &Phone, name: &str) -> Seen<()> {
    for _ in 0..400 {
        let focused = phone.script(FOCUSED, Vec::new()).await?;
        if focused.as_str().is_some_and(|focused| focused.starts_with(name)) {
            return Ok(());
        }
        keys(phone, &Key::Tab.to_string()).await?;
    }
    Err(format!("`{name}` never has the focus"))
}

#[tokio::test]
async fn the_main_job_can_be_done_with_a_keyboard_alone() {
    let _turn = TURN.lock().await;
    if kind() == Kind::WebKit {
        // Its driver cannot send keys to a page on which nothing has the focus.
        return;
    }
    let shop = Shop::open().unwrap();
    let phone = Phone::new(kind()).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    phone.see("button", "Look around with the demo").await.unwrap();
    tab_to(&phone, "Look around with the demo").await.unwrap();
    keys(&phone, &Key::Enter.to_string()).await.unwrap();
    let food = first_line(&phone).await.unwrap();
    tab_to(&phone, &food).await.unwrap();
    keys(&phone, " ").await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
    phone.read("1 got").await.unwrap();
    tab_to(&phone, "Options").await.unwrap();
    keys(&phone, &Key::Enter.to_string()).await.unwrap();
    phone.see("dialog", "").await.unwrap();
    tab_to(&phone, "Close").await.unwrap();
    keys(&phone, &Key::Enter.to_string()).await.unwrap();
    phone.see_gone("dialog", "").await.unwrap();
    tab_to(&phone, "Week").await.unwrap();
    keys(&phone, &Key::Enter.to_string()).await.unwrap();
    phone.see("heading", "Weeks").await.unwrap();
}

#[tokio::test]
async fn text_of_twice_the_size_is_lost_nowhere() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    let places = [
        "shop",
        "week",
        "week/2026-W10",
        "week/service/2026-W10/0",
        "week/dishes",
        "pantries",
        "more",
        "more/settings",
    ];
    for place in places {
        phone.open(&format!("{}?at={place}", shop.address())).await.unwrap();
        phone.see("heading", "").await.unwrap();
        phone.script("document.documentElement.style.fontSize = '200%'", Vec::new()).await.unwrap();
        let lost = "const out = []; const page = document.documentElement; \
            if (page.scrollWidth > innerWidth + 1) out.push('the page is ' + page.scrollWidth + ' wide'); \
            for (const one of document.querySelectorAll('main *, header *, nav *')) { \
              const style = getComputedStyle(one); \
              const hides = ['hidden', 'clip'].includes(style.overflowX) && style.position !== 'absolute'; \
              if (hides && one.innerText && one.scrollWidth > one.clientWidth + 1 && one.clientWidth > 1) out.push(one.className + ': ' + one.innerText.slice(0, 40)); \
            } return out";
        let lost = phone.script(lost, Vec::new()).await.unwrap();
        assert_eq!(lost, json!([]), "{place}");
    }
}

#[tokio::test]
async fn a_change_of_plan_reaches_the_one_who_is_shopping() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let chef = with_demo(&shop).await.unwrap();
    let link = link_for(&chef, "Jo").await.unwrap();
    let helper = joined(&link, "Jo").await.unwrap();
    let food = first_line(&helper).await.unwrap();
    helper.press("checkbox", &food).await.unwrap();
    helper.sync_says(&["sent"]).await.unwrap();
    chef.open(&format!("{}?at=week/service/2026-W10/1", shop.address())).await.unwrap();
    chef.press("button", "Remove: Ginger tofu with broccoli").await.unwrap();
    helper.read("The list changed at home").await.unwrap();
    helper.picture("changed").await.unwrap();
    helper.read("1 got").await.unwrap();
    chef.press("link", "Shop").await.unwrap();
    chef.read("1 got").await.unwrap();
}

#[tokio::test]
async fn a_trip_that_is_started_from_its_week_is_on_the_screen() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    phone.open(&format!("{}?at=week/2026-W11", shop.address())).await.unwrap();
    phone.press("button", "Start a shopping trip").await.unwrap();
    phone.see("dialog", "").await.unwrap();
    phone.press("button", "Start a shopping trip").await.unwrap();
    phone.see_gone("dialog", "").await.unwrap();
    phone.see("checkbox", "").await.unwrap();
    phone.open(&format!("{}?at=week/2026-W11", shop.address())).await.unwrap();
    phone.press("link", "Trip on").await.unwrap();
    phone.see("checkbox", "").await.unwrap();
}

#[tokio::test]
async fn a_kitchen_goes_out_as_a_folder_and_into_another_phone() {
    let _turn = TURN.lock().await;
    if kind() != Kind::Chromium {
        // The other drivers have no say in where downloads go.
        return;
    }
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    phone.open(&format!("{}?at=week/service/2026-W10/1", shop.address())).await.unwrap();
    phone.press("button", "Remove: Ginger tofu with broccoli").await.unwrap();
    phone.see_gone("button", "Remove: Ginger tofu with broccoli").await.unwrap();
    let downloads = TempDir::new().unwrap();
    let allowed = json!({ "behavior": "allow", "downloadPath": downloads.path() });
    phone.devtools("Browser.setDownloadBehavior", allowed).await.unwrap();
    phone.open(&format!("{}?at=more/folder", shop.address())).await.unwrap();
    phone.press("button", "Save as a zip file").await.unwrap();
    let zip = phone.downloaded(downloads.path()).await.unwrap();

    let other = Phone::new(kind()).await.unwrap();
    other.open(&shop.address()).await.unwrap();
    other.see("button", "Bring in a kitchen folder").await.unwrap();
    other.give_file("Bring in a kitchen folder", &zip).await.unwrap();
    other.see("heading", "Weeks").await.unwrap();
    other.open(&format!("{}?at=week/service/2026-W10/1", shop.address())).await.unwrap();
    other.see("button", "Remove: Feta and asparagus frittata").await.unwrap();
    assert_eq!(other.count("button", "Remove: Ginger tofu with broccoli").await.unwrap(), 0);
}

/// A kitchen whose one dish takes many foods: its files by path.
pub(crate) fn large_kitchen(lines: usize) -> Vec<(&'static str, String)> {
    let catalog = Catalog::builtin();
    let names: BTreeSet<&str> = catalog.foods().map(|(_, food)| food.name.as_str()).collect();
    assert!(names.len() >= lines, "the catalogue has {} foods", names.len());
    let ingredients: String = names.iter().take(lines).map(|name| format!("- 100 g {name}\n")).collect();
    let dish = format!("# Everything\n\nServes 4\n\n## Ingredients\n\n{ingredients}\n## Method\n\nCook.\n");
    let files = [
        (
            "kitchen.toml",
            "name = \"Long Table\"\ncurrency = \"USD\"\nunits = \"us\"\nallergens = \"us\"\nkit = \"kit\"\nstore = \"hall\"\n",
        ),
        ("households/elms.toml", "name = \"The Elms\"\nshort = \"EL\"\n\n[[diner]]\nname = \"Wyn\"\nportion = 4.0\n"),
        (
            "weeks/2026-W10.toml",
            "[[service]]\nhousehold = \"elms\"\nshop = 2026-03-04\ncook = 2026-03-05\n\n[[service.dish]]\ndish = \"everything\"\n",
        ),
        ("stores/hall.toml", "name = \"Market Hall\"\nsections = [\"produce\", \"dairy\", \"meat\"]\n"),
        ("pantries/kit.csv", "food,amount,keep,use_by\n"),
        ("dishes/everything.md", dish.as_str()),
    ];
    files.map(|(path, text)| (path, text.to_owned())).into()
}

/// Files as a zip.
fn zipped(files: &[(&str, String)]) -> Vec<u8> {
    let mut zip = Vec::new();
    let mut archive = rawzip::ZipArchiveWriter::new(&mut zip);
    for (path, text) in files {
        let (mut entry, config) = archive.new_file(path).start().unwrap();
        let mut writer = config.wrap(&mut entry);
        writer.write_all(text.as_bytes()).unwrap();
        let (_, descriptor) = writer.finish().unwrap();
        entry.finish(descriptor).unwrap();
    }
    archive.finish().unwrap();
    zip
}

/// A phone with a trip of 400 lines on its screen.
pub(crate) async fn with_long_list(shop: &Shop) -> Seen<Phone> {
    let folder = TempDir::new().map_err(|error| error.to_string())?;
    let zip = folder.path().join("long-table.zip");
    std::fs::write(&zip, zipped(&large_kitchen(400))).map_err(|error| error.to_string())?;
    let phone = Phone::new(kind()).await?;
    phone.open(&shop.address()).await?;
    phone.see("button", "Bring in a kitchen folder").await?;
    phone.give_file("Bring in a kitchen folder", &zip).await?;
    phone.see("heading", "Weeks").await?;
    phone.open(&format!("{}?at=week/2026-W10", shop.address())).await?;
    phone.press("button", "Start a shopping trip").await?;
    phone.see("dialog", "").await?;
    phone.press("button", "Start a shopping trip").await?;
    phone.see_gone("dialog", "").await?;
    phone.see("checkbox", "").await?;
    Ok(phone)
}

#[tokio::test]
async fn a_list_of_400_lines_is_worked_through() {
    let _turn = TURN.lock().await;
    if kind() == Kind::WebKit {
        // Its driver gives no files to a field that is hidden.
        return;
    }
    let shop = Shop::open().unwrap();
    let phone = with_long_list(&shop).await.unwrap();
    let lines = phone.count("checkbox", "").await.unwrap();
    assert!((390..=400).contains(&lines), "{lines} lines; foods that the dish takes twice are one");
    phone.picture("long").await.unwrap();
    phone.fill("Search the list", "apple").await.unwrap();
    let food = first_line(&phone).await.unwrap();
    assert!(food.to_lowercase().contains("apple"), "{food}");
    phone.press("checkbox", &food).await.unwrap();
    phone.sync_says(&["on this phone"]).await.unwrap();
    phone.open(&shop.address()).await.unwrap();
    phone.read("1 got").await.unwrap();
}

#[tokio::test]
async fn a_field_that_must_be_filled_in_says_so_in_the_language_of_the_app() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    phone.open(&format!("{}?at=more/settings", shop.address())).await.unwrap();
    phone.press("radio", "Español").await.unwrap();
    phone.press("link", "Semana").await.unwrap();
    phone.press("link", "Tiendas").await.unwrap();
    phone.press("button", "Agregar").await.unwrap();
    phone.read("Llena este campo").await.unwrap();
    let focused = phone.script(FOCUSED, Vec::new()).await.unwrap();
    assert_eq!(focused, json!("Tienda nueva"), "who reads is taken to the field");
    phone.fill("Tienda nueva", "Mercado").await.unwrap();
    assert!(!phone.text().await.unwrap().contains("Llena este campo"));
    phone.press("button", "Agregar").await.unwrap();
    phone.see("heading", "Mercado").await.unwrap();
}
