//! What concerns every screen.

use yew::prelude::*;

use crate::desk::{News, use_desk};
use crate::look::{Button, Kind, Notice, Tone};
use crate::platform::updates::{self, Update, Updates};
use crate::words::t;

/// What concerns every screen: storage that takes nothing, a new version, and what others did.
#[component]
pub(crate) fn Standing() -> Html {
    let desk = use_desk();
    let waiting = use_state(|| false);
    let watch = use_mut_ref(|| Option::<Updates>::None);
    let heard = use_state(Vec::<News>::new);
    {
        let (waiting, watch, desk) = (waiting.setter(), watch.clone(), desk.clone());
        use_effect_with((), move |()| {
            *watch.borrow_mut() = updates::watch(move |update| match update {
                Update::Waiting => waiting.set(true),
                Update::TakenOver => desk.reload_once_stored(),
            });
        });
    }
    {
        let (heard, desk) = (heard.clone(), desk.clone());
        use_effect_with(desk.version(), move |_| {
            let news: Vec<News> = desk.take_news().into_iter().filter(concerns_everybody).collect();
            if !news.is_empty() {
                heard.set(news);
            }
        });
    }
    let take_over = Callback::from(move |_: MouseEvent| {
        if let Some(updates) = &*watch.borrow() {
            updates.take_over();
        }
    });
    let read = {
        let heard = heard.setter();
        Callback::from(move |_: MouseEvent| heard.set(Vec::new()))
    };
    html! { <>
        if desk.storage_trouble().is_some() {
            <Notice tone={Tone::Trouble} title={t!("error.storage_title")}>{ t!("error.storage_text") }</Notice>
        }
        if *waiting {
            <Notice tone={Tone::Plain} title={t!("common.update_title")}>
                <p>{ t!("common.update_text") }</p>
                <Button label={t!("common.update_now")} on_press={take_over} />
            </Notice>
        }
        if !heard.is_empty() {
            <Notice tone={Tone::Plain}>
                { for heard.iter().map(|news| html! { <p>{ news_text(news) }</p> }) }
                <Button label={t!("common.close")} kind={Kind::Quiet} on_press={read} />
            </Notice>
        }
    </> }
}

/// Picks and changes of plan are shown where they happened; these stand everywhere.
fn concerns_everybody(news: &News) -> bool {
    !matches!(news, News::Merged(..))
}

fn news_text(news: &News) -> AttrValue {
    match news {
        News::Merged(..) => AttrValue::default(),
        News::WentBack(_) => t!("error.went_back"),
        News::Halted(_) => t!("error.halted"),
        News::Quarantined(_, why) => t!("error.quarantined", why = why),
        News::Left(_) => t!("error.left"),
        News::Trouble(_, why) => t!("error.relay", why = why),
    }
}
