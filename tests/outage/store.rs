//! A small invented outage: five items, and pumps with kits of them.

use gapwright::outage::{
    Booking, BookingRefusal, Circumstances, Finding, ItemCount, KitPiece, Outage, PlanBooking,
    PlannedKit, TagNote, TookOver,
};

pub const ITEMS: [&str; 5] = ["S1", "S2", "S3", "G1", "G2"];

pub fn facts(request: &str) -> Circumstances {
    Circumstances {
        request: request.into(),
        at: "2027-03-01T08:00:00Z".into(),
        date: "2027-03-01".into(),
        who: "Kim".into(),
        why: "as picked".into(),
    }
}

pub fn piece(item: &str, count: u32) -> KitPiece {
    KitPiece { place: String::new(), item: item.into(), count, peeled_to: None }
}

pub fn at(place: &str, item: &str, count: u32) -> KitPiece {
    KitPiece { place: place.into(), ..piece(item, count) }
}

pub fn kit(tag: &str, shim: &str, gasket: &str) -> PlannedKit {
    PlannedKit { tag: tag.into(), pieces: vec![at("shims", shim, 2), at("gaskets", gasket, 1)] }
}

/// Books one thing, or says why it is refused. The ledger must follow from what it gives itself.
pub fn book(outage: &mut Outage, booking: Booking) -> Result<u32, BookingRefusal> {
    let request = format!("r{}", outage.head().number + 1);
    let entry = outage.book(facts(&request), booking)?;
    Ok(outage.follow(entry).expect("what can be booked follows"))
}

pub fn taken(count: u32) -> Booking {
    let counts = ITEMS.map(|item| ItemCount { item: item.into(), count });
    Booking::TookOver(TookOver { counts: counts.to_vec(), ..TookOver::default() })
}

pub fn tagged(word: &str, tag: &str) -> Booking {
    let tag = tag.to_string();
    let conforms = Finding::Conforms;
    match word {
        "bag" => Booking::Bag { tag, without: Vec::new(), with: Vec::new() },
        "issue" => Booking::Issue { tag },
        "put-back" => Booking::PutBack { tag },
        "scrap from" => Booking::Scrap { item: "S1".into(), count: 1, from: Some(tag) },
        "swap" => Booking::Swap { tag, out: vec![piece("S1", 1)], into: vec![piece("S2", 1)] },
        "dimension" => Booking::Measured {
            tag,
            what: "shoulder".into(),
            value: "0.0412 in".into(),
            heading: "shoulder".into(),
            cell: String::new(),
        },
        "reading" => Booking::Reading {
            tag,
            what: "clearance".into(),
            value: "0.0212 in".into(),
            finding: conforms,
        },
        "rejected reading" => Booking::Reading {
            tag,
            what: "clearance".into(),
            value: "0.0312 in".into(),
            finding: Finding::NotMet { why: "above its limit".into() },
        },
        "accept" => Booking::Accept { tag, finding: conforms },
        "accept unread" => {
            Booking::Accept { tag, finding: Finding::Open { why: "not read".into() } }
        }
        "accept not met" => {
            Booking::Accept { tag, finding: Finding::NotMet { why: "above its limit".into() } }
        }
        "cancel" => Booking::Cancel { tag },
        "reinstate" => Booking::Reinstate { tag },
        other => panic!("{other}"),
    }
}

/// A plan with one pump for each state, named after it.
pub fn plan() -> PlanBooking {
    let tags = ["planned", "bagged", "issued", "rejected", "accepted", "cancelled"];
    let note = |tag: &str| TagNote { tag: tag.into(), why: "invented".into() };
    PlanBooking {
        code: "0123456789ab".into(),
        kits: tags.map(|tag| kit(tag, "S1", "G1")).to_vec(),
        short: vec![note("short")],
        waiting: vec![note("not measured")],
        ..PlanBooking::default()
    }
}

/// An outage with a pump in each state.
pub fn outage() -> Outage {
    let mut outage = Outage::default();
    book(&mut outage, taken(20)).unwrap();
    book(&mut outage, Booking::Plan(plan())).unwrap();
    for (tag, words) in [
        ("bagged", &["bag"][..]),
        ("issued", &["bag", "issue"]),
        ("rejected", &["bag", "issue", "rejected reading"]),
        ("accepted", &["bag", "issue", "reading", "accept"]),
        ("cancelled", &["bag", "cancel"]),
    ] {
        for word in words {
            book(&mut outage, tagged(word, tag)).unwrap();
        }
    }
    outage
}
