//! Sweeps and maps: the value at which a verdict turns is solved to the last tick, and the pieces that would be
//! chosen beyond it are named.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::fs;
use std::path::Path;

use gapwright::choose::control::Control;
use gapwright::job::Job;
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::plan::PackPick;
use gapwright::read::{Sources, job, pumps_alone, stated_pieces};
use gapwright::sweep::{self, Crossing, Setting, StepError, Sweep, Swept};
use gapwright::words;
use tempfile::TempDir;

fn inches(text: &str) -> Setting {
    Setting::Length(Length::parse(text, Some(Unit::Inch)).unwrap())
}

/// Pump P-101 of the sample outage with stated pieces. By hand: a clearance of 0.0540 - 0.0320 = 0.0220 in within
/// 0.0190 and 0.0230; at worst 0.0003 for the measured clearance and for each of two shims.
fn p_101(shims: &str) -> (Job, usize, Vec<PackPick>) {
    let sources = Sources { pumps: "samples/outage/pumps.xlsx".into(), ..Sources::default() };
    let mut job = pumps_alone(&sources).unwrap();
    let pump = job.pumps.iter().position(|pump| pump.tag == "P-101").unwrap();
    let stated = [format!("bearing_shims={shims}"), "cover_gasket=2 x 0.0625 +/- 0.001".into()];
    let packs = stated_pieces(&mut job, pump, &stated).unwrap();
    (job, pump, packs)
}

const SHIMS: &str = "0.020 +/- 0.0003, 0.012 +/- 0.0003";

fn swept(text: &str, steps: u32) -> Swept {
    let (job, pump, packs) = p_101(SHIMS);
    let sweep = Sweep::parse(text, job.model_of(&job.pumps[pump]), steps).unwrap();
    sweep::held(&job, pump, &packs, &sweep)
}

/// The crossings of the running clearance.
fn turns(swept: &Swept) -> Vec<&Crossing> {
    swept.crossings.iter().filter(|crossing| crossing.requirement == Some(0)).collect()
}

/// By hand, in whole ticks: 0.0540 - T + 0.0009 = 0.0230 at T = 0.0319, 0.0540 - T - 0.0009 = 0.0190 at T = 0.0341;
/// 0.0003 + 2 t = 0.0010 at t = 0.00035; and B - 0.0320 alike at B = 0.0519 and 0.0541. The limits: 0.0211 and 0.0229.
#[test]
fn a_linear_crossing_is_exact_to_the_tick() {
    let cases: [(&str, &[(&str, i64)]); 6] = [
        ("bearing_shims total = 0.030 .. 0.036", &[("0.0319", -1), ("0.0341", 1)]),
        ("bearing_shims plus_minus = 0 .. 0.001", &[("0.00035", 1)]),
        ("bare_clearance = 0.050 .. 0.058", &[("0.0519", -1), ("0.0541", 1)]),
        ("bare_clearance = 0.058 .. 0.050", &[("0.0541", 1), ("0.0519", -1)]),
        ("running_clearance lower = 0.018 .. 0.022", &[("0.0211", 1)]),
        ("running_clearance upper = 0.022 .. 0.024", &[("0.0229", -1)]),
    ];
    for (text, expected) in cases {
        for steps in [2, 3, 11, 64] {
            let swept = swept(text, steps);
            let found = turns(&swept);
            assert_eq!(found.len(), expected.len(), "{text}, {steps} steps: {found:?}");
            for (crossing, (met, way)) in found.iter().zip(expected) {
                let met = inches(met);
                assert_eq!(crossing.met, met, "{text}, {steps} steps");
                assert_eq!(crossing.not_met, met.with_raw(met.raw() + way), "{text}");
                assert_eq!(crossing.margin.unwrap().raw(), 0, "{text}");
            }
        }
    }
}

