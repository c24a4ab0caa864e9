//! The plan workbook read back as the next program would read it.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation, missing_docs)]

mod demanding;
mod engine;
mod expanded;
mod from;
mod labels;
mod language;
mod large;
#[allow(dead_code)]
#[path = "../support/shop.rs"]
mod shop;

use std::fs;
use std::path::Path;

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use gapwright::choose::{choose, control::Control};
use gapwright::formats::plan::LackJson;
use gapwright::plan::Kit;
use gapwright::read::{Sources, job};
use gapwright::verify::{Verified, verify};
use gapwright::words::NOT_FIT;
use gapwright::write;
use tempfile::TempDir;

fn verified(stock: &Path, pumps: &Path) -> Verified {
    let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let plan = choose(&job, &Control::unlimited()).unwrap();
    verify(job, plan).unwrap()
}

fn sample() -> Verified {
    verified(Path::new("samples/outage/stock.xlsx"), Path::new("samples/outage/pumps.xlsx"))
}

fn write_to(folder: &TempDir, verified: &Verified) -> std::path::PathBuf {
    let path = folder.path().join("plan.xlsx");
    fs::write(&path, write::workbook(verified, "2027-03-01").unwrap()).unwrap();
    path
}

fn texts(book: &mut Xlsx<std::io::BufReader<fs::File>>, sheet: &str) -> Vec<String> {
    let range = book.worksheet_range(sheet).unwrap();
    range.used_cells().map(|(_, _, cell)| cell.to_string()).collect()
}

#[test]
fn every_sheet_is_there_in_its_order() {
    let folder = TempDir::new().unwrap();
    let book: Xlsx<_> = open_workbook(write_to(&folder, &sample())).unwrap();
    let expected = [
        "Summary",
        "Picking list",
        "Kits",
        "Labels",
        "Verdicts",
        "Stack-up",
        "Short",
        "Reorder",
        "Issue",
        "Stock after",
        "Feelers",
        "Models",
        "Basis",
    ];
    assert_eq!(book.sheet_names(), expected);
}

#[test]
fn cautions_and_verdicts_stand_where_they_must() {
    let folder = TempDir::new().unwrap();
    let verified = sample();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let kits = texts(&mut book, "Kits");
    let short = verified.plan().kits.iter().filter(|k| matches!(k, Kit::Short(_))).count();
    assert_eq!(short, 1);
    assert_eq!(kits.iter().filter(|text| *text == NOT_FIT).count(), short);
    let pumps = verified.job().pumps.len();
    for (when, caution) in gapwright::model::USUAL_CAUTIONS {
        assert_eq!(
            kits.iter().filter(|text| text.trim_start_matches("\u{26a0} ") == caution).count(),
            if matches!(when, "before" | "always") { pumps } else { pumps - short },
            "{caution}"
        );
        assert!(texts(&mut book, "Summary").iter().any(|text| text == caution), "{caution}");
    }
    assert!(texts(&mut book, "Summary").iter().any(|text| text.starts_with("Proven best")));
    // The slip of each kitted pump names its pieces; none is issued to the other.
    let slips = kits.iter().filter(|text| text.starts_with("Kit ")).count();
    assert_eq!(slips, pumps);
}

#[test]
fn the_picking_list_adds_up_to_what_is_issued() {
    let folder = TempDir::new().unwrap();
    let verified = sample();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let lead = "Measure a piece of each lot of shims and gaskets before it leaves the bin";
    let cells = texts(&mut book, "Picking list");
    assert!(cells.iter().any(|text| text.contains(lead)));
    let range = book.worksheet_range("Picking list").unwrap();
    let job = verified.job();
    let issued = verified.issued();
    let mut seen = 0;
    let mut bins = Vec::new();
    for row in range.rows() {
        let Some(index) =
            job.stock.iter().position(|item| row[1] == Data::String(item.item.clone()))
        else {
            continue;
        };
        assert_eq!(row[6], Data::Float(f64::from(issued[index])), "{}", job.stock[index].item);
        // "P-101 (2), P-105 (1)": the pieces for the tags are the quantity.
        let pieces: u32 =
            row[7].to_string().split(['(', ')']).filter_map(|part| part.parse::<u32>().ok()).sum();
        assert_eq!(pieces, issued[index]);
        bins.push(row[0].to_string());
        seen += 1;
    }
    assert_eq!(seen, issued.iter().filter(|n| **n > 0).count());
    // S9 comes before S10.
    let number = |bin: &String| (bin[..1].to_string(), bin[1..].parse::<u32>().unwrap());
    assert!(bins.windows(2).all(|pair| number(&pair[0]) < number(&pair[1])), "{bins:?}");
}

