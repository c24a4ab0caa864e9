//! Kits of a pump, listed for the certificate: every way to fill its places that meets every requirement.
//!
//! Ways to fill one kind of place are listed once for all pumps. A pump's kits are then found place by place: its limits
//! as rows over the totals leave a window for the next place. A row takes only such errors off as are certain, so a window
//! may be too wide and is never too narrow; what it leaves in doubt is judged as the kit of a plan is.

use std::cell::Cell;
use std::collections::BTreeMap;

use super::limits::{self, Row, errors_of_piece};
use super::{MILLION, charge, off_target, trim, whole_piece};
use crate::job::{Job, Standing};
use crate::model::{Form, Pack, Term};
use crate::narrow::narrow;
use crate::plan::{PackPick, Pick};
use crate::pump::Pump;
use crate::stock::{Code, Item};

/// Most ways to fill one kind of place.
const MOST_FILLINGS: usize = 4_000_000;

/// Way to fill a place.
#[derive(Debug, Clone, Default)]
pub(super) struct Filling {
    pub(super) picks: Vec<Pick>,
    /// Total in ticks.
    total: i64,
    /// Least and greatest error below the total, and above it, in ticks.
    errors: [[i64; 2]; 2],
    /// Waste of the pieces, in millionths of the currency.
    pub(super) waste: i128,
}

/// Demands of a pump on its kits, and where the ways to fill its places are listed.
struct Sheet {
    rows: Vec<Row>,
    aims: Vec<Aim>,
    /// List of each place, and the totals that come into question.
    places: Vec<(usize, [i64; 2])>,
    /// By how much rounding may move a row, in millionths of a tick.
    slack: i128,
}

/// Amount beyond a target as a sum over the totals.
struct Aim {
    constant: i128,
    weights: Vec<i128>,
    unit: i128,
}

/// Ways to fill the places of all pumps of a job.
pub(super) struct Fillings<'a> {
    job: &'a Job,
    /// Lists, each ascending by total.
    pub(super) lists: Vec<Vec<Filling>>,
    /// By pump; `None` where it can have no kit.
    sheets: Vec<Option<Sheet>>,
}

/// Kit under way: the place in its list of what each place is filled with.
pub(super) struct Found<'a> {
    /// List of each place, and the number in it.
    pub(super) choice: &'a [(usize, usize)],
    /// Charges for being off target, in millionths of the currency; worked out when asked for.
    charges: &'a dyn Fn() -> i128,
    /// Whether it keeps every limit for certain; else it is to be judged.
    sure: bool,
}

impl Found<'_> {
    pub(super) fn charges(&self) -> i128 {
        (self.charges)()
    }
}

/// Prices of all ways to fill the places, and the most that those of a kit may come to: what is dearer is passed over.
pub(super) struct Guide<'a> {
    lists: &'a [Vec<i128>],
    most: Cell<i128>,
}

impl Guide<'_> {
    pub(super) fn new(lists: &[Vec<i128>], most: i128) -> Guide<'_> {
        Guide { lists, most: Cell::new(most) }
    }

    /// Sets the most, which may be less once a cheap kit is found.
    pub(super) fn at_most(&self, most: i128) {
        self.most.set(most);
    }

    /// Least price of what may fill the places after each one.
    fn rest(&self, all: &Fillings<'_>, places: &[(usize, [i64; 2])]) -> Vec<i128> {
        let mut rest = vec![0; places.len()];
        for at in (1..places.len()).rev() {
            let (list, [first, last]) = places[at];
            let fillings = &all.lists[list];
            let from = fillings.partition_point(|filling| filling.total < first);
            let to = fillings.partition_point(|filling| filling.total <= last).max(from);
            let least = self.lists[list][from..to].iter().copied().min();
            rest[at - 1] = rest[at] + least.unwrap_or(0);
        }
        rest
    }
}

