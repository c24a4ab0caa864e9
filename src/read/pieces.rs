//! Reads the pieces of a place from the command line: `bearing_shims=2 x 0.010 +/- 0.0003, SH-005`.

use crate::job::Job;
use crate::length::{Length, Tolerance, Unit};
use crate::model::Pack;
use crate::plan::{PackPick, Pick};
use crate::problem::{Place, Problem, Problems};
use crate::stock::{Item, Size};

/// Gives a pump the stated pieces, `PLACE=PIECE, PIECE ...` for each place of its model.
///
/// A piece is an item number of the stock, or a thickness with its plus/minus; either may have `2 x` before it.
/// Pieces are separated by semicolons, or by commas followed by a space. A piece that is not an item of the stock is
/// added to it, for this pump alone.
///
/// # Errors
/// Every problem: an unknown place or item, a thickness without a plus/minus, a place without pieces.
pub fn stated(job: &mut Job, pump: usize, texts: &[String]) -> Result<Vec<PackPick>, Problems> {
    let mut problems = Problems::new();
    let model = job.model_of(&job.pumps[pump]).clone();
    let fits = job.pumps[pump].fits.clone();
    let mut packs = vec![None; model.packs.len()];
    let mut wrong = |found: String, expected: String, fix: &str| {
        let place = Place::file("command line");
        problems.add(Problem::new(place, found, expected, fix));
    };
    let names: Vec<&str> = model.packs.iter().map(|pack| pack.name.as_str()).collect();
    for text in texts {
        let (name, pieces) = text.split_once('=').unwrap_or((text, ""));
        let key = |name: &str| name.trim().to_lowercase().replace([' ', '-'], "_");
        let Some(index) = names.iter().position(|known| key(known) == key(name)) else {
            wrong(
                format!("--pack {text}"),
                format!("a place of the model `{}`: {}", model.name, names.join(", ")),
                "write PLACE=PIECES",
            );
            continue;
        };
        if packs[index].is_some() {
            wrong(
                format!("--pack {name} a second time"),
                "each place once".into(),
                "put all its pieces into one --pack",
            );
            continue;
        }
        let mut picks = Vec::new();
        for piece in parts(pieces) {
            let (count, rest) = counted(piece);
            let offered = job.offered(&model.packs[index], &fits[index]);
            let known = offered
                .into_iter()
                .find(|&item| job.stock[item].item.to_lowercase() == rest.to_lowercase());
            let item = match known {
                Some(item) => item,
                None => match size(rest, model.unit) {
                    Some(size) => {
                        let kind = model.packs[index].kind.clone();
                        let fit = fits[index].clone();
                        job.parts.stock.push(Item::of(rest, kind, fit, size, count));
                        job.stock.len() - 1
                    }
                    None => {
                        wrong(
                            format!("the piece `{piece}` of --pack {name}"),
                            "a thickness with its plus/minus such as 0.010 +/- 0.0003, or an item of the stock workbook with the fit of the place".into(),
                            "state both, or give --stock; separate pieces with a semicolon, or with a comma and a space",
                        );
                        continue;
                    }
                },
            };
            picks.push(Pick { item, count, peeled: 0 });
        }
        packs[index] = Some(PackPick { picks });
    }
    for (pack, name) in packs.iter().zip(&names) {
        if pack.is_none() {
            wrong(
                format!("no pieces for `{name}`"),
                "pieces for every place of the model".into(),
                "add a --pack for it; `--pack PLACE=` states an empty place",
            );
        }
    }
    let packs: Option<Vec<PackPick>> = packs.into_iter().collect();
    let (packs, _) = problems.settle(packs)?;
    let tag = job.pumps[pump].tag.clone();
    for (place, pack) in model.packs.iter().zip(&packs) {
        warn(job, &tag, place, pack);
    }
    Ok(packs)
}

