//! Models: one per arrangement of pump, with its dimensions, places for pieces and requirements.
//!
//! [`Model`] is a model file that was read; [`Requirement`] and [`Form`] say what must hold.
//!
//! # Decisions
//!
//! - The half-width of the normal shape is two standard deviations, not three: the wider uncertainty; JCGM 100:2008
//!   leaves it open.
//! - A gasket's fill is two linear rows, not a ratio: `free >= (1 + a) gap` is exact, guards included.

use std::fmt;
use std::ops::RangeInclusive;
use std::sync::Arc;

use thiserror::Error;

use crate::decimal::Millionths;
use crate::length::{Length, Tolerance, Uncertainty, Unit};
use crate::narrow::narrow;

/// One arrangement of pump, as its model file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// Name of the file without `.toml`, as in the Model column of the pump workbook.
    pub name: String,
    /// Title for people.
    pub title: String,
    /// Unit of printed lengths and of bare numbers in the file.
    pub unit: Unit,
    /// Dimensions to measure; each is one column (or several, for readings) of the pump workbook.
    pub dimensions: Vec<Dimension>,
    /// Parts that grow with temperature.
    pub thermals: Vec<Thermal>,
    /// Products and quotients of dimensions.
    pub derived: Vec<Derived>,
    /// Pairs of dimensions or thermal terms with correlated errors.
    pub correlations: Vec<Correlation>,
    /// Places for pieces, in the order in which they are filled.
    pub packs: Vec<Pack>,
    /// Requirements.
    pub requirements: Vec<Requirement>,
    /// Consumables of the kit bag.
    pub consumables: Vec<ConsumableNeed>,
    /// Materials, for pieces whose own row gives no data.
    pub materials: Vec<Material>,
    /// Cautions of this arrangement, in addition to the usual ones.
    pub cautions: Vec<Caution>,
    /// Example readings and packs, for blank workbooks.
    pub examples: Examples,
    /// Drawing, if there is one.
    pub drawing: Option<Drawing>,
    /// Positions of each pump's own figures on the drawing.
    pub figures: Vec<Figure>,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
}

impl Model {
    /// Model of this name and unit, otherwise empty.
    pub fn new(name: &str, unit: Unit) -> Model {
        Model {
            name: name.to_string(),
            title: name.to_string(),
            unit,
            dimensions: Vec::new(),
            thermals: Vec::new(),
            derived: Vec::new(),
            correlations: Vec::new(),
            packs: Vec::new(),
            requirements: Vec::new(),
            consumables: Vec::new(),
            materials: Vec::new(),
            cautions: Vec::new(),
            examples: Examples::default(),
            drawing: None,
            figures: Vec::new(),
            sha256: String::new(),
        }
    }

    /// Names and labels of its lengths, each with its kind: dimensions, thermal terms, packs, requirements. On a keyed drawing
    /// each has the letter of its place among them, from A.
    pub fn lengths(&self) -> impl Iterator<Item = (LengthKind, &str, &str)> {
        use LengthKind::{Measured, Pieces, Required, Thermal};
        let dimensions = self.dimensions.iter().map(|one| (Measured, &*one.name, &*one.label));
        let thermals = self.thermals.iter().map(|one| (Thermal, &*one.name, &*one.label));
        let packs = self.packs.iter().map(|one| (Pieces, &*one.name, &*one.label));
        // Its twin in service is not drawn.
        let requirements = self.requirements.iter().filter(|one| !one.form.is_hot());
        let requirements = requirements.map(|one| (Required, &*one.name, &*one.label));
        dimensions.chain(thermals).chain(packs).chain(requirements)
    }

    /// First derived term that is worked out of a dimension.
    pub(crate) fn derived_of(&self, dimension: usize) -> Option<&Derived> {
        self.derived.iter().find(|derived| derived.of.contains(&dimension))
    }

    /// Data of a material; the case of its name does not matter.
    pub fn material(&self, name: &str) -> Option<&Material> {
        let name = name.to_lowercase();
        self.materials.iter().find(|m| m.name.to_lowercase() == name)
    }
}

