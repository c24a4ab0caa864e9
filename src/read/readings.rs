//! Reads bench readings from the kit slips of a saved plan, a small workbook, or the command line.

mod other_unit;

pub use other_unit::question as unit_question;

use std::collections::BTreeMap;
use std::path::Path;

use super::fitted_pieces::{Kits, Tags, as_issued, holds, of_book, warn_of_counts};
use super::plan::packs_of_json;
use super::plan_inputs::Stated;
use super::table::Table;
use super::{Memory, book, executed_plan, find_sheet, gauges, plan_inputs};
use crate::columns::key as heading_key;
use crate::formats::slip;
use crate::gauge::OfGauge;
use crate::issue::carried::Carried;
use crate::issue::key;
use crate::job::{Input, Job};
use crate::length::{Length, LengthError, Unit};
use crate::model::{Form, NOT_FIT, Pack};
use crate::policy::{Acceptance, PolicySetting};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::pump::Pump;
use crate::recheck::{Bench, Left, Of, Reading, Readings, is_asked};
use crate::sheet::{Book, Cell, Sheet, SheetRow, in_full, show_number};

/// Headings that a sheet of readings must have.
pub(crate) const NEEDED: [&str; 3] = ["Tag", "What", "Reading"];

/// Sources of readings.
#[derive(Debug, Clone)]
pub struct ReadingSources<'a> {
    /// The plan: the workbook that `kit` wrote, or its JSON.
    pub plan: &'a Path,
    /// Workbook with a sheet Readings, if there is one.
    pub readings: Option<&'a Path>,
    /// Readings as texts, `TAG:WHAT=READING`; a repeated one is the second reading.
    pub found: &'a [String],
    /// Whether the stock workbook shows the stock after all kits of the plan were issued.
    pub issued: bool,
}

/// All that came back from the bench.
#[derive(Debug, Clone)]
pub struct Back {
    /// One entry per pump, in the order of the job.
    pub benches: Vec<Bench>,
    /// Pieces left for a swap.
    pub left: Left,
    /// The plan's id.
    pub plan_id: String,
    /// The plan, and the workbook of readings.
    pub inputs: Vec<Input>,
}

/// Reads the entries that came back for the pumps of a job.
///
/// # Errors
/// Every problem, each with its cell: a file that is not a plan, pieces that the stock does not have, a reading
/// without a unit, for an unknown part, or given twice.
pub fn bench(
    sources: &ReadingSources<'_>,
    job: &Job,
    memory: &mut Memory,
) -> Result<(Back, Vec<Problem>), Problems> {
    let mut problems = Problems::new();
    let read = gather(sources, job, memory, &mut problems);
    problems.settle(read)
}

