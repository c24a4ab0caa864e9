//! The rules: what each booking does, or why it cannot be.
//!
//! Every booking goes through [`effect`], when it is booked and whenever its file is opened.
//!
//! # Decision
//!
//! A rule that becomes stricter later must ask the version of the file: an entry that was booked once must fold for ever.

mod plan;
mod shared;
mod undo;

use std::collections::BTreeMap;
use std::sync::Arc;

use super::booking::{Booking, Finding, KitPiece};
use super::pump::{BenchReading, MeasuredDimension, OutagePump, PumpState};
use super::{BookingRefusal, Outage, StockMove};
use crate::issue::key;
use crate::model::NOT_FIT;
use crate::problem::fix_name;

/// Everything that a booking changes.
#[derive(Debug, Default)]
pub(super) struct Effect {
    /// Moves of the stock.
    pub(super) moves: Vec<StockMove>,
    /// Pumps that change, by their key; `None` leaves the outage.
    pub(super) pumps: Vec<(String, Option<Arc<OutagePump>>)>,
    /// Kits that are numbered by it.
    pub(super) kits: u32,
}

type Effected = Result<Effect, BookingRefusal>;

/// Reason of a pump that came back too late for the last plan.
const NEXT_PLAN: &str = "it waits for the next plan";

/// Effect of a booking on an outage.
pub(super) fn effect(outage: &Outage, booking: &Booking) -> Effected {
    match booking {
        Booking::Bag { tag, without, with } => bag(outage, tag, without, with),
        Booking::Issue { tag } => issue(outage, tag),
        Booking::PutBack { tag } => put_back(outage, tag),
        Booking::Receive { item, count } => in_bin(outage, item, i64::from(some(*count)?)),
        Booking::Scrap { item, count, from: None } => {
            in_bin(outage, item, -i64::from(some(*count)?))
        }
        Booking::Scrap { item, count, from: Some(tag) } => scrap_from(outage, item, *count, tag),
        Booking::Count { item, count } => {
            let there = outage.stock_of(item).ok_or_else(|| unknown_item(outage, item))?;
            in_bin(outage, item, i64::from(*count) - there.pieces)
        }
        Booking::Cut { plate } => shared::cut(outage, plate),
        Booking::Opened { item } => shared::opened(outage, item),
        Booking::Swap { tag, out, into } => swap(outage, tag, out, into),
        Booking::Reading { tag, what, value, finding } => {
            read_at_bench(outage, tag, [what, value], finding)
        }
        Booking::Measured { tag, what, value, heading, cell } => {
            let [what, value, heading, cell] = [what, value, heading, cell].map(String::clone);
            measured(outage, tag, MeasuredDimension { what, value, heading, cell })
        }
        Booking::Accept { tag, finding } => accept(outage, tag, finding),
        Booking::Cancel { tag } => cancel(outage, tag),
        Booking::Reinstate { tag } => reinstate(outage, tag),
        Booking::Undo { entry } => undo::undo(outage, *entry),
        Booking::Plan(booking) => plan::planned(outage, booking),
        Booking::TookOver(taken) => plan::took_over(outage, taken),
    }
}

/// A pump that changes, with the moves of the stock that go with it.
fn changed(pump: OutagePump, moves: Vec<StockMove>) -> Effect {
    Effect { moves, pumps: vec![(key(&pump.tag), Some(Arc::new(pump)))], kits: 0 }
}

/// A number of pieces, of which there must be at least one.
fn some(count: u32) -> Result<u32, BookingRefusal> {
    let none =
        || BookingRefusal::new("0 pieces", "one piece at least", "give the number of pieces");
    if count == 0 { Err(none()) } else { Ok(count) }
}

fn unknown_item(outage: &Outage, item: &str) -> BookingRefusal {
    let known = outage.stock().map(|lot| lot.item.as_str());
    BookingRefusal::new(
        format!("the item `{item}`"),
        "an item of the stock workbook that was taken over",
        fix_name(
            item,
            known,
            "add its row to the stock workbook, then run `gapwright kit --outage`",
        ),
    )
}

/// Pieces into a bin, or out of it.
fn in_bin(outage: &Outage, item: &str, pieces: i64) -> Effected {
    let moves = moves(outage, [(item, pieces)])?;
    Ok(Effect { moves, ..Effect::default() })
}

/// Moves of the stock, one per item in ascending order; no bin may come to less than zero.
fn moves<'a>(
    outage: &Outage,
    pieces: impl IntoIterator<Item = (&'a str, i64)>,
) -> Result<Vec<StockMove>, BookingRefusal> {
    moves_with(outage, &[], pieces)
}

