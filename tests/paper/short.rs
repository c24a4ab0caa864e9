//! Short: every place that could not be filled, and the consumables missing from the bags of kitted pumps.

use gapwright::plan::Kit;
use gapwright::verify::Verified;

use crate::outages::held;
use crate::page::{Row, count, line, texts};
use crate::wording::short as words;
use crate::{anew, said};

#[test]
fn every_shortfall_stands_on_short() {
    let seen = std::sync::Mutex::new(Vec::new());
    held("Short", |outage, wrong| {
        let mut expected =
            vec![line(words::TITLE[0]), line(words::TITLE[1]), texts(&words::COLUMNS)];
        places(&outage.verified, &mut expected, &mut seen.lock().unwrap());
        expected.push(line(words::BAGS));
        bags(&outage.verified, &mut expected);
        wrong.rows(&outage.book.page("Short").block(0..u32::MAX), &expected);
    });
    let seen = seen.into_inner().unwrap();
    for kind in [
        "none on hand",
        "reserved",
        "measure again",
        "no total",
        "gone",
        "window",
        "nearest",
        "over",
    ] {
        assert!(seen.contains(&kind), "no outage brings out: {kind}");
    }
}

fn places(verified: &Verified, rows: &mut Vec<Row>, seen: &mut Vec<&str>) {
    use gapwright::plan::Cause;
    let (job, plan) = (verified.job(), verified.plan());
    let before = rows.len();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Short(shorts) = kit else { continue };
        for short in shorts {
            seen.push(match short.cause {
                Cause::NoPiece => "none on hand",
                Cause::AllReserved => "reserved",
                Cause::OutOfReach => "measure again",
                Cause::BetweenTotals => "no total",
                Cause::StockGone { .. } => "gone",
                _ => "other",
            });
            let window = said::window(job, pump, short);
            let nearest = said::nearest(job, pump, short);
            seen.extend(window.is_some().then_some("window"));
            seen.extend(nearest.is_some().then_some("nearest"));
            let over = short.window.as_ref().is_some_and(|window| !window.over.is_empty());
            seen.extend(over.then_some("over"));
            let mut row = texts(&[
                &pump.tag,
                "",
                anew::due(pump),
                &said::place(job, pump, short),
                short.pack.map_or("", |at| pump.fits[at].as_str()),
                &said::reason(job, pump, short),
                window.as_deref().unwrap_or(words::NOTHING),
                &said::presumed(job, pump, short).unwrap_or_default(),
                nearest.as_deref().unwrap_or(words::NOTHING),
                said::standing(kit, &[]),
            ]);
            row.insert(1, count(pump.priority));
            rows.push(row);
        }
    }
    if rows.len() == before {
        rows.push(line(words::NONE));
    }
}

fn bags(verified: &Verified, rows: &mut Vec<Row>) {
    let (job, plan) = (verified.job(), verified.plan());
    if !verified.bags().iter().any(|bag| anew::lacks(bag)) {
        rows.push(line(words::NO_BAGS));
        return;
    }
    rows.push(texts(&words::LACKING));
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        for (need, share) in bag.iter().enumerate().filter(|(_, share)| share.lacking > 0) {
            let asked = &job.model_of(pump).consumables[need];
            let serving = anew::serving(job, pump, need);
            let bins: Vec<&str> =
                serving.iter().filter_map(|&row| job.stock[row].bin.as_deref()).collect();
            let code = pump.consumable_fits[need].code.as_ref();
            let mut row = texts(&[
                &pump.tag,
                "",
                anew::due(pump),
                &asked.kind,
                code.map_or("", |code| code.as_str()),
                &said::lack(job, pump, need),
                &format!("{} of {}", share.lacking, asked.count),
                &said::consumable(job, pump, need),
                &bins.join(", "),
                said::standing(kit, bag),
            ]);
            row.insert(1, count(pump.priority));
            rows.push(row);
        }
    }
}
