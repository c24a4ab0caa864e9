//! The Summary sheet: what came out, how far it is proven, and a picture of it.

use rust_xlsxwriter::{
    Chart, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType, ChartFormat,
    ChartMarkerType, ChartType, Worksheet,
};

use super::between::{self, share};
use super::page::{Page, Written};
use super::picture::{Figures, mark};
use super::stack_up::StackUps;
use super::style::{Styles, VALUES, lines, tall};
use super::table::{Cells, Column, over};
use crate::accounting::{tightest, verdicts};
use crate::consumables::Bag;
use crate::crush;
use crate::job::{Job, NotMeasured};
use crate::length::{Fine, Unit};
use crate::model::Model;
use crate::plan::{Kit, Objective, ObjectiveValue, Plan};
use crate::pump::Pump;
use crate::stack::Verdict;
use crate::verify::Verified;
use crate::words::{self, NOT_FIT};

const NAME: &str = "Summary";
/// Where the chart's figures stand, right of what is printed.
const CHART_COLUMN: u16 = 12;

pub(super) fn sheet(
    verified: &Verified,
    stack_ups: StackUps,
    styles: &Styles,
) -> Written<Worksheet> {
    let (job, plan) = (verified.job(), verified.plan());
    let served = plan.served();
    let lead = format!(
        "{served} of {} can be kitted from the stock; acceptance rule: {}",
        words::planned_for(job),
        job.policy.acceptance
    );
    let mut page = Page::begin(NAME, "Outage kit plan", &lead, styles)?;
    page.widths(&[15.0, 18.0, 15.0, 12.0, 29.0, 31.0, 12.0, 20.0, 17.0, 9.0])?;
    page.row = 2;
    page.across(&words::proof(verified), &styles.prose, 32.0)?;
    page.row += 1;
    counts(&mut page, verified)?;
    holding(&mut page, verified)?;
    chart(&mut page, verified)?;
    page.row += 1;
    pumps(&mut page, verified, stack_ups)?;
    page.row += 1;
    not_measured(&mut page, verified)?;
    warnings(&mut page, verified)?;
    page.cautions(&[], |_| 18.0)?;
    let (row, column) = (page.row - 1, page.last);
    page.printed(row, column)
}

fn counts(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    page.heads(&["", "", "", "Proven", ""])?;
    let served = plan.goals.iter().take_while(|goal| {
        matches!(goal.objective, Objective::ServedWeight | Objective::ServedOf(_))
    });
    // A goal whose value is its bound counts as proven only if the bound was added up again.
    let open = |goal: &ObjectiveValue| match verified.shows(goal.objective) {
        true => "",
        false if goal.proven() => "added up again",
        false => "bound",
    };
    let served_open = served.map(open).find(|open| !open.is_empty()).unwrap_or_default();
    let value = |aim| plan.goal(aim).map_or((0, 0), |goal| (goal.value, goal.bound));
    let ((waste, least), (pieces, fewest)) = (value(Objective::Waste), value(Objective::Pieces));
    let proof = |open: &str, bound: String| match open {
        "" => "yes".to_string(),
        "bound" => format!("no; bound {bound}"),
        _ => "bound not added up again".to_string(),
    };
    let open_on = |aim| plan.goal(aim).map_or("bound", open);
    let mut lines = vec![
        (
            "Pumps kitted",
            format!("{} of {}", plan.served(), job.pumps.len()),
            proof(served_open, "see Basis".into()),
        ),
        (
            "Waste",
            words::money(waste, job),
            proof(open_on(Objective::Waste), words::money(least, job)),
        ),
        ("Pieces", pieces.to_string(), proof(open_on(Objective::Pieces), fewest.to_string())),
    ];
    let counted = [
        ("Slips changed", 3, Objective::Slips),
        ("Plates cut", 2, Objective::Plates),
        ("Bags reopened", 1, Objective::Reopened),
        ("Pieces held back, by need", 1, Objective::HeldBack),
    ];
    for (label, at, aim) in counted {
        if let Some(goal) = plan.goal(aim) {
            let [value, bound] =
                [goal.value, goal.bound].map(|value| words::goal_value(job, goal, value));
            lines.insert(at, (label, value, proof(open(goal), bound)));
        }
    }
    let told = words::opened_as_told(job);
    if let Some((count, tags)) = &told {
        lines.insert(1, ("Bags reopened as told", count.clone(), tags.clone()));
    }
    let Styles { text, strong, alarm, .. } = page.styles;
    for (label, value, bound) in lines {
        page.line([over(2, text.of(label)), strong.of(value), over(2, text.of(bound))])?;
    }
    if let Some(said) = words::plates_cut(verified) {
        page.line([over(4, text.of(said))])?;
    }
    let short = plan.kits.len() - plan.served();
    if short > 0 {
        let text = format!("{short} {NOT_FIT}: see Short");
        page.line([over(4, alarm.of(text))])?;
    }
    let lacking = verified.bags().iter().filter(|bag| words::lacking(bag)).count();
    if lacking > 0 {
        let text = format!("Short of consumables: {lacking} of {} bags, see Short", plan.served());
        page.line([over(4, alarm.of(text))])?;
    }
    if let Some(said) = words::not_measured(job) {
        page.line([over(4, alarm.of(said))])?;
    }
    page.row += 1;
    Ok(())
}

