//! Kits: every line of every slip, in the order of the slips, with the cells for readings and the hidden columns.

use std::collections::BTreeMap;

use gapwright::accounting::{source, stack};
use gapwright::feeler::{Chosen, Clearance, LimitGauge, Stacked, gauge};
use gapwright::formats::slip;
use gapwright::job::Job;
use gapwright::length::{Fine, Length, Tolerance};
use gapwright::model::{Form, USUAL_CAUTIONS};
use gapwright::plan::{Kit, PackPick, Shortfall};
use gapwright::pump::Pump;
use gapwright::recheck::accepted;

use crate::anew::{self, Out};
use crate::crush;
use crate::figures::{
    Round, about, in_steps, inwards, is_about, limits, millionths, other, raw, rounded, stated,
    symbol, thickness, within,
};
use crate::outages::{Outage, held};
use crate::page::{Row, Wrong, count, entry, line, texts};
use crate::said;
use crate::wording::{self, BOX, kits as words};

/// Columns of the readings: the first one, the second one.
const READINGS: [u32; 2] = [slip::READING as u32, slip::AGAIN as u32];

#[test]
fn every_slip_says_what_the_library_has() {
    let mut seen = Vec::new();
    let look = std::sync::Mutex::new(&mut seen);
    held("Kits", |outage, wrong| {
        let mut sheet = Slips { outage, wrong, seen: Vec::new() };
        sheet.hold();
        look.lock().unwrap().append(&mut sheet.seen);
    });
    // The outages must continue to produce all of this.
    let wanted = [
        "peeled",
        "peeled, each",
        "cut",
        "empty",
        "warned",
        "crushed",
        "lacking",
        "section",
        "two blades",
        "no blade",
        "doubtful",
        "no feelers",
        "running",
        "running alone",
        "never running",
        "cold window",
        "too coarse",
        "short",
        "a finer gauge",
        "whole limits",
    ];
    let lacking = wanted.iter().filter(|kind| !seen.contains(kind));
    let lacking: Vec<&&str> = lacking.collect();
    assert!(lacking.is_empty(), "no outage brings out: {lacking:?}");
}

struct Slips<'a> {
    outage: &'a Outage,
    wrong: &'a mut Wrong,
    seen: Vec<&'static str>,
}

impl Slips<'_> {
    fn hold(&mut self) {
        let (verified, sheet) = (&self.outage.verified, self.outage.book.page("Kits"));
        let job = verified.job();
        let mut slips: Vec<Vec<Row>> = Vec::new();
        for row in sheet.block(0..u32::MAX) {
            let begins = row.get(&0).is_some_and(|text| {
                text.starts_with(words::TITLE[0]) && text.contains(words::TITLE[1])
            });
            match slips.last_mut() {
                Some(slip) if !begins => slip.push(row),
                _ => slips.push(vec![row]),
            }
        }
        let order = anew::slips(job);
        self.wrong.same("slips", slips.len(), order.len());
        let place = self.wrong.place.clone();
        let mut drawn = Vec::new();
        for (at, &index) in order.iter().enumerate() {
            let pump = &job.pumps[index];
            self.wrong.place = format!("{place}, slip of {}", pump.tag);
            let mut slip = vec![line(words::title(at + 1, order.len(), &pump.tag))];
            slip.extend(head(job, pump));
            match &verified.plan().kits[index] {
                Kit::Served(packs) => {
                    let mut one = Slip {
                        job,
                        pump,
                        packs,
                        rows: slip,
                        seen: &mut self.seen,
                        wrong: self.wrong,
                    };
                    one.served(&verified.bags()[index]);
                    slip = one.rows;
                    drawn.push(figures(job, pump, packs));
                }
                Kit::Short(shorts) => {
                    self.seen.push("short");
                    slip.extend(short(job, pump, shorts));
                }
            }
            let none = Vec::new();
            self.wrong.rows(slips.get(at).unwrap_or(&none), &slip);
        }
        self.wrong.place = place;
        self.drawings(drawn);
    }
}

