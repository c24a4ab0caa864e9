//! The page says what the sheets say: every figure and word, both ways.

use std::collections::BTreeSet;

use gapwright::choose::{choose, control::Control};
use gapwright::length::Unit;
use gapwright::paper::{self, PaperParts};
use gapwright::plan::Kit;
use gapwright::read::{self, Memory, Sources};
use gapwright::verify::{verify, verify_kits};
use gapwright::{formats, json, output, words, write};
use tempfile::TempDir;

use crate::html::{Piece, collapsed, shown, slips, texts};
use crate::outages::{self, Outage, bench, held, sample, sources_of};
use crate::page::Row;
use crate::{page_of, printed};

/// Columns of a slip that are printed.
const PRINTED: std::ops::Range<u32> = 0..8;

/// Rows of each slip of the sheet Kits.
fn of_sheet(outage: &Outage) -> Vec<Vec<Row>> {
    let mut found: Vec<Vec<Row>> = Vec::new();
    for row in outage.book.page("Kits").block(PRINTED) {
        let title =
            row.get(&0).is_some_and(|text| text.starts_with("Kit ") && text.contains(": pump "));
        match found.last_mut() {
            Some(slip) if !title => slip.push(row),
            _ => found.push(vec![row]),
        }
    }
    found
}

/// A cell as it stands on the page: counts without their mark, and no boxes.
fn on_page(cell: &str) -> Option<String> {
    let cell = cell.strip_prefix('#').unwrap_or(cell);
    match cell {
        "[]" | "[☐]" => None,
        cell => Some(collapsed(cell)),
    }
}

/// The labels of the two cells stand over each of them.
fn readings(unit: Unit) -> [String; 3] {
    [
        format!("1st, 2nd reading ({unit}):"),
        format!("1st reading ({unit})"),
        format!("2nd reading ({unit})"),
    ]
}

#[test]
fn every_figure_and_word_of_the_sheet_kits_is_on_the_page_and_the_other_way_round() {
    let mut compared = 0;
    let seen = std::sync::Mutex::new(&mut compared);
    held("the page", |outage, wrong| {
        let verified = &outage.verified;
        let job = verified.job();
        let page = page_of(verified);
        let (on_paper, on_sheet) = (slips(&page.html), of_sheet(outage));
        wrong.same("slips", on_paper.len(), on_sheet.len());
        for (pieces, rows) in on_paper.iter().zip(&on_sheet) {
            let title = &rows[0][&0];
            let (_, tag) = title.split_once(": pump ").unwrap();
            let index = job.pumps.iter().position(|pump| pump.tag == tag).unwrap();
            let pump = &job.pumps[index];
            let text = shown(pieces);
            let cells: Vec<String> =
                rows.iter().flat_map(Row::values).filter_map(|cell| on_page(cell)).collect();
            let [both, first, second] = readings(job.model_of(pump).unit);
            for cell in &cells {
                let there = match cell {
                    cell if *cell == both => text.contains(&first) && text.contains(&second),
                    // For the engineer, who has the sheet Stack-up.
                    cell if cell.starts_with("Tolerances from: ") => true,
                    cell => text.contains(cell.as_str()),
                };
                wrong.unless(there, format!("{tag}: on the sheet and not on the page: {cell}"));
            }
            // As many boxes to tick, and as many cells for readings.
            let boxes = rows.iter().flat_map(Row::values).filter(|cell| *cell == "[☐]").count();
            let ticks =
                pieces.iter().filter(|piece| matches!(piece, Piece::Open(name, _) if name == "i"));
            wrong.same(&format!("{tag}: boxes"), ticks.count(), boxes);
            let asked = cells.iter().filter(|cell| **cell == both).count();
            let is_cell = |piece: &&Piece| matches!(piece, Piece::Open(name, a) if name == "div" && a.iter().any(|(_, v)| v == "cell"));
            let entries = pieces.iter().filter(is_cell).count();
            wrong.same(&format!("{tag}: cells for readings"), entries, 2 * asked);
            // The other way round: no text but those that only the page has.
            let whole = cells.join(" \u{1f} ");
            let mut own = own_words(outage, index, [first, second]);
            for text in texts(pieces) {
                if own.remove(&text) || whole.contains(&text) {
                    continue;
                }
                // Marks between the figures of a sentence, and what stands on the drawing.
                let bare = text.trim_matches([',', ';', '(', ')', ' ', ':', '.']);
                wrong.unless(
                    whole.contains(bare),
                    format!("{tag}: on the page and not on the sheet: {text}"),
                );
            }
            **seen.lock().unwrap() += cells.len();
        }
    });
    assert!(compared > 2_000, "{compared} cells were compared");
}