/// Moves of a stock with these new lots, which have no pieces yet.
fn moves_with<'a>(
    outage: &Outage,
    new: &[&str],
    pieces: impl IntoIterator<Item = (&'a str, i64)>,
) -> Result<Vec<StockMove>, BookingRefusal> {
    let mut sums: BTreeMap<String, (&str, i64)> = BTreeMap::new();
    for (item, count) in pieces {
        sums.entry(key(item)).or_insert((item, 0)).1 += count;
    }
    let mut moves = Vec::new();
    for (item, pieces) in sums.into_values().filter(|(_, pieces)| *pieces != 0) {
        let (item, left) = match outage.stock_of(item) {
            Some(lot) => (lot.item.as_str(), lot.pieces),
            None if new.iter().any(|new| key(new) == key(item)) => (item, 0),
            None => return Err(unknown_item(outage, item)),
        };
        if left + pieces < 0 {
            return Err(BookingRefusal::new(
                format!("{} of {item} to be taken", -pieces),
                format!("no more than the {left} that are left by the ledger"),
                format!("look into the bin; if there are more, book `count {item} N` first"),
            ));
        }
        moves.push(StockMove { item: item.to_string(), pieces });
    }
    Ok(moves)
}

/// Pieces that go back into their bins: a peeled one is no longer a piece of its item.
fn back(pieces: &[KitPiece]) -> impl Iterator<Item = (&str, i64)> {
    let whole = pieces.iter().filter(|piece| piece.peeled_to.is_none());
    whole.map(|piece| (piece.item.as_str(), i64::from(piece.count)))
}

/// Pieces that leave their bins.
fn out(pieces: &[KitPiece]) -> impl Iterator<Item = (&str, i64)> {
    pieces.iter().map(|piece| (piece.item.as_str(), -i64::from(piece.count)))
}

/// Pieces of one place, item and thickness together, in ascending order.
fn sorted(pieces: impl IntoIterator<Item = KitPiece>) -> Vec<KitPiece> {
    let mut sums: BTreeMap<(String, String, Option<String>), u32> = BTreeMap::new();
    for piece in pieces {
        let sum = sums.entry((piece.place, piece.item, piece.peeled_to)).or_default();
        *sum = sum.saturating_add(piece.count);
    }
    let pieces = sums.into_iter().filter(|(_, count)| *count > 0);
    pieces
        .map(|((place, item, peeled_to), count)| KitPiece { place, item, count, peeled_to })
        .collect()
}

/// Pieces without some of them. Those that name no place are taken wherever they are.
fn less(pieces: &[KitPiece], gone: &[KitPiece], of: &str) -> Result<Vec<KitPiece>, BookingRefusal> {
    let mut left = pieces.to_vec();
    for piece in gone {
        let mut open = some(piece.count)?;
        let same = |there: &&mut KitPiece| {
            key(&there.item) == key(&piece.item)
                && (piece.place.is_empty() || there.place == piece.place)
                && (piece.peeled_to.is_none() || there.peeled_to == piece.peeled_to)
        };
        for there in left.iter_mut().filter(same) {
            let taken = open.min(there.count);
            there.count -= taken;
            open -= taken;
        }
        if open > 0 {
            let items: Vec<String> = pieces.iter().map(KitPiece::to_string).collect();
            return Err(BookingRefusal::new(
                format!("{piece} out of {of}"),
                format!("pieces of it: {}", items.join(", ")),
                "give an item that is in it, and no more pieces than it holds",
            ));
        }
    }
    Ok(sorted(left))
}

/// The pump of a tag, in one of these states.
fn pump<'o>(
    outage: &'o Outage,
    tag: &str,
    word: &str,
    may: &[PumpState],
) -> Result<&'o OutagePump, BookingRefusal> {
    let pump = outage.pump(tag).ok_or_else(|| {
        let known = outage.pumps().map(|pump| pump.tag.as_str());
        BookingRefusal::new(
            format!("the pump `{tag}`"),
            "a pump of the outage",
            fix_name(
                tag,
                known,
                "add its row to the pump workbook, then run `gapwright kit --outage`",
            ),
        )
    })?;
    if may.contains(&pump.state) {
        return Ok(pump);
    }
    let states: Vec<&str> = may.iter().map(|state| state.words()).collect();
    Err(BookingRefusal::new(
        format!("{word} {}, which is {}", pump.tag, pump.state.words()),
        format!("a pump that is {}", states.join(" or ")),
        instead(pump),
    ))
}

