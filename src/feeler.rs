//! Feeler blades for a clearance: the fewest that show it above its lower limit and below its upper one.
//!
//! [`gauge`] chooses the two stacks. *Go* is a stack just inside the lower limit: if it goes in, the
//! clearance is at least the lower limit, even with every blade at its thinnest. *No-go* is a stack just
//! inside the upper limit: if it does not go in, the clearance is at most the upper limit, even with every
//! blade at its thickest and the joints open.
//!
//! A stack reads thicker than the sum of its blades. Ten blades of 0.010 in, each within 0.00035, were
//! measured at 0.106 and 0.105 in. The blades explain 0.0035 of that; the rest, at most 0.0025 over nine
//! joints, is oil, dust and air (easterngage.com, "Feeler gage accumulation and tolerance stack-ups").
//! [`GROWTH`] therefore counts for each joint, on the thick side only.

use crate::length::{Fine, Length, Tolerance, Unit};

/// The most by which a joint between two blades thickens a stack: 0.0025 in over nine joints, rounded up to
/// 0.0003.
pub const GROWTH: Length = Length::from_ticks(3 * Unit::Thou.ticks() / 10);
/// Number of blades from which a stack is reported to read thick: three joints may add nine tenths of a thou,
/// about the step in which clearances are set.
pub const MANY: u32 = 4;
/// The most blades in a stack; common practice (no source) is far fewer.
pub const MOST: u32 = 8;

/// Blade of the shop's set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Blade {
    /// Thickness stamped on it.
    pub thickness: Length,
    /// Plus/minus on the thickness.
    pub tolerance: Tolerance,
    /// Number of such blades.
    pub count: u32,
}

/// Stack of blades.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stacked {
    /// Blades, thickest first, each with its number.
    pub blades: Vec<(Blade, u32)>,
    /// Sum of the stamped thicknesses.
    pub nominal: Length,
    /// Least thickness.
    pub thin: Length,
    /// Greatest thickness, growth of the joints included.
    pub thick: Length,
}

impl Stacked {
    fn of(mut blades: Vec<(Blade, u32)>) -> Stacked {
        blades.sort_by_key(|(blade, _)| std::cmp::Reverse(blade.thickness));
        let sum = |each: fn(&Blade) -> Length| -> Length {
            blades.iter().map(|(blade, count)| each(blade) * *count).sum()
        };
        let nominal = sum(|blade| blade.thickness);
        let thin = sum(|blade| blade.thickness - blade.tolerance.minus);
        let thick = sum(|blade| blade.thickness + blade.tolerance.plus);
        let count: u32 = blades.iter().map(|(_, count)| count).sum();
        Stacked { nominal, thin, thick: thick + GROWTH * count.saturating_sub(1), blades }
    }

    /// Number of blades.
    pub fn count(&self) -> u32 {
        self.blades.iter().map(|(_, count)| count).sum()
    }

    /// The most by which the joints thicken the stack.
    pub fn growth(&self) -> Length {
        GROWTH * self.count().saturating_sub(1)
    }
}

/// Limits and prediction of a clearance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clearance {
    /// Lower and upper limit, as far as there are.
    pub limits: [Option<Length>; 2],
    /// Least and greatest clearance of a pump that comes out as predicted.
    pub predicted: [Fine; 2],
}

/// Blades for one limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Chosen {
    /// A stack, and whether every pump that comes out as predicted passes with it.
    Stack(Stacked, bool),
    /// No stack of the set shows the limit.
    None,
}

/// Blades for the limits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LimitGauge {
    /// Stack that must go in, where there is a lower limit.
    pub go: Option<Chosen>,
    /// Stack that must not go in, where there is an upper limit.
    pub no_go: Option<Chosen>,
}

