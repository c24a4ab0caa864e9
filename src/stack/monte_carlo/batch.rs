//! A batch of draws: the model worked out on blocks of its sources.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::SeedableRng;
use pulp::Arch;

use super::coverage::{Tails, sort_tails, tail};
use super::joint::factor;
use super::sampling::{BLOCK, Scratch, fill};
use super::{Measurand, Model, Plan, Sum};

/// The draws of a batch and what they come to by themselves.
#[derive(Debug, Clone)]
pub(super) struct Batch {
    /// The draws, the lowest and the highest `tail` of them sorted and in their places.
    pub(super) draws: Vec<f64>,
    pub(super) tail: usize,
    /// Draws without a value; they stand as infinite.
    pub(super) without_value: u64,
    pub(super) below: u64,
    pub(super) above: u64,
    /// Of the draws with a value; no number without any.
    pub(super) mean: f64,
    /// The squares of their distances from the mean, added up.
    pub(super) squares: f64,
    pub(super) symmetric: [f64; 2],
    pub(super) shortest: [f64; 2],
}

impl Batch {
    pub(super) fn valued(&self) -> u64 {
        self.draws.len() as u64 - self.without_value
    }

    #[allow(clippy::cast_precision_loss)]
    pub(super) fn standard(&self) -> f64 {
        (self.squares / (self.valued() as f64 - 1.0)).sqrt()
    }
}

/// The buffers of one thread.
#[derive(Debug)]
pub(super) struct Desk {
    /// A block of draws of each source.
    sources: Vec<[f64; BLOCK]>,
    product: [f64; BLOCK],
    gap: [f64; BLOCK],
    scratch: Scratch,
}

impl Desk {
    pub(super) fn new(model: &Model) -> Self {
        Desk {
            sources: vec![[0.0; BLOCK]; model.sources.len()],
            product: [0.0; BLOCK],
            gap: [0.0; BLOCK],
            scratch: Scratch::new(),
        }
    }
}

/// Draws batches of a model that has been checked.
#[derive(Debug)]
pub(super) struct Drawer<'a> {
    model: &'a Model,
    plan: &'a Plan,
    /// Draws in a batch.
    size: usize,
    /// The members of each group with the factor of their correlation.
    groups: Vec<(&'a [usize], Vec<Vec<f64>>)>,
    arch: Arch,
}

impl<'a> Drawer<'a> {
    pub(super) fn new(model: &'a Model, plan: &'a Plan, size: usize) -> Self {
        let groups = model.joint.iter().filter_map(|joint| {
            let factor = factor(&joint.correlation)?;
            Some((&joint.members[..], factor))
        });
        Drawer {
            model,
            plan,
            size,
            groups: groups.collect(),
            arch: Arch::new(),
        }
    }

    /// The batch of a number: the same on any desk, and after any other.
    pub(super) fn batch(&self, desk: &mut Desk, number: usize) -> Batch {
        let mut seed = [0; 32];
        seed[..8].copy_from_slice(&self.plan.seed.to_le_bytes());
        let mut rng = ChaCha8Rng::from_seed(seed);
        rng.set_stream(number as u64);
        let mut draws = vec![0.0; self.size];
        // The widest registers there are: more draws at a time, each worked out as ever.
        self.arch.dispatch(
            #[inline(always)]
            || {
                for block in draws.chunks_mut(BLOCK) {
                    self.block(desk, &mut rng, block);
                }
            },
        );
        self.arch.dispatch(
            #[inline(always)]
            || self.sum_up(draws),
        )
    }

    #[inline(always)]
    fn block(&self, desk: &mut Desk, rng: &mut ChaCha8Rng, out: &mut [f64]) {
        let Desk {
            sources,
            product,
            gap,
            scratch,
        } = desk;
        for (source, x) in self.model.sources.iter().zip(sources.iter_mut()) {
            fill(source.law, rng, scratch, &mut x[..out.len()]);
        }
        for (members, factor) in &self.groups {
            mix(members, factor, sources, product);
        }
        for (source, x) in self.model.sources.iter().zip(sources.iter_mut()) {
            let (mean, scale) = (source.mean, source.law.scale());
            for x in &mut x[..out.len()] {
                *x = mean + scale * *x;
            }
        }
        match &self.model.measurand {
            Measurand::Sum(sum) => add_up(sum, sources, product, out),
            Measurand::Ratio { free, gap: below } => {
                add_up(free, sources, product, out);
                let gap = &mut gap[..out.len()];
                add_up(below, sources, product, gap);
                for (y, gap) in out.iter_mut().zip(gap) {
                    *y = if *gap > 0.0 {
                        *y / *gap - 1.0
                    } else {
                        f64::INFINITY
                    };
                }
            }
        }
        for y in out {
            *y = if y.is_finite() { *y } else { f64::INFINITY };
        }
    }

    #[inline(always)]
    fn sum_up(&self, mut draws: Vec<f64>) -> Batch {
        let valued = |draw: f64| draw < f64::INFINITY;
        let without_value = count(&draws, |draw| !valued(draw));
        let (below, above) = match self.plan.limits {
            Some([lower, upper]) => (
                count(&draws, |draw| draw < lower),
                count(&draws, |draw| draw > upper && valued(draw)),
            ),
            None => (0, 0),
        };
        #[allow(clippy::cast_precision_loss)]
        let number = (draws.len() as u64 - without_value) as f64;
        let of_valued = |draw: f64, of: f64| if valued(draw) { of } else { 0.0 };
        // About one of them: what is averaged is small, and its digits are kept.
        let about = draws.iter().copied().find(|draw| valued(*draw));
        let about = about.unwrap_or(f64::INFINITY);
        let off = total(&draws, |draw| of_valued(draw, draw - about)) / number;
        let mean = about + off;
        let squares = total(&draws, |draw| {
            let off = draw - mean;
            of_valued(draw, off * off)
        });
        let tail = tail(draws.len(), self.plan.level);
        sort_tails(&mut draws, tail);
        let tails = Tails {
            low: &draws[..tail],
            high: &draws[draws.len() - tail..],
            draws: draws.len(),
        };
        let (symmetric, shortest) = tails.intervals(self.plan.level);
        Batch {
            draws,
            tail,
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

/// Makes independent standard draws of the members into correlated ones.
#[inline(always)]
fn mix(
    members: &[usize],
    factor: &[Vec<f64>],
    sources: &mut [[f64; BLOCK]],
    mixed: &mut [f64; BLOCK],
) {
    // From the last one up, as each needs those before it unmixed.
    for (member, row) in members.iter().zip(factor).rev() {
        *mixed = [0.0; BLOCK];
        for (part, other) in row.iter().zip(members) {
            for (x, z) in mixed.iter_mut().zip(&sources[*other]) {
                *x += part * z;
            }
        }
        sources[*member] = *mixed;
    }
}

/// The sum of a block, term by term.
#[inline(always)]
fn add_up(sum: &Sum, sources: &[[f64; BLOCK]], product: &mut [f64; BLOCK], out: &mut [f64]) {
    out.fill(sum.constant);
    for term in &sum.terms {
        let factor = term.factor;
        if let [source] = term.of[..] {
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
        for (y, product) in out.iter_mut().zip(product.iter()) {
            *y += product;
        }
    }
}

/// The sum over some numbers, in eight parts side by side and always the same ones.
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
