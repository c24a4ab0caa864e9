//! A pump whose model says what the other ones do not: a product and a quotient of dimensions, limits and deviations on
//! one side, a trapezoid, a normal distribution that is cut off, degrees of freedom of a growth, degrees Fahrenheit.

use std::fs;
use std::path::Path;

use gapwright::analysis::Analysed;
use gapwright::decimal::Millionths;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance};
use gapwright::model::Shape;
use gapwright::pump::Growth;
use gapwright::read::{Sources, pumps_alone, stated_pieces};
use gapwright::write::analysis::workbook;

const MODEL: &str = r#"
title = "Invented: the rest of the language"
unit = "mm"
[dimension.rim_reading]
plus_minus = "from readings"
resolution = 0.002
[dimension.rim]
plus_minus = 0.5
shape = "trapezoid"
top = 0.4
[dimension.travel]
plus_minus = 0.10
shape = "truncated normal"
cut = 2.5
degrees_of_freedom = 12
[dimension.pitch]
plus_minus = "+0.03 / +0.01"
[dimension.bore]
plus_minus = "-0.02 / +0"
shape = "normal"
[derived.play]
product = ["rim_reading", "rim"]
per = 100
[derived.rise]
quotient = ["travel", "pitch"]
times = 0.4
[thermal.shaft_growth]
length = 350
length_plus_minus = 1
length_degrees_of_freedom = 5
material = "4140 steel"
expansion_degrees_of_freedom = 50
cold = "68 degF"
running = "285 degF"
temperature_plus_minus = "18 degF"
temperature_degrees_of_freedom = 2
[pack.inner]
kind = "shim"
most_pieces = 4
[pack.cover]
kind = "gasket"
most_pieces = 2
[requirement.clearance]
terms = { bore = 1, play = -1, rise = 0.5, inner = -1, shaft_growth = -1 }
target = 0.55
limits = [0.2, "none"]
when = "both"
hot_limits = ["none", 0.9]
[requirement.fill]
gasket = "cover"
gap = { inner = 1, rise = 1 }
allowance = 0.5
limits = [0.3, "none"]
"#;

const PUMPS: &str = "Tag,Model,Inner fit,Cover fit,Rim reading 1 (mm),Rim reading 2 (mm),Rim reading 3 (mm),Rim reading 4 (mm),Rim (mm),Travel (mm),Pitch (mm),Bore (mm)
X-1,rest,A,B,0.120,0.152,0.128,0.161,81.5,0.850,1.250,2.000
";

/// The stack-up of the pump with its pieces; `change` is applied before it is written.
pub fn stack_up(folder: &Path, change: impl Fn(&mut Parts)) -> Vec<u8> {
    fs::write(folder.join("rest.toml"), MODEL).unwrap();
    fs::write(folder.join("pumps.csv"), PUMPS).unwrap();
    let sources = Sources {
        pumps: folder.join("pumps.csv"),
        models: Some(folder.to_path_buf()),
        settings: vec![("Coverage factor".into(), "95 %".into())],
        ..Sources::default()
    };
    let mut job = pumps_alone(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let stated = ["inner=2 x 0.6 +0 / -0.02 mm", "cover=2.0 +/- 0.2"];
    let packs = stated_pieces(&mut job, 0, &stated.map(String::from))
        .unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let mut job = job.into_parts();
    change(&mut job);
    let job = Job::new(job).unwrap();
    let one = Analysed { pump: 0, packs, draws: vec![], sweeps: vec![], maps: vec![] };
    workbook(&job, &[one], &[], "2027-03-01").unwrap()
}

/// Changes a length, both deviations of another, the numbers of two shapes and a running temperature.
pub fn changed(job: &mut Parts) {
    let millionths = Millionths::from_raw;
    let ticks = Length::from_ticks;
    let (pump, model) = (&mut job.pumps[0], &mut job.models[0]);
    let mut shaped = |at: usize, shape: Shape| {
        model.dimensions[at].shape = shape;
        let measured = &mut pump.dimensions[at];
        measured.standard = shape.standard_uncertainty(measured.tolerance);
    };
    shaped(1, Shape::Trapezoid { top: millionths(700_000) });
    shaped(2, Shape::TruncatedNormal { cut: millionths(1_250_000) });
    pump.dimensions[2].value = ticks(8_600_000);
    pump.dimensions[2].readings = vec![ticks(8_600_000)];
    let pitch = &mut pump.dimensions[3];
    pitch.tolerance = Tolerance { minus: ticks(-200_000), plus: ticks(600_000) };
    pitch.standard = Shape::Rectangular.standard_uncertainty(pitch.tolerance);
    pump.growths[0].thermal.running = millionths(150_000_000);
    pump.growths[0] = Growth::of(pump.growths[0].thermal.clone());
}
