//! Pieces set aside before an outage: prices, every pump's status, the trolley, the safe kits and the gaps.

use std::fs;

use gapwright::choose::control::Control;
use gapwright::decimal::Millionths;
use gapwright::forecast::{ExpectedLaw, Forecast};
use gapwright::length::Length;
use gapwright::plan::PackPick;
use gapwright::provision::{Provision, ProvisionOptions, SafeKit, SetAside, provision};
use gapwright::read::{Ahead, Sources, forecast};
use gapwright::verify::{VerifiedProvision, verify_provision};
use gapwright::write::provision::{Provided, workbook};
use tempfile::TempDir;

use crate::figures::{bare, is_about, money, raw, thickness};
use crate::outages::{DATE, sample};
use crate::page::{Book, Row, Wrong, count, entry, line, number, texts};
use crate::wording::{BOX, provision as words};
use crate::{anew, said};

/// Two pumps of the tiny sample that are not measured, with values in their ranges that the pieces do not reach.
const AHEAD: &str = "\
Tag,Model,Priority,Due,Bearing shims fit,Cover gasket fit,Bare clearance (in),Bare clearance low (in),Bare clearance high (in),Snap ring (in)
B,screwed-impeller,1,2027-09-06,F1,F1,,0.029,0.045,0.050
A,screwed-impeller,2,,F1,F1,0.041,,,0.050
C,screwed-impeller,3,,F1,F1,,0.0305,0.0315,0.050
D,screwed-impeller,3,,F1,F1,0.300,,,0.050
";

struct Case {
    name: &'static str,
    verified: VerifiedProvision,
    question: ProvisionOptions,
    book: Book,
}

impl Case {
    fn of(name: &'static str, sources: &Sources, ahead: &Ahead, step: &str) -> Case {
        let outlook = forecast(&Sources { ahead: ahead.clone(), ..sources.clone() })
            .unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
        let question = ProvisionOptions {
            scenarios: 40,
            checks: 60,
            probability: Millionths::from_raw(900_000),
            ..ProvisionOptions::new(Length::parse(step, None).unwrap())
        };
        let provision = provision(&outlook, &question, &Control::unlimited()).unwrap();
        let verified = verify_provision(outlook, provision).unwrap();
        let provided = Provided::of(&verified, &question, ahead.level);
        let book = Book::read(workbook(&provided, DATE).unwrap());
        Case { name, verified, question, book }
    }

    fn outlook(&self) -> &Forecast {
        self.verified.outlook()
    }

    fn provision(&self) -> &Provision {
        self.verified.provision()
    }
}

#[test]
fn what_is_set_aside_stands_on_its_sheets() {
    let folder = TempDir::new().unwrap();
    let pumps = folder.path().join("pumps.csv");
    fs::write(&pumps, AHEAD).unwrap();
    let narrow = Sources { pumps, ..sample("tiny/stock.csv", "tiny/pumps.csv") };
    let past = Ahead { history: Some("samples/provision/past.xlsx".into()), ..Ahead::default() };
    let cases = [
        Case::of("gaps", &narrow, &Ahead::default(), "0.0005 in"),
        Case::of(
            "sample",
            &sample("provision/stock.xlsx", "provision/pumps.xlsx"),
            &past,
            "0.0005 in",
        ),
    ];
    assert!(cases[0].provision().safe.iter().filter(|kit| gaps(kit) > 0).count() == 2);
    assert!(
        cases[1].provision().safe.iter().all(|kit| gaps(kit) == 0)
            || cases[1].provision().safe.len() > 5
    );
    let mut wrong = Wrong::default();
    for case in &cases {
        wrong.place = format!("{}, Summary", case.name);
        case.summary(&mut wrong);
        wrong.place = format!("{}, Trolley", case.name);
        case.trolley(&mut wrong);
        wrong.place = format!("{}, Safe kits", case.name);
        case.safe_kits(&mut wrong);
        wrong.place = format!("{}, Coverage", case.name);
        case.coverage(&mut wrong);
    }
    wrong.tell();
}