/// Example readings and packs of a model, as far as its file gives them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Examples {
    /// Value of each of the model's dimensions.
    pub dimensions: Vec<Option<Length>>,
    /// Total of each of the model's packs.
    pub packs: Vec<Option<Length>>,
}

/// Position on the drawing of the figure of a dimension, a thermal term, a pack or a requirement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// Name in the model file.
    pub name: String,
    /// Middle of the figure, in millionths of the drawing's width from the left and of its height from the
    /// top.
    pub at: [u32; 2],
}

/// Kind of a length on a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthKind {
    /// A dimension that is measured.
    Measured,
    /// Growth of a part in service.
    Thermal,
    /// A place for pieces.
    Pieces,
    /// A requirement.
    Required,
}

/// A drawing with a letter for each length, in place of its label, for a slip: its words are large enough to be read there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyedDrawing {
    /// The whole SVG, of the program itself.
    pub svg: &'static str,
    /// Width and height in its own unit.
    pub size: [u32; 2],
}

/// The drawing of a model: a PNG or JPEG picture.
#[derive(Clone, PartialEq, Eq)]
pub struct Drawing {
    /// Bytes of the file, shared by all copies.
    pub bytes: Arc<[u8]>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Its twin with letters, of a built-in model.
    pub keyed: Option<KeyedDrawing>,
}

impl fmt::Debug for Drawing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (width, height, bytes) = (self.width, self.height, self.bytes.len());
        write!(f, "Drawing {{ {width} x {height} pixels, {bytes} bytes }}")
    }
}

/// A measured dimension.
#[derive(Debug, Clone, PartialEq)]
pub struct Dimension {
    /// Key in the model file, such as `bare_clearance`.
    pub name: String,
    /// Label for people.
    pub label: String,
    /// Uncertainty of a measured value.
    pub spread: Spread,
    /// Distribution assumed inside the plus/minus.
    pub shape: Shape,
    /// How several readings combine.
    pub combine: Combine,
    /// Name of the gauge that it is measured with, where the model names one.
    pub gauge: Option<String>,
    /// Degrees of freedom of a plus/minus or a standard uncertainty that is itself uncertain; `None` where it
    /// is taken as exactly known. Those of readings follow from their number. Source: JCGM 100:2008, G.4.2
    /// (from memory).
    pub degrees_of_freedom: Option<u32>,
}

impl Dimension {
    /// Dimension with a plus/minus, taken as rectangular.
    pub fn new(name: &str, within: Tolerance) -> Dimension {
        Dimension {
            name: name.to_string(),
            label: name.to_string(),
            spread: Spread::Within(within),
            shape: Shape::Rectangular,
            combine: Combine::Mean,
            gauge: None,
            degrees_of_freedom: None,
        }
    }
}

/// How several readings of one dimension combine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Combine {
    /// Mean: the readings are of one length.
    #[default]
    Mean,
    /// Least: of several vanes the tightest one rubs.
    Least,
    /// Greatest.
    Greatest,
}

impl Combine {
    /// All of them.
    pub const ALL: [Combine; 3] = [Combine::Mean, Combine::Least, Combine::Greatest];

    /// Word in model files and sheets.
    pub const fn word(self) -> &'static str {
        match self {
            Combine::Mean => "mean",
            Combine::Least => "least",
            Combine::Greatest => "greatest",
        }
    }
}

/// Uncertainty of a dimension as the model states it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// Plus/minus.
    Within(Tolerance),
    /// Standard uncertainty. The worst case takes it times the coverage factor.
    StandardUncertainty(Uncertainty),
    /// Scatter of the readings (type A). The worst case takes it times the coverage factor.
    FromReadings {
        /// Resolution of the gauge. It adds a rectangular error of half the resolution either way, shared by
        /// all readings. Zero where it is finer than the scatter.
        resolution: Length,
    },
}

