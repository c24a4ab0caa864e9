//! One batch of draws: the model evaluated on blocks of its sources.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::SeedableRng;
use fearless_simd::{Level, dispatch};

use super::coverage::{Tails, sort_tails, tail, upwards};
use super::joint::factor;
use super::law::Law;
use super::normal::BLOCK;
use super::sampling::{Scratch, fill};
use super::{CLASSES, DrawModel, DrawOptions, Measurand, Source, Sum};

/// Draws of a batch and their own statistics.
#[derive(Debug, Clone)]
pub(super) struct Batch {
    /// Number of draws.
    pub(super) draws: usize,
    /// Draws at or below the lower cut, sorted.
    pub(super) low: Vec<f64>,
    /// Draws at or above the upper cut with their signs reversed, sorted, so that both tails are handled
    /// alike.
    pub(super) high: Vec<f64>,
    /// Draws by class of the histogram, with those below and above the classes.
    pub(super) counts: [u64; CLASSES],
    pub(super) outside: [u64; 2],
    /// Draws without a value; they are represented as infinite.
    pub(super) without_value: u64,
    pub(super) below: u64,
    pub(super) above: u64,
    /// Mean of the draws with a value; not a number without any.
    pub(super) mean: f64,
    /// Sum of the squared distances from the mean.
    pub(super) squares: f64,
    pub(super) symmetric: [f64; 2],
    pub(super) shortest: [f64; 2],
}

impl Batch {
    pub(super) fn valued(&self) -> u64 {
        self.draws as u64 - self.without_value
    }

    #[allow(clippy::cast_precision_loss)]
    pub(super) fn standard(&self) -> f64 {
        (self.squares / (self.valued() as f64 - 1.0)).sqrt()
    }
}

/// Cuts between which draws are dropped: the ends of the intervals are far out, so the middle is not needed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cuts {
    /// Draws up to this one are kept.
    pub(super) low: f64,
    /// Draws from this one on are kept.
    pub(super) high: f64,
    /// Edges of the histogram.
    pub(super) classes: [f64; 2],
}

impl Cuts {
    /// Cuts that keep every draw, with these classes.
    pub(super) fn whole(&self) -> Self {
        Cuts { low: f64::INFINITY, high: f64::NEG_INFINITY, ..*self }
    }
}

/// Buffers of one thread.
#[derive(Debug)]
pub(super) struct Desk {
    /// Draws of a batch.
    draws: Vec<f64>,
    low: Vec<f64>,
    high: Vec<f64>,
    /// Block of draws of each source.
    sources: Vec<[f64; BLOCK]>,
    product: [f64; BLOCK],
    gap: [f64; BLOCK],
    scratch: Scratch,
}

impl Desk {
    pub(super) fn new(drawer: &Drawer) -> Self {
        let buffer = || vec![0.0; drawer.size + 1];
        Desk {
            draws: vec![0.0; drawer.size],
            low: buffer(),
            high: buffer(),
            sources: vec![[0.0; BLOCK]; drawer.model.sources.len()],
            product: [0.0; BLOCK],
            gap: [0.0; BLOCK],
            scratch: Scratch::new(),
        }
    }
}

/// Draws batches of a model that has been checked.
#[derive(Debug)]
pub(super) struct Drawer<'a> {
    model: &'a DrawModel,
    pub(super) plan: &'a DrawOptions,
    /// Number of draws in a batch.
    pub(super) size: usize,
    /// Sources as they are drawn: the members of a group in the standard form.
    drawn: Vec<Source>,
    /// Members of each group with the Cholesky factor of their correlation.
    groups: Vec<(&'a [usize], Vec<Vec<f64>>)>,
    /// Widest registers of the processor that the two loops over a batch are compiled for.
    pub(super) level: Level,
}

impl<'a> Drawer<'a> {
    pub(super) fn new(model: &'a DrawModel, plan: &'a DrawOptions, size: usize) -> Self {
        let groups = model.joint.iter().filter_map(|joint| {
            let factor = factor(&joint.correlation)?;
            Some((&joint.members[..], factor))
        });
        let mut drawn = model.sources.clone();
        for &member in model.joint.iter().flat_map(|joint| &joint.members) {
            let law = Law::Normal { sd: 1.0 };
            drawn[member] = Source { mean: 0.0, law };
        }
        Drawer { drawn, model, plan, size, groups: groups.collect(), level: Level::new() }
    }

