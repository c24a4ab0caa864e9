//! Compares the stack-up report with published chains: root sum square, shares, the probabilities of normal sums,
//! allocation, and length stacks with gaskets.

use gapwright::decimal::Millionths;
use gapwright::length::{Length, Tolerance, Uncertainty, Unit};
use gapwright::model::{Form, Shape, Term};
use gapwright::stack::{Contributor, Coverage, Evaluation, Report, Stack, judge, report};

const TWO: Coverage = Coverage::Factor(Millionths::from_raw(2_000_000));

/// One part of a chain: sign, nominal, plus/minus, all in the unit of the chain.
type Part = (i64, &'static str, &'static str);

/// A chain against limits, with parts of one shape.
fn chain(parts: &[Part], limits: [&str; 3], unit: Unit, shape: Shape) -> (Form, Stack) {
    let length = |text: &str| Length::parse(text, Some(unit)).unwrap();
    let contributors = parts.iter().enumerate().map(|(index, (_, nominal, within))| {
        let tolerance = Tolerance::even(length(within));
        Contributor {
            label: index.to_string(),
            term: Term::Dimension(index),
            item: None,
            count: 1,
            readings: vec![],
            nominal: length(nominal),
            tolerance,
            evaluation: Evaluation::Within(shape),
            standard_uncertainty: shape.standard_uncertainty(tolerance),
            degrees_of_freedom: None,
            lot: None,
        }
    });
    let sign = |(index, part): (usize, &Part)| {
        (Term::Dimension(index), Millionths::from_raw(part.0 * 1_000_000))
    };
    let [lower, target, upper] = limits.map(length);
    (
        Form::Linear {
            terms: parts.iter().enumerate().map(sign).collect(),
            target,
            lower: Some(lower),
            upper: Some(upper),
        },
        Stack { contributors: contributors.collect(), ..Stack::default() },
    )
}

fn reported(parts: &[Part], limits: [&str; 3], unit: Unit, shape: Shape) -> Report {
    let (form, stack) = chain(parts, limits, unit, shape);
    report(&form, &stack, TWO, unit)
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected}");
}

/// Source: K. W. Chase, Basic Tools for Tolerance Analysis of Mechanical Assemblies, in Geng (ed.),
/// Manufacturing Engineering Handbook, 2004 (figures from memory; they recompute): retaining ring,
/// shaft, bearing, sleeve, housing, sleeve, bearing.
const CHASE: [Part; 7] = [
    (-1, "0.0505", "0.0015"),
    (1, "8.0000", "0.008"),
    (-1, "0.5093", "0.0025"),
    (1, "0.4000", "0.002"),
    (-1, "7.7110", "0.006"),
    (1, "0.4000", "0.002"),
    (-1, "0.5093", "0.0025"),
];
const CHASE_LIMITS: [&str; 3] = ["0.005", "0.020", "0.035"];

/// Gap 0.0199 in, worst case 0.0245, root sum square 0.0111 (unrounded 0.011 079), and the shares of the variance;
/// half-widths of two standard deviations, so that the shares are those of the squared tolerances.
#[test]
fn the_shaft_bearing_and_ring_chain() {
    let report = reported(&CHASE, CHASE_LIMITS, Unit::Inch, Shape::Normal);
    near(report.value, 0.0199, 1e-12);
    near(report.sides[0].worst, 0.0245, 1e-12);
    near(report.sides[1].worst, 0.0245, 1e-12);
    near(report.sides[0].root_sum_square, 0.011_079, 5e-7);
    let share = |contributor: usize| {
        let line = report.lines.iter().find(|l| l.contributor == contributor);
        100.0 * line.unwrap().share_of_variance
    };
    for (contributor, percent) in
        [(1, 52.138), (4, 29.328), (2, 5.092), (6, 5.092), (3, 3.259), (5, 3.259), (0, 1.833)]
    {
        near(share(contributor), percent, 6e-4);
    }
    // The largest in the worst case comes first: the shaft, with 8 of 24.5 parts.
    assert_eq!(report.lines[0].contributor, 1);
    near(report.lines[0].share_of_worst, 8.0 / 24.5, 1e-12);
    // The worst case reaches 0.0094 beyond the upper limit and 0.0096 beyond the lower one.
    near(report.sides[0].margin_worst(), -0.0096, 1e-12);
    near(report.sides[1].margin_worst(), -0.0094, 1e-12);
}