/// Distribution assumed inside a plus/minus. Sources: JCGM 100:2008, 4.3.7 and 4.3.9; 4.3.4 for the normal
/// and H.1.3.4 for the U-shaped one (clauses from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Shape {
    /// Rectangular: equally likely everywhere.
    #[default]
    Rectangular,
    /// Normal; the half-width is two standard deviations (about 95 %).
    Normal,
    /// Triangular: likelier towards the middle.
    Triangular,
    /// U-shaped (arc sine): likelier towards both ends.
    UShaped,
    /// Trapezoid: equally likely in the middle, less so towards the ends (JCGM 101:2008, 6.4.4, from memory).
    Trapezoid {
        /// Ratio of its top to its base, 0 to 1: 0 is triangular, 1 rectangular.
        top: Millionths,
    },
    /// Normal, cut off at the half-width: what passed an inspection.
    TruncatedNormal {
        /// Half-width in standard deviations of the whole normal distribution, 0.5 to 6.
        cut: Millionths,
    },
}

impl Shape {
    /// Parts of one in the numerator of a variance.
    pub(crate) const WHOLE: i128 = 1_000_000_000_000;

    /// Variance of a half-width of one, as a fraction; the numerator in thousand-millionths, rounded up.
    pub(crate) fn variance(self) -> (i128, u32) {
        const WHOLE: i128 = Shape::WHOLE;
        match self {
            Shape::Rectangular => (WHOLE, 3),
            Shape::Triangular => (WHOLE, 6),
            Shape::Normal => (WHOLE, 4),
            Shape::UShaped => (WHOLE, 2),
            Shape::Trapezoid { top } => {
                // Millionths squared are millionths of a millionth.
                (WHOLE + i128::from(top.raw()).pow(2), 6)
            }
            Shape::TruncatedNormal { cut } => {
                let cut = cut.to_f64();
                let density = libm::exp(-cut * cut / 2.0) / (2.0 * std::f64::consts::PI).sqrt();
                let within = libm::erf(cut / std::f64::consts::SQRT_2);
                let variance = (1.0 - 2.0 * cut * density / within) / (cut * cut);
                #[allow(clippy::cast_possible_truncation)]
                let parts = libm::ceil(variance * 1e12) as i128;
                (parts, 1)
            }
        }
    }

    /// Word in model files and sheets.
    pub const fn word(self) -> &'static str {
        match self {
            Shape::Rectangular => "rectangular",
            Shape::Normal => "normal",
            Shape::Triangular => "triangular",
            Shape::UShaped => "u-shaped",
            Shape::Trapezoid { .. } => "trapezoid",
            Shape::TruncatedNormal { .. } => "truncated normal",
        }
    }

    /// Number that its word needs: the ratio of a trapezoid, the cut of a truncated normal distribution.
    pub const fn number(self) -> Option<Millionths> {
        match self {
            Shape::Trapezoid { top } => Some(top),
            Shape::TruncatedNormal { cut } => Some(cut),
            Shape::Rectangular | Shape::Normal | Shape::Triangular | Shape::UShaped => None,
        }
    }

    /// Standard uncertainty about the middle of a tolerance, rounded up.
    ///
    /// | shape | standard uncertainty of a half-width t |
    /// |---|---|
    /// | rectangular | t / sqrt(3) |
    /// | triangular | t / sqrt(6) |
    /// | normal | t / 2 |
    /// | U-shaped | t / sqrt(2) |
    /// | trapezoid of ratio b | t sqrt((1 + b^2) / 6) |
    /// | normal, cut off at t = z standard deviations | t / z sqrt(1 - 2 z phi(z) / (2 Phi(z) - 1)) |
    ///
    /// Where the two sides differ, the half-width t is half their sum, and the middle lies off the nominal
    /// value by half their difference (JCGM 100:2008, 4.3.8, from memory).
    ///
    /// ```
    /// use gapwright::length::{Length, Tolerance};
    /// use gapwright::model::Shape;
    /// let t = Tolerance::even(Length::from_ticks(1_000));
    /// assert_eq!(Shape::Rectangular.standard_uncertainty(t).raw(), 57_735_027); // 577.350 269...
    /// assert_eq!(Shape::Triangular.standard_uncertainty(t).raw(), 40_824_830); // 408.248 290...
    /// assert_eq!(Shape::Normal.standard_uncertainty(t).raw(), 50_000_000);
    /// assert_eq!(Shape::UShaped.standard_uncertainty(t).raw(), 70_710_679); // 707.106 781...
    /// let half = gapwright::decimal::Millionths::from_raw(500_000);
    /// assert_eq!(Shape::Trapezoid { top: half }.standard_uncertainty(t).raw(), 45_643_547); // 456.435 464...
    /// ```
    pub fn standard_uncertainty(self, tolerance: Tolerance) -> Uncertainty {
        const WHOLE: i128 = Shape::WHOLE;
        let width = i128::from(tolerance.minus.ticks()) + i128::from(tolerance.plus.ticks());
        let square = (50_000 * width).pow(2);
        let (parts, divisor) = self.variance();
        // Multiplied first where that can be held, and rounded up either way.
        let scaled = match square.checked_mul(parts) {
            _ if parts == WHOLE => square,
            Some(product) => product / WHOLE + i128::from(product % WHOLE > 0),
            None => (square / WHOLE + 1).saturating_mul(parts),
        };
        Uncertainty::root_of(scaled, divisor.into())
    }
}