/// A total keeps the number of the pieces and each tolerance: the margins of the steps are those by hand.
#[test]
fn a_total_is_varied_with_every_tolerance_kept() {
    let swept = swept("bearing_shims total = 0.030 .. 0.034", 5);
    let margins = swept.points.iter().map(|point| {
        let kit = point.kit.as_ref().unwrap();
        assert_eq!(Setting::Length(kit.totals[0]), point.setting);
        kit.requirements[0].1.margin().show(Unit::Inch)
    });
    assert_eq!(margins.collect::<Vec<_>>(), ["-0.0019", "-0.0009", "0.0001", "0.0011", "0.0001"]);
    let reports = swept.points.iter().map(|p| p.kit.as_ref().unwrap().requirements[0].0.sides[0]);
    assert!(reports.into_iter().all(|side| (side.worst - 0.0009).abs() < 1e-12));
    // Two alike: one of them takes the difference up.
    let (job, pump, packs) = p_101("2 x 0.016 +/- 0.0003");
    let sweep =
        Sweep::parse("bearing_shims total = 0.031 .. 0.033", job.model_of(&job.pumps[pump]), 3);
    let alike = sweep::held(&job, pump, &packs, &sweep.unwrap());
    let worst =
        alike.points.iter().map(|p| p.kit.as_ref().unwrap().requirements[0].0.sides[0].worst);
    assert!(worst.into_iter().all(|worst| (worst - 0.0009).abs() < 1e-12));
    assert_eq!(alike.crossings[0].met, inches("0.0319"));
}

#[test]
fn a_place_without_pieces_has_no_total() {
    let (job, pump, packs) = p_101("");
    for what in ["total = 0 .. 1", "plus_minus = 0 .. 1", "pieces = 1 .. 2"] {
        let text = format!("bearing_shims {what}");
        let sweep = Sweep::parse(&text, job.model_of(&job.pumps[pump]), 2).unwrap();
        let swept = sweep::held(&job, pump, &packs, &sweep);
        assert!(swept.points.iter().all(|point| point.fault == Some(StepError::NoPieces)));
        assert!(swept.crossings.is_empty());
    }
}

/// The worst piece of the place gives its tolerance, on either side, and it is said which.
#[test]
fn more_pieces_are_given_the_tolerance_of_the_worst_one() {
    let (job, pump, packs) = p_101("0.020 +0.0001 / -0.0004, 0.012 +/- 0.0002");
    let sweep = Sweep::parse("bearing_shims pieces = 1 .. 3", job.model_of(&job.pumps[pump]), 9);
    let swept = sweep::held(&job, pump, &packs, &sweep.unwrap());
    let thou = |text| Length::parse(text, Some(Unit::Thou)).unwrap();
    let given = Tolerance { minus: thou("0.4"), plus: thou("0.2") };
    assert_eq!(swept.given, Some(given));
    let said = words::sweep::given(&job, &job.pumps[pump], given);
    assert_eq!(said, "each piece given +0.0002 -0.0004 in, as the worst one there");
    // 0.0540 - 0.0320 + 0.0003 + n 0.0004 <= 0.0230: one piece is met, two are not.
    let [turn] = turns(&swept)[..] else { panic!("{:?}", swept.crossings) };
    assert_eq!([turn.met.raw(), turn.not_met.raw()], [1_000_000, 2_000_000]);
}

const MODEL: &str = r#"
title = "Invented: every kind of quantity"
unit = "mm"
[dimension.bore]
plus_minus = "+0.010 / -0.020 mm"
shape = "triangular"
[dimension.step]
plus_minus = 0.012
[dimension.ring]
standard_uncertainty = 0.004
[thermal.shaft_growth]
length = 350
length_plus_minus = 1
material = "4140 steel"
cold = 20
running = 140
temperature_plus_minus = 10
[[correlation]]
between = ["bore", "step"]
coefficient = -0.6
[pack.inner]
kind = "shim"
most_pieces = 4
[pack.cover]
kind = "gasket"
most_pieces = 2
[requirement.clearance]
terms = { bore = 1, step = 1, inner = -1, shaft_growth = -1 }
target = 0.55
limits = [0.35, 0.75]
when = "hot"
[requirement.fill]
gasket = "cover"
gap = { inner = 0.5, ring = 1, step = 1 }
allowance = 0.5
limits = [0.4, 0.62]
"#;

const PUMPS: &str = "Tag,Model,Inner fit,Cover fit,Bore (mm),Step (mm),Ring (mm)
X-1,kinds,A,B,1.900,0.300,0.400
";

