//! Linear programs of one shape, by the simplex method: every block takes one column, few rows are shared.
//!
//! ```text
//! minimise    sum of c_j x_j + M sum of (s_r + u_r)
//! subject to  sum over a block's columns of x_j = 1          each block
//!             lo_r <= sum of a_rj x_j - s_r + u_r <= hi_r    each row
//!             x, s, u >= 0
//! ```
//!
//! Rows are *elastic*: what a range is missed by costs [`MISS`] a unit, so there is always a solution, and no multiplier
//! exceeds that. Columns join at any time, ranges move, columns are barred; the basis stays and is put right in a few pivots.
//!
//! # Method
//!
//! *Generalised upper bounding.* Each block has a *key*, the column that takes what the block's other columns leave. The
//! basis that is inverted has one line per row only, whose columns are differences from their keys: 31 lines for 22 shims
//! and 8 gaskets, however many pumps there are. A block's key may change in two ways: it leaves alone, when its block
//! has no other column in the basis; or it changes places with one that has, which adds up lines of the inverse.
//!
//! Sources (from memory): Dantzig and Van Slyke, Generalized upper bounding techniques, Journal of Computer and System
//! Sciences 1 (1967); for the primal and the dual method, Chvátal, Linear programming (1983), chapters 8 and 10.
//!
//! # Decisions
//!
//! - Plain floating point in a fixed order on one thread: the pivots are alike on every machine.
//! - Many plans are equally good, and a simplex method walks through all of them. So ranges are wider by a hair, other for
//!   every row, while it pivots; shares and the value are told for the true ranges.
//! - The inverse is explicit and calculated anew after 100 pivots: rows are few.

/// Cost of missing a row's range by one, in the units of the costs. Costs are scaled to about one.
pub const MISS: f64 = 1e5;

/// Reduced costs that are taken for zero.
const NO_GAIN: f64 = 1e-9;
/// Numbers too small to pivot on.
const TOO_SMALL: f64 = 1e-8;
/// By how much a range may be missed.
const CLOSE: f64 = 1e-7;
/// Pivots after which the inverse is calculated anew.
const ANEW: usize = 100;
/// Columns that are looked at before the best of them enters.
const ENOUGH: usize = 2_000;

/// End of a run of pivots.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Nothing is better.
    Optimal,
    /// The value is above the cutoff.
    Cutoff,
    /// As many pivots as asked for.
    Paused,
    /// The numbers do not allow it; [`Simplex::start`] helps.
    Trouble,
}

/// Variable that may be in the basis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Basic {
    Column(u32),
    /// Total of a row.
    Total(u32),
    /// By how much a total exceeds its range.
    Over(u32),
    /// By how much it falls short.
    Under(u32),
}

/// Which variables of a row are in the basis.
#[derive(Debug, Clone, Copy, Default)]
struct Inside {
    total: bool,
    over: bool,
    under: bool,
}

/// Place of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    Out,
    Key,
    Line(u32),
}

/// Basis of a solution: enough to go on from it later.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Basis {
    key: Vec<u32>,
    head: Vec<Basic>,
    at_hi: Vec<bool>,
}

impl Basis {
    /// Bytes that it takes.
    pub fn bytes(&self) -> usize {
        size_of_val(&self.key[..]) + size_of_val(&self.head[..]) + self.at_hi.len()
    }
}

/// Program with its present basis.
#[derive(Debug, Clone)]
pub struct Simplex {
    rows: usize,
    // Columns, one after the other: their entries are start[j]..start[j + 1].
    block: Vec<u32>,
    cost: Vec<f64>,
    start: Vec<usize>,
    row: Vec<u32>,
    amount: Vec<f64>,
    barred: Vec<bool>,
    /// Columns by block.
    of_block: Vec<Vec<u32>>,
    lo: Vec<f64>,
    hi: Vec<f64>,
    /// By how much each range may be wider while it pivots, and by how much it is.
    hairs: Vec<f64>,
    hair: Vec<f64>,
    /// Which of many ways to be uneven the hairs have.
    turn: usize,
    /// Side at which a total outside the basis lies.
    at_hi: Vec<bool>,
    key: Vec<u32>,
    /// Variable of each line of the basis.
    head: Vec<Basic>,
    place: Vec<Place>,
    /// By row.
    inside: Vec<Inside>,
    /// Lines of the columns of each block.
    lines: Vec<Vec<u32>>,
    inverse: Vec<f64>,
    value: Vec<f64>,
    price: Vec<f64>,
    since: usize,
    cursor: usize,
    /// Pivots so far, changes of keys included.
    pivots: u64,
}

/// Variable that leaves the basis.
#[derive(Clone, Copy)]
enum Leaves {
    Line {
        line: usize,
        at_hi: bool,
    },
    Key(usize),
    /// The entering total goes to its other side.
    Itself,
}

impl Simplex {
    /// Program without columns; every row has its range, of which an infinite side is no limit, and by how much the
    /// range may be wider while it pivots.
    pub fn new(blocks: usize, rows: &[(f64, f64, f64)]) -> Simplex {
        let count = rows.len();
        let mut simplex = Simplex {
            rows: count,
            block: Vec::new(),
            cost: Vec::new(),
            start: vec![0],
            row: Vec::new(),
            amount: Vec::new(),
            barred: Vec::new(),
            of_block: vec![Vec::new(); blocks],
            lo: rows.iter().map(|row| row.0).collect(),
            hi: rows.iter().map(|row| row.1).collect(),
            hairs: rows.iter().map(|row| row.2).collect(),
            hair: vec![0.0; count],
            turn: 0,
            at_hi: vec![true; count],
            key: Vec::new(),
            head: Vec::new(),
            place: Vec::new(),
            inside: vec![Inside::default(); count],
            lines: vec![Vec::new(); blocks],
            inverse: vec![0.0; count * count],
            value: vec![0.0; count],
            price: vec![0.0; count],
            since: 0,
            cursor: 0,
            pivots: 0,
        };
        simplex.change_hairs(0);
        simplex
    }

