//! Pieces of each pump as fitted: those of the saved plan, with the deviations on its sheet Issue.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::numbered_sheets;
use crate::accounting::pack_total;
use crate::formats::slip::{KEYS, PIECE, SlipRow as Holds};
use crate::issue::carried::Carried;
use crate::issue::key;
use crate::issue::planned::PickStep;
use crate::job::{Job, MissingReading};
use crate::length::Length;
use crate::model::NOT_FIT;
use crate::plan::{PackPick, Pick};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::pump::Pump;
use crate::sheet::{Book, Sheet, SheetRow};

/// Contents of a row of the Kits sheet: the word, the tag and the name in its hidden columns.
pub(super) fn holds(row: &SheetRow) -> Option<(Holds, String, String)> {
    let [word, tag, name] = KEYS.map(|column| {
        let cell = row.cell(column.into());
        cell.map(|cell| cell.show()).unwrap_or_default()
    });
    Some((Holds::parse(&word)?, tag, name))
}

/// Pumps of a job by their tags.
pub(super) struct Tags(BTreeMap<String, usize>);

impl Tags {
    pub(super) fn of(job: &Job) -> Tags {
        let tags = job.pumps.iter().map(|pump| key(&pump.tag));
        Tags(tags.zip(0..).collect())
    }

    /// Index of the pump with this tag.
    pub(super) fn pump(&self, tag: &str) -> Option<usize> {
        self.0.get(&key(tag)).copied()
    }
}

/// Problem of a kit for a pump that the job does not have, or has no readings of any more.
pub(super) fn no_such_pump(job: &Job, tag: &str, at: Place) -> Problem {
    let missing = job.not_measured.iter().find(|pump| key(&pump.tag) == key(tag));
    match missing.and_then(|pump| pump.waits_for.first()) {
        Some(MissingReading { heading, place }) => Problem::new(
            at,
            format!("a kit for `{tag}`, which is not measured: {place} is empty"),
            format!("a value for `{heading}`, since a kit was planned with it"),
            "fill in the reading that the plan was made from, or make the plan again",
        ),
        None => Problem::new(
            at,
            format!("a kit for `{tag}`"),
            "a pump of the pump workbook",
            "give the pump workbook that the plan was made from",
        ),
    }
}

/// Pieces of the pumps, by their index in the job.
pub(super) type Kits = BTreeMap<usize, Vec<PackPick>>;

/// Sheets with the kit slips of a saved plan, and the pieces of each pump that has a kit there.
pub(super) fn of_book<'b>(
    book: &'b Book,
    carried: &Carried,
    job: &Job,
    tags: &Tags,
    problems: &mut Problems,
) -> (Vec<&'b Arc<Sheet>>, Kits) {
    let mut kits = Kits::new();
    let before = problems.count();
    let sheets = slips(book, problems);
    for sheet in &sheets {
        of_slips(sheet, job, tags, &mut kits, problems);
    }
    if let Some(first) = sheets.first().filter(|_| problems.count() == before) {
        ask_about_missing_slips(first.whole(), carried, tags, &kits, problems);
    }
    (sheets, kits)
}

/// Sheets with the kit slips.
pub(super) fn slips<'b>(book: &'b Book, problems: &mut Problems) -> Vec<&'b Arc<Sheet>> {
    let sheets = numbered_sheets(book, "Kits", problems);
    if sheets.is_empty() {
        problems.add(Problem::new(
            Place::file(&book.file),
            "no sheet Kits",
            "the workbook that `gapwright kit` wrote, with its kit slips",
            "name that workbook",
        ));
    }
    sheets
}

/// Reports a kit that has pieces on the sheet Issue but no slip: it would not be rechecked.
fn ask_about_missing_slips(
    place: Place,
    carried: &Carried,
    tags: &Tags,
    kits: &Kits,
    problems: &mut Problems,
) {
    let lines = carried.planned.lines.iter();
    let is_piece = |step: &PickStep| matches!(step, PickStep::Pick | PickStep::InBag);
    let picks = lines.filter(|line| is_piece(&line.step));
    let pumps = picks.filter_map(|line| Some((tags.pump(&line.tag)?, line.tag.as_str())));
    let mut missing: BTreeMap<usize, &str> = pumps.collect();
    missing.retain(|pump, _| !kits.contains_key(pump));
    let mut named = missing.values().take(3).copied().collect::<Vec<_>>().join(", ");
    match missing.len() {
        0 => return,
        1..=3 => {}
        more => named.push_str(&format!(" and {} more", more - 3)),
    }
    let found = match kits.is_empty() {
        true => "no row that says what it holds in the hidden columns I to N".to_string(),
        false => format!("no slip for {named}, of which the sheet Issue has pieces"),
    };
    problems.add(Problem::new(
        place,
        found,
        "the sheet Kits as `gapwright kit` wrote it",
        "undo the change, or make the plan again if it is older than those columns",
    ));
}

