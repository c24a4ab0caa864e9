//! Texts shared by several sheets, rebuilt: statuses, causes, missing pieces, work on pieces.

use gapwright::accounting::stack;
use gapwright::accounting::warnings::asked;
use gapwright::consumables::Share;
use gapwright::job::Job;
use gapwright::length::{Length, Unit};
use gapwright::packing::RingSpace;
use gapwright::plan::{Cause, Kit, PackPick, Pick, Shortfall};
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;
use gapwright::stack::{Chance, judge, report};
use gapwright::verify::Verified;

use crate::figures::{Round, bare, natural, raw, rounded, symbol, thickness, trimmed, with_unit};
use crate::page::{Row, line};
use crate::wording::{self, short as words, standing};
use crate::{anew, figures};

pub fn length(length: Length, unit: Unit) -> String {
    with_unit(raw(length), unit)
}

pub fn standing(kit: &Kit, bag: &[Share]) -> &'static str {
    match kit {
        Kit::Short(_) => wording::NOT_FIT,
        Kit::Served(_) if anew::lacks(bag) => standing::LACKING,
        Kit::Served(_) => standing::COMPLETE,
    }
}

/// The row of the pumps without a kit, with their consequence on a sheet.
pub fn not_fit(verified: &Verified, so: &str) -> Option<Row> {
    let kits = verified.job().pumps.iter().zip(&verified.plan().kits);
    let short = kits.filter(|(_, kit)| matches!(kit, Kit::Short(_)));
    let tags: Vec<&str> = short.map(|(pump, _)| pump.tag.as_str()).collect();
    (!tags.is_empty()).then(|| line(wording::not_fit(so, &tags.join(", "))))
}

/// Work on pieces before they match the plan.
pub fn work(job: &Job, pick: &Pick) -> Option<String> {
    let item = &job.stock[pick.item];
    if let Some(cut) = item.cut {
        let sheet = &job.plates[cut.plate].item;
        return Some(wording::kits::cut(sheet, &trimmed(cut.outside), &trimmed(cut.inside)));
    }
    let to = thickness(anew::fitted(item, pick.peeled));
    (pick.peeled > 0).then(|| wording::kits::peel(pick.peeled, pick.count, &to))
}

pub fn section(space: RingSpace) -> String {
    let twice = space.bore().ticks() - space.shaft().ticks();
    match twice % 2 {
        0 => thickness(Length::from_ticks(twice / 2)),
        _ => with_unit(i128::from(twice) * 500_000, Unit::Millimetre),
    }
}

pub fn ring_length(space: RingSpace) -> String {
    let sum = space.bore().ticks() + space.shaft().ticks();
    let twice = space.bore().ticks() - space.shaft().ticks();
    let unit = match twice % 2 {
        0 => natural(Length::from_ticks(twice / 2)),
        _ => Unit::Millimetre,
    };
    let long = std::f64::consts::PI * sum as f64 / 2.0 * 1e6;
    let places = figures::places(unit) - 2;
    format!("{} {}", rounded(long.round() as i128, unit, places, Round::Nearest), symbol(unit))
}

/// A consumable as a pump asks for it.
pub fn consumable(job: &Job, pump: &Pump, need: usize) -> String {
    let fit = &pump.consumable_fits[need];
    let mut words = job.model_of(pump).consumables[need].kind.clone();
    if let Some(code) = &fit.code {
        words += &format!(", fit {}", code.as_str());
    }
    if let Some(space) = fit.space {
        words += &format!(", section {}, ring length {}", section(space), ring_length(space));
    }
    words
}

/// Reason why consumables are missing from a pump's bag.
pub fn lack(job: &Job, pump: &Pump, need: usize) -> String {
    let asked = &job.model_of(pump).consumables[need];
    let fit = &pump.consumable_fits[need];
    if let (Some(column), None) = (&asked.fit_column, &fit.code) {
        return words::no_column(column);
    }
    let rows = anew::serving(job, pump, need);
    let on_hand: u64 = rows.iter().map(|&row| u64::from(job.stock[row].on_hand)).sum();
    let offered =
        rows.iter().map(|&row| u64::from(job.stock[row].on_hand - job.stock[row].reserved));
    let offered: u64 = offered.sum();
    match (rows.len(), on_hand, offered) {
        (0, ..) => words::none_stocked(&asked.kind),
        (_, 0, _) => words::NONE_THERE.into(),
        (_, _, 0) => words::BAG_RESERVED.into(),
        _ => words::given_out(offered),
    }
}

pub fn place(job: &Job, pump: &Pump, short: &Shortfall) -> String {
    match short.pack {
        Some(at) => job.model_of(pump).packs[at].label.clone(),
        None => words::WHOLE.into(),
    }
}

pub fn window(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let (window, unit) = (short.window.as_ref()?, job.model_of(pump).unit);
    let [least, most] = [window.least, window.most.unwrap()].map(raw);
    assert!(least <= most, "{}", pump.tag);
    Some(format!("{} to {}", bare(least, unit), with_unit(most, unit)))
}

