//! The Summary of what is set aside: both prices side by side, the service, every pump's standing.

use rust_xlsxwriter::{
    Chart, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType, ChartFont, ChartFormat,
    ChartMarkerType, ChartType, Worksheet,
};

use super::super::page::{Page, Written};
use super::super::picture::{Figures, fill, mark};
use super::super::style::{Styles, VALUES};
use super::super::table::{Cells, Column, over};
use super::super::text::chart_name;
use super::{Provided, height};
use crate::forecast::ExpectedLaw;
use crate::provision::SafeKit;
use crate::pump::Pump;
use crate::words;
use crate::words::provision as said;

const NAME: &str = "Summary";
/// Where the charts' figures stand, right of what is printed.
const FIGURES: u16 = 12;
/// Rows that the charts take.
const PICTURE: u32 = 15;

pub(super) fn sheet(provided: &Provided<'_>, styles: &Styles) -> Written<Worksheet> {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    let unmeasured = provision.safe.iter().filter(|kit| !kit.axes.is_empty());
    let lead = format!(
        "{} of {} pumps are not measured yet; acceptance rule: {}; values in steps of {}",
        unmeasured.count(),
        job.pumps.len(),
        job.policy.acceptance,
        words::length(provided.question.step, words::natural_unit(provided.question.step))
    );
    let mut page = Page::begin(NAME, "Pieces to set aside before the outage", &lead, styles)?;
    page.widths(&[16.0, 18.0, 9.0, 12.0, 46.0, 8.0, 8.0, 14.0, 13.0, 28.0])?;
    page.row = 2;
    page.across(said::CAUTION, &styles.strong, None)?;
    page.row += 1;
    prices(&mut page, provided)?;
    verdict(&mut page, provided)?;
    page.row += 1;
    charts(&mut page, provided)?;
    page.row += 1;
    page.cautions(&CAUTIONS, |text| height(&[(text, 145)]))?;
    page.row += 1;
    warnings(&mut page, provided)?;
    // Last, so that its headings can stand on every page that it runs on to.
    pumps(&mut page, provided)?;
    let (row, column) = (page.row, page.last);
    page.printed(row, column)
}

/// Cautions for what is set aside, before the usual ones.
const CAUTIONS: [(&str, &str); 2] = [
    ("before", said::CAUTION),
    (
        "before",
        "The ranges are expected values. A pump outside its range, or one with changed parts, may need pieces that were not set aside.",
    ),
];

/// Both answers side by side.
fn prices(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let (provision, question) = (provided.provision, provided.question);
    let (together, short) = (&provision.together, provision.falls_short(question));
    let Styles { text, head, strong, wrapped, alarms, .. } = page.styles;
    page.line([
        over(2, head.of("")),
        over(3, head.of("Safe kits, all of them together")),
        over(5, head.of("Trolley, shared by all pumps")),
    ])?;
    let lines = answers(provided);
    for (at, (name, safe, shared)) in lines.iter().enumerate() {
        let format = if at < 2 { strong } else { wrapped };
        let lacking =
            at == lines.len() - 1 && !(together.lacking.is_empty() && together.plates.is_empty());
        let short = short && shared.starts_with("NOT ");
        let either = |warns, text: &String| if warns { alarms } else { format }.of(text);
        page.high(height(&[(safe, 70), (shared, 74)]))?;
        page.line([
            over(2, text.of(*name)),
            over(3, either(lacking, safe)),
            over(5, either(short, shared)),
        ])?;
    }
    Ok(())
}