impl<'a> Fillings<'a> {
    /// Ways to fill the places of some pumps; `None` where there are too many.
    pub(super) fn of(job: &'a Job) -> Option<Fillings<'a>> {
        let mut keys: BTreeMap<(&str, &str, u32, u32), usize> = BTreeMap::new();
        let mut kinds: Vec<(&Pack, &Code, [i64; 2])> = Vec::new();
        let mut sheet = |pump: &'a Pump| {
            let rows = limits::rows(job, pump)?;
            let packs = &job.models[pump.model].packs;
            let most = packs.iter().zip(&pump.fits).map(|(pack, fit)| most_total(job, pack, fit));
            let most: Vec<i64> = most.collect();
            let slack = most.iter().map(|&most| i128::from(most)).sum::<i128>() + 4;
            let windows = windows(&rows, &most, slack)?;
            let places = packs.iter().zip(&pump.fits).zip(windows);
            let places = places.map(|((pack, fit), window)| {
                let key = (pack.kind.as_str(), fit.key(), pack.least_pieces, pack.most_pieces);
                let list = *keys.entry(key).or_insert_with(|| {
                    kinds.push((pack, fit, window));
                    kinds.len() - 1
                });
                let hull = &mut kinds[list].2;
                *hull = [hull[0].min(window[0]), hull[1].max(window[1])];
                (list, window)
            });
            let places = places.collect();
            let aims = pump.requirements.iter().map(|r| aim(job, pump, &r.form)).collect();
            Some(Sheet { rows, aims, places, slack })
        };
        let sheets = job.pumps.iter().map(&mut sheet).collect();
        let lists = kinds.iter().map(|&(pack, fit, hull)| list(job, pack, fit, hull));
        Some(Fillings { job, lists: lists.collect::<Option<_>>()?, sheets })
    }

    /// Pieces of a kit, place by place.
    pub(super) fn picks(&self, choice: &[(usize, usize)]) -> impl Iterator<Item = &Pick> {
        choice.iter().flat_map(|&(list, number)| &self.lists[list][number].picks)
    }

    /// A kit by its choice among the lists; `None` if it is no choice of them.
    pub(super) fn choice_of(&self, pump: usize, packs: &[PackPick]) -> Option<Vec<(usize, usize)>> {
        let counted = |picks: &[Pick]| {
            let mut counts = BTreeMap::new();
            for pick in picks {
                *counts.entry((pick.item, pick.peeled)).or_insert(0) += pick.count;
            }
            counts
        };
        let places = &self.sheets[pump].as_ref()?.places;
        let choice = places.iter().zip(packs).map(|(&(list, _), pack)| {
            let wanted = counted(&pack.picks);
            let number = self.lists[list].iter().position(|one| counted(&one.picks) == wanted)?;
            Some((list, number))
        });
        choice.collect::<Option<Vec<_>>>().filter(|choice| choice.len() == packs.len())
    }

    /// Pieces that a kit takes out of those on hand: peeled ones in a bag that stays closed are out of no bin.
    pub(super) fn taken(&self, found: &Found<'_>, closed: bool) -> impl Iterator<Item = &Pick> {
        self.picks(found.choice).filter(move |pick| !closed || pick.peeled == 0)
    }

    /// Whether a kit that was found is one: it keeps every limit, and there are as many pieces.
    pub(super) fn is_kit(
        &self,
        pump: usize,
        found: &Found<'_>,
        closed: bool,
        left: &[i64],
    ) -> bool {
        let mut taken: BTreeMap<usize, u32> = BTreeMap::new();
        self.taken(found, closed)
            .for_each(|pick| *taken.entry(pick.item).or_default() += pick.count);
        if taken.into_iter().any(|(item, count)| i64::from(count) > left[item]) {
            return false;
        }
        let fill = |&(list, number): &(usize, usize)| PackPick {
            picks: self.lists[list][number].picks.clone(),
        };
        let (job, of) = (self.job, &self.job.pumps[pump]);
        found.sure || {
            let packs: Vec<PackPick> = found.choice.iter().map(fill).collect();
            let rule = job.policy.acceptance;
            of.requirements.iter().all(|r| limits::hold(job, of, &packs, &r.form, rule))
        }
    }

