//! The Map sheet: two quantities varied at once, and where the requirements are met.

use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartLegendPosition, ChartLineDashType, ChartType, Format,
    Workbook,
};

use super::page::{Page, Written};
use super::pages::{Pages, Series, put};
use super::picture::{Figures, line};
use super::style::{LIMITS, Styles, VALUES};
use super::table::{Cell, Cells};
use super::text::chart_name;
use crate::analysis::Analysed;
use crate::job::Job;
use crate::length::Unit;
use crate::pump::Pump;
use crate::stack::Verdict;
use crate::sweep::{Mapped, Setting};

const NAME: &str = "Map";

/// Rows that a picture takes.
const PICTURE: u32 = 26;

pub(super) fn add(
    workbook: &mut Workbook,
    job: &Job,
    analysed: &[Analysed],
    styles: &Styles,
) -> Written {
    let begin = |page: &mut Page<'_>, _: &str| {
        page.widths(&[17.0; 24])?;
        page.title(NAME, "Two values are varied at once, all others and the pieces unchanged. Each cell is a margin by the rule: blue and zero or more, met; orange, bold and below zero, not met (or not proven).")
    };
    let series = Series { name: NAME, begin: &begin, last_column: None };
    let mut pages = Pages::begin(Some(&mut *workbook), &series, styles)?;
    for one in analysed {
        for map in &one.maps {
            // The tables on a page, the border and its picture on the next.
            pages.turn(2)?;
            let name = pages.name();
            let pump = &job.pumps[one.pump];
            let block = Block { pump, unit: job.model_of(pump).unit, map, styles };
            block.tables(&mut pages.page)?;
            pages.go_on(pages.page.row);
            block.borders(&mut pages.page, &name)?;
        }
    }
    let sheets = pages.finish(|_| {})?;
    put(workbook, sheets);
    Ok(())
}

struct Block<'a> {
    pump: &'a Pump,
    unit: Unit,
    map: &'a Mapped,
    styles: &'a Styles,
}

