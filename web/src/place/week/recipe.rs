//! Writing a recipe: pasted, brought in from a file, or edited, with every line read as it is typed.

use std::cell::RefCell;
use std::rc::Rc;

use trug_catalog::line::{Basis, Doubt};
use trug_folder::{Problems, read_dish, read_json_ld};
use trug_provision::kitchen::{Dish, DishSource, Kitchen};
use trug_provision::names::Names;
use wasm_bindgen_futures::spawn_local;
use web_sys::File;
use yew::prelude::*;

use super::dish::as_text;
use super::foods::DescribeFood;
use super::form::fresh_id;
use super::hand::use_hand;
use super::page::{Page, Tab, Wrong};
use super::plan::missing_words;
use super::reading::{Known, Reading, read};
use super::save::Texts;
use super::swaps::names_of;
use super::tidy::{Entry, Tidied, json_ld_of, tidy};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Badge, Button, Kind, Notice, Section, Shape, Sheet, TextArea, Tone};
use crate::place::more::PickFile;
use crate::platform::files;
use crate::words::t;

/// The most bytes of a recipe file: a web page may be a few hundred kilobytes.
const MOST: u64 = 4 << 20;

/// Files that may hold a recipe.
const KINDS: &str = ".json,.jsonld,.html,.htm,.md,.txt,application/ld+json,text/html,text/plain";

/// What the lines are read with, once for each kitchen; food after food that nobody has described gets its place in it.
#[derive(Clone)]
struct Reader(Rc<RefCell<Names>>);

impl PartialEq for Reader {
    fn eq(&self, other: &Self) -> bool {
        Rc::ptr_eq(&self.0, &other.0)
    }
}

/// A recipe that was brought in as JSON-LD, and the text it was shown as: unchanged, it is kept to the letter.
#[derive(Clone, PartialEq, Debug)]
struct Original {
    json: String,
    text: String,
}

#[derive(Properties, PartialEq)]
pub(super) struct RecipePageProps {
    pub(super) now: Rc<KitchenNow>,
    /// The dish that is edited; `None` for a new one.
    pub(super) id: Option<AttrValue>,
}

/// Writes a new recipe, or edits one.
#[component]
pub(super) fn RecipePage(props: &RecipePageProps) -> Html {
    let kitchen = &props.now.kitchen;
    let dish = props.id.as_ref().and_then(|id| kitchen.dishes.get(id.as_str()));
    let text = use_state(|| dish.map_or_else(String::new, |dish| as_text(dish, kitchen)));
    let original = use_state(|| dish.and_then(|dish| original_of(dish, kitchen)));
    let reader = use_memo(props.now.clone(), |now| Reader(Rc::new(RefCell::new(names_of(&now.kitchen)))));
    let tidied = use_memo((*text).clone(), |text| tidy(text));
    let problems = use_memo((tidied.clone(), (*reader).clone()), |(tidied, reader)| problems_of(tidied, reader));
    let describing = use_state(|| None::<AttrValue>);
    let on_input = {
        let (text, original, reader) = (text.setter(), original.setter(), (*reader).clone());
        Callback::from(move |next: String| match pasted_json(&next, &reader) {
            Some((next, from)) => {
                text.set(next);
                original.set(from);
            }
            None => text.set(next),
        })
    };
    let on_file = {
        let (text, original) = (text.setter(), original.setter());
        Callback::from(move |(next, from): (String, Option<Original>)| {
            text.set(next);
            original.set(from);
        })
    };
    let on_use = {
        let text = text.clone();
        Callback::from(move |(line, food, near): (String, String, String)| {
            let mended = line.replacen(&food, &near, 1);
            text.set(text.replacen(&line, &mended, 1));
        })
    };
    let on_describe = {
        let describing = describing.setter();
        Callback::from(move |food: AttrValue| describing.set(Some(food)))
    };
    let described = {
        let describing = describing.setter();
        Callback::from(move |()| describing.set(None))
    };
    let over = match &*describing {
        None => Html::default(),
        Some(food) => html! {
            <Sheet title={t!("food.describe_one", food = food)} close={t!("common.close")} on_close={described.clone()}>
                <DescribeFood now={props.now.clone()} name={food.clone()} on_done={described} />
            </Sheet>
        },
    };
    let up = props.id.as_ref().map_or_else(|| AttrValue::from("week/dishes"), |id| format!("week/dish/{id}").into());
    let title = dish.map_or_else(|| t!("dish.new"), |dish| dish.title.clone().into());
    let kept = original.as_ref().filter(|original| original.text == *text).map(|original| original.json.clone());
    let begun = !text.trim().is_empty();
    html! {
        <Page {title} tab={Tab::Dishes} up={Some(up)} {over}>
            <div class="beside">
                <div class="stack">
                    if props.id.is_none() { <FromFile reader={(*reader).clone()} {on_file} /> }
                    <TextArea label={if props.id.is_none() { t!("dish.paste") } else { t!("dish.text") }} hint={Some(t!("dish.paste_hint"))} rows={14} value={(*text).clone()} {on_input} />
                </div>
                if begun {
                    <div class="stack">
                        <Lines now={props.now.clone()} reader={(*reader).clone()} tidied={tidied.clone()} {on_use} {on_describe} />
                    </div>
                }
            </div>
            if begun {
                if let Some(problems) = &*problems {
                    <Notice tone={Tone::Care} title={t!("dish.not_yet")}>{ for problems.iter().map(|one| html! { <p>{ one }</p> }) }</Notice>
                }
                <SaveDish id={props.id.clone()} tidied={(*tidied).clone()} json={kept} ready={problems.is_none()} />
            }
        </Page>
    }
}

