//! Pumps that are not measured yet: expected ranges, past readings, and the faults of either.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]

use std::fs;
use std::path::{Path, PathBuf};

use gapwright::decimal::Millionths;
use gapwright::forecast::{ExpectedLaw, Fit, Forecast};
use gapwright::length::{Length, Unit};
use gapwright::problem::{Problem, Problems};
use gapwright::read::{Ahead, Sources, forecast, job};
use tempfile::TempDir;

const STOCK: &str = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand
S10,shim,F1,0.010,0.0002,4
S20,shim,F1,0.020,0.0002,4
G90,gasket,F1,0.090,0.0005,2
";
/// A with a range, B measured.
const PUMPS: &str = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in),Bare clearance low (in),Bare clearance high (in)
A,screwed-impeller,F1,F1,,0.050,0.038,0.044
B,screwed-impeller,F1,F1,0.031,0.050,,
";
/// Ten past readings of one model, one of another.
const PAST: &str = "\
Tag,Model,Bare clearance (in),Date
P1,screwed-impeller,0.0402,2024-03-01
P2,screwed-impeller,0.0415,2024-03-01
P3,screwed-impeller,0.0398,2024-03-02
P4,screwed-impeller,0.0421,2024-03-02
P5,screwed-impeller,0.0409,2025-03-01
P6,screwed-impeller,0.0411,2025-03-01
P7,screwed-impeller,0.0395,2025-03-02
P8,screwed-impeller,0.0417,2025-03-02
P9,screwed-impeller,0.0406,2026-03-01
P10,screwed-impeller,0.0413,2026-03-01
Q1,thrust-collar,0.9,2026-03-01
";
/// A without a range.
fn bare() -> String {
    PUMPS.replace("0.038,0.044", ",")
}

struct Shop {
    folder: TempDir,
    ahead: Ahead,
}

impl Shop {
    fn new(stock: &str, pumps: &str, past: Option<&str>) -> Shop {
        let folder = TempDir::new().unwrap();
        let history = past.map(|text| {
            let path = folder.path().join("past.csv");
            fs::write(&path, text).unwrap();
            path
        });
        fs::write(folder.path().join("stock.csv"), stock).unwrap();
        fs::write(folder.path().join("pumps.csv"), pumps).unwrap();
        let ahead = Ahead { history, ..Ahead::default() };
        Shop { folder, ahead }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn sources(&self) -> Sources {
        let models = self.path("models");
        Sources {
            stock: self.path("stock.csv"),
            pumps: self.path("pumps.csv"),
            models: models.exists().then_some(models),
            ahead: self.ahead.clone(),
            ..Sources::default()
        }
    }

    fn read(&self) -> Result<Forecast, Problems> {
        forecast(&self.sources())
    }

    fn good(&self) -> Forecast {
        self.read().unwrap_or_else(|problems| {
            panic!("{:#?}", shown(problems.sorted(), self.folder.path()));
        })
    }

    fn problems(&self) -> Vec<String> {
        let problems = self.read().expect_err("these files have problems");
        shown(problems.sorted(), self.folder.path())
    }

    fn warnings(&self) -> Vec<String> {
        shown(&self.good().job().warnings, self.folder.path())
    }
}

/// The problems as text, without the temporary folder's name.
fn shown<'a>(problems: impl IntoIterator<Item = &'a Problem>, folder: &Path) -> Vec<String> {
    let prefix = format!("{}/", folder.display());
    let problems = problems.into_iter();
    problems.map(|p| p.to_string().replace(&prefix, "")).collect()
}

/// Exactly one text, which holds all these words.
#[track_caller]
fn only(texts: &[String], words: &[&str]) {
    assert_eq!(texts.len(), 1, "{texts:#?}");
    for word in words {
        assert!(texts[0].contains(word), "`{word}` is not in\n{}", texts[0]);
    }
}

fn inches(text: &str) -> Length {
    Length::parse(text, Some(Unit::Inch)).unwrap()
}

#[test]
fn a_range_stands_for_a_reading_and_a_reading_for_itself() {
    let outlook = Shop::new(STOCK, PUMPS, None).good();
    let [a, b] = outlook.expected() else { panic!("two pumps") };
    let expected = a[0].unwrap();
    assert_eq!(expected.low, inches("0.038"));
    assert_eq!(expected.high, inches("0.044"));
    assert_eq!(expected.law, ExpectedLaw::Even);
    // The snap ring is measured, and so is all of B.
    assert!(a[1].is_none() && b.iter().all(Option::is_none));
    // A is in the job at the middle, with the model's plus/minus as for B.
    let pumps = &outlook.job().pumps;
    assert_eq!(pumps[0].dimensions[0].value, inches("0.041"));
    assert_eq!(pumps[0].dimensions[0].tolerance, pumps[1].dimensions[0].tolerance);
    assert_eq!(pumps[1].dimensions[0].value, inches("0.031"));
    assert!(outlook.job().warnings.is_empty());
}