/// The answers line by line: the name of a line, that of the safe kits, that of the trolley.
fn answers(provided: &Provided<'_>) -> [(&'static str, String, String); 8] {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    let (together, trolley, service) =
        (&provision.together, &provision.trolley, &provision.service);
    let question = provided.question;
    let short = provision.falls_short(question);
    let served = format!(
        "{} of {} design scenarios, {}; not a measure of its service",
        trolley.served,
        trolley.scenarios,
        said::aimed_at(trolley)
    );
    let sheets = match trolley.plates.is_empty() {
        true => "yes: every piece is in stock".to_string(),
        false => format!(
            "too few plates of {}, unless several shapes are cut from one",
            said::plates(job, &trolley.plates)
        ),
    };
    [
        ("Price", words::money(together.cost.raw(), job), words::money(trolley.cost.raw(), job)),
        ("Pieces", together.count.to_string(), trolley.count.to_string()),
        (
            "Least cost",
            said::safe_proof(provision, job),
            said::trolley_proof(provision, question, job),
        ),
        (
            "Covers",
            said::safe_holds(question),
            match short {
                true => format!(
                    "NOT the {} of outages required: every pump in {} of the {} design scenarios, every pump but those in a gap in {}",
                    said::asked(question.probability),
                    trolley.served,
                    trolley.scenarios,
                    trolley.served_except_gaps
                ),
                false => format!(
                    "all pumps together in {} of outages, subject to the count below",
                    said::asked(question.probability)
                ),
            },
        ),
        ("Designed for", "every value examined in its range".into(), served),
        (
            "Counted service",
            "not counted: nothing is left to chance".into(),
            format!(
                "{}, if every pump is measured before the first is kitted",
                said::service(service)
            ),
        ),
        (
            "One after the other",
            "the same: each pump has its own pieces".into(),
            format!("{}, if each pump is kitted as it is measured", said::service_in_turn(service)),
        ),
        ("In stock", said::fits(job, together), sheets),
    ]
}

/// The promise of the trolley, the scenarios that the count lost, and what stands against it.
fn verdict(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let (provision, question) = (provided.provision, provided.question);
    let Styles { prose, alarm, alarms, .. } = page.styles;
    let service = &provision.service;
    let [gaps, unknown] = [service.hopeless, service.undecided];
    let ran_out = service.checks.saturating_sub(service.served + gaps + unknown);
    let lost = format!(
        "Of {} counted scenarios: {} served, {gaps} with a value in a gap, {ran_out} short of pieces, {unknown} undecided (not served at the interval's low end, served at its high end).",
        service.checks, service.served
    );
    let promise = said::promise(provision, question);
    let format = if promise.starts_with("NOT MET") { alarms } else { prose };
    page.across(&promise, format, height(&[(&promise, 180)]))?;
    page.across(&lost, prose, height(&[(&lost, 180)]))?;
    if let Some(margin) = said::margin(provision, provided.outlook.job()) {
        page.across(&margin, prose, height(&[(&margin, 180)]))?;
    }
    let gaps = provision.safe.iter().filter(|kit| kit.gaps() > 0).count();
    if gaps > 0 {
        let text = format!(
            "{}: {gaps} of {} pumps may have a value that no pieces in stock fit; see Coverage.",
            said::GAP,
            provision.safe.len()
        );
        page.across(&text, alarm, None)?;
    }
    if let Some(stop) = provision.stopped {
        let text = format!(
            "Ended early by {}: these are the best found, with their bounds.",
            stop.words()
        );
        page.across(&text, alarm, None)?;
    }
    Ok(())
}

/// Both prices, and the service with its interval.
fn charts(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    let service = &provision.service;
    let asked = provided.question.probability.to_f64();
    let share = service.share();
    let [low, high] = service.interval;
    let figures = [
        ("Safe kits together", provision.together.cost.to_f64(), "required", asked, 0.0, 0.0),
        ("Trolley", provision.trolley.cost.to_f64(), "counted", share, share - low, high - share),
    ];
    let of = &page.styles.remark;
    let rows = figures.map(|(answer, price, what, value, below, above)| {
        [of.of(answer), of.of(price), of.of(what), of.of(value), of.of(below), of.of(above)]
    });
    let row = page.row;
    let last = page.figures(FIGURES, ["", "Price", "", "Service", "below", "above"], rows)?;
    let mut price = price([row + 1, last], &job.policy.currency);
    let mut counted = counted([row + 1, last], low.min(asked));
    for chart in [&mut price, &mut counted] {
        chart.title().set_font(ChartFont::new().set_size(11).set_bold());
        chart.legend().set_hidden();
        chart.set_height(280);
    }
    price.set_width(470);
    counted.set_width(680);
    page.sheet.insert_chart_with_offset(row, 0, &price, 4, 4)?;
    page.sheet.insert_chart_with_offset(row, 4, &counted, 110, 4)?;
    page.row += PICTURE;
    Ok(())
}

/// Both prices.
fn price(rows: [u32; 2], currency: &str) -> Chart {
    let figures = Figures { sheet: NAME, rows, from: FIGURES };
    let mut chart = Chart::new(ChartType::Column);
    figures.series(&mut chart, "Price", 1).set_gap(90).set_format(&mut fill(VALUES));
    let name = format!("Price of the pieces set aside ({currency})");
    chart.title().set_name(chart_name(&name).as_str());
    chart.y_axis().set_min(0).set_num_format("0");
    chart.set_alt_text("Price of all safe kits together beside that of the trolley");
    chart
}

