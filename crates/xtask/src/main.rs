//! The chores of the house: `cargo xtask help` lists them.

mod bench;
mod browsers;
mod data;
mod run;
mod start;
mod test;
mod web;

use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use lexopt::prelude::*;
use start::Start;
use web::Form;

const HELP: &str = "\
Usage: cargo xtask <chore>

  start [--dev] [--listen ADDRESS:PORT]
                         build the phone app, put it into trug, and serve it and its relay on this machine, at
                         127.0.0.1:8080 unless told otherwise, until it is stopped
  build [--dev]          build the phone app, as small as it gets, in target/web; what TRUG_WEB_DIST names when
                         trug is built, trug carries. With --dev quickly, in target/web-dev
  test                   everything that must hold before a change is kept, as .ci/run does it
  bench [NAME...]        measure what has a budget; without a name, all of it; `app` in a browser
  pictures               make the README's pictures from the demo, in web/pictures
  data [--source DIR]    make the catalogue's table from the curated files; with --source, first copy
                         the rows used from a folder with the full tables of SR28 (foods.csv, measures.csv)
  help                   show this
";

/// What was asked for.
#[derive(Debug, PartialEq, Eq)]
enum Chore {
    Help,
    Start(Start),
    Build(Form),
    Test,
    Bench(Vec<String>),
    Pictures,
    Data(Option<PathBuf>),
}

fn main() -> ExitCode {
    let done = chore(lexopt::Parser::from_env()).map_err(|error| format!("{error}\n\n{HELP}").into()).and_then(perform);
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

fn perform(chore: Chore) -> Result<(), Box<dyn Error>> {
    match chore {
        Chore::Help => print!("{HELP}"),
        Chore::Start(start) => start::run(&start)?,
        Chore::Build(form) => drop(web::build(form)?),
        Chore::Test => test::run()?,
        Chore::Bench(names) => bench::run(&names)?,
        Chore::Pictures => {
            browsers::require()?;
            browsers::with_small_app("pictures", Some(&root().join("web/pictures")))?;
        }
        Chore::Data(source) => data::run(source.as_deref())?,
    }
    Ok(())
}

fn chore(mut arguments: lexopt::Parser) -> Result<Chore, lexopt::Error> {
    let mut chore = match arguments.next()? {
        None | Some(Short('h') | Long("help")) => return Ok(Chore::Help),
        Some(Value(word)) => match word.string()?.as_str() {
            "help" => Chore::Help,
            "start" => Chore::Start(Start { form: Form::Small, listen: None }),
            "build" => Chore::Build(Form::Small),
            "test" => Chore::Test,
            "bench" => Chore::Bench(Vec::new()),
            "pictures" => Chore::Pictures,
            "data" => Chore::Data(None),
            other => return Err(format!("`{other}` is not a chore").into()),
        },
        Some(other) => return Err(other.unexpected()),
    };
    while let Some(argument) = arguments.next()? {
        match (argument, &mut chore) {
            (Short('h') | Long("help"), _) => return Ok(Chore::Help),
            (Long("dev"), Chore::Build(form) | Chore::Start(Start { form, .. })) => *form = Form::Quick,
            (Long("listen"), Chore::Start(start)) => start.listen = Some(arguments.value()?.parse()?),
            (Long("source"), Chore::Data(source)) => *source = Some(arguments.value()?.into()),
            (Value(name), Chore::Bench(names)) => names.push(name.string()?),
            (other, _) => return Err(other.unexpected()),
        }
    }
    Ok(chore)
}

/// The workspace's folder.
fn root() -> PathBuf {
    let own = Path::new(env!("CARGO_MANIFEST_DIR"));
    own.ancestors().nth(2).unwrap_or(own).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_name_a_chore() {
        let read =
            |line: &str| chore(lexopt::Parser::from_args(line.split_whitespace())).map_err(|error| error.to_string());
        assert_eq!(read(""), Ok(Chore::Help));
        assert_eq!(read("test"), Ok(Chore::Test));
        assert_eq!(read("pictures"), Ok(Chore::Pictures));
        assert_eq!(read("bench lines packs"), Ok(Chore::Bench(vec!["lines".to_owned(), "packs".to_owned()])));
        assert_eq!(read("start"), Ok(Chore::Start(Start { form: Form::Small, listen: None })));
        let elsewhere = Start { form: Form::Quick, listen: Some(([0, 0, 0, 0], 8443).into()) };
        assert_eq!(read("start --listen 0.0.0.0:8443 --dev"), Ok(Chore::Start(elsewhere)));
        assert_eq!(read("build"), Ok(Chore::Build(Form::Small)));
        assert_eq!(read("build --dev"), Ok(Chore::Build(Form::Quick)));
        assert_eq!(read("data --source rows"), Ok(Chore::Data(Some("rows".into()))));
        assert_eq!(read("data --help"), Ok(Chore::Help));
        for wrong in ["tset", "test now", "data --source", "start --source rows", "start --listen here", "test --dev"] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
