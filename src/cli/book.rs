//! `gapwright book`: what happened to bags, pieces and pumps, entered into the outage file.

mod drafted;
mod from_log;
mod from_plan;

use std::path::{Path, PathBuf};

use super::Common;
use super::files::Files;
use super::outage::{book, facts, job, open, request, taken_pumps};
use super::run::{Ended, Refusal, Run, Stop};
use super::voice::{must_see, out};
use crate::columns::pump_heading;
use crate::issue::key;
use crate::job::Job;
use crate::length::Length;
use crate::model::{Model, NOT_FIT};
use crate::outage::{Booking, Finding, KitPiece, Outage, OutagePump};
use crate::outage_cells;
use crate::outage_file::{Draft, OutageFile, Receipt};
use crate::outage_kit::{self, index};
use crate::problem::{Place, Problem, fix_name};
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
#[derive(clap::Subcommand)]
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
            out!(to, "Entry {}: {}.", before.number, words::outage::described(outage, before));
        }
        let text = words::outage::described(outage, entry);
        match again {
            true => out!(to, "Entry {} was booked before: {text}. Not booked again.", entry.number),
            false => out!(to, "Entry {}: {text}.", entry.number),
        }
        let pump = entry.booking.tag().and_then(|tag| outage.pump(tag));
        let Some(pump) = pump.filter(|_| !again) else { continue };
        tell_pump(run, pump);
    }
    out!(to, "The ledger ends at {}.", outage.head());
}

fn tell_pump(run: &Run, pump: &OutagePump) {
    let to = run.voice();
    if let Some(why) = pump.stop() {
        must_see!(to, "STOP: {} {NOT_FIT}: {why}", pump.tag);
    }
    let peeled: Vec<String> = pump
        .kit
        .iter()
        .flat_map(|kit| &kit.pieces)
        .filter(|piece| piece.peeled_to.is_some() && pump.bag.is_empty())
        .map(KitPiece::to_string)
        .collect();
    if !peeled.is_empty() && pump.state == crate::outage::PumpState::Planned {
        must_see!(
            to,
            "Peeled pieces are not counted back into their bin: {}. If they were not peeled yet, book `count`.",
            peeled.join(", ")
        );
    }
    if pump.missing() > 0 && !pump.bag.is_empty() {
        must_see!(to, "The bag of {} is {} pieces short of its kit.", pump.tag, pump.missing());
    }
    if let Some(Finding::Open { why }) = &pump.finding {
        out!(to, "Not to be accepted yet: {why}");
    }
}

/// Bookings of an event.
fn bookings(run: &mut Run, file: &OutageFile, event: &Event) -> Result<Vec<Booking>, Stop> {
    let each = |tags: &[String], booking: fn(String) -> Booking| {
        Ok(tags.iter().cloned().map(booking).collect())
    };
    match event {
        Event::Bag { tags, without, with } => {
            if tags.len() > 1 && !(without.is_empty() && with.is_empty()) {
                let found = "--without or --with for several bags".to_string();
                return Err(refused(
                    run,
                    "command line",
                    found,
                    "one TAG with them",
                    "book them one by one",
                ));
            }
            let (without, with) = (pieces(run, without)?, pieces(run, with)?);
            let bag = |tag: &String| Booking::Bag {
                tag: tag.clone(),
                without: without.clone(),
                with: with.clone(),
            };
            Ok(tags.iter().map(bag).collect())
        }
        Event::Issue { tags } => each(tags, |tag| Booking::Issue { tag }),
        Event::PutBack { tags } => each(tags, |tag| Booking::PutBack { tag }),
        Event::Cancel { tags } => each(tags, |tag| Booking::Cancel { tag }),
        Event::Reinstate { tags } => each(tags, |tag| Booking::Reinstate { tag }),
        Event::Receive { item, count } => {
            Ok(vec![Booking::Receive { item: item.clone(), count: *count }])
        }
        Event::Scrap { item, count, from } => {
            let (item, count, from) = (item.clone(), *count, from.clone());
            Ok(vec![Booking::Scrap { item, count, from }])
        }
        Event::Count { item, count } => {
            Ok(vec![Booking::Count { item: item.clone(), count: *count }])
        }
        Event::Cut { plates } => each(plates, |plate| Booking::Cut { plate }),
        Event::Swap { tag, out, into } => {
            let (out, into) = (pieces(run, out)?, pieces(run, into)?);
            Ok(vec![Booking::Swap { tag: tag.clone(), out, into }])
        }
        Event::Undo { entry } => Ok(vec![Booking::Undo { entry: *entry }]),
        Event::Reading { tag, what, value } => {
            let job = job(run, file)?;
            Ok(vec![reading(run, file, &job, [tag, what, value])?])
        }
        Event::Accept { tags } => {
            let job = job(run, file)?;
            Ok(tags.iter().map(|tag| accept(&job, file.outage(), tag)).collect())
        }
    }
}