/// Texts of a slip that the sheet Kits does not have in its cells.
fn own_words(outage: &Outage, index: usize, cells: [String; 2]) -> BTreeSet<String> {
    let verified = &outage.verified;
    let (job, id) = (verified.job(), verified.planned().id());
    let pump = &job.pumps[index];
    let unit = job.model_of(pump).unit;
    let number = outages_number(outage, &pump.tag);
    let of = job.pumps.len();
    let mut own = BTreeSet::from(
        [
            format!("{}: Kit {number} of {of}", collapsed(&pump.tag)),
            format!("Plan {id}"),
            collapsed(&format!("Code: {}", paper::slip_code(&id, number, &pump.tag))),
            outages::DATE.to_string(),
            "STOP".into(),
            "if outside: do not fit it. Wipe, check, measure again.".into(),
            "if no such micrometer is at hand: do not fit it unmeasured.".into(),
            "if outside: do not close up. Measure again. Outside twice: leave it open.".into(),
            "if no such gauge is at hand: do not close up.".into(),
            "Dimension".into(),
            "Reading".into(),
            format!("Measured again, {}", cells[0]),
            format!("Measured again, {}", cells[1]),
            "As measured".into(),
            "Fitter, date:".into(),
            "Checked, date:".into(),
            "The tag is too long for a code.".into(),
        ]
        .map(|text| collapsed(&text)),
    );
    own.extend(cells);
    // Letters of the drawing, which the sheet has with its labels.
    own.extend(('A'..='Z').map(String::from));
    // On the drawing, where the sheet has floating texts.
    own.extend(outage.book.floating("Kits").into_iter().map(|text| collapsed(&text)));
    if matches!(verified.plan().kits[index], Kit::Short(_)) {
        let model = job.model_of(pump);
        for (dimension, measured) in model.dimensions.iter().zip(&pump.dimensions) {
            let within = words::tolerance(measured.tolerance, unit);
            own.insert(collapsed(&format!("{} {within}", words::measured(measured, unit))));
            own.insert(collapsed(&dimension.label));
            own.insert(collapsed(&format!(
                "{} (mean of {})",
                dimension.label,
                measured.readings.len()
            )));
        }
    }
    own
}

/// Number of a pump's kit, as the sheet has it.
fn outages_number(outage: &Outage, tag: &str) -> u32 {
    let end = format!(": pump {tag}");
    let titles = of_sheet(outage).into_iter().map(|rows| rows[0][&0].clone());
    let title = titles.into_iter().find(|title| title.ends_with(&end)).unwrap();
    title.split(' ').nth(1).unwrap().parse().unwrap()
}

/// A range is printed inward: the ends of ACCEPT on the page pass `recheck`, one step further out does not. The figures
/// by hand are in tests/paper.
#[test]
fn labels_and_picking_list_say_what_their_sheets_say() {
    held("labels and picking", |outage, wrong| {
        let page = page_of(&outage.verified);
        let text = shown(&crate::html::pieces(&page.html));
        for (sheet, columns) in [("Labels", 0..9), ("Picking list", 0..8)] {
            for cell in outage.book.page(sheet).block(columns).iter().flat_map(Row::values) {
                let Some(cell) = on_page(cell) else { continue };
                // Said in other words, or of other columns.
                let other = [
                    "nothing to pick",
                    "no bag",
                    "No kit, no label",
                    "Cut into",
                    "Goes back",
                    "Of plate",
                    "Plate",
                    "Plates",
                    "goes back",
                ];
                if cell.is_empty() || other.iter().any(|other| cell.contains(other)) {
                    continue;
                }
                wrong.unless(
                    text.contains(&cell)
                        || sheet == "Picking list" && !outage.verified.job().plates.is_empty(),
                    format!("{sheet}: {cell}"),
                );
            }
        }
    });
}

/// A plan that is read back from its JSON or its workbook gives the very page.
#[test]
fn a_plan_read_back_gives_the_page_of_the_plan() {
    let own = bench(&[]);
    let cases: [(Sources, bool); 3] = [
        (sample("outage/stock.xlsx", "outage/pumps.xlsx"), true),
        (sample("tiny/stock.csv", "tiny/pumps.csv"), true),
        // Plates: only the JSON has their layouts.
        (sources_of(own.path(), &[]), false),
    ];
    for (sources, by_workbook) in cases {
        let job = read::job(&sources).unwrap();
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let verified = verify(job.clone(), plan).unwrap();
        let folder = TempDir::new().unwrap();
        let files = [
            ("plan.json", json::text(&verified).into_bytes()),
            ("plan.xlsx", write::workbook(&verified, outages::DATE).unwrap()),
        ];
        let parts = PaperParts { labels: Some(paper::LabelGrid::default()), ..crate::ALL_PARTS };
        let expected = paper::page(&printed(&verified), &parts);
        for (name, bytes) in files {
            let path = folder.path().join(name);
            let out = output::Inputs::of([&sources.stock]).output(&path, false).unwrap();
            output::place(&[(&out, &bytes)]).unwrap();
            let read = read::planned_kits(&path, job.clone(), &mut Memory::default());
            if name.ends_with("xlsx") && !by_workbook {
                assert!(read.is_err());
                continue;
            }
            let (planned, _) = read.unwrap_or_else(|problems| panic!("{:#?}", problems.sorted()));
            let again = verify_kits(planned.job, planned.kits, planned.layouts).unwrap();
            assert_eq!(again.planned().id(), planned.id);
            assert!(!again.proven(), "a plan that is read is not proven by that");
            let plan = paper::PrintedPlan { shorts: Some(&planned.shorts), ..printed(&again) };
            assert_eq!(paper::page(&plan, &parts).html, expected.html, "{name}");
        }
    }
    // The format has what the words need.
    assert!(formats::plan::schema().as_value().to_string().contains("over"));
}
