//! Gauges, and uncertainties as a certificate or a measurement of a lot states them.
//!
//! [`Gauge`] is one row of the sheet Gauges. [`Certified`] is an uncertainty with its range in the worst case;
//! [`OfGauge`] is that of a gauge, carried by all that was measured with it.

use crate::length::{Length, Uncertainty};

/// Uncertainty of one stated value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Certified {
    /// Standard uncertainty.
    pub standard: Uncertainty,
    /// Range either way in the worst case: the coverage factor times the standard uncertainty, or Student's factor
    /// where there are degrees of freedom.
    pub extent: Length,
    /// Degrees of freedom; `None` where it is taken as exactly known.
    pub freedom: Option<u32>,
}

/// Gauge of the shop, one row of the sheet Gauges.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gauge {
    /// Name, unique.
    pub name: String,
    /// Uncertainty of one of its readings.
    pub certified: Certified,
    /// Number of its certificate.
    pub certificate: Option<String>,
}

/// Uncertainty of the gauge that something was measured with; all that was measured with it shares its error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OfGauge {
    /// Index of the gauge in the job.
    pub gauge: usize,
    /// Uncertainty of one of its readings.
    pub certified: Certified,
}
