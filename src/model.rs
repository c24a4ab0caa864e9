//! A model: one arrangement of pump. Which dimensions are measured, where pieces go, what must hold.

use crate::decimal::Millionths;
use crate::length::{Length, Tolerance, Unit};

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
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
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
}

/// How well a dimension is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// A plus/minus.
    Within(Tolerance),
    /// A standard uncertainty; in the worst case it counts with the coverage factor.
    StandardUncertainty(Length),
    /// From the readings' own scatter (type A), with the coverage factor in the worst case.
    FromReadings,
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
    /// The standard uncertainty that a half-width comes to, rounded up to a whole tick: it may be
    /// too wide, never too narrow.
    ///
    /// | shape | standard uncertainty of a half-width t |
    /// |---|---|
    /// | rectangular | t / sqrt(3) |
    /// | triangular | t / sqrt(6) |
    /// | normal | t / 2 |
    /// | U-shaped | t / sqrt(2) |
    ///
    /// ```
    /// use gapwright::length::Length;
    /// use gapwright::model::Shape;
    /// let t = Length::from_ticks(1_000);
    /// assert_eq!(Shape::Rectangular.standard(t), Length::from_ticks(578)); // 577.35...
    /// assert_eq!(Shape::Triangular.standard(t), Length::from_ticks(409)); // 408.24...
    /// assert_eq!(Shape::Normal.standard(t), Length::from_ticks(500));
    /// assert_eq!(Shape::UShaped.standard(t), Length::from_ticks(708)); // 707.10...
    /// ```
    pub fn standard(self, half: Length) -> Length {
        let parts = match self {
            Shape::Rectangular => 3,
            Shape::Triangular => 6,
            Shape::Normal => 4,
            Shape::UShaped => 2,
        };
        let square = i128::from(half.ticks()).pow(2);
        // The least root with parts x root^2 >= square is that of the quotient rounded up.
        let root = root_up((square + parts - 1) / parts);
        Length::from_ticks(i64::try_from(root).unwrap_or(i64::MAX))
    }
}

/// The square root, rounded up to a whole number; nothing for what is not above zero.
pub(crate) fn root_up(square: i128) -> i128 {
    let root = square.max(0).isqrt();
    // Compared by the quotient, which cannot overflow.
    if root > 0 && (square / root > root || square % root > 0) {
        root + 1
    } else {
        root
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

/// A dimension or a pack of the same model, by its index there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Term {
    /// A measured dimension.
    Dimension(usize),
    /// The pieces in a place.
    Pack(usize),
}

/// A sum of dimensions and packs, each times its sensitivity.
pub type Terms = Vec<(Term, Millionths)>;

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
    /// What is wrong, in words.
    pub fn check(&self) -> Result<(), &'static str> {
        let (target, lower, upper) = match self {
            Form::Linear {
                target,
                lower,
                upper,
                ..
            } => (target.ticks(), lower.ticks(), upper.ticks()),
            Form::GasketFill {
                target,
                lower,
                upper,
                ..
            } => (target.raw(), lower.raw(), upper.raw()),
        };
        if lower > upper {
            return Err("the lower limit above the upper one");
        }
        if target < lower || target > upper {
            return Err("a target outside the limits");
        }
        if let Form::GasketFill { gap, .. } = self {
            if lower < 0 {
                return Err("a gasket allowance below zero");
            }
            // (1 + allowance) x sensitivity must stay a whole number of millionths.
            let whole = |a: i64, c: &Millionths| {
                (i128::from(a) + 1_000_000) * i128::from(c.raw()) % 1_000_000 == 0
            };
            let sides = [target, lower, upper];
            if !gap.iter().all(|(_, c)| sides.iter().all(|a| whole(*a, c))) {
                return Err("an allowance times a sensitivity with more than six places");
            }
        }
        Ok(())
    }

    /// The sum that may not fall below its bound.
    ///
    /// A gasket fill is linear in both: `free / gap - 1 >= a` is `free - (1 + a) gap >= 0`.
    pub fn lower(&self) -> Face {
        match self {
            Form::Linear { terms, lower, .. } => Face {
                terms: terms.clone(),
                bound: *lower,
            },
            Form::GasketFill {
                gasket, gap, lower, ..
            } => fill_face(*gasket, gap, *lower),
        }
    }

    /// The sum that may not rise above its bound.
    pub fn upper(&self) -> Face {
        match self {
            Form::Linear { terms, upper, .. } => Face {
                terms: terms.clone(),
                bound: *upper,
            },
            Form::GasketFill {
                gasket, gap, upper, ..
            } => fill_face(*gasket, gap, *upper),
        }
    }

    /// The sum that should equal its bound.
    pub fn target(&self) -> Face {
        match self {
            Form::Linear { terms, target, .. } => Face {
                terms: terms.clone(),
                bound: *target,
            },
            Form::GasketFill {
                gasket,
                gap,
                target,
                ..
            } => fill_face(*gasket, gap, *target),
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
        (
            *term,
            Millionths::from_raw(-i64::try_from(product).unwrap_or(i64::MAX)),
        )
    }));
    Face {
        terms,
        bound: Length::ZERO,
    }
}

/// The tolerance of pieces of one material, where the stock workbook gives none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Material {
    /// Its name, as the stock workbook's Material column says it.
    pub name: String,
    /// Plus/minus on one piece.
    pub tolerance: Tolerance,
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
        "Check the motor's direction of rotation with the coupling apart before the pump is driven. A screwed-on impeller driven backwards unscrews itself.",
    ),
    (
        "always",
        "A pump marked NOT FIT TO ASSEMBLE stays open until every requirement on its slip is met.",
    ),
    (
        "always",
        "Local codes and a competent, where required licensed, person decide.",
    ),
];