/// Cost of leaving bags closed, one row for each number of them that is reopened.
fn holding(page: &mut Page<'_>, verified: &Verified) -> Written {
    let rows = words::holding(verified);
    if rows.is_empty() {
        return Ok(());
    }
    page.part("What leaving packed bags closed costs")?;
    page.heads(&["Bags to reopen", "", "", "", "", "Pumps kitted", "Waste", "Proven", "", ""])?;
    let Styles { text, wrapped, strong, .. } = page.styles;
    for [bags, served, waste, proven] in rows {
        page.high(15.5 * lines(&[(&*bags, 88)], [1, 25]))?;
        page.line([
            over(5, wrapped.of(bags)),
            strong.of(served),
            text.of(waste),
            over(3, text.of(proven)),
        ])?;
    }
    page.row += 1;
    Ok(())
}

/// The first requirement of every pump between its limits, with its guard band as a bar; a pump that is short has
/// its place and no mark.
fn chart(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    let heads = [
        "Tag",
        "Predicted, % of the way from lower to upper limit",
        "Guard band down, %",
        "Guard band up, %",
        "Lower limit",
        "Upper limit",
    ];
    let remark = &page.styles.remark;
    let rows = job.pumps.iter().zip(&plan.kits).map(|(pump, kit)| {
        let first = match kit {
            Kit::Served(packs) => verdicts(job, pump, packs).into_iter().next(),
            Kit::Short(_) => None,
        };
        let Some(v) = first else {
            let name = format!("{} (not fit)", pump.tag);
            return [remark.of(name), None, None, None, remark.of(0.0), remark.of(100.0)];
        };
        let of = |value: Fine| share(value, &v).and_then(|at| remark.of(at));
        let [down, up] = [v.guard_lower, v.guard_upper].map(|guard| of(v.lower? + guard));
        let name = match of(v.value) {
            Some(_) => pump.tag.clone(),
            None => format!("{} (one limit)", pump.tag),
        };
        [remark.of(name), of(v.value), down, up, remark.of(0.0), remark.of(100.0)]
    });
    let last = page.figures(CHART_COLUMN, heads, rows)?;
    if plan.served() == 0 {
        return Ok(());
    }
    between::pictures(page, (NAME, CHART_COLUMN, last), picture)
}

/// The picture of some of the pumps.
fn picture(figures: &Figures<'_>, goes_on: bool) -> Chart {
    let bars = ChartErrorBarsType::Custom(figures.column(3), figures.column(2));
    let mut chart = Chart::new(ChartType::Line);
    figures
        .series(&mut chart, "Predicted, with its guard band", 1)
        .set_format(ChartFormat::new().set_no_line())
        .set_marker(&mark(ChartMarkerType::Diamond, 7, VALUES))
        .set_y_error_bars(
            ChartErrorBars::new().set_type(bars).set_direction(ChartErrorBarsDirection::Both),
        );
    between::limits(&mut chart, figures, [4, 5]);
    between::frame(
        &mut chart,
        "Predicted clearance: 0 % = lower limit, 100 % = upper limit",
        goes_on,
    );
    chart.y_axis().set_min(-10).set_max(110).set_num_format("0");
    chart.show_empty_cells_as(rust_xlsxwriter::ChartEmptyCells::Gaps);
    chart.set_width(1130);
    chart.set_alt_text(
        "Predicted value of each pump's first requirement between its limits, with its guard band",
    );
    chart
}

