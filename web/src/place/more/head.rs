//! What the kitchen's own file says: name, currency, measures, list of allergens.

use trug_catalog::Regime;
use trug_measure::{Currency, System};
use trug_provision::kitchen::Kitchen;

use crate::desk::Desk;
use crate::place::week::save::save;

/// What can be changed of it here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Change {
    Name(String),
    Currency(String),
    Units(System),
    Regime(Regime),
}

/// Changes the kitchen's own file.
///
/// # Errors
/// What is wrong with the kitchen then, for a person; nothing is written.
pub(super) fn change(desk: &Desk, change: &Change) -> Result<(), String> {
    let now = desk.kitchen().ok_or_else(String::new)?.map_err(|problem| problem.to_string())?;
    save(desk, &now.kitchen, |kitchen| apply(kitchen, change)).map(drop)
}

fn apply(kitchen: &mut Kitchen, change: &Change) -> Result<(), String> {
    match change {
        Change::Name(name) => name.trim().clone_into(&mut kitchen.name),
        Change::Currency(code) => {
            kitchen.currency = code.trim().to_uppercase().parse::<Currency>().map_err(|error| error.to_string())?;
        }
        Change::Units(units) => kitchen.units = *units,
        Change::Regime(regime) => kitchen.regime = *regime,
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use trug_folder::Files;

    use super::*;
    use crate::place::week::save::difference;

    #[test]
    fn one_thing_is_changed_and_the_rest_stays() {
        let mut files = Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\ncurrency = \"USD\"\nunits = \"us\"\n".to_vec()).unwrap();
        let kitchen = trug_folder::read(&files).unwrap();
        let table = [
            (Change::Name(" L \"2\" ".to_owned()), "name = \"L \\\"2\\\"\""),
            (Change::Currency("eur".to_owned()), "currency = \"EUR\""),
            (Change::Units(System::Metric), "units = \"metric\""),
            (Change::Regime(Regime::Eu), "allergens = \"eu\""),
        ];
        for (change, line) in table {
            let mut after = kitchen.clone();
            apply(&mut after, &change).unwrap();
            let texts = difference(&kitchen, &after);
            assert_eq!(texts.len(), 1, "{change:?}");
            let text = texts["kitchen.toml"].as_deref().unwrap();
            assert!(text.lines().any(|read| read == line), "{change:?}: {text}");
        }
        assert!(apply(&mut kitchen.clone(), &Change::Currency("money".to_owned())).is_err());
    }
}
