//! Each booking in each state: allowed or refused, and the state after it. The table is written out by hand from the
//! description of the states in the manual.

use gapwright::outage::{
    Booking, Finding, Holding, ItemCount, Outage, PlanBooking, PumpState, TagNote, TookOver,
};

use crate::store::{ITEMS, book, kit, outage, piece, tagged, taken};

/// Bookings, each with the state after it by state before it: not measured, planned, bagged, issued, rejected,
/// accepted, short, cancelled. `-` is refused.
const TABLE: [(&str, [&str; 8]); 13] = [
    ("bag", ["-", "bagged", "-", "-", "-", "-", "-", "-"]),
    ("issue", ["-", "-", "issued", "-", "-", "-", "-", "-"]),
    ("put-back", ["-", "-", "planned", "planned", "planned", "-", "-", "cancelled"]),
    ("scrap from", ["-", "-", "bagged", "issued", "issued", "-", "-", "cancelled"]),
    ("swap", ["-", "-", "bagged", "issued", "issued", "-", "-", "-"]),
    (
        "dimension",
        ["not measured", "planned", "bagged", "issued", "rejected", "accepted", "short", "-"],
    ),
    ("reading", ["-", "-", "-", "issued", "issued", "-", "-", "-"]),
    ("rejected reading", ["-", "-", "-", "rejected", "rejected", "-", "-", "-"]),
    ("accept", ["-", "-", "-", "accepted", "-", "-", "-", "-"]),
    ("accept unread", ["-", "-", "-", "-", "-", "-", "-", "-"]),
    ("accept not met", ["-", "-", "-", "-", "-", "-", "-", "-"]),
    (
        "cancel",
        ["cancelled", "cancelled", "cancelled", "cancelled", "cancelled", "-", "cancelled", "-"],
    ),
    ("reinstate", ["-", "-", "-", "-", "-", "-", "-", "bagged"]),
];

#[test]
fn each_booking_in_each_state_does_what_the_table_says() {
    let before = outage();
    for (word, after) in TABLE {
        for (state, after) in PumpState::ALL.into_iter().zip(after) {
            let tag = state.words();
            assert_eq!(before.pump(tag).unwrap().state, state, "the pumps are named so");
            let mut outage = before.clone();
            match book(&mut outage, tagged(word, tag)) {
                Ok(_) => assert_eq!(outage.pump(tag).unwrap().state.words(), after, "{word} {tag}"),
                Err(refused) => {
                    assert_eq!(after, "-", "{word} {tag}: {refused:?}");
                    let texts = [&refused.found, &refused.expected, &refused.fix];
                    assert!(texts.iter().all(|text| !text.is_empty()), "{refused:?}");
                    assert_eq!(outage, before, "a refusal changes nothing");
                }
            }
        }
    }
}

fn pieces(outage: &Outage, item: &str) -> i64 {
    outage.stock_of(item).unwrap().pieces
}

fn refusal(outage: &mut Outage, booking: Booking) -> String {
    let refused = book(outage, booking).unwrap_err();
    format!("{}; {}", refused.found, refused.fix)
}

#[test]
fn stock_is_what_was_taken_over_and_came_in_less_what_left() {
    let mut outage = Outage::default();
    book(&mut outage, taken(5)).unwrap();
    book(&mut outage, Booking::Plan(plan_of(&["A"]))).unwrap();
    book(&mut outage, Booking::Receive { item: "s1".into(), count: 3 }).unwrap();
    book(&mut outage, tagged("bag", "a")).unwrap();
    assert_eq!([pieces(&outage, "S1"), pieces(&outage, "G1")], [6, 4]);
    // A piece of the bag is thrown away: the bin does not change, and the bag is short of it.
    book(&mut outage, tagged("scrap from", "A")).unwrap();
    assert_eq!([pieces(&outage, "S1"), i64::from(outage.pump("A").unwrap().missing())], [6, 1]);
    let why = refusal(&mut outage, tagged("issue", "A"));
    assert!(why.starts_with("the bag of A, 1 piece short of its kit"), "{why}");
    book(&mut outage, Booking::Swap { tag: "A".into(), out: vec![], into: vec![piece("S2", 1)] })
        .unwrap();
    assert_eq!(pieces(&outage, "S2"), 4);
    book(&mut outage, tagged("issue", "A")).unwrap();
    book(&mut outage, Booking::Count { item: "S1".into(), count: 2 }).unwrap();
    book(&mut outage, tagged("put-back", "A")).unwrap();
    assert_eq!([pieces(&outage, "S1"), pieces(&outage, "S2"), pieces(&outage, "G1")], [3, 5, 5]);
    let why = refusal(&mut outage, Booking::Scrap { item: "S1".into(), count: 4, from: None });
    assert!(why.starts_with("4 of S1 to be taken"), "{why}");
    let why = refusal(&mut outage, Booking::Receive { item: "S11".into(), count: 1 });
    assert!(why.contains("write `S1`"), "{why}");
}

