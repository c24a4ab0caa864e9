//! Labels: one per kitted pump, three next to each other, in the order of the slips.

use gapwright::plan::Kit;
use gapwright::verify::Verified;

use crate::anew;
use crate::outages::held;
use crate::page::{Row, line, texts};
use crate::wording::{labels as words, not_fit};

const ACROSS: usize = 3;

#[test]
fn every_label_says_what_is_in_its_bag() {
    held("Labels", |outage, wrong| {
        let (job, plan) = (outage.verified.job(), outage.verified.plan());
        let order = anew::slips(job);
        let (mut labels, mut open) = (Vec::new(), Vec::new());
        for (at, &index) in order.iter().enumerate() {
            match plan.kits[index] {
                Kit::Served(_) => labels.push(label(&outage.verified, index, at + 1)),
                Kit::Short(_) => open.push(job.pumps[index].tag.as_str()),
            }
        }
        let mut expected: Vec<Row> = Vec::new();
        for beside in labels.chunks(ACROSS) {
            for at in 0..beside[0].len() {
                let mut row = Row::new();
                for (column, label) in (0..).step_by(3).zip(beside) {
                    let text = (column, label[at].clone());
                    row.extend([text].into_iter().filter(|(_, text)| !text.is_empty()));
                }
                if !row.is_empty() {
                    expected.push(row);
                }
            }
        }
        if !open.is_empty() {
            expected.push(line(not_fit(words::NO_BAG, &open.join(", "))));
        }
        if expected.is_empty() {
            expected.push(texts(&[words::NONE]));
        }
        wrong.rows(&outage.book.page("Labels").block(0..u32::MAX), &expected);
    });
}

fn label(verified: &Verified, index: usize, number: usize) -> [String; 7] {
    let job = verified.job();
    let pump = &job.pumps[index];
    let mut kinds: Vec<(String, u32)> = Vec::new();
    for pick in anew::picks(verified, index) {
        let kind = &job.stock[pick.item].kind;
        match kinds.iter_mut().find(|(known, _)| known == kind) {
            Some((_, count)) => *count += pick.count,
            None => kinds.push((kind.clone(), pick.count)),
        }
    }
    // Shims, gaskets, then the consumables by name.
    kinds.sort_by_key(|(kind, _)| {
        let place = ["shim", "gasket"].iter().position(|own| own == kind);
        (place.unwrap_or(2), kind.clone())
    });
    let each = kinds.iter().map(|(kind, count)| {
        let plural = if *count == 1 { "" } else { "s" };
        format!("{count} {kind}{plural}")
    });
    let each: Vec<String> = each.collect();
    let all = kinds.iter().map(|(_, count)| count).sum();
    let lacks: u32 = verified.bags()[index].iter().map(|share| share.lacking).sum();
    [
        pump.tag.clone(),
        words::kit(number, job.pumps.len()),
        words::facts(anew::due(pump), pump.priority),
        pump.location.clone().unwrap_or_default(),
        words::pieces(all, &each.join(", ")),
        if lacks == 0 { String::new() } else { words::short(lacks) },
        words::plan(&verified.planned().id()),
    ]
}
