//! A model: one arrangement of pump. Which dimensions are measured, where pieces go, what must hold.
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
    /// The file's name without `.toml`: what the pump workbook's Model column says.
    pub name: String,
    /// A title for people.
    pub title: String,
    /// The unit in which its lengths are printed, and which bare numbers of its file are in.
    pub unit: Unit,
    /// The dimensions to measure, one column (or several, for readings) of the pump workbook each.
    pub dimensions: Vec<Dimension>,
    /// What grows with temperature.
    pub thermals: Vec<Thermal>,
    /// Which dimensions or thermal terms err together.
    pub correlations: Vec<Correlation>,
    /// The places that pieces go to, in the order in which they are filled.
    pub packs: Vec<Pack>,
    /// What must hold.
    pub requirements: Vec<Requirement>,
    /// What else goes into the kit bag.
    pub consumables: Vec<ConsumableNeed>,
    /// What is known of materials, for pieces whose own row does not say.
    pub materials: Vec<Material>,
    /// Cautions of this arrangement, beside the usual ones.
    pub cautions: Vec<Caution>,
    /// An example of its readings and packs, for workbooks to start from.
    pub examples: Examples,
    /// Its drawing, if it has one.
    pub drawing: Option<Drawing>,
    /// Where each pump's own figures stand on it.
    pub figures: Vec<Figure>,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
}

impl Model {
    /// A model of this name and unit with nothing in it yet.
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

    /// What is known of a material, its name in capital or small letters.
    pub fn material(&self, name: &str) -> Option<&Material> {
        let name = name.to_lowercase();
        self.materials.iter().find(|m| m.name.to_lowercase() == name)
    }
}

/// An example of a model's readings and packs, as far as its file gives one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Examples {
    /// The value of each of the model's dimensions.
    pub dimensions: Vec<Option<Length>>,
    /// The total of each of the model's packs.
    pub packs: Vec<Option<Length>>,
}

/// Where on the drawing the figure of a dimension, a thermal term, a pack or a requirement stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// Its name in the model file.
    pub name: String,
    /// Its middle, as millionths of the drawing's width from the left and of its height from the top.
    pub at: [u32; 2],
}

/// The drawing of a model: a PNG or JPEG picture.
#[derive(Clone, PartialEq, Eq)]
pub struct Drawing {
    /// The file's bytes, shared by all copies.
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
    /// Its key in the model file, `bare_clearance`.
    pub name: String,
    /// What people call it.
    pub label: String,
    /// How far a measured value may lie from the true one.
    pub spread: Spread,
    /// How the plus/minus becomes a standard uncertainty.
    pub shape: Shape,
    /// Degrees of freedom of a plus/minus or a standard uncertainty that is itself not well known;
    /// `None` where it is. Readings have theirs from their number. Source: JCGM 100:2008, G.4.2
    /// (from memory).
    pub freedom: Option<u32>,
}

impl Dimension {
    /// A dimension that is good to a plus/minus, anywhere alike within it.
    pub fn new(name: &str, within: Tolerance) -> Dimension {
        Dimension {
            name: name.to_string(),
            label: name.to_string(),
            spread: Spread::Within(within),
            shape: Shape::Rectangular,
            freedom: None,
        }
    }
}

/// How well a dimension is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// A plus/minus.
    Within(Tolerance),
    /// A standard uncertainty; in the worst case it counts with the coverage factor.
    StandardUncertainty(Uncertainty),
    /// From the readings' own scatter (type A), with the coverage factor in the worst case.
    FromReadings {
        /// How finely the gauge reads: each reading may be half of it off, anywhere alike, and all
        /// of them together. Nothing where it is finer than the scatter.
        resolution: Length,
    },
}

/// The distribution assumed inside a plus/minus. Sources: JCGM 100:2008, 4.3.7 and 4.3.9;
/// 4.3.4 for the normal and H.1.3.4 for the U-shaped one (clauses from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Shape {
    /// Anywhere alike.
    #[default]
    Rectangular,
    /// Gaussian, the half-width taken as two standard deviations (about 95 %).
    Normal,
    /// Likelier towards the middle.
    Triangular,
    /// Likelier towards both ends.
    UShaped,
}