/// JSON-LD that was pasted where a text is expected is taken as a file would be.
fn pasted_json(text: &str, reader: &Reader) -> Option<(String, Option<Original>)> {
    let is_json = text.trim_start().starts_with(['{', '[']);
    is_json.then(|| bring_in(&mut reader.0.borrow_mut(), text).ok()).flatten()
}

fn original_of(dish: &Dish, kitchen: &Kitchen) -> Option<Original> {
    match &dish.source {
        DishSource::JsonLd(json) => Some(Original { json: json.clone(), text: as_text(dish, kitchen) }),
        DishSource::Text => None,
    }
}

fn problems_of(tidied: &Tidied, reader: &Reader) -> Option<Vec<String>> {
    let read = read_dish("", &tidied.text, &mut reader.0.borrow_mut());
    read.err().map(|problems| words(&problems))
}

/// What is wrong, without the numbers of lines, which are those of the tidied text.
fn words(problems: &Problems) -> Vec<String> {
    problems.iter().map(|problem| problem.what.to_string()).collect()
}

#[derive(Properties, PartialEq)]
struct LinesProps {
    now: Rc<KitchenNow>,
    reader: Reader,
    tidied: Rc<Tidied>,
    on_use: Callback<(String, String, String)>,
    on_describe: Callback<AttrValue>,
}

/// Title and yield as they were understood, and every line.
#[component]
fn Lines(props: &LinesProps) -> Html {
    let tidied = &props.tidied;
    let count = tidied.entries.iter().filter(|entry| matches!(entry, Entry::Line(_))).count();
    let row = |(at, entry): (usize, &Entry)| match entry {
        Entry::Heading(heading) => html! { <h3 key={at} class="week-heading">{ heading.clone() }</h3> },
        Entry::Line(line) => html! {
            <ReadLine key={at} now={props.now.clone()} reader={props.reader.clone()} line={line.clone()} on_use={props.on_use.clone()} on_describe={props.on_describe.clone()} />
        },
    };
    html! {
        <Section title={t!("dish.understood")} count={t!("dish.lines_read", count = count)}>
            <div class="week-card">
                if let Some(title) = &tidied.title { <p class="strong">{ title.clone() }</p> }
                { for tidied.yields.iter().map(|line| html! { <p>{ line.clone() }</p> }) }
            </div>
            <div class="week-readings">{ for tidied.entries.iter().enumerate().map(row) }</div>
        </Section>
    }
}

#[derive(Properties, PartialEq)]
struct ReadLineProps {
    now: Rc<KitchenNow>,
    reader: Reader,
    line: String,
    on_use: Callback<(String, String, String)>,
    on_describe: Callback<AttrValue>,
}

/// One line: what was understood, and what is missing. It is read again only when it changes.
#[component]
fn ReadLine(props: &ReadLineProps) -> Html {
    let readings = use_memo((props.line.clone(), props.reader.clone()), |(line, reader)| {
        read(&props.now.kitchen, &mut reader.0.borrow_mut(), line)
    });
    html! {
        <div class="week-reading">
            <p class="soft">{ &props.line }</p>
            { for readings.iter().map(|reading| one_reading(props, reading)) }
        </div>
    }
}