pub fn presumed(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let (window, model) = (short.window.as_ref()?, job.model_of(pump));
    let [minus, plus] =
        [window.tolerance.minus, window.tolerance.plus].map(|side| bare(raw(side), model.unit));
    let good = words::good_to(&minus, &plus, symbol(model.unit));
    let over = window.over.iter();
    let over: Vec<String> = over
        .map(|(at, total)| format!("{} of {}", model.packs[*at].label, length(*total, model.unit)))
        .collect();
    Some(match over.is_empty() {
        true => good,
        false => format!("{good}, with {}", over.join(" and ")),
    })
}

fn nearest_total(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let nearest = short.nearest?;
    let empty = if nearest == Length::ZERO { words::NO_PIECE } else { "" };
    Some(format!("{}{empty}", length(nearest, job.model_of(pump).unit)))
}

fn is_inside(short: &Shortfall) -> bool {
    let both = short.nearest.zip(short.window.as_ref());
    both.is_some_and(|(nearest, window)| (window.least..=window.most.unwrap()).contains(&nearest))
}

pub fn nearest(job: &Job, pump: &Pump, short: &Shortfall) -> Option<String> {
    let nearest = nearest_total(job, pump, short)?;
    Some(match &short.cause {
        Cause::StockGone { .. } if is_inside(short) => format!(
            "{nearest}, which would lie in it, {} or are asked for in another place",
            words::LOOSER
        ),
        _ => nearest,
    })
}

/// Cause of a place that could not be filled.
pub fn reason(job: &Job, pump: &Pump, short: &Shortfall) -> String {
    let at = short.pack;
    let pack = at.map(|at| &job.model_of(pump).packs[at]);
    let (kind, fit) =
        (pack.map_or("piece", |pack| &pack.kind), at.map_or("", |at| pump.fits[at].as_str()));
    match &short.cause {
        Cause::NoPiece => words::none_on_hand(kind, fit),
        Cause::AllReserved => words::all_reserved(kind, fit),
        Cause::LimitsTooNarrow => words::TOO_NARROW.into(),
        Cause::UncertaintyTooWide => words::TOO_WIDE.into(),
        Cause::OutOfReach if at.is_none() => words::MEASURED_OUT.into(),
        Cause::OutOfReach => words::MEASURE_AGAIN.into(),
        Cause::TogetherTooMany => words::TOGETHER.into(),
        Cause::BetweenTotals => {
            let (least, most) = pack.map_or((0, 0), |pack| (pack.least_pieces, pack.most_pieces));
            let count = match least {
                0 | 1 => format!("at most {most}"),
                _ => format!("{least} to {most}"),
            };
            let plural = if most == 1 { "" } else { "s" };
            let pieces = format!("{count} {kind}{plural} of fit {fit}");
            let window = window(job, pump, short);
            match (window, is_inside(short)) {
                (Some(window), true) => {
                    let nearest = nearest_total(job, pump, short).unwrap();
                    words::total_is_looser(&pieces, &nearest, &window)
                }
                (window, _) => words::no_total(&pieces, window.as_deref()),
            }
        }
        Cause::StockGone { lacking, held_by } => {
            let lacking = lacking
                .iter()
                .map(|pick| format!("{} of {}", pick.count, job.stock[pick.item].item));
            let lacking: Vec<String> = lacking.collect();
            assert!(held_by.len() <= 6, "more are counted, not named");
            words::gone(&lacking.join(" and "), &held_by.join(", "))
        }
        Cause::NotProven { packs } => not_proven(job, pump, packs),
        other => panic!("no sentence is known for {other:?}"),
    }
}

/// A kit that is not proven: pieces, the requirements that are not, and what would settle it.
fn not_proven(job: &Job, pump: &Pump, packs: &[PackPick]) -> String {
    let pieces = packs.iter().flat_map(|pack| &pack.picks);
    let pieces = pieces.map(|pick| format!("{} x {}", pick.count, job.stock[pick.item].item));
    let pieces: Vec<String> = pieces.collect();
    let unit = job.model_of(pump).unit;
    let stack = stack(job, pump, packs);
    let guard = match job.policy.acceptance {
        Acceptance::Expanded => "expanded uncertainty",
        _ => "worst case",
    };
    let open = pump.requirements.iter().filter_map(|asked| {
        let verdict = judge(&asked.form, &stack, job.policy.guard());
        if verdict.conforms() {
            return None;
        }
        let chance = Chance::of(&report(&asked.form, &stack, job.policy.coverage, unit));
        let [low, high] = [verdict.lower, verdict.upper].map(|limit| limit.unwrap().raw());
        let value = figures::about(verdict.value.raw(), unit);
        let guards = gapwright::words::guards(&verdict, unit);
        let chance = chance.to_string();
        let [low, high] = figures::limits(low, high, unit);
        Some(words::open(&asked.label, &value, [&low, &high], [guard, &guards, &chance]))
    });
    let open: Vec<String> = open.collect();
    let settled = gapwright::words::verdict::settled(&asked(job, pump), &stack);
    words::not_proven(
        &job.policy.acceptance.to_string(),
        &pieces.join(" and "),
        &open.join("; "),
        &settled,
    )
}

/// Heading of the pump sheet: the name in a model file with spaces and a capital letter.
pub fn heading(name: &str) -> String {
    let spaced = name.replace('_', " ");
    format!("{}{}", spaced[..1].to_uppercase(), &spaced[1..])
}
