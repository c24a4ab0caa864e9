//! One pump: its other kits against planning by hand, held kits, and the turns of its verdicts.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use gapwright::accounting::verdicts;
use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::choose::other_kits::other_kits as kits_of;
use gapwright::job::Job;
use gapwright::page::Bounds;
use gapwright::plan::{Kit, Objective, PackPick, Plan};
use gapwright::read;
use gapwright::scratch::{CellEdit, Scratch, other_kits, plan};
use gapwright::stack::Verdict;
use gapwright::stock::Pick;
use gapwright::sweep::{Knob, Setting, around};
use gapwright::verify::Verified;

use crate::raw::{Answer, Served, talk};
use crate::scratch::{sources, written};

fn planned(folder: &str, end: &str) -> Verified {
    let job = read::job(&sources(folder, end)).unwrap();
    plan(&job, &Control::unlimited()).unwrap()
}

fn waste(plan: &Plan) -> i64 {
    plan.goal(Objective::Waste).unwrap().value
}

/// Number of pieces of each item.
fn pieces(job: &Job, packs: &[PackPick]) -> Vec<u32> {
    let mut counts = vec![0; job.stock.len()];
    packs.iter().flat_map(|pack| &pack.picks).for_each(|pick| counts[pick.item] += pick.count);
    counts
}

/// Every kit of a pump, by trying all pieces in all places.
fn by_trying(job: &Job, pump: usize) -> BTreeSet<Vec<u32>> {
    let of = &job.pumps[pump];
    let model = job.model_of(of);
    let mut kits: Vec<Vec<PackPick>> = vec![Vec::new()];
    for (place, fit) in model.packs.iter().zip(&of.fits) {
        let items: Vec<usize> = job.offered(place, fit).collect();
        let mut fillings: Vec<Vec<Pick>> = vec![Vec::new()];
        for item in items {
            let most = job.stock[item].available().min(place.most_pieces);
            fillings = fillings
                .into_iter()
                .flat_map(|filling| {
                    (0..=most).map(move |count| {
                        let pick = Pick { item, count, peeled: 0 };
                        filling.iter().copied().chain((count > 0).then_some(pick)).collect()
                    })
                })
                .collect();
        }
        let count = |filling: &[Pick]| filling.iter().map(|pick| pick.count).sum::<u32>();
        fillings.retain(|f| (place.least_pieces..=place.most_pieces).contains(&count(f)));
        kits = kits
            .into_iter()
            .flat_map(|kit| {
                fillings.iter().map(move |filling| {
                    let mut kit = kit.clone();
                    kit.push(PackPick { picks: filling.clone() });
                    kit
                })
            })
            .collect();
    }
    kits.retain(|kit| verdicts(job, of, kit).iter().all(Verdict::conforms));
    kits.iter().map(|kit| pieces(job, kit)).collect()
}

#[test]
fn the_other_kits_are_all_that_conform() {
    let job = read::job(&sources("tiny", "csv")).unwrap();
    for pump in 0..job.pumps.len() {
        let all = by_trying(&job, pump);
        let found = kits_of(&job, pump, &[], usize::MAX, &Control::unlimited()).unwrap();
        assert_eq!((found.of, found.cut), (all.len(), false));
        let listed: BTreeSet<Vec<u32>> = found.kits.iter().map(|kit| pieces(&job, kit)).collect();
        assert_eq!(listed, all);
        // Without one of them.
        let others = kits_of(&job, pump, &found.kits[0], 3, &Control::unlimited()).unwrap();
        assert_eq!(others.of, all.len() - 1);
        assert_eq!(others.kits, found.kits[1..].iter().take(3).cloned().collect::<Vec<_>>());
    }
}

/// Least waste of the other pumps out of the pieces that a kit of one pump leaves, with that of the kit itself.
fn with_that_kit(job: &Job, pump: usize, packs: &[PackPick]) -> Plan {
    let took = pieces(job, packs);
    let rest = job.clone().with(|parts| {
        parts.pumps.remove(pump);
        parts.stock.iter_mut().zip(took).for_each(|(lot, took)| lot.on_hand -= took);
    });
    choose(&rest.unwrap(), &Control::unlimited()).unwrap()
}