    /// Shows every kit of a pump that its guide does not pass over, and some that may not be one: see
    /// [`Fillings::is_kit`]. Returns how many were looked at.
    pub(super) fn each(
        &self,
        pump: usize,
        guide: Option<&Guide<'_>>,
        show: &mut dyn FnMut(&Found<'_>),
    ) -> u64 {
        let Some(sheet) = &self.sheets[pump] else { return 0 };
        let worst: Option<Vec<i128>> = sheet.rows.iter().map(|row| row.at_worst).collect();
        let has_worst = worst.is_some();
        let first = Sums {
            best: sheet.rows.iter().map(|row| row.at_best).collect(),
            worst: worst.unwrap_or_default(),
            aims: sheet.aims.iter().map(|aim| aim.constant).collect(),
        };
        let places = &sheet.places;
        let rest = |at| sheet.rows.iter().map(|row| most_of(row, places, at + 1)).collect();
        let mut walk = Walk {
            all: self,
            sheet,
            show,
            choice: Vec::new(),
            sums: vec![first; places.len() + 1],
            has_worst,
            rest: (0..places.len()).map(rest).collect(),
            dear: guide.map(|guide| (guide, guide.rest(self, places))),
            looked: 0,
        };
        walk.on(0);
        walk.looked
    }
}

/// Sums of the places filled so far.
#[derive(Clone)]
struct Sums {
    /// Of each row at its best, and at its worst.
    best: Vec<i128>,
    worst: Vec<i128>,
    /// Amounts beyond the targets.
    aims: Vec<i128>,
}

/// Kits of a pump under way.
struct Walk<'a> {
    all: &'a Fillings<'a>,
    sheet: &'a Sheet,
    show: &'a mut dyn FnMut(&Found<'_>),
    choice: Vec<(usize, usize)>,
    /// By number of places filled.
    sums: Vec<Sums>,
    /// Whether the worst of each row is known.
    has_worst: bool,
    /// Most that the places after each one can add to each row.
    rest: Vec<Vec<i128>>,
    /// Guide, and the least price of the places after each one.
    dear: Option<(&'a Guide<'a>, Vec<i128>)>,
    looked: u64,
}

impl Walk<'_> {
    /// Fills the next place in every way, from the sums and the price of the places before it.
    fn on(&mut self, spent: i128) {
        let Sheet { rows, places, slack, .. } = self.sheet;
        let at = self.choice.len();
        let Some(&(list, window)) = places.get(at) else {
            let Sums { worst, aims, .. } = &self.sums[at];
            let sure = self.has_worst && worst.iter().all(|sum| sum >= slack);
            let job = self.all.job;
            let units = self.sheet.aims.iter().map(|aim| aim.unit);
            let all = aims.iter().copied().zip(units);
            let charges = &move || all.clone().map(|beyond| charge(job, beyond)).sum();
            (self.show)(&Found { choice: &self.choice, charges, sure });
            return;
        };
        let sums = rows.iter().zip(&self.sums[at].best).zip(&self.rest[at]);
        let [first, last] = sums.fold(window, |window, ((row, sum), rest)| {
            narrowed(window, row.weights[at], sum + rest + slack)
        });
        let fillings = &self.all.lists[list];
        let from = fillings.partition_point(|filling| filling.total < first);
        for (number, filling) in fillings.iter().enumerate().skip(from) {
            if filling.total > last {
                break;
            }
            self.looked += 1;
            let mut price = spent;
            if let Some((guide, rest)) = &self.dear {
                price += guide.lists[list][number];
                if price + rest[at] > guide.most.get() {
                    continue;
                }
            }
            if self.add(at, filling) {
                self.choice.push((list, number));
                self.on(price);
                self.choice.pop();
            }
        }
    }

    /// Sums with a way to fill the next place; whether the places after it can still reach every row.
    fn add(&mut self, at: usize, filling: &Filling) -> bool {
        let Sheet { rows, aims, slack, .. } = self.sheet;
        let (before, next) = self.sums.split_at_mut(at + 1);
        let (Some(before), Some(next)) = (before.last(), next.first_mut()) else { return false };
        let all = next.best.iter_mut().zip(&before.best).zip(rows).zip(&self.rest[at]);
        let mut reaches = true;
        for (((next, sum), row), rest) in all {
            *next = sum + moved(row.weights[at], filling, 0);
            reaches &= *next + rest + slack >= 0;
        }
        if !reaches {
            return false;
        }
        for ((next, sum), row) in next.worst.iter_mut().zip(&before.worst).zip(rows) {
            *next = sum + moved(row.weights[at], filling, 1);
        }
        let total = i128::from(filling.total);
        for ((next, sum), aim) in next.aims.iter_mut().zip(&before.aims).zip(aims) {
            *next = sum + aim.weights[at] * total;
        }
        true
    }
}

