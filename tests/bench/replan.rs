//! Planning again while bags are packed, beside planning afresh:
//! `cargo run --release --example replan -- 100 300` (pumps).
//!
//! Of each fleet a plan is made and one gap is measured again. The fleet is planned anew: afresh; warm, from what the plan
//! before left, until its goals are reached and until the order among equal plans is settled; and afresh with so many tenths
//! of its kits packed, so that bags and slips stand. Then the cost of leaving bags closed is worked out. Rounds alternate,
//! with another seed each; medians are printed. All figures are invented.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `ROUNDS` | seeds | `3` |
//! | `PACKED` | tenths of the kits that are packed | `8` |
//! | `LIMIT` | seconds for each plan | `60` |

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss, missing_docs)]

#[allow(dead_code)]
mod families;
mod generate;
mod irregular;

use std::time::{Duration, Instant};

use families::FAMILIES;
use gapwright::choose::control::Control;
use gapwright::choose::holding::with_holding;
use gapwright::choose::warm::Warm;
use gapwright::choose::{choose, choose_from, draft_from};
use gapwright::job::{Job, Standing};
use gapwright::length::Length;
use gapwright::plan::{Kit, Objective, Plan};
use gapwright::verify::verify;

fn main() {
    let sizes: Vec<usize> = std::env::args().skip(1).map(|size| size.parse().unwrap()).collect();
    let sizes = if sizes.is_empty() { vec![100, 300] } else { sizes };
    let [rounds, packed, limit] =
        [("ROUNDS", 3), ("PACKED", 8), ("LIMIT", 60)].map(|(name, usual)| {
            std::env::var(name).map_or(usual, |text| text.parse::<u64>().unwrap())
        });
    println!(
        "family       pumps  afresh s   goals s    warm s  ratio  standing s  ratio  reopened  slips  proven  holding s  rows"
    );
    for family in FAMILIES.iter().filter(|family| ["tight", "irregular"].contains(&family.name)) {
        for &pumps in &sizes {
            let mut times: [Vec<f64>; 5] = Default::default();
            let (mut counts, mut proven) = ([0, 0, 0], 0);
            for seed in 1..=rounds {
                let job = family.job(pumps, seed);
                let control = || Control::since(Instant::now()).limit(Duration::from_secs(limit));
                let mut warm = Warm::default();
                let before = choose_from(&job, &mut warm, &control()).unwrap();
                let moved = measured_again(job);
                let (fresh, seconds) = timed(|| choose(&moved, &control()).unwrap());
                times[0].push(seconds);
                let limited = control();
                let (draft, goals) = timed(|| draft_from(&moved, &mut warm, &limited).unwrap());
                let (again, seconds) = timed(|| draft.settled(&limited));
                times[3].push(goals + seconds);
                times[4].push(goals);
                assert!(again.kits == fresh.kits || !fresh.proven());
                let standing = with_bags(&moved, &before, packed);
                let (again, seconds) = timed(|| choose(&standing, &control()).unwrap());
                times[1].push(seconds);
                assert!(again.served() >= fresh.served() || !fresh.proven());
                let goal = |aim| again.goal(aim).map_or(0, |goal| goal.value);
                counts[0] += goal(Objective::Reopened);
                counts[1] += goal(Objective::Slips);
                let (again, seconds) = timed(|| with_holding(&standing, again, &control()));
                times[2].push(seconds);
                counts[2] += i64::try_from(again.holding.len()).unwrap();
                proven += u32::from(verify(standing, again).expect("the checker agrees").proven());
            }
            let [fresh, again, holding, warm, goals] = times.map(|mut times| median(&mut times));
            println!(
                "{:<12} {pumps:>5}  {fresh:>8.3}  {goals:>8.3}  {warm:>8.3}  {:>5.2}  {again:>10.3}  {:>5.2}  {:>8}  {:>5}  {proven}/{rounds}  {holding:>12.3}  {:>4}",
                family.name,
                warm / fresh,
                again / fresh,
                counts[0],
                counts[1],
                counts[2]
            );
        }
    }
}

/// The fleet with one gap measured again: five thousandths of an inch more.
fn measured_again(job: Job) -> Job {
    let changed = job.with(|parts| {
        let at = parts.pumps.len() / 2;
        let gap = &mut parts.pumps[at].dimensions[0];
        gap.value = gap.value + Length::from_ticks(5 * 254_000);
    });
    changed.unwrap()
}

/// The fleet with the slips of a plan, and with so many tenths of its kits in bags.
fn with_bags(job: &Job, plan: &Plan, tenths: u64) -> Job {
    let standing = plan.kits.iter().zip(0_u64..).map(|(kit, at)| match kit {
        Kit::Served(packs) => Standing {
            bag: (at % 10 < tenths).then(|| packs.clone()),
            slip: Some(packs.clone()),
            ..Standing::default()
        },
        Kit::Short(_) => Standing::default(),
    });
    let standing = standing.collect();
    job.clone().with(|parts| parts.standing = standing).unwrap()
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let begun = Instant::now();
    let done = work();
    (done, begun.elapsed().as_secs_f64())
}

fn median(times: &mut [f64]) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}
