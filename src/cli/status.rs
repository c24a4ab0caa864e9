//! `gapwright status`: pumps by state, what is waited for, what is out, and the last entries of an outage file.

use std::path::PathBuf;

use super::files::Files;
use super::outage::open;
use super::run::{Ended, Run};
use super::voice::{must_see, out};
use super::{Common, DONE, common_args};
use crate::formats;
use crate::issue::key;
use crate::json;
use crate::model::NOT_FIT;
use crate::outage::{Booking, LedgerEntry, Outage, OutagePump, PumpState};
use crate::show::counted;
use crate::words;

/// Arguments of `status`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// The outage file, NAME.outage.
    file: PathBuf,
    #[command(flatten)]
    json: common_args::Json,
    /// Replace an existing output file.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
Examples:
  gapwright status week-12.outage
  gapwright status week-12.outage --json status.json
        for other programs: `gapwright schema outage` is its form

Pumps that must be stopped come first. Manual: `gapwright help running`.";

impl Args {
    fn files(&self) -> Files<'_> {
        Files {
            outage: Some(&self.file),
            json: self.json.path(),
            force: self.force,
            ..Files::default()
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let file = open(&mut run, &args.file)?;
    let text = formats::text(&json::outage::outage(file.outage()));
    let status = match args.json.path() {
        Some(_) => run.deliver_text(Vec::new(), &text)?,
        None => run.end(DONE)?,
    };
    tell(&run, file.outage());
    run.tell_written();
    Ok(status)
}

/// Most entries that are listed.
const LAST: usize = 10;

fn tell(run: &Run, outage: &Outage) {
    let to = run.voice();
    for pump in outage.pumps() {
        if let Some(why) = pump.stop() {
            must_see!(to, "STOP: {}, {}, {NOT_FIT}: {why}", pump.tag, pump.state.words());
        }
    }
    match outage.last_plan() {
        Some(plan) => out!(to, "Plan {}, code {}.", plan.number, plan.code),
        None => out!(to, "No plan yet."),
    }
    let all: Vec<&OutagePump> = outage.pumps().collect();
    for state in PumpState::ALL {
        let of: Vec<&&OutagePump> = all.iter().filter(|pump| pump.state == state).collect();
        if of.is_empty() {
            continue;
        }
        let tags: Vec<String> = of.iter().map(|pump| named(pump)).collect();
        let line = format!("{:>4} {}: {}", of.len(), state.words(), tags.join(", "));
        match state {
            PumpState::Short => must_see!(to, "{line} {NOT_FIT}"),
            _ => out!(to, "{line}"),
        }
        tell_reasons(run, state, &of);
    }
    outage.left_for_not_measured().iter().for_each(|said| out!(to, "{said}"));
    tell_stock(run, outage);
    out!(to, "Last entries:");
    let entries = outage.entries();
    for entry in entries.iter().skip(entries.len().saturating_sub(LAST)) {
        let who = match entry.facts.who.as_str() {
            "" => String::new(),
            who => format!(" {who}:"),
        };
        let undone = if outage.is_undone(entry.number) { " (undone)" } else { "" };
        let why = match entry.facts.why.as_str() {
            "" => String::new(),
            why => format!(" [{why}]"),
        };
        let text = words::outage::described(outage, entry);
        out!(to, "  {:>4} {}{who} {text}{why}{undone}", entry.number, entry.facts.date);
    }
    out!(to, "The ledger ends at {}.", outage.head());
}

/// A pump with its kit's number.
fn named(pump: &OutagePump) -> String {
    match &pump.kit {
        Some(kit) => format!("{} (kit {})", pump.tag, kit.number),
        None => pump.tag.clone(),
    }
}

fn tell_reasons(run: &Run, state: PumpState, pumps: &[&&OutagePump]) {
    let to = run.voice();
    for pump in pumps {
        if let Some(why) = pump.reason().filter(|_| pump.stop().is_none()) {
            match pump.is_not_fit() {
                true => must_see!(to, "       {} {NOT_FIT}: {why}", pump.tag),
                false => out!(to, "       {}: {why}", pump.tag),
            }
        }
        if let Some(cures) = &pump.cures {
            out!(to, "       {cures}");
        }
        if pump.bag.is_empty() {
            continue;
        }
        if let Some(lacking) = pump.lacking() {
            must_see!(to, "       {}: its bag is {lacking}", pump.tag);
        } else if pump.reopen {
            let kit = pump.kit.as_ref().map_or(0, |kit| kit.number);
            must_see!(to, "       {}: put its bag back; kit {kit} takes its place", pump.tag);
        } else if pump.differs() {
            must_see!(to, "       {}: its bag differs from its kit", pump.tag);
        }
        if state == PumpState::Cancelled {
            must_see!(
                to,
                "       {}: cancelled with {} pieces in its bag: put them back",
                pump.tag,
                pump.pieces()
            );
        }
    }
}

fn tell_stock(run: &Run, outage: &Outage) {
    let out = outage.pieces_out();
    let (mut left, mut gone, mut lines) = (0, 0, Vec::new());
    for lot in outage.stock() {
        let of = out.get(&key(&lot.item)).copied().unwrap_or(0);
        left += lot.pieces;
        gone += of;
        if of > 0 {
            lines.push(format!("{} {of} out, {} left", lot.item, lot.pieces));
        }
    }
    let to = run.voice();
    let gone = counted(i64::try_from(gone).unwrap_or(i64::MAX), "piece");
    out!(to, "Stock: {} in the bins, {gone} in bags and out.", counted(left, "piece"));
    lines.iter().for_each(|line| out!(to, "       {line}"));
    let cuts = |entry: &&LedgerEntry| matches!(entry.booking, Booking::Cut { .. });
    let cuts = outage.entries().iter().filter(cuts).filter(|cut| !outage.is_undone(cut.number));
    for cut in cuts {
        out!(to, "       entry {}: {}", cut.number, words::outage::described(outage, cut));
    }
    for cut in outage.plates_to_cut() {
        let plates = counted(i64::from(cut.count), "plate");
        out!(to, "       {plates} of {} to be cut for the bags of the plan", cut.plate);
    }
    for rest in outage.packs_to_open() {
        let pieces = counted(i64::from(rest.count), "piece");
        out!(to, "       {pieces} of {} to be spoiled with the packs of the plan", rest.item);
    }
}