/// Change of a row by a way to fill a place, with its least errors (0) or its greatest (1).
fn moved(weight: i128, filling: &Filling, which: usize) -> i128 {
    let side = usize::from(weight < 0);
    weight * i128::from(filling.total) - weight.abs() * i128::from(filling.errors[side][which])
}

/// Most that the places from one on can add to a row.
fn most_of(row: &Row, places: &[(usize, [i64; 2])], from: usize) -> i128 {
    let later = row.weights.iter().zip(places).skip(from);
    later.map(|(weight, (_, ends))| most_within(*weight, *ends)).sum()
}

fn most_within(weight: i128, ends: [i64; 2]) -> i128 {
    ends.map(|end| weight * i128::from(end)).into_iter().max().unwrap_or(0)
}

/// Totals for which `weight x total + sum >= 0`.
fn narrowed([first, last]: [i64; 2], weight: i128, sum: i128) -> [i64; 2] {
    let whole = |end: i128| i64::try_from(end).unwrap_or(if end < 0 { i64::MIN } else { i64::MAX });
    match weight {
        0 if sum < 0 => [1, 0],
        0 => [first, last],
        1.. => [first.max(whole(-sum.div_euclid(weight))), last],
        _ => [first, last.min(whole(sum.div_euclid(-weight)))],
    }
}

/// Totals of each place outside which no kit is; `None` if there is none at all.
fn windows(rows: &[Row], most: &[i64], slack: i128) -> Option<Vec<[i64; 2]>> {
    let mut windows: Vec<[i64; 2]> = most.iter().map(|&most| [0, most]).collect();
    for _ in 0..3 {
        for row in rows {
            for place in 0..windows.len() {
                let others = windows.iter().zip(&row.weights).enumerate();
                let others = others.filter(|(other, _)| *other != place);
                let others: i128 = others.map(|(_, (ends, w))| most_within(*w, *ends)).sum();
                let sum = row.at_best + others + slack;
                windows[place] = narrowed(windows[place], row.weights[place], sum);
            }
            if windows.iter().any(|[first, last]| first > last) {
                return None;
            }
        }
    }
    Some(windows)
}

fn aim(job: &Job, pump: &Pump, form: &Form) -> Aim {
    let (constant, unit) = off_target(job, pump, &[], form);
    let mut weights = vec![0; pump.fits.len()];
    let mut add = |term: Term, weight: i128| {
        if let Term::Pack(place) = term {
            weights[place] += weight;
        }
    };
    match form {
        Form::Linear { terms, .. } => {
            terms.iter().for_each(|(term, c)| add(*term, c.raw().into()));
        }
        Form::GasketFill { gasket, gap, target, .. } => {
            add(Term::Pack(*gasket), MILLION * MILLION);
            let wanted = MILLION + i128::from(target.raw());
            gap.iter().for_each(|(term, c)| add(*term, -wanted * i128::from(c.raw())));
        }
    }
    Aim { constant, weights, unit }
}

/// Pieces that may be taken.
pub(super) fn available(lot: &Item) -> u32 {
    lot.on_hand.saturating_sub(lot.reserved)
}

/// Pieces that some kit can hold: those that may be taken, and peeled ones of a bag.
fn at_hand(job: &Job, item: usize) -> u32 {
    let in_bag = |stands: &Standing| -> u32 {
        stands.peeled().filter(|pick| pick.item == item).map(|pick| pick.count).sum()
    };
    available(&job.stock[item]) + job.standing.iter().map(in_bag).max().unwrap_or(0)
}

