//! Plans in words, shared by the terminal, every sheet and the kit slip.

pub mod ahead;
pub mod outage;
pub mod provision;
pub mod recheck;
pub mod sweep;
pub mod verdict;

use itertools::Itertools;

use crate::accounting::{pack_total, plate_waste};
use crate::choose::control::Phase;
use crate::columns::pump_heading;
use crate::consumables::{self, Bag, Lack, Share};
use crate::crush::{Crush, CrushVerdict, crushes};
use crate::cutting::Layout;
use crate::decimal::{Millionths, Money, show, show_price};
use crate::feeler::{Chosen, LimitGauge, Stacked};
use crate::gauge::ReadingStep;
use crate::job::{Job, NotMeasured};
use crate::length::{Fine, Length, Tolerance, Unit};
use crate::model::{Compressibility, Model, Term};
use crate::narrow::narrow;
use crate::packing::RingSpace;
use crate::plan::{
    Cause, HoldingCost, Kit, MarginalValue, Objective, ObjectiveValue, PackPick, Pick, Plan,
    Shortfall,
};
use crate::problem::Problem;
use crate::pump::{Measured, Pump};
use crate::show::{Round, rounded, stated};
use crate::stack::Verdict;
use crate::verify::{NotShown, Verified};

pub use crate::show::{about, both, fine, length, natural_unit, range, thickness, tolerance};
pub(crate) use crate::show::{counted, first_of, plural, readable, short_length};

pub use crate::model::NOT_FIT;

/// Guards at the limits: `0.0010 in`, or for each side `-0.070 +0.010 mm` where they differ; rounded up to its
/// usual places.
pub fn guards(verdict: &Verdict, unit: Unit) -> String {
    let to = |guard, round| rounded(guard, unit, unit.places(), round);
    let (below, above) = (verdict.guard_lower, verdict.guard_upper);
    // Below zero where the value is never the nominal one.
    let guard = |guard: Fine, signs: &str| match guard < Fine::ZERO {
        true => format!("{}{}", &signs[1..], to(guard.abs(), Round::Down)),
        false => format!("{}{}", &signs[..1], to(guard, Round::Up)),
    };
    match below == above {
        true => format!("{} {unit}", to(below, Round::Up)),
        false => format!("{} {} {unit}", guard(below, "-+"), guard(above, "+-")),
    }
}

/// Range of a requirement: `0.0190 to 0.0230 in`, or `0.0190 in or more` where there is no other limit; as stated, and
/// inward where a limit was worked out.
pub fn limits(verdict: &Verdict, unit: Unit) -> String {
    let limit = |limit: Option<Fine>, round| Some(stated(limit?, unit, round));
    range([limit(verdict.lower, Round::Up), limit(verdict.upper, Round::Down)], unit.symbol())
}

/// Target of a requirement: as stated, and in the usual places where it was worked out.
pub fn target(verdict: &Verdict, unit: Unit) -> String {
    format!("{} {unit}", stated(verdict.target, unit, Round::Nearest))
}

/// Margin between a guard and its limit, rounded down to its usual places.
pub fn margin(margin: Fine, unit: Unit) -> String {
    format!("{} {unit}", down(margin, unit))
}

/// Number in the usual places of a unit, rounded down.
pub fn down(length: Fine, unit: Unit) -> String {
    rounded(length, unit, unit.places(), Round::Down)
}

/// How far a requirement is missed: a margin below zero, turned round and rounded up.
pub fn miss(margin: Fine, unit: Unit) -> String {
    format!("{} {unit}", rounded(-margin, unit, unit.places(), Round::Up))
}

/// Range of readings in both units, each in whole steps of its gauge, rounded inward; the second one where its gauge is
/// fine enough.
///
/// # Errors
/// The gauge of the first unit is too coarse: the step of one that is not, if there is one.
pub fn readings(
    ends: [Option<Fine>; 2],
    unit: Unit,
    step: ReadingStep,
) -> Result<String, Option<Length>> {
    let own = readable(ends, unit, step.of(unit))?;
    let other = readable(ends, unit.other(), step.of(unit.other()));
    Ok(own + &other.map_or_else(|_| String::new(), |other| format!(" ({other})")))
}

/// Reading that a micrometer should make of a pack; its text is one sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackReading {
    /// Total in both units.
    pub middle: String,
    /// Range in both units; else the finer micrometer that it needs, in words, if there is one.
    pub range: Result<String, Option<String>>,
}

impl std::fmt::Display for PackReading {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.middle)?;
        match &self.range {
            Ok(range) => write!(f, ", from {range}"),
            Err(Some(needs)) => write!(f, "; {needs}"),
            Err(None) => Ok(()),
        }
    }
}

/// Reading that a micrometer should make of a pack, with its range.
pub fn pack_reading(
    (total, Tolerance { minus, plus }): (Length, Tolerance),
    unit: Unit,
    step: ReadingStep,
) -> PackReading {
    let total = Fine::from(total);
    let middle = format!("{} ({})", about(total, unit), about(total, unit.other()));
    let ends = [total - minus.into(), total + plus.into()].map(Some);
    let range = readings(ends, unit, step).map_err(|finer| {
        let reads_to = |finer| length(finer, unit);
        finer.map(|finer| format!("its range needs a micrometer that reads to {}", reads_to(finer)))
    });
    PackReading { middle, range }
}

