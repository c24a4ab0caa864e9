//! Finds the smallest swap of spare pieces that fixes a pump.
//!
//! Moved pieces are counted, out and in, in all places together: the gasket follows the shims. Of swaps with as many
//! pieces, the one nearest to the targets wins, clearances before gaskets, then the cheapest. Every swap of fewer
//! pieces has been examined by then, so none is smaller.

use super::as_found::{AsFound, moved};
use super::spares::{Left, drawn};
use crate::accounting::piece_waste;
use crate::length::{Fine, Length, Tolerance};
use crate::model::{Form, Term, sensitivity};
use crate::plan::{PackPick, Pick};
use crate::stack::Verdict;

/// Pieces to take out and put in.
#[derive(Debug, Clone, PartialEq)]
pub struct Swap {
    /// Pieces of each place after the swap.
    pub packs: Vec<PackPick>,
    /// Place by place, the pieces taken out and those put in.
    pub moves: Vec<[Vec<Pick>; 2]>,
    /// Of the pieces put in, those from the drawers; the rest are pieces of the pack, peeled further.
    pub drawn: Vec<Vec<Pick>>,
    /// Expected micrometer reading of each place afterwards, with its worst-case error.
    pub expected: Vec<(Length, Tolerance)>,
    /// Verdict of each requirement afterwards.
    pub verdicts: Vec<Verdict>,
}

impl Swap {
    /// Pieces moved, out and in.
    pub fn pieces(&self) -> u32 {
        let picks = self.moves.iter().flatten().flatten();
        picks.map(|pick| pick.count).sum()
    }

    /// All pieces needed from the drawers.
    pub fn drawn(&self) -> Vec<Pick> {
        self.drawn.concat()
    }
}

/// Extent of a search that found no swap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Searched {
    /// Every swap of up to this number of pieces was examined.
    pub pieces: u32,
    /// Whether these are all possible swaps.
    pub all: bool,
}

/// Most ways to fill one place that are listed.
const MOST_WAYS: usize = 1_500_000;
/// Most ways to fill the places together that are examined.
const MOST_STEPS: u64 = 60_000_000;

/// A way to fill a place.
struct Way {
    picks: PackPick,
    moves: u32,
    /// Change of the pack's thickness.
    delta: i128,
    total: Length,
    cost: i64,
}

/// Finds the smallest swap.
///
/// # Errors
/// [`Searched`]: there is none, or too many would have to be examined.
pub fn search(as_found: &AsFound<'_>, left: &Left) -> Result<Swap, Searched> {
    let model = as_found.job.model_of(as_found.pump);
    let fitted = as_found.fitted.iter();
    let out: u32 = fitted.flat_map(|pack| &pack.picks).map(|p| p.count).sum();
    let into: u32 = model.packs.iter().map(|pack| pack.most_pieces).sum();
    for pieces in 1..=out + into {
        let ways: Option<Vec<Vec<Way>>> =
            (0..model.packs.len()).map(|place| ways(as_found, left, place, pieces)).collect();
        let Some(ways) = ways else {
            return Err(Searched { pieces: pieces - 1, all: false });
        };
        let mut joint = Joint::new(as_found, left, &ways);
        joint.place(0, pieces);
        if joint.steps >= MOST_STEPS {
            // The best so far might not be the nearest of its size, but it is none too large.
            if joint.best.is_none() {
                return Err(Searched { pieces: pieces - 1, all: false });
            }
        }
        if let Some((_, packs)) = joint.best {
            return Ok(swap(as_found, packs));
        }
    }
    Err(Searched { pieces: out + into, all: true })
}

fn swap(as_found: &AsFound<'_>, packs: Vec<PackPick>) -> Swap {
    let both = || as_found.fitted.iter().zip(&packs);
    Swap {
        moves: both().map(|(before, after)| moved(before, after)).collect(),
        drawn: both().map(|(before, after)| drawn(before, after)).collect(),
        expected: (0..packs.len()).map(|place| as_found.expected(place, &packs)).collect(),
        verdicts: as_found.verdicts(&packs),
        packs,
    }
}

/// Every way to fill a place that moves at most `most` pieces; `None` if there are too many.
fn ways(as_found: &AsFound<'_>, left: &Left, place: usize, most: u32) -> Option<Vec<Way>> {
    let job = as_found.job;
    let pump = as_found.pump;
    let pack = &job.model_of(pump).packs[place];
    let before = &as_found.fitted[place];
    let mut offers: Vec<Pick> = Vec::new();
    for item in job.offered(pack, &pump.fits[place]) {
        let in_place = before.picks.iter().filter(|pick| pick.item == item);
        let in_place: u32 = in_place.map(|pick| pick.count).sum();
        for peeled in 0..=job.stock[item].most_peeled() {
            // A piece of the pack can go back in only with more layers off.
            let again = if peeled > 0 { in_place } else { 0 };
            let count = left.of(job, item).saturating_add(again);
            if count > 0 {
                offers.push(Pick { item, count, peeled });
            }
        }
    }
    let mut listing = Listing {
        as_found,
        left,
        before,
        offers,
        least: pack.least_pieces,
        most_pieces: pack.most_pieces,
        most_moves: most,
        now: as_found.measures(place),
        ways: Vec::new(),
    };
    let mut kept = before.picks.clone();
    listing.take_out(0, &mut kept, 0).then_some(listing.ways)
}