/// Same source: with tolerances of three standard deviations the gap is within its limits with probability 0.999 950
/// 96 [computed]. Two standard deviations stand for our half-width, so the plus/minuses are two thirds of the
/// published ones.
#[test]
fn the_chance_that_the_chain_conforms() {
    // Thirds of 0.008 and others do not end: the chain is taken three times as long.
    let tripled: Vec<Part> = vec![
        (-1, "0.1515", "0.003"),
        (1, "24.0000", "0.016"),
        (-1, "1.5279", "0.005"),
        (1, "1.2000", "0.004"),
        (-1, "23.1330", "0.012"),
        (1, "1.2000", "0.004"),
        (-1, "1.5279", "0.005"),
    ];
    let report = reported(&tripled, ["0.015", "0.060", "0.105"], Unit::Inch, Shape::Normal);
    near(report.value, 0.0597, 1e-12);
    near(report.conforming, 0.999_950_96, 5e-9);
}

/// Same source, allocation: with bought parts fixed, the designed ones may have 0.472 222 of their tolerances for a
/// worst case of 0.015 about the mean gap. Scaled so, no part has room left: the largest plus/minus of each is its
/// own.
#[test]
fn allocated_tolerances_leave_no_room() {
    // 0.472 222... = 17/36: 0.008 x 17/36 and so on do not end; the chain is taken 36 times as long.
    let scaled: Vec<Part> = vec![
        (-1, "1.818", "0.054"),
        (1, "288", "0.136"),
        (-1, "18.3348", "0.09"),
        (1, "14.4", "0.034"),
        (-1, "277.596", "0.102"),
        (1, "14.4", "0.034"),
        (-1, "18.3348", "0.09"),
    ];
    let report = reported(&scaled, ["0.1764", "0.7164", "1.2564"], Unit::Inch, Shape::Rectangular);
    for side in &report.sides {
        near(side.worst, 0.54, 1e-9);
        near(side.margin_worst(), 0.0, 1e-9);
    }
    for line in &report.lines {
        let within: f64 = scaled[line.contributor].2.parse().unwrap();
        for largest in line.largest {
            near(largest.unwrap(), within, 1e-9);
        }
    }
}

/// Source: Budynas and Nisbett, Shigley's Mechanical Engineering Design, chapter 1 (from memory;
/// recomputed): w = 0.005, worst case 0.010, root sum square 0.006 in; shares 25, 2.78, 69.44 and
/// 2.78 per cent.
#[test]
fn the_shouldered_screw() {
    let parts = [
        (1, "1.750", "0.003"),
        (-1, "0.750", "0.001"),
        (-1, "0.120", "0.005"),
        (-1, "0.875", "0.001"),
    ];
    let report = reported(&parts, ["0", "0.005", "0.01"], Unit::Inch, Shape::Triangular);
    near(report.value, 0.005, 1e-12);
    near(report.sides[0].worst, 0.010, 1e-12);
    near(report.sides[0].root_sum_square, 0.006, 1e-12);
    for (contributor, percent) in [(0, 25.0), (1, 2.78), (2, 69.44), (3, 2.78)] {
        let line = report.lines.iter().find(|l| l.contributor == contributor);
        near(100.0 * line.unwrap().share_of_variance, percent, 5e-3);
    }
    // Interference is possible: 0.005 beyond the lower limit at worst.
    near(report.sides[0].margin_worst(), -0.005, 1e-12);
}

/// A value with a standard uncertainty against limits, a million ticks for one.
fn measured(value: i64, standard: i64, limits: [i64; 2]) -> Report {
    let part = Contributor {
        label: String::new(),
        term: Term::Dimension(0),
        item: None,
        count: 1,
        readings: vec![],
        nominal: Length::from_ticks(value),
        tolerance: Tolerance::default(),
        evaluation: Evaluation::Standard,
        standard_uncertainty: Uncertainty::from(Length::from_ticks(standard)),
        degrees_of_freedom: None,
        lot: None,
    };
    let [lower, upper] = limits.map(Length::from_ticks);
    let form = Form::Linear {
        terms: vec![(Term::Dimension(0), Millionths::ONE)],
        target: lower,
        lower: Some(lower),
        upper: Some(upper),
    };
    let stack = Stack { contributors: vec![part], ..Stack::default() };
    report(&form, &stack, TWO, Unit::Millimetre)
}