/// A tag that is longer than its column wraps, in a row that is high enough.
#[test]
fn long_tags_are_not_cut_on_summary() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    let pumps = fs::read_to_string("samples/tiny/pumps.csv").unwrap();
    let long = format!("B-{}", "X".repeat(48));
    let own = pumps.replacen("\nB,", &format!("\n{long},"), 1);
    fs::write(path("pumps.csv"), own).unwrap();
    let verified = verified(Path::new("samples/tiny/stock.csv"), &path("pumps.csv"));
    let bytes = fs::read(write_to(&folder, &verified)).unwrap();
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut part = |name: &str| {
        let mut text = String::new();
        let mut file = archive.by_name(name).unwrap();
        std::io::Read::read_to_string(&mut file, &mut text).unwrap();
        text
    };
    let (shared, sheet) = (part("xl/sharedStrings.xml"), part("xl/worksheets/sheet1.xml"));
    let styles = part("xl/styles.xml");
    let tag = shared.split("<si>").skip(1).position(|s| s.contains(&long));
    let value = format!("<v>{}</v>", tag.unwrap());
    let attribute = |text: &str, name: &str| -> String {
        let (_, rest) = text.split_once(&format!(" {name}=\"")).unwrap();
        rest.split('"').next().unwrap().to_string()
    };
    // The first cell of its row; that of the chart's figures is further right.
    let starts = |cell: &str| cell.starts_with("r=\"A") && cell.contains(&value);
    let row = sheet.split("<row ").find(|row| row.split("<c ").nth(1).is_some_and(starts)).unwrap();
    // 50 letters, a dozen per line: five lines of 15.5 points, in whole pixels of 0.75.
    assert_eq!(attribute(row, "ht"), "77.25");
    let cell: usize = attribute(row.split("<c").nth(1).unwrap(), "s").parse().unwrap();
    let (_, formats) = styles.split_once("<cellXfs").unwrap();
    let format = formats.split("<xf ").nth(cell + 1).unwrap();
    assert!(format.contains("wrapText=\"1\""), "{format}");
}

/// The stock after the plan is the next plan's stock, by file and to the piece.
#[test]
fn stock_after_is_ready_to_be_next_times_stock() {
    let folder = TempDir::new().unwrap();
    let before = sample();
    let path = write_to(&folder, &before);
    let next =
        Sources { stock: path, pumps: "samples/outage/pumps.xlsx".into(), ..Sources::default() };
    let next = job(&next).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let issued = before.issued();
    assert_eq!(next.stock.len(), before.job().stock.len());
    for ((then, now), issued) in before.job().stock.iter().zip(&next.stock).zip(&issued) {
        assert_eq!(now.on_hand, then.on_hand - issued, "{}", then.item);
        assert_eq!(now.size, then.size, "{}", then.item);
        assert_eq!(
            (now.reserved, now.unit_cost, &now.bin),
            (then.reserved, then.unit_cost, &then.bin)
        );
    }
    // An unknown column of the stock workbook is copied to the output.
    let headings = &next.stock_sheet.sheet.rows[0].cells;
    assert!(headings.iter().any(|(_, cell)| cell.show() == "Counted by"));
}