    /// Adds a column and returns its number. No row may occur twice.
    pub fn add_column(
        &mut self,
        block: usize,
        cost: f64,
        entries: impl IntoIterator<Item = (usize, f64)>,
    ) -> u32 {
        let column = number(self.cost.len());
        self.block.push(number(block));
        self.cost.push(cost);
        for (row, amount) in entries {
            self.row.push(number(row));
            self.amount.push(amount);
        }
        self.start.push(self.row.len());
        self.barred.push(false);
        self.place.push(Place::Out);
        self.of_block[block].push(column);
        column
    }

    /// Changes the range of a row. [`Simplex::dual`] then puts the basis right.
    pub fn set_range(&mut self, row: usize, lo: f64, hi: f64) {
        self.lo[row] = lo;
        self.hi[row] = hi;
        if !self.inside[row].total && !self.side(row, self.at_hi[row]).is_finite() {
            self.at_hi[row] = !self.at_hi[row];
        }
    }

    /// Makes the ranges wider by other hairs: of many solutions that are equally good another one is found.
    pub fn change_hairs(&mut self, turn: usize) {
        self.turn = turn;
        for (row, (hair, most)) in self.hair.iter_mut().zip(&self.hairs).enumerate() {
            *hair = most * uneven(row + turn * 1_000);
        }
    }

    /// Bars a column, or lets it in again. Each block needs one that is not barred.
    pub fn bar(&mut self, column: u32, barred: bool) {
        self.barred[column as usize] = barred;
    }

    /// Number of the amounts of all columns, which a pivot looks through.
    pub fn amounts(&self) -> usize {
        self.amount.len()
    }

    /// Pivots so far, changes of keys included.
    pub fn pivots(&self) -> u64 {
        self.pivots
    }