/// Chooses the blades. First, every pump that comes out as predicted should pass; then fewest blades, then
/// nearest to the limit, then thickest blades first.
///
/// ```
/// use gapwright::feeler::{Blade, Chosen, Clearance, gauge};
/// use gapwright::length::{Fine, Length, Tolerance, Unit};
/// let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
/// let blade = |n| Blade {
///     thickness: thou(n), tolerance: Tolerance::even(thou(1)), count: 1,
/// };
/// let set: Vec<Blade> = [5, 10, 15, 20, 25].map(blade).into();
/// let wanted = Clearance {
///     limits: [thou(19), thou(30)].map(Some),
///     predicted: [Fine::from(thou(24)), Fine::from(thou(26))],
/// };
/// let gauge = gauge(&set, &wanted);
/// // 20 - 1 = 19 shows the lower limit, and 20 + 1 = 21 goes into every pump as predicted.
/// let Some(Chosen::Stack(go, true)) = gauge.go else { panic!() };
/// assert_eq!((go.nominal, go.count()), (thou(20), 1));
/// // 27 and more: 25 stays below what a good pump may have, and with 5 it is 30 + 2 + a joint, too thick.
/// let Some(Chosen::Stack(no_go, false)) = gauge.no_go else { panic!() };
/// assert_eq!(no_go.nominal, thou(25));
/// ```
pub fn gauge(set: &[Blade], wanted: &Clearance) -> LimitGauge {
    let [lower, upper] = wanted.limits;
    let [least, greatest] = wanted.predicted;
    let go = |lower: Length| {
        choose(
            set,
            &|stack| stack.thin >= lower,
            &|stack| Fine::from(stack.thick) <= least,
            &|stack| stack.thin - lower,
            lower,
        )
    };
    let no_go = |upper: Length| {
        choose(
            set,
            &|stack| stack.thick <= upper,
            &|stack| Fine::from(stack.thin) >= greatest,
            &|stack| upper - stack.thick,
            upper,
        )
    };
    LimitGauge { go: lower.map(go), no_go: upper.map(no_go) }
}

/// Best stack that shows a limit; `off` is its distance inside the limit.
fn choose(
    set: &[Blade],
    shows: &dyn Fn(&Stacked) -> bool,
    passes: &dyn Fn(&Stacked) -> bool,
    off: &dyn Fn(&Stacked) -> Length,
    limit: Length,
) -> Chosen {
    let mut blades: Vec<Blade> = set.iter().filter(|b| b.count > 0).copied().collect();
    blades.sort_by(|a, b| b.thickness.cmp(&a.thickness).then(a.tolerance.cmp(&b.tolerance)));
    let mut any = None;
    for count in 1..=MOST {
        let mut best: Option<(Length, Stacked)> = None;
        let mut doubtful: Option<(Length, Stacked)> = None;
        let mut search = Search {
            blades: &blades,
            limit,
            taken: Vec::new(),
            note: &mut |stack: Stacked| {
                if !shows(&stack) {
                    return;
                }
                let of = if passes(&stack) { &mut best } else { &mut doubtful };
                let off = off(&stack);
                if of.as_ref().is_none_or(|(least, _)| off < *least) {
                    *of = Some((off, stack));
                }
            },
        };
        search.add(0, count, Length::ZERO);
        if let Some((_, stack)) = best {
            return Chosen::Stack(stack, true);
        }
        if any.is_none() {
            any = doubtful.map(|(_, stack)| stack);
        }
    }
    any.map_or(Chosen::None, |stack| Chosen::Stack(stack, false))
}

/// Search through all stacks of a given number of blades near a limit.
struct Search<'a> {
    /// Blades, thickest first.
    blades: &'a [Blade],
    limit: Length,
    taken: Vec<(Blade, u32)>,
    note: &'a mut dyn FnMut(Stacked),
}

impl Search<'_> {
    fn add(&mut self, from: usize, more: u32, sum: Length) {
        if more == 0 {
            (self.note)(Stacked::of(self.taken.clone()));
            return;
        }
        for at in from..self.blades.len() {
            let blade = self.blades[at];
            // More than half the limit too thick, or more than half too thin even with the thickest blades
            // left: no such stack is just inside the limit.
            let far = self.limit.ticks() / 2;
            let thickest = sum + blade.thickness * more;
            if thickest.ticks() < self.limit.ticks() - far {
                return;
            }
            for count in 1..=blade.count.min(more) {
                let sum = sum + blade.thickness * count;
                if sum.ticks() > self.limit.ticks() + far {
                    break;
                }
                self.taken.push((blade, count));
                self.add(at + 1, more - count, sum);
                self.taken.pop();
            }
        }
    }
}
