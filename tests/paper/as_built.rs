//! The as-built record: decisions, readings against predictions, the steps of a swap.

use std::fs;

use gapwright::job::Job;
use gapwright::length::Length;
use gapwright::plan::{Kit, PackPick, Pick};
use gapwright::read::Sources;
use gapwright::recheck::{Bench, Checked, Decision, Left, Of, Reading, Readings, Record, recheck};
use gapwright::verify::{VerifiedRecheck, verify_recheck};
use gapwright::write::as_built::{AsBuilt, workbook};
use tempfile::TempDir;

use crate::anew;
use crate::figures::{about, float, in_steps, limits, other, raw, symbol, thickness};
use crate::outages::{DATE, planned, sample};
use crate::page::{Book, Row, Wrong, count, entry, number, texts};
use crate::wording::{BOX, NOT_FIT, as_built as words};

/// By hand: B's clearance is met. A's is found 0.010 in wider than predicted, twice alike: one of 0.010 more shims
/// and the next gasket. C's pack reads as another shim. D is not read, and E has no kit.
#[test]
fn the_record_says_what_was_found_and_what_to_do() {
    let (verified, book) = case();
    let (job, records) = (verified.job(), verified.records());
    let decisions: Vec<&str> = records.iter().map(decision).collect();
    assert_eq!(
        decisions,
        [words::ACCEPT, words::SWAP, words::LOOK_NOT_MET, words::NOT_READ, NOT_FIT]
    );
    let mut wrong = Wrong::default();
    wrong.place = "As built".into();
    record(job, records, &book, &mut wrong);
    wrong.place = "Readings".into();
    readings(job, records, &book, &mut wrong);
    wrong.place = "To do".into();
    to_do(job, records, &book, &mut wrong);
    wrong.tell();
}

fn length(text: &str) -> Length {
    Length::parse(text, None).unwrap()
}

fn read(first: &str, again: Option<&str>, within: Length) -> Option<Readings> {
    let reading = |text: &str| Reading { value: length(text), within, gauge: None };
    Some(Readings { first: reading(first), again: again.map(reading) })
}

fn case() -> (VerifiedRecheck, Book) {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    let stock = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    fs::write(path("stock.csv"), stock.replace("0.120,0.0005,1", "0.120,0.0005,3")).unwrap();
    let pumps = fs::read_to_string("samples/tiny/pumps.csv").unwrap();
    let pumps = pumps.trim_end();
    let more = "\nD,screwed-impeller,2,F1,F1,0.021,0.080\nE,screwed-impeller,2,F1,F1,0.521,0.050\n";
    fs::write(path("pumps.csv"), format!("{pumps}{more}")).unwrap();
    let sources = Sources {
        stock: path("stock.csv"),
        pumps: path("pumps.csv"),
        ..sample("tiny/stock.csv", "tiny/pumps.csv")
    };
    let plan = planned(&sources);
    let job = plan.job().clone();
    let fitted = |at: usize| match &plan.plan().kits[at] {
        Kit::Served(packs) => Some(packs.clone()),
        Kit::Short(_) => None,
    };
    let mut benches: Vec<Bench> = job
        .pumps
        .iter()
        .enumerate()
        .map(|(at, pump)| Bench::unread(&job, pump, fitted(at)))
        .collect();
    let (pack, clearance) = (job.policy.pack_within, job.policy.clearance_within);
    benches[0].packs[0] = read("0.0301 in", None, pack);
    benches[0].requirements[0] = read("0.0211 in", None, clearance);
    benches[0].fitter = Some("A. Fitter, 2 March".into());
    benches[0].checker = Some("B. Checker".into());
    benches[1].packs[0] = read("0.0200 in", None, pack);
    benches[1].requirements[0] = read("0.0310 in", Some("0.0311 in"), clearance);
    benches[2].packs[0] = read("0.0200 in", None, pack);
    let left = Left {
        pieces: (0..job.stock.len())
            .map(|at| anew::left(&plan, at) - job.stock[at].reserved)
            .collect(),
        plates: vec![],
    };
    let records = recheck(&job, &benches, &mut left.clone());
    let verified = verify_recheck(job, records, &left).unwrap();
    let built = AsBuilt { recheck: &verified, plan_id: "0123456789ab", inputs: &[], date: DATE };
    let bytes = workbook(&built).unwrap();
    (verified, Book::read(bytes))
}

fn decision(record: &Record) -> &'static str {
    match &record.decision {
        Decision::NotKitted | Decision::NoSwap(_) => NOT_FIT,
        Decision::NotRead => words::NOT_READ,
        Decision::Look(_) if record.requirements.iter().any(beyond) => words::LOOK_NOT_MET,
        Decision::Look(_) => words::LOOK,
        Decision::Incomplete(_) => words::LACKING,
        Decision::Accept => words::ACCEPT,
        Decision::Swap(_) => words::SWAP,
    }
}