#[test]
fn ends_have_their_own_units_and_may_be_alike() {
    let pumps = PUMPS.replace("0.038,0.044", "38 thou,1.1176 mm");
    let outlook = Shop::new(STOCK, &pumps, None).good();
    let expected = outlook.expected()[0][0].unwrap();
    assert_eq!([expected.low, expected.high], ["0.038", "0.044"].map(inches));
    let pumps = PUMPS.replace("0.038,0.044", "0.041,0.041");
    let outlook = Shop::new(STOCK, &pumps, None).good();
    let expected = outlook.expected()[0][0].unwrap();
    assert_eq!([expected.low, expected.high], [inches("0.041"); 2]);
    let pumps = PUMPS.replace("Bare clearance low (in)", "Bare clearance low");
    only(
        &Shop::new(STOCK, &pumps, None).problems(),
        &["pumps.csv, sheet pumps, cell G2", "no unit", "Bare clearance low (in)"],
    );
}

#[test]
fn a_sheet_needs_no_column_for_readings_that_nobody_has() {
    let pumps = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Snap ring (in),Bare clearance low (in),Bare clearance high (in)
A,screwed-impeller,F1,F1,0.050,0.038,0.044
B,screwed-impeller,F1,F1,0.050,,
";
    only(
        &Shop::new(STOCK, pumps, None).problems(),
        &["cell A3", "no range that is expected", "`Bare clearance low`", "--history"],
    );
    let outlook = Shop::new(STOCK, pumps, Some(PAST)).good();
    assert!(outlook.expected().iter().all(|pump| pump[0].is_some()));
}

#[test]
fn a_range_must_have_two_ends_the_right_way_round_and_above_nothing() {
    let with = |ends: &str| Shop::new(STOCK, &PUMPS.replace("0.038,0.044", ends), None).problems();
    only(
        &with("0.044,0.038"),
        &["pumps.csv, sheet pumps, cell G2", "`0.044`, which is more than the `0.038`", "swap"],
    );
    only(
        &with("0.038,"),
        &["cell H2", "an empty cell beside `Bare clearance low (in)`", "`Bare clearance high`"],
    );
    only(&with(",0.044"), &["cell G2", "`Bare clearance low`"]);
    only(&with("0,0.044"), &["cell G2", "`0`", "a length above 0"]);
    only(&with("-0.038,0.044"), &["cell G2", "`-0.038`", "sign"]);
    only(&with("0.038,about"), &["cell H2", "`about`: not a length"]);
    let texts = with("thin,0");
    assert_eq!(texts.len(), 2, "{texts:#?}");
    assert!(texts[0].contains("cell G2") && texts[1].contains("cell H2"));
    let one_column = PUMPS
        .replace(",Bare clearance high (in)", "")
        .replace("0.038,0.044", "0.038")
        .replace("0.050,,", "0.050,");
    only(
        &Shop::new(STOCK, &one_column, None).problems(),
        &["cell G2", "no column `Bare clearance high`"],
    );
}

#[test]
fn nothing_known_at_all_is_a_problem_of_that_pump() {
    only(
        &Shop::new(STOCK, &bare(), None).problems(),
        &[
            "pumps.csv, sheet pumps, cell E2",
            "no range that is expected",
            "`Bare clearance low` and `Bare clearance high`",
        ],
    );
}

#[test]
fn a_reading_outside_its_range_is_warned_of_and_counts() {
    let pumps = PUMPS.replace("0.031,0.050,,", "0.031,0.050,0.032,0.036");
    let shop = Shop::new(STOCK, &pumps, None);
    only(
        &shop.warnings(),
        &["cell E3", "0.0310 in, outside the 0.0320 to 0.0360 in", "the reading counts"],
    );
    let outlook = shop.good();
    assert!(outlook.expected()[1][0].is_none());
    assert_eq!(outlook.job().pumps[1].dimensions[0].value, inches("0.031"));
    // The ends are inside.
    let pumps = PUMPS.replace("0.031,0.050,,", "0.031,0.050,0.031,0.036");
    assert!(Shop::new(STOCK, &pumps, None).warnings().is_empty());
    // An invalid range stops no run where there is a reading.
    let pumps = PUMPS.replace("0.031,0.050,,", "0.031,0.050,0.036,0.030");
    only(&Shop::new(STOCK, &pumps, None).warnings(), &["cell G3", "which is more than"]);
}

