//! Reads a plan back as it was chosen, kits and reasons alike, to print it or to compare it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::fitted_pieces::{Kits, Tags, of_book};
use super::plan::{packs_of_json, plan_of_json};
use super::plan_inputs::{self, Stated};
use super::{Memory, bounded, executed_plan, named_sheet};
use crate::columns::key as heading_key;
use crate::cutting::{self, Layout};
use crate::formats::common::{CauseJson, LengthJson, PackJson, ShortJson, WindowJson};
use crate::formats::plan::{LayoutJson, PlanJson};
use crate::issue::carried::Carried;
use crate::issue::key;
use crate::issue::planned::{PickStep, PlannedLine};
use crate::job::{Job, Standing};
use crate::length::{Length, Tolerance, Unit};
use crate::paper::ShortWords;
use crate::plan::{Cause, Kit, PackPick, Pick, Shortfall, Window};
use crate::problem::{Place, Problem, Problems};
use crate::pump::Pump;
use crate::sheet::{Book, Cell, Sheet};

/// A plan as it was chosen.
#[derive(Debug, Clone)]
pub struct PlannedKits {
    /// Job of the pumps of the plan, with the counts of the stock that it was made from.
    pub job: Job,
    /// Kit of each pump of that job.
    pub kits: Vec<Kit>,
    /// Plates that are cut up.
    pub layouts: Vec<Layout>,
    /// The plan's id.
    pub id: String,
    /// Reasons of short pumps by index, of a workbook: it has them in words alone.
    pub shorts: BTreeMap<usize, Vec<ShortWords>>,
}

/// Reads a plan, workbook or JSON, against the job of its workbooks. Deviations that people recorded are no part of it.
///
/// # Errors
/// Every problem: a file that is not a plan; other workbooks or rules than the plan's.
pub fn planned_kits(
    path: &Path,
    job: Job,
    memory: &mut Memory,
) -> Result<(PlannedKits, Vec<Problem>), Problems> {
    let mut problems = Problems::new();
    let read = gather(path, job, memory, &mut problems);
    problems.settle(read)
}

