//! `trug list`: the JSON contract, and every printed form against figures worked by hand.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic in a test is a failed check")]

mod common;

use common::{demo, small, trug};
use serde_json::{Value, json};

fn list(kitchen: &str, more: &[&str]) -> String {
    let ran = trug(&[&["list", kitchen, "--week", "w1"], more].concat(), b"");
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    ran.out
}

fn line<'v>(lines: &'v Value, food: &str) -> &'v Value {
    lines.as_array().unwrap().iter().find(|line| line["food"] == food).unwrap_or_else(|| panic!("no line for {food}"))
}

#[test]
fn json_has_the_figures_worked_by_hand() {
    let list: Value = serde_json::from_str(&list(small().path(), &["--json"])).unwrap();
    let grams = |amount: f64| json!({ "amount": amount, "unit": "g" });
    assert_eq!(
        *line(&list["lines"], "moonbean"),
        json!({
            "food": "moonbean", "name": "Moonbean", "text": "2 x 250 g", "section": "canned", "store": "dockside",
            "keep": "ambient", "edible": grams(600.0), "need": grams(600.0), "in_pantry": grams(100.0),
            "to_buy": grams(500.0), "packs": [{ "size": "250 g", "count": 2, "price": "1.50" }], "loose": null,
            "cost": "3.00", "surplus": grams(0.0), "check": false, "optional": false,
            "for": [
                { "household": "mill", "dish": "soup", "need": grams(400.0) },
                { "household": "pier", "dish": "soup", "need": grams(200.0) },
            ],
            "shares": { "mill": "1.80", "pier": "1.20" }, "contains": [], "alerts": [], "warnings": [],
        })
    );
    let starroot = line(&list["lines"], "starroot");
    assert_eq!(starroot["need"], grams(680.4));
    assert_eq!(starroot["edible"], grams(544.3));
    assert_eq!(starroot["loose"], grams(680.4));
    assert_eq!((&starroot["cost"], &starroot["text"]), (&json!("3.00"), &json!("1.5 lb")));
    let paste = line(&list["lines"], "harbor-paste");
    assert_eq!((&paste["check"], &paste["need"], &paste["cost"]), (&json!(true), &Value::Null, &Value::Null));
    assert_eq!(paste["for"][0], json!({ "household": "mill", "dish": "soup", "need": null }));
    assert_eq!(paste["contains"], json!(["peanuts"]));
    assert!(paste["alerts"][0].as_str().unwrap().contains("Ada"));
    let rareleaf = line(&list["lines"], "rareleaf");
    assert_eq!(rareleaf["packs"], json!([{ "size": "20 g", "count": 1, "price": null }]));
    let rind = list["lines"].as_array().unwrap().iter().find(|line| line["optional"] == true).unwrap();
    assert_eq!(rind["need"], json!({ "amount": 1.5, "unit": "slice" }));
    let salt = line(&list["covered"], "green-salt");
    assert_eq!((&salt["need"], &salt["in_pantry"], &salt["cost"]), (&grams(9.0), &grams(9.0), &Value::Null));
    assert_eq!(
        list["households"]["mill"],
        json!({ "estimate": "3.80", "budget": "3.50", "over": true, "unpriced": ["rind", "rareleaf"] })
    );
    assert_eq!(list["households"]["pier"]["budget"], Value::Null);
    assert_eq!((&list["total"], &list["currency"]), (&json!("6.00"), &json!("USD")));
    assert_eq!(list["unpriced"], json!(["rind", "rareleaf"]));
    let conflict = |food: &str, what: &str, kind: &str, diner: &str| json!({ "household": "mill", "dish": "soup", "food": food, "what": what, "kind": kind, "diner": diner });
    let want = [conflict("harbor-paste", "peanuts", "allergy", "Ada"), conflict("moonbean", "moonbean", "avoid", "Bo")];
    let by_food = |value: &Value| value["food"].as_str().unwrap_or_default().to_owned();
    let mut conflicts = list["conflicts"].as_array().unwrap().clone();
    conflicts.sort_by_key(by_food);
    assert_eq!(conflicts, want);
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

fn has_exactly(value: &Value, want: &[&str]) {
    let (mut have, mut want) = (keys(value), want.to_vec());
    have.sort_unstable();
    want.sort_unstable();
    assert_eq!(have, want);
}

const AMOUNTS: [&str; 6] = ["edible", "need", "in_pantry", "to_buy", "loose", "surplus"];

fn check_line(line: &Value) {
    has_exactly(
        line,
        &[
            "food",
            "name",
            "text",
            "section",
            "store",
            "keep",
            "edible",
            "need",
            "in_pantry",
            "to_buy",
            "packs",
            "loose",
            "cost",
            "surplus",
            "check",
            "optional",
            "for",
            "shares",
            "contains",
            "alerts",
            "warnings",
        ],
    );
    for key in AMOUNTS {
        check_amount(&line[key]);
    }
    for pack in line["packs"].as_array().unwrap() {
        has_exactly(pack, &["size", "count", "price"]);
        assert!(pack["count"].as_u64().unwrap() > 0);
    }
    for need in line["for"].as_array().unwrap() {
        has_exactly(need, &["household", "dish", "need"]);
        check_amount(&need["need"]);
    }
    assert!(["ambient", "chilled", "frozen"].contains(&line["keep"].as_str().unwrap()));
    let shares = line["shares"].as_object().unwrap().values().map(cents).sum::<i64>();
    assert_eq!(shares, if line["cost"].is_null() { 0 } else { cents(&line["cost"]) }, "shares of {}", line["food"]);
}

fn check_amount(amount: &Value) {
    if !amount.is_null() {
        has_exactly(amount, &["amount", "unit"]);
        assert!(amount["amount"].is_f64() && amount["unit"].is_string());
    }
}

fn cents(money: &Value) -> i64 {
    money.as_str().unwrap().replace('.', "").parse().unwrap()
}

#[test]
fn json_has_every_key_of_the_contract_and_adds_up() {
    for week in ["2026-W10", "2026-W11", "2026-W12"] {
        let args = ["list", demo(), "--week", week, "--json"];
        let ran = trug(&args, b"");
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert_eq!(ran.out, trug(&args, b"").out, "the same bytes each time");
        let list: Value = serde_json::from_str(&ran.out).unwrap();
        has_exactly(
            &list,
            &[
                "schema",
                "week",
                "currency",
                "lines",
                "covered",
                "households",
                "total",
                "unpriced",
                "conflicts",
                "warnings",
            ],
        );
        let lines = list["lines"].as_array().unwrap();
        assert!(lines.len() > 20);
        lines.iter().chain(list["covered"].as_array().unwrap()).for_each(check_line);
        assert!(list["covered"].as_array().unwrap().iter().all(|line| line["cost"].is_null()));
        let cost: i64 = lines.iter().filter(|line| !line["cost"].is_null()).map(|line| cents(&line["cost"])).sum();
        let households = list["households"].as_object().unwrap();
        let estimates: i64 = households.values().map(|household| cents(&household["estimate"])).sum();
        assert_eq!((cost, estimates), (cents(&list["total"]), cents(&list["total"])));
        for household in households.values() {
            has_exactly(household, &["estimate", "budget", "over", "unpriced"]);
        }
        for conflict in list["conflicts"].as_array().unwrap() {
            assert!(["household", "dish", "food", "what", "kind", "diner"].iter().all(|key| conflict[key].is_string()));
        }
    }
}

#[test]
fn json_keys_come_in_the_order_of_the_contract() {
    let text = list(small().path(), &["--json"]);
    let order = [
        "\"schema\"",
        "\"week\"",
        "\"currency\"",
        "\"lines\"",
        "\"covered\"",
        "\"households\"",
        "\"total\"",
        "\"conflicts\"",
    ];
    let places: Vec<usize> = order.iter().map(|key| text.find(key).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn one_household_alone() {
    let list: Value = serde_json::from_str(&list(small().path(), &["--json", "--household", "pier"])).unwrap();
    // 200 g alone: one pack of 250 g.
    assert_eq!(line(&list["lines"], "moonbean")["cost"], "1.50");
    assert_eq!(keys(&list["households"]), ["pier"]);
    assert_eq!(list["conflicts"], json!([]));
}

#[test]
fn csv_has_a_row_a_line_and_no_formulas() {
    let text = list(small().path(), &["--csv"]);
    let rows: Vec<&str> = text.split("\r\n").collect();
    assert_eq!(
        rows[0],
        "what,store,section,food,name,text,need,in_pantry,to_buy,unit,surplus,cost,currency,optional,for,contains,alerts,\
         warnings,shares"
    );
    assert!(rows.contains(
        &"buy,dockside,produce,starroot,Starroot,1.5 lb,680.4,0.0,680.4,g,0.0,3.00,USD,no,mill; pier,,,,mill 2.00; pier 1.00"
    ));
    assert!(rows.contains(&"have,dockside,spices,green-salt,Green salt,0.32 oz,9.0,9.0,0.0,g,,,USD,no,mill; pier,,,,"));
    assert!(rows.iter().any(|row| row.starts_with("check,dockside,canned,harbor-paste,")));
    assert!(rows.iter().any(|row| row.starts_with("buy,dockside,'=1+1,rareleaf,")), "{text}");
    for row in rows {
        assert!(!row.split(',').any(|field| field.trim_matches('"').starts_with(['=', '+', '@'])), "{row}");
    }
}

#[test]
fn markdown_has_boxes_by_store_and_section() {
    let text = list(small().path(), &["--md"]);
    for want in [
        "# Nell Harrow: week w1\n",
        "\n## Allergy alerts\n\n- Harbor paste: allergy alert: Ada (The Mill) must not have peanuts; it is in Pier soup\n",
        "\n## Dockside Stores\n\n### Produce\n\n- [ ] **Starroot**: 1.5 lb · needed 1 1/2 lb · M, pier · 3.00\n",
        "\n### Canned\n\n- [ ] **Harbor paste**: make sure we have some · ALLERGY ALERT; check · M, pier\n",
        "- [ ] **Moonbeans**: 2 x 250 g · 3.53 oz more in hand · needed 1.1 lb · M, pier · 3.00\n",
        "- [ ] **Rareleaf**: 1 x 20 g · needed 0.32 oz · M, pier · no price\n",
        "\n## Already have\n\n- **Green salt**: 0.32 oz · the kit · M, pier\n",
        "| The Mill | 3.80 | OVER its budget of 3.50 by 0.30 | Rind, Rareleaf |\n",
        "| The Pier | 2.20 | no budget set | Rind, Rareleaf |\n",
        "\nIn all 6.00 USD.\n",
        "- Bo (The Mill) avoids moonbean, and eats Pier soup with Moonbeans\n",
    ] {
        assert!(text.contains(want), "{want:?} is not in\n{text}");
    }
}

#[test]
fn the_printed_page_is_72_columns_with_squares_and_costs_at_the_end() {
    let text = list(small().path(), &["--print"]);
    assert!(text.lines().all(|line| line.chars().count() <= 72), "{text}");
    for want in [
        "\nDOCKSIDE STORES\n========",
        "\nProduce\n[ ] 1.5 lb                    Starroot                    M, pier\n",
        "\nCanned\n[ ] make sure we have some",
        "ALLERGY ALERTS\n",
        "\nALREADY HAVE\n",
        "[ ] Green salt                0.32 oz from the kit        M, pier\n",
        "\nThe Mill                          3.80  OVER its budget of 3.50 by 0.30\n",
        "\nIn all 6.00 USD\nNot counted, without a price: Rind, Rareleaf\n",
    ] {
        assert!(text.contains(want), "{want:?} is not in\n{text}");
    }
    assert!(text.find("3.00").is_none_or(|at| at > text.find("WHAT IT COMES TO").unwrap()));
}

#[test]
fn a_pipe_gets_plain_text_with_every_mark_in_words() {
    let text = list(small().path(), &[]);
    assert!(!text.contains(['\u{1b}', '─']), "{text}");
    for want in [
        "ALLERGY ALERTS\n",
        "Harbor paste (ALLERGY ALERT;",
        "no price",
        "optional",
        "Already have\n",
        "OVER its budget",
    ] {
        assert!(text.contains(want), "{want:?} is not in\n{text}");
    }
    let produce = text.find("  Produce").unwrap();
    assert!(produce < text.find("  Canned").unwrap(), "walking order");
}

#[test]
fn every_form_works_on_the_demo_kitchen() {
    for form in
        [&[][..], &["--csv"], &["--md"], &["--print"], &["--household", "ropewalk"], &["--store", "brindlewick"]]
    {
        let ran = trug(&[&["list", demo(), "--week", "2026-W10"], form].concat(), b"");
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{form:?}");
        assert!(ran.out.lines().count() > 10, "{form:?}");
    }
}

#[test]
fn letters_that_a_terminal_obeys_stay_out() {
    let folder = small();
    folder.write("stores/dockside.toml", "name = \"Dock\\u001b[2Jside\"\nsections = []\n");
    for form in [&[][..], &["--md"], &["--print"], &["--csv"]] {
        assert!(!list(folder.path(), form).contains('\u{1b}'), "{form:?}");
    }
}