#[test]
fn the_cost_of_another_kit_is_that_of_the_rest_planned_without_its_pieces() {
    for (folder, end, tags) in
        [("tiny", "csv", &["A", "B", "C"][..]), ("outage", "xlsx", &["P-101", "P-205"])]
    {
        let at_hand = planned(folder, end);
        let job = at_hand.job();
        for tag in tags {
            let pump = job.pumps.iter().position(|pump| pump.tag == *tag).unwrap();
            let found = other_kits(&at_hand, pump, 4, &Control::unlimited()).unwrap();
            let all = if folder == "tiny" { by_trying(job, pump).len() } else { 5 };
            assert_eq!(found.kits.len(), 4.min(all - 1), "{tag}");
            for kit in &found.kits {
                let cost = kit.cost.as_ref().expect("there was time");
                assert!(cost.proven);
                let rest = with_that_kit(job, pump, &kit.packs);
                let own = job.clone().with(|parts| {
                    let own = parts.pumps.remove(pump);
                    parts.pumps = vec![own];
                    let took = pieces(job, &kit.packs);
                    parts.stock.iter_mut().zip(took).for_each(|(lot, took)| {
                        lot.on_hand = took;
                        lot.reserved = 0;
                    });
                });
                // With no more than its own pieces a pump has that kit, or a part of it that does as well.
                let own = choose(&own.unwrap(), &Control::unlimited()).unwrap();
                assert_eq!(own.served(), 1);
                let all = at_hand.plan().served() - cost.lost.len() + cost.gained.len();
                let short_before = usize::from(matches!(at_hand.plan().kits[pump], Kit::Short(_)));
                assert_eq!(rest.served() + 1, all + short_before, "{tag}");
                let sum = waste(&rest) + waste(&own);
                assert!(waste(at_hand.plan()) + cost.more_waste >= sum, "{tag}");
                if own.kits[0] == Kit::Served(kit.packs.clone()) {
                    assert_eq!(waste(at_hand.plan()) + cost.more_waste, sum, "{tag}");
                }
            }
        }
    }
}

#[test]
fn without_time_nothing_is_said_of_the_cost() {
    let at_hand = planned("tiny", "csv");
    let flag = std::sync::atomic::AtomicBool::new(true);
    let none = Control::unlimited().interrupted_by(&flag);
    let found = other_kits(&at_hand, 0, 4, &none).unwrap();
    assert!(found.kits.iter().all(|kit| kit.cost.is_none()));
}

fn take(scratch: &mut Scratch) -> Verified {
    let planned = plan(scratch.job(), &Control::unlimited()).unwrap();
    assert!(scratch.take(scratch.revision(), planned.clone()));
    planned
}

#[test]
fn a_held_kit_stays_until_it_is_let_go() {
    let mut scratch = Scratch::open(sources("tiny", "csv")).unwrap();
    let first = take(&mut scratch);
    let pump = first.job().pumps.iter().position(|pump| pump.tag == "A").unwrap();
    let other =
        kits_of(first.job(), pump, packs_of(&first, pump), 1, &Control::unlimited()).unwrap();
    assert!(scratch.hold("a", Some(&other.kits[0])) && scratch.is_held("A"));
    assert!(!scratch.hold("A", Some(&other.kits[0])), "nothing changed");
    assert!(!scratch.is_planned());
    let held = take(&mut scratch);
    assert_eq!(packs_of(&held, pump), other.kits[0]);
    let changed: Vec<String> = scratch.changes().into_iter().map(|change| change.tag).collect();
    assert!(changed.contains(&"A".to_string()), "{changed:?}");
    // An edit of another pump leaves it; going back and forth, and discarding, take it along.
    let was = scratch.cell("C", "bareclearance");
    let edit =
        CellEdit { tag: "C".into(), heading: "bareclearance".into(), was, now: "0.0305".into() };
    assert!(scratch.edit(&[edit]).is_empty());
    assert_eq!(packs_of(&take(&mut scratch), pump), other.kits[0]);
    assert!(scratch.undo() && scratch.undo() && !scratch.is_held("A"));
    assert_eq!(packs_of(&take(&mut scratch), pump), packs_of(&first, pump));
    assert!(scratch.redo() && scratch.is_held("A"));
    scratch.discard();
    assert_eq!((scratch.held(), packs_of(&take(&mut scratch), pump)), (0, packs_of(&first, pump)));
    assert!(scratch.undo() && scratch.is_held("A"));
    assert!(scratch.hold("A", None) && !scratch.hold("A", None));
    assert_eq!(packs_of(&take(&mut scratch), pump), packs_of(&first, pump));
}

