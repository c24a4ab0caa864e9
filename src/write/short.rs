//! The Short sheet: every pump that could not be kitted, which place failed and why.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::text::WriteText;

use super::style::{Head, Styles, begin, heads};
use super::table::{self, Cells, Column};
use crate::bag::{Bag, serving};
use crate::job::Job;
use crate::plan::{Kit, Shortfall};
use crate::pump::Pump;
use crate::verify::Verified;
use crate::words;

/// A place of a pump that could not be filled.
struct Line<'a> {
    job: &'a Job,
    pump: &'a Pump,
    kit: &'a Kit,
    bag: &'a Bag,
    short: &'a Shortfall,
}

type Col<'s> = Column<'s, Line<'s>>;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let head = Head {
        name: "Short",
        date,
        title: "Short: pumps that cannot be kitted",
        lead: "Each of these is NOT FIT TO ASSEMBLE until its place is filled. A pack with a total in the window would do only if it is as good as the window presumes.",
    };
    begin(sheet, &head, styles)?;
    let columns = columns(styles);
    table::open(sheet, 3, &columns, styles)?;
    sheet.set_row_height(3, 31.0)?;
    let mut row = 3;
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        let Kit::Short(shorts) = kit else { continue };
        for short in shorts {
            row += 1;
            let line = Line { job, pump, kit, bag, short };
            table::row(sheet, row, &columns, &line)?;
            let lines = |text: &str, width| text.chars().count().div_ceil(width);
            let longest = lines(&line.why(), 48).max(lines(&line.presumed(), 30));
            let lines = longest.max(lines(&line.nearest(), 16)).max(2);
            sheet.set_row_height(row, 15.5 * f64::from(u16::try_from(lines).unwrap_or(2)))?;
        }
    }
    if row == 3 {
        row += 1;
        sheet.write_text(row, 0, "None: every pump can be kitted.", &styles.plain)?;
    }
    bags(sheet, verified, row + 2, styles)
}

impl Line<'_> {
    fn why(&self) -> String {
        words::reason(self.job, self.pump, self.short)
    }

    fn presumed(&self) -> String {
        words::presumed(self.job, self.pump, self.short).unwrap_or_default()
    }

    fn nearest(&self) -> String {
        words::nearest(self.job, self.pump, self.short).unwrap_or_else(|| "none".into())
    }

    fn window(&self) -> String {
        words::window(self.job, self.pump, self.short).unwrap_or_else(|| "none".into())
    }

    fn fit(&self) -> &str {
        (self.short.pack).map_or("", |pack| self.pump.fits[pack].as_str())
    }
}

fn due(pump: &Pump) -> &str {
    pump.due.as_ref().map_or("", |due| due.shown.as_str())
}

fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let (text, wrapped) = (&styles.text, &styles.wrapped);
    [
        Col::new("Tag", 13.0, |line| styles.strong.of(&line.pump.tag)),
        Col::new("Priority", 10.0, |line| styles.count.of(line.pump.priority)),
        Col::new("Due", 12.0, |line| text.of(due(line.pump))),
        Col::new("Place", 24.0, |line| wrapped.of(words::place(line.job, line.pump, line.short))),
        Col::new("Fit", 8.0, |line| text.of(line.fit())),
        Col::new("Why", 50.0, |line| wrapped.of(line.why())),
        Col::new("Window for the total", 20.0, |line| wrapped.of(line.window())),
        Col::new("The window presumes", 32.0, |line| wrapped.of(line.presumed())),
        Col::new("Nearest that can be made", 18.0, |line| wrapped.of(line.nearest())),
        Col::new("Standing", 25.0, |line| styles.alarm.of(words::standing(line.kit, line.bag))),
    ]
}

/// What the bags of kitted pumps are short of.
fn bags(
    sheet: &mut Worksheet,
    verified: &Verified,
    start: u32,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let text = "Consumables that the bags of kitted pumps are short of";
    sheet.write_text(start, 0, text, &styles.part)?;
    if !verified.bags().iter().any(words::lacking) {
        let text = "None: every bag has all of its consumables.";
        sheet.write_text(start + 1, 0, text, &styles.plain)?;
        return Ok(());
    }
    let names = [
        "Tag",
        "Priority",
        "Due",
        "Consumable",
        "Fit",
        "Why",
        "Lacking",
        "Asked for",
        "Bin",
        "Standing",
    ];
    let mut row = start + 1;
    heads(sheet, row, &names, styles)?;
    let (text, wrapped) = (&styles.text, &styles.wrapped);
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        for (need, share) in bag.iter().enumerate() {
            let Some(why) = words::lack(job, pump, need, share) else {
                continue;
            };
            row += 1;
            let asked = &job.model_of(pump).consumables[need];
            let code = pump.consumable_fits[need].code.as_ref();
            let served = serving(job, pump, need);
            let bins = served.iter().filter_map(|&row| job.stock[row].bin.clone());
            let cells = [
                styles.strong.of(&pump.tag),
                styles.count.of(pump.priority),
                text.of(due(pump)),
                wrapped.of(&asked.kind),
                text.of(code.map_or("", |code| code.as_str())),
                wrapped.of(why),
                text.of(format!("{} of {}", share.lacking, asked.count)),
                wrapped.of(words::consumable(job, pump, need)),
                wrapped.of(bins.collect::<Vec<_>>().join(", ")),
                styles.alarm.of(words::standing(kit, bag)),
            ];
            table::cells(sheet, (row, 0), cells)?;
            sheet.set_row_height(row, 31.0)?;
        }
    }
    Ok(())
}