    /// Multiplier of each row: what the value falls by if the range moves up by one.
    pub fn multipliers(&self) -> impl Iterator<Item = f64> + '_ {
        self.price.iter().map(|price| -price)
    }

    /// Basis, to go on from later.
    pub fn basis(&self) -> Basis {
        Basis { key: self.key.clone(), head: self.head.clone(), at_hi: self.at_hi.clone() }
    }

    /// Starts anew with a column of each block, all other columns at nothing.
    pub fn start(&mut self, keys: Vec<u32>) {
        self.key = keys;
        self.head.clear();
        self.inverse.fill(0.0);
        let mut totals = vec![0.0; self.rows];
        for &key in &self.key {
            for (row, amount) in entries(&self.start, &self.row, &self.amount, key) {
                totals[row] += amount;
            }
        }
        for (row, total) in totals.into_iter().enumerate() {
            let (over, under) = (total > self.side(row, true), total < self.side(row, false));
            self.at_hi[row] = over || !under;
            let variable = match (over, under) {
                (true, _) => Basic::Over,
                (_, true) => Basic::Under,
                _ => Basic::Total,
            };
            self.head.push(variable(number(row)));
            self.inverse[row * self.rows + row] = if under { 1.0 } else { -1.0 };
        }
        self.place_all();
        self.since = 0;
        self.find_values();
        self.find_prices();
    }

    /// Goes on from a basis of this program, which may have got columns since; whether the numbers allow it.
    #[must_use]
    pub fn resume(&mut self, basis: &Basis) -> bool {
        if basis.head.len() != self.rows {
            return false;
        }
        self.key.clone_from(&basis.key);
        self.head.clone_from(&basis.head);
        self.at_hi.clone_from(&basis.at_hi);
        self.place_all();
        for row in 0..self.rows {
            if !self.side(row, self.at_hi[row]).is_finite() {
                self.at_hi[row] = !self.at_hi[row];
            }
        }
        self.invert()
    }

    /// Whether a row binds nothing: of its variables the total alone is in the basis.
    pub fn is_slack(&self, row: usize) -> bool {
        let Inside { total, over, under } = self.inside[row];
        total && !over && !under
    }

    /// The program at the same basis without some of its last rows, which must be [slack](Simplex::is_slack), and with
    /// further rows after them: without limits, each with its hair, and `amounts` of each column. `None` where the numbers
    /// do not allow it.
    pub fn with_rows(
        &self,
        dropped: &[bool],
        hairs: &[f64],
        amounts: impl Fn(u32) -> Vec<f64>,
    ) -> Option<Simplex> {
        let first = self.rows - dropped.len();
        let stays = |row: usize| !row.checked_sub(first).is_some_and(|at| dropped[at]);
        let kept: Vec<usize> = (0..self.rows).filter(|&row| stays(row)).collect();
        let place = |row: usize| kept.binary_search(&row).ok();
        let old = kept.iter().map(|&row| (self.lo[row], self.hi[row], self.hairs[row]));
        let none = hairs.iter().map(|&hair| (f64::NEG_INFINITY, f64::INFINITY, hair));
        let limits: Vec<(f64, f64, f64)> = old.chain(none).collect();
        let mut next = Simplex::new(self.of_block.len(), &limits);
        next.change_hairs(self.turn);
        for column in 0..number(self.cost.len()) {
            let old = entries(&self.start, &self.row, &self.amount, column);
            let old = old.filter_map(|(row, amount)| Some((place(row)?, amount)));
            let fresh = (kept.len()..).zip(amounts(column)).filter(|(_, amount)| *amount != 0.0);
            let at = column as usize;
            next.add_column(self.block[at] as usize, self.cost[at], old.chain(fresh));
            next.bar(column, self.barred[at]);
        }
        let moved = |variable: &Basic| {
            let row = |row: u32| place(row as usize).map(number);
            match *variable {
                Basic::Column(column) => Some(Basic::Column(column)),
                Basic::Total(at) => row(at).map(Basic::Total),
                Basic::Over(at) => row(at).map(Basic::Over),
                Basic::Under(at) => row(at).map(Basic::Under),
            }
        };
        let totals = (kept.len()..limits.len()).map(|row| Basic::Total(number(row)));
        let at_hi = kept.iter().map(|&row| self.at_hi[row]).chain(hairs.iter().map(|_| true));
        let basis = Basis {
            key: self.key.clone(),
            head: self.head.iter().filter_map(moved).chain(totals).collect(),
            at_hi: at_hi.collect(),
        };
        next.pivots = self.pivots;
        next.resume(&basis).then_some(next)
    }

    /// Places, lines and totals that follow from keys and lines.
    fn place_all(&mut self) {
        self.place.fill(Place::Out);
        self.inside.fill(Inside::default());
        self.lines.iter_mut().for_each(Vec::clear);
        for &key in &self.key {
            self.place[key as usize] = Place::Key;
        }
        for line in 0..self.head.len() {
            self.put_in(line, self.head[line]);
        }
    }

    fn put_in(&mut self, line: usize, variable: Basic) {
        match variable {
            Basic::Column(column) => {
                self.place[column as usize] = Place::Line(number(line));
                self.lines[self.block[column as usize] as usize].push(number(line));
            }
            Basic::Total(row) => self.inside[row as usize].total = true,
            Basic::Over(row) => self.inside[row as usize].over = true,
            Basic::Under(row) => self.inside[row as usize].under = true,
        }
    }

    fn take_out(&mut self, line: usize) {
        match self.head[line] {
            Basic::Column(column) => {
                self.place[column as usize] = Place::Out;
                let block = self.block[column as usize] as usize;
                self.lines[block].retain(|&other| other as usize != line);
            }
            Basic::Total(row) => self.inside[row as usize].total = false,
            Basic::Over(row) => self.inside[row as usize].over = false,
            Basic::Under(row) => self.inside[row as usize].under = false,
        }
    }

    /// Side of a row's range, a hair wider than it is.
    fn side(&self, row: usize, hi: bool) -> f64 {
        if hi { self.hi[row] + self.hair[row] } else { self.lo[row] - self.hair[row] }
    }

    /// Where a total outside the basis lies; one without limits, at nothing.
    fn lies(&self, row: usize) -> f64 {
        let side = self.side(row, self.at_hi[row]);
        if side.is_finite() { side } else { 0.0 }
    }

    fn key_of(&self, column: u32) -> u32 {
        self.key[self.block[column as usize] as usize]
    }

    fn dot(&self, column: u32, with: &[f64]) -> f64 {
        entries(&self.start, &self.row, &self.amount, column)
            .map(|(row, amount)| with[row] * amount)
            .sum()
    }

    /// Reduced cost of a block's key, to which those of its columns are compared.
    fn key_cost(&self, block: usize) -> f64 {
        let key = self.key[block];
        self.cost[key as usize] - self.dot(key, &self.price)
    }

    fn reduced(&self, column: u32, key_cost: f64) -> f64 {
        self.cost[column as usize] - self.dot(column, &self.price) - key_cost
    }

    /// Cost of the variable of a line, beyond its key's.
    fn line_cost(&self, variable: Basic) -> f64 {
        match variable {
            Basic::Column(column) => {
                self.cost[column as usize] - self.cost[self.key_of(column) as usize]
            }
            Basic::Total(_) => 0.0,
            Basic::Over(_) | Basic::Under(_) => MISS,
        }
    }

    /// Amounts that remain for the lines of the basis, with the totals outside it at the sides of their ranges.
    fn remains(&self, side: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut remains = vec![0.0; self.rows];
        for &key in &self.key {
            for (row, amount) in entries(&self.start, &self.row, &self.amount, key) {
                remains[row] -= amount;
            }
        }
        for row in (0..self.rows).filter(|&row| !self.inside[row].total) {
            remains[row] += side(row);
        }
        let line = |line: &[f64]| line.iter().zip(&remains).map(|(a, b)| a * b).sum();
        self.inverse.chunks(self.rows.max(1)).map(line).collect()
    }

    fn find_values(&mut self) {
        self.value = self.remains(|row| self.lies(row));
    }

    fn find_prices(&mut self) {
        self.price.fill(0.0);
        for (line, inverse) in self.inverse.chunks(self.rows.max(1)).enumerate() {
            let cost = self.line_cost(self.head[line]);
            if cost != 0.0 {
                self.price.iter_mut().zip(inverse).for_each(|(price, i)| *price += cost * i);
            }
        }
    }

    /// Calculates the inverse anew, by Gauss and Jordan; whether there is one.
    pub fn invert(&mut self) -> bool {
        let (rows, width) = (self.rows, 2 * self.rows);
        let mut work = vec![0.0; rows * width];
        for (line, &variable) in self.head.iter().enumerate() {
            work[line * width + rows + line] = 1.0;
            match variable {
                Basic::Column(column) => {
                    for (sign, column) in [(1.0, column), (-1.0, self.key_of(column))] {
                        for (row, amount) in entries(&self.start, &self.row, &self.amount, column) {
                            work[row * width + line] += sign * amount;
                        }
                    }
                }
                Basic::Total(row) | Basic::Over(row) => work[row as usize * width + line] = -1.0,
                Basic::Under(row) => work[row as usize * width + line] = 1.0,
            }
        }
        for at in 0..rows {
            let size = |row: usize| work[row * width + at].abs();
            let best = (at..rows).reduce(|a, b| if size(b) > size(a) { b } else { a });
            let Some(best) = best.filter(|&best| size(best) > 1e-11) else {
                return false;
            };
            if best != at {
                for k in 0..width {
                    work.swap(best * width + k, at * width + k);
                }
            }
            let by = 1.0 / work[at * width + at];
            let line: Vec<f64> =
                work[at * width..(at + 1) * width].iter().map(|v| v * by).collect();
            for (row, other) in work.chunks_mut(width).enumerate() {
                let by = other[at];
                if row == at {
                    other.copy_from_slice(&line);
                } else if by != 0.0 {
                    other.iter_mut().zip(&line).for_each(|(v, line)| *v -= by * line);
                }
            }
        }
        for (inverse, work) in self.inverse.chunks_mut(rows.max(1)).zip(work.chunks(width.max(1))) {
            inverse.copy_from_slice(&work[rows..]);
        }
        self.since = 0;
        self.find_values();
        self.find_prices();
        true
    }

    /// Share of a block's key.
    fn key_share(&self, block: usize) -> f64 {
        1.0 - self.lines[block].iter().map(|&line| self.value[line as usize]).sum::<f64>()
    }

    /// Loss of each line of the basis when a variable enters.
    fn column_of(&self, variable: Basic) -> Vec<f64> {
        let rows = self.rows.max(1);
        let lines = self.inverse.chunks(rows);
        match variable {
            Basic::Total(row) | Basic::Over(row) => lines.map(|line| -line[row as usize]).collect(),
            Basic::Under(row) => lines.map(|line| line[row as usize]).collect(),
            Basic::Column(column) => {
                let mut difference: Vec<(usize, f64)> =
                    entries(&self.start, &self.row, &self.amount, column).collect();
                for (row, amount) in
                    entries(&self.start, &self.row, &self.amount, self.key_of(column))
                {
                    match difference.iter_mut().find(|(other, _)| *other == row) {
                        Some((_, mine)) => *mine -= amount,
                        None => difference.push((row, -amount)),
                    }
                }
                lines.map(|line| difference.iter().map(|&(row, v)| line[row] * v).sum()).collect()
            }
        }
    }

    /// The block's key changes places with its column of the greatest share in the basis; returns the line.
    fn swap_key(&mut self, block: usize) -> Option<usize> {
        let share = |line: &u32| self.value[*line as usize];
        let lines = self.lines[block].iter().copied();
        let line = lines.reduce(|a, b| if share(&b) > share(&a) { b } else { a })? as usize;
        let Basic::Column(column) = self.head[line] else { return None };
        let share = self.key_share(block);
        let rows = self.rows;
        for row in 0..rows {
            let sum: f64 =
                self.lines[block].iter().map(|&l| self.inverse[l as usize * rows + row]).sum();
            self.inverse[line * rows + row] = -sum;
        }
        let old = std::mem::replace(&mut self.key[block], column);
        self.place[column as usize] = Place::Key;
        self.place[old as usize] = Place::Line(number(line));
        self.head[line] = Basic::Column(old);
        self.value[line] = share;
        Some(line)
    }

    /// Another key for a block that has no other column in the basis.
    fn change_key(&mut self, block: usize, to: u32) {
        let old = std::mem::replace(&mut self.key[block], to);
        self.place[old as usize] = Place::Out;
        self.place[to as usize] = Place::Key;
        self.pivots += 1;
    }

    /// A variable takes the place of another; whether the numbers allow it.
    fn pivot(
        &mut self,
        line: usize,
        enters: Basic,
        lost: &[f64],
        value: f64,
        reduced: f64,
    ) -> bool {
        let rows = self.rows;
        let by = reduced / lost[line];
        let old = &self.inverse[line * rows..(line + 1) * rows];
        self.price.iter_mut().zip(old).for_each(|(price, i)| *price += by * i);
        let new: Vec<f64> = old.iter().map(|i| i / lost[line]).collect();
        for ((other, inverse), &by) in self.inverse.chunks_mut(rows).enumerate().zip(lost) {
            if other == line {
                inverse.copy_from_slice(&new);
            } else if by != 0.0 {
                inverse.iter_mut().zip(&new).for_each(|(i, new)| *i -= by * new);
            }
        }
        self.take_out(line);
        self.head[line] = enters;
        self.value[line] = value;
        self.put_in(line, enters);
        self.pivots += 1;
        self.since += 1;
        self.since < ANEW || self.invert()
    }

    /// Variable outside the basis that gains most, with its reduced cost. Blocks are looked at from where the last look
    /// ended.
    fn entering(&mut self) -> Option<(Basic, f64)> {
        // Rounding grows with the prices.
        let dearest = self.price.iter().fold(0.0, |most: f64, price| most.max(price.abs()));
        let mut most = NO_GAIN.max(dearest * 1e-12);
        let mut best = None;
        for (row, inside) in self.inside.iter().enumerate() {
            let (price, at) = (self.price[row], number(row));
            let side = self.side(row, self.at_hi[row]);
            let total = match (side.is_finite(), self.at_hi[row]) {
                (false, _) => price.abs(),
                (true, true) => price,
                (true, false) => -price,
            };
            let free = !inside.total && self.hi[row] > self.lo[row];
            for (may, gain, variable, reduced) in [
                (free, total, Basic::Total(at), price),
                (!inside.over, -(MISS + price), Basic::Over(at), MISS + price),
                (!inside.under, -(MISS - price), Basic::Under(at), MISS - price),
            ] {
                if may && gain > most {
                    most = gain;
                    best = Some((variable, reduced));
                }
            }
        }
        let blocks = self.key.len();
        let mut seen = 0;
        for step in 0..blocks {
            let block = (self.cursor + step) % blocks;
            let columns = &self.of_block[block];
            if columns.len() > 1 {
                let key_cost = self.key_cost(block);
                for &column in columns {
                    let at = column as usize;
                    if self.place[at] == Place::Out && !self.barred[at] {
                        let reduced = self.reduced(column, key_cost);
                        if -reduced > most {
                            most = -reduced;
                            best = Some((Basic::Column(column), reduced));
                        }
                    }
                }
                seen += columns.len();
            }
            if seen > ENOUGH && best.is_some() {
                self.cursor = (block + 1) % blocks;
                break;
            }
        }
        best
    }

    /// Pivots until nothing is better, from a basis that keeps all ranges.
    pub fn primal(&mut self, most: u64) -> End {
        let until = self.pivots + most;
        while let Some((enters, reduced)) = self.entering() {
            if self.pivots >= until {
                return End::Paused;
            }
            if !self.enter(enters, reduced) {
                return End::Trouble;
            }
        }
        End::Optimal
    }

    /// Lets a variable in as far as the others allow; whether the numbers allow it.
    fn enter(&mut self, enters: Basic, reduced: f64) -> bool {
        let lost = self.column_of(enters);
        let (up, own) = match enters {
            Basic::Total(_) => (if reduced > 0.0 { -1.0 } else { 1.0 }, None),
            Basic::Column(column) => (1.0, Some(self.block[column as usize] as usize)),
            Basic::Over(_) | Basic::Under(_) => (1.0, None),
        };
        let mut best = (f64::INFINITY, 0.0, Leaves::Itself);
        if let Basic::Total(row) = enters {
            best.0 = self.side(row as usize, true) - self.side(row as usize, false);
        }
        // Something that has `room` and falls by `rate` a step.
        let mut consider = |room: f64, rate: f64, leaves: Leaves| {
            let step = room.max(0.0) / rate;
            if rate > TOO_SMALL && (step < best.0 - 1e-10 || step < best.0 + 1e-10 && rate > best.1)
            {
                best = (step, rate, leaves);
            }
        };
        for (line, lost) in lost.iter().enumerate() {
            let (value, rate) = (self.value[line], up * lost);
            let leaves = |at_hi: bool| Leaves::Line { line, at_hi };
            match self.head[line] {
                Basic::Column(column) => {
                    consider(value, rate, leaves(false));
                    if self.barred[column as usize] {
                        consider(-value, -rate, leaves(false));
                    }
                }
                Basic::Total(row) => {
                    let row = row as usize;
                    consider(value - self.side(row, false), rate, leaves(false));
                    consider(self.side(row, true) - value, -rate, leaves(true));
                }
                Basic::Over(_) | Basic::Under(_) => consider(value, rate, leaves(false)),
            }
        }
        let mut key = |block: usize| {
            let mine = if own == Some(block) { up } else { 0.0 };
            let lines = self.lines[block].iter().map(|&line| up * lost[line as usize]);
            let rate = mine - lines.sum::<f64>();
            let share = self.key_share(block);
            consider(share, rate, Leaves::Key(block));
            if self.barred[self.key[block] as usize] {
                consider(-share, -rate, Leaves::Key(block));
            }
        };
        for line in 0..self.rows {
            if let Basic::Column(column) = self.head[line] {
                let block = self.block[column as usize] as usize;
                // Once for each block.
                if self.lines[block].first() == Some(&number(line)) {
                    key(block);
                }
            }
        }
        if let Some(own) = own.filter(|&own| self.lines[own].is_empty()) {
            key(own);
        }
        let (step, _, leaves) = best;
        if !step.is_finite() {
            return false;
        }
        self.value.iter_mut().zip(&lost).for_each(|(value, lost)| *value -= step * up * lost);
        let value = match enters {
            Basic::Total(row) => self.lies(row as usize) + up * step,
            Basic::Column(_) | Basic::Over(_) | Basic::Under(_) => step,
        };
        match leaves {
            Leaves::Itself => {
                if let Basic::Total(row) = enters {
                    self.at_hi[row as usize] = !self.at_hi[row as usize];
                }
                self.pivots += 1;
                true
            }
            Leaves::Line { line, at_hi } => {
                self.leave_at(line, at_hi);
                self.pivot(line, enters, &lost, value, reduced)
            }
            Leaves::Key(block) => match (self.swap_key(block), enters) {
                (Some(line), _) => {
                    let lost = self.column_of(enters);
                    self.pivot(line, enters, &lost, value, reduced)
                }
                (None, Basic::Column(column)) => {
                    self.change_key(block, column);
                    true
                }
                (None, _) => false,
            },
        }
    }

    /// A total that leaves the basis does so at a side of its range.
    fn leave_at(&mut self, line: usize, at_hi: bool) {
        match self.head[line] {
            Basic::Total(row) => self.at_hi[row as usize] = at_hi,
            Basic::Column(_) | Basic::Over(_) | Basic::Under(_) => {}
        }
    }

    /// Pivots until all ranges are kept and no barred column is taken, from a basis at which nothing is better.
    /// Ends early above `cutoff`.
    pub fn dual(&mut self, most: u64, cutoff: f64) -> End {
        let until = self.pivots + most;
        self.find_values();
        let mut fresh = false;
        loop {
            if self.objective() > cutoff {
                return End::Cutoff;
            }
            if self.pivots >= until {
                return End::Paused;
            }
            // Barred keys that can be changed by themselves.
            let mut moved = false;
            for block in 0..self.key.len() {
                let key = self.key[block];
                if self.barred[key as usize] && self.lines[block].is_empty() {
                    let open = self.of_block[block].iter().copied();
                    let open = open.filter(|&column| !self.barred[column as usize]);
                    let reduced = |column: u32| self.reduced(column, 0.0);
                    let to = open.reduce(|a, b| if reduced(b) < reduced(a) { b } else { a });
                    let Some(to) = to else { return End::Trouble };
                    self.change_key(block, to);
                    moved = true;
                }
            }
            if moved {
                self.find_values();
            }
            let Some((line, above)) = self.leaving() else { return End::Optimal };
            let rho: Vec<f64> = self.inverse[line * self.rows..(line + 1) * self.rows].to_vec();
            let Some((enters, reduced)) = self.entering_for(&rho, above) else {
                return End::Trouble;
            };
            let lost = self.column_of(enters);
            if lost[line].abs() < 1e-9 {
                // Rounding has gathered; once more with exact numbers.
                if fresh || !self.invert() {
                    return End::Trouble;
                }
                fresh = true;
                continue;
            }
            fresh = false;
            let to = match self.head[line] {
                Basic::Total(row) => self.side(row as usize, above),
                Basic::Column(_) | Basic::Over(_) | Basic::Under(_) => 0.0,
            };
            let step = (self.value[line] - to) / lost[line];
            self.value.iter_mut().zip(&lost).for_each(|(value, lost)| *value -= step * lost);
            self.leave_at(line, above);
            let value = match enters {
                Basic::Total(row) => self.lies(row as usize) + step,
                Basic::Column(_) | Basic::Over(_) | Basic::Under(_) => step,
            };
            if !self.pivot(line, enters, &lost, value, reduced) {
                return End::Trouble;
            }
        }
    }

    /// Line that misses its range most, and whether it is above it. A key comes into a line first.
    fn leaving(&mut self) -> Option<(usize, bool)> {
        let mut worst = CLOSE;
        let mut line_at = None;
        let mut key_at = None;
        for (line, &value) in self.value.iter().enumerate() {
            let (below, above) = match self.head[line] {
                Basic::Column(column) if self.barred[column as usize] => (-value, value),
                Basic::Total(row) => {
                    let row = row as usize;
                    (self.side(row, false) - value, value - self.side(row, true))
                }
                Basic::Column(_) | Basic::Over(_) | Basic::Under(_) => (-value, f64::NEG_INFINITY),
            };
            if below.max(above) > worst {
                worst = below.max(above);
                line_at = Some((line, above > below));
            }
        }
        for block in 0..self.key.len() {
            if self.lines[block].is_empty() {
                continue;
            }
            let share = self.key_share(block);
            let above = self.barred[self.key[block] as usize] && share > 0.0;
            let off = if above { share } else { -share };
            if off > worst {
                worst = off;
                key_at = Some((block, above));
            }
        }
        match key_at {
            Some((block, above)) => Some((self.swap_key(block)?, above)),
            None => line_at,
        }
    }

    /// Variable whose reduced cost reaches zero first when a line moves back into its range.
    fn entering_for(&self, rho: &[f64], above: bool) -> Option<(Basic, f64)> {
        let sign = if above { 1.0 } else { -1.0 };
        let mut best: Option<(f64, f64, Basic, f64)> = None;
        let mut consider = |variable: Basic, alpha: f64, reduced: f64| {
            // A new column may be better than the basis already: it enters first.
            let ratio = match variable {
                Basic::Total(_) => reduced.abs(),
                Basic::Column(_) | Basic::Over(_) | Basic::Under(_) => reduced.max(0.0),
            } / alpha.abs();
            let better = best.is_none_or(|(least, most, ..)| {
                ratio < least - 1e-10 || ratio < least + 1e-10 && alpha.abs() > most
            });
            if better {
                best = Some((ratio, alpha.abs(), variable, reduced));
            }
        };
        for (row, &along) in rho.iter().enumerate() {
            let at = number(row);
            if !self.inside[row].total && self.hi[row] > self.lo[row] {
                let up = if self.at_hi[row] { -1.0 } else { 1.0 };
                let free = !self.side(row, self.at_hi[row]).is_finite();
                let moves = -along * sign * up;
                if moves > TOO_SMALL || free && moves < -TOO_SMALL {
                    consider(Basic::Total(at), -along, self.price[row]);
                }
            }
            if -along * sign > TOO_SMALL && !self.inside[row].over {
                consider(Basic::Over(at), -along, MISS + self.price[row]);
            } else if along * sign > TOO_SMALL && !self.inside[row].under {
                consider(Basic::Under(at), along, MISS - self.price[row]);
            }
        }
        for (block, columns) in self.of_block.iter().enumerate() {
            if columns.len() < 2 {
                continue;
            }
            let (key_cost, key_alpha) = (self.key_cost(block), self.dot(self.key[block], rho));
            for &column in columns {
                let at = column as usize;
                if self.place[at] == Place::Out && !self.barred[at] {
                    let alpha = self.dot(column, rho) - key_alpha;
                    if alpha * sign > TOO_SMALL {
                        consider(Basic::Column(column), alpha, self.reduced(column, key_cost));
                    }
                }
            }
        }
        best.map(|(_, _, variable, reduced)| (variable, reduced))
    }

    /// Lines of the inverse whose column is taken in part, those that are most undecided first.
    pub fn undecided(&self) -> Vec<&[f64]> {
        let lines = self.head.iter().zip(&self.value).enumerate();
        let mut open: Vec<(f64, usize)> = lines
            .filter(|(_, (variable, _))| matches!(variable, Basic::Column(_)))
            .map(|(line, (_, value))| ((value - value.round()).abs(), line))
            .filter(|(off, _)| *off > 1e-4)
            .collect();
        open.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let rows = self.rows;
        open.into_iter().map(|(_, line)| &self.inverse[line * rows..(line + 1) * rows]).collect()
    }

    /// Key of each block.
    pub fn keys(&self) -> &[u32] {
        &self.key
    }

    /// Value of the present basis, misses included.
    pub fn objective(&self) -> f64 {
        let keys: f64 = self.key.iter().map(|&key| self.cost[key as usize]).sum();
        let lines = self.head.iter().zip(&self.value);
        keys + lines.map(|(&variable, value)| self.line_cost(variable) * value).sum::<f64>()
    }

    /// Share of each column that takes any, for the true ranges; not in order.
    pub fn shares(&self) -> Vec<(u32, f64)> {
        let values = self.remains(|row| {
            let side = if self.at_hi[row] { self.hi[row] } else { self.lo[row] };
            if side.is_finite() { side } else { 0.0 }
        });
        let mut shares = Vec::new();
        for (block, &key) in self.key.iter().enumerate() {
            let mut left = 1.0;
            for &line in &self.lines[block] {
                let value = values[line as usize];
                left -= value;
                if let Basic::Column(column) = self.head[line as usize] {
                    shares.push((column, value));
                }
            }
            shares.push((key, left));
        }
        shares.retain(|&(_, share)| share > CLOSE);
        shares
    }
}