fn gaps(kit: &SafeKit) -> usize {
    kit.iter().filter(|value| value.take.is_none()).count()
}

/// Ends of some values, their number, and the pieces to take for them; `None` is a gap.
type Run<'a> = ([Length; 2], usize, Option<&'a [PackPick]>);

/// Neighbouring values served alike, of a kit with one unmeasured dimension.
fn runs(kit: &SafeKit) -> Vec<Run<'_>> {
    let mut runs: Vec<Run<'_>> = Vec::new();
    for value in kit.iter() {
        let at = value.lengths[0];
        match runs.last_mut().filter(|(_, _, take)| *take == value.take) {
            Some(([_, high], count, _)) => (*high, *count) = (at, *count + 1),
            None => runs.push(([at, at], 1, value.take)),
        }
    }
    runs
}

impl Case {
    fn cost(&self, pieces: &[SetAside]) -> i64 {
        let stock = &self.outlook().job().stock;
        pieces.iter().map(|one| stock[one.item].unit_cost.raw() * i64::from(one.count)).sum()
    }

    fn money(&self, amount: i64) -> String {
        money(amount, &self.outlook().job().policy.currency)
    }

    fn range(&self, pump: usize, [low, high]: [Length; 2]) -> String {
        let job = self.outlook().job();
        let unit = job.model_of(&job.pumps[pump]).unit;
        match low == high {
            true => said::length(low, unit),
            false => format!("{} to {}", bare(raw(low), unit), said::length(high, unit)),
        }
    }

    fn summary(&self, wrong: &mut Wrong) {
        let (job, provision) = (self.outlook().job(), self.provision());
        let rows = self.book.page("Summary").block(0..12);
        let open = provision.safe.iter().filter(|kit| !kit.axes.is_empty()).count();
        let step = said::length(self.question.step, crate::figures::natural(self.question.step));
        let lead = words::lead(open, job.pumps.len(), &job.policy.acceptance.to_string(), &step);
        let (trolley, service) = (&provision.trolley, &provision.service);
        let together: Vec<SetAside> =
            provision.safe.iter().flat_map(|kit| kit.pieces.clone()).collect();
        let count_of =
            |pieces: &[SetAside]| pieces.iter().map(|one| one.count).sum::<u32>().to_string();
        let two = |label: &str, safe: &str, shared: &str| texts(&[label, "", safe, "", "", shared]);
        let aims = [trolley.required, trolley.wanted];
        let served = words::chosen_for(trolley.served, trolley.scenarios, aims);
        let ran_out = service.checks - service.served - service.hopeless - service.undecided;
        let lost = words::lost([
            service.checks,
            service.served,
            service.hopeless,
            ran_out,
            service.undecided,
        ]);
        let mut expected = vec![
            line(lead),
            two("", words::PRICES[0], words::PRICES[1]),
            two(
                words::PRICE,
                &self.money(self.cost(&together)),
                &self.money(self.cost(&trolley.pieces)),
            ),
            two(words::PIECES, &count_of(&together), &count_of(&trolley.pieces)),
            two(words::CHOSEN[0], words::CHOSEN[1], &served),
            line(lost),
        ];
        let with_gaps = provision.safe.iter().filter(|kit| gaps(kit) > 0).count();
        if with_gaps > 0 {
            expected.push(line(words::gap_line(with_gaps, provision.safe.len())));
        }
        wrong.in_order(&rows, &expected);
        let told = rows.iter().any(|row| {
            row.get(&0).is_some_and(|text| text.starts_with("GAP: ") && text.contains(" pumps "))
        });
        wrong.same("a line of gaps", told, with_gaps > 0);
        let counted =
            rows.iter().find(|row| row.get(&0).is_some_and(|text| text == words::COUNTED[0]));
        let counted = counted.and_then(|row| row.get(&5)).cloned().unwrap_or_default();
        wrong.unless(counted.starts_with(&words::counted(service.served, service.checks)), counted);
        let expected: Vec<Row> = (0..job.pumps.len()).map(|pump| self.pump(pump)).collect();
        let top =
            rows.iter().position(|row| *row == texts(&words::PUMPS)).expect("the table of pumps");
        wrong.rows(&rows[top + 1..top + 1 + expected.len()], &expected);
    }