/// Value of a dimension as measured, in both units: a mean with no more places than its readings have.
pub fn measured(measured: &Measured, unit: Unit) -> String {
    let readings = measured.readings.iter();
    let places = readings.filter_map(|reading| Some(Fine::from(*reading).exact(unit)?.scale()));
    let places = places.max().unwrap_or(0).max(unit.places());
    let value = Fine::from(measured.value);
    let shown = rounded(value, unit, places, Round::Nearest);
    format!("{shown} {unit} ({})", about(value, unit.other()))
}

/// Figure of a pump on its drawing, by its name in the model: what was measured, what a pack comes to, what is predicted
/// of a requirement. Of a pump without a kit, which has no verdicts, nothing is predicted.
pub fn drawn_figure(
    job: &Job,
    pump: &Pump,
    (packs, verdicts): (&[PackPick], &[Verdict]),
    name: &str,
) -> Option<String> {
    let model = job.model_of(pump);
    let unit = model.unit;
    if let Some(at) = model.dimensions.iter().position(|d| d.name == name) {
        return Some(about(pump.dimensions[at].value.into(), unit));
    }
    if let Some(growth) = pump.growths.iter().find(|g| g.thermal.name == name) {
        return Some(about(growth.value.into(), unit));
    }
    if let Some(place) = model.packs.iter().position(|pack| pack.name == name) {
        let (total, _) = pack_total(job, packs.get(place)?);
        return Some(about(total.into(), unit));
    }
    let at = pump.requirements.iter().position(|r| r.name == name)?;
    Some(about(verdicts.get(at)?.value, unit))
}

/// Possible effect of a gasket that is crushed too little: common practice, no source.
const LEAK: &str = "it may leak";
/// Possible effect of a gasket that is crushed too far: common practice, no source.
const TEAR: &str = "it may tear, or keep the parts from closing";

/// Warns that a gasket may be crushed less or more than its material's range, in a sentence without its full stop;
/// `None` where all of its range is within it, or the material's is unknown.
pub fn crush_warning(job: &Job, pump: &Pump, crush: &Crush) -> Option<String> {
    let (range, standing) = (crush.range?, crush.standing?);
    let item = &job.stock[crush.item];
    let so = match standing {
        CrushVerdict::Within => return None,
        CrushVerdict::Below => format!("at the least {LEAK}"),
        CrushVerdict::Above => format!("at the most {TEAR}"),
        CrushVerdict::Both => format!("at the least {LEAK}; at the most {TEAR}"),
    };
    Some(format!(
        "WARNING: {}: {} is crushed by {} %, tolerances included, and {} compresses by {} to {} % under its usual test load: {so}",
        pump.requirements[crush.requirement].label,
        item.item,
        crush_ends(crush),
        item.material.as_deref().unwrap_or("its material"),
        range.least,
        range.most,
    ))
}

/// Least and greatest crush in percent: to a tenth, rounded outward, so that an end never seems to be within a range that
/// it is not in.
fn crush_ends(crush: &Crush) -> String {
    let [least, greatest] = crush.ends.map(Millionths::raw);
    let (down, up) = (least.div_euclid(TENTH), -(-greatest).div_euclid(TENTH));
    // Without tolerances both ends are the nominal crush.
    let (least, greatest) = match (greatest - least > 1, crush.standing) {
        (true, _) => (down, up),
        (false, standing) => {
            let nearest = (crush.percent.raw() + TENTH / 2).div_euclid(TENTH);
            let of_range = |end: fn(&Compressibility) -> Millionths| {
                crush.range.as_ref().map_or(0, |range| end(range).raw())
            };
            // The nearest tenth of a percent, unless that would contradict the words.
            let one = match standing {
                Some(CrushVerdict::Below) if nearest * TENTH >= of_range(|r| r.least) => {
                    nearest - 1
                }
                Some(CrushVerdict::Above) if nearest * TENTH <= of_range(|r| r.most) => nearest + 1,
                _ => nearest,
            };
            (one, one)
        }
    };
    let shown = |tenths: i64| show(Millionths::from_raw(tenths * TENTH).decimal(), 1);
    match least == greatest {
        true => shown(least),
        false => format!("{} to {}", shown(least), shown(greatest)),
    }
}

/// Crush of the gaskets of a place that are within their materials' range, tolerances included, and the range common to
/// all of these: `crushed by 31.0 to 34.6 % (material: 25 to 40 %)`. `None` where there are none.
pub fn crush_within(crushes: &[Crush]) -> Option<String> {
    let within = crushes.iter();
    let within = within.filter(|crush| crush.standing == Some(CrushVerdict::Within));
    let ranges = within.clone().filter_map(|crush| crush.range);
    let least = ranges.clone().map(|range| range.least).max()?;
    let most = ranges.map(|range| range.most).min()?;
    let percents: Vec<String> = within.map(crush_ends).unique().collect();
    let percents = percents.join(" and ");
    Some(format!("crushed by {percents} % (material: {least} to {most} %)"))
}

/// A tenth of a percent, where one percent is a whole number.
const TENTH: i64 = 100_000;

/// Warns of the gaskets of all kitted pumps that are crushed less or more than their material's range, one sentence
/// each.
pub fn crush_warnings(job: &Job, plan: &Plan) -> Vec<String> {
    let mut said = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Served(packs) = kit else { continue };
        let crushes = crushes(job, pump, packs);
        let warnings = crushes.iter();
        let warnings = warnings.filter_map(|crush| crush_warning(job, pump, crush));
        said.extend(warnings.map(|text| format!("{}: {text}.", pump.tag)));
    }
    said
}