/// Items for a place.
fn offered<'a>(job: &'a Job, pack: &Pack, fit: &Code) -> impl Iterator<Item = (usize, &'a Item)> {
    let fits = move |(item, lot): &(usize, &Item)| {
        lot.kind == pack.kind && lot.fit == *fit && lot.size.is_some() && at_hand(job, *item) > 0
    };
    job.stock.iter().enumerate().filter(fits)
}

/// More than any total of a place.
fn most_total(job: &Job, pack: &Pack, fit: &Code) -> i64 {
    let thickest = offered(job, pack, fit).filter_map(|(_, lot)| lot.size);
    let thickest = thickest.map(|size| size.thickness.ticks()).max().unwrap_or(0);
    i64::from(pack.most_pieces) * thickest
}

/// Piece of a lot, whole or with layers peeled off.
struct Piece {
    pick: Pick,
    one: Filling,
    /// Pieces of the lot that some kit can hold.
    at_hand: u32,
}

/// Every way to fill a place with a total inside a window; `None` if there are too many.
fn list(job: &Job, pack: &Pack, fit: &Code, window: [i64; 2]) -> Option<Vec<Filling>> {
    let mut pieces: Vec<Piece> = Vec::new();
    for (item, lot) in offered(job, pack, fit) {
        let size = lot.size?;
        let step = lot.peel_step.map_or(0, |step| step.ticks());
        let whole = size.thickness.ticks();
        let layers = if step > 0 { whole / step } else { 1 };
        let at_hand = at_hand(job, item);
        pieces.extend((0..layers.max(1)).map(|peeled| {
            let peeled_off: u32 = narrow(peeled);
            Piece {
                pick: Pick { item, count: 1, peeled: peeled_off },
                one: Filling {
                    picks: Vec::new(),
                    total: whole - peeled * step,
                    errors: errors_of_piece(job, size),
                    waste: whole_piece(job, lot) + trim(lot, peeled_off),
                },
                at_hand,
            }
        }));
    }
    // Thin pieces last: what they can still add is little, which ends a way that is too thin early.
    pieces.sort_by_key(|piece| -piece.one.total);
    let mut listing = Listing { pack, window, pieces: &pieces, found: Vec::new(), visited: 0 };
    listing.add(0, &Filling::default(), 0)?;
    listing.found.sort_by_key(|filling| filling.total);
    Some(listing.found)
}

struct Listing<'a> {
    pack: &'a Pack,
    window: [i64; 2],
    pieces: &'a [Piece],
    found: Vec<Filling>,
    visited: usize,
}

impl Listing<'_> {
    /// Adds a way to fill the place, and all that have more pieces from one on; `None` if they are too many.
    fn add(&mut self, from: usize, base: &Filling, count: u32) -> Option<()> {
        self.visited += 1;
        if self.visited > 10 * MOST_FILLINGS || self.found.len() > MOST_FILLINGS {
            return None;
        }
        if count >= self.pack.least_pieces && base.total >= self.window[0] {
            self.found.push(base.clone());
        }
        for at in from..self.pieces.len() {
            let Piece { pick, one, at_hand } = &self.pieces[at];
            let room = self.pack.most_pieces - count;
            if base.total + i64::from(room) * one.total < self.window[0] {
                return Some(());
            }
            let same = base.picks.iter().filter(|other| other.item == pick.item);
            let taken: u32 = same.map(|other| other.count).sum();
            let left = at_hand.saturating_sub(taken);
            let mut more = base.clone();
            more.picks.push(Pick { count: 0, ..*pick });
            for n in 1..=room.min(left) {
                more.total += one.total;
                if more.total > self.window[1] {
                    break;
                }
                more.waste += one.waste;
                for (sum, error) in more.errors.iter_mut().flatten().zip(one.errors.as_flattened())
                {
                    *sum += error;
                }
                if let Some(last) = more.picks.last_mut() {
                    last.count = n;
                }
                self.add(at + 1, &more, count + n)?;
            }
        }
        Some(())
    }
}