#[test]
fn text_that_looks_like_a_formula_stays_text() {
    let folder = TempDir::new().unwrap();
    let stock = fs::read_to_string("samples/tiny/stock.csv")
        .unwrap()
        .replace("S20,", "=1+1,")
        .replace("A2", "@SUM(A1)");
    let pumps = fs::read_to_string("samples/tiny/pumps.csv").unwrap().replace("\nB,", "\n+CMD|x,");
    let (stock_path, pumps_path) =
        (folder.path().join("stock.csv"), folder.path().join("pumps.csv"));
    fs::write(&stock_path, stock).unwrap();
    fs::write(&pumps_path, pumps).unwrap();
    let path = write_to(&folder, &verified(&stock_path, &pumps_path));
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let mut formulas = 0;
    for sheet in book.sheet_names() {
        let range = book.worksheet_formula(&sheet).unwrap();
        for (_, _, formula) in range.used_cells().filter(|(_, _, f)| !f.is_empty()) {
            assert!(["Verdicts", "Stack-up"].contains(&sheet.as_str()), "{sheet}: {formula}");
            assert!(!formula.contains("CMD") && formula != "1+1");
            formulas += 1;
        }
    }
    assert!(formulas > 100);
    let picked = texts(&mut book, "Picking list");
    assert!(picked.iter().any(|t| t == "=1+1") && picked.iter().any(|t| t == "@SUM(A1)"));
    assert!(picked.iter().any(|t| t == "+CMD|x (1)"), "{picked:?}");
}

/// Cached verdicts and margins of the Stack-up sheet are those of the library.
#[test]
fn the_stack_up_shows_the_librarys_own_numbers() {
    shows_the_librarys_own_numbers(&sample());
}

/// Likewise under the expanded rule, with lots that several places share.
#[test]
fn the_stack_up_shows_the_librarys_own_uncertainties() {
    let job = expanded::sample().unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let verified = verify(job, plan).unwrap();
    // Some kit has pieces of one lot in both places.
    let shared = |kit: &Kit| {
        let Kit::Served(packs) = kit else {
            return false;
        };
        let [first, second] = expanded::SHARING.map(|pack| packs.get(pack));
        let mut pairs = first.iter().flat_map(|pack| &pack.picks);
        pairs.any(|a| second.is_some_and(|pack| pack.picks.iter().any(|b| a.item == b.item)))
    };
    assert!(verified.plan().kits.iter().any(shared));
    shows_the_librarys_own_numbers(&verified);
    let folder = TempDir::new().unwrap();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let range = book.worksheet_range("Stack-up").unwrap();
    let rows = |label: &str| -> Vec<[f64; 2]> {
        let rows = range.rows().filter(|row| row[0] == Data::String(label.into()));
        rows.map(|row| [1, 2].map(|column| row[column].get_float().unwrap())).collect()
    };
    // The guard is the expanded uncertainty plus the offset of the middle towards the limit.
    let found: Vec<f64> = rows("Expanded uncertainty")
        .iter()
        .zip(rows("Shift of the mean towards the limit (uneven sides)"))
        .flat_map(|(u, middle)| [0, 1].map(|side| (u[side] + middle[side]).max(0.0)))
        .collect();
    let job = verified.job();
    let mut expected = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&verified.plan().kits) {
        let Kit::Served(packs) = kit else { continue };
        let unit = job.model_of(pump).unit;
        for v in gapwright::accounting::verdicts(job, pump, packs) {
            expected.extend([v.guard_lower, v.guard_upper].map(|x| x.to_f64(unit)));
        }
    }
    assert_eq!(found.len(), expected.len());
    assert!(expected.iter().filter(|guard| **guard > 0.0).count() > 10);
    for (found, expected) in found.iter().zip(&expected) {
        assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
    }
}

