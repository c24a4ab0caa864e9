//! Models and Basis: the sources of the plan.

use gapwright::model::{Dimension, Form, Model, Pack, Spread, Term};
use gapwright::plan::Objective;
use gapwright::verify::Verified;

use crate::figures::{
    Round, bare, millionths, money, money_exactly, raw, rounded, symbol, with_unit,
};
use crate::outages::{DATE, held};
use crate::page::{Row, texts};
use crate::said::{self, heading};
use crate::wording::{basis, models as words, summary};

#[test]
fn the_models_say_what_the_library_has() {
    held("Models", |outage, wrong| {
        let job = outage.verified.job();
        let rows = outage.book.page("Models").block(0..u32::MAX);
        // The sheet's own title and the line below it.
        let mut expected: Vec<Row> = rows.iter().take(2).cloned().collect();
        for (at, model) in job.models.iter().enumerate() {
            let pumps = job.pumps.iter().filter(|pump| pump.model == at).count();
            expected.extend(of_model(model, pumps));
        }
        wrong.rows(&rows, &expected);
    });
}

fn of_model(model: &Model, pumps: usize) -> Vec<Row> {
    let used = match pumps {
        1 => words::USED[0].to_string(),
        pumps => format!("{} {pumps} pumps", words::USED[1]),
    };
    let line = format!("Model {} ({}), {used}", model.name, symbol(model.unit));
    let mut rows = vec![texts(&[&model.title]), texts(&[&line])];
    let mut table = |heads: &[&str], lines: Vec<Vec<String>>| {
        if !lines.is_empty() {
            rows.push(texts(heads));
        }
        let lines =
            lines.iter().map(|cells| texts(&cells.iter().map(String::as_str).collect::<Vec<_>>()));
        rows.extend(lines);
    };
    table(&words::MEASURED, model.dimensions.iter().map(|own| measured(model, own)).collect());
    table(&words::GROWS, grows(model));
    let together = model.correlations.iter().map(|own| {
        let [one, other] = own.between.map(|term| label(model, term).to_string());
        vec![one, other, millionths(own.coefficient.raw())]
    });
    table(&words::TOGETHER, together.collect());
    table(&words::PACKS, model.packs.iter().map(pack).collect());
    let gaskets = model.requirements.iter().any(|own| matches!(own.form, Form::GasketFill { .. }));
    let heads = if gaskets { &words::HOLD[..] } else { &words::HOLD[..5] };
    table(heads, holds(model));
    table(&words::BAG, bag(model));
    if !model.cautions.is_empty() {
        rows.push(texts(&[words::CAUTIONS]));
        rows.extend(model.cautions.iter().map(|caution| texts(&[&caution.when, &caution.text])));
    }
    rows
}

fn measured(model: &Model, own: &Dimension) -> Vec<String> {
    let unit = model.unit;
    let known = match own.spread {
        Spread::Within(t) if t.plus == t.minus => format!("\u{b1} {}", said::length(t.plus, unit)),
        Spread::Within(t) => {
            format!("+{} / -{}", bare(raw(t.plus), unit), said::length(t.minus, unit))
        }
        Spread::FromReadings { resolution } if raw(resolution) > 0 => {
            format!("from the scatter of its readings, to {}", said::length(resolution, unit))
        }
        Spread::FromReadings { .. } => "from the scatter of its readings".into(),
        Spread::StandardUncertainty(u) => {
            let shown = rounded(
                i128::from(u.raw()) * 10,
                unit,
                crate::figures::places(unit) + 2,
                Round::Nearest,
            );
            format!("standard uncertainty {shown} {}", symbol(unit))
        }
    };
    let shape = match own.spread {
        Spread::Within(_) => own.shape.word(),
        _ => "",
    };
    let column = format!("{} ({})", heading(&own.name), symbol(unit));
    vec![own.label.clone(), column, known, shape.to_string()]
}

fn grows(model: &Model) -> Vec<Vec<String>> {
    let unit = model.unit;
    let lines = model.thermals.iter().map(|own| {
        let name = heading(&own.name);
        let of = |number: gapwright::decimal::Millionths| millionths(number.raw());
        vec![
            own.label.clone(),
            format!("{name} length ({}), {name} cold, {name} running", symbol(unit)),
            format!(
                "{} \u{b1} {}",
                bare(raw(own.length), unit),
                said::length(own.length_within, unit)
            ),
            format!("{} \u{b1} {}", of(own.expansion.value), of(own.expansion.within)),
            format!("{} to {}", of(own.cold), of(own.running)),
            format!("\u{b1} {}", of(own.temperature_within)),
        ]
    });
    lines.collect()
}

fn pack(own: &Pack) -> Vec<String> {
    let (least, most, kind) = (own.least_pieces, own.most_pieces, &own.kind);
    let pieces = match least {
        0 => format!("none, or up to {most} of {kind}"),
        least if least == most => format!("{most} of {kind}"),
        least => format!("{least} to {most} of {kind}"),
    };
    vec![own.label.clone(), format!("{} fit", heading(&own.name)), pieces]
}

fn label(model: &Model, term: Term) -> &str {
    match term {
        Term::Dimension(at) => &model.dimensions[at].label,
        Term::Thermal(at) => &model.thermals[at].label,
        Term::Derived(at) => &model.derived[at].label,
        Term::Pack(at) => &model.packs[at].label,
    }
}

