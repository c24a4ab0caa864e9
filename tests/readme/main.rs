//! The README's walkthrough, step by step: what it says to type is typed, what it says to run is run, and what it
//! shows is what comes out.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::fs;

use assert_cmd::Command;

#[path = "../issue/shop.rs"]
#[allow(dead_code)]
mod shop;

use shop::{Put, change};

/// The lines of a part of the README, from its heading to the next.
fn part(heading: &str) -> Vec<String> {
    let readme = fs::read_to_string("README.md").unwrap();
    let (_, rest) = readme.split_once(&format!("\n## {heading}\n")).expect("the part");
    let (part, _) = rest.split_once("\n## ").unwrap_or((rest, ""));
    part.lines().map(String::from).collect()
}

/// Whether some output is as shown: a line of three points stands for any lines.
fn is_as_shown(shown: &[&str], told: &[&str]) -> bool {
    match shown.split_first() {
        None => told.is_empty(),
        Some((first, rest)) if first.trim() == "..." => {
            (0..=told.len()).any(|skipped| is_as_shown(rest, &told[skipped..]))
        }
        Some((first, rest)) => told.split_first().is_some_and(|(line, told)| {
            line.trim_end() == first.trim_end() && is_as_shown(rest, told)
        }),
    }
}

#[test]
fn the_walkthrough_comes_out_as_the_readme_shows_it() {
    let folder = tempfile::tempdir().unwrap();
    let lines = part("From blank workbooks to issued kits");
    let (mut commands, mut typed) = (0, 0);
    let mut at = 0;
    while at < lines.len() {
        let line = &lines[at];
        at += 1;
        // A cell to type into: workbook, sheet, cell, value.
        if let Some(row) = line.strip_prefix("| `") {
            let cells: Vec<&str> = row.trim_end_matches('|').split('|').map(str::trim).collect();
            let [file, sheet, cell, value] = cells.as_slice() else {
                panic!("{line}");
            };
            let path = folder.path().join(file.trim_end_matches('`'));
            change(&path, sheet, &[(cell, Put::from(*value))]);
            typed += 1;
        }
        let Some(command) = line.strip_prefix("    $ gapwright ") else {
            continue;
        };
        let from = at;
        while at < lines.len() && lines[at].starts_with("    ") && !lines[at].starts_with("    $ ")
        {
            at += 1;
        }
        let shown: Vec<&str> = lines[from..at].iter().map(|line| &line[4..]).collect();
        let output = Command::cargo_bin("gapwright")
            .unwrap()
            .current_dir(folder.path())
            .args(command.split_whitespace())
            .output()
            .unwrap();
        let told = String::from_utf8(output.stdout.clone()).unwrap();
        assert_eq!(output.status.code(), Some(0), "{command}: {output:?}");
        let told: Vec<&str> = told.lines().collect();
        assert!(is_as_shown(&shown, &told), "{command}\n{shown:#?}\n{told:#?}");
        commands += 1;
    }
    assert!(commands >= 5 && typed >= 14, "{commands} commands, {typed} cells");
    for name in ["plan.xlsx", "as-built.xlsx", "stock-next.xlsx", "issue-log.xlsx"] {
        assert!(folder.path().join(name).exists(), "{name}");
    }
}

/// A command that stands by itself, with what it prints below it.
#[test]
fn the_stack_up_comes_out_as_the_readme_shows_it() {
    let lines = part("The stack-up of a pump");
    let at = lines.iter().position(|line| line.starts_with("    gapwright stack "));
    let at = at.expect("the command");
    let shown: Vec<&str> =
        lines[at + 2..].iter().map_while(|line| line.strip_prefix("    ")).collect();
    assert!(shown.len() > 10 && shown.iter().any(|line| line.contains("root sum square")));
    // Words are parted by spaces, but for those in quotes.
    let quoted = lines[at].trim().split('"').enumerate();
    let words = quoted.flat_map(|(at, text)| match at % 2 {
        0 => text.split_whitespace().collect(),
        _ => vec![text],
    });
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("samples/outage")).unwrap();
    for name in ["samples/outage/stock.xlsx", "samples/outage/pumps.xlsx"] {
        fs::copy(name, folder.path().join(name)).unwrap();
    }
    let output = Command::cargo_bin("gapwright")
        .unwrap()
        .current_dir(folder.path())
        .args(words.skip(1))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let told = String::from_utf8(output.stdout).unwrap();
    assert_eq!(told.lines().collect::<Vec<_>>(), shown);
}

/// The comparison itself: it lets nothing pass but what three points stand for.
#[test]
fn what_is_shown_is_held_against_every_line() {
    assert!(is_as_shown(&["a", "...", "d"], &["a", "b", "c", "d"]));
    assert!(is_as_shown(&["a", "...", "d"], &["a", "d"]));
    assert!(!is_as_shown(&["a", "d"], &["a", "b", "d"]));
    assert!(!is_as_shown(&["a", "..."], &["b"]));
    assert!(!is_as_shown(&["a"], &["a", "b"]));
}