    fn pump(&self, index: usize) -> Row {
        let job = self.outlook().job();
        let (pump, kit) = (&job.pumps[index], &self.provision().safe[index]);
        let model = job.model_of(pump);
        let expected = model.dimensions.iter().zip(&self.outlook().expected()[index]);
        let expected = expected.filter_map(|(dimension, expected)| {
            let expected = expected.as_ref()?;
            let law = match expected.law {
                ExpectedLaw::Even => "",
                ExpectedLaw::Readings { .. } => words::OF_READINGS,
            };
            Some(format!(
                "{} {}{law}",
                dimension.label,
                self.range(index, [expected.low, expected.high])
            ))
        });
        let expected: Vec<String> = expected.collect();
        let expected = match expected.is_empty() {
            true => words::MEASURED.to_string(),
            false => expected.join("; "),
        };
        let (open, values) = (gaps(kit), kit.iter().count());
        let standing = match (kit.axes.is_empty(), open) {
            (true, 0) => words::STANDING[0].to_string(),
            (true, _) => words::MEASURED_GAP.to_string(),
            (false, 0) => words::STANDING[1].to_string(),
            (false, open) => words::gap(open, values),
        };
        let missed =
            format!("{} of {}", self.provision().service.missed[index], self.question.checks);
        let mut row = texts(&[
            &pump.tag,
            &model.name,
            "",
            anew::due(pump),
            &expected,
            "",
            "",
            "",
            &missed,
            &standing,
        ]);
        row.extend([(2, count(pump.priority)), (5, count(values as f64)), (6, count(open as f64))]);
        row.insert(7, number(self.cost(&kit.pieces) as f64 / 1e6));
        row
    }

    fn trolley(&self, wrong: &mut Wrong) {
        let (job, trolley) = (self.outlook().job(), &self.provision().trolley);
        let rows = self.book.page("Trolley").block(0..u32::MAX);
        let mut order = trolley.pieces.clone();
        order.sort_by(|a, b| {
            let bins = [a, b].map(|one| anew::bin(&job.stock[one.item]));
            anew::by_bin(bins[0], bins[1]).then(a.item.cmp(&b.item))
        });
        let mut expected = vec![texts(&words::TROLLEY)];
        expected.extend(order.iter().map(|one| {
            let item = &job.stock[one.item];
            let thick = item.size.unwrap().thickness;
            let mut row = texts(&[
                anew::bin(item),
                &item.item,
                &item.kind,
                item.fit.as_str(),
                &thickness(thick),
                &is_about(thick),
            ]);
            let may = item.on_hand - item.reserved;
            row.extend((6..).zip([one.count, may, may - one.count].map(count)));
            row.insert(9, number(item.unit_cost.raw() as f64 / 1e6));
            row.insert(10, number(self.cost(&[*one]) as f64 / 1e6));
            row.extend([(11, entry(BOX)), (12, entry(""))]);
            row
        }));
        let pieces = order.iter().map(|one| one.count).sum();
        expected.push(line(words::total(order.len(), pieces, &self.money(self.cost(&order)))));
        let top = rows.iter().position(|row| *row == expected[0]).expect("the headings");
        wrong.rows(&rows[top..top + expected.len()], &expected);
    }