fn shows_the_librarys_own_numbers(verified: &Verified) {
    let folder = TempDir::new().unwrap();
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, verified)).unwrap();
    let range = book.worksheet_range("Stack-up").unwrap();
    let column = |label: &str, column: usize| -> Vec<Data> {
        range
            .rows()
            .filter(|row| row[0] == Data::String(label.into()))
            .map(|row| row[column].clone())
            .collect()
    };
    let job = verified.job();
    let mut expected = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&verified.plan().kits) {
        let Kit::Served(packs) = kit else { continue };
        let unit = job.model_of(pump).unit;
        for v in gapwright::accounting::verdicts(job, pump, packs) {
            let margins = [v.margin_lower(), v.margin_upper()].map(Option::unwrap);
            expected.push([v.value, margins[0], margins[1]].map(|x| x.to_f64(unit)));
        }
    }
    let labels = [
        ("Nominal value", 1),
        ("Margin by the acceptance rule", 1),
        ("Margin by the acceptance rule", 2),
    ];
    for (at, (label, side)) in labels.into_iter().enumerate() {
        let found = column(label, side);
        assert_eq!(found.len(), expected.len());
        for (found, expected) in found.iter().zip(&expected) {
            let Data::Float(found) = found else { panic!("{label}: {found:?}") };
            assert!((found - expected[at]).abs() < 1e-9, "{label}: {found} for {}", expected[at]);
        }
    }
    let verdicts = column("Result by the acceptance rule", 1);
    assert_eq!(verdicts.len(), expected.len());
    assert!(verdicts.iter().all(|v| *v == Data::String("met".into())));
}

/// A plan that was tampered with in any way does not pass the checker.
#[test]
fn the_checker_refuses_what_does_not_hold() {
    let verified = sample();
    let (job, plan) = (verified.job(), verified.plan());
    let spoil = |change: &dyn Fn(&mut gapwright::plan::Plan)| {
        let mut spoilt = plan.clone();
        change(&mut spoilt);
        let breaches = verify(job.clone(), spoilt).expect_err("a spoilt plan");
        let words: Vec<String> = breaches.iter().map(ToString::to_string).collect();
        words.join("; ")
    };
    let first = |plan: &mut gapwright::plan::Plan,
                 change: &dyn Fn(&mut Vec<gapwright::plan::PackPick>)| {
        let Some(Kit::Served(packs)) = plan.kits.first_mut() else { panic!("the first is kitted") };
        change(packs);
    };
    assert!(spoil(&|p| p.goals[1].value -= 1).contains("waste is"));
    assert!(spoil(&|p| p.goals.clear()).contains("the goals are not those"));
    assert!(spoil(&|p| p.goals.truncate(3)).contains("the goals are not those"));
    assert!(spoil(&|p| p.goals[1].bound -= 1).contains("nothing ended the search"));
    assert!(spoil(&|p| p.kits[27] = Kit::Short(vec![])).contains("short for no reason"));
    assert!(spoil(&|p| p.goals[1].bound += 1).contains("beyond its own bound"));
    assert!(spoil(&|p| p.kits[0] = Kit::Short(vec![])).contains("served weight is"));
    assert!(spoil(&|p| first(p, &|packs| packs[0].picks[0].count += 1)).contains("is not met"));
    assert!(
        spoil(&|p| first(p, &|packs| packs[0].picks[0].count = 40)).contains("more than there are")
    );
    assert!(spoil(&|p| first(p, &|packs| packs.swap(0, 1))).contains("does not belong there"));
    assert!(spoil(&|p| first(p, &|packs| packs[1].picks.clear())).contains("0 pieces"));
    assert!(spoil(&|p| drop(p.kits.pop())).contains("kits where there must be"));
}

