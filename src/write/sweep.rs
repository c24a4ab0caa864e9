//! The Sweep sheet: what if a dimension, a tolerance, a total, a temperature, a target or a limit moves.

use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartFormat, ChartLegendPosition, ChartLineDashType,
    ChartMarkerType, ChartType, Workbook,
};

use super::page::{Page, Written};
use super::pages::{Pages, Series, put};
use super::picture::{Figures, line, mark};
use super::style::{INK, LIMITS, Styles, VALUES};
use super::table::{Cell, Cells, over};
use super::text::chart_name;
use crate::analysis::Analysed;
use crate::job::Job;
use crate::stack::{Judgement, ReportSide};
use crate::sweep::{Setting, SweepPoint, Swept, SweptPieces};
use crate::words::sweep as words;

const NAME: &str = "Sweep";

/// The columns of each requirement.
const COLUMNS: [&str; 6] = [
    "value",
    "margin by the rule",
    "margin, worst case",
    "margin, expanded",
    "conforms, if normal",
    "verdict",
];

/// The column of the last value that is met, with the margin there beside it.
const LAST_MET: u16 = 2;

/// Rows that a picture takes.
const PICTURE: u32 = 22;

pub(super) fn add(
    workbook: &mut Workbook,
    job: &Job,
    analysed: &[Analysed],
    styles: &Styles,
) -> Written {
    let begin = |page: &mut Page<'_>, _: &str| {
        page.widths(&[17.0; 24])?;
        page.title(NAME, "One value is varied at a time, all others unchanged. A negative margin means NOT MET, or NOT PROVEN where the nominal value is within the limits.")
    };
    let series = Series { name: NAME, begin: &begin, last_column: None };
    let mut pages = Pages::begin(Some(&mut *workbook), &series, styles)?;
    for one in analysed {
        for swept in &one.sweeps {
            pages.turn(1)?;
            let name = pages.name();
            let block = Block { job, one, swept };
            block.write(&mut pages.page, &name)?;
        }
    }
    let sheets = pages.finish(|_| {})?;
    put(workbook, sheets);
    Ok(())
}

struct Block<'a> {
    job: &'a Job,
    one: &'a Analysed,
    swept: &'a Swept,
}