#[test]
fn the_other_commands_plan_for_measured_pumps_alone() {
    let shop = Shop::new(STOCK, PUMPS, None);
    // With or without a range, nothing is planned for A.
    for shop in [shop, Shop::new(STOCK, &bare(), None)] {
        let job = job(&shop.sources()).unwrap();
        assert_eq!(job.pumps.iter().map(|pump| &*pump.tag).collect::<Vec<_>>(), ["B"]);
        let waits = job.not_measured.iter().map(|pump| (&*pump.tag, &*pump.waits_for[0].heading));
        assert_eq!(waits.collect::<Vec<_>>(), [("A", "Bare clearance (in)")]);
    }
    // Measured pumps are read as before.
    let measured = PUMPS.replace("F1,F1,,0.050", "F1,F1,0.041,0.050");
    let shop = Shop::new(STOCK, &measured, None);
    assert_eq!(&job(&shop.sources()).unwrap(), forecast(&shop.sources()).unwrap().job());
}

/// A pump that the other commands list is as a forecast has it; what is wrong with its range is a warning, and then it
/// is not known ahead.
#[test]
fn a_pump_that_is_listed_is_known_ahead_as_in_a_forecast() {
    for (pumps, past) in [(PUMPS.to_string(), None), (bare(), Some(PAST))] {
        let shop = Shop::new(STOCK, &pumps, past);
        let listed = job(&shop.sources()).unwrap().not_measured;
        let ahead = listed[0].ahead.as_deref().unwrap();
        let outlook = shop.good();
        assert_eq!(ahead.pump, outlook.job().pumps[0]);
        assert_eq!(ahead.expected, outlook.expected()[0]);
    }
    let few = PAST.lines().take(6).collect::<Vec<_>>().join("\n");
    let cases = [
        (bare(), None, "no range that is expected", 0),
        (bare(), Some(few.as_str()), "5 past readings of", 0),
        (PUMPS.replace("0.038,0.044", "0.038,"), None, "beside `Bare clearance low (in)`", 1),
        (PUMPS.replace("0.038,0.044", "0.044,0.038"), None, "which is more than the `0.038`", 1),
    ];
    for (pumps, past, why, warnings) in cases {
        let job = job(&Shop::new(STOCK, &pumps, past).sources()).unwrap();
        let lack = job.not_measured[0].ahead.as_ref().unwrap_err();
        assert!(lack.contains(why), "{lack}");
        assert_eq!(job.warnings.len(), warnings, "{lack}");
    }
}

/// Results of SciPy 1.17.1 and numpy for the ten readings above:
/// `m, s = v.mean(), v.std(ddof=1); sc = s * sqrt(1 + 1/10); m -+ stats.t.ppf((1 + level) / 2, 9) * sc`.
#[test]
fn past_readings_are_fitted_as_scipy_does() {
    let readings: Vec<Length> = PAST
        .lines()
        .filter(|line| line.contains("screwed"))
        .map(|line| inches(line.split(',').nth(2).unwrap()))
        .collect();
    let fit = Fit::of(&readings).unwrap();
    let near = |found: f64, expected: f64| {
        assert!((found / expected - 1.0).abs() < 1e-9, "{found} for {expected}");
    };
    let inch = 254_000_000.0_f64;
    near(fit.deviation().to_f64(Unit::Inch), 0.000_842_021_377_400_835_3);
    let ExpectedLaw::Readings { mean, scale, degrees_of_freedom: freedom } = fit.law() else {
        panic!("a law of readings")
    };
    assert_eq!((mean, freedom), (inches("0.04087"), 9));
    near(scale.to_f64(Unit::Inch), 0.000_883_119_470_966_414_5);
    for (level, low, high) in [
        ("0.99", 0.038_000_006_955_781_304, 0.043_739_993_044_218_69),
        ("0.95", 0.038_872_244_963_146_76, 0.042_867_755_036_853_236),
    ] {
        let range = fit.range(Millionths::parse(level).unwrap());
        let [from, to] = range.map(|end| f64::from(i32::try_from(end.ticks()).unwrap()));
        // Outward to a tick, no further.
        assert!((0.0..1.001).contains(&(low * inch - from)), "{from}");
        assert!((0.0..1.001).contains(&(to - high * inch)), "{to}");
    }
}