impl Slips<'_> {
    /// The figures on the drawings, slip by slip and row by row.
    fn drawings(&mut self, expected: Vec<Vec<(i64, String)>>) {
        let mut found = self.outage.book.floating("Kits").into_iter();
        for drawing in expected {
            for beside in drawing.chunk_by(|a, b| a.0 == b.0) {
                let mut own: Vec<String> = found.by_ref().take(beside.len()).collect();
                own.sort();
                let beside: Vec<&String> = beside.iter().map(|(_, text)| text).collect();
                let own: Vec<&String> = own.iter().collect();
                self.wrong.same("figures on a drawing", own, beside);
            }
        }
        self.wrong.same("figures beyond these", found.next(), None);
    }
}

fn head(job: &Job, pump: &Pump) -> [Row; 2] {
    let mut facts = words::facts(pump.priority, anew::due(pump));
    facts.extend(pump.location.clone());
    facts.extend(pump.note.clone());
    let carried = pump.carried.iter().filter(|(_, text)| !text.is_empty());
    facts.extend(carried.map(|(heading, text)| format!("{heading}: {text}")));
    [line(&job.model_of(pump).title), line(facts.join("  |  "))]
}

fn short(job: &Job, pump: &Pump, shorts: &[Shortfall]) -> Vec<Row> {
    let mut rows = vec![line(wording::NOT_FIT)];
    for short in shorts {
        let (place, reason) = (said::place(job, pump, short), said::reason(job, pump, short));
        rows.push(line(format!("{place}: {reason}.")));
        if let Some(window) = said::window(job, pump, short) {
            let presumed = said::presumed(job, pump, short).unwrap();
            rows.push(line(words::would_do(&window, &presumed)));
        }
        if let Some(nearest) = said::nearest(job, pump, short) {
            rows.push(line(words::nearest(&nearest)));
        }
    }
    rows.push(line(words::NOTHING_ISSUED));
    rows.push(line(words::OPEN));
    rows.extend(cautions(job, pump, &["before", "always"]));
    rows
}

/// Cautions of some moments, the usual ones first; an empty moment is for those of a shop's own.
fn cautions(job: &Job, pump: &Pump, moments: &[&str]) -> Vec<Row> {
    const HALF: usize = 58;
    let known = ["before", "assembly", "recheck", "start", "always"];
    let usual = USUAL_CAUTIONS.iter().map(|(when, text)| (*when, *text));
    let own = &job.model_of(pump).cautions;
    let all = usual.chain(own.iter().map(|caution| (caution.when.as_str(), caution.text.as_str())));
    let all: Vec<(&str, &str)> = all.collect();
    let mut said = Vec::new();
    for moment in moments {
        for (when, text) in &all {
            if when == moment {
                said.push(format!("{} {text}", wording::CAUTION));
            } else if moment.is_empty() && !known.contains(when) {
                said.push(format!("{} {when}: {text}", wording::CAUTION));
            }
        }
    }
    // Two short ones are next to each other.
    let mut rows: Vec<Row> = Vec::new();
    let mut open = false;
    for text in said {
        let is_short = text.chars().count() <= HALF;
        match rows.last_mut().filter(|_| open && is_short) {
            Some(row) => {
                row.insert(3, text);
                open = false;
            }
            None => {
                rows.push(line(text));
                open = is_short;
            }
        }
    }
    rows
}

/// Figures on the drawing of the model, each with the row in which it begins: a box of 790 by 420 pixels, rows of 20,
/// letters whose middle is 9.5 below their edge.
fn figures(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<(i64, String)> {
    let model = job.model_of(pump);
    let Some(drawing) = &model.drawing else {
        return Vec::new();
    };
    let [wide, high] = [drawing.width, drawing.height].map(f64::from);
    let high = high * (790.0 / wide).min(420.0 / high);
    let outs = anew::outs(job, pump, packs);
    let unit = model.unit;
    let of = |name: &String| {
        let dimension = model.dimensions.iter().position(|own| own.name == *name);
        let growth = pump.growths.iter().find(|own| own.thermal.name == *name);
        let pack = model.packs.iter().position(|own| own.name == *name);
        let requirement = pump.requirements.iter().position(|own| own.name == *name);
        dimension
            .map(|at| about(raw(pump.dimensions[at].value), unit))
            .or(growth.map(|growth| about(raw(growth.value), unit)))
            .or(pack.map(|at| about(anew::pack(job, &packs[at]).value, unit)))
            .or(requirement.map(|at| about(outs[at].value, unit)))
    };
    let figures = model.figures.iter().filter_map(|figure| {
        let [_, y] = figure.at;
        let above = (f64::from(y) / 1e6 * high - 9.5).round() as i64;
        Some((above / 20, of(&figure.name)?))
    });
    let mut figures: Vec<(i64, String)> = figures.collect();
    figures.sort();
    figures
}

/// Slip of a kitted pump.
struct Slip<'a> {
    job: &'a Job,
    pump: &'a Pump,
    packs: &'a [PackPick],
    rows: Vec<Row>,
    seen: &'a mut Vec<&'static str>,
    wrong: &'a mut Wrong,
}

