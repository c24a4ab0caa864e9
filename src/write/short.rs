//! The Short sheet: every pump that could not be kitted, which place failed and why.

use itertools::Itertools;
use rust_xlsxwriter::Worksheet;

use super::page::{Page, Written};
use super::style::{Styles, lines};
use super::table::{self, Cells, Column, over};
use crate::consumables::{Bag, serving};
use crate::formats::short_sheet::NOT_MEASURED;
use crate::job::{Job, NotMeasured};
use crate::model::ConsumableNeed;
use crate::plan::{Kit, Shortfall};
use crate::pump::Pump;
use crate::verify::Verified;
use crate::words;

/// A place of a pump that could not be filled.
struct ShortPlace<'a> {
    job: &'a Job,
    pump: &'a Pump,
    kit: &'a Kit,
    bag: &'a Bag,
    short: &'a Shortfall,
}

type Col<'s> = Column<'s, ShortPlace<'s>>;

pub(super) fn sheet(verified: &Verified, styles: &Styles) -> Written<Worksheet> {
    let (job, plan) = (verified.job(), verified.plan());
    let lead = format!(
        "Each pump here is {} until its place is filled. A pack of the total needed fits only if its tolerance is no wider than the one allowed for.",
        words::NOT_FIT
    );
    let mut page = Page::begin("Short", "Short: pumps that cannot be kitted", &lead, styles)?;
    let columns = columns(styles);
    table::widths(&mut page.sheet, &columns)?;
    page.repeat()?;
    page.high(31.0)?;
    page.headings(&columns)?;
    let first = page.row;
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        let Kit::Short(shorts) = kit else { continue };
        for short in shorts {
            let line = ShortPlace { job, pump, kit, bag, short };
            let [why, presumed, nearest] = [line.why(), line.presumed(), line.nearest()];
            let texts = [(&*why, 48), (&*presumed, 30), (&*nearest, 16)];
            page.high(15.5 * lines(&texts, [2, usize::MAX]))?;
            page.put(&columns, &line)?;
        }
    }
    if page.row == first {
        let measured = if job.not_measured.is_empty() { "" } else { "measured " };
        page.text(format!("None: every {measured}pump can be kitted."), &styles.plain)?;
    }
    page.row += 1;
    cures(&mut page, verified)?;
    not_measured(&mut page, job)?;
    bags(&mut page, verified)?;
    Ok(page.sheet)
}

impl ShortPlace<'_> {
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

fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let (text, wrapped) = (&styles.text, &styles.wrapped);
    [
        Col::new("Tag", 13.0, |line| styles.strong.of(&line.pump.tag)),
        Col::new("Priority", 10.0, |line| styles.count.of(line.pump.priority)),
        Col::new("Due", 12.0, |line| text.of(line.pump.due_shown())),
        Col::new("Place", 24.0, |line| wrapped.of(words::place(line.job, line.pump, line.short))),
        Col::new("Fit", 8.0, |line| text.of(line.fit())),
        Col::new("Why", 50.0, |line| wrapped.of(line.why())),
        Col::new("Total needed", 20.0, |line| wrapped.of(line.window())),
        Col::new("Allows for", 32.0, |line| wrapped.of(line.presumed())),
        Col::new("Nearest total", 18.0, |line| wrapped.of(line.nearest())),
        Col::new("Status", 30.0, |line| styles.alarm.of(words::standing(line.kit, line.bag))),
    ]
}

/// Ways to cure the pumps that are short, each for somebody else to decide.
fn cures(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    if plan.cures.is_empty() {
        return Ok(());
    }
    let Styles { strong, wrapped, remark, .. } = page.styles;
    page.part("Ways to cure it")?;
    page.text(words::WHO_DECIDES, remark)?;
    for (pump, kit) in plan.kits.iter().enumerate() {
        if !matches!(kit, Kit::Short(_)) {
            continue;
        }
        let text = words::cures(job, plan, pump).join("\n");
        page.high(15.5 * f64::from(u16::try_from(text.lines().count()).unwrap_or(u16::MAX)))?;
        page.line([strong.of(&job.pumps[pump].tag), over(8, wrapped.of(text))])?;
    }
    page.row += 1;
    Ok(())
}