/// Adds the pieces of each pump that has a kit on a Kits sheet.
fn of_slips(sheet: &Sheet, job: &Job, tags: &Tags, kits: &mut Kits, problems: &mut Problems) {
    for row in &sheet.rows {
        let Some((what, tag, name)) = holds(row) else {
            continue;
        };
        let at = |column: u16| sheet.place(row.number, column.into());
        let Some(index) = tags.pump(&tag) else {
            problems.add(no_such_pump(job, &tag, at(KEYS[1])));
            continue;
        };
        let pump = &job.pumps[index];
        let places = &job.model_of(pump).packs;
        let kit = kits.entry(index).or_insert_with(|| vec![PackPick::default(); places.len()]);
        if what != Holds::Piece {
            continue;
        }
        let Some(place) = places.iter().position(|place| place.name == name) else {
            problems.add(Problem::new(
                at(KEYS[2]),
                format!("pieces for `{name}`"),
                "a place of the pump's model",
                "give the models that the plan was made with",
            ));
            continue;
        };
        match piece(row, job, pump, place) {
            Ok(pick) => kit[place].picks.push(pick),
            Err((column, found, expected)) => problems.add(Problem::new(
                at(column),
                found,
                expected,
                "give the stock workbook that the plan was made from, or the one that `export` wrote from it; if \
                 the lots have changed since, make the plan again",
            )),
        }
    }
}

/// Reads the hidden columns of a piece; else the column that does not fit, its contents and the expected contents.
fn piece(
    row: &SheetRow,
    job: &Job,
    pump: &Pump,
    place: usize,
) -> Result<Pick, (u16, String, String)> {
    let [item_at, count_at, thickness_at] = PIECE;
    let shown = |column: u16| {
        let cell = row.cell(column.into());
        cell.map(|cell| cell.show()).unwrap_or_default()
    };
    let (name, count, thickness) = (shown(item_at), shown(count_at), shown(thickness_at));
    let pack = &job.model_of(pump).packs[place];
    let mut offered = job.offered(pack, &pump.fits[place]);
    let Some(item) = offered.find(|&item| key(&job.stock[item].item) == key(&name)) else {
        let expected = format!("a {} of fit {}", pack.kind, pump.fits[place].as_str());
        return Err((item_at, format!("the item `{name}`"), expected));
    };
    let Some(count) = count.parse().ok().filter(|&count: &u32| count > 0) else {
        let expected = "the count that `gapwright kit` wrote".to_string();
        return Err((count_at, format!("`{count}` pieces"), expected));
    };
    let lot = &job.stock[item];
    let wanted = Length::parse(&thickness, None).ok();
    let peeled = (0..=lot.most_peeled()).find(|&layers| lot.peeled(layers) == wanted);
    let Some(peeled) = peeled.filter(|_| wanted.is_some()) else {
        let expected = match lot.size {
            Some(size) => {
                let unit = crate::show::natural_unit(size.thickness);
                format!("{}, as the stock workbook says", size.thickness.show(unit))
            }
            None => "the thickness of the lot".to_string(),
        };
        let found = format!("{name} at `{thickness}`");
        return Err((thickness_at, found, expected));
    };
    Ok(Pick { item, count, peeled })
}