#[test]
fn a_pump_without_a_range_has_that_of_its_models_past() {
    let mut shop = Shop::new(STOCK, &bare(), Some(PAST));
    let outlook = shop.good();
    let expected = outlook.expected()[0][0].unwrap();
    // 0.038 000 007 and 0.043 739 993, outward to steps of half a thou.
    assert_eq!(expected.low, inches("0.038"));
    assert_eq!(expected.high, inches("0.044"));
    let ExpectedLaw::Readings { degrees_of_freedom: freedom, mean, .. } = expected.law else {
        panic!("a law of readings")
    };
    assert_eq!((freedom, mean), (9, inches("0.04087")));
    // Rows of other outages are counted, and the file is among the inputs.
    let unused = outlook.job().unused.join("; ");
    assert!(
        unused.contains("1 row of sheet past of") && unused.contains("thrust-collar 1"),
        "{unused}"
    );
    assert!(outlook.job().inputs.iter().any(|i| i.role == "past readings"));
    // Another level and other steps: 0.038 872 and 0.042 868.
    shop.ahead.level = Millionths::parse("0.95").unwrap();
    shop.ahead.step = Some(inches("0.0001"));
    let expected = shop.good().expected()[0][0].unwrap();
    assert_eq!(expected.low, inches("0.0388"));
    assert_eq!(expected.high, inches("0.0429"));
}

#[test]
fn numbered_past_readings_are_one_value_by_their_mean() {
    let mut past = String::from("Tag,Model,Bare clearance 1 (in),Bare clearance 2 (in)\n");
    for line in PAST.lines().skip(1) {
        let [tag, model, reading, _] = line.split(',').collect::<Vec<_>>()[..] else {
            panic!("four cells")
        };
        // Each reading as two that are 2 thou apart around it; one of them has one.
        let about: f64 = reading.parse().unwrap();
        let pair = match tag {
            "P10" => format!("{reading},"),
            _ => format!("{:.4},{:.4}", about - 0.001, about + 0.001),
        };
        past.push_str(&format!("{tag},{model},{pair}\n"));
    }
    let one = Shop::new(STOCK, &bare(), Some(PAST)).good();
    let several = Shop::new(STOCK, &bare(), Some(&past)).good();
    assert_eq!(one.expected(), several.expected());
}

#[test]
fn ranges_outrank_past_readings_and_that_is_said_once() {
    let pumps = format!("{PUMPS}C,screwed-impeller,F1,F1,,0.050,0.030,0.033\n");
    let shop = Shop::new(STOCK, &pumps, Some(PAST));
    let (_, expected) = shop.good().into_parts();
    assert_eq!(expected[2][0].unwrap().law, ExpectedLaw::Even);
    only(
        &shop.warnings(),
        &["cell G2", "a range for 2 pumps", "10 past readings", "the range counts"],
    );
}

#[test]
fn too_few_past_readings_are_counted() {
    let few: Vec<&str> = PAST.lines().take(8).collect();
    only(
        &Shop::new(STOCK, &bare(), Some(&few.join("\n"))).problems(),
        &[
            "pumps.csv, sheet pumps, cell E2",
            "7 past readings of `Impeller clearance with no shims`",
            "at least 8",
            "add 1 more",
        ],
    );
    // Eight will do; where a range is given none are needed.
    let eight: Vec<&str> = PAST.lines().take(9).collect();
    assert!(Shop::new(STOCK, &bare(), Some(&eight.join("\n"))).read().is_ok());
    assert!(Shop::new(STOCK, PUMPS, Some(&few.join("\n"))).read().is_ok());
    let other: Vec<&str> = PAST.lines().filter(|line| !line.contains("screwed")).collect();
    only(
        &Shop::new(STOCK, &bare(), Some(&other.join("\n"))).problems(),
        &["cell E2", "no past readings of"],
    );
}