/// Place for pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pack {
    /// Key in the model file, such as `bearing_shims`.
    pub name: String,
    /// Label for people.
    pub label: String,
    /// Kind of piece: `shim` or `gasket`.
    pub kind: String,
    /// Fewest pieces.
    pub least_pieces: u32,
    /// Most pieces.
    pub most_pieces: u32,
}

impl Pack {
    /// Place for a number of pieces of one kind.
    pub fn new(name: &str, kind: &str, pieces: RangeInclusive<u32>) -> Pack {
        Pack {
            name: name.to_string(),
            label: name.to_string(),
            kind: kind.to_string(),
            least_pieces: *pieces.start(),
            most_pieces: *pieces.end(),
        }
    }
}

/// Length of one material that grows between the cold setting and running.
///
/// Its growth is `expansion x length x (running - cold)`. Source: the definition of the mean coefficient of
/// linear expansion; JCGM 100:2008, H.1 works with the same product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thermal {
    /// Key in the model file, such as `shaft_growth`.
    pub name: String,
    /// Label for people.
    pub label: String,
    /// Length that grows.
    pub length: Length,
    /// Plus/minus on the length.
    pub length_within: Length,
    /// Coefficient of linear expansion.
    pub expansion: Expansion,
    /// Temperature at which the clearance is set, in degrees Celsius.
    pub cold: Millionths,
    /// Temperature of this part when running, in degrees Celsius.
    pub running: Millionths,
    /// Plus/minus on the difference of the two, in kelvins.
    pub temperature_within: Millionths,
    /// Material whose expansion it has, with the printed source of that; `None` where the model states the expansion.
    pub material: Option<(String, Option<String>)>,
    /// Degrees of freedom of the plus/minus of length, coefficient and difference; `None` where one is taken as exactly
    /// known. Source: JCGM 100:2008, G.4.2, as in its example H.1 (from memory).
    pub degrees_of_freedom: [Option<u32>; 3],
}

/// Length worked out of two dimensions of a pump.
///
/// Its errors are those of the dimensions, so neither of them is in a requirement together with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Derived {
    /// Key in the model file, such as `rim_play`.
    pub name: String,
    /// Label for people.
    pub label: String,
    /// Indexes of the two dimensions.
    pub of: [usize; 2],
    /// Rule.
    pub rule: DerivedRule,
}

/// Rule of a derived length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DerivedRule {
    /// `first x second / per`.
    Product {
        /// Length above zero.
        per: Length,
    },
    /// `times x first / second`.
    Quotient {
        /// Length above zero.
        times: Length,
    },
}

impl Thermal {
    /// Counts the rounding of temperatures to the nearest millionth of a degree, half of one for each.
    pub(crate) fn count_rounding(&mut self, rounded: bool) {
        let within = self.temperature_within.raw() + i64::from(rounded);
        self.temperature_within = Millionths::from_raw(within);
    }
}

/// Whether a number can be a temperature of a pump part, in degrees Celsius.
pub(crate) fn is_temperature(number: Millionths) -> bool {
    (-273_000_000..=1_500_000_000).contains(&number.raw())
}