/// Step that a pump in its state is open for.
fn instead(pump: &OutagePump) -> String {
    let tag = &pump.tag;
    match pump.state {
        PumpState::NotMeasured => "measure it, then run `gapwright kit --outage`".into(),
        PumpState::Planned => format!("pick its pieces and book `bag {tag}`"),
        PumpState::Bagged if pump.is_to_be_put_back() => format!("book `put-back {tag}`"),
        PumpState::Bagged => format!("book `issue {tag}` or `put-back {tag}`"),
        PumpState::Issued => format!("book its readings and `accept {tag}`, or `put-back {tag}`"),
        PumpState::Rejected => format!("measure again, or book `swap {tag}` or `put-back {tag}`"),
        PumpState::Accepted => format!("if the acceptance of {tag} was wrong, undo its entry"),
        PumpState::Short => format!("{NOT_FIT}: it has no kit; run `gapwright kit --outage` again"),
        PumpState::Cancelled if pump.bag.is_empty() => format!("book `reinstate {tag}` first"),
        PumpState::Cancelled => format!("book `put-back {tag}`, or `reinstate {tag}`"),
    }
}

/// Pieces with their items spelled as in the stock.
fn known(outage: &Outage, pieces: &[KitPiece]) -> Result<Vec<KitPiece>, BookingRefusal> {
    let known = pieces.iter().map(|piece| {
        let lot = outage.stock_of(&piece.item).ok_or_else(|| unknown_item(outage, &piece.item))?;
        Ok(KitPiece { item: lot.item.clone(), ..piece.clone() })
    });
    known.collect()
}

fn bag(outage: &Outage, tag: &str, without: &[KitPiece], with: &[KitPiece]) -> Effected {
    let pump = pump(outage, tag, "bag", &[PumpState::Planned])?;
    fits(pump)?;
    let bag = packed(outage, pump, without, with)?;
    if bag.is_empty() {
        return Err(BookingRefusal::new(
            format!("a bag of {} without a piece", pump.tag),
            "pieces in the bag",
            "leave it planned until its pieces are there",
        ));
    }
    let moves = moves(outage, out(&bag)).map_err(|refused| in_other_bags(outage, &bag, refused))?;
    Ok(changed(OutagePump { state: PumpState::Bagged, bag, ..pump.clone() }, moves))
}

/// Pieces of a bag: those of its kit, without some and with others.
fn packed(
    outage: &Outage,
    pump: &OutagePump,
    without: &[KitPiece],
    with: &[KitPiece],
) -> Result<Vec<KitPiece>, BookingRefusal> {
    let planned = pump.kit.as_ref().map_or(&[][..], |kit| &kit.pieces);
    let rest = less(planned, without, &format!("the kit of {}", pump.tag))?;
    let with = placed(pump, &rest, known(outage, with)?);
    Ok(sorted(rest.into_iter().chain(with)))
}

/// Refusal of pieces that are not in their bins, naming the plate that is cut or the bags that the plan reopens for them.
fn in_other_bags(outage: &Outage, bag: &[KitPiece], refused: BookingRefusal) -> BookingRefusal {
    let lacks = |piece: &&KitPiece| {
        let there = outage.stock_of(&piece.item).map_or(0, |lot| lot.pieces);
        there < i64::from(piece.count)
    };
    let lacking: Vec<String> = bag.iter().filter(lacks).map(|piece| key(&piece.item)).collect();
    let holds = |pump: &&OutagePump| {
        let mut pieces = pump.bag.iter();
        pump.is_to_be_put_back() && pieces.any(|piece| lacking.contains(&key(&piece.item)))
    };
    let tags: Vec<&str> = outage.pumps().filter(holds).map(|pump| &*pump.tag).collect();
    let mut cuts = outage.plates_to_cut();
    let cut = cuts.find(|cut| cut.lots.iter().any(|lot| lacking.contains(&key(&lot.item))));
    if let Some(cut) = cut {
        return BookingRefusal { fix: format!("book `cut {}` first", cut.plate), ..refused };
    }
    match tags.as_slice() {
        [] => refused,
        tags => {
            let tags = tags.join(" ");
            let fix = format!("the plan reopens the bag of {tags}: book `put-back {tags}` first");
            BookingRefusal { fix, ..refused }
        }
    }
}

/// Refuses to go on with pieces that do not conform on the figures of today.
fn fits(pump: &OutagePump) -> Result<(), BookingRefusal> {
    let Some(why) = &pump.not_fit else {
        return Ok(());
    };
    Err(BookingRefusal::new(
        format!("the kit of {}, {NOT_FIT}: {why}", pump.tag),
        "a kit that conforms on the figures of today",
        "run `gapwright kit --outage` again; put a bag back first, so that its pump gets another kit",
    ))
}