struct Listing<'a> {
    as_found: &'a AsFound<'a>,
    left: &'a Left,
    before: &'a PackPick,
    offers: Vec<Pick>,
    least: u32,
    most_pieces: u32,
    most_moves: u32,
    now: Length,
    ways: Vec<Way>,
}

impl Listing<'_> {
    /// Chooses how many of each fitted item stay; false if there are too many ways.
    fn take_out(&mut self, at: usize, kept: &mut Vec<Pick>, moves: u32) -> bool {
        let Some(pick) = self.before.picks.get(at) else {
            let stays: u32 = kept.iter().map(|pick| pick.count).sum();
            return self.put_in(0, kept, stays, moves);
        };
        for out in 0..=pick.count.min(self.most_moves - moves) {
            kept[at].count = pick.count - out;
            if !self.take_out(at + 1, kept, moves + out) {
                return false;
            }
        }
        kept[at].count = pick.count;
        true
    }

    fn put_in(&mut self, from: usize, now: &mut Vec<Pick>, pieces: u32, moves: u32) -> bool {
        if pieces >= self.least && pieces <= self.most_pieces && !self.note(now, moves) {
            return false;
        }
        if pieces >= self.most_pieces || moves >= self.most_moves {
            return true;
        }
        for at in from..self.offers.len() {
            let offer = self.offers[at];
            let same = |pick: &Pick| (pick.item, pick.peeled) == (offer.item, offer.peeled);
            // Removed pieces do not go back in as they were.
            let before = self.before.picks.iter().find(|pick| same(pick));
            let before = before.map_or(0, |pick| pick.count);
            let there = now.iter().find(|pick| same(pick)).map_or(0, |p| p.count);
            if there < before {
                continue;
            }
            let most = offer.count.min(self.most_pieces - pieces).min(self.most_moves - moves);
            let slot = now.iter().position(same);
            for count in 1..=most {
                match slot {
                    Some(slot) => now[slot].count = there + count,
                    None => {
                        if count == 1 {
                            now.push(Pick { count, ..offer });
                        } else if let Some(last) = now.last_mut() {
                            last.count = count;
                        }
                    }
                }
                if !self.put_in(at + 1, now, pieces + count, moves + count) {
                    return false;
                }
            }
            match slot {
                Some(slot) => now[slot].count = there,
                None if most > 0 => drop(now.pop()),
                None => {}
            }
        }
        true
    }

    /// Records a way; false if there are too many.
    fn note(&mut self, now: &[Pick], moves: u32) -> bool {
        let job = self.as_found.job;
        let mut picks: Vec<Pick> = now.iter().filter(|pick| pick.count > 0).copied().collect();
        let thickness = |pick: &Pick| job.stock[pick.item].peeled(pick.peeled);
        picks.sort_by(|a, b| thickness(b).cmp(&thickness(a)).then(a.cmp(b)));
        let mut after = PackPick { picks };
        if moves == 0 {
            after = self.before.clone();
        }
        let drawn = drawn(self.before, &after);
        if !self.left.holds(job, &drawn) {
            return true;
        }
        let total = |pack: &PackPick| crate::accounting::pack_total(job, pack).0;
        let delta = i128::from((total(&after) - total(self.before)).ticks());
        let costs = drawn.iter().map(|pick| {
            let each = piece_waste(job, pick.item, pick.peeled).raw();
            each.saturating_mul(i64::from(pick.count))
        });
        let cost = costs.fold(0, i64::saturating_add);
        self.ways.push(Way {
            total: match moves {
                0 => self.now,
                _ => total(&after),
            },
            picks: after,
            moves,
            delta,
            cost,
        });
        self.ways.len() <= MOST_WAYS
    }
}

/// Rank of a swap among those of its size: off target by clearances, by gaskets, then cost.
type Key = (i128, i128, i64);

/// Search over all places together.
struct Joint<'a> {
    as_found: &'a AsFound<'a>,
    left: &'a Left,
    /// Ways of each place, by the number of pieces moved.
    by_moves: Vec<Vec<Vec<&'a Way>>>,
    /// Nominal sums as found: of a clearance itself, of a gasket its gap.
    nominal: Vec<Fine>,
    /// Change of a requirement with each place, in millionths.
    moved_by: Vec<Vec<i128>>,
    /// Requirements that are decided once a place is filled.
    decided_at: Vec<Vec<usize>>,
    chosen: Vec<&'a Way>,
    best: Option<(Key, Vec<PackPick>)>,
    steps: u64,
}