/// Thermal growths counted for running hot, with the pump's own values, and where to state others; `None` where no
/// requirement of the pump is asked hot.
pub fn growths(model: &Model, pump: &Pump) -> Option<String> {
    let enters = |index: usize| {
        let mut terms = pump.requirements.iter().flat_map(|r| r.form.terms());
        terms.any(|term| term == Term::Thermal(index))
    };
    let growths = pump.growths.iter().enumerate();
    let growths = growths.filter(|(index, _)| enters(*index));
    let (counted, columns): (Vec<String>, Vec<String>) = growths
        .map(|(_, growth)| {
            let thermal = &growth.thermal;
            let counted = format!(
                "{} {} ({} to {} degC)",
                thermal.label,
                about(growth.value.into(), model.unit),
                thermal.cold,
                thermal.running
            );
            (counted, format!("`{} running`", pump_heading(&thermal.name)))
        })
        .unzip();
    (!counted.is_empty()).then(|| {
        format!(
            "Thermal growth allowed for: {}; if the service differs, state it in the pump sheet (columns {}; \
             likewise cold and length).",
            counted.join(", "),
            columns.join(", ")
        )
    })
}

/// An amount of money with the currency, rounded to two places.
pub fn money(amount: i64, job: &Job) -> String {
    let amount = Money::from_raw(amount).decimal().round_dp(2);
    format!("{amount:.2} {}", job.policy.currency)
}

/// An amount of money with the currency and all its places.
pub fn money_exactly(amount: i64, job: &Job) -> String {
    format!("{} {}", show_price(Money::from_raw(amount)), job.policy.currency)
}

/// An amount of money with two places, or with all of them where two would show 0.
fn money_or_exactly(amount: i64, job: &Job) -> String {
    match Money::from_raw(amount).decimal().round_dp(2).is_zero() {
        true => money_exactly(amount, job),
        false => money(amount, job),
    }
}

/// A warning on one line.
pub fn warning(warning: &Problem) -> String {
    let Problem { place, found, expected, fix, .. } = warning;
    let mut fix = fix.split_whitespace().join(" ");
    if let Some(first) = fix.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    format!("{place}: {found}. Expected {expected}. {fix}.")
}

/// Tags of the pumps that are not fit to assemble, in the order of the job.
pub fn not_fit_tags(verified: &Verified) -> Vec<&str> {
    let kits = verified.job().pumps.iter().zip(&verified.plan().kits);
    let short = kits.filter(|(_, kit)| matches!(kit, Kit::Short(_)));
    short.map(|(pump, _)| pump.tag.as_str()).collect()
}

/// A pump's status in a few words.
pub fn standing(kit: &Kit, bag: &Bag) -> &'static str {
    match kit {
        Kit::Served(_) if lacking(bag) => "kitted, short of consumables",
        Kit::Served(_) => "kit complete",
        Kit::Short(_) => NOT_FIT,
    }
}

/// Status of a pump in a plan, by its index in the job.
pub fn status(verified: &Verified, pump: usize) -> String {
    let (kit, bag) = (&verified.plan().kits[pump], &verified.bags()[pump]);
    let has_bag = verified.job().standing_of(pump).is_some_and(|stands| stands.bag.is_some());
    match (verified.leaves_closed(pump), kit) {
        (true, _) if lacking(bag) => "bag closed, short of consumables".into(),
        (true, _) => "bag closed".into(),
        (false, Kit::Served(_)) if has_bag && lacking(bag) => {
            "reopen bag; short of consumables".into()
        }
        (false, Kit::Served(_)) if has_bag => "reopen bag".into(),
        (false, Kit::Short(_)) if has_bag => format!("{NOT_FIT}; reopen bag"),
        _ => standing(kit, bag).into(),
    }
}

/// Bags to put back before pieces are picked; a sentence, `None` where there are none.
pub fn to_reopen(verified: &Verified) -> Option<String> {
    first_reopen(&bags_of(verified, false)?)
}

/// The sentence for bags of these tags, of which there may be none.
pub fn first_reopen(tags: &str) -> Option<String> {
    (!tags.is_empty()).then(|| {
        format!("FIRST reopen these bags and put their pieces back into the bins: {tags}.")
    })
}

/// Bags that stay closed; a sentence, `None` where there are none.
pub fn closed(verified: &Verified) -> Option<String> {
    let tags = bags_of(verified, true)?;
    Some(format!("In their bags already, nothing to pick: {tags}."))
}

fn bags_of(verified: &Verified, closed: bool) -> Option<String> {
    let job = verified.job();
    let bags = job.bags().filter(|&pump| verified.leaves_closed(pump) == closed);
    let tags = bags.map(|pump| job.pumps[pump].tag.as_str()).join(", ");
    (!tags.is_empty()).then_some(tags)
}

/// Said of a short pump whose cures were left out.
const NO_CURES: &str = "What would cure it was not worked out: the pumps before it took all the work that one plan spends on cures.";

/// Most bags that a cure names.
const MOST_BAGS: usize = 6;

/// Who may decide on a cure.
pub const WHO_DECIDES: &str = "Facts, not advice: acceptance rule and limits are for the engineer to decide, by the maker's instructions; a bag for whoever plans; a purchase for purchasing.";

