//! The obvious model of an outage, for a general solver: one whole number for each pump, pack, item and way to peel
//! it, one yes or no for each pump, one whole number for each way to cut up a sheet, and every rule as a linear row.
//!
//! Only the input types are shared with the library: the rows are written from the meaning of a requirement. All rows
//! are whole numbers divided by their common divisor, so that a whole plan keeps a row or misses it by at least 1,
//! far beyond the solver's tolerance of 1e-6; the solver's plan is rounded, checked and valued again in integers.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use gapwright::cutting::PlateLot;
use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::length::Length;
use gapwright::model::{Form, Term};
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;

/// The solver's result for one goal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reached {
    /// The plan's value.
    pub value: i64,
    /// Bound that no plan can beat, if the solver reached one.
    pub bound: Option<i64>,
}

impl Reached {
    pub fn proven(self) -> bool {
        self.bound == Some(self.value)
    }
}

/// The solver's result for an outage. Goals after the first unproven one have no bound.
#[derive(Debug, Clone)]
pub struct Obvious {
    /// Pumps, whatever their priority.
    pub served: usize,
    pub weight: Reached,
    pub waste: Reached,
    pub plates: Reached,
    pub pieces: Reached,
    pub seconds: f64,
    pub megabytes: f64,
}

impl Obvious {
    pub fn proven(&self) -> bool {
        [self.weight, self.waste, self.plates, self.pieces].into_iter().all(Reached::proven)
    }
}

/// Names of the rows that are the goals, in their order.
const GOALS: [&str; 4] = ["weight", "waste", "plates", "pieces"];

/// A sum of variables, each times a whole number, that may not be negative.
type Row = Vec<(usize, i128)>;

/// Variables by number, the rows, and the share of each variable in each goal.
#[derive(Default)]
pub struct Rows {
    /// Upper limit of each; `None` for a distance, which need not be whole.
    pub most: Vec<Option<u32>>,
    rows: Vec<Row>,
    /// Variables, each as often as it counts, and the upper limit of their sum: pieces in the drawer, sheets.
    pub limits: Vec<(Vec<usize>, u32)>,
    /// Weight of serving, millionths of waste, plates, and pieces.
    pub goals: [Vec<(usize, i64)>; 4],
    /// For each distance, the sum whose absolute value it is.
    distances: Vec<(usize, Row)>,
    /// Variables that are 1 where a pump is served.
    pub served: Vec<usize>,
}

/// Pieces of one item in one pack, all peeled alike: their number is a variable.
struct Count {
    variable: usize,
    item: usize,
    thickness: i64,
}

impl Rows {
    /// # Panics
    /// If a charge is not a whole number of millionths for each step of a distance: the library rounds such charges
    /// up, which no linear row can express.
    pub fn of(job: &Job) -> Rows {
        let mut all = Rows {
            limits: job
                .stock
                .iter()
                .map(|item| (Vec::new(), item.on_hand - item.reserved))
                .collect(),
            ..Rows::default()
        };
        let weights = job.weights().expect("whole numbers carry the weights");
        for pump in &job.pumps {
            let weight = weights.iter().find(|(level, _)| *level == pump.priority);
            all.add_pump(job, pump, weight.expect("a weight for each priority").1);
        }
        for item in 0..job.stock.len() {
            if by_the_pack(job, item) {
                all.add_opened_packs(job, item);
            }
        }
        for (sheet, lot) in job.plates.iter().enumerate() {
            all.add_sheets(job, sheet, lot);
        }
        all
    }

    fn variable(&mut self, most: Option<u32>) -> usize {
        self.most.push(most);
        self.most.len() - 1
    }

    fn add_pump(&mut self, job: &Job, pump: &Pump, weight: i64) {
        let served = self.variable(Some(1));
        self.served.push(served);
        self.goals[0].push((served, weight));
        let mut packs: Vec<Vec<Count>> = Vec::new();
        for (pack, fit) in job.models[pump.model].packs.iter().zip(&pump.fits) {
            let mut counts = Vec::new();
            for (index, item) in job.stock.iter().enumerate() {
                let right = item.kind == pack.kind && item.fit == *fit;
                let Some(size) = item.size.filter(|_| right) else {
                    continue;
                };
                // At least one layer of a laminated piece is left.
                let step = item.peel_step.map_or(i64::MAX, Length::ticks);
                let mut thickness = size.thickness.ticks();
                loop {
                    counts.push(self.add_count(job, index, thickness, pack.most_pieces));
                    if thickness / 2 < step {
                        break;
                    }
                    thickness -= step;
                }
            }
            let counted = |sign: i128| counts.iter().map(move |count| (count.variable, sign));
            let most = (served, i128::from(pack.most_pieces));
            let least = (served, -i128::from(pack.least_pieces));
            self.rows.push(counted(-1).chain([most]).collect());
            self.rows.push(counted(1).chain([least]).collect());
            packs.push(counts);
        }
        for requirement in &pump.requirements {
            self.add_requirement(job, pump, &packs, served, &requirement.form);
        }
    }