/// Source: JCGM 106:2012, examples of conformance probability (inputs and printed values from memory; further digits
/// computed): burst pressure 509.7 known to 8.6 against at least 490, 0.99; viscosity 13.6 known to 1.8 against 12.5
/// to 16.3, 0.66; a diode at -5.47 known to 0.05 against at most -5.40, 0.92. Scaled into lengths; a missing limit is
/// far away.
#[test]
fn conformance_probabilities() {
    let burst = measured(509_700, 8_600, [490_000, 900_000]);
    near(burst.conforming, 0.989_009_547, 5e-9);
    near(burst.sides[0].beyond, 1.0 - 0.989_009_547, 5e-9);
    let oil = measured(136_000, 18_000, [125_000, 163_000]);
    near(oil.conforming, 0.662_629_786, 5e-9);
    let diode = measured(-547_000, 5_000, [-900_000, -540_000]);
    near(diode.conforming, 0.919_243_341, 5e-9);
}

/// Source: D. C. Montgomery, Introduction to Statistical Quality Control (from memory; recomputed): four links with
/// variances 4, 9, 4 and 1 ten-thousandths add up to 12.0; the probability of 11.90 to 12.10 is 0.981 577 875
/// (0.98172 of rounded tables). A bore of 1.500 and a shaft of 1.480 with standard deviations 0.002 and 0.004
/// interfere with probability 3.872e-6.
#[test]
fn links_in_a_row_and_a_shaft_in_its_bore() {
    // Half-widths of two standard deviations.
    let links = [(1, "2.0", "0.04"), (1, "4.5", "0.06"), (1, "3.0", "0.04"), (1, "2.5", "0.02")];
    let report = reported(&links, ["11.9", "12", "12.1"], Unit::Millimetre, Shape::Normal);
    near(report.sides[0].combined, 0.042_426_4, 1e-7);
    near(report.conforming, 0.981_577_875, 5e-9);
    let fit = [(1, "1.500", "0.004"), (-1, "1.480", "0.008")];
    let report = reported(&fit, ["0", "0.02", "1"], Unit::Inch, Shape::Normal);
    near(report.sides[0].combined, 0.004_472_136, 1e-9);
    near(report.sides[0].beyond, 3.872_108e-6, 1e-11);
}

/// Source: US Army TM 10-3930-660-34, p. 16-139 [read]: spacer 0.150 less gap 0.027 plus preload
/// 0.003 +/- 0.001 plus compressed gasket 0.020 makes 0.146 +/- 0.001 in.
#[test]
fn a_spacer_with_its_compressed_gasket() {
    let parts = [(1, "0.150", "0"), (-1, "0.027", "0"), (1, "0.003", "0.001"), (1, "0.020", "0")];
    let report = reported(&parts, ["0.145", "0.146", "0.147"], Unit::Inch, Shape::Rectangular);
    near(report.value, 0.146, 1e-12);
    near(report.sides[0].worst, 0.001, 1e-12);
    let (form, stack) = chain(&parts, ["0.145", "0.146", "0.147"], Unit::Inch, Shape::Rectangular);
    // Just within, and not within anything narrower.
    let worst = gapwright::stack::Guard::WorstCase;
    assert!(judge(&form, &stack, worst).conforms());
    let (narrow, _) = chain(&parts, ["0.14501", "0.146", "0.147"], Unit::Inch, Shape::Rectangular);
    assert!(!judge(&narrow, &stack, worst).conforms());
}

/// Sources: Porsche 912 workshop manual, crankshaft end play [read]: 4.015 - 3.025 + 0.100 of
/// soft-iron gasket - 0.140 end play asks for a spacer of 0.950 mm. Honda 1999 Civic HX, thrust shim
/// [read]: 32.7 - 30.1 + 0.5 of gasket = 3.1 mm.
#[test]
fn spacers_behind_gaskets() {
    let play = [(1, "4.015", "0"), (-1, "3.025", "0"), (1, "0.100", "0"), (-1, "0.950", "0")];
    let report = reported(&play, ["0.14", "0.14", "0.17"], Unit::Millimetre, Shape::Rectangular);
    near(report.value, 0.140, 1e-12);
    let shim = [(1, "32.7", "0"), (-1, "30.1", "0"), (1, "0.5", "0")];
    let report = reported(&shim, ["3.1", "3.1", "3.1"], Unit::Millimetre, Shape::Rectangular);
    near(report.value, 3.1, 1e-12);
    near(report.sides[0].room, 0.0, 1e-12);
}