fn kinds(folder: &Path, rule: &str, coverage: &str) -> (Job, Vec<PackPick>) {
    fs::write(folder.join("kinds.toml"), MODEL).unwrap();
    fs::write(folder.join("pumps.csv"), PUMPS).unwrap();
    let sources = Sources {
        pumps: folder.join("pumps.csv"),
        models: Some(folder.to_path_buf()),
        settings: vec![
            ("Acceptance".into(), rule.into()),
            ("Coverage factor".into(), coverage.into()),
        ],
        ..Sources::default()
    };
    let mut job = pumps_alone(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let stated = ["inner=2 x 0.3 +0 / -0.02 mm, 0.5 +/- 0.01", "cover=1.90 +/- 0.05"];
    let packs = stated_pieces(&mut job, 0, &stated.map(String::from)).unwrap();
    (job, packs)
}

/// Every crossing of every kind of quantity, under every rule: judged afresh, the requirement is met at the one value
/// and not at the next; and a grid of 701 values sees no turn that is not among them.
#[test]
fn every_crossing_is_where_the_verdict_turns() {
    let folder = TempDir::new().unwrap();
    let sweeps = [
        "bore = 1.6 .. 2.4",
        "bore plus_minus = 0 .. 0.4",
        "bore plus = 0 .. 0.4",
        "step = 0.1 .. 0.9",
        "step plus_minus = 0 .. 0.4",
        "ring standard_uncertainty = 0 .. 0.1",
        "inner total = 0.5 .. 1.7",
        "inner plus_minus = 0 .. 0.1",
        "inner pieces = 1 .. 12",
        "cover total = 1.5 .. 2.5",
        "cover plus_minus = 0 .. 0.3",
        "shaft_growth running = -100 .. 600",
        "shaft_growth length = 0 .. 1200",
        "shaft_growth expansion = 0 .. 60",
        "clearance lower = 0.2 .. 0.8",
        "clearance upper = 0.9 .. 0.3",
        "fill lower = 0.3 .. 0.7",
        "fill upper = 0.3 .. 0.7",
    ];
    let mut seen = 0;
    for (rule, coverage) in
        [("nominal", "2"), ("worst case", "2"), ("expanded", "2"), ("expanded", "95 %")]
    {
        let (job, packs) = kinds(folder.path(), rule, coverage);
        let at = |sweep: &Sweep, settings: Vec<Setting>, requirement: usize| -> Vec<Option<bool>> {
            let swept = sweep::held(&job, 0, &packs, &Sweep { settings, ..sweep.clone() });
            let met = |kit: &sweep::SweepStep| kit.requirements[requirement].1.conforms();
            swept.points.iter().map(|point| point.kit.as_ref().map(met)).collect()
        };
        for text in sweeps {
            let sweep = Sweep::parse(text, job.model_of(&job.pumps[0]), 4).unwrap();
            let fine = Sweep::parse(text, job.model_of(&job.pumps[0]), 701).unwrap();
            let swept = sweep::held(&job, 0, &packs, &sweep);
            for requirement in 0..2 {
                let own = swept.crossings.iter().filter(|c| c.requirement == Some(requirement));
                let own: Vec<&Crossing> = own.collect();
                for crossing in &own {
                    let pair = at(&sweep, vec![crossing.met, crossing.not_met], requirement);
                    assert_eq!(pair[0], Some(true), "{rule}: {text}: {crossing:?}");
                    assert_ne!(pair[1], Some(true), "{rule}: {text}: {crossing:?}");
                    let apart = (crossing.met.raw() - crossing.not_met.raw()).abs();
                    let step = if text.contains("pieces") { 1_000_000 } else { 1 };
                    // Half a sensitivity times an allowance is whole for every second allowance only.
                    let most = if text.starts_with("fill") { 2 * step } else { step };
                    assert!(apart <= most, "{rule}: {text}: {crossing:?}");
                    seen += 1;
                }
                let grid = at(&fine, fine.settings.clone(), requirement);
                let grid: Vec<bool> = grid.into_iter().flatten().collect();
                let turns = grid.windows(2).filter(|pair| pair[0] != pair[1]).count();
                // Where the range ends in a contradiction, the verdict turns without a value that is not met.
                assert!(
                    own.len() >= turns && own.len() <= 2,
                    "{rule}: {text}: {own:?}, {turns} turns"
                );
            }
        }
    }
    assert!(seen > 80, "{seen}");
}

/// A gasket that is met only between two steps is not missed, though both steps fail.
#[test]
fn a_range_between_two_steps_is_found() {
    let swept = swept("bare_clearance = 0.010 .. 0.200", 2);
    assert!(swept.points.iter().all(|p| !p.kit.as_ref().unwrap().requirements[0].1.conforms()));
    let met: Vec<Setting> = turns(&swept).iter().map(|turn| turn.met).collect();
    assert_eq!(met, [inches("0.0519"), inches("0.0541")]);
}

/// Between the lines of a map a requirement is met: by hand T + 0.0199 to T + 0.0221 in for a total of T.
#[test]
fn the_border_of_a_map_is_exact() {
    let (job, pump, packs) = p_101(SHIMS);
    let parse = |text| Sweep::parse(text, job.model_of(&job.pumps[pump]), 5).unwrap();
    let sweeps =
        [parse("bare_clearance = 0.050 .. 0.058"), parse("bearing_shims total = 0.030 .. 0.034")];
    let map = sweep::map(&job, pump, &packs, sweeps);
    let ends: Vec<_> = map.borders[0].ends.iter().map(|ends| ends.unwrap()).collect();
    // The range begins at 0.0500, above 0.0300 + 0.0199.
    let least = ["0.0500", "0.0509", "0.0519", "0.0529", "0.0539"].map(inches);
    let most = ["0.0521", "0.0531", "0.0541", "0.0551", "0.0561"].map(inches);
    assert_eq!(ends, least.into_iter().zip(most).map(|(a, b)| [a, b]).collect::<Vec<_>>());
    // Each cell is the sweep of its row.
    for (row, cells) in map.sweeps[0].settings.iter().zip(&map.cells) {
        for (column, cell) in map.sweeps[1].settings.iter().zip(cells) {
            let ([bare, total], cell) = ([row, column].map(|s| s.raw()), cell.as_ref().unwrap());
            let value = bare - total;
            let met = (inches("0.0199").raw()..=inches("0.0221").raw()).contains(&value);
            assert_eq!(cell[0].conforms(), met, "{row:?} {column:?}");
        }
    }
    // Met nowhere in the range.
    let sweeps =
        [parse("bare_clearance = 0.090 .. 0.098"), parse("bearing_shims total = 0.030 .. 0.034")];
    let none = sweep::map(&job, pump, &packs, sweeps);
    assert!(none.borders[0].ends.iter().all(Option::is_none));
    assert!(none.borders[1].ends.iter().all(Option::is_some));
}

/// The kit beyond a crossing is the one that is chosen there for the pump alone; a pump with pieces chosen again turns
/// where the last kit is.
#[test]
fn pieces_beyond_a_crossing_are_those_chosen_there() {
    let sources = Sources {
        stock: "samples/outage/stock.xlsx".into(),
        pumps: "samples/outage/pumps.xlsx".into(),
        ..Sources::default()
    };
    let mut job = job(&sources).unwrap();
    let pump = job.pumps.iter().position(|pump| pump.tag == "P-101").unwrap();
    let stated =
        ["bearing_shims=SH-F6-020, SH-F6-012", "cover_gasket=2 x GK-F6-1/16"].map(String::from);
    let packs =
        stated_pieces(&mut job, pump, &stated).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let model = job.model_of(&job.pumps[pump]).clone();
    let sweep = Sweep::parse("bare_clearance = 0.050 .. 0.058", &model, 3).unwrap();
    let mut swept = sweep::held(&job, pump, &packs, &sweep);
    let control = Control::unlimited();
    sweep::choose_beyond(&job, pump, &mut swept, &control).unwrap();
    assert_eq!(swept.crossings.len(), 2);
    for crossing in &swept.crossings {
        let there = Sweep { settings: vec![crossing.not_met], ..sweep.clone() };
        let anew = sweep::chosen_anew(&job, pump, &there, &control).unwrap();
        let beyond = crossing.beyond.as_ref().unwrap().kit.as_ref().unwrap();
        let chosen = anew.points[0].kit.as_ref().unwrap();
        assert_eq!(beyond.packs, chosen.packs);
        assert_ne!(beyond.packs, packs);
        assert!(beyond.requirements.iter().all(|(_, verdict)| verdict.conforms()));
    }
    let low = Sweep::parse("bare_clearance = 0.020 .. 0.055", &model, 2).unwrap();
    let anew = sweep::chosen_anew(&job, pump, &low, &control).unwrap();
    let [turn] = &anew.crossings[..] else { panic!("{:?}", anew.crossings) };
    assert_eq!(turn.met.raw(), turn.not_met.raw() + 1);
    let both = Sweep { settings: vec![turn.met, turn.not_met], ..low };
    let both = sweep::chosen_anew(&job, pump, &both, &control).unwrap();
    assert!(both.points[0].kit.is_some() && both.points[1].kit.is_none());
    // A total that is chosen is no longer the one that was set.
    let total = Sweep::parse("bearing_shims total = 0.030 .. 0.034", &model, 2).unwrap();
    let anew = sweep::chosen_anew(&job, pump, &total, &control).unwrap();
    assert!(anew.points.iter().all(|point| point.fault == Some(StepError::ChosenTotal)));
}