/// Two pumps whose model asks for packing rings by section, and for a lantern ring by fit code.
fn ringed(folder: &TempDir, rings: u32) -> Verified {
    let path = |name: &str| folder.path().join(name);
    let model = gapwright::read::BUILT_IN[0].1;
    let (front, _) = model.split_once("[[consumable]]").unwrap();
    fs::create_dir(path("models")).unwrap();
    let consumables = "[[consumable]]\nkind = \"packing ring\"\ncount = 4\n\
        section = { bore = \"box_bore\", shaft = \"sleeve_diameter\" }\n\
        [[consumable]]\nkind = \"lantern ring\"\ncount = 1\nfit_column = \"Lantern fit\"\n";
    fs::write(path("models/ringed.toml"), format!("{front}{consumables}")).unwrap();
    let stock = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    let stock = format!(
        "{stock}R12,packing ring,,1/2,,{rings},1.10,C3\nR10,packing ring,,10 mm,,9,1.10,C1\n\
         R12-old,packing ring,P,12.7 mm,,2,1.00,C2\nL7,lantern ring,L7,,,1,9.00,C10\n"
    );
    fs::write(path("stock.csv"), stock).unwrap();
    let pumps = "\
Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in),Box bore (in),Sleeve diameter (in),Lantern fit
A,ringed,2,F1,F1,0.041,0.050,3,2,L7
B,ringed,1,F1,F1,0.051,0.050,3,2,L7
C,ringed,1,F1,F1,0.400,0.050,3.25,2,L7
";
    fs::write(path("pumps.csv"), pumps).unwrap();
    let sources = Sources {
        stock: path("stock.csv"),
        pumps: path("pumps.csv"),
        models: Some(path("models")),
        ..Sources::default()
    };
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let plan = choose(&job, &Control::unlimited()).unwrap();
    verify(job, plan).unwrap()
}

fn rows(book: &mut Xlsx<std::io::BufReader<fs::File>>, sheet: &str) -> Vec<String> {
    let range = book.worksheet_range(sheet).unwrap();
    let row = |row: &[Data]| {
        let cells: Vec<String> = row.iter().map(ToString::to_string).collect();
        cells.join("|").trim_end_matches('|').to_string()
    };
    range.rows().map(row).collect()
}

/// Eight rings of 1/2 in are asked for; seven are in two lots. Pi times 2.5 in is 7.85 in.
#[test]
fn consumables_stand_on_every_sheet_and_so_does_what_lacks() {
    let folder = TempDir::new().unwrap();
    let verified = ringed(&folder, 5);
    assert_eq!(verified.plan().served(), 2);
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let mut has = |sheet: &str, expected: &[&str]| {
        let rows = rows(&mut book, sheet);
        for line in expected {
            assert!(
                rows.iter().any(|row| row.contains(line)),
                "`{line}` is not on {sheet}: {rows:#?}"
            );
        }
    };
    has(
        "Kits",
        &[
            "Also for the bag|Item|Pieces|Fit or section|Ring length|Bin",
            // B comes first and takes the lot without a fit code.
            "packing ring|R12|4|0.5000 in (1/2)|7.85 in|C3|☐|☐",
            "packing ring|R12|1|0.5000 in (1/2)|7.85 in|C3|☐|☐",
            "packing ring|R12-old|2|0.5000 in (1/2)|7.85 in|C2|☐|☐",
            "lantern ring|L7|1|L7||C10|☐|☐",
            "MISSING 1 of 4: packing ring, section 0.5000 in (1/2), ring length 7.85 in. \
             Why: 7 free, all used.",
            "MISSING 1 of 1: lantern ring, fit L7. Why: 1 free, all used.",
        ],
    );
    has(
        "Picking list",
        &[
            "C2|R12-old|packing ring|P|0.5000 in (1/2)|12.700 mm|2|A (2)|☐",
            "C3|R12|packing ring||0.5000 in (1/2)|12.700 mm|5|A (1), B (4)|☐",
            "C10|L7|lantern ring|L7|||1|B (1)|☐",
        ],
    );
    has(
        "Short",
        &[
            "A|2||packing ring||7 free, all used|1 of 4|",
            "A|2||lantern ring|L7|1 free, all used|1 of 1|",
        ],
    );
    has(
        "Summary",
        &[
            "Short of consumables: 1 of 2 bags, see Short",
            "A|ringed|2||kitted, short of consumables|",
            "B|ringed|1||kit complete|",
        ],
    );
    // Missing pieces appear once, with the row that is taken first.
    has(
        "Reorder",
        &[
            "R12|packing ring||5|5|0|0|0||1 missing in bags",
            "R12-old|packing ring|P|2|2|0|0|0",
            "R10|packing ring||9|0|0|9|",
            "L7|lantern ring|L7|1|1|0|0|0||1 missing in bags",
        ],
    );
    has(
        "Models",
        &[
            "For the bag|Chosen by|Pieces",
            "packing ring|the section, half of (`Box bore` less `Sleeve diameter`)|4",
            "lantern ring|the fit code in `Lantern fit`|1",
        ],
    );
    has(
        "Stock after",
        &[
            "R12|packing ring||1/2||0|",
            "R12-old|packing ring|P|12.7 mm||0|",
            "L7|lantern ring|L7|||0|",
        ],
    );
    // A pump that is not kitted gets no consumables, and no bag of it is short.
    let rows = rows(&mut book, "Short");
    assert_eq!(rows.iter().filter(|row| row.starts_with("C|")).count(), 1);
    for sheet in book.sheet_names() {
        let texts = texts(&mut book, &sheet);
        assert!(!texts.iter().any(|text| text.contains("not counted against")));
    }
    // The plan as JSON agrees.
    let plan = gapwright::json::plan(&verified);
    let [a, b, c] = plan.pumps.as_slice() else { panic!("three pumps") };
    assert!(c.bag.is_empty() && !c.served && b.bag.iter().all(|share| share.lacking == 0));
    let ring = a.bag[0].ring.as_ref().unwrap();
    assert_eq!(
        (ring.section.as_str(), ring.ring_length.as_str(), ring.unit.as_str()),
        ("0.5000", "7.853982", "in")
    );
    assert_eq!((a.bag[0].asked, a.bag[0].lacking), (4, 1));
    assert_eq!(a.bag[1].reason, Some(LackJson::AllGivenOut { available: 1 }));
    let stock = |item: &str| plan.stock.iter().find(|row| row.item == item).unwrap();
    assert_eq!((stock("R12").issued, stock("R12").after), (5, 0));
}