/// Inflation factors that follow from the shapes (F. Scholz, Tolerance Stack Analysis Methods, 1995,
/// names them; recomputed): three standard uncertainties of a chain of rectangular parts are the root
/// of three times its root sum square, of triangular ones the root of one and a half.
#[test]
fn shapes_inflate_the_root_sum_square() {
    for (shape, factor) in
        [(Shape::Rectangular, 1.732_050_8), (Shape::Triangular, 1.224_744_9), (Shape::Normal, 1.5)]
    {
        let report = reported(&CHASE, CHASE_LIMITS, Unit::Inch, shape);
        let inflated = 3.0 * report.sides[0].combined / report.sides[0].root_sum_square;
        near(inflated, factor, 1e-6);
    }
}

/// The reported largest plus/minus and standard uncertainty, put back one at a time, are just met, and slightly more
/// is not: with shapes, uneven sides, several pieces and a correlation.
#[test]
fn what_is_said_to_be_the_largest_is_the_largest() {
    use gapwright::model::Correlation;
    use gapwright::stack::Guard;
    let parts = [(1, "1.000", "0.010"), (-1, "0.300", "0.008"), (1, "0.200", "0.012")];
    let limits = ["0.55", "0.6", "0.66"];
    for r in [-700_000, 0, 600_000] {
        let (form, mut stack) = chain(&parts, limits, Unit::Millimetre, Shape::Triangular);
        stack.contributors[1].count = 2;
        stack.contributors[2].tolerance.plus = Length::from_ticks(150_000);
        stack.contributors[2].standard_uncertainty =
            Shape::Triangular.standard_uncertainty(stack.contributors[2].tolerance);
        stack.correlations = vec![Correlation {
            between: [Term::Dimension(0), Term::Dimension(2)],
            coefficient: Millionths::from_raw(r),
        }];
        let report = report(&form, &stack, TWO, Unit::Millimetre);
        let ticks = |mm: f64| Length::from_ticks((mm * 1e7).round() as i64);
        for line in &report.lines {
            let at = line.contributor;
            for edge in [0, 1] {
                let verdict = |more: i64| {
                    let mut put = stack.clone();
                    let within = ticks(line.largest[edge].unwrap()) + Length::from_ticks(more);
                    let tolerance = &mut put.contributors[at].tolerance;
                    if edge == 0 {
                        tolerance.minus = within;
                    } else {
                        tolerance.plus = within;
                    }
                    judge(&form, &put, Guard::WorstCase)
                };
                let margins = [-2, 2].map(|more| verdict(more).margin().raw());
                assert!(margins[0] >= 0 && margins[1] < 0, "{r} {at} {edge}: {margins:?}");
            }
            let verdict = |more: f64| {
                let mut put = stack.clone();
                let u = line.largest_standard.unwrap() * (1.0 + more);
                put.contributors[at].standard_uncertainty =
                    Uncertainty::from_raw((u * 1e12) as i64);
                judge(&form, &put, Guard::Expanded(TWO))
            };
            assert!(verdict(-1e-6).conforms() && !verdict(1e-6).conforms());
        }
    }
}

/// With few readings the probability beyond a limit is Student's: one standard uncertainty and two degrees of freedom
/// leave 0.2113 beyond (SciPy 1.17.1, scipy.stats.t.sf(1, 2)), not the 0.1587 of the normal distribution; and the
/// worst case reaches as far as 95.45 % of Student's distribution, 4.53 standard uncertainties (JCGM 100:2008, table
/// G.2, from memory), not 2.
#[test]
fn few_readings_leave_more_beyond() {
    let mut part = chain(&[(1, "1.000", "0")], ["0.99", "1", "2"], Unit::Millimetre, Shape::Normal);
    part.1.contributors[0].standard_uncertainty = Uncertainty::from(Length::from_ticks(100_000));
    part.1.contributors[0].degrees_of_freedom = Some(2);
    let report = report(&part.0, &part.1, TWO, Unit::Millimetre);
    near(report.sides[0].beyond, 0.211_324_865, 1e-8);
    near(TWO.of_readings(2).to_f64(), 4.53, 5e-3);
}