fn gather(
    path: &Path,
    job: Job,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<PlannedKits> {
    let (carried, book) = executed_plan::with_book(path, memory, problems)?;
    let same_stock = is_same_stock(&job, &carried, problems);
    rules(&job, &carried, problems);
    let job = as_planned(job, &carried, problems)?;
    if !same_stock {
        return None;
    }
    let tags = Tags::of(&job);
    let (mut kits, stated, rest) = match &book {
        Some(book) => of_workbook(book, &job, &carried, &tags, problems)?,
        None => of_programs(path, &job, &tags, problems)?,
    };
    plan_inputs::compare(&job, (&kits, &stated), &carried, problems);
    let job = with_closed_bags(job, &carried, &kits);
    let Rest { shorts, words, layouts } = rest;
    let one = |index: usize| match kits.remove(&index) {
        Some(packs) => Kit::Served(packs),
        None => Kit::Short(match shorts.get(&index) {
            Some(shorts) => shorts.clone(),
            None => {
                let count = short_lines(&carried, &job.pumps[index]).max(1);
                vec![Shortfall::of(None, Cause::NotFoundOut); count]
            }
        }),
    };
    let kits = (0..job.pumps.len()).map(one).collect();
    Some(PlannedKits { kits, layouts, id: carried.planned.id(), shorts: words, job })
}

/// Parts of a plan besides its pieces.
#[derive(Default)]
struct Rest {
    shorts: BTreeMap<usize, Vec<Shortfall>>,
    words: BTreeMap<usize, Vec<ShortWords>>,
    layouts: Vec<Layout>,
}

/// Whether the stock is that of the plan: the ranges of readings follow from its thicknesses and tolerances.
fn is_same_stock(job: &Job, carried: &Carried, problems: &mut Problems) -> bool {
    let Some(stock) = job.inputs.iter().find(|input| input.role == "stock workbook") else {
        return true;
    };
    let same = stock.sha256 == carried.planned.stock_sha256;
    if !same {
        problems.add(Problem::new(
            Place::file(&stock.file),
            "another stock workbook than the plan's",
            "the stock workbook that the plan was made from, as it was then",
            "give that one, or make the plan again with this one",
        ));
    }
    same
}

/// Rules that the ranges on the slips follow from.
fn rules(job: &Job, carried: &Carried, problems: &mut Problems) {
    for setting in job.policy.settings() {
        let before = carried.rules.get(setting.name).filter(|before| **before != setting.value);
        let Some(before) = before else { continue };
        problems.add(Problem::new(
            carried.place.clone(),
            format!("a plan made with {} {before}, and {} now", setting.name, setting.value),
            "the rules that the plan was made by: the ranges on its slips follow from them",
            format!("give {before} again, on the command line or on the sheet Policy"),
        ));
    }
}

/// The job with the pumps of the plan, and the counts that it was made from.
fn as_planned(job: Job, carried: &Carried, problems: &mut Problems) -> Option<Job> {
    let known: BTreeSet<String> = carried.tags().into_iter().map(key).collect();
    let planned = job.with(|parts| {
        parts.pumps.retain(|pump| known.contains(&key(&pump.tag)));
        for lot in parts.stock.iter_mut().filter(|lot| lot.cut.is_none()) {
            if let Some(before) = carried.before.get(&lot.item) {
                lot.on_hand = before.on_hand;
            }
        }
    });
    let wrong = |error| {
        Problem::new(
            carried.place.clone(),
            format!("counts that no stock can have ({error})"),
            "the plan as `gapwright kit` wrote it",
            "make the plan again",
        )
    };
    planned.map_err(|error| problems.add(wrong(error))).ok()
}

/// The job with the bags that the plan leaves closed, whose pieces count as on hand.
fn with_closed_bags(job: Job, carried: &Carried, kits: &Kits) -> Job {
    let lines = carried.planned.lines.iter().filter(|line| line.step == PickStep::InBag);
    let lines: Vec<_> = lines.collect();
    let row = |item: &str| job.stock.iter().position(|lot| key(&lot.item) == key(item));
    let standing = |(index, pump): (usize, &Pump)| {
        let own: Vec<_> = lines.iter().filter(|line| key(&line.tag) == key(&pump.tag)).collect();
        let bag = kits.get(&index).filter(|_| !own.is_empty()).cloned();
        let consumables = job.model_of(pump).consumables.iter().filter(|_| bag.is_some());
        let consumables = consumables.map(|asked| {
            let kind = heading_key(&asked.kind);
            let of_kind = own.iter().filter(|line| heading_key(&line.place) == kind);
            let pick = |line: &&&&PlannedLine| {
                Some(Pick { item: row(&line.item)?, count: line.planned, peeled: 0 })
            };
            of_kind.filter_map(|line| pick(&line)).collect()
        });
        Standing { consumables: consumables.collect(), bag, ..Standing::default() }
    };
    let standing: Vec<Standing> = job.pumps.iter().enumerate().map(standing).collect();
    let packs = standing.iter().flat_map(|stands| stands.bag.iter().flatten());
    // Peeled pieces do not count as on hand.
    let whole = packs.flat_map(|pack| &pack.picks).filter(|pick| pick.peeled == 0);
    let consumables = standing.iter().flat_map(|stands| stands.consumables.iter().flatten());
    let in_bags: Vec<(usize, u32)> =
        whole.chain(consumables).map(|pick| (pick.item, pick.count)).collect();
    if standing.iter().all(|stands| stands.bag.is_none()) {
        return job;
    }
    let with = job.clone().with(|parts| {
        parts.standing = standing;
        in_bags.iter().for_each(|(item, count)| parts.stock[*item].on_hand += count);
    });
    // Counts that no job can have are found when its kits are worked out.
    with.unwrap_or(job)
}

/// Lines of the plan that say that places of a pump are short.
fn short_lines(carried: &Carried, pump: &Pump) -> usize {
    let lines = carried.planned.lines.iter();
    let own = lines.filter(|line| key(&line.tag) == key(&pump.tag));
    own.filter(|line| line.step == PickStep::Short && line.planned == 0).count()
}

fn of_workbook(
    book: &Book,
    job: &Job,
    carried: &Carried,
    tags: &Tags,
    problems: &mut Problems,
) -> Option<(Kits, Stated, Rest)> {
    if !job.plates.is_empty() {
        problems.add(in_json_alone(&book.file));
        return None;
    }
    let (sheets, kits) = of_book(book, carried, job, tags, problems);
    let stated = plan_inputs::of_slips(&sheets, tags);
    let words = named_sheet(book, "Short").map(|sheet| short_words(sheet, tags));
    Some((kits, stated, Rest { words: words.unwrap_or_default(), ..Rest::default() }))
}

/// Reasons on the sheet Short, by pump.
fn short_words(sheet: &Sheet, tags: &Tags) -> BTreeMap<usize, Vec<ShortWords>> {
    const HEADINGS: [&str; 6] =
        ["Tag", "Place", "Why", "Total needed", "Allows for", "Nearest total"];
    let mut found: BTreeMap<usize, Vec<ShortWords>> = BTreeMap::new();
    let mut columns = None;
    for row in &sheet.rows {
        let Some(columns) = columns else {
            let column = |name: &str| {
                let is = |(_, cell): &&(u32, Cell)| heading_key(&cell.show()) == heading_key(name);
                row.cells.iter().find(is).map(|(at, _)| *at)
            };
            let all: Vec<u32> = HEADINGS.iter().filter_map(|name| column(name)).collect();
            columns = <[u32; 6]>::try_from(all).ok();
            continue;
        };
        let [tag, place, reason, window, presumed, nearest] =
            columns.map(|column| row.cell(column).map(Cell::show).unwrap_or_default());
        // The table ends where a row has no pump of the plan, and another part begins.
        let Some(pump) = tags.pump(&tag).filter(|_| !place.is_empty()) else { break };
        let given = |text: String| (text != "none").then_some(text);
        let window = given(window).map(|window| [window, presumed]);
        let words = ShortWords { place, reason, window, nearest: given(nearest) };
        found.entry(pump).or_default().push(words);
    }
    found
}

fn of_programs(
    path: &Path,
    job: &Job,
    tags: &Tags,
    problems: &mut Problems,
) -> Option<(Kits, Stated, Rest)> {
    let (plan, _) = plan_of_json(path).map_err(|found| problems.absorb(found)).ok()?;
    let (packs, _) = packs_of_json(path, job).map_err(|found| problems.absorb(found)).ok()?;
    let kits: Kits =
        packs.into_iter().filter_map(|(tag, packs)| Some((tags.pump(&tag)?, packs))).collect();
    let stated = plan_inputs::of_json(path, tags);
    let mut shorts = BTreeMap::new();
    for kit in plan.pumps.iter().filter(|kit| !kit.served) {
        let Some(index) = tags.pump(&kit.tag) else { continue };
        let all = kit.short.iter().map(|short| shortfall(job, &job.pumps[index], short));
        match all.collect::<Option<Vec<Shortfall>>>() {
            Some(all) => {
                shorts.insert(index, all);
            }
            None => problems.add(Problem::new(
                Place::file(&path.display().to_string()),
                format!("a reason of {} that names what the workbooks do not have", kit.tag),
                "the workbooks and models that the plan was made from",
                "give those, or make the plan again",
            )),
        }
    }
    let layouts = layouts_of_json(path, job, &plan).map_err(|found| problems.add(found)).ok();
    Some((kits, stated, Rest { shorts, layouts: layouts?, words: BTreeMap::new() }))
}

fn length(json: &LengthJson) -> Option<Length> {
    Length::parse(&json.length, Unit::parse(&json.unit)).ok()
}

fn shortfall(job: &Job, pump: &Pump, short: &ShortJson) -> Option<Shortfall> {
    let packs = &job.model_of(pump).packs;
    let place = |name: &String| packs.iter().position(|pack| pack.name == *name);
    let nearest = match &short.nearest {
        Some(nearest) => Some(length(nearest)?),
        None => None,
    };
    Some(Shortfall {
        pack: match &short.pack {
            Some(name) => Some(place(name)?),
            None => None,
        },
        cause: cause(job, pump, &short.cause)?,
        nearest,
        window: match &short.window {
            Some(window) => Some(self::window(window, &place)?),
            None => None,
        },
    })
}

fn window(json: &WindowJson, place: &impl Fn(&String) -> Option<usize>) -> Option<Window> {
    let unit = Unit::parse(&json.unit);
    let of = |text: &str| Length::parse(text, unit).ok();
    let most = match &json.most {
        Some(most) => Some(of(most)?),
        None => None,
    };
    let over = json.over.iter().map(|(name, total)| Some((place(name)?, length(total)?)));
    let mut over = over.collect::<Option<Vec<(usize, Length)>>>()?;
    over.sort_unstable();
    let tolerance = Tolerance { minus: of(&json.minus)?, plus: of(&json.plus)? };
    Some(Window { least: of(&json.least)?, most, tolerance, over })
}

fn cause(job: &Job, pump: &Pump, json: &CauseJson) -> Option<Cause> {
    Some(match json {
        CauseJson::NoPiece => Cause::NoPiece,
        CauseJson::AllReserved => Cause::AllReserved,
        CauseJson::LimitsTooNarrow => Cause::LimitsTooNarrow,
        CauseJson::UncertaintyTooWide => Cause::UncertaintyTooWide,
        CauseJson::NotProven { packs, .. } => {
            Cause::NotProven { packs: nearest(job, pump, packs)? }
        }
        CauseJson::OutOfReach => Cause::OutOfReach,
        CauseJson::BetweenTotals => Cause::BetweenTotals,
        CauseJson::TogetherTooMany => Cause::TogetherTooMany,
        CauseJson::TooManyWays => Cause::TooManyWays,
        CauseJson::Held => Cause::Held,
        CauseJson::SearchEnded => Cause::SearchEnded,
        CauseJson::NotFoundOut => Cause::NotFoundOut,
        CauseJson::StockGone { lacking, held_by } => {
            let lacking = lacking.iter().map(|piece| {
                let item = job.stock.iter().position(|lot| lot.item == piece.item)?;
                Some(Pick { item, count: piece.count, peeled: 0 })
            });
            Cause::StockGone { lacking: lacking.collect::<Option<_>>()?, held_by: held_by.clone() }
        }
    })
}

/// Pieces of a kit that is not proven.
fn nearest(job: &Job, pump: &Pump, json: &BTreeMap<String, PackJson>) -> Option<Vec<PackPick>> {
    let places = job.model_of(pump).packs.iter().zip(&pump.fits);
    let of = |(pack, fit): (&crate::model::Pack, &crate::stock::Code)| {
        let chosen = json.get(&pack.name)?;
        let offered: Vec<usize> = job.offered(pack, fit).collect();
        let unit = Unit::parse(&chosen.unit)?;
        let picks = chosen.pieces.iter().map(|piece| super::plan::pick(job, &offered, piece, unit));
        Some(PackPick { picks: picks.collect::<Option<_>>()? })
    };
    places.map(of).collect()
}

fn in_json_alone(file: &str) -> Problem {
    Problem::new(
        Place::file(file),
        "a plan with plates that pieces are cut from",
        "its JSON, which has the layout of each plate",
        "make the plan with `--json FILE` and give that file",
    )
}

/// Reads how the plates of a plan are cut up.
///
/// # Errors
/// Every problem: a workbook, which does not have it; a layout that the job cannot have.
pub fn planned_layouts(path: &Path, job: &Job) -> Result<Vec<Layout>, Problems> {
    if job.plates.is_empty() {
        return Ok(Vec::new());
    }
    if bounded::is_packed(path) {
        return Err(Problems::of(in_json_alone(&path.display().to_string())));
    }
    let (plan, _) = plan_of_json(path)?;
    layouts_of_json(path, job, &plan).map_err(Problems::of)
}

fn layouts_of_json(path: &Path, job: &Job, plan: &PlanJson) -> Result<Vec<Layout>, Problem> {
    layouts(job, plan).ok_or_else(|| {
        Problem::new(
            Place::file(&path.display().to_string()),
            "a layout of a plate that the workbooks do not have",
            "the workbooks that the plan was made from",
            "give those, or make the plan again",
        )
    })
}

/// How the plates of a plan for programs are cut up.
fn layouts(job: &Job, plan: &PlanJson) -> Option<Vec<Layout>> {
    let mut layouts = Vec::new();
    for lot in &plan.sheets {
        let of = |layout: &LayoutJson| {
            let plate = job.plates.iter().position(|plate| plate.item == lot.item)?;
            let along = length(&layout.along)?;
            let along = job.plates[plate].sides.iter().position(|side| *side == along)?;
            let strips = layout.strips.iter().map(|strips| {
                let width = length(&strips.width).filter(|width| width.ticks() > 0)?;
                let item = job.stock.iter().position(|item| {
                    let cut = item.cut.filter(|cut| cut.plate == plate && cut.outside == width);
                    cut.is_some() && item.fit.as_str() == strips.fit
                })?;
                let blanks = cutting::along(job.plates[plate].sides[along], width);
                (blanks == strips.blanks).then_some((item, strips.strips))
            });
            Some(Layout { plate, along, strips: strips.collect::<Option<_>>()? })
        };
        for layout in &lot.layouts {
            layouts.push(of(layout)?);
        }
    }
    layouts.sort();
    Some(layouts)
}
