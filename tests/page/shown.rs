//! Values that the page shows, held against the plan for programs.

use gapwright::choose::control::Control;
use gapwright::formats::plan::PlanJson;
use gapwright::json;
use gapwright::length::{Fine, Length, Unit};
use gapwright::page::{PumpRow, RowState, rows};
use gapwright::scratch::{Scratch, plan, with_worth};
use serde_json::json;

use crate::raw::{Served, talk};
use crate::scratch::sources;

fn planned(folder: &str, end: &str) -> (Scratch, PlanJson) {
    let mut scratch = Scratch::open(sources(folder, end)).unwrap();
    let planned = plan(scratch.job(), &Control::unlimited()).unwrap();
    let planned = with_worth(&planned, &Control::unlimited()).unwrap();
    let told = json::plan(&planned);
    assert!(scratch.take(scratch.revision(), planned));
    (scratch, told)
}

/// Length of a text with its unit.
fn length(text: &str) -> Fine {
    Length::parse(text, None).unwrap_or_else(|error| panic!("{text}: {error}")).into()
}

/// Least difference of two texts of a unit that its usual places can show.
fn step(unit: Unit) -> Fine {
    Fine::from(Length::from_ticks(unit.ticks() / 10_i64.pow(unit.places())))
}

#[test]
fn every_value_of_a_row_is_that_of_the_plan_for_programs() {
    for (folder, end) in [("tiny", "csv"), ("outage", "xlsx"), ("purchase", "csv")] {
        let (scratch, told) = planned(folder, end);
        let shown = rows(&scratch);
        assert_eq!(shown.len(), told.pumps.len() + told.not_measured.len());
        let (mut kitted, mut short) = (0, 0);
        for pump in &told.pumps {
            let row = shown.iter().find(|row| row.tag == pump.tag).unwrap();
            match pump.served {
                true => {
                    kitted += 1;
                    check_kit(row, pump);
                }
                false => {
                    short += 1;
                    assert_eq!(row.state, RowState::NotFit);
                    assert!(row.pieces.is_empty() && row.predicted.is_none());
                    assert!(!row.remarks[0].is_empty());
                }
            }
        }
        for pump in &told.not_measured {
            let row = shown.iter().find(|row| row.tag == pump.tag).unwrap();
            assert_eq!(row.state, RowState::NotMeasured);
            pump.waits_for.iter().for_each(|heading| assert!(row.remarks[0].contains(heading)));
        }
        assert!(kitted > 0 && (short > 0 || folder != "outage"), "{folder}: {kitted} {short}");
    }
}

fn check_kit(row: &PumpRow, pump: &gapwright::formats::plan::PumpJson) {
    let lacking = pump.bag.iter().any(|need| need.lacking > 0);
    let state = if lacking { RowState::ShortOfConsumables } else { RowState::Kitted };
    assert_eq!(row.state, state, "{}", pump.tag);
    // Pieces, place by place.
    let mut texts: Vec<&str> = row.pieces.iter().map(|[_, text]| text.as_str()).collect();
    assert_eq!(texts.len(), pump.packs.len());
    for pack in pump.packs.values() {
        let named = |text: &&str| {
            pack.pieces
                .iter()
                .all(|piece| text.contains(&format!("{} x {}", piece.count, piece.item)))
                && text.matches(" x ").count() >= pack.pieces.len()
        };
        let unit = Unit::parse(&pack.unit).unwrap();
        let total = Length::parse(&pack.total, Some(unit)).unwrap();
        let at = texts.iter().position(|text| {
            let shown = text.rsplit(" = ").next().unwrap();
            named(text) && (pack.pieces.is_empty() || near(length(shown), total.into(), unit))
        });
        texts.remove(at.unwrap_or_else(|| panic!("{}: {pack:?} in {texts:?}", pump.tag)));
    }
    let within: Vec<_> =
        pump.crush.iter().filter(|one| json!(one)["standing"] == json!("within")).collect();
    assert_eq!(within.is_empty(), row.crush.is_empty(), "{within:?} {}", row.crush);
    for one in &pump.crush {
        let out = json!(one)["standing"].as_str().is_some_and(|standing| standing != "within");
        let warned = row.remarks.iter().any(|remark| remark.contains(&one.item));
        assert_eq!(out, warned, "{one:?} {:?}", row.remarks);
    }
    // First requirement; then the one with the least margin.
    let first = &pump.requirements[0];
    let unit = Unit::parse(&first.unit).unwrap();
    let of = |text: &str| Fine::from(Length::parse(text, Some(unit)).unwrap());
    let predicted = row.predicted.as_ref().unwrap();
    assert!(near(length(&predicted.value), of(&first.value), unit), "{predicted:?} {first:?}");
    assert!(length(&predicted.margin) <= of(&first.margin), "rounded inward: {predicted:?}");
    assert!(near(length(&predicted.margin), of(&first.margin), unit));
    assert_eq!(predicted.conforms, first.conforms);
    for limit in first.lower.iter().chain(&first.upper) {
        let places = limit.trim_end_matches('0');
        assert!(predicted.limits.contains(places), "{places} in {predicted:?}");
    }
    let shares = predicted.shares.unwrap();
    if let (Some(lower), Some(upper)) = (&first.lower, &first.upper) {
        let float = |fine: Fine| fine.to_f64(Unit::Micrometre);
        let [lower, upper, value] = [lower, upper, &first.value].map(|text| float(of(text)));
        assert!((shares.value - (value - lower) / (upper - lower)).abs() < 1e-9);
        assert!(shares.guard[0] >= -1e-9 && shares.guard[1] <= 1.0 + 1e-9, "it conforms");
    }
    let [margin, _] = row.margin.as_ref().unwrap();
    let least = pump.requirements.iter().map(|one| {
        let unit = Unit::parse(&one.unit).unwrap();
        Fine::from(Length::parse(&one.margin, Some(unit)).unwrap())
    });
    assert!(near(length(margin), least.min().unwrap(), unit), "{margin}");
}

