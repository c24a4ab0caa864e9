//! The workbook of a purchase: orders by supplier, pumps before and after, levels.

use gapwright::choose::control::Control;
use gapwright::decimal::{Millionths, Money};
use gapwright::job::Job;
use gapwright::plan::{Kit, Plan};
use gapwright::read::job;
use gapwright::reorder::{After, PurchaseReport, ReorderOptions, buy, level, report};
use gapwright::verify::{VerifiedPurchase, verify_purchase};
use gapwright::write::purchase::{Ordered, workbook};

use crate::anew;
use crate::figures::{money, thickness};
use crate::outages::{DATE, sample};
use crate::page::{Book, Row, Wrong, count, entry, line, number, texts};
use crate::wording::{NOT_FIT, purchase as words};

#[test]
fn a_purchase_says_what_to_buy() {
    let mut wrong = Wrong::default();
    let mut bags = 0;
    let budget = Some(Millionths::from_raw(60_000_000));
    let cases = [
        ("no budget", "purchase/stock.csv", "purchase/pumps.csv", None),
        ("budget", "purchase/stock.csv", "purchase/pumps.csv", budget),
        ("bags that are short", "outage/stock.xlsx", "outage/pumps.xlsx", None),
    ];
    for (name, stock, pumps, budget) in cases {
        let job = job(&sample(stock, pumps)).unwrap();
        let question = ReorderOptions {
            levels: level::LevelOptions {
                service: Millionths::from_raw(950_000),
                order: None,
                holding: None,
                lacking: None,
            },
            outages: 20,
            step: None,
            ranges: vec![],
            pieces: None,
            date: DATE.into(),
        };
        let control = |_: &str| Control::unlimited();
        let buy = buy(&job, &question, budget, control).unwrap();
        let bought = verify_purchase(&job, &buy.market, buy.purchase.clone()).unwrap();
        let after = After { delivered: bought.delivered(), purchase: bought.purchase() };
        let report = report(&job, &question, after, None, control);
        bags += report.lines.iter().map(|line| line.bag_cartons).sum::<u32>();
        let ordered =
            Ordered { job: &job, question: &question, buy: &buy, bought: &bought, report: &report };
        let book = Book::read(workbook(&ordered).unwrap());
        let mut case = Case {
            job: &job,
            today: &buy.today,
            bought: &bought,
            report: &report,
            budget,
            book: &book,
            wrong: &mut wrong,
        };
        case.wrong.place = format!("{name}, Order");
        case.order();
        case.wrong.place = format!("{name}, Pumps");
        case.pumps();
        case.wrong.place = format!("{name}, Levels");
        case.levels();
        case.wrong.place = format!("{name}, Summary");
        case.summary();
    }
    assert!(bags > 0, "no case buys for bags");
    wrong.tell();
}

struct Case<'a> {
    job: &'a Job,
    today: &'a Plan,
    bought: &'a VerifiedPurchase,
    report: &'a PurchaseReport,
    budget: Option<Money>,
    book: &'a Book,
    wrong: &'a mut Wrong,
}

/// The day `days` days after the first of March 2027.
fn day_after(days: u32) -> String {
    let (mut month, mut day) = (3, 1 + days);
    for length in [31, 30, 31, 30, 31, 31, 30, 31, 30, 31] {
        if day <= length {
            break;
        }
        (month, day) = (month + 1, day - length);
    }
    assert!(month <= 12);
    format!("2027-{month:02}-{day:02}")
}

