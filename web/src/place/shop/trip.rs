//! One shopping trip on the screen.

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::rc::Rc;

use gloo::timers::callback::Timeout;
use trug_device::DocId;
use trug_measure::System;
use trug_provision::kitchen::Kitchen;
use trug_replica::Document as _;
use trug_replica::gather;
use trug_replica::id::{Alias, LineId, PickId, Stamp};
use yew::prelude::*;

use super::cold::ColdClock;
use super::hands::{Hands, own_picks, whole};
use super::list::{Filter, List, Shows};
use super::over::{Over, OverList};
use super::purse::{Purse, against};
use super::row::Act;
use super::scene::{Group, Raw};
use super::seen::{Knows, Seen};
use crate::app::{Frame, use_going};
use crate::desk::{Desk, KitchenNow, stamp, use_desk};
use crate::later::{self, InTime, Scene};
use crate::look::{Button, Empty, Field, Input, Kind, Notice, Shape, Toast, Toggle, Tone, icon, progress};
use crate::platform::frame;
use crate::platform::wake::Awake;
use crate::words::{spoken, t};

/// How long a row that was got stays where it was, in milliseconds: nothing moves under the thumb.
const LINGER: u32 = 4_000;

#[derive(Properties, PartialEq)]
pub(super) struct TripProps {
    pub(super) id: AttrValue,
}

/// Names of what this browser alone remembers of a trip.
pub(super) fn here_key(id: &DocId) -> String {
    format!("here/{id}")
}

fn cold_key(id: &DocId) -> String {
    format!("cold/{id}")
}

/// What this browser remembers for all trips.
pub(super) const HIDE: &str = "hide-got";
/// The screen may go off.
pub(super) const SLEEP: &str = "may-sleep";

/// Whether something that this browser remembers is said.
pub(super) fn is_set(desk: &Desk, name: &str) -> bool {
    desk.preference(name).as_deref() == Some("yes")
}

