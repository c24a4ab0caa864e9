//! Picking list: one line per item taken, in one walk along the bins; then the sheets that are cut.

use gapwright::verify::Verified;

use crate::figures::{is_about, thickness, trimmed};
use crate::outages::held;
use crate::page::{Row, count, entry, line, texts};
use crate::returned::{self, stated};
use crate::wording::{BOX, picking as words};
use crate::{anew, said};

#[test]
fn every_line_of_the_picking_list_is_what_the_kits_take() {
    held("Picking list", |outage, wrong| {
        let verified = &outage.verified;
        let mut expected = vec![line(words::TITLE[0]), line(words::TITLE[1])];
        expected.extend(said::not_fit(verified, words::NOT_FIT));
        expected.push(texts(&words::COLUMNS));
        let (lines, pieces, stacked) = items(verified, &mut expected);
        if lines == 0 {
            expected.push(line(words::NOTHING));
        }
        sheets(verified, &mut expected);
        put_away(verified, &mut expected);
        expected.push(line(words::total(lines, pieces, pieces - stacked)));
        wrong.rows(&outage.book.page("Picking list").block(0..u32::MAX), &expected);
    });
}

/// Lines, pieces, and those of them that are shims or gaskets.
fn items(verified: &Verified, rows: &mut Vec<Row>) -> (usize, u32, u32) {
    let job = verified.job();
    let mut order: Vec<usize> = (0..job.stock.len()).collect();
    order.retain(|&item| anew::taken(verified, item) > 0);
    order.sort_by(|&a, &b| {
        let (p, q) = (&job.stock[a], &job.stock[b]);
        // Items without a bin are looked for at the end.
        let last = p.bin.is_none().cmp(&q.bin.is_none());
        last.then(anew::by_bin(anew::bin(p), anew::bin(q))).then(a.cmp(&b))
    });
    let (mut pieces, mut stacked) = (0, 0);
    for &index in &order {
        let (item, taken) = (&job.stock[index], anew::taken(verified, index));
        pieces += taken;
        if matches!(item.kind.as_str(), "shim" | "gasket") {
            stacked += taken;
        }
        let tags = (0..job.pumps.len()).filter_map(|pump| {
            let mut mine = anew::picks(verified, pump);
            mine.retain(|pick| pick.item == index);
            let own: u32 = mine.iter().map(|pick| pick.count).sum();
            let peel = if mine.iter().any(|pick| pick.peeled > 0) { words::TO_PEEL } else { "" };
            (own > 0).then(|| format!("{} ({own}{peel})", job.pumps[pump].tag))
        });
        let mut tags = tags.collect::<Vec<_>>().join(", ");
        let loose = (item.on_hand - item.reserved) % item.carton_qty;
        if job.policy.opened_cartons_spoiled && item.carton_qty > 1 && taken > loose {
            let packs = (taken - loose).div_ceil(item.carton_qty);
            tags += &words::open(packs, item.carton_qty, anew::spoiled(verified, index));
        }
        let thick = item.size.map(|size| size.thickness).or(item.section);
        let bin = item.bin.as_deref().unwrap_or(words::NO_BIN);
        let mut row = texts(&[
            bin,
            &item.item,
            &item.kind,
            item.fit.as_str(),
            &thick.map_or(String::new(), thickness),
            &thick.map_or(String::new(), is_about),
            "",
            &tags,
        ]);
        row.extend([(6, count(taken)), (8, entry(BOX)), (9, entry(""))]);
        rows.push(row);
    }
    (order.len(), pieces, stacked)
}

/// Equal sheets with equal layouts share one line.
fn sheets(verified: &Verified, rows: &mut Vec<Row>) {
    let (job, layouts) = (verified.job(), &verified.plan().layouts);
    if layouts.is_empty() {
        return;
    }
    rows.push(texts(&words::SHEETS));
    let mut alike: Vec<(usize, u32)> = Vec::new();
    for (at, layout) in layouts.iter().enumerate() {
        match alike.iter_mut().find(|(first, _)| layouts[*first] == *layout) {
            Some((_, count)) => *count += 1,
            None => alike.push((at, 1)),
        }
    }
    for (at, sheets) in alike {
        let layout = &layouts[at];
        let lot = &job.plates[layout.plate];
        let side = lot.sides[layout.along];
        let strips = layout.strips.iter().map(|&(item, strips)| {
            let item = &job.stock[item];
            let wide = item.cut.unwrap().outside;
            words::strips(strips, &trimmed(wide), side.ticks() / wide.ticks(), item.fit.as_str())
        });
        let strips: Vec<String> = strips.collect();
        let text = words::along(&trimmed(side), &strips.join("; "));
        let bin = lot.bin.as_deref().unwrap_or("");
        let mut row = texts(&[bin, &lot.item, &lot.kind, "", "", "", "", &text]);
        row.extend([(6, count(sheets)), (8, entry(BOX)), (9, entry(""))]);
        rows.push(row);
    }
}

/// What goes back of the plates cut, with an empty cell for its bin: no lot here has one before.
fn put_away(verified: &Verified, rows: &mut Vec<Row>) {
    let lots = returned::lots(verified);
    if !lots.is_empty() {
        rows.push(texts(&words::BACK));
    }
    for lot in lots {
        let plate = &verified.job().plates[lot.plate];
        let (fit, about) = (lot.fit.as_deref().unwrap_or(""), lot.about());
        let thick = stated(plate.size.thickness);
        let of = format!("{}: {about}", plate.item);
        let mut row = texts(&["", &lot.item, &plate.kind, fit, &thick, "", "", &of]);
        row.extend([(0, entry("")), (6, count(lot.count)), (8, entry(BOX)), (9, entry(""))]);
        rows.push(row);
    }
}

#[test]
fn bins_are_walked_by_their_numbers() {
    assert!(anew::by_bin("A2", "A10").is_lt() && anew::by_bin("B1", "A10").is_gt());
}