fn one_reading(props: &ReadLineProps, reading: &Reading) -> Html {
    let food = match &reading.known {
        Known::Food(name) => name.clone(),
        Known::Dish(title) => format!("{title} ({})", t!("dish.a_dish")),
        Known::Unknown(name, _) => name.clone(),
        Known::Nothing => String::new(),
    };
    let basis = reading.basis.map(|basis| match basis {
        Basis::Purchased => t!("dish.basis_purchased"),
        Basis::Edible => t!("dish.basis_edible"),
    });
    let mark = if reading.is_unsure() {
        html! { <Badge text={t!("dish.look")} tone={Tone::Care} icon={Shape::Care} /> }
    } else {
        html! { <Badge text={t!("dish.read")} tone={Tone::Well} icon={Shape::Tick} /> }
    };
    let or = reading.or.as_ref().map(|or| t!("dish.or", food = or));
    let fact = |label: AttrValue, value: Option<AttrValue>| {
        value.filter(|value| !value.is_empty()).map(|value| html! { <div><dt>{ label }</dt><dd>{ value }</dd></div> })
    };
    let amount = reading.amount.clone().map_or_else(|| t!("dish.no_amount"), AttrValue::from);
    html! { <>
        <div class="strip">{ mark }if reading.optional { <Badge text={t!("common.optional")} /> }</div>
        if reading.known != Known::Nothing {
            <dl class="week-facts">
                { for fact(t!("common.amount"), Some(amount)) }
                { for fact(t!("dish.read_food"), Some(food.clone().into())) }
                { for fact(t!("dish.read_prep"), Some(reading.prep.clone().into())) }
                { for fact(t!("dish.read_basis"), basis) }
                { for fact(t!("dish.read_or"), or) }
            </dl>
        }
        { for wanting(reading, &food).into_iter().map(|text| html! { <p class="week-wanting">{ text }</p> }) }
        if let Known::Unknown(name, near) = &reading.known { { offers(props, name, near) } }
    </> }
}

/// What is missing, in words.
fn wanting(reading: &Reading, food: &str) -> Vec<AttrValue> {
    let known = match &reading.known {
        Known::Nothing => Some(t!("dish.nothing_read")),
        Known::Unknown(name, _) => Some(t!("dish.unknown_food", food = name)),
        Known::Food(_) | Known::Dish(_) => None,
    };
    let missing = reading.missing.map(|missing| t!("dish.missing", what = missing_words(food, missing)));
    let doubts = reading.doubts.iter().filter_map(|doubt| match doubt {
        Doubt::Slip => Some(t!("dish.slip_read", food = food)),
        Doubt::AmountsDiffer => Some(t!("dish.amounts_two")),
        Doubt::AmountOutOfRange => Some(t!("dish.amount_none")),
        Doubt::Unreadable | Doubt::Heading => None,
    });
    known.into_iter().chain(missing).chain(doubts).collect()
}

