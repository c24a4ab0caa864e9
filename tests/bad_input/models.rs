//! Model files and materials tables: each with one fault, reported at its place.

use super::*;
use gapwright::decimal::Millionths;
use gapwright::length::Unit;
use gapwright::read::{BUILT_IN, parse_model};
use gapwright::stack::Coverage;

/// Every kind of table once; all of it invented.
const GOOD: &str = "\
title = \"All there is\"
unit = \"mm\"

[dimension.gap]
plus_minus = 0.01
shape = \"triangular\"

[dimension.ring]
plus = 0.02
minus = 0.03

[dimension.face]
standard_uncertainty = 0.004

[thermal.shaft_growth]
length = 100
length_plus_minus = 0.5
material = \"316 stainless steel\"
cold = 20
running = 80
temperature_plus_minus = 5

[thermal.casing_growth]
length = \"4 in\"
expansion = 11.4
expansion_plus_minus = 0.7
cold = 20
running = 70

[pack.shims]
kind = \"shim\"
most_pieces = 4

[pack.gasket]
kind = \"gasket\"
most_pieces = 2

[requirement.clearance]
terms = { gap = 1, face = 1, shims = -1, shaft_growth = -1, casing_growth = 1 }
target = 0.3
limits = [0.2, 0.4]
when = \"both\"
hot_target = 0.28
hot_limits = [0.1, 0.35]

[requirement.fill]
gasket = \"gasket\"
gap = { shims = 1, ring = 1 }
allowance = 0.5
limits = [0.4, 0.6]