    /// Pieces of an item, peeled to a thickness in ticks, in one pack.
    fn add_count(&mut self, job: &Job, index: usize, thickness: i64, most: u32) -> Count {
        let item = &job.stock[index];
        let variable = self.variable(Some(self.limits[index].1.min(most)));
        self.limits[index].0.push(variable);
        let singly = if by_the_pack(job, index) { 0 } else { item.unit_cost.raw() };
        // Peeled layers are waste at their share of the cost, rounded up.
        let whole = item.size.expect("it has one").thickness.ticks();
        let peeled = (whole - thickness) * item.unit_cost.raw();
        let trim = (peeled + whole - 1) / whole;
        self.goals[1].push((variable, singly + trim + job.policy.handling.raw()));
        self.goals[3].push((variable, 1));
        Count { variable, item: index, thickness }
    }

    /// Packs of an item that spoil once they are opened: whole packs are paid for, and none is opened while loose
    /// pieces are left.
    fn add_opened_packs(&mut self, job: &Job, index: usize) {
        let item = &job.stock[index];
        let (blocks, available) = self.limits[index].clone();
        let (loose, packs) = (available % item.carton_qty, available / item.carton_qty);
        let singles = self.variable(Some(loose));
        let opened = self.variable(Some(packs));
        let any = self.variable(Some(1));
        let taken = blocks.into_iter().map(|block| (block, -1));
        let paid = [(singles, 1), (opened, i128::from(item.carton_qty))];
        self.rows.push(taken.chain(paid).collect());
        self.rows.push(vec![(any, i128::from(packs)), (opened, -1)]);
        self.rows.push(vec![(singles, 1), (any, -i128::from(loose))]);
        let cost = item.unit_cost.raw();
        self.goals[1].push((singles, cost));
        self.goals[1].push((opened, cost * i64::from(item.carton_qty)));
    }

    /// Sheets of a lot, each cut in strips for at most two shapes, all along one side. They cost nothing, so that all
    /// waste is in round numbers; what the rest of a plate costs is compared with every small outage.
    fn add_sheets(&mut self, job: &Job, sheet: usize, lot: &PlateLot) {
        let cut = |item: &usize| job.stock[*item].cut.filter(|cut| cut.plate == sheet);
        let shapes: Vec<usize> = (0..job.stock.len()).filter(|item| cut(item).is_some()).collect();
        let wide: Vec<i64> =
            shapes.iter().filter_map(|item| Some(cut(item)?.outside.ticks())).collect();
        let sides = lot.sides.map(Length::ticks);
        let mut layouts: BTreeSet<Vec<i64>> = BTreeSet::new();
        for [run, stack] in [sides, [sides[1], sides[0]]] {
            for a in 0..wide.len() {
                for b in a..wide.len() {
                    for first in 0..=stack / wide[a] {
                        let second = (stack - first * wide[a]) / wide[b];
                        let mut blanks = vec![0; wide.len()];
                        blanks[a] += first * (run / wide[a]);
                        blanks[b] += second * (run / wide[b]);
                        layouts.insert(blanks);
                    }
                }
            }
        }
        assert_eq!(lot.plate_cost.raw(), 0, "a plate that costs something");
        let available = lot.on_hand - lot.reserved;
        let used: Vec<usize> = layouts.iter().map(|_| self.variable(Some(available))).collect();
        for (shape, &item) in shapes.iter().enumerate() {
            let taken = self.limits[item].0.iter().map(|&block| (block, -1));
            let blanks = used.iter().zip(&layouts);
            let blanks = blanks.map(|(&layout, blanks)| (layout, i128::from(blanks[shape])));
            self.rows.push(taken.chain(blanks).collect());
        }
        self.goals[2].extend(used.iter().map(|&layout| (layout, 1)));
        self.limits.push((used, available));
    }

