//! Models that come with the program, and a shop's own: examples that can be kitted, worked by hand; drawings; the
//! Models sheet.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod edges;
mod language;

use std::fs;
use std::io::Read;
use std::path::Path;

use calamine::{Reader, Xlsx, open_workbook};
use gapwright::accounting::verdicts;
use gapwright::choose::{choose, control::Control};
use gapwright::job::{Job, Parts};
use gapwright::length::Length;
use gapwright::model::{Form, Model, USUAL_CAUTIONS};
use gapwright::plan::Kit;
use gapwright::policy::Acceptance;
use gapwright::problem::Problems;
use gapwright::read::{BUILT_IN, Library, Sources, job, parse_model};
use gapwright::verify::{Verified, verify};
use gapwright::write;
use tempfile::TempDir;

fn built_in(name: &str) -> Model {
    let mut problems = Problems::new();
    let model = Library::open(None, &mut problems).find(name, &mut problems);
    assert!(problems.none(), "{name}: {:#?}", problems.sorted());
    model.unwrap()
}

/// The blank workbooks of a model, read back.
fn blank(model: &Model, models: Option<&Path>) -> Result<Job, Problems> {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    let (stock, pumps) = write::blank::workbooks(model).unwrap();
    fs::write(path("stock.xlsx"), stock).unwrap();
    fs::write(path("pumps.xlsx"), pumps).unwrap();
    job(&Sources {
        stock: path("stock.xlsx"),
        pumps: path("pumps.xlsx"),
        models: models.map(Into::into),
        examples: true,
        ..Sources::default()
    })
}

fn kitted(job: Job) -> Verified {
    let plan = choose(&job, &Control::unlimited()).unwrap();
    assert_eq!(plan.served(), 1, "{:#?}", plan.kits);
    verify(job, plan).unwrap()
}

/// A folder of the shop's own models, made of texts.
fn shop(models: &[(&str, String)]) -> TempDir {
    let folder = TempDir::new().unwrap();
    for (name, text) in models {
        fs::write(folder.path().join(format!("{name}.toml")), text).unwrap();
    }
    folder
}

fn own(folder: &TempDir, name: &str) -> Result<Model, String> {
    let mut problems = Problems::new();
    let library = Library::open(Some(folder.path()), &mut problems);
    let model = library.find(name, &mut problems);
    let said: Vec<String> = problems.sorted().iter().map(ToString::to_string).collect();
    model.filter(|_| said.is_empty()).ok_or(said.concat())
}

#[test]
fn every_model_reads_without_a_problem() {
    assert_eq!(BUILT_IN.len(), 5);
    for (name, text) in BUILT_IN {
        let model = parse_model(name, name, text).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
        let library = built_in(name);
        assert_eq!(library.drawing.as_ref().unwrap().width, 1400, "{name}");
        assert_eq!(model, Model { drawing: None, ..library });
        assert!(model.examples.dimensions.iter().all(Option::is_some));
        assert!(model.examples.packs.iter().all(Option::is_some));
    }
}

/// Student's factor for 95 % and three degrees of freedom.
const STUDENT: f64 = 3.182_446_3;