/// Cures of a pump that is short, each a sentence; none where no cures were worked out at all.
pub fn cures(job: &Job, plan: &Plan, pump: usize) -> Vec<String> {
    let Some(cure) = plan.cures.iter().find(|cure| cure.pump == pump) else {
        let left_out = !plan.cures.is_empty() && matches!(plan.kits[pump], Kit::Short(_));
        return left_out.then(|| NO_CURES.to_string()).into_iter().collect();
    };
    let (of, unit) = (&job.pumps[pump], job.model_of(&job.pumps[pump]).unit);
    let mut said = vec![match &cure.buy {
        Some(buy) => {
            let pieces = buy.pieces.iter();
            let pieces = pieces.map(|(item, count)| format!("{count} x {}", job.stock[*item].item));
            let price = money_exactly(buy.price.raw(), job);
            format!("Cheapest to buy: {}, {price}.", pieces.format(", "))
        }
        None => "Nothing to buy that the stock has a price for would serve it.".into(),
    }];
    let mut others = Vec::new();
    for &bag in &cure.bags {
        let tag = job.pumps[bag].tag.as_str();
        match plan.holding.iter().find(|row| row.pumps == [bag]) {
            Some(row) => said.push(format!(
                "The bag of {tag} would serve it: with that one reopened {} are kitted, waste {}.",
                row.served,
                money(row.waste.raw(), job)
            )),
            None => others.push(tag),
        }
    }
    if !others.is_empty() {
        let named = others.iter().take(MOST_BAGS).join(", ");
        let more = match others.len().saturating_sub(MOST_BAGS) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        said.push(format!(
            "Pieces in the bags of {named}{more} would serve it; what reopening those costs was not worked out."
        ));
    }
    if !cure.rules.is_empty() {
        let rules = cure.rules.iter().format(" and the ");
        said.push(format!("The {rules} rule would take its nearest kit as it is."));
    }
    said.extend(cure.moves.iter().map(|moved| {
        let side = if moved.upper { "upper" } else { "lower" };
        let label = &of.requirements[moved.requirement].label;
        format!("{label}: its nearest kit misses the {side} limit by {}.", miss(-moved.by, unit))
    }));
    said
}

/// Rows of what holding bags costs: bags to reopen, pumps served, waste, and whether that is proven. Empty where it was not
/// worked out, or nothing is to be chosen.
pub fn holding(verified: &Verified) -> Vec<[String; 4]> {
    let (job, plan) = (verified.job(), verified.plan());
    let chosen = plan.goal(Objective::Reopened).map(|goal| goal.value);
    let row = |row: &HoldingCost| {
        let tags = row.pumps.iter().map(|&pump| job.pumps[pump].tag.as_str()).join(", ");
        let count = i64::try_from(row.pumps.len()).unwrap_or(i64::MAX);
        let bags = counted(count, "bag");
        let this = if chosen == Some(count) { " (this plan)" } else { "" };
        [
            if tags.is_empty() { bags + this } else { format!("{bags}: {tags}{this}") },
            row.served.to_string(),
            money(row.waste.raw(), job),
            if row.proven { "yes" } else { "no: time ran out" }.to_string(),
        ]
    };
    plan.holding.iter().map(row).collect()
}

/// Status of a pump of which a reading is missing.
pub const NOT_MEASURED: &str = "not measured";

/// Said of a pump whose readings contradict each other.
pub const MEASURE_AGAIN: &str = "MEASURE AGAIN BEFORE FITTING";

/// Dimensions to measure again, each with its readings; a sentence without its full stop, `None` where none is.
pub fn measure_again(model: &Model, pump: &Pump) -> Option<String> {
    let again =
        pump.to_measure_again(model).map(|index| readings_of(model, pump, index)).join("; ");
    (!again.is_empty()).then(|| format!("{MEASURE_AGAIN}: {again}"))
}

/// One dimension whose readings contradict each other; a sentence without its full stop.
pub fn contradicting(model: &Model, pump: &Pump, dimension: usize) -> String {
    format!("{MEASURE_AGAIN}: {}", readings_of(model, pump, dimension))
}

/// Readings of a dimension, and how far each may be off.
fn readings_of(model: &Model, pump: &Pump, dimension: usize) -> String {
    let (unit, measured) = (model.unit, &pump.dimensions[dimension]);
    let mut readings = measured.readings.clone();
    readings.sort_unstable();
    let readings = readings.iter().map(|reading| reading.show(unit)).join(", ");
    let each = &measured.each;
    let within = match each.minus == each.plus {
        true => format!("within {}", length(each.plus, unit)),
        false => format!("within -{} / +{}", each.minus.show(unit), length(each.plus, unit)),
    };
    format!("{} read as {readings} {unit}, each {within}", model.dimensions[dimension].label)
}

/// Whether a bag is short of anything.
pub fn lacking(bag: &Bag) -> bool {
    bag.iter().any(|share| share.lacking > 0)
}

/// Name of the place that failed.
pub fn place(job: &Job, pump: &Pump, short: &Shortfall) -> String {
    match short.pack {
        Some(pack) => job.model_of(pump).packs[pack].label.clone(),
        None => "the pump as a whole".into(),
    }
}

/// The places of a pump that is short, each with why it failed.
pub fn reasons(job: &Job, pump: &Pump, shorts: &[Shortfall]) -> String {
    let each = shorts
        .iter()
        .map(|short| format!("{}: {}", place(job, pump, short), reason(job, pump, short)));
    each.collect::<Vec<_>>().join("; ")
}

/// The columns that were read and are not used, in one sentence, if there are any.
pub fn unused(job: &Job) -> Option<String> {
    let columns = job.unused.join("; ");
    (!columns.is_empty()).then(|| format!("Not used: {columns}."))
}

/// Number of pumps that a plan is for: `28 pumps`, or `26 measured pumps` where others wait for readings.
pub fn planned_for(job: &Job) -> String {
    let measured = if job.not_measured.is_empty() { "" } else { "measured " };
    let pumps = plural("pump", narrow(job.pumps.len()));
    format!("{} {measured}{pumps}", job.pumps.len())
}

