//! Distributions of the inputs.

/// Distribution of an input about its mean, here zero.
///
/// Source of the distributions and of the way they are drawn: JCGM 101:2008, 6.4 (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Rectangular: equally likely anywhere within `half` either way (6.4.2).
    Rectangular {
        /// Half-width.
        half: f64,
    },
    /// Triangular: the sum of two rectangular distributions of half the width each (6.4.5).
    Triangular {
        /// Half-width.
        half: f64,
    },
    /// Trapezoid: the sum of two rectangular distributions of `(1 + top) / 2` and `(1 - top) / 2` of the width (6.4.4).
    Trapezoid {
        /// Half-width of the base.
        half: f64,
        /// Ratio of the top to the base, 0 to 1.
        top: f64,
    },
    /// Normal, cut off at `half` either way.
    TruncatedNormal {
        /// Half-width.
        half: f64,
        /// Half-width in standard deviations of the whole distribution, above 0.
        cut: f64,
    },
    /// Normal (6.4.7).
    Normal {
        /// Standard deviation.
        sd: f64,
    },
    /// Arc sine: a quantity that swings between plus and minus `half` (6.4.6).
    UShaped {
        /// Half-width.
        half: f64,
    },
    /// Student's t times a scale: the mean of few readings (6.4.9).
    Student {
        /// Scale: the standard uncertainty of the mean from the readings.
        scale: f64,
        /// Degrees of freedom, 1 or more.
        dof: u32,
    },
    /// Rectangular, with a half-width that is itself known only within `half` plus and minus `inexact`
    /// (6.4.3).
    CurvilinearTrapezoid {
        /// Half-width as stated.
        half: f64,
        /// Error of the half-width, at most `half`.
        inexact: f64,
    },
}

impl Law {
    /// Same distribution, this many times as wide.
    pub fn scaled(self, by: f64) -> Law {
        match self {
            Law::Rectangular { half } => Law::Rectangular { half: half * by },
            Law::Triangular { half } => Law::Triangular { half: half * by },
            Law::Normal { sd } => Law::Normal { sd: sd * by },
            Law::UShaped { half } => Law::UShaped { half: half * by },
            Law::Trapezoid { half, top } => Law::Trapezoid { half: half * by, top },
            Law::TruncatedNormal { half, cut } => Law::TruncatedNormal { half: half * by, cut },
            Law::Student { scale, dof } => Law::Student { scale: scale * by, dof },
            Law::CurvilinearTrapezoid { half, inexact } => {
                Law::CurvilinearTrapezoid { half: half * by, inexact: inexact * by }
            }
        }
    }

    /// Standard deviation, in the unit of the distribution's own width.
    ///
    /// Infinite for Student's distribution with 2 degrees of freedom or fewer.
    ///
    /// ```
    /// use gapwright::stack::monte_carlo::Law;
    /// assert_eq!(Law::Rectangular { half: 3.0 }.standard(), 3.0 / 3.0_f64.sqrt());
    /// assert_eq!(Law::Student { scale: 2.0, dof: 4 }.standard(), 2.0 * 2.0_f64.sqrt());
    /// assert!(Law::Student { scale: 2.0, dof: 2 }.standard().is_infinite());
    /// ```
    #[must_use]
    pub fn standard(self) -> f64 {
        match self {
            Law::Rectangular { half } => half / 3.0_f64.sqrt(),
            Law::Triangular { half } => half / 6.0_f64.sqrt(),
            Law::UShaped { half } => half / 2.0_f64.sqrt(),
            Law::Trapezoid { half, top } => half * ((1.0 + top * top) / 6.0).sqrt(),
            Law::TruncatedNormal { half, cut } => {
                let density = libm::exp(-cut * cut / 2.0) / (2.0 * std::f64::consts::PI).sqrt();
                half / cut * (1.0 - 2.0 * cut * density / within(cut)).sqrt()
            }
            Law::Normal { sd } => sd,
            Law::Student { scale, dof } if dof > 2 => {
                let dof = f64::from(dof);
                scale * (dof / (dof - 2.0)).sqrt()
            }
            Law::Student { .. } => f64::INFINITY,
            Law::CurvilinearTrapezoid { half, inexact } => {
                (half * half / 3.0 + inexact * inexact / 9.0).sqrt()
            }
        }
    }

    /// Factor that turns a draw of the standard form into one of this distribution.
    pub(super) fn scale(self) -> f64 {
        match self {
            Law::Rectangular { half }
            | Law::Triangular { half }
            | Law::UShaped { half }
            | Law::Trapezoid { half, .. }
            | Law::TruncatedNormal { half, .. }
            | Law::CurvilinearTrapezoid { half, .. } => half,
            Law::Normal { sd } => sd,
            Law::Student { scale, .. } => scale,
        }
    }

    /// Whether its numbers are valid: finite, none negative.
    pub(super) fn holds(self) -> bool {
        let scale = self.scale();
        let rest = match self {
            Law::Student { dof, .. } => dof > 0,
            Law::CurvilinearTrapezoid { half, inexact } => (0.0..=half).contains(&inexact),
            Law::Trapezoid { top, .. } => (0.0..=1.0).contains(&top),
            Law::TruncatedNormal { cut, .. } => cut.is_finite() && cut > 0.0,
            _ => true,
        };
        scale.is_finite() && scale >= 0.0 && rest
    }
}

/// Probability of a normal distribution within so many standard deviations either way.
pub(super) fn within(deviations: f64) -> f64 {
    libm::erf(deviations / std::f64::consts::SQRT_2)
}