    /// Both sides of a requirement, and its distance from the target.
    fn add_requirement(
        &mut self,
        job: &Job,
        pump: &Pump,
        packs: &[Vec<Count>],
        served: usize,
        form: &Form,
    ) {
        const MILLION: i128 = 1_000_000;
        // `sum of terms - bound`, as millionths of millionths of a tick.
        let (lower, upper, target): (Option<Sum>, Option<Sum>, Sum) = match form {
            Form::Linear { terms, target, lower, upper } => {
                let held = |bound: i64| Sum {
                    terms: scaled(terms, MILLION),
                    bound: i128::from(bound) * MILLION * MILLION,
                };
                let [lower, upper] = [lower, upper].map(|end| end.map(|end| held(end.ticks())));
                (lower, upper, held(target.ticks()))
            }
            // free / gap - 1 against an allowance: free - (1 + allowance) gap against 0.
            Form::GasketFill { gasket, gap, target, lower, upper } => {
                let held = |allowance: Millionths| {
                    let mut terms = scaled(gap, -(MILLION + i128::from(allowance.raw())));
                    terms.push((Term::Pack(*gasket), MILLION * MILLION));
                    Sum { terms, bound: 0 }
                };
                (Some(held(*lower)), upper.map(held), held(*target))
            }
        };
        // An expanded uncertainty is a root of squares, which no linear row can express.
        assert_ne!(job.policy.acceptance, Acceptance::Expanded);
        let guarded = job.policy.acceptance == Acceptance::WorstCase;
        for (side, sign) in [(lower, 1), (upper, -1)] {
            let row = side.map(|side| side.row(job, pump, packs, served, sign, guarded));
            self.rows.extend(row.map(|row| divided(row).0));
        }
        let (row, unit) = divided(target.row(job, pump, packs, served, 1, false));
        // One thou is 254 000 ticks.
        let charge = unit * i128::from(job.policy.off_target.raw());
        let thou = 254_000 * MILLION * MILLION;
        assert!(charge % thou == 0, "a charge that would have to be rounded");
        let distance = self.variable(None);
        for sign in [1, -1] {
            let side = row.iter().map(|&(v, c)| (v, sign * c));
            self.rows.push(side.chain([(distance, 1)]).collect());
        }
        let charge = i64::try_from(charge / thou).expect("a small charge");
        self.goals[1].push((distance, charge));
        self.distances.push((distance, row));
    }

    /// The rows in the LP format, which any general solver reads: variables x0, x1, ..., the goals as rows in their
    /// own whole units, which are not negative anyway.
    ///
    /// # Panics
    /// If a number is too large for a solver in floating point to keep it whole.
    pub fn lp(&self) -> String {
        let mut text = String::from("Minimize\n obj: 0 x0\nSubject To\n");
        let whole = |row: &[(usize, i64)], unit: i64| -> Row {
            let each = row.iter().map(|&(v, count)| (v, i128::from(count / unit)));
            each.collect()
        };
        for (goal, name) in GOALS.iter().enumerate() {
            write_row(&mut text, name, &whole(&self.goals[goal], self.unit(goal)), ">= 0");
        }
        for (number, row) in self.rows.iter().enumerate() {
            write_row(&mut text, &format!("r{number}"), row, ">= 0");
        }
        for (number, (blocks, most)) in self.limits.iter().enumerate() {
            let mut counts: BTreeMap<usize, i128> = BTreeMap::new();
            blocks.iter().for_each(|&block| *counts.entry(block).or_default() += 1);
            let row: Row = counts.into_iter().collect();
            write_row(&mut text, &format!("l{number}"), &row, &format!("<= {most}"));
        }
        text.push_str("Bounds\n");
        for (variable, most) in self.most.iter().enumerate() {
            let _ = match most {
                Some(most) => writeln!(text, " 0 <= x{variable} <= {most}"),
                None => writeln!(text, " x{variable} >= 0"),
            };
        }
        text.push_str("General\n");
        for (variable, _) in self.most.iter().enumerate().filter(|(_, m)| m.is_some()) {
            let _ = writeln!(text, " x{variable}");
        }
        text.push_str("End\n");
        text
    }

    /// Judges the plan that a solver returned in whole numbers, with its bounds on the goals; `None` if it breaks a
    /// rule.
    pub fn judge(&self, plan: &[i64], bounds: [Option<f64>; 4]) -> Option<Obvious> {
        let mut plan = plan.to_vec();
        plan.resize(self.most.len(), 0);
        // A distance follows from its sum; the solver only bounds it from below.
        for (distance, row) in &self.distances {
            plan[*distance] = i64::try_from(sum(row, &plan).abs()).ok()?;
        }
        if !self.keeps(&plan) {
            return None;
        }
        let reached = |goal: usize| Reached {
            value: self.goals[goal].iter().map(|&(v, c)| c * plan[v]).sum(),
            // In whole units, with a thousandth allowed for the solver's own error.
            bound: bounds[goal].map(|bound| {
                let bound = if goal == 0 { (bound + 1e-3).floor() } else { (bound - 1e-3).ceil() };
                bound as i64 * self.unit(goal)
            }),
        };
        Some(Obvious {
            served: self.served.iter().filter(|&&v| plan[v] == 1).count(),
            weight: reached(0),
            waste: reached(1),
            plates: reached(2),
            pieces: reached(3),
            seconds: 0.0,
            megabytes: 0.0,
        })
    }