impl Slip<'_> {
    fn served(&mut self, bag: &[gapwright::consumables::Share]) {
        let (job, pump) = (self.job, self.pump);
        self.rows.extend([line(words::PICK), texts(&words::PLACES)]);
        for place in 0..self.packs.len() {
            self.place(place);
        }
        self.bag(bag);
        self.rows.push(line(words::ASSEMBLE));
        self.rows.extend(cautions(job, pump, &["before", "assembly"]));
        self.measured();
        self.rows.push(line(words::RECHECK));
        self.rows.extend(cautions(job, pump, &["recheck"]));
        self.rows.push(texts(&words::REQUIREMENTS));
        for (at, out) in anew::outs(job, pump, self.packs).into_iter().enumerate() {
            self.requirement(at, out);
        }
        if job.feelers.is_empty() {
            self.seen.push("no feelers");
            self.rows.push(line(words::NO_FEELERS));
        }
        self.growths();
        self.sign();
        self.rows.push(line(words::RUN));
        self.rows.extend(cautions(job, pump, &["start", "", "always"]));
        // Each source is tested against the sheets elsewhere; here it is printed once, in the order of the stack.
        let mut sources: Vec<String> = Vec::new();
        for part in stack(job, pump, self.packs).contributors {
            let from = source(job, pump, &part);
            if !sources.contains(&from) {
                sources.push(from);
            }
        }
        self.rows.push(line(format!("Tolerances from: {}.", sources.join("; "))));
    }

    fn hidden(&self, row: &mut Row, word: slip::SlipRow, name: &str) {
        let keys = slip::KEYS.into_iter().zip([word.word(), &self.pump.tag, name]);
        let keys = keys.filter(|(_, text)| !text.is_empty());
        row.extend(keys.map(|(at, text)| (u32::from(at), text.to_string())));
    }

    fn place(&mut self, place: usize) {
        let job = self.job;
        let model = job.model_of(self.pump);
        let (named, pack) = (&model.packs[place], &self.packs[place]);
        if pack.picks.is_empty() {
            self.seen.push("empty");
            self.rows.push(texts(&[&named.label, words::EMPTY]));
        }
        let mut before = None;
        for pick in &pack.picks {
            let item = &job.stock[pick.item];
            let thick = anew::fitted(item, pick.peeled);
            self.wrong
                .unless(before.is_none_or(|before| thick <= before), "thick pieces come first");
            before = Some(thick);
            let mut row = texts(&[
                &named.label,
                &item.item,
                "",
                &thickness(thick),
                &is_about(thick),
                anew::bin(item),
            ]);
            row.insert(2, count(pick.count));
            row.extend([6, 7].map(|at| (at, entry(BOX))));
            self.hidden(&mut row, slip::SlipRow::Piece, &named.name);
            let [number, pieces, fitted] = slip::PIECE.map(u32::from);
            row.insert(number, item.item.clone());
            row.insert(pieces, count(pick.count));
            row.insert(fitted, said::length(thick, crate::figures::natural(thick)));
            self.rows.push(row);
            if let Some(work) = said::work(job, pick) {
                self.seen.push(match (item.cut, pick.count) {
                    (Some(_), _) => "cut",
                    (None, 1) => "peeled",
                    (None, _) => "peeled, each",
                });
                let mut row = texts(&["", &work, "", "", "", "", words::DONE]);
                row.insert(7, entry(BOX));
                self.rows.push(row);
            }
        }
        let crushed = self.crushed(place);
        if pack.picks.is_empty() {
            return;
        }
        let (unit, reach) = (model.unit, anew::pack(job, pack));
        let (low, high) = (reach.value - reach.below, reach.value + reach.above);
        self.wrong.unless(low < high && (low..=high).contains(&reach.value), "micrometer limits");
        let both = [unit, other(unit)];
        let range = both.map(|unit| in_steps([low, high], unit, job.policy.pack_step.of(unit)));
        let reading = words::pack(both.map(|unit| about(reach.value, unit)), range);
        let text = words::micrometer(&reading, &crushed);
        let mut row = line(text);
        row.insert(5, words::read(symbol(unit)));
        row.extend(READINGS.map(|at| (at, entry(""))));
        self.hidden(&mut row, slip::SlipRow::Pack, &named.name);
        self.rows.push(row);
        self.rows.push(line(words::STOP_PACK));
    }

    /// Warns of gaskets of unsuitable material, and gives the crush of the others.
    fn crushed(&mut self, place: usize) -> String {
        let crushes = crush::crushes(self.job, self.pump, self.packs);
        let crushes: Vec<_> = crushes.into_iter().filter(|crush| crush.place == place).collect();
        for text in crushes.iter().filter_map(|crush| crush.warning.clone()) {
            self.seen.push("warned");
            self.rows.push(line(text));
        }
        let within = crushes.iter().filter_map(|crush| crush.within.as_ref());
        let mut percents: Vec<&str> = Vec::new();
        for (percent, _) in within.clone() {
            if !percents.contains(&percent.as_str()) {
                percents.push(percent);
            }
        }
        let least = within.clone().map(|(_, [least, _])| *least).max();
        let most = within.map(|(_, [_, most])| *most).min();
        let Some((least, most)) = least.zip(most) else {
            return String::new();
        };
        self.seen.push("crushed");
        words::crushed(&percents.join(" and "), &millionths(least), &millionths(most))
    }

    fn bag(&mut self, bag: &[gapwright::consumables::Share]) {
        let (job, pump) = (self.job, self.pump);
        let needs = &job.model_of(pump).consumables;
        self.wrong.same("consumables in the bag", bag.len(), needs.len());
        if needs.is_empty() {
            return;
        }
        self.rows.push(texts(&words::BAG));
        for (at, (need, share)) in needs.iter().zip(bag).enumerate() {
            let space = pump.consumable_fits[at].space;
            let had: u32 = share.picks.iter().map(|pick| pick.count).sum();
            self.wrong.same("pieces asked for", had + share.lacking, need.count);
            for pick in &share.picks {
                let item = &job.stock[pick.item];
                let fit = space.map_or(item.fit.as_str().to_string(), said::section);
                let long = space.map_or(String::new(), said::ring_length);
                if space.is_some() {
                    self.seen.push("section");
                }
                let mut row = texts(&[&need.kind, &item.item, "", &fit, &long, anew::bin(item)]);
                row.insert(2, count(pick.count));
                row.extend([6, 7].map(|at| (at, entry(BOX))));
                self.rows.push(row);
            }
            if share.lacking > 0 {
                self.seen.push("lacking");
                let (what, why) = (said::consumable(job, pump, at), said::lack(job, pump, at));
                self.rows.push(line(words::lacking(share.lacking, need.count, &what, &why)));
            }
        }
    }

    fn measured(&mut self) {
        let model = self.job.model_of(self.pump);
        let unit = model.unit;
        let mut cells = Vec::new();
        for (dimension, measured) in model.dimensions.iter().zip(&self.pump.dimensions) {
            let label = words::mean(&dimension.label, measured.readings.len());
            let value = raw(measured.value);
            let off = within(measured.tolerance.minus, measured.tolerance.plus, unit);
            cells.push([
                label,
                format!(
                    "{} ({}) {off}",
                    crate::figures::measured(value, &measured.readings, unit),
                    about(value, other(unit))
                ),
            ]);
        }
        self.rows.push(line(words::MEASURED));
        for pair in cells.chunks(2) {
            let mut row = Row::new();
            for (at, [label, value]) in [[0, 1], [3, 5]].into_iter().zip(pair) {
                row.extend([(at[0], label.clone()), (at[1], value.clone())]);
            }
            self.rows.push(row);
        }
    }

    fn requirement(&mut self, at: usize, out: Out) {
        let (job, pump) = (self.job, self.pump);
        let (unit, requirement) = (job.model_of(pump).unit, &pump.requirements[at]);
        self.wrong.unless(out.margin() >= 0, format!("{} is met", requirement.label));
        let [low, high] = limits(out.lower, out.upper, unit);
        self.rows.push(texts(&[
            &requirement.label,
            &format!("{} {}", stated(out.target, unit, Round::Nearest), symbol(unit)),
            "",
            &format!("{low} to {high}"),
            "",
            &about(out.value, unit),
        ]));
        if anew::is_nominal_only(job, pump, self.packs, &requirement.form) {
            self.rows.push(line(wording::NOMINAL_ONLY));
        }
        self.recheck(at);
    }

    /// `0.0195 to 0.0225 in (0.50 to 0.57 mm)`; the second one where its gauge is fine enough. Else the step of a gauge
    /// that is fine enough for the first.
    fn between(&self, ends: [i128; 2]) -> Result<String, String> {
        let unit = self.job.model_of(self.pump).unit;
        let step = self.job.policy.clearance_step;
        let [own, second] = [unit, other(unit)].map(|unit| in_steps(ends, unit, step.of(unit)));
        match own {
            Some([low, high]) => Ok(words::between(&low, &high, second)),
            None => {
                // 0.5, 0.2, 0.1, 0.05 ... of the unit.
                let whole = i64::try_from(crate::figures::ticks(unit)).unwrap();
                let finer =
                    (1..8).flat_map(|place| [5, 2, 1].map(|of| whole / 10_i64.pow(place) * of));
                let finer = finer.map(Length::from_ticks).filter(|finer| *finer < step.of(unit));
                let enough = |finer: &Length| in_steps(ends, unit, *finer).is_some();
                let needed = finer.into_iter().find(enough).expect("a gauge fine enough");
                Err(words::finer(&said::length(needed, unit), &said::length(step.of(unit), unit)))
            }
        }
    }

    /// Accepted readings, and the blades that show them.
    fn recheck(&mut self, at: usize) {
        let (job, pump, packs) = (self.job, self.pump, self.packs);
        let (unit, requirement) = (job.model_of(pump).unit, &pump.requirements[at]);
        let form = &requirement.form;
        if anew::is_hot(form) {
            self.rows.push(line(words::FOR_SERVICE));
        }
        if !anew::is_read(pump, form) {
            return;
        }
        let off = job.policy.clearance_within;
        let ends = accepted(job, pump, packs, at, off).unwrap().map(|end| end.unwrap().raw());
        let hot: Vec<[i128; 2]> = anew::running_with(pump, form)
            .into_iter()
            .map(|form| inwards(anew::window(job, pump, packs, form).unwrap(), unit))
            .collect();
        self.is_accepted(form, ends, &hot);
        let [least, most] = inwards(ends, unit);
        let rule = job.policy.acceptance.to_string();
        let within = said::length(off, crate::figures::natural(off));
        let mut stop = words::STOP_COARSE;
        let text = match least <= most {
            true => {
                let allowed = words::allowed(&rule, &within, !hot.is_empty());
                match self.between(ends) {
                    Ok(between) => {
                        stop = words::STOP_CLEARANCE;
                        words::after_fitting(!hot.is_empty(), &between, &allowed)
                    }
                    Err(finer) => {
                        self.seen.push("a finer gauge");
                        format!("{finer} ({allowed})")
                    }
                }
            }
            false => {
                self.seen.push("too coarse");
                words::too_coarse(&within)
            }
        };
        let mut row = line(text);
        row.insert(5, words::found(symbol(unit)));
        row.extend(READINGS.map(|at| (at, entry(""))));
        self.hidden(&mut row, slip::SlipRow::Requirement, &requirement.name);
        self.rows.push(row);
        self.rows.push(line(stop));
        let own = match form {
            Form::Linear { lower, upper, .. } if !anew::is_hot(form) => {
                Some([lower, upper].map(|limit| raw(limit.unwrap())))
            }
            _ => None,
        };
        self.seen.push(match (hot.is_empty(), own) {
            (true, _) => "whole limits",
            (false, Some(_)) => "running",
            (false, None) => "running alone",
        });
        let all = hot.into_iter().reduce(|[a, b], [c, d]| [a.max(c), b.min(d)]);
        let limits = match all {
            None => own,
            Some([low, high]) if low > high => {
                self.seen.push("never running");
                self.rows.push(line(words::NEVER_HOT));
                None
            }
            Some([low, high]) => {
                if least <= most && (low > least || high < most) {
                    self.seen.push("cold window");
                    let between = self.between([low, high]).expect("a gauge fine enough");
                    self.rows.push(line(words::outside(&between)));
                }
                own.map_or(Some([low, high]), |[a, b]| Some([a.max(low), b.min(high)]))
            }
        };
        if let Some(limits) = limits.filter(|[low, high]| low < high && !job.feelers.is_empty()) {
            self.blades(form, limits);
        }
    }

    /// Accepted readings, where that is plain arithmetic.
    fn is_accepted(&mut self, form: &Form, ends: [i128; 2], hot: &[[i128; 2]]) {
        use gapwright::policy::Acceptance;
        let Form::Linear { lower, upper, .. } = form else {
            return;
        };
        let off = match self.job.policy.acceptance {
            Acceptance::WorstCase => raw(self.job.policy.clearance_within),
            Acceptance::Nominal => 0,
            Acceptance::Expanded => return,
        };
        if hot.is_empty() {
            let expected = [raw(lower.unwrap()) + off, raw(upper.unwrap()) - off];
            self.wrong.same("readings that are accepted", ends, expected);
        }
    }

    fn blades(&mut self, form: &Form, limits: [i128; 2]) {
        let (job, unit) = (self.job, self.job.model_of(self.pump).unit);
        let out = anew::worst(job, self.pump, self.packs, &anew::cold(form));
        let predicted = [out.value - out.guards[0], out.value + out.guards[1]];
        let wanted = Clearance {
            limits: limits.map(|limit| Fine::from_raw(limit).whole()),
            predicted: predicted.map(Fine::from_raw),
        };
        let LimitGauge { go, no_go } = gauge(&job.feelers, &wanted);
        let (go, no_go) = (go.unwrap(), no_go.unwrap());
        // Where a good pump passes with both, the go stack is the thinner of them.
        if let (Chosen::Stack(small, true), Chosen::Stack(large, true)) = (&go, &no_go) {
            self.wrong.unless(
                small.nominal < large.nominal,
                "what must go in is thinner than what must not",
            );
        }
        for (chosen, is_go) in [(&go, true), (&no_go, false)] {
            let Chosen::Stack(stack, passes) = chosen else {
                self.seen.push("no blade");
                continue;
            };
            if !passes {
                self.seen.push("doubtful");
            }
            if stack.blades.len() > 1 {
                self.seen.push("two blades");
            }
            let inside = match is_go {
                true => raw(thin(stack)) >= limits[0],
                false => raw(thick(stack)) <= limits[1],
            };
            self.wrong.unless(inside, "blades lie inside their limit");
        }
        let mut text =
            words::blades(&side(&go, words::GO, unit), &side(&no_go, words::NO_GO, unit));
        for chosen in [&go, &no_go] {
            if let Chosen::Stack(stack, _) = chosen {
                let blades: u32 = stack.blades.iter().map(|(_, count)| count).sum();
                if blades >= 4 {
                    // 0.0003 per joint.
                    let growth = 76_200 * 1_000_000 * i128::from(blades - 1);
                    text += &words::read_thick(blades, &about(growth, unit));
                }
            }
        }
        self.rows.push(line(text));
    }

    fn growths(&mut self) {
        let (pump, unit) = (self.pump, self.job.model_of(self.pump).unit);
        let enters = |at: usize| {
            let mut forms = pump.requirements.iter().map(|requirement| &requirement.form);
            forms.any(|form| {
                let (Form::Linear { terms, .. } | Form::GasketFill { gap: terms, .. }) = form;
                terms.iter().any(|(term, _)| *term == gapwright::model::Term::Thermal(at))
            })
        };
        let growths = pump.growths.iter().enumerate().filter(|(at, _)| enters(*at));
        let growths: Vec<_> = growths.map(|(_, growth)| growth).collect();
        if growths.is_empty() {
            return;
        }
        let counted = growths.iter().map(|growth| {
            let thermal = &growth.thermal;
            let [cold, running] = [thermal.cold, thermal.running].map(|t| millionths(t.raw()));
            format!(
                "{} {} ({cold} to {running} degC)",
                thermal.label,
                about(raw(growth.value), unit)
            )
        });
        let counted: Vec<String> = counted.collect();
        let columns = growths.iter();
        let columns =
            columns.map(|growth| format!("`{} running`", said::heading(&growth.thermal.name)));
        let columns: Vec<String> = columns.collect();
        self.rows.push(line(words::growths(&counted.join(", "), &columns.join(", "))));
    }

    fn sign(&mut self) {
        let mut row = texts(&[words::SIGN[0], "", "", words::SIGN[1]]);
        row.extend([1, 2, 4, 5, 6, 7].map(|at| (at, entry(""))));
        self.hidden(&mut row, slip::SlipRow::Signed, "");
        row.insert(slip::INPUTS.into(), slip::inputs_text(&self.inputs()));
        self.rows.push(row);
    }

    /// Values of the workbooks that the kit was chosen by, in the hidden column.
    fn inputs(&self) -> BTreeMap<String, String> {
        let (pump, model) = (self.pump, self.job.model_of(self.pump));
        let length = |length: Length| {
            format!("{} {}", Fine::from(length).show(model.unit), symbol(model.unit))
        };
        let sides = |of: Tolerance| {
            let [plus, minus] = [of.plus, of.minus].map(|side| Fine::from(side).show(model.unit));
            format!("+{plus}/-{minus} {}", symbol(model.unit))
        };
        let mut all = vec![("Model".to_string(), model.name.clone())];
        for (place, fit) in model.packs.iter().zip(&pump.fits) {
            all.push((format!("{} fit", said::heading(&place.name)), fit.as_str().into()));
        }
        for (dimension, measured) in model.dimensions.iter().zip(&pump.dimensions) {
            let heading = said::heading(&dimension.name);
            all.push((format!("{heading} plus/minus"), sides(measured.tolerance)));
            all.push((heading, length(measured.value)));
        }
        let growths = pump.growths.iter();
        all.extend(growths.map(|g| (said::heading(&g.thermal.name), length(g.value))));
        for requirement in &pump.requirements {
            let three = match &requirement.form {
                Form::Linear { target, lower, upper, .. } => {
                    [Some(length(*target)), lower.map(length), upper.map(length)]
                }
                Form::GasketFill { target, lower, upper, .. } => [
                    Some(target.to_string()),
                    Some(lower.to_string()),
                    upper.map(|u| u.to_string()),
                ],
            };
            let heading = said::heading(&requirement.name);
            for (side, value) in ["target", "min", "max"].into_iter().zip(three) {
                all.push((format!("{heading} {side}"), value.unwrap_or_else(|| "none".into())));
            }
        }
        for pick in self.packs.iter().flat_map(|pack| &pack.picks) {
            let item = &self.job.stock[pick.item];
            all.push((format!("Tolerance of {}", item.item), sides(item.size.unwrap().tolerance)));
        }
        all.into_iter().collect()
    }
}