/// Whether a requirement lies beyond a limit, whatever its guard.
fn beyond(checked: &Checked) -> bool {
    let v = &checked.verdict;
    v.lower.is_some_and(|lower| v.value < lower) || v.upper.is_some_and(|upper| v.value > upper)
}

fn record(job: &Job, records: &[Record], book: &Book, wrong: &mut Wrong) {
    let rows = book.page("As built").block(0..9);
    let kinds: [fn(&Decision) -> bool; 6] = [
        |d| matches!(d, Decision::Accept),
        |d| matches!(d, Decision::Look(_)),
        |d| matches!(d, Decision::Swap(_)),
        |d| matches!(d, Decision::NoSwap(_)),
        |d| matches!(d, Decision::Incomplete(_) | Decision::NotRead),
        |d| matches!(d, Decision::NotKitted),
    ];
    let counts = kinds.iter().zip(words::COUNTS).map(|(is, label)| {
        let of = records.iter().filter(|record| is(&record.decision)).count();
        Row::from([(0, count(of as f64)), (1, label.to_string())])
    });
    wrong.in_order(&rows, &counts.collect::<Vec<Row>>());
    let top = rows.iter().position(|row| *row == texts(&words::COLUMNS)).expect("the headings");
    for ((pump, record), row) in job.pumps.iter().zip(records).zip(&rows[top + 1..]) {
        let found = |at: u32| row.get(&at).map_or("", String::as_str);
        wrong.same(
            "tag, model, due",
            [found(0), found(1), found(2)],
            [&pump.tag, &job.model_of(pump).name, anew::due(pump)],
        );
        // An unmeasured pack is mentioned next to the decision.
        let decided = found(3).split(';').next().unwrap_or("");
        wrong.same("decision", decided, decision(record));
        if record.requirements.iter().any(beyond) && matches!(record.decision, Decision::Look(_)) {
            let checked = record.requirements.iter().zip(&pump.requirements);
            let missed = checked.filter(|(checked, _)| beyond(checked)).map(|(checked, of)| {
                let (v, unit) = (&checked.verdict, job.model_of(pump).unit);
                let [value, low, high] =
                    [v.value, v.lower.unwrap(), v.upper.unwrap()].map(|length| length.raw());
                let how = if checked.on_reading { words::FOUND } else { words::AS_READ };
                let [low, high] = limits(low, high, unit);
                words::not_met(&of.label, &about(value, unit), how, &low, &high)
            });
            let said: Vec<String> = missed.chain([words::SEE.to_string()]).collect();
            wrong.same("remarks", found(4), said.join(" ").as_str());
        } else if matches!(record.decision, Decision::Look(_) | Decision::Swap(_)) {
            wrong.same("remarks", found(4), words::SEE);
        } else {
            wrong.unless(!found(4).is_empty(), "remarks");
        }
        let signed =
            [&record.bench.fitter, &record.bench.checker].map(|who| who.as_deref().unwrap_or(""));
        wrong.same("who signed", [found(5), found(6)], signed);
        let open = match record.decision {
            Decision::Accept => entry(""),
            _ => words::NOT_YET.to_string(),
        };
        wrong.same("room to accept", [found(7), found(8)], [open.as_str(); 2]);
    }
}

/// The pack as read, or else as its nominal pieces.
fn pack(job: &Job, record: &Record, place: usize) -> i128 {
    let read = record.bench.packs[place].map(|readings| raw(readings.last().value));
    read.unwrap_or_else(|| anew::pack(job, &record.bench.fitted.as_ref().unwrap()[place]).value)
}