[[correlation]]
between = [\"gap\", \"ring\"]
coefficient = 0.5

[material.\"ground shim\"]
plus_minus = 0.008
compressibility = [0, 1]
expansion = 17.2
expansion_plus_minus = 0.9
source = \"invented\"
";

/// A fault: the replaced text, its replacement, with `§` at the place of the problem; then the words that the problem
/// must hold.
type Spoilt<'a> = (&'a str, &'a str, &'a [&'a str]);

/// The text with the fault, and line and column of its mark.
fn spoil(good: &str, from: &str, to: &str) -> (String, String) {
    assert_eq!(good.matches(from).count(), 1, "`{from}` once");
    let marked = good.replace(from, to);
    let before = marked.split('§').next().unwrap();
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
    assert_eq!(marked.matches('§').count(), 1, "one mark in `{to}`");
    (marked.replace('§', ""), format!("line {line}, column {column}"))
}

/// Each fault alone gives one problem, at its mark and with its words.
#[track_caller]
fn each_alone(good: &str, cases: &[Spoilt<'_>]) {
    let mut otherwise = Vec::new();
    for (from, to, words) in cases {
        let (text, place) = spoil(good, from, to);
        let found = model_problems(&text);
        let told = found.len() == 1
            && found[0].lines().next() == Some(&format!("m.toml, {place}"))
            && words.iter().all(|word| found[0].contains(word));
        if !told {
            otherwise.push(format!("{to:?} at {place} came out as {found:#?}"));
        }
    }
    assert!(otherwise.is_empty(), "{}", otherwise.join("\n\n"));
}

#[test]
fn the_model_that_the_others_are_spoilt_from_is_good() {
    let model = parse_model("m", "m.toml", GOOD).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let names: Vec<&str> = model.requirements.iter().map(|r| r.name.as_str()).collect();
    assert_eq!(names, ["clearance", "clearance_hot", "fill"]);
    assert_eq!((model.thermals.len(), model.correlations.len()), (2, 1));
    // The model's own materials, then those of the table.
    assert_eq!(model.materials[0].name, "ground shim");
    assert!(model.materials.len() > 20);
}

#[test]
fn tolerances_and_limits() {
    let negative: &[&str] = &["below zero", "not negative", "correct the value"];
    let no_length: &[&str] = &["not a length", "correct the value"];
    let crossed: &[&str] = &["the lower limit above the upper one"];
    let outside: &[&str] = &["a target outside the limits"];
    let whole: &[&str] = &["not two limits", "[lower, upper]"];
    let known: &[&str] = &["not exactly one tolerance or uncertainty of `ring`"];
    let ring = "\n[dimension.ring]";
    each_alone(
        GOOD,
        &[
            ("plus_minus = 0.01\n", "plus_minus = §-0.01\n", negative),
            ("plus = 0.02", "plus = §-0.02", negative),
            ("minus = 0.03", "minus = §-0.03", negative),
            ("y = 0.004", "y = §-0.004", negative),
            ("_minus = 0.5", "_minus = §-0.5", negative),
            ("= 0.008", "= §-0.008", negative),
            ("= 0.008", "= §\"+0.1 / -five mm\"", no_length),
            ("\n[dimension.ring]\nplus = 0.02", "\n§[dimension.ring]", known),
            (ring, "\n§[dimension.ring]\nplus_minus = 1", known),
            ("s = [0.2, 0.4]", "s = §[0.4, 0.2]", crossed),
            ("[0.1, 0.35]", "§[0.35, 0.1]", crossed),
            ("[0.4, 0.6]", "§[0.6, 0.4]", crossed),
            ("= 0.3\nlimits = ", "= 0.5\nlimits = §", outside),
            ("0.28\nhot_limits = ", "0.36\nhot_limits = §", outside),
            ("= 0.5\nlimits = ", "= 0.7\nlimits = §", outside),
            ("[0.1, 0.35]", "§[0.1]", whole),
            ("[0.1, 0.35]", "§[0.1, 0.2, 0.35]", whole),
            ("[0.1, 0.35]", "[0.1, §\"wide\"]", &["`wide`: not a length"]),
        ],
    );
    // Without a target of its own the hot one is the cold one, and must be within the hot limits.
    let without = GOOD.replace("hot_target = 0.28\n", "");
    let case: Spoilt = ("[0.1, 0.35]", "§[0.1, 0.25]", outside);
    each_alone(&without, &[case]);
}

#[test]
fn cold_hot_or_both() {
    let alone: &[&str] = &["a value of its own for running hot", "add when = \"both\""];
    let way: &[&str] = &["cold, hot or both", "correct the word"];
    let form: &[&str] = &["a target of the other form"];
    let fill = "allowance = 0.5\n";
    let last = "limits = [0.4, 0.6]\n";
    each_alone(
        GOOD,
        &[
            ("\"both\"", "§\"boht\"", way),
            ("\"both\"", "§\"\"", way),
            ("\"both\"\nhot_target = ", "\"hot\"\nhot_target = §", alone),
            (fill, "allowance = 0.5\nhot_allowance = §0.55\n", alone),
            (last, "limits = [0.4, 0.6]\nhot_limits = §[0.4, 0.6]\n", alone),
            ("hot_target = ", "hot_allowance = §", form),
            (fill, "allowance = 0.5\nwhen = \"both\"\nhot_target = §1\n", form),
            (
                last,
                "limits = [0.4, 0.6]\nwhen = \"both\"\nhot_limits = §[0.55, 0.6]\n",
                &["a target outside the limits"],
            ),
            // The hot requirement's name must not be taken.
            (
                "[requirement.fill]",
                "§[requirement.clearance_hot]",
                &["`clearance_hot` as the name of two requirements", "rename"],
            ),
        ],
    );
    let limits = "hot_target = 0.28\nhot_limits = [0.1, 0.35]\n";
    let when = format!("when = \"both\"\n{limits}");
    let asked: &[&str] = &["thermal terms in `clearance`, which is asked cold", "add when"];
    for cold in ["", "when = \"cold\"\n"] {
        let good = GOOD.replace(&when, cold);
        let head = "[requirement.clearance]";
        each_alone(&good, &[(head, "§[requirement.clearance]", asked)]);
    }
    let hot = parse_model("m", "m.toml", &GOOD.replace(&when, "when = \"hot\"\n")).unwrap();
    assert_eq!(hot.requirements[0].name, "clearance");
    assert_eq!(hot.requirements[0].label, "Clearance, running hot");
}

#[test]
fn what_grows() {
    let degrees: &[&str] = &["degrees Celsius from -273 to 1500"];
    let range: &[&str] = &["millionths per kelvin, 0 to 1000"];
    let longer: &[&str] = &["a length above 0"];
    let no_growth: &[&str] = &["whose expansion is not known", "316 stainless steel"];
    let negative: &[&str] = &["a plus/minus that is not negative"];
    let number: &[&str] = &["a number"];
    let celsius: &[&str] = &[
        "expected  degrees Celsius, a plain number such as 80, or 176 degF",
        "fix       convert to degrees Celsius or Fahrenheit",
    ];
    let of_none: &[&str] = &["a plus/minus of no expansion"];
    each_alone(
        GOOD,
        &[
            ("length = 100", "length = §0", longer),
            ("length = 100", "length = §-100", longer),
            ("length = 100", "length = §\"1 ell\"", &["`1 ell`", "not a unit"]),
            (
                "\"316 stainless steel\"",
                "§\"316 stainles steel\"",
                &["`316 stainles steel`", "write `316 stainless steel`"],
            ),
            // Known, but without its expansion.
            ("\"316 stainless steel\"", "§\"cork rubber\"", no_growth),
            ("n = 11.4", "n = §-11.4", range),
            ("n = 11.4", "n = §1000.1", range),
            ("n = 11.4", "n = §\"steel\"", number),
            ("= 0.7", "= §-0.7", negative),
            ("expansion = 11.4\nexpansion_plus_minus = ", "expansion_plus_minus = §", of_none),
            ("cold = 20\nrunning = 80", "cold = §-273.1\nrunning = 80", degrees),
            ("running = 80", "running = §1500.1", degrees),
            ("running = 70", "running = §\"hot\"", celsius),
            ("running = 70", "running = §\"343 K\"", celsius),
            ("running = 70", "running = §\"2733 degF\"", degrees),
            ("running = 70", "running = §\"C\"", celsius),
            ("cold = 20\nrunning = 80", "cold = §\"68 R\"\nrunning = 80", celsius),
            ("= 5\n", "= §-5\n", negative),
            ("= 17.2", "= §-17.2", range),
            ("= 0.9\n", "= §-0.9\n", negative),
            ("expansion = 17.2\nexpansion_plus_minus = ", "expansion_plus_minus = §", of_none),
            (
                "[thermal.casing_growth]\nlength = \"4 in\"",
                "[thermal]\ncasing_growth = §4\n[thermal.x]\nlength = 4",
                &["where a table belongs"],
            ),
        ],
    );
    let neither = GOOD.replace("expansion = 11.4\nexpansion_plus_minus = 0.7\n", "");
    let said: &[&str] = &["no expansion for `casing_growth`", "a material"];
    let head = "[thermal.casing_growth]";
    each_alone(&neither, &[(head, "§[thermal.casing_growth]", said)]);
    // A table with keys in place of its terms.
    let flat = format!("{}[thermal]\nlength = 3\n", &GOOD[..GOOD.find("[thermal").unwrap()]);
    only(&model_problems(&flat), &["line 16, column 10", "integer `3`, where a table belongs"]);
}

/// A model of the rarer statements.
const RARE: &str = "\
title = \"Rare\"
unit = \"mm\"

[dimension.reading]
plus_minus = \"+0.03 / +0.01\"
shape = \"trapezoid\"
top = 0.5

[dimension.rim]
plus_minus = 0.5
shape = \"truncated normal\"
cut = 2

[dimension.face]
plus_minus = 0.01

[derived.play]
product = [\"reading\", \"rim\"]
per = 100

[thermal.growth]
length = 100
expansion = 11.4
cold = \"68 degF\"
running = 80
temperature_degrees_of_freedom = 4

[pack.shims]
kind = \"shim\"
most_pieces = 4

[requirement.clearance]
terms = { face = 1, play = -1, shims = -1 }
target = 0.3
limits = [0.2, \"none\"]

[requirement.tightest]
least_of = [{ face = 1, shims = -1 }, { face = 1, shims = -1, growth = -1 }]
target = 0.3
limits = [0.2, \"none\"]
when = \"hot\"
";

#[test]
fn the_rarer_statements() {
    let model = parse_model("m", "m.toml", RARE).unwrap();
    let names: Vec<&str> = model.requirements.iter().map(|own| own.name.as_str()).collect();
    assert_eq!(names, ["clearance", "tightest_1", "tightest_2"]);
    let top: &[&str] = &["top, from 0 to 1"];
    let cut: &[&str] = &["cut, from 0.5 to 6"];
    let other: &[&str] = &["a number of another shape"];
    let form: &[&str] = &["the derived term `play` in neither of its two forms"];
    let two: &[&str] = &["not two dimensions"];
    let twice: &[&str] = &["a derived term beside a dimension that it is worked out of"];
    let gauge: &[&str] = &["a gauge of `rim`, which a derived term is worked out of"];
    let sums: &[&str] = &["of what are not several sums"];
    let any: &[&str] =
        &["a limit of the least that one of its sums alone may keep", "a lower limit"];
    let product = "product = [\"reading\", \"rim\"]";
    each_alone(
        RARE,
        &[
            ("top = 0.5", "top = §1.01", top),
            ("top = 0.5", "top = §\"half\"", &["`half`", "a number"]),
            (
                "[dimension.reading]\nplus_minus = \"+0.03 / +0.01\"\nshape = \"trapezoid\"\ntop = 0.5",
                "§[dimension.reading]\nplus_minus = 0.1\nshape = \"trapezoid\"",
                &["a shape without `top`"],
            ),
            ("cut = 2", "cut = §7", cut),
            ("cut = 2", "cut = 2\ntop = §0.5", other),
            ("\"+0.03 / +0.01\"", "§\"+0.03 / 0.01\"", &["both sides with their signs"]),
            (
                "[derived.play]\nproduct = [\"reading\", \"rim\"]\nper = 100",
                "§[derived.play]\nproduct = [\"reading\", \"rim\"]\ntimes = 100",
                form,
            ),
            ("per = 100", "per = §0", &["a length above 0"]),
            (product, "product = §[\"reading\"]", two),
            (product, "product = §[\"reading\", \"reading\"]", two),
            (product, "product = [\"reading\", §\"shims\"]", &["`shims`, which is not measured"]),
            (product, "product = [\"reading\", §\"rime\"]", &["write `rim`"]),
            (
                "[requirement.clearance]\nterms = { face = 1,",
                "§[requirement.clearance]\nterms = { rim = 1,",
                twice,
            ),
            (
                "[dimension.rim]\nplus_minus = 0.5\nshape = \"truncated normal\"\ncut = 2",
                "§[dimension.rim]\ngauge = \"M-1\"",
                gauge,
            ),
            ("freedom = 4", "freedom = §0", &["0 degrees of freedom"]),
            (
                "least_of = [{ face = 1, shims = -1 }, { face = 1, shims = -1, growth = -1 }]",
                "least_of = §[{ face = 1, shims = -1, growth = -1 }]",
                sums,
            ),
            (
                "growth = -1 }]\ntarget = 0.3\nlimits = [0.2, \"none\"]",
                "growth = -1 }]\ntarget = 0.3\nlimits = §[0.2, 0.4]",
                any,
            ),
        ],
    );
    // What a derived term is worked out of is not correlated with anything.
    let pair =
        "[[correlation]]\nbetween = §[\"rim\", \"face\"]\ncoefficient = 0.5\n\n[derived.play]";
    each_alone(
        RARE,
        &[("[derived.play]", pair, &["a correlation of a dimension that a derived term"])],
    );
}

#[test]
fn temperatures_may_name_their_scale() {
    let plain = parse_model("m", "m.toml", GOOD).unwrap();
    for scale in ["\"80 degC\"", "\"80\u{b0}C\"", "\"80.0 C\"", "\"80\""] {
        let text = GOOD.replace("running = 80", &format!("running = {scale}"));
        let model = parse_model("m", "m.toml", &text).unwrap();
        assert_eq!(model.thermals, plain.thermals, "{scale}");
    }
}

#[test]
fn correlations() {
    let apart: &[&str] = &["a correlation of two that cannot have one", "of their lot"];
    let named: &[&str] = &["which is no dimension, thermal term, derived term or pack"];
    let bounds: &[&str] = &["a correlation coefficient from -1 to 1"];
    let two: &[&str] = &["a correlation that is not between two"];
    let pair = "[\"gap\", \"ring\"]";
    each_alone(
        GOOD,
        &[
            ("coefficient = 0.5", "coefficient = §1.01", bounds),
            ("coefficient = 0.5", "coefficient = §-1.01", bounds),
            ("coefficient = 0.5", "coefficient = §\"much\"", &["`much`", "a number"]),
            (pair, "[\"gap\", §\"rnig\"]", &["`rnig`", "write `ring`"]),
            (pair, "[\"gap\", §\"clearance\"]", named),
            (pair, "§[\"gap\", \"shims\"]", apart),
            (pair, "§[\"shims\", \"gasket\"]", apart),
            (pair, "§[\"gap\", \"gap\"]", apart),
            (pair, "§[\"gap\", \"shaft_growth\"]", apart),
            (pair, "§[\"gap\"]", two),
            (pair, "§[\"gap\", \"ring\", \"face\"]", two),
        ],
    );
    let of = |a: &str, b: &str, r: f64| {
        format!("[[correlation]]\nbetween = [\"{a}\", \"{b}\"]\ncoefficient = {r}\n")
    };
    let next = "[material.";
    for again in [of("gap", "ring", 0.5), of("ring", "gap", -0.5)] {
        let second = format!("§{again}{next}");
        each_alone(GOOD, &[(next, &second, &["the same two a second time"])]);
    }
    // The determinant of three, 1 + 2abc - a^2 - b^2 - c^2, must not be negative.
    let given = of("gap", "ring", 0.5);
    let three = |[a, b, c]: [f64; 3]| {
        [of("gap", "ring", a), of("ring", "face", b), of("gap", "face", c)].concat()
    };
    for good in [
        [1.0, 1.0, 1.0],
        [1.0, -1.0, -1.0],
        [0.9, 0.9, 0.9],
        [0.9, 0.9, 0.63],
        [0.0, 0.6, 0.8],
        [0.5, 0.5, -0.5],
    ] {
        let read = parse_model("m", "m.toml", &GOOD.replace(&given, &three(good)));
        assert_eq!(read.map(|m| m.correlations.len()).ok(), Some(3), "{good:?}");
    }
    let matrix: &[&str] = &["not positive semi-definite", "correct the coefficients"];
    for bad in [
        [0.9, 0.9, -0.9],
        [1.0, 1.0, 0.99],
        [1.0, 1.0, -1.0],
        [0.9, 0.9, 0.61],
        [0.0, 0.6, 0.81],
        [0.5, 0.5, -0.51],
    ] {
        each_alone(GOOD, &[(&given, &format!("§{}", three(bad)), matrix)]);
    }
}

#[test]
fn names_keys_and_materials() {
    let percent: &[&str] = &["a compressibility from", "the smaller first"];
    let no_term: &[&str] =
        &["which is no dimension, thermal term, derived term or pack of this model"];
    let key: &[&str] = &["the key `colour`, which is not known here"];
    each_alone(
        GOOD,
        &[
            ("face = 1", "fase = §1", &["`fase`", "write `face`"]),
            ("ring = 1 }", "clearance = §1 }", no_term),
            ("ring = 1 }", "shaft_growht = §1 }", &["write `shaft_growth`"]),
            ("= [0, 1]", "= §[40, 25]", percent),
            ("= [0, 1]", "= §[25, 100.1]", percent),
            ("= [0, 1]", "= §[-1, 25]", percent),
            ("= [0, 1]", "= §[25]", &["not two limits"]),
            ("source = ", "§colour = 3\nsource = ", key),
            ("coefficient = ", "§colour = 3\ncoefficient = ", key),
            ("running = 80", "§colour = 3\nrunning = 80", key),
            ("when = ", "§colour = 3\nwhen = ", key),
            ("length_plus_minus", "§length_plus_mins", &["write `length_plus_minus`"]),
            ("[[correlation]]", "[[§correlations]]", &["write `correlation`"]),
            // The second of two is the one that is reported.
            (
                "[pack.shims]",
                "§[dimension.shaft_growth]\nplus_minus = 1\n[pack.shims]",
                &["`shaft_growth` as the name of two things"],
            ),
            (
                "[pack.shims]",
                "§[thermal.gap]\nlength = 1\nexpansion = 1\ncold = 1\nrunning = 2\n[pack.shims]",
                &["`gap` as the name of two things"],
            ),
            (
                "[material.\"ground shim\"]",
                "[material.\"Ground shim\"]\n§[material.\"ground shim\"]",
                &["the material `ground shim` a second time"],
            ),
        ],
    );
}

/// A missing required key is named with those of its table, and all of them at once.
#[test]
fn missing_keys() {
    let pack: &[&str] = &[
        "a [pack] without `most_pieces`",
        "add it; the keys here are label, kind, least_pieces, most_pieces, example",
    ];
    let file: &[&str] = &["the model file without `title`", "title, unit, dimension"];
    each_alone(
        GOOD,
        &[
            (
                "[pack.gasket]\nkind = \"gasket\"\nmost_pieces = 2",
                "§[pack.gasket]\nkind = \"gasket\"",
                pack,
            ),
            ("title = \"All there is\"\n", "§", file),
            (
                "[thermal.casing_growth]\nlength = \"4 in\"",
                "§[thermal.casing_growth]",
                &["a [thermal] without `length`", "length_plus_minus"],
            ),
            (
                "[[correlation]]\nbetween = [\"gap\", \"ring\"]",
                "§[[correlation]]",
                &["a [correlation] without `between`"],
            ),
            // A misspelt one is reported once, as misspelt.
            ("most_pieces = 4", "§most_peices = 4", &["write `most_pieces`"]),
        ],
    );
    let spoilt = GOOD
        .replace("cold = 20\nrunning = 80\n", "colour = 3\n")
        .replace("[requirement.clearance]", "[[caution]]\n[requirement.clearance]");
    let found = model_problems(&spoilt).concat();
    for key in ["`cold`", "`running`", "`when`", "`text`", "`colour`"] {
        assert!(found.contains(key), "{key}: {found}");
    }
}

/// An unknown key hides no other problem.
#[test]
fn unknown_keys_are_told_with_the_rest() {
    let spoilt = GOOD
        .replace("shape = \"triangular\"", "colour = 3")
        .replace("plus_minus = 0.01\n", "plus_minus = -0.01\n")
        .replace("[0.1, 0.35]", "[0.35, 0.1]");
    let found = model_problems(&spoilt);
    let each = ["the key `colour`", "below zero", "the lower limit above"];
    assert_eq!(found.len(), each.len(), "{found:#?}");
    for words in each {
        assert!(found.iter().any(|p| p.contains(words)), "{found:#?}");
    }
}

/// One bad table hides no problem of the others.
#[test]
fn a_model_tells_all_its_problems_at_once() {
    let spoilt = GOOD
        .replace("plus_minus = 0.01\n", "plus_minus = -0.01\n")
        .replace("length = 100", "length = -100")
        .replace("most_pieces = 2", "most_pieces = 0")
        .replace("[0.1, 0.35]", "[0.35, 0.1]")
        .replace("ring = 1 }", "rnig = 1 }")
        .replace("coefficient = 0.5", "coefficient = 5")
        .replace("= 17.2", "= -17.2");
    let found = model_problems(&spoilt);
    let lines: Vec<&str> =
        found.iter().map(|p| p.lines().next().unwrap().split(", ").nth(1).unwrap()).collect();
    let expected = [5, 16, 34, 44, 48, 54, 59].map(|line| format!("line {line}"));
    assert_eq!(lines, expected, "{found:#?}");
}

// --- The materials table of a folder, and what a pump states for itself -----------------------

/// The model above in its own folder, with stock and a pump for it; the pump's columns may be extended.
fn hot_shop(materials: Option<&str>, heads: &str, cells: &str) -> (Shop, Sources) {
    let stock = "\
Item,Kind,Fit,Thickness (mm),Tolerance (mm),On hand,Material
S1,shim,F,0.5,0.01,4,Sheet
G1,gasket,F,0.9,0.02,2,
";
    let pumps = format!(
        "Tag,Model,Shims fit,Gasket fit,Gap (mm),Ring (mm),Face (mm){heads}\n\
         A,all-there-is,F,F,0.7,0.1,0.1{cells}\n"
    );
    let shop = Shop::new(stock, &pumps);
    let models = shop.path("models");
    fs::create_dir(&models).unwrap();
    fs::write(models.join("all-there-is.toml"), GOOD).unwrap();
    if let Some(text) = materials {
        fs::write(models.join("materials.toml"), text).unwrap();
    }
    let sources = Sources { models: Some(models), ..shop.sources() };
    (shop, sources)
}

fn hot_problems(materials: Option<&str>, heads: &str, cells: &str) -> Vec<String> {
    let (shop, sources) = hot_shop(materials, heads, cells);
    let problems = job(&sources).expect_err("these files have problems");
    shown(&problems, shop.folder.path())
}

/// Growths of the pump in millimetres, value and worst case.
fn growths(materials: Option<&str>, heads: &str, cells: &str) -> Vec<[String; 2]> {
    let (_shop, sources) = hot_shop(materials, heads, cells);
    let job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    assert!(job.warnings.is_empty() && job.unused.is_empty());
    let growths = job.pumps[0].growths.iter();
    growths.map(|g| [g.value, g.tolerance.plus].map(|l| l.show(Unit::Millimetre))).collect()
}

#[test]
fn a_folders_materials_outrank_those_built_in() {
    // 100 x 15.9e-6 x 60 = 0.0954; at worst 100.5 x 16.8e-6 x 65 = 0.109746.
    // 101.6 x 11.4e-6 x 50 = 0.057912; at worst 101.6 x 12.1e-6 x 50 = 0.061468.
    let casing = ["0.057912", "0.003556"].map(String::from);
    let built_in = growths(None, "", "");
    assert_eq!(built_in, [["0.0954", "0.014346"].map(String::from), casing.clone()]);
    let own = "[material.\"316 Stainless Steel\"]\nexpansion = 16\nsource = \"invented\"\n";
    // 100 x 16e-6 x 60 = 0.096; at worst 100.5 x 16e-6 x 65 = 0.10452: its plus/minus is gone too.
    let outranked = growths(Some(own), "", "");
    assert_eq!(outranked, [["0.096", "0.00852"].map(String::from), casing]);
    // A table without the expansion leaves it unchanged.
    let other = "[material.\"316 stainless steel\"]\ncompressibility = [0, 0.5]\n";
    assert_eq!(growths(Some(other), "", ""), built_in);
    let (shop, sources) = hot_shop(Some(own), "", "");
    let hot = job(&sources).unwrap();
    let inputs: Vec<(&str, &str)> =
        hot.inputs.iter().map(|input| (input.role.as_str(), input.file.as_str())).collect();
    let path = shop.path("models").join("materials.toml");
    assert_eq!(inputs[3], ("materials table", path.to_str().unwrap()));
    assert_eq!(inputs.len(), 4);
    assert_eq!(hot.inputs[3].sha256.len(), 64);
    // The name is not that of a model, in any case.
    fs::rename(&path, shop.path("models").join("Materials.toml")).unwrap();
    assert_eq!(job(&sources).unwrap().pumps, hot.pumps);
    let pumps = fs::read_to_string(shop.path("pumps.csv")).unwrap();
    fs::write(shop.path("pumps.csv"), pumps.replace("all-there-is", "materials")).unwrap();
    let found = shown(&job(&sources).unwrap_err(), shop.folder.path());
    only(&found, &["cell B2", "the model `materials`, which is not known"]);
}

#[test]
fn bad_materials_tables() {
    let cases: [Spoilt; 8] = [
        ("x = 1", "§x = 1", &["the key `x`", "one of material"]),
        ("x = 1", "[material.a]\nplus_minus = §0.1", &["a thickness tolerance", "stock workbook"]),
        ("x = 1", "[material.a]\n§colour = 1", &["the key `colour`"]),
        ("x = 1", "[material.a]\nexpansion = §-1", &["millionths per kelvin"]),
        ("x = 1", "[material.a]\nexpansion_plus_minus = §1", &["of no expansion"]),
        ("x = 1", "[material.a]\ncompressibility = §[40, 25]", &["the smaller first"]),
        ("x = 1", "[material]\na = §1", &["where a table belongs"]),
        ("x = 1", "[material.a§", &["unclosed table"]),
    ];
    for (from, to, words) in cases {
        let (text, place) = spoil("x = 1", from, to);
        let found = hot_problems(Some(&text), "", "");
        let place = format!("models/materials.toml, {place}");
        assert!(found.iter().any(|p| p.starts_with(&place)), "{place}: {found:#?}");
        only(&found, words);
    }
}

#[test]
fn a_pumps_own_lengths_and_temperatures() {
    let heads = ",Shaft growth length (mm),Shaft growth cold (degC),Shaft growth running,\
                 Casing growth running";
    // 200 x 15.9e-6 x (110.5 - -10) = 0.38319; 101.6 x 11.4e-6 x (60 - 20) = 0.0463296.
    let own = growths(None, heads, ",200,-10,110.5,60");
    assert_eq!([&own[0][0], &own[1][0]], ["0.38319", "0.0463296"]);
    // An empty cell leaves the model's value.
    assert_eq!(growths(None, heads, ",,,,"), growths(None, "", ""));
    let bad = |cells: &str, expected: &[(&str, &str)]| {
        each(&hot_problems(None, heads, cells), expected);
    };
    bad(",0,,,", &[("cell H2", "a length above 0")]);
    bad(",-5,,,", &[("cell H2", "a length above 0")]);
    bad(",long,,,", &[("cell H2", "`long`: not a length")]);
    bad(
        ",,-273.2,1500.1,",
        &[("cell I2", "the temperature -273.2"), ("cell J2", "the temperature 1500.1")],
    );
    let celsius = "expected  degrees Celsius, a plain number such as 80, or 176 degF\n    fix       convert to degrees Celsius or Fahrenheit";
    bad(",,cold,,140 K", &[("cell I2", celsius), ("cell K2", celsius)]);
    bad(",,80 %,,", &[("cell I2", "`80 %`")]);
    // The scale may be after the number, in the heading or nowhere.
    for written in ["60 degC", "60\u{b0}C", "60 \u{b0}C", "60 C", "60", "140 degF", "140\u{b0}F"] {
        let cells = format!(",200,-10,110.5,{written}");
        assert_eq!(growths(None, heads, &cells), own, "{written}");
    }
    // A column of another scale is not read as degrees Celsius.
    each(
        &hot_problems(None, ",Shaft growth running (K)", ",353"),
        &[("cell H1", "temperatures in `K`")],
    );
    // Without its unit a length is not guessed.
    let found = hot_problems(None, ",Shaft growth length", ",200");
    each(&found, &[("cell H2", "no unit")]);
    // A near-miss heading is reported.
    let (_shop, sources) = hot_shop(None, ",Shaft growth runing", ",90");
    let found = job(&sources);
    let said = match found {
        Ok(job) => job.warnings.iter().map(ToString::to_string).collect(),
        Err(problems) => shown(&problems, Path::new("")).join("\n"),
    };
    assert!(
        said.contains("`Shaft growth runing`") && said.contains("`Shaft growth running`"),
        "{said}"
    );
}

#[test]
fn one_reading_where_several_are_asked_for() {
    let good = BUILT_IN[0].1;
    let from = "plus_minus = 0.0002 ";
    assert!(good.contains(from));
    let shop = Shop::new(STOCK, PUMPS);
    let models = shop.path("models");
    fs::create_dir(&models).unwrap();
    let text = good.replace(from, "plus_minus = \"from readings\" ");
    fs::write(models.join("screwed-impeller.toml"), text).unwrap();
    let sources = Sources { models: Some(models), ..shop.sources() };
    let found = job(&sources).unwrap_err();
    let words = ["cell G2", "one reading", "at least two readings of `Snap ring thickness`"];
    only(&shown(&found, shop.folder.path()), &words);
    // Three readings of which one is left out are two, with one degree of freedom.
    let heads = "Snap ring 1 (in),Snap ring 2 (in),Snap ring 3 (in)";
    let pumps = PUMPS.replace("Snap ring (in)", heads);
    let two = pumps.replace(",0.050\n", ",0.0500,,0.0502\n");
    fs::write(shop.path("pumps.csv"), two).unwrap();
    let read = job(&sources).unwrap();
    let ring = &read.pumps[0].dimensions[1];
    assert_eq!((ring.readings.len(), ring.freedom), (2, Some(1)));
    assert_eq!(ring.value.show(Unit::Inch), "0.0501");
    // s = 0.0002 / root 2, of the mean 0.0001 in.
    assert_eq!(ring.standard.raw(), 2_540_000_000);
    // All equal: no uncertainty follows, unless the gauge's resolution is known.
    let alike = pumps.replace(",0.050\n", ",0.0500,0.0500,0.0500\n");
    fs::write(shop.path("pumps.csv"), alike).unwrap();
    let found = job(&sources).unwrap_err();
    let words = ["cell G2", "`Snap ring thickness` that are all alike", "resolution"];
    only(&shown(&found, shop.folder.path()), &words);
    let path = shop.path("models/screwed-impeller.toml");
    let text = fs::read_to_string(&path).unwrap();
    let finer = text.replacen("\"from readings\"", "\"from readings\"\nresolution = 0.0001", 1);
    assert_ne!(text, finer);
    fs::write(&path, finer).unwrap();
    let read = job(&sources).unwrap();
    let ring = &read.pumps[0].dimensions[1];
    // 0.0001 in over the root of 12: 2.54 um / 3.4641 = 0.733 235 um.
    assert_eq!((ring.freedom, (ring.standard.raw() + 500) / 1_000), (None, 733_235));
    let beside = text.replacen("plus_minus = 0.0003", "plus_minus = 0.0003\nresolution = 1", 1);
    assert_ne!(text, beside);
    fs::write(&path, beside).unwrap();
    let found = job(&sources).unwrap_err();
    assert!(
        shown(&found, shop.folder.path())
            .iter()
            .any(|said| said.contains("a resolution beside another statement of uncertainty"))
    );
    fs::write(&path, text).unwrap();
    let one = pumps.replace(",0.050\n", ",,0.050,\n");
    fs::write(shop.path("pumps.csv"), one).unwrap();
    let found = job(&sources).unwrap_err();
    // The next one is waited for; with no column for it, there is one reading and no spread.
    only(&shown(&found, shop.folder.path()), &["cell G2", "a value for `Snap ring 1 (in)`"]);
}

#[test]
fn coverage_factors_and_levels() {
    let shop = Shop::new(STOCK, PUMPS);
    fs::create_dir(shop.path("pumps")).unwrap();
    fs::write(shop.path("pumps/Pumps.csv"), PUMPS).unwrap();
    let sheet = |value: &str| {
        let policy = format!("Setting,Value\nAcceptance,expanded\nCoverage factor,{value}\n");
        fs::write(shop.path("pumps/Policy.csv"), policy).unwrap();
        Sources { pumps: shop.path("pumps"), ..shop.sources() }
    };
    let line = |value: &str| Sources {
        settings: vec![("Coverage factor".into(), value.into())],
        ..shop.sources()
    };
    let factor = |n: i64| Coverage::Factor(Millionths::from_raw(n));
    let level = |n: i64| Coverage::Level(Millionths::from_raw(n));
    for (value, coverage) in [
        ("2", factor(2_000_000)),
        ("1", factor(1_000_000)),
        ("1.732051", factor(1_732_051)),
        ("10", factor(10_000_000)),
        ("95 %", level(950_000)),
        ("95%", level(950_000)),
        ("95.45 %", level(954_500)),
        ("50 %", level(500_000)),
        ("99.99 %", level(999_900)),
    ] {
        for sources in [sheet(value), line(value)] {
            assert_eq!(job(&sources).unwrap().policy.coverage, coverage, "{value}");
        }
    }
    for value in [
        "0",
        "-1",
        "-2 %",
        "101 %",
        "100 %",
        "2 %",
        "49.99 %",
        "99.991 %",
        "eleven",
        "11",
        "%",
        "95 % 2",
        "95.12345 %",
        "NaN",
        // A spreadsheet stores a typed 95 % as this number.
        "0.95",
    ] {
        let said = format!("`{value}` for `Coverage factor`");
        let words = [said.as_str(), "a number from 1 to 10", "95 %", "correct the value"];
        let found = shown(&job(&sheet(value)).unwrap_err(), shop.folder.path());
        only(&found, &[&["sheet Policy, cell B3"], &words[..]].concat());
        let found = shown(&job(&line(value)).unwrap_err(), shop.folder.path());
        only(&found, &[&["command line"], &words[..]].concat());
    }
    // The command line outranks the sheet, and both may be wrong at once.
    let both =
        |on_sheet: &str, given: &str| Sources { settings: line(given).settings, ..sheet(on_sheet) };
    assert_eq!(job(&both("2", "95 %")).unwrap().policy.coverage, level(950_000));
    assert_eq!(shown(&job(&both("0", "-1")).unwrap_err(), shop.folder.path()).len(), 2);
}

/// More entries than any pump has, of every kind: one problem each, at the name, and nothing else is said of the file.
/// Without the limits each of these took from half a minute to hours.
#[test]
fn entries_without_number_are_refused() {
    let many = |one: &dyn Fn(usize) -> String| (0..20_000).map(one).collect::<String>();
    let dimensions = many(&|n| format!("[dimension.more{n}]\nxyz = 1\n"));
    let packs = many(&|n| format!("[pack.more{n}]\nkind = \"k\"\nmost_pieces = 1\n"));
    let unknown = many(&|n| format!("key{n} = 1\n"));
    let terms = many(&|n| format!("t{n} = 1, "));
    let sums = "{ gap = 1 }, ".repeat(20_000);
    let correlations =
        "[[correlation]]\nbetween = [\"gap\", \"ring\"]\ncoefficient = 0.1\n".repeat(20_000);
    for (text, found) in [
        (format!("{GOOD}\n{dimensions}"), "entries in `dimension`"),
        (format!("{GOOD}\n{packs}"), "entries in `pack`"),
        (format!("{GOOD}\n{correlations}"), "entries in `correlation`"),
        (format!("{unknown}\n{GOOD}"), "entries in `the file`"),
        (format!("{GOOD}\n[dimension.more]\n{unknown}"), "entries in `dimension`"),
        (
            format!("{GOOD}\n[requirement.more]\nterms = {{ {terms} gap = 1 }}"),
            "entries in `terms`",
        ),
        (format!("{GOOD}\n[requirement.more]\nleast_of = [{sums}]"), "entries in `least_of`"),
        (
            format!("{GOOD}\n[requirement.more]\nleast_of = [{{ {terms} gap = 1 }}]"),
            "entries in `least_of`",
        ),
    ] {
        let problems = parse_model("m", "m.toml", &text).unwrap_err();
        let told: Vec<String> = problems.sorted().iter().map(|p| p.to_string()).collect();
        assert_eq!(told.len(), 1, "{found}: {told:?}");
        assert!(told[0].contains(found) && told[0].contains("at most"), "{found}: {told:?}");
    }
}