fn gather(
    sources: &ReadingSources<'_>,
    job: &Job,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<Back> {
    let readings_book = sources.readings.and_then(|path| match book(path, memory) {
        Ok(book) => Some(book),
        Err(found) => {
            problems.absorb(found);
            None
        }
    });
    let (carried, plan_book) = executed_plan::with_book(sources.plan, memory, problems)?;
    warn_of_rules(job, &carried, problems);
    let mut notes = Notes::default();
    let mut inputs = Vec::new();
    let tags = Tags::of(job);
    let mut kits = Kits::new();
    let mut stated = Stated::new();
    match &plan_book {
        Some(book) => {
            inputs.push(input("plan", book));
            let (sheets, of_slips) = of_book(book, &carried, job, &tags, problems);
            kits = of_slips;
            stated = plan_inputs::of_slips(&sheets, &tags);
            for sheet in sheets {
                of_kits_sheet(sheet, job, &tags, &mut notes, problems);
            }
        }
        None => match packs_of_json(sources.plan, job) {
            Ok((packs, input)) => {
                inputs.push(input);
                let packs = packs.into_iter();
                kits.extend(packs.filter_map(|(tag, packs)| Some((tags.pump(&tag)?, packs))));
                stated = plan_inputs::of_json(sources.plan, &tags);
            }
            Err(found) => problems.absorb(found),
        },
    }
    plan_inputs::compare(job, (&kits, &stated), &carried, problems);
    as_issued(&mut kits, &carried, job, &tags, problems);
    warn_of_counts(&kits, job, &carried, problems);
    if let Some(book) = &readings_book {
        inputs.push(input("readings", book));
        of_workbook(book, job, &tags, &mut notes, problems);
    }
    for text in sources.found {
        of_command_line(text, job, &tags, &mut notes, problems);
    }
    let left = match sources.issued {
        true => Left::all(job),
        false => left(job, &carried),
    };
    let benches = benches(job, kits, notes, problems);
    Some(Back { benches, left, plan_id: carried.planned.id(), inputs })
}

/// Warns of rules that differ from those on the slips: readings would be accepted or refused against the slip.
fn warn_of_rules(job: &Job, carried: &Carried, problems: &mut Problems) {
    for PolicySetting { name: setting, value: now, .. } in job.policy.settings() {
        // A finer instrument is not another rule.
        let of_expanded = setting == "Coverage factor";
        if of_expanded && job.policy.acceptance != Acceptance::Expanded {
            continue;
        }
        let Some(before) = carried.rules.get(setting).filter(|before| **before != now) else {
            continue;
        };
        problems.warn(Problem::new(
            carried.place.clone(),
            format!("a plan made with {setting} {before}; its readings are judged with {now}"),
            "the setting with which the slips were printed",
            format!("give {before} again, on the command line or on the sheet Policy; else the ranges on the slips are not valid"),
        ));
    }
}

fn input(role: &str, book: &Book) -> Input {
    Input { role: role.into(), file: book.file.clone(), sha256: book.sha256.clone() }
}

/// Pieces that no kit has claimed, whether the kits are issued or not: the stock of the plan less all that it takes,
/// and at most the present stock.
fn left(job: &Job, carried: &Carried) -> Left {
    let mut taken: BTreeMap<String, u32> = BTreeMap::new();
    let mut take = |item: &str, count: u32| {
        let sum = taken.entry(key(item)).or_default();
        *sum = sum.saturating_add(count);
    };
    for (line, filled) in carried.planned.lines.iter().zip(&carried.filled) {
        if line.step.counts() {
            // A kit may still have to be picked: at least its planned pieces stay reserved.
            take(&line.item, filled.picked.unwrap_or(0).max(line.planned));
        }
        if let Some((item, count)) = &filled.instead {
            take(item, *count);
        }
    }
    for extra in &carried.extras {
        take(&extra.item, extra.count);
    }
    // What goes back of plates is there for every kit.
    let back = |item: &str| -> u32 {
        let lots = carried.returned.iter().filter(|lot| key(&lot.item) == key(item));
        lots.map(|lot| lot.count).sum()
    };
    let unclaimed = |item: &str, reserved: u32, available: u32| {
        let Some(before) = carried.before.get(item) else {
            return available;
        };
        let claimed = taken.get(&key(item)).copied().unwrap_or(0);
        let rest = before.on_hand.saturating_add(back(item)).saturating_sub(reserved);
        available.min(rest.saturating_sub(claimed))
    };
    let mut left = Left::all(job);
    for (count, item) in left.pieces.iter_mut().zip(&job.stock) {
        *count = unclaimed(&item.item, item.reserved, *count);
    }
    for (count, lot) in left.plates.iter_mut().zip(&job.plates) {
        *count = unclaimed(&lot.item, lot.reserved, *count);
    }
    left
}

/// A reading, its place, and its stated uncertainty if any.
struct Note {
    text: String,
    unit: Option<Unit>,
    /// Range either way, and the gauge that it is of.
    error: Option<(Length, Option<OfGauge>)>,
    at: Place,
}

/// Readings as in the inputs, by pump and part.
#[derive(Default)]
struct Notes {
    first: BTreeMap<(usize, Of), Note>,
    again: BTreeMap<(usize, Of), Note>,
    signed: BTreeMap<usize, [Option<String>; 2]>,
}

impl Notes {
    fn add(&mut self, of: (usize, Of), again: bool, note: Note, problems: &mut Problems) {
        let there = if again { &mut self.again } else { &mut self.first };
        if let Some(before) = there.get(&of) {
            problems.add(Problem::new(
                note.at,
                format!("`{}`, and {} has a reading of the same", note.text, before.at),
                "each reading once",
                "keep the one that counts; a second reading goes into the second cell",
            ));
            return;
        }
        there.insert(of, note);
    }
}

/// Entry cells of the kit slips.
fn of_kits_sheet(
    sheet: &Sheet,
    job: &Job,
    tags: &Tags,
    notes: &mut Notes,
    problems: &mut Problems,
) {
    for row in &sheet.rows {
        let held = holds(row);
        let asks = |(what, ..): &(slip::SlipRow, String, String)| {
            matches!(what, slip::SlipRow::Pack | slip::SlipRow::Requirement)
        };
        if !held.as_ref().is_some_and(asks) {
            ask_about_strays(sheet, row, problems);
        }
        let Some((what, tag, name)) = held else {
            continue;
        };
        let Some(index) = tags.pump(&tag) else {
            continue;
        };
        let pump = &job.pumps[index];
        let of = match what {
            slip::SlipRow::Piece => continue,
            slip::SlipRow::Signed => {
                let text = |column: u16| {
                    let cell = row.cell(column.into())?;
                    Some(cell.show()).filter(|text| !text.trim().is_empty())
                };
                let who = [text(slip::FITTER), text(slip::CHECKER)];
                notes.signed.insert(index, who);
                continue;
            }
            slip::SlipRow::Pack => {
                let mut places = job.model_of(pump).packs.iter();
                places.position(|p| p.name == name).map(Of::Pack)
            }
            slip::SlipRow::Requirement => {
                let mut all = pump.requirements.iter();
                all.position(|r| r.name == name).map(Of::Requirement)
            }
        };
        let Some(of) = of else {
            problems.add(Problem::new(
                sheet.place(row.number, slip::KEYS[2].into()),
                format!("a reading of `{name}`"),
                "a place or a requirement of the pump's model",
                "give the models that the plan was made with",
            ));
            continue;
        };
        // The unit is in the label beside the cells.
        let label = row.cell(u32::from(slip::READING) - 1).map(Cell::show);
        let unit = label.as_deref().and_then(in_brackets).and_then(Unit::parse);
        for (column, again) in [(slip::READING, false), (slip::AGAIN, true)] {
            let at = sheet.place(row.number, column.into());
            let Some(text) = row.cell(column.into()).and_then(|cell| typed(cell, &at, problems))
            else {
                continue;
            };
            let note = Note { text, unit, error: None, at };
            notes.add((index, of), again, note, problems);
        }
    }
}

/// Reports a number with a fraction in place of a tick: mostly a reading that was typed one row off.
fn ask_about_strays(sheet: &Sheet, row: &SheetRow, problems: &mut Problems) {
    for column in [slip::READING, slip::AGAIN] {
        let cell = row.cell(column.into());
        if let Some(number) = cell.and_then(Cell::number)
            && number.fract() != 0.0
        {
            problems.warn(Problem::new(
                sheet.place(row.number, column.into()),
                format!("`{number}` in a cell for a tick"),
                "readings in the coloured cells beside `1st, 2nd reading`",
                "move it there if it is a reading; here it counts for nothing",
            ));
        }
    }
}

fn in_brackets(text: &str) -> Option<&str> {
    let (_, rest) = text.split_once('(')?;
    rest.split_once(')').map(|(inside, _)| inside)
}

/// Text of a reading's cell; `None` if it is empty or does not hold a reading.
fn typed(cell: &Cell, at: &Place, problems: &mut Problems) -> Option<String> {
    let found = match cell {
        Cell::Text(text) if text.trim().is_empty() => return None,
        Cell::Text(_) | Cell::Number(_) => return Some(cell.show().trim().to_string()),
        // With the stored digits; where they cannot be told, it is a problem.
        Cell::Shown { stored, text } => match in_full(text, *stored) {
            Some(full) => return Some(full.text),
            None => format!("a cell that shows `{text}` and stores {}", show_number(*stored)),
        },
        Cell::Date { iso, .. } => format!("the date {iso}"),
        other => format!("`{}`", other.show()),
    };
    problems.add(Problem::new(
        at.clone(),
        found,
        "a reading such as 0.0212, 0.54 mm, or 0.021 to 0.022 between two blades",
        "give the cell a number format and type the reading again",
    ));
    None
}

/// Reads a sheet Readings, one row per reading.
fn of_workbook(book: &Book, job: &Job, tags: &Tags, notes: &mut Notes, problems: &mut Problems) {
    let Some(sheet) = find_sheet(book, "Readings", &NEEDED, problems) else {
        return;
    };
    let Some(table) = Table::find(sheet, &NEEDED, problems) else {
        return;
    };
    let headings = NEEDED.map(|name| table.needed(name, problems));
    let [Some(tag_at), Some(what_at), Some(reading_at)] = headings else {
        return;
    };
    let again_at = table.optional("Again");
    let within_at = table.optional("Within");
    let gauge_at = table.optional("Gauge");
    let who_at = [table.optional("By"), table.optional("When")];
    for line in table.lines() {
        let tag = line.needed_text(Some(tag_at), problems);
        let what = line.needed_text(Some(what_at), problems);
        let (Some(tag), Some(what)) = (tag, what) else {
            continue;
        };
        let Some(of) = resolve(
            job,
            tags,
            (&tag, &line.place(tag_at)),
            (&what, &line.place(what_at)),
            problems,
        ) else {
            continue;
        };
        let within = within_at.and_then(|heading| {
            line.row.cell(heading.column)?;
            line.tolerance(heading, problems)
        });
        let within = within.map(|t| t.minus.max(t.plus));
        let gauge =
            gauge_at.and_then(|heading| Some((line.text(Some(heading), problems)?, heading)));
        let of_gauge = gauge.and_then(|(name, heading)| {
            let gauge = gauges::find(&job.gauges, &name, line.place(heading), problems)?;
            Some(OfGauge { gauge, certified: job.gauges[gauge].certified })
        });
        let error = match (within, of_gauge) {
            // A range of its own outranks the gauge's.
            (Some(within), _) => Some((within, None)),
            (None, Some(gauge)) => Some((gauge.certified.extent, Some(gauge))),
            (None, None) => None,
        };
        for (heading, again) in [(Some(reading_at), false), (again_at, true)] {
            let Some(heading) = heading else { continue };
            let at = line.place(heading);
            let cell = line.cell(heading, problems);
            let Some(text) = cell.and_then(|cell| typed(cell, &at, problems)) else {
                continue;
            };
            // A heading without a unit takes that of the first reading.
            let unit = heading.unit.or(reading_at.unit);
            let note = Note { text, unit, error, at };
            notes.add(of, again, note, problems);
        }
        let who = who_at.map(|heading| line.text(heading, problems));
        let words: Vec<String> = who.into_iter().flatten().filter(|w| !w.is_empty()).collect();
        if !words.is_empty() {
            let signed = notes.signed.entry(of.0).or_default();
            signed[0].get_or_insert_with(|| words.join(", "));
        }
    }
}

/// A reading on the command line: `P-208:running clearance=0.0212 in`.
fn of_command_line(text: &str, job: &Job, tags: &Tags, notes: &mut Notes, problems: &mut Problems) {
    let place = Place::file("command line");
    let parts = text.split_once('=').and_then(|(of, reading)| {
        let (tag, what) = of.rsplit_once(':')?;
        Some((tag.trim(), what.trim(), reading.trim()))
    });
    let Some((tag, what, reading)) =
        parts.filter(|(t, w, r)| !t.is_empty() && !w.is_empty() && !r.is_empty())
    else {
        problems.add(Problem::new(
            place,
            format!("--found {text}"),
            "a tag, a colon, a place or requirement, an equals sign and the reading with its unit",
            "write it as in --found \"P-208:running clearance=0.0212 in\"",
        ));
        return;
    };
    let Some(of) = resolve(job, tags, (tag, &place), (what, &place), problems) else {
        return;
    };
    // A repeated reading is the second reading.
    let again = notes.first.get(&of).is_some_and(|first| first.at == place);
    let note = Note { text: reading.to_string(), unit: None, error: None, at: place };
    notes.add(of, again, note, problems);
}

/// Place or requirement that a tag and these words refer to, by name or label.
fn resolve(
    job: &Job,
    tags: &Tags,
    (tag, tag_place): (&str, &Place),
    (what, what_place): (&str, &Place),
    problems: &mut Problems,
) -> Option<(usize, Of)> {
    let Some(index) = tags.pump(tag) else {
        let tags = job.pumps.iter().map(|pump| pump.tag.as_str());
        problems.add(Problem::new(
            tag_place.clone(),
            format!("a reading of the pump `{tag}`"),
            "a pump of the pump workbook",
            fix_name(tag, tags, "correct the tag"),
        ));
        return None;
    };
    let pump = &job.pumps[index];
    let packs = &job.model_of(pump).packs;
    let is = |name: &str, label: &str| {
        [name, label].iter().any(|known| heading_key(known) == heading_key(what))
    };
    if let Some(place) = packs.iter().position(|pack| is(&pack.name, &pack.label)) {
        return Some((index, Of::Pack(place)));
    }
    let found = pump.requirements.iter().position(|r| is(&r.name, &r.label));
    match found {
        Some(at) if is_asked(pump, &pump.requirements[at]) => Some((index, Of::Requirement(at))),
        other => {
            let (expected, fix) = match other {
                Some(at) => not_readable(pump, at, packs),
                None => {
                    let names = readable(pump, packs);
                    let fix = fix_name(what, names.iter().copied(), "correct it");
                    (format!("one of {}", names.join(", ")), fix)
                }
            };
            problems.add(Problem::new(
                what_place.clone(),
                format!("a reading of `{what}` for {}", pump.tag),
                expected,
                fix,
            ));
            None
        }
    }
}

/// Everything of a pump that can be read at the bench.
fn readable<'a>(pump: &'a Pump, packs: &'a [Pack]) -> Vec<&'a str> {
    let asked = pump.requirements.iter().filter(|r| is_asked(pump, r));
    let packs = packs.iter().map(|pack| pack.label.as_str());
    packs.chain(asked.map(|r| r.label.as_str())).collect()
}

fn not_readable(pump: &Pump, requirement: usize, packs: &[Pack]) -> (String, String) {
    match &pump.requirements[requirement].form {
        Form::GasketFill { gasket, .. } => (
            "a reading of the pack".to_string(),
            format!("name the gasket's place, {}", packs[*gasket].label),
        ),
        Form::Linear { .. } => (
            "a reading with the pump cold".to_string(),
            format!("name one of {}", readable(pump, packs).join(", ")),
        ),
    }
}

/// Parses every note, and sorts them to their pumps.
fn benches(job: &Job, mut kits: Kits, mut notes: Notes, problems: &mut Problems) -> Vec<Bench> {
    let mut benches: Vec<Bench> = job
        .pumps
        .iter()
        .enumerate()
        .map(|(index, pump)| Bench::unread(job, pump, kits.remove(&index)))
        .collect();
    for (&(index, of), note) in &notes.again {
        if !notes.first.contains_key(&(index, of)) {
            problems.add(Problem::new(
                note.at.clone(),
                format!("a second reading, `{}`, without a first", note.text),
                "the first reading as well",
                "move it to the first cell, if it is the only one",
            ));
        }
    }
    for ((index, of), note) in std::mem::take(&mut notes.first) {
        let pump = &job.pumps[index];
        let first = parsed(job, pump, of, &note, problems);
        let again = notes.again.get(&(index, of));
        let again = again.map(|note| (parsed(job, pump, of, note, problems), note));
        let Some(kit) = benches[index].fitted.clone() else {
            problems.add(Problem::new(
                note.at.clone(),
                format!("a reading, `{}`, of {}", note.text, pump.tag),
                "readings of pumps that the plan has a kit for",
                format!("take it out: the plan says {NOT_FIT} of this pump, and nothing was issued for it"),
            ));
            continue;
        };
        let mut asked = |reading: Option<Reading>, note: &Note| {
            other_unit::ask(job, pump, (of, note), reading?, &kit, problems)
        };
        let first = asked(first, &note);
        let again = again.map(|(reading, note)| asked(reading, note));
        let (Some(first), Some(again)) = (first, again.map_or(Some(None), |a| a.map(Some))) else {
            continue;
        };
        let readings = Some(Readings { first, again });
        match of {
            Of::Pack(place) => benches[index].packs[place] = readings,
            Of::Requirement(at) => benches[index].requirements[at] = readings,
        }
    }
    for (index, [fitter, checker]) in notes.signed {
        benches[index].fitter = fitter;
        benches[index].checker = checker;
    }
    benches
}

fn parsed(job: &Job, pump: &Pump, of: Of, note: &Note, problems: &mut Problems) -> Option<Reading> {
    let usual = match of {
        Of::Pack(_) => job.policy.pack_within,
        Of::Requirement(_) => job.policy.clearance_within,
    };
    let (within, gauge) = note.error.unwrap_or((usual, None));
    // A distance to either side of something, such as a centre, may be negative within its limits.
    let signed = match of {
        Of::Pack(_) => false,
        Of::Requirement(at) => match pump.requirements[at].form {
            Form::Linear { lower, .. } => lower.is_none_or(|lower| lower < Length::ZERO),
            Form::GasketFill { .. } => false,
        },
    };
    let error = match Reading::parse(&note.text, note.unit, within) {
        Ok(reading) if signed || reading.value >= Length::ZERO => {
            return Some(Reading { gauge, ..reading });
        }
        Ok(_) => "below zero".to_string(),
        Err(LengthError::NoUnit) => "no unit".to_string(),
        Err(error) => error.to_string(),
    };
    problems.add(Problem::new(
        note.at.clone(),
        format!("`{}`: {error}", note.text),
        "a reading such as 0.0212 in, 0.54 mm, or 0.021 to 0.022 in between two blades",
        "type the reading again, with its unit where none is said beside it",
    ));
    None
}
