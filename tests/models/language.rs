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
/// inward: 0.5127 mm is 0.02019 in, 1.4373 mm is 0.05659 in.
#[test]
fn a_slip_accepts_readings_beyond_a_single_limit() {
    let folder = shop(&[("sided", ONE_SIDED.into())]);
    let model = own(&folder, "sided").unwrap();
    let slip = slips(&model, Some(folder.path()), &|_| ());
    let asked = asked_readings(&slip);
    assert!(asked[0].starts_with("ACCEPT 0.5127 mm or more (0.0202 in or more) ("), "{asked:?}");
    assert!(asked[1].starts_with("ACCEPT 1.4373 mm or less (0.0565 in or less) ("), "{asked:?}");
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
