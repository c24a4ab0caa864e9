//! What the model language says: each statement read, kitted and written, with its figures by hand.

use std::fs;

use gapwright::length::Length;
use gapwright::model::Form;

use super::{asked_readings, kitted, own, shop, slips};

/// A setting with a limit on one side each: at least 0.50 mm of clearance, a stand-out of 1.45 mm at most, and a gasket
/// that is half as thick again as its gap or more.
const ONE_SIDED: &str = r#"
title = "Invented: limits on one side"
unit = "mm"
[dimension.bore]
plus_minus = 0.01
example = 2.0
[dimension.step]
plus_minus = 0.01
example = 0.30
[pack.inner]
kind = "shim"
most_pieces = 3
example = 1.40
[pack.cover]
kind = "gasket"
most_pieces = 1
example = 2.60
[requirement.clearance]
terms = { bore = 1, inner = -1 }
target = 0.60
limits = [0.50, "none"]
[requirement.stand_out]
terms = { inner = 1 }
target = 1.40
limits = ["none", 1.45]
[requirement.fill]
gasket = "cover"
gap = { inner = 1, step = 1 }
allowance = 0.5
limits = [0.4, "none"]
"#;

#[test]
fn a_requirement_may_have_one_limit() {
    let folder = shop(&[("sided", ONE_SIDED.into())]);
    let model = own(&folder, "sided").unwrap();
    let mm = |text: &str| Length::parse(text, None).unwrap();
    let limits: Vec<[Option<Length>; 2]> = model
        .requirements
        .iter()
        .filter_map(|requirement| match requirement.form {
            Form::Linear { lower, upper, .. } => Some([lower, upper]),
            Form::GasketFill { .. } => None,
        })
        .collect();
    assert_eq!(limits, [[Some(mm("0.5 mm")), None], [None, Some(mm("1.45 mm"))]]);
    let verified = kitted(super::blank(&model, Some(folder.path())).unwrap());
    let json = gapwright::json::plan(&verified);
    let ends = |index: usize| {
        let own = &json.pumps[0].requirements[index];
        [own.lower.as_deref(), own.upper.as_deref()]
    };
    assert_eq!(ends(0), [Some("0.500"), None]);
    assert_eq!(ends(1), [None, Some("1.450")]);
    assert_eq!(ends(2).map(|end| end.is_some()), [true, false]);
}

/// By hand: 0.50 mm and the 0.0127 mm (0.0005 in) that a reading may be off; the other way round for 1.45 mm. In inches
/// inward, in steps of 0.01 mm and 0.0005 in: 0.5127 mm is 0.02019 in, 1.4373 mm is 0.05659 in.
#[test]
fn a_slip_accepts_readings_beyond_a_single_limit() {
    let folder = shop(&[("sided", ONE_SIDED.into())]);
    let model = own(&folder, "sided").unwrap();
    let slip = slips(&model, Some(folder.path()), &|_| ());
    let asked = asked_readings(&slip);
    assert!(asked[0].starts_with("ACCEPT 0.52 mm or more (0.0205 in or more) ("), "{asked:?}");
    assert!(asked[1].starts_with("ACCEPT 1.43 mm or less (0.0565 in or less) ("), "{asked:?}");
    let written = |text: &str| slip.iter().any(|(_, _, own)| own == text);
    assert!(written("0.500 mm or more") && written("1.450 mm or less"), "{slip:#?}");
}

#[test]
fn a_gasket_is_never_without_its_least_allowance() {
    let text = ONE_SIDED.replace("limits = [0.4, \"none\"]", "limits = [\"none\", 0.8]");
    let folder = shop(&[("sided", text)]);
    let problem = own(&folder, "sided").unwrap_err();
    assert!(problem.contains("a gasket fill without a lower limit"), "{problem}");
    let text = ONE_SIDED.replace("limits = [0.50, \"none\"]", "limits = [\"none\", \"none\"]");
    fs::write(folder.path().join("sided.toml"), text).unwrap();
    let problem = own(&folder, "sided").unwrap_err();
    assert!(problem.contains("no limit on either side"), "{problem}");
}

/// A rim that is read on an arm, and a rise per pitch. By hand: 0.120 x 80 / 100 = 0.096 and 0.4 x 0.850 / 1.250 =
/// 0.272.
const DERIVED: &str = r#"
title = "Invented: worked out of two dimensions"
unit = "mm"
[dimension.reading]
plus_minus = 0.010
example = 0.120
[dimension.rim]
plus_minus = 1
example = 80
[dimension.travel]
plus_minus = 0.010
example = 0.850
[dimension.pitch]
plus_minus = 0.010
example = 1.250
[derived.play]
product = ["reading", "rim"]
per = 100
[derived.rise]
quotient = ["travel", "pitch"]
times = 0.4
[pack.inner]
kind = "shim"
most_pieces = 3
[requirement.clearance]
terms = { play = 1, rise = 1, inner = -1 }
target = 0.1
limits = [0.05, 0.15]
"#;