    /// Cuts from the draws of the first batch that nearly always leave every batch its tails.
    pub(super) fn cuts(&self) -> Cuts {
        let mut desk = Desk::new(self);
        self.draw(&mut desk, 0);
        let draws = &mut desk.draws;
        draws.sort_unstable_by(upwards);
        // Four standard deviations of the difference between two batches in the number beyond a tail.
        let tail = tail(self.size, self.plan.level);
        let beyond = (tail + 4 * (2 * tail).isqrt()).min(self.size - 1);
        let far = self.size / 2_000;
        let mut finite = draws.iter().rev().copied().filter(|draw| draw.is_finite());
        Cuts {
            low: draws[beyond],
            high: draws[self.size - 1 - beyond],
            classes: [draws[far], finite.nth(far).unwrap_or(draws[far])],
        }
    }

    /// Batch of this number: the same on any desk, and after any other.
    pub(super) fn batch(&self, desk: &mut Desk, number: usize, cuts: &Cuts) -> Batch {
        self.draw(desk, number);
        // Compiled for several widths: more draws at a time, each computed as before.
        dispatch!(self.level, _simd => self.sum_up(desk, cuts))
    }

    fn draw(&self, desk: &mut Desk, number: usize) {
        let mut seed = [0; 32];
        seed[..8].copy_from_slice(&self.plan.seed.to_le_bytes());
        let mut rng = ChaCha8Rng::from_seed(seed);
        rng.set_stream(number as u64);
        dispatch!(self.level, _simd => self.draw_with(desk, &mut rng));
    }

    #[inline(always)]
    fn draw_with(&self, desk: &mut Desk, rng: &mut ChaCha8Rng) {
        let mut draws = std::mem::take(&mut desk.draws);
        for block in draws.chunks_mut(BLOCK) {
            self.block(desk, rng, block);
        }
        desk.draws = draws;
    }

    #[inline(always)]
    fn block(&self, desk: &mut Desk, rng: &mut ChaCha8Rng, out: &mut [f64]) {
        let Desk { sources, product, gap, scratch, .. } = desk;
        for (source, x) in self.drawn.iter().zip(sources.iter_mut()) {
            fill(source.mean, source.law, rng, scratch, &mut x[..out.len()]);
        }
        for (members, factor) in &self.groups {
            mix(&self.model.sources, members, factor, sources, product);
        }
        match &self.model.measurand {
            Measurand::Sum(sum) => add_up(sum, sources, product, out),
            Measurand::Ratio { free, gap: below } => {
                add_up(free, sources, product, out);
                let gap = &mut gap[..out.len()];
                add_up(below, sources, product, gap);
                for (y, gap) in out.iter_mut().zip(gap) {
                    *y = if *gap > 0.0 { *y / *gap - 1.0 } else { f64::INFINITY };
                }
            }
        }
        for y in out {
            *y = if y.is_finite() { *y } else { f64::INFINITY };
        }
    }

    #[inline(always)]
    fn sum_up(&self, desk: &mut Desk, cuts: &Cuts) -> Batch {
        let draws = &mut desk.draws[..];
        let valued = |draw: f64| draw < f64::INFINITY;
        let without_value = count(draws, |draw| !valued(draw));
        let (below, above) = match self.plan.limits {
            Some([lower, upper]) => (
                count(draws, |draw| draw < lower),
                count(draws, |draw| draw > upper && valued(draw)),
            ),
            None => (0, 0),
        };
        #[allow(clippy::cast_precision_loss)]
        let number = (draws.len() as u64 - without_value) as f64;
        let of_valued = |draw: f64, of: f64| if valued(draw) { of } else { 0.0 };
        // About one of them: the averaged differences are small and keep their digits.
        let about = draws.iter().copied().find(|draw| valued(*draw));
        let about = about.unwrap_or(f64::INFINITY);
        let off = total(draws, |draw| of_valued(draw, draw - about)) / number;
        let mean = about + off;
        let squares = total(draws, |draw| {
            let off = draw - mean;
            of_valued(draw, off * off)
        });
        let (counts, outside) = classes(draws, cuts.classes);
        let low = kept(draws, &mut desk.low, |draw| draw <= cuts.low);
        let high = kept(draws, &mut desk.high, |draw| draw >= cuts.high);
        low.sort_unstable_by(upwards);
        high.sort_unstable_by(upwards);
        let tail = tail(draws.len(), self.plan.level);
        let enough = low.len() >= tail && high.len() >= tail;
        if !enough {
            sort_tails(draws, tail);
        }
        let tails = Tails {
            low: if enough { low } else { &draws[..tail] },
            high: if enough { high } else { &draws[draws.len() - tail..] },
            draws: draws.len(),
        };
        let (symmetric, shortest) = tails.intervals(self.plan.level);
        Batch {
            draws: draws.len(),
            low: low.to_vec(),
            high: high.iter().rev().map(|draw| -draw).collect(),
            counts,
            outside,
            without_value,
            below,
            above,
            mean,
            squares,
            symmetric,
            shortest,
        }
    }
}

