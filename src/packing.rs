//! Packing rings: the space between a box's bore and its shaft, and the ring that fills it.
//!
//! [`RingSpace`] gives the section of the packing and the length of a ring.

use crate::length::{Fine, Length};

/// Pi in whole 10^-15.
const PI: i128 = 3_141_592_653_589_793;

/// Space that a packing ring fills.
///
/// Source of both formulas: R. K. Mobley, Root Cause Failure Analysis, p. 226: a box of 4 in with a
/// shaft of 2 in takes packing of 1 in section; at a mean diameter of 3 in a ring is 9.42 in long.
///
/// ```
/// use gapwright::length::{Length, Unit};
/// use gapwright::packing::RingSpace;
/// let inches = |text| Length::parse(text, Some(Unit::Inch)).unwrap();
/// let space = RingSpace::new(inches("4"), inches("2")).unwrap();
/// assert_eq!(space.section().show(Unit::Inch), "1.0000");
/// assert!(space.takes(inches("1")));
/// assert_eq!(format!("{:.2}", space.ring_length().to_f64(Unit::Inch)), "9.42");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RingSpace {
    bore: Length,
    shaft: Length,
}

impl RingSpace {
    /// Space between a bore and the shaft in it, both given as diameters; `None` if the shaft has no diameter
    /// or the bore is not larger than the shaft.
    pub fn new(bore: Length, shaft: Length) -> Option<RingSpace> {
        (Length::ZERO < shaft && shaft < bore).then_some(RingSpace { bore, shaft })
    }

    /// Bore of the box.
    pub fn bore(self) -> Length {
        self.bore
    }

    /// Diameter of the shaft, or of the sleeve on it.
    pub fn shaft(self) -> Length {
        self.shaft
    }

    /// Side of the packing's section, half of bore less shaft; exact, down to half a tick.
    pub fn section(self) -> Fine {
        Fine::from_raw(i128::from((self.bore - self.shaft).ticks()) * 500_000)
    }

    /// Whether packing of this section fills the space exactly.
    pub fn takes(self, section: Length) -> bool {
        Fine::from(section) == self.section()
    }

    /// Length to cut a ring to, pi times the mean diameter; to the nearest millionth of a tick.
    pub fn ring_length(self) -> Fine {
        let diameters = i128::from((self.bore + self.shaft).ticks());
        // In millionths of a tick: pi times half the sum of the diameters, rounded, with the 10^15 of PI
        // divided out.
        Fine::from_raw((diameters * PI + 1_000_000_000) / 2_000_000_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::length::Unit;

    /// Source: R. K. Mobley, Root Cause Failure Analysis, p. 226; the metric twin by 25.4.
    #[test]
    fn the_published_box_takes_the_published_ring() {
        for (bore, shaft, section) in [("4 in", "2 in", "1 in"), ("101.6 mm", "50.8 mm", "25.4 mm")]
        {
            let [bore, shaft, section] =
                [bore, shaft, section].map(|text| Length::parse(text, None).unwrap());
            let space = RingSpace::new(bore, shaft).unwrap();
            assert_eq!(space.section(), Fine::from(section));
            assert!(space.takes(section));
            let length = space.ring_length().to_f64(Unit::Inch);
            assert_eq!(format!("{length:.2}"), "9.42");
            assert!((length - 3.0 * std::f64::consts::PI).abs() < 1e-12);
        }
    }

    #[test]
    fn a_section_is_never_rounded() {
        let ticks = Length::from_ticks;
        let odd = RingSpace::new(ticks(10), ticks(5)).unwrap();
        assert_eq!(odd.section(), Fine::from_raw(2_500_000));
        assert!(!odd.takes(ticks(2)) && !odd.takes(ticks(3)));
        assert_eq!(RingSpace::new(ticks(5), ticks(5)), None);
        assert_eq!(RingSpace::new(ticks(4), ticks(5)), None);
        assert_eq!(RingSpace::new(ticks(4), ticks(0)), None);
    }
}