impl Shape {
    /// What the square of a half-width is divided by to come to the variance.
    pub const fn divisor(self) -> u32 {
        match self {
            Shape::Rectangular => 3,
            Shape::Triangular => 6,
            Shape::Normal => 4,
            Shape::UShaped => 2,
        }
    }

    /// What model files and sheets call it.
    pub const fn word(self) -> &'static str {
        match self {
            Shape::Rectangular => "rectangular",
            Shape::Normal => "normal",
            Shape::Triangular => "triangular",
            Shape::UShaped => "u-shaped",
        }
    }

    /// The standard uncertainty about the middle of a tolerance, rounded up.
    ///
    /// | shape | standard uncertainty of a half-width t |
    /// |---|---|
    /// | rectangular | t / sqrt(3) |
    /// | triangular | t / sqrt(6) |
    /// | normal | t / 2 |
    /// | U-shaped | t / sqrt(2) |
    ///
    /// Of unequal sides the half-width is half their sum, and the middle lies off the nominal
    /// value by half their difference (JCGM 100:2008, 4.3.8, from memory).
    ///
    /// ```
    /// use gapwright::length::{Length, Tolerance};
    /// use gapwright::model::Shape;
    /// let t = Tolerance::even(Length::from_ticks(1_000));
    /// assert_eq!(Shape::Rectangular.standard(t).raw(), 57_735_027); // 577.350 269...
    /// assert_eq!(Shape::Triangular.standard(t).raw(), 40_824_830); // 408.248 290...
    /// assert_eq!(Shape::Normal.standard(t).raw(), 50_000_000);
    /// assert_eq!(Shape::UShaped.standard(t).raw(), 70_710_679); // 707.106 781...
    /// ```
    pub fn standard(self, tolerance: Tolerance) -> Uncertainty {
        let width = i128::from(tolerance.minus.ticks()) + i128::from(tolerance.plus.ticks());
        Uncertainty::root_of((50_000 * width).pow(2), self.divisor().into())
    }
}

/// A place that pieces go to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pack {
    /// Its key in the model file, `bearing_shims`.
    pub name: String,
    /// What people call it.
    pub label: String,
    /// The kind of piece: `shim` or `gasket`.
    pub kind: String,
    /// Fewest pieces.
    pub least_pieces: u32,
    /// Most pieces.
    pub most_pieces: u32,
}

impl Pack {
    /// A place for so many pieces of a kind.
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

/// What grows between the cold setting and running: a length of one material.
///
/// It counts as `expansion x length x (running - cold)`. Source: the definition of the mean
/// coefficient of linear expansion; JCGM 100:2008, H.1 works with the same product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thermal {
    /// Its key in the model file, `shaft_growth`.
    pub name: String,
    /// What people call it.
    pub label: String,
    /// The length that grows.
    pub length: Length,
    /// Plus/minus on that length.
    pub length_within: Length,
    /// Coefficient of linear expansion.
    pub expansion: Expansion,
    /// Temperature at which the clearance is set, in degrees Celsius.
    pub cold: Millionths,
    /// Temperature of this part when running, in degrees Celsius.
    pub running: Millionths,
    /// Plus/minus on the difference of the two, in kelvins.
    pub temperature_within: Millionths,
}

/// Whether a number can be a temperature of a pump part, in degrees Celsius.
pub(crate) fn is_temperature(number: Millionths) -> bool {
    (-273_000_000..=1_500_000_000).contains(&number.raw())
}

/// What a temperature should look like, and how to mend one that does not.
pub(crate) const TEMPERATURE: [&str; 2] =
    ["degrees Celsius, a plain number such as 80", "convert to degrees Celsius"];

/// Reads a temperature in degrees Celsius: a plain number, or one with `degC`, `°C` or `C` behind
/// it; `None` for anything else, such as another scale.
pub(crate) fn temperature(text: &str) -> Option<Millionths> {
    let text = text.trim();
    let scales = ["degC", "\u{b0}C", "C"];
    let bare = scales.iter().find_map(|scale| text.strip_suffix(scale));
    Millionths::parse(bare.unwrap_or(text).trim_end())
}