fn packs_of(planned: &Verified, pump: usize) -> &[PackPick] {
    match &planned.plan().kits[pump] {
        Kit::Served(packs) => packs,
        Kit::Short(_) => &[],
    }
}

#[test]
fn a_held_kit_that_no_longer_conforms_is_not_fit() {
    let folder = tempfile::tempdir().unwrap();
    let sources = written(folder.path(), "0.041", "0.0411");
    let mut scratch = Scratch::open(sources.clone()).unwrap();
    let first = take(&mut scratch);
    let pump = first.job().pumps.iter().position(|pump| pump.tag == "A").unwrap();
    scratch.hold("A", Some(packs_of(&first, pump)));
    written(folder.path(), "0.041", "0.0511");
    assert!(scratch.take_over().unwrap().is_empty());
    assert!(scratch.is_held("A"), "the workbooks were read again");
    let now = take(&mut scratch);
    assert!(matches!(&now.plan().kits[pump], Kit::Short(_)));
    let change = scratch.changes().into_iter().find(|change| change.tag == "A").unwrap();
    assert!(format!("{change:?}").contains("its kit is held"), "{change:?}");
    scratch.hold("A", None);
    let free = take(&mut scratch);
    let afresh = plan(&read::job(&sources).unwrap(), &Control::unlimited()).unwrap();
    assert_eq!(free.plan().kits, afresh.plan().kits);
}

#[test]
fn turns_of_a_verdict_are_where_its_margin_ends() {
    for (folder, end) in [("tiny", "csv"), ("outage", "xlsx")] {
        let planned = planned(folder, end);
        let job = planned.job();
        for (at, kit) in planned.plan().kits.iter().enumerate() {
            let Kit::Served(packs) = kit else { continue };
            let pump = &job.pumps[at];
            let judged = verdicts(job, pump, packs);
            let all = around(job, at, packs);
            assert!(all.len() > pump.dimensions.len() + pump.requirements.len(), "{}", pump.tag);
            for one in &all {
                let sweep = &one.swept.sweep;
                if one.as_it_is {
                    assert_eq!(one.met(one.at_hand), Some(true), "{}", sweep.label);
                }
                let raws: Vec<i64> = sweep.settings.iter().map(|setting| setting.raw()).collect();
                assert!(raws.is_sorted_by(|a, b| a < b), "{}", sweep.label);
                for turn in &one.swept.crossings {
                    assert_eq!((turn.met.raw() - turn.not_met.raw()).abs(), 1, "{}", sweep.label);
                    let place = |setting: Setting| raws.binary_search(&setting.raw()).unwrap();
                    assert_eq!(one.met(place(turn.not_met)), Some(false), "{}", sweep.label);
                }
                // Every change along the steps is at a turn.
                for step in 1..raws.len() {
                    if let (Some(a), Some(b)) = (one.met(step - 1), one.met(step))
                        && a != b
                    {
                        assert_eq!(raws[step] - raws[step - 1], 1, "{}", sweep.label);
                    }
                }
                // By the worst case a limit can come as near as the margin of its side.
                let turned = |requirement: usize| {
                    one.swept.crossings.iter().find(|turn| turn.requirement == Some(requirement))
                };
                let now = sweep.settings[one.at_hand];
                let (requirement, margin, way) = match sweep.knob {
                    Knob::Lower(of) => (of, judged[of].margin_lower(), 1),
                    Knob::Upper(of) => (of, judged[of].margin_upper(), -1),
                    _ => continue,
                };
                if let (Setting::Length(now), Some(margin)) = (now, margin) {
                    let turn = turned(requirement).expect("a limit that comes nearer");
                    let Setting::Length(last) = turn.met else { panic!("a length") };
                    let room = (last - now).ticks() * way;
                    let unit = gapwright::length::Unit::Micrometre;
                    let whole = (margin.to_f64(unit) * 10_000.0).floor();
                    #[allow(clippy::cast_precision_loss)]
                    let room = room as f64;
                    assert!((room - whole).abs() <= 1.0, "{}: {room} {whole}", sweep.label);
                }
            }
        }
    }
}