/// Takes over the deviations from the plan that the sheet Issue records.
pub(super) fn as_issued(
    kits: &mut Kits,
    carried: &Carried,
    job: &Job,
    tags: &Tags,
    problems: &mut Problems,
) {
    for (line, filled) in carried.planned.lines.iter().zip(&carried.filled) {
        let otherwise = filled.picked.is_some_and(|picked| picked != line.planned);
        let stacked = matches!(line.step, PickStep::Pick | PickStep::CutFrom(_));
        if !stacked || (!otherwise && filled.instead.is_none()) {
            continue;
        }
        let Some((kit, index, place)) = place_of(kits, job, tags, (&line.tag, &line.place)) else {
            continue;
        };
        if let Some(picked) = filled.picked.filter(|_| otherwise) {
            set(job, &mut kit[place], &line.item, picked);
        }
        if let Some((name, count)) = &filled.instead {
            put_in(job, index, place, kit, (name, *count), &filled.instead_at, problems);
        }
    }
    for extra in &carried.extras {
        // A piece for no place of the model is a consumable, or lies in the bag.
        if let Some((kit, index, place)) = place_of(kits, job, tags, (&extra.tag, &extra.place)) {
            let piece = (extra.item.as_str(), extra.count);
            put_in(job, index, place, kit, piece, &extra.at, problems);
        }
    }
    for kit in kits.values_mut() {
        for pack in kit {
            let thickness = |pick: &Pick| job.stock[pick.item].peeled(pick.peeled);
            pack.picks.retain(|pick| pick.count > 0);
            pack.picks.sort_by(|a, b| thickness(b).cmp(&thickness(a)).then(a.cmp(b)));
        }
    }
}

/// Kit of a tag and the place with this label or name.
fn place_of<'k>(
    kits: &'k mut Kits,
    job: &Job,
    tags: &Tags,
    (tag, words): (&str, &str),
) -> Option<(&'k mut Vec<PackPick>, usize, usize)> {
    let index = tags.pump(tag)?;
    let places = &job.model_of(&job.pumps[index]).packs;
    let place = places.iter().position(|place| {
        let names = [place.label.clone(), place.name.replace('_', " ")];
        names.iter().any(|name| key(name) == key(words))
    })?;
    Some((kits.get_mut(&index)?, index, place))
}

/// Sets how many pieces of an item a pack holds.
fn set(job: &Job, pack: &mut PackPick, item: &str, count: u32) {
    let mut left = count;
    for pick in &mut pack.picks {
        if key(&job.stock[pick.item].item) == key(item) {
            pick.count = pick.count.min(left);
            left -= pick.count;
        }
    }
    // More than planned go in as they come.
    let same = |pick: &&mut Pick| key(&job.stock[pick.item].item) == key(item);
    if let Some(pick) = pack.picks.iter_mut().rev().find(same) {
        pick.count += left;
    }
}

fn put_in(
    job: &Job,
    index: usize,
    place: usize,
    kit: &mut [PackPick],
    (name, count): (&str, u32),
    at: &crate::problem::Place,
    problems: &mut Problems,
) {
    let pump = &job.pumps[index];
    let pack = &job.model_of(pump).packs[place];
    let offered: Vec<usize> = job.offered(pack, &pump.fits[place]).collect();
    let found = offered.iter().find(|&&i| key(&job.stock[i].item) == key(name));
    let Some(&item) = found else {
        let known = offered.iter().map(|&item| job.stock[item].item.as_str());
        problems.add(Problem::new(
            at.clone(),
            format!("{name} in `{}` of {}", pack.label, pump.tag),
            format!("a {} of fit {}", pack.kind, pump.fits[place].as_str()),
            fix_name(name, known, "correct the item, or take the piece out of the pump"),
        ));
        return;
    };
    let picks = &mut kit[place].picks;
    match picks.iter_mut().find(|p| p.item == item && p.peeled == 0) {
        Some(pick) => pick.count += count,
        None => picks.push(Pick { item, count, peeled: 0 }),
    }
}

/// Warns of packs with more or fewer pieces than the model allows.
pub(super) fn warn_of_counts(kits: &Kits, job: &Job, carried: &Carried, problems: &mut Problems) {
    for (&index, kit) in kits {
        let pump = &job.pumps[index];
        for (pack, place) in kit.iter().zip(&job.model_of(pump).packs) {
            let count: u32 = pack.picks.iter().map(|pick| pick.count).sum();
            if count < place.least_pieces || count > place.most_pieces {
                let unit = job.model_of(pump).unit;
                let total = crate::show::length(pack_total(job, pack).0, unit);
                problems.warn(Problem::new(
                    carried.place.clone(),
                    format!("{count} pieces, {total}, in `{}` of {}", place.label, pump.tag),
                    format!("{} to {}, as the model says", place.least_pieces, place.most_pieces),
                    format!(
                        "correct what was picked; if it is so, the pump is {NOT_FIT} like this"
                    ),
                ));
            }
        }
    }
}