/// Copies some of the draws, without a branch that would be mispredicted.
#[inline(always)]
fn kept<'a>(draws: &[f64], room: &'a mut [f64], keep: impl Fn(f64) -> bool) -> &'a mut [f64] {
    let mut number = 0;
    for draw in draws {
        room[number] = *draw;
        number += usize::from(keep(*draw));
    }
    &mut room[..number]
}

/// Counts draws in classes between two edges, and below and above them; not those without a value.
#[inline(always)]
fn classes(draws: &[f64], [from, to]: [f64; 2]) -> ([u64; CLASSES], [u64; 2]) {
    #[allow(clippy::cast_precision_loss)]
    let scale = if to > from { CLASSES as f64 / (to - from) } else { 0.0 };
    #[allow(clippy::cast_precision_loss)]
    const LAST: f64 = (CLASSES - 1) as f64;
    // The first and the last place are for draws outside, the very last for those without a value.
    let mut counts = [0; CLASSES + 3];
    for &draw in draws {
        let class = ((draw - from) * scale).min(LAST) + 1.0;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let mut class = class as u32 as usize;
        class = if draw < from { 0 } else { class };
        class = if draw > to { CLASSES + 1 } else { class };
        class = if draw < f64::INFINITY { class } else { CLASSES + 2 };
        counts[class.min(CLASSES + 2)] += 1;
    }
    let mut within = [0; CLASSES];
    within.copy_from_slice(&counts[1..=CLASSES]);
    (within, [counts[0], counts[CLASSES + 1]])
}

/// Turns independent standard draws of the members into correlated ones of their own distributions.
#[inline(always)]
fn mix(
    laws: &[Source],
    members: &[usize],
    factor: &[Vec<f64>],
    sources: &mut [[f64; BLOCK]],
    mixed: &mut [f64; BLOCK],
) {
    // From the last one up, since each needs those before it unmixed.
    for (member, row) in members.iter().zip(factor).rev() {
        *mixed = [0.0; BLOCK];
        for (part, other) in row.iter().zip(members) {
            for (x, z) in mixed.iter_mut().zip(&sources[*other]) {
                *x += part * z;
            }
        }
        let Source { mean, law } = laws[*member];
        let sd = law.scale();
        for (x, mixed) in sources[*member].iter_mut().zip(mixed.iter()) {
            *x = mean + sd * mixed;
        }
    }
}

/// Sum of a block, term by term.
#[inline(always)]
fn add_up(sum: &Sum, sources: &[[f64; BLOCK]], product: &mut [f64; BLOCK], out: &mut [f64]) {
    out.fill(sum.constant);
    for term in &sum.terms {
        let factor = term.factor;
        if let ([source], []) = (&term.of[..], &term.over[..]) {
            let source = *source;
            for (y, x) in out.iter_mut().zip(&sources[source]) {
                *y += factor * x;
            }
            continue;
        }
        *product = [factor; BLOCK];
        for source in &term.of {
            for (product, x) in product.iter_mut().zip(&sources[*source]) {
                *product *= x;
            }
        }
        if let [first, others @ ..] = &term.over[..] {
            // Few sources divide: their sum is made anew for each draw.
            for (at, product) in product.iter_mut().enumerate() {
                let others: f64 = others.iter().map(|source| sources[*source][at]).sum();
                *product /= sources[*first][at] + others;
            }
        }
        for (y, product) in out.iter_mut().zip(product.iter()) {
            *y += product;
        }
    }
}

/// Sum over some numbers, in eight fixed parts next to each other.
#[inline(always)]
pub(super) fn total(numbers: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    let mut parts = [0.0; 8];
    let (eights, rest) = numbers.as_chunks::<8>();
    for eight in eights {
        for (part, number) in parts.iter_mut().zip(eight) {
            *part += of(*number);
        }
    }
    for (part, number) in parts.iter_mut().zip(rest) {
        *part += of(*number);
    }
    parts.iter().sum()
}

#[inline(always)]
fn count(numbers: &[f64], of: impl Fn(f64) -> bool) -> u64 {
    numbers.iter().map(|number| u64::from(of(*number))).sum()
}