/// A pump with its kit; of a served one its tightest requirement, of another why it is short.
struct PumpRow<'a> {
    pump: &'a Pump,
    model: &'a Model,
    kit: &'a Kit,
    bag: &'a Bag,
    status: String,
    tightest: Option<(usize, Verdict)>,
    why: String,
}

type Col<'s> = Column<'s, PumpRow<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let Styles { text, wrapped, count, bold, alarms, .. } = styles;
    let fine = |line: &PumpRow<'_>| matches!(line.kit, Kit::Served(_)) && !words::lacking(line.bag);
    let figure = |line: &PumpRow<'_>, of: fn(&Verdict, Unit) -> String| {
        Some(of(&line.tightest.as_ref()?.1, line.model.unit))
    };
    [
        Col::of("Tag", |line| bold.of(&line.pump.tag)),
        Col::of("Model", |line| text.of(&line.model.name)),
        Col::of("Priority", |line| count.of(line.pump.priority)),
        Col::of("Due", |line| text.of(line.pump.due_shown())),
        Col::of("Status", move |line| {
            let standing = &line.status;
            match line.pump.to_measure_again(line.model).next() {
                Some(_) => alarms.of(format!("{standing}; measure again")),
                None if fine(line) => text.of(standing),
                None => alarms.of(standing),
            }
        }),
        Col::of("Requirement", |line| match (line.kit, &line.tightest) {
            (Kit::Short(_), _) => over(5, wrapped.of(&line.why)),
            (_, tightest) => wrapped.of(&line.pump.requirements[tightest.as_ref()?.0].label),
        }),
        Col::of("Predicted", move |line| {
            text.of(figure(line, |v, unit| words::about(v.value, unit))?)
        }),
        Col::of("Limits", move |line| wrapped.of(figure(line, words::limits)?)),
        Col::of("Margin", move |line| {
            let margin = figure(line, |v, unit| words::margin(v.margin(), unit))?;
            match line.tightest.as_ref().is_some_and(|(_, v)| is_thin(v)) {
                true => alarms.of(format!("{margin} THIN")),
                false => text.of(margin),
            }
        }),
        Col::of("Pieces", |line| match line.kit {
            Kit::Served(packs) => {
                count.of(packs.iter().flat_map(|p| &p.picks).map(|p| p.count).sum::<u32>())
            }
            Kit::Short(_) => None,
        }),
    ]
}

/// Whether less than a tenth of the way between the limits is left, after the guard; of a single limit, a fifth of the
/// way to the target. Our own choice, no source.
fn is_thin(v: &Verdict) -> bool {
    let [lower, upper] = [v.lower, v.upper].map(|limit| Some(limit?.raw()));
    let target = v.target.raw();
    let width = match (lower, upper) {
        (Some(lower), Some(upper)) => upper - lower,
        (Some(limit), None) | (None, Some(limit)) => 2 * (target - limit).abs(),
        (None, None) => 0,
    };
    v.margin().raw() * 10 < width
}

fn pumps(page: &mut Page<'_>, verified: &Verified, stack_ups: StackUps) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    page.part("Pumps")?;
    let columns = columns(page.styles);
    page.headings(&columns)?;
    let kits = job.pumps.iter().zip(&plan.kits).zip(verified.bags()).enumerate();
    for (at, ((pump, kit), bag)) in kits {
        let status = words::status(verified, at);
        let (tightest, why) = match kit {
            Kit::Served(packs) => (tightest(job, pump, packs), String::new()),
            Kit::Short(shorts) => (None, words::reasons(job, pump, shorts)),
        };
        let model = job.model_of(pump);
        let label = tightest.as_ref().map_or("", |(index, _)| &pump.requirements[*index].label);
        // Letters that go on a line of each column, the reason of a short pump over five of them; one line a pump
        // where its texts allow it.
        let texts =
            [(&*pump.tag, 12), (&*model.name, 17), (&*status, 26), (label, 30), (&*why, 80)];
        page.high(15.5 * lines(&texts, [1, 25]))?;
        page.put(&columns, &PumpRow { pump, model, kit, bag, status, tightest, why })?;
    }
    let all = if stack_ups == StackUps::All { "Stack-up" } else { "Verdicts" };
    let text = format!(
        "Requirement, predicted value and margin are those of the pump's tightest requirement; {all} has all. THIN: the margin is less than a tenth of the range between the limits."
    );
    page.text(text, &page.styles.remark)?;
    let left_out = match stack_ups {
        StackUps::All => return Ok(()),
        StackUps::Short => {
            format!("Stack-up has only the nearest kits of pumps that are {NOT_FIT}")
        }
        StackUps::None => "There is no sheet Stack-up".to_string(),
    };
    let text = format!(
        "{left_out} (--stack-up {}); gapwright stack --pump TAG works any pump out.",
        if stack_ups == StackUps::Short { "short" } else { "none" }
    );
    page.text(text, &page.styles.remark)
}

