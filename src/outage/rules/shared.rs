//! Plates that are cut and packs that are opened: each serves several bags, and is booked once, before the first of them.
//!
//! # Decision
//!
//! The rest of an opened pack is spoiled with the first bag that takes of its item, though loose pieces may do for that
//! one: the stock is never said to be larger than it is.

use super::{Effect, Effected, moves, packed};
use crate::issue::key;
use crate::outage::{
    Booking, BookingRefusal, Circumstances, ItemCount, KitPiece, Outage, PlateCut,
};

/// Effect of cutting the plates of a lot: they are gone, and their pieces lie in bins.
pub(super) fn cut(outage: &Outage, plate: &str) -> Effected {
    let Some(cut) = outage.plates_to_cut().find(|cut| key(&cut.plate) == key(plate)) else {
        let open: Vec<&str> = outage.plates_to_cut().map(|cut| cut.plate.as_str()).collect();
        let expected = match open.as_slice() {
            [] => "a plate that the last plan cuts, and no such plate is left".to_string(),
            open => format!("a plate that is still to be cut: {}", open.join(", ")),
        };
        return Err(BookingRefusal::new(
            format!("cut {plate}"),
            expected,
            "cut plates as the cutting sheet of the last plan says; for others book `scrap` and `receive`",
        ));
    };
    Ok(Effect { moves: moves(outage, cut_moves(cut))?, ..Effect::default() })
}

/// Plates that leave the stock, and lots that come into it.
pub(super) fn cut_moves(cut: &PlateCut) -> impl Iterator<Item = (&str, i64)> {
    let lots = cut.lots.iter().map(|lot| (lot.item.as_str(), i64::from(lot.count)));
    std::iter::once((cut.plate.as_str(), -i64::from(cut.count))).chain(lots)
}

/// Effect of opening packs: what the kits leave of them is spoiled.
pub(super) fn opened(outage: &Outage, item: &str) -> Effected {
    let Some(rest) = outage.packs_to_open().find(|rest| key(&rest.item) == key(item)) else {
        return Err(BookingRefusal::new(
            format!("opened {item}"),
            "an item whose packs the last plan opens, and which are sealed yet",
            "book `scrap` for pieces that are spoiled",
        ));
    };
    let moves = moves(outage, [(rest.item.as_str(), -i64::from(rest.count))])?;
    Ok(Effect { moves, ..Effect::default() })
}

impl Outage {
    /// Plates and packs of the last plan that are whole yet.
    fn is_whole(&self, item: &str) -> bool {
        !self.shared.contains_key(&key(item))
    }

    /// Plates that the last plan cuts and nobody has cut yet.
    pub fn plates_to_cut(&self) -> impl Iterator<Item = &PlateCut> {
        let cuts = self.plan_booking().map_or(&[][..], |plan| &plan.cuts);
        cuts.iter().filter(|cut| self.is_whole(&cut.plate))
    }

    /// Pieces that are spoiled when the last plan's packs are opened, of items whose packs nobody has opened yet.
    pub fn packs_to_open(&self) -> impl Iterator<Item = &ItemCount> {
        let spoils = self.plan_booking().map_or(&[][..], |plan| &plan.spoils);
        spoils.iter().filter(|rest| self.is_whole(&rest.item))
    }

    /// Bookings that go before this one, each with a request number of its own: plates that are cut and packs that are
    /// opened for a bag.
    pub fn due_before(
        &self,
        facts: &Circumstances,
        booking: &Booking,
    ) -> Vec<(Circumstances, Booking)> {
        let Booking::Bag { tag, without, with } = booking else { return Vec::new() };
        let pieces = self.pump(tag).and_then(|pump| packed(self, pump, without, with).ok());
        let pieces: Vec<KitPiece> = pieces.unwrap_or_default();
        let wanted = |item: &str| -> i64 {
            let of = pieces.iter().filter(|piece| key(&piece.item) == key(item));
            of.map(|piece| i64::from(piece.count)).sum()
        };
        let in_bin = |item: &str| self.stock_of(item).map_or(0, |lot| lot.pieces);
        let cuts = self.plates_to_cut().filter(|cut| {
            let mut lots = cut.lots.iter();
            lots.any(|lot| wanted(&lot.item) > in_bin(&lot.item))
        });
        let cuts = cuts.map(|cut| Booking::Cut { plate: cut.plate.clone() });
        let opened = self.packs_to_open().filter(|rest| wanted(&rest.item) > 0);
        let opened = opened.map(|rest| Booking::Opened { item: rest.item.clone() });
        let numbered = |(at, due)| {
            let request = format!("{}/before/{at}", facts.request);
            (Circumstances { request, ..facts.clone() }, due)
        };
        cuts.chain(opened).enumerate().map(numbered).collect()
    }
}
