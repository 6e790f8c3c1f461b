//! Something else in a food's place, checked against everybody on the line.

use std::rc::Rc;

use trug_provision::guard::ConflictKind;
use trug_replica::run::PlanLine;
use yew::prelude::*;

use super::hands::Hands;
use super::instead::{Foods, Verdict, wishes};
use super::seen::Seen;
use crate::look::{AllergyAlert, Button, Disclosure, Field, Kind, Notice, Toggle, Tone};
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct SubProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) line: Rc<PlanLine>,
    /// Told what is taken instead, once nothing stands against it or the person has said so.
    pub(super) on_sub: Callback<String>,
}

#[component]
pub(super) fn Sub(props: &SubProps) -> Html {
    let written = use_state(String::new);
    let anyway = use_state(|| false);
    let asked = use_state(|| false);
    let kitchen = props.hands.desk.kitchen().and_then(Result::ok);
    let foods = || kitchen.as_ref().map_or_else(Foods::builtin, |now| Foods::of(&now.kitchen));
    let wishes = wishes(&props.hands.desk, &props.hands.id, &props.line, &props.seen.who);
    let verdicts = foods().judge(&written, &wishes);
    let is_alert = verdicts.iter().any(Verdict::is_alert);
    let empty = written.trim().is_empty();
    let stopped = empty || (is_alert && !*anyway) || (props.line.ask && !*asked);
    let write = {
        let (written, anyway) = (written.setter(), anyway.setter());
        Callback::from(move |text: String| {
            written.set(text);
            // What was said of one food is not said of the next.
            anyway.set(false);
        })
    };
    let on_press = {
        let (on_sub, written) = (props.on_sub.clone(), written.clone());
        Callback::from(move |_: MouseEvent| on_sub.emit(written.trim().to_owned()))
    };
    let set = |flag: &UseStateHandle<bool>| {
        let flag = flag.setter();
        Callback::from(move |on| flag.set(on))
    };
    html! {
        <Disclosure title={t!("shop.sub")} count={if props.line.ask { t!("shop.no_sub_ask") } else { AttrValue::default() }}>
            if props.line.ask {
                <Notice tone={Tone::Care} title={t!("shop.no_sub_ask")}>{ t!("shop.sub_ask_chef") }</Notice>
            }
            if !props.line.subs.is_empty() {
                <p>{ t!("shop.subs_cleared") }</p>
                <div class="strip">{ for props.line.subs.iter().map(|sub| cleared(sub, &write)) }</div>
            }
            <Field
                label={t!("shop.what_taken")}
                value={(*written).clone()}
                suggestions={foods().suggest(&written)}
                on_input={write.clone()}
            />
            if !empty { { judged(&verdicts, &written) } }
            if is_alert { <Toggle label={t!("shop.anyway")} on={*anyway} on_change={set(&anyway)} /> }
            if props.line.ask && !empty { <Toggle label={t!("shop.asked")} on={*asked} on_change={set(&asked)} /> }
            <Button
                label={t!("shop.sub_take")}
                kind={if is_alert { Kind::Danger } else { Kind::Plain }}
                {on_press}
                disabled={stopped || props.seen.read_only}
            />
        </Disclosure>
    }
}

fn cleared(sub: &str, write: &Callback<String>) -> Html {
    let on_press = {
        let (write, sub) = (write.clone(), sub.to_owned());
        Callback::from(move |_: MouseEvent| write.emit(sub.clone()))
    };
    html! { <Button label={sub.to_owned()} {on_press} /> }
}

/// What stands against a food, louder for an allergy.
fn judged(verdicts: &[Verdict], food: &str) -> Html {
    let one = |verdict: &Verdict| {
        let text = verdict.text(food);
        match verdict.wish.kind {
            _ if verdict.is_alert() => html! { <AllergyAlert title={t!("common.allergy_alert")} {text} urgent=true /> },
            ConflictKind::Allergy => html! { <Notice tone={Tone::Care}>{ text }</Notice> },
            ConflictKind::Avoid | ConflictKind::Diet => html! { <Notice>{ text }</Notice> },
        }
    };
    html! { <div class="shop-verdicts" aria-live="polite">
        { for verdicts.iter().map(one) }
        <p class="shop-hint">{ t!("shop.sub_checked") }</p>
    </div> }
}