/// The page of a pump, once its other kits are worked out.
fn studied(served: &Served, cookie: &str, row: u32) -> Answer {
    let began = Instant::now();
    loop {
        let page =
            talk(served.at, served.get(&format!("/pump/{row}"), &[("Cookie", cookie)]).as_bytes());
        assert_eq!(page.status, 200);
        if page.body.contains("Hold this one") {
            return page;
        }
        assert!(began.elapsed() < Duration::from_secs(120), "{}", page.body);
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn a_kit_of_the_list_is_held_by_its_code_and_let_go() {
    let served = Served::of(Scratch::open(sources("tiny", "csv")).unwrap(), Bounds::default());
    served.planned();
    let cookie = served.enter();
    let row = served
        .desk
        .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == "A").unwrap().row);
    let page = studied(&served, &cookie, row).body;
    for words in ["Where the verdict turns", "Chances", "met at ", "draws)", "less waste in all"] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let code = |page: &str| {
        let all = page.split("data-kit=\"").skip(1).map(|rest| rest.split('"').next().unwrap());
        all.filter(|code| *code != "at-hand").map(String::from).collect::<Vec<_>>()
    };
    let codes = code(&page);
    assert!(!codes.is_empty() && codes.len() <= 5);
    let act = |what: &str, kit: &str| {
        let body = serde_json::json!({ "do": what, "since": 0, "pump": row, "kit": kit });
        let answer = served.act(&cookie, &body.to_string());
        assert_eq!(answer.status, 200, "{answer:?}");
        serde_json::from_str::<serde_json::Value>(&answer.body).unwrap()
    };
    let told = act("hold", "0123456789abcdef");
    assert!(told["refused"][0]["why"].as_str().unwrap().contains("no longer listed"), "{told}");
    assert_eq!(served.desk.look(Scratch::held), 0);
    assert_eq!(act("hold", &codes[0])["refused"], serde_json::json!([]));
    served.planned();
    assert_eq!(served.desk.look(Scratch::held), 1);
    let held = studied(&served, &cookie, row).body;
    assert!(held.contains("Kit held.") && held.contains("Let this kit go"), "{held}");
    act("free", "");
    assert_eq!(served.desk.look(Scratch::held), 0);
    served.planned();
    act("hold", "at-hand");
    assert_eq!(served.desk.look(Scratch::held), 1);
}

#[test]
fn a_short_pump_has_its_cures_and_the_turns_of_its_nearest_kit() {
    let served = Served::of(Scratch::open(sources("outage", "xlsx")).unwrap(), Bounds::default());
    served.planned();
    let cookie = served.enter();
    let row = served
        .desk
        .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == "P-299").unwrap().row);
    let began = Instant::now();
    let page = loop {
        let page =
            talk(served.at, served.get(&format!("/pump/{row}"), &[("Cookie", &cookie)]).as_bytes())
                .body;
        if page.contains("What would cure it") {
            break page;
        }
        assert!(began.elapsed() < Duration::from_secs(120), "{page}");
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(
        page.contains("Its nearest kit of the pieces left, which is NOT FIT TO ASSEMBLE"),
        "{page}"
    );
    assert!(page.contains("misses the") && page.contains("Facts, not advice"), "{page}");
}