/// What a reading of the trip depends on.
type Key = (Vec<[u8; 32]>, Option<Rc<KitchenNow>>, bool, &'static str, Rc<HashMap<LineId, String>>);

/// The trip as it is now, read again only when it, the kitchen or the language has changed.
#[hook]
fn use_seen(desk: &Desk, id: &DocId, changed: &Rc<HashMap<LineId, String>>) -> Option<Rc<Seen>> {
    // One that is over may wait to be opened.
    use_memo(id.clone(), |id| desk.wake(id));
    let raw = use_memo((), |()| Raw::default());
    let before = use_mut_ref(|| None::<Rc<Seen>>);
    let kitchen = desk.kitchen().and_then(Result::ok);
    let heads = desk.read(|device| device.run(id).map(|run| run.heads().into_iter().map(|head| head.0).collect()));
    let key: Option<Key> =
        heads.map(|heads| (heads, kitchen.clone(), later::here().is_some(), spoken().tag(), changed.clone()));
    let seen = use_memo((key, id.clone()), |(key, id)| {
        key.as_ref()?;
        let kitchen = kitchen.as_ref().map(|now| &now.kitchen);
        let knows = Knows {
            tables: kitchen.map_or_else(|| remembered(desk, id), |kitchen| names_now(desk, id, kitchen)),
            units: units(desk, kitchen),
            changed: (**changed).clone(),
            raw: &raw,
        };
        let seen = desk.read(|device| Some(Rc::new(Seen::of(device.run(id)?, knows, before.borrow().as_deref()))))?;
        before.replace(Some(seen.clone()));
        Some(seen)
    });
    {
        let (desk, id) = (desk.clone(), id.clone());
        use_effect_with(kitchen, move |kitchen| {
            if let Some(now) = kitchen {
                remember(&desk, &id, &now.kitchen);
            }
        });
    }
    (*seen).clone()
}

fn names_now(desk: &Desk, id: &DocId, kitchen: &Kitchen) -> BTreeMap<Alias, String> {
    // What reads the kitchen is here, or there were none.
    let shop = later::here().map(|later| later.shop);
    shop.map(|shop| desk.read(|device| (shop.names)(device, id, kitchen))).unwrap_or_default()
}

fn names_key(id: &DocId) -> String {
    format!("names/{id}")
}

/// Keeps what the list needs of the kitchen, so that it opens with the right names and units before the kitchen is read.
fn remember(desk: &Desk, id: &DocId, kitchen: &Kitchen) {
    let units = if kitchen.units == System::Metric { "metric" } else { "us" };
    let names: String =
        names_now(desk, id, kitchen).into_iter().map(|(alias, name)| format!("{alias}\t{name}\n")).collect();
    for (key, now) in [("units", units), (&names_key(id), &names)] {
        if desk.preference(key).as_deref() != Some(now) {
            desk.prefer(key, now);
        }
    }
}

/// What the households were called when the kitchen was last read.
fn remembered(desk: &Desk, id: &DocId) -> BTreeMap<Alias, String> {
    let names = desk.preference(&names_key(id)).unwrap_or_default();
    let lines = names.lines().filter_map(|line| line.split_once('\t'));
    gather::map(lines.filter_map(|(alias, name)| Some((Alias::new(alias).ok()?, name.to_owned()))))
}

/// The kitchen's units; a helper's as they were chosen.
fn units(desk: &Desk, kitchen: Option<&Kitchen>) -> System {
    match kitchen {
        Some(kitchen) => kitchen.units,
        None if desk.preference("units").as_deref() == Some("metric") => System::Metric,
        None => System::Us,
    }
}

/// Rows that were got a moment ago, and where rows stood when they were last drawn.
#[derive(Default)]
struct Lingering {
    stood: HashMap<LineId, Group>,
    rows: HashSet<LineId>,
}

/// The rows that stay where they are for a moment after they were got.
#[hook]
fn use_lingering(seen: Option<&Rc<Seen>>) -> Rc<HashSet<LineId>> {
    let state = use_mut_ref(Lingering::default);
    let again = use_force_update();
    let rows = use_memo(seen.cloned(), |seen| {
        let mut state = state.borrow_mut();
        let Some(seen) = seen else { return };
        for item in &seen.items {
            let was = state.stood.insert(item.id.clone(), item.group);
            let open = matches!(was, Some(Group::ToGet | Group::Nowhere | Group::Gone | Group::Look));
            match item.group {
                Group::Got if open => drop(state.rows.insert(item.id.clone())),
                Group::Got => {}
                _ => drop(state.rows.remove(&item.id)),
            }
        }
    });
    {
        let state = state.clone();
        use_effect_with(rows, move |_| {
            let waits = !state.borrow().rows.is_empty();
            let timer = waits.then(|| {
                Timeout::new(LINGER, move || {
                    state.borrow_mut().rows.clear();
                    again.force_update();
                })
            });
            move || drop(timer)
        });
    }
    Rc::new(state.borrow().rows.clone())
}

/// What handlers need of the latest drawing.
struct Latest {
    seen: Rc<Seen>,
    hands: Hands,
}

/// Says what others did, once, and marks the lines that changed.
#[hook]
fn use_heard(
    desk: &Desk,
    id: &DocId,
    seen: Option<&Rc<Seen>>,
    changed: &UseStateHandle<Rc<HashMap<LineId, String>>>,
    say: &Callback<Toast>,
) {
    let before = use_mut_ref(|| None::<Rc<Seen>>);
    let number = use_mut_ref(|| 1_u32);
    let (desk, id, changed, say) = (desk.clone(), id.clone(), changed.clone(), say.clone());
    use_effect_with((seen.cloned(), desk.version()), move |(seen, _)| {
        let Some(seen) = seen else { return };
        // Until somebody can put it into words, it waits.
        let Some(later) = later::here() else { return };
        let told = desk.take_told(&id);
        // Whoever has just joined is not told that the whole list is new.
        let before = before.replace(Some(seen.clone())).filter(|before| !before.lines.is_empty());
        if let Some(before) = before.filter(|_| !told.is_empty()) {
            let heard = (later.shop.heard)(&told, seen, &before);
            if let Some(text) = heard.text {
                let mut number = number.borrow_mut();
                *number += 2;
                say.emit(Toast { id: *number, text, undo: None });
            }
            if !heard.changed.is_empty() {
                let mut all = (**changed).clone();
                all.extend(heard.changed);
                changed.set(Rc::new(all));
            }
        }
    });
}

#[component]
pub(super) fn Trip(props: &TripProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let id = DocId::from(&*props.id);
    let changed = use_state(|| Rc::new(HashMap::<LineId, String>::new()));
    let seen = use_seen(&desk, &id, &changed);
    let lingering = use_lingering(seen.as_ref());
    let over = use_state(|| Over::Nothing);
    let query = use_state(String::new);
    let mine = use_state(|| false);
    let own = use_state(|| None::<Toast>);
    let news = use_state(|| None::<Toast>);
    let say_news = {
        let news = news.setter();
        use_callback((), move |toast: Toast, ()| news.set(Some(toast)))
    };
    use_heard(&desk, &id, seen.as_ref(), &changed, &say_news);
    use_awake(!is_set(&desk, SLEEP));
    let number = use_mut_ref(|| 2_u32);
    let say = {
        let own = own.setter();
        use_callback((), move |(text, undo): (AttrValue, Option<Callback<()>>), ()| {
            let mut number = number.borrow_mut();
            *number += 2;
            let undo = undo.map(|undo| (t!("common.undo"), undo));
            own.set(Some(Toast { id: *number, text, undo }));
        })
    };
    let latest = use_mut_ref(|| None::<Latest>);
    let store = desk.preference(&here_key(&id)).filter(|store| !store.is_empty());
    let hands = Hands { desk: desk.clone(), id: id.clone(), store };
    latest.replace(seen.clone().map(|seen| Latest { seen, hands: hands.clone() }));
    let on_act = {
        let over = over.setter();
        use_callback(say.clone(), move |act: Act, say| act_on(&latest, act, &over, say))
    };
    let open = {
        let over = over.setter();
        use_callback((), move |what: Over, ()| over.set(what))
    };
    let purse = {
        let hands = hands.clone();
        use_memo(seen.clone(), move |seen| {
            let (later, seen) = (later::here()?, seen.as_ref()?);
            (later.shop.purse)(&hands, seen).map(Rc::new)
        })
    };
    let purse = (*purse).clone();
    let Some(seen) = seen else { return gone(&going.to("shop")) };
    let on_gone = {
        let (own, news) = (own.clone(), news.clone());
        Callback::from(move |id: u32| {
            for toast in [&own, &news] {
                if toast.as_ref().is_some_and(|toast| toast.id == id) {
                    toast.set(None);
                }
            }
        })
    };
    let is_own = desk.entries().iter().any(|entry| entry.id == id && entry.owned);
    let title = if seen.title.is_empty() { t!("shop.title") } else { seen.title.clone().into() };
    let filter = Filter { query: (*query).clone(), mine: *mine, store: hands.store.clone() };
    html! {
        <Frame
            place="shop"
            {title}
            back={back(&desk, &going)}
            actions={actions(&open)}
            below={head(&seen, purse.as_deref(), &open)}
            over={over_list(OverList {
                what: (*over).clone(),
                hands: hands.clone(),
                seen: seen.clone(),
                purse: purse.clone(),
                on_over: open.clone(),
                say: say.clone(),
            })}
            toasts={[(*news).clone(), (*own).clone()].into_iter().flatten().collect::<Vec<_>>()}
            {on_gone}
        >
            <p class="paper-only">{ t!("shop.print_title") }{" · "}{ &seen.title }</p>
            { notices(&hands, &seen) }
            { decide(&hands, &seen, &open, &say) }
            { clock(&hands, &seen) }
            { find(&seen, &query, &mine, &changed, &open, &going.to(format!("more/share/{id}"))) }
            <List
                shows={Shows { seen: seen.clone(), lingering, filter, hide: is_set(&desk, HIDE), own: is_own }}
                {on_act}
            />
            { end(&seen, &hands, &open) }
        </Frame>
    }
}

/// Where two devices said different things.
fn decide(
    hands: &Hands,
    seen: &Rc<Seen>,
    on_over: &Callback<Over>,
    say: &Callback<(AttrValue, Option<Callback<()>>)>,
) -> Html {
    if seen.conflicts.is_empty() {
        return Html::default();
    }
    let (hands, seen) = (hands.clone(), seen.clone());
    over_list(OverList { what: Over::Decide, hands, seen, purse: None, on_over: on_over.clone(), say: say.clone() })
}

fn over_list(over: OverList) -> Html {
    match over.what {
        Over::Nothing => Html::default(),
        Over::Decide => {
            html! { <InTime scene={Scene::OverList(over.into())} meanwhile={Html::default()} quiet=true /> }
        }
        _ => html! { <InTime scene={Scene::OverList(over.into())} /> },
    }
}

/// The screen stays on for as long as the trip is shown.
#[hook]
fn use_awake(wanted: bool) {
    use_effect_with(wanted, |wanted| {
        let awake = wanted.then(Awake::start);
        move || drop(awake)
    });
}

/// The trip is not here: withdrawn, put away, or a link of another device's.
fn gone(on_back: &Callback<MouseEvent>) -> Html {
    html! {
        <Frame place="shop" title={t!("shop.title")}>
            <Empty title={t!("shop.not_here")} text={t!("shop.not_here_text")} icon={Shape::Basket}>
                <Button label={t!("shop.trips")} on_press={on_back.clone()} />
            </Empty>
        </Frame>
    }
}

fn back(desk: &Desk, going: &crate::app::Going) -> Html {
    if desk.read(|device| device.trips().len()) < 2 {
        return Html::default();
    }
    html! { <Button label={t!("shop.trips")} bare=true icon={Shape::Back} kind={Kind::Quiet} on_press={going.to("shop/trips")} /> }
}

fn actions(open: &Callback<Over>) -> Html {
    let tools = open.reform(|_: MouseEvent| Over::Tools);
    html! { <Button label={t!("shop.tools")} bare=true icon={Shape::More} on_press={tools} /> }
}

/// What is left, and for the chef what is spent.
fn head(seen: &Seen, purse: Option<&Purse>, open: &Callback<Over>) -> Html {
    let (left, got) = (seen.count(Group::ToGet), seen.count(Group::Got) + seen.count(Group::Look));
    let nowhere = seen.count(Group::Nowhere);
    let label = if left == 0 && got > 0 { t!("shop.all_got") } else { t!("shop.left", count = left) };
    let mut text = t!("shop.got_count", count = got).to_string();
    if nowhere > 0 {
        text = format!("{text} · {}", t!("shop.none_count", count = nowhere));
    }
    let on_purse = open.reform(|_: MouseEvent| Over::Purse);
    html! {
        <div class="shop-head">
            { progress(label, text.into(), got, left + got + nowhere) }
            if let Some(purse) = purse {
                <Button
                    label={against(purse.spent.total, purse.budget)}
                    name={Some(AttrValue::from(format!("{}. {}", against(purse.spent.total, purse.budget), t!("shop.money"))))}
                    kind={Kind::Quiet}
                    on_press={on_purse}
                />
            }
        </div>
    }
}

/// What concerns the trip as a whole.
fn notices(hands: &Hands, seen: &Rc<Seen>) -> Html {
    let quarantined = hands.desk.read(|device| device.shelf(&hands.id).map_or(0, trug_device::Shelf::quarantined));
    html! { <>
        if seen.read_only { <Notice tone={Tone::Trouble}>{ t!("error.newer") }</Notice> }
        if seen.unreadable > 0 { <Notice tone={Tone::Care}>{ t!("shop.unreadable", count = seen.unreadable) }</Notice> }
        if quarantined > 0 { <Notice tone={Tone::Care}>{ t!("shop.set_aside", count = quarantined) }</Notice> }
        if hands.desk.is_chef() { <InTime scene={Scene::Behind(hands.clone())} meanwhile={Html::default()} quiet=true /> }
        { for seen.remarks.iter().map(|(by, note)| html! {
            <Notice>{ t!("shop.said", who = seen.who.person(*by), text = note.text) }</Notice>
        }) }
    </> }
}

fn clock(hands: &Hands, seen: &Seen) -> Html {
    let key = cold_key(&hands.id);
    let after = hands.desk.preference(&key).and_then(|text| text.parse().ok()).map_or(Stamp(i64::MIN), Stamp);
    let Some(since) = seen.cold_since(after) else { return Html::default() };
    let on_cold = {
        let desk = hands.desk.clone();
        Callback::from(move |()| desk.prefer(&key, &stamp().0.to_string()))
    };
    html! { <ColdClock {since} {on_cold} /> }
}

/// Searching, adding, handing the list over, and leaving out what somebody else takes.
fn find(
    seen: &Seen,
    query: &UseStateHandle<String>,
    mine: &UseStateHandle<bool>,
    changed: &UseStateHandle<Rc<HashMap<LineId, String>>>,
    open: &Callback<Over>,
    share: &Callback<MouseEvent>,
) -> Html {
    let on_input = {
        let query = query.setter();
        Callback::from(move |text| query.set(text))
    };
    let on_mine = {
        let mine = mine.setter();
        Callback::from(move |on| mine.set(on))
    };
    let on_noted = {
        let changed = changed.setter();
        Callback::from(move |_: MouseEvent| changed.set(Rc::default()))
    };
    let add = open.reform(|_: MouseEvent| Over::Add);
    html! {
        <div class="shop-find no-paper">
            <div class="shop-find-row">
                { icon(Shape::Search) }
                <Field label={t!("shop.search")} hide_label=true input={Input::Search} value={(**query).clone()} {on_input} />
                <Button label={t!("shop.add_hand")} bare=true icon={Shape::Plus} on_press={add} />
                <Button label={t!("shop.share")} bare=true icon={Shape::Send} on_press={share.clone()} />
            </div>
            if !seen.beside.claims.is_empty() { <Toggle label={t!("shop.mine")} on={**mine} on_change={on_mine} /> }
            if !changed.is_empty() {
                <Notice title={t!("shop.changed_some", count = changed.len())}>
                    <Button label={t!("shop.changed_seen")} kind={Kind::Quiet} on_press={on_noted} />
                </Notice>
            }
        </div>
    }
}

/// What comes after the list.
fn end(seen: &Seen, hands: &Hands, open: &Callback<Over>) -> Html {
    let add = open.reform(|_: MouseEvent| Over::Add);
    let finish = open.reform(|_: MouseEvent| Over::Finish);
    let owned = hands.desk.is_chef() && !hands.desk.read(|device| device.is_finished(&hands.id));
    html! {
        <div class="shop-end no-paper">
            <Button label={t!("shop.add_hand")} icon={Shape::Plus} on_press={add} />
            if owned && seen.count(Group::Got) > 0 {
                <Button label={t!("shop.trip_done")} on_press={finish} />
            }
            <p class="shop-hint">{ t!("safety.first") }</p>
        </div>
    }
}

pub(super) fn undo(hands: &Hands, picks: Vec<PickId>) -> Callback<()> {
    let hands = hands.clone();
    Callback::from(move |()| {
        // A trip that cannot be written says so at its top.
        let _ = hands.strike(&picks);
    })
}

/// Carries out what was done with a row.
fn act_on(
    latest: &Rc<RefCell<Option<Latest>>>,
    act: Act,
    over: &UseStateSetter<Over>,
    say: &Callback<(AttrValue, Option<Callback<()>>)>,
) {
    let (seen, hands) = match &*latest.borrow() {
        Some(Latest { seen, hands }) => (seen.clone(), hands.clone()),
        None => return,
    };
    let done = match act {
        Act::More(line) => return over.set(Over::Line(line)),
        Act::Tick(line, on) => {
            let Some(view) = seen.line(&line) else { return };
            let food = view.line.as_deref().map(|line| line.food().to_owned()).unwrap_or_default();
            if on {
                let picked = hands.pick(&hands.now(view, whole(view)));
                picked.map(|pick| (t!("shop.ticked", food = food), Some(undo(&hands, vec![pick]))))
            } else {
                let own = hands.own_picks_now(&line, seen.who.me);
                if own.is_empty() {
                    // Somebody else's: whoever undoes it sees whose it is.
                    return over.set(Over::Line(line));
                }
                hands.strike(&own).map(|()| (t!("shop.unticked", food = food), None))
            }
        }
        Act::PutBack(line) => {
            let Some(view) = seen.line(&line) else { return };
            hands.strike(&own_picks(view, seen.who.me)).map(|()| (t!("common.undone"), None))
        }
        Act::Keep(line, words) => hands.note(Some(line), &words).map(|()| (words, None)),
    };
    let said = done.unwrap_or_else(|error| (error.to_string().into(), None));
    let say = say.clone();
    frame::after_paint(move || say.emit(said));
}
