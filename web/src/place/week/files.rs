//! The kitchen's files as texts: what is wrong with them, and putting it right. Several can be changed before they are
//! saved together, since a kitchen with two mistakes cannot be read after one of them is mended.

use std::collections::BTreeMap;

use trug_replica::book::Book;
use yew::prelude::*;

use super::hand::use_hand;
use super::page::{Page, Tab, Wrong};
use super::save::Texts;
use crate::app::use_going;
use crate::desk::use_desk;
use crate::look::{Announce, Button, Kind, Notice, Pick, Select, TextArea, Tone};
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct FilesProps {
    /// What is wrong with the kitchen, where it cannot be read.
    pub(super) problem: Option<AttrValue>,
}

/// The files, one at a time.
#[component]
pub(super) fn Files(props: &FilesProps) -> Html {
    let (desk, hand, going) = (use_desk(), use_hand(), use_going());
    let drafts = use_state(BTreeMap::<String, String>::new);
    let chosen = use_state(|| None::<String>);
    let wrong = use_state(|| None::<AttrValue>);
    let files = desk.read(|device| device.book().map(Book::files).unwrap_or_default());
    let first =
        || props.problem.as_deref().and_then(|problem| named_in(problem, &files)).or(files.keys().next().cloned());
    let path = (*chosen).clone().or_else(first).unwrap_or_default();
    let text = drafts.get(&path).or_else(|| files.get(&path)).cloned().unwrap_or_default();
    let on_choose = {
        let chosen = chosen.setter();
        Callback::from(move |path: AttrValue| chosen.set(Some(path.to_string())))
    };
    let on_input = {
        let (drafts, path) = (drafts.clone(), path.clone());
        Callback::from(move |text: String| {
            let mut next = (*drafts).clone();
            next.insert(path.clone(), text);
            drafts.set(next);
        })
    };
    let on_save = {
        let (drafts, wrong) = (drafts.clone(), wrong.clone());
        Callback::from(move |_: MouseEvent| match hand.write(t!("files.saved"), &texts_of(&drafts)) {
            Ok(()) => {
                drafts.set(BTreeMap::new());
                wrong.set(None);
                going.go.emit("week".to_owned());
            }
            Err(error) => wrong.set(Some(error)),
        })
    };
    let option = |path: &String| {
        let mark = if drafts.contains_key(path) { " *" } else { "" };
        Pick::new(path.clone(), format!("{path}{mark}"))
    };
    let options: Vec<Pick> = files.keys().map(option).collect();
    html! {
        <Page title={t!("files.title")} tab={Tab::Weeks}>
            if let Some(problem) = &props.problem {
                <Notice tone={Tone::Trouble} title={t!("files.unreadable")} announce={Announce::AtOnce}>
                    { for problem.lines().map(|line| html! { <p>{ line.to_owned() }</p> }) }
                </Notice>
            }
            <p>{ t!("files.text") }</p>
            <Wrong text={(*wrong).clone()} />
            <Select label={t!("files.file")} {options} value={path.clone()} {on_choose} />
            <TextArea label={AttrValue::from(path)} value={text} rows={16} {on_input} />
            <div class="strip"><Button label={t!("common.save")} kind={Kind::Main} disabled={drafts.is_empty()} on_press={on_save} /></div>
        </Page>
    }
}

/// The first file that a message names.
fn named_in(problem: &str, files: &BTreeMap<String, String>) -> Option<String> {
    let paths = problem.lines().filter_map(|line| line.split(':').next());
    paths.map(str::trim).find(|path| files.contains_key(*path)).map(str::to_owned)
}

/// The texts to write; one that was emptied is taken out.
fn texts_of(drafts: &BTreeMap<String, String>) -> Texts {
    let text = |text: &String| (!text.trim().is_empty()).then(|| text.clone());
    drafts.iter().map(|(path, draft)| (path.clone(), text(draft))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_that_is_wrong_is_shown_first() {
        let files = BTreeMap::from([("a.toml".to_owned(), String::new()), ("b/c.md".to_owned(), String::new())]);
        assert_eq!(named_in("what is wrong:\nb/c.md:7: no title", &files).as_deref(), Some("b/c.md"));
        assert_eq!(named_in("nothing", &files), None);
    }

    #[test]
    fn an_emptied_file_is_taken_out() {
        let drafts = BTreeMap::from([("a".to_owned(), " \n".to_owned()), ("b".to_owned(), "x".to_owned())]);
        assert_eq!(texts_of(&drafts), Texts::from([("a".to_owned(), None), ("b".to_owned(), Some("x".to_owned()))]));
    }
}