impl<'a> Joint<'a> {
    fn new(as_found: &'a AsFound<'a>, left: &'a Left, ways: &'a [Vec<Way>]) -> Joint<'a> {
        let requirements = &as_found.pump.requirements;
        let mut decided_at = vec![Vec::new(); ways.len()];
        for (index, requirement) in requirements.iter().enumerate() {
            let last = (0..ways.len()).rev().find(|&p| requirement.form.involves(p));
            if let Some(decided) = decided_at.get_mut(last.unwrap_or(0)) {
                decided.push(index);
            }
        }
        let moved_by = requirements
            .iter()
            .map(|requirement| {
                let (Form::Linear { terms, .. } | Form::GasketFill { gap: terms, .. }) =
                    &requirement.form;
                let places = 0..ways.len();
                places
                    .map(|place| i128::from(sensitivity(terms, Term::Pack(place)).raw()))
                    .collect()
            })
            .collect();
        let by_moves = ways
            .iter()
            .map(|ways| {
                let most = ways.iter().map(|way| way.moves).max().unwrap_or(0);
                let mut sorted: Vec<Vec<&Way>> = vec![Vec::new(); most as usize + 1];
                for way in ways {
                    sorted[way.moves as usize].push(way);
                }
                sorted
            })
            .collect();
        Joint {
            as_found,
            left,
            by_moves,
            nominal: as_found.nominal(),
            moved_by,
            decided_at,
            chosen: Vec::new(),
            best: None,
            steps: 0,
        }
    }

    /// Fills this place and those after it, with exactly `moves` moves.
    fn place(&mut self, place: usize, moves: u32) {
        let places = self.by_moves.len();
        if place == places {
            if moves == 0 {
                self.settle();
            }
            return;
        }
        let least = if place + 1 == places { moves } else { 0 };
        for here in least..=moves {
            let count = match self.by_moves[place].get(here as usize) {
                Some(ways) => ways.len(),
                None => break,
            };
            for at in 0..count {
                self.steps += 1;
                if self.steps >= MOST_STEPS {
                    return;
                }
                let way = self.by_moves[place][here as usize][at];
                self.chosen.push(way);
                if self.could_do(place) {
                    self.place(place + 1, moves - here);
                }
                self.chosen.pop();
            }
        }
    }

    /// Present nominal value of a requirement, its least and greatest allowed value, and its target.
    fn nominal_of(&self, index: usize) -> [i128; 4] {
        let moved: i128 =
            self.chosen.iter().zip(&self.moved_by[index]).map(|(way, c)| way.delta * c).sum();
        let sum = self.nominal[index].raw() + moved;
        match &self.as_found.pump.requirements[index].form {
            Form::Linear { lower, upper, target, .. } => {
                let raw = |length: Length| Fine::from(length).raw();
                // Without a limit nothing is too small, or too large.
                [sum, lower.map_or(i128::MIN, raw), upper.map_or(i128::MAX, raw), raw(*target)]
            }
            Form::GasketFill { gasket, lower, upper, target, .. } => {
                // The gap in millionths of a tick; its multiples are rounded outwards, to pass too many rather than
                // too few.
                let free = Fine::from(self.chosen[*gasket].total).raw();
                let of = |allowance: i64| (1_000_000 + i128::from(allowance)) * sum;
                [
                    free,
                    of(lower.raw()).div_euclid(1_000_000),
                    upper.map_or(i128::MAX, |upper| -(-of(upper.raw())).div_euclid(1_000_000)),
                    of(target.raw()).div_euclid(1_000_000),
                ]
            }
        }
    }

    /// Whether the requirements that are now decided are nominally within their limits: no acceptance rule passes any
    /// others.
    fn could_do(&self, place: usize) -> bool {
        self.decided_at[place].iter().all(|&index| {
            let [value, lower, upper, _] = self.nominal_of(index);
            lower <= value && value <= upper
        })
    }

    /// Judges the chosen pieces in full, and keeps them if they are the best.
    fn settle(&mut self) {
        let (mut clearances, mut gaskets) = (0, 0);
        for (index, requirement) in self.as_found.pump.requirements.iter().enumerate() {
            let [value, _, _, target] = self.nominal_of(index);
            match requirement.form {
                Form::Linear { .. } => clearances += (value - target).abs(),
                Form::GasketFill { .. } => gaskets += (value - target).abs(),
            }
        }
        let cost = self.chosen.iter().map(|way| way.cost);
        let key = (clearances, gaskets, cost.fold(0, i64::saturating_add));
        // Of equals the first stays: the order is fixed.
        if self.best.as_ref().is_some_and(|(best, _)| *best <= key) {
            return;
        }
        let packs: Vec<PackPick> = self.chosen.iter().map(|way| way.picks.clone()).collect();
        let both = self.as_found.fitted.iter().zip(&packs);
        let drawn: Vec<Pick> = both.flat_map(|(b, a)| drawn(b, a)).collect();
        if !self.left.holds(self.as_found.job, &drawn) {
            return;
        }
        let verdicts = self.as_found.verdicts(&packs);
        if verdicts.iter().all(Verdict::conforms) {
            self.best = Some((key, packs));
        }
    }
}