type Waiting<'s> = Column<'s, NotMeasured>;

/// The pumps that nothing is planned for, with the readings that they wait for.
fn not_measured(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    if job.not_measured.is_empty() {
        return Ok(());
    }
    let Styles { text, wrapped, count, bold, .. } = page.styles;
    let due = |pump: &NotMeasured| pump.due.as_ref().map(|due| due.shown.clone());
    let columns = [
        Waiting::of("Tag", |pump| bold.of(&pump.tag)),
        Waiting::of("Model", |pump| text.of(&job.models[pump.model].name)),
        Waiting::of("Priority", |pump| count.of(pump.priority)),
        Waiting::of("Due", |pump| text.of(due(pump).unwrap_or_default())),
        Waiting::of("Status", |_| text.of(words::NOT_MEASURED)),
        Waiting::of("Waits for", |pump| wrapped.of(words::waits_for(pump))).over(5),
    ];
    page.part("Not measured: nothing is planned for these pumps")?;
    page.headings(&columns)?;
    for pump in &job.not_measured {
        let waits_for = words::waits_for(pump);
        page.high(15.5 * lines(&[(&*pump.tag, 12), (&*waits_for, 80)], [1, 25]))?;
        page.put(&columns, pump)?;
    }
    let held_back = words::ahead::held_back(job, plan);
    for said in held_back.into_iter().chain(words::ahead::left(job, plan)) {
        page.across(&said, &page.styles.prose, tall(&said, 140))?;
    }
    if let Some(said) = words::ahead::used_up(job, plan) {
        page.across(&said, &page.styles.alarms, tall(&said, 140))?;
    }
    page.row += 1;
    Ok(())
}

fn warnings(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    let mut crushed = words::crush_warnings(job, plan);
    crushed.extend(unchecked(job, plan));
    crushed.extend(words::verdict::of_plan(job, plan));
    let warnings = job.warnings.iter().map(words::warning);
    let warnings = warnings.map(|text| (tall(&text, 140), text));
    let crushed =
        crushed.into_iter().map(|text| (16.0 * lines(&[(&text, 150)], [0, usize::MAX]), text));
    let unused = words::unused(job).map(|text| (32.0, text));
    let prose = &page.styles.prose;
    let texts = warnings.chain(crushed).chain(unused);
    let texts = texts.map(|(height, text)| (text, prose, height));
    page.paragraphs("Warnings and remarks", texts)
}

/// The most gaskets that are named in one cell: a row can be no taller.
const MOST_NAMED: usize = 60;

/// The gaskets whose crush nobody checked, in one sentence for the whole plan.
fn unchecked(job: &Job, plan: &Plan) -> Option<String> {
    let items = crush::unchecked(job, plan);
    let named = items.iter().take(MOST_NAMED).map(|&index| {
        let item = &job.stock[index];
        let material = item.material.as_deref().unwrap_or("no material stated");
        format!("{} ({material})", item.item)
    });
    let named: Vec<String> = named.collect();
    let more = match items.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let (named, plural) = (named.join(", "), if items.len() == 1 { "" } else { "s" });
    let count = Some(items.len()).filter(|count| *count > 0)?;
    Some(format!(
        "Crush not checked for {count} gasket item{plural} of unknown compressibility: {named}{more}."
    ))
}