impl Block<'_> {
    fn write(&self, page: &mut Page<'_>, name: &str) -> Written {
        let pump = &self.job.pumps[self.one.pump];
        let model = self.job.model_of(pump);
        let unit = model.unit;
        let sweep = &self.swept.sweep;
        let how = match self.swept.pieces {
            SweptPieces::ChosenAgain => "pieces chosen again at each step from all stock",
            SweptPieces::Held => "pieces unchanged",
        };
        let head = format!("Pump {}: {} varied, {how} ({unit})", pump.tag, sweep.label);
        page.part(head)?;
        if let Some(tolerance) = self.swept.given {
            let text = format!("The total stays; {}.", words::given(self.job, pump, tolerance));
            page.text(text, &page.styles.plain)?;
        }
        let mut labels = vec![sweep.label.clone()];
        labels.extend(model.packs.iter().map(|pack| format!("{}, total", pack.label)));
        for requirement in &pump.requirements {
            for what in COLUMNS {
                labels.push(format!("{}: {what}", requirement.label));
            }
        }
        let texts: Vec<&str> = labels.iter().map(String::as_str).collect();
        page.high(62.0)?;
        page.heads(&texts)?;
        let first = page.row;
        for point in &self.swept.points {
            page.line(self.point(point, page.styles))?;
        }
        let figures = Figures { sheet: name, rows: [first, page.row - 1], from: 0 };
        page.row += 1;
        let turns = self.turns(page)?;
        let turns = turns.map(|rows| Figures { sheet: name, rows, from: LAST_MET });
        page.sheet.insert_chart(page.row, 0, &self.picture(&figures, turns.as_ref()))?;
        page.row += PICTURE + 2;
        Ok(())
    }

    /// Table of the crossings; returns its rows, where they can be drawn.
    fn turns(&self, page: &mut Page<'_>) -> Written<Option<[u32; 2]>> {
        let pump = &self.job.pumps[self.one.pump];
        let unit = self.job.model_of(pump).unit;
        let styles = page.styles;
        page.part("Where a verdict turns")?;
        if self.swept.crossings.is_empty() {
            page.text("Nowhere in this range.", &styles.plain)?;
            page.row += 1;
            return Ok(None);
        }
        let Styles { text, wrapped, head, number, .. } = styles;
        let length = styles.length(unit);
        page.high(31.0)?;
        page.line([
            over(2, head.of("Requirement")),
            head.of("Last value met"),
            head.of("Margin there"),
            head.of("First value not met"),
            over(6, head.of("Pieces that would be chosen there, from all stock")),
        ])?;
        let first = page.row;
        for crossing in &self.swept.crossings {
            let [met, not_met] = crossing.show(unit).map(|shown| {
                let value: Option<f64> = shown.parse().ok();
                match crossing.met {
                    Setting::Length(_) => length.owned(value),
                    Setting::Number(_) => number.owned(value),
                }
            });
            let margin = crossing.margin.map(|margin| margin.to_f64(unit));
            let beyond = match &crossing.beyond {
                Some(point) => words::beyond(self.job, pump, point),
                None => "not asked for".into(),
            };
            page.high(31.0)?;
            page.line([
                over(2, wrapped.of(words::turning(pump, crossing))),
                met,
                margin.map_or_else(|| text.blank(), |margin| length.owned(margin)),
                not_met,
                over(6, wrapped.of(beyond)),
            ])?;
        }
        let rows = [first, page.row - 1];
        page.row += 1;
        let drawn = self.swept.crossings.iter().all(|crossing| crossing.margin.is_some());
        Ok(drawn.then_some(rows))
    }

    /// A point: where the thing is moved to, the packs, and each requirement.
    fn point<'s>(&self, point: &SweepPoint, styles: &'s Styles) -> Vec<Cell<'s>> {
        let unit = self.job.model_of(&self.job.pumps[self.one.pump]).unit;
        let length = styles.length(unit);
        let to = point.setting.to_f64(unit);
        let mut cells = vec![match point.setting {
            Setting::Length(_) => length.owned(to),
            Setting::Number(_) => styles.number.of(to),
        }];
        let Some(kit) = &point.kit else {
            cells.push(styles.alarm.of(point.why()));
            return cells;
        };
        cells.extend(kit.totals.iter().map(|total| length.owned(total.to_f64(unit))));
        for (report, verdict) in &kit.requirements {
            let least = |margin: fn(&ReportSide) -> f64| {
                let [low, high] = &report.sides;
                margin(low).min(margin(high))
            };
            cells.extend([
                length.owned(report.value),
                length.owned(verdict.margin().to_f64(unit)),
                length.owned(least(ReportSide::margin_worst)),
                length.owned(least(ReportSide::margin_expanded)),
                styles.chance.of(report.conforming),
                match verdict.judgement() {
                    met @ Judgement::Met => styles.text.of(met.words()),
                    not => styles.alarm.of(not.words()),
                },
            ]);
        }
        cells
    }

    /// The margin of each requirement by the rule in force, of the points in these rows, and where a verdict turns.
    fn picture(&self, figures: &Figures<'_>, turns: Option<&Figures<'_>>) -> Chart {
        // Told apart by dashes; the two colours stay apart for everybody.
        const DASHES: [ChartLineDashType; 4] = [
            ChartLineDashType::Solid,
            ChartLineDashType::Dash,
            ChartLineDashType::RoundDot,
            ChartLineDashType::LongDashDot,
        ];
        let pump = &self.job.pumps[self.one.pump];
        let model = self.job.model_of(pump);
        let (unit, packs) = (model.unit, model.packs.len());
        let mut chart = Chart::new(ChartType::ScatterStraight);
        for (index, requirement) in pump.requirements.iter().enumerate() {
            let column = u16::try_from(2 + packs + COLUMNS.len() * index).unwrap_or(u16::MAX);
            let colour = if index % 2 == 0 { VALUES } else { LIMITS };
            figures
                .series(&mut chart, &chart_name(&requirement.label), column)
                .set_format(&mut line(colour, 2.25, DASHES[index % DASHES.len()]));
        }
        if let Some(turns) = turns {
            turns
                .series(&mut chart, "verdict turns", 1)
                .set_format(ChartFormat::new().set_no_line())
                .set_marker(&mark(ChartMarkerType::X, 9, INK));
        }
        let title = format!("{}: margin by the acceptance rule", pump.tag);
        let title = chart_name(&title);
        chart.title().set_name(&title);
        chart.x_axis().set_name(chart_name(&self.swept.sweep.label).as_str());
        chart.x_axis().set_label_position(ChartAxisLabelPosition::Low);
        chart.y_axis().set_name(&format!("Margin ({unit})"));
        chart.legend().set_position(ChartLegendPosition::Bottom);
        chart.set_width(1000).set_height(320);
        chart.set_alt_text(&title);
        chart
    }
}
