//! Random weeks of bookings beside a plain store that only adds and takes away.

use std::collections::BTreeMap;

use gapwright::outage::{Booking, Outage, PlanBooking, PumpState, TagNote};
use gapwright::outage_file::OutageFile;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::store::{ITEMS, book, kit, piece, tagged, taken};

const TAGS: [&str; 4] = ["A", "B", "C", "D"];

/// Pieces in the bins and in each bag, and nothing else.
#[derive(Clone, Default)]
struct Plain {
    bins: BTreeMap<String, i64>,
    bags: BTreeMap<String, BTreeMap<String, i64>>,
}

impl Plain {
    fn bin(&mut self, item: &str, pieces: i64) {
        *self.bins.entry(item.into()).or_default() += pieces;
    }

    fn bag(&mut self, tag: &str, item: &str, pieces: i64) {
        *self.bags.entry(tag.into()).or_default().entry(item.into()).or_default() += pieces;
    }

    fn empty(&mut self, tag: &str) {
        for (item, pieces) in self.bags.remove(tag).unwrap_or_default() {
            self.bin(&item, pieces);
        }
    }
}

/// A booking at random, and its effect on the plain store.
fn draw(rng: &mut ChaCha8Rng, outage: &Outage, plain: &Plain) -> (Booking, Plain) {
    let tag = TAGS[rng.random_range(0..TAGS.len())];
    let item = ITEMS[rng.random_range(0..ITEMS.len())].to_string();
    let count = rng.random_range(1..4_u32);
    let pieces = i64::from(count);
    let mut after = plain.clone();
    let booking = match rng.random_range(0..18) {
        0 | 1 => {
            let mut plan = PlanBooking { code: "c".into(), ..PlanBooking::default() };
            for tag in TAGS {
                let state = outage.pump(tag).map(|pump| pump.state);
                // Of a bag: it stays closed, is to be reopened, or does not conform.
                let bagged = (state == Some(PumpState::Bagged)).then(|| rng.random_range(0..4));
                match (state, bagged) {
                    (_, Some(1)) => {
                        let why = "the limit was moved".into();
                        plan.not_fit.push(TagNote { tag: tag.into(), why });
                    }
                    (state, Some(0)) | (state, None)
                        if state.is_none_or(|of| of.is_in_play() || of == PumpState::Bagged) =>
                    {
                        let shim = ["S1", "S2", "S3"][rng.random_range(0..3)];
                        plan.kits.push(kit(tag, shim, ["G1", "G2"][rng.random_range(0..2)]));
                    }
                    _ => plan.held.push(tag.into()),
                }
            }
            Booking::Plan(plan)
        }
        2..=4 => {
            let planned = outage.pump(tag).and_then(|pump| pump.kit.clone());
            for piece in planned.iter().flat_map(|kit| &kit.pieces) {
                after.bin(&piece.item, -i64::from(piece.count));
                after.bag(tag, &piece.item, piece.count.into());
            }
            let (mut without, mut with) = (Vec::new(), Vec::new());
            if let Some(first) = planned.and_then(|kit| kit.pieces.first().cloned())
                && rng.random_range(0..3) == 0
            {
                // One piece of it short, another instead.
                after.bin(&first.item, 1);
                after.bag(tag, &first.item, -1);
                after.bin(&item, -pieces);
                after.bag(tag, &item, pieces);
                without.push(piece(&first.item, 1));
                with.push(piece(&item, count));
            }
            Booking::Bag { tag: tag.into(), without, with }
        }
        5 | 17 => tagged("issue", tag),
        6 | 7 => {
            after.empty(tag);
            tagged("put-back", tag)
        }
        8 => {
            after.bin(&item, pieces);
            Booking::Receive { item, count }
        }
        9 => {
            after.bin(&item, -pieces);
            Booking::Scrap { item, count, from: None }
        }
        10 => {
            after.bag(tag, &item, -pieces);
            Booking::Scrap { item, count, from: Some(tag.into()) }
        }
        11 => {
            after.bins.insert(item.clone(), pieces + 3);
            Booking::Count { item, count: count + 3 }
        }
        12 => {
            let gone = ITEMS[rng.random_range(0..ITEMS.len())];
            after.bag(tag, gone, -1);
            after.bin(gone, 1);
            after.bin(&item, -pieces);
            after.bag(tag, &item, pieces);
            Booking::Swap {
                tag: tag.into(),
                out: vec![piece(gone, 1)],
                into: vec![piece(&item, count)],
            }
        }
        13 | 16 => {
            let words = ["reading", "rejected reading", "dimension", "accept", "accept", "accept"];
            tagged(words[rng.random_range(0..words.len())], tag)
        }
        14 => tagged(["cancel", "reinstate"][rng.random_range(0..2)], tag),
        _ => Booking::Undo { entry: rng.random_range(1..=outage.head().number) },
    };
    (booking, after)
}