/// What may have been meant, or to describe it.
fn offers(props: &ReadLineProps, name: &str, near: &[String]) -> Html {
    let take = |near: &String| {
        let (line, name, near_) = (props.line.clone(), name.to_owned(), near.clone());
        let on_press = props.on_use.reform(move |_: MouseEvent| (line.clone(), name.clone(), near_.clone()));
        html! { <Button label={t!("dish.use_near", food = near)} {on_press} /> }
    };
    let food = AttrValue::from(name.to_owned());
    let named = AttrValue::from(format!("{}: {name}", t!("food.describe")));
    let on_press = props.on_describe.reform(move |_: MouseEvent| food.clone());
    html! {
        <div class="strip">
            { for near.iter().map(take) }
            <Button label={t!("food.describe")} name={Some(named)} {on_press} />
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct FromFileProps {
    reader: Reader,
    on_file: Callback<(String, Option<Original>)>,
}

/// Brings in a saved recipe: JSON-LD, a web page that has it, or a text.
#[component]
fn FromFile(props: &FromFileProps) -> Html {
    let wrong = use_state(|| None::<AttrValue>);
    let on_files = {
        let (wrong, reader, tell) = (wrong.setter(), props.reader.clone(), props.on_file.clone());
        Callback::from(move |chosen: Vec<File>| {
            let Some(file) = chosen.into_iter().next() else { return };
            let (wrong, reader, tell) = (wrong.clone(), reader.clone(), tell.clone());
            spawn_local(async move {
                let bytes = files::read(&file, MOST).await.map_err(|error| error.to_string());
                let text = bytes.map(|bytes| String::from_utf8_lossy(&bytes).into_owned());
                let brought = text.and_then(|text| bring_in(&mut reader.0.borrow_mut(), &text));
                match brought {
                    Ok(brought) => {
                        wrong.set(None);
                        tell.emit(brought);
                    }
                    Err(error) => wrong.set(Some(error.into())),
                }
            });
        })
    };
    html! {
        <div class="card stack">
            <p class="field-hint">{ t!("dish.import_hint") }</p>
            <div class="strip"><PickFile label={t!("dish.import")} accept={KINDS} {on_files} /></div>
            <Wrong text={(*wrong).clone()} />
        </div>
    }
}

/// A recipe out of a file's text: what the editor shows of it, and the JSON-LD that it was.
fn bring_in(names: &mut Names, text: &str) -> Result<(String, Option<Original>), String> {
    let start = text.trim_start_matches('\u{feff}').trim_start();
    let texts = match start.chars().next() {
        Some('{' | '[') => vec![start.to_owned()],
        Some('<') => json_ld_of(start),
        _ => return Ok((text.to_owned(), None)),
    };
    let mut problems = t!("dish.no_recipe_in_file").to_string();
    for json in texts {
        match read_json_ld("", &json, names) {
            Ok(dish) => {
                let text = as_text_with(&dish, names);
                return Ok((text.clone(), Some(Original { json, text })));
            }
            Err(wrong) => problems = words(&wrong).join("\n"),
        }
    }
    Err(problems)
}

/// The dish's lines were read with these names, whose catalogue has a place for every food in them.
fn as_text_with(dish: &Dish, names: &Names) -> String {
    let dish = Dish { source: DishSource::Text, ..dish.clone() };
    trug_folder::write_dish(&dish, names.catalog())
}

#[derive(Properties, PartialEq)]
struct SaveDishProps {
    id: Option<AttrValue>,
    tidied: Tidied,
    json: Option<String>,
    ready: bool,
}

/// Saves the dish, under its own id or a new one made of its title.
#[component]
fn SaveDish(props: &SaveDishProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let wrong = use_state(|| None::<AttrValue>);
    let on_press = {
        let (id, tidied, json, wrong) = (props.id.clone(), props.tidied.clone(), props.json.clone(), wrong.clone());
        Callback::from(move |_: MouseEvent| {
            let id = id.as_ref().map_or_else(|| new_id(&hand, &tidied), ToString::to_string);
            match hand.write(t!("dish.saved"), &texts_of(&id, &tidied, json.as_deref())) {
                Ok(()) => going.go.emit(format!("week/dish/{id}")),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    html! { <>
        <Wrong text={(*wrong).clone()} />
        <div class="strip"><Button label={t!("common.save")} kind={Kind::Main} disabled={!props.ready} {on_press} /></div>
    </> }
}

fn new_id(hand: &super::hand::Hand, tidied: &Tidied) -> String {
    let files = hand.desk().read(|device| device.folder());
    let taken = |id: &str| ["md", "json"].iter().any(|ending| files.contains_key(&format!("dishes/{id}.{ending}")));
    fresh_id(tidied.title.as_deref().unwrap_or_default(), "dish", taken)
}

/// The dish's file: as JSON-LD where it is still what was brought in, else as text; the other one is gone.
fn texts_of(id: &str, tidied: &Tidied, json: Option<&str>) -> Texts {
    let (md, ld) = (format!("dishes/{id}.md"), format!("dishes/{id}.json"));
    match json {
        Some(json) => Texts::from([(ld, Some(json.to_owned())), (md, None)]),
        None => Texts::from([(md, Some(tidied.text.clone())), (ld, None)]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAGE: &str = r#"<html><script type="application/ld+json">{"@type": "Recipe", "name": "Soup", "recipeYield": "4 servings", "recipeIngredient": ["2 leeks"]}</script></html>"#;

    fn kitchen() -> Kitchen {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        trug_folder::read(&files).unwrap()
    }

    #[test]
    fn recipes_are_brought_in() {
        let kitchen = kitchen();
        let mut names = names_of(&kitchen);
        let (text, original) = bring_in(&mut names, PAGE).unwrap();
        assert!(text.starts_with("# Soup\n"), "{text}");
        assert_eq!(tidy(&text).entries, [Entry::Line("2 leeks".to_owned())]);
        assert!(original.is_some_and(|original| original.json.starts_with('{')));
        assert_eq!(bring_in(&mut names, "Soup\n2 leeks").unwrap(), ("Soup\n2 leeks".to_owned(), None));
        assert!(bring_in(&mut names, "<p>nothing</p>").is_err());
        assert!(bring_in(&mut names, "{").is_err());
    }

    #[test]
    fn a_recipe_that_was_changed_is_kept_as_text() {
        let tidied = tidy("Soup\nServes 2\n2 leeks");
        let paths = |json| texts_of("soup", &tidied, json).into_iter().filter_map(|(path, text)| text.map(|_| path));
        assert_eq!(paths(None).collect::<Vec<_>>(), ["dishes/soup.md"]);
        assert_eq!(paths(Some("{}")).collect::<Vec<_>>(), ["dishes/soup.json"]);
    }
}