fn estimates(text: &str) -> Vec<gapwright::pump::Estimate> {
    let folder = shop(&[("derived", text.into())]);
    let model = own(&folder, "derived").unwrap();
    let job = super::blank(&model, Some(folder.path())).unwrap();
    let pump = &job.pumps[0];
    let terms = (0..model.derived.len()).map(gapwright::model::Term::Derived);
    let found = terms.map(|term| pump.estimate(term).unwrap()).collect();
    kitted(job);
    found
}

/// By hand. Product: the further corner is 0.130 x 81 / 100 = 0.1053, 0.0093 away; u = root((80 x 0.010)^2 + (0.120 x
/// 1)^2) / 100 / root(3) = 0.00467047. Quotient: the further corner is 0.4 x 0.860 / 1.240 = 0.277 419 35..., 0.005 419 36
/// away, up to the next tenth of a nanometre; u = 0.4 / 1.25 x root(1 + 0.68^2) x 0.010 / root(3) = 0.002 234 202.
#[test]
fn products_and_quotients_have_their_values_by_hand() {
    let [play, rise] = estimates(DERIVED)[..] else { panic!("two") };
    let mm = |text: &str| Length::parse(text, None).unwrap();
    let unit = gapwright::length::Unit::Millimetre;
    assert_eq!([play.value, rise.value], [mm("0.096 mm"), mm("0.272 mm")]);
    assert_eq!(play.tolerance, gapwright::length::Tolerance::even(mm("0.0093 mm")));
    assert_eq!(rise.tolerance, gapwright::length::Tolerance::even(mm("0.0054194 mm")));
    assert!((play.standard.to_f64(unit) - 0.004_670_475).abs() < 1e-9, "{play:?}");
    assert!((rise.standard.to_f64(unit) - 0.002_234_202).abs() < 1e-9, "{rise:?}");
    assert_eq!([play.freedom, rise.freedom], [None, None]);
}

/// By hand: a pitch known only by a standard uncertainty with 4 degrees of freedom, 0.010, has a part of 0.4 x 0.85 /
/// 1.25^2 x 0.010 = 0.002176 in u; the travel's is 0.0018475. So v = 4 (0.002176^2 + 0.0018475^2)^2 / 0.002176^4 =
/// 11.84, cut off to 11.
#[test]
fn a_quotient_has_effective_degrees_of_freedom() {
    let text = DERIVED.replace(
        "[dimension.pitch]\nplus_minus = 0.010",
        "[dimension.pitch]\nstandard_uncertainty = 0.010\ndegrees_of_freedom = 4",
    );
    assert_eq!(estimates(&text)[1].freedom, Some(11));
}

/// By hand: -0.02 / +0 makes a reading of 2 mm one of 1.98 to 2.00, +0.03 / +0.01 one of 2.01 to 2.03; their middles are
/// 1.99 and 2.02, and u is 0.01 / root(3) in both.
#[test]
fn deviations_are_those_that_drawings_print() {
    for (printed, ends, middle) in
        [("-0.02 / +0", ["1.98", "2"], "1.99"), ("+0.03 / +0.01", ["2.01", "2.03"], "2.02")]
    {
        let text = ONE_SIDED.replace(
            "plus_minus = 0.01\nexample = 2.0",
            &format!("plus_minus = \"{printed}\"\nexample = 2.0"),
        );
        let folder = shop(&[("sided", text)]);
        let model = own(&folder, "sided").unwrap();
        let job = super::blank(&model, Some(folder.path())).unwrap();
        let mm = |text: &str| Length::parse(&format!("{text} mm"), None).unwrap();
        let bore = job.pumps[0].dimensions[0].clone();
        let [low, high] = [bore.value - bore.tolerance.minus, bore.value + bore.tolerance.plus];
        assert_eq!([low, high], ends.map(mm), "{printed}");
        let unit = gapwright::length::Unit::Millimetre;
        assert!((bore.standard.to_f64(unit) - 0.01 / 3.0_f64.sqrt()).abs() < 1e-9);
        // The clearance with the 1.40 mm of the kit, in the worst case, at its one limit.
        let verified = kitted(job);
        let gapwright::plan::Kit::Served(packs) = &verified.plan().kits[0] else {
            panic!("served")
        };
        let pump = &verified.job().pumps[0];
        let stack = gapwright::accounting::stack(verified.job(), pump, packs);
        let form = &pump.requirements[0].form;
        let sum = gapwright::stack::worst_case(&form.value(), &stack);
        let shims = sum.nominal - bore.value.into();
        let least = gapwright::length::Fine::from(mm(ends[0])) + shims;
        let pieces = &stack.contributors.iter().find(|part| part.item.is_some()).unwrap().tolerance;
        assert_eq!(sum.nominal - sum.below, least - pieces.plus.into(), "{printed}");
        let centre = gapwright::length::Fine::from(mm(middle)) + shims;
        let twice = sum.asymmetry.raw();
        assert_eq!(sum.nominal.raw() + twice / 2, centre.raw(), "{printed}");
    }
}

