use trug_replica::id::{Alias, Stamp};
use trug_replica::run::{HandLine, MustNot, Quantity};

use super::*;
use crate::place::shop::sample::{device, got, pick, planned, share, view_by};
use crate::words::{Language, speak};

fn who() -> Who {
    let tables = BTreeMap::from([(Alias::new("BK4").unwrap(), "Avila".to_owned())]);
    let people = BTreeMap::from([(device(2), "Jo".to_owned())]);
    Who { units: trug_measure::System::Us, tables, people, me: device(1) }
}

fn rice() -> PlanLine {
    let mut line = planned("Rice");
    line.want = "2 lb".parse().ok();
    line.text = "2 x 1 lb".to_owned();
    line.shares = vec![share("BK4", "1.5 lb"), share("RT5", "0.5 lb")];
    line
}

fn item_of(view: &LineView, beside: &Beside) -> Item {
    speak(Language::English);
    item(view, &who(), beside, &Raw::default())
}

#[test]
fn a_line_stands_where_its_picks_put_it() {
    let whole = || got(Quantity::Whole("2 lb".parse().ok()), None);
    let half = || got(Quantity::Part("1 lb".parse().ok()), None);
    let line = || Line::Planned(Box::new(rice()));
    let table = [
        (view_by(line(), false, vec![]), Group::ToGet, Ticked::No),
        (view_by(line(), false, vec![(1, half())]), Group::ToGet, Ticked::Part),
        (view_by(line(), false, vec![(1, whole())]), Group::Got, Ticked::Yes),
        (view_by(line(), false, vec![(1, half()), (2, half())]), Group::Got, Ticked::Yes),
        (view_by(line(), false, vec![(1, whole()), (2, whole())]), Group::Look, Ticked::Yes),
        (view_by(line(), false, vec![(1, pick(Taken::NoneThere))]), Group::Nowhere, Ticked::No),
        (view_by(line(), true, vec![(1, whole())]), Group::Look, Ticked::Yes),
        (view_by(line(), true, vec![]), Group::Gone, Ticked::No),
    ];
    for (view, group, ticked) in table {
        let item = item_of(&view, &Beside::default());
        assert_eq!((item.group, item.row.ticked), (group, ticked), "{:?}", view.standing.state);
        assert_eq!(item.row.ask.is_some(), group == Group::Look);
    }
}

#[test]
fn what_was_bought_twice_is_settled_by_a_word_said_since() {
    let whole = || got(Quantity::Whole("2 lb".parse().ok()), None);
    let view = view_by(Line::Planned(Box::new(rice())), false, vec![(1, whole()), (2, whole())]);
    let beside = |at: i64| {
        let note = Note { line: Some(view.id.clone()), text: "Keep both".to_owned(), at: Stamp(at) };
        Beside { notes: HashMap::from([(view.id.clone(), vec![(device(2), note)])]), ..Beside::default() }
    };
    assert_eq!(item_of(&view, &beside(999)).group, Group::Look);
    assert_eq!(item_of(&view, &beside(1_001)).group, Group::Got);
}

#[test]
fn a_row_says_for_whom_and_who_got_it() {
    let half = got(Quantity::Part("1 lb".parse().ok()), None);
    let row = item_of(&view_by(Line::Planned(Box::new(rice())), false, vec![(2, half)]), &Beside::default()).row;
    assert_eq!(row.take, "2 x 1 lb");
    assert_eq!(row.lines, ["Need 2 lb · for Avila 1 1/2 lb, RT5 8 oz", "Got 1 lb, 1 lb to go", "Jo: Got 1 lb"]);
}

#[test]
fn a_plain_tick_of_ones_own_says_no_more() {
    let whole = got(Quantity::Whole("2 lb".parse().ok()), None);
    let row = item_of(&view_by(Line::Planned(Box::new(rice())), false, vec![(1, whole)]), &Beside::default()).row;
    assert_eq!(row.lines.len(), 1);
}

#[test]
fn an_allergy_stands_apart() {
    let mut line = rice();
    let must_not = |what: &str, alert| MustNot { alias: Alias::new("BK4").unwrap(), what: what.to_owned(), alert };
    line.must_not = vec![must_not("peanuts", true), must_not("milk", false), must_not("sesame", false)];
    line.contains = vec!["peanut".to_owned()];
    line.read_label = true;
    let row = item_of(&view_by(Line::Planned(Box::new(line)), false, vec![]), &Beside::default()).row;
    assert_eq!(row.alerts, ["Rice for Avila: somebody there must not have peanuts"]);
    assert_eq!(row.must_not.as_deref(), Some("Must not contain: milk, sesame (Avila)"));
    assert!(row.lines.contains(&"Contains: peanut".into()));
    assert!(row.lines.contains(&"Allergens not recorded: read the label".into()));
}

#[test]
fn what_is_only_made_sure_of_says_so() {
    let mut line = planned("Salt");
    (line.check, line.text) = (true, "make sure we have some".to_owned());
    let plain = view_by(Line::Planned(Box::new(line.clone())), false, vec![]);
    line.shares = vec![share("BK4", "2 tsp")];
    line.text = "2 tsp".to_owned();
    let amount = view_by(Line::Planned(Box::new(line)), false, vec![]);
    assert_eq!(item_of(&plain, &Beside::default()).row.take, "Make sure we have some");
    assert_eq!(item_of(&amount, &Beside::default()).row.take, "Make sure we have 2 tsp");
}

#[test]
fn a_claim_of_a_line_comes_before_one_of_its_section() {
    let view = view_by(Line::Planned(Box::new(rice())), false, vec![]);
    let mut beside = Beside::default();
    assert_eq!(item_of(&view, &beside).taker, None);
    beside.claims.insert(Claimed::Section("produce".to_owned()), device(2));
    assert_eq!(item_of(&view, &beside).taker, Some(device(2)));
    beside.claims.insert(Claimed::Line(view.id.clone()), device(1));
    assert_eq!(item_of(&view, &beside).taker, Some(device(1)));
}

#[test]
fn rows_stand_in_walking_order_and_what_is_added_joins_its_section() {
    let planned_at = |food: &str, section: &str, store: Option<&str>| {
        let mut line = planned(food);
        (line.section, line.store) = (section.to_owned(), store.map(str::to_owned));
        Rc::new(item_of(&view_by(Line::Planned(Box::new(line)), false, vec![]), &Beside::default()))
    };
    let by_hand = |food: &str, section: &str| {
        let section = section.to_owned();
        let line = HandLine { food: food.to_owned(), text: String::new(), section, alias: None };
        Rc::new(item_of(&view_by(Line::ByHand(line), false, vec![]), &Beside::default()))
    };
    let items = [
        planned_at("a", "oils", Some("Larkmere")),
        planned_at("b", "dairy", Some("Larkmere")),
        planned_at("c", "oils", Some("Larkmere")),
        planned_at("d", "dairy", Some("Brindlewick")),
        by_hand("e", "dairy"),
        by_hand("f", "hand"),
    ];
    let stops = stops(&items);
    let shown: Vec<(Option<&str>, &str, String)> = stops
        .iter()
        .flat_map(|stop| {
            stop.parts.iter().map(|part| {
                let foods: String = part.items.iter().map(|item| item.row.food.as_str()).collect();
                (stop.store, part.section, foods)
            })
        })
        .collect();
    let expected = [
        (Some("Larkmere"), "oils", "ac".to_owned()),
        (Some("Larkmere"), "dairy", "be".to_owned()),
        (Some("Brindlewick"), "dairy", "d".to_owned()),
        (None, "hand", "f".to_owned()),
    ];
    assert_eq!(shown, expected);
}