    fn safe_kits(&self, wrong: &mut Wrong) {
        let job = self.outlook().job();
        let rows = self.book.page("Safe kits").block(0..u32::MAX);
        let place = wrong.place.clone();
        for (index, (pump, kit)) in job.pumps.iter().zip(&self.provision().safe).enumerate() {
            wrong.place = format!("{place}, {}", pump.tag);
            let pieces = kit.pieces.iter().map(|one| one.count).sum();
            let head = words::kit(&pump.tag, &self.money(self.cost(&kit.pieces)), pieces);
            let begins = |row: &Row| row.get(&0).is_some_and(|text| text.starts_with(&head));
            let Some(top) = rows.iter().position(begins) else {
                wrong.say(format!("no `{head}`"));
                continue;
            };
            let mut expected = vec![texts(&words::KIT)];
            expected.extend(kit.pieces.iter().map(|one| {
                let item = &job.stock[one.item];
                let thick = item.size.unwrap().thickness;
                let mut row = texts(&[
                    &item.item,
                    &item.kind,
                    item.fit.as_str(),
                    &thickness(thick),
                    &is_about(thick),
                    "",
                    "",
                    anew::bin(item),
                ]);
                row.extend([(5, count(one.count)), (6, number(self.cost(&[*one]) as f64 / 1e6))]);
                row
            }));
            if let [axis] = &kit.axes[..] {
                let label = &job.model_of(pump).dimensions[axis.dimension].label;
                let [measures, values, take, _] = words::MEASURES;
                expected.push(texts(&[&format!("{measures}{label}"), "", values, take]));
                for (ends, values, take) in runs(kit) {
                    let take =
                        take.map_or(words::NOTHING.to_string(), |packs| self.take(index, packs));
                    let mut row = texts(&[&self.range(index, ends), "", "", &take]);
                    row.insert(2, count(values as f64));
                    expected.push(row);
                }
            }
            wrong.in_order(&rows[top..], &expected);
        }
        wrong.place = place;
    }

    /// Pieces to take, place by place, each with its total.
    fn take(&self, pump: usize, packs: &[PackPick]) -> String {
        let job = self.outlook().job();
        let model = job.model_of(&job.pumps[pump]);
        let places = model.packs.iter().zip(packs).map(|(place, pack)| {
            let pieces = pack.picks.iter().map(|pick| {
                assert_eq!(pick.peeled, 0, "nothing is laminated here");
                let item = &job.stock[pick.item].item;
                match pick.count {
                    1 => item.clone(),
                    count => format!("{count} x {item}"),
                }
            });
            let pieces: Vec<String> = pieces.collect();
            match pieces.is_empty() {
                true => format!("{}: {}", place.label, words::NONE),
                false => {
                    let total = crate::figures::with_unit(anew::pack(job, pack).value, model.unit);
                    format!("{}: {} ({total})", place.label, pieces.join(", "))
                }
            }
        });
        places.collect::<Vec<_>>().join("; ")
    }

    fn coverage(&self, wrong: &mut Wrong) {
        let job = self.outlook().job();
        let rows = self.book.page("Coverage").block(0..u32::MAX);
        let mut expected = Vec::new();
        for (index, (pump, kit)) in job.pumps.iter().zip(&self.provision().safe).enumerate() {
            let [axis] = &kit.axes[..] else { continue };
            let label = &job.model_of(pump).dimensions[axis.dimension].label;
            let unit = job.model_of(pump).unit;
            for (ends, values, _) in runs(kit).into_iter().filter(|(_, _, take)| take.is_none()) {
                let all = kit.iter().count();
                let text =
                    words::in_words(&pump.tag, label, &self.range(index, ends), [values, all]);
                let [low, high] = ends.map(|end| said::length(end, unit));
                let mut row = texts(&[&pump.tag, label, &low, &high, "", "", &text]);
                row.extend([(4, count(values as f64)), (5, count(all as f64))]);
                expected.push(row);
            }
        }
        if !expected.is_empty() {
            expected.insert(0, texts(&words::GAPS));
            let top =
                rows.iter().position(|row| *row == expected[0]).expect("the headings of the gaps");
            let end = rows.len().min(top + expected.len());
            // A gap of a measured pump may be between them.
            wrong.in_order(&rows[top..], &expected);
            wrong.unless(end > top, "gaps");
        }
    }
}