/// Expected form of a temperature, and the fix for any other form.
pub(crate) const TEMPERATURE: [&str; 2] = [
    "degrees Celsius, a plain number such as 80, or 176 degF",
    "convert to degrees Celsius or Fahrenheit",
];

/// Scale of temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scale {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

impl Scale {
    /// Reads the name of a scale, in small or capital letters.
    pub(crate) fn parse(text: &str) -> Option<Scale> {
        match text.trim().to_lowercase().as_str() {
            "degc" | "deg c" | "\u{b0}c" | "c" | "celsius" | "degrees celsius" => {
                Some(Scale::Celsius)
            }
            "degf" | "deg f" | "\u{b0}f" | "f" | "fahrenheit" | "degrees fahrenheit" => {
                Some(Scale::Fahrenheit)
            }
            _ => None,
        }
    }

    /// A temperature of this scale.
    pub(crate) fn temperature(self, number: Millionths) -> Temperature {
        match self {
            Scale::Celsius => Temperature { celsius: number, rounded: false },
            Scale::Fahrenheit => {
                let (whole, rest) = ninths(number.raw() - 32_000_000);
                let celsius = Millionths::from_raw(whole + i64::from(rest > 4));
                Temperature { celsius, rounded: rest > 0 }
            }
        }
    }

    /// Degrees Celsius of a difference or an error of this many degrees, rounded up.
    pub(crate) fn difference(self, number: Millionths) -> Millionths {
        match self {
            Scale::Celsius => number,
            Scale::Fahrenheit => {
                let (whole, rest) = ninths(number.raw());
                Millionths::from_raw(whole + i64::from(rest > 0))
            }
        }
    }
}

/// Five ninths of a number, rounded down, and the ninths left.
fn ninths(number: i64) -> (i64, i64) {
    ((5 * number).div_euclid(9), (5 * number).rem_euclid(9))
}

/// A temperature as read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Temperature {
    /// Degrees Celsius, to the nearest millionth.
    pub(crate) celsius: Millionths,
    /// Whether a millionth was not enough.
    pub(crate) rounded: bool,
}

/// Reads degrees with the name of their scale, or without it those of `scale`; `None` for anything else.
pub(crate) fn degrees(text: &str, scale: Scale) -> Option<(Millionths, Scale)> {
    let text = text.trim();
    let end = text.rfind(|c: char| c.is_ascii_digit() || c == '.').map_or(0, |at| at + 1);
    let (number, name) = text.split_at(end);
    let scale = if name.trim().is_empty() { scale } else { Scale::parse(name)? };
    Some((Millionths::parse(number.trim_end())?, scale))
}

/// A coefficient of linear expansion, in millionths per kelvin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Expansion {
    /// Coefficient.
    pub value: Millionths,
    /// Plus/minus on the coefficient.
    pub within: Millionths,
}

/// Two dimensions, or two thermal terms, with correlated errors: measured with one instrument, say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Correlation {
    /// Pair of terms.
    pub between: [Term; 2],
    /// Correlation coefficient, -1 to 1.
    pub coefficient: Millionths,
}

/// A dimension, a thermal term, a derived term or a pack of the same model, by its index there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Term {
    /// A measured dimension.
    Dimension(usize),
    /// Growth of a part that runs hot.
    Thermal(usize),
    /// Product or quotient of two dimensions.
    Derived(usize),
    /// The pieces in a place.
    Pack(usize),
}

/// A sum of dimensions and packs, each times its sensitivity.
pub type Terms = Vec<(Term, Millionths)>;

/// Sensitivity of a sum to a term: the sum of its coefficients there.
pub(crate) fn sensitivity(terms: &[(Term, Millionths)], of: Term) -> Millionths {
    let own = terms.iter().filter(|(term, _)| *term == of);
    own.map(|(_, c)| *c).sum()
}

/// Requirement, with the limits that apply to the pump at hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    /// Key in the model file, such as `running_clearance`.
    pub name: String,
    /// Label for people.
    pub label: String,
    /// Form.
    pub form: Form,
}

impl Requirement {
    /// Requirement of this form.
    pub fn new(name: &str, form: Form) -> Requirement {
        Requirement { name: name.to_string(), label: name.to_string(), form }
    }
}