#[test]
fn a_ring_that_nobody_stocks_is_named_by_section_and_length() {
    let folder = TempDir::new().unwrap();
    let before = ringed(&folder, 6);
    let lacks = gapwright::words::lacks(&before);
    assert_eq!(lacks, ["lantern ring, fit L7: 1 free, all used; missing 1 for A"]);
    // Without its rows the ring is unknown.
    let path = folder.path().join("stock.csv");
    let stock = fs::read_to_string(&path).unwrap();
    let kept: Vec<&str> = stock.lines().filter(|row| !row.starts_with("R12")).collect();
    fs::write(&path, kept.join("\n")).unwrap();
    let sources = Sources {
        stock: path,
        pumps: folder.path().join("pumps.csv"),
        models: Some(folder.path().join("models")),
        ..Sources::default()
    };
    let job = job(&sources).unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let verified = verify(job, plan).unwrap();
    assert_eq!(verified.plan().served(), 2);
    let said = "packing ring, section 0.5000 in (1/2), ring length 7.85 in: no such packing ring \
                is in the stock; missing 4 each for A, B";
    assert_eq!(gapwright::words::lacks(&verified)[0], said);
    let mut book: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let slips = texts(&mut book, "Kits");
    let lacking = "MISSING 4 of 4: packing ring, section 0.5000 in (1/2), ring length 7.85 in. \
                   Why: no such packing ring is in the stock.";
    assert_eq!(slips.iter().filter(|text| *text == lacking).count(), 2);
}