fn refused(run: &mut Run, place: &str, found: String, expected: &str, fix: &str) -> Stop {
    let problem = Problem::new(Place::file(place), found, expected, fix);
    match run.work::<()>("reading the booking", |_| Err(Refusal::from(problem))) {
        Err(stop) => stop,
        Ok(()) => Stop(super::PROBLEMS),
    }
}

/// Pieces of `ITEM` or `ITEM=N`.
fn pieces(run: &mut Run, texts: &[String]) -> Result<Vec<KitPiece>, Stop> {
    let piece = |text: &String| {
        let counted = text.rsplit_once('=').and_then(|(item, count)| {
            Some((item, count.trim().parse::<u32>().ok().filter(|count| *count > 0)?))
        });
        let (item, count) = match counted {
            Some(counted) => counted,
            None if text.contains('=') => return None,
            None => (text.as_str(), 1),
        };
        let place = String::new();
        Some(KitPiece { place, item: item.trim().to_string(), count, peeled_to: None })
    };
    let read: Option<Vec<KitPiece>> = texts.iter().map(piece).collect();
    read.ok_or_else(|| {
        let found = format!("the pieces `{}`", texts.join("`, `"));
        refused(
            run,
            "command line",
            found,
            "ITEM, or ITEM=N for several",
            "give a number from 1 on",
        )
    })
}

/// A reading at the bench with the judgement of its pump; its value is checked, and kept as it was given.
fn reading(
    run: &mut Run,
    file: &OutageFile,
    job: &Job,
    [tag, what, value]: [&String; 3],
) -> Result<Booking, Stop> {
    let outage = file.outage();
    let waiting = job.not_measured.iter().find(|pump| key(&pump.tag) == key(tag));
    if let Some(waiting) = waiting {
        let model = &job.models[waiting.model];
        return match outage_cells::dimension(model, what) {
            Some(dimension) => measured(run, file, model, [&waiting.tag, &dimension, value]),
            None => {
                let names = model.dimensions.iter();
                let names: Vec<String> =
                    names.map(|dimension| pump_heading(&dimension.name)).collect();
                let expected = format!("a dimension of it: {}", names.join(", "));
                let fix = fix_name(what, names.iter().map(String::as_str), "give one of them");
                Err(refused(run, "command line", format!("`{what}`"), &expected, &fix))
            }
        };
    }
    let known = outage.pump(tag).and_then(|pump| Some((pump, index(job, tag)?)));
    let Some((pump, at)) = known else {
        // The rules say what is wrong with the tag.
        let (tag, what, value) = (tag.clone(), what.clone(), value.clone());
        return Ok(Booking::Reading { tag, what, value, finding: Finding::Conforms });
    };
    let row = &job.pumps[at];
    let model = job.model_of(row);
    let Some(of) = outage_kit::readable(job, row, what) else {
        if let Some(dimension) = outage_cells::dimension(model, what) {
            return measured(run, file, model, [&row.tag, &dimension, value]);
        }
        let packs = model.packs.iter().map(|pack| pack.label.as_str());
        let requirements = row.requirements.iter().map(|one| one.label.as_str());
        let dimensions = model.dimensions.iter().map(|dimension| dimension.label.as_str());
        let names: Vec<&str> = packs.chain(requirements).chain(dimensions).collect();
        let fix = fix_name(what, names.iter().copied(), "give one of them");
        return Err(refused(
            run,
            "command line",
            format!("`{what}`"),
            &format!("one of {}", names.join(", ")),
            &fix,
        ));
    };
    if let Err(why) = outage_kit::reading(job, row, of, value) {
        let expected = "a reading such as `0.0212 in`, `0.54 mm` or `0.021 to 0.022 in`";
        return Err(refused(
            run,
            "command line",
            format!("`{value}`: {why}"),
            expected,
            "type it again, with its unit",
        ));
    }
    let what = outage_kit::name(job, row, of).to_string();
    let mut with_it = pump.clone();
    with_it.read(&what, value);
    let finding = outage_kit::finding(job, at, &with_it);
    Ok(Booking::Reading { tag: tag.clone(), what, value: value.clone(), finding })
}

/// A dimension, with the cell that has it in the pump workbook.
fn measured(
    run: &mut Run,
    file: &OutageFile,
    model: &Model,
    [tag, what, value]: [&str; 3],
) -> Result<Booking, Stop> {
    let book = taken_pumps(run, file)?;
    outage_cells::measured(&book, model, [tag, what, value])
        .map_err(|why| refused(run, "command line", why.found, &why.expected, &why.fix))
}

/// An acceptance with the judgement of its pump.
fn accept(job: &Job, outage: &Outage, tag: &str) -> Booking {
    let known = outage.pump(tag).and_then(|pump| Some((pump, index(job, tag)?)));
    let finding = match known {
        Some((pump, at)) => outage_kit::finding(job, at, pump),
        // The rules say what is wrong with the tag.
        None => Finding::Open { why: "it is not in the pump workbook".into() },
    };
    Booking::Accept { tag: tag.to_string(), finding }
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