impl Block<'_> {
    fn tables(&self, page: &mut Page<'_>) -> Written {
        let [down, across] = self.map.sweeps.each_ref().map(|sweep| sweep.label.as_str());
        let (tag, unit) = (&self.pump.tag, self.unit);
        page.part(format!("Pump {tag}: {down} (down) and {across} (across), {unit}"))?;
        let requirements = self.pump.requirements.iter().map(|one| one.label.as_str()).enumerate();
        if self.pump.requirements.len() > 1 {
            self.table(page, "Least margin of all requirements", |all| {
                all.iter().min_by_key(|verdict| verdict.margin())
            })?;
        }
        for (index, label) in requirements {
            self.table(page, &format!("{label}: margin"), |all| all.get(index))?;
        }
        Ok(())
    }

    /// A value of either quantity.
    fn setting(&self, setting: Setting) -> Cell<'static> {
        let value = setting.to_f64(self.unit);
        match setting {
            Setting::Length(_) => self.styles.length(self.unit).owned(value),
            Setting::Number(_) => self.styles.number.owned(value),
        }
    }

    /// The margins of one requirement, or of the tightest at each pair of values.
    fn table(
        &self,
        page: &mut Page<'_>,
        head: &str,
        of: impl Fn(&[Verdict]) -> Option<&Verdict>,
    ) -> Written {
        let [down, across] = &self.map.sweeps;
        let [met, not_met] = self.styles.verdicts(self.unit);
        page.text(head, &self.styles.plain)?;
        page.line(std::iter::once(None).chain(across.settings.iter().map(|s| self.setting(*s))))?;
        for (setting, cells) in down.settings.iter().zip(&self.map.cells) {
            let margins = cells.iter().map(|cell| match cell.as_ref().map(|all| of(all)) {
                Ok(Some(verdict)) => {
                    let format: &Format = if verdict.conforms() { &met } else { &not_met };
                    format.owned(verdict.margin().to_f64(self.unit))
                }
                Ok(None) => None,
                Err(fault) => self.styles.alarm.of(fault.to_string()),
            });
            page.line(std::iter::once(self.setting(*setting)).chain(margins))?;
        }
        page.row += 1;
        Ok(())
    }

    /// The exact ends of the met part, column by column, and their picture.
    fn borders(&self, page: &mut Page<'_>, name: &str) -> Written {
        let [down, across] = &self.map.sweeps;
        let labels = self.map.borders.iter().flat_map(|border| {
            let label = &self.pump.requirements[border.requirement].label;
            [format!("{label}: met from"), format!("{label}: met to")]
        });
        let heads: Vec<String> = std::iter::once(across.label.clone()).chain(labels).collect();
        page.part(format!("{} at which each requirement is met", down.label))?;
        page.high(46.0)?;
        page.heads(&heads.iter().map(String::as_str).collect::<Vec<_>>())?;
        let first = page.row;
        for (column, &setting) in across.settings.iter().enumerate() {
            let ends =
                self.map.borders.iter().flat_map(|border| match border.show(column, self.unit) {
                    Some(ends) => ends.map(|end| self.end(&end)),
                    None => [(); 2].map(|()| self.styles.text.of("none")),
                });
            page.line(std::iter::once(self.setting(setting)).chain(ends))?;
        }
        let figures = Figures { sheet: name, rows: [first, page.row - 1], from: 0 };
        page.row += 1;
        page.sheet.insert_chart(page.row, 0, &self.picture(&figures))?;
        page.row += PICTURE + 2;
        Ok(())
    }

    /// An end that was solved for, as printed.
    fn end(&self, shown: &str) -> Cell<'static> {
        let value: Option<f64> = shown.parse().ok();
        match self.map.sweeps[0].settings.first() {
            Some(Setting::Length(_)) => self.styles.length(self.unit).owned(value),
            _ => self.styles.number.owned(value),
        }
    }

    /// The borders of the met part: two lines per requirement, which is met between them.
    fn picture(&self, figures: &Figures<'_>) -> Chart {
        const DASHES: [ChartLineDashType; 4] = [
            ChartLineDashType::Solid,
            ChartLineDashType::Dash,
            ChartLineDashType::RoundDot,
            ChartLineDashType::LongDashDot,
        ];
        let [down, across] = &self.map.sweeps;
        let mut chart = Chart::new(ChartType::ScatterStraight);
        for (index, border) in self.map.borders.iter().enumerate() {
            let label = &self.pump.requirements[border.requirement].label;
            for (side, colour) in [VALUES, LIMITS].into_iter().enumerate() {
                let column = u16::try_from(1 + 2 * index + side).unwrap_or(u16::MAX);
                let name = format!("{label}: met {}", ["from", "to"][side]);
                figures.series(&mut chart, &chart_name(&name), column).set_format(&mut line(
                    colour,
                    2.25,
                    DASHES[index % DASHES.len()],
                ));
            }
        }
        let title = format!("{}: met between the lines", self.pump.tag);
        let title = chart_name(&title);
        chart.title().set_name(&title);
        let ends = down.settings.iter().map(|setting| setting.to_f64(self.unit));
        let [least, most] = [f64::INFINITY, f64::NEG_INFINITY];
        let least = ends.clone().fold(least, f64::min);
        let most = ends.fold(most, f64::max);
        chart.x_axis().set_name(chart_name(&across.label).as_str());
        chart.x_axis().set_label_position(ChartAxisLabelPosition::Low);
        chart.y_axis().set_name(chart_name(&down.label).as_str());
        chart.y_axis().set_min(least).set_max(most);
        chart.legend().set_position(ChartLegendPosition::Bottom);
        chart.set_width(1000).set_height(400);
        chart.set_alt_text(&title);
        chart
    }
}