/// Effect of an undoing on the plain store: all that the entry moved, the other way round.
fn undone(outage: &Outage, entry: u32, plain: &Plain, before: &BTreeMap<u32, [Plain; 2]>) -> Plain {
    let mut after = plain.clone();
    let [was, then] = &before[&entry];
    for item in ITEMS {
        let of = |plain: &Plain| plain.bins.get(item).copied().unwrap_or(0);
        after.bin(item, of(was) - of(then));
    }
    if let Some(tag) = outage.entry(entry).and_then(|entry| entry.booking.tag()) {
        after.bags.remove(tag);
        if let Some(bag) = was.bags.get(tag) {
            after.bags.insert(tag.into(), bag.clone());
        }
    }
    after
}

fn agrees(outage: &Outage, plain: &Plain) -> bool {
    let bins = outage.stock().all(|lot| plain.bins.get(&lot.item) == Some(&lot.pieces));
    let bags = outage.pumps().all(|pump| {
        let mut sums: BTreeMap<String, i64> = BTreeMap::new();
        for piece in &pump.bag {
            *sums.entry(piece.item.clone()).or_default() += i64::from(piece.count);
        }
        let plain = plain.bags.get(&pump.tag).into_iter().flatten();
        let plain: BTreeMap<String, i64> =
            plain.filter(|(_, n)| **n != 0).map(|(item, n)| (item.clone(), *n)).collect();
        sums == plain
    });
    bins && bags
}

#[test]
fn random_weeks_end_with_the_pieces_of_a_store_that_only_adds_and_takes_away() {
    let folder = tempfile::tempdir().unwrap();
    let mut seen: BTreeMap<&str, [u32; 2]> = BTreeMap::new();
    let mut states: BTreeMap<PumpState, u32> = BTreeMap::new();
    let mut reopened = 0;
    for seed in 0..400 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut outage = Outage::default();
        let first = rng.random_range(2..12);
        book(&mut outage, taken(first)).unwrap();
        let bins = ITEMS.map(|item| (item.to_string(), i64::from(first)));
        let mut plain = Plain { bins: bins.into(), ..Plain::default() };
        let mut before = BTreeMap::new();
        for _ in 0..60 {
            let (booking, after) = draw(&mut rng, &outage, &plain);
            let after = match booking {
                Booking::Undo { entry } if before.contains_key(&entry) => {
                    undone(&outage, entry, &plain, &before)
                }
                _ => after,
            };
            let word = booking.word();
            let result = book(&mut outage, booking);
            let counts = seen.entry(word).or_default();
            match result {
                Ok(number) => {
                    counts[0] += 1;
                    before.insert(number, [plain, after.clone()]);
                    plain = after;
                }
                Err(_) => counts[1] += 1,
            }
            reopened += outage.pumps().filter(|pump| pump.reopen).count();
            // Only a bag is reopened, and it is never issued before it is packed anew.
            let all = outage.pumps().filter(|pump| pump.reopen);
            assert!(
                all.map(|pump| pump.state)
                    .all(|of| of == PumpState::Bagged || of == PumpState::Cancelled)
            );
            assert!(agrees(&outage, &plain), "seed {seed}: {:?}", outage.entries().last());
            assert!(plain.bins.values().all(|pieces| *pieces >= 0), "seed {seed}");
        }
        outage.pumps().for_each(|pump| *states.entry(pump.state).or_default() += 1);
        // The same entries, gone through again, come to the same outage.
        let mut again = Outage::default();
        for entry in outage.entries() {
            again.follow(entry.clone()).unwrap();
        }
        assert_eq!(again, outage);
        if seed % 20 == 0 {
            on_disk(&folder.path().join(format!("{seed}.outage")), &outage);
        }
    }
    assert!(reopened > 100, "{reopened}");
    for word in [
        "bag",
        "issue",
        "put-back",
        "receive",
        "scrap",
        "count",
        "swap",
        "reading",
        "accept",
        "cancel",
        "reinstate",
        "undo",
        "plan",
    ] {
        let [booked, refused] = seen[word];
        assert!(booked > 25, "{word}: {booked} booked");
        assert!(refused > 20 || matches!(word, "receive" | "count"), "{word}: {refused} refused");
    }
    for state in [
        PumpState::Planned,
        PumpState::Bagged,
        PumpState::Issued,
        PumpState::Accepted,
        PumpState::Cancelled,
    ] {
        assert!(states.get(&state).is_some_and(|pumps| *pumps > 20), "{states:?}");
    }
}

/// A week booked into a file in one go is the week, opened again too.
fn on_disk(path: &std::path::Path, outage: &Outage) {
    let mut file = OutageFile::begin(path).unwrap();
    let drafts = outage.entries().iter().map(|entry| (entry.facts.clone(), entry.booking.clone()));
    file.book(drafts.collect(), &Vec::new()).unwrap();
    assert_eq!(file.outage(), outage);
    assert_eq!(OutageFile::open(path).unwrap().outage(), outage);
}
