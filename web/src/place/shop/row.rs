//! One line of the list on the screen. It is drawn anew only when what it says has changed.

use std::rc::Rc;

use trug_replica::id::LineId;
use yew::prelude::*;

use super::scene::{Ask, Row};
use crate::look::{
    AllergyAlertProps, BadgeProps, Button, ButtonProps, Kind, Notice, Shape, TickRowProps, Tone, allergy_alert, badge,
    button, icon, use_tick_row,
};
use crate::words::t;

/// What is done with a row.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Act {
    /// The box is ticked or cleared.
    Tick(LineId, bool),
    /// Everything else that can be done with it.
    More(LineId),
    /// What this device bought goes back to the shelf.
    PutBack(LineId),
    /// What was bought stays, as these words say.
    Keep(LineId, AttrValue),
}

#[derive(Properties, PartialEq)]
pub(super) struct LineRowProps {
    pub(super) row: Rc<Row>,
    pub(super) on_act: Callback<Act>,
    /// It cannot be ticked: a newer program has written in this trip.
    #[prop_or_default]
    pub(super) still: bool,
}

#[component]
pub(super) fn LineRow(props: &LineRowProps) -> Html {
    let row = &props.row;
    // A tick that is not taken up leaves the browser's box other than the row says: drawing it sets it right.
    let again = use_force_update();
    let id = row.id.clone();
    let on_tick = props.on_act.reform({
        let id = id.clone();
        move |on| {
            again.force_update();
            Act::Tick(id.clone(), on)
        }
    });
    let on_more = props.on_act.reform(move |_: MouseEvent| Act::More(id.clone()));
    let side = button(&yew::props!(ButtonProps {
        label: t!("shop.options_short"),
        name: Some(t!("shop.options", food = row.food)),
        kind: Kind::Quiet,
        on_press: on_more,
    }));
    let badges = if row.marks.is_empty() {
        Html::default()
    } else {
        let one =
            |(text, tone): &(AttrValue, Tone)| badge(&yew::props!(BadgeProps { text: text.clone(), tone: *tone }));
        row.marks.iter().map(one).collect()
    };
    use_tick_row(&yew::props!(TickRowProps {
        name: row.food.clone(),
        take: row.take.clone(),
        state: row.ticked,
        lines: row.lines.clone(),
        on_tick,
        badges,
        side,
        under: under(row, &props.on_act),
        disabled: props.still,
    }))
}

fn under(row: &Row, on_act: &Callback<Act>) -> Html {
    if row.alerts.is_empty() && row.must_not.is_none() && row.ask.is_none() {
        return Html::default();
    }
    html! { <>
        { for row.alerts.iter().map(alert) }
        if let Some(text) = &row.must_not {
            <p class="shop-must-not">{ icon(Shape::Allergy) }<span>{ text }</span></p>
        }
        if let Some(ask) = &row.ask { { asked(row, ask, on_act) } }
    </> }
}

fn alert(text: &AttrValue) -> Html {
    allergy_alert(&yew::props!(AllergyAlertProps { title: t!("common.allergy_alert"), text: text.clone() }))
}

fn asked(row: &Row, ask: &Ask, on_act: &Callback<Act>) -> Html {
    let act = |act: Act| on_act.reform(move |_: MouseEvent| act.clone());
    html! {
        <Notice tone={Tone::Care} title={ask.title.clone()}>
            <p>{ &ask.text }</p>
            <div class="strip no-paper">
                if ask.mine {
                    <Button
                        label={t!("shop.put_back")}
                        name={Some(t!("shop.put_back_of", food = row.food))}
                        on_press={act(Act::PutBack(row.id.clone()))}
                    />
                }
                <Button
                    label={ask.keep.clone()}
                    name={Some(AttrValue::from(format!("{}: {}", ask.keep, row.food)))}
                    on_press={act(Act::Keep(row.id.clone(), ask.keep.clone()))}
                />
            </div>
        </Notice>
    }
}
