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

/// The drawing of a model: a PNG or JPEG picture.
#[derive(Clone, PartialEq, Eq)]
pub struct Drawing {
    /// Bytes of the file, shared by all copies.
    pub bytes: Arc<[u8]>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
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
}

impl Shape {
    /// Divisor d of the variance: a half-width t has the variance t^2 / d.
    pub const fn divisor(self) -> u32 {
        match self {
            Shape::Rectangular => 3,
            Shape::Triangular => 6,
            Shape::Normal => 4,
            Shape::UShaped => 2,
        }
    }

    /// Word in model files and sheets.
    pub const fn word(self) -> &'static str {
        match self {
            Shape::Rectangular => "rectangular",
            Shape::Normal => "normal",
            Shape::Triangular => "triangular",
            Shape::UShaped => "u-shaped",
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
    /// ```
    pub fn standard_uncertainty(self, tolerance: Tolerance) -> Uncertainty {
        let width = i128::from(tolerance.minus.ticks()) + i128::from(tolerance.plus.ticks());
        Uncertainty::root_of((50_000 * width).pow(2), self.divisor().into())
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
}

/// Whether a number can be a temperature of a pump part, in degrees Celsius.
pub(crate) fn is_temperature(number: Millionths) -> bool {
    (-273_000_000..=1_500_000_000).contains(&number.raw())
}

/// Expected form of a temperature, and the fix for any other form.
pub(crate) const TEMPERATURE: [&str; 2] =
    ["degrees Celsius, a plain number such as 80", "convert to degrees Celsius"];

/// Reads a temperature in degrees Celsius: a plain number, or a number followed by `degC`, `°C` or `C`;
/// `None` for anything else, such as another scale.
pub(crate) fn temperature(text: &str) -> Option<Millionths> {
    let text = text.trim();
    let scales = ["degC", "\u{b0}C", "C"];
    let bare = scales.iter().find_map(|scale| text.strip_suffix(scale));
    Millionths::parse(bare.unwrap_or(text).trim_end())
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

/// A dimension, a thermal term or a pack of the same model, by its index there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Term {
    /// A measured dimension.
    Dimension(usize),
    /// Growth of a part that runs hot.
    Thermal(usize),
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
    /// Linear form `sum of sensitivity x term`, with two limits and a target.
    Linear {
        /// Terms of the sum.
        terms: Terms,
        /// Target.
        target: Length,
        /// Lower limit.
        lower: Length,
        /// Upper limit.
        upper: Length,
    },
    /// Free thickness of a gasket against the gap that it fills: `allowance = free thickness / gap - 1`.
    GasketFill {
        /// Index of the gasket's pack.
        gasket: usize,
        /// Gap.
        gap: Terms,
        /// Target allowance; one half is common practice, no source.
        target: Millionths,
        /// Least allowance.
        lower: Millionths,
        /// Greatest allowance.
        upper: Millionths,
    },
}

/// Contradiction between the limits and the target of a requirement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FormError {
    /// The limits are the wrong way round.
    #[error("the lower limit above the upper one")]
    LimitsCrossed,
    /// The target is not between the limits.
    #[error("a target outside the limits")]
    TargetOutside,
    /// A gasket would be thinner than its gap.
    #[error("a gasket allowance below zero")]
    AllowanceBelowZero,
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
                (target.ticks(), lower.ticks(), upper.ticks())
            }
            Form::GasketFill { target, lower, upper, .. } => {
                (target.raw(), lower.raw(), upper.raw())
            }
        };
        if lower > upper {
            return Err(FormError::LimitsCrossed);
        }
        if target < lower || target > upper {
            return Err(FormError::TargetOutside);
        }
        if let Form::GasketFill { gap, .. } = self {
            if lower < 0 {
                return Err(FormError::AllowanceBelowZero);
            }
            // (1 + allowance) x sensitivity must stay a whole number of millionths.
            let whole = |a: i64, c: &Millionths| {
                (i128::from(a) + 1_000_000) * i128::from(c.raw()) % 1_000_000 == 0
            };
            let sides = [target, lower, upper];
            if !gap.iter().all(|(_, c)| sides.iter().all(|a| whole(*a, c))) {
                return Err(FormError::TooFine);
            }
        }
        Ok(())
    }

    /// Sum that must not fall below its bound.
    ///
    /// A gasket fill becomes linear: `free / gap - 1 >= a` is `free - (1 + a) gap >= 0`.
    pub fn lower(&self) -> Side {
        match self {
            Form::Linear { terms, lower, .. } => Side { terms: terms.clone(), bound: *lower },
            Form::GasketFill { gasket, gap, lower, .. } => fill_face(*gasket, gap, *lower),
        }
    }

    /// Sum that must not rise above its bound.
    pub fn upper(&self) -> Side {
        match self {
            Form::Linear { terms, upper, .. } => Side { terms: terms.clone(), bound: *upper },
            Form::GasketFill { gasket, gap, upper, .. } => fill_face(*gasket, gap, *upper),
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
    pub(crate) fn stated(&self, unit: Unit) -> [f64; 3] {
        match self {
            Form::Linear { target, lower, upper, .. } => {
                [target, lower, upper].map(|length| length.to_f64(unit))
            }
            Form::GasketFill { target, lower, upper, .. } => {
                [target, lower, upper].map(|allowance| allowance.to_f64())
            }
        }
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