/// Eleven rings, one of them loose and ten in a sealed pack; eight are issued, and the rest of the pack is spoiled.
#[test]
fn opened_packs_of_consumables_are_spoiled_where_the_policy_says_so() {
    let folder = TempDir::new().unwrap();
    let before = ringed(&folder, 11);
    let row = before.job().stock.iter().position(|i| i.item == "R12").unwrap();
    assert_eq!((before.issued()[row], before.left()[row]), (8, 3));
    let job = before.job().clone().with(|job| {
        job.policy.opened_cartons_spoiled = true;
        job.stock[row].carton_qty = 10;
    });
    let job = job.unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    assert_eq!(plan.kits, before.plan().kits);
    let after = verify(job, plan).unwrap();
    assert_eq!((after.issued()[row], after.left()[row]), (8, 0));
    let json = gapwright::json::plan(&after);
    let stock = json.stock.iter().find(|row| row.item == "R12").unwrap();
    assert_eq!((stock.before, stock.issued, stock.spoiled, stock.after), (11, 8, 3, 0));
}

/// Consumables do not change the choice of shims and gaskets.
#[test]
fn the_choice_is_the_same_with_and_without_consumables() {
    let with = sample();
    assert!(with.issued() != with.plan().issued(with.job()));
    let job = with.job().clone().with(|job| {
        for model in &mut job.models {
            model.consumables.clear();
        }
        for pump in &mut job.pumps {
            pump.consumable_fits.clear();
        }
        job.stock.retain(|item| item.size.is_some());
    });
    let job = job.unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    assert_eq!(plan.kits, with.plan().kits);
    assert_eq!(plan.goals, with.plan().goals);
}

/// A row is printed up to about 409 points high: the tags of an item that hundreds of pumps need continue below, each
/// once, and so do the tags of pumps without a bag.
#[test]
fn tags_without_number_are_printed_all() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    fs::write(
        path("stock.csv"),
        "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Bin\n\
         S20,shim,F1,0.020,0.0002,900,A1\nG105,gasket,F1,0.105,0.0005,900,G1\n",
    )
    .unwrap();
    let mut pumps = String::from(
        "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n",
    );
    for n in 0..300 {
        pumps.push_str(&format!("P-{n},screwed-impeller,F1,F1,0.041,0.050\n"));
        pumps.push_str(&format!("Q-{n},screwed-impeller,F1,F1,0.441,0.050\n"));
    }
    fs::write(path("pumps.csv"), pumps).unwrap();
    let sources =
        Sources { stock: path("stock.csv"), pumps: path("pumps.csv"), ..Sources::default() };
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let file = write_to(&folder, &verify(job, plan).unwrap());
    let mut book: Xlsx<_> = open_workbook(&file).unwrap();
    let list = rows(&mut book, "Picking list");
    let lines: Vec<&String> = list.iter().filter(|row| row.contains("S20")).collect();
    // Three rows, of which one is picked and ticked.
    assert_eq!(lines.len(), 3, "{lines:?}");
    assert_eq!(lines.iter().filter(|line| line.contains('\u{2610}')).count(), 1);
    assert!(lines[0].contains("|300|P-0 (1), P-1 (1)"), "{}", lines[0]);
    let text = lines.iter().map(|line| line.replace('|', " "));
    let text: String = text.collect::<Vec<_>>().join(" ");
    for n in 0..300 {
        assert_eq!(text.matches(&format!("P-{n} (1)")).count(), 1, "P-{n}");
    }
    let labels = rows(&mut book, "Labels").join(" ");
    let (_, open) = labels.split_once("no bag: ").unwrap();
    for n in 0..300 {
        let named = open.split([',', ' ', '.']).filter(|tag| *tag == format!("Q-{n}"));
        assert_eq!(named.count(), 1, "Q-{n}");
    }
    let mut zip = zip::ZipArchive::new(fs::File::open(&file).unwrap()).unwrap();
    let mut seen = 0;
    for sheet in 1..=11 {
        let mut text = String::new();
        let mut part = zip.by_name(&format!("xl/worksheets/sheet{sheet}.xml")).unwrap();
        std::io::Read::read_to_string(&mut part, &mut text).unwrap();
        for height in text.split(" ht=\"").skip(1) {
            let height: f64 = height.split('"').next().unwrap().parse().unwrap();
            assert!(height <= 409.5, "{height} on sheet {sheet}");
            seen += 1;
        }
    }
    assert!(seen > 1_000, "{seen}");
}