/// Rows and amounts of a column.
fn entries<'a>(
    start: &[usize],
    row: &'a [u32],
    amount: &'a [f64],
    column: u32,
) -> impl Iterator<Item = (usize, f64)> + 'a {
    let (from, to) = (start[column as usize], start[column as usize + 1]);
    row[from..to].iter().zip(&amount[from..to]).map(|(&row, &amount)| (row as usize, amount))
}

/// A number from 0.5 to 1 that differs from row to row, by the golden ratio.
fn uneven(row: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "below 2^24")]
    let part = ((row as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40) as f64;
    0.5 + part / 33_554_432.0
}

/// Rows and columns are numbered in 32 bits.
fn number(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use good_lp::{Expression, ProblemVariables, Solution, SolverModel, constraint, variable};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::{End, MISS, Simplex};

    /// Block, cost, entries, and whether it is barred.
    type Column = (usize, f64, Vec<(usize, f64)>, bool);

    /// A program as it is stated, which the general solver solves from nothing.
    struct Stated {
        columns: Vec<Column>,
        rows: Vec<(f64, f64)>,
        blocks: usize,
    }

    impl Stated {
        fn random(rng: &mut ChaCha8Rng) -> Stated {
            let blocks = rng.random_range(1..=12);
            let rows = rng.random_range(0..=8);
            let mut stated = Stated { columns: Vec::new(), rows: Vec::new(), blocks };
            for _ in 0..rows {
                stated.rows.push(range(rng, blocks));
            }
            for block in 0..blocks {
                for _ in 0..rng.random_range(1..=5) {
                    stated.add(rng, block);
                }
            }
            stated
        }

        /// Small whole costs and amounts, so that many solutions are equal and many bases degenerate.
        fn add(&mut self, rng: &mut ChaCha8Rng, block: usize) {
            let cost = f64::from(rng.random_range(0..=6)) / 4.0;
            let mut entries = Vec::new();
            for row in 0..self.rows.len() {
                if rng.random_bool(0.4) {
                    entries.push((row, f64::from(rng.random_range(-1..=3))));
                }
            }
            self.columns.push((block, cost, entries, false));
        }

        fn simplex(&self) -> Simplex {
            let rows: Vec<_> = self.rows.iter().map(|&(lo, hi)| (lo, hi, 1e-6)).collect();
            let mut simplex = Simplex::new(self.blocks, &rows);
            for (block, cost, entries, _) in &self.columns {
                simplex.add_column(*block, *cost, entries.iter().copied());
            }
            simplex
        }

        /// First column of each block.
        fn keys(&self) -> Vec<u32> {
            let first = |block| self.columns.iter().position(|column| column.0 == block);
            (0..self.blocks).map(|block| u32::try_from(first(block).unwrap()).unwrap()).collect()
        }

        /// Least value, by the general solver.
        fn least(&self) -> f64 {
            let mut variables = ProblemVariables::new();
            let mut cost = Expression::default();
            let mut blocks = vec![Expression::default(); self.blocks];
            let mut totals = vec![Expression::default(); self.rows.len()];
            for (block, own, entries, barred) in &self.columns {
                if *barred {
                    continue;
                }
                let share = variables.add(variable().min(0.0));
                cost.add_mul(*own, share);
                blocks[*block].add_mul(1.0, share);
                entries.iter().for_each(|&(row, amount)| totals[row].add_mul(amount, share));
            }
            let mut constraints: Vec<_> =
                blocks.into_iter().map(|sum| constraint!(sum == 1.0)).collect();
            for (total, &(lo, hi)) in totals.into_iter().zip(&self.rows) {
                let over = variables.add(variable().min(0.0));
                let under = variables.add(variable().min(0.0));
                cost.add_mul(MISS, over);
                cost.add_mul(MISS, under);
                let total = total - over + under;
                if lo.is_finite() {
                    constraints.push(constraint!(total.clone() >= lo));
                }
                if hi.is_finite() {
                    constraints.push(constraint!(total <= hi));
                }
            }
            let mut model = variables.minimise(cost.clone()).using(good_lp::default_solver);
            for constraint in constraints {
                model.add_constraint(constraint);
            }
            model.solve().unwrap().eval(cost)
        }

        /// Holds a solution against the general solver's: its bound, from the multipliers alone; its shares, by what
        /// they add up to.
        fn compare(&self, simplex: &Simplex, about: &str) {
            let least = self.least();
            let multipliers: Vec<f64> = simplex.multipliers().collect();
            let mut bound = 0.0;
            for block in 0..self.blocks {
                let mine = self.columns.iter().filter(|column| column.0 == block && !column.3);
                let reduced = mine.map(|(_, cost, entries, _)| {
                    let prices = entries.iter().map(|&(row, amount)| multipliers[row] * amount);
                    cost + prices.sum::<f64>()
                });
                bound += reduced.fold(f64::INFINITY, f64::min);
            }
            for (multiplier, &(lo, hi)) in multipliers.iter().zip(&self.rows) {
                if multiplier.abs() > 1e-9 {
                    bound -= multiplier * if *multiplier > 0.0 { hi } else { lo };
                }
            }
            let near = 1e-7 * (1.0 + least.abs());
            assert!((bound - least).abs() < near, "{about}: bound {bound}, least {least}");
            let mut cost = 0.0;
            let mut totals = vec![0.0; self.rows.len()];
            let mut blocks = vec![0.0; self.blocks];
            for (column, share) in simplex.shares() {
                let (block, own, entries, barred) = &self.columns[column as usize];
                assert!(!barred, "{about}: column {column} is barred and takes {share}");
                assert!(share < 1.0 + 1e-4);
                cost += own * share;
                blocks[*block] += share;
                entries.iter().for_each(|&(row, amount)| totals[row] += amount * share);
            }
            assert!(blocks.iter().all(|sum: &f64| (sum - 1.0).abs() < 1e-4), "{about}: {blocks:?}");
            let missed = totals.iter().zip(&self.rows);
            let missed: f64 = missed.map(|(t, &(lo, hi))| (lo - t).max(t - hi).max(0.0)).sum();
            // Shares are told for the true ranges from a basis for ranges a hair wider.
            let sum = cost + MISS * missed;
            assert!((sum - least).abs() < MISS * 1e-4, "{about}: shares {sum}, least {least}");
            if least < 100.0 {
                assert!((cost - least).abs() < 1e-3, "{about}: cost {cost}, least {least}");
            }
        }
    }

    fn range(rng: &mut ChaCha8Rng, blocks: usize) -> (f64, f64) {
        let some = |rng: &mut ChaCha8Rng| {
            f64::from(rng.random_range(0..=i32::try_from(blocks).unwrap() * 2))
        };
        let (one, other) = (some(rng), some(rng));
        match rng.random_range(0..6) {
            0 => (one, one),
            1 => (one.min(other), one.max(other)),
            2 => (one, f64::INFINITY),
            3 => (f64::NEG_INFINITY, f64::INFINITY),
            _ => (f64::NEG_INFINITY, one),
        }
    }

    #[test]
    fn what_it_finds_is_what_a_general_solver_finds() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let mut infeasible = 0;
        for case in 0..3_000 {
            let stated = Stated::random(&mut rng);
            let mut simplex = stated.simplex();
            simplex.start(stated.keys());
            assert_eq!(simplex.primal(10_000), End::Optimal, "case {case}");
            stated.compare(&simplex, &format!("case {case}"));
            infeasible += usize::from(stated.least() > MISS / 2.0);
        }
        assert!((300..2_700).contains(&infeasible), "{infeasible} of 3,000");
    }

    /// Ranges move, columns are barred and let in and join; from the basis at hand, and from an old one.
    #[test]
    fn a_basis_is_put_right_after_every_change() {
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        for case in 0..600 {
            let mut stated = Stated::random(&mut rng);
            let mut simplex = stated.simplex();
            simplex.start(stated.keys());
            assert_eq!(simplex.primal(10_000), End::Optimal);
            let old = simplex.basis();
            for change in 0..8 {
                let about = format!("case {case}, change {change}");
                let mut fresh = false;
                if change == 5 {
                    assert!(simplex.resume(&old), "{about}");
                }
                match rng.random_range(0..3) {
                    0 if !stated.rows.is_empty() => {
                        let row = rng.random_range(0..stated.rows.len());
                        let (lo, hi) = range(&mut rng, stated.blocks);
                        stated.rows[row] = (lo, hi);
                        simplex.set_range(row, lo, hi);
                    }
                    1 => {
                        let column = rng.random_range(0..stated.columns.len());
                        let block = stated.columns[column].0;
                        let open = stated.columns.iter().filter(|c| c.0 == block && !c.3).count();
                        if open > 1 || stated.columns[column].3 {
                            stated.columns[column].3 ^= true;
                            simplex.bar(u32::try_from(column).unwrap(), stated.columns[column].3);
                        }
                    }
                    _ => {
                        let block = rng.random_range(0..stated.blocks);
                        stated.add(&mut rng, block);
                        let (_, cost, entries, _) = stated.columns.last().unwrap();
                        simplex.add_column(block, *cost, entries.iter().copied());
                        fresh = true;
                    }
                }
                // A column that joins leaves all ranges kept, and the dual method nothing to do.
                let before = simplex.pivots;
                assert_eq!(simplex.dual(10_000, f64::INFINITY), End::Optimal, "{about}");
                assert!(!fresh || change == 5 || simplex.pivots == before, "{about}");
                assert_eq!(simplex.primal(10_000), End::Optimal, "{about}");
                stated.compare(&simplex, &about);
            }
        }
    }

    /// Rows that bind nothing are let go and others come, the basis stays; with other hairs the value is the same.
    #[test]
    fn rows_come_and_go() {
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        let (mut gone, mut come) = (0, 0);
        for case in 0..1_500 {
            let mut stated = Stated::random(&mut rng);
            let mut simplex = stated.simplex();
            simplex.start(stated.keys());
            assert_eq!(simplex.primal(10_000), End::Optimal);
            for change in 0..3 {
                let about = format!("case {case}, change {change}");
                let first = rng.random_range(0..=stated.rows.len());
                let last = first..stated.rows.len();
                let dropped: Vec<bool> =
                    last.map(|row| simplex.is_slack(row) && rng.random_bool(0.7)).collect();
                let stays = |row: usize| !row.checked_sub(first).is_some_and(|at| dropped[at]);
                let kept: Vec<usize> = (0..stated.rows.len()).filter(|&row| stays(row)).collect();
                gone += stated.rows.len() - kept.len();
                for (_, _, entries, _) in &mut stated.columns {
                    entries.retain_mut(|(row, _)| {
                        kept.binary_search(row).map(|place| *row = place).is_ok()
                    });
                }
                stated.rows = kept.iter().map(|&row| stated.rows[row]).collect();
                let fresh = rng.random_range(0..=2);
                let amounts: Vec<Vec<f64>> = (stated.columns.iter())
                    .map(|_| (0..fresh).map(|_| f64::from(rng.random_range(-1..=2))).collect())
                    .collect();
                simplex = simplex
                    .with_rows(&dropped, &vec![1e-6; fresh], |c| amounts[c as usize].clone())
                    .unwrap();
                for at in 0..fresh {
                    let (row, (lo, hi)) = (stated.rows.len(), range(&mut rng, stated.blocks));
                    stated.rows.push((lo, hi));
                    simplex.set_range(row, lo, hi);
                    let columns = stated.columns.iter_mut().zip(&amounts);
                    let there = columns.filter(|(_, amounts)| amounts[at] != 0.0);
                    there.for_each(|(column, amounts)| column.2.push((row, amounts[at])));
                    come += 1;
                }
                simplex.change_hairs(change);
                assert_eq!(simplex.dual(10_000, f64::INFINITY), End::Optimal, "{about}");
                assert_eq!(simplex.primal(10_000), End::Optimal, "{about}");
                stated.compare(&simplex, &about);
            }
        }
        assert!(gone > 1_000 && come > 1_000, "{gone} {come}");
    }

    #[test]
    fn it_ends_above_a_cutoff_and_pauses_when_told_to() {
        // By hand: two blocks want the one piece, the second can do without at a cost of 1.
        let mut simplex = Simplex::new(2, &[(f64::NEG_INFINITY, 2.0, 0.0)]);
        simplex.add_column(0, 0.5, [(0, 1.0)]);
        simplex.add_column(1, 0.5, [(0, 1.0)]);
        simplex.add_column(1, 1.5, []);
        simplex.start(vec![0, 1]);
        assert_eq!(simplex.primal(10), End::Optimal);
        assert!((simplex.objective() - 1.0).abs() < 1e-9);
        simplex.set_range(0, f64::NEG_INFINITY, 1.0);
        let mut other = simplex.clone();
        assert_eq!(other.dual(0, f64::INFINITY), End::Paused);
        assert_eq!(other.dual(10, 0.9), End::Cutoff);
        assert_eq!(simplex.dual(10, f64::INFINITY), End::Optimal);
        assert_eq!(simplex.multipliers().collect::<Vec<_>>(), [1.0]);
        assert_eq!(simplex.shares(), [(0, 1.0), (2, 1.0)]);
    }
}