/// Number of pumps that wait for readings, and the consequence, in one sentence; `None` where all are measured.
pub fn not_measured(job: &Job) -> Option<String> {
    match job.not_measured.len() {
        0 => None,
        1 => Some("1 pump is not measured: nothing is planned for it.".into()),
        many => Some(format!("{many} pumps are not measured: nothing is planned for them.")),
    }
}

/// Columns whose readings a pump waits for.
pub fn waits_for(pump: &NotMeasured) -> String {
    pump.waits_for.iter().map(|reading| &reading.heading).join(", ")
}

/// Cause of a failed place, in one sentence without its full stop.
pub fn reason(job: &Job, pump: &Pump, short: &Shortfall) -> String {
    let model = job.model_of(pump);
    let (kind, fit, least, most) = match short.pack {
        Some(index) => {
            let pack = &model.packs[index];
            (pack.kind.as_str(), pump.fits[index].as_str(), pack.least_pieces, pack.most_pieces)
        }
        None => ("piece", "", 0, 0),
    };
    match &short.cause {
        Cause::NoPiece => format!("no {kind} of fit {fit} is on hand"),
        Cause::AllReserved => format!("every {kind} of fit {fit} that is on hand is reserved"),
        Cause::LimitsTooNarrow => {
            "the limits are narrower than the tolerances of the measurements \
                                   and of the thinnest possible pack"
                .into()
        }
        Cause::UncertaintyTooWide => "each place could be filled, but no kit keeps clear of its limits by its expanded uncertainty"
            .into(),
        Cause::NotProven { packs } => verdict::not_proven(job, pump, packs),
        Cause::OutOfReach if short.pack.is_none() => {
            "the measured dimensions alone are outside the limits, and no piece can change that"
                .into()
        }
        Cause::OutOfReach => "as measured, a limit is exceeded even with this place empty; measure again"
            .into(),
        Cause::TogetherTooMany => "each place could be filled alone, but together they need more pieces of one item than are on hand"
            .into(),
        Cause::TooManyWays => "no kit meets every requirement; there are too many ways to fill \
                               its places to name the nearest"
            .into(),
        Cause::Held => "its kit is held, and no longer meets every requirement, or its pieces are not all there; free it, or put right what changed"
            .into(),
        Cause::SearchEnded => "pieces for it are left, but the search ended before this pump; run again with more time"
            .into(),
        Cause::NotFoundOut => {
            "the search ended before the reason was found; run again with more time"
                .into()
        }
        Cause::BetweenTotals => {
            let count =
                if least > 1 { format!("{least} to {most}") } else { format!("at most {most}") };
            let pieces = format!("{count} {} of fit {fit}", plural(kind, most));
            match window(job, pump, short) {
                // The window is that of the best pieces, which this total is not made of.
                Some(window) if inside(short).is_some() => format!(
                    "no total of {pieces} fits: {} is within {window}, {LOOSER}",
                    nearest_total(short, model.unit).unwrap_or_default()
                ),
                Some(window) => format!("no total of {pieces} is within {window}"),
                None => format!("no total of {pieces} meets every requirement at once"),
            }
        }
        Cause::StockGone { lacking, held_by } => {
            let lacking: Vec<String> = lacking
                .iter()
                .map(|pick| format!("{} of {}", pick.count, job.stock[pick.item].item))
                .collect();
            let lacking = format!("the nearest kit is short of {}", lacking.join(" and "));
            if held_by.is_empty() {
                return lacking;
            }
            format!("{lacking}; such pieces went to {}", first_of(held_by))
        }
    }
}

/// Window of totals that meet the requirement.
pub fn window(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let unit = job.model_of(pump).unit;
    let window = short.window.as_ref()?;
    Some(range([Some(window.least), window.most].map(|end| Some(end?.show(unit))), unit.symbol()))
}

/// Assumptions of a window: the tolerance of the pack, and the parts below it.
pub fn presumed(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let model = job.model_of(pump);
    let window = short.window.as_ref()?;
    let Tolerance { minus, plus } = window.tolerance;
    let unit = model.unit;
    let good = if minus == plus {
        format!("a pack tolerance of +/-{}", length(plus, unit))
    } else {
        format!("a pack tolerance of +{}/-{}", plus.show(unit), length(minus, unit))
    };
    let over: Vec<String> = window
        .over
        .iter()
        .map(|(pack, total)| format!("{} of {}", model.packs[*pack].label, length(*total, unit)))
        .collect();
    Some(if over.is_empty() { good } else { format!("{good}, with {}", over.join(" and ")) })
}

/// Reason why a total in the window fails.
const LOOSER: &str = "but its pieces have a wider tolerance than that allows for";

/// Nearest total, where it is within the window and still fails.
fn inside(short: &Shortfall) -> Option<Length> {
    let (nearest, window) = (short.nearest?, short.window.as_ref()?);
    let within = window.least <= nearest && window.most.is_none_or(|most| nearest <= most);
    within.then_some(nearest)
}

/// Reachable total nearest to the window.
pub fn nearest(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let nearest = nearest_total(short, job.model_of(pump).unit)?;
    // For a place between totals the cause already gives it.
    Some(match (inside(short), &short.cause) {
        (Some(_), Cause::StockGone { .. }) => {
            format!("{nearest}, which is within it, {LOOSER} or are needed in another place")
        }
        _ => nearest,
    })
}

