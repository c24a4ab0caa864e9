//! The pumps that a plan may choose pieces for, with the bags and slips that they have, on the stock of the ledger.

use super::standing;
use crate::issue::key;
use crate::job::{Job, JobError, Standing};
use crate::outage::{Outage, OutagePump, PumpState};

/// Tags of pumps whose kits are held as they are, or whose bags may be opened at no cost.
#[derive(Debug, Clone, Copy, Default)]
pub struct Told<'a> {
    /// Pumps that are held; [`BAGGED`] for all with a bag.
    pub hold: &'a [String],
    /// Pumps whose bags may be opened.
    pub reopen: &'a [String],
}

/// Word for all pumps with a bag.
pub const BAGGED: &str = "bagged";

/// Whether a tag is among those told.
pub fn is_told(tags: &[String], tag: &str) -> bool {
    tags.iter().any(|told| key(told) == key(tag))
}

/// Pumps in play, by their index in a job.
///
/// ```
/// use gapwright::outage::{Booking, ItemCount, Outage, TookOver};
/// use gapwright::outage_kit::{Plays, Told};
/// use gapwright::read::{self, Sources};
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
/// let job = read::job(&sources).expect("the sample has no problems");
/// let count = |lot: &gapwright::stock::Item| ItemCount { item: lot.item.clone(), count: lot.on_hand };
/// let counts = job.stock.iter().map(count).collect();
/// let outage = Outage::default();
/// let outage = outage.with(Booking::TookOver(TookOver { counts, ..TookOver::default() })).unwrap();
/// let outage = outage.with(Booking::Receive { item: "S10".into(), count: 3 }).unwrap();
///
/// let in_play = Plays::of(&job, &outage, &Told::default()).job(&job, &outage).unwrap();
/// assert_eq!(in_play.pumps.len(), job.pumps.len());
/// assert_eq!(in_play.stock[0].on_hand, job.stock[0].on_hand + 3);
/// ```
#[derive(Debug, Clone)]
pub struct Plays(Vec<Option<Play>>);

/// A pump that is planned: what it has from before, and the pieces of its bag, by the job's stock.
#[derive(Debug, Clone, Default)]
struct Play {
    standing: Standing,
    in_bag: Vec<(usize, u32)>,
}

impl Play {
    fn pieces_of(&self, item: usize) -> u32 {
        self.in_bag.iter().filter(|(of, _)| *of == item).map(|(_, count)| count).sum()
    }
}

impl Plays {
    /// Pumps of a job that are in play in an outage.
    pub fn of(job: &Job, outage: &Outage, told: &Told) -> Plays {
        Plays((0..job.pumps.len()).map(|at| play(job, at, outage, told)).collect())
    }

    /// Whether a pump has a kit to hold. One that is left alone holds its kit as it is.
    pub fn can_be_held(&self, pump: usize) -> bool {
        let stands = |play: &Play| play.standing.bag.is_some() || play.standing.slip.is_some();
        self.0[pump].as_ref().is_none_or(stands)
    }

    /// The job of the pumps in play, on the stock of the ledger and of their bags.
    ///
    /// # Errors
    /// [`JobError`]: a stock that no job can have.
    pub fn job(self, job: &Job, outage: &Outage) -> Result<Job, JobError> {
        let Plays(plays) = self;
        job.clone().with(|parts| {
            for (at, lot) in parts.stock.iter_mut().enumerate().filter(|(_, lot)| lot.cut.is_none())
            {
                let pieces = outage.stock_of(&lot.item).map_or(0, |known| known.pieces);
                let in_bin = u32::try_from(pieces).unwrap_or(0);
                let in_bags = plays.iter().flatten().map(|play| play.pieces_of(at)).sum::<u32>();
                // No more can be kept back than there is in the bin: bags are not kept back.
                lot.reserved = lot.reserved.min(in_bin);
                lot.on_hand = in_bin.saturating_add(in_bags);
                lot.in_bags = in_bags;
            }
            for plate in &mut parts.plates {
                let pieces = outage.stock_of(&plate.item).map_or(0, |known| known.pieces);
                plate.on_hand = u32::try_from(pieces).unwrap_or(0);
                plate.reserved = plate.reserved.min(plate.on_hand);
            }
            for piece in &mut parts.stock {
                let Some(cut) = piece.cut else { continue };
                let plate = &parts.plates[cut.plate];
                piece.on_hand = plate.available().saturating_mul(plate.yields(cut.outside));
            }
            let pumps = std::mem::take(&mut parts.pumps).into_iter().zip(plays);
            let (pumps, standing): (Vec<_>, Vec<_>) =
                pumps.filter_map(|(pump, play)| Some((pump, play?.standing))).unzip();
            parts.pumps = pumps;
            let any = standing.iter().any(|stands| *stands != Standing::default());
            parts.standing = if any { standing } else { Vec::new() };
        })
    }
}

/// Bag and slip that a pump has from before, if it is planned. A bag at the bench is left alone; so is one whose pieces the
/// job does not know.
fn play(job: &Job, at: usize, outage: &Outage, told: &Told) -> Option<Play> {
    let tag = &job.pumps[at].tag;
    let Some(known) = outage.pump(tag) else { return Some(Play::default()) };
    let is_bagged = known.state == PumpState::Bagged;
    if !is_bagged && !known.state.is_in_play() {
        return None;
    }
    if is_bagged && is_told(told.reopen, tag) {
        let whole = known.bag.iter().filter(|piece| piece.peeled_to.is_none());
        let item = |item: &str| job.stock.iter().position(|lot| key(&lot.item) == key(item));
        let in_bag = whole.filter_map(|piece| Some((item(&piece.item)?, piece.count))).collect();
        let planned = OutagePump { state: PumpState::Planned, ..known.clone() };
        let standing = Standing { opened_as_told: true, ..standing(job, at, &planned)? };
        return Some(Play { standing, in_bag });
    }
    let mut standing = standing(job, at, known)?;
    standing.held = is_told(told.hold, tag) || is_bagged && is_told(told.hold, BAGGED);
    let picks = standing.bag.iter().flatten().flat_map(|pack| &pack.picks);
    let picks = picks.chain(standing.consumables.iter().flatten());
    // Peeled ones go back into no bin.
    let whole = picks.filter(|pick| pick.peeled == 0);
    let in_bag = whole.map(|pick| (pick.item, pick.count)).collect();
    Some(Play { standing, in_bag })
}