/// Ten rows of five pumps are five readings and not ten: the rows of a pump share its own offset.
#[test]
fn rows_of_one_tag_are_one_reading() {
    let mut past = String::from("Tag,Model,Bare clearance (in),Date\n");
    for year in [2023, 2025] {
        for (pump, reading) in ["0.0402", "0.0415", "0.0398", "0.0421", "0.0409"].iter().enumerate()
        {
            past.push_str(&format!("P{pump},screwed-impeller,{reading},{year}\n"));
        }
    }
    only(
        &Shop::new(STOCK, &bare(), Some(&past)).problems(),
        &["5 past readings of", "10 rows of one tag", "add 3 more"],
    );
    // Three more rows of P10, typed in another way: its mean counts, and there are still ten readings.
    let again = "\
p10,screwed-impeller,0.0417,2027-03-01
P10 ,screwed-impeller,0.0425,2028-03-01
P10,screwed-impeller,0.0397,2029-03-01
";
    let law = |past: &str| {
        let outlook = Shop::new(STOCK, &bare(), Some(past)).good();
        outlook.expected()[0][0].unwrap().law
    };
    let (once, more) = (law(PAST), law(&format!("{PAST}{again}")));
    // The mean of 0.0413, 0.0417, 0.0425 and 0.0397 is 0.0413 again.
    assert_eq!(once, more);
    let ExpectedLaw::Readings { degrees_of_freedom: freedom, .. } = more else {
        panic!("readings")
    };
    assert_eq!(freedom, 9);
    // Without tags they cannot be told apart.
    let bare_rows = |text: &str| {
        let lines = text.lines().map(|line| line.split_once(',').unwrap().1);
        lines.collect::<Vec<_>>().join("\n")
    };
    let ExpectedLaw::Readings { degrees_of_freedom: freedom, .. } =
        law(&bare_rows(&format!("{PAST}{again}")))
    else {
        panic!("readings")
    };
    assert_eq!(freedom, 12);
}

#[test]
fn a_row_that_is_there_twice_is_asked_about_and_so_is_one_without_a_tag() {
    let twice = format!("{PAST}P3,screwed-impeller,0.0398,2024-03-02\n");
    only(
        &Shop::new(STOCK, &bare(), Some(&twice)).problems(),
        &["past.csv, sheet past, cell A13", "`P3` of `2024-03-02`", "cell A4", "remove the copy"],
    );
    let nameless = PAST.replace("P3,", ",");
    only(
        &Shop::new(STOCK, &bare(), Some(&nameless)).problems(),
        &["past.csv, sheet past, cell A4"],
    );
}

#[test]
fn past_readings_that_are_all_alike_say_nothing_of_the_next() {
    let mut past = String::from("Model,Bare clearance (in)\n");
    past.push_str(&"screwed-impeller,0.041\n".repeat(9));
    only(
        &Shop::new(STOCK, &bare(), Some(&past)).problems(),
        &["cell E2", "9 past readings", "all alike", "`Bare clearance low`"],
    );
}

#[test]
fn a_prediction_below_nothing_is_cut_off_and_said() {
    let mut past = String::from("Model,Bare clearance (in)\n");
    for reading in ["0.002", "0.030", "0.015", "0.040", "0.001", "0.022", "0.035", "0.009"] {
        past.push_str(&format!("screwed-impeller,{reading}\n"));
    }
    let shop = Shop::new(STOCK, &bare(), Some(&past));
    let expected = shop.good().expected()[0][0].unwrap();
    assert_eq!(expected.low, Length::from_ticks(1));
    only(&shop.warnings(), &["cell E2", "below zero", "cut off at the smallest length"]);
}

#[test]
fn what_is_wrong_with_past_readings_has_its_cell() {
    let with =
        |from: &str, to: &str| Shop::new(STOCK, &bare(), Some(&PAST.replace(from, to))).problems();
    only(&with("0.0415", "thin"), &["past.csv, sheet past, cell C3", "`thin`: not a length"]);
    only(&with("0.0415", "-0.0415"), &["past.csv, sheet past, cell C3", "a length above 0"]);
    only(
        &with("P2,screwed-impeller", "P2,screwd-impeller"),
        &["past.csv, sheet past, cell B3", "much like `screwed-impeller`"],
    );
    only(&with("P2,screwed-impeller", "P2,"), &["cell B3", "an empty cell"]);
    let texts = with("Bare clearance (in)", "Bare clearance");
    assert_eq!(texts.len(), 10, "{texts:#?}");
    assert!(texts.iter().all(|text| text.contains("no unit")));
    only(
        &with("Bare clearance (in)", "Bare clearence (in)"),
        &["past.csv, sheet past, cell C1", "`Bare clearance`"],
    );
    only(&with("Tag,Model", "Tag,Arrangement"), &["past.csv", "no heading row"]);
}