fn nearest_total(short: &Shortfall, unit: Unit) -> Option<String> {
    let nearest = short.nearest?;
    let empty = if nearest == Length::ZERO { " (no piece)" } else { "" };
    Some(format!("{}{empty}", length(nearest, unit)))
}

/// Name of a goal, for people.
pub fn objective(objective: Objective) -> String {
    match objective {
        Objective::ServedWeight => "pumps kitted, weighted by priority".into(),
        other => other.label(),
    }
}

/// Value of a goal, for people.
pub fn goal_value(job: &Job, goal: &ObjectiveValue, value: i64) -> String {
    match goal.objective {
        Objective::Waste | Objective::Purchase => money_exactly(value, job),
        Objective::HeldBack => ahead::share_of_need(job, value),
        _ => value.to_string(),
    }
}

/// Proof of the plan, goal by goal: proven is only what was added up again.
pub fn proof(verified: &Verified) -> String {
    let (job, plan) = (verified.job(), verified.plan());
    let (proven, open): (Vec<&ObjectiveValue>, Vec<&ObjectiveValue>) =
        plan.goals.iter().partition(|goal| verified.shows(goal.objective));
    let all = |of: &dyn Fn(Objective) -> bool| !open.iter().any(|goal| of(goal.objective));
    let served = all(&|aim| matches!(aim, Objective::ServedWeight | Objective::ServedOf(_)));
    let waste_proven = served && all(&|aim| aim == Objective::Waste);
    let waste = plan.goal(Objective::Waste).map_or(0, |goal| goal.value);
    let mut said = Vec::new();
    if waste_proven {
        let word = if open.is_empty() { "Proven best" } else { "Proven" };
        said.push(format!(
            "{word}: no choice kits more pumps (by priority); of those that kit as many, none wastes less than {}.",
            money(waste, job)
        ));
    } else if served {
        said.push("Proven: no choice kits more pumps (by priority).".into());
    }
    // The proof of a goal holds among plans that are as good on the goals before it.
    let later = proven.iter().filter(|goal| {
        let told = match goal.objective {
            Objective::ServedWeight | Objective::ServedOf(_) => served,
            Objective::Waste => waste_proven,
            _ => open.is_empty(),
        };
        !told
    });
    let later: Vec<String> = later
        .map(|goal| format!("{} {}", objective(goal.objective), goal_value(job, goal, goal.value)))
        .collect();
    if !later.is_empty() {
        said.push(format!("Proven too: {}.", later.join("; ")));
    }
    let open: Vec<&ObjectiveValue> = open.into_iter().filter(|goal| !goal.proven()).collect();
    if !open.is_empty() {
        let gap = |goal: &&ObjectiveValue| {
            format!(
                "{} {} found, bound {} (gap {})",
                objective(goal.objective),
                goal_value(job, goal, goal.value),
                goal_value(job, goal, goal.bound),
                goal_value(job, goal, (goal.value - goal.bound).abs()),
            )
        };
        let gaps: Vec<String> = open.iter().map(gap).collect();
        let why = plan.stopped_by.map_or("search ended", |stop| stop.words());
        let gaps = gaps.join("; ");
        said.push(format!("Best found, not proven: {gaps}. Reason: {why}."));
    }
    let not: Vec<(&ObjectiveValue, &NotShown)> = verified.not_added_up().collect();
    if let Some((_, why)) = not.first() {
        let goals = not.iter().map(|(goal, _)| {
            format!("{} {}", objective(goal.objective), goal_value(job, goal, goal.value))
        });
        let goals = goals.collect::<Vec<_>>().join("; ");
        said.push(format!(
            "Best found, bound not added up again: {goals}. Reason: {}.",
            not_shown(why)
        ));
    }
    said.extend(left_out(plan));
    said.join(" ")
}

/// Why the bound of a goal was not added up again, without the full stop.
pub fn not_shown(why: &NotShown) -> String {
    match why {
        NotShown::NoCertificate => "no certificate, or one too large to write".into(),
        NotShown::Suppliers => "groups of pumps share packs or plates".into(),
        NotShown::TooLarge => "too much to add up".into(),
        NotShown::Earlier => "an earlier goal was not added up".into(),
        NotShown::Wrong(why) => format!("the certificate does not show it: {why}"),
    }
}

/// Work that the time did not allow after the goals, one sentence each: the order among equal plans, then the value
/// of one more.
fn left_out(plan: &Plan) -> Vec<String> {
    let order = plan.left_out.order.map(|stop| {
        format!(
            "Several plans are equal on every goal and this is one of them; which comes first was not settled: {}.",
            stop.words()
        )
    });
    let worth = plan.left_out.worth.map(|stop| {
        format!("What one more would save was not worked out for every item: {}.", stop.words())
    });
    order.into_iter().chain(worth).collect()
}

/// Part of the work in progress.
pub fn part(part: Phase) -> &'static str {
    match part {
        Phase::Listing => "listing the ways to kit each pump",
        Phase::Order => "settling which of equal plans comes first",
        Phase::Reasons => "finding out why pumps are short",
        Phase::Worth => "working out what one more of each item would save",
        Phase::SafeKits => "finding safe kits",
        Phase::Trolley => "choosing the trolley",
        Phase::Checks => "counting its service",
    }
}