impl Case<'_> {
    fn order(&mut self) {
        let lines = self.report.lines.iter().enumerate();
        let mut wants: Vec<(String, usize, [u32; 2])> = lines
            .map(|(item, line)| {
                let name = self.job.stock[item].offer.supplier.clone();
                let level = line.top_up.map_or(0, |top_up| top_up.cartons);
                (name.unwrap_or_default(), item, [line.cartons + line.bag_cartons, level])
            })
            .filter(|(_, _, [outage, level])| outage + level > 0)
            .collect();
        // By supplier, those without one last.
        wants.sort_by_key(|(name, item, _)| (name.is_empty(), name.to_lowercase(), *item));
        self.wrong.unless(!wants.is_empty(), "something is bought");
        let (mut expected, mut all): (Vec<Row>, i64) = (Vec::new(), 0);
        for group in wants.chunk_by(|a, b| a.0.to_lowercase() == b.0.to_lowercase()) {
            let shown = match group[0].0.as_str() {
                "" => words::UNNAMED,
                name => name,
            };
            expected.extend([line(shown), texts(&words::ORDER)]);
            let mut sum = 0;
            for (_, item, packs) in group {
                let (row, total) = self.line(*item, *packs);
                expected.push(row);
                sum += total;
            }
            let mut row = line(words::total(shown));
            row.insert(10, number(sum as f64 / 1e6));
            expected.push(row);
            all += sum;
        }
        let rows = self.book.page("Order").block(0..u32::MAX);
        let mut total = line(words::ALL);
        total.insert(10, number(all as f64 / 1e6));
        let mut outage = line(words::OUTAGE);
        outage.insert(10, number(self.cost() as f64 / 1e6));
        let mut top = vec![total, outage];
        if let Some(budget) = self.budget {
            let mut row = line(words::budget(&self.job.policy.currency));
            row.insert(10, number(budget.raw() as f64 / 1e6));
            top.push(row);
        }
        // Title and the line below it, the totals, then the orders.
        let rest = &rows[2.min(rows.len())..];
        self.wrong.rows(&rest[..top.len().min(rest.len())], &top);
        self.wrong.rows(&rest[top.len().min(rest.len())..], &expected);
    }

    fn line(&self, item: usize, [outage, level]: [u32; 2]) -> (Row, i64) {
        let item = &self.job.stock[item];
        let thick = item.size.map(|size| size.thickness).or(item.section);
        let mut row = texts(&[
            &item.item,
            &item.kind,
            item.fit.as_str(),
            &thick.map_or(String::new(), thickness),
        ]);
        let packs = outage + level;
        let pieces = packs * item.carton_qty;
        row.extend((4..).zip([item.carton_qty, outage, level].map(count)));
        row.extend([(7, entry(&count(packs))), (8, count(pieces))]);
        let price = item.offer.unit_cost.map_or(0, |price| price.raw());
        let shown =
            item.offer.unit_cost.map_or(String::new(), |price| number(price.raw() as f64 / 1e6));
        let total = price * i64::from(pieces);
        row.extend([(9, entry(&shown)), (10, number(total as f64 / 1e6))]);
        match item.offer.lead_days {
            Some(days) => row.extend([(11, count(days)), (12, day_after(days))]),
            None => row.extend([(11, words::NOT_SAID.to_string())]),
        }
        row.insert(13, entry(""));
        (row, total)
    }

    /// Cost of the packs that are bought so that pumps can be kitted.
    fn cost(&self) -> i64 {
        let lines = self.report.lines.iter().zip(&self.job.stock);
        lines
            .map(|(line, item)| {
                let price = item.offer.unit_cost.map_or(0, |price| price.raw());
                price * i64::from(line.cartons * item.carton_qty)
            })
            .sum()
    }

    fn pumps(&mut self) {
        let rows = self.book.page("Pumps").block(0..6);
        let mut expected = vec![texts(&words::PUMPS[..6])];
        let after = &self.bought.purchase().plan;
        let kits = self.today.kits.iter().zip(&after.kits);
        expected.extend(self.job.pumps.iter().zip(kits).map(|(pump, (today, after))| {
            let stands = |kit: &Kit| match kit {
                Kit::Served(_) => words::CAN,
                Kit::Short(_) => NOT_FIT,
            };
            let model = &self.job.model_of(pump).name;
            let mut row =
                texts(&[&pump.tag, model, "", anew::due(pump), stands(today), stands(after)]);
            row.insert(2, count(pump.priority));
            row
        }));
        self.wrong.rows(&rows[2..], &expected);
    }

    fn levels(&mut self) {
        let rows = self.book.page("Levels").block(0..10);
        let top = rows.iter().position(|row| *row == texts(&words::LEVELS)).expect("the headings");
        let plan = &self.bought.purchase().plan;
        let mut expected = Vec::new();
        for (at, (item, own)) in self.job.stock.iter().zip(&self.report.lines).enumerate() {
            let in_packs: u32 = plan
                .kits
                .iter()
                .filter_map(|kit| match kit {
                    Kit::Served(packs) => Some(packs),
                    Kit::Short(_) => None,
                })
                .flatten()
                .flat_map(|pack| &pack.picks)
                .filter(|pick| pick.item == at)
                .map(|pick| pick.count)
                .sum();
            let bags = self.report.bags.iter().flatten();
            let in_bags: u32 = bags
                .flat_map(|share| &share.picks)
                .filter(|pick| pick.item == at)
                .map(|pick| pick.count)
                .sum();
            let bought = (own.cartons + own.bag_cartons) * item.carton_qty;
            // Pieces bought for the bags go into them.
            let gone = in_packs
                + in_bags
                + own.spoiled
                + own.bag_lacks.min(own.bag_cartons * item.carton_qty);
            let mut row = texts(&[&item.item, &item.kind, item.fit.as_str()]);
            let counts = [item.on_hand, bought, gone, item.on_hand + bought - gone, item.min_level];
            row.extend((3..).zip(counts.map(count)));
            row.extend(item.offer.max_level.map(|most| (8, count(most))));
            match own.top_up {
                Some(top_up) => row.extend([(9, count(top_up.cartons))]),
                None if own.below => row.extend([(9, words::NOT_FOR_SALE.to_string())]),
                None => {}
            }
            expected.push(row);
        }
        let found = &rows[top + 1..rows.len().min(top + 1 + expected.len())];
        self.wrong.rows(found, &expected);
    }

    fn summary(&mut self) {
        let rows = self.book.page("Summary").block(0..7);
        let served = |kits: &[Kit]| {
            let served = kits.iter().filter(|kit| matches!(kit, Kit::Served(_))).count();
            format!("{served} of {}", self.job.pumps.len())
        };
        let packs: u32 = self.report.lines.iter().map(|line| line.cartons).sum();
        let cost = money(self.cost(), &self.job.policy.currency);
        let expected = [
            texts(&[words::SUMMARY[0], &served(&self.today.kits)]),
            texts(&[words::SUMMARY[1], &served(&self.bought.purchase().plan.kits)]),
            texts(&[words::SUMMARY[2], &format!("{packs}, {cost}")]),
        ];
        self.wrong.in_order(&rows, &expected);
    }
}
