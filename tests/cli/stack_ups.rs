//! `kit --stack-up`: stack-ups of all kits, of pumps that are not fit alone, or none.

use std::io::{Cursor, Read};

use calamine::{Data, Reader, Xlsx};
use tempfile::TempDir;

use super::kit;

/// The plan's workbook as one of the three ways writes it, and its JSON.
fn written(which: &str) -> (Vec<u8>, String) {
    kit(TempDir::new().unwrap().path(), &["--stack-up", which])
}

fn book(bytes: &[u8]) -> Xlsx<Cursor<&[u8]>> {
    Xlsx::new(Cursor::new(bytes)).unwrap()
}

fn texts(bytes: &[u8], sheet: &str) -> Vec<String> {
    let range = book(bytes).worksheet_range(sheet).unwrap();
    range.used_cells().map(|(_, _, cell)| cell.to_string()).collect()
}

/// Formulas of a workbook, each with its sheet.
fn formulas(bytes: &[u8]) -> Vec<(String, String)> {
    let mut book = book(bytes);
    let mut found = Vec::new();
    for sheet in book.sheet_names() {
        let range = book.worksheet_formula(&sheet).unwrap();
        let own = range.used_cells().filter(|(.., formula)| !formula.is_empty());
        found.extend(own.map(|(.., formula)| (sheet.clone(), formula.clone())));
    }
    found
}

/// The sheets that links, formulas and names of a workbook lead to.
fn led_to(bytes: &[u8]) -> Vec<String> {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut found = Vec::new();
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        let name = part.name().unwrap().to_string();
        if !name.starts_with("xl/worksheets/sheet") && name != "xl/workbook.xml" {
            continue;
        }
        let mut text = String::new();
        part.read_to_string(&mut text).unwrap();
        let links = text.split(" location=\"").skip(1).map(|rest| rest.split('"').next().unwrap());
        let names = text.split("<definedName ").skip(1);
        let names = names.map(|rest| rest.split_once('>').unwrap().1.split('<').next().unwrap());
        let sheet = |to: &str| to.rsplit_once('!').unwrap().0.trim_matches('\'').to_string();
        found.extend(links.chain(names).flat_map(|to| to.split(',')).map(sheet));
    }
    found
}

/// Lines of Verdicts: tag, then what stands behind it up to the verdict as written.
fn verdicts(bytes: &[u8]) -> Vec<Vec<Data>> {
    let range = book(bytes).worksheet_range("Verdicts").unwrap();
    let mut rows = range.rows().skip_while(|row| row[0] != Data::String("Tag".into()));
    assert_eq!(rows.next().unwrap()[10], Data::String("Verdict as written".into()));
    rows.map(|row| row[..=10].to_vec()).collect()
}

#[test]
fn stack_ups_are_written_of_all_kits_of_short_pumps_or_not_at_all() {
    let (all, json) = written("all");
    assert_eq!(kit(TempDir::new().unwrap().path(), &[]), (all.clone(), json.clone()));
    let lines = verdicts(&all);
    // 27 kits and the nearest one of a pump that is not fit, two requirements or more each.
    assert!(lines.len() >= 2 * 28, "{}", lines.len());
    for (which, said) in [
        (
            "short",
            "Stack-up has only the nearest kits of pumps that are NOT FIT TO ASSEMBLE (--stack-up short); gapwright stack --pump TAG works any pump out.",
        ),
        (
            "none",
            "There is no sheet Stack-up (--stack-up none); gapwright stack --pump TAG works any pump out.",
        ),
    ] {
        let (bytes, own) = written(which);
        assert_eq!(own, json, "{which}");
        assert!(bytes.len() < all.len(), "{which}");
        assert!(texts(&bytes, "Summary").iter().any(|text| text == said), "{which}");
        assert!(!texts(&all, "Summary").iter().any(|text| text.contains("--stack-up")));

        // The sheets of a whole workbook, but for Stack-up where there is none.
        let mut sheets = book(&all).sheet_names();
        sheets.retain(|sheet| which != "none" || !sheet.starts_with("Stack-up"));
        assert_eq!(book(&bytes).sheet_names(), sheets);
        let to = led_to(&bytes);
        assert!(to.iter().all(|sheet| sheets.contains(sheet)), "{which}: {to:?}");
        assert_eq!(to.iter().any(|sheet| sheet == "Stack-up"), which == "short");

        // Every verdict stands there with the figures of the whole workbook, and follows nothing.
        let found = verdicts(&bytes);
        assert_eq!(found.len(), lines.len(), "{which}");
        for (found, line) in found.iter().zip(&lines) {
            for (at, (found, cell)) in found.iter().zip(line).enumerate() {
                match (found, cell) {
                    // A chance comes no nearer to one than its law can show: 99.9 % with few readings.
                    (Data::Float(found), Data::Float(cell)) => {
                        let capped = at == 8 && (*found - 0.999).abs() < 1e-12 && cell > found;
                        assert!((found - cell).abs() < 1e-9 || capped, "{which}: {line:?}");
                    }
                    _ => assert_eq!(found, cell, "{which}: {line:?}"),
                }
            }
        }
        let live = formulas(&bytes);
        assert!(live.iter().all(|(sheet, _)| sheet == "Stack-up"), "{which}: {live:?}");
        assert_eq!(live.is_empty(), which == "none");
    }
}

#[test]
fn a_short_pump_is_worked_out_with_its_nearest_kit_and_says_that_it_is_not_fit() {
    let (all, _) = written("all");
    let heads = |bytes: &[u8]| -> Vec<String> {
        let mut texts = texts(bytes, "Stack-up");
        texts.retain(|text| text.starts_with("Pump P-"));
        texts
    };
    assert_eq!(heads(&all).len(), 27);
    let (short, _) = written("short");
    let [head] = &heads(&short)[..] else { panic!("{:?}", heads(&short)) };
    assert!(head.starts_with("Pump P-299: "), "{head}");
    let texts = texts(&short, "Stack-up");
    let after = texts.iter().skip_while(|text| *text != head).nth(1).unwrap();
    assert_eq!(after, "NOT FIT TO ASSEMBLE: its nearest kit; no pieces are issued for it.");
    // Some requirement of it is not met, or it would have been kitted.
    let results = texts.iter().zip(texts.iter().skip(1));
    let mut verdicts = results.filter(|(label, _)| *label == "Result by the acceptance rule");
    assert!(verdicts.any(|(_, verdict)| verdict != "met"));
}
