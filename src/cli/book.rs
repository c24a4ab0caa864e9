//! `gapwright book`: what happened to bags, pieces and pumps, entered into the outage file.

mod drafted;
mod from_log;
mod from_plan;

use std::path::{Path, PathBuf};

use super::Common;
use super::files::Files;
use super::outage::{book, facts, job, open, request};
use super::run::{Ended, Refusal, Run, Stop};
use super::voice::{must_see, out};
use crate::length::Length;
use crate::outage::{Booking, BookingRefusal, KitPiece, Outage};
use crate::outage_event;
use crate::outage_file::{Draft, OutageFile, Receipt};
use crate::problem::{Place, Problems};
use crate::read;
use crate::words;

pub(super) use from_log::OF_ISSUE_LOG;

/// Arguments of `book`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER, args_conflicts_with_subcommands = false)]
pub(super) struct Args {
    /// The outage file, NAME.outage.
    file: PathBuf,
    /// Take over the sheet Issue and the readings of a saved plan workbook, or the lines of an issue log.
    #[arg(long, value_name = "PLAN|LOG")]
    from: Option<PathBuf>,
    /// Person who did it.
    #[arg(long, global = true, value_name = "NAME", default_value = "")]
    by: String,
    /// Reason, or anything else to keep with it.
    #[arg(long, global = true, value_name = "TEXT", default_value = "")]
    note: String,
    /// Day on which it happened; today if not given.
    #[arg(long, global = true, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// Number of this request: a second try with it gets the first receipt, and books nothing again.
    #[arg(long, global = true, value_name = "NUMBER")]
    request: Option<String>,
    #[command(subcommand)]
    event: Option<Event>,
}

/// Events to book.
#[derive(Clone, clap::Subcommand)]
enum Event {
    /// The pieces of a kit are in its bag.
    Bag {
        /// Pumps.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
        /// Planned piece that is not in the bag; for several, ITEM=N.
        #[arg(long, value_name = "ITEM")]
        without: Vec<String>,
        /// Piece in the bag that is not planned.
        #[arg(long, value_name = "ITEM")]
        with: Vec<String>,
    },
    /// The bag is at the bench.
    Issue {
        /// Pumps.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
    },
    /// The pieces of a bag are back in their bins.
    PutBack {
        /// Pumps.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
    },
    /// Pieces came in.
    Receive {
        /// Stock number.
        item: String,
        /// Pieces.
        #[arg(value_name = "N")]
        count: u32,
    },
    /// Pieces were thrown away.
    Scrap {
        /// Stock number.
        item: String,
        /// Pieces.
        #[arg(value_name = "N")]
        count: u32,
        /// Pump out of whose bag they come.
        #[arg(long, value_name = "TAG")]
        from: Option<String>,
    },
    /// The pieces in a bin were counted.
    Count {
        /// Stock number.
        item: String,
        /// Pieces in the bin.
        #[arg(value_name = "N")]
        count: u32,
    },
    /// Plates were cut up as the cutting sheet of the plan says; the first bag that needs their pieces books it too.
    Cut {
        /// Stock number of the plates.
        #[arg(required = true, value_name = "PLATE")]
        plates: Vec<String>,
    },
    /// Pieces of a bag were changed for others.
    Swap {
        /// Pump.
        tag: String,
        /// Piece that went back into its bin; for several, ITEM=N.
        #[arg(long, value_name = "ITEM")]
        out: Vec<String>,
        /// Piece that came out of its bin.
        #[arg(long = "in", value_name = "ITEM")]
        into: Vec<String>,
    },
    /// A finished pack or a clearance was measured at the bench, or a dimension of the pump.
    Reading {
        /// Pump.
        tag: String,
        /// Place, requirement or dimension, as the slip names it.
        what: String,
        /// Value with its unit, such as `0.0212 in` or `0.021 to 0.022 in`.
        #[arg(allow_hyphen_values = true)]
        value: String,
    },
    /// Its readings are in and conform: sign it off.
    Accept {
        /// Pumps.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
    },
    /// The pump is withdrawn from the outage.
    Cancel {
        /// Pumps.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
    },
    /// The pump takes part again.
    Reinstate {
        /// Pumps.
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
    },
    /// An entry was wrong.
    Undo {
        /// Number of the entry.
        #[arg(value_name = "N")]
        entry: u32,
    },
}

