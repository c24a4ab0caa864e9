//! Events as people report them, made into bookings: one code for the command line and for the page.
//!
//! The rules of bookings are in [`crate::outage`]; here a text is read, a reading is judged, and a slip is held against the
//! kit that its pump has now.
//!
//! ```
//! use gapwright::outage_event::pieces;
//! let [shim, gasket] = &pieces(&["SH-010=2".into(), "G-120".into()]).unwrap()[..] else { panic!() };
//! assert_eq!((shim.to_string(), gasket.count), ("2 x SH-010".into(), 1));
//! assert_eq!(pieces(&["SH-010=some".into()]).unwrap_err().expected, "ITEM, or ITEM=N for several");
//! ```

use crate::columns::pump_heading;
use crate::issue::key;
use crate::job::Job;
use crate::model::NOT_FIT;
use crate::outage::{Booking, BookingRefusal, Finding, KitPiece, Outage, OutagePump};
use crate::outage_cells;
use crate::outage_kit::{self, index};
use crate::paper::ReadCode;
use crate::problem::fix_name;
use crate::sheet::Book;

fn refused(
    found: impl Into<String>,
    expected: impl Into<String>,
    fix: impl Into<String>,
) -> BookingRefusal {
    BookingRefusal { found: found.into(), expected: expected.into(), fix: fix.into() }
}

/// Pieces of `ITEM` or `ITEM=N`.
///
/// # Errors
/// A count that is no number from 1 on.
pub fn pieces(texts: &[String]) -> Result<Vec<KitPiece>, BookingRefusal> {
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
        refused(found, "ITEM, or ITEM=N for several", "give a number from 1 on")
    })
}

/// A reading at the bench with the judgement of its pump, or a dimension of it with its cell in the pump workbook; the value
/// is checked, and kept as it was given.
///
/// # Errors
/// No such place, requirement or dimension; a value without unit, or none at all.
pub fn reading(
    job: &Job,
    pumps: &Book,
    outage: &Outage,
    [tag, what, value]: [&str; 3],
) -> Result<Booking, BookingRefusal> {
    let waiting = job.not_measured.iter().find(|pump| key(&pump.tag) == key(tag));
    if let Some(waiting) = waiting {
        let model = &job.models[waiting.model];
        return match outage_cells::dimension(model, what) {
            Some(dimension) => {
                outage_cells::measured(pumps, model, [&waiting.tag, &dimension, value])
            }
            None => {
                let names = model.dimensions.iter();
                let names: Vec<String> =
                    names.map(|dimension| pump_heading(&dimension.name)).collect();
                let expected = format!("a dimension of it: {}", names.join(", "));
                let fix = fix_name(what, names.iter().map(String::as_str), "give one of them");
                Err(refused(format!("`{what}`"), expected, fix))
            }
        };
    }
    let known = outage.pump(tag).and_then(|pump| Some((pump, index(job, tag)?)));
    let Some((pump, at)) = known else {
        // The rules say what is wrong with the tag.
        let [tag, what, value] = [tag, what, value].map(String::from);
        return Ok(Booking::Reading { tag, what, value, finding: Finding::Conforms });
    };
    let row = &job.pumps[at];
    let model = job.model_of(row);
    let Some(of) = outage_kit::readable(job, row, what) else {
        if let Some(dimension) = outage_cells::dimension(model, what) {
            return outage_cells::measured(pumps, model, [&row.tag, &dimension, value]);
        }
        let packs = model.packs.iter().map(|pack| pack.label.as_str());
        let requirements = row.requirements.iter().map(|one| one.label.as_str());
        let dimensions = model.dimensions.iter().map(|dimension| dimension.label.as_str());
        let names: Vec<&str> = packs.chain(requirements).chain(dimensions).collect();
        let fix = fix_name(what, names.iter().copied(), "give one of them");
        return Err(refused(format!("`{what}`"), format!("one of {}", names.join(", ")), fix));
    };
    if let Err(why) = outage_kit::reading(job, row, of, value) {
        let expected = "a reading such as `0.0212 in`, `0.54 mm` or `0.021 to 0.022 in`";
        let found = format!("`{value}`: {why}");
        return Err(refused(found, expected, "type it again, with its unit"));
    }
    let what = outage_kit::name(job, row, of).to_string();
    let mut with_it = pump.clone();
    with_it.read(&what, value);
    let finding = outage_kit::finding(job, at, &with_it);
    Ok(Booking::Reading { tag: tag.to_string(), what, value: value.to_string(), finding })
}