fn thin(stack: &Stacked) -> gapwright::length::Length {
    let each = stack.blades.iter();
    each.map(|(blade, count)| (blade.thickness - blade.tolerance.minus) * *count).sum()
}

/// With the possible growth of the joints: 0.0003 in each.
fn thick(stack: &Stacked) -> gapwright::length::Length {
    let each = stack.blades.iter();
    let blades = each.clone().map(|(_, count)| count).sum::<u32>();
    let alone = each.map(|(blade, count)| (blade.thickness + blade.tolerance.plus) * *count);
    let alone: gapwright::length::Length = alone.sum();
    alone + gapwright::length::Length::from_ticks(76_200) * (blades - 1)
}

fn side(chosen: &Chosen, [word, fails, limit]: [&str; 3], unit: gapwright::length::Unit) -> String {
    let Chosen::Stack(stack, passes) = chosen else {
        return words::no_blades(limit);
    };
    let each = stack.blades.iter().map(|(blade, count)| {
        let shown = said::length(blade.thickness, crate::figures::natural(blade.thickness));
        match count {
            1 => shown,
            _ => format!("{count} of {shown}"),
        }
    });
    let each: Vec<String> = each.collect();
    let blades: u32 = stack.blades.iter().map(|(_, count)| count).sum();
    let sum: i128 =
        stack.blades.iter().map(|(blade, count)| raw(blade.thickness) * i128::from(*count)).sum();
    let together = match blades {
        1 => String::new(),
        _ => format!(
            " together {} {}",
            rounded(sum, unit, crate::figures::places(unit), Round::Nearest),
            symbol(unit)
        ),
    };
    let doubt = if *passes { String::new() } else { words::doubt(fails) };
    format!("{word} {}{together}{doubt}", each.join(" + "))
}
