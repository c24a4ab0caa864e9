//! The state of an outage as JSON: an outage into [`crate::formats::outage`].

use crate::formats::common::CountJson;
use crate::formats::outage::{
    BagPieceJson, BenchReadingJson, BookingJson, FORMAT, HeadJson, OutageEntryJson, OutageJson,
    OutagePlanJson, OutagePumpJson, OutageStockJson, PumpStateJson,
};
use crate::issue::key;
use crate::outage::{Booking, KitPiece, LedgerEntry, Outage, OutagePump, PumpState};

/// The outage as plain values.
pub fn outage(outage: &Outage) -> OutageJson {
    let head = outage.head();
    let out = outage.pieces_out();
    OutageJson {
        format: FORMAT.into(),
        head: HeadJson { number: head.number, sha256: head.hash },
        plan: outage.last_plan().map(|plan| OutagePlanJson {
            number: plan.number,
            code: plan.code.clone(),
            entry: plan.entry,
        }),
        pumps: outage.pumps().map(pump).collect(),
        left_for_not_measured: outage.left_for_not_measured().to_vec(),
        stock: outage
            .stock()
            .map(|lot| OutageStockJson {
                item: lot.item.clone(),
                on_hand: lot.pieces,
                out: out.get(&key(&lot.item)).copied().unwrap_or(0),
                workbook: lot.taken,
            })
            .collect(),
        plates_to_cut: outage
            .plates_to_cut()
            .map(|cut| CountJson { item: cut.plate.clone(), count: cut.count })
            .collect(),
        packs_to_open: outage
            .packs_to_open()
            .map(|rest| CountJson { item: rest.item.clone(), count: rest.count })
            .collect(),
        entries: outage.entries().iter().map(|one| entry(outage, one)).collect(),
    }
}

fn pump(pump: &OutagePump) -> OutagePumpJson {
    let piece = |piece: &KitPiece| BagPieceJson {
        place: Some(piece.place.clone()).filter(|place| !place.is_empty()),
        item: piece.item.clone(),
        count: piece.count,
        peeled_to: piece.peeled_to.clone(),
    };
    OutagePumpJson {
        tag: pump.tag.clone(),
        state: state(pump.state),
        kit: pump.kit.as_ref().map(|kit| kit.number),
        bag: pump.bag.iter().map(piece).collect(),
        missing_pieces: if pump.bag.is_empty() { 0 } else { pump.missing() },
        differs_from_kit: !pump.bag.is_empty() && pump.differs(),
        put_bag_back: pump.is_to_be_put_back(),
        readings: pump
            .bench
            .iter()
            .map(|reading| BenchReadingJson {
                what: reading.what.clone(),
                first: reading.first.clone(),
                again: reading.again.clone(),
            })
            .collect(),
        not_fit_to_assemble: pump.is_not_fit(),
        stop: pump.stop().is_some(),
        why: pump.reason().map(String::from),
        cures: pump.cures.clone(),
    }
}

fn state(state: PumpState) -> PumpStateJson {
    match state {
        PumpState::NotMeasured => PumpStateJson::NotMeasured,
        PumpState::Planned => PumpStateJson::Planned,
        PumpState::Bagged => PumpStateJson::Bagged,
        PumpState::Issued => PumpStateJson::Issued,
        PumpState::Rejected => PumpStateJson::Rejected,
        PumpState::Accepted => PumpStateJson::Accepted,
        PumpState::Short => PumpStateJson::Short,
        PumpState::Cancelled => PumpStateJson::Cancelled,
    }
}

fn entry(outage: &Outage, entry: &LedgerEntry) -> OutageEntryJson {
    let moved = |sign: i64| {
        let moves = entry.moves.iter().filter(|moved| moved.pieces * sign > 0);
        let count = |pieces: i64| u32::try_from(pieces * sign).unwrap_or(u32::MAX);
        moves
            .map(|moved| CountJson { item: moved.item.clone(), count: count(moved.pieces) })
            .collect()
    };
    OutageEntryJson {
        number: entry.number,
        at: entry.facts.at.clone(),
        date: entry.facts.date.clone(),
        who: entry.facts.who.clone(),
        why: entry.facts.why.clone(),
        booking: kind(&entry.booking),
        tag: entry.booking.tag().map(String::from),
        into_bins: moved(1),
        out_of_bins: moved(-1),
        undone: outage.is_undone(entry.number),
        sha256: entry.hash.clone(),
    }
}

fn kind(booking: &Booking) -> BookingJson {
    match booking {
        Booking::Bag { .. } => BookingJson::Bag,
        Booking::Issue { .. } => BookingJson::Issue,
        Booking::PutBack { .. } => BookingJson::PutBack,
        Booking::Receive { .. } => BookingJson::Receive,
        Booking::Scrap { .. } => BookingJson::Scrap,
        Booking::Count { .. } => BookingJson::Count,
        Booking::Cut { .. } => BookingJson::Cut,
        Booking::Opened { .. } => BookingJson::Opened,
        Booking::Swap { .. } => BookingJson::Swap,
        Booking::Reading { .. } | Booking::Measured { .. } => BookingJson::Reading,
        Booking::Accept { .. } => BookingJson::Accept,
        Booking::Cancel { .. } => BookingJson::Cancel,
        Booking::Reinstate { .. } => BookingJson::Reinstate,
        Booking::Undo { .. } => BookingJson::Undo,
        Booking::Plan(_) => BookingJson::Plan,
        Booking::TookOver(_) => BookingJson::TookOver,
    }
}