/// An acceptance with the judgement of its pump.
pub fn accept(job: &Job, outage: &Outage, tag: &str) -> Booking {
    let known = outage.pump(tag).and_then(|pump| Some((pump, index(job, tag)?)));
    let finding = match known {
        Some((pump, at)) => outage_kit::finding(job, at, pump),
        // The rules say what is wrong with the tag.
        None => Finding::Open { why: "it is not in the pump workbook".into() },
    };
    Booking::Accept { tag: tag.to_string(), finding }
}

/// Tag that a text names: the text, or the pump of the code of a slip or a label, if that is its slip now.
///
/// # Errors
/// A code that cannot be read, and those of [`slip`].
pub fn tag(outage: &Outage, text: &str) -> Result<String, BookingRefusal> {
    if !ReadCode::is_meant(text) {
        return Ok(text.to_string());
    }
    let code = ReadCode::parse(text).ok_or_else(|| {
        refused(
            format!("the code `{text}`"),
            "the words of a slip's code: gapwright:2 PLAN KIT TAG",
            "scan it again, or give the tag",
        )
    })?;
    slip(outage, &code).map(|pump| pump.tag.clone())
}

/// The pump of a slip's or a label's code, if it is of the kit that the pump has now.
///
/// A kit keeps its number, and its slip counts, as long as its pieces stay: a later plan that left them does not spoil it.
///
/// # Errors
/// No such pump or plan in the outage, another kit by now, or none.
pub fn slip<'o>(outage: &'o Outage, code: &ReadCode) -> Result<&'o OutagePump, BookingRefusal> {
    let ReadCode { plan, kit, tag } = code;
    let Some(pump) = outage.pump(tag) else {
        let tags = outage.pumps().map(|pump| pump.tag.as_str());
        let fix = fix_name(tag, tags, "take the slip to the outage that it is of");
        return Err(refused(format!("a slip of the pump `{tag}`"), "a pump of the outage", fix));
    };
    let tag = &pump.tag;
    let is_it = |booking: &Booking| matches!(booking, Booking::Plan(made) if made.code == *plan);
    let made = outage.entries().iter().filter(|entry| is_it(&entry.booking));
    let made: Vec<u32> = made.map(|entry| entry.number).collect();
    if made.is_empty() {
        let last = outage.last_plan().map_or("none", |plan| plan.code.as_str());
        return Err(refused(
            format!("a slip of the plan {plan}"),
            format!("a plan of this outage, whose last one is {last}"),
            format!(
                "find the slip of {tag} for this outage; without one, print it with `gapwright slips`"
            ),
        ));
    }
    let shown =
        kit.map_or(format!("a label of {tag}"), |kit| format!("a slip of kit {kit} of {tag}"));
    let Some(now) = &pump.kit else {
        return Err(refused(
            format!("{shown}, which is {} and has no kit now", pump.state.words()),
            "a pump with a kit",
            format!("{NOT_FIT}: tear it up, and put back what is in its bag"),
        ));
    };
    let then = |entry: &u32| {
        let then = outage.as_of(*entry);
        then.pump(tag).and_then(|pump| pump.kit.as_ref().map(|kit| kit.number))
    };
    let is_now = |kit: Option<u32>| kit == Some(now.number);
    if kit.is_none_or(|kit| is_now(Some(kit))) && made.iter().any(|entry| is_now(then(entry))) {
        return Ok(pump);
    }
    Err(refused(
        format!("{shown} of the plan {plan}"),
        format!("the slip of kit {}, which {tag} has now", now.number),
        format!(
            "tear it up and fit nothing by it; print the slip of kit {} with `gapwright slips`",
            now.number
        ),
    ))
}