/// Warns of pieces that the model or the stock would not allow: an engineer may want to see them all the same.
fn warn(job: &mut Job, tag: &str, place: &Pack, pack: &PackPick) {
    let mut found = Vec::new();
    let pieces: u32 = pack.picks.iter().map(|pick| pick.count).sum();
    let (least, most) = (place.least_pieces, place.most_pieces);
    if !(least..=most).contains(&pieces) {
        found.push((
            format!("{pieces} pieces in `{}` of {tag}", place.name),
            format!("{least} to {most}, as the model says"),
        ));
    }
    for pick in &pack.picks {
        let lot = &job.stock[pick.item];
        let all = pack.picks.iter().filter(|other| other.item == pick.item);
        let wanted: u32 = all.map(|other| other.count).sum();
        if wanted > lot.available() {
            found.push((
                format!("{wanted} x {} in `{}` of {tag}", lot.item, place.name),
                format!("{} at most, which may be issued", lot.available()),
            ));
        }
    }
    found.dedup();
    for (found, expected) in found {
        let fix = "the stack-up is worked out as stated; no such kit could be made";
        let place = Place::file("command line");
        job.warnings.push(Problem::new(place, found, expected, fix));
    }
}

/// Pieces are separated by semicolons, or by commas followed by a space: a comma alone may be the decimal mark.
fn parts(text: &str) -> impl Iterator<Item = &str> {
    let by = if text.contains(';') { ";" } else { ", " };
    text.split(by).map(str::trim).filter(|piece| !piece.is_empty())
}

/// Most pieces that are stated as one; more is a typing error.
const MOST_ALIKE: u32 = 1_000;

/// `2 x rest` or the rest alone.
fn counted(text: &str) -> (u32, &str) {
    let split = text.split_once(['x', 'X']);
    let counted = split.and_then(|(count, rest)| Some((count.trim().parse().ok()?, rest.trim())));
    counted.filter(|(count, _)| (1..=MOST_ALIKE).contains(count)).unwrap_or((1, text))
}

/// A thickness with its plus/minus.
fn size(text: &str, unit: Unit) -> Option<Size> {
    let (thickness, within) = ["+/-", "±"]
        .into_iter()
        .find_map(|sign| text.split_once(sign))
        // Uneven sides: `0.5 +0 / -0.02 mm`.
        .or_else(|| {
            let at = text.find(" +")?;
            Some((&text[..at], &text[at..]))
        })?;
    let thickness = Length::parse(thickness, Some(unit)).ok()?;
    let tolerance = Tolerance::parse(within, Some(unit)).ok()?;
    let sound = thickness > Length::ZERO && tolerance.minus < thickness;
    sound.then_some(Size::new(thickness, tolerance))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_read_with_their_count_and_both_sides() {
        assert_eq!(counted("2 x SH-1"), (2, "SH-1"));
        assert_eq!(counted("BOX-1"), (1, "BOX-1"));
        assert_eq!(counted("4294967295 x SH-1"), (1, "4294967295 x SH-1"));
        assert!(parts("1,00 +/- 0,005, 2 x A").eq(["1,00 +/- 0,005", "2 x A"]));
        assert!(parts("1,00 +/- 0,005;A,B").eq(["1,00 +/- 0,005", "A,B"]));
        let even = size("0.010 +/- 0.0003", Unit::Inch).unwrap();
        assert_eq!(even.thickness.show(Unit::Inch), "0.0100");
        assert_eq!(even.tolerance.plus.show(Unit::Thou), "0.3");
        let uneven = size("0.5 +0 / -0.02 mm", Unit::Millimetre).unwrap();
        assert_eq!(uneven.tolerance.plus, Length::ZERO);
        assert_eq!(uneven.tolerance.minus.show(Unit::Millimetre), "0.020");
        assert_eq!(size("0.010", Unit::Inch), None);
        assert_eq!(size("0.010 +/- 0.02", Unit::Inch), None);
    }
}