/// A consumable as a pump asks for it: `packing ring, fit F6`;
/// `packing ring, section 0.3750 in (3/8), ring length 7.46 in`.
pub fn consumable(job: &Job, pump: &Pump, need: usize) -> String {
    let fit = &pump.consumable_fits[need];
    let mut words = vec![job.model_of(pump).consumables[need].kind.clone()];
    words.extend(fit.code.iter().map(|code| format!("fit {}", code.as_str())));
    words.extend(fit.space.iter().map(|space| {
        let (section, long) = (section(*space), ring_length(*space));
        format!("section {section}, ring length {long}")
    }));
    words.join(", ")
}

/// Section of the packing that a space takes, exact.
pub fn section(space: RingSpace) -> String {
    let unit = ring_unit(space);
    match space.section().whole() {
        Some(whole) => thickness(whole, unit),
        None => fine(space.section(), unit),
    }
}

/// Length to cut a ring to, to a hundredth of an inch or a tenth of a millimetre: a ring is cut by hand.
pub fn ring_length(space: RingSpace) -> String {
    let unit = ring_unit(space);
    let places = if unit == Unit::Inch { 2 } else { 1 };
    format!("{:.places$} {unit}", space.ring_length().to_f64(unit))
}

/// Unit in which a section is a short number.
fn ring_unit(space: RingSpace) -> Unit {
    space.section().whole().map_or(Unit::Millimetre, natural_unit)
}

/// Reason why consumables are missing from a pump's bag, without its full stop; `None` if none are.
pub fn lack(job: &Job, pump: &Pump, need: usize, share: &Share) -> Option<String> {
    let why = consumables::lack(job, pump, need, share)?;
    Some(lack_of(&why, &job.model_of(pump).consumables[need].kind))
}

/// Reason why some of a kind of consumable are missing, without its full stop.
pub fn lack_of(why: &Lack, kind: &str) -> String {
    match why {
        Lack::NoFitCode { column } => format!("the pump sheet gives no `{column}`"),
        Lack::NotStocked => format!("no such {kind} is in the stock"),
        Lack::NoneOnHand => "none is on hand".into(),
        Lack::AllReserved => "all that are on hand are reserved".into(),
        Lack::AllGivenOut { available } => {
            format!("{available} free, all used")
        }
    }
}

/// Consumables missing from the bags, grouped by kind:
/// `packing ring, fit F6: no such packing ring is in the stock; missing 5 each for P-101, P-102`.
pub fn lacks(verified: &Verified) -> Vec<String> {
    let job = verified.job();
    let mut groups: Vec<(String, Vec<(u32, &str)>)> = Vec::new();
    for (pump, bag) in job.pumps.iter().zip(verified.bags()) {
        for (need, share) in bag.iter().enumerate() {
            let Some(why) = lack(job, pump, need, share) else {
                continue;
            };
            let what = format!("{}: {why}", consumable(job, pump, need));
            let who = (share.lacking, pump.tag.as_str());
            match groups.iter_mut().find(|(known, _)| *known == what) {
                Some((_, all)) => all.push(who),
                None => groups.push((what, vec![who])),
            }
        }
    }
    let shown = |(what, who): (String, Vec<(u32, &str)>)| match who
        .iter()
        .map(|(count, _)| count)
        .all_equal_value()
    {
        Ok(count) if who.len() > 1 => {
            let tags: Vec<String> = who.iter().map(|(_, tag)| (*tag).to_string()).collect();
            format!("{what}; missing {count} each for {}", first_of(&tags))
        }
        _ => {
            let each: Vec<String> =
                who.iter().map(|(count, tag)| format!("{count} for {tag}")).collect();
            format!("{what}; missing {}", first_of(&each))
        }
    };
    groups.into_iter().map(shown).collect()
}

/// Value of one more piece.
pub fn worth(job: &Job, worth: &MarginalValue) -> String {
    let change = worth.waste.raw();
    if !worth.exact() {
        let [least, most] = [-change, -worth.waste_at_least.raw()];
        let [least, most] = [least, most].map(|saved| money_exactly(saved, job));
        return format!("waste {least} to {most} less; not settled further");
    }
    let waste = match change {
        0 => "waste unchanged".to_string(),
        _ if change < 0 => format!("waste {} less", money_or_exactly(-change, job)),
        _ => format!("waste {} more", money_or_exactly(change, job)),
    };
    match (worth.served_weight, change) {
        (Some(0), 0) => "-".into(),
        (Some(0), _) => waste,
        (_, _) => format!("kits more pumps (by priority), {waste}"),
    }
}

/// Work on pieces before they match the plan: layers peeled off, or the piece cut from a sheet. `None` for pieces
/// that are used as they are.
pub fn handwork(job: &Job, pick: &Pick) -> Option<String> {
    let item = &job.stock[pick.item];
    if let Some(cut) = item.cut {
        let sheet = &job.plates[cut.plate];
        let unit = natural_unit(cut.outside);
        return Some(format!(
            "cut from plate {}: outside {}, inside {}",
            sheet.item,
            short_length(cut.outside, unit),
            short_length(cut.inside, unit),
        ));
    }
    let thickness = item.peeled(pick.peeled).filter(|_| pick.peeled > 0)?;
    let layers =
        if pick.peeled == 1 { "1 layer".to_string() } else { format!("{} layers", pick.peeled) };
    let each = if pick.count == 1 { "" } else { " each" };
    let unit = natural_unit(thickness);
    Some(format!(
        "peel {layers} off{each}, to {}; deburr and measure again",
        self::thickness(thickness, unit)
    ))
}