type Waiting<'s> = Column<'s, NotMeasured>;

/// The pumps that are neither kitted nor short: nothing is planned for them before they are measured.
fn not_measured(page: &mut Page<'_>, job: &Job) -> Written {
    if job.not_measured.is_empty() {
        return Ok(());
    }
    let Styles { text, wrapped, strong, count, .. } = page.styles;
    let due = |pump: &NotMeasured| pump.due.as_ref().map(|due| due.shown.clone());
    let columns = [
        Waiting::of("Tag", |pump| strong.of(&pump.tag)),
        Waiting::of("Priority", |pump| count.of(pump.priority)),
        Waiting::of("Due", |pump| text.of(due(pump).unwrap_or_default())),
        Waiting::of("Waits for", |pump| wrapped.of(words::waits_for(pump))).over(3),
    ];
    page.part(NOT_MEASURED)?;
    page.headings(&columns)?;
    for pump in &job.not_measured {
        page.high(15.5 * lines(&[(&*words::waits_for(pump), 80)], [1, usize::MAX]))?;
        page.put(&columns, pump)?;
    }
    page.row += 1;
    Ok(())
}

/// A consumable that a bag is short of.
struct Lack<'a> {
    job: &'a Job,
    pump: &'a Pump,
    kit: &'a Kit,
    bag: &'a Bag,
    need: usize,
    why: String,
}

impl Lack<'_> {
    fn asked(&self) -> &ConsumableNeed {
        &self.job.model_of(self.pump).consumables[self.need]
    }

    fn code(&self) -> &str {
        let code = self.pump.consumable_fits[self.need].code.as_ref();
        code.map_or("", |code| code.as_str())
    }

    fn lacking(&self) -> String {
        format!("{} of {}", self.bag[self.need].lacking, self.asked().count)
    }

    fn bins(&self) -> String {
        let served = serving(self.job, self.pump, self.need);
        served.iter().filter_map(|&row| self.job.stock[row].bin.as_deref()).join(", ")
    }
}

type Lacks<'s> = Column<'s, Lack<'s>>;

/// The consumables that the bags of kitted pumps are short of.
fn bags(page: &mut Page<'_>, verified: &Verified) -> Written {
    let (job, plan) = (verified.job(), verified.plan());
    page.part("Consumables missing from the bags of kitted pumps")?;
    if !verified.bags().iter().any(words::lacking) {
        return page.text("None: every bag has all of its consumables.", &page.styles.plain);
    }
    let Styles { text, wrapped, strong, count, alarm, .. } = page.styles;
    let asked_for = |lack: &Lack<'_>| words::consumable(lack.job, lack.pump, lack.need);
    let columns = [
        Lacks::of("Tag", |lack| strong.of(&lack.pump.tag)),
        Lacks::of("Priority", |lack| count.of(lack.pump.priority)),
        Lacks::of("Due", |lack| text.of(lack.pump.due_shown())),
        Lacks::of("Consumable", |lack| wrapped.of(&lack.asked().kind)),
        Lacks::of("Fit", |lack| text.of(lack.code())),
        Lacks::of("Why", |lack| wrapped.of(&lack.why)),
        Lacks::of("Missing", |lack| text.of(lack.lacking())),
        Lacks::of("Needed", |lack| wrapped.of(asked_for(lack))),
        Lacks::of("Bin", |lack| wrapped.of(lack.bins())),
        Lacks::of("Status", |lack| alarm.of(words::standing(lack.kit, lack.bag))),
    ];
    page.headings(&columns)?;
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        for (need, share) in bag.iter().enumerate() {
            if let Some(why) = words::lack(job, pump, need, share) {
                page.high(31.0)?;
                page.put(&columns, &Lack { job, pump, kit, bag, need, why })?;
            }
        }
    }
    Ok(())
}