/// A coefficient of linear expansion, in millionths per kelvin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Expansion {
    /// The coefficient.
    pub value: Millionths,
    /// Plus/minus on it.
    pub within: Millionths,
}

/// Two dimensions, or two thermal terms, that err together: measured with one instrument, say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Correlation {
    /// The two.
    pub between: [Term; 2],
    /// Correlation coefficient, -1 to 1.
    pub coefficient: Millionths,
}

/// A dimension, a thermal term or a pack of the same model, by its index there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Term {
    /// A measured dimension.
    Dimension(usize),
    /// What grows when the pump runs hot.
    Thermal(usize),
    /// The pieces in a place.
    Pack(usize),
}

/// A sum of dimensions and packs, each times its sensitivity.
pub type Terms = Vec<(Term, Millionths)>;

/// The sensitivity of a sum to a term, however often the term stands in it.
pub(crate) fn sensitivity(terms: &[(Term, Millionths)], of: Term) -> Millionths {
    let own = terms.iter().filter(|(term, _)| *term == of);
    own.map(|(_, c)| *c).sum()
}

/// What must hold, with the limits that apply to the pump at hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    /// Its key in the model file, `running_clearance`.
    pub name: String,
    /// What people call it.
    pub label: String,
    /// The form it takes.
    pub form: Form,
}

impl Requirement {
    /// A requirement of this form.
    pub fn new(name: &str, form: Form) -> Requirement {
        Requirement { name: name.to_string(), label: name.to_string(), form }
    }
}

/// The two forms of a requirement.
#[derive(Debug, Clone, PartialEq)]
pub enum Form {
    /// A linear form with two limits and a target.
    Linear {
        /// The terms of the sum.
        terms: Terms,
        /// Where it should come out.
        target: Length,
        /// The lower limit.
        lower: Length,
        /// The upper limit.
        upper: Length,
    },
    /// A gasket's free thickness against the gap that it fills:
    /// allowance = free thickness / gap - 1.
    GasketFill {
        /// The index of the gasket's pack.
        gasket: usize,
        /// The gap.
        gap: Terms,
        /// The allowance to aim at; one half is common practice, no source.
        target: Millionths,
        /// The least allowance.
        lower: Millionths,
        /// The greatest allowance.
        upper: Millionths,
    },
}

/// Why the limits and the target of a requirement make no sense together.
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
    /// Beyond what is reckoned exactly.
    #[error("an allowance times a sensitivity with more than six places")]
    TooFine,
}

/// One side of a requirement as a plain sum: `sum of terms >= bound`, `<= bound` or `= bound`.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    /// The terms of the sum.
    pub terms: Terms,
    /// What the sum is held against.
    pub bound: Length,
}

impl Form {
    /// Whether target and limits make sense together.
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

    /// The sum that may not fall below its bound.
    ///
    /// A gasket fill is linear in both: `free / gap - 1 >= a` is `free - (1 + a) gap >= 0`.
    pub fn lower(&self) -> Face {
        match self {
            Form::Linear { terms, lower, .. } => Face { terms: terms.clone(), bound: *lower },
            Form::GasketFill { gasket, gap, lower, .. } => fill_face(*gasket, gap, *lower),
        }
    }

    /// The sum that may not rise above its bound.
    pub fn upper(&self) -> Face {
        match self {
            Form::Linear { terms, upper, .. } => Face { terms: terms.clone(), bound: *upper },
            Form::GasketFill { gasket, gap, upper, .. } => fill_face(*gasket, gap, *upper),
        }
    }

    /// The sum that should equal its bound.
    pub fn target(&self) -> Face {
        match self {
            Form::Linear { terms, target, .. } => Face { terms: terms.clone(), bound: *target },
            Form::GasketFill { gasket, gap, target, .. } => fill_face(*gasket, gap, *target),
        }
    }

    /// The sum that is reported as the requirement's value: the linear form itself, or the
    /// gasket's free thickness.
    pub fn value(&self) -> Terms {
        match self {
            Form::Linear { terms, .. } => terms.clone(),
            Form::GasketFill { gasket, .. } => vec![(Term::Pack(*gasket), Millionths::ONE)],
        }
    }