fn plan_of(tags: &[&str]) -> PlanBooking {
    let kits = tags.iter().map(|tag| kit(tag, "S1", "G1")).collect();
    PlanBooking { code: "code".into(), kits, ..PlanBooking::default() }
}

#[test]
fn peeled_pieces_do_not_go_back_into_their_bin() {
    let mut outage = Outage::default();
    book(&mut outage, taken(5)).unwrap();
    let mut plan = plan_of(&["A"]);
    plan.kits[0].pieces[0].peeled_to = Some("0.006 in".into());
    book(&mut outage, Booking::Plan(plan)).unwrap();
    book(&mut outage, tagged("bag", "A")).unwrap();
    let mut swapped = outage.clone();
    book(&mut swapped, tagged("swap", "A")).unwrap();
    assert_eq!(["S1", "S2", "G1"].map(|item| pieces(&swapped, item)), [3, 4, 4]);
    book(&mut outage, tagged("put-back", "A")).unwrap();
    assert_eq!([pieces(&outage, "S1"), pieces(&outage, "G1")], [3, 5]);
}

#[test]
fn a_kit_keeps_its_number_while_it_is_unchanged_and_no_number_comes_twice() {
    let mut outage = Outage::default();
    book(&mut outage, taken(9)).unwrap();
    book(&mut outage, Booking::Plan(plan_of(&["A", "B"]))).unwrap();
    let number = |outage: &Outage, tag: &str| outage.pump(tag).unwrap().kit.clone().unwrap().number;
    assert_eq!([number(&outage, "A"), number(&outage, "B")], [1, 2]);
    let mut second = plan_of(&["A", "B", "C"]);
    second.kits[1] = kit("B", "S2", "G1");
    book(&mut outage, Booking::Plan(second.clone())).unwrap();
    assert_eq!(["A", "B", "C"].map(|tag| number(&outage, tag)), [1, 3, 4]);
    // Back to the first kit: its old slip is torn up, so it has a new number.
    book(&mut outage, Booking::Plan(plan_of(&["A", "B", "C"]))).unwrap();
    assert_eq!(["A", "B", "C"].map(|tag| number(&outage, tag)), [1, 5, 4]);
    assert_eq!(outage.last_plan().unwrap().number, 3);
    // A pump that left the workbook leaves the outage; its number is not given again.
    book(&mut outage, Booking::Plan(plan_of(&["A", "B"]))).unwrap();
    assert_eq!(outage.pump("C"), None);
    book(&mut outage, Booking::Plan(plan_of(&["A", "B", "C"]))).unwrap();
    assert_eq!(number(&outage, "C"), 6);
}

