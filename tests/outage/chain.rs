//! The chain of an issue log: recalculated from the cells, and tampered with in every field.

use std::fs;
use std::path::Path;

use gapwright::issue::log::{BEGINNING, Log};
use gapwright::problem::Spot;
use gapwright::read::{self, Memory};
use sha2::{Digest, Sha256};

use crate::log::issued;
use crate::old_log;
use crate::shop::{Put, cells, change, lines};

/// SHA-256 in hexadecimal, by the sha2 crate alone.
fn sha256(text: &str) -> String {
    let hash = Sha256::digest(text.as_bytes());
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn the_chain_follows_from_the_cells_as_another_reader_reads_them() {
    let shop = issued();
    let mut chain = BEGINNING.to_string();
    let lines = shop.log();
    assert_eq!(lines.len(), 13);
    for (at, line) in lines.iter().enumerate() {
        assert_eq!(line[0], (at + 1).to_string());
        let values: String =
            line[..14].iter().map(|value| format!("{}:{value},", value.len())).collect();
        chain = sha256(&format!("{chain}\n{values}"));
        assert_eq!(line[14], chain, "line {}", at + 1);
    }
    let cells = cells(&shop.at("issue-log.xlsx"), "Issues");
    assert_eq!(cells[&(2, 0)], "Lines");
    assert_eq!(cells[&(2, 1)], "13");
    assert_eq!(cells[&(2, 3)], "Last chain");
    assert_eq!(cells[&(2, 4)], chain);
    assert_eq!(lines.iter().map(|line| line[2].as_str()).collect::<Vec<_>>().last(), Some(&"2"));
}

/// Cells of the problems of a log; empty if it is read.
fn wrong(path: &Path) -> Vec<(u32, u32)> {
    let Err(problems) = read::issue_log(path, &mut Memory::default()) else {
        return Vec::new();
    };
    let cell = |spot: &Spot| match spot {
        Spot::Cell { row, column, .. } => Some((*row, *column)),
        _ => None,
    };
    problems.sorted().iter().filter_map(|problem| cell(&problem.place.spot)).collect()
}

/// Each field of each line in turn: another value, an empty cell, and for a number another kind of cell.
#[test]
fn a_change_of_any_field_is_found_at_its_line() {
    let shop = issued();
    let whole = shop.read("issue-log.xlsx").unwrap();
    let path = shop.at("tampered.xlsx");
    let lines = shop.log();
    let (mut tampered, mut found, mut at_its_line) = (0, 0, 0);
    for (at, line) in lines.iter().enumerate() {
        let row = u32::try_from(at).unwrap() + 5;
        for (column, value) in line.iter().enumerate() {
            let letter = char::from(b'A' + u8::try_from(column).unwrap());
            let mut others =
                vec![Put::Text(format!("{value}x")), Put::Text("0".repeat(value.len() + 1))];
            if !value.is_empty() {
                others.push(Put::Nothing);
                others.push(Put::Text(format!("{value}'")));
            }
            match value.parse::<i64>() {
                Ok(number) if column != 3 => {
                    others.push(Put::Number((number + 1).to_string()));
                    others.push(Put::Number((number - 1).to_string()));
                    others.push(Put::Number(format!("{number}.5")));
                }
                _ => {
                    others.push(Put::Number("7".into()));
                    // A change at the end of a hash or a text: the last character alone.
                    let mut chars: Vec<char> = value.chars().collect();
                    if let Some(last) = chars.last_mut() {
                        *last = if *last == 'a' { 'b' } else { 'a' };
                        others.push(Put::Text(chars.into_iter().collect()));
                    }
                }
            }
            for other in others {
                fs::write(&path, &whole).unwrap();
                change(&path, "Issues", &[(&format!("{letter}{}", row + 1), other.clone())]);
                let wrong = wrong(&path);
                tampered += 1;
                found += usize::from(!wrong.is_empty());
                at_its_line += usize::from(wrong.iter().any(|(at, _)| *at == row));
                assert!(!wrong.is_empty(), "line {}, {letter}: {value} made {other:?}", at + 1);
            }
        }
    }
    println!("{tampered} tamperings, {found} found, {at_its_line} of them at their line");
    assert!(tampered > 1_000);
    assert_eq!(found, tampered);
    assert_eq!(at_its_line, tampered);
    // The seal is checked too.
    for (cell, put) in [("B3", "12"), ("B3", "14"), ("E3", "0"), ("A3", "Line"), ("B3", "")] {
        fs::write(&path, &whole).unwrap();
        change(&path, "Issues", &[(cell, Put::from(put))]);
        assert!(read::issue_log(&path, &mut Memory::default()).is_err(), "{cell} {put}");
    }
    // An unchanged log has no problems.
    fs::write(&path, &whole).unwrap();
    assert!(read::issue_log(&path, &mut Memory::default()).is_ok());
}

/// Lines removed, inserted twice or swapped, with the seal above the table corrected.
#[test]
fn lines_that_were_removed_added_or_moved_are_found() {
    let shop = issued();
    let (log, _) = read::issue_log(&shop.at("issue-log.xlsx"), &mut Memory::default()).unwrap();
    let path = shop.at("tampered.xlsx");
    let count = log.entries().len();
    let written = |entries: &[gapwright::issue::log::Entry]| {
        let mut other = Log::new();
        for entry in entries {
            let _ = other.follow(entry.clone());
        }
        fs::write(&path, old_log::workbook(&other).unwrap()).unwrap();
        wrong(&path)
    };
    assert_eq!(written(log.entries()), []);
    let mut cases = 0;
    for at in 0..count - 1 {
        let mut without = log.entries().to_vec();
        without.remove(at);
        let row = u32::try_from(at).unwrap() + 5;
        assert!(written(&without).contains(&(row, 0)), "line {} removed", at + 1);
        let mut twice = log.entries().to_vec();
        twice.insert(at, log.entries()[at].clone());
        assert!(written(&twice).contains(&(row + 1, 0)), "line {} twice", at + 1);
        let mut swapped = log.entries().to_vec();
        swapped.swap(at, at + 1);
        assert!(!written(&swapped).is_empty(), "line {} moved", at + 1);
        // Renumbered as well: the chain still shows it.
        let mut renumbered = without.clone();
        for (number, entry) in (1..).zip(&mut renumbered) {
            entry.number = number;
        }
        assert!(written(&renumbered).contains(&(row, 14)), "line {} removed, renumbered", at + 1);
        cases += 4;
    }
    assert_eq!(cases, 48);
    // Removing lines at the end by hand leaves the seal above the table unchanged.
    fs::copy(shop.at("issue-log.xlsx"), &path).unwrap();
    let last = lines(&path).len() + 5;
    let cleared: Vec<String> =
        (b'A'..=b'O').map(|letter| format!("{}{last}", char::from(letter))).collect();
    let cleared: Vec<(&str, Put)> =
        cleared.iter().map(|cell| (cell.as_str(), Put::Nothing)).collect();
    change(&path, "Issues", &cleared);
    assert_eq!(wrong(&path), [(2, 1), (2, 4)]);
}
