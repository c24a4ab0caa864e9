//! The Basis of a purchase.

use rust_xlsxwriter::Worksheet;

use super::Ordered;
use crate::decimal::{Millionths, Money};
use crate::words;
use crate::write::basis::{
    self, Section, ended, goals, inputs_and_policy, lengths, program, solver,
};
use crate::write::page::Written;
use crate::write::style::Styles;

pub(super) fn sheet(ordered: &Ordered<'_>, styles: &Styles) -> Written<Worksheet> {
    let Ordered { job, question, report, .. } = ordered;
    let plan = &ordered.bought.purchase().plan;
    let log = report.history.map_or("none given".into(), |(days, lines)| {
        format!("{lines} lines over {days} days; every line was checked on reading")
    });
    let levels = &question.levels;
    let percent = |share: Millionths| format!("{} %", share.to_f64() * 100.0);
    let money = |money: Option<Money>| {
        money.map_or("not given".into(), |money| words::money(money.raw(), job))
    };
    let facts = [
        program(),
        solver(),
        ended(plan),
        ("Day of the order", styles.date.clone()),
        ("Budget", money(ordered.buy.market.budget)),
        ("Service in lead time", percent(levels.service)),
        ("Cost of an order", money(levels.order)),
        ("Holding for a year", levels.holding.map_or("not given".into(), percent)),
        ("Cost of a missing piece", money(levels.lacking)),
        ("Simulated outages", format!("{}, from the seed above", question.outages)),
        ("Issue log", log),
        ("Checked", "kits, stock after delivery, lead times, cost and budget recomputed independently before this was written".into()),
        lengths(),
    ];
    let lead = "The same inputs, options, policy, program and date give this workbook again, byte for byte.";
    let [inputs, policy] = inputs_and_policy(job, styles);
    let facts = Section::facts(facts, |_| Some(18.0), styles);
    let sections = [inputs, policy, goals(job, plan, styles), facts];
    basis::sheet(lead, sections, styles)
}
