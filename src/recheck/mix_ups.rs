//! Mix-ups of pieces that would explain a difference between reading and prediction.

use super::Of;
use super::as_found::AsFound;
use super::compare::Compared;
use crate::length::{Fine, Length};
use crate::model::{Form, Term, sensitivity};
use crate::plan::Pick;

/// A possible mistake in a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Suspect {
    /// Place.
    pub pack: usize,
    /// Possible mistake there.
    pub slip: Slip,
    /// Resulting change of the pack's thickness.
    pub by: Length,
}

/// A mistake in fitting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    /// A piece of this item is missing.
    Missing(Pick),
    /// A piece of this item is in it and should not be.
    TooMany(Pick),
    /// The second one is in it in place of the first.
    Mistaken(Pick, Pick),
}

/// Most mistakes that are named.
const MOST: usize = 3;

/// Mistakes that would bring a prediction to within its uncertainty of the reading, the nearest first.
///
/// A pack with a reading explains only itself; a requirement may be off by a mistake in any place that enters into it
/// and was not read.
pub fn suspects(as_found: &AsFound<'_>, of: Of, compared: &Compared) -> Vec<Suspect> {
    let places: Vec<(usize, i64)> = match of {
        Of::Pack(place) => vec![(place, 1_000_000)],
        Of::Requirement(index) => {
            let Form::Linear { terms, .. } = &as_found.pump.requirements[index].form else {
                return Vec::new();
            };
            let places = 0..as_found.fitted.len();
            places
                .filter(|&place| !as_found.is_read(place))
                .map(|place| (place, sensitivity(terms, Term::Pack(place)).raw()))
                .filter(|(_, c)| *c != 0)
                .collect()
        }
    };
    let mut found: Vec<(i128, Suspect)> = Vec::new();
    for (pack, c) in places {
        for (slip, by) in slips(as_found, pack) {
            let moved = Fine::from_raw(i128::from(by.ticks()) * i128::from(c));
            let predicted = compared.predicted + moved;
            let shifted = Compared { predicted, ..*compared };
            if shifted.agrees() {
                let off = shifted.difference().abs().raw();
                found.push((off, Suspect { pack, slip, by }));
            }
        }
    }
    found.sort_by_key(|(off, _)| *off);
    found.truncate(MOST);
    found.into_iter().map(|(_, suspect)| suspect).collect()
}

/// Every mistake of one piece in a place, with the resulting change of the pack's thickness.
fn slips(as_found: &AsFound<'_>, place: usize) -> Vec<(Slip, Length)> {
    let job = as_found.job;
    let pump = as_found.pump;
    let pack = &job.model_of(pump).packs[place];
    let one = |item: usize, peeled: u32| Pick { item, count: 1, peeled };
    let thick = |pick: Pick| job.stock[pick.item].peeled(pick.peeled).unwrap_or(Length::ZERO);
    let fitted = as_found.fitted[place].picks.iter();
    let fitted: Vec<Pick> = fitted.map(|pick| one(pick.item, pick.peeled)).collect();
    let offered: Vec<Pick> = job
        .offered(pack, &pump.fits[place])
        .flat_map(|item| (0..=job.stock[item].most_peeled()).map(move |peeled| one(item, peeled)))
        .collect();
    let mut slips = Vec::new();
    for &piece in &fitted {
        slips.push((Slip::Missing(piece), Length::ZERO - thick(piece)));
        for &other in offered.iter().filter(|&&other| other != piece) {
            slips.push((Slip::Mistaken(piece, other), thick(other) - thick(piece)));
        }
    }
    // Whole pieces only: nobody peels one for the wrong place.
    for &other in offered.iter().filter(|other| other.peeled == 0) {
        slips.push((Slip::TooMany(other), thick(other)));
    }
    slips
}