const AFTER: &str = "\
Examples:
  gapwright book week-12.outage bag P-101 P-102 --by Kim
        two bags are packed as planned
  gapwright book week-12.outage bag P-104 --without SH-F1-020 --with SH-F1-010=2
        a bag that was packed otherwise
  gapwright book week-12.outage issue P-101
  gapwright book week-12.outage reading P-101 \"running clearance\" \"0.0212 in\"
  gapwright book week-12.outage accept P-101 --by Sam
        judged as `recheck` does; refused where a requirement is not met
  gapwright book week-12.outage cut GS-105
        the plates of the cutting sheet; their pieces are in bins from then on
  gapwright book week-12.outage bag \"gapwright:2 90f268b3212e 7 P-101\"
        the words of a slip's code stand for its tag, as from a scanner;
        refused where the pump has another kit by now
  gapwright book week-12.outage scrap SH-F1-005 1 --note \"bent\"
  gapwright book week-12.outage undo 14 --note \"wrong tag\"
  gapwright book week-12.outage --from kit-plan.xlsx
        the sheet Issue and the readings of the saved plan; the same cells
        twice book nothing twice
  gapwright book week-12.outage --from issue-log.xlsx
        kits of an issue log from before there was an outage file; the same
        lines twice book nothing twice

Nothing in the ledger is ever changed or removed: a wrong entry is undone by
another. All bookings of one command are made, or none.

Manual: `gapwright help running`.";

impl Event {
    /// Its tags, which may be the codes of slips as well.
    fn tags(&mut self) -> Vec<&mut String> {
        match self {
            Event::Bag { tags, .. }
            | Event::Issue { tags }
            | Event::PutBack { tags }
            | Event::Accept { tags }
            | Event::Cancel { tags }
            | Event::Reinstate { tags } => tags.iter_mut().collect(),
            Event::Swap { tag, .. } | Event::Reading { tag, .. } => vec![tag],
            Event::Scrap { from, .. } => from.iter_mut().collect(),
            Event::Receive { .. }
            | Event::Count { .. }
            | Event::Cut { .. }
            | Event::Undo { .. } => Vec::new(),
        }
    }
}