/// Forms of a requirement.
#[derive(Debug, Clone, PartialEq)]
pub enum Form {
    /// Linear form `sum of sensitivity x term`, with a target and a limit on one side or both.
    Linear {
        /// Terms of the sum.
        terms: Terms,
        /// Target.
        target: Length,
        /// Lower limit, if there is one.
        lower: Option<Length>,
        /// Upper limit, if there is one.
        upper: Option<Length>,
    },
    /// Free thickness of a gasket against the gap that it fills: `allowance = free thickness / gap - 1`.
    GasketFill {
        /// Index of the gasket's pack.
        gasket: usize,
        /// Gap.
        gap: Terms,
        /// Target allowance; one half is common practice, no source.
        target: Millionths,
        /// Least allowance: without one a gasket might be thinner than its gap.
        lower: Millionths,
        /// Greatest allowance, if there is one.
        upper: Option<Millionths>,
    },
}

/// Contradiction between the limits and the target of a requirement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FormError {
    /// Neither limit is given.
    #[error("no limit on either side")]
    NoLimit,
    /// The limits are the wrong way round.
    #[error("the lower limit above the upper one")]
    LimitsCrossed,
    /// The target is not between the limits.
    #[error("a target outside the limits")]
    TargetOutside,
    /// A gasket would be thinner than its gap.
    #[error("a gasket allowance below zero")]
    AllowanceBelowZero,
    /// A term whose errors are those of another one.
    #[error("a derived term beside a dimension that it is worked out of, or two of one dimension")]
    NotIndependent,
    /// Finer than the exact arithmetic allows.
    #[error("an allowance times a sensitivity with more than six places")]
    TooFine,
}

/// One side of a requirement as a plain sum: `sum of terms >= bound`, `<= bound` or `= bound`.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Terms of the sum.
    pub terms: Terms,
    /// Bound of the sum.
    pub bound: Length,
}

impl Form {
    /// Whether target and limits are consistent.
    ///
    /// # Errors
    /// [`FormError`].
    pub fn check(&self) -> Result<(), FormError> {
        let (target, lower, upper) = match self {
            Form::Linear { target, lower, upper, .. } => {
                (target.ticks(), lower.map(Length::ticks), upper.map(Length::ticks))
            }
            Form::GasketFill { target, lower, upper, .. } => {
                (target.raw(), Some(lower.raw()), upper.map(Millionths::raw))
            }
        };
        let sides = [lower, upper].into_iter().flatten();
        if sides.clone().next().is_none() {
            return Err(FormError::NoLimit);
        }
        if lower.zip(upper).is_some_and(|(lower, upper)| lower > upper) {
            return Err(FormError::LimitsCrossed);
        }
        if lower.is_some_and(|lower| target < lower) || upper.is_some_and(|upper| target > upper) {
            return Err(FormError::TargetOutside);
        }
        if let Form::GasketFill { gap, .. } = self {
            if lower.is_some_and(|lower| lower < 0) {
                return Err(FormError::AllowanceBelowZero);
            }
            // (1 + allowance) x sensitivity must stay a whole number of millionths.
            let whole = |a: i64, c: &Millionths| {
                (i128::from(a) + 1_000_000) * i128::from(c.raw()) % 1_000_000 == 0
            };
            let mut allowances = sides.chain([target]);
            if !allowances.all(|a| gap.iter().all(|(_, c)| whole(a, c))) {
                return Err(FormError::TooFine);
            }
        }
        Ok(())
    }

    /// Sum that must not fall below its bound; `None` without a lower limit.
    ///
    /// A gasket fill becomes linear: `free / gap - 1 >= a` is `free - (1 + a) gap >= 0`.
    pub fn lower(&self) -> Option<Side> {
        match self {
            Form::Linear { terms, lower, .. } => {
                lower.map(|bound| Side { terms: terms.clone(), bound })
            }
            Form::GasketFill { gasket, gap, lower, .. } => Some(fill_face(*gasket, gap, *lower)),
        }
    }