#[test]
fn a_plan_leaves_pumps_alone_whose_pieces_are_out() {
    let before = outage();
    let refused = |plan: PlanBooking| refusal(&mut before.clone(), Booking::Plan(plan));
    assert!(refused(plan_of(&["issued"])).contains("issued, which is issued"));
    let forgets = refused(plan_of(&["planned"]));
    assert!(forgets.contains("book `cancel accepted`"), "{forgets}");
    let note = |tag: &str| TagNote { tag: tag.into(), why: "the limit was moved".into() };
    let held = |not_fit: &[&str]| PlanBooking {
        kits: vec![kit("planned", "S1", "G1")],
        held: ["issued", "rejected", "accepted"].map(String::from).to_vec(),
        not_fit: not_fit.iter().map(|tag| note(tag)).collect(),
        ..PlanBooking::default()
    };
    let unknown = PlanBooking { kits: vec![kit("planned", "S9", "G1")], ..held(&["bagged"]) };
    assert!(refused(unknown).contains("the item `S9`"));
    let greedy = (0..9).map(|at| kit(&format!("new {at}"), "S1", "G2")).collect();
    let greedy = refused(PlanBooking { kits: greedy, ..held(&["bagged"]) });
    // Eighteen, of which two lie in the bag that is to be put back.
    assert!(greedy.starts_with("16 of S1 to be taken"), "{greedy}");
    let mut outage = before.clone();
    book(&mut outage, Booking::Plan(held(&["bagged"]))).unwrap();
    let why = refusal(&mut outage, tagged("issue", "bagged"));
    assert!(why.contains("NOT FIT TO ASSEMBLE: the limit was moved"), "{why}");
    // Out of its bag, it has no kit until the next plan.
    book(&mut outage, tagged("put-back", "bagged")).unwrap();
    assert_eq!(outage.pump("bagged").unwrap().state, PumpState::Short);
    assert!(refusal(&mut outage, tagged("bag", "bagged")).contains("NOT FIT TO ASSEMBLE"));
}

#[test]
fn a_kit_on_an_old_figure_is_not_bagged_or_issued() {
    for (tag, word) in [("planned", "bag"), ("bagged", "issue")] {
        let mut outage = outage();
        book(&mut outage, tagged("dimension", tag)).unwrap();
        let why = refusal(&mut outage, tagged(word, tag));
        assert!(why.contains("shoulder was measured again, 0.0412 in"), "{why}");
    }
}

#[test]
fn a_bag_that_was_packed_otherwise_says_so() {
    let mut outage = outage();
    let (without, with) = (vec![piece("S1", 1)], vec![piece("s3", 1)]);
    let bag = Booking::Bag { tag: "planned".into(), without, with };
    book(&mut outage, bag).unwrap();
    let pump = outage.pump("planned").unwrap();
    assert!(pump.differs());
    assert!(pump.bag.iter().any(|piece| piece.item == "S3"), "spelled as in the stock");
    assert_eq!(pump.missing(), 0);
    assert_eq!([pieces(&outage, "S1"), pieces(&outage, "S3")], [20 - 10 - 1, 19]);
    assert!(!outage.pump("bagged").unwrap().differs());
    let gone = Booking::Swap { tag: "planned".into(), out: vec![piece("S2", 1)], into: vec![] };
    assert!(refusal(&mut outage, gone).starts_with("1 x S2 out of the bag of planned"));
}

#[test]
fn a_third_reading_of_a_place_begins_again() {
    let mut outage = outage();
    let read = |value: &str| Booking::Reading {
        tag: "issued".into(),
        what: "clearance".into(),
        value: value.into(),
        finding: Finding::Open { why: "differs".into() },
    };
    for (value, expected) in
        [("1 mm", ("1 mm", None)), ("2 mm", ("1 mm", Some("2 mm"))), ("3 mm", ("3 mm", None))]
    {
        book(&mut outage, read(value)).unwrap();
        let bench = &outage.pump("issued").unwrap().bench;
        assert_eq!((bench[0].first.as_str(), bench[0].again.as_deref()), expected);
    }
    // Other pieces: readings of the old ones no longer count.
    book(&mut outage, tagged("swap", "issued")).unwrap();
    assert!(outage.pump("issued").unwrap().bench.is_empty());
}

