//! The pictures of the README, made from the demo: `cargo xtask pictures`.

use crate::browser::{Phone, Seen, Shop};
use crate::{TURN, first_line, with_demo};

async fn take(phone: &Phone, name: &str) -> Seen<()> {
    // Messages go after a while, and what was got moves to its own group.
    tokio::time::sleep(std::time::Duration::from_secs(9)).await;
    phone.picture(name).await
}

#[tokio::test]
#[ignore = "makes pictures: cargo xtask pictures"]
async fn the_readme_has_pictures_of_the_demo() {
    let _turn = TURN.lock().await;
    let shop = Shop::open().unwrap();
    let phone = with_demo(&shop).await.unwrap();
    let food = first_line(&phone).await.unwrap();
    phone.press("checkbox", &food).await.unwrap();
    phone.press("link", "Shop").await.unwrap();
    phone.fill("Search the list", "chicken").await.unwrap();
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