    /// Sum that must not rise above its bound; `None` without an upper limit.
    pub fn upper(&self) -> Option<Side> {
        match self {
            Form::Linear { terms, upper, .. } => {
                upper.map(|bound| Side { terms: terms.clone(), bound })
            }
            Form::GasketFill { gasket, gap, upper, .. } => {
                upper.map(|allowance| fill_face(*gasket, gap, allowance))
            }
        }
    }

    /// Sum that should equal its bound.
    pub fn target(&self) -> Side {
        match self {
            Form::Linear { terms, target, .. } => Side { terms: terms.clone(), bound: *target },
            Form::GasketFill { gasket, gap, target, .. } => fill_face(*gasket, gap, *target),
        }
    }

    /// Sum reported as the value of the requirement: the linear form itself, or the free thickness of the
    /// gasket.
    pub fn value(&self) -> Terms {
        match self {
            Form::Linear { terms, .. } => terms.clone(),
            Form::GasketFill { gasket, .. } => vec![(Term::Pack(*gasket), Millionths::ONE)],
        }
    }

    /// Target, lower and upper limit as stated: lengths in `unit`, or allowances.
    pub(crate) fn stated(&self, unit: Unit) -> [Option<f64>; 3] {
        match self {
            Form::Linear { target, lower, upper, .. } => {
                [Some(*target), *lower, *upper].map(|length| Some(length?.to_f64(unit)))
            }
            Form::GasketFill { target, lower, upper, .. } => {
                [Some(*target), Some(*lower), *upper].map(|allowance| Some(allowance?.to_f64()))
            }
        }
    }

    /// Form with a limit on both sides, where a range is asked for: a missing one as far beyond the target as the
    /// limit on the other side. Our own choice, no source.
    pub(crate) fn mirrored(mut self) -> Form {
        match &mut self {
            Form::Linear { target, lower, upper, .. } => {
                let mirror = |limit: Length| *target + *target - limit;
                *lower = lower.or(upper.map(mirror));
                *upper = upper.or(lower.map(mirror));
            }
            Form::GasketFill { target, lower, upper, .. } => {
                let mirror = 2 * target.raw() - lower.raw();
                *upper = upper.or(Some(Millionths::from_raw(mirror)));
            }
        }
        self
    }

    /// All terms of the requirement.
    pub fn terms(&self) -> impl Iterator<Item = Term> {
        let (first, terms) = match self {
            Form::Linear { terms, .. } => (None, terms),
            Form::GasketFill { gasket, gap, .. } => (Some(Term::Pack(*gasket)), gap),
        };
        first.into_iter().chain(terms.iter().map(|(term, _)| *term))
    }

    /// Form without its thermal terms: the requirement of the cold pump.
    pub(crate) fn cold(mut self) -> Form {
        let (Form::Linear { terms, .. } | Form::GasketFill { gap: terms, .. }) = &mut self;
        terms.retain(|(term, _)| !matches!(term, Term::Thermal(_)));
        self
    }

    /// Terms of a linear form without its thermal terms, in a fixed order; `None` of a gasket fill.
    pub(crate) fn cold_terms(&self) -> Option<Terms> {
        match self.clone().cold() {
            Form::Linear { mut terms, .. } => {
                terms.sort_unstable();
                Some(terms)
            }
            Form::GasketFill { .. } => None,
        }
    }

    /// Whether no error is in two of its terms: a dimension is in it once, by itself or in a derived term.
    ///
    /// # Errors
    /// [`FormError::NotIndependent`].
    pub fn check_independent(&self, derived: &[Derived]) -> Result<(), FormError> {
        let mut terms: Vec<Term> = self.terms().collect();
        terms.sort_unstable();
        terms.dedup();
        let mut used: Vec<usize> = Vec::new();
        let mut is_derived = false;
        for term in terms {
            match term {
                Term::Dimension(at) => used.push(at),
                Term::Derived(at) => {
                    is_derived = true;
                    used.extend(derived.get(at).iter().flat_map(|derived| derived.of));
                }
                Term::Thermal(_) | Term::Pack(_) => {}
            }
        }
        used.sort_unstable();
        let twice = used.windows(2).any(|two| two[0] == two[1]);
        if is_derived && twice { Err(FormError::NotIndependent) } else { Ok(()) }
    }