    /// Target, lower and upper limit as they are stated: lengths in a unit, or allowances.
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

    /// Everything that enters into it.
    pub fn terms(&self) -> impl Iterator<Item = Term> {
        let (first, terms) = match self {
            Form::Linear { terms, .. } => (None, terms),
            Form::GasketFill { gasket, gap, .. } => (Some(Term::Pack(*gasket)), gap),
        };
        first.into_iter().chain(terms.iter().map(|(term, _)| *term))
    }

    /// The same without what grows: as it holds where the pump is cold.
    pub(crate) fn cold(mut self) -> Form {
        let (Form::Linear { terms, .. } | Form::GasketFill { gap: terms, .. }) = &mut self;
        terms.retain(|(term, _)| !matches!(term, Term::Thermal(_)));
        self
    }

    /// The terms of a linear form without what grows, in a fixed order; `None` of a gasket.
    pub(crate) fn cold_terms(&self) -> Option<Terms> {
        match self.clone().cold() {
            Form::Linear { mut terms, .. } => {
                terms.sort_unstable();
                Some(terms)
            }
            Form::GasketFill { .. } => None,
        }
    }

    /// Whether it holds where the pump runs hot: what grows enters into it.
    pub fn is_hot(&self) -> bool {
        self.terms().any(|term| matches!(term, Term::Thermal(_)))
    }

    /// Whether a pack enters into it.
    pub fn involves(&self, pack: usize) -> bool {
        let holds = |terms: &Terms| terms.iter().any(|(term, _)| *term == Term::Pack(pack));
        match self {
            Form::Linear { terms, .. } => holds(terms),
            Form::GasketFill { gasket, gap, .. } => *gasket == pack || holds(gap),
        }
    }
}

fn fill_face(gasket: usize, gap: &Terms, allowance: Millionths) -> Face {
    let free = 1_000_000 + allowance.raw();
    let mut terms = vec![(Term::Pack(gasket), Millionths::ONE)];
    terms.extend(gap.iter().map(|(term, c)| {
        // Both are whole millionths; the product is kept whole by the model reader's check.
        let product = i128::from(free) * i128::from(c.raw()) / 1_000_000;
        (*term, Millionths::from_raw(-narrow::<i64>(product)))
    }));
    Face { terms, bound: Length::ZERO }
}

/// What is known of a material: the model file's word on it, or the materials table's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Material {
    /// Its name, as the stock workbook's Material column says it.
    pub name: String,
    /// Plus/minus on one piece, where the stock workbook gives none.
    pub tolerance: Option<Tolerance>,
    /// What it may be crushed by.
    pub compressibility: Option<Compressibility>,
    /// How it grows.
    pub expansion: Option<Expansion>,
}

/// The share of its free thickness that a gasket material gives way under the usual test load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Compressibility {
    /// Least, in percent.
    pub least: Millionths,
    /// Most, in percent.
    pub most: Millionths,
}

/// A consumable that goes into the kit bag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConsumableNeed {
    /// What it is, in lower case: `packing ring`. Never a kind that is stacked.
    pub kind: String,
    /// The pump workbook's column that holds its fit code, if its fit matters.
    pub fit_column: Option<String>,
    /// The diameters that its section follows from, if it is a packing ring asked for by section.
    pub section: Option<SectionColumns>,
    /// How many.
    pub count: u32,
}

/// The columns of the pump workbook that hold the diameters of a ring space, by their keys:
/// `box_bore` is headed `Box bore`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionColumns {
    /// The bore of the box.
    pub bore: String,
    /// The diameter of the shaft, or of the sleeve on it.
    pub shaft: String,
}

/// A caution and the step it belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// The step: `before`, `assembly`, `recheck`, `start` or a shop's own word.
    pub when: String,
    /// The text.
    pub text: String,
}

/// The cautions of every arrangement, in the order of the work. Common practice, no source.
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
    ("always", "Local codes and a competent, where required licensed, person decide."),
];