fn readings(job: &Job, records: &[Record], book: &Book, wrong: &mut Wrong) {
    let rows = book.page("Readings").block(0..13);
    let mut expected = vec![texts(&words::READINGS)];
    for (pump, record) in job.pumps.iter().zip(records) {
        if record.compared().next().is_none() {
            continue;
        }
        let fitted: &[PackPick] = record.bench.fitted.as_ref().unwrap();
        let unit = job.model_of(pump).unit;
        for of in record.readable() {
            let compared = record.against(of);
            let checked = match of {
                Of::Requirement(at) => Some(&record.requirements[at]),
                Of::Pack(_) => None,
            };
            if compared.is_none() && checked.is_none() {
                continue;
            }
            let label = match of {
                Of::Pack(at) => &job.model_of(pump).packs[at].label,
                Of::Requirement(at) => &pump.requirements[at].label,
            };
            let standing = match (
                compared.map(|c| c.agrees()),
                checked.map(|c| (c.verdict.conforms(), beyond(c))),
            ) {
                (Some(true), None) => "agrees",
                (Some(true), Some((true, _))) => "agrees, met",
                (Some(false), Some((_, true))) => "beyond, and NOT MET",
                (Some(false), Some((false, _))) => "beyond, and NOT PROVEN",
                (Some(false), _) => "beyond what was predicted",
                (_, Some((_, true))) => "NOT MET",
                (_, Some((false, _))) => "NOT PROVEN",
                (None, _) if matches!(of, Of::Requirement(1)) => "met as picked, not measured",
                (None, _) => "not read; met as predicted",
            };
            let mut row = texts(&[&pump.tag, label, symbol(unit)]);
            row.insert(12, standing.to_string());
            let mut put = |at: u32, figure: i128| {
                let shown = (float(figure, unit) * 1e7).round() / 1e7;
                row.insert(at, number(shown));
            };
            if let Some(checked) = checked {
                put(10, checked.verdict.lower.unwrap().raw());
                put(11, checked.verdict.upper.unwrap().raw());
            }
            if let Some(compared) = compared {
                // The pieces are symmetric: the middle is the nominal value.
                let predicted = match of {
                    Of::Pack(at) => anew::pack(job, &fitted[at]).value,
                    Of::Requirement(_) => raw(pump.dimensions[0].value) - pack(job, record, 0),
                };
                let readings = match of {
                    Of::Pack(at) => record.bench.packs[at],
                    Of::Requirement(at) => record.bench.requirements[at],
                };
                let readings = readings.unwrap();
                put(3, predicted);
                put(4, compared.predicted_within.raw());
                put(5, raw(readings.first.value));
                if let Some(again) = readings.again {
                    put(6, raw(again.value));
                }
                put(7, compared.found_within.raw());
                let last = raw(readings.last().value);
                put(8, last - predicted);
                let both = [compared.predicted_within, compared.found_within]
                    .map(|u| float(u.raw(), unit));
                let e = float(last - predicted, unit) / both[0].hypot(both[1]);
                row.insert(9, number((e * 100.0).round() / 100.0));
            }
            expected.push(row);
        }
    }
    let top = rows.iter().position(|row| *row == expected[0]).expect("the headings");
    wrong.rows(&rows[top..], &expected);
}

fn pieces(job: &Job, picks: &[Pick]) -> String {
    let each = picks.iter().map(|pick| {
        let item = &job.stock[pick.item];
        let thick = thickness(anew::fitted(item, pick.peeled));
        format!("{} x {} ({thick})", pick.count, item.item)
    });
    each.collect::<Vec<_>>().join(" and ")
}

fn to_do(job: &Job, records: &[Record], book: &Book, wrong: &mut Wrong) {
    let rows = book.page("To do").block(0..6);
    let top = rows.iter().position(|row| *row == texts(&words::TO_DO)).expect("the headings");
    let rows = &rows[top + 1..];
    // The lines of a pump begin where its tag and decision appear.
    let begins: Vec<[&str; 2]> = rows
        .iter()
        .filter_map(|row| Some([row.get(&0)?.as_str(), row.get(&1)?.as_str()]))
        .collect();
    let open = job.pumps.iter().zip(records).filter(|(_, record)| {
        matches!(record.decision, Decision::Look(_) | Decision::Swap(_) | Decision::NoSwap(_))
    });
    let expected: Vec<[&str; 2]> =
        open.map(|(pump, record)| [pump.tag.as_str(), decision(record)]).collect();
    wrong.same("pumps that are kept open", begins, expected);
    let step = |text: String| {
        let mut row = texts(&["", "", &text]);
        row.extend([(3, entry(BOX)), (4, entry("")), (5, entry(""))]);
        row
    };
    for (pump, record) in job.pumps.iter().zip(records) {
        let Decision::Swap(swap) = &record.decision else {
            continue;
        };
        let (model, unit) = (job.model_of(pump), job.model_of(pump).unit);
        let mut expected = Vec::new();
        for (place, [out, into]) in swap.moves.iter().enumerate() {
            let label = &model.packs[place].label;
            if !out.is_empty() {
                expected.push(step(words::out(label, &pieces(job, out))));
            }
            for pick in into {
                let bin = anew::bin(&job.stock[pick.item]);
                expected.push(step(words::into(label, &pieces(job, &[*pick]), bin)));
            }
            // The reading, moved by the moved pieces.
            let moved = |picks: &[Pick]| anew::pack(job, &PackPick { picks: picks.to_vec() });
            let total = pack(job, record, place) + moved(into).value - moved(out).value;
            wrong.same("total after the swap", raw(swap.expected[place].0), total);
            let off = swap.expected[place].1;
            let both = [unit, other(unit)].map(|unit| about(total, unit));
            let ends = [total - raw(off.minus), total + raw(off.plus)];
            let range =
                [unit, other(unit)].map(|unit| in_steps(ends, unit, job.policy.pack_step.of(unit)));
            expected.push(step(words::expected(label, both, range)));
        }
        for (requirement, verdict) in pump.requirements.iter().zip(&swap.verdicts) {
            let value = [unit, other(unit)].map(|unit| about(verdict.value.raw(), unit));
            let [low, high] = [verdict.lower, verdict.upper].map(|limit| limit.unwrap().raw());
            let [low, high] = limits(low, high, unit);
            let text = words::then(&requirement.label, [&value[0], &value[1]], &low, &high);
            expected.push(step(text));
        }
        wrong.in_order(rows, &expected);
    }
}