/// Requirement, value, and its worst-case deviation below and above.
type Worked = (&'static str, f64, f64, f64);

/// Invented examples of the models' comments, worked out by hand with the tolerances of the models; pieces are good
/// to 0.0002 in and 0.005 mm in the blank workbooks. A gasket's worst case is that of free - (1 + a) x gap at either
/// limit. Four readings, one 0.0001 in (2.54 um) below and one above the two in the middle, have a standard
/// uncertainty of that over the root of 6, and count 3.182 446 3 times: Student's factor for 95 % and three degrees
/// of freedom (SciPy 1.17.1; JCGM 100:2008, table G.2, prints 3.18).
#[test]
fn the_examples_of_the_comments_come_out_as_worked_by_hand() {
    let counted = STUDENT / 6.0_f64.sqrt();
    // Rounded up to the micro-inch and the tick.
    let readings = (counted * 100.0).ceil() * 1e-6;
    let metric_readings = (counted * 25_400.0).ceil() * 1e-7;
    // 16 x 12.3e-6 x 60 and 16.5 x 11.4e-6 x 40; at most 16.05 x 12.8e-6 x 65, 16.55 x 12.1e-6 x 45.
    let (shaft, casing) = (0.011_808, 0.007_524);
    let growth = (16.05 * 12.8e-6 * 65.0 - shaft) + (16.55 * 12.1e-6 * 45.0 - casing);
    let off_centre = 0.5 * 0.02 + metric_readings + 0.005;
    let worked: [(&str, Vec<Worked>); 5] = [
        (
            "screwed-impeller",
            vec![
                ("running_clearance", 0.041 - 0.020, 0.0005, 0.0005),
                (
                    "cover_gasket_fill",
                    1.5 * (0.020 + 0.050),
                    0.0002 + 1.4 * 0.0004,
                    0.0002 + 1.6 * 0.0004,
                ),
            ],
        ),
        (
            "front-set-metric",
            vec![
                ("running_clearance", 1.00 - 0.62, 0.015, 0.015),
                (
                    "flange_gasket_fill",
                    1.5 * (1.00 + 1.00),
                    0.005 + 1.36 * 0.010,
                    0.005 + 1.64 * 0.010,
                ),
            ],
        ),
        (
            "bearing-cap",
            vec![
                ("running_clearance", 0.003 + 0.012, readings + 0.0002, readings + 0.0002),
                ("end_float", 1.812 + 0.014 - 1.060 - 0.748 - 0.012, 0.0012, 0.0012),
                // The recess may be 0.0010 more, which takes from the gasket, and 0.0002 less.
                (
                    "cap_gasket_fill",
                    1.5 * (0.014 + 0.028),
                    0.0002 + 1.35 * (0.0002 + 0.0010),
                    0.0002 + 1.65 * (0.0002 + 0.0002),
                ),
            ],
        ),
        (
            "seal-setting",
            vec![
                ("running_clearance", 0.060 - 0.040, 0.0002 + 0.0002, 0.0010 + 0.0002),
                (
                    "running_clearance_hot",
                    0.060 - 0.040 - shaft + casing,
                    0.0004 + growth,
                    0.0012 + growth,
                ),
                ("seal_setting", 2.430 - 0.620 + 0.040, 0.0032, 0.0032),
            ],
        ),
        (
            "thrust-collar",
            vec![
                ("rotor_off_centre", 6.40 / 2.0 - 4.70 + 1.50, off_centre, off_centre),
                // The stack may be 0.008 more, which takes from the float, and 0.012 less.
                (
                    "thrust_float",
                    123.0 - 120.0 - 1.50 - 1.20,
                    0.010 + 0.008 + 0.010,
                    0.010 + 0.012 + 0.010,
                ),
            ],
        ),
    ];
    for (name, expected) in worked {
        let job = blank(&built_in(name), None).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
        let verified = kitted(job);
        let job = verified.job();
        let Kit::Served(packs) = &verified.plan().kits[0] else { panic!("{name} is served") };
        let unit = job.models[0].unit;
        let found = verdicts(job, &job.pumps[0], packs);
        assert_eq!(found.len(), expected.len(), "{name}");
        let requirements = job.pumps[0].requirements.iter();
        for ((requirement, verdict), worked) in requirements.zip(&found).zip(expected) {
            let (of, value, below, above) = worked;
            assert_eq!(requirement.name, of);
            let pairs = [
                (verdict.value, value),
                (verdict.guard_lower, below),
                (verdict.guard_upper, above),
            ];
            for (found, by_hand) in pairs {
                let found = found.to_f64(unit);
                // A tick, 0.1 nm, is 4e-9 in.
                assert!((found - by_hand).abs() < 2e-8, "{name}, {of}: {found} and {by_hand}");
            }
            assert!(verdict.conforms(), "{name}, {of}");
        }
    }
}

/// A shop's model without examples, or with those of its dimensions only, has a blank workbook that can be kitted all
/// the same.
#[test]
fn models_without_examples_have_blank_workbooks_that_can_be_kitted() {
    for (name, text) in BUILT_IN {
        let (dimensions, packs) = text.split_once("\n[pack.").unwrap();
        let without = |text: &str| -> String {
            let lines = text.lines().filter(|l| !l.starts_with("example = "));
            lines.map(|line| format!("{line}\n")).collect()
        };
        let bare = without(text);
        let half = format!("{dimensions}\n[pack.{}", without(packs));
        assert!(bare.len() < half.len() && half.len() < text.len());
        let folder = shop(&[("bare", bare), ("half", half)]);
        for own_name in ["bare", "half"] {
            let model = own(&folder, own_name).unwrap();
            assert!(model.examples.packs.iter().all(Option::is_none));
            let job = blank(&model, Some(folder.path()));
            let job = job.unwrap_or_else(|p| panic!("{name}: {:#?}", p.sorted()));
            kitted(job);
        }
    }
}

#[test]
fn what_grows_is_told_in_a_note_of_the_blank_pump_workbook() {
    let notes = |name: &str| {
        let (_, pumps) = write::blank::workbooks(&built_in(name)).unwrap();
        let mut archive = zip::ZipArchive::new(std::io::Cursor::new(pumps)).unwrap();
        let mut text = String::new();
        let mut file = archive.by_name("xl/comments1.xml").unwrap();
        file.read_to_string(&mut text).unwrap();
        text
    };
    let said = notes("seal-setting");
    let columns = "Shaft growth length (in), Shaft growth cold, Shaft growth running, Casing growth length (in)";
    assert!(said.contains(columns), "{said}");
    assert!(!notes("thrust-collar").contains("growth"));
}

#[test]
fn an_example_that_is_no_length_is_a_problem() {
    let text = BUILT_IN[0].1;
    for (good, bad, words) in [
        ("example = 0.041", "example = \"thick\"", "`thick`"),
        ("example = 0.105", "exampel = 0.105", "write `example`"),
    ] {
        assert!(text.contains(good));
        let folder = shop(&[("spoilt", text.replace(good, bad))]);
        let said = own(&folder, "spoilt").unwrap_err();
        assert!(said.contains(words) && said.contains("line "), "{said}");
    }
}

/// A drawing next to a shop's model is used; an invalid one is refused in plain words; and a built-in drawing is not
/// used for a shop's model of the same name.
#[test]
fn a_shops_drawing_lies_beside_its_model() {
    let (name, text) = BUILT_IN[0];
    let folder = shop(&[(name, text.to_string())]);
    assert_eq!(own(&folder, name).unwrap().drawing, None);
    let picture = folder.path().join(format!("{name}.png"));
    let whole = fs::read("models/thrust-collar.png").unwrap();
    fs::write(&picture, &whole).unwrap();
    let model = own(&folder, name).unwrap();
    assert_eq!(model.drawing.as_ref().unwrap().bytes[..], whole);
    // The drawing is one of the inputs that the plan can be repeated from.
    let job = blank(&model, Some(folder.path())).unwrap();
    let drawings: Vec<&str> = job
        .inputs
        .iter()
        .filter(|input| input.role == "drawing")
        .map(|input| input.file.as_str())
        .collect();
    assert_eq!(drawings, [picture.to_str().unwrap()]);
    for (bytes, words) in [
        (&whole[..5_000], "cut short or damaged"),
        (b"<svg></svg>", "neither PNG nor JPEG"),
        (&[], "an empty file"),
        (&vec![0; 2_000_001], "2000001 bytes"),
    ] {
        fs::write(&picture, bytes).unwrap();
        let said = own(&folder, name).unwrap_err();
        assert!(said.contains(words), "{said}");
        assert!(said.contains(&format!("{name}.png")), "{said}");
    }
}

/// Cautions of one arrangement are on the slips of that arrangement alone, at their step. Common practice, no source.
#[test]
fn cautions_stand_where_they_belong() {
    let usual = USUAL_CAUTIONS.iter().map(|(_, text)| text);
    assert!(usual.clone().any(|text| text.contains("coupling apart")));
    assert!(usual.clone().all(|text| !text.contains("screw")));
    let steps = |name: &str, words: &str| -> Vec<String> {
        let cautions = built_in(name).cautions;
        let told = cautions.iter().filter(|c| c.text.contains(words));
        told.map(|c| c.when.clone()).collect()
    };
    assert_eq!(steps("screwed-impeller", "it unscrews"), ["start"]);
    assert_eq!(steps("screwed-impeller", "out of the bag"), ["before"]);
    for name in ["front-set-metric", "seal-setting"] {
        assert_eq!(steps(name, "setting clips or washers"), ["before"]);
    }
    // A pump may have temperatures of its own: a fixed text names none.
    for (name, _) in BUILT_IN {
        assert_eq!(steps(name, " degC"), [""; 0], "{name}");
    }
}

/// The Models sheet shows the contents of a model file word by word, with its drawing.
#[test]
fn the_models_sheet_shows_each_model() {
    for (name, _) in BUILT_IN {
        let model = built_in(name);
        let verified = kitted(blank(&model, None).unwrap());
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("plan.xlsx");
        fs::write(&path, write::workbook(&verified, "2027-03-01").unwrap()).unwrap();
        let mut book: Xlsx<_> = open_workbook(&path).unwrap();
        let sheet = book.worksheet_range("Models").unwrap();
        let cells: Vec<String> = sheet.used_cells().map(|(_, _, c)| c.to_string()).collect();
        let labels = (model.dimensions.iter().map(|d| &d.label))
            .chain(model.thermals.iter().map(|t| &t.label))
            .chain(model.packs.iter().map(|p| &p.label))
            .chain(model.requirements.iter().map(|r| &r.label))
            .chain(model.consumables.iter().map(|c| &c.kind))
            .chain(model.cautions.iter().map(|c| &c.text))
            .chain([&model.title]);
        for label in labels {
            assert!(cells.contains(label), "{name}: {label}");
        }
        let mut archive = zip::ZipArchive::new(fs::File::open(&path).unwrap()).unwrap();
        let mut bytes = Vec::new();
        let mut file = archive.by_name("xl/media/image1.png").unwrap();
        file.read_to_end(&mut bytes).unwrap();
        assert_eq!(bytes[..], model.drawing.unwrap().bytes[..], "{name}");
    }
}

/// The tables of a short model follow its drawing on one page where there is room, and begin a new page where there
/// is none.
#[test]
fn short_models_stand_on_one_page() {
    let mut picture = fs::read("models/thrust-collar.png").unwrap();
    let (name, text) = BUILT_IN[0];
    let (short, _) = text.split_once("[[consumable]]").unwrap();
    let mut breaks = |height: u32| -> usize {
        let folder = shop(&[(name, short.to_string())]);
        // The height that the header states; the picture itself does not matter here.
        picture[20..24].copy_from_slice(&height.to_be_bytes());
        fs::write(folder.path().join(format!("{name}.png")), &picture).unwrap();
        let model = own(&folder, name).unwrap();
        let verified = kitted(blank(&model, Some(folder.path())).unwrap());
        let path = folder.path().join("plan.xlsx");
        fs::write(&path, write::workbook(&verified, "2027-03-01").unwrap()).unwrap();
        let book: Xlsx<_> = open_workbook(&path).unwrap();
        let at = book.sheet_names().iter().position(|name| name == "Models");
        let mut archive = zip::ZipArchive::new(fs::File::open(&path).unwrap()).unwrap();
        let mut sheet = String::new();
        let part = format!("xl/worksheets/sheet{}.xml", at.unwrap() + 1);
        let mut file = archive.by_name(&part).unwrap();
        file.read_to_string(&mut sheet).unwrap();
        assert!(sheet.contains("<drawing"), "the sheet with the drawing");
        sheet.matches("<brk ").count()
    };
    assert_eq!([breaks(200), breaks(809)], [0, 1]);
}

/// Some cells of the sheet, by the models' own figures.
#[test]
fn the_models_sheet_says_how_things_are_known_and_what_must_hold() {
    for (name, expected) in [
        (
            "bearing-cap",
            vec![
                "from the scatter of its readings",
                "+0.0010 / -0.0002 in",
                "\u{b1} 0.0003 in",
                "Housing bore depth to shoulder + Outer shims \u{2212} Cap spigot length \u{2212} Bearing width \u{2212} Inner shims",
                "gap + 35 %",
                "25.9 to 39.4 %", // 0.35 / 1.35 and 0.65 / 1.65
                "0.6",
            ],
        ),
        (
            "thrust-collar",
            vec![
                "0.5 \u{d7} Rotor travel, thrust bearing out \u{2212} Rotor travel to the bare inboard pads + Inboard shims",
                "u-shaped",
                "-0.150 mm",
            ],
        ),
        ("seal-setting", vec!["16.0000 \u{b1} 0.0500 in", "12.3 \u{b1} 0.5", "20 to 80"]),
    ] {
        let verified = kitted(blank(&built_in(name), None).unwrap());
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("plan.xlsx");
        fs::write(&path, write::workbook(&verified, "2027-03-01").unwrap()).unwrap();
        let mut book: Xlsx<_> = open_workbook(&path).unwrap();
        let sheet = book.worksheet_range("Models").unwrap();
        let cells: Vec<String> = sheet.used_cells().map(|(_, _, c)| c.to_string()).collect();
        for text in expected {
            assert!(cells.iter().any(|c| c == text), "{name}: {text}: {cells:#?}");
        }
    }
}

/// The slips of a model whose blank workbooks are kitted, cell by cell: row, column, text.
fn slips(
    model: &Model,
    models: Option<&Path>,
    change: &dyn Fn(&mut Parts),
) -> Vec<(u32, u32, String)> {
    let job = blank(model, models).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let verified = kitted(job.with(change).unwrap());
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("plan.xlsx");
    fs::write(&path, write::workbook(&verified, "2027-03-01").unwrap()).unwrap();
    let mut book: Xlsx<_> = open_workbook(&path).unwrap();
    let range = book.worksheet_range("Kits").unwrap();
    let (top, left) = range.start().unwrap();
    let used = range.used_cells();
    let number = |n: usize| u32::try_from(n).unwrap();
    used.map(|(row, column, cell)| (top + number(row), left + number(column), cell.to_string()))
        .collect()
}

const SERVICE: &str = "Predicted for service; cannot be measured at the bench.";

/// Text in the first column of each row with a cell for a reading.
fn asked_readings(slip: &[(u32, u32, String)]) -> Vec<&str> {
    let found = slip.iter().filter(|(_, _, text)| text.starts_with("1st, 2nd reading ("));
    let beside = found.map(|(row, _, _)| {
        let first = slip.iter().find(|(r, c, _)| (r, *c) == (row, 0));
        first.unwrap().2.as_str()
    });
    beside.filter(|text| !text.starts_with("Expected micrometer reading")).collect()
}

/// At the bench the pump is cold. By hand: the shaft grows by 16 x 12.3e-6 x 60 = 0.011808, the casing by 16.5 x
/// 11.4e-6 x 40 = 0.007524, which takes 0.004284 off the clearance, and at worst 0.0030331 more or less (16.05 x
/// 12.8e-6 x 65 and 16.55 x 12.1e-6 x 45). So 0.009 to 0.023 hot is 0.0163171 to 0.0242509 cold, and inwards to
/// 0.00001: 0.01632 to 0.02425; less 0.0005 in, in steps of 0.0005 in, 0.0170 to 0.0235.
#[test]
fn no_slip_holds_a_cold_reading_against_hot_limits() {
    let model = built_in("seal-setting");
    let slip = slips(&model, None, &|_| ());
    let text = |words: &str| slip.iter().filter(|(_, _, text)| text == words).count();
    assert_eq!(text(SERVICE), 1);
    let asked = asked_readings(&slip);
    assert_eq!(asked.len(), 2, "{asked:?}");
    // Both less the error of a reading, 0.0005: the hot limits are the narrower ones.
    let window = "ACCEPT, cold, 0.0170 to 0.0235 in (0.43 to 0.60 mm) (limits less 0.0005 in for \
                  the error of a reading, in the worst case of growth)";
    assert_eq!(asked[0], window);
    assert!(asked[1].starts_with("ACCEPT 1.8355 to 1.8645 in "));
    let counted = "Thermal growth allowed for: Growth of the shaft 0.0118 in (20 to 80 degC), Growth of the \
                   casing 0.0075 in (20 to 60 degC); if the service differs, state it in the pump sheet \
                   (columns `Shaft growth running`, `Casing growth running`; likewise cold and length).";
    assert_eq!(text(counted), 1);
    // Narrower cold limits decide.
    let narrow = slips(&model, None, &|job| {
        let Form::Linear { lower, upper, .. } = &mut job.pumps[0].requirements[0].form else {
            panic!("a clearance is linear")
        };
        *lower = Some(Length::parse("0.01700 in", None).unwrap());
        *upper = Some(Length::parse("0.02400 in", None).unwrap());
    });
    assert!(asked_readings(&narrow)[0].starts_with("ACCEPT, cold, 0.0175 to 0.0235 in "));
    // Where the rule does not count the growth at its worst, that is reported next to the accepted range.
    let nominal = slips(&model, None, &|job| job.policy.acceptance = Acceptance::Nominal);
    let asked = asked_readings(&nominal)[0];
    assert!(asked.contains("nominal rule: the error of a reading"), "{asked}");
    let beside = "A cold reading outside 0.0165 to 0.0240 in (0.42 to 0.61 mm) may leave the hot limits in the worst case of growth";
    assert!(nominal.iter().any(|(_, _, text)| text == beside), "{nominal:?}");
    // Without growth, hot running is not mentioned.
    let cold = slips(&built_in("screwed-impeller"), None, &|_| ());
    assert!(!cold.iter().any(|(_, _, text)| text.contains("running hot") || text == SERVICE));
    assert_eq!(asked_readings(&cold).len(), 1);
}

/// The end of a label, `running hot`, may not be cut off: its cell wraps, and its row has two lines.
#[test]
fn long_labels_wrap_on_the_slip() {
    let verified = kitted(blank(&built_in("seal-setting"), None).unwrap());
    let bytes = write::workbook(&verified, "2027-03-01").unwrap();
    let mut book = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut part = |name: &str| {
        let mut text = String::new();
        book.by_name(name).unwrap().read_to_string(&mut text).unwrap();
        text
    };
    let between = |text: &str, from: &str, to: &str| -> Option<String> {
        let (_, rest) = text.split_once(from)?;
        Some(rest.split_once(to)?.0.to_string())
    };
    let strings = part("xl/sharedStrings.xml");
    let label = strings.split("<si>").skip(1);
    let label = label
        .into_iter()
        .position(|text| text.contains(">Impeller running clearance, running hot<"));
    let (slip, styles) = (part("xl/worksheets/sheet3.xml"), part("xl/styles.xml"));
    let cell = format!("t=\"s\"><v>{}</v>", label.unwrap());
    let row = slip.split("<row ").find(|row| row.contains(&cell)).unwrap();
    assert_eq!(between(row, " ht=\"", "\"").as_deref(), Some("30"), "{row}");
    let (before, _) = row.split_once(&cell).unwrap();
    let (_, style) = before.rsplit_once(" s=\"").unwrap();
    let style: usize = style.split_once('"').unwrap().0.parse().unwrap();
    let formats = between(&styles, "<cellXfs", "</cellXfs>").unwrap();
    let format = formats.split("<xf ").nth(style + 1).unwrap();
    assert!(format.contains("wrapText=\"1\""), "{format}");
}

/// Asked hot only, the bench needs its own window; where the growth is not known well enough for one, that is
/// reported. The growth alone takes 0.0030331 either way, so 0.006 between the limits is too little.
#[test]
fn a_clearance_asked_hot_only_is_rechecked_cold() {
    let text = BUILT_IN.iter().find(|(name, _)| *name == "seal-setting").unwrap().1;
    let hot = text.replace("when = \"both\"", "when = \"hot\"");
    let hot = hot.replace(
        "target = 0.020\nlimits = [0.015, 0.025]",
        "target = 0.0157\nlimits = [0.009, 0.023]",
    );
    let hot = hot.replace("hot_target = 0.0157               # what the cold target becomes\n", "");
    let hot = hot.replace("hot_limits = [0.009, 0.023]\n", "");
    let folder = shop(&[("hot-only", hot)]);
    let model = own(&folder, "hot-only").unwrap();
    let slip = slips(&model, Some(folder.path()), &|_| ());
    let asked = asked_readings(&slip);
    let window = "ACCEPT, cold, 0.0170 to 0.0235 in (0.43 to 0.60 mm) (limits less 0.0005 in for \
                  the error of a reading, in the worst case of growth)";
    assert_eq!(asked[0], window);
    assert_eq!(asked.len(), 2, "{asked:?}");
    assert_eq!(slip.iter().filter(|(_, _, text)| text == SERVICE).count(), 1);
    let blind = slips(&model, Some(folder.path()), &|job| {
        job.policy.acceptance = Acceptance::Nominal;
        let Form::Linear { lower, upper, .. } = &mut job.pumps[0].requirements[0].form else {
            panic!("a clearance is linear")
        };
        *lower = Some(Length::parse("0.013 in", None).unwrap());
        *upper = Some(Length::parse("0.019 in", None).unwrap());
    });
    assert_eq!(asked_readings(&blind).len(), 2);
    let said = "No cold reading shows for certain that it runs within its hot limits: the growth is not known well enough.";
    assert!(blind.iter().any(|(_, _, text)| text == said));
}