#[test]
fn a_model_that_is_only_a_little_like_one_is_left_alone() {
    let past = PAST.replace("thrust-collar", "keyed-impeller");
    let unused = Shop::new(STOCK, &bare(), Some(&past)).good().job().unused.clone();
    assert!(unused.join("; ").contains("keyed-impeller 1"), "{unused:?}");
}

#[test]
fn problems_of_all_three_files_are_told_at_once() {
    let stock = STOCK.replace("0.020", "thin");
    let pumps = PUMPS.replace("0.038,0.044", "0.044,0.038");
    let past = PAST.replace("0.0415", "thick");
    let texts = Shop::new(&stock, &pumps, Some(&past)).problems();
    assert_eq!(texts.len(), 3, "{texts:#?}");
    for (text, file) in texts.iter().zip(["past.csv", "pumps.csv", "stock.csv"]) {
        assert!(text.starts_with(file), "{text}");
    }
    let mut shop = Shop::new(&stock, PUMPS, None);
    shop.ahead.history = Some(shop.path("nowhere.xlsx"));
    let texts = shop.problems();
    assert_eq!(texts.len(), 2, "{texts:#?}");
    assert!(texts[0].starts_with("nowhere.xlsx"), "{texts:#?}");
}

/// A model whose one dimension is known by its readings alone.
const MODEL: &str = "\
title = \"Bench\"
unit = \"mm\"
[dimension.gap]
label = \"Gap\"
plus_minus = \"from readings\"
[pack.shims]
label = \"Shims\"
kind = \"shim\"
least_pieces = 1
most_pieces = 3
[requirement.fit]
label = \"Fit\"
terms = { gap = 1, shims = -1 }
target = 0
limits = [-0.1, 0.1]
";
const BENCH_STOCK: &str = "\
Item,Kind,Fit,Thickness (mm),Tolerance (mm),On hand
S1,shim,F1,1.2,0.002,4
";
const BENCH_PUMPS: &str = "\
Tag,Model,Shims fit,Gap 1 (mm),Gap 2 (mm),Gap 3 (mm),Gap low (mm),Gap high (mm)
A,bench,F1,,,,1.25,1.29
";

fn bench(model: &str, past: Option<&str>) -> Shop {
    let shop = Shop::new(BENCH_STOCK, BENCH_PUMPS, past);
    fs::create_dir(shop.path("models")).unwrap();
    fs::write(shop.path("models").join("bench.toml"), model).unwrap();
    shop
}

/// Pooled over the rows with several readings, by numpy 2:
/// `sum(((r - r.mean())**2).sum() for r in rows) / sum(len(r) - 1 for r in rows)`, 1.25e-5 / 4 mm^2; the mean of
/// three such readings has the standard uncertainty sqrt(3.125e-6 / 3) = 0.001 020 620 7 mm.
#[test]
fn readings_are_presumed_to_scatter_as_those_of_past_pumps_did() {
    let past = "\
Model,Gap 1 (mm),Gap 2 (mm),Gap 3 (mm)
bench,1.272,1.274,
bench,1.268,1.268,1.271
bench,1.275,,
bench,1.270,1.273,
";
    let outlook = bench(MODEL, Some(past)).good();
    let gap = &outlook.job().pumps[0].dimensions[0];
    assert!((gap.standard.to_f64(Unit::Millimetre) - 0.001_020_620_726).abs() < 1e-9);
    // Three readings have two degrees of freedom: 4.302 653 times that, at 95 %, as for measured pumps.
    assert_eq!(gap.freedom, Some(2));
    assert_eq!(gap.tolerance.plus.show(Unit::Millimetre), "0.0043914");
    assert_eq!(gap.value, Length::parse("1.27 mm", None).unwrap());
}

#[test]
fn a_scatter_that_nobody_knows_is_not_made_up() {
    only(
        &bench(MODEL, None).problems(),
        &["cell D2", "scatter of readings of `Gap`", "resolution"],
    );
    let fine = MODEL.replace(
        "plus_minus = \"from readings\"",
        "plus_minus = \"from readings\"\nresolution = 0.01",
    );
    let shop = bench(&fine, None);
    only(&shop.warnings(), &["cell D2", "only the resolution of the gauge", "more room"]);
    // 0.01 mm over the root of twelve.
    let outlook = shop.good();
    let gap = &outlook.job().pumps[0].dimensions[0];
    assert!((gap.standard.to_f64(Unit::Millimetre) - 0.002_886_751_346).abs() < 1e-9);
    assert_eq!(gap.freedom, None);
}