/// By hand: 158 degF are 70 degC, 68 degF are 20 degC; 100 degF are 37.777 778 degC, to a millionth, which is counted. An
/// error of 9 degF is one of 5 K, one of 10 degF at most 5.555 556 K.
#[test]
fn temperatures_may_be_fahrenheit() {
    let text = |cold: &str, running: &str, within: &str| {
        format!(
            "{ONE_SIDED}\n[thermal.shaft]\nlength = 100\nexpansion = 12\ncold = {cold}\nrunning = {running}\ntemperature_plus_minus = {within}\n"
        )
    };
    let thermal = |text: String| {
        let folder = shop(&[("sided", text)]);
        own(&folder, "sided").unwrap().thermals[0].clone()
    };
    let celsius = thermal(text("20", "70", "5"));
    assert_eq!(thermal(text("\"68 degF\"", "\"158 \u{b0}F\"", "\"9 degF\"")), celsius);
    let rounded = thermal(text("20", "\"100 F\"", "\"10 degF\""));
    assert_eq!(rounded.running.to_string(), "37.777778");
    assert_eq!(rounded.temperature_within.to_string(), "5.555557");
}

/// The least of two play-offs: each must be above the limit, and the slip asks for both.
#[test]
fn the_least_of_several_sums_is_held_by_each() {
    let text = ONE_SIDED.replace(
        "[requirement.clearance]\nterms = { bore = 1, inner = -1 }",
        "[requirement.clearance]\nleast_of = [{ bore = 1, inner = -1 }, { bore = 1, step = 0.1, inner = -1 }]",
    );
    let folder = shop(&[("sided", text)]);
    let model = own(&folder, "sided").unwrap();
    let names: Vec<&str> = model.requirements.iter().map(|own| own.name.as_str()).collect();
    assert_eq!(names, ["clearance_1", "clearance_2", "stand_out", "fill"]);
    assert_eq!(model.requirements[1].label, "Clearance, sum 2");
    let slip = slips(&model, Some(folder.path()), &|_| ());
    assert!(asked_readings(&slip)[1].starts_with("ACCEPT 0.52 mm or more"));
}

/// In closed form: 0.4 a / b with a within 0.84 to 0.86 and b within 1.24 to 1.26 has the mean 0.4 x 0.85 ln(1.26 /
/// 1.24) / 0.02 and the mean square 0.16 (0.85^2 + 0.01^2 / 3) / (1.24 x 1.26).
#[test]
fn the_draws_of_a_quotient_are_those_of_the_quotient() {
    use gapwright::model::Term;
    use gapwright::stack::{monte_carlo::DrawOptions, simulate};
    let folder = shop(&[("derived", DERIVED.into())]);
    let model = own(&folder, "derived").unwrap();
    let job = super::blank(&model, Some(folder.path())).unwrap();
    let stack = gapwright::accounting::stack(&job, &job.pumps[0], &[]);
    let form = Form::Linear {
        terms: vec![(Term::Derived(1), gapwright::decimal::Millionths::ONE)],
        target: Length::ZERO,
        lower: Some(Length::ZERO),
        upper: None,
    };
    let options = DrawOptions { digits: 9, most_draws: 1_000_000, ..DrawOptions::default() };
    let unit = gapwright::length::Unit::Millimetre;
    let outcome = simulate(&form, &stack, unit, &options).unwrap();
    let mean = 0.4 * 0.85 * (1.26_f64 / 1.24).ln() / 0.02;
    let square = 0.16 * (0.85_f64.powi(2) + 0.0001 / 3.0) / (1.24 * 1.26);
    let standard = (square - mean * mean).sqrt();
    assert!((outcome.mean - mean).abs() < 5.0 * standard / 1e3, "{outcome:?} {mean}");
    assert!((outcome.standard / standard - 1.0).abs() < 0.005, "{outcome:?} {standard}");
    assert!(outcome.conformity.unwrap().above <= 0.0);
}