fn issue(outage: &Outage, tag: &str) -> Effected {
    let pump = pump(outage, tag, "issue", &[PumpState::Bagged])?;
    fits(pump)?;
    let tag = &pump.tag;
    if pump.reopen {
        let kit = pump.kit.as_ref().map_or(0, |kit| kit.number);
        return Err(BookingRefusal::new(
            format!("issue {tag}, whose bag the last plan reopens"),
            format!("a bag with the pieces of kit {kit}"),
            format!(
                "book `put-back {tag}`, pick kit {kit} and book `bag {tag}`; or plan again with --hold {tag}"
            ),
        ));
    }
    if let Some(lacking) = pump.lacking() {
        return Err(BookingRefusal::new(
            format!("the bag of {tag}, {lacking}"),
            "a complete bag",
            format!(
                "put the pieces in and book `swap {tag} --in ITEM`, or book `put-back {tag}` and plan again"
            ),
        ));
    }
    Ok(changed(OutagePump { state: PumpState::Issued, ..pump.clone() }, Vec::new()))
}

fn put_back(outage: &Outage, tag: &str) -> Effected {
    use PumpState::{Bagged, Cancelled, Issued, Planned, Rejected, Short};
    let pump = pump(outage, tag, "put back", &[Bagged, Issued, Rejected, Cancelled])?;
    if pump.bag.is_empty() {
        return Err(BookingRefusal::new(
            format!("put back {}, whose bag is empty", pump.tag),
            "a bag with pieces",
            "nothing is to be put back",
        ));
    }
    let moves = moves(outage, back(&pump.bag))?;
    let mut after =
        OutagePump { bag: Vec::new(), bench: Vec::new(), finding: None, ..pump.clone() };
    if pump.state == Cancelled {
        waits_for_a_plan(&mut after);
    } else if after.not_fit.is_some() {
        after.state = Short;
        after.why = after.not_fit.take();
        after.kit = None;
    } else {
        after.state = Planned;
    }
    after.reopen = false;
    Ok(changed(after, moves))
}

/// A cancelled pump whose pieces are free for others: it has no kit any more.
fn waits_for_a_plan(pump: &mut OutagePump) {
    pump.kit = None;
    pump.not_fit = None;
    pump.before_cancel = Some(PumpState::Short);
    pump.why = Some(NEXT_PLAN.into());
}

fn scrap_from(outage: &Outage, item: &str, count: u32, tag: &str) -> Effected {
    use PumpState::{Bagged, Cancelled, Issued, Rejected};
    let pump = pump(outage, tag, "scrap from", &[Bagged, Issued, Rejected, Cancelled])?;
    let gone =
        KitPiece { place: String::new(), item: item.into(), count: some(count)?, peeled_to: None };
    let bag = less(&pump.bag, &[gone], &format!("the bag of {}", pump.tag))?;
    Ok(changed(OutagePump { bag, ..without_readings(pump) }, Vec::new()))
}

/// Pieces that go into a bag, with the places for which its kit still lacks them. A piece that the kit does not ask for keeps
/// its place, or has none.
fn placed(pump: &OutagePump, bag: &[KitPiece], into: Vec<KitPiece>) -> Vec<KitPiece> {
    let kit = pump.kit.as_ref().map_or(&[][..], |kit| &kit.pieces);
    let mut placed = Vec::new();
    for mut piece in into {
        let asked = kit
            .iter()
            .filter(|asked| (&asked.item, &asked.peeled_to) == (&piece.item, &piece.peeled_to));
        for asked in asked.filter(|_| piece.place.is_empty()) {
            let is_there = |there: &&KitPiece| {
                (&there.place, &there.item, &there.peeled_to)
                    == (&asked.place, &asked.item, &asked.peeled_to)
            };
            let there = bag.iter().chain(&placed).filter(is_there).map(|there| there.count);
            let lacking = asked.count.saturating_sub(there.sum()).min(piece.count);
            if lacking > 0 {
                piece.count -= lacking;
                placed.push(KitPiece { count: lacking, ..asked.clone() });
            }
        }
        placed.extend((piece.count > 0).then_some(piece));
    }
    placed
}

/// A pump whose pieces change: readings of the old ones no longer count.
fn without_readings(pump: &OutagePump) -> OutagePump {
    let state = match pump.state {
        PumpState::Rejected => PumpState::Issued,
        state => state,
    };
    OutagePump { state, bench: Vec::new(), finding: None, ..pump.clone() }
}

