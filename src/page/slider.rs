//! Sliders over readings, tolerances, temperatures and limits of a pump, with the turns of its verdicts on their tracks.

use itertools::Itertools;
use maud::{Markup, html};

use super::bar::number;
use crate::job::Job;
use crate::pump::Pump;
use crate::stack::Judgement;
use crate::sweep::{Around, Setting};
use crate::words;

/// A slider with its track, the words of the value at hand, and where its verdicts turn.
pub(super) fn slider(job: &Job, pump: &Pump, id: &str, around: &Around) -> Markup {
    let sweep = &around.swept.sweep;
    let says: Vec<String> =
        (0..sweep.settings.len()).map(|at| said(job, pump, around, at)).collect();
    let met: String = (0..says.len()).map(|at| letter(around.met(at))).collect();
    let (last, at_hand) = (says.len() - 1, around.at_hand);
    let note = match around.as_it_is {
        true => "as it is",
        false => "as the worst piece; the others are finer",
    };
    html! {
        div.knob {
            label for=(id) { (sweep.label) }
            div.slide {
                (track(&met, at_hand))
                input id=(id) type="range" min="0" max=(last) step="1" value=(at_hand) aria-valuetext=(says[at_hand])
                    data-says=(says.join("\n")) data-met=(met) data-now=(at_hand) data-note=(note);
            }
            output for=(id) class=[(around.met(at_hand) == Some(false)).then_some("alarm")] { (says[at_hand]) " (" (note) ")" }
            p.turns { (turns(job, pump, around)) }
        }
    }
}

/// Letter of a step for style and script: met, not met, unknown.
fn letter(met: Option<bool>) -> char {
    match met {
        Some(true) => 'm',
        Some(false) => 'n',
        None => 'u',
    }
}

/// The track: thin where all is met, thick where it is not, a line at the value at hand.
fn track(met: &str, at_hand: usize) -> Markup {
    let steps = met.len().saturating_sub(1).max(1);
    #[allow(clippy::cast_precision_loss)]
    let x = |step: f64| step / steps as f64 * 100.0;
    let mut ends = Vec::new();
    let mut from = 0.0;
    let runs = met.chars().enumerate().chunk_by(|(_, letter)| *letter);
    for (letter, run) in &runs {
        let last = run.last().map_or(0, |(at, _)| at);
        #[allow(clippy::cast_precision_loss)]
        let to = (last as f64 + 0.5).min(steps as f64);
        ends.push((letter, x(from), x(to)));
        from = to;
    }
    #[allow(clippy::cast_precision_loss)]
    let now = x(at_hand as f64);
    html! {
        svg.track viewBox="0 0 100 12" preserveAspectRatio="none" aria-hidden="true" {
            @for (letter, from, to) in ends {
                @let (class, y, height) = match letter { 'm' => ("good", 5, 2), 'n' => ("bad", 2, 8), _ => ("unknown", 5, 2) };
                rect class=(class) x=(number(from)) y=(y) width=(number(to - from)) height=(height) {}
            }
            line x1=(number(now)) x2=(number(now)) y1="0" y2="12" {}
        }
    }
}

/// Turns of the verdicts in words.
fn turns(job: &Job, pump: &Pump, around: &Around) -> String {
    let turns = &around.swept.crossings;
    if turns.is_empty() {
        let ends =
            [0, around.swept.sweep.settings.len() - 1].map(|at| value(job, pump, around, at));
        return format!("No verdict turns from {} to {}.", ends[0], ends[1]);
    }
    let turns = turns.iter().map(|turn| words::sweep::crossing(job, pump, turn));
    format!("Turns: {}.", turns.format("; "))
}

/// A value with its unit; of two neighbours at a turn each on its own side.
fn value(job: &Job, pump: &Pump, around: &Around, at: usize) -> String {
    let unit = job.model_of(pump).unit;
    let setting = around.swept.sweep.settings[at];
    let turn = around.swept.crossings.iter().find_map(|turn| {
        let [met, not_met] = turn.show(unit);
        match setting {
            at if at == turn.met => Some(met),
            at if at == turn.not_met => Some(not_met),
            _ => None,
        }
    });
    let text = turn.filter(|_| at != around.at_hand).unwrap_or_else(|| setting.show(unit));
    match setting {
        Setting::Length(_) => format!("{text} {unit}"),
        Setting::Number(_) => text,
    }
}

/// A value with its verdict.
fn said(job: &Job, pump: &Pump, around: &Around, at: usize) -> String {
    let unit = job.model_of(pump).unit;
    let point = &around.swept.points[at];
    let verdict = match &point.kit {
        None => point.why(),
        Some(kit) => {
            let verdicts = pump.requirements.iter().zip(kit.requirements.iter().map(|(_, v)| v));
            let missed = verdicts.clone().filter(|(_, verdict)| !verdict.conforms());
            let missed = missed.map(|(asked, verdict)| {
                let words = verdict.judgement().words();
                format!("{} {words} by {}", asked.label, words::miss(verdict.margin(), unit))
            });
            let missed = missed.format("; ").to_string();
            let least = verdicts.min_by_key(|(_, verdict)| verdict.margin());
            match (missed.is_empty(), least) {
                (true, Some((asked, verdict))) => format!(
                    "{}, least margin {} ({})",
                    Judgement::Met.words(),
                    words::margin(verdict.margin(), unit),
                    asked.label
                ),
                _ => missed,
            }
        }
    };
    format!("{}: {verdict}", value(job, pump, around, at))
}