impl Args {
    fn files(&self) -> Files<'_> {
        Files {
            reads: self.from.iter().map(PathBuf::as_path).collect(),
            outage: Some(&self.file),
            date: self.date.as_deref(),
            ..Files::default()
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let mut file = open(&mut run, &args.file)?;
    let bookings = match (&args.event, &args.from) {
        (Some(event), None) => bookings(&mut run, &file, event)?,
        (None, Some(from)) => {
            let is_log =
                run.look("looking at the workbook", |memory| read::is_issue_log(from, memory));
            return match is_log {
                true => from_log::run(run, file, from, args),
                false => from_plan::run(run, file, from, args),
            };
        }
        _ => {
            let found = match args.event {
                Some(_) => "a booking, and --from",
                None => "no booking",
            };
            return Err(run.refuse_for(super::from_command_line(
                found.into(),
                "one booking, or --from PLAN",
                "see `gapwright help book`",
            )));
        }
    };
    let number = args.request.clone().unwrap_or_else(request);
    let several = bookings.len() > 1;
    let drafts = bookings.into_iter().enumerate().map(|(at, booking)| {
        let number = if several { format!("{number}/{at}") } else { number.clone() };
        (facts(&run, &number, &args.by, &args.note), booking)
    });
    let drafts: Vec<Draft> = drafts.collect();
    let receipts = book(&mut run, &mut file, drafts, &Vec::new())?;
    let status = run.end(super::DONE)?;
    tell(&run, file.outage(), &receipts);
    Ok(status)
}

/// Reports receipts, and what must be seen of their pumps.
fn tell(run: &Run, outage: &Outage, receipts: &[Receipt]) {
    let to = run.voice();
    for Receipt { entry, due, again } in receipts {
        for before in due {
            out!(to, "{}", words::outage::receipt(outage, before, false));
        }
        out!(to, "{}", words::outage::receipt(outage, entry, *again));
        let pump = entry.booking.tag().and_then(|tag| outage.pump(tag));
        let Some(pump) = pump.filter(|_| !again) else { continue };
        words::outage::warnings(pump).iter().for_each(|warning| must_see!(to, "{warning}"));
        words::outage::not_yet(pump).iter().for_each(|open| out!(to, "{open}"));
    }
    out!(to, "The ledger ends at {}.", outage.head());
}

/// Bookings of an event.
fn bookings(run: &mut Run, file: &OutageFile, event: &Event) -> Result<Vec<Booking>, Stop> {
    let mut event = event.clone();
    let outage = file.outage();
    let mut problems = Problems::new();
    for tag in event.tags() {
        match outage_event::tag(outage, tag) {
            Ok(known) => *tag = known,
            Err(why) => problems.add(why.problem(Place::file("command line"))),
        }
    }
    if !problems.none() {
        return refused(run, problems);
    }
    let each = |tags: Vec<String>, booking: fn(String) -> Booking| {
        Ok(tags.into_iter().map(booking).collect())
    };
    match event {
        Event::Bag { tags, without, with } => {
            if tags.len() > 1 && !(without.is_empty() && with.is_empty()) {
                let problem = super::from_command_line(
                    "--without or --with for several bags".into(),
                    "one TAG with them",
                    "book them one by one",
                );
                return refused(run, Problems::of(problem));
            }
            let (without, with) = (pieces(run, &without)?, pieces(run, &with)?);
            let bag = |tag| Booking::Bag { tag, without: without.clone(), with: with.clone() };
            Ok(tags.into_iter().map(bag).collect())
        }
        Event::Issue { tags } => each(tags, |tag| Booking::Issue { tag }),
        Event::PutBack { tags } => each(tags, |tag| Booking::PutBack { tag }),
        Event::Cancel { tags } => each(tags, |tag| Booking::Cancel { tag }),
        Event::Reinstate { tags } => each(tags, |tag| Booking::Reinstate { tag }),
        Event::Receive { item, count } => Ok(vec![Booking::Receive { item, count }]),
        Event::Scrap { item, count, from } => Ok(vec![Booking::Scrap { item, count, from }]),
        Event::Count { item, count } => Ok(vec![Booking::Count { item, count }]),
        Event::Cut { plates } => each(plates, |plate| Booking::Cut { plate }),
        Event::Swap { tag, out, into } => {
            let (out, into) = (pieces(run, &out)?, pieces(run, &into)?);
            Ok(vec![Booking::Swap { tag, out, into }])
        }
        Event::Undo { entry } => Ok(vec![Booking::Undo { entry }]),
        Event::Reading { tag, what, value } => {
            let (job, pumps) = job(run, file)?;
            let read = outage_event::reading(&job, &pumps, outage, [&tag, &what, &value]);
            Ok(vec![taken(run, read)?])
        }
        Event::Accept { tags } => {
            let (job, _) = job(run, file)?;
            Ok(tags.iter().map(|tag| outage_event::accept(&job, outage, tag)).collect())
        }
    }
}

/// Ends the run for problems of the command line.
fn refused<T>(run: &mut Run, problems: Problems) -> Result<T, Stop> {
    run.work("reading the booking", |_| Err(Refusal::Problems(problems)))
}

/// Part of a booking that was read; else the run ends.
fn taken<T>(run: &mut Run, read: Result<T, BookingRefusal>) -> Result<T, Stop> {
    read.or_else(|why| refused(run, Problems::of(why.problem(Place::file("command line")))))
}

fn pieces(run: &mut Run, texts: &[String]) -> Result<Vec<KitPiece>, Stop> {
    taken(run, outage_event::pieces(texts))
}

/// Thickness of a reading, as it is kept.
fn value_text(low: Length, high: Length) -> String {
    let show = |length: Length| crate::show::length(length, crate::show::natural_unit(length));
    if low == high { show(low) } else { format!("{} to {}", show(low), show(high)) }
}

/// Path as people gave it.
fn shown(path: &Path) -> String {
    path.display().to_string()
}