    /// Whether the requirement holds hot: it has a thermal term.
    pub fn is_hot(&self) -> bool {
        self.terms().any(|term| matches!(term, Term::Thermal(_)))
    }

    /// Whether the pieces of a pack are part of it.
    pub fn involves(&self, pack: usize) -> bool {
        let holds = |terms: &Terms| terms.iter().any(|(term, _)| *term == Term::Pack(pack));
        match self {
            Form::Linear { terms, .. } => holds(terms),
            Form::GasketFill { gasket, gap, .. } => *gasket == pack || holds(gap),
        }
    }
}

fn fill_face(gasket: usize, gap: &Terms, allowance: Millionths) -> Side {
    let free = 1_000_000 + allowance.raw();
    let mut terms = vec![(Term::Pack(gasket), Millionths::ONE)];
    terms.extend(gap.iter().map(|(term, c)| {
        // Both are whole millionths; the check of the model reader keeps the product whole.
        let product = i128::from(free) * i128::from(c.raw()) / 1_000_000;
        (*term, Millionths::from_raw(-narrow::<i64>(product)))
    }));
    Side { terms, bound: Length::ZERO }
}

/// Data of a material, from the model file or from the table of materials.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Material {
    /// Name, as in the Material column of the stock workbook.
    pub name: String,
    /// Plus/minus on one piece, where the stock workbook gives none.
    pub tolerance: Option<Tolerance>,
    /// Compressibility.
    pub compressibility: Option<Compressibility>,
    /// Thermal expansion.
    pub expansion: Option<Expansion>,
    /// Printed source of its data.
    pub source: Option<String>,
}

/// Share of its free thickness by which a gasket material is compressed under the usual test load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Compressibility {
    /// Least, in percent.
    pub least: Millionths,
    /// Most, in percent.
    pub most: Millionths,
}

/// Consumable of the kit bag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConsumableNeed {
    /// Kind in lower case, such as `packing ring`; never a kind that is stacked.
    pub kind: String,
    /// Column of the pump workbook with its fit code, if its fit matters.
    pub fit_column: Option<String>,
    /// Diameters that give its section, for a packing ring asked for by section.
    pub section: Option<SectionColumns>,
    /// Number of pieces.
    pub count: u32,
}

/// Keys of the columns of the pump workbook with the diameters of a ring space: `box_bore` is headed `Box
/// bore`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionColumns {
    /// Bore of the box.
    pub bore: String,
    /// Diameter of the shaft, or of the sleeve on it.
    pub shaft: String,
}

/// Caution and the step that it belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// Step: `before`, `assembly`, `recheck`, `start` or a shop's own word.
    pub when: String,
    /// Text.
    pub text: String,
}

/// Words on everything that belongs to a pump that must not be assembled; JSON has `not_fit_to_assemble` for them.
pub const NOT_FIT: &str = "NOT FIT TO ASSEMBLE";

/// Cautions of every arrangement, in the order of the work. Common practice, no source.
pub const USUAL_CAUTIONS: [(&str, &str); 8] = [
    (
        "before",
        "Isolate, lock out and drain the pump before it is opened. The maker's instructions and the site's procedures govern; this sheet replaces neither.",
    ),
    (
        "assembly",
        "Measure the finished pack with a micrometer. The sheet predicts, it does not prove: recheck the running clearance after fitting.",
    ),
    (
        "assembly",
        "Set the impeller clearance before the mechanical seal is set. Never touch the seal faces.",
    ),
    (
        "assembly",
        "Tighten the cover evenly, and do not use the gasket to make up for a wrong shim pack.",
    ),
    (
        "recheck",
        "Hot service changes clearances: ask whether the target is a cold or a running one.",
    ),
    (
        "start",
        "Check the motor's direction of rotation with the coupling apart before the pump is driven.",
    ),
    (
        "always",
        "A pump marked NOT FIT TO ASSEMBLE stays open until every requirement on its slip is met.",
    ),
    ("always", "Local codes and a competent person (licensed where required) decide."),
];
