//! The quiet clock: how long cold food has been out of the cold.

use gloo::timers::callback::Interval;
use trug_replica::id::Stamp;
use yew::prelude::*;

use super::figures::span;
use crate::desk::stamp;
use crate::look::{Button, Kind, Notice, Shape, Tone, icon};
use crate::words::t;

/// How often it looks, in milliseconds.
const EVERY: u32 = 20_000;
const MINUTE: i64 = 60_000;
/// After so long a shopping is over, whatever the trip says.
const LONGEST: i64 = 12 * 60;

/// How pressing it is. No more than two hours, one above 90 °F (32 °C) [published: USDA FSIS]; after one hour it is said
/// plainly, since a car in summer is warmer than that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pressing {
    Quiet,
    Care,
    Late,
    Over,
}

const fn pressing(minutes: i64) -> Pressing {
    match minutes {
        ..60 => Pressing::Quiet,
        60..120 => Pressing::Care,
        120..LONGEST => Pressing::Late,
        _ => Pressing::Over,
    }
}

#[derive(Properties, PartialEq)]
pub(super) struct ColdClockProps {
    pub(super) since: Stamp,
    /// Told when the food is in the cold.
    pub(super) on_cold: Callback<()>,
}

/// It alone is drawn anew as time goes.
#[component]
pub(super) fn ColdClock(props: &ColdClockProps) -> Html {
    let now = use_state(stamp);
    {
        let now = now.setter();
        use_effect_with(props.since, move |_| {
            now.set(stamp());
            let interval = Interval::new(EVERY, move || now.set(stamp()));
            move || drop(interval)
        });
    }
    let minutes = (now.0 - props.since.0).max(0) / MINUTE;
    let done = props.on_cold.reform(|_: MouseEvent| ());
    let button = html! { <Button label={t!("shop.cold_done")} kind={Kind::Quiet} on_press={done} /> };
    match pressing(minutes) {
        Pressing::Over => Html::default(),
        Pressing::Quiet => html! {
            <p class="shop-clock no-paper">{ icon(Shape::Clock) }<span>{ t!("shop.clock", time = span(minutes)) }</span></p>
        },
        Pressing::Care => html! {
            <Notice tone={Tone::Care} title={t!("shop.clock", time = span(minutes))}>
                <p>{ t!("safety.two_hours") }</p>{ button }
            </Notice>
        },
        Pressing::Late => html! {
            <Notice tone={Tone::Trouble} title={t!("shop.clock_late", time = span(minutes))}>
                <p>{ t!("safety.two_hours") }</p>{ button }
            </Notice>
        },
    }
}

#[cfg(test)]
mod tests {
    use super::{Pressing, pressing};

    #[test]
    fn it_presses_more_as_time_goes() {
        let table = [
            (0, Pressing::Quiet),
            (59, Pressing::Quiet),
            (60, Pressing::Care),
            (120, Pressing::Late),
            (800, Pressing::Over),
        ];
        for (minutes, expected) in table {
            assert_eq!(pressing(minutes), expected, "{minutes}");
        }
    }
}
