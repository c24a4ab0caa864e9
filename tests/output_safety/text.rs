//! Text that looks like a formula or a code of a page heading, or is not printable, in every text field of both
//! workbooks and of the model file: it stays text, and every file opens.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{Cursor, Read};
use std::path::Path;

use assert_cmd::Command;
use calamine::{Data, Reader, Xlsx};
use gapwright::plain_text::cleaned;
use ironcalc::import::load_from_xlsx_bytes;
use tempfile::TempDir;

const HOSTILE: [&str; 16] = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(1)",
    "\t=1",
    "=(1",
    "=A[1]",
    "&P",
    "1e5",
    "\u{1f600}",
    "مضخة \u{202e}",
    "a\u{1}\u{1b}[2J\u{7f}\u{ffff}b",
    "_x0041_",
    "<b>&amp;\"'",
    "A name of forty characters []:*?/\\ or so",
    "http://localhost/x",
];

/// A shop where every text is this one.
fn shop(folder: &Path, text: &str, currency: &str) {
    let csv = |name: &str, rows: &[Vec<String>]| {
        let mut writer = csv::Writer::from_path(folder.join(name)).unwrap();
        for row in rows {
            writer.write_record(row).unwrap();
        }
        writer.flush().unwrap();
    };
    let row = |cells: &[&str]| cells.iter().map(ToString::to_string).collect::<Vec<_>>();
    let owner = format!("{} {text}", "who counted it and when ".repeat(4));

    let heads = [
        "Item",
        "Kind",
        "Fit",
        "Thickness (in)",
        "Tolerance (in)",
        "On hand",
        "Unit cost",
        "Bin",
        "Supplier",
        "Material",
        &owner,
    ];
    let mut stock = vec![row(&heads)];
    let lots = [
        ("shim", "0.010", 2),
        ("shim", "0.020", 1),
        ("gasket", "0.090", 1),
        ("gasket", "0.105", 1),
    ];
    for (at, (kind, thickness, count)) in lots.into_iter().enumerate() {
        let item = if at == 0 { text.to_string() } else { format!("{text}{at}") };
        let count = count.to_string();
        let tolerance = if kind == "shim" { "0.0002" } else { "0.0005" };
        stock.push(row(&[
            &item, kind, text, thickness, tolerance, &count, "2", text, text, text, text,
        ]));
    }
    csv("stock.csv", &stock);
    stock[2][5] = "none".into();
    csv("bad.csv", &stock);
    let heads = [
        "Tag",
        "Model",
        "Priority",
        "Bearing shims fit",
        "Cover gasket fit",
        "Bare clearance (in)",
        "Snap ring (in)",
        "Location",
        "Note",
        &owner,
    ];
    let mut pumps = vec![row(&heads)];
    for (at, clearance) in ["0.041", "0.031", "0.051"].into_iter().enumerate() {
        let tag = if at == 0 { text.to_string() } else { format!("{text}{at}") };
        pumps.push(row(&[&tag, "shop", "1", text, text, clearance, "0.050", text, text, text]));
    }
    fs::create_dir(folder.join("pumps")).unwrap();
    csv("pumps/Pumps.csv", &pumps);
    csv("pumps/Policy.csv", &[row(&["Setting", "Value"]), row(&["Currency", currency])]);
    fs::create_dir(folder.join("models")).unwrap();
    let mut number = 0;
    let model = fs::read_to_string("models/screwed-impeller.toml").unwrap();
    let lines = model.lines().map(|line| {
        let key = ["title = ", "label = ", "text = "].into_iter().find(|key| line.starts_with(key));
        key.map_or(line.to_string(), |key| {
            number += 1;
            // Basic strings of TOML escape as JSON does, except U+007F. Labels may head columns, so no two may be
            // equal without their brackets.
            let quoted = serde_json::to_string(&match key {
                "label = " => format!("part {number} {text}"),
                _ => format!("{text} {number}"),
            })
            .unwrap();
            format!("{key}{}", quoted.replace('\u{7f}', "\\u007f"))
        })
    });
    let lines: Vec<String> = lines.collect();
    fs::write(folder.join("models/shop.toml"), lines.join("\n")).unwrap();
    assert!(number > 8);
}

fn run(folder: &Path, arguments: &[&str], status: i32) -> String {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    let run = command.current_dir(folder).args(arguments).output().unwrap();
    let said = String::from_utf8(run.stderr).unwrap();
    assert_eq!(run.status.code(), Some(status), "{arguments:?}: {said}");
    let all = said + &String::from_utf8(run.stdout).unwrap();
    let acted_on = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
    assert!(!all.contains(acted_on), "{arguments:?}: {all:?}");
    all
}

/// Contents of a workbook: formulas and texts by sheet and cell, references of charts.
#[derive(Default, PartialEq)]
struct Holds {
    formulas: BTreeSet<(String, usize, usize, String)>,
    texts: BTreeMap<String, usize>,
    references: usize,
    links: usize,
}