#[test]
fn an_entry_is_undone_by_another_unless_a_later_one_depends_on_it() {
    let undo = |entry| Booking::Undo { entry };
    // Each kind of booking about a pump is undone to the state before.
    for state in PumpState::ALL {
        for (word, after) in TABLE {
            let before = outage();
            let mut later = before.clone();
            if after[PumpState::ALL.iter().position(|s| *s == state).unwrap()] == "-" {
                continue;
            }
            let entry = book(&mut later, tagged(word, state.words())).unwrap();
            book(&mut later, undo(entry)).unwrap();
            assert_eq!(later.pump(state.words()), before.pump(state.words()), "{word} {state:?}");
            assert!(later.stock().eq(before.stock()), "{word} {state:?}");
            assert!(refusal(&mut later, undo(entry)).contains("undone already"));
        }
    }
    // In the reverse order only.
    let mut outage = outage();
    let bag = book(&mut outage, tagged("bag", "planned")).unwrap();
    let issue = book(&mut outage, tagged("issue", "planned")).unwrap();
    let why = refusal(&mut outage, undo(bag));
    assert!(why.contains(&format!("which entry {issue} (issue) depends on")), "{why}");
    book(&mut outage, undo(issue)).unwrap();
    book(&mut outage, undo(bag)).unwrap();
    assert_eq!(outage.pump("planned").unwrap().state, PumpState::Planned);
    // A count has seen what lay in the bin.
    let receive = book(&mut outage, Booking::Receive { item: "S1".into(), count: 1 }).unwrap();
    let count = book(&mut outage, Booking::Count { item: "S1".into(), count: 7 }).unwrap();
    assert!(refusal(&mut outage, undo(receive)).contains("count the item again"));
    book(&mut outage, undo(count)).unwrap();
    book(&mut outage, undo(receive)).unwrap();
    // Pieces that came in and went out again.
    let receive = book(&mut outage, Booking::Receive { item: "S3".into(), count: 1 }).unwrap();
    book(&mut outage, Booking::Scrap { item: "S3".into(), count: 21, from: None }).unwrap();
    assert!(refusal(&mut outage, undo(receive)).starts_with("1 of S3 to be taken"));
    // A plan, a takeover, an undoing and what is not there.
    for (entry, fix) in
        [(2, "a new plan"), (1, "correct the workbook"), (99, "look up"), (0, "look up")]
    {
        assert!(refusal(&mut outage, undo(entry)).contains(fix), "{entry}");
    }
    // Pieces that a plan counted on.
    let bag = book(&mut outage, tagged("bag", "planned")).unwrap();
    let held = ["planned", "bagged", "issued", "rejected", "accepted"].map(String::from).to_vec();
    book(&mut outage, Booking::Plan(PlanBooking { held, ..PlanBooking::default() })).unwrap();
    assert!(refusal(&mut outage, undo(bag)).contains("(plan) depends on"));
}

#[test]
fn a_cancelled_pump_whose_pieces_went_back_waits_for_a_plan() {
    let mut outage = outage();
    book(&mut outage, tagged("put-back", "cancelled")).unwrap();
    book(&mut outage, tagged("reinstate", "cancelled")).unwrap();
    let pump = outage.pump("cancelled").unwrap();
    assert_eq!(
        (pump.state, pump.why.as_deref()),
        (PumpState::Short, Some("it waits for the next plan"))
    );
}

#[test]
fn counts_that_differ_from_both_are_listed_and_one_of_them_is_chosen() {
    let mut outage = Outage::default();
    book(&mut outage, taken(5)).unwrap();
    book(&mut outage, Booking::Scrap { item: "S1".into(), count: 2, from: None }).unwrap();
    book(&mut outage, Booking::Scrap { item: "S2".into(), count: 2, from: None }).unwrap();
    // S1 as taken over, S2 as the ledger has it, S3 neither, G2 without a row, S9 new.
    let counts = [("S1", 5), ("S2", 3), ("S3", 8), ("G1", 5), ("S9", 4)]
        .map(|(item, count)| ItemCount { item: item.into(), count });
    let differences = outage.differences(&counts);
    let found: Vec<_> =
        differences.iter().map(|d| (d.item.as_str(), d.workbook, d.taken, d.ledger)).collect();
    assert_eq!(found, [("G2", None, Some(5), 5), ("S3", Some(8), Some(5), 5)]);
    let take = |holds| {
        Booking::TookOver(TookOver { counts: counts.to_vec(), holds, ..TookOver::default() })
    };
    assert!(refusal(&mut outage, take(None)).contains("--counts workbook"));
    for (holds, expected) in
        [(Holding::Ledger, [3, 3, 5, 5, 5, 4]), (Holding::Workbook, [3, 3, 8, 5, 0, 4])]
    {
        let mut outage = outage.clone();
        book(&mut outage, take(Some(holds))).unwrap();
        let now = ITEMS.iter().chain(&["S9"]).map(|item| pieces(&outage, item));
        assert!(now.eq(expected), "{holds:?}");
        assert!(outage.differences(&counts).is_empty(), "one choice settles it");
    }
}
