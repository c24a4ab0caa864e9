//! A pump with every feature of a stack-up: several readings by type A, a plus/minus of each shape, uneven sides, a
//! stated uncertainty, correlated dimensions, thermal terms, pieces of measured lots in two places, a gasket fill,
//! and a level of confidence instead of a factor.

use std::fs;
use std::path::Path;

use gapwright::analysis::Analysed;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Uncertainty};
use gapwright::plan::PackPick;
use gapwright::read::{Sources, pumps_alone, stated_pieces};
use gapwright::write::analysis::workbook;

const MODEL: &str = r#"
title = "Invented: everything at once"
unit = "mm"
[dimension.bore]
plus_minus = "from readings"
resolution = 0.002
[dimension.spigot]
plus_minus = "+0.010 / -0.020 mm"
shape = "triangular"
[dimension.ring]
standard_uncertainty = 0.004
[dimension.swing]
plus_minus = 0.015
shape = "u-shaped"
[dimension.step]
plus_minus = 0.012
shape = "normal"
[thermal.shaft_growth]
length = 350
length_plus_minus = 1
material = "4140 steel"
cold = 20
running = 140
temperature_plus_minus = 10
[thermal.casing_growth]
length = 340
material = "grey iron"
cold = 20
running = 110
temperature_plus_minus = 15
[[correlation]]
between = ["spigot", "step"]
coefficient = 0.6
[[correlation]]
between = ["shaft_growth", "casing_growth"]
coefficient = 0.8
[pack.inner]
kind = "shim"
most_pieces = 4
[pack.outer]
kind = "shim"
most_pieces = 4
[pack.cover]
kind = "gasket"
most_pieces = 2
[requirement.clearance]
terms = { bore = 1, spigot = -1, swing = 1, inner = -1, outer = 0.5, shaft_growth = -1, casing_growth = 1 }
target = 0.55
limits = [0.2, 0.9]
when = "both"
[requirement.fill]
gasket = "cover"
gap = { outer = 1, ring = 1, step = 1 }
allowance = 0.5
limits = [0.3, 0.75]
"#;

const PUMPS: &str = "Tag,Model,Inner fit,Outer fit,Cover fit,Bore 1 (mm),Bore 2 (mm),Bore 3 (mm),Spigot (mm),Ring (mm),Swing (mm),Step (mm)
X-1,everything,A,A,B,3.012,3.020,3.007,1.500,0.400,0.100,0.300
";

/// The job with its pieces; `change` is applied before the stack-up is written.
pub fn stack_up(folder: &Path, change: impl Fn(&mut Parts, &mut [PackPick])) -> Vec<u8> {
    fs::write(folder.join("everything.toml"), MODEL).unwrap();
    fs::write(folder.join("pumps.csv"), PUMPS).unwrap();
    let sources = Sources {
        pumps: folder.join("pumps.csv"),
        models: Some(folder.to_path_buf()),
        settings: vec![
            ("Coverage factor".into(), "95 %".into()),
            ("Acceptance".into(), "expanded".into()),
        ],
        ..Sources::default()
    };
    let mut job = pumps_alone(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let stated =
        ["inner=2 x 0.3 +0 / -0.02 mm, 0.5 +/- 0.01", "outer=0.4 +/- 0.015", "cover=1.65 +/- 0.05"];
    let mut packs = stated_pieces(&mut job, 0, &stated.map(String::from))
        .unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    // Two of the shims are of measured lots, and one lot is in both places.
    let mut job = job.into_parts();
    let coverage = job.policy.coverage;
    for item in [0, 1] {
        let size = job.stock[item].size.as_mut().unwrap();
        size.uncertainty =
            Some(coverage.certified(Length::from_ticks(9_000 + 2_000 * item as i64).into(), None));
    }
    let mut shared = packs[0].picks[1];
    shared.count = 1;
    packs[1].picks.push(shared);
    change(&mut job, &mut packs);
    let job = Job::new(job).unwrap();
    let one = Analysed { pump: 0, packs, draws: vec![], sweeps: vec![], maps: vec![] };
    workbook(&job, &[one], &[], "2027-03-01").unwrap()
}

/// Changes a reading, a tolerance, a count, a running temperature and a limit.
pub fn changed(job: &mut Parts, packs: &mut [PackPick]) {
    use gapwright::decimal::Millionths;
    use gapwright::length::Tolerance;
    use gapwright::model::{Form, Shape};
    use gapwright::pump::Growth;
    let ticks = Length::from_ticks;
    let pump = &mut job.pumps[0];
    let bore = &mut pump.dimensions[0];
    bore.readings[1] = ticks(30_230_000);
    // By hand: 3.012, 3.023 and 3.007 have the mean 3.014 and deviate by 2, 9 and 7 thousandths, so the uncertainty
    // of the mean is the root of (4 + 81 + 49) / 2 / 3 thousandths, and with a twelfth of the square of two for the
    // resolution 4.760 952 3...; the degrees of freedom are 2.06, rounded down.
    bore.value = ticks(30_140_000);
    bore.standard = Uncertainty::from_raw(4_760_952_286);
    // 4.302 652 73 times that, up to the next tenth of a nanometre.
    let guard = bore.standard.times_up(job.policy.coverage.factor(Some(2)));
    bore.tolerance = Tolerance::even(guard);
    let swing = &mut pump.dimensions[3];
    swing.tolerance = Tolerance::even(ticks(140_000));
    swing.standard = Shape::UShaped.standard_uncertainty(swing.tolerance);
    pump.growths[0].thermal.running = Millionths::from_raw(150_000_000);
    pump.growths[0] = Growth::of(pump.growths[0].thermal.clone());
    if let Form::Linear { upper, .. } = &mut pump.requirements[0].form {
        *upper = Some(ticks(8_500_000));
    }
    packs[0].picks[0].count = 3;
}