/// Layout of a cut sheet: `2 strips of 4 for F6 and 1 strip of 3 for F8`.
pub fn strips(job: &Job, layout: &Layout) -> String {
    let lot = &job.plates[layout.plate];
    let side = lot.sides[layout.along];
    let strips: Vec<String> = layout
        .strips
        .iter()
        .filter_map(|&(item, strips)| {
            let cut = job.stock[item].cut?;
            let blanks = side.ticks() / cut.outside.ticks().max(1);
            let word = if strips == 1 { "strip" } else { "strips" };
            let fit = job.stock[item].fit.as_str();
            let wide = short_length(cut.outside, natural_unit(cut.outside));
            Some(format!("{strips} {word} {wide} wide, {blanks} blanks each, for {fit}"))
        })
        .collect();
    format!("along the side of {}: {}", short_length(side, natural_unit(side)), strips.join("; "))
}

/// Bags that a plan reopens, those that it was told to apart, and slips that it changes; `None` where nothing stood before
/// it.
pub fn disturbance(job: &Job, plan: &Plan) -> Option<String> {
    let of = |aim, what: &str| plan.goal(aim).map(|goal| counted(goal.value, what));
    let bags = of(Objective::Reopened, "bag").map(|bags| format!("{bags} to reopen"));
    let told = opened_as_told(job).map(|(count, tags)| format!("{count} as told ({tags})"));
    let slips = of(Objective::Slips, "slip").map(|slips| format!("{slips} to print again"));
    let all: Vec<String> = bags.into_iter().chain(told).chain(slips).collect();
    (!all.is_empty()).then(|| all.join(", "))
}

/// Number of the bags that are opened as told, and their pumps; `None` where there are none.
pub fn opened_as_told(job: &Job) -> Option<(String, String)> {
    let tags: Vec<&str> = job.opened_as_told().map(|at| &*job.pumps[at].tag).collect();
    let count = counted(i64::try_from(tags.len()).unwrap_or(i64::MAX), "bag");
    (!tags.is_empty()).then(|| (count, tags.join(", ")))
}

/// Account of the plates that are cut: their waste, and what goes back. `None` if none is cut.
pub fn plates_cut(verified: &Verified) -> Option<String> {
    let (job, plan) = (verified.job(), verified.plan());
    if plan.layouts.is_empty() {
        return None;
    }
    let waste = plan.layouts.iter().map(|layout| plate_waste(job, layout).raw()).sum();
    let back = verified.returned();
    let back = back.iter().map(|lot| format!("{} of {}", lot.count, lot.item)).join(", ");
    let back = if back.is_empty() { "nothing".to_string() } else { back };
    let count = plan.layouts.len();
    let word = plural("plate", u32::try_from(count).unwrap_or(u32::MAX));
    Some(format!(
        "Cut up: {count} {word}, {} of it waste; back to stock: {back}",
        money(waste, job)
    ))
}

/// Feeler blades for a clearance, in a sentence or two.
pub fn blades(gauge: &LimitGauge, unit: Unit) -> String {
    let list = |stack: &Stacked| {
        let each = stack.blades.iter().map(|(blade, count)| {
            let own = natural_unit(blade.thickness);
            let shown = length(blade.thickness, own);
            match count {
                1 => shown,
                _ => format!("{count} of {shown}"),
            }
        });
        let each: Vec<String> = each.collect();
        let together = match stack.count() {
            1 => String::new(),
            _ => format!(" together {}", about(stack.nominal.into(), unit)),
        };
        format!("{}{together}", each.join(" + "))
    };
    let side = |chosen: &Chosen, [word, fails, shows]: [&str; 3]| match chosen {
        Chosen::None => format!("no blades of the set show {shows}: measure it another way"),
        Chosen::Stack(stack, passes) => {
            let then = if *passes {
                String::new()
            } else {
                format!(" (if it {fails}, measure before rejecting)")
            };
            format!("{word} {}{then}", list(stack))
        }
    };
    let go = gauge.go.as_ref().map(|go| side(go, ["GO", "does not go in", "the lower limit"]));
    let no_go = gauge.no_go.as_ref();
    let no_go = no_go.map(|no_go| side(no_go, ["NO-GO", "goes in", "the upper limit"]));
    let sides: Vec<String> = go.into_iter().chain(no_go).collect();
    let mut text = format!("Feeler blades: {}.", sides.join("; "));
    for chosen in [&gauge.go, &gauge.no_go] {
        if let Some(Chosen::Stack(stack, _)) = chosen
            && stack.count() >= crate::feeler::MANY
        {
            text.push_str(&format!(
                " {} blades together read thick, by up to {} on top of their own tolerance: wipe them dry and press them together.",
                stack.count(),
                about(stack.growth().into(), unit)
            ));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Fine {
        Length::parse(text, None).unwrap().into()
    }

    /// A guard is never shown smaller than it is, and a margin never larger.
    #[test]
    fn guards_are_rounded_up_and_margins_down() {
        let third = |n: i128| Fine::from_raw(of("0.001 mm").raw() * n / 3);
        let verdict = |guard_lower, guard_upper| Verdict {
            target: Fine::ZERO,
            lower: Some(Fine::ZERO),
            upper: Some(Fine::ZERO),
            value: Fine::ZERO,
            guard_lower,
            guard_upper,
        };
        let mm = Unit::Millimetre;
        assert_eq!(guards(&verdict(third(4), third(4)), mm), "0.002 mm");
        assert_eq!(guards(&verdict(third(4), third(-4)), mm), "-0.002 -0.001 mm");
        assert_eq!(margin(third(5), mm), "0.001 mm");
        assert_eq!(margin(third(-2), mm), "-0.001 mm");
        assert_eq!(margin(of("0.00055 in"), Unit::Inch), "0.0005 in");
    }
}