fn opened(bytes: &[u8]) -> Holds {
    let mut holds = Holds::default();
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        let name = part.name().unwrap().to_string();
        if !name.ends_with(".xml") && !name.ends_with(".vml") && !name.ends_with(".rels") {
            continue;
        }
        let mut xml = String::new();
        part.read_to_string(&mut xml).unwrap();
        let forbidden =
            |c: char| c < ' ' && !"\t\r\n".contains(c) || c == '\u{fffe}' || c == '\u{ffff}';
        assert!(!xml.contains(forbidden), "{name}");
        holds.references += xml.matches("<c:f>").count();
        holds.links += xml.matches("TargetMode=\"External\"").count();
    }
    let mut book = Xlsx::new(Cursor::new(bytes)).unwrap();
    for sheet in book.sheet_names() {
        let formulas = book.worksheet_formula(&sheet).unwrap();
        for (row, column, formula) in formulas.used_cells().filter(|(_, _, f)| !f.is_empty()) {
            holds.formulas.insert((sheet.clone(), row, column, formula.clone()));
        }
        for (_, _, cell) in book.worksheet_range(&sheet).unwrap().used_cells() {
            if let Data::String(text) = cell {
                *holds.texts.entry(text.clone()).or_default() += 1;
            }
        }
    }
    holds
}

/// All outputs for a shop where every text is this one, by name.
fn written(text: &str, currency: &str) -> BTreeMap<&'static str, Holds> {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    shop(at, text, currency);
    let models = ["--models", "models"];
    let date = ["--date", "2027-03-01"];
    let all =
        |command: &[&'static str], more: &[&[&'static str]]| [command, &more.concat()].concat();
    run(at, &all(&["kit", "stock.csv", "pumps", "--out", "plan.xlsx"], &[&models, &date]), 0);
    let sweep = ["--sweep", "bare_clearance = 0.04 .. 0.05", "--steps", "3", "--draws", "100000"];
    let stack = ["stack", "pumps", "--stock", "stock.csv", "--out", "stack.xlsx"];
    run(at, &all(&stack, &[&models, &date, &sweep]), 0);
    run(at, &all(&["blank", "new", "--model", "shop"], &[&models]), 0);
    let check = ["check", "bad.csv", "pumps", "--mark", "mark.xlsx"];
    run(at, &all(&check, &[&models]), 2);
    let files = ["plan.xlsx", "stack.xlsx", "new/stock.xlsx", "new/pumps.xlsx", "mark.xlsx"];
    files
        .into_iter()
        .map(|name| {
            let bytes = fs::read(at.join(name)).unwrap();
            // A second program opens it as well.
            if let Err(error) = load_from_xlsx_bytes(&bytes, "book", "en", "UTC") {
                panic!("{name} with {text:?}: {error}");
            }
            (name, opened(&bytes))
        })
        .collect()
}

/// Texts that are not hashes, in lower case, since fit codes may be shown so; without tabs: text of models keeps tabs
/// that readers of cells trim.
fn without_hashes(texts: &BTreeMap<String, usize>) -> BTreeMap<String, usize> {
    let mut rest = BTreeMap::new();
    for (text, count) in texts {
        // Twelve digits of a hash tell plans apart.
        let lower = text.to_lowercase();
        // The certificate's stands in a sentence.
        if lower.starts_with("sha-256 ") {
            continue;
        }
        let of_plan = lower.strip_prefix("plan ").unwrap_or(&lower);
        if ![12, 64].contains(&of_plan.len()) || !of_plan.chars().all(|c| c.is_ascii_hexdigit()) {
            // Problems show a character that nobody sees by its number.
            let text = text.to_lowercase().replace('\t', "").replace("<u+202e>", "\u{202e}");
            *rest.entry(text).or_default() += count;
        }
    }
    rest
}

#[test]
fn text_from_inputs_is_always_text() {
    let plain = written("Qwzx", "Vbnm");
    for text in HOSTILE {
        // A name of money has at most 12 characters.
        let currency: String = text.trim().chars().take(12).collect();
        let hostile = written(text, &currency);
        // The readers trim the contents of a cell.
        let shown = cleaned(text.trim()).into_owned();
        for (name, holds) in &hostile {
            let usual = &plain[name];
            assert_eq!(holds.references, usual.references, "{name} with {text:?}");
            assert_eq!(holds.links, 0, "{name} with {text:?}");
            assert!(
                holds.formulas == usual.formulas,
                "{name} with {text:?}: {:?}",
                holds.formulas.symmetric_difference(&usual.formulas).next()
            );
            // The other texts are equally frequent, except the one that is everywhere, and hashes of files.
            let mut expected = BTreeMap::new();
            for (text, count) in &usual.texts {
                let text =
                    text.to_lowercase().replace("vbnm", &cleaned(currency.trim()).to_lowercase());
                let text = text.replace("qwzx", &shown.to_lowercase());
                *expected.entry(text).or_default() += count;
            }
            assert_eq!(
                without_hashes(&holds.texts),
                without_hashes(&expected),
                "{name} with {text:?}"
            );
        }
        let alone = |name: &str, text: &str| hostile[name].texts.get(text).copied().unwrap_or(0);
        // As an item, a fit code and a bin, each in a separate cell.
        assert!(alone("plan.xlsx", &shown) >= 3, "{text:?}");
        assert!(alone("mark.xlsx", &shown) >= 3, "{text:?}");
    }
    let used: usize = plain.values().map(|holds| holds.formulas.len()).sum();
    assert!(used > 100 && plain["stack.xlsx"].references > 10);
}