/// The service that was asked for and the counted one, which may be as low as this.
fn counted(rows: [u32; 2], low: f64) -> Chart {
    let figures = Figures { sheet: NAME, rows, from: FIGURES + 2 };
    let interval = ChartErrorBarsType::Custom(figures.column(3), figures.column(2));
    let mut chart = Chart::new(ChartType::Line);
    figures
        .series(&mut chart, "Share of outages in which every pump is served", 1)
        .set_format(ChartFormat::new().set_no_line())
        .set_marker(&mark(ChartMarkerType::Diamond, 9, VALUES))
        .set_y_error_bars(
            ChartErrorBars::new().set_type(interval).set_direction(ChartErrorBarsDirection::Both),
        );
    let title = "Outages in which every pump is served, with the interval of the count";
    chart.title().set_name(title);
    // Points and not columns, so that the axis need not begin at nothing.
    let least = ((low - 0.02).max(0.0) * 20.0).floor() / 20.0;
    chart.y_axis().set_min(least).set_max(1).set_num_format("0 %");
    chart.set_alt_text("Service required, and counted service with its interval");
    chart
}

/// A pump with its safe kit.
struct PumpRow<'a> {
    pump: &'a Pump,
    model: &'a str,
    expected: String,
    kit: &'a SafeKit,
    missed: String,
    standing: String,
}

type Col<'s> = Column<'s, PumpRow<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let Styles { text, wrapped, count, money, bold, alarms, .. } = styles;
    [
        Col::of("Tag", |line| bold.of(&line.pump.tag)),
        Col::of("Model", |line| wrapped.of(line.model)),
        Col::of("Priority", |line| count.of(line.pump.priority)),
        Col::of("Due", |line| text.of(line.pump.due_shown())),
        Col::of("Expected", |line| wrapped.of(&line.expected)),
        Col::of("Values", |line| count.of(line.kit.values())),
        Col::of("In a gap", |line| count.of(line.kit.gaps())),
        Col::of("Safe kit price", |line| money.of(line.kit.cost.to_f64())),
        Col::of("Not served", |line| text.of(&line.missed)),
        Col::of("Status", |line| match line.kit.gaps() {
            0 => wrapped.of(&line.standing),
            _ => alarms.of(&line.standing),
        }),
    ]
}

/// Every pump with its standing.
fn pumps(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    page.part("Pumps")?;
    let columns = columns(page.styles);
    page.high(31.0)?;
    page.repeat()?;
    page.headings(&columns)?;
    let (missed, checks) = (&provision.service.missed, provision.service.checks);
    for (index, (pump, kit)) in job.pumps.iter().zip(&provision.safe).enumerate() {
        let model = job.model_of(pump);
        let dimensions = model.dimensions.iter().zip(&provided.outlook.expected()[index]);
        let expected = dimensions.filter_map(|(dimension, expected)| {
            let expected = (*expected)?;
            let range = said::range([expected.low, expected.high], model.unit);
            let law = match expected.law {
                ExpectedLaw::Even => "",
                ExpectedLaw::Readings { .. } => ", from past readings",
            };
            Some(format!("{} {range}{law}", dimension.label))
        });
        let expected = match expected.collect::<Vec<_>>() {
            none if none.is_empty() => "measured".to_string(),
            some => some.join("; "),
        };
        let standing = said::standing(kit);
        let texts = [(&*pump.tag, 13), (&model.name, 16), (&expected, 50), (&standing, 28)];
        page.high(height(&texts))?;
        let missed = format!("{} of {checks}", missed.get(index).copied().unwrap_or(0));
        let line = PumpRow { pump, model: &model.name, expected, kit, missed, standing };
        page.put(&columns, &line)?;
    }
    let text =
        "Not served: number of counted scenarios in which the trolley has no kit for this pump.";
    page.text(text, &page.styles.remark)
}

fn warnings(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let job = provided.outlook.job();
    let Styles { prose, alarms, .. } = page.styles;
    let own = said::warnings(job, provided.provision, provided.question);
    let own = own.into_iter().map(|text| (text, alarms));
    let others = job.warnings.iter().map(words::warning).chain(words::unused(job));
    let texts = own.chain(others.map(|text| (text, prose)));
    let texts = texts.map(|(text, format)| {
        let height = height(&[(&text, 170)]);
        (text, format, height)
    });
    page.paragraphs("Warnings and remarks", texts)
}