fn swap(outage: &Outage, tag: &str, gone: &[KitPiece], into: &[KitPiece]) -> Effected {
    use PumpState::{Bagged, Issued, Rejected};
    let pump = pump(outage, tag, "swap pieces of", &[Bagged, Issued, Rejected])?;
    if gone.is_empty() && into.is_empty() {
        return Err(BookingRefusal::new(
            "a swap of no pieces",
            "pieces",
            "give --out ITEM or --in ITEM",
        ));
    }
    let rest = less(&pump.bag, gone, &format!("the bag of {}", pump.tag))?;
    into.iter().try_for_each(|piece| some(piece.count).map(drop))?;
    // Of the pieces that leave the bag, those that are whole.
    let stays = back(&rest).map(|(item, pieces)| (item, -pieces));
    let moves = moves(outage, back(&pump.bag).chain(stays).chain(out(into)))?;
    let into = placed(pump, &rest, known(outage, into)?);
    let bag = sorted(rest.into_iter().chain(into));
    let reopen = pump.reopen && pump.kit.as_ref().is_some_and(|kit| kit.pieces != bag);
    Ok(changed(OutagePump { bag, reopen, ..without_readings(pump) }, moves))
}

fn measured(outage: &Outage, tag: &str, figure: MeasuredDimension) -> Effected {
    use PumpState::{Accepted, Bagged, Issued, NotMeasured, Planned, Rejected, Short};
    let may = [NotMeasured, Planned, Bagged, Issued, Rejected, Accepted, Short];
    let mut pump = pump(outage, tag, "measure", &may)?.clone();
    let MeasuredDimension { what, value, .. } = &figure;
    // Its kit was chosen on another figure.
    if pump.kit.is_some() && matches!(pump.state, Planned | Bagged | Issued | Rejected | Accepted) {
        pump.not_fit =
            Some(format!("{what} was measured again, {value}, since its kit was planned"));
    }
    pump.measured.retain(|known| known.what != *what);
    pump.measured.push(figure);
    Ok(changed(pump, Vec::new()))
}

fn read_at_bench(
    outage: &Outage,
    tag: &str,
    [what, value]: [&str; 2],
    finding: &Finding,
) -> Effected {
    use PumpState::{Issued, Rejected};
    let mut pump = pump(outage, tag, "read", &[Issued, Rejected])?.clone();
    pump.state = match finding {
        Finding::NotMet { .. } => Rejected,
        Finding::Conforms | Finding::Open { .. } => Issued,
    };
    pump.finding = Some(finding.clone());
    pump.read(what, value);
    Ok(changed(pump, Vec::new()))
}

impl OutagePump {
    /// Adds a reading. The second of a place or requirement is its second reading; a third begins again.
    pub fn read(&mut self, what: &str, value: &str) {
        let fresh = BenchReading { what: what.to_string(), first: value.to_string(), again: None };
        match self.bench.iter_mut().find(|reading| reading.what == what) {
            None => self.bench.push(fresh),
            Some(reading) if reading.again.is_none() => reading.again = Some(value.to_string()),
            Some(reading) => *reading = fresh,
        }
    }
}

fn accept(outage: &Outage, tag: &str, finding: &Finding) -> Effected {
    let pump = pump(outage, tag, "accept", &[PumpState::Issued])?;
    let (why, fix) = match finding {
        Finding::Conforms => {
            let (finding, not_fit) = (Some(Finding::Conforms), None);
            let state = PumpState::Accepted;
            return Ok(changed(OutagePump { state, finding, not_fit, ..pump.clone() }, Vec::new()));
        }
        Finding::Open { why } => (why, "read what is missing, or read again, then accept"),
        Finding::NotMet { why } => (why, "swap pieces, measure again, or put them back"),
    };
    Err(BookingRefusal::new(
        format!("accept {}: {why}", pump.tag),
        "every requirement read, and met",
        fix,
    ))
}

fn cancel(outage: &Outage, tag: &str) -> Effected {
    use PumpState::{Bagged, Cancelled, Issued, NotMeasured, Planned, Rejected, Short};
    let may = [NotMeasured, Planned, Bagged, Issued, Rejected, Short];
    let pump = pump(outage, tag, "cancel", &may)?;
    let before_cancel = Some(pump.state);
    Ok(changed(OutagePump { state: Cancelled, before_cancel, ..pump.clone() }, Vec::new()))
}

fn reinstate(outage: &Outage, tag: &str) -> Effected {
    let pump = pump(outage, tag, "reinstate", &[PumpState::Cancelled])?;
    let state = pump.before_cancel.unwrap_or(PumpState::Short);
    Ok(changed(OutagePump { state, before_cancel: None, ..pump.clone() }, Vec::new()))
}
