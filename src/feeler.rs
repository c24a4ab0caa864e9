//! Feeler blades for a clearance: the fewest that show it above its lower limit and below its upper one.
//!
//! *Go* is a stack just inside the lower limit: where it goes in, the clearance is the lower limit at least, even
//! if each blade is as thin as it may be. *No-go* is a stack just inside the upper limit: where it does not go in,
//! the clearance is the upper limit at most, even if each blade is as thick as it may be and the stack has grown.
//!
//! A stack of blades reads thicker than its blades: ten of 0.010 in, each within 0.00035, were measured at 0.106 and
//! 0.105 in, of which the blades explain 0.0035; the rest, 0.0025 at most over nine joints, is oil, dust and air
//! (easterngage.com, "Feeler gage accumulation and tolerance stack-ups"). So [`GROWTH`] counts for each joint, on
//! the thick side only.

use crate::length::{Fine, Length, Tolerance, Unit};

/// By how much a joint between two blades may thicken a stack: 0.0025 in over nine joints, rounded up to 0.0003.
pub const GROWTH: Length = Length::from_ticks(3 * Unit::Thou.ticks() / 10);
/// From so many blades on a stack is said to read thick: three joints may come to nine tenths of a thou, as much
/// as the step in which clearances are set.
pub const MANY: u32 = 4;
/// The most blades in a stack; common practice, no source, is far fewer.
pub const MOST: u32 = 8;

/// A blade of the shop's set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Blade {
    /// What is stamped on it.
    pub thickness: Length,
    /// How far it may be off.
    pub tolerance: Tolerance,
    /// How many of it there are.
    pub count: u32,
}

/// Some blades together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stacked {
    /// The blades, thickest first, each with how many of it.
    pub blades: Vec<(Blade, u32)>,
    /// What is stamped on them, together.
    pub nominal: Length,
    /// As thin as they may be.
    pub thin: Length,
    /// As thick as they may be, with what the joints may add.
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

    /// How many blades.
    pub fn count(&self) -> u32 {
        self.blades.iter().map(|(_, count)| count).sum()
    }

    /// By how much the joints may thicken it.
    pub fn growth(&self) -> Length {
        GROWTH * self.count().saturating_sub(1)
    }
}

/// What a clearance must come to, and where it is predicted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Its limits.
    pub limits: [Length; 2],
    /// The least and the greatest that a pump which comes out as predicted has.
    pub predicted: [Fine; 2],
}

/// The blades for one limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Chosen {
    /// A stack, and whether every pump that comes out as predicted passes with it.
    Stack(Stacked, bool),
    /// No stack of the set shows it.
    None,
}

/// The blades for both limits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gauge {
    /// What must go in.
    pub go: Chosen,
    /// What must not.
    pub no_go: Chosen,
}

/// Chooses the blades: first that a pump which comes out as predicted passes, then the fewest, then nearest to the
/// limit, then the thickest blades first.
///
/// ```
/// use gapwright::feeler::{Blade, Chosen, Wanted, gauge};
/// use gapwright::length::{Fine, Length, Tolerance, Unit};
/// let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
/// let blade = |n| Blade {
///     thickness: thou(n), tolerance: Tolerance::even(thou(1)), count: 1,
/// };
/// let set: Vec<Blade> = [5, 10, 15, 20, 25].map(blade).into();
/// let wanted = Wanted {
///     limits: [thou(19), thou(30)],
///     predicted: [Fine::from(thou(24)), Fine::from(thou(26))],
/// };
/// let gauge = gauge(&set, &wanted);
/// // 20 - 1 = 19 shows the lower limit, and 20 + 1 = 21 goes into every pump as predicted.
/// let Chosen::Stack(go, true) = gauge.go else { panic!() };
/// assert_eq!((go.nominal, go.count()), (thou(20), 1));
/// // 27 and more: 25 stays below what a good pump may have, and with 5 it is 30 + 2 + a joint, too thick.
/// let Chosen::Stack(no_go, false) = gauge.no_go else { panic!() };
/// assert_eq!(no_go.nominal, thou(25));
/// ```
pub fn gauge(set: &[Blade], wanted: &Wanted) -> Gauge {
    let [lower, upper] = wanted.limits;
    let [least, greatest] = wanted.predicted;
    let go = choose(
        set,
        &|stack| stack.thin >= lower,
        &|stack| Fine::from(stack.thick) <= least,
        &|stack| stack.thin - lower,
        lower,
    );
    let no_go = choose(
        set,
        &|stack| stack.thick <= upper,
        &|stack| Fine::from(stack.thin) >= greatest,
        &|stack| upper - stack.thick,
        upper,
    );
    Gauge { go, no_go }
}

/// The best stack that shows a limit; `off` is how far inside the limit it lies.
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

/// Every stack of so many blades that may come near a limit.
struct Search<'a> {
    /// Thickest first.
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
            // Beyond half a limit too thick, or half too thin even with the thickest that are left, no stack
            // is just inside it.
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