    /// Greatest number that all values of a goal are multiples of.
    fn unit(&self, goal: usize) -> i64 {
        let divisor = self.goals[goal].iter().fold(0, |d, (_, c)| gcd(d, *c));
        divisor.max(1)
    }

    /// Whether a whole plan keeps every row and every limit.
    fn keeps(&self, plan: &[i64]) -> bool {
        let bounded = self.most.iter().zip(plan).all(|(most, &n)| {
            let most = most.map_or(i64::MAX, i64::from);
            (0..=most).contains(&n)
        });
        let within = self
            .limits
            .iter()
            .all(|(blocks, most)| blocks.iter().map(|&v| plan[v]).sum::<i64>() <= i64::from(*most));
        bounded && within && self.rows.iter().all(|row| sum(row, plan) >= 0)
    }
}

fn by_the_pack(job: &Job, item: usize) -> bool {
    job.policy.opened_cartons_spoiled && job.stock[item].carton_qty > 1
}

/// A row of the LP format, a few terms per line. A row without terms is left out, since any plan keeps it.
fn write_row(text: &mut String, name: &str, row: &Row, bound: &str) {
    let terms: Vec<&(usize, i128)> = row.iter().filter(|(_, count)| *count != 0).collect();
    if terms.is_empty() {
        return;
    }
    let _ = write!(text, " {name}:");
    for (number, (variable, count)) in terms.into_iter().enumerate() {
        assert!(count.abs() < 1 << 53, "a number that is too large: {count}");
        let line = if number % 8 == 7 { "\n " } else { "" };
        let _ = write!(text, "{line} {count:+} x{variable}");
    }
    let _ = writeln!(text, " {bound}");
}

/// A sum of terms against a bound, in millionths of millionths of a tick.
struct Sum {
    terms: Vec<(Term, i128)>,
    bound: i128,
}

impl Sum {
    /// `sign x (sum - bound)` over the variables; guarded, with every contributor at its worst. Parts that do not
    /// depend on pieces are multiplied by `served`.
    fn row(
        &self,
        job: &Job,
        pump: &Pump,
        packs: &[Vec<Count>],
        served: usize,
        sign: i128,
        guarded: bool,
    ) -> Row {
        let mut row = Vec::new();
        let mut constant = -sign * self.bound;
        for &(term, c) in &self.terms {
            let c = sign * c;
            // Where more is better, less is worse.
            let worst = |value: i64, minus: i64, plus: i64| {
                let off = match (guarded, c > 0) {
                    (false, _) => 0,
                    (true, true) => -minus,
                    (true, false) => plus,
                };
                c * i128::from(value + off)
            };
            match term {
                Term::Dimension(_) | Term::Thermal(_) | Term::Derived(_) => {
                    let known = pump.estimate(term).expect("of its own model");
                    let (minus, plus) = (known.tolerance.minus, known.tolerance.plus);
                    constant += worst(known.value.ticks(), minus.ticks(), plus.ticks());
                }
                Term::Pack(pack) => row.extend(packs[pack].iter().map(|count| {
                    let size = job.stock[count.item].size.expect("it has one");
                    let (minus, plus) = (size.tolerance.minus, size.tolerance.plus);
                    let worst = worst(count.thickness, minus.ticks(), plus.ticks());
                    (count.variable, worst)
                })),
            }
        }
        row.push((served, constant));
        row
    }
}

fn scaled(terms: &[(Term, Millionths)], by: i128) -> Vec<(Term, i128)> {
    terms.iter().map(|&(term, c)| (term, i128::from(c.raw()) * by)).collect()
}

/// A row divided by its greatest common divisor, and the divisor.
fn divided(row: Row) -> (Row, i128) {
    let unit = row.iter().fold(0, |d: i128, (_, c)| {
        let (mut a, mut b) = (d, c.abs());
        while b != 0 {
            (a, b) = (b, a % b);
        }
        a
    });
    let unit = unit.max(1);
    (row.into_iter().map(|(v, c)| (v, c / unit)).collect(), unit)
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.abs() } else { gcd(b, a % b) }
}

fn sum(row: &Row, plan: &[i64]) -> i128 {
    row.iter().map(|&(v, c)| c * i128::from(plan[v])).sum()
}