fn near(shown: Fine, exact: Fine, unit: Unit) -> bool {
    (shown - exact).abs() < step(unit)
}

#[test]
fn the_board_says_what_the_plan_comes_to() {
    let (scratch, told) = planned("outage", "xlsx");
    let served = Served::of(scratch, gapwright::page::Bounds::default());
    let cookie = served.enter();
    let page =
        |path: &str| talk(served.at, served.get(path, &[("Cookie", &cookie)]).as_bytes()).body;
    let board = page("/");
    let kitted = told.pumps.iter().filter(|pump| pump.served).count();
    assert!(board.contains(&format!("{kitted} of {} pumps", told.pumps.len())), "{board}");
    let waste = format!("{:.2} {}", told.waste.parse::<f64>().unwrap(), told.currency);
    assert!(told.proven && board.contains(&format!("none wastes less than {waste}")));
    for pump in told.pumps.iter().filter(|pump| !pump.served) {
        assert!(board.contains("NOT FIT TO ASSEMBLE"));
        let row = board.split(&format!("data-tag=\"{}\"", pump.tag)).nth(1).unwrap();
        let row = row.split("</tr>").next().unwrap();
        assert!(row.contains("NOT FIT TO ASSEMBLE"), "{row}");
    }
    assert!(board.contains("The plan predicts: measure each finished pack"));
    assert!(board.contains("Isolate, lock out and drain"));
    let drawers = page("/drawers");
    for item in &told.stock {
        let row = drawers.split("<tr").find(|row| row.contains(&format!(">{}<", item.item)));
        let row = row.unwrap_or_else(|| panic!("{} is not there", item.item));
        for count in [item.before, item.issued, item.after] {
            assert!(row.contains(&format!(">{count}</td>")), "{} {count}: {row}", item.item);
        }
        for pump in &told.pumps {
            let pieces = pump.packs.values().flat_map(|pack| &pack.pieces);
            let count: u32 = pieces.filter(|piece| piece.item == item.item).map(|p| p.count).sum();
            if count > 0 {
                assert!(row.contains(&format!("{}: {count}<", pump.tag)), "{} {row}", pump.tag);
            }
        }
    }
    let pump = |tag: &str| {
        let row = served
            .desk
            .look(|scratch| scratch.job().pumps.iter().find(|p| p.tag == tag).unwrap().row);
        page(&format!("/pump/{row}"))
    };
    let short = told.pumps.iter().find(|pump| !pump.served).unwrap();
    assert!(pump(&short.tag).contains("NOT FIT TO ASSEMBLE: why"));
    let good = pump(&told.pumps.iter().find(|pump| pump.served).unwrap().tag);
    assert!(good.contains("/drawing/") && good.contains("class=\"drawn\""), "{good}");
    assert!(good.contains("of the worst case") && !good.contains("NOT FIT"));
}
