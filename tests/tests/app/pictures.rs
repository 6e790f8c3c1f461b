//! The pictures of the README, made from the demo: `cargo xtask pictures`.

use serde_json::json;

use crate::browser::{Phone, Seen, Shop};
use crate::{TURN, first_line, with_demo};

async fn take(phone: &Phone, name: &str) -> Seen<()> {
    // What was got moves to its own group after a while.
    tokio::time::sleep(std::time::Duration::from_secs(5)).await;
    phone.picture(name).await
}

#[tokio::test]
#[ignore = "makes pictures: cargo xtask pictures"]
async fn the_readme_has_pictures_of_the_demo() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    let screen = json!({ "width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": true });
    phone.devtools("Emulation.setDeviceMetricsOverride", screen).await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.press("checkbox", &food).await.unwrap();
    phone.press("button", "Close").await.unwrap();
    take(&phone, "shop").await.unwrap();
    let dark = "document.documentElement.setAttribute('data-scheme', 'dark')";
    for (place, scheme, name) in
        [("week/2026-W10", "", "week"), ("week/dish/lentil-soup", "", "dish"), ("pantries", dark, "pantries")]
    {
        phone.open(&format!("{}?at={place}", shop.address())).await.unwrap();
        phone.see("heading", "").await.unwrap();
        phone.script(scheme, Vec::new()).await.unwrap();
        take(&phone, name).await.unwrap();
    }
}