/// `Bore depth - Spigot length + 0.5 x Rotor travel`.
fn sum(model: &Model, terms: &[(Term, gapwright::decimal::Millionths)]) -> String {
    let mut text = String::new();
    for (term, c) in terms {
        let sign = match (text.is_empty(), c.raw() < 0) {
            (true, false) => "",
            (true, true) => "\u{2212} ",
            (false, false) => " + ",
            (false, true) => " \u{2212} ",
        };
        let size = match c.raw().abs() {
            1_000_000 => String::new(),
            size => format!("{} \u{d7} ", millionths(size)),
        };
        text += &format!("{sign}{size}{}", label(model, *term));
    }
    text
}

fn holds(model: &Model) -> Vec<Vec<String>> {
    let lines = model.requirements.iter().map(|own| match &own.form {
        Form::Linear { terms, target, lower, upper } => {
            let mut cells = vec![own.label.clone(), sum(model, terms)];
            let ends = [*target, lower.unwrap(), upper.unwrap()];
            cells.extend(ends.map(|end| with_unit(raw(end), model.unit)));
            cells
        }
        Form::GasketFill { gasket, gap, target, lower, upper } => {
            let upper = &upper.unwrap();
            let what = format!(
                "free thickness of {}, against the gap: {}",
                model.packs[*gasket].label,
                sum(model, gap)
            );
            let mut cells = vec![own.label.clone(), what];
            let percent = |end: &gapwright::decimal::Millionths| {
                format!("gap + {} %", millionths(end.raw() * 100))
            };
            cells.extend([target, lower, upper].map(percent));
            // Crushed by a / (1 + a).
            let crushed = [lower, upper].map(|end| {
                let a = end.raw() as f64 / 1e6;
                format!("{:.1}", 100.0 * a / (1.0 + a))
            });
            cells.push(format!("{} to {} %", crushed[0], crushed[1]));
            cells
        }
    });
    lines.collect()
}

fn bag(model: &Model) -> Vec<Vec<String>> {
    let lines = model.consumables.iter().map(|need| {
        let code = need.fit_column.iter().map(|column| format!("the fit code in `{column}`"));
        let section = need.section.iter().map(|sides| {
            format!(
                "the section, half of (`{}` less `{}`)",
                heading(&sides.bore),
                heading(&sides.shaft)
            )
        });
        let says: Vec<String> = code.chain(section).collect();
        let says = match says.is_empty() {
            true => "any one of its kind".to_string(),
            false => says.join(", and "),
        };
        vec![need.kind.clone(), says, need.count.to_string()]
    });
    lines.collect()
}

/// Weights: one pump of a priority outranks all of the later ones together.
fn weights(verified: &Verified) -> String {
    let job = verified.job();
    let mut levels: Vec<u32> = job.pumps.iter().map(|pump| pump.priority).collect();
    levels.sort_unstable();
    levels.dedup();
    let of = |level: u32| {
        let later = levels.iter().filter(|other| **other > level);
        later
            .map(|other| job.pumps.iter().filter(|pump| pump.priority == *other).count() + 1)
            .product::<usize>()
    };
    let each: Vec<String> =
        levels.iter().map(|&level| format!("priority {level}: {}", of(level))).collect();
    each.join(", ")
}

#[test]
fn the_basis_names_what_the_plan_follows_from() {
    held("Basis", |outage, wrong| {
        let (job, plan) = (outage.verified.job(), outage.verified.plan());
        let page = outage.book.page("Basis");
        let rows = page.block(0..u32::MAX);
        let below = |heads: &[&str; 3]| {
            let at = rows.iter().position(|row| *row == texts(heads));
            at.map_or(Vec::new(), |at| rows[at + 1..].to_vec())
        };
        let inputs: Vec<Row> = job
            .inputs
            .iter()
            .map(|input| texts(&[&input.role, &input.file, &input.sha256]))
            .collect();
        wrong.unless(inputs.len() >= 3, "stock, pumps and models are inputs");
        let found = below(&basis::INPUTS);
        wrong.rows(&found[..inputs.len().min(found.len())], &inputs);
        let goals: Vec<Row> = plan
            .goals
            .iter()
            .map(|goal| {
                let name = match goal.objective {
                    Objective::ServedWeight => basis::SERVED.to_string(),
                    aim => aim.label(),
                };
                let shown = |value: i64| match goal.objective {
                    Objective::Waste => money_exactly(value, &job.policy.currency),
                    _ => value.to_string(),
                };
                texts(&[&name, &shown(goal.value), &shown(goal.bound)])
            })
            .collect();
        let found = below(&basis::GOALS);
        wrong.rows(&found[..goals.len().min(found.len())], &goals);
        let waste =
            plan.goals.iter().find(|goal| goal.objective == Objective::Waste).unwrap().value;
        let facts = [
            (basis::DATE, DATE.to_string()),
            (basis::PROOF, summary::proven(&money(waste, &job.policy.currency))),
            (basis::WEIGHTS, weights(&outage.verified)),
        ];
        for (name, text) in facts {
            wrong.unless(rows.contains(&texts(&[name, &text])), format!("{name}: {text}"));
        }
        let policy = below(&basis::POLICY);
        for (found, setting) in policy.iter().zip(job.policy.settings()) {
            let cells = [0, 1].map(|at| found.get(&at).map_or("", String::as_str));
            wrong.same("a setting", cells, [setting.name, setting.value.as_str()]);
            wrong.unless(found.contains_key(&2), "each setting says what it means");
        }
    });
}
