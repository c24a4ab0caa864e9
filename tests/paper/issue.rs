//! Issue: a line for each withdrawal of the plan, with the cells for deviations.

use gapwright::plan::{Cause, Kit, Shortfall};
use gapwright::verify::Verified;

use crate::outages::held;
use crate::page::{Row, count, entry, texts};
use crate::wording::{NOT_FIT, issue as words};
use crate::{anew, returned, said};

/// Columns of a line: those to fill in come after the planned count.
const COLUMNS: u32 = 10;
/// Lines for pieces taken in addition to the plan.
const SPARE: usize = 12;

#[test]
fn every_line_of_issue_is_what_the_plan_takes() {
    held("Issue", |outage, wrong| {
        let verified = &outage.verified;
        let page = outage.book.page("Issue");
        let rows = page.block(0..COLUMNS);
        let id = verified.planned().id();
        let has_id = |row: &Row| {
            row.get(&0).is_some_and(|text| text == words::ID) && row.get(&1) == Some(&id)
        };
        wrong.unless(rows.iter().any(has_id), "the plan's id stands on it");
        let heads = texts(&words::COLUMNS);
        let Some(top) =
            rows.iter().position(|row| heads.iter().all(|(at, text)| row.get(at) == Some(text)))
        else {
            wrong.say("no row of headings");
            return;
        };
        let expected = lines(verified);
        let (lines, spare) = rows[top + 1..].split_at(expected.len().min(rows.len() - top - 1));
        wrong.rows(lines, &expected);
        wrong.same("lines for more", spare.len(), SPARE);
    });
}

fn lines(verified: &Verified) -> Vec<Row> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut rows = Vec::new();
    let mut add = |[tag, place, bin, item, step, note]: [&str; 6], planned: u32| {
        let mut row = texts(&[tag, place, bin, item, step]);
        row.insert(5, count(planned));
        // No pieces are picked for a short line.
        if step != words::SHORT {
            row.extend([6, 7, 8].map(|at| (at, entry(""))));
        }
        row.insert(9, entry(note));
        rows.push(row);
    };
    for (index, pump) in job.pumps.iter().enumerate() {
        let model = job.model_of(pump);
        match &plan.kits[index] {
            Kit::Short(shorts) => {
                let places = |short: &&Shortfall| !matches!(short.cause, Cause::NotProven { .. });
                for short in shorts.iter().filter(places) {
                    let (place, why) =
                        (said::place(job, pump, short), said::reason(job, pump, short));
                    let why = format!("{NOT_FIT}: {why}");
                    add([&pump.tag, &place, "", "", words::SHORT, &why], 0);
                }
            }
            Kit::Served(packs) => {
                let places = model.packs.iter().zip(packs);
                for (place, pick) in places
                    .flat_map(|(place, pack)| pack.picks.iter().map(move |pick| (place, pick)))
                {
                    let item = &job.stock[pick.item];
                    let step = match item.cut {
                        Some(cut) => words::cut_from(&job.plates[cut.plate].item),
                        None => words::PICK.to_string(),
                    };
                    // A cut piece is in the bin of its sheet.
                    let bin = match item.cut {
                        Some(cut) => job.plates[cut.plate].bin.as_deref().unwrap_or(""),
                        None => anew::bin(item),
                    };
                    add([&pump.tag, &place.label, bin, &item.item, &step, ""], pick.count);
                }
            }
        }
        for (need, share) in verified.bags()[index].iter().enumerate() {
            let kind = &model.consumables[need].kind;
            for pick in &share.picks {
                let item = &job.stock[pick.item];
                add([&pump.tag, kind, anew::bin(item), &item.item, words::PICK, ""], pick.count);
            }
            if share.lacking > 0 {
                let why = said::lack(job, pump, need);
                add([&pump.tag, kind, "", "", words::SHORT, &why], share.lacking);
            }
        }
    }
    for (at, item) in job.stock.iter().enumerate() {
        let spoiled = anew::spoiled(verified, at);
        if spoiled > 0 {
            add(["", "", anew::bin(item), &item.item, words::SPOILED, ""], spoiled);
        }
    }
    for (at, lot) in job.plates.iter().enumerate() {
        let cut = plan.layouts.iter().filter(|layout| layout.plate == at).count();
        if cut > 0 {
            let bin = lot.bin.as_deref().unwrap_or("");
            add(["", "", bin, &lot.item, words::CUT_UP, ""], cut as u32);
        }
    }
    for lot in returned::lots(verified) {
        let step = words::goes_back(&job.plates[lot.plate].item);
        add(["", "", "", &lot.item, &step, ""], lot.count);
    }
    for row in rows.iter_mut().filter(|row| row[&4].starts_with(&words::goes_back(""))) {
        // The bin that it is put into.
        row.insert(2, entry(""));
    }
    rows
}
